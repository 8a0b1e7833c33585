"""What came of a sheet: its light held against the plan of the run, area by area and point by point.

What must live here: the comparison. It may not know how the light was given, nor what a page makes of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from host_sim.darkroom.planned_light import REST, AreaLight, Plan, planned_run
from host_sim.optics.negatives import mask_of
from host_sim.optics.pixels import Outline, Pixels, band
from host_sim.optics.sheet import Sheet
from timing_core.light.printing_map import PrintingMap
from timing_core.light.strip import Strip

NEVER_STOPS = 10.0
"""Errors are told as at most this many stops, either way: no light at all is off without end."""


@dataclass
class Run:
    """What the run on a sheet was to give, as it began. `patches_s`: the whole light of each patch of a
    strip, in seconds; none for a print or a guided test."""

    title: str
    plan: Plan
    patches_s: list[float]

    @property
    def areas(self) -> list[str]:
        return list(dict.fromkeys(area for area, _ in self.plan))

    @property
    def filters(self) -> list[str]:
        return list(dict.fromkeys(filter for _, filter in self.plan))

    def without_filters(self) -> Run:
        """The same on a paper that takes none: all light of an area is one."""
        plan: Plan = {}
        for (area, _), ms in self.plan.items():
            plan[area, ""] = plan.get((area, ""), 0) + ms
        return Run(self.title, plan, self.patches_s)

    def planned_ms(self, area: str) -> float:
        """Light of an area through all filters."""
        return sum(ms for (own, _), ms in self.plan.items() if own == area)


def run_of(map: PrintingMap, strip: Strip | None) -> Run:
    """The run that began with this map and this strip, None for a print."""
    patches_s = [strip.total_ms(map, 2 * patch) / 1000 for patch in range(strip.patches)] if strip else []
    return Run(*planned_run(map, strip), patches_s)


def masks_of(
    run: Run, outline_of: Callable[[str], Outline | None], shape: tuple[int, int]
) -> dict[str, Pixels | None]:
    """Where each of the run's areas is, 1 inside and 0 outside; None for one that is nowhere. The rest of the
    sheet is where no other area is."""
    found: dict[str, Pixels | None] = {}
    rest = np.ones(shape, np.float32)
    for number, area in enumerate(run.areas):
        if run.patches_s:
            mask = np.zeros(shape, np.float32)
            mask[:, band(number + 1, len(run.patches_s), shape[1])] = 1
        elif area == REST:
            mask = rest
        else:
            outline = outline_of(area)
            if outline is None:
                found[area] = None
                continue
            mask = mask_of(outline, shape[1], shape[0])
            rest[mask > 0.5] = 0
        found[area] = mask if mask.max() > 0.5 else None
    return found


def rows(
    run: Run, masks: dict[str, Pixels | None], sheet: Sheet, density: Pixels, lux: float
) -> list[dict[str, Any]]:
    """A row of plain data for each area and filter: planned and given light in ms of full light (`lux`), the
    error in stops and the mean density. What is not known of an area that is nowhere is None. All light of
    the lamp counts: the viewing light has no row of its own, but counts with the area's first filter where
    the plan has not the one that was in."""
    found = []
    for area in run.areas:
        mask = masks[area]
        where = None if mask is None else mask > 0.5
        names = [name for own, name in run.plan if own == area]
        light = {} if where is None else sheet.mean_light(where, viewing=False)
        for name, lux_s in ({} if where is None else sheet.mean_light(where, viewing=True)).items():
            counts_as = name if name in names else names[0]
            light[counts_as] = light.get(counts_as, 0.0) + lux_s
        for name in [*names, *(name for name in light if name not in names)]:
            planned_ms = run.plan.get((area, name), 0)
            row = {"area": area, "filter": name, "planned_ms": planned_ms}
            if where is None:
                row |= {"given_ms": None, "error_stops": None, "density": None}
            else:
                given_ms = light.get(name, 0.0) / lux * 1000
                row["given_ms"] = given_ms
                row["error_stops"] = _held_error(AreaLight(area, name, planned_ms, given_ms))
                row["density"] = float(density[where].mean())
            found.append(row)
    return found


def patches(run: Run, masks: dict[str, Pixels | None], density: Pixels) -> list[dict[str, Any]]:
    """Number, seconds and mean density of each patch of a strip; nothing for a print."""
    if not run.patches_s:
        return []
    means = [float(density[mask > 0.5].mean()) for mask in masks.values() if mask is not None]
    return [
        {"patch": number + 1, "seconds": seconds, "density": mean}
        for number, (seconds, mean) in enumerate(zip(run.patches_s, means, strict=True))
    ]


def worst_stops(rows: list[dict[str, Any]]) -> float | None:
    """The largest error of any row, and of all light of any area, in stops: light through a filter that the
    plan has not counts too. None where there is none to tell."""
    errors = [abs(row["error_stops"]) for row in rows if row["error_stops"] is not None]
    if not errors:
        return None
    planned_ms: dict[str, float] = {}
    given_ms: dict[str, float] = {}
    for row in rows:
        area = row["area"]
        if row["given_ms"] is not None:
            planned_ms[area] = planned_ms.get(area, 0) + row["planned_ms"]
            given_ms[area] = given_ms.get(area, 0) + row["given_ms"]
    for area, ms in planned_ms.items():
        error = _held_error(AreaLight(area, "", ms, given_ms[area]))
        if error is not None:
            errors.append(abs(error))
    return max(errors)


def _held_error(light: AreaLight) -> float | None:
    error = light.error_stops
    return None if error is None else max(-NEVER_STOPS, min(NEVER_STOPS, error))


def errors_stops(run: Run, masks: dict[str, Pixels | None], sheet: Sheet, lux: float) -> Pixels:
    """How far off the plan every point is, in stops, all filters together. Areas go over into the rest of the
    sheet as softly as their masks do, for no hand can follow an edge."""
    rest_ms = run.planned_ms(REST)
    planned = np.full(sheet.shape, rest_ms, np.float32)
    for area, mask in masks.items():
        if mask is not None and area != REST:
            planned += mask * np.float32(run.planned_ms(area) - rest_ms)
    given = np.zeros(sheet.shape, np.float32)
    for light in sheet.open_light().values():
        given += light * np.float32(1000 / lux)
    least_ms = np.float32(1e-3)
    return np.log2(np.maximum(given, least_ms) / np.maximum(planned, least_ms))
