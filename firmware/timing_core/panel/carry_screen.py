"""The Carry over screen: the print to another size, aperture or paper, without starting again.

Above stands what is so now, below each the row that carries the print over. A row that says what is so moves
no base.
"""

from timing_core.light.carrying import (
    aperture_text,
    following_aperture,
    following_length,
    length_text,
    nearest_filter,
    to_aperture,
    to_paper,
    to_size,
)
from timing_core.light.plan import filter_text
from timing_core.light.stops import offset_between, seconds_text, stops_text
from timing_core.panel.rows import NAMES, PACES, TURNS, Row, Screen
from timing_core.refusal import Refusal

_AT_FIRST = {"negative_mm10": 360, "print_mm10": 2400, "aperture": 36}
"""What a row proposes where the print has no such measure: 36 mm of film, 240 mm of paper, f/8."""

_CARRIES = {"to size": "print_mm10", "to aperture": "aperture", "to paper": ""}
"""The rows that carry over, and the measure that each carries to another; none for the paper."""


def _measure_of(row: Row) -> str:
    return _CARRIES.get(row.key, row.key)


class CarryScreen(Screen):
    key = "carry"
    heading = "Carry over"
    over = "print"

    def __init__(self) -> None:
        self._names: list = []

    def rows(self, panel) -> list:
        if not panel.is_open:
            self._names = panel.papers.names()  # an open row stays, whatever a PC removes
        measures = panel.opened_map.measures
        found = [
            Row("negative_mm10", "On the negative", TURNS | PACES),
            Row("print_mm10", "On the print", TURNS | PACES),
        ]
        if "negative_mm10" in measures and "print_mm10" in measures:
            found.append(Row("to size", "  carry to", TURNS | PACES))
        found.append(Row("aperture", "Aperture", TURNS))
        if "aperture" in measures:
            found.append(Row("to aperture", "  carry to", TURNS))
        if len(self._names) > 1 and panel.opened_map.record in self._names:
            found.append(Row("to paper", "Carry to paper", TURNS | NAMES))
        return found

    def about(self, panel) -> str:
        """The base of the pass that was changed or chosen last, and how far it is carried."""
        row = panel.row()
        told = seconds_text(panel.work.map.base_ms(panel.work.pass_index))
        if panel.has_open(row) and row.key in _CARRIES:
            return "%s  %s" % (stops_text(self._offset(panel, row)), told)
        return told

    def said(self, panel, row: Row) -> str:
        return {"to size": "Size", "to aperture": "Aperture", "to paper": "Paper"}.get(row.key, row.label)

    def value(self, panel, row: Row) -> str:
        if row.key == "to paper":
            return panel.work.map.record
        measure = _measure_of(row)
        number = panel.work.map.measures.get(measure)
        if number is None:
            return "not set"
        return aperture_text(number) if measure == "aperture" else length_text(number)

    def open(self, panel, row: Row) -> None:
        super().open(panel, row)
        if row.key == "to paper":
            panel.cursor.pick = self._names.index(panel.work.map.record)
            return
        measure = _measure_of(row)
        panel.work.map.measures.setdefault(measure, _AT_FIRST[measure])

    def turn(self, panel, row: Row, steps: int) -> None:
        if row.key == "to paper":
            self._turn_paper(panel, steps)
            return
        measure = _measure_of(row)
        now = panel.work.map.measures[measure]
        number = following_aperture(now, steps) if measure == "aperture" else following_length(now, steps)
        if row.key == measure:
            panel.work.map.measures[measure] = number
        else:
            map = panel.opened_map.copy()
            (to_aperture if measure == "aperture" else to_size)(map, number)
            panel.work.map = map

    def _turn_paper(self, panel, steps: int) -> None:
        """A record that cannot be carried over to is turned past."""
        panel.turn_pick(len(self._names), steps)
        map = panel.opened_map.copy()
        panel.work.map = map.copy()
        name = self._names[panel.cursor.pick]
        if name != map.record:
            old, new = panel.papers.get(map.record), panel.papers.get(name)
            if old and new:
                to_paper(map, old, new, panel.work.bench.get("anchor"))
                panel.work.map = map

    def _tell_contrast(self, panel) -> None:
        """Of the pass that was changed or chosen last."""
        filter = panel.work.map.passes[panel.work.pass_index].filter
        old, new = panel.papers.get(panel.opened_map.record), panel.papers.get(panel.work.map.record)
        if not (old and new):
            raise Refusal("Not carried over", "a record was removed meanwhile", "Push it again")
        nearest = nearest_filter(old, new, filter)
        if nearest == filter:
            panel.io.say("Carried over. Make a strip: speeds of papers are good for a start.")
        else:
            panel.io.say("Carried over. Nearest in contrast: %s. Then make a strip." % filter_text(nearest))

    def take(self, panel, row: Row) -> None:
        if row.key == "to paper":
            if panel.work.map.record != panel.opened_map.record:
                self._tell_contrast(panel)
        elif row.key in _CARRIES and self._offset(panel, row):
            panel.work.forget_spots()
            if row.key == "to size":
                panel.io.say("Carried over. Make a strip: a condenser's light may be half a stop off.")
            else:
                panel.io.say("Carried over. Set the lens to %s." % self.value(panel, row))

    def _offset(self, panel, row: Row) -> int:
        """How far the open value carries the base of the pass changed or chosen last, in 1/120 stop."""
        if row.key == "to paper":
            was, now = panel.opened_map, panel.work.map
            index = panel.work.pass_index
            return offset_between(was.base_ms(index), now.base_ms(index))
        what = row.key[len("to ") :]
        return panel.work.map.carried.get(what, 0) - panel.opened_map.carried.get(what, 0)
