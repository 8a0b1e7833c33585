"""The board in a picture, as it lies before a builder: outline, holes, print, and the bodies of parts.

What must live here: how things look, and where words have room. It may not know steps or nets: which parts
are shown, and how, is told. A part's body is drawn in the measures of its footprint and placed as the board
has it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from html import escape
from math import cos, pi, sin
from pathlib import Path

from hardware.circuit import Part
from hardware.layout import Footprint, Layout, Pad, Point

SCALE = 10.0
"""Units of the picture in a mm."""
EDGE_MM, HEAD_MM, FOOT_MM = 2.0, 7.0, 6.0
BOLD_LETTER = 0.68
"""A bold letter's width, of its height: wider than most fonts have it."""
INK = "#1c1c1c"
BOARD, RIM, PRINT, PAD = "#f2f5ec", "#6c7a5c", "#a3ae96", "#d3c48e"
GREY, GREY_RIM = "#e2e2e2", "#b9b9b9"
RED = "#d02020"
DARK, DULL, CONTACT = "#3d3d3d", "#8d8d8d", "#cfcfcf"

CORNERS = ("1", "20", "21", "40")
"""Of a Pico's pins."""
WITH_LEGS = ("resistor", "switching-diode", "schottky-diode", "suppressor")
"""Kinds whose legs are seen from above."""

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


class PictureError(Exception):
    """A word has no room: one line."""


@dataclass(frozen=True)
class Look:
    """Of a kind of part: its body in the measures of its footprint, and its colours. `lines`: how many its
    words take inside; 0: they stand beside it."""

    box: Box
    fill: str
    lines: int = 1
    text: float = 1.3
    ink: str = INK
    is_round: bool = False


LOOKS = {
    "resistor": Look((0.66, -1.25, 6.96, 1.25), "#8fc1ee"),
    "switching-diode": Look((1.81, -1.0, 5.81, 1.0), "#f0a878", 0),
    "schottky-diode": Look((1.81, -1.0, 5.81, 1.0), "#8fd0a0", 0),
    "suppressor": Look((1.28, -1.8, 8.88, 1.8), "#f0a878", 2, 1.4),
    "ceramic": Look((0.0, -1.25, 5.0, 1.25), "#f2bd62", 2, 1.15),
    "film": Look((-1.1, -1.5, 6.1, 1.5), "#e58d8d"),
    "electrolytic": Look((-1.5, -2.5, 3.5, 2.5), "#6f8fc4", 0, is_round=True),
    "network": Look((-1.29, -1.25, 21.61, 1.25), "#8fc1ee"),
    "npn": Look((0.14, -2.4, 4.94, 1.75), DARK, 2, 1.2, "#ffffff"),
    "pnp": Look((0.14, -2.4, 4.94, 1.75), "#8a2f5d", 2, 1.2, "#ffffff"),
    "fuse": Look((-2.4, -1.1, 7.5, 2.7), "#f4d35e", 2),
    "counter": Look((-1.27, -1.33, 8.89, 19.11), DARK, 2, 1.7, "#ffffff"),
    "key": Look((0.25, -3.5, 12.25, 8.5), "#4d4d4d", 2, 1.8, "#ffffff"),
    "encoder": Look((1.5, -3.3, 13.5, 8.3), "#8f9aa8", 2, 1.6),
    "piezo": Look((-3.6, -6.1, 8.6, 6.1), "#4d4d4d", 2, 1.8, "#ffffff", is_round=True),
    "test-point": Look((-0.95, -0.95, 0.95, 0.95), "none", 0),
    "terminal-4": Look((-2.54, -5.2, 17.78, 4.6), "#5fa673", 1, 1.8),
    "terminal-2": Look((-2.54, -5.2, 7.62, 4.6), "#5fa673", 1, 1.6),
    "terminal-cell": Look((-1.75, -3.1, 12.25, 4.5), "#5fa673", 1, 1.5),
    "terminal-safelight": Look((-1.75, -3.1, 5.25, 4.5), "#5fa673", 0),
    "header-2": Look((-1.27, -1.27, 1.27, 3.81), DARK, 0),
    "header-3": Look((-1.27, -1.27, 1.27, 6.35), DARK, 0),
    "header-7": Look((-1.27, -1.27, 1.27, 16.51), DARK, 0),
    "pico": Look((-10.5, -25.5, 10.5, 25.5), "#2f7d52", 2, 2.2),
}
"""The sizes are those that the footprints have in their names, or print."""


@dataclass
class Picture:
    """What is drawn so far. Places are in mm on the board, seen from the front; the back is seen turned over
    left for right. `taken`: what no word may cover."""

    layout: Layout
    is_back: bool
    said: list[str] = field(default_factory=list)
    taken: list[Box] = field(default_factory=list)

    def seen(self, at: Point) -> Point:
        """Where a place of the board is seen, in mm from the upper left corner of what is seen."""
        return (self.layout.size[0] - at[0], at[1]) if self.is_back else at

    # --- the least of it

    def path(
        self, points: Iterable[Point], fill: str, rim: str = "none", width: float = 0.15, more: str = ""
    ) -> None:
        """Closed, through places on the board."""
        line = "L".join(f"{_n(x)} {_n(y)}" for x, y in map(self.seen, points))
        self.said.append(f'<path d="M{line}Z" fill="{fill}"{_rim(rim, width)}{more}/>')

    def line(self, points: Iterable[Point], colour: str, width: float) -> None:
        line = "L".join(f"{_n(x)} {_n(y)}" for x, y in map(self.seen, points))
        self.said.append(f'<path d="M{line}" fill="none"{_rim(colour, width)}/>')

    def circle(
        self, at: Point, radius: float, fill: str, rim: str = "none", width: float = 0.15, more: str = ""
    ) -> None:
        x, y = self.seen(at)
        self.said.append(
            f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}" fill="{fill}"{_rim(rim, width)}{more}/>'
        )

    def text(
        self,
        words: str,
        at: Point,
        size: float,
        *,
        ink: str = INK,
        anchor: str = "middle",
        turn: int = 0,
        halo: str = "",
        bold: bool = False,
    ) -> None:
        """`at` is the middle of its height, where it is seen."""
        x, y = at
        more = ' font-weight="bold"' if bold else ""
        if halo:
            more += (
                f' stroke="{halo}" stroke-width="{_n(size / 3)}" paint-order="stroke" stroke-linejoin="round"'
            )
        where = f'x="{_n(x)}" y="{_n(y + size * 0.35)}"'
        if turn:
            where = f'transform="translate({_n(x + size * 0.35)} {_n(y)}) rotate({turn})"'
        if anchor != "middle":
            more += f' text-anchor="{anchor}"'
        self.said.append(f'<text {where} font-size="{_n(size)}" fill="{ink}"{more}>{escape(words)}</text>')

    # --- the board

    def board(self) -> None:
        """Outline, print, pads and holes."""
        width, height = self.layout.size
        self.path(_corners((0, 0, width, height)), BOARD, RIM, 0.4)
        printed = self.layout.printed["back" if self.is_back else "front"]
        pieces = []
        for line in printed.lines:
            (x0, y0), (x1, y1) = self.seen(line.start), self.seen(line.end)
            middle = ""
            if line.middle:
                # Through the middle of the arc: the point that pulls a curve of the second degree there.
                mx, my = self.seen(line.middle)
                middle = f"Q{_n(2 * mx - (x0 + x1) / 2)} {_n(2 * my - (y0 + y1) / 2)} {_n(x1)} {_n(y1)}"
            pieces.append(f"M{_n(x0)} {_n(y0)}" + (middle or f"L{_n(x1)} {_n(y1)}"))
        self.said.append(f'<path d="{"".join(pieces)}" fill="none"{_rim(PRINT, 0.12)}/>')
        for at, radius in printed.circles:
            self.circle(at, radius, "none", PRINT, 0.12)
        for word in printed.words:
            turn = -90 if word.turn % 180 else 0
            self.text(word.text, self.seen(word.at), word.size * 1.25, ink=PRINT, turn=turn)
        for footprint in self.layout.footprints.values():
            for pad in footprint.pads:
                self.pad(pad, PAD)
        for hole in self.layout.holes:
            self.circle(hole.at, hole.drill / 2, "#ffffff", RIM, 0.3)

    def pad(self, pad: Pad, fill: str, more: str = "") -> None:
        x, y = pad.at
        wide, high = pad.size if round(pad.turn) % 180 == 0 else pad.size[::-1]
        if pad.is_square:
            self.path(_corners((x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)), fill)
        elif wide != high:
            a, b = (x - (wide - high) / 2, y), (x + (wide - high) / 2, y)
            if high > wide:
                a, b = (x, y - (high - wide) / 2), (x, y + (high - wide) / 2)
            ends = "L".join(f"{_n(px)} {_n(py)}" for px, py in map(self.seen, (a, b)))
            self.said.append(f'<path d="M{ends}" stroke-linecap="round"{_rim(fill, min(wide, high))}/>')
        else:
            self.circle(pad.at, wide / 2, fill)
        self.circle(pad.at, pad.drill / 2, "#ffffff", more=more)

    # --- parts

    def grey(self, part: Part, footprint: Footprint) -> None:
        """A part that is there already."""
        if part.kind != "test-point":
            self._body(part, footprint, is_new=False)

    def strong(self, part: Part, footprint: Footprint) -> None:
        """A part that is put in now, without its words."""
        self.said.append(f'<g data-new="{part.ref}">')
        for pad in footprint.pads:
            ink = "#ffffff" if part.kind == "test-point" else INK
            self.circle(pad.at, pad.drill / 2, ink, more=f' data-pad="{pad.number}"')
        if part.kind in WITH_LEGS:
            self.line([pad.at for pad in footprint.pads], DULL, 0.6)
        self._body(part, footprint, is_new=True)
        self._details(part, footprint)
        self._marks(part, footprint)
        self.said.append("</g>")
        self.taken.append(self._box(footprint, LOOKS[part.kind].box))
        self.taken += [self._around(pad.at, 0.55) for pad in footprint.pads]

    def words(self, part: Part, footprint: Footprint, value: str) -> None:
        """Reference and value of a part that is put in now. PictureError where there is no room."""
        look = LOOKS[part.kind]
        if not look.lines:
            self.beside(f"{part.ref} {value}".strip(), self._box(footprint, look.box), part.ref)
            return
        left, top, right, bottom = self._box(footprint, look.box)
        x, y = (left + right) / 2, (top + bottom) / 2
        turn = -90 if bottom - top > right - left and look.lines == 1 else 0
        room = max(bottom - top, right - left) if turn else right - left
        if part.kind.startswith("terminal"):
            y = bottom - (1.7 if right - left > 8 and bottom - top > 8 else 1.0)
        elif part.kind == "suppressor":
            x, room = x + (0.35 if footprint.turn == 0 else -0.35) * (-1 if self.is_back else 1), room - 1.2
        lines = [f"{part.ref} {value}"] if look.lines == 1 else [part.ref, value]
        for number, line in enumerate(lines):
            size = min(look.text, room / (len(line) * BOLD_LETTER + 0.5))
            rise = (number - (len(lines) - 1) / 2) * look.text * 1.02
            self.text(line, (x, y + rise), size, ink=look.ink, turn=turn, bold=number == 0)

    def beside(
        self, words: str, box: Box, what: str, *, size: float = 1.4, ink: str = INK, upright: bool = False
    ) -> None:
        """Words near a box that is seen, over nothing that matters; `upright`: rather from below to above.
        PictureError where there is no room."""
        wide, high = len(words) * size * BOLD_LETTER, size * 1.05
        width, height = self.layout.size
        spots = sorted(_spots(box, wide, high), key=lambda spot: (spot[1] == 0) == upright)
        for at, turn in spots:
            half = (high / 2, wide / 2) if turn else (wide / 2, high / 2)
            room = (at[0] - half[0], at[1] - half[1], at[0] + half[0], at[1] + half[1])
            outside = room[0] < 0.3 or room[2] > width - 0.3 or room[1] < -0.3 or room[3] > height
            if not outside and not any(_touch(room, other) for other in self.taken):
                self.taken.append(room)
                self.text(words, at, size, ink=ink, turn=turn, halo="#ffffff", bold=True)
                return
        raise PictureError(f"There is no room for the words of {what}.")

    def probe(self, pad: Pad, words: str, upright: bool = False) -> None:
        """Where a probe is held to, and which net is there: first all of them, then their words."""
        self.beside(words, self._around(pad.at, 1.0), words, size=1.35, ink=RED, upright=upright)

    def ring(self, pad: Pad, net: str) -> None:
        self.circle(pad.at, 1.05, "none", RED, 0.4, f' data-net="{net}"')
        self.taken.append(self._around(pad.at, 1.1))

    def _box(self, footprint: Footprint, box: Box) -> Box:
        """Of the footprint's own measures, where it is seen."""
        corners = [self.seen(footprint.placed(x, y)) for x in box[::2] for y in box[1::2]]
        xs, ys = zip(*corners)
        return (min(xs), min(ys), max(xs), max(ys))

    def _around(self, at: Point, reach: float) -> Box:
        x, y = self.seen(at)
        return (x - reach, y - reach, x + reach, y + reach)

    def _shape(
        self,
        footprint: Footprint,
        points: Iterable[Point],
        fill: str,
        rim: str = "none",
        width: float = 0.2,
        more: str = "",
    ) -> None:
        """Closed, through places in the footprint's own measures."""
        self.path((footprint.placed(*point) for point in points), fill, rim, width, more)

    def _square(self, at: Point, half: float, fill: str) -> None:
        x, y = at
        self.path(_corners((x - half, y - half, x + half, y + half)), fill)

    def _body(self, part: Part, footprint: Footprint, is_new: bool) -> None:
        look = LOOKS[part.kind]
        fill, rim = (look.fill, INK) if is_new else (GREY, GREY_RIM)
        left, top, right, bottom = look.box
        if part.kind == "pico":
            # Sockets: two rows. The Pico itself is `plugged`.
            for x in (-8.89, 8.89):
                row = _corners((x - 1.27, -25.4, x + 1.27, 25.4))
                self._shape(footprint, row, DARK if is_new else GREY, rim)
            self._contacts(footprint, CONTACT if is_new else DULL)
        elif part.kind == "test-point":
            self.circle(footprint.at, 1.15, "none", RED, 0.35)
        elif part.kind in ("npn", "pnp"):
            self._shape(footprint, _half_round(), fill, rim)
        elif look.is_round:
            middle = footprint.placed((left + right) / 2, (top + bottom) / 2)
            self.circle(middle, (right - left) / 2, fill, rim, 0.2)
        else:
            self._shape(footprint, _corners(look.box), fill, rim, more=' stroke-linejoin="round"')

    def _details(self, part: Part, footprint: Footprint) -> None:
        """What makes a kind known at a glance."""
        match part.kind:
            case "key":
                self.circle(footprint.placed(6.25, 2.5), 4.6, "#6d6d6d")
            case "encoder":
                self.circle(footprint.placed(7.5, 2.5), 3.4, "#c7ced6")
            case "counter":
                self._contacts(footprint, CONTACT)
            case "header-2" | "header-3" | "header-7":
                for pad in footprint.pads:
                    self._square(pad.at, 0.45, "#e0c36a")
            case kind if kind.startswith("terminal"):
                pitch = abs(footprint.pads[1].at[0] - footprint.pads[0].at[0])
                for pad, word in zip(footprint.pads, part.contacts):
                    self.circle(pad.at, 1.2, "#d9e6dc", INK, 0.1)
                    x, y = self.seen(pad.at)
                    self.text(word, (x, y - 2.2), min(1.2, pitch / (len(word) * BOLD_LETTER)), bold=True)

    def _contacts(self, footprint: Footprint, fill: str) -> None:
        """Of a socket."""
        for pad in footprint.pads:
            self.circle(pad.at, 0.5, fill)

    def _marks(self, part: Part, footprint: Footprint) -> None:
        """What has to be the right way round: in red, and marked for whoever reads the file."""
        left, top, right, bottom = LOOKS[part.kind].box
        strip: Box | None = None
        match part.kind:
            case "switching-diode" | "schottky-diode" | "suppressor":
                strip = (left + 0.25, top, left + 0.95, bottom)
            case "npn" | "pnp":
                strip = (0.75, 1.45, 4.33, 1.85)
            case "electrolytic":
                # The minus, on the side of pad 2.
                strip = (2.35, -1.9, 2.75, 1.9)
                self._sign("-", self.seen(footprint.placed(4.6, 0)), 2.4)
                self._sign("+", self.seen(footprint.placed(-2.6, 0)), 2.0)
            case "network":
                strip = (-0.7, -0.7, 0.7, 0.7)
            case "counter":
                self._sign("1", self.seen(footprint.placed(-2.0, 0.0)))
                self._notch(footprint)
            case "header-2" | "header-3" | "header-7":
                if part.contacts:
                    strip = (-0.75, -0.75, 0.75, 0.75)
            case "pico":
                for number in CORNERS:
                    x, y = footprint.pad(number).at
                    self._sign(number, self.seen((x, y + (2.3 if y > footprint.at[1] else -2.3))))
            case kind if kind.startswith("terminal"):
                strip = (left, bottom - 0.7, right, bottom)
                x, y = self.seen(footprint.pad("1").at)
                self._sign("1", (x, y - 5.5))
        if strip:
            self._shape(footprint, _corners(strip), RED, more=' data-mark=""')

    def _sign(self, sign: str, at: Point, size: float = 1.7) -> None:
        self.text(sign, at, size, ink=RED, bold=True, halo="#ffffff")

    def _notch(self, footprint: Footprint) -> None:
        """Of a DIP, between its pin 1 and its last."""
        self.circle(footprint.placed(3.81, LOOKS["counter"].box[1]), 1.3, RED, more=' data-notch=""')

    def plugged(self, part: Part, footprint: Footprint) -> None:
        """Counter or Pico in its socket."""
        look = LOOKS[part.kind]
        left, top, right, bottom = look.box
        self.said.append(f'<g data-plugged="{part.ref}">')
        self._shape(footprint, _corners(look.box), look.fill, INK)
        if part.kind == "pico":
            self._shape(footprint, _corners((-4, -26.8, 4, -21)), "#c9ccd1", INK)
            self.text("USB", self.seen(footprint.placed(0, -23.9)), 1.8, bold=True)
        for pad in footprint.pads:
            self.circle(pad.at, 0.6, "#d9b84a", more=f' data-pad="{pad.number}"')
        if part.kind == "pico":
            for number in CORNERS:
                x, y = self.seen(footprint.pad(number).at)
                inward = -2.2 if y > footprint.at[1] else 2.2
                self.text(number, (x, y + inward), 1.7, ink="#ffffff", bold=True)
        else:
            self._notch(footprint)
            self.text("1", self.seen(footprint.placed(1.6, 0.2)), 1.7, ink="#ffffff", bold=True)
        self.said.append("</g>")
        x, y = self.seen(footprint.placed((left + right) / 2, (top + bottom) / 2))
        for row, line in enumerate((part.ref, part.value)):
            rise = (row - 0.5) * look.text * 1.1
            self.text(line, (x, y + rise), look.text, ink="#ffffff", bold=row == 0)

    # --- the whole

    def svg(self, title: str, notes: Iterable[str]) -> str:
        """The picture with its title, and under it what its marks mean."""
        width, height = self.layout.size
        notes = list(notes)
        foot = FOOT_MM + 2.6 * (len(notes) - 1) if notes else 1.0
        self.text(title, (0, -HEAD_MM / 2 - 0.3), 2.6, anchor="start", bold=True)
        for number, note in enumerate(notes):
            self.text(note, (0, height + 2.6 + 2.6 * number), 1.8, anchor="start")
        whole = (-EDGE_MM, -HEAD_MM, width + 2 * EDGE_MM, height + HEAD_MM + foot)
        box = " ".join(_n(number) for number in whole)
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" width="{_n(whole[2])}" '
            f'height="{_n(whole[3])}" font-family="sans-serif" text-anchor="middle">'
        )
        ground = f'<rect x="{_n(whole[0])}" y="{_n(whole[1])}" width="100%" height="100%" fill="#ffffff"/>'
        return "\n".join([head, ground, *self.said, "</svg>"]) + "\n"


def _n(mm: float) -> str:
    """In units of the picture."""
    return f"{round(mm * SCALE, 2) + 0.0:g}"


def _rim(colour: str, width: float) -> str:
    return "" if colour == "none" else f' stroke="{colour}" stroke-width="{_n(width)}"'


def _corners(box: Box) -> list[Point]:
    left, top, right, bottom = box
    return [(left, top), (right, top), (right, bottom), (left, bottom)]


def _half_round() -> list[Point]:
    """A TO-92 from above, its flat side down: pads at 0, 2.54 and 5.08."""
    start = 0.77
    return [
        (2.54 + 2.48 * cos(angle), -2.48 * sin(angle))
        for step in range(25)
        for angle in (-start + step * (pi + 2 * start) / 24,)
    ]


def _touch(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _spots(box: Box, wide: float, high: float) -> Iterator[tuple[Point, int]]:
    """Around a box, the nearest first."""
    left, top, right, bottom = box
    x, y = (left + right) / 2, (top + bottom) / 2
    for away in (0.25, 0.8, 1.5, 2.4, 3.4, 4.6):
        for slide in (0.0, 1.0, -1.0, 2.0, -2.0, 3.5, -3.5):
            yield (x + slide, bottom + high / 2 + away), 0
            yield (x + slide, top - high / 2 - away), 0
            yield (right + wide / 2 + away, y + slide), 0
            yield (left - wide / 2 - away, y + slide), 0
        for slide in (0.0, 1.0, -1.0, 2.0, -2.0):
            yield (x + slide, top - wide / 2 - away), -90
            yield (x + slide, bottom + wide / 2 + away), -90
            yield (right + high / 2 + away, y + slide), -90
            yield (left - high / 2 - away, y + slide), -90


def write(folder: Path, pictures: dict[str, str]) -> None:
    """Put pictures into a folder, by their file names."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in pictures.items():
        (folder / name).write_text(text, encoding="utf-8")
