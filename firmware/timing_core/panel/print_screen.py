"""The Print screen: the map, pass by pass, and what is done with the whole of it."""

from timing_core.light.bench import DRY_DOWN_MAX_PM
from timing_core.light.plan import filter_text
from timing_core.light.printing_map import MARKS_MAX, PASSES_MAX, Mark
from timing_core.light.stops import (
    cut_text,
    offset_between,
    per_mille_less,
    plain_step,
    seconds_text,
    stops_text,
)
from timing_core.panel.rows import (
    ACTS,
    KEEPS,
    LEADS_ON,
    NAMES,
    PACES,
    TURNS,
    TWO_VALUED,
    Row,
    Screen,
    following,
    following_filter,
    setting_row,
    within,
)
from timing_core.refusal import Refusal

_OF_A_PASS = ("base", "mark", "through", "with", "add", "filter")
"""Keys of the rows that are about one pass."""


_NOT_LOADED = (ImportError, OSError, ValueError, MemoryError)


class PrintScreen(Screen):
    """Above the bases stands what is done with the whole print, below them what it is made of; the cursor
    comes home to the base that is most likely wanted."""

    key = "print"
    heading = "Print"
    begins = "print"
    _paper = _turn_flash = None
    _paper_of: tuple = ("", 0)

    def rows(self, panel) -> list:
        map = panel.work.map
        passes = map.passes
        several = len(passes) > 1
        found = [
            Row("carry", "Carry over", ACTS | KEEPS, "open it"),
            Row("new", "New print", ACTS, "begin"),
            Row("keep", "Keep on shelf", TURNS | NAMES),
            Row("dry-down", "Dry-down", TURNS | PACES),
        ]
        if several and map.tied:
            found.append(Row("all", "All passes", TURNS | PACES))
        for index in range(len(passes)):
            found.append(Row("base", _base_label(map, index), TURNS | PACES, index=index))
            marks = passes[index].marks
            for number in range(len(marks)):
                mark = marks[number]
                kind = "Burn " if mark.stops120 > 0 else "Dodge " if mark.stops120 < 0 else ""
                found.append(Row("mark", kind + mark.area, TURNS | PACES, "", index, number))
                if mark.stops120 > 0:
                    found.append(Row("through", "  through", TURNS, "", index, number))
                before = passes[index].partner(number)
                if before:
                    found.append(Row("with", "  with " + before.area, TURNS | TWO_VALUED, "", index, number))
            if len(marks) < MARKS_MAX:
                found.append(Row("add", "Add a mark", TURNS | NAMES | LEADS_ON, "", index))
        for index in range(len(passes)):
            found.append(
                Row("filter", "Filter, pass %d" % (index + 1) if several else "Filter", TURNS, "", index)
            )
        found.append(Row("passes", "Passes", TURNS | NAMES))
        if several:
            found.append(Row("tied", "Bases", TURNS | TWO_VALUED))
        if any(own.marks for own in passes):
            found.append(Row("remove", "Remove mark", TURNS | NAMES))
        found += [setting_row("step"), Row("paper", "Paper", TURNS | NAMES)] + _flash_rows(map)
        paper = self._paper_now(panel)
        if paper:
            paper.add_rows(map, found)
        return found

    def _paper_now(self, panel, taken: bool = False):
        """What the paper record at work adds; None without one. It is read when it is put to work, and while
        a value is open only if that is `taken`."""
        of = (panel.work.map.record, panel.papers.changes)
        if of != self._paper_of and (taken or not panel.is_open):
            self._paper, self._paper_of = None, of
            try:
                record = panel.papers.get(of[0])
                if record:
                    from timing_core.panel.paper_rows import PaperRows

                    panel.let_go("paper_rows")
                    self._paper = PaperRows(record)
            except _NOT_LOADED:
                pass  # what a board cannot load is not here
        return self._paper

    def home(self, panel) -> int:
        found = self.rows(panel)
        keys = [row.key for row in found]
        if "all" in keys:
            return keys.index("all")
        return [row.key == "base" and row.index == panel.work.pass_index for row in found].index(True)

    def aim(self, panel):
        row = panel.row()
        if row.key == "all":
            return panel.work.pass_index, None
        return (row.index, row.number) if row.key in _OF_A_PASS else None

    def about(self, panel) -> str:
        """The pass that the row under the cursor belongs to, or the print's name."""
        map, row = panel.work.map, panel.row()
        grade = self._paper.about(map, row.key) if self._paper else ""
        if grade:
            return grade
        if len(map.passes) > 1 and row.key in _OF_A_PASS:
            return "pass %d, %s" % (row.index + 1, filter_text(map.passes[row.index].filter))
        return map.title or map.name

    def said(self, panel, row: Row) -> str:
        if row.key == "base":
            return "Pass %d" % (row.index + 1) if len(panel.work.map.passes) > 1 else "Base"
        if row.number is not None:
            return _said_of_mark(panel, row)
        return "Flash" if row.key.startswith("flash") else super().said(panel, row)

    def value(self, panel, row: Row) -> str:
        key, map = row.key, panel.work.map
        if key.startswith("flash"):
            return _flash_text(panel, row)
        if key == "filter":
            return map.passes[row.index].filter or "none"
        if key == "grade" and self._paper:
            return self._paper.grade_text(map)
        if key == "paper":
            gone = map.record and not self._paper and not panel.is_open
            return "not here: " + map.record if gone else map.record or "none"
        if key == "all" and not panel.has_open(row):
            return "%d bases" % len(map.passes)
        if key == "base" or key == "all":
            base_ms = map.base_ms(row.index)
            moved = stops_text(offset_between(panel.base_before_ms(row.index), base_ms))
            if key == "all":
                return moved  # the bases are in the rows below, and go with it
            if panel.has_open(row) or moved != "0":
                return "%s  %s" % (moved, seconds_text(base_ms))
            return seconds_text(base_ms)
        if key == "mark" or key == "through" or key == "with":
            mark = map.passes[row.index].marks[row.number]
            if key == "with":
                return "yes" if mark.with_previous else "no"
            if key == "through":
                return filter_text(mark.filter) if mark.filter else "the pass's filter"
            light_ms = abs(map.mark_ms(row.index, mark))
            return "%s  %s" % (stops_text(mark.stops120), seconds_text(light_ms))
        if key == "passes":
            return self._passes_text(panel) if panel.has_open(row) else str(len(map.passes))
        if key == "tied":
            return "tied" if map.tied else "free"
        if key == "dry-down":
            return cut_text(map.dry_down_pm) if map.dry_down else "off"
        if key == "remove" or key == "keep" or key == "add":
            if panel.has_open(row):
                return self._choices(panel, row)[panel.cursor.pick]
            return "dodge, burn" if key == "add" else ""
        return super().value(panel, row)

    def open(self, panel, row: Row) -> None:
        super().open(panel, row)
        map = panel.work.map
        if row.key == "dry-down":
            # The other one is proposed; turning sets the amount.
            map.dry_down = not map.dry_down
            if map.dry_down and not map.dry_down_pm:
                map.dry_down_pm = panel.work.bench.get("new_dry_down_pm")
        elif row.key == "flash":
            self.turn(panel, row, 0)
        elif row.key == "keep":
            panel.cursor.pick = 1  # of two the other one; and of three the one that replaces nothing
        elif row.key == "passes":
            panel.cursor.pick = self._passes_choices(panel).index((len(map.passes), False))

    def turn(self, panel, row: Row, steps: int) -> None:
        key, work, was = row.key, panel.work, panel.opened_map
        map, bench = work.map, work.bench
        if key.startswith("flash"):
            self._turn_flash = self._turn_flash or _load_flash_rows(panel)
            self._turn_flash(panel, row, steps)
        elif self._paper and (key == "filter" or key == "grade"):
            self._paper.turn(panel, row, steps)
            panel.cursor_on(row)  # the row of the grade comes and goes with the filters
        elif key == "filter":
            map.passes[row.index].filter = following_filter(bench, map.passes[row.index].filter, steps)
        elif key == "paper":
            map.record = following([""] + panel.papers.names(), map.record, steps)
        elif key == "all":
            map.step_base(row.index, bench.step_stops120, steps)
        elif key == "base":
            self._turn_base(panel, row.index, steps)
        elif key == "mark":
            mark = map.passes[row.index].marks[row.number]
            map.step_mark(row.index, mark, bench.step_stops120, steps)
            # Only a burn may have a filter of its own. A burn that is turned past 0 and back gets it back.
            mark.filter = "" if mark.stops120 < 0 else was.passes[row.index].marks[row.number].filter
        elif key == "through":
            mark = map.passes[row.index].marks[row.number]
            mark.filter = following_filter(bench, mark.filter, steps)
        elif key == "with":
            map.passes[row.index].marks[row.number].with_previous = steps > 0
        elif key == "tied":
            work.map = was.copy()
            if was.tied != (steps > 0):
                work.map.set_tied(steps > 0)
            panel.cursor_on(row)
        elif key == "passes":
            self._turn_passes(panel, row, steps)
        elif key == "dry-down":
            _turn_dry_down(map, was, steps)
        elif key == "remove" or key == "keep" or key == "add":
            panel.turn_pick(len(self._choices(panel, row)), steps)
        else:
            super().turn(panel, row, steps)

    def _turn_base(self, panel, index: int, steps: int) -> None:
        """One base alone: tied passes get a new ratio. It is worked out from what it was, so that turning
        past a value and back gives that value again."""
        was, size = panel.opened_map, panel.work.bench.step_stops120
        if not was.tied:
            panel.work.map.step_base(index, size, steps)
            return
        turned = panel.cursor.pick + steps
        map = was.copy()
        if size:
            map.set_base_alone(index, was.base_ms(index), size * turned)
        else:
            map.set_base_alone(index, plain_step(was.base_ms(index), turned))
        panel.work.map = map
        panel.cursor.pick = turned

    def take(self, panel, row: Row) -> None:
        if row.index < len(panel.work.map.passes) and row.key in _OF_A_PASS:
            panel.work.pass_index = row.index
        pick, self._turn_flash = panel.cursor.pick, None
        if row.key == "paper":
            self._paper_now(panel, True)
            panel.cursor_on(row)  # there may be more rows above it now
        elif row.key == "add":
            marks = panel.work.map.passes[row.index].marks
            panel.work.map.add_mark(row.index, Mark(self._choices(panel, row)[pick], 0))
            panel.cursor_on(Row("mark", "", 0, "", row.index, len(marks) - 1))
        elif row.key == "remove" and pick:
            _remove(panel.work, pick)
            panel.cursor_on(row)
        elif row.key == "keep" and pick:
            _keep_card(panel)
        elif row.key == "keep":
            panel.io.say("Not kept on the shelf.")
        elif row.key == "dry-down" and panel.work.map.dry_down:
            _tell_dry_down(panel)

    def act(self, panel, row: Row) -> None:
        if row.key == "carry":
            panel.open_screen("carry")
        else:
            _begin_new(panel)

    # --- how many passes

    def _passes_choices(self, panel) -> list:
        """(how many, whether as a split-grade pair). Only one pass can be split."""
        found = [(count, False) for count in range(1, PASSES_MAX + 1)]
        if len(panel.opened_map.passes) == 1 and len(panel.work.bench.get("filters")) > 1:
            found.insert(1, (2, True))
        return found

    def _passes_text(self, panel) -> str:
        count, splits = self._passes_choices(panel)[panel.cursor.pick]
        if splits:
            filters = panel.work.bench.get("filters")
            return "2, filters %s and %s" % (filters[0], filters[-1])
        return str(count)

    def _turn_passes(self, panel, row: Row, steps: int) -> None:
        work, was = panel.work, panel.opened_map
        panel.turn_pick(len(self._passes_choices(panel)), steps)
        count, splits = self._passes_choices(panel)[panel.cursor.pick]
        work.map = was.copy()
        if splits:
            filters = work.bench.get("filters")
            work.map.split(filters[0], filters[-1])
        elif count != len(was.passes):
            work.map.set_pass_count(count)
        panel.cursor_on(row)

    # --- what a row picks from

    def _choices(self, panel, row: Row) -> list:
        """What a row picks from. The first is nothing, but of names for a mark."""
        map = panel.work.map
        if row.key == "add":
            return _areas(panel, row.index)
        if row.key == "keep":
            names = _names_to_keep(panel)
            return ["nowhere", names[0]] + ["in its place" for _ in names[1:]]
        return ["nothing"] + [
            "%s, pass %d" % (mark.area, index + 1)
            for index in range(len(map.passes))
            for mark in map.passes[index].marks
        ]


def _names_to_keep(panel) -> list:
    own = panel.work.map.name
    return [panel.shelf.free_name(own), own] if own in panel.shelf.names() else [own]


def _keep_card(panel) -> None:
    map = panel.work.map
    former, measures = map.name, map.measures
    map.name = _names_to_keep(panel)[panel.cursor.pick - 1]
    if panel.work.spots[0]:
        map.measures = dict(measures)
        map.measures["spot"] = panel.work.spots[0]
    try:
        there = panel.kept.keep_card(map.name, map.text())
    except Refusal:
        map.name, map.measures = former, measures
        raise
    if there:
        panel.io.say("%s is kept. Undo brings back the card it replaces." % map.name)
    else:
        panel.io.say("%s is kept on the shelf." % map.name)


def _said_of_mark(panel, row: Row) -> str:
    """By its area, since a dodge may have been a burn."""
    area = panel.work.map.passes[row.index].marks[row.number].area
    return area if row.key == "mark" else area + row.label[1:]


def _begin_new(panel) -> None:
    work = panel.work
    former, was = work.map.name, work.map.text()
    work.new()
    panel.show("print")
    if former == work.map.name:
        former = "the one before"
    if work.map.text() == was:
        panel.io.say("A new print: the map was new already.")
    else:
        panel.io.say("A new print. Undo brings back %s." % former)


def _turn_dry_down(map, was, steps: int) -> None:
    now_pm = map.dry_down_pm if map.dry_down else was.dry_down_pm if was.dry_down else 0
    now_pm = within(now_pm + 5 * steps, 0, DRY_DOWN_MAX_PM)
    map.dry_down = now_pm > 0
    # Turned down to nothing, dry-down is off and keeps its former amount.
    map.dry_down_pm = now_pm or was.dry_down_pm


def _tell_dry_down(panel) -> None:
    map, index = panel.work.map, panel.work.pass_index
    light = seconds_text(per_mille_less(map.base_ms(index), map.dry_down_pm))
    panel.io.say("The lamp gives %s for a base of %s." % (light, seconds_text(map.base_ms(index))))


def _flash_rows(map) -> list:
    found = [Row("flash", "Flash", TURNS | PACES)]
    if map.flash:
        found.append(Row("flash-when", "  given", TURNS | TWO_VALUED))
        found.append(Row("flash-filter", "  through", TURNS))
    return found


def _flash_text(panel, row: Row) -> str:
    flash, was = panel.work.map.flash, panel.opened_map.flash
    if not flash:
        return "off"
    if row.key == "flash-when":
        return "last" if flash.after else "first"
    if row.key == "flash-filter":
        return filter_text(flash.filter)
    moved = stops_text(offset_between(was.light_ms(), flash.light_ms())) if was else "0"
    return (
        "%s  %s" % (moved, seconds_text(flash.light_ms())) if moved != "0" else seconds_text(flash.light_ms())
    )


def _load_flash_rows(panel):
    try:
        from timing_core.panel.flash_rows import turn_flash
    except _NOT_LOADED:
        what = "The flash is not changed"
        raise Refusal(what, "it cannot be loaded", "Reset the box, or install the firmware again") from None
    panel.let_go("flash_rows")
    return turn_flash


def _base_label(map, index: int) -> str:
    name = "Pass %d" % (index + 1) if len(map.passes) > 1 else "Base"
    return "%s, %s" % (name, filter_text(map.passes[index].filter))


def _areas(panel, index: int) -> list:
    """Names for a new mark: those of areas that other passes have, then the bench's; none twice."""
    passes = panel.work.map.passes
    own = [mark.area for mark in passes[index].marks]
    others = [mark.area for other in passes for mark in other.marks]
    found: list = []
    for area in others + list(panel.work.bench.get("areas")):
        if area not in own and area not in found:
            found.append(area)
    number = 1
    while not found:
        area = "area %d" % number
        if area not in own:
            found.append(area)
        number += 1
    return found


def _remove(work, nth: int) -> None:
    """Remove a mark. The strip stays for what it was for, if that is not the mark that goes."""
    strip = work.strip
    for index in range(len(work.map.passes)):
        marks = work.map.passes[index].marks
        if 0 < nth <= len(marks):
            marks.pop(nth - 1)
            if strip.pass_index == index and strip.mark_index is not None and strip.mark_index >= nth - 1:
                strip.mark_index = strip.mark_index - 1 if strip.mark_index >= nth else None
            return
        nth -= len(marks)


def record_at_work(panel):
    """The paper record that the print has, or None."""
    paper = panel.screens[1]._paper_now(panel)
    return paper.record if paper else None
