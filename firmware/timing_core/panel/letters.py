"""The letters and the figures of every screen.

What lives here: one small proportional typeface, drawn for this project, for words, which can be enlarged;
and round figures for times. Both are then to be read at a metre. It may not know what a screen says or where
it stands: it draws on a frame buffer that is handed to it, MicroPython's `framebuf` or `host_sim.box.raster`.

A text is encoded once, `in_letters("Sky +1/3")`, and can then be drawn any number of times. Drawing needs no
memory, so it is allowed while the lamp is lit. ASCII is its own encoding: a literal such as b"Base" needs
no `in_letters`.
"""

from timing_core.panel.glyphs import GLYPHS
from timing_core.platform import const

HEIGHT_PX = 8  # of a glyph cell: seven rows above the base line and one below it
GAP_PX = 1  # after each glyph
_STRIDE = const(8)  # bytes a glyph in _GLYPHS, and pixels a glyph in the sheet made of it

_GLYPHS = bytearray(GLYPHS)  # to be drawn from: a frame buffer takes nothing else
del GLYPHS
_FIRST = const(23)  # the code of the first glyph; from 32 to 126 the codes are ASCII

# Signs beyond ASCII, each followed by its code: those with a glyph of their own, then what editors put in
# place of plain spaces, dashes and quotes. As UTF-8, because taking single characters out of a str makes
# MicroPython keep each for ever.
_SIGNS = (
    "\u00bd\x17\u2212\x18\u00b7\x19\u2026\x1a\u2192\x1b\u00d7\x1c\u00b0\x1d\u25b8\x1e\u25b9\x1f"
    "\u00a0 \u2009 \u202f \u2010-\u2011-\u2013-\u2014-\u2018'\u2019'\u201c\"\u201d\"\u2032'\u2033\""
).encode()
_ELLIPSIS = b"\x1a"

# Fractions too fine for one cell, each followed by its numerator and denominator.
_FRACTIONS = "¼14¾34⅓13⅔23⅕15⅖25⅗35⅘45⅙16⅚56⅛18⅜38⅝58⅞78".encode()

# Base letters of U+00C0 to U+017F (Latin-1 Supplement and Latin Extended-A).
_BASE_LETTERS = (
    b"AAAAAAACEEEEIIIIDNOOOOO?OUUUUYTsaaaaaaaceeeeiiiidnooooo?ouuuuyty"
    b"AaAaAaCcCcCcCcDdDdEeEeEeEeEeGgGgGgGgHhHhIiIiIiIiIiIiJjKkkLlLlLlLlLl"
    b"NnNnNnnNnOoOoOoOoRrRrRrSsSsSsSsTtTtTtUuUuUuUuUuUuWwYyYZzZzZzs"
)


def in_letters(text: str) -> bytes:
    """The glyphs of a text, one byte each.

    Accented Latin letters lose their accents, dashes and quotes become the plain ones, and a fraction
    that has no glyph of its own is spelt out ("1/3", set off by a space from a figure before it).
    Whatever else has no glyph becomes "?".
    """
    utf8 = text.encode("utf-8", "replace")
    for lead in utf8:
        if not 32 <= lead <= 126:
            return _spelt_out(utf8)
    return utf8


def _spelt_out(utf8: bytes) -> bytes:
    codes = bytearray()
    i = 0
    while i < len(utf8):
        lead = utf8[i]
        size = 1 if lead < 0x80 else 2 if lead < 0xE0 else 3 if lead < 0xF0 else 4
        i += size
        if size == 1:
            codes.append(lead if 32 <= lead <= 126 else 63)
            continue
        sign = utf8[i - size : i]
        at = _SIGNS.find(sign)
        if at >= 0:
            codes.append(_SIGNS[at + size])
            continue
        at = _FRACTIONS.find(sign)
        if at >= 0:
            if codes and 48 <= codes[-1] <= 57:
                codes.append(32)
            codes.append(_FRACTIONS[at + size])
            codes.append(47)
            codes.append(_FRACTIONS[at + size + 1])
            continue
        point = (lead & 0x1F) << 6 | sign[-1] & 0x3F  # meant for two bytes only
        codes.append(_BASE_LETTERS[point - 0xC0] if size == 2 and 0xC0 <= point <= 0x17F else 63)
    return bytes(codes)


def width(data: bytes) -> int:
    """Pixels from the left edge of the first glyph to the right edge of the last; 0 for no glyphs."""
    px = 0
    for code in data:
        px += _GLYPHS[(code - _FIRST) * _STRIDE] + GAP_PX
    return px - GAP_PX if px else 0


def clip(data: bytes, px: int) -> bytes:
    """The same glyphs if they fit in `px` pixels, else as many as fit, followed by an ellipsis."""
    if width(data) <= px:
        return data
    room = px - width(_ELLIPSIS)
    if room < 0:
        return b""
    kept = 0
    for code in data:
        room -= _GLYPHS[(code - _FIRST) * _STRIDE] + GAP_PX
        if room < 0:
            break
        kept += 1
    return data[:kept].rstrip(b" ") + _ELLIPSIS


# What four bits of a column become when each is repeated.
_TWICE = (0, 3, 12, 15, 48, 51, 60, 63, 192, 195, 204, 207, 240, 243, 252, 255)
_THRICE = (0, 7, 56, 63, 448, 455, 504, 511, 3584, 3591, 3640, 3647, 4032, 4039, 4088, 4095)


def enlarge(buffer, row_px: int, data: bytes | bytearray, x: int, y: int, times: int = 2) -> None:
    """Write glyphs 2 or 3 times their size on the frame in `buffer`, whose rows have `row_px`. It goes
    straight into its bytes, and so is quick. `y` is a multiple of 8. Pixels are turned over, so that letters
    on a lit ground are dark. Glyphs that would pass the right edge are left out."""
    table = _TWICE if times == 2 else _THRICE
    at = (y >> 3) * row_px + x
    end = at - x + row_px
    for code in data:
        glyph = (code - _FIRST) * _STRIDE
        if at + times * _GLYPHS[glyph] > end:
            return
        for column in range(glyph + 1, glyph + 1 + _GLYPHS[glyph]):
            bits = _GLYPHS[column]
            bits = table[bits & 15] | table[bits >> 4] << 4 * times
            page = at
            while bits:
                for to in range(page, page + times):
                    buffer[to] ^= bits & 255
                bits >>= 8
                page += row_px
            at += times
        at += times * GAP_PX


class Pen:
    """Writes encoded text on a frame. Make one, from the FrameBuffer class in use, and keep it.

    All glyphs are side by side in one long frame. The frame buffer itself copies the wanted one into a cell
    and draws it from there: two quick calls for each glyph, and no memory is taken once the pen is made.
    """

    def __init__(self, FrameBuffer) -> None:
        self._glyphs = FrameBuffer(_GLYPHS, len(_GLYPHS), HEIGHT_PX, 0)
        # The first column of a glyph on the sheet is its width, not to be seen.
        self._cell = FrameBuffer(bytearray(_STRIDE - 1), _STRIDE - 1, HEIGHT_PX, 0)
        self._reversed = FrameBuffer(bytearray(b"\x01\x00"), 2, 1, 0)

    def text(self, fb, data: bytes, x: int, y: int, ink: int = 1) -> int:
        """Write glyphs with the upper left corner at (x, y), lit (ink 1) or dark (ink 0); the ground stays.

        Returns the x at which the next glyph would stand. `data` comes from `in_letters` or is plain ASCII.
        """
        for code in data:
            at = (code - _FIRST) * _STRIDE
            self._cell.blit(self._glyphs, -1 - at, 0)
            if ink:
                fb.blit(self._cell, x, y, 0)
            else:
                fb.blit(self._cell, x, y, 1, self._reversed)
            x += _GLYPHS[at] + GAP_PX
        return x


class Figures:
    """Round figures of one size for a time in seconds; drawing needs no memory.

    `shapes` are ten strings of rectangles (x, y, width, height; a byte each) that together make a figure.
    All figures are equally wide, so that a running time stands still.
    """

    def __init__(self, shapes, width: int, height: int, gap: int, point: int) -> None:
        self._shapes = shapes
        self._width = width
        self.height = height
        self._gap = gap
        self._point = point  # side of the decimal point

    def width(self, number: int, tenths: bool = True) -> int:
        """The width in pixels that `draw` needs for the same number."""
        px = self._width
        if tenths:
            if number <= 9999:
                px += self._width + self._point + 2 * self._gap
            number //= 10
        for limit in (9, 99, 999):
            if number > limit:
                px += self._width + self._gap
        return px

    def draw(self, fb, number: int, right: int, y: int, ink: int = 1, tenths: bool = True) -> int:
        """Draw a number of tenths as "12.7", or with `tenths=False` a whole number, left of x = `right`.

        From 1000.0 on the tenths are left out, and 9999 is the largest number, so it always fits in 128
        pixels. Numbers below zero are shown as 0, so that a screen drawn late cannot fail. Returns the x of
        the left edge.
        """
        if tenths and number > 9999:
            number //= 10
            tenths = False
        number = max(0, min(number, 9999))
        if tenths:
            right = self._figure(fb, number % 10, right, y, ink) - self._gap - self._point
            number //= 10
            self._dot(fb, right, y + self.height - self._point, ink)
            right -= self._gap
        right = self._figure(fb, number % 10, right, y, ink)
        while number > 9:
            number //= 10
            right = self._figure(fb, number % 10, right - self._gap, y, ink)
        return right

    def _figure(self, fb, figure: int, right: int, y: int, ink: int) -> int:
        shape = self._shapes[figure]
        left = right - self._width
        for i in range(0, len(shape), 4):
            fb.fill_rect(left + shape[i], y + shape[i + 1], shape[i + 2], shape[i + 3], ink)
        return left

    def _dot(self, fb, x: int, y: int, ink: int) -> None:
        side = self._point
        cut = side // 5  # corners of a large point are cut, to be as round as the figures
        fb.fill_rect(x, y + cut, side, side - 2 * cut, ink)
        fb.fill_rect(x + cut, y, side - 2 * cut, side, ink)


_LARGE = (
    b"\x09\x00\x06\x01\x06\x01\x0c\x04\x11\x01\x01\x07\x05\x02\x05\x04\x0e\x02\x05\x04\x03\x03\x03\x1a"
    b"\x12\x03\x03\x1a\x02\x05\x06\x02\x10\x05\x06\x02\x01\x06\x05\x14\x01\x06\x06\x02\x12\x06\x05\x14"
    b"\x00\x08\x06\x10\x12\x08\x06\x10\x01\x18\x06\x01\x11\x18\x01\x07\x02\x19\x06\x02\x10\x19\x06\x02"
    b"\x05\x1a\x05\x04\x0e\x1a\x05\x04\x06\x1b\x0c\x04\x09\x1b\x06\x05",  # 0
    b"\x0c\x00\x03\x20\x0b\x01\x05\x1e\x0c\x01\x04\x1f\x09\x02\x08\x01\x0b\x02\x06\x1c\x08\x03\x09\x05"
    b"\x07\x04\x02\x06\x05\x05\x05\x04\x04\x06\x05\x04",  # 1
    b"\x08\x00\x08\x01\x06\x01\x0c\x04\x11\x01\x01\x07\x04\x02\x03\x06\x10\x02\x04\x05\x03\x03\x05\x04"
    b"\x0f\x03\x06\x03\x02\x04\x02\x08\x12\x04\x04\x0d\x01\x05\x04\x06\x01\x05\x08\x01\x12\x05\x05\x0a"
    b"\x00\x08\x06\x02\x12\x08\x06\x05\x11\x0d\x01\x07\x10\x0e\x02\x06\x0f\x0f\x05\x04\x0e\x10\x07\x02"
    b"\x0d\x11\x04\x04\x0b\x12\x05\x04\x0a\x13\x02\x06\x08\x14\x05\x04\x07\x15\x05\x04\x06\x16\x08\x01"
    b"\x05\x17\x05\x03\x04\x18\x05\x03\x03\x19\x06\x02\x02\x1a\x07\x01\x01\x1b\x16\x05\x00\x1c\x18\x03",  # 2
    b"\x08\x00\x07\x01\x05\x01\x0d\x04\x0f\x01\x03\x05\x04\x02\x05\x04\x12\x02\x02\x1c\x02\x03\x04\x05"
    b"\x03\x03\x02\x06\x10\x03\x05\x04\x12\x04\x04\x09\x01\x05\x06\x02\x01\x05\x05\x03\x11\x06\x06\x02"
    b"\x12\x06\x05\x03\x11\x09\x06\x03\x10\x0b\x04\x04\x0d\x0c\x08\x02\x07\x0d\x0d\x04\x08\x0d\x0c\x05"
    b"\x0f\x10\x06\x03\x11\x11\x05\x03\x12\x12\x05\x09\x12\x14\x06\x05\x01\x17\x04\x05\x00\x18\x06\x02"
    b"\x02\x19\x05\x04\x11\x19\x05\x03\x04\x1a\x05\x04\x0f\x1a\x06\x03\x05\x1b\x0d\x04\x08\x1b\x08\x05",  # 3
    b"\x0a\x00\x04\x06\x09\x01\x04\x07\x09\x01\x06\x03\x08\x04\x04\x06\x07\x06\x04\x06\x06\x08\x04\x06"
    b"\x05\x0a\x02\x09\x0f\x0b\x03\x15\x04\x0c\x04\x06\x0e\x0c\x05\x13\x03\x0e\x06\x02\x02\x10\x05\x03"
    b"\x01\x12\x06\x01\x01\x13\x16\x05\x00\x14\x18\x03",  # 4
    b"\x03\x00\x12\x05\x03\x00\x02\x11\x02\x01\x05\x0f\x02\x01\x14\x03\x01\x08\x06\x07\x08\x09\x06\x01"
    b"\x01\x0a\x10\x04\x01\x0a\x08\x05\x10\x0b\x03\x05\x0e\x0c\x06\x03\x11\x0d\x04\x04\x12\x0e\x04\x0d"
    b"\x12\x0f\x05\x0b\x12\x11\x06\x07\x01\x15\x03\x01\x00\x16\x05\x03\x01\x16\x04\x05\x03\x17\x03\x06"
    b"\x11\x18\x02\x06\x04\x19\x03\x05\x10\x19\x05\x03\x02\x1a\x07\x02\x0e\x1a\x06\x03\x05\x1b\x0d\x04"
    b"\x08\x1b\x07\x05",  # 5
    b"\x10\x00\x03\x05\x0d\x01\x07\x03\x0b\x02\x06\x04\x0a\x03\x02\x06\x08\x04\x05\x04\x07\x05\x08\x02"
    b"\x06\x06\x05\x04\x05\x07\x04\x09\x04\x08\x02\x16\x03\x0a\x0d\x05\x02\x0b\x04\x11\x02\x0b\x10\x01"
    b"\x0f\x0c\x05\x04\x01\x0d\x06\x05\x01\x0d\x14\x01\x12\x0e\x04\x0e\x11\x0f\x06\x03\x00\x10\x06\x08"
    b"\x12\x12\x06\x06\x01\x18\x06\x02\x11\x18\x06\x02\x03\x19\x05\x04\x10\x19\x04\x05\x02\x1a\x07\x01"
    b"\x0f\x1a\x06\x03\x06\x1b\x0c\x04\x08\x1b\x08\x05",  # 6
    b"\x01\x00\x16\x05\x10\x00\x04\x0b\x10\x00\x05\x09\x10\x00\x06\x07\x10\x00\x07\x06\x00\x01\x18\x03"
    b"\x0f\x07\x03\x07\x0e\x09\x05\x03\x0d\x0a\x04\x06\x0c\x0c\x04\x06\x0b\x0e\x03\x09\x0a\x10\x05\x04"
    b"\x09\x12\x04\x09\x08\x15\x03\x0b\x07\x18\x05\x07",  # 7
    b"\x08\x00\x08\x02\x06\x01\x02\x06\x0f\x01\x03\x05\x04\x02\x10\x03\x03\x03\x04\x0b\x10\x03\x05\x04"
    b"\x02\x04\x05\x09\x02\x04\x07\x02\x11\x04\x05\x09\x01\x06\x06\x05\x11\x06\x06\x05\x02\x0b\x06\x01"
    b"\x10\x0b\x04\x08\x03\x0c\x12\x02\x04\x0c\x10\x05\x03\x0f\x07\x03\x0e\x0f\x07\x03\x02\x10\x06\x03"
    b"\x02\x10\x14\x01\x01\x11\x05\x0a\x12\x11\x05\x0a\x00\x13\x06\x06\x12\x13\x06\x06\x06\x19\x01\x06"
    b"\x11\x19\x05\x03\x02\x1a\x07\x02\x06\x1a\x03\x05\x0f\x1a\x03\x05\x03\x1b\x12\x02\x04\x1b\x10\x03"
    b"\x08\x1b\x08\x05",  # 8
    b"\x08\x00\x08\x01\x06\x01\x0c\x04\x04\x02\x04\x05\x10\x02\x04\x05\x03\x03\x04\x05\x0f\x03\x06\x03"
    b"\x02\x04\x04\x0e\x02\x04\x07\x02\x12\x04\x04\x11\x01\x06\x05\x0b\x11\x06\x06\x02\x00\x08\x06\x06"
    b"\x12\x08\x06\x08\x03\x0e\x04\x05\x11\x0e\x03\x0a\x04\x10\x05\x04\x06\x10\x03\x05\x0f\x10\x08\x03"
    b"\x08\x11\x0d\x05\x0d\x11\x06\x08\x0c\x17\x02\x06\x0b\x18\x05\x04\x09\x19\x08\x02\x09\x19\x09\x01"
    b"\x07\x1a\x06\x04\x05\x1b\x03\x05\x04\x1c\x07\x03",  # 9
)

LARGE = Figures(_LARGE, 24, 32, 3, 6)  # strokes of five pixels; "99.9" is 87 pixels wide
