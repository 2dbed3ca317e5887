"""What only the demonstration needs: its processes, its post office, and the invented homes of fixtures/.

May import the rest of `portfolio`. Nothing else in the project imports it, except `settings` and `urls` (key and
page of kept mail, where SNECK_DEMO is set) and the commands `demo` and `load_demo`.
"""
