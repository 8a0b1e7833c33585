"""The screens of rows: which rows each screen shows, and what the dial does to a row.

What must live here: rows, their words, and how a value is turned, taken or acted on. A press on a row
either acts at once, or opens its value to be turned and taken. An open value is a proposal.
`box.opened_map` and `box.opened_strip` are as they were before; turning works out the proposal from these,
so turning past a value and back costs nothing, and only taking it counts. A row with two values opens with
the other one proposed. A row has no state of its own: what is being picked, and for which row, is in `box`.
Rows perform no output.
"""

from timing_core.light.bench import SETTINGS, setting
from timing_core.light.plan import COVER, FIT, FRESH, drawer_lacks, filter_text, stage_name
from timing_core.light.printing_map import DRY_DOWN_MAX_PM, MARKS_MAX, PASSES_MAX, Mark
from timing_core.light.stops import (
    BASE_MAX_MS,
    BASE_MIN_MS,
    cut_text,
    offset_between,
    per_cent_text,
    plain_step,
    scale,
    seconds_text,
    stops_text,
)
from timing_core.light.strip import PATCHES_MAX, PATCHES_MIN, STEP_CHOICES
from timing_core.refusal import Refusal

NAMES = ("print", "strip", "shelf", "bench")
TITLES = {"sheets": "Screens", "print": "Print", "strip": "Strip", "shelf": "Shelf", "bench": "Bench"}


class Row:
    """A line of a screen: a label and a value. This one can only be read."""

    acts = False
    """A press does something at once, described by `deed`."""
    turns = False
    """A press opens the value for turning."""
    paces = False
    """Faster turning takes bigger steps."""
    chooses = False
    """A press goes back to choosing a patch."""
    goes_on = False
    """A press goes on with the run that is kept."""
    two_valued = False
    """When opened it proposes its other value."""
    names = False
    """The value is a name, and is cut where the label leaves no room for it."""
    changes = True
    """What the press does can be undone."""
    deed = ""

    def __init__(self, label: str) -> None:
        self.label = label

    def said(self, box) -> str:
        """What messages call this row."""
        return self.label.strip()

    def sets(self, index: int, number) -> bool:
        """True for the row of pass `index`'s base or, with a number, of that mark."""
        return False

    def sets_one_of(self, keys) -> bool:
        """True for a bench setting that is among `keys`."""
        return False

    def value(self, box) -> str:
        return ""

    def open(self, box) -> None:
        box.pick = 0
        box.picking = self.label
        if self.two_valued:
            before = self.value(box)
            self.turn(box, 1)
            if self.value(box) == before:
                self.turn(box, -1)

    def turn(self, box, steps: int) -> None:
        pass

    def take(self, box) -> None:
        pass

    def act(self, box) -> None:
        pass


def _within(value: int, low: int, high: int) -> int:
    return max(low, min(high, value))


def _next(choices, now, steps: int):
    """The choice `steps` away from `now`, stopping at the ends; an unknown one starts at the first."""
    at = choices.index(now) if now in choices else 0
    return choices[_within(at + steps, 0, len(choices) - 1)]


def _step_ms(box, ms: int, steps: int) -> int:
    """`ms` moved on the bench's dial step, within the range of a base."""
    size = box.bench.step_stops120
    moved = scale(ms, _within(size * steps, -600, 600)) if size else plain_step(ms, steps)
    return _within(moved, BASE_MIN_MS, BASE_MAX_MS)


# --- Print


class _Filter(Row):
    turns = True

    def __init__(self, index: int) -> None:
        super().__init__("Pass %d" % (index + 1))
        self.index = index

    def value(self, box) -> str:
        return filter_text(box.work.passes[self.index].filter)

    def turn(self, box, steps: int) -> None:
        own = box.work.passes[self.index]
        own.filter = _next(("",) + box.bench.get("filters"), own.filter, steps)


class _Base(Row):
    turns = paces = True

    def __init__(self, index: int) -> None:
        super().__init__("Base")
        self.index = index

    def said(self, box) -> str:
        return "Base, pass %d" % (self.index + 1) if len(box.work.passes) > 1 else "Base"

    def sets(self, index: int, number) -> bool:
        return index == self.index and number is None

    def value(self, box) -> str:
        base_ms = box.work.base_ms(self.index)
        if box.state != "edit":
            return seconds_text(base_ms)
        return "%s  %s" % (
            stops_text(offset_between(box.base_before_ms(self.index), base_ms)),
            seconds_text(base_ms),
        )

    def turn(self, box, steps: int) -> None:
        box.work.step_base(self.index, box.bench.step_stops120, steps)


class _MarkRow(Row):
    turns = paces = True

    def __init__(self, index: int, number: int, mark: Mark) -> None:
        kind = "Burn " if mark.stops120 > 0 else "Dodge " if mark.stops120 < 0 else ""
        super().__init__(kind + mark.area)
        self.index = index
        self.number = number
        self.mark = mark

    def sets(self, index: int, number) -> bool:
        return index == self.index and number == self.number

    def value(self, box) -> str:
        light_ms = abs(box.work.mark_ms(self.index, self.mark))
        return "%s  %s" % (stops_text(self.mark.stops120), seconds_text(light_ms))

    def turn(self, box, steps: int) -> None:
        box.work.step_mark(self.index, self.mark, box.bench.step_stops120, steps)
        # Only a burn may have a filter of its own. A burn that is turned past 0 and back gets it back.
        was = box.opened_map().passes[self.index].marks[self.number]
        self.mark.filter = "" if self.mark.stops120 < 0 else was.filter


class _BurnFilter(Row):
    turns = True

    def __init__(self, mark: Mark) -> None:
        super().__init__("  through")
        self.mark = mark

    def value(self, box) -> str:
        return filter_text(self.mark.filter) if self.mark.filter else "the pass's filter"

    def turn(self, box, steps: int) -> None:
        self.mark.filter = _next(("",) + box.bench.get("filters"), self.mark.filter, steps)


class _AddMark(Row):
    acts = True
    deed = "add mark"

    def __init__(self, index: int) -> None:
        super().__init__("Add a mark")
        self.index = index

    def act(self, box) -> None:
        taken = [mark.area for own in box.work.passes for mark in own.marks]
        number = 1
        while "area %d" % number in taken:
            number += 1
        box.work.add_mark(self.index, Mark("area %d" % number, 0))


class _Tied(Row):
    turns = two_valued = True

    def value(self, box) -> str:
        return "tied" if box.work.tied else "free"

    def turn(self, box, steps: int) -> None:
        box.work = box.opened_map().copy()
        if box.work.tied != (steps > 0):
            box.work.set_tied(steps > 0)


class _DryDown(Row):
    """Off, or by how much the light is cut. When opened it proposes the other; turning sets the amount."""

    turns = paces = True

    def value(self, box) -> str:
        return cut_text(box.work.dry_down_pm) if box.work.dry_down else "off"

    def open(self, box) -> None:
        super().open(box)
        box.work.dry_down = not box.work.dry_down
        if box.work.dry_down and not box.work.dry_down_pm:
            box.work.dry_down_pm = box.bench.get("new_dry_down_pm")

    def turn(self, box, steps: int) -> None:
        was = box.opened_map()
        now_pm = box.work.dry_down_pm if box.work.dry_down else was.dry_down_pm if was.dry_down else 0
        now_pm = _within(now_pm + 5 * steps, 0, DRY_DOWN_MAX_PM)
        box.work.dry_down = now_pm > 0
        # Turned down to nothing, dry-down is off and keeps its former amount.
        box.work.dry_down_pm = now_pm or was.dry_down_pm


class _Passes(Row):
    turns = True

    def value(self, box) -> str:
        return str(len(box.work.passes))

    def turn(self, box, steps: int) -> None:
        count = _within(len(box.work.passes) + steps, 1, PASSES_MAX)
        box.work = box.opened_map().copy()
        if count != len(box.work.passes):
            box.work.set_pass_count(count)
        box.cursor_on(self.label)


class _Pick(Row):
    """Turn through `choices(box)`, the first of which is nothing; `take` acts on the one that is picked."""

    turns = names = True

    def choices(self, box) -> list:
        return []

    def value(self, box) -> str:
        here = box.state == "edit" and box.picking == self.label
        return self.choices(box)[box.pick] if here else ""

    def turn(self, box, steps: int) -> None:
        box.pick = _within(box.pick + steps, 0, len(self.choices(box)) - 1)


class _RemoveMark(_Pick):
    def choices(self, box) -> list:
        return ["nothing"] + [
            "%s, pass %d" % (mark.area, index + 1)
            for index in range(len(box.work.passes))
            for mark in box.work.passes[index].marks
        ]

    def take(self, box) -> None:
        nth = box.pick
        for own in box.work.passes:
            if 0 < nth <= len(own.marks):
                own.marks.pop(nth - 1)
                return
            nth -= len(own.marks)


class _Keep(_Pick):
    def choices(self, box) -> list:
        own = box.work.name
        if own in box.shelf.names():
            return ["nowhere", box.shelf.free_name(own), own + " (replace)"]
        return ["nowhere", own]

    def take(self, box) -> None:
        if box.pick == 0:
            return
        former = box.work.name
        box.work.name = self.choices(box)[box.pick].split(" ")[0]
        try:
            there = box.keep_card(box.work.name, box.work.text())
        except Refusal:
            box.work.name = former
            raise
        if there:
            box.say("%s is kept. Undo brings back the card it replaces." % box.work.name)
        else:
            box.say("%s is kept on the shelf." % box.work.name)


class _New(Row):
    acts = True
    deed = "begin"

    def act(self, box) -> None:
        former = box.work.name
        box.new_work()
        box.go_to_sheet("print")
        box.say("A new print. Undo brings %s back." % former)


def _print_rows(box) -> list:
    found: list = []
    work = box.work
    for index in range(len(work.passes)):
        found.append(_Filter(index))
        found.append(_Base(index))
        marks = work.passes[index].marks
        for number in range(len(marks)):
            mark = marks[number]
            found.append(_MarkRow(index, number, mark))
            if mark.stops120 > 0:
                found.append(_BurnFilter(mark))
        if len(marks) < MARKS_MAX:
            found.append(_AddMark(index))
    if any(own.marks for own in work.passes):
        found.append(_RemoveMark("Remove mark"))
    found.append(_Passes("Passes"))
    if len(work.passes) > 1:
        found.append(_Tied("Bases"))
    found.append(_DryDown("Dry-down"))
    found.append(_Setting("step"))
    found.append(_Keep("Keep on shelf"))
    found.append(_New("New print"))
    return found


# --- Strip


class _StripFor(Row):
    turns = names = True

    def targets(self, box) -> list:
        found: list = []
        for index in range(len(box.work.passes)):
            found.append((index, None))
            for number in range(len(box.work.passes[index].marks)):
                found.append((index, number))
        return found

    def value(self, box) -> str:
        mark = box.strip.mark(box.work)
        text = "pass %d" % (box.strip.pass_index + 1)
        return "%s, %s" % (mark.area, text) if mark else text

    def turn(self, box, steps: int) -> None:
        now = (box.strip.pass_index, box.strip.mark_index)
        box.strip.pass_index, box.strip.mark_index = _next(self.targets(box), now, steps)


class _StripKind(Row):
    turns = two_valued = True

    def value(self, box) -> str:
        return box.strip.kind

    def turn(self, box, steps: int) -> None:
        box.strip.kind = _next((COVER, FRESH), box.strip.kind, steps)


class _Patches(Row):
    turns = True

    def value(self, box) -> str:
        return str(box.strip.patches)

    def turn(self, box, steps: int) -> None:
        box.strip.patches = _within(box.strip.patches + steps, PATCHES_MIN, PATCHES_MAX)


class _StripStep(Row):
    turns = True

    def _name(self, box) -> str:
        for name, stops120, ms in STEP_CHOICES:
            if stops120 == box.strip.step_stops120 and ms == box.strip.step_ms:
                return name
        return ""

    def value(self, box) -> str:
        return self._name(box)

    def turn(self, box, steps: int) -> None:
        names = [name for name, _, _ in STEP_CHOICES]
        at = names.index(_next(names, self._name(box), steps))
        box.strip.step_stops120, box.strip.step_ms = STEP_CHOICES[at][1:]


class _StripOrigin(Row):
    turns = True

    CHOICES = ("around the map", "around a time", "up from a time")

    def value(self, box) -> str:
        strip = box.strip
        return self.CHOICES[0 if strip.origin_ms is None else 1 if strip.centred else 2]

    def turn(self, box, steps: int) -> None:
        strip = box.strip
        was = box.opened_strip()
        picked = self.CHOICES.index(_next(self.CHOICES, self.value(box), steps))
        strip.origin_ms = was.origin(box.work) if picked else None
        strip.centred = picked < 2


class _StripTime(Row):
    turns = paces = True

    def value(self, box) -> str:
        return seconds_text(box.strip.origin(box.work))

    def turn(self, box, steps: int) -> None:
        box.strip.origin_ms = _step_ms(box, box.strip.origin(box.work), steps)


class _StripUnder(Row):
    turns = two_valued = True

    def value(self, box) -> str:
        return "earlier passes" if box.strip.over_earlier else "nothing"

    def turn(self, box, steps: int) -> None:
        box.strip.over_earlier = steps > 0


class _Choose(Row):
    chooses = True


def _strip_rows(box) -> list:
    strip = box.strip
    found: list = []
    found.append(_StripFor("Strip for"))
    found.append(_StripKind("Kind"))
    found.append(_Patches("Patches"))
    found.append(_StripStep("Step"))
    found.append(_StripOrigin("Times"))
    if strip.origin_ms is not None:
        found.append(_StripTime("Middle" if strip.centred else "First patch"))
    if strip.pass_index > 0:
        found.append(_StripUnder("Give first"))
    if box.strip_given:
        found.append(_Choose("Choose a patch"))
    return found


# --- Shelf


class _Card(Row):
    acts = True
    deed = "load it"

    def act(self, box) -> None:
        card = box.shelf.get(self.label)
        if card is None:
            raise Refusal("Not loaded", "the card is no longer on the shelf", "Push it again")
        former = box.work.name
        box.take_work(card)
        box.go_to_sheet("print")
        box.say(drawer_lacks(card, box.bench) or "Loaded. Undo brings %s back." % former)

    def said(self, box) -> str:
        return "Load " + self.label


class _RemoveCard(_Pick):
    def choices(self, box) -> list:
        return ["nothing"] + box.shelf.names()

    def take(self, box) -> None:
        if box.pick:
            name = self.choices(box)[box.pick]
            box.drop_card(name)
            box.cursor_on(self.label)
            box.say("%s is off the shelf. Undo brings it back." % name)


def _shelf_rows(box) -> list:
    names = box.shelf.names()
    if not names:
        return [Row("No cards yet: push one")]
    found: list = [_Card(name) for name in names]
    found.append(_RemoveCard("Remove a card"))
    return found


# --- Bench


class _Setting(Row):
    """A bench setting. Text and the set of filters can be set only from the PC."""

    turns = True

    def __init__(self, key: str) -> None:
        _, label, self.kind, _, self.limits = setting(key)
        super().__init__(label)
        self.key = key
        self.names = self.kind in ("text", "filters")
        self.turns = not self.names
        self.two_valued = self.kind == "choice" and len(self.limits) == 2
        self.paces = self.kind in ("ms", "auto ms", "s", "time", "pm")

    def sets_one_of(self, keys) -> bool:
        return self.key in keys

    def value(self, box) -> str:
        value = box.bench.get(self.key)
        if self.kind == "ms":
            return "%d ms" % value
        if self.kind == "auto ms":
            return "%d ms" % value if value else "auto, %d ms" % box.bench.least_light_ms
        if self.kind == "s":
            return "%d s" % value
        if self.kind == "time":
            return seconds_text(value)
        if self.kind == "pm":
            return per_cent_text(value)
        if self.kind == "filter":
            return filter_text(value)
        if self.kind == "filters":
            return " ".join(value)
        return str(value)

    def turn(self, box, steps: int) -> None:
        value = box.bench.get(self.key)
        if self.kind == "choice":
            value = _next(self.limits, value, steps)
        elif self.kind == "filter":
            value = _next(("",) + box.bench.get("filters"), value, steps)
        elif self.kind == "time":
            value = _step_ms(box, value, steps)
        else:
            low, high, size = self.limits
            value = _within(value + size * steps, low, high)
        box.bench.set(self.key, value)


class _Sheet(Row):
    acts = True
    changes = False
    deed = "open it"

    def __init__(self, name: str) -> None:
        super().__init__(TITLES[name])
        self.name = name

    def act(self, box) -> None:
        box.go_to_sheet(self.name)


class _Undo(Row):
    names = True
    changes = False
    deed = "undo"

    def __init__(self, acts: bool) -> None:
        super().__init__("Undo")
        self.acts = acts

    def value(self, box) -> str:
        change = box.undo.newest
        return change.says if change else "nothing"

    def act(self, box) -> None:
        box.take_back()


class _GoOn(Row):
    goes_on = names = True

    def value(self, box) -> str:
        stage = box.stages[box.at]
        if stage.kind == FIT:
            return stage_name(stage)
        return "%s  %s" % (stage_name(stage), seconds_text(box.left_shown_ms()))


class _EndRun(Row):
    acts = True
    changes = False
    deed = "end it"

    def act(self, box) -> None:
        box.end_run()


GO_ON = "Go on"
END_RUN = "End this run"


def _all_sheets(box) -> list:
    found: list = [_Undo(len(box.undo) > 0)]
    if box.can_go_on:
        found.append(_GoOn(GO_ON))
    if box.run_is_kept:
        found.append(_EndRun(END_RUN))
    return found + [_Sheet(name) for name in NAMES]


def rows(box) -> list:
    """The rows of the screen that the box is on; never empty."""
    if box.sheet == "print":
        return _print_rows(box)
    if box.sheet == "strip":
        return _strip_rows(box)
    if box.sheet == "shelf":
        return _shelf_rows(box)
    if box.sheet == "bench":
        return [_Setting(row[0]) for row in SETTINGS]
    return _all_sheets(box)
