"""The easel: paper under the lamp, a pair of hands with cards, and the light each area got.

What must live here: who is in the light when. The hands are ideal unless given a reaction time:
they do what the stage says and move a card when they hear the cue. Light is the bench's own
(`physics`), in lux seconds; the plan is the map's, in ms of lamp at full light. It watches a
session and never touches the box.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from host_sim.physics import LampBench
from host_sim.plans import REST, AreaLight, Plan, add, plan_of_run
from host_sim.session import Session, Watcher
from timing_core.run import BASE, BURN, COVER, FIT, Stage

__all__ = ["REST", "AreaLight", "Easel", "Sheet"]


@dataclass
class Sheet:
    """One sheet of paper: the plan for it, and lux seconds for each (area, filter)."""

    title: str
    planned: Plan
    doses: Plan = field(default_factory=dict)

    @property
    def areas(self) -> list[str]:
        return list(dict.fromkeys(area for area, _ in self.planned))


class Easel(Watcher):
    """Watches `session`; `bench` is the lamp above the paper, `reaction_ms` how late the hands are."""

    def __init__(self, session: Session, bench: LampBench, reaction_ms: int = 0) -> None:
        self.session = session
        self.bench = bench
        self.reaction_ms = reaction_ms
        self.sheets: list[Sheet] = []
        self._stages: list[Stage] | None = None
        self._same_sheet = False
        self._stage: Stage | None = None
        self._from_us = 0
        self._window = 0
        self._shades: list[tuple[str, int, int | None]] = []

    # --- watching

    def input(self, now_ms: int, event: str, value: object) -> None:
        if event == "press" and self.session.box.state == "notice":
            self._same_sheet = True

    def lamp(self, now_ms: int, on: bool) -> None:
        now_us = now_ms * 1000
        if on:
            self._settle(now_us)
        self.bench.pin(now_us, on)
        box = self.session.box
        if on and box.state == "exposing":
            if box.stages is not self._stages:
                self._new_sheet()
            stage = box.stages[box.at]
            if box.strikes == 1:
                self._window = 0
                self._shades = []
            self._stage = stage
            self._from_us = now_us
        elif on:
            self._stage = None

    def output(self, now_ms: int, kind: str, value: object) -> None:
        if kind != "sound" or self._stage is None or not self._stage.windows:
            return
        at_us = (now_ms + self.reaction_ms) * 1000
        if value == "open":
            self._shades.append((self._stage.windows[self._window].area, at_us, None))
        elif value == "close":
            area, opened_us, _ = self._shades[-1]
            self._shades[-1] = (area, opened_us, at_us)
            self._window += 1

    def reset(self, now_ms: int) -> None:
        self._shades = [
            (area, opened_us, now_ms * 1000 if closed_us is None else closed_us)
            for area, opened_us, closed_us in self._shades
        ]

    def _new_sheet(self) -> None:
        box = self.session.box
        if not (self._same_sheet and self.sheets):
            self.sheets.append(Sheet(*plan_of_run(box)))
        self._same_sheet = False
        self._stages = box.stages

    # --- light

    def _settle(self, to_us: int) -> None:
        """Share out the light since the strike under way began."""
        stage, self_from = self._stage, self._from_us
        if stage is None or stage.kind == FIT or to_us <= self_from:
            return
        sheet = self.sheets[-1]
        whole = self.bench.dose(self_from, to_us)
        for area in sheet.areas:
            light = whole * self._open(area, stage)
            for shaded, opened_us, closed_us in self._shades:
                if shaded == area:
                    start = max(self_from, opened_us)
                    end = to_us if closed_us is None else min(to_us, closed_us)
                    if end > start:
                        light -= self.bench.dose(start, end)
            if light:
                add(sheet.doses, (area, stage.filter), light)
        self._from_us = to_us
        self.bench.forget_before(to_us)

    @staticmethod
    def _open(area: str, stage: Stage) -> int:
        """1 where the stage's light reaches the area, 0 where a card covers it."""
        if stage.kind == BURN:
            return int(stage.area == area)
        if stage.kind == COVER:
            return int(int(area.split()[1]) >= int(stage.area))
        if stage.kind == BASE:
            return 1
        return int(area == f"patch {stage.area}")

    def report(self, lux: float) -> list[tuple[Sheet, list[AreaLight]]]:
        """What every area of every sheet got, after the lamp's tail has died. `lux` is full light."""
        settle_us = self.bench.settle_us
        if settle_us is not None:
            self._settle(max(settle_us, self.session.now_ms * 1000))
        return [
            (
                sheet,
                [
                    AreaLight(area, filter, planned, sheet.doses.get((area, filter), 0.0) / lux * 1000)
                    for (area, filter), planned in sheet.planned.items()
                ],
            )
            for sheet in self.sheets
        ]
