"""What the Print screen shows and turns of the paper record at work: grade, and bases that follow a filter.

What must live here: how a record is applied to a map. Print loads it when a print has a record, and lets go
of it when it has none.
"""

from timing_core.panel.rows import TURNS, Row, following_filter, setting_row, within


class PaperRows:
    """`record` is a PaperRecord."""

    def __init__(self, record) -> None:
        self.record = record

    def add_rows(self, map, found: list) -> None:
        """Put the record's rows among those of the Print screen: the grade above the bases that make it."""
        if self._makes_grade(map):
            at = [row.key for row in found].index("base")
            found.insert(at, Row("grade", "Grade", TURNS))
        found.append(setting_row("anchor"))

    def about(self, map, key: str) -> str:
        """The words at the right of the title while the cursor is on such a row; "" for the usual ones."""
        if key in ("all", "base", "grade") and self._makes_grade(map):
            return "grade " + self.grade_text(map)
        return ""

    def grade_text(self, map) -> str:
        """The grade that the map's two passes make, as the screen says it: "about 1 3/4"."""
        return "about " + self.record.grade_text(self._grade(map))

    def turn(self, panel, row: Row, steps: int) -> None:
        """Turn a grade or a filter; the bench says which tone keeps its light. A Refusal changes nothing."""
        work, was = panel.work, panel.opened_map
        map, anchor = was.copy(), work.bench.get("anchor")
        if row.key == "grade":
            panel.cursor.pick = self.regrade(map, panel.cursor.pick + steps, anchor)
        else:
            now = work.map.passes[row.index].filter
            self.change_filter(map, row.index, following_filter(work.bench, now, steps), anchor)
        work.map = map

    def regrade(self, map, turned: int, anchor: str) -> int:
        """Set both bases to a grade that is `turned` quarters from what it is. Returns by how many it is. A
        Refusal changes nothing."""
        now = self._grade(map)
        low, high = self.record.grades()
        turned = within(now + turned, low, high) - now
        if turned:
            soft, hard = self._order(map)
            times = self.record.regraded(map.base_ms(soft), map.base_ms(hard), now + turned, anchor)
            map.set_bases([times[soft], times[hard]])
        return turned

    def change_filter(self, map, index: int, filter: str, anchor: str) -> None:
        """Put another filter into a pass, and move its base by what the record has for it. A Refusal leaves
        the map half changed."""
        own = map.passes[index]
        stops120 = self.record.change(own.filter, filter, anchor)
        own.filter = filter
        if stops120:
            map.set_base_alone(index, map.base_ms(index), stops120)

    def _makes_grade(self, map) -> bool:
        """True if the map's two passes are the record's pair, and it has grades."""
        return self._order(map) is not None and self.record.grades() is not None

    def _grade(self, map) -> int:
        soft, hard = self._order(map)
        return self.record.grade(map.base_ms(soft), map.base_ms(hard))

    def _order(self, map):
        """Which pass is the soft one and which the hard; None if the map has not the pair."""
        soft_first = self.record.soft_first([own.filter for own in map.passes])
        return None if soft_first is None else (0, 1) if soft_first else (1, 0)
