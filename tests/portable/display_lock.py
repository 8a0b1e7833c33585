"""The display's driver with the heap locked: whatever asks for memory raises MemoryError.

Run by `tests/test_display.py` under real MicroPython (`micropython -m tests.portable.display_lock KIND`). It
prints how many transfers there were.
"""

import sys

from micropython import heap_lock, heap_unlock


class Bus:
    """An I2C bus that counts what is written to it, and fails while `broken`. It keeps nothing."""

    def __init__(self):
        self.count = 0
        self.broken = False
        self.fault = OSError(5)

    def writeto(self, address, data):
        if self.broken:
            raise self.fault
        self.count += 1


class Light:
    def duty_u16(self, duty):
        pass


class Machine:
    I2C = Bus
    PWM = Light


sys.modules["machine"] = Machine

from board.display import LCD, Display  # noqa: E402


def send_all(display):
    while display.step():
        pass


def play(kind):
    """All that a display may be asked for, its loss included; returns the transfers."""
    bus = Bus()
    frame = bytearray(1024)
    display = Display(bus, frame, kind, 2, Light() if kind == LCD else None)
    heap_lock()
    try:
        for level in (1, 5):
            for at in range(0, 1024, 50):
                frame[at] ^= 255
            display.level(level)
            send_all(display)
            frame[1023] ^= 1
            send_all(display)
            bus.broken = True
            display.answers()
            send_all(display)
            bus.broken = False
            # As if the time until the next try were over.
            display._tried_ms -= 1000
            send_all(display)
            frame[5] ^= 1
            display.leave_out()
            send_all(display)
    finally:
        heap_unlock()
    return bus.count


if __name__ == "__main__":
    print(play(sys.argv[1]))
