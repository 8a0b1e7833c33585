"""Lampblack's timing core: the box as pure logic.

Law of this package: it imports itself and nothing else, and runs unchanged on
CPython and MicroPython. It knows no clock, pin, file or socket: time is an
argument (milliseconds that wrap at 2**30), and what it needs from outside (a
JSON reader, checksums, a frame buffer) is handed to it in a `Platform`, its
store beside that.
"""

VERSION = "0.1.0"
