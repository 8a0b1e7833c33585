"""The Print screen: the map, pass by pass, and what is done with the whole of it."""

from timing_core.light.bench import DRY_DOWN_MAX_PM
from timing_core.light.plan import filter_text
from timing_core.light.printing_map import MARKS_MAX, PASSES_MAX, Mark
from timing_core.light.stops import cut_text, offset_between, seconds_text, stops_text
from timing_core.panel.rows import (
    ACTS,
    NAMES,
    PACES,
    TURNS,
    TWO_VALUED,
    Row,
    Screen,
    following_filter,
    setting_row,
    within,
)
from timing_core.refusal import Refusal


class PrintScreen(Screen):
    key = "print"
    heading = "Print"
    begins = "print"

    def rows(self, panel) -> list:
        found: list = []
        map = panel.work.map
        passes = map.passes
        for index in range(len(passes)):
            found.append(Row("filter", "Pass %d" % (index + 1), TURNS, index=index))
            found.append(Row("base", "Base", TURNS | PACES, index=index))
            marks = passes[index].marks
            for number in range(len(marks)):
                mark = marks[number]
                kind = "Burn " if mark.stops120 > 0 else "Dodge " if mark.stops120 < 0 else ""
                found.append(Row("mark", kind + mark.area, TURNS | PACES, "", index, number))
                if mark.stops120 > 0:
                    found.append(Row("through", "  through", TURNS, "", index, number))
            if len(marks) < MARKS_MAX:
                found.append(Row("add", "Add a mark", ACTS, "add mark", index))
        if any(own.marks for own in passes):
            found.append(Row("remove", "Remove mark", TURNS | NAMES))
        found.append(Row("passes", "Passes", TURNS))
        if len(passes) > 1:
            found.append(Row("tied", "Bases", TURNS | TWO_VALUED))
        found.append(Row("dry-down", "Dry-down", TURNS | PACES))
        found.append(setting_row("step"))
        found.append(Row("keep", "Keep on shelf", TURNS | NAMES))
        found.append(Row("new", "New print", ACTS, "begin"))
        return found

    def about(self, panel) -> str:
        return panel.work.map.title or panel.work.map.name

    def said(self, panel, row: Row) -> str:
        if row.key == "base" and len(panel.work.map.passes) > 1:
            return "Base, pass %d" % (row.index + 1)
        return super().said(panel, row)

    def value(self, panel, row: Row) -> str:
        key, map = row.key, panel.work.map
        if key == "filter":
            return filter_text(map.passes[row.index].filter)
        if key == "base":
            base_ms = map.base_ms(row.index)
            if not panel.is_open:
                return seconds_text(base_ms)
            return "%s  %s" % (
                stops_text(offset_between(panel.base_before_ms(row.index), base_ms)),
                seconds_text(base_ms),
            )
        if key == "mark" or key == "through":
            mark = map.passes[row.index].marks[row.number]
            if key == "through":
                return filter_text(mark.filter) if mark.filter else "the pass's filter"
            light_ms = abs(map.mark_ms(row.index, mark))
            return "%s  %s" % (stops_text(mark.stops120), seconds_text(light_ms))
        if key == "passes":
            return str(len(map.passes))
        if key == "tied":
            return "tied" if map.tied else "free"
        if key == "dry-down":
            return cut_text(map.dry_down_pm) if map.dry_down else "off"
        if key == "remove" or key == "keep":
            return self._choices(panel, row)[panel.cursor.pick] if panel.has_open(row) else ""
        return super().value(panel, row)

    def open(self, panel, row: Row) -> None:
        super().open(panel, row)
        if row.key == "dry-down":
            # The other one is proposed; turning sets the amount.
            map = panel.work.map
            map.dry_down = not map.dry_down
            if map.dry_down and not map.dry_down_pm:
                map.dry_down_pm = panel.work.bench.get("new_dry_down_pm")

    def turn(self, panel, row: Row, steps: int) -> None:
        key, work, was = row.key, panel.work, panel.opened_map
        map, bench = work.map, work.bench
        if key == "filter":
            map.passes[row.index].filter = following_filter(bench, map.passes[row.index].filter, steps)
        elif key == "base":
            map.step_base(row.index, bench.step_stops120, steps)
        elif key == "mark":
            mark = map.passes[row.index].marks[row.number]
            map.step_mark(row.index, mark, bench.step_stops120, steps)
            # Only a burn may have a filter of its own. A burn that is turned past 0 and back gets it back.
            mark.filter = "" if mark.stops120 < 0 else was.passes[row.index].marks[row.number].filter
        elif key == "through":
            mark = map.passes[row.index].marks[row.number]
            mark.filter = following_filter(bench, mark.filter, steps)
        elif key == "tied":
            work.map = was.copy()
            if was.tied != (steps > 0):
                work.map.set_tied(steps > 0)
        elif key == "passes":
            count = within(len(map.passes) + steps, 1, PASSES_MAX)
            work.map = was.copy()
            if count != len(was.passes):
                work.map.set_pass_count(count)
            panel.cursor_on(row)
        elif key == "dry-down":
            now_pm = map.dry_down_pm if map.dry_down else was.dry_down_pm if was.dry_down else 0
            now_pm = within(now_pm + 5 * steps, 0, DRY_DOWN_MAX_PM)
            map.dry_down = now_pm > 0
            # Turned down to nothing, dry-down is off and keeps its former amount.
            map.dry_down_pm = now_pm or was.dry_down_pm
        elif key == "remove" or key == "keep":
            panel.turn_pick(len(self._choices(panel, row)), steps)
        else:
            super().turn(panel, row, steps)

    def take(self, panel, row: Row) -> None:
        if not panel.cursor.pick:
            return
        if row.key == "remove":
            self._remove(panel.work.map, panel.cursor.pick)
        elif row.key == "keep":
            self._keep(panel)

    def act(self, panel, row: Row) -> None:
        map = panel.work.map
        if row.key == "add":
            taken = [mark.area for own in map.passes for mark in own.marks]
            number = 1
            while "area %d" % number in taken:
                number += 1
            map.add_mark(row.index, Mark("area %d" % number, 0))
        else:
            panel.work.new()
            panel.show("print")
            panel.io.say("A new print. Undo brings %s back." % map.name)

    def _choices(self, panel, row: Row) -> list:
        """What a row picks from; the first is nothing."""
        map = panel.work.map
        if row.key == "keep":
            names = self._names_to_keep(panel)
            return ["nowhere", names[0]] + [name + " (replace)" for name in names[1:]]
        return ["nothing"] + [
            "%s, pass %d" % (mark.area, index + 1)
            for index in range(len(map.passes))
            for mark in map.passes[index].marks
        ]

    def _names_to_keep(self, panel) -> list:
        own = panel.work.map.name
        return [panel.shelf.free_name(own), own] if own in panel.shelf.names() else [own]

    def _remove(self, map, nth: int) -> None:
        for own in map.passes:
            if 0 < nth <= len(own.marks):
                own.marks.pop(nth - 1)
                return
            nth -= len(own.marks)

    def _keep(self, panel) -> None:
        map = panel.work.map
        former = map.name
        map.name = self._names_to_keep(panel)[panel.cursor.pick - 1]
        try:
            there = panel.kept.keep_card(map.name, map.text())
        except Refusal:
            map.name = former
            raise
        if there:
            panel.io.say("%s is kept. Undo brings back the card it replaces." % map.name)
        else:
            panel.io.say("%s is kept on the shelf." % map.name)
