"""A sheet of paper in the easel: the light that every point of it got, and the print that this light leaves.

What must live here: light gathered per pixel under shadows, and its development. It may not know the timing
core, sessions, plans or who holds the shade; it is handed lux seconds and where a shadow lies.

The light of one beam (what is projected, through which filter) on a point is ``even + less``: `even` is one
number for all the sheet, `less` an array that is only touched where a shadow lies. So a move of a shade
costs what its own shadow's area costs, however large the sheet.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from host_sim.optics.paper import Paper
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX, Pixels, band
from host_sim.optics.shades import Cast


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
            for region, change in cast.parts:
                self._less[region] += np.multiply(change, lux_s, dtype=np.float32)

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
    """Light of one kind on one part of the sheet: what is projected ("" for no negative), through which
    filter ("" for none), on which of how many equal upright bands (0 for the whole sheet), and whether it is
    the viewing light."""

    negative: str
    filter: str
    patch: int = 0
    patches: int = 1
    viewing: bool = False

    def columns(self, width_px: int) -> slice:
        return band(self.patch, self.patches, width_px) if self.patch else slice(0, width_px)


@dataclass
class Sheet:
    """One sheet: `layers` is the lamp's light, without film; `safelight` the safelight's, in lux seconds of
    lamp light through the softest filter: what it reaches is the green-sensitive emulsion."""

    number: int
    paper: Paper
    shape: tuple[int, int] = (HEIGHT_PX, WIDTH_PX)
    layers: dict[Beam, Layer] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.safelight = Layer(self.shape)

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

    def mean_light(self, where: Any, viewing: bool | None = None) -> dict[str, float]:
        """The mean of `open_light` over an index of the sheet, which holds at least one pixel. `viewing`: of
        the viewing light alone, or of all other light alone."""
        found: dict[str, float] = {}
        for beam, layer in self.layers.items():
            if viewing not in (None, beam.viewing):
                continue
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
        safelight = np.full((1, 1), 1, np.float32) * self.safelight.light()
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
