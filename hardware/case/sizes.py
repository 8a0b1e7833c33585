"""The sizes of the case: read from parts.toml and from the board as it is made, or said here once.

What must live here: every number that a solid, the drilling template or a check needs. It may not know how
any of them is drawn.

x goes to the right and y up from the panel's middle, seen from the front; z is 0 at the panel's inside and
grows to the front. Lengths are in mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from hardware.case.outlines import Outline, Point, read_outlines
from hardware.circuit import Circuit, read_circuit

PANEL = 3.0
WALL = 2.4
FLOOR = 3.0
CORNER = 6.0
EDGE = 0.8
"""Bevel at the outer edges of panel and floor, which lie on the printer's bed."""

BOARD = 1.6
TAILS = 2.0
"""What is soldered stands out on the other side of the board."""

INSERT_HOLE, INSERT_DEEP = 4.0, 6.5
POST = 7.5
"""Around an insert of 4.6: its wall stays 1.45."""
PILLAR = 9.0
SCREW_HOLE = 3.4
SCREW_HEAD = (6.0, 2.4)

LIP, LIP_DEEP, LIP_PLAY = 2.0, 5.0, 0.2
"""Runs inside the tray's wall: light that comes through the seam meets it."""

CAP_PLAY = 0.3
CAP_CORNER = 2.0
COLLAR, COLLAR_DEEP = 2.0, 4.0
FLANGE = 1.2
"""How far a cap's foot reaches under its collar."""
STROKE = 0.6
"""Of a key, with some to spare: tactile switches have 0.25 to 0.5."""
CAP_REST = 0.1
"""Between a key and its cap."""

SHAFT, SHAFT_HOLE = 6.0, 7.2
BUSHING_ROOM, BUSHING_DEEP = 9.5, 7.0
"""The dial's thread stands in a collar."""
KNOB, KNOB_ABOVE, KNOB_TALL = 22.0, 1.5, 14.0

PANE_PLAY = 0.4
FRAME, FRAME_DEEP, FRAME_PLAY = 1.6, 4.0, 0.4
CLIP_POST_FROM = 6.5
"""From the module's side to the middle of a post."""
CLIP_POST_DEEP = 6.0
CLIP_POSTS_APART = 26.0
CLIP_THICK, CLIP_OVER, FOAM = 4.0, 6.0, 1.0

FOOT, FOOT_DEEP = 13.0, 1.0
FEET = (43.0, 70.0)

NAMES = {"SW1": "BACK", "SW2": "LAMP", "SW3": "EXPOSE"}


@dataclass(frozen=True)
class Cap:
    """Of a key: `at` its middle, outside the panel `wide` by `high`, and `out` of it."""

    ref: str
    name: str
    at: Point
    wide: float
    high: float
    out: float
    stem: float
    """z of the key's end."""

    @property
    def foot(self) -> float:
        return self.stem + CAP_REST

    @property
    def shoulder(self) -> float:
        """z of the front of its foot, under the collar."""
        return -COLLAR_DEEP - 0.2


@dataclass(frozen=True)
class Entry:
    """A hole in a wall. `at` is its middle: x or y along the wall, and z."""

    name: str
    wall: str
    along: float
    z: float
    hole: tuple[float, ...]
    room: tuple[float, float]
    fits: str
    screws: float = 0.0


@dataclass(frozen=True)
class Display:
    outline: Point
    lit: Point
    lit_middle: Point
    glass: Point
    front: float
    board: float
    behind: float

    @property
    def back(self) -> float:
        """z of the back of its own board."""
        return -self.front - self.board


class Sizes:
    def __init__(self, circuit: Circuit, outlines: dict[str, Outline]) -> None:
        self.circuit, self.outlines = circuit, outlines
        case: dict[str, Any] = circuit.case
        self.wide, self.high = case["size"]
        self.inside, self.gap, self.below = case["inside"], case["gap"], case["below"]
        self.board_size: Point = tuple(circuit.board["size"])
        window = case["window"]
        self.window_at: Point = tuple(window["at"])
        self.window: Point = tuple(window["size"])
        self.pane: Point = tuple(window["pane"])
        self.pane_thick, self.gel_thick = window["pane_thick"], window["gel_thick"]
        self.display = Display(**case["display"])

    def at(self, x: float, y: float) -> Point:
        """A place on the board, given from its upper left corner with y down."""
        return x - self.board_size[0] / 2, self.board_top - y

    @property
    def board_top(self) -> float:
        return -self.high / 2 + self.below + self.board_size[1]

    @property
    def board_holes(self) -> list[Point]:
        return [self.at(x, y) for x, y in self.circuit.board["holes"]]

    @cached_property
    def caps(self) -> list[Cap]:
        caps = []
        for ref, (wide, high, out) in self.circuit.case["cap"].items():
            key = self.outlines[ref]
            caps.append(Cap(ref, NAMES[ref], self.at(*key.middle), wide, high, out, key.height_mm - self.gap))
        return caps

    @property
    def dial(self) -> Point:
        return self.at(*self.outlines["SW4"].middle)

    @property
    def shaft_end(self) -> float:
        return self.outlines["SW4"].height_mm - self.gap

    @property
    def display_at(self) -> Point:
        """The middle of the module: its lit area is in the middle of the window."""
        return (
            self.window_at[0] - self.display.lit_middle[0],
            self.window_at[1] - self.display.lit_middle[1],
        )

    @property
    def clip_posts(self) -> list[Point]:
        """Left two, then right two."""
        x, y = self.display_at
        dx, dy = self.display.outline[0] / 2 + CLIP_POST_FROM, CLIP_POSTS_APART / 2
        return [(x + side * dx, y + up * dy) for side in (-1, 1) for up in (-1, 1)]

    @property
    def pillars(self) -> list[Point]:
        dx = self.wide / 2 - WALL - LIP_PLAY - PILLAR / 2
        dy = self.high / 2 - WALL - LIP_PLAY - PILLAR / 2
        return [(x * dx, y * dy) for x in (-1, 1) for y in (-1, 1)]

    @property
    def entries(self) -> list[Entry]:
        entries = []
        for name, row in self.circuit.case["entry"].items():
            details = {**row, "hole": tuple(row["hole"]), "room": tuple(row["room"])}
            entries.append(Entry(name, z=-self.circuit.case["entries"], **details))
        return entries

    def faults(self) -> list[str]:
        """What cannot be made with these numbers, a line each."""
        faults = []
        for cap in self.caps:
            if cap.shoulder - cap.foot < 1.2:
                faults.append(f"{cap.name}: its key is so tall that the cap's foot is under 1.2 mm thick")
        if self.shaft_end - PANEL < 6:
            faults.append("the dial's shaft stands out of the panel by less than 6 mm")
        tallest = max(part.height_mm for part in self.outlines.values() if part.kind != "encoder")
        if tallest > self.gap:
            faults.append(f"a part is {tallest} mm tall, and the panel {self.gap} mm from the board")
        for size, space in zip(self.display.outline, self.pane):
            if size < space:
                faults.append("the display's own board is smaller than the pane: it would fall through")
        return faults


def read_sizes() -> Sizes:
    circuit = read_circuit()
    return Sizes(circuit, read_outlines(circuit))
