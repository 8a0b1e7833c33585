"""The box: a state machine that turns inputs into outputs, without any I/O.

`handle(event, now_ms, value)` takes one input and returns the outputs it causes; `next_deadline()` says
when it wants a "tick". `transitions` says what happens in which state; the methods named there are below,
in the order of the table. Time is an argument in ms that wraps at 2**30.

Inputs: "expose", "pedal" (the same), "lamp", "back", "dial" (value: detents, right is positive), "press"
(of the dial), "lamp_end" (value: ms the lamp was lit), "tick", "power_up" (value: ms of light that the
stage cut off by a reset is known to have got; 0: power was lost; -1: reset, and nothing is known),
"line" (value: one line from the wire, as bytes), "wire" (`link` was given a line outside of `handle`; a
board does so because answering may take long and a key must not wait meanwhile). Some input has to come at
least once a day, if only a "tick", since time is counted from input to input.

Outputs, in `Outputs` as kind and value: "light" (ms; the only way to light the lamp), "dark", "safelight"
(1 on, 0 off), "sound" (a name in `sounds`), "volume" (0..5) and "level" (display brightness, 1..5) when
they change, "screen" (the picture changed), "send" (bytes for the wire), "handover" (leave to the prompt).

Law: while the lamp is lit nothing here allocates or writes a record, and nothing here has to be called for
the light to end. Code that performs "dark" must hand in "lamp_end" before any other input.
"""

from timing_core.canonical import digest_of_text, encode
from timing_core.light.bench import Bench, is_int
from timing_core.light.plan import (
    FIT,
    Stage,
    compile_print,
    filter_text,
    is_too_short,
    lamp_ms,
    light_of,
    refuse_short,
    stage_name,
)
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import seconds_down, seconds_text, stops_text
from timing_core.light.strip import Strip
from timing_core.machine.clock import Clock
from timing_core.machine.transitions import LIT
from timing_core.panel import rows as sheets
from timing_core.panel.undo import Change, Undo, cut, mend
from timing_core.platform import Kit, const
from timing_core.records.ledger import FORM, Ledger, not_kept, stage_record
from timing_core.records.shelf import Shelf
from timing_core.records.store import LOST, Store
from timing_core.refusal import Refusal
from timing_core.ticks import later, since
from timing_core.wire.methods import Link

_OVERDUE_MS = const(250)
"""A lamp that has not reported its end this long after it was due is put out again. If it does not report
that either, it is taken to be out."""

HOLD_MARGIN_MS = 10
"""The most that is allowed for between the press and the lamp's going out. Measured on the emulated board:
4.6 ms at the most (docs/measurements.md)."""

TOO_EARLY = "Too soon: this press may be meant for what has just ended. Press when wait is gone."
"""Said of a press that may have been meant for what has just ended."""

_DIGEST = const(16)
"""How many hex digits of the digest the journal has of its run's map."""

_RUN_STATES = const(("ready", "exposing", "held"))

_NEVER_MS = const(1 << 29)
_TICK_MS = const(1000)


class Outputs:
    """The outputs of one `handle`: `count` entries of `kind` and `value`. Reused; never grows."""

    ROOM = 32
    MOST_SOUNDS = 20
    """If more sounds are due in one call, the rest wait for the next, so that ROOM is never used up."""

    def __init__(self) -> None:
        self.kind = [""] * self.ROOM
        self.value: list = [0] * self.ROOM
        self.count = 0

    def put(self, kind: str, value=0) -> None:
        self.kind[self.count] = kind  # IndexError past ROOM, so that no output is lost in silence
        self.value[self.count] = value
        self.count += 1


def _no_lines() -> list:
    return []


def _no_board() -> dict:
    return {}


def _at_once(act):
    return act()


def _number(plain: dict, key: str) -> int:
    """A number from a record; 0 if there is none."""
    value = plain.get(key)
    return value if isinstance(value, int) and is_int(value) else 0


def _card_damage(name: str) -> str:
    return "Card %s is damaged. Push it again." % name


class Box:
    """One box. `panel_ms` is how often a lit screen wants a new picture; 0 means no panel."""

    def __init__(self, store: Store, kit: Kit, panel_ms: int = 100) -> None:
        self.kit = kit
        self.store = store
        self.panel_ms = panel_ms
        self.bench = Bench()
        self.shelf = Shelf(store, kit)
        self.ledger = Ledger(store, kit)
        self.link = Link(self, kit)
        # Set from outside by what the box runs on:
        self.crash_lines = _no_lines  # a reader of the crash log, if one is kept
        self.health = _no_board  # tells about the board
        self.identity = ""  # tells this box from all others
        self.undisturbed = _at_once  # calls a function with keys kept out, where a key could cut in
        self.clock = Clock()
        self.undo = Undo()
        self.damage: list = []
        self.out = Outputs()
        self.state = "off"
        self.message = ""
        self.now_ms = 0
        self.value = 0
        self._inputs = 0
        self.work = PrintingMap.new(self.bench.get("new_base_ms"), "", 0)
        self.strip = Strip()
        # Where the cursor is
        self.sheet = "sheets"
        self.cursor = 0
        self.place = 0
        self._strip_gave: list = []
        self.prints = 0
        self.pick = 0
        self.picking = ""
        self._before_change: list | None = None
        self._card_change: tuple | None = None
        self._turned_ms = 0
        # The run under way or kept. `stages` is empty if there is none, or if it cannot go on
        self.stages: list[Stage] = []
        self.run_number = 0
        self.at = 0
        self.is_strip = False
        self.given_ms = 0
        self.strikes = 0
        self._at_least = False
        self._done: list = []
        self._done_text = ""
        self._run_text = b""
        self._why_not = ""
        self._plan: tuple | None = None
        # The strike under way
        self._struck_ms = 0
        self._lamp_ms = 0
        self._axis_ms = 0
        self._stopped_ms = 0
        self._cue = 0
        self._next_tick_ms = _TICK_MS
        self._next_picture_ms = 0
        self._picture_step_ms = 0
        self._due_ms: int | None = None
        self._before = "browse"
        self._viewing = False
        self._silent = False
        self._raised = ""
        self._deaf = False
        self._deaf_from_ms = 0
        self._told_by_registers = False
        self._led = False
        self._said_full = False
        self.is_gone_on = False
        self._run_gives: list = []
        self._cut_text = ""
        self._notes: list = []
        self._exposed = False
        self._warned = False
        self._had_warned = False
        self._wired = False
        self._leaving = False
        self._told_time: tuple | None = None
        self._safelight = -1
        self._level = -1
        self._volume = -1
        self._cut_off: dict | None = None
        self._cut_at = ""
        self._table = self._bind()
        self._settles = [state for state in self._table if "tick" in self._table[state] and state not in LIT]

    # --- the machine

    def _bind(self) -> dict:
        """The table with its names looked up: state -> event -> rows of (when, do, then, says, subject).

        `then` is empty where the state stays.
        """
        # Imported here, so that a board can let go of the text once it is bound.
        from timing_core.machine.transitions import STATES, transitions

        # Words, methods and rows that are alike are shared, to spare memory.
        words: dict = {}
        methods: dict = {"": None}
        rows: dict = {}

        def shared(word: str) -> str:
            return words.setdefault(word, word)

        def method(name: str):
            if name not in methods:
                methods[name] = getattr(Box, "_" + name)  # bound methods would take 16 bytes each
            return methods[name]

        found: dict = {shared(name): {} for name, _ in STATES}
        for state, event, when, do, then, says in transitions():
            then = "" if then == state else then
            alike = (when, do, then, says)
            if alike not in rows:
                about = shared(do) if "@" in says else ""
                rows[alike] = (method(when), method(do), shared(then), shared(says), about)
            found[state].setdefault(shared(event), []).append(rows[alike])
        return found

    def handle(self, event: str, now_ms: int, value=0) -> Outputs:
        """Take one input at `now_ms` (0 .. 2**30 - 1, wrapping) and return what it causes."""
        out = self.out
        out.count = 0
        self.now_ms = now_ms
        self._inputs = (self._inputs + 1) & 0xFFFF
        if event == "line":
            reply = self.link.take(value)
            if reply:
                out.put("send", reply)
            event = "wire"
        if event == "wire":
            self._settle_wire()
            return out
        if event == "pedal":
            event = "expose"
        self.value = value
        if self.state not in LIT or event == "lamp_end":
            self.clock.count(now_ms)
        while event:
            if event == "lamp_end" and self.state in LIT:
                # Whatever was reported, the light must be out before the box takes it to be out.
                out.put("dark")
                self._settle()
                if not self._was_viewing():
                    self._account(self.value)
            self._look_up(event)
            if event == "lamp_end" and self._silent:
                self._silent = False
                self._tell_overdue()
            event = self._raised
            self._raised = ""
        self._plan_due()
        return out

    def _look_up(self, event: str) -> None:
        rows = self._table[self.state].get(event)
        if rows is not None:
            for when, do, then, _, _ in rows:
                if when is None or when(self):
                    self._fire(event, do, then)
                    return

    def _fire(self, event: str, do, then: str) -> None:
        quiet = event in ("tick", "lamp_end", "handover")
        if not quiet:
            self.message = ""
            self._had_warned = self._warned
            self._warned = False
        try:
            if do is not None:
                do(self)
        except Refusal as refusal:
            self.say(refusal.line)
            self.out.put("sound", "refuse")
            return
        if then:
            self.state = self._before if then == "before" else then
        self._set_safelight()
        if event != "tick":
            self._picture()

    def read_up(self) -> bool:
        """Do what the start can leave until the panel is drawn and nothing is due: note what the board's
        registers told, and look through what is kept, which may take seconds. True if there is something to
        say: then give the box a "wire"."""
        self.undisturbed(self._note_registers)
        self.shelf.names()
        self.ledger.check()
        lines = [_card_damage(name) for name in self.shelf.damaged]
        lines += [
            "Ledger record %d is damaged; its number is not used again." % n for n in self.ledger.damaged
        ]
        if not lines:
            return False
        if self.state == "browse" and not self.message:
            self.message = lines[0] + (" And more: run lampblack doctor." if self.damage or lines[1:] else "")
        self.damage += lines
        self._wired = True
        return True

    def _note_registers(self) -> None:
        """Put into the journal what is known of a run from registers: they do not survive a pulled plug."""
        if self._told_by_registers and self.stages and not self.lit:
            self._write_journal()

    def next_deadline(self) -> int | None:
        """When `handle("tick", …)` is wanted next, in ms that wrap; None if not before another input."""
        return self._due_ms

    def _plan_due(self) -> None:
        if self.state == "exposing":
            due = self._lamp_ms + _OVERDUE_MS
            due = min(due, self._next_tick_ms + self._axis_ms, self._cue_at() + self._axis_ms)
            if self.panel_ms:
                due = min(due, self._next_picture_ms)
            # With a negative lag a cue may be due before the strike
            self._due_ms = later(self._struck_ms, max(0, due))
        elif self.state == "viewing":
            due = self._lamp_ms + _OVERDUE_MS
            if self.panel_ms:
                due = min(due, self._next_picture_ms)
            self._due_ms = later(self._struck_ms, due)
        elif self.state == "stopping":
            self._due_ms = later(self._stopped_ms, _OVERDUE_MS)
        elif self._deaf and self.state in self._settles:
            self._due_ms = later(self._deaf_from_ms, self.bench.get("settle_ms"))
        else:
            self._due_ms = None

    def _overdue(self) -> bool:
        if self.state == "stopping":
            return since(self.now_ms, self._stopped_ms) >= _OVERDUE_MS
        return since(self.now_ms, self._struck_ms) >= self._lamp_ms + _OVERDUE_MS

    def _picture(self) -> None:
        if self.panel_ms:
            self.out.put("screen")

    def say(self, text: str) -> None:
        """Show `text` in place of the rows until a control is used."""
        self.message = text
        self._picture()

    # --- the settling time

    def _settle(self) -> None:
        """From now on, and for the settling time, no press lights the lamp."""
        self._deaf = self.bench.get("settle_ms") > 0
        self._deaf_from_ms = self.now_ms

    def _settled(self) -> bool:
        return self._deaf and since(self.now_ms, self._deaf_from_ms) >= self.bench.get("settle_ms")

    def _settling(self) -> bool:
        return self._deaf and not self._settled()

    def _too_early_here(self) -> bool:
        return self.sheet in ("print", "strip") and self._settling()

    def _refuse_early(self) -> None:
        self._warned = self._had_warned
        self.say(TOO_EARLY)
        self.out.put("sound", "refuse")

    def _listen(self) -> None:
        self._deaf = False
        if self.message == TOO_EARLY:
            self.message = ""
        self._picture()

    def says(self, control: str) -> str:
        """The words for what `control` ("expose", "lamp", "back", "dial", "press") will do now; "" for
        nothing."""
        rows = self._table[self.state].get(control)
        if rows is not None:
            for when, _, _, says, do in rows:
                if when is None or when(self):
                    return says.replace("@", self._subject(do)) if do else says
        return ""

    def promises(self, state: str) -> list:
        """All that `says` may say of any control in `state`, whatever it is about left open."""
        return [row[3] for rows in self._table[state].values() for row in rows if row[3]]

    def _subject(self, do: str) -> str:
        if do == "strike":
            return seconds_text(self.left_shown_ms())
        if do == "fitted":
            return filter_text(self.stages[self.at].filter)
        if do == "begin_print" or do == "begin_strip":
            return filter_text(self.plan()[0].filter)
        return self.row().deed

    @property
    def in_run(self) -> bool:
        """True while a stage of a run is on the screen, lit or dark, or the viewing light covers it."""
        if self.state == "stopping" or self.state == "viewing":
            return not self._viewing or self._before in _RUN_STATES
        return self.state in _RUN_STATES

    @property
    def viewing(self) -> bool:
        """True while the lamp that is lit is the viewing light."""
        return self._viewing

    # --- light and safelight

    @property
    def lit(self) -> bool:
        """True while the lamp is lit or may be. The wire asks this before it writes."""
        return self.state in LIT

    @property
    def safelight(self) -> bool:
        return self._safelight == 1

    def _set_safelight(self) -> None:
        viewing = self.state == "viewing" or (self.state == "stopping" and self._was_viewing())
        exposing = self.state == "exposing" or (self.state == "stopping" and not viewing)
        on = 0 if viewing or (exposing and self.bench.get("safelight") == "exposing") else 1
        if on != self._safelight and self.state != "off":
            self._safelight = on
            self.out.put("safelight", on)

    def _light(self, ms: int, state: str) -> None:
        """The one place that lights the lamp: always with its end, safelight first."""
        self.state = state
        self._set_safelight()
        self.out.put("light", ms)
        self._viewing = state == "viewing"
        self._struck_ms = self.now_ms
        self._lamp_ms = ms
        self._picture_step_ms = max(self.panel_ms, 1000) if self._viewing else self.panel_ms
        self._next_picture_ms = self._picture_step_ms

    def _put_out_overdue(self) -> None:
        """Dark comes first: what the light was for is put on record in a later call."""
        self._silent = True
        self._put_out()
        self.out.put("sound", "hold")
        self._tell_overdue()

    def _tell_overdue(self) -> None:
        self.say("The lamp did not report its end: it was put out. Check it before you go on.")

    def _report_for_lamp(self) -> None:
        """The run must go on even if the lamp's report never comes."""
        self._silent = True
        self._raised = "lamp_end"
        self.value = since(self._stopped_ms, self._struck_ms)

    def _put_out(self) -> None:
        self.out.put("dark")
        self._stopped_ms = self.now_ms

    # --- power

    def _was_cut_off(self) -> bool:
        self._load()
        return self.run_is_kept

    def _load(self) -> None:
        """Read bench, map and journal. What is damaged is replaced by what is whole, and the printer is
        told."""
        bench, lost = self._read("bench")
        if bench is not None:
            converted = self.bench.take_kept(bench)
            if converted:
                self._notes.append(converted)
        if lost:
            self.damage.append(
                "The settings are damaged: %s in force, lag %d ms."
                % ("defaults are" if lost == LOST else "older ones are", self.bench.get("lag_ms"))
            )
        self.new_work()
        journal, lost = self._read("journal")
        if lost:
            self.damage.append("The note of a run is damaged: a sheet may have had light.")
        if self.bench.get("power_up") == "as left" or journal:
            work, lost = self._read("work")
            try:
                self.take_work(PrintingMap.from_dict(work))
            except Refusal:
                self.new_work()
                lost = LOST if work is not None else lost
            if lost:
                self.damage.append(
                    "The map is damaged: %s is here." % ("a new print" if lost == LOST else "an older one")
                )
        if journal is not None and is_int(journal.get("stage")):
            try:
                self._find_cut_off(journal)
            except (ValueError, TypeError, KeyError, IndexError):
                # Whole, and of no form that there ever was.
                self._clear_run()
                self.damage.append("The note of a run is damaged: a sheet may have had light.")

    def _find_cut_off(self, journal: dict) -> None:
        """Make the kept run from its journal. A run that is in the ledger already is over."""
        number = _number(journal, "n")
        if number and self.ledger.has(number):
            self._close_journal()
            return
        cause = "The box was reset." if self.value else "Power was lost."
        self._cut_off = journal
        self.is_strip = journal.get("kind") == "strip"
        self.at = journal["stage"]
        self.run_number = number or self.ledger.last() + 1
        self._done_text = str(journal.get("done", ""))
        self._done = [[int(word) for word in stage.split()] for stage in self._done_text.split(";") if stage]
        old = "form" not in journal
        for stage in self._done:
            if len(stage) != (3 if old else 5) or not 0 <= stage[0] < _number(journal, "of"):
                raise ValueError("no such stage")
        if old:
            # Form 1 had no lag in it, and its run was of the map at work.
            for stage in self._done:
                stage += [self.bench.get("lag_ms"), 0]
            self._done_text = "".join(["%d %d %d %d %d;" % tuple(stage) for stage in self._done])
            self._run_text = self._text_of_run(self.work, None)
            if self.is_strip:
                self._why_not = "its strip is not kept"
        else:
            text, damage = self.store.look("run")
            if text is None or digest_of_text(self.kit, text)[:_DIGEST] != journal.get("map"):
                self._why_not = "its map is not kept"
                if damage:
                    self._why_not = "its map is damaged"
                    self.damage.append("The map of the run that was cut off is damaged.")
            else:
                self._run_text = text
        if self._run_text and not self._why_not:
            self._compile_run(journal.get("of"))
        if journal.get("over"):
            self._end_cut_off_run("The run before the reset is in the ledger now.")
            return
        name = journal.get("name")
        self._cut_text = "Power was lost before: %s." % name
        if self.value:
            self._cut_text = "The box was reset before: %s." % name
        if journal.get("light"):
            self.given_ms = max(self.value, _number(journal, "given_ms"))
            self._cut_at = str(journal.get("name"))
            self._at_least = True
            self.strikes = 1 if self.given_ms else 0
            self._cut_text = "%s %s may be partly exposed." % (cause, name)
            if self.given_ms:
                self._cut_text = "%s %s had %s or more." % (cause, name, seconds_down(self.given_ms))
        if self.stages and 0 < self.stages[self.at].light_ms <= self.given_ms:
            # All of its light is known to have been given.
            self.given_ms = self.stages[self.at].light_ms
            self._at_least = False
            self._note_stage()
            self.at += 1
            self.given_ms = self.strikes = 0
            self._cut_text = "%s %s had all of its light." % (cause, name)
            if self.at == len(self.stages):
                self._cut_at = ""
                self._end_cut_off_run("The run before the reset was whole. It is in the ledger.")
        if self._why_not:
            self._cut_text += " It cannot go on: %s." % self._why_not

    def _compile_run(self, count) -> None:
        """Compile the run that `_run_text` describes; no stages if they cannot be given as they were."""
        try:
            run = self._run()
            map = PrintingMap.from_dict(run["map"])
            # Its windows are where they were when it began, whatever the lead-in is now.
            bench = Bench()
            bench.set_all(self.bench.to_dict())
            bench.set("lead_ms", run["lead_ms"])
            if run["strip"] is None:
                stages = compile_print(map, bench)
            else:
                strip = Strip.from_dict(run["strip"])
                stages = strip.compile(map, self.bench)
                self._run_gives = strip.gives(map)
                self.strip = strip
                strip.settle(self.work)  # the map may be another by now
        except Refusal:
            self._why_not = "the bench has changed"
            return
        if len(stages) != count or not 0 <= self.at < count:
            self._why_not = "its stages have changed"
            return
        self.stages = stages

    def _end_cut_off_run(self, note: str) -> None:
        """The cut came between a run's last light and its record, so only the record is left to be
        written."""
        self.message = ""
        self.at = min(self.at, max(0, len(self.stages) - 1))
        self._close_run()
        self._notes.append(self.message or note)

    def _read(self, key: str) -> tuple:
        """A record as a dict, None if there is none or it is none, and what is wrong with it: see
        `Store.damage`."""
        data, damage = self.store.look(key)
        if data is None:
            return None, damage
        try:
            plain = self.kit.json_loads(data.decode())
        except ValueError:
            plain = None
        return (plain, damage) if isinstance(plain, dict) else (None, LOST)

    def take_work(self, map: PrintingMap) -> None:
        """Put `map` to work in place of the present one."""
        self.work = map
        self.prints = 0
        self._strip_gave = []
        self.strip.settle(map)

    def new_work(self) -> None:
        """Put a new print to work, as the bench says a new print begins."""
        bench = self.bench
        self.take_work(
            PrintingMap.new(bench.get("new_base_ms"), bench.get("new_filter"), bench.get("new_dry_down_pm"))
        )

    def _wake(self) -> None:
        self.out.put("dark")
        self.clock.start(self.now_ms)
        self._settle()  # a press may have been meant for what the reset cut off
        self._tell_levels()
        self.sheet = "print"
        self.message = self._told_at_start()
        if self._notes:
            self._keep("bench", encode(self.bench.kept()))  # it may have had an earlier form

    def _told_at_start(self) -> str:
        """The first of the things that are damaged, converted or mended. `damage` has the rest."""
        lines = self.damage + self._notes
        if not lines:
            return ""
        return lines[0] + (" And more: run lampblack doctor." if lines[1:] else "")

    def _wake_cut_off(self) -> None:
        # Below what is known of the run there is room for one more line.
        lines = self.damage + self._notes
        told = lines[0] if len(lines) == 1 and self.can_go_on else "Run lampblack doctor." if lines else ""
        self._wake()
        self._exposed = True
        self._told_by_registers = bool(self.stages) and self.value > 0
        self.message = self._cut_text + (" " + told if told else "")

    @property
    def cut_off_text(self) -> str:
        """What is known of the run that a reset cut off."""
        return self._cut_text

    @property
    def known_ms(self) -> int:
        """Light known to have been given in the present stage of the run under way or kept, in ms."""
        if self.stages:
            return self.light_so_far_ms()
        return self.given_ms

    # --- the run that is kept

    @property
    def run_is_kept(self) -> bool:
        """True from the beginning of a run to its end, even while the printer is on another screen."""
        return bool(self.stages) or self._cut_off is not None

    @property
    def can_go_on(self) -> bool:
        return bool(self.stages)

    def _can_go_on(self) -> bool:
        return self.can_go_on

    def _can_go_on_held(self) -> bool:
        return self.can_go_on and self.given_ms > 0

    def _row_goes_on(self) -> bool:
        return self.row().goes_on

    def _row_goes_on_held(self) -> bool:
        return self.row().goes_on and self.given_ms > 0

    def _go_on(self) -> None:
        """Return to the stage at which the run was left, without light."""
        self.sheet = "strip" if self.is_strip else "print"
        self.cursor = 0
        self._exposed = True
        self._settle()
        self.is_gone_on = True

    def _leave_run(self) -> None:
        """Leave with the run kept. The first thing offered is to go on with it."""
        self.sheet = "sheets"
        self.cursor_on(sheets.GO_ON if self.can_go_on else sheets.END_RUN)

    def _another_is_kept(self) -> bool:
        """EXPOSE would begin another run, and the one that is kept has had light."""
        return self.run_is_kept and self._has_had_light() and self.sheet in ("print", "strip")

    def _has_had_light(self) -> bool:
        return bool(self.given_ms or self._done or self._at_least)

    def _ask_first(self) -> None:
        self._picture()

    def kept_text(self) -> str:
        """What is kept, and the question about it."""
        left = ""
        if self.stages:
            name = stage_name(self.stages[self.at])
            left = " Next: %s." % name
            if not self._stage_is_fit():
                left = " %s has %s to come." % (name, seconds_text(self.left_shown_ms()))
        return "A run is kept." + left + " End it, and begin this one?"

    def _end_and_begin(self) -> None:
        self._tell_why()
        self.end_run(aloud=False)
        self._start(self.sheet == "strip")

    def end_run(self, aloud: bool = True) -> None:
        """End the run that is kept, and put on record what was given."""
        if self.given_ms or self._at_least:
            self._note_stage()
        if aloud:
            self.say(
                "Ended here. What was given is in the ledger." if self._done else "Ended. No light was given."
            )
        self._close_run()
        if self.sheet == "sheets":
            self.cursor_on(sheets.TITLES["print"])

    # --- sheets

    def _on_print(self) -> bool:
        return self.sheet == "print"

    def _on_strip(self) -> bool:
        return self.sheet == "strip"

    def _in_sheet(self) -> bool:
        return self.sheet != "sheets"

    def row(self) -> sheets.Row:
        """The row under the cursor."""
        found = sheets.rows(self)
        self.cursor = min(self.cursor, len(found) - 1)
        return found[self.cursor]

    def cursor_on(self, label: str) -> None:
        """Keep the cursor on the row of this label when the rows above it change."""
        found = sheets.rows(self)
        for index in range(len(found)):
            if found[index].label == label:
                self.cursor = index
                return

    def go_to_sheet(self, name: str) -> None:
        self.sheet = name
        self.cursor = 0

    def _row_chooses(self) -> bool:
        return self.row().chooses

    def _row_acts(self) -> bool:
        return self.row().acts

    def _row_turns(self) -> bool:
        return self.row().turns

    def _can_move(self) -> bool:
        return len(sheets.rows(self)) > 1

    def _move(self) -> None:
        self.cursor = max(0, min(len(sheets.rows(self)) - 1, self.cursor + self.value))

    def _leave_sheet(self) -> None:
        label = sheets.TITLES[self.sheet]
        self.sheet = "sheets"
        self.cursor_on(label)

    def _act(self) -> None:
        row = self.row()
        said = row.said(self)
        before = self._note()
        row.act(self)
        if row.changes:
            self._changed(before, said, "Undone: %s." % said)

    def _open(self) -> None:
        self._before_change = self._note()
        self.row().open(self)
        self._plan = None

    def opened_map(self) -> PrintingMap:
        """The map as it was when the value under the cursor was opened; the map itself if none is open."""
        return self._before_change[0] if self._before_change else self.work

    def opened_strip(self) -> Strip:
        return self._before_change[1] if self._before_change else self.strip

    def _turn(self) -> None:
        row = self.row()
        row.turn(self, self.value * (self._pace() if row.paces else 1))
        self._plan = None
        self._tell_levels()

    def _pace(self) -> int:
        """Faster turning takes bigger steps: 1, then 2 under 80 ms a detent, 5 under 40 ms."""
        each_ms = since(self.now_ms, self._turned_ms) // max(1, abs(self.value))
        self._turned_ms = self.now_ms
        if not 0 <= each_ms < 80:
            return 1
        return 2 if each_ms >= 40 else 5

    def _take(self) -> None:
        row = self.row()
        row.take(self)
        before = self._before_change
        self._before_change = None
        said, value = row.said(self), before[8] if before else ""
        if value:
            self._changed(before, "%s: %s" % (said, value), "Undone: %s is %s again." % (said, value))
        else:
            self._changed(before, said, "Undone: %s." % said)

    def base_before_ms(self, index: int) -> int:
        """The base of a pass as it was when the value under the cursor was opened; of a new pass, as it is
        now."""
        then = self.opened_map()
        return (then if index < len(then.passes) else self.work).base_ms(index)

    def _leave_value(self) -> None:
        """Drop the proposal: everything is as it was before the value was opened."""
        before = self._before_change
        if before is not None:
            self.work, self.strip = before[0], before[1]
            self.bench.set_all(before[4])
            self.cursor = before[7]
            self._before_change = None
            self._plan = None
            self._tell_levels()

    # --- undo

    def _note(self) -> list:
        """Everything that a change at the panel may change, as it is now."""
        self._card_change = None
        return [
            self.work.copy(),
            self.strip.copy(),
            self.work.text(),
            self._strip_gave,
            self.bench.to_dict(),
            self.prints,
            self.sheet,
            self.cursor,
            self.row().value(self) if self.state == "browse" else "",
        ]

    def _changed(self, before: list | None, says: str, undone: str) -> None:
        """Keep what was changed at the panel, and remember how to take it back."""
        self.strip.settle(self.work)
        self._plan = None
        if before is not None:
            change = Change(says, undone)
            change.map = cut(before[2], self.work.text())
            strip = before[1]
            if strip.to_dict() != self.strip.to_dict() or before[3] != self._strip_gave:
                change.strip = (strip.to_dict(), before[3])
            bench = before[4]
            now = self.bench.to_dict()
            for key in bench:
                if bench[key] != now[key]:
                    change.bench[key] = bench[key]
            change.card = self._card_change
            change.prints = before[5]
            self._card_change = None
            self.undo.push(change)
        self._keep_all()

    def take_back(self) -> None:
        """Undo the newest change. A Refusal leaves everything as it is, and the change remembered."""
        change = self.undo.newest
        if change is None:
            raise Refusal("Nothing to undo", "no change is remembered", "Go on")
        # What may fail comes first.
        self._put_card_back(change)
        if change.map is not None:
            text = mend(self.work.text(), change.map)
            self.work = PrintingMap.from_dict(self.kit.json_loads(str(text, "utf-8")))
            self.prints = change.prints
        if change.strip is not None:
            self.strip, self._strip_gave = Strip.from_dict(change.strip[0]), change.strip[1]
        self.bench.set_all(change.bench)
        self.strip.settle(self.work)
        self._plan = None
        self.undo.pop()
        self._tell_levels()
        self.say(change.what)
        self._keep_all()

    def _put_card_back(self, change: Change) -> None:
        if change.card is not None:
            name, text = change.card
            if text is None:
                self.shelf.drop(name)
            else:
                self.shelf.keep_text(name, text)

    def keep_card(self, name: str, text: bytes) -> bool:
        """Keep a card on the shelf from the panel; True if it replaces another."""
        before = self.shelf.text(name)
        self.shelf.keep_text(name, text)
        self._card_change = (name, before)
        self._write_waiting()
        return before is not None

    def drop_card(self, name: str) -> None:
        """Take a card off the shelf from the panel."""
        before = self.shelf.text(name)
        self.shelf.drop(name)
        self._card_change = (name, before)
        self._write_waiting()

    def _tell_levels(self) -> None:
        level = self.bench.get("brightness")
        if level != self._level:
            self._level = level
            self.out.put("level", level)
        volume = self.bench.get("volume")
        if volume != self._volume:
            self._volume = volume
            self.out.put("volume", volume)

    def _keep_all(self) -> None:
        """Keep what the printer has set. Nothing is written if it is kept already."""
        self._keep("work", self.work.text())
        self._keep("bench", encode(self.bench.kept()))

    def _keep(self, key: str, data: bytes) -> None:
        """If the store cannot write, say so and go on: it must not stop a printer in the dark."""
        try:
            self.store.put(key, data)
        except Refusal as refusal:
            self.say(refusal.line)

    def plan(self) -> list:
        """The stages that EXPOSE would begin on this screen; empty if they cannot be given."""
        if self._plan is None or self._plan[0] != self.sheet:
            try:
                if self.sheet == "strip":
                    stages = self.strip.compile(self.work, self.bench)
                else:
                    stages = compile_print(self.work, self.bench)
            except Refusal as refusal:
                self._plan = (self.sheet, [], refusal)
            else:
                self._plan = (self.sheet, stages, None)
        return self._plan[1]

    def plan_refusal(self) -> Refusal | None:
        """Why `plan` is empty."""
        self.plan()
        return self._plan[2] if self._plan else None

    # --- a run

    def _cannot_begin(self) -> bool:
        return self.sheet in ("print", "strip") and self.plan_refusal() is not None

    def _tell_why(self) -> None:
        refusal = self.plan_refusal()
        if refusal is not None:
            raise refusal

    def _begin_print(self) -> None:
        self._start(False)

    def _begin_strip(self) -> None:
        self._start(True)

    def _start(self, is_strip: bool) -> None:
        self._tell_why()
        stages = self.plan()
        self._exposed = True  # paper is in the easel from here on
        self._keep_all()
        self._write_waiting()
        self._clear_run()
        self.stages = list(stages)
        self.is_strip = is_strip
        self.run_number = self.ledger.last() + 1
        self._run_text = self._text_of_run(self.work, self.strip if is_strip else None)
        self._run_gives = self.strip.gives(self.work) if is_strip else []
        kept = True
        try:
            self.store.put("run", self._run_text)
        except Refusal:
            kept = False
        self._go_to(1)
        self._settle()
        if not kept:
            self.say(
                "The map of this run is not kept: the memory is full. After a power cut it could not go on."
            )

    def _text_of_run(self, map: PrintingMap, strip) -> bytes:
        """What a run is made from: enough to compile it again and to put it on record."""
        settings = b"null" if strip is None else encode(strip.to_dict())
        lead_ms = b"%d" % self.bench.get("lead_ms")
        return b'{"lead_ms":' + lead_ms + b',"map":' + map.text() + b',"strip":' + settings + b"}"

    def _run(self) -> dict:
        return self.kit.json_loads(str(self._run_text, "utf-8"))

    def _clear_run(self) -> None:
        self.stages = []
        self.at = 0
        self.given_ms = 0
        self.strikes = 0
        self._at_least = False
        self._done = []
        self._done_text = ""
        self._cut_off = None
        self._cut_at = ""
        self._why_not = ""
        self._cut_text = ""
        self._run_text = b""
        self._led = False
        self._said_full = False
        self.is_gone_on = False

    def _go_to(self, at: int) -> None:
        """Make stage `at` the next one, and note that in the journal, so that a reset in mid-exposure is
        known of."""
        self.at = at
        self.given_ms = 0
        self.strikes = 0
        self._at_least = False
        self._led = False
        self._write_journal()

    def _write_journal(self, over: bool = False, aloud: bool = True) -> None:
        """Note in one write where the run stands and what is known to have been given. It is true at any
        moment."""
        self._told_by_registers = False
        stage = self.stages[self.at]
        journal = {
            "form": FORM,
            "kind": "strip" if self.is_strip else "print",
            "stage": self.at,
            "of": len(self.stages),
            "name": stage_name(stage),
            "light": stage.kind != FIT,
            "given_ms": self.given_ms,
            "done": self._done_text,
            "map": digest_of_text(self.kit, self._run_text)[:_DIGEST],
            "n": self.run_number,
            "over": over,
        }
        try:
            self.store.put("journal", encode(journal))
        except Refusal as refusal:
            if aloud and not self._said_full:
                self._said_full = True  # once a run: it hides what the hands need
                self.say(refusal.line)
            # An old journal would have light given twice after a power cut, so none is better.
            self._close_journal(aloud=False)

    def _stage_is_fit(self) -> bool:
        return self.stages[self.at].kind == FIT

    def _fitted(self) -> None:
        self._go_to(self.at + 1)
        self._settle()

    def _move_stage(self) -> None:
        if self._at_least:
            self._note_stage()  # a reset cut it off, and what is known of it goes into the record
        self._go_to(max(0, min(len(self.stages) - 1, self.at + self.value)))

    def left_ms(self) -> int:
        """Light the stage still has to give, in ms of true light."""
        return self.stages[self.at].light_ms - self.light_so_far_ms()

    def light_so_far_ms(self) -> int:
        """Light given in this stage up to `now_ms`."""
        given_ms = self.given_ms
        if self.state == "exposing":
            given_ms = max(given_ms, since(self.now_ms, self._struck_ms) - self._axis_ms)
        elif self.state == "stopping" and not self._viewing:
            given_ms = max(given_ms, since(self._stopped_ms, self._struck_ms) - self._axis_ms)
        return min(given_ms, self.stages[self.at].light_ms)

    def left_shown_ms(self) -> int:
        """`left_ms` as the printer sees it: without dry-down."""
        stage = self.stages[self.at]
        left_ms = self.left_ms()
        if left_ms == stage.light_ms:
            return stage.shown_ms
        # In coarser units the product stays a small integer, since this is called while the lamp is lit.
        bits = 0
        while stage.shown_ms >> bits > 32767:
            bits += 1
        return (left_ms >> bits) * (stage.shown_ms >> bits) // (stage.light_ms >> bits) << bits

    def _paper_at_risk(self) -> bool:
        return self._exposed and not self._warned

    def _warn_paper(self) -> None:
        self._warned = True
        self._settle()
        self.say("Viewing light would fog the sheet. Put it away, then press LAMP again.")
        self.out.put("sound", "refuse")

    def _strike(self) -> None:
        lag_ms = self.bench.get("lag_ms")
        left_ms = self.stages[self.at].light_ms - self.given_ms
        self._axis_ms = lag_ms - self.given_ms
        if not self._led:
            self._led = True
            self._cue = 0
            while self._cue_at() <= self.given_ms:
                self._cue += 1
            self._next_tick_ms = (self.given_ms // _TICK_MS + 1) * _TICK_MS
        self.strikes += 1
        self.is_gone_on = False
        self._exposed = True
        self._light(lamp_ms(left_ms, lag_ms), "exposing")
        self.out.put("sound", "start")

    def _cue_at(self) -> int:
        cues = self.stages[self.at].cues
        return cues[self._cue][0] if self._cue < len(cues) else _NEVER_MS

    def _sound_cues(self) -> None:
        """Sound every cue and every tick of a second that is due. A cue on a full second replaces the
        tick."""
        so_far_ms = since(self.now_ms, self._struck_ms) - self._axis_ms
        cues = self.stages[self.at].cues
        end_ms = self.stages[self.at].light_ms
        # After a call so late that there are more than fit, another is due at once.
        while self.out.count < Outputs.MOST_SOUNDS:
            cue_ms = self._cue_at()
            if cue_ms <= self._next_tick_ms:
                if cue_ms > so_far_ms:
                    break
                self.out.put("sound", cues[self._cue][1])
                self._cue += 1
                if cue_ms == self._next_tick_ms:
                    self._next_tick_ms += _TICK_MS
            else:
                if self._next_tick_ms > so_far_ms:
                    break
                self.out.put("sound", "tick")
                self._next_tick_ms += _TICK_MS
            if self._next_tick_ms >= end_ms:
                self._next_tick_ms = _NEVER_MS
        self._refresh()

    def _refresh(self) -> None:
        if self.panel_ms:
            lit_ms = since(self.now_ms, self._struck_ms)
            if lit_ms >= self._next_picture_ms:
                self._next_picture_ms = lit_ms - lit_ms % self._picture_step_ms + self._picture_step_ms
                self.out.put("screen")

    def _too_late_to_hold(self) -> bool:
        """A rest shorter than the lamp can give could not be given later, so the stage runs out."""
        return is_too_short(self.left_ms() - HOLD_MARGIN_MS, self.bench)

    def _too_short(self) -> bool:
        """This lamp cannot give what is left of the stage."""
        return is_too_short(self.left_ms(), self.bench)

    def _rest_too_short(self) -> bool:
        """BACK has left a rest that is too short to give, and there is another stage."""
        return self.at < len(self.stages) - 1 and self._too_short()

    def _refuse_short(self) -> None:
        if self.given_ms:
            refuse_short("The rest", self.left_ms(), self.bench, "Press BACK and end this run")
        name = stage_name(self.stages[self.at])
        refuse_short(name, self.left_ms(), self.bench, "Set the bench back, or turn to the next stage")

    def _leave_rest(self) -> None:
        self._note_stage()
        self._go_to(self.at + 1)
        self._settle()

    def _put_out_to_hold(self) -> None:
        self._put_out()

    def _put_out_at_once(self) -> None:
        self._put_out()

    def _account(self, lit_ms: int) -> None:
        """Count the light of the strike that ended after `lit_ms` of lamp time."""
        light_ms = self.stages[self.at].light_ms
        if lit_ms >= self._lamp_ms:
            self.given_ms = light_ms
        else:
            self.given_ms = min(light_ms, self.given_ms + light_of(lit_ms, self.bench.get("lag_ms")))

    def _stage_is_whole(self) -> bool:
        return self.given_ms >= self.stages[self.at].light_ms

    def _is_last(self) -> bool:
        return self.at == len(self.stages) - 1 and self._stage_is_whole()

    def _print_is_whole(self) -> bool:
        """The print is given, and it is of the map at work."""
        return self._is_last() and not self.is_strip and self.work.text() in self._run_text

    def _print_is_other(self) -> bool:
        return self._is_last() and not self.is_strip

    def _strip_is_whole(self) -> bool:
        """The strip is whole, and is still the one that the Strip screen describes."""
        return self._is_last() and self.is_strip and self._run_gives == self.strip.gives(self.work)

    def _strip_is_other(self) -> bool:
        return self._is_last() and self.is_strip

    def _hold(self) -> None:
        self.out.put("sound", "hold")
        self._write_journal()

    def _cut_short(self) -> None:
        self.out.put("sound", "hold")
        self.say("The lamp went out early. The rest can still be given.")
        self._write_journal()

    def _note_stage(self) -> None:
        done = [self.at, self.given_ms, self.strikes, self.bench.get("lag_ms"), 1 if self._at_least else 0]
        self._done.append(done)
        # As one text it takes no time to put into the journal, however long the run has become.
        self._done_text += "%d %d %d %d %d;" % tuple(done)

    def _end_stage(self) -> None:
        self._note_stage()
        self._go_to(self.at + 1)
        self.out.put("sound", "fit" if self._stage_is_fit() else "end")

    def _end_print(self) -> None:
        self._note_stage()
        self.prints += 1
        self.out.put("sound", "end")
        self.say("Print %d is done and in the ledger." % self.prints)
        self._close_run()

    def _end_other_print(self) -> None:
        self._note_stage()
        self.out.put("sound", "end")
        self.say("The print is done and in the ledger. The map here is another now: EXPOSE gives that.")
        self._close_run()

    def _end_strip(self) -> None:
        self._note_stage()
        self.out.put("sound", "end")
        self._strip_gave = self._run_gives
        self._close_run()
        self.place = self.strip.patches - 1

    def _end_other_strip(self) -> None:
        self._note_stage()
        self.out.put("sound", "end")
        self._strip_gave = self._run_gives
        self.say("The strip is done, but strip or map is another now. Set it back to choose a patch.")
        self._close_run()

    def _close_run(self) -> None:
        """The run is over: write its record into the ledger, and close the journal."""
        if self._done or self._cut_at:
            try:
                self.ledger.append(self._record(), self.run_number)
            except Refusal as refusal:
                self.say(not_kept(refusal, self.ledger.lost).line)
                # After a reset the run is found as it is now, and put on record then.
                if self.stages:
                    self._write_journal(over=True, aloud=False)
                self._clear_run()
                return
        self._clear_run()
        self._close_journal()

    def _record(self) -> dict:
        """The run in plain data, as `ledger` defines it."""
        stages = self.stages
        run: dict = self._run() if self._run_text else {"map": None, "strip": None}
        map = run["map"]
        # Strips are given without dry-down.
        dries = bool(map) and map["dry_down"] and not self.is_strip
        lit = [index for index in range(len(stages)) if stages[index].kind != FIT]
        given = []
        for at, given_ms, strikes, lag_ms, at_least in self._done:
            if at < len(stages):
                name, filter, light_ms = stage_name(stages[at]), stages[at].filter, stages[at].light_ms
            else:  # the run can no longer be compiled, and all that is known is in the journal
                name, filter, light_ms = (self._cut_at if at == self.at else "Stage %d" % (at + 1)), "", 0
            given.append(stage_record(name, filter, light_ms, given_ms, strikes, lag_ms, bool(at_least)))
        return {
            "form": FORM,
            "box": self.identity,
            "kind": "strip" if self.is_strip else "print",
            "map": map,
            "strip": run["strip"],
            "whole": bool(lit)
            and not any(done[4] for done in self._done)
            and [done[0] for done in self._done if done[1] >= stages[done[0]].light_ms] == lit,
            "cut_off": self._cut_at,
            "up_s": self.clock.up_s,
            "at": self.clock.text(),
            "dry_down_pm": map["dry_down_pm"] if dries else 0,
            "stages": given,
        }

    def write_waiting(self) -> None:
        """A PC asks for the ledger: if it is dark, first try to write the records that wait."""
        if self.ledger.waiting and not self.lit:
            self.undisturbed(lambda: self._write_waiting(aloud=False))

    def _write_waiting(self, aloud: bool = True) -> None:
        """Try again to write records that the disk had no room for."""
        if self.ledger.waiting:
            try:
                self.ledger.write_waiting()
            except Refusal as refusal:
                if aloud:
                    self.say(not_kept(refusal, self.ledger.lost).line)

    def _close_journal(self, aloud: bool = True) -> None:
        try:
            self.store.drop("journal")
        except Refusal as refusal:
            if aloud:
                self.say(refusal.line)

    # --- the viewing light

    def _view(self) -> None:
        self._before = self.state
        # In mid-run the sheet comes back when the viewing light is out.
        self._exposed = self._before in _RUN_STATES
        self._light(self.bench.get("viewing_limit_s") * 1000, "viewing")

    def view_left_ms(self) -> int:
        """What is left of the viewing light's limit, in ms."""
        return max(0, self._lamp_ms - since(self.now_ms, self._struck_ms))

    def _put_out_view(self) -> None:
        self._put_out()

    def _view_ran_out(self) -> None:
        self.out.put("sound", "end")
        self.say("Viewing light has reached its limit.")

    def _was_viewing(self) -> bool:
        return self._viewing

    # --- after a strip

    def _move_place(self) -> None:
        self.place = max(0, min(self.strip.last_place, self.place + self.value))

    def _take_place(self) -> None:
        before = self._note()
        strip, index = self.strip, self.strip.pass_index
        mark = strip.mark(self.work)
        tied = self.work.tied and len(self.work.passes) > 1
        strip.choose(self.work, self.place)
        self.go_to_sheet("print")
        if mark is not None:
            said, value = mark.area, stops_text(mark.stops120)
        else:
            said, value = "Pass %d" % (index + 1), seconds_text(self.work.base_ms(index))
            if tied:
                value += ", alone. The tie keeps this ratio from here"
        self.say("%s is set to %s." % (said, value))
        self._cursor_on_target(index, strip.mark_index)
        self._changed(before, "the patch chosen", "Undone: the patch chosen.")

    def _cursor_on_target(self, index: int, number) -> None:
        """Put the cursor on the row that the choice has set."""
        found = sheets.rows(self)
        for place in range(len(found)):
            if found[place].sets(index, number):
                self.cursor = place

    def _leave_choice(self) -> None:
        self.sheet = "strip"
        self.cursor = len(sheets.rows(self)) - 1

    @property
    def strip_given(self) -> bool:
        """True while the strip as it is set is the one that was given, so that a patch can be chosen."""
        return self._strip_gave == self.strip.gives(self.work)

    # --- what the wire asks for

    def damage_lines(self) -> list:
        """A line for each thing kept that is damaged, cards as they are found now, and for each that was
        converted at this start."""
        lines = [line for line in self.damage if not line.startswith("Card ")]
        lines += [_card_damage(name) for name in self.shelf.damaged]
        lines += self._notes
        return lines

    def summary(self) -> dict:
        """The state in plain data: what it is, what is under way, what each control will do."""
        running = self.in_run
        kept = ""
        if self.run_is_kept and not running:
            kept = stage_name(self.stages[self.at]) if self.stages else str((self._cut_off or {}).get("name"))
        return {
            "state": self.state,
            "sheet": self.sheet,
            "card": self.work.name,
            "lit": self.lit,
            "safelight": self.safelight,
            "run": ("strip" if self.is_strip else "print") if running else "",
            "stage": self.at + 1 if running else 0,
            "stages": len(self.stages) if running else 0,
            "name": stage_name(self.stages[self.at]) if running else "",
            "left_ms": self.left_ms() if running else 0,
            "expose": self.says("expose"),
            "message": self.message,
            "kept": kept,
        }

    def set_bench(self, values: dict) -> None:
        """Set and keep all of `values`, or none. A Refusal changes nothing.

        What the printer is just turning is not kept by this, and undo does not take back what the wire has
        set.
        """
        while not self._try_bench(values):
            pass  # a key came in between: the values are worked out anew

    def _try_bench(self, values: dict) -> bool:
        """Set and keep `values`, unless an input comes in while they are worked out, which takes a board tens
        of ms. True if it is done."""
        inputs = self._inputs
        before = self._before_change
        kept = Bench()
        kept.set_all(before[4] if before is not None else self.bench.to_dict())
        kept.set_all(values)
        text = encode(kept.kept())
        is_kept = self.store.get("bench") == text and not self.store.damage("bench")
        return self.undisturbed(lambda: inputs == self._inputs and self._set_bench(values, text, is_kept))

    def _set_bench(self, values: dict, text: bytes, is_kept: bool) -> bool:
        if not is_kept:
            self.store.put("bench", text)
        before = self._before_change
        self.bench.set_all(values)
        if before is not None:
            before[4].update(values)
            if self.row().sets_one_of(values):
                before[8] = ""  # what undo would name is no longer what it brings back
        # What is set anew mends it.
        at = len(self.damage)
        while at:
            at -= 1
            if self.damage[at].startswith("The settings"):
                self.damage.pop(at)
        self.undo.forget_settings(values)
        self._plan = None
        self._wired = True
        return True

    def push_card(self, name: str, text: bytes) -> None:
        """Keep a card that came over the wire. A Refusal changes nothing."""
        self.undisturbed(lambda: self._push_card(name, text))

    def _push_card(self, name: str, text: bytes) -> None:
        here = self._card_here()
        self.shelf.keep_text(name, text)
        self._shelf_changed(name, here)

    def remove_card(self, name: str) -> bool:
        """Take a card off the shelf for the wire; True if it was there."""
        return self.undisturbed(lambda: self._remove_card(name))

    def _remove_card(self, name: str) -> bool:
        here = self._card_here()
        removed = self.shelf.drop(name)
        if removed:
            self._shelf_changed(name, here)
            self._write_waiting(aloud=False)
        return removed

    def _card_here(self) -> str:
        """The label under the cursor of the Shelf screen, "" elsewhere."""
        return self.row().label if self.sheet == "shelf" else ""

    def _shelf_changed(self, name: str, here: str) -> None:
        self.undo.forget_card(name)
        self.pick = 0  # what was picked may be another card now, or none
        if here:
            self.cursor_on(here)
        self._wired = True

    def tell_time(self, day: int, second: int) -> None:
        """Take the date from the wire. It counts from the "wire" input that follows."""
        self._told_time = (day, second)

    def hand_over(self) -> None:
        """Leave to the prompt as soon as the link is done, if it is dark then."""
        self._leaving = True
        self._wired = True

    def _hand_over(self) -> None:
        self.out.put("handover")

    def _settle_wire(self) -> None:
        """Put into outputs what the wire has changed in the box."""
        if self._told_time is not None:
            day, second = self._told_time
            self._told_time = None
            self.clock.count(self.now_ms)
            self.clock.tell(day, second)
        if not self._wired:
            return
        self._wired = False
        self._tell_levels()
        if self._leaving:
            self._leaving = False
            self._look_up("handover")
        self._plan_due()
        self._picture()
