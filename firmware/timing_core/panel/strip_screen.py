"""The Strip screen: what a test strip is for, and which patches it has."""

from timing_core.light.plan import COVER, FRESH
from timing_core.light.stops import seconds_text
from timing_core.light.strip import PATCHES_MAX, PATCHES_MIN, STEP_CHOICES
from timing_core.panel.rows import (
    CHOOSES,
    NAMES,
    PACES,
    TURNS,
    TWO_VALUED,
    Row,
    Screen,
    following,
    step_ms,
    within,
)

_TIMES = ("middle as now", "set the middle", "set the first")


class StripScreen(Screen):
    key = "strip"
    heading = "Strip"
    begins = "strip"

    def rows(self, panel) -> list:
        strip = panel.work.strip
        found = [
            Row("for", "Strip for", TURNS | NAMES),
            Row("kind", "Kind", TURNS | TWO_VALUED),
            Row("patches", "Patches", TURNS),
            Row("step", "Step", TURNS),
            Row("times", "Times", TURNS),
        ]
        if strip.origin_ms is not None:
            found.append(Row("time", "Middle" if strip.centred else "First patch", TURNS | PACES))
        if strip.pass_index > 0:
            found.append(Row("under", "Give first", TURNS | TWO_VALUED))
        if panel.work.strip_given:
            found.append(Row("choose", "Choose a patch", CHOOSES))
        return found

    def home(self, panel) -> int:
        return len(self.rows(panel)) - 1 if panel.work.strip_given else 0

    def enter(self, panel) -> None:
        """Aim at what the cursor was on, unless the strip was given and a patch of it can still be chosen, or
        it was begun and is kept."""
        strip, aim, run = panel.work.strip, panel.aim, panel.run
        if run.has_had_light and run.gives == strip.gives(panel.work.map):
            return
        if aim is None or panel.work.strip_given or aim == (strip.pass_index, strip.mark_index):
            return
        strip.pass_index, strip.mark_index = aim
        strip.settle(panel.work.map)
        strip.origin_ms = None
        strip.over_earlier = strip.pass_index > 0 and strip.kind == COVER
        panel.work.changed()

    def _target(self, panel) -> str:
        strip, map = panel.work.strip, panel.work.map
        mark = strip.mark(map)
        if len(map.passes) == 1:
            return mark.area if mark else "base"
        text = "pass %d" % (strip.pass_index + 1)
        return "%s, %s" % (mark.area, text) if mark else text

    def about(self, panel) -> str:
        strip, map = panel.work.strip, panel.work.map
        ends = [seconds_text(strip.total_ms(map, place)) for place in (0, strip.last_place)]
        return "%s to %s" % (ends[0][:-2], ends[1])

    def value(self, panel, row: Row) -> str:
        key, strip, map = row.key, panel.work.strip, panel.work.map
        if key == "for":
            return self._target(panel)
        if key == "kind":
            return strip.kind
        if key == "patches":
            return str(strip.patches)
        if key == "step":
            return self._step(strip)
        if key == "times":
            return _TIMES[0 if strip.origin_ms is None else 1 if strip.centred else 2]
        if key == "time":
            return seconds_text(strip.origin(map))
        if key == "under":
            return "earlier passes" if strip.over_earlier else "nothing"
        return ""

    def turn(self, panel, row: Row, steps: int) -> None:
        key, strip, map = row.key, panel.work.strip, panel.work.map
        if key == "for":
            now = (strip.pass_index, strip.mark_index)
            strip.pass_index, strip.mark_index = following(self._targets(map), now, steps)
            if now[0] != strip.pass_index:
                strip.over_earlier = strip.pass_index > 0 and strip.kind == COVER
        elif key == "kind":
            strip.kind = following((COVER, FRESH), strip.kind, steps)
        elif key == "patches":
            strip.patches = within(strip.patches + steps, PATCHES_MIN, PATCHES_MAX)
        elif key == "step":
            names = [name for name, _, _ in STEP_CHOICES]
            at = names.index(following(names, self._step(strip), steps))
            strip.step_stops120, strip.step_ms = STEP_CHOICES[at][1:]
        elif key == "times":
            picked = _TIMES.index(following(_TIMES, self.value(panel, row), steps))
            strip.origin_ms = panel.opened_strip.origin(map) if picked else None
            strip.centred = picked < 2
        elif key == "time":
            strip.origin_ms = step_ms(panel.work.bench, strip.origin(map), steps)
        elif key == "under":
            strip.over_earlier = steps > 0

    def _targets(self, map) -> list:
        found: list = []
        for index in range(len(map.passes)):
            found.append((index, None))
            for number in range(len(map.passes[index].marks)):
                found.append((index, number))
        return found

    def _step(self, strip) -> str:
        for name, stops120, ms in STEP_CHOICES:
            if stops120 == strip.step_stops120 and ms == strip.step_ms:
                return name
        return ""
