"""Ideal hands: they shade what each stage says, as soon as they hear it; and the light that each area gets.

What must live here: who is in the light when. The hands are ideal unless given a reaction time: they do what
the stage says and move a shade when they hear the cue. Light is the lamp house's, in lux seconds; the plan
is the map's, in ms of lamp at full light. It watches a session and never touches the box.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from host_sim.box.session import Session, Watcher
from host_sim.box.view import BoxView
from host_sim.darkroom.planned_light import REST, AreaLight, Plan, add, planned_run
from host_sim.optics.lamp_house import LampHouse
from host_sim.optics.paper import Paper
from timing_core.light.plan import BASE, BOTH, BURN, CLOSES, COVER, FLASH, OPENS, Stage

__all__ = ["REST", "AreaLight", "IdealHands", "Sheet"]


@dataclass
class Sheet:
    """One sheet of `paper`: the plan for it, and lux seconds for each (area, filter). `lux` is full light."""

    title: str
    planned: Plan
    paper: Paper
    lux: float
    doses: Plan = field(default_factory=dict)

    @property
    def areas(self) -> list[str]:
        return list(dict.fromkeys(area for area, _ in self.planned))

    @property
    def lacking(self) -> list[str]:
        """Filters that the plan asks for and that the paper has no data for."""
        asked = dict.fromkeys(filter for _, filter in self.planned)
        return [filter for filter in asked if self.paper.lacks(filter)]

    def error_stops(self, light: AreaLight) -> float | None:
        """How far the light is off; None where none was planned, or there is no data to judge it by."""
        return None if self.paper.lacks(light.filter) else light.error_stops


class IdealHands(Watcher):
    """Watches `session` under the lamp of `house`; `reaction_ms` is how late the hands are."""

    def __init__(self, session: Session, house: LampHouse, reaction_ms: int = 0) -> None:
        self.session = session
        self._box = BoxView(session)
        self.house = house
        self.reaction_ms = reaction_ms
        self.sheets: list[Sheet] = []
        self._under: tuple[int, str] | None = None
        self._stage: Stage | None = None
        self._from_us = 0
        self._shades: list[tuple[int, int, int | None]] = []
        """Windows that were shaded, by their number in the stage, each with from when to when in us."""
        self._opened = 0
        self._was_reset = False
        house.readers.append(self)

    # --- watching

    def lamp(self, now_ms: int, on: bool) -> None:
        if not on:
            return
        self.settle()
        self._stage = None if self._box.in_test else self._box.exposing
        if self._stage:
            if self._box.sheet_key != self._under:
                self._under = self._box.sheet_key
                plan = planned_run(*self._box.began_with())
                self.sheets.append(Sheet(*plan, self.house.paper, self.house.lux))
            self._from_us = now_ms * 1000
            if self._box.is_first_strike or self._was_reset:
                self._take_up_shades(self._box.given_ms)

    def output(self, now_ms: int, kind: str, value: object) -> None:
        if kind != "sound" or self._stage is None or not self._stage.windows:
            return
        at_us = (now_ms + self.reaction_ms) * 1000
        if value in OPENS or value == BOTH[0]:
            for _ in range(2 if value == BOTH[0] else 1):
                self._shades.append((self._opened, at_us, None))
                self._opened += 1
        elif value in CLOSES or value == BOTH[1]:
            # The tone tells which: every second shade has the second.
            self._take_out(at_us, None if value == BOTH[1] else CLOSES.index(str(value)))

    def _take_up_shades(self, given_ms: int) -> None:
        """The hands begin a stage, or go on with one that a reset cut off: the shade that is due is in."""
        windows = self._stage.windows if self._stage else []
        self._was_reset = False
        self._opened = sum(window.open_ms <= given_ms for window in windows)
        self._shades = [
            (number, self._from_us, None)
            for number, window in enumerate(windows[: self._opened])
            if given_ms < window.close_ms
        ]

    def _take_out(self, at_us: int, turn: int | None = None) -> None:
        """Take the shades out that are in: all, or those whose `turn` it is."""
        self._shades = [
            (number, opened_us, at_us if closed_us is None and turn in (None, number % 2) else closed_us)
            for number, opened_us, closed_us in self._shades
        ]

    def reset(self, now_ms: int) -> None:
        self._was_reset = True
        self._take_out(now_ms * 1000)

    # --- light

    @property
    def settled_us(self) -> int:
        return self.session.now_ms * 1000 if self._stage is None else self._from_us

    def settle(self) -> None:
        """Share out the light of the stage under way, or just given, up to now."""
        self._settle(self.session.now_ms * 1000)

    def _settle(self, to_us: int) -> None:
        stage, from_us = self._stage, self._from_us
        if stage is None or to_us <= from_us:
            return
        sheet = self.sheets[-1]
        whole = self.house.dose(from_us, to_us, stage.filter)
        for area in sheet.areas:
            light = whole * self._open(area, stage)
            for number, opened_us, closed_us in self._shades:
                if stage.windows[number].area == area:
                    start = max(from_us, opened_us)
                    end = to_us if closed_us is None else min(to_us, closed_us)
                    if end > start:
                        light -= self.house.dose(start, end, stage.filter)
            if light:
                add(sheet.doses, (area, stage.filter), light)
        self._from_us = to_us
        self.house.forget()

    @staticmethod
    def _open(area: str, stage: Stage) -> int:
        """1 where the stage's light reaches the area, 0 where a shade covers it."""
        if stage.kind == BURN:
            return int(stage.area == area)
        if stage.kind == COVER:
            return int(int(area.split()[1]) >= int(stage.area))
        if stage.kind in (BASE, FLASH):
            return 1
        return int(area == f"patch {stage.area}")

    def report(self) -> list[tuple[Sheet, list[AreaLight]]]:
        """What every area of every sheet got, after the lamp's tail has died."""
        settle_us = self.house.light.settle_us
        if settle_us is not None:
            self._settle(max(settle_us, self.session.now_ms * 1000))
        return [
            (
                sheet,
                [
                    AreaLight(area, filter, planned, sheet.doses.get((area, filter), 0.0) / sheet.lux * 1000)
                    for (area, filter), planned in sheet.planned.items()
                ],
            )
            for sheet in self.sheets
        ]
