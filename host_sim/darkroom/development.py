"""A sheet in the trays: the print that it becomes, and the verdict on its light.

What must live here: putting together film, paper and plan once the light is given. It may not know the box or
how the light came to be given.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from host_sim.darkroom import verdict
from host_sim.darkroom.films import Films
from host_sim.darkroom.verdict import Run
from host_sim.optics.paper import Paper
from host_sim.optics.pixels import WIDTH_PX, Pixels, band
from host_sim.optics.sheet import Beam, Sheet


class Print(NamedTuple):
    """`density` above base and fog and `errors_stops` at every point, the latter None where there is no
    telling; `verdict` as plain data; `no_verdict` says why there is none on the light, if so."""

    density: Pixels
    errors_stops: Pixels | None
    verdict: dict[str, Any]
    no_verdict: str


def develop(sheet: Sheet, run: Run, films: Films, lux: float, dry: bool, spoilt: str = "") -> Print:
    """What `sheet` becomes. `lux` is full light; `dry`: as it is once dry; `spoilt`: why its light cannot be
    held against the plan."""
    lacking = [name for name in run.filters if sheet.paper.lacks(name)]
    if lacking and sheet.paper.is_graded:
        run = run.without_filters()
    density = density_of(sheet, films, dry)
    masks = verdict.masks_of(run, films.outline, sheet.shape)
    rows = verdict.rows(run, masks, sheet, density, lux)
    if lacking or spoilt:
        for row in rows:
            row["error_stops"] = None
    judged = {
        "title": run.title,
        "rows": rows,
        "patches": verdict.patches(run, masks, density),
        "worst_stops": verdict.worst_stops(rows),
    }
    tells = run.plan and not lacking and not spoilt
    errors_stops = verdict.errors_stops(run, masks, sheet, lux) if tells else None
    return Print(density, errors_stops, judged, spoilt or no_verdict(sheet.paper, lacking))


def density_of(sheet: Sheet, films: Films, dry: bool) -> Pixels:
    """Density above base and fog at every point of `sheet`, wet or dry."""
    return sheet.develop(lambda beam: projection(films, beam), sheet.paper.dry_down_percent if dry else 0.0)


def projection(films: Films, beam: Beam) -> Pixels | float:
    """What the film lets through for a beam, at every point of the sheet; 1 where there was no film."""
    if not beam.negative:
        return 1.0
    film = films.film(beam.negative).transmittance
    if not beam.patch:
        return film
    # Every piece of a fresh strip lies in one place: under the middle of the picture.
    own = band(beam.patch, beam.patches, WIDTH_PX)
    middle = (WIDTH_PX - (own.stop - own.start)) // 2
    return np.roll(film, own.start - middle, axis=1)


def no_verdict(paper: Paper, lacking: list[str]) -> str:
    """Why there is no verdict on light through filters that the paper has no data for, and what is shown; ""
    where there are none."""
    if not lacking:
        return ""
    names = " and ".join(lacking)
    shown = "without a filter" if paper.is_graded else "through the filters that were fitted"
    return (
        f"No verdict: {paper.name} has no data for filter {names}. The print shows the light given {shown}."
    )
