"""Tests the case's seams as light does: is there a straight line from outside to inside?

What must live here: which lines can pass each seam, and whether a solid is in their way. A line that passes a
seam passes its mouth outside and its mouth inside, so lines are drawn between the two, thousands of them, and
are followed both ways. It says nothing of light that is thrown back and forth, nor of material that lets
light through: step 15 of the acceptance test does. Needs build123d; `python -m hardware.checks.light_traps`.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from build123d import Part, Pos

from hardware.case import sizes, solids
from hardware.case.sizes import Cap, Sizes, read_sizes
from hardware.checks import clashes

LINES = 3000
"""For each seam."""
OUTSIDE, INSIDE = 20.0, 6.0
"""How far a line has to be free on each side, in mm."""
OPEN = 0.3
"""How far panel and tray are taken to stand apart: a print is never quite flat."""
FLAT = 0.05
"""How far triangles may be from a round solid."""

Points = np.ndarray
"""n x 3."""


@dataclass(frozen=True)
class Seam:
    """A line through it begins at one of `outer`, and passes the one of `inner` in the same row."""

    name: str
    outer: Points
    inner: Points


def seams(s: Sizes) -> list[Seam]:
    chance = np.random.default_rng(1)
    return [*(_key(cap, chance) for cap in s.caps), _dial(s, chance), _edge(s, chance)]


def _key(cap: Cap, chance: np.random.Generator) -> Seam:
    """Between cap and panel: near lines, since those across would have to pass the cap."""
    half = np.array([cap.wide / 2, cap.high / 2])
    outer = _in_gap(half, LINES, chance)
    inner = outer + chance.uniform(-2, 2, outer.shape)
    inner = np.where(_gap(inner, half)[:, None], inner, outer)
    return Seam(cap.name, _raised(outer + cap.at, sizes.PANEL), _raised(inner + cap.at, -sizes.COLLAR_DEEP))


def _in_gap(half: Points, count: int, chance: np.random.Generator) -> Points:
    points = chance.uniform(-1, 1, (40 * count, 2)) * (half + sizes.CAP_PLAY)
    return points[_gap(points, half)][:count]


def _gap(points: Points, half: Points) -> Points:
    out = np.abs(points) - half
    return (out.max(axis=1) > 0) & (out.max(axis=1) < sizes.CAP_PLAY)


def _dial(s: Sizes, chance: np.random.Generator) -> Seam:
    def ring() -> Points:
        angle = chance.uniform(0, 2 * np.pi, LINES)
        far = chance.uniform(sizes.SHAFT / 2, sizes.SHAFT_HOLE / 2, LINES)
        return np.stack([far * np.cos(angle), far * np.sin(angle)], axis=1) + s.dial

    return Seam("dial", _raised(ring(), sizes.PANEL), _raised(ring(), 0.0))


def _edge(s: Sizes, chance: np.random.Generator) -> Seam:
    """Between panel and tray: walls and corners alike."""
    half = np.array([s.wide, s.high]) / 2 - sizes.CORNER
    kind = chance.integers(0, 3, LINES)  # a wall that goes up, one that lies, a corner
    sign = chance.choice([-1.0, 1.0], (LINES, 2))
    along, angle = chance.uniform(-1, 1, LINES), chance.uniform(0, np.pi / 2, LINES)
    places = []
    for inset, near in ((0.0, 0.0), (sizes.WALL, 1.0)):
        along = np.clip(along + near * chance.uniform(-0.05, 0.05, LINES), -1, 1)
        angle = np.clip(angle + near * chance.uniform(-0.6, 0.6, LINES), 0, np.pi / 2)
        turn = np.select([kind == 0, kind == 1], [0.0, np.pi / 2], angle)
        core = np.stack([np.where(kind == 1, along, 1.0), np.where(kind == 0, along, 1.0)], axis=1) * half
        round_it = np.stack([np.cos(turn), np.sin(turn)], axis=1) * (sizes.CORNER - inset)
        z = chance.uniform(-OPEN, 0, LINES)
        places.append(np.column_stack([sign * (core + round_it), z]))
    return Seam("panel and tray", *places)


def _raised(points: Points, z: float) -> Points:
    return np.column_stack([points, np.full(len(points), z)])


def opaque(s: Sizes) -> list[Part]:
    """What light meets: the prints, the tray a little off the panel, and what of the dial is in its hole."""
    printed = solids.printed(s)
    tray = printed.pop("tray")
    lifted = [body.solid for body in clashes.bodies(s) if body.name in ("knob", "SW4")]
    return [*printed.values(), *lifted, Pos(0, 0, -OPEN) * tray]


def through(seam: Seam, s: Sizes, of: Iterable[Part]) -> int:
    """How many lines get through: nothing is in their way, and they end in the room inside."""
    way = seam.inner - seam.outer
    way /= np.linalg.norm(way, axis=1)[:, None]
    start, end = seam.outer - OUTSIDE * way, seam.inner + INSIDE * way
    room = np.array([s.wide, s.high]) / 2 - sizes.WALL - sizes.LIP_PLAY - sizes.LIP
    free = (np.abs(end[:, :2]) < room).all(axis=1)
    low, high = np.minimum(start, end).min(axis=0), np.maximum(start, end).max(axis=0)
    for solid in of:
        corners = _triangles(solid)
        near = (corners.min(axis=1) <= high).all(axis=1) & (corners.max(axis=1) >= low).all(axis=1)
        free[free] = ~_hit(start[free], end[free], corners[near])
    return int(free.sum())


def _triangles(solid: Part) -> np.ndarray:
    points, faces = solid.tessellate(FLAT, 0.3)
    places = np.array([tuple(point) for point in points])
    return places[np.array(faces)]


def _hit(start: Points, end: Points, corners: np.ndarray) -> np.ndarray:
    """Whether each line meets a triangle."""
    a = corners[:, 0]
    u, v = corners[:, 1] - a, corners[:, 2] - a
    found = np.zeros(len(start), bool)
    for rows in np.array_split(np.arange(len(start)), max(1, len(start) * len(a) // 2_000_000)):
        way = (end - start)[rows][:, None]
        p = np.cross(way, v)
        det = (u * p).sum(axis=2)
        det = np.where(np.abs(det) < 1e-12, np.nan, det)
        off = start[rows][:, None] - a
        x = (off * p).sum(axis=2) / det
        q = np.cross(off, u)
        y = (way * q).sum(axis=2) / det
        t = (v * q).sum(axis=2) / det
        found[rows] = ((x >= 0) & (y >= 0) & (x + y <= 1) & (t >= 0) & (t <= 1)).any(axis=1)
    return found


def main() -> int:
    s = read_sizes()
    solids_met = opaque(s)
    leaks = {seam.name: through(seam, s, solids_met) for seam in seams(s)}
    for name, count in leaks.items():
        print(f"{name}: {count} of {LINES} lines get through")
    return bool(sum(leaks.values()))


if __name__ == "__main__":
    sys.exit(main())
