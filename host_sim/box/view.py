"""What the simulator reads of its box: with the session and the script, the only place that knows it from
inside.

What must live here: reading. It changes nothing of the box, presses nothing, and makes nothing of what it
reads.
"""

from __future__ import annotations

import json
from typing import NamedTuple

from host_sim.box.session import Session
from timing_core.box import Box
from timing_core.light.plan import FIT, FLASH, NEGATIVE, Stage
from timing_core.light.printing_map import PrintingMap
from timing_core.light.strip import Strip
from timing_core.machine.trays import EARLIEST_MS


class InTray(NamedTuple):
    """A sheet on its way: in place `place` (from 1) of the panel, in `tray` since `began_ms` of the session,
    which lasts until `ends_ms` (None: until the image was seen). `following` is the tray after it. One that
    has only just come out of the last tray has none. Until `told_ms` it has only just left another
    tray, or its time in this one is only just over."""

    place: int
    tray: str
    following: str
    began_ms: int
    ends_ms: int | None
    told_ms: int


class BoxView:
    """The box of `session`, also after a reset has put another in its place."""

    def __init__(self, session: Session) -> None:
        self._session = session

    @property
    def _box(self) -> Box:
        return self._session.box

    # --- the panel

    @property
    def state(self) -> str:
        """A name of `transitions.STATES`."""
        return self._box.state

    @property
    def message(self) -> str:
        return self._box.message

    def says(self, control: str) -> str:
        """What `control` will do now; "" for nothing."""
        return self._box.machine.says(control)

    @property
    def volume(self) -> int:
        return self._box.bench.get("volume")

    # --- light

    @property
    def safelight(self) -> bool:
        return self._box.lamp.safelight

    @property
    def viewing(self) -> bool:
        """True while the lamp that is lit is the viewing light."""
        return self._box.lamp.strike.viewing

    # --- the run

    @property
    def in_run(self) -> bool:
        """True while a stage is on the panel, lit or dark, or the viewing light covers it."""
        return self._box.in_run

    @property
    def stages(self) -> list[Stage]:
        """Of the run under way or kept; empty for none."""
        return self._box.run.stages

    @property
    def at(self) -> int:
        """Which of `stages` is at hand."""
        return self._box.run.at

    @property
    def stage(self) -> Stage | None:
        """The one that is on the panel; None while none is."""
        return self._box.run.stages[self._box.run.at] if self._box.in_run else None

    @property
    def exposing(self) -> Stage | None:
        """The one that is under light; None while none is."""
        return self.stage if self._box.state == "exposing" else None

    def run(self) -> list[Stage]:
        """All stages of the run under way, or of the one that EXPOSE would take up; empty for none."""
        box = self._box
        if box.in_run:
            return box.run.stages
        return box.plan() if box.state in ("browse", "ask") else []

    def next_stage(self) -> Stage | None:
        """The one of `run` that comes next, or is under way."""
        run = self.run()
        return run[self._box.run.at if self._box.in_run else 0] if run else None

    @property
    def negative_wanted(self) -> str:
        """Where the stage on the panel wants the negative, "in" or "out"; "" where none is, or it does not
        matter."""
        stage = self.stage
        if stage is None or stage.kind == FIT:
            return ""
        if self.in_test:
            moved = [one.area for one in self.stages[: self.at + 1] if one.kind == NEGATIVE]
            return moved[-1] if moved else ""
        return stage.area if stage.kind == NEGATIVE else "out" if stage.kind == FLASH else "in"

    @property
    def given_ms(self) -> int:
        """Light that the stage at hand had before the strike under way."""
        return self._box.run.given_ms

    @property
    def light_so_far_ms(self) -> int:
        """Light that the stage at hand had when the box was last told of anything."""
        return self._box.exposing.light_so_far_ms()

    @property
    def is_first_strike(self) -> bool:
        """True where the stage at hand is lit for the first time."""
        return self._box.run.strikes == 1

    @property
    def in_test(self) -> bool:
        """True where the run under way or kept is a guided test: what light it gives is in no map."""
        return self._box.run.kind == "test"

    @property
    def sheet_key(self) -> tuple[int, str]:
        """What tells one sheet of paper from the next. A run that is left and gone on with later is on the
        same sheet, also when the plug was pulled in between."""
        return self._box.run.number, self._box.run.kind

    def began_with(self) -> tuple[PrintingMap, Strip | None]:
        """Map and strip of the run under way as it began: both may have been changed since. No strip for a
        print."""
        run = json.loads(self._box.run.text)
        return PrintingMap.from_dict(run["map"]), run["strip"] and Strip.from_dict(run["strip"])

    # --- the trays

    @property
    def places(self) -> list[int]:
        """The places for sheets."""
        return list(range(1, len(self._box.trays.sheets) + 1))

    def sheets(self) -> list[InTray]:
        """The sheets in the trays, and those that have only just come out, in the order of their places."""
        now_ms, ticks = self._session.now_ms, self._session.ticks_now()
        found = []
        for place, sheet in enumerate(self._box.trays.sheets, 1):
            names = [name for name, *_ in sheet.trays]
            if not names and not sheet.has_just_left(ticks):
                continue
            began_ms = now_ms - sheet.in_ms(ticks)
            tray = names[sheet.at] if names else ""
            following = names[sheet.at + 1] if sheet.at + 1 < len(names) else ""
            ends_ms = began_ms + sheet.lasts_ms if names and sheet.lasts_ms else None
            told_ms = began_ms + EARLIEST_MS if sheet.at else began_ms
            if sheet.is_over and ends_ms is not None:
                told_ms = ends_ms + EARLIEST_MS
            found.append(InTray(place, tray, following, began_ms, ends_ms, told_ms))
        return found

    # --- the map at work

    @property
    def marked(self) -> list[str]:
        """The areas that it has marks for, as often as it has them."""
        return [mark.area for own in self._box.work.map.passes for mark in own.marks]
