"""Facts and a day in, a standing out.

Pure Python, standard library only: no Django, no clock, no input or output except the loader reading
the packs. Everything here is a function of its arguments.
"""
