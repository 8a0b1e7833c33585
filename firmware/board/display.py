"""The display: 128 x 64 pixels on I2C, an OLED with an SSD1306, SSD1309 or SH1106, or an LCD with an ST7567.

Which of them is fitted is told: no chip says what it is. All four keep the picture as the core draws it, in
pages of eight rows, and take it by pages: a page, a column, then a byte for each column from there on. SH1106
and ST7567 have 132 columns for a panel of 128, so the column that the panel begins at is told too.

A whole frame takes 29 ms on the bus, longer than a key may wait. So changes are sent in pieces of 32
columns, about 1 ms each, one at each `step`.

A display that does not answer stops nothing, since the box can be used by ear. It is tried again now and
then, with its whole start-up sequence, since it may have lost power. While there is nothing to show it is
sent its brightness now and then, to find out. What its memory holds after a loss of power is chance and could
be bright, so it is switched on when it has the whole picture.

The LCD is a negative one: what is lit lets the red light through that is behind it. Its brightness is that
light's, its contrast is fixed.
"""

from time import ticks_diff, ticks_ms

from framebuf import MONO_VLSB, FrameBuffer
from machine import I2C, PWM
from micropython import const

_WIDTH = const(128)
_PAGES = const(8)
_PIECE = const(32)
_PIECES = const(32)

_RETRY_MS = const(500)

KINDS = ("ssd1306", "ssd1309", "sh1106", "st7567")
"""The displays by their controllers. The last is the LCD."""

LCD = KINDS[-1]

# With their address pins at ground; the usual LCD modules have both of theirs high (from memory).
_OLED_ADDRESS = const(0x3C)
_LCD_ADDRESS = const(0x3F)

# SSD1306 data sheet, sections 8 and 9 and application note, and the same in the others: off, clock, 64 lines,
# no offset, first line, segments and lines mirrored, COM pins, precharge, VCOMH, follow the memory, not
# inverted.
_OLED = const(b"\x00\xae\xd5\x80\xa8\x3f\xd3\x00\x40\xa1\xc8\xda\x12\xd9\xf1\xdb\x40\xa4\xa6")
# What each OLED needs besides, four bytes of it. SSD1306: charge pump, page addressing. SSD1309, which has no
# pump: page addressing, its VCOMH. SH1106, which has no other addressing: its converter, and twice nothing.
# The last two are from memory.
_OWN = const(b"\x8d\x14\x20\x02\x20\x02\xdb\x34\xad\x8b\xe3\xe3")
# ST7567S data sheet, 9 and 10-1: reset, off, bias 1/9, segments not mirrored, lines mirrored, regulation 5.0,
# first line, booster 4x, then booster, regulator and follower on, not inverted, follow the memory. Reset puts
# the electronic volume in its middle, where `_contrast` leaves it.
_LCD = const(b"\x00\xe2\xae\xa2\xa0\xc8\x24\x40\xf8\x00\x2c\x2e\x2f\xa6\xa4")
_ON = const(b"\x00\xaf")
_LEVELS = const(b"\x01\x08\x20\x60\xff")


class Display:
    """Shows `frame`, a bytearray of 1,024 bytes that others draw, on a display of `kind`, one of `KINDS`.

    `offset` is the column that its panel begins at; `backlight` is on the pin of an LCD's light. ValueError
    for another kind.
    """

    def __init__(
        self, i2c: I2C, frame: bytearray, kind: str = "ssd1306", offset: int = 0, backlight: PWM | None = None
    ) -> None:
        self._i2c = i2c
        own = 4 * KINDS.index(kind)
        self._address = _LCD_ADDRESS if kind == LCD else _OLED_ADDRESS
        self._start = _LCD if kind == LCD else _OLED + _OWN[own : own + 4]
        self._offset = offset
        self._backlight = backlight
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
        self._place = bytearray(4)
        self._contrast = bytearray(b"\x00\x81\x20")
        self._at = 0
        self._started = False
        self._leveled = False
        self._all_left = 0
        self._tried_ms = ticks_ms() - _RETRY_MS

    def level(self, level: int) -> None:
        """Brightness, 1 to 5."""
        light = _LEVELS[level - 1]
        if self._backlight:
            self._backlight.duty_u16(light * 257)
        else:
            self._contrast[2] = light
            self._leveled = False

    def leave_out(self) -> None:
        """Drop what was drawn since: the frame becomes what the display shows."""
        self._frame[:] = self._shown

    def answers(self) -> bool:
        """True if the display answers now. If not, it is started again later, as after a failed `step`."""
        try:
            self._i2c.writeto(self._address, self._contrast)
        except OSError:
            self._fail()
            return False
        return True

    def step(self) -> bool:
        """Send the next piece that is due; False if all is shown or the display does not answer."""
        if not self._started and ticks_diff(ticks_ms(), self._tried_ms) < _RETRY_MS:
            return False
        try:
            return self._send_next()
        except OSError:
            self._fail()
            return False

    def _fail(self) -> None:
        self._started = False
        self._tried_ms = ticks_ms()

    def _send_next(self) -> bool:
        if not self._started:
            self._i2c.writeto(self._address, self._start)
            self._tried_ms = ticks_ms()
            self._started = True
            self._leveled = False
            self._all_left = _PIECES + 1
        elif not self._leveled:
            # Marked as done before it is, so that a new level that comes meanwhile is sent too.
            self._leveled = True
            self._i2c.writeto(self._address, self._contrast)
        elif self._all_left == 1:
            self._i2c.writeto(self._address, _ON)
            self._all_left = 0
        else:
            return self._send_piece()
        return True

    def _send_piece(self) -> bool:
        if not self._all_left and self._frame == self._shown:
            # Nearly always, and told at once.
            if ticks_diff(ticks_ms(), self._tried_ms) < _RETRY_MS:
                return False
            self._tried_ms = ticks_ms()
            self._leveled = False
            return True
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
        place = self._place
        place[1] = 0xB0 | page
        place[2] = column + self._offset & 15
        place[3] = 0x10 | column + self._offset >> 4
        self._data_picture.blit(self._new_picture, -column, -8 * page)
        self._i2c.writeto(self._address, place)
        self._i2c.writeto(self._address, self._data)
        self._old_picture.blit(self._data_picture, column, 8 * page)
