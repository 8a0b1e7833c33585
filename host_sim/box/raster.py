"""A frame buffer that draws what MicroPython's `framebuf` draws, bit for bit, in plain Python.

What lives here: the part of `framebuf.FrameBuffer` that the screens use, for one pixel per bit in
columns of eight (MONO_VLSB, the byte order of the display controller). It may not know what is drawn.
On the board the real `framebuf.FrameBuffer` is handed to the core in its place, so nothing here may
offer more than `framebuf` does.

A row of bytes is handled as one long integer, so that a row of any width takes the same few operations.
"""

MONO_VLSB = 0

_FEW = 16
"""Fewer bytes than this are quicker one by one."""


def _ones(count: int) -> int:
    """A 1 in each of `count` bytes, as one integer: times a byte, it is that byte so often."""
    return _FEW_ONES[count] if count < _FEW else int.from_bytes(b"\x01" * count, "little")


_FEW_ONES = [int.from_bytes(b"\x01" * count, "little") for count in range(_FEW)]


class FrameBuffer:
    """One bit a pixel; bit 0 of a byte is the uppermost of its eight rows; page after page of `width` bytes.

    `buffer` is a bytearray of at least `width * ceil(height / 8)` bytes and stays the caller's: it is
    drawn on in place. Coordinates may lie anywhere; what falls outside is left out. Any colour but 0 is lit.
    Raises ValueError for a format other than MONO_VLSB, a side outside 1..65535, or a buffer too short.
    """

    def __init__(self, buffer: bytearray, width: int, height: int, format: int) -> None:
        if format != MONO_VLSB:
            raise ValueError("invalid format")
        if not (1 <= width <= 0xFFFF and 1 <= height <= 0xFFFF):
            raise ValueError("frame sides must be 1 to 65535 pixels")
        if len(buffer) < width * ((height + 7) >> 3):
            raise ValueError("buffer too short for the frame")
        self._buffer = buffer
        self._width = width
        self._height = height

    def _put(self, start: int, count: int, mask: int, bits: int) -> None:
        """Set the bits that `mask` chooses, in `count` bytes from `start`, to the values in `bits`."""
        old = int.from_bytes(self._buffer[start : start + count], "little")
        self._buffer[start : start + count] = (old & ~mask | bits).to_bytes(count, "little")

    def fill(self, c: int) -> None:
        """Colour the whole frame."""
        self.fill_rect(0, 0, self._width, self._height, c)

    def fill_rect(self, x: int, y: int, w: int, h: int, c: int) -> None:
        """Colour a rectangle. One without width or height draws nothing."""
        # Compared and not min() or max(): figures are drawn of rectangles, many to a picture.
        right, bottom = x + w, y + h
        if x < 0:
            x = 0
        if y < 0:
            y = 0
        if right > self._width:
            right = self._width
        if bottom > self._height:
            bottom = self._height
        w = right - x
        if w < 1 or bottom <= y:
            return
        buffer = self._buffer
        for page in range(y >> 3, (bottom + 7) >> 3):
            top = page << 3
            byte = 0xFF
            if top < y:
                byte = 0xFF << y - top & 0xFF
            if top + 8 > bottom:
                byte &= 0xFF >> top + 8 - bottom
            start = page * self._width + x
            if byte == 0xFF:
                buffer[start : start + w] = (b"\xff" if c else b"\x00") * w
            elif w >= _FEW:
                mask = _ones(w) * byte
                self._put(start, w, mask, mask if c else 0)
            elif c:
                for at in range(start, start + w):
                    buffer[at] |= byte
            else:
                byte ^= 0xFF
                for at in range(start, start + w):
                    buffer[at] &= byte

    def hline(self, x: int, y: int, w: int, c: int) -> None:
        """Colour `w` pixels to the right from (x, y)."""
        self.fill_rect(x, y, w, 1, c)

    def vline(self, x: int, y: int, h: int, c: int) -> None:
        """Colour `h` pixels downward from (x, y)."""
        self.fill_rect(x, y, 1, h, c)

    def rect(self, x: int, y: int, w: int, h: int, c: int, fill: bool = False) -> None:
        """Draw a rectangle's outline, one pixel thick, or all of it if `fill`."""
        if fill:
            self.fill_rect(x, y, w, h, c)
            return
        self.fill_rect(x, y, w, 1, c)
        self.fill_rect(x, y + h - 1, w, 1, c)
        self.fill_rect(x, y, 1, h, c)
        self.fill_rect(x + w - 1, y, 1, h, c)

    def pixel(self, x: int, y: int, c: int | None = None) -> int | None:
        """Without `c` the pixel's colour, None outside the frame; with `c` colour it and return None."""
        if not (0 <= x < self._width and 0 <= y < self._height):
            return None
        at = (y >> 3) * self._width + x
        bit = 1 << (y & 7)
        if c is None:
            return 1 if self._buffer[at] & bit else 0
        if c:
            self._buffer[at] |= bit
        else:
            self._buffer[at] &= ~bit
        return None

    def line(self, x1: int, y1: int, x2: int, y2: int, c: int) -> None:
        """Draw a line of single pixels, both ends included."""
        dx = abs(x2 - x1)
        dy = abs(y2 - y1)
        sx = 1 if x2 > x1 else -1
        sy = 1 if y2 > y1 else -1
        steep = dy > dx
        if steep:
            x1, y1, dx, dy, sx, sy = y1, x1, dy, dx, sy, sx
        error = 2 * dy - dx
        for _ in range(dx):
            if steep:
                self.pixel(y1, x1, c)
            else:
                self.pixel(x1, y1, c)
            if error >= 0:
                y1 += sy
                error -= 2 * dx
            x1 += sx
            error += 2 * dy
        self.pixel(x2, y2, c)

    def blit(
        self, fbuf: "FrameBuffer", x: int, y: int, key: int = -1, palette: "FrameBuffer | None" = None
    ) -> None:
        """Draw another frame with its upper left corner at (x, y).

        `palette`, a frame two wide and one high, gives the colours to draw for dark and for lit pixels;
        pixels whose colour then equals `key` are left out. A frame is not drawn onto itself: ValueError.
        """
        source = fbuf._buffer
        if source is self._buffer:
            raise ValueError("a frame cannot be blitted onto itself")
        # Compared as above, since every glyph of a picture comes through here twice.
        skip, w = 0, fbuf._width
        if x < 0:
            skip, w, x = -x, w + x, 0
        if w > self._width - x:
            w = self._width - x
        if w < 1:
            return
        height = fbuf._height
        if height == 8 and not y & 7 and key < 1 and palette is None and 0 <= y <= self._height - 8:
            # A whole page onto a whole page: the bytes as they are, as the pen fetches every glyph, or but
            # for the dark pixels, as it writes nearly all of them.
            onto = (y >> 3) * self._width + x
            page: bytes | bytearray = source[skip : skip + w]
            if not key:
                lit = int.from_bytes(page, "little")
                if not lit:
                    return
                lit |= int.from_bytes(self._buffer[onto : onto + w], "little")
                page = lit.to_bytes(w, "little")
            self._buffer[onto : onto + w] = page
            return
        bottom = y + height
        if bottom > self._height:
            bottom = self._height
        if bottom <= y or bottom <= 0:
            return
        shift = y & 7
        ones = _ones(w)
        for source_page in range((height + 7) >> 3):
            top = y + (source_page << 3)
            # Which rows of this page of the source are visible, in the source's own bit order.
            seen = 0xFF
            if top < 0:
                seen = 0xFF << min(-top, 8) & 0xFF
            if top + 8 > bottom:
                seen &= 0xFF >> min(top + 8 - bottom, 8)
            if not seen:
                continue
            start = source_page * fbuf._width + skip
            onto = (top >> 3) * self._width + x
            bits = int.from_bytes(source[start : start + w], "little")
            if palette is not None:
                dark = ones * 0xFF if palette._buffer[0] & 1 else 0
                lit = ones * 0xFF if palette._buffer[1] & 1 else 0
                bits = bits & lit | ~bits & dark
            mask = ones * seen
            if key == 0:
                mask &= bits
            elif key == 1:
                mask &= ~bits
            bits &= mask
            if not shift:
                self._put(onto, w, mask, bits)
                continue
            # An unaligned page of the source falls on two pages of this frame.
            upper = mask & ones * (0xFF >> shift)
            if upper:
                self._put(onto, w, upper << shift, (bits & upper) << shift)
            lower = mask ^ upper
            if lower:
                self._put(onto + self._width, w, lower >> 8 - shift, (bits & lower) >> 8 - shift)

    def scroll(self, xstep: int, ystep: int) -> None:
        """Move the picture. Pixels that nothing is moved onto stay as they were."""
        self.blit(FrameBuffer(bytearray(self._buffer), self._width, self._height, MONO_VLSB), xstep, ystep)
