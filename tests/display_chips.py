"""The controllers of the displays that a box can have, each as its data sheet has it.

What must live here: what a controller does with the bytes that its bus brings, and what its panel then shows.
It may not know the bus, nor what is drawn.

Sources. ST7567: Sitronix, ST7567S data sheet 1.4 (2016), for all that is here. SSD1306: Solomon Systech,
table 9-1 and section 10, from memory; so is the SSD1309's table 9-1, the same but for the charge pump, a
lock and a GPIO. SH1106 (Sino Wealth): that it has 132 columns and page addressing only is from Linux, commit
079306e979d7; the rest of its table is from memory. How the modules are wired (`SEGMENTS`, `LINES`, `FIRST`)
is in no data sheet: for the OLEDs it is what u8g2 sets, for the LCD what public drivers for the GM12864-59N
set.

Addresses on the bus: the OLEDs have 0x3C or 0x3D, and modules are sold with 0x3C (from memory). The ST7567
has 0x3C to 0x3F, and modules are sold with 0x3F, which public drivers for them have.
"""

from __future__ import annotations

from random import Random
from typing import ClassVar

WIDTH = 128
PAGES = 8
ROWS = 8 * PAGES

HORIZONTAL, VERTICAL, PAGE = 0, 1, 2

DARK = bytes(WIDTH * PAGES)


class Chip:
    """A controller on its module, with its power just applied."""

    NAME: str
    ADDRESS = 0x3C
    COLUMNS = WIDTH
    """Columns of its memory."""
    FIRST = 0
    """The column that the panel begins at."""
    SEGMENTS = 1
    LINES = 1
    """Which directions of both put the picture upright: 1 is mirrored."""
    ARGUMENTS: ClassVar[dict[int, int]]
    """Commands that take bytes after them, and how many."""
    PLAIN: frozenset[int]
    """All others that it knows."""

    def __init__(self, strict: bool = True) -> None:
        self.strict = strict
        """A command that it does not know is an error; a real one passes it over."""
        self.times_on = 0
        self.power_up()

    def power_up(self) -> None:
        """Its power has been away. Nobody has written its memory yet: chance did."""
        self.memory = bytearray(Random(len(self.NAME)).randbytes(self.COLUMNS * PAGES))
        """By page and column, as written."""
        self._cells = bytearray(self.memory)
        """By page and place on the panel."""
        self.lit = False
        self.inverted = False
        self.all_on = False
        self.contrast = 0x7F
        self.segments = 0
        self.lines = 0
        self.start_line = 0
        self._column = 0
        self._page = 0
        self._command = bytearray()
        self._control: int | None = None

    # --- what is seen

    def frame(self) -> bytes:
        """The memory behind the panel: 1,024 bytes, eight pages of 128 columns, the lowest bit on top."""
        return b"".join(self._page_of(self.memory, page) for page in range(PAGES))

    def shown(self) -> bytes:
        """What an eye sees on the panel, in the same order, upright: dark if it is off or has no power."""
        if not self.lit or self.lacks():
            return DARK
        if self.all_on:
            return bytes([255]) * len(DARK)
        seen = bytearray(len(DARK))
        for row in range(ROWS):
            line = (row if self.lines == self.LINES else ROWS - 1 - row) + self.start_line
            page, bit = line % ROWS >> 3, line & 7
            for column, byte in enumerate(self._page_of(self._cells, page)):
                seen[(row >> 3) * WIDTH + column] |= (byte >> bit & 1) << (row & 7)
        return bytes(byte ^ 255 for byte in seen) if self.inverted else bytes(seen)

    def lacks(self) -> list[str]:
        """What keeps the panel from showing anything, or anything but noise."""
        return []

    def _page_of(self, cells: bytearray, page: int) -> bytes:
        at = page * self.COLUMNS + self.FIRST
        return bytes(cells[at : at + WIDTH])

    # --- the bus

    def begin(self) -> None:
        """A transfer begins."""
        self._control = None

    def take(self, value: int) -> bool:
        """One byte of a transfer; True if it was for the memory."""
        if self._control is None:
            if value not in (0x00, 0x40, 0x80, 0xC0):
                raise ValueError(f"{self.NAME}: control byte 0x{value:02x}")
            self._control = value
            return False
        if is_data := bool(self._control & 0x40):
            self._write(value)
        else:
            self._command.append(value)
            self._take_command()
        if self._control & 0x80:
            # One byte only: another control byte follows.
            self._control = None
        return is_data

    def _take_command(self) -> None:
        code, *given = self._command
        if code not in self.ARGUMENTS and code not in self.PLAIN:
            if self.strict:
                raise ValueError(f"{self.NAME}: unknown command 0x{code:02x}")
            self._command.clear()
        elif len(given) == self.ARGUMENTS.get(code, 0):
            self._command.clear()
            self._obey(code, given)

    def _obey(self, code: int, given: list[int]) -> None:
        """What all of them do alike."""
        if code < 0x10:
            self._column = self._column & 0xF0 | code
        elif code < 0x20:
            self._column = self._column & 0x0F | (code & 0x0F) << 4
        elif 0x40 <= code < 0x80:
            self.start_line = code - 0x40
        elif code == 0x81:
            self.contrast = given[0]
        elif code in (0xA0, 0xA1):
            self.segments = code & 1
        elif code in (0xA4, 0xA5):
            self.all_on = code == 0xA5
        elif code in (0xA6, 0xA7):
            self.inverted = code == 0xA7
        elif code in (0xAE, 0xAF):
            self.times_on += code == 0xAF and not self.lit
            self.lit = code == 0xAF
        elif 0xB0 <= code < 0xC0:
            self._page = code - 0xB0
        elif 0xC0 <= code < 0xD0:
            self.lines = code >> 3 & 1

    def _write(self, value: int) -> None:
        self._put(value)
        self._step()

    def _put(self, value: int) -> None:
        if self._column < self.COLUMNS and self._page < PAGES:
            at = self._page * self.COLUMNS
            self.memory[at + self._column] = value
            # All of them turn segments round as they write: what is in the memory stays where it was.
            mirrored = self.segments != self.SEGMENTS
            self._cells[at + (self.COLUMNS - 1 - self._column if mirrored else self._column)] = value

    def _step(self) -> None:
        """On to the next column, and from the last one to the first."""
        self._column = (self._column + 1) % self.COLUMNS


class Oled(Chip):
    """What SSD1306, SSD1309 and SH1106 have in common."""

    LAYOUT: ClassVar[dict[int, int]] = {0xA8: 0x3F, 0xD3: 0x00, 0xDA: 0x12}
    """64 lines, none of them shifted, every other one on the other side: so they come up, and panels are."""

    def power_up(self) -> None:
        super().power_up()
        self._set = dict(self.LAYOUT)

    def lacks(self) -> list[str]:
        # 64 lines, none of them shifted, every other one on the other side of the panel.
        right = {0xA8: 0x3F, 0xD3: 0x00, 0xDA: 0x12}
        return [
            f"0x{code:02x} is 0x{self._set[code]:02x}" for code in right if self._set[code] != right[code]
        ]

    def _obey(self, code: int, given: list[int]) -> None:
        if code in self._set:
            self._set[code] = given[0]
        else:
            super()._obey(code, given)


class Ssd1309(Oled):
    """Three addressing modes, with windows of columns and pages. Its panel has a supply of its own."""

    NAME = "SSD1309"
    ARGUMENTS: ClassVar[dict[int, int]] = {
        0x20: 1,  # addressing mode
        0x21: 2,  # column window
        0x22: 2,  # page window
        0x26: 6,  # scroll
        0x27: 6,
        0x29: 5,
        0x2A: 5,
        0x81: 1,  # contrast
        0xA3: 2,  # scroll area
        0xA8: 1,  # multiplex ratio
        0xD3: 1,  # offset
        0xD5: 1,  # clock divider
        0xD9: 1,  # pre-charge
        0xDA: 1,  # COM pins
        0xDB: 1,  # VCOMH level
        0xDC: 1,  # GPIO
        0xFD: 1,  # lock
    }
    PLAIN = frozenset(
        [*range(0x20), 0x2E, 0x2F, *range(0x40, 0x80), 0xA0, 0xA1, *range(0xA4, 0xA8), 0xAE, 0xAF]
        + [*range(0xB0, 0xB8), 0xC0, 0xC8, 0xE3]
    )

    def power_up(self) -> None:
        super().power_up()
        self._mode = PAGE
        self._columns = (0, WIDTH - 1)
        self._pages = (0, PAGES - 1)

    def _obey(self, code: int, given: list[int]) -> None:
        if code == 0x20:
            self._mode = given[0] & 3
        elif code == 0x21:
            self._columns = (given[0] & 127, given[1] & 127)
            self._column = self._columns[0]
        elif code == 0x22:
            self._pages = (given[0] & 7, given[1] & 7)
            self._page = self._pages[0]
        elif code < 0x20 or 0xB0 <= code < 0xC0:
            # For page addressing only.
            if self._mode == PAGE:
                super()._obey(code, given)
                self._column &= 127
        else:
            super()._obey(code, given)

    def _step(self) -> None:
        if self._mode == PAGE:
            super()._step()
        elif self._mode == HORIZONTAL:
            if self._next_column():
                self._next_page()
        elif self._next_page():
            self._next_column()

    def _next_column(self) -> bool:
        """Step on within the window; True if that began it anew."""
        whole = self._column == self._columns[1]
        self._column = self._columns[0] if whole else (self._column + 1) % WIDTH
        return whole

    def _next_page(self) -> bool:
        whole = self._page == self._pages[1]
        self._page = self._pages[0] if whole else (self._page + 1) % PAGES
        return whole


class Ssd1306(Ssd1309):
    """It makes its panel's voltage itself, once its charge pump is on."""

    NAME = "SSD1306"
    ARGUMENTS = {code: count for code, count in Ssd1309.ARGUMENTS.items() if code not in (0xDC, 0xFD)} | {
        0x8D: 1
    }

    def power_up(self) -> None:
        super().power_up()
        self._set[0x8D] = 0x10

    def lacks(self) -> list[str]:
        return super().lacks() + (["charge pump"] if not self._set[0x8D] & 4 else [])


class Sh1106(Oled):
    """Page addressing only, in 132 columns; the panel has those in the middle."""

    NAME = "SH1106"
    COLUMNS = 132
    FIRST = 2
    ARGUMENTS: ClassVar[dict[int, int]] = {
        0x81: 1,
        0xA8: 1,
        0xAD: 1,
        0xD3: 1,
        0xD5: 1,
        0xD9: 1,
        0xDA: 1,
        0xDB: 1,
    }
    PLAIN = frozenset(
        [*range(0x20), *range(0x30, 0x34), *range(0x40, 0x80), 0xA0, 0xA1, *range(0xA4, 0xA8), 0xAE, 0xAF]
        + [*range(0xB0, 0xB8), *range(0xC0, 0xD0), 0xE0, 0xE3, 0xEE]
    )

    def power_up(self) -> None:
        super().power_up()
        self._set[0xAD] = 0x8B

    def lacks(self) -> list[str]:
        return super().lacks() + (["converter"] if self._set[0xAD] != 0x8B else [])

    def _step(self) -> None:
        """It stays past the last column."""
        self._column = min(self._column + 1, self.COLUMNS)


class St7567(Chip):
    """An LCD controller: page addressing only, in 132 columns, and its power is switched on part by part."""

    NAME = "ST7567"
    ADDRESS = 0x3F
    COLUMNS = 132
    SEGMENTS = 0
    ARGUMENTS: ClassVar[dict[int, int]] = {0x81: 1, 0xF8: 1}
    PLAIN = frozenset(
        [*range(0x30), *range(0x40, 0x80), *range(0xA0, 0xA8), 0xAE, 0xAF, *range(0xB0, 0xB9)]
        + [*range(0xC0, 0xD0), 0xE0, 0xE2, 0xE3, 0xEE]
    )

    def power_up(self) -> None:
        super().power_up()
        self._bias = 9
        self._power = 0
        self._booster = 4
        self._reset()

    def _reset(self) -> None:
        """By the command; section 8 has the list."""
        self.start_line = 0
        self._column = 0
        self._page = 0
        self.lines = 0
        self._ratio = 4
        self.contrast = 0x20

    def volts(self) -> float:
        """V0, by 9-2-17."""
        return (3.0 + 0.5 * self._ratio) * (99 + self.contrast) / 162 * 2.1

    def lacks(self) -> list[str]:
        wrong = [
            name for bit, name in ((4, "booster"), (2, "regulator"), (1, "follower")) if not self._power & bit
        ]
        # Drivers for the usual module say that ratios of 5.0 and 5.5 work on it, others do not.
        if not 8.4 < self.volts() < 9.4:
            wrong.append(f"{self.volts():.1f} V")
        if self._bias != 9:
            wrong.append("bias")
        return wrong

    def _obey(self, code: int, given: list[int]) -> None:
        if 0x20 <= code < 0x28:
            self._ratio = code & 7
        elif 0x28 <= code < 0x30:
            self._power = code & 7
        elif code in (0xA2, 0xA3):
            self._bias = 7 if code & 1 else 9
        elif code == 0xF8:
            self._booster = 5 if given[0] & 1 else 4
        elif code == 0xE2:
            self._reset()
        else:
            super()._obey(code, given)
            self.contrast &= 0x3F


CHIPS: dict[str, type[Chip]] = {"ssd1306": Ssd1306, "ssd1309": Ssd1309, "sh1106": Sh1106, "st7567": St7567}
"""By the name that the firmware has for each."""
