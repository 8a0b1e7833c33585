"""A sheet of paper in the easel: the light that every point of it got, and the print that this light leaves.

What must live here: light gathered per pixel under shadows, and its development. It may not know the timing
core, sessions, plans or who holds the card; it is handed lux seconds and where a shadow lies.

The light of one beam (what is projected, through which filter) on a point is ``even + less``: `even` is one
number for all the sheet, `less` an array that is only touched where a shadow lies. So a move of a card
costs what its own shadow's area costs, however large the sheet.

Places are in parts of the sheet: x from the left edge, y from the top, 1 at the far edge. Arrays are
HEIGHT_PX rows of WIDTH_PX.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from host_sim.optics.paper import Paper

WIDTH_PX, HEIGHT_PX = 1000, 800
Pixels = NDArray[np.floating[Any]]
Box = tuple[slice, slice]
"""Rows and columns."""

SHAPES = ("none", "disc", "hole", "card", "cover")
PENUMBRA = 0.024
"""Width of a soft edge, in parts of the sheet's width: a card is held some hand's breadth above the paper;
common practice, no source."""
CONTACT = 0.003
"""The same for a card that lies on the paper."""
WIRE_SHADE = 0.12
"""Light that a wire, far thinner than the penumbra, takes away along its middle; no source."""
WIRE_WIDTH = 0.014
"""Width of its shadow, in parts of the sheet's width."""
_SLAB_PX = 128
"""A slanting shadow is cut into strips of this width, so that their bounds stay near to its area."""


@dataclass(frozen=True)
class Tool:
    """What is held in the light. `x`, `y`: the middle of a disc or hole, a point of a card's edge. `size`:
    diameter in parts of the sheet's width. `angle`: degrees clockwise from the right; where a disc's wire
    leaves it, or on which side of its edge a card is.

    "disc" on a wire; "hole" in a card that darkens all but the hole; "card" with a straight edge; "cover" is
    a card that lies on the paper.
    """

    shape: str = "none"
    x: float = 0.5
    y: float = 0.5
    size: float = 0.2
    angle: float = 0.0


class Cast(NamedTuple):
    """How a tool changes the light. All of the open light arrives, or none where `dark`; each of `parts` adds
    a number, or one for each pixel, in parts of the open light."""

    dark: bool
    parts: list[tuple[Box, Pixels | float]]


def cast_of(tool: Tool, width_px: int = WIDTH_PX, height_px: int = HEIGHT_PX) -> Cast:
    """The shadow of `tool` on a sheet of that size."""
    size = (height_px, width_px)
    if tool.shape == "hole":
        return Cast(True, [_round(tool, size)])
    if tool.shape == "disc":
        box, inside = _round(tool, size)
        return Cast(False, [(box, -inside), *_wire(tool, size)])
    if tool.shape in ("card", "cover"):
        return Cast(False, list(_half_plane(tool, size)))
    return Cast(False, [])


def _soft(t: Pixels) -> Pixels:
    """From 0 at t = -1/2 to 1 at 1/2, without corners."""
    t = np.clip(t + np.float32(0.5), 0, 1)
    return t * t * (3 - 2 * t)


def _span(low: float, high: float, size: int) -> slice:
    """The pixels of a row of `size` whose middles are in a range."""
    start = min(max(math.ceil(low - 0.5), 0), size)
    return slice(start, max(start, min(math.floor(high - 0.5) + 1, size)))


def _offsets(box: Box, x_px: float, y_px: float) -> tuple[Pixels, Pixels]:
    """How far the pixels' middles are from a point: a row of them in x, a column in y."""
    rows, columns = box
    dx = np.arange(columns.start, columns.stop, dtype=np.float32) + np.float32(0.5 - x_px)
    dy = np.arange(rows.start, rows.stop, dtype=np.float32) + np.float32(0.5 - y_px)
    return dx[None, :], dy[:, None]


def _inside(tool: Tool, width_px: int, dx: Pixels, dy: Pixels) -> Pixels:
    """1 behind the middle of a round tool, 0 clear of it."""
    radius_px = np.float32(tool.size * width_px / 2)
    return _soft((radius_px - np.sqrt(dx * dx + dy * dy)) / np.float32(PENUMBRA * width_px))


def _round(tool: Tool, size: tuple[int, int]) -> tuple[Box, Pixels]:
    height_px, width_px = size
    x_px, y_px = tool.x * width_px, tool.y * height_px
    reach_px = (tool.size + PENUMBRA) * width_px / 2
    box = (
        _span(y_px - reach_px, y_px + reach_px, height_px),
        _span(x_px - reach_px, x_px + reach_px, width_px),
    )
    return box, _inside(tool, width_px, *_offsets(box, x_px, y_px))


def _wire(tool: Tool, size: tuple[int, int]) -> Iterator[tuple[Box, Pixels]]:
    """What a wire from the middle of a disc to beyond the sheet takes of the light that the disc leaves."""
    height_px, width_px = size
    x_px, y_px = tool.x * width_px, tool.y * height_px
    cos, sin = math.cos(math.radians(tool.angle)), math.sin(math.radians(tool.angle))
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
        box = (strip, slab) if flat else (slab, strip)
        if strip.start < strip.stop:
            dx, dy = _offsets(box, x_px, y_px)
            off = (dx * np.float32(sin) - dy * np.float32(cos)) / np.float32(half_px)
            shade = np.float32(WIRE_SHADE) * np.maximum(1 - off * off, 0)
            yield box, shade * (_inside(tool, width_px, dx, dy) - 1)


def _half_plane(tool: Tool, size: tuple[int, int]) -> Iterator[tuple[Box, Pixels | float]]:
    """All that lies beyond a straight edge, on the side of its angle: of each slab of rows a soft part and a
    dark one."""
    height_px, width_px = size
    x_px, y_px = tool.x * width_px, tool.y * height_px
    cos, sin = math.cos(math.radians(tool.angle)), math.sin(math.radians(tool.angle))
    edge_px = (CONTACT if tool.shape == "cover" else PENUMBRA) * width_px
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
            box = (rows, soft)
            dx, dy = _offsets(box, x_px, y_px)
            behind = dx * np.float32(cos) + dy * np.float32(sin)
            yield box, -_soft(behind / np.float32(edge_px))
        if dark.start < dark.stop:
            yield (rows, dark), -1.0


def _columns(low: float, high: float, size: int) -> slice:
    """The pixels whose middles are from `low` up to, not including, `high`."""
    start, stop = (math.ceil(min(max(end, -1), size + 1) - 0.5) for end in (low, high))
    start = min(max(start, 0), size)
    return slice(start, min(max(stop, start), size))


class Layer:
    """The light of one beam, in lux seconds of open light."""

    def __init__(self, shape: tuple[int, int]) -> None:
        self._shape = shape
        self.even = 0.0
        self._less: Pixels | None = None

    def gather(self, lux_s: float, cast: Cast) -> None:
        """Add `lux_s` of open light, under a shadow."""
        if not cast.dark:
            self.even += lux_s
        if cast.parts:
            if self._less is None:
                self._less = np.zeros(self._shape, np.float32)
            for box, change in cast.parts:
                self._less[box] += np.multiply(change, lux_s, dtype=np.float32)

    def light(self, columns: slice = slice(None)) -> Pixels | float:
        """Lux seconds at every point of these columns: one number where all are alike."""
        if self._less is None:
            return self.even
        return np.maximum(self._less[:, columns] + np.float32(self.even), 0)

    def mean(self, where: Any, inside: Pixels | None) -> float:
        """Mean of the light over an index of the sheet; `inside` is 1 where the beam falls, None for
        everywhere. Exact but for what shadows took."""
        part = 1.0 if inside is None else float(inside[where].mean(dtype=np.float64))
        found = self.even * part
        if self._less is not None:
            less = self._less[where] if inside is None else self._less[where] * inside[where]
            found += float(less.mean(dtype=np.float64))
        return max(0.0, found)


class Beam(NamedTuple):
    """Light of one kind on one part of the sheet: what is projected, through which filter ("" for none), on
    which of how many equal upright bands (0 for the whole sheet)."""

    negative: str
    filter: str
    patch: int = 0
    patches: int = 1

    def columns(self, width_px: int) -> slice:
        return band(self.patch, self.patches, width_px) if self.patch else slice(0, width_px)


def band(patch: int, patches: int, width_px: int) -> slice:
    """The columns of patch 1, 2, … of a strip."""
    return slice((patch - 1) * width_px // patches, patch * width_px // patches)


@dataclass
class Sheet:
    """One sheet: `layers` is the lamp's light, without film; `safelight_lux_s` the safelight's, in lux
    seconds of lamp light through the softest filter: what it reaches is the green-sensitive emulsion."""

    number: int
    paper: Paper
    shape: tuple[int, int] = (HEIGHT_PX, WIDTH_PX)
    layers: dict[Beam, Layer] = field(default_factory=dict)
    safelight_lux_s: float = 0.0

    def gather(self, beam: Beam, lux_s: float, cast: Cast) -> None:
        """Let the beam shine for `lux_s` of open light, under a shadow."""
        layer = self.layers.get(beam)
        if layer is None:
            layer = self.layers[beam] = Layer(self.shape)
        layer.gather(lux_s, cast)

    @property
    def lit(self) -> bool:
        """True once the lamp has shone on it."""
        return bool(self.layers)

    def open_light(self) -> dict[str, Pixels]:
        """Lux seconds at every point through each filter, as if no film had been in the way."""
        return self._sum(lambda beam: np.float32(1))

    def mean_light(self, where: Any) -> dict[str, float]:
        """The mean of `open_light` over an index of the sheet, which holds at least one pixel."""
        found: dict[str, float] = {}
        for beam, layer in self.layers.items():
            inside = None
            if beam.patch:
                inside = np.zeros(self.shape, np.float32)
                inside[:, beam.columns(self.shape[1])] = 1
            found[beam.filter] = found.get(beam.filter, 0.0) + layer.mean(where, inside)
        return found

    def light(self, projection: Callable[[Beam], Any]) -> dict[str, Pixels]:
        """Lux seconds at every point through each filter. `projection` gives the part of the light that comes
        through the film for a beam, on all of the sheet."""
        return self._sum(projection)

    def _sum(self, projection: Callable[[Beam], Any]) -> dict[str, Pixels]:
        found: dict[str, Pixels] = {}
        for beam, layer in self.layers.items():
            columns = beam.columns(self.shape[1])
            if beam.filter not in found:
                found[beam.filter] = np.zeros(self.shape, np.float32)
            film = projection(beam)
            through = film[:, columns] if isinstance(film, np.ndarray) else film
            found[beam.filter][:, columns] += through * layer.light(columns)
        return found

    def develop(self, projection: Callable[[Beam], Any], dry_down_percent: float = 0.0) -> Pixels:
        """Density above base and fog at every point; with a dry-down, as it is once dry."""
        doses = {beam_filter or "none": light for beam_filter, light in self.light(projection).items()}
        safelight = np.full((1, 1), self.safelight_lux_s, np.float32)
        softest = self.paper.softest
        doses[softest] = doses[softest] + safelight if softest in doses else safelight
        more = np.float32(1 / (1 - dry_down_percent / 100))
        return np.broadcast_to(
            densities(self.paper, {name: dose * more for name, dose in doses.items()}), self.shape
        )


def densities(paper: Paper, doses: Mapping[str, Pixels]) -> Pixels:
    """`paper.density` for arrays of lux seconds that fit each other, to 0.001."""
    answers = [(dose, paper.response(name)) for name, dose in doses.items()]
    shape = np.broadcast_shapes(*(dose.shape for dose in doses.values()))
    found = np.zeros(shape, np.float32)
    coatings = len(answers[0][1])
    hill = np.float32(paper.hill)
    with np.errstate(divide="ignore", over="ignore"):
        for coating in range(coatings):
            exposure = sum(dose * np.float32(response[coating]) for dose, response in answers)
            # E ** k / (1 + E ** k), by way of the logarithm, which is the quicker one of an array.
            found += 1 / (1 + np.exp(-hill * np.log(exposure)))
    return found * np.float32(paper.dmax / coatings)
