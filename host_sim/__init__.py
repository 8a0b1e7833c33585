"""The box with nothing attached: the timing core on a virtual clock, over a darkroom with physics.

Imports `timing_core`, never the board. `session` and `script` also run under MicroPython; the rest
is for the desktop.
"""
