"""Tests the board as its maker gets it: copper and drills alone, against the circuit.

What must live here: what can be read from the maker's files. Nothing of KiCad or of how the board was made is
believed but which pad is which; what is joined is found by looking at the copper, drilled.
"""

from __future__ import annotations

import warnings
import zipfile
from collections import defaultdict
from dataclasses import dataclass
from functools import lru_cache
from math import cos, hypot, pi, sin
from pathlib import Path
from typing import Any

import numpy as np
from gerbonara import ExcellonFile, GerberFile
from gerbonara import graphic_objects as gerber
from gerbonara.utils import MM
from PIL import Image, ImageDraw

from hardware.circuit import HERE, Circuit

ARCHIVE = HERE / "made" / "board" / "gerbers.zip"
DOTS_A_MM = 25
SIDES = ("F_Cu", "B_Cu")
RING_MM = 0.08
"""How far outside a hole its copper is looked for."""
APART_MM = 0.5
"""Around the nets of `apart`, to all that is not ground."""

Files = dict[str, str]
"""Name without the board's -> text."""


@dataclass(frozen=True)
class Hole:
    """Drilled from `start` to `end`, which differ for a slot; x to the right and y down, in mm."""

    start: tuple[float, float]
    end: tuple[float, float]
    diameter_mm: float
    plated: bool


@dataclass(frozen=True)
class Copper:
    """What is one piece: for each side, the number of the piece at each dot (0 is none)."""

    pieces: dict[str, np.ndarray]
    pads: dict[tuple[str, str], set[int]]  # (part, pad) -> the pieces that its copper belongs to


def read_files(archive: Path = ARCHIVE) -> Files:
    with zipfile.ZipFile(archive) as files:
        return {name.split("-", 1)[1]: files.read(name).decode() for name in sorted(files.namelist())}


@lru_cache(maxsize=4)
def parsed(text: str) -> GerberFile:
    return GerberFile.from_string(text)


def faults(files: Files, circuit: Circuit) -> list[str]:
    """A line for each net in pieces, each two that touch, and each pad that is not where it should be."""
    copper = look(files, circuit)
    return [
        *_pads_that_differ(copper, circuit),
        *_wrong_joints(copper, circuit),
        *(line for net in circuit.board["apart"] for line in _too_near(copper, circuit, net)),
    ]


def look(files: Files, circuit: Circuit) -> Copper:
    """The copper with its holes drilled, in pieces; those that a plated hole joins are one."""
    width, height = circuit.board["size"]
    drilled = holes(files)
    pieces: dict[str, np.ndarray] = {}
    flashes: dict[tuple[str, str], list[tuple[str, float, float]]] = defaultdict(list)
    count = 0
    for side in SIDES:
        drawn = parsed(files[f"{side}.gbr"])
        image = _drawn(drawn, drilled, width, height)
        pieces[side], count = numbered(image, count)
        for item in drawn.objects:
            if isinstance(item, gerber.Flash) and isinstance(item.attrs, dict) and ".P" in item.attrs:
                ref, pad = item.attrs[".P"][:2]
                flashes[ref, pad].append((side, float(MM(item.x, item.unit)), -float(MM(item.y, item.unit))))
    root = np.arange(count + 1)
    rings: dict[tuple[int, int], set[int]] = {}
    for hole in drilled:
        around = _around(hole, pieces)
        for at in (hole.start, hole.end, _middle(hole)):
            rings[_key(*at)] = around
        if hole.plated and around:
            first, *others = sorted(int(_root(root, piece)) for piece in around)
            for other in others:
                root[_root(root, other)] = _root(root, first)
    pads = {
        pad: {int(_root(root, piece)) for _, x, y in places for piece in rings.get(_key(x, y), {0})}
        for pad, places in flashes.items()
    }
    whole = np.array([_root(root, piece) for piece in range(count + 1)])
    return Copper({side: whole[image] for side, image in pieces.items()}, pads)


def holes(files: Files) -> list[Hole]:
    found = []
    for name, plated in (("PTH.drl", True), ("NPTH.drl", False)):
        with warnings.catch_warnings():
            # KiCad writes G90 where the standard says FMAT,2 is enough.
            warnings.simplefilter("ignore", SyntaxWarning)
            drills = ExcellonFile.from_string(files[name])
        for item in drills.objects:
            ends = (
                [(item.x1, item.y1), (item.x2, item.y2)]
                if isinstance(item, gerber.Line)
                else [(item.x, item.y)]
            )
            start, end = ((float(x), -float(y)) for x, y in (ends[0], ends[-1]))
            found.append(Hole(start, end, float(item.aperture.diameter), plated))
    return found


def outline_mm(files: Files) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of the line that the board is cut along."""
    lines = [item for item in parsed(files["Edge_Cuts.gbr"]).objects if isinstance(item, gerber.Line)]
    xs = [float(x) for line in lines for x in (line.x1, line.x2)]
    ys = [-float(y) for line in lines for y in (line.y1, line.y2)]
    return min(xs), min(ys), max(xs), max(ys)


def _drawn(file: GerberFile, drilled: list[Hole], width: float, height: float) -> np.ndarray:
    image = Image.new("1", (round(width * DOTS_A_MM), round(height * DOTS_A_MM)))
    draw = ImageDraw.Draw(image)
    for item in file.objects:
        for shape in item.to_primitives(MM):
            _fill(draw, shape, int(shape.polarity_dark))
    for hole in drilled:
        _stroke(draw, hole.start, hole.end, hole.diameter_mm, 0)
    return np.array(image)


def _fill(draw: ImageDraw.ImageDraw, shape: Any, ink: int) -> None:
    """One of gerbonara's shapes, whose y runs up."""
    match type(shape).__name__:
        case "Circle":
            _stroke(draw, (shape.x, -shape.y), (shape.x, -shape.y), 2 * shape.r, ink)
        case "Line":
            _stroke(draw, (shape.x1, -shape.y1), (shape.x2, -shape.y2), shape.width, ink)
        case "Rectangle":
            across, down = (cos(shape.rotation), sin(shape.rotation))
            corners = [
                (
                    shape.x + a * shape.w / 2 * across - b * shape.h / 2 * down,
                    -(shape.y + a * shape.w / 2 * down + b * shape.h / 2 * across),
                )
                for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
            ]
            _polygon(draw, corners, ink)
        case "ArcPoly":
            _polygon(draw, [(x, -y) for x, y in shape.outline], ink)
        case other:
            raise ValueError(f"The maker's files have a {other}, which this test cannot draw.")


def _polygon(draw: ImageDraw.ImageDraw, points: list[tuple[float, float]], ink: int) -> None:
    draw.polygon([(x * DOTS_A_MM, y * DOTS_A_MM) for x, y in points], fill=ink)


def _stroke(
    draw: ImageDraw.ImageDraw, start: tuple[float, float], end: tuple[float, float], width: float, ink: int
) -> None:
    half, length = width / 2, hypot(end[0] - start[0], end[1] - start[1])
    if length:
        dx, dy = (end[0] - start[0]) / length * half, (end[1] - start[1]) / length * half
        sides = [
            (start[0] - dy, start[1] + dx),
            (end[0] - dy, end[1] + dx),
            (end[0] + dy, end[1] - dx),
            (start[0] + dy, start[1] - dx),
        ]
        _polygon(draw, sides, ink)
    for x, y in {start, end}:
        box = [(x - half) * DOTS_A_MM, (y - half) * DOTS_A_MM, (x + half) * DOTS_A_MM, (y + half) * DOTS_A_MM]
        draw.ellipse(box, fill=ink)


def numbered(image: np.ndarray, after: int) -> tuple[np.ndarray, int]:
    """Each dot with the number of its piece, counted on from `after`, and the last number. Dots that share an
    edge are one piece."""
    high, wide = image.shape
    edges = np.diff(np.pad(image, ((0, 0), (1, 1))).astype(np.int8), axis=1)
    row, start = np.nonzero(edges == 1)
    end = np.nonzero(edges == -1)[1]
    first, last = row * (wide + 1) + start, row * (wide + 1) + end
    # The runs of the next row that a run touches lie side by side.
    low = np.searchsorted(last, first + wide + 1, "right")
    many = np.maximum(np.searchsorted(first, last + wide + 1, "left") - low, 0)
    one = np.repeat(np.arange(len(row)), many)
    other = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many) + np.repeat(low, many)
    root = np.arange(len(row))
    while True:
        a, b = root[one], root[other]
        apart = a != b
        if not apart.any():
            break
        np.minimum.at(root, np.maximum(a, b)[apart], np.minimum(a, b)[apart])
        while (root != root[root]).any():
            root = root[root]
    names, number = np.unique(root, return_inverse=True)
    found = np.zeros(high * wide + 1, np.int32)
    np.add.at(found, row * wide + start, number + after + 1)
    np.add.at(found, row * wide + end, -(number + after + 1))
    return np.cumsum(found[:-1]).reshape(high, wide), after + len(names)


def _root(root: np.ndarray, piece: int) -> int:
    while root[piece] != piece:
        piece = root[piece]
    return int(piece)


def _key(x: float, y: float) -> tuple[int, int]:
    return round(x * 1000), round(y * 1000)


def _middle(hole: Hole) -> tuple[float, float]:
    return (hole.start[0] + hole.end[0]) / 2, (hole.start[1] + hole.end[1]) / 2


def _around(hole: Hole, pieces: dict[str, np.ndarray]) -> set[int]:
    """The pieces that its wall touches; 0 where there is none."""
    reach = hole.diameter_mm / 2 + RING_MM
    found = set()
    for x, y in {hole.start, hole.end}:
        for turn in range(48):
            angle = 2 * pi * turn / 48
            at_x, at_y = x + reach * cos(angle), y + reach * sin(angle)
            if hole.start != hole.end and _inside(hole, at_x, at_y):
                continue
            for image in pieces.values():
                found.add(int(image[int(at_y * DOTS_A_MM), int(at_x * DOTS_A_MM)]))
    return found - {0}


def _inside(hole: Hole, x: float, y: float) -> bool:
    (x0, y0), (x1, y1) = hole.start, hole.end
    length = hypot(x1 - x0, y1 - y0)
    along = min(max(((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length**2, 0.0), 1.0)
    return hypot(x - x0 - along * (x1 - x0), y - y0 - along * (y1 - y0)) < hole.diameter_mm / 2


def _pads_that_differ(copper: Copper, circuit: Circuit) -> list[str]:
    wanted = {(part.ref, pad) for part in circuit.parts.values() for pad in part.pads}
    lines = [f"{ref} has no pad {pad} on the board" for ref, pad in sorted(wanted - set(copper.pads))]
    strange = sorted({ref for ref, _ in copper.pads} - set(circuit.parts))
    lines += [f"{ref} is on the board, and in no list" for ref in strange]
    for (ref, pad), roots in sorted(copper.pads.items()):
        if len(roots) != 1 or 0 in roots:
            lines.append(f"pad {pad} of {ref} is not one piece of copper with a plated hole")
    return lines


def _wrong_joints(copper: Copper, circuit: Circuit) -> list[str]:
    lines = []
    owner: dict[int, str] = {}
    for net, pads in circuit.nets.items():
        roots = set().union(*(copper.pads.get(pad, set()) for pad in pads)) - {0}
        if len(roots) > 1:
            lines.append(f"{net} is in {len(roots)} pieces")
        for root in sorted(roots):
            if owner.setdefault(root, net) != net:
                lines.append(f"{net} and {owner[root]} are joined")
    for (ref, pad), roots in sorted(copper.pads.items()):
        if ref in circuit.parts and pad not in circuit.parts[ref].pads:
            lines += [
                f"pad {pad} of {ref}, which is nobody's, is joined to {owner[root]}"
                for root in sorted(roots & set(owner))
            ]
    return lines


def _too_near(copper: Copper, circuit: Circuit, net: str) -> list[str]:
    """Where something other than ground comes too close to a net's copper, to a dot."""
    own, ground = (copper.pads.get(circuit.nets[which][0], set()) - {0} for which in (net, "GND"))
    if not own or own & ground:
        return []
    reach = int(APART_MM * DOTS_A_MM) - 1
    lines = []
    for side, image in copper.pieces.items():
        ours = np.pad(np.isin(image, list(own)), reach)
        inner = ours
        for move in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            inner = inner & np.roll(ours, move, (0, 1))
        rows, columns = np.nonzero(ours & ~inner)
        around = np.pad(image, reach)
        near: set[int] = set()
        for dy in range(-reach, reach + 1):
            for dx in range(-reach, reach + 1):
                if hypot(dx, dy) <= reach:
                    near.update(around[rows + dy, columns + dx].tolist())
        if near - own - ground - {0}:
            lines.append(f"{side}: something is closer than {APART_MM} mm to {net}")
    return lines
