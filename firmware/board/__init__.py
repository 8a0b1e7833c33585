"""The board: the only place that knows the Pico's hardware. One adapter a device.

Law of this package: it imports `timing_core`, `machine`, `rp2` and MicroPython's own modules;
nothing imports it but `main.py`. Importing any of it touches no hardware: pins are taken when an
adapter is made.
"""
