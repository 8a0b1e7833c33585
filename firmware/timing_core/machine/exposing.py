"""Exposing: a run worked through stage by stage.

What must live here: what a press does while a run is under way, and what becomes of the light that was
given. It knows no screen.

Law: while the lamp is lit nothing here allocates or writes a record.
"""

from timing_core.light.plan import (
    BASE,
    FIT,
    FLASH,
    PIP_MS,
    filter_text,
    is_too_short,
    lamp_ms,
    refuse_short,
    stage_name,
)
from timing_core.light.stops import seconds_text
from timing_core.light.work import Work
from timing_core.machine.lamp import Lamp
from timing_core.machine.machine import Exchange
from timing_core.machine.run import Run
from timing_core.machine.strike import Cues
from timing_core.records.ledger import not_kept
from timing_core.refusal import Refusal
from timing_core.ticks import later, since

HOLD_MARGIN_MS = 10
"""The most that is allowed for between the press and the lamp's going out. Measured on the emulated board:
4.6 ms at the most (docs/measurements.md)."""

_MAP_NOT_KEPT = "The map of this run is not kept: the memory is full. After a power cut it could not go on."


class Exposing:
    """`journal`, `ledger` and `clock` are what is written to, and the time it is dated with. `from_registers`
    is true while what is known of the run is not in the journal yet."""

    def __init__(self, work: Work, io: Exchange, platform, lamp: Lamp, journal, ledger, clock) -> None:
        self.work = work
        self.io = io
        self.platform = platform
        self.lamp = lamp
        self.journal = journal
        self.ledger = ledger
        self.clock = clock
        self.run = Run()
        self.cues = Cues()
        self._said_full = False
        self.from_registers = False

    def ended(self, lit_ms: int) -> None:
        """The lamp has reported that it was lit for `lit_ms`."""
        lamp = self.lamp
        seen_ms = lamp.end(lit_ms)
        if not lamp.strike.viewing:
            self.run.account(seen_ms, lamp.strike.lamp_ms, self.run.lag_ms(self.work.bench))

    # --- a stage

    def left_ms(self) -> int:
        """Light the stage still has to give, in ms of true light."""
        return self.run.stage.light_ms - self.light_so_far_ms()

    def light_so_far_ms(self) -> int:
        """Light given in this stage up to now."""
        run = self.run
        given_ms = run.given_ms
        strike = self.lamp.strike
        if strike.is_lit and not strike.viewing:
            now_ms = self.io.now_ms
            given_ms = max(given_ms, strike.light_ms(now_ms) - self.lamp.watch.dark_ms(now_ms))
        return min(given_ms, run.stage.light_ms)

    def left_shown_ms(self) -> int:
        """`left_ms` as the printer sees it: without dry-down."""
        return self.run.shown_ms(self.left_ms())

    def left_text(self) -> str:
        return seconds_text(self.left_shown_ms())

    def stage_is_fit(self) -> bool:
        return self.run.is_fit

    def fitted(self) -> None:
        if self.run.stage.kind == FIT:
            self.run.filter_in = self.run.stage.filter
        self.go_to(self.run.at + 1)
        self.lamp.settle()

    def too_short(self) -> bool:
        """This lamp, dark now, cannot give what is left of the stage."""
        run = self.run
        if run.any_length:
            return False
        return is_too_short(run.stages[run.at].light_ms - run.given_ms, self.work.bench)

    def too_late_to_hold(self) -> bool:
        """A rest shorter than the lamp can give could not be given later, so the stage runs out."""
        return is_too_short(self.left_ms() - HOLD_MARGIN_MS, self.work.bench)

    def rest_too_short(self) -> bool:
        """BACK has left a rest that is too short to give, and there is another stage."""
        return not self.run.is_last and self.too_short()

    def cannot_give(self) -> int:
        """A fault stands that forbids the light that is left of the stage."""
        watch, run = self.lamp.watch, self.run
        if not watch.uncounted:
            return watch.forbids()  # how long it would be does not matter: each press asks this
        return watch.forbids(lamp_ms(run.stage.light_ms - run.given_ms, self.run.lag_ms(self.work.bench)))

    def arm(self) -> None:
        self.lamp.arm(False)

    def leave_rest(self) -> None:
        self.note_stage()
        self.go_to(self.run.at + 1)
        self.lamp.settle()

    def give(self) -> None:
        run = self.run
        # On the way from a press to its light each call takes a board some 0.05 ms. To set anything of a run
        # takes it 0.03 ms, since that class has properties.
        lag_ms = 0 if run.is_bare else self.work.bench.get("lag_ms")
        stage = run.stages[run.at]
        run.goal_ms = stage.light_ms
        light_ms = run.aim(stage) if stage.pulse_ms else stage.light_ms - run.given_ms
        self.cues.begin(stage.cues, stage.light_ms, run.given_ms)
        run.strikes += 1
        if run.is_again:
            run.is_again = False
        if run.filter_in != stage.filter:
            run.filter_in = stage.filter
        if run.has_paper:
            self.lamp.paper_out = True
        self.lamp.light(lamp_ms(light_ms, lag_ms), lag_ms - run.given_ms, False)
        self.io.put("sound", "start")

    def sound_cues(self) -> None:
        """Sound every cue and every tick of a second that is due."""
        so_far_ms = self.lamp.strike.light_ms(self.io.now_ms)
        # After a call so late that there are more than fit, another is due at once.
        while so_far_ms >= self.cues.due_ms and self.io.count < Exchange.MOST_SOUNDS:
            self.io.put("sound", self.cues.take())
        self.lamp.refresh()

    def move_stage(self) -> None:
        run = self.run
        if run.at_least:
            self.note_stage()  # a reset cut it off, and what is known of it goes into the record
        self.go_to(max(0, min(len(run.stages) - 1, run.at + self.io.amount)))

    def go_to(self, at: int) -> None:
        """Make stage `at` the next one, and note that in the journal, so that a reset in mid-exposure is
        known of."""
        self.run.at = at
        self.run.reset_stage()
        self.cues.clear()
        self.write_journal()

    def note_stage(self) -> None:
        self.run.note_stage(self.run.lag_ms(self.work.bench))

    # --- the end of a light

    def is_whole(self) -> bool:
        """All of the stage's light is given."""
        return self.run.stage_is_whole

    def print_is_whole(self) -> bool:
        """The print is given, and it is of the map at work, or of one that gives the same: its name may be
        another, or a measure noted, since it was begun."""
        return self.print_is_other() and _gives_the_same(self.work, self.run)

    def print_is_other(self) -> bool:
        return self.is_done("print")

    def is_done(self, kind: str) -> bool:
        return self.run.is_last and self.run.stage_is_whole and self.run.kind == kind

    def strip_is_whole(self) -> bool:
        """The strip is whole, and is still the one that the Strip screen describes."""
        return self.strip_is_other() and self.run.gives == self.work.strip.gives(self.work.map)

    def strip_is_other(self) -> bool:
        return self.is_done("strip")

    def hold(self) -> None:
        self.io.put("sound", "hold")
        self.write_journal()

    def cut_short(self) -> None:
        self.io.put("sound", "hold")
        self.io.say("The lamp went out early. The rest can still be given.")
        self.write_journal()

    def end_stage(self) -> None:
        self.note_stage()
        self.go_to(self.run.at + 1)
        self.io.put("sound", "fit" if self.run.is_fit else "end")

    def end_print(self) -> None:
        self.note_stage()
        self.work.prints += 1
        self.io.put("sound", "end")
        self.io.say("Print %d is done and in the ledger." % self.work.prints)
        self.close()

    def end_other_print(self) -> None:
        self.note_stage()
        self.io.put("sound", "end")
        self.io.say("The print is done and in the ledger. The map here is another now: EXPOSE gives that.")
        self.close()

    def end_strip(self) -> None:
        self.note_stage()
        self.io.put("sound", "end")
        self.work.strip_gave = self.run.gives
        self.close()

    def end_other_strip(self) -> None:
        self.note_stage()
        self.io.put("sound", "end")
        self.work.strip_gave = self.run.gives
        self.io.say("The strip is done, but strip or map is another now. Set it back to choose a patch.")
        self.close()

    # --- a run

    def begin(self, kind: str) -> None:
        """Begin the print, the strip or the test that is at work; Refusal if it cannot be given."""
        work = self.work
        stages = work.plan(kind)
        _say_of_waiting(self)
        self.clear()
        gives = work.strip.gives(work.map) if kind == "strip" else []
        self.run.begin(kind, stages, gives, self.ledger.last() + 1, work.text(kind))
        if kind == "test":
            self.run.take_test(work.test)
        if self.run.has_paper:
            self.lamp.paper_out = True  # it is in the easel from here on
            _begin_sheet(self)
        kept = True
        try:
            self.journal.keep_text(self.run.text)
        except Refusal:
            kept = False
        self.go_to(1)
        if self.run.filter_in != stages[0].filter:
            self.io.put("sound", "fit")
        self.lamp.watch.close()
        self.lamp.settle()
        if not kept:
            self.io.say(_MAP_NOT_KEPT)

    def go_on(self) -> None:
        """Return to the stage at which the run was left, without light."""
        self.lamp.watch.close()
        if self.run.has_paper:
            self.lamp.paper_out = True
        self.lamp.settle()
        _darken(self)
        self.run.is_again = True

    def end(self, aloud: bool = True) -> None:
        """End the run that is kept, and put on record what was given."""
        run = self.run
        if run.given_ms or run.at_least:
            self.note_stage()
        if aloud:
            self.io.say(
                "Ended here. What was given is in the ledger." if run.done else "Ended. No light was given."
            )
        self.close()

    def close(self) -> None:
        """The run is over: write its record into the ledger, and close the journal."""
        self.lamp.watch.open()
        run = self.run
        if run.done or run.cut_at:
            source = self.platform.json_loads(str(run.text, "utf-8")) if run.text else {}
            try:
                self.ledger.append(run.record(source, self.clock), run.number)
            except Refusal as refusal:
                self.io.say(not_kept(refusal, self.ledger.lost).line)
                # After a reset the run is found as it is now, and put on record then.
                if run.stages:
                    self.write_journal(over=True, aloud=False)
                self.clear()
                return
        self.clear()
        self._close_journal()

    def clear(self) -> None:
        self.lamp.keep_dark(False)
        self.lamp.sheet_time.end()
        self.run.clear()
        self.cues.clear()
        self._said_full = False

    def write_journal(self, over: bool = False, aloud: bool = True) -> None:
        """Note where the run stands and what is known to have been given."""
        self.from_registers = False
        try:
            self.journal.write(self.run, over)
        except Refusal as refusal:
            if aloud and not self._said_full:
                self._said_full = True  # once a run: it hides what the hands need
                self.io.say(refusal.line)
            # An old journal would have light given twice after a power cut, so none is better.
            self._close_journal(aloud=False)

    def _close_journal(self, aloud: bool = True) -> None:
        try:
            self.journal.close()
        except Refusal as refusal:
            if aloud:
                self.io.say(refusal.line)

    def note_registers(self) -> None:
        """Put into the journal what is known of a run from registers: they do not survive a pulled plug."""
        if self.from_registers and self.run.stages and not self.lamp.strike.is_lit:
            self.write_journal()

    @property
    def known_ms(self) -> int:
        """Light known to have been given in the present stage of the run under way or kept, in ms."""
        return self.light_so_far_ms() if self.run.stages else self.run.given_ms


def _gives_the_same(work: Work, run: Run) -> bool:
    return work.map.text() in run.text or _given_by(work.plan("print")) == _given_by(run.stages)


def _given_by(stages: list) -> list:
    return [
        (each.kind, each.area, each.filter, each.shown_ms, each.light_ms, each.cues)
        + tuple([window.area for window in each.windows])
        for each in stages
    ]


def refuse_short_stage(exposing: Exposing) -> None:
    run, left_ms, bench = exposing.run, exposing.left_ms(), exposing.work.bench
    if run.given_ms:
        refuse_short("The rest", left_ms, bench, "Press BACK and end this run")
    refuse_short(stage_name(run.stage), left_ms, bench, "Set the bench back, or turn to the next stage")


def what_is_fitted(exposing: Exposing) -> str:
    """What a press says: "filter 2 is in", "negative is out"."""
    stage = exposing.run.stage
    return filter_text(stage.filter) + " is in" if stage.kind == FIT else "negative is " + stage.area


def stage_of(exposing: Exposing) -> str:
    """Which of the stages that give light is at hand."""
    stages, at = exposing.run.stages, exposing.run.at
    lit = [index for index in range(len(stages)) if stages[index].light_ms]
    return "stage %d/%d" % (lit.index(at) + 1, len(lit)) if at in lit and len(lit) > 1 else "stage"


def kept_text(exposing: Exposing) -> str:
    """What is kept, and the question about it."""
    left = ""
    if exposing.run.stages:
        name = stage_name(exposing.run.stage)
        left = " Next: %s." % name
        if not exposing.run.stage.is_dark:
            left = " %s has %s to come." % (name, exposing.left_text())
    return "A run is kept." + left + " End it, and begin this one?"


def _say_of_waiting(exposing: Exposing) -> None:
    line = exposing.ledger.write_waiting_or_say()
    if line:
        exposing.io.say(line)


def _begin_sheet(exposing: Exposing) -> None:
    """A fresh sheet is in the easel, and its time under the safelight is counted, but in a test of that."""
    if not _darken(exposing):
        exposing.lamp.sheet_time.begin(exposing.io.now_ms)


def _darken(exposing: Exposing) -> bool:
    """In a test of what safelight or display do, the safelight is to be out but when the test has it on, and
    the display dim where it is not tried itself. True in such a test."""
    test = exposing.run.test
    is_dark = test is not None and test["test"] == "safelight"
    exposing.lamp.keep_dark(is_dark)
    exposing.run.dims = test is not None and is_dark and test["light"] == 0
    return is_dark


class StartDelay:
    """The time from a press of EXPOSE until the light of a burn or a patch comes by itself, so that both
    hands can take shade or cover. A base has none, since its shades have their lead-in, nor a flash. It is
    counted in pips: one each second, and at last the three of a lead-in."""

    def __init__(self, exposing: Exposing) -> None:
        self.exposing = exposing
        self.io = exposing.io
        self._bench = exposing.work.bench
        self._whole_ms = self._begun_ms = self._pip_ms = 0

    def is_wanted(self) -> int:
        delay_s = self._bench.get("start_delay_s")  # first, since each press asks this
        kind = self.exposing.run.stage.kind if delay_s else BASE
        wants_none = kind == BASE or kind == FLASH  # in a tuple they would take memory
        return 0 if wants_none else delay_s

    def about(self) -> str:
        """What is to come, and when."""
        return "%s in %d s" % (self.exposing.left_text(), self.is_wanted())

    def begin(self) -> None:
        self.exposing.lamp.strike.viewing = False
        self._whole_ms = self._pip_ms = 1000 * self.is_wanted()
        self._begun_ms = self.io.now_ms

    def left_ms(self, now_ms: int) -> int:
        return max(0, self._whole_ms - since(now_ms, self._begun_ms))

    def runs(self) -> bool:
        return self.left_ms(self.io.now_ms) > 0

    def due_ms(self) -> int:
        """When the next pip is due, or after the last of them the light."""
        return later(self._begun_ms, self._whole_ms - self._pip_ms)

    def count(self) -> None:
        """Sound the pip that is due. One that comes late is left out: it would be off the beat."""
        left_ms = self.left_ms(self.io.now_ms)
        beat_ms = 0
        while self._pip_ms >= left_ms:
            beat_ms = self._pip_ms
            self._pip_ms -= PIP_MS if beat_ms <= 4 * PIP_MS else 1000
        if beat_ms:
            self.io.picture()
            if beat_ms - left_ms < PIP_MS // 2:
                self.io.put("sound", "pip")
