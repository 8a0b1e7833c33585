"""USB serial as a stream of bytes for the link, read without blocking.

MicroPython's own reader waits for a whole line, so half a line from a stray program would stop the screen
and the sounds. So bytes are taken one by one while there are any, up to _BURST at a time. Ctrl-C is data
here, not an interrupt: `main.py` has made it so.
"""

import select
import sys
from time import ticks_diff, ticks_ms

from micropython import const

from timing_core.wire.framing import LineReader

_BURST = const(128)

_STALL_MS = const(400)
"""A write that took this long has failed, since MicroPython waits 500 ms for room and then gives up."""
_PACKET_BYTES = const(64)
"""How much room for output may be left when a packet of 64 bytes no longer fits."""


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
        self._reader = LineReader()
        self._unread = False
        self._byte = bytearray(1)
        self._burst = memoryview(bytearray(_BURST))

    def _read(self) -> bytes:
        """What has come in, up to _BURST bytes; b"" for nothing."""
        # The methods are looked up beforehand, since that takes memory and light may be on.
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

    def next_line(self):
        """The next line from the PC; b"" if only a part of one, or an empty one, has come in; None if nothing
        has."""
        # Asking the reader takes memory, so it is asked only when there is something in it.
        line = self._reader.next_line() if self._unread else None
        if line is not None:
            return line
        data = self._read()
        self._unread = bool(data)
        if not data:
            return None
        self._reader.feed(data)
        line = self._reader.next_line()
        return b"" if line is None else line

    def send(self, data: bytes) -> None:
        """Send `data`. If the PC has the port open and does not read, nothing is sent.

        The first such write waits half a second for room. After that the room that is left is filled up, so
        that there is none until the PC reads again.
        """
        if self._deaf and not self._has_room():
            return
        began_ms = ticks_ms()
        self._out.write(data)
        self._deaf = ticks_diff(ticks_ms(), began_ms) >= _STALL_MS
        if self._deaf:
            for _ in range(_PACKET_BYTES):
                if self._has_room():
                    self._out.write(b"\n")

    def _has_room(self) -> bool:
        for _ in self._poll_out.ipoll(0):
            return True
        return False

    def wait(self, ms: int) -> None:
        """Sleep for `ms` or until a byte comes in. An input ends the sleep too, by the call it schedules."""
        for _ in self._poll.ipoll(ms):
            break
