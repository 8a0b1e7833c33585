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

from host_sim.paper import Paper

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
_SLAB_PX = 32
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
    """How a tool changes the light: `parts` are places that do not overlap, each with what is added there, in
    parts of the open light; elsewhere all of it arrives, or none where `dark`."""

    dark: bool
    parts: list[tuple[Box, Pixels]]


def cast_of(tool: Tool, width_px: int = WIDTH_PX, height_px: int = HEIGHT_PX) -> Cast:
    """The shadow of `tool` on a sheet of that size."""
    x_px, y_px = tool.x * width_px, tool.y * height_px
    edge_px = max(1.0, PENUMBRA * width_px)
    if tool.shape in ("disc", "hole"):
        radius_px = tool.size * width_px / 2
        box = _clip(x_px, y_px, radius_px + edge_px / 2, width_px, height_px)
        dx, dy = _grid(box, x_px, y_px)
        inside = _soft((np.float32(radius_px) - np.hypot(dx, dy)) / np.float32(edge_px))
        if tool.shape == "hole":
            return Cast(True, [(box, inside)])
        return Cast(False, list(_disc(tool, box, inside, width_px, height_px)))
    if tool.shape == "card":
        return Cast(False, list(_half_plane(x_px, y_px, tool.angle, edge_px, width_px, height_px)))
    if tool.shape == "cover":
        edge_px = max(1.0, CONTACT * width_px)
        return Cast(False, list(_half_plane(x_px, y_px, tool.angle, edge_px, width_px, height_px)))
    return Cast(False, [])


def _soft(t: Pixels) -> Pixels:
    """From 0 at t = -1/2 to 1 at 1/2, without corners."""
    t = np.clip(t + np.float32(0.5), 0, 1)
    return t * t * (3 - 2 * t)


def _clip(x: float, y: float, reach: float, width_px: int, height_px: int) -> Box:
    """The pixels whose middle is within `reach` of a point, in x and in y."""
    return (_span(y - reach, y + reach, height_px), _span(x - reach, x + reach, width_px))


def _span(low: float, high: float, size: int) -> slice:
    start = min(max(math.ceil(low - 0.5), 0), size)
    return slice(start, max(start, min(math.floor(high - 0.5) + 1, size)))


def _grid(box: Box, x_px: float, y_px: float) -> tuple[Pixels, Pixels]:
    """Distances of the pixels' middles from a point: a row of them in x, a column in y."""
    rows, columns = box
    dx = np.arange(columns.start, columns.stop, dtype=np.float32) + np.float32(0.5 - x_px)
    dy = np.arange(rows.start, rows.stop, dtype=np.float32) + np.float32(0.5 - y_px)
    return dx[None, :], dy[:, None]


def _disc(
    tool: Tool, box: Box, inside: Pixels, width_px: int, height_px: int
) -> Iterator[tuple[Box, Pixels]]:
    """The disc with the wire's shadow inside its bounds, then the wire beyond them."""
    x_px, y_px = tool.x * width_px, tool.y * height_px
    cos, sin = math.cos(math.radians(tool.angle)), math.sin(math.radians(tool.angle))
    wide_px = max(1.0, WIRE_WIDTH * width_px)

    def wire(place: Box) -> Pixels:
        dx, dy = _grid(place, x_px, y_px)
        off = np.abs(dx * np.float32(sin) - dy * np.float32(cos)) / np.float32(wide_px)
        along = dx * np.float32(cos) + dy * np.float32(sin)
        shade = WIRE_SHADE * (1 - np.clip(off * 2, 0, 1) ** 2)
        return np.where(along > 0, shade, 0).astype(np.float32)

    yield box, (1 - inside) * (1 - wire(box)) - 1
    # Beyond the disc: slabs across the wire's longer way, none of which reaches into the disc's bounds.
    flat = abs(cos) >= abs(sin)
    ahead = (cos if flat else sin) > 0
    reach_px = tool.size * width_px / 2 + max(1.0, PENUMBRA * width_px) / 2
    middle, size = (x_px, width_px) if flat else (y_px, height_px)
    own = _span(middle - reach_px, middle + reach_px, size)
    start, stop = (own.stop, size) if ahead else (0, own.start)
    if own.start == own.stop:
        # The disc is off the sheet on this axis: what it hides is all beyond one edge.
        start, stop = (0, size) if (middle < 0) == ahead else (0, 0)
    slope = sin / cos if flat else cos / sin
    for low in range(start, stop, _SLAB_PX):
        high = min(low + _SLAB_PX, stop)
        a, b = (low - middle) * slope, (high - middle) * slope
        other, other_size = (y_px, height_px) if flat else (x_px, width_px)
        side = wide_px / 2 * math.hypot(1, slope)
        across = _span(other + min(a, b) - side, other + max(a, b) + side, other_size)
        place = (across, slice(low, high)) if flat else (slice(low, high), across)
        if across.start < across.stop:
            yield place, -wire(place)


def _half_plane(
    x_px: float, y_px: float, angle: float, edge_px: float, width_px: int, height_px: int
) -> Iterator[tuple[Box, Pixels]]:
    """All that lies beyond a straight edge through a point, on the side of `angle`, in slabs of rows."""
    cos, sin = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    for low in range(0, height_px, _SLAB_PX):
        rows = slice(low, min(low + _SLAB_PX, height_px))
        columns = slice(0, width_px)
        if abs(cos) > 1e-9:
            # Where (x - x_px) cos + (y - y_px) sin is -edge / 2, at the slab's first and last row.
            starts = [x_px + (-edge_px / 2 - (y - y_px) * sin) / cos for y in (rows.start, rows.stop)]
            low_px, high_px = (min(starts), width_px) if cos > 0 else (0, max(starts))
            columns = _span(low_px, high_px, width_px)
        place = (rows, columns)
        dx, dy = _grid(place, x_px, y_px)
        depth = dx * np.float32(cos) + dy * np.float32(sin)
        if depth.size and depth.max() > -edge_px / 2:
            yield place, -_soft(depth / np.float32(edge_px))


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
                self._less[box] += change * np.float32(lux_s)

    def light(self, columns: slice = slice(None)) -> Pixels | float:
        """Lux seconds at every point of these columns: one number where all are alike."""
        if self._less is None:
            return self.even
        return np.maximum(self._less[:, columns] + np.float32(self.even), 0)


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
    """One sheet: `layers` is the lamp's light, `safelight_lux_s` the safelight's, both as without film."""

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
        doses["none"] = doses["none"] + safelight if "none" in doses else safelight
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
