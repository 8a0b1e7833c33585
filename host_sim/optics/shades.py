"""Shades over the paper, and the shadows they cast.

What must live here: which part of the light arrives at each point. It may not know what light that is, what
it falls on, or who holds the shade.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX, Pixels

Region = tuple[slice, slice]
"""Rows and columns."""

PENUMBRA = 0.024
"""Width of a soft edge, in parts of the sheet's width: a shade is held some hand's breadth above the paper;
common practice, no source."""
CONTACT = 0.003
"""The same for a shade that lies on the paper."""
WIRE_SHADE = 0.12
"""Light that a wire, far thinner than the penumbra, takes away along its middle; no source."""
WIRE_WIDTH = 0.014
"""Width of its shadow, in parts of the sheet's width."""
_SLAB_PX = 128
"""A slanting shadow is cut into strips of this width, so that their bounds stay near to its area."""


@dataclass(frozen=True)
class Shade:
    """What is held in the light. `x`, `y`: the middle of a disc or hole, a point of a straight edge. `size`:
    diameter in parts of the sheet's width. `angle`: degrees clockwise from the right; where a disc's wire
    leaves it, or on which side of its edge a shade is.

    `shape`: "none"; a "disc" on a wire; a "hole", which darkens all but itself; a straight "edge"; a "cover",
    which lies on the paper.
    """

    shape: str = "none"
    x: float = 0.5
    y: float = 0.5
    size: float = 0.2
    angle: float = 0.0


class Cast(NamedTuple):
    """How a shade changes the light. All of the open light arrives, or none where `dark`; each of `parts`
    adds a number, or one for each pixel, in parts of the open light."""

    dark: bool
    parts: list[tuple[Region, Pixels | float]]


NO_SHADOW = Cast(False, [])


def cast_of(shade: Shade, width_px: int = WIDTH_PX, height_px: int = HEIGHT_PX) -> Cast:
    """The shadow of `shade` on a sheet of that size."""
    size = (height_px, width_px)
    if shade.shape == "hole":
        return Cast(True, [_round(shade, size)])
    if shade.shape == "disc":
        region, inside = _round(shade, size)
        return Cast(False, [(region, -inside), *_wire(shade, size)])
    if shade.shape in ("edge", "cover"):
        return Cast(False, list(_half_plane(shade, size)))
    return Cast(False, [])


def cast_outside(
    left: float, top: float, right: float, bottom: float, width_px: int = WIDTH_PX, height_px: int = HEIGHT_PX
) -> Cast:
    """The shadow of covers on the paper that leave open what is between these edges, in parts of the
    sheet, to a pixel."""
    columns = slice(round(left * width_px), round(right * width_px))
    rows = slice(round(top * height_px), round(bottom * height_px))
    beside = (
        (slice(0, rows.start), slice(0, width_px)),
        (slice(rows.stop, height_px), slice(0, width_px)),
        (rows, slice(0, columns.start)),
        (rows, slice(columns.stop, width_px)),
    )
    return Cast(False, [(region, -1.0) for region in beside if all(s.start < s.stop for s in region)])


def both(one: Cast, other: Cast) -> Cast:
    """The shadow of two shades, which both have their part of the light: work goes with their areas."""
    parts = [*([] if one.dark else other.parts), *([] if other.dark else one.parts)]
    for (rows, columns), change in one.parts:
        for (their_rows, their_columns), theirs in other.parts:
            shared = _common(rows, their_rows), _common(columns, their_columns)
            if all(span.start < span.stop for span in shared):
                product = _inner(change, (rows, columns), shared) * _inner(
                    theirs, (their_rows, their_columns), shared
                )
                parts.append((shared, product))
    return Cast(one.dark or other.dark, parts)


def _common(one: slice, other: slice) -> slice:
    return slice(max(one.start, other.start), min(one.stop, other.stop))


def _inner(change: Pixels | float, region: Region, shared: Region) -> Pixels | float:
    """What of a part lies in a smaller region."""
    if not isinstance(change, np.ndarray):
        return change
    (rows, columns), (top, left) = shared, (region[0].start, region[1].start)
    return change[rows.start - top : rows.stop - top, columns.start - left : columns.stop - left]


def _soft(t: Pixels) -> Pixels:
    """From 0 at t = -1/2 to 1 at 1/2, without corners."""
    t = np.clip(t + np.float32(0.5), 0, 1)
    return t * t * (3 - 2 * t)


def _span(low: float, high: float, size: int) -> slice:
    """The pixels of a row of `size` whose middles are in a range."""
    start = min(max(math.ceil(low - 0.5), 0), size)
    return slice(start, max(start, min(math.floor(high - 0.5) + 1, size)))


def _offsets(region: Region, x_px: float, y_px: float) -> tuple[Pixels, Pixels]:
    """How far the pixels' middles are from a point: a row of them in x, a column in y."""
    rows, columns = region
    dx = np.arange(columns.start, columns.stop, dtype=np.float32) + np.float32(0.5 - x_px)
    dy = np.arange(rows.start, rows.stop, dtype=np.float32) + np.float32(0.5 - y_px)
    return dx[None, :], dy[:, None]


def _inside(shade: Shade, width_px: int, dx: Pixels, dy: Pixels) -> Pixels:
    """1 behind the middle of a round shade, 0 clear of it."""
    radius_px = np.float32(shade.size * width_px / 2)
    return _soft((radius_px - np.sqrt(dx * dx + dy * dy)) / np.float32(PENUMBRA * width_px))


def _round(shade: Shade, size: tuple[int, int]) -> tuple[Region, Pixels]:
    height_px, width_px = size
    x_px, y_px = shade.x * width_px, shade.y * height_px
    reach_px = (shade.size + PENUMBRA) * width_px / 2
    region = (
        _span(y_px - reach_px, y_px + reach_px, height_px),
        _span(x_px - reach_px, x_px + reach_px, width_px),
    )
    return region, _inside(shade, width_px, *_offsets(region, x_px, y_px))


def _wire(shade: Shade, size: tuple[int, int]) -> Iterator[tuple[Region, Pixels]]:
    """What a wire from the middle of a disc to beyond the sheet takes of the light that the disc leaves."""
    height_px, width_px = size
    x_px, y_px = shade.x * width_px, shade.y * height_px
    cos, sin = math.cos(math.radians(shade.angle)), math.sin(math.radians(shade.angle))
    half_px = WIRE_WIDTH * width_px / 2
    # In slabs across its longer way. `along` is that way, `across` the other.
    flat = abs(cos) >= abs(sin)
    slope, ahead = (sin / cos, cos > 0) if flat else (cos / sin, sin > 0)
    along, along_size = (x_px, width_px) if flat else (y_px, height_px)
    across, across_size = (y_px, height_px) if flat else (x_px, width_px)
    way = _span(along, along_size, along_size) if ahead else _span(0, along, along_size)
    side = half_px * math.hypot(1, slope)
    for low in range(way.start, way.stop, _SLAB_PX):
        slab = slice(low, min(low + _SLAB_PX, way.stop))
        ends = [across + (end - along) * slope for end in (slab.start, slab.stop)]
        strip = _span(min(ends) - side, max(ends) + side, across_size)
        region = (strip, slab) if flat else (slab, strip)
        if strip.start < strip.stop:
            dx, dy = _offsets(region, x_px, y_px)
            off = (dx * np.float32(sin) - dy * np.float32(cos)) / np.float32(half_px)
            taken = np.float32(WIRE_SHADE) * np.maximum(1 - off * off, 0)
            yield region, taken * (_inside(shade, width_px, dx, dy) - 1)


def _half_plane(shade: Shade, size: tuple[int, int]) -> Iterator[tuple[Region, Pixels | float]]:
    """All that lies beyond a straight edge, on the side of its angle: of each slab of rows a soft part and a
    dark one."""
    height_px, width_px = size
    x_px, y_px = shade.x * width_px, shade.y * height_px
    cos, sin = math.cos(math.radians(shade.angle)), math.sin(math.radians(shade.angle))
    edge_px = (CONTACT if shade.shape == "cover" else PENUMBRA) * width_px
    for low in range(0, height_px, _SLAB_PX):
        rows = slice(low, min(low + _SLAB_PX, height_px))
        # How far behind the edge a pixel is: (x - x_px) cos + (y - y_px) sin. Its second term in this slab:
        least, most = sorted((y + 0.5 - y_px) * sin for y in (rows.start, rows.stop - 1))
        if abs(cos) > 1e-6:
            begins, full = x_px + (-edge_px / 2 - most) / cos, x_px + (edge_px / 2 - least) / cos
        else:
            begins = -math.inf if most > -edge_px / 2 else math.inf
            full = -math.inf if least > edge_px / 2 else math.inf
        if cos < -1e-6:
            dark, soft = _columns(-math.inf, full, width_px), _columns(full, begins, width_px)
        else:
            dark, soft = _columns(full, math.inf, width_px), _columns(begins, full, width_px)
        if soft.start < soft.stop:
            region = (rows, soft)
            dx, dy = _offsets(region, x_px, y_px)
            behind = dx * np.float32(cos) + dy * np.float32(sin)
            yield region, -_soft(behind / np.float32(edge_px))
        if dark.start < dark.stop:
            yield (rows, dark), -1.0


def _columns(low: float, high: float, size: int) -> slice:
    """The pixels whose middles are from `low` up to, not including, `high`."""
    start, stop = (math.ceil(min(max(end, -1), size + 1) - 0.5) for end in (low, high))
    start = min(max(start, 0), size)
    return slice(start, min(max(stop, start), size))
