"""What only the demonstration needs: the processes it runs, and a post office that delivers to a folder.

May import `portfolio.clock` and Django. Nothing else in the project imports it, except `urls`, which adds the
page of kept mail when SNECK_DEMO is set, and the `demo` command.
"""
