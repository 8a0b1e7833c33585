"""The board: the only place that knows the Pico's hardware, with one adapter for each device.

Law of this package: it imports `timing_core`, `machine`, `rp2` and MicroPython's own modules, and only
`main.py` imports it. Importing any of it touches no hardware: an adapter takes its pins when it is made.
"""
