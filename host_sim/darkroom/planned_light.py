"""What a sheet ought to get: light of every area or patch through every filter, straight from the map.

What must live here: the plan that light on paper is held against, from the map and the strip alone. It may
not know how the light is given: stages, windows, hands, lamps. All light is in ms of lamp at full light,
without lag.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import per_mille_less
from timing_core.light.strip import Strip

REST = "rest of the sheet"

Plan = dict[tuple[str, str], float]
"""Light in ms for each (area, filter)."""


@dataclass
class AreaLight:
    """What one area got through one filter, in ms of full light."""

    area: str
    filter: str
    planned_ms: float
    given_ms: float

    @property
    def error_stops(self) -> float | None:
        """How far the light is off, in stops; None where none was planned."""
        if self.planned_ms <= 0:
            return None
        return math.log2(self.given_ms / self.planned_ms) if self.given_ms > 0 else -math.inf


def planned_print(map: PrintingMap) -> Plan:
    """Light of every area through every filter, in ms, straight from the map (not from its stages)."""
    cut_pm = map.dry_down_pm if map.dry_down else 0
    areas = list(dict.fromkeys(mark.area for own in map.passes for mark in own.marks))
    plan: Plan = {}
    for area in [*areas, REST]:
        add_flash(plan, area, map)
        for index, own in enumerate(map.passes):
            add(plan, (area, own.filter), per_mille_less(map.base_ms(index), cut_pm))
            for mark in own.marks:
                if mark.area == area and mark.stops120:
                    light_ms = map.mark_ms(index, mark)
                    sign = 1 if light_ms > 0 else -1
                    add(plan, (area, mark.filter or own.filter), sign * per_mille_less(abs(light_ms), cut_pm))
    return plan


def planned_strip(map: PrintingMap, strip: Strip) -> Plan:
    """Light of every patch: its own, over what the whole strip is to have first. That is the bases of earlier
    passes where the strip asks for them, and under a burn through another filter its own pass's base."""
    own = strip.pass_index
    first = list(range(own)) if strip.over_earlier else []
    if strip.filter(map) != map.passes[own].filter:
        first.append(own)
    plan: Plan = {}
    for patch in range(strip.patches):
        area = f"patch {patch + 1}"
        add_flash(plan, area, map)
        for index in first:
            add(plan, (area, map.passes[index].filter), map.base_ms(index))
        add(plan, (area, strip.filter(map)), strip.total_ms(map, 2 * patch))
    return plan


def planned_run(map: PrintingMap, strip: Strip | None) -> tuple[str, Plan]:
    """Title and plan of a run: of a print, or of a strip round the map."""
    if strip is None:
        return map.title or map.name, planned_print(map)
    return f"strip, {strip.patches} patches", planned_strip(map, strip)


def add_flash(plan: Plan, area: str, map: PrintingMap) -> None:
    """The flash reaches every area alike, and dry-down does not cut it."""
    if map.flash:
        add(plan, (area, map.flash.filter), map.flash.light_ms())


def add(plan: Plan, key: tuple[str, str], light: float) -> None:
    plan[key] = plan.get(key, 0) + light
