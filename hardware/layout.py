"""Where everything lies on the finished board: pads, holes and what is printed on it, read from KiCad's file.

What must live here: how that file is read, without KiCad. It may not know what is done with it. Places are in
mm from the board's upper left corner, seen from the front.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import cos, hypot, radians, sin
from pathlib import Path

from hardware.circuit import HERE
from hardware.steady import Node, parsed

BOARD = HERE / "made" / "board" / "lampblack.kicad_pcb"

Point = tuple[float, float]


@dataclass(frozen=True)
class Pad:
    number: str
    at: Point
    size: Point
    turn: float
    is_square: bool
    drill: float
    net: str


@dataclass(frozen=True)
class Line:
    """A printed line; `middle` is on it too where it is an arc."""

    start: Point
    end: Point
    middle: Point | None = None


@dataclass(frozen=True)
class Word:
    text: str
    at: Point
    turn: float
    size: float


@dataclass(frozen=True)
class Print:
    """What is printed on one side."""

    lines: tuple[Line, ...]
    circles: tuple[tuple[Point, float], ...]
    words: tuple[Word, ...]


@dataclass(frozen=True)
class Footprint:
    """`at` is its origin, most often pad 1; it is seen in its own measures before it is turned."""

    ref: str
    at: Point
    turn: float
    is_back: bool
    pads: tuple[Pad, ...]

    def placed(self, x: float, y: float) -> Point:
        """A place in its own measures, on the board."""
        return _placed(self.at, self.turn, (x, -y if self.is_back else y))

    def pad(self, number: str) -> Pad:
        """The first of that number."""
        return next(pad for pad in self.pads if pad.number == number)


@dataclass(frozen=True)
class Layout:
    size: Point
    footprints: dict[str, Footprint]
    holes: tuple[Pad, ...]
    printed: dict[str, Print]
    """By side, "front" and "back"."""


def read_layout(file: Path = BOARD) -> Layout:
    tree = parsed(file.read_text(encoding="utf-8"))
    footprints: dict[str, Footprint] = {}
    holes: list[Pad] = []
    for node in _named(tree, "footprint"):
        footprint = _footprint(node)
        if footprint.ref.startswith("H"):
            holes += footprint.pads
        else:
            footprints[footprint.ref] = footprint
    edge = next(node for node in _named(tree, "gr_rect") if _word(node, "layer") == "Edge.Cuts")
    width, height = _numbers(edge, "end")
    printed = {side: _print(tree, f"{side[0].upper()}.SilkS") for side in ("front", "back")}
    return Layout((width, height), footprints, tuple(holes), printed)


def _named(node: list[Node], name: str) -> Iterator[list[Node]]:
    for child in node:
        if isinstance(child, list) and child and child[0] == name:
            yield child


def _child(node: list[Node], name: str) -> list[Node]:
    """Empty where there is none."""
    return next(_named(node, name), [])


def _plain(word: Node) -> str:
    return str(word).strip('"')


def _word(node: list[Node], name: str) -> str:
    found = _child(node, name)
    return _plain(found[1]) if len(found) > 1 else ""


def _numbers(node: list[Node], name: str) -> tuple[float, ...]:
    return tuple(float(str(word)) for word in _child(node, name)[1:])


def _place(node: list[Node]) -> tuple[Point, float]:
    x, y, *turn = _numbers(node, "at")
    return (x, y), turn[0] if turn else 0.0


def _placed(at: Point, turn: float, point: Point) -> Point:
    """KiCad turns against the clock, and its y goes down."""
    angle = radians(turn)
    x = point[0] * cos(angle) + point[1] * sin(angle)
    y = point[1] * cos(angle) - point[0] * sin(angle)
    return (round(at[0] + x, 3), round(at[1] + y, 3))


def _footprint(node: list[Node]) -> Footprint:
    at, turn = _place(node)
    ref = next(_plain(text[2]) for text in _named(node, "fp_text") if text[1] == "reference")
    pads = []
    for pad in _named(node, "pad"):
        local, pad_turn = _place(pad)
        drill = _child(pad, "drill")
        net = _child(pad, "net")
        width, height = _numbers(pad, "size")
        pads.append(
            Pad(
                _plain(pad[1]),
                _placed(at, turn, local),
                (width, height),
                pad_turn,
                pad[3] == "rect",
                min(float(str(size)) for size in drill[1:] if size != "oval"),
                _plain(net[2]) if net else "",
            )
        )
    rounded = (round(at[0], 3), round(at[1], 3))
    return Footprint(ref, rounded, turn, _word(node, "layer") == "B.Cu", tuple(pads))


def _print(tree: list[Node], layer: str) -> Print:
    lines, circles, words = [], [], []
    for node in _named(tree, "footprint"):
        at, turn = _place(node)
        for shape in node:
            if not isinstance(shape, list) or _word(shape, "layer") != layer:
                continue
            points = {
                name: _placed(at, turn, (x, y))
                for name in ("start", "mid", "end", "center")
                if (pair := _numbers(shape, name))
                for x, y in (pair,)
            }
            if shape[0] in ("fp_line", "fp_arc"):
                lines.append(Line(points["start"], points["end"], points.get("mid")))
            elif shape[0] == "fp_circle":
                (x, y), (end_x, end_y) = points["center"], points["end"]
                circles.append(((x, y), round(hypot(end_x - x, end_y - y), 3)))
            elif shape[0] == "fp_text" and "hide" not in shape:
                local, text_turn = _place(shape)
                words.append(_words(shape, _placed(at, turn, local), text_turn, _plain(shape[2])))
    for text in _named(tree, "gr_text"):
        if _word(text, "layer") == layer:
            words.append(_words(text, *_place(text), _plain(text[1])))
    return Print(tuple(lines), tuple(circles), tuple(words))


def _words(node: list[Node], at: Point, turn: float, text: str) -> Word:
    font = _child(_child(node, "effects"), "font")
    return Word(text, (round(at[0], 3), round(at[1], 3)), turn, _numbers(font, "size")[0])
