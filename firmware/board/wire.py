"""USB serial as a stream of bytes for the link, read without ever waiting.

MicroPython's own reader waits for a whole line; half a line from a stray program would stop the
screen and the sounds. So bytes are taken one by one while there are any, up to BURST at a turn.
Ctrl-C is data here, not an interrupt, until the box is handed over to the prompt.
"""

import select
import sys

import micropython

BURST = 256


class Wire:
    """The USB serial line."""

    def __init__(self) -> None:
        self._in = sys.stdin.buffer
        self._out = sys.stdout.buffer
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._one = bytearray(1)
        self._burst = bytearray(BURST)
        micropython.kbd_intr(-1)

    def read(self) -> bytes:
        """What has come in, up to BURST bytes; b"" for nothing."""
        one = self._one
        burst = self._burst
        ready = self._poll.ipoll
        readinto = self._in.readinto
        count = 0
        while count < BURST:
            for _ in ready(0):
                break
            else:
                break
            readinto(one)
            burst[count] = one[0]
            count += 1
        return bytes(memoryview(burst)[:count]) if count else b""

    def send(self, data: bytes) -> None:
        self._out.write(data)

    def wait(self, ms: int) -> None:
        """Sleep until a byte comes in, or `ms`; an input wakes it too, by what it has scheduled."""
        for _ in self._poll.ipoll(ms):
            break

    def release(self) -> None:
        """Give Ctrl-C its usual meaning back."""
        micropython.kbd_intr(3)
