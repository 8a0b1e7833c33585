"""The Ledger screen: what the last runs gave, stage by stage, and the way back to the map of one of them.

What must live here: a record of the ledger in words. One record is read at a time, when it is turned to, and
of that only the words are kept until the screen is left.
"""

from timing_core.light.plan import drawer_lacks
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import cut_text, seconds_text, stops_text
from timing_core.panel.rows import ACTS, TURNS, Row, Screen
from timing_core.refusal import Refusal

_SHOWN_MAX = 10
_NOT_OF_ITS_FORM = (KeyError, IndexError, TypeError, ValueError, AttributeError)


class LedgerScreen(Screen):
    """`_numbers` are those of the newest records, newest first, and `_at` is which of them was taken. The
    words are of the record `_number`; `_lines` has pairs of a label and a value."""

    key = "ledger"
    heading = "Ledger"

    def __init__(self) -> None:
        self._numbers: list = []
        self.leave()

    def home(self, panel) -> int:
        self._numbers = panel.kept.ledger.newest(_SHOWN_MAX)
        self.leave()
        return 0

    def leave(self) -> None:
        self._at = self._number = 0
        self._kind = self._name = ""
        self._lines: list = []

    def rows(self, panel) -> list:
        if not self._numbers:
            return [Row("none", "No run has given light yet")]
        self._turn_to(panel, self._numbers[panel.cursor.pick if panel.is_open else self._at])
        turns = TURNS if len(self._numbers) > 1 else 0
        found = [Row("record", "Record", turns), Row("again", "Print this again", ACTS, "load it")]
        for number in range(len(self._lines)):
            found.append(Row("line", self._lines[number][0], 0, "", 0, number))
        return found

    def about(self, panel) -> str:
        panel.row()
        return self._name

    def value(self, panel, row: Row) -> str:
        if row.key == "record":
            return "%d, %s" % (self._number, self._kind)
        return self._lines[row.number][1] if row.key == "line" else ""

    def said(self, panel, row: Row) -> str:
        return "Map of record %d" % self._number if row.key == "again" else super().said(panel, row)

    def open(self, panel, row: Row) -> None:
        panel.cursor.pick = self._at

    def turn(self, panel, row: Row, steps: int) -> None:
        panel.turn_pick(len(self._numbers), steps)

    def take(self, panel, row: Row) -> None:
        self._at = panel.cursor.pick

    def act(self, panel, row: Row) -> None:
        number = self._number
        record = self._read(panel, number)
        why = "record %d is damaged" % number
        try:
            if record is not None and record["map"] is None:
                why = "record %d has no map" % number
            map = PrintingMap.from_dict(record["map"])
        except _NOT_OF_ITS_FORM + (Refusal,):
            raise Refusal("Nothing is changed", why, "Turn to another record") from None
        work = panel.work
        if map.text() == work.map.text():
            panel.show("print")
            panel.io.say("Nothing to load: this is the map of record %d already." % number)
            return
        former = work.map.name
        work.take(map)
        panel.show("print")
        if drawer_lacks(map, work.bench):
            panel.io.say("Undo brings %s back. The drawer lacks a filter of this map." % former)
        else:
            panel.io.say("This is the map of record %d. Undo brings %s back." % (number, former))

    # --- one record

    def _read(self, panel, number: int):
        """The record, or None if it is damaged or no longer there."""
        found = panel.kept.ledger.read(number - 1, 1)
        return found[0] if found and found[0].get("n") == number else None

    def _turn_to(self, panel, number: int) -> None:
        if number == self._number:
            return
        record = self._read(panel, number)
        try:
            map = record["map"] or record
            name = map.get("title") or map.get("name", "")
            kind, lines = record["kind"], _lines_of(record)
        except _NOT_OF_ITS_FORM:
            name, kind, lines = "", "damaged", [("It cannot be read", "")]
        self._number, self._kind, self._name, self._lines = number, kind, name, lines


def _lines_of(record: dict) -> list:
    found = []
    if not record["kept"]:
        found.append(("Not kept so far", ""))
    if not record["whole"]:
        found.append(("Incomplete", ""))
    if record["cut_off"]:
        found += [("Cut off in", ""), ("  " + record["cut_off"], "")]
    if record["dry_down_pm"]:
        found.append(("Dry-down", cut_text(record["dry_down_pm"])))
    filter = None
    for stage in record["stages"]:
        if stage["filter"] != filter:
            filter = stage["filter"]
            found.append(("Filter", filter or "none"))
        name, given_ms, light_ms = stage["stage"], stage["given_ms"], stage["light_ms"]
        found.append((name, seconds_text(given_ms)))
        if stage["at_least"]:
            found.append(("  or more: cut off", ""))
        elif given_ms < light_ms:
            found.append(("  incomplete", "of " + seconds_text(light_ms)))
        if stage["strikes"] > 1:
            found.append(("  held", "once" if stage["strikes"] == 2 else "%d times" % (stage["strikes"] - 1)))
        if record["kind"] == "print" and record["map"] and name.startswith("Base, pass "):
            before = ""
            for mark in record["map"]["passes"][int(name[11:]) - 1]["marks"]:
                if mark["stops120"] < 0:
                    area = mark["area"]
                    both = mark.get("with_previous") and before not in ("", area)
                    found.append((("  and " if both else "  dodge ") + area, stops_text(mark["stops120"])))
                    before = area
    return found
