"""The box: a state machine that turns inputs into outputs, without any I/O.

`handle(event, now_ms, amount)` takes one input and returns the outputs it causes; `next_deadline()` says
when it wants a "tick". `machine.transitions` says what happens in which state; the tables at the end of this
file say which function each of its names is. Time is an argument in ms that wraps at 2**30.

Inputs: "expose", "pedal" (the same), "lamp", "back", "back_down" and "back_up" (BACK is held
down, is let go: what holds while it is, not what it does), "dial" (amount: detents,
right is positive), "press" (of the dial), "lamp_end" (amount: ms the lamp was lit), "tick", "power_up"
(amount: ms of light that the stage cut off by a reset is known to have got; 0: power was lost; -1: reset, and
nothing is known), "reading" (amount: a conversion of the light cell, see `machine.light_cell`), "line"
(amount: one line from the wire, as bytes), "wire" (`link` was given a line outside of `handle`; a board does
so because answering may take long and a key must not wait meanwhile). Some input has to come at least once a
day, if only a "tick", since time is counted from input to input.

Outputs, in `Exchange` as kind and value: "light" (ms; the only way to light the lamp), "dark", "safelight"
(1 on, 0 off), "sound" (a name in `panel.sounds`), "volume" (0..5) and "level" (display brightness, 1..5) when
they change, "screen" (the picture changed), "send" (bytes for the wire), "arm" (1 closes the second contact,
0 opens it), "cell" (the light cell is to read in this range, 0 not at all), "handover" (leave to the prompt).

Law: while the lamp is lit nothing here allocates or writes a record, and nothing here has to be called for
the light to end. Code that performs "dark" must hand in "lamp_end" before any key.
"""

from timing_core.light.bench import Bench
from timing_core.light.work import Work
from timing_core.machine.clock import Clock
from timing_core.machine.exposing import (
    Exposing,
    StartDelay,
    refuse_short_stage,
    stage_of,
    what_is_fitted,
)
from timing_core.machine.findings import Findings
from timing_core.machine.guided_run import GuidedRun
from timing_core.machine.lamp import Lamp
from timing_core.machine.machine import NO_ROW, Exchange, Machine
from timing_core.machine.sheet_time import TOLD
from timing_core.machine.transitions import LIT
from timing_core.machine.trays import LOST_SHEETS, Trays
from timing_core.machine.watch import Watch
from timing_core.panel.acceptance import Acceptance
from timing_core.panel.panel import Panel
from timing_core.panel.rows import back_leads_to, take_spot, takes_first, takes_second
from timing_core.platform import Platform
from timing_core.records.fitted import Fitted
from timing_core.records.journal import Journal
from timing_core.records.ledger import Ledger
from timing_core.records.shelf import shelves_in
from timing_core.records.store import Store
from timing_core.wire.asked import Asked
from timing_core.wire.methods import Link
from timing_core.wire.summary import summary_of

_RUN_STATES = ("ready", "exposing", "held", "delaying", "between", "waiting")
_BESIDE = ("back_down", "back_up", "reading", "wire")
_QUIET = ("tick", "lamp_end", "handover", "count", "end_count")


def _no_lines() -> list:
    return []


def _no_board() -> dict:
    return {}


class Box:
    """One box: the parts, and what they have to do with each other. `panel_ms` is how often a lit screen
    wants a new picture; 0 means no panel."""

    def __init__(self, store: Store, platform: Platform, panel_ms: int = 100) -> None:
        self.crash_lines = _no_lines  # set from outside: a reader of the crash log, if one is kept
        self.health = _no_board  # set from outside: tells about the board
        self.store = store
        self._platform = platform
        self.io = Exchange(panel_ms > 0)
        self.clock = Clock()
        self.work = Work()
        self.shelves = self.shelf, self.papers, self.sequences = shelves_in(store, platform)
        self.ledger = Ledger(store, platform)
        self.journal = Journal(store, platform)
        self.findings = Findings(self.ledger)
        self.fitted = Fitted(store, platform)
        self.watch = Watch(self.io, self.fitted, self.ledger)
        self.lamp = Lamp(self.work.bench, self.io, panel_ms, self.watch)
        self.exposing = Exposing(
            self.work, self.io, platform, self.lamp, self.journal, self.ledger, self.clock
        )
        self.delay = StartDelay(self.exposing)
        self.guided = GuidedRun(self.exposing)
        self.run = self.exposing.run
        self.trays = Trays(self.io, store, self.clock)
        work, shelves, ledger, trays = self.work, self.shelves, self.ledger, self.trays
        self.panel = Panel(work, self.io, platform, store, shelves, ledger, self.run, self.watch, trays)
        self.acceptance = Acceptance(self)
        parts = (self, self.exposing, self.panel, self.lamp, self.watch, self.acceptance, self.delay)
        self.machine = Machine(parts + (self.io, self.guided), WHEN, DO, ABOUT)
        self.asked = Asked(self.io, store, self.clock, self.findings, self.panel, ledger, self.fitted)
        self.link = Link(self, platform)
        self._raised = ""

    # --- one input

    def handle(self, event: str, now_ms: int, amount=0) -> Exchange:
        """Take one input at `now_ms` (0 .. 2**30 - 1, wrapping) and return what it causes."""
        self.io.begin(now_ms, amount)
        if event == "line":
            event = _take_line(self, amount)
        if self.machine.state == "counting":
            self.acceptance.counting.take(event, amount)
        if event in _BESIDE:
            return _take_beside(self, event)
        if event == "pedal":
            event = "expose"
        elif event == "power_up" and self.machine.has(event):
            self._read_kept()
        if event == "lamp_end" or not (event == "expose" or self.machine.state in LIT):
            self.clock.count(now_ms)  # for a press of EXPOSE that can wait
        ticks = event == "tick"
        while True:
            ends = event == "lamp_end" and self.lamp.strike.is_lit
            if ends:
                self.exposing.ended(self.io.amount)
            if event == "tick" or not self.lamp.strike.is_lit:
                self.watch.look()
            self._fire(event)
            if ends and self.lamp.no_report:
                self.lamp.no_report = False
                self.lamp.tell_overdue()
            if not self._raised:
                break
            event, self._raised = self._raised, ""
        if self.watch.news and not self.lit:
            self.watch.tell_news(self.findings.known + " " if self.machine.state == "notice" else "")
        if ticks and not self.trays.is_idle():
            self.trays.look(_quiet_ms(self), _is_dark(self))
        if ticks and self.lamp.sheet_time.is_in and self.machine.state not in LIT:
            _tell_sheet_time(self)
        return self.io

    def _fire(self, event: str) -> None:
        machine = self.machine
        row = machine.row(event)
        if row == NO_ROW:
            return
        if event not in _QUIET and machine.state != "counting":
            self.io.message = ""
            self.lamp.press_begins()
        then = machine.then(row)
        if then in LIT:
            machine.does(row)  # refuses nothing. To catch refusals takes a board up to 0.2 ms
        else:
            refused = machine.tries(row)
            if refused:
                self.io.refuse(refused)
                return
        if then:
            machine.moves(then)
        if not self.lamp.strike.is_lit:
            _set_safelight(self)  # what lights the lamp has done it before
        if event != "tick":
            self.io.picture()

    def next_deadline(self) -> int | None:
        """When `handle("tick", …)` is wanted next, in ms that wrap; None if not before another input."""
        due = _due_ms(self) if self.trays.is_idle() else _due_with_trays_ms(self)
        if not self.lamp.sheet_time.is_in or self.machine.state in LIT:
            return due
        return _due_with_sheet_ms(self, due)

    def is_about_light(self, event: str) -> bool:
        """True in a run or under light, if this key would light the lamp now or put it out. Such an input
        writes no record, and is short work."""
        if self.machine.state not in _RUN_STATES and not self.lit:
            return False
        row = self.machine.row("expose" if event == "pedal" else event)
        return row != NO_ROW and self.machine.then(row) in LIT

    # --- what it is doing

    @property
    def state(self) -> str:
        return self.machine.state

    @property
    def message(self) -> str:
        return self.io.message

    @property
    def bench(self) -> Bench:
        return self.work.bench

    @property
    def identity(self) -> str:
        """Tells this box from all others."""
        return self.ledger.identity

    @identity.setter
    def identity(self, name: str) -> None:
        self.ledger.identity = name

    @property
    def lit(self) -> bool:
        """True while the lamp is lit or may be, or is about to be. The wire asks this before it writes."""
        return self.machine.state in LIT

    @property
    def in_run(self) -> bool:
        """True while a stage of a run is on the screen, lit or dark, or the viewing light covers it."""
        state = self.machine.state
        if state == "stopping" or state == "viewing":
            return not self.lamp.strike.viewing or self.machine.before in _RUN_STATES
        return (self.machine.before if state == "arming" else state) in _RUN_STATES

    summary = summary_of

    # --- power

    def _read_kept(self) -> None:
        # Imported here, so that a board can let go of it once all is read.
        from timing_core.machine.recovery import Recovery

        recovery = Recovery(self.store, self._platform, self.journal, self.ledger, self.findings)
        over = recovery.load(self.work, self.run, self.io.amount)
        if over:
            self.io.message = ""
            self.run.at = min(self.run.at, max(0, len(self.run.stages) - 1))
            self.exposing.close()
            self.findings.notes.append(self.io.message or over)

    def was_cut_off(self) -> bool:
        return self.run.is_kept

    def wake(self) -> None:
        self.io.put("dark")
        self.watch.start()
        self.clock.start(self.io.now_ms)
        self.lamp.settle()  # a press may have been meant for what the reset cut off
        self.panel.tell_levels()
        self.panel.show("print")
        self.io.message = self.findings.told() or (LOST_SHEETS if self.trays.lost else "")
        if self.findings.notes:
            self.panel.kept.keep_settings()  # they may have had an earlier form

    def wake_cut_off(self) -> None:
        # What it says has no room for more than one line of what `wake` may find.
        told = self.findings.told_of_run(self.run.can_go_on)
        self.wake()
        self.lamp.paper_out = True
        self.exposing.from_registers = bool(self.run.stages) and self.io.amount > 0
        self.io.message = told

    def read_up(self) -> bool:
        """Do what the start can leave until the panel is drawn and nothing is due: note what the board's
        registers told, and look through what is kept, which may take seconds. True if there is something to
        say: then give the box a "wire"."""
        self.io.undisturbed(self.exposing.note_registers)
        lines = self.findings.find_damage(self.shelves)
        if not lines:
            return False
        damage = self.findings.damage
        if self.machine.state == "browse" and not self.io.message:
            self.io.message = lines[0] + (" And more: run lampblack doctor." if damage or lines[1:] else "")
        damage += lines
        self.asked.changed = True
        return True

    def damage_lines(self) -> list:
        return self.findings.damage_lines(self.shelves)

    # --- between the parts

    def too_early_here(self) -> bool:
        return self.panel.screen.begins != "" and self.lamp.is_settling()

    def begins(self) -> str:
        return self.panel.screen.begins

    def plan(self) -> list:
        """The stages that EXPOSE would begin on this screen; empty if there are none, or they cannot be
        given."""
        kind = self.panel.screen.begins
        return self.work.plan(kind) if kind else []

    def _refusal(self):
        screen = self.panel.screen
        return screen.cannot_begin(self.panel) or self.work.refusal(screen.begins) if screen.begins else None

    def cannot_begin(self) -> bool:
        return self._refusal() is not None

    def tell_why(self) -> None:
        refusal = self._refusal()
        if refusal is not None:
            raise refusal

    def another_is_kept(self) -> bool:
        """EXPOSE would begin another run, and the one that is kept has had light."""
        return self.run.is_kept and self.run.has_had_light and self.panel.screen.begins != ""

    def begin(self) -> None:
        self.tell_why()
        self.panel.kept.keep_all()
        self.panel.come_home()
        self.exposing.begin(self.panel.screen.begins)
        self.panel.tell_levels()

    def take_and_begin(self) -> None:
        self.panel.take()
        if self._refusal() is not None:
            self.panel.open()  # nothing begins, so that a value is open as before
        self.io.message = ""  # it would cover what hands need
        self.begin()

    def end_and_begin(self) -> None:
        self.tell_why()
        self.exposing.end(aloud=False)
        self.begin()

    def can_go_on(self) -> bool:
        return self.run.can_go_on

    def can_go_on_held(self) -> bool:
        return self.run.can_go_on and self.run.is_in_mid_light

    def row_goes_on_held(self) -> bool:
        return self.panel.row_goes_on() and self.run.is_in_mid_light

    def go_on(self) -> None:
        """Return to the stage at which the run was left, without light."""
        if self.run.test is not None:
            self.work.test = self.run.test  # another may have been looked at since
        self.panel.show(self.run.kind)
        self.exposing.go_on()
        self.panel.tell_levels()

    def leave_run(self) -> None:
        """Leave with the run kept. The first thing offered is to go on with it."""
        self.lamp.disarm()
        self.lamp.keep_dark(False)
        self.run.dims = False
        self.panel.tell_levels()
        self.panel.list_screens("go on" if self.run.can_go_on else "end")

    def end_run(self) -> None:
        self.exposing.end()
        self.panel.list_screens("screen", "print")

    def end_strip(self) -> None:
        self.exposing.end_strip()
        self.panel.choose_from_middle()

    def view(self) -> None:
        state = self.machine.state
        in_run = (self.machine.before if state == "arming" else state) in _RUN_STATES
        self.lamp.view(in_run and self.run.has_paper)

    def report_for_lamp(self) -> None:
        """The run must go on even if the lamp's report never comes."""
        self.lamp.no_report = True
        self._raised = "lamp_end"
        self.io.amount = self.lamp.strike.lit_ms()


def _take_line(box: Box, line: bytes) -> str:
    """Answer a line from the wire. Returns the input that follows."""
    box.io.amount = 0
    reply = box.link.take(line)
    if reply:
        box.io.put("send", reply)
    return "wire"


def _tell_sheet_time(box: Box) -> None:
    if box.lamp.sheet_time.tells(box.io.now_ms, box.bench.get("safelight_safe_s")):
        box.io.refuse(TOLD)


def _on_print(box: Box) -> bool:
    return box.panel.screen.begins == "print"


def _on_strip(box: Box) -> bool:
    return box.panel.screen.begins == "strip"


def _on_test(box: Box) -> bool:
    return box.panel.screen.begins == "test"


def _take_first(box: Box) -> None:
    box.panel.take()
    box.io.message = ""  # it would cover the question


def _give_prompt(box: Box) -> None:
    box.watch.open()
    box.io.put("handover")


def _end_test(box: Box) -> None:
    test = box.run.test
    box.guided.end_test()
    box.panel.tell_levels()
    box.panel.show("test")
    box.panel.screen.ended(box.panel, test)


def _take_beside(box: Box, event: str) -> Exchange:
    """What is no press of a control, and is taken in every state."""
    if event == "wire":
        then = box.asked.settle()
        if then:
            box._fire(then)
        if then is not None:
            box.io.picture()
    elif event != "reading":
        box.lamp.hold_back(event == "back_down")
    elif box.lamp.meters:
        strike = box.lamp.strike
        light = 0 if not strike.is_lit else 1 if strike.viewing else 2
        box.panel.screen.reading(box.panel, box.io.amount, light)
    return box.io


def _set_safelight(box: Box) -> None:
    """In the dark: the light cell reads while its screen is open, and the safelight is out then."""
    meters = box.panel.screen.meters if box.machine.state != "away" else 0
    if meters != box.lamp.meters:
        box.lamp.meters = meters
        box.io.put("cell", meters)
    if box.machine.state != "off":
        box.lamp.set_safelight()


def _due_ms(box: Box) -> int | None:
    """When a tick is wanted, but for the trays."""
    state = box.machine.state
    if state == "counting":
        return box.acceptance.counting.due_ms()
    if state == "delaying":
        return box.watch.due_ms(False, box.delay.due_ms())
    if state == "between" or state == "waiting":
        return box.watch.due_ms(False, box.guided.due_ms())
    return box.lamp.due_ms(box.exposing.cues, _is_dark(box), state == "arming")


def _due_with_trays_ms(box: Box) -> int | None:
    return box.trays.due_ms(_due_ms(box), _quiet_ms(box), _is_dark(box))


def _due_with_sheet_ms(box: Box, due):
    return box.lamp.sheet_time.due_ms(box.io.now_ms, box.bench.get("safelight_safe_s"), due)


def _quiet_ms(box: Box) -> int:
    """For how long there is room for a tone: until a sound comes by itself. Under a stage's light it has to
    take the place of a tick, by the next of which it is over: any other time is too late for it."""
    state = box.machine.state
    if state == "between":
        return box.guided.is_between()
    if state == "delaying" or state == "arming" or (state == "exposing" and not box.io.ticked):
        return 0
    return box.lamp.quiet_ms(box.exposing.cues)


def _is_dark(box: Box) -> bool:
    """The box is at work and no light is on or about to come: records may be written, and the settling time
    has an end to tell of."""
    return box.machine.state not in LIT and box.machine.has("tick")


# What the names of the table call: the number of the part (0 the box, 1 exposing, 2 the panel, 3 the lamp, 4
# the watch, 5 the acceptance test, 6 the start delay, 7 what is answered, 8 a guided test), and its
# function.
WHEN = {
    "was_cut_off": (0, Box.was_cut_off),
    "is_forsaken": (5, Acceptance.is_forsaken),
    "too_early_here": (0, Box.too_early_here),
    "cannot_begin": (0, Box.cannot_begin),
    "another_is_kept": (0, Box.another_is_kept),
    "on_print": (0, _on_print),
    "on_strip": (0, _on_strip),
    "on_test": (0, _on_test),
    "is_pulsing": (8, GuidedRun.is_pulsing),
    "holds_after": (8, GuidedRun.holds_after),
    "more_follow": (8, GuidedRun.more_follow),
    "was_held": (8, GuidedRun.was_held),
    "is_between": (8, GuidedRun.is_between),
    "is_wait": (8, GuidedRun.is_wait),
    "is_unbegun": (8, GuidedRun.is_unbegun),
    "wait_follows": (8, GuidedRun.wait_follows),
    "test_is_whole": (8, GuidedRun.test_is_whole),
    "row_goes_on_held": (0, Box.row_goes_on_held),
    "can_go_on": (0, Box.can_go_on),
    "can_go_on_held": (0, Box.can_go_on_held),
    "is_settling": (3, Lamp.is_settling),
    "settled": (3, Lamp.settled),
    "paper_at_risk": (3, Lamp.paper_at_risk),
    "was_viewing": (3, Lamp.was_viewing),
    "is_giving": (3, Lamp.is_giving),
    "overdue": (3, Lamp.overdue),
    "cannot_view": (4, Watch.forbids_long),
    "closed_to_view": (3, Lamp.closed_to_view),
    "is_faulty": (4, Watch.forbids),
    "has_news": (4, Watch.has_news),
    "unseen": (4, Watch.was_unseen),
    "must_arm": (4, Watch.must_arm),
    "is_closed": (4, Watch.is_closed),
    "contact_fails": (4, Watch.contact_fails),
    "cannot_give": (1, Exposing.cannot_give),
    "has_message": (7, Exchange.has_message),
    "has_delay": (6, StartDelay.is_wanted),
    "delay_runs": (6, StartDelay.runs),
    "stage_is_fit": (1, Exposing.stage_is_fit),
    "too_short": (1, Exposing.too_short),
    "rest_too_short": (1, Exposing.rest_too_short),
    "too_late_to_hold": (1, Exposing.too_late_to_hold),
    "print_is_whole": (1, Exposing.print_is_whole),
    "print_is_other": (1, Exposing.print_is_other),
    "strip_is_whole": (1, Exposing.strip_is_whole),
    "strip_is_other": (1, Exposing.strip_is_other),
    "is_whole": (1, Exposing.is_whole),
    "in_screen": (2, Panel.in_screen),
    "can_move": (2, Panel.can_move),
    "row_goes_on": (2, Panel.row_goes_on),
    "row_chooses": (2, Panel.row_chooses),
    "row_acts": (2, Panel.row_acts),
    "row_ends": (2, Panel.row_ends),
    "row_turns": (2, Panel.row_turns),
    "row_leads_on": (2, Panel.row_leads_on),
    "takes_first": (2, takes_first),
    "takes_second": (2, takes_second),
}
DO = {
    "wake": (0, Box.wake),
    "wake_cut_off": (0, Box.wake_cut_off),
    "tell_why": (0, Box.tell_why),
    "begin": (0, Box.begin),
    "take_and_begin": (0, Box.take_and_begin),
    "end_and_begin": (0, Box.end_and_begin),
    "go_on": (0, Box.go_on),
    "leave_run": (0, Box.leave_run),
    "end_run": (0, Box.end_run),
    "end_strip": (0, Box.end_strip),
    "end_test": (0, _end_test),
    "hold_after": (8, GuidedRun.hold_after),
    "begin_between": (8, GuidedRun.begin_between),
    "begin_wait": (8, GuidedRun.begin_wait),
    "count_wait": (8, GuidedRun.count_wait),
    "pause_wait": (8, GuidedRun.pause_wait),
    "next_wait": (8, GuidedRun.next_wait),
    "end_wait": (8, GuidedRun.end_wait),
    "view": (0, Box.view),
    "report_for_lamp": (0, Box.report_for_lamp),
    "give_prompt": (0, _give_prompt),
    "count": (5, Acceptance.begin),
    "end_count": (5, Acceptance.end),
    "refuse_early": (3, Lamp.refuse_early),
    "listen": (3, Lamp.listen),
    "warn_paper": (3, Lamp.warn_paper),
    "view_ran_out": (3, Lamp.view_ran_out),
    "put_out": (3, Lamp.put_out),
    "put_out_to_hold": (3, Lamp.put_out_to_hold),
    "put_out_unseen": (3, Lamp.put_out),
    "arm_to_view": (3, Lamp.arm_to_view),
    "disarm": (3, Lamp.disarm),
    "tell_fault": (4, Watch.tell),
    "delay": (6, StartDelay.begin),
    "count_delay": (6, StartDelay.count),
    "end_delay": (3, Lamp.settle),
    "arm": (1, Exposing.arm),
    "put_out_overdue": (3, Lamp.put_out_overdue),
    "refresh": (3, Lamp.refresh),
    "sound_cues": (1, Exposing.sound_cues),
    "fitted": (1, Exposing.fitted),
    "refuse_short": (1, refuse_short_stage),
    "give": (1, Exposing.give),
    "move_stage": (1, Exposing.move_stage),
    "leave_rest": (1, Exposing.leave_rest),
    "end_print": (1, Exposing.end_print),
    "end_other_print": (1, Exposing.end_other_print),
    "end_other_strip": (1, Exposing.end_other_strip),
    "end_stage": (1, Exposing.end_stage),
    "cut_short": (1, Exposing.cut_short),
    "hold": (1, Exposing.hold),
    "leave_screen": (2, Panel.leave_screen),
    "move": (2, Panel.move),
    "act": (2, Panel.act),
    "open": (2, Panel.open),
    "turn": (2, Panel.turn),
    "take": (2, Panel.take),
    "take_first": (0, _take_first),
    "take_on": (2, Panel.take_on),
    "leave_value": (2, Panel.leave_value),
    "move_place": (2, Panel.move_place),
    "take_place": (2, Panel.take_place),
    "leave_choice": (2, Panel.leave_choice),
    "take_first_spot": (2, take_spot),
    "take_second_spot": (2, take_spot),
}
ABOUT = {
    Box.begin: Box.begins,
    Exposing.give: Exposing.left_text,
    Exposing.arm: Exposing.left_text,
    StartDelay.begin: StartDelay.about,
    Exposing.fitted: what_is_fitted,
    Exposing.move_stage: stage_of,
    Panel.act: Panel.deed,
    Panel.leave_screen: back_leads_to,
}
