"""What the board as it is made takes up: read from KiCad's own file, so that no place is said twice.

What must live here: the ground that each part covers, and the middle of what a hand touches. How tall a part
is comes from parts.toml.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import cos, hypot, radians, sin
from pathlib import Path
from typing import Any

from hardware.circuit import HERE, Circuit

FILE = HERE / "made" / "board" / "lampblack.kicad_pcb"

Point = tuple[float, float]
Box = tuple[float, float, float, float]
"""Left, top, right, bottom in mm, from the board's upper left corner; y goes down."""


@dataclass(frozen=True)
class Outline:
    """A part on the board: the box that it keeps for itself, and the box of its body alone. `middle`: of a
    key's or a dial's axis."""

    ref: str
    kind: str
    side: str
    height_mm: float
    keeps: Box
    body: Box
    middle: Point


def read_outlines(circuit: Circuit, file: Path = FILE) -> dict[str, Outline]:
    found = {}
    for footprint in _expressions(file.read_text("utf-8"))[0]:
        if footprint[0] != "footprint":
            continue
        ref = next(item[2] for item in footprint if item[:2] == ["fp_text", "reference"])
        part = circuit.parts.get(ref)
        if part is None:
            continue
        at = [float(number) for number in next(item for item in footprint if item[0] == "at")[1:]]
        keeps = _box(footprint, at, "CrtYd")
        assert keeps is not None, ref
        body = _box(footprint, at, "Fab") or keeps
        circles = [item for item in footprint if item[0] == "fp_circle" and _layer(item) == "Fab"]
        if part.kind == "encoder":
            middle = _placed(_point(max(circles, key=_radius), "center"), at)
        else:
            middle = ((body[0] + body[2]) / 2, (body[1] + body[3]) / 2)
        found[ref] = Outline(ref, part.kind, part.side, part.height_mm, keeps, body, middle)
    return found


def _expressions(text: str) -> list[Any]:
    """KiCad's nested lists, as lists of lists of strings."""
    stack: list[list[Any]] = [[]]
    for word in re.findall(r'"(?:[^"\\]|\\.)*"|[()]|[^\s()]+', text):
        if word == "(":
            stack.append([])
        elif word == ")":
            done = stack.pop()
            stack[-1].append(done)
        else:
            stack[-1].append(word.strip('"'))
    return stack[0]


def _layer(item: list[Any]) -> str:
    """Without its side."""
    return next((str(part[1]).partition(".")[2] for part in item if part[0] == "layer"), "")


def _point(item: list[Any], name: str) -> Point:
    x, y = next(part[1:3] for part in item if part[0] == name)
    return float(x), float(y)


def _radius(circle: list[Any]) -> float:
    (x0, y0), (x1, y1) = _point(circle, "center"), _point(circle, "end")
    return hypot(x1 - x0, y1 - y0)


def _placed(point: Point, at: list[float]) -> Point:
    turn = radians(at[2]) if len(at) > 2 else 0.0
    x, y = point
    return at[0] + x * cos(turn) + y * sin(turn), at[1] - x * sin(turn) + y * cos(turn)


def _box(footprint: list[Any], at: list[float], layer: str) -> Box | None:
    points = []
    for item in footprint:
        if item[0] in ("fp_line", "fp_rect", "fp_arc") and _layer(item) == layer:
            points += [_point(item, "start"), _point(item, "end")]
        elif item[0] == "fp_circle" and _layer(item) == layer:
            (x, y), radius = _point(item, "center"), _radius(item)
            points += [(x - radius, y - radius), (x + radius, y + radius)]
    if not points:
        return None
    places = [_placed(point, at) for point in points]
    xs, ys = [x for x, _ in places], [y for _, y in places]
    return min(xs), min(ys), max(xs), max(ys)
