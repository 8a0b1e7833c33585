"""The display: 128 x 64 pixels on I2C, SSD1306 or SSD1309.

A whole frame takes 25 ms on the bus, longer than a key may wait. So changes are sent in pieces of 32
columns, about 1 ms each, one at each `step`.

A display that does not answer stops nothing, since the box can be used by ear. It is tried again now and
then, with its whole start-up sequence, since it may have lost power.
"""

from time import ticks_diff, ticks_ms

from framebuf import MONO_VLSB, FrameBuffer
from machine import I2C
from micropython import const

_ADDRESS = const(0x3C)
_WIDTH = const(128)
_PAGES = const(8)
_PIECE = const(32)
_PIECES = const(32)

_RETRY_MS = const(500)

# Data sheet, section 8 and application note: off, clock, 64 lines, no offset, charge pump, horizontal
# addressing, segments and lines mirrored, COM pins, precharge, VCOMH, follow the memory, not inverted, on.
_START = const(
    b"\x00\xae\xd5\x80\xa8\x3f\xd3\x00\x40\x8d\x14\x20\x00\xa1\xc8\xda\x12\xd9\xf1\xdb\x40\xa4\xa6\xaf"
)
_LEVELS = const(b"\x01\x08\x20\x60\xff")


class Display:
    """Shows `frame`, a bytearray of 1,024 bytes that others draw."""

    def __init__(self, i2c: I2C, frame: bytearray) -> None:
        self._i2c = i2c
        self._frame = frame
        self._shown = bytearray(len(frame))
        pages = range(0, len(frame), _WIDTH)
        self._new = [memoryview(frame)[at : at + _WIDTH] for at in pages]
        self._old = [memoryview(self._shown)[at : at + _WIDTH] for at in pages]
        # Copied as pictures, not as slices, and sent from one buffer: anything else would take memory, and
        # light may be on.
        self._new_picture = FrameBuffer(frame, _WIDTH, 8 * _PAGES, MONO_VLSB)
        self._old_picture = FrameBuffer(self._shown, _WIDTH, 8 * _PAGES, MONO_VLSB)
        self._data = bytearray(b"\x40" + bytes(_PIECE))
        self._data_picture = FrameBuffer(memoryview(self._data)[1:], _PIECE, 8, MONO_VLSB)
        self._window = bytearray(b"\x00\x21\x00\x00\x22\x00\x00")
        self._contrast = bytearray(b"\x00\x81\x20")
        self._at = 0
        self._started = False
        self._leveled = False
        self._all_left = 0
        self._failed_ms = ticks_ms() - _RETRY_MS

    def level(self, level: int) -> None:
        """Brightness, 1 to 5."""
        self._contrast[2] = _LEVELS[level - 1]
        self._leveled = False

    def leave_out(self) -> None:
        """Drop what was drawn since: the frame becomes what the display shows."""
        self._frame[:] = self._shown

    def answers(self) -> bool:
        """True if the display answers now. If not, it is started again later, as after a failed `step`."""
        try:
            self._i2c.writeto(_ADDRESS, self._contrast)
        except OSError:
            self._fail()
            return False
        return True

    def step(self) -> bool:
        """Send the next piece that is due; False if all is shown or the display does not answer."""
        if not self._started and ticks_diff(ticks_ms(), self._failed_ms) < _RETRY_MS:
            return False
        try:
            return self._send_next()
        except OSError:
            self._fail()
            return False

    def _fail(self) -> None:
        self._started = False
        self._failed_ms = ticks_ms()

    def _send_next(self) -> bool:
        if not self._started:
            self._i2c.writeto(_ADDRESS, _START)
            self._started = True
            self._leveled = False
            self._all_left = _PIECES
        elif not self._leveled:
            # Marked as done before it is, so that a new level that comes meanwhile is sent too.
            self._leveled = True
            self._i2c.writeto(_ADDRESS, self._contrast)
        else:
            return self._send_piece()
        return True

    def _send_piece(self) -> bool:
        if not self._all_left and self._frame == self._shown:
            return False  # nearly always, and told at once
        for _ in range(_PIECES):
            at = self._at
            self._at = (at + 1) % _PIECES
            if self._all_left or self._changed(at):
                self._send(at)
                if self._all_left:
                    self._all_left -= 1
                return True
        return False

    def _changed(self, at: int) -> bool:
        """True if piece `at` is not what the display shows."""
        page = at * _PIECE // _WIDTH
        new, old = self._new[page], self._old[page]
        if new == old:
            return False
        start = at * _PIECE % _WIDTH
        # Light may be on, and `any` would take memory.
        for column in range(start, start + _PIECE):  # noqa: SIM110
            if new[column] != old[column]:
                return True
        return False

    def _send(self, at: int) -> None:
        column = at * _PIECE % _WIDTH
        page = at * _PIECE // _WIDTH
        window = self._window
        window[2] = column
        window[3] = column + _PIECE - 1
        window[5] = window[6] = page
        self._data_picture.blit(self._new_picture, -column, -8 * page)
        self._i2c.writeto(_ADDRESS, window)
        self._i2c.writeto(_ADDRESS, self._data)
        self._old_picture.blit(self._data_picture, column, 8 * page)
