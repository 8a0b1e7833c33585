"""The Tests screen, and that of each guided test: what it is made with, and what is read off it.

What is known of the tests is a record of its own: how each was set, what was given last, so that it can be
read days later, and what was found. It is written in the dark alone.
"""

from timing_core.canonical import encode
from timing_core.light.guided import (
    CELL_LAG,
    CHOICE,
    DRIFT,
    DRY_DOWN,
    FILTER,
    FLASHES,
    HEADINGS,
    LAG,
    OF_THE_CELL,
    PAPER,
    QUESTIONS,
    SAFELIGHT,
    SETTINGS,
    SHORTEST,
    TESTS,
    answer_text,
    duration_ms,
    places,
    proposed,
    settle,
    settle_lag,
    told,
)
from timing_core.light.lamp_metering import REPEATS
from timing_core.light.plan import filter_text
from timing_core.light.stops import clock_text, per_cent_text, seconds_text
from timing_core.machine.cell_doses import (
    DOSES,
    NO_CELL,
    NO_SLOT,
    OTHER_LIGHT,
    READS_DARK,
    READS_WELL,
    STRUCK,
    TOO_LITTLE,
    TOO_MUCH,
    WAITS_DARK,
    CellDoses,
)
from timing_core.machine.dark_time import BETWEEN_MS
from timing_core.panel.letters import enlarge
from timing_core.panel.rows import ACTS, KEEPS, PACES, TURNS, TWO_VALUED, Row, Screen, named, step_ms
from timing_core.refusal import Refusal

_WIDTH = 128
_KEY = "tests"

_CELL_WORDS = {
    NO_CELL: b"no cell",
    OTHER_LIGHT: b"other light",
    WAITS_DARK: b"wait, dark",
    READS_DARK: b"dark is read",
    TOO_MUCH: b"too bright",
    TOO_LITTLE: b"too faint",
    READS_WELL: b"good",
}
_NOT_YET = {
    NO_CELL: ("no light cell answers", "Plug it in"),
    OTHER_LIGHT: ("other light falls on the cell", "Put it out"),
    WAITS_DARK: ("the cell reads the dark", "Wait for 2 s"),
}


class _Known:
    """What is kept by test: how it is `set`, what was `given` last, and what was `found`: numbers, and
    at last the date, "" where no PC has told it."""

    def __init__(self, kept) -> None:
        self._store = kept.store
        self.set: dict = {}
        self.given: dict = {}
        self.found: dict = {}
        data = self._store.get(_KEY)
        try:
            plain = kept.json_loads(str(data, "utf-8")) if data else {}
            self.set, self.given, self.found = plain["set"], plain["given"], plain["found"]
        except (ValueError, KeyError, TypeError):
            pass  # of no form that there ever was: as good as none

    def keep(self) -> None:
        self._store.put(_KEY, encode({"set": self.set, "given": self.given, "found": self.found}))


class GuidedList(Screen):
    key = "tests"
    heading = "Tests"

    def home(self, panel) -> int:
        self._known = _Known(panel.kept)
        if not panel.run.is_kept:
            panel.doses = None
        return 0

    def rows(self, panel) -> list:
        return [named("test", key, HEADINGS[key], ACTS | KEEPS, "open it") for key in TESTS]

    def value(self, panel, row: Row) -> str:
        found = self._known.found.get(row.name)
        if found and _is_in_force(row.name, found[0], panel.work.bench):
            return _found_text(row.name, found)
        return "to be read" if row.name in self._known.given else "not done"

    def act(self, panel, row: Row) -> None:
        panel.work.test = {"test": row.name}
        panel.open_screen("test")


def _found_text(key: str, found: list) -> str:
    number = found[0]
    if key in (LAG, CELL_LAG):
        return "%d ms, +/-%d" % (number, found[1])
    if key == DRIFT:
        return "from " + clock_text(1000 * number) if number else "not steady"
    if key == DRY_DOWN:
        return per_cent_text(number)
    if key == SHORTEST:
        return "%d ms" % number
    if key == FLASHES:
        return seconds_text(number)
    return clock_text(1000 * number) if key == SAFELIGHT else "given"


def _is_in_force(key: str, number: int, bench) -> bool:
    """What was found is what the bench still has; a flash is the print's, and what was found stays."""
    if key in (LAG, CELL_LAG):
        return bench.get("lag_ms") == number
    if key == SHORTEST:
        return bench.least_light_ms == number
    return key != DRY_DOWN or bench.get("new_dry_down_pm") == number


class GuidedScreen(Screen):
    """The screen of the test in `panel.work.test`. An open value is a proposal in `panel.cursor.pick`: which
    choice it is, which filter of the drawer, a time in ms, or which answer."""

    key = "test"
    over = "tests"
    begins = "test"
    module = "tests_screen"

    def __init__(self) -> None:
        self._answers: dict = {}

    def home(self, panel) -> int:
        self._known = _Known(panel.kept)
        self._test = (panel.work.test or {"test": LAG})["test"]
        self.heading = HEADINGS[self._test]
        if self._test in OF_THE_CELL:
            self.meters = DOSES
            # What is gathered outlives a look at another screen.
            panel.doses = panel.doses or CellDoses()
        self._propose(panel)
        return self._first_question() if self._test in self._known.given else 0

    def _first_question(self) -> int:
        return 1 if self.meters else len(SETTINGS[self._test])

    def _propose(self, panel) -> None:
        work = panel.work
        work.test = proposed(self._test, self._known.set.get(self._test, {}), work.map, work.bench)
        work.changed()

    def rows(self, panel) -> list:
        found, known = [], self._known
        if self.meters:
            found.append(Row("cell", "Light cell"))
        for key, label, kind, choices in SETTINGS[self._test]:
            does = TURNS
            if kind == CHOICE and len(choices) == 2:  # type: ignore[arg-type]
                does |= TWO_VALUED
            elif kind not in (CHOICE, FILTER):
                does |= PACES
            found.append(Row(key, label, does))
        if self._test in known.given:
            for number in range(len(QUESTIONS[self._test])):
                found.append(Row("read", QUESTIONS[self._test][number], TURNS, "", number))
        if self._test in known.found and known.found[self._test][-1]:
            found.append(Row("found", "Last done"))
        return found

    def said(self, panel, row: Row) -> str:
        return self.heading if row.key == "read" else super().said(panel, row)

    def about(self, panel) -> str:
        """How long the lights take, and the dark times that are counted."""
        plan = panel.work.plan("test")
        return clock_text(duration_ms(plan, BETWEEN_MS)) if plan else ""

    def value(self, panel, row: Row) -> str:
        if row.key == "cell":
            return str(_CELL_WORDS[panel.doses.now], "utf-8")
        if row.key == "found":
            return str(self._known.found[self._test][-1])
        is_open = panel.has_open(row)
        if not is_open and row.key == "filter":
            return filter_text(panel.work.test["filter"])  # the drawer may lack it
        if row.key == "read":
            answer = panel.cursor.pick if is_open else self._answers.get(row.index)
            return "read it" if answer is None else answer_text(self._known.given[self._test], answer)
        pick = panel.cursor.pick if is_open else self._pick_of(panel, row)
        kind, choices = self._kind(row)
        if kind == CHOICE:
            return choices[pick]
        return filter_text(_drawer(panel)[pick]) if kind == FILTER else seconds_text(pick)

    def _kind(self, row: Row) -> tuple:
        for key, _, kind, choices in SETTINGS[self._test]:
            if key == row.key:
                return kind, choices
        return CHOICE, ("",)

    def _pick_of(self, panel, row: Row):
        now = panel.work.test[row.key]
        if self._kind(row)[0] != FILTER:
            return now
        drawer = _drawer(panel)
        return drawer.index(now) if now in drawer else 0

    def open(self, panel, row: Row) -> None:
        if row.key == "read":
            # Where there are places between patches, from the middle.
            first = places(self._known.given[self._test]) // 2 if self._test in (LAG, DRY_DOWN) else 0
            panel.cursor.pick = self._answers.get(row.index, first)
            return
        now = self._pick_of(panel, row)
        panel.cursor.pick = 1 - now if row.does & TWO_VALUED else now

    def turn(self, panel, row: Row, steps: int) -> None:
        kind, choices = self._kind(row)
        if row.key == "read":
            panel.turn_pick(places(self._known.given[self._test]), steps)
        elif kind == CHOICE:
            panel.turn_pick(len(choices), steps)
        elif kind == FILTER:
            panel.turn_pick(len(_drawer(panel)), steps)
        else:
            panel.cursor.pick = step_ms(panel.work.bench, panel.cursor.pick, steps)

    def take(self, panel, row: Row) -> None:
        pick = panel.cursor.pick
        if row.key == "read":
            self._take_answer(panel, row.index, pick)
            return
        own = self._known.set.setdefault(self._test, {})
        own[row.key] = _drawer(panel)[pick] if self._kind(row)[0] == FILTER else pick
        self._known.keep()
        self._propose(panel)

    # --- the light cell

    def reading(self, panel, counts: int, light: int) -> None:
        doses, run = panel.doses, panel.run
        was = doses.now
        slot = 0
        if light == STRUCK:
            if run.begun != doses.begun:
                doses.clear(run.begun, run.has_had_light)
            # The second stage has one strike more.
            strikes = REPEATS - 1 + run.at if self._test == CELL_LAG else 1
            slot = REPEATS * (run.at - 1) + run.strikes - 1 if run.strikes <= strikes else NO_SLOT
        doses.take(counts, light, slot)
        if was != doses.now:
            panel.io.picture()

    def takes_spot(self, panel) -> int:
        return 0

    def draw_lit(self, hands) -> None:
        """Under LAMP: whether the cell can read this light. Takes no memory."""
        enlarge(hands.buffer, _WIDTH, _CELL_WORDS[hands.box.panel.doses.now], 0, 24)

    def cell_told(self, panel) -> dict:
        lag_ms, spread_ms = panel.doses.found
        now = str(_CELL_WORDS[panel.doses.now], "utf-8")
        return {"now": now, "lag_ms": lag_ms, "spread_ms": spread_ms}

    def cannot_begin(self, panel):
        if not self.meters or panel.doses.now not in _NOT_YET:
            return None
        return Refusal("The test is not begun", *_NOT_YET[panel.doses.now])

    # --- what came of it

    def ended(self, panel, test: dict) -> None:
        """The test was given. It can be read at once, or days later."""
        known, key = self._known, self._test
        try:
            if key == PAPER:
                known.found[key] = [0, _date(panel)]
                told_now = "The strip is in the ledger. Read it at the PC, which makes the paper record."
            elif key == DRIFT:
                found = panel.doses.drift()
                known.found[key] = found + [_date(panel)]
                told_now = told(test, found)
            else:
                told_now = "The test is given. Develop it, and read it here."
                if key == CELL_LAG:
                    test = dict(test)
                    test["lag_ms"], test["spread_ms"] = panel.doses.lag()
                    told_now = "The lag is %d ms, +/-%d. Press to set it." % tuple(settle_lag(test, 0))
                known.given[key] = test
                known.found.pop(key, None)
                self._answers = {}
            panel.io.say(told_now)
            known.keep()
        except Refusal as refusal:
            panel.io.say(refusal.line)
        panel.come_home()

    def _take_answer(self, panel, number: int, place: int) -> None:
        """With the last answer, set what they say together."""
        answers = dict(self._answers)
        answers[number] = place
        work, test, known = panel.work, self._known.given[self._test], self._known
        missing = [each for each in range(len(QUESTIONS[self._test])) if each not in answers]
        if not missing:
            ordered = [answers[each] for each in range(len(answers))]
            found = settle(test, ordered, work.map, work.bench)
            known.found[self._test] = found + [_date(panel)]
            known.keep()
            panel.io.say(told(test, found))
        self._answers = answers
        panel.before.value = ""
        panel.cursor.at = self._first_question() + (missing[0] if missing else 0)
        self._propose(panel)


def _date(panel) -> str:
    return (panel.trays.clock.text() or "")[:10]


def _drawer(panel) -> tuple:
    return ("",) + panel.work.bench.get("filters")
