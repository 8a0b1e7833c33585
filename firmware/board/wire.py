"""USB serial as a stream of bytes for the link, read without ever waiting.

MicroPython's own reader waits for a whole line; half a line from a stray program would stop the
screen and the sounds. So bytes are taken one by one while there are any, up to _BURST at a turn.
Ctrl-C is data here, not an interrupt: `main.py` has seen to that.
"""

import select
import sys
from time import ticks_diff, ticks_ms

from micropython import const

_BURST = const(128)

_STALL_MS = const(400)
"""A write that took so long was given up: MicroPython waits 500 ms for room."""
_ROOM = const(64)
"""What may be left of the room for output when a packet of 64 bytes no longer fits."""


class Wire:
    """The USB serial line."""

    def __init__(self) -> None:
        self._readinto = sys.stdin.buffer.readinto
        self._out = sys.stdout.buffer
        self._poll = select.poll()
        self._poll.register(sys.stdin, select.POLLIN)
        self._ready = self._poll.ipoll
        self._poll_out = select.poll()
        self._poll_out.register(sys.stdout, select.POLLOUT)
        self._deaf = False
        self._byte = bytearray(1)
        self._burst = memoryview(bytearray(_BURST))

    def read(self) -> bytes:
        """What has come in, up to _BURST bytes; b"" for nothing."""
        # Looked up beforehand: to take a method off its object takes memory, and light may be on.
        ready = self._ready
        readinto = self._readinto
        byte = self._byte
        burst = self._burst
        count = 0
        while count < _BURST:
            for _ in ready(0):
                break
            else:
                break
            readinto(byte)
            burst[count] = byte[0]
            count += 1
        return bytes(self._burst[:count]) if count else b""

    def send(self, data: bytes) -> None:
        """Send `data`; nothing where the PC holds the port open and does not read.

        Writing then waits half a second for room, once: after that the room left is filled up, and so
        there is none until the PC reads on.
        """
        if self._deaf and not self._has_room():
            return
        began_ms = ticks_ms()
        self._out.write(data)
        self._deaf = ticks_diff(ticks_ms(), began_ms) >= _STALL_MS
        if self._deaf:
            for _ in range(_ROOM):
                if self._has_room():
                    self._out.write(b"\n")

    def _has_room(self) -> bool:
        for _ in self._poll_out.ipoll(0):
            return True
        return False

    def wait(self, ms: int) -> None:
        """Sleep until a byte comes in, or `ms`; an input wakes it too, by what it has scheduled."""
        for _ in self._poll.ipoll(ms):
            break
