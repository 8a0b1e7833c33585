"""The box: a state machine that turns inputs into outputs, without any I/O.

`handle(event, now_ms, value)` takes one input and returns the outputs it causes; `next_deadline()`
says when it wants a "tick". What happens in which state is in `transitions`; the methods named
there are below, in the table's order. Time is an argument in ms that wraps at 2**30.

Inputs: "expose", "pedal" (the same), "lamp", "back", "dial" (value: detents, right is positive),
"press" (of the dial), "lamp_end" (value: ms the lamp was lit), "tick", "power_up" (value: ms of light
that the stage cut off by a reset is known to have got, 0 for unknown), "line" (value: one line from
the wire, as bytes), "wire" (`link` has been given a line outside of `handle`: a board does
so, since answering may take long, and a key that comes meanwhile must not wait).

Outputs, in `Outputs` as kind and value: "light" (ms; the only way to light the lamp), "dark",
"safelight" (1 on, 0 off), "sound" (a name in `sounds`), "volume" (0..5) and "level" (display
brightness, 1..5) when they change, "screen" (the picture changed), "send" (bytes for the wire),
"handover" (leave to the prompt).

Law: while the lamp is lit nothing here allocates, writes a record or needs to be called for the
light to end. Whoever performs "dark" must hand in "lamp_end" before any other input.
"""

from . import sheets
from .bench import Bench, is_int
from .kit import Kit
from .ledger import Ledger
from .link import Link
from .plain import encode
from .printing_map import PrintingMap
from .refusal import Refusal
from .run import FIT, Stage, compile_print, filter_text, lamp_ms, light_of, stage_name
from .shelf import Shelf
from .stops import seconds_down, seconds_text
from .store import Store
from .strip import Strip
from .ticks import later, since
from .transitions import LIT, STATES, transitions

OVERDUE_MS = 250
"""A lamp that has not reported its end this long after it was due is put out again; one that does not
report this either is taken to be out."""

NEVER_MS = 1 << 29
TICK_MS = 1000


class Outputs:
    """The outputs of one `handle`: `count` entries of `kind` and `value`. Reused; never grows."""

    ROOM = 32

    def __init__(self) -> None:
        self.kind = [""] * self.ROOM
        self.value: list = [0] * self.ROOM
        self.count = 0

    def put(self, kind: str, value=0) -> None:
        if self.count < self.ROOM:
            self.kind[self.count] = kind
            self.value[self.count] = value
            self.count += 1


def _no_lines() -> list:
    return []


def _no_board() -> dict:
    return {}


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
        self.crash_lines = _no_lines  # a box that keeps a crash log puts its reader here
        self.health = _no_board  # and who knows what the box runs on, whoever tells of that
        self.out = Outputs()
        self.state = "off"
        self.message = ""
        self.now_ms = 0
        self.value = 0
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
        self._earlier: tuple | None = None
        self._earlier_card: tuple | None = None
        self._turned_ms = 0
        # The run under way: `stages` is empty when there is none
        self.stages: list[Stage] = []
        self.at = 0
        self.is_strip = False
        self.given_ms = 0
        self.strikes = 0
        self._done: list = []
        self._done_text = ""
        self._plan: tuple | None = None
        # The strike under way
        self._struck_ms = 0
        self._lamp_ms = 0
        self._axis_ms = 0
        self._stopped_ms = 0
        self._cue = 0
        self._next_tick_ms = TICK_MS
        self._next_picture_ms = 0
        self._picture_step_ms = 0
        self._due_ms: int | None = None
        self._before = "browse"
        self._viewing = False
        self._to_hold = False
        self._silent = False
        self._exposed = False
        self._warned = False
        self._wired = False
        self._leaving = False
        self._safelight = -1
        self._level = -1
        self._volume = -1
        self._cut_off: dict | None = None
        self._cut_at = ""
        self._cut_ms = 0
        self._table = self._bind()

    # --- the machine

    def _bind(self) -> dict:
        """The table with its names looked up: state -> event -> rows of (when, do, then, says, subject)."""
        # Rows share the names of states, to spare memory.
        names = {name: name for name, _ in STATES}
        names["before"] = "before"
        table: dict = {name: {} for name in names}
        for state, event, when, do, then, says in transitions():
            rows = table[names[state]].setdefault(event, [])
            rows.append(
                (
                    getattr(self, "_" + when) if when else None,
                    getattr(self, "_" + do) if do else None,
                    names[then],
                    says,
                    do if "@" in says else "",
                )
            )
        return table

    def handle(self, event: str, now_ms: int, value=0) -> Outputs:
        """Take one input at `now_ms` (0 .. 2**30 - 1, wrapping) and return what it causes."""
        out = self.out
        out.count = 0
        self.now_ms = now_ms
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
        if event == "tick" and self.state == "stopping" and self._overdue():
            # Whatever became of the lamp's report, the run must go on.
            self._silent = True
            event = "lamp_end"
            self.value = since(self._stopped_ms, self._struck_ms)
        if event == "lamp_end" and self.state in LIT:
            # Whatever was reported, the light is out before the box takes it to be out.
            out.put("dark")
            if not self._was_viewing():
                self._account(self.value)
        rows = self._table[self.state].get(event)
        if rows is not None:
            for when, do, then, _, _ in rows:
                if when is None or when():
                    self._fire(event, do, then)
                    break
        if event == "lamp_end" and self._silent:
            self._silent = False
            self._tell_overdue()
        self._plan_due()
        return out

    def _fire(self, event: str, do, then: str) -> None:
        quiet = event == "tick" or event == "lamp_end"
        if not quiet:
            self.message = ""
            self._warned = False
        try:
            if do is not None:
                do()
        except Refusal as refusal:
            self._say(refusal.line)
            self.out.put("sound", "refuse")
            return
        self.state = self._before if then == "before" else then
        self._set_safelight()
        if event != "tick":
            self._picture()

    def read_up(self) -> None:
        """Find out what is kept, which may take seconds: for when the panel is drawn and nothing is due."""
        self.shelf.names()
        self.ledger.last()

    def next_deadline(self) -> int | None:
        """When `handle("tick", …)` is wanted next, in ms that wrap; None: not before another input."""
        return self._due_ms

    def _plan_due(self) -> None:
        if self.state == "exposing":
            due = self._lamp_ms + OVERDUE_MS
            due = min(due, self._next_tick_ms + self._axis_ms, self._cue_at() + self._axis_ms)
            if self.panel_ms:
                due = min(due, self._next_picture_ms)
            # With a negative lag a cue may have been due before the strike
            self._due_ms = later(self._struck_ms, max(0, due))
        elif self.state == "viewing":
            due = self._lamp_ms + OVERDUE_MS
            if self.panel_ms:
                due = min(due, self._next_picture_ms)
            self._due_ms = later(self._struck_ms, due)
        elif self.state == "stopping":
            self._due_ms = later(self._stopped_ms, OVERDUE_MS)
        else:
            self._due_ms = None

    def _overdue(self) -> bool:
        if self.state == "stopping":
            return since(self.now_ms, self._stopped_ms) >= OVERDUE_MS
        return since(self.now_ms, self._struck_ms) >= self._lamp_ms + OVERDUE_MS

    def _picture(self) -> None:
        if self.panel_ms:
            self.out.put("screen")

    def _say(self, text: str) -> None:
        self.message = text
        self._picture()

    def says(self, control: str) -> str:
        """What `control` ("expose", "lamp", "back", "dial", "press") will do now; "" for nothing."""
        rows = self._table[self.state].get(control)
        if rows is not None:
            for when, _, _, says, do in rows:
                if when is None or when():
                    return says.replace("@", self._subject(do)) if do else says
        return ""

    def _subject(self, do: str) -> str:
        if do == "strike":
            return seconds_text(self.left_shown_ms())
        if do == "fitted":
            return filter_text(self.stages[self.at].filter)
        if do == "begin_print" or do == "begin_strip":
            return filter_text(self.plan()[0].filter)
        return self.row().deed

    # --- light and safelight

    @property
    def lit(self) -> bool:
        """True while the lamp is or may be lit: what the wire asks before it writes."""
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
        """First it must be dark: what the light was for is put on record in a later call."""
        self._silent = True
        self._to_hold = True
        self._put_out()
        self.out.put("sound", "hold")
        self._tell_overdue()

    def _tell_overdue(self) -> None:
        self._say("The lamp did not report its end: it was put out. Check it before you go on.")

    def _put_out(self) -> None:
        self.out.put("dark")
        self._stopped_ms = self.now_ms

    # --- power

    def _was_cut_off(self) -> bool:
        self._load()
        return self._cut_off is not None

    def _load(self) -> None:
        """Read bench, map and journal; what is damaged falls back to its default."""
        bench = self._read("bench")
        if isinstance(bench, dict):
            for key in bench:
                try:
                    self.bench.set(key, bench[key])
                except Refusal:
                    continue
        self.new_work()
        if self.bench.get("power_up") == "as left" or self.store.get("journal"):
            try:
                self.take_work(PrintingMap.from_dict(self._read("work")))
            except Refusal:
                self.new_work()
        journal = self._read("journal")
        if isinstance(journal, dict) and is_int(journal.get("stage")):
            self._cut_off = journal
            self._cut_ms = self.value if journal.get("light") else 0

    def _read(self, key: str):
        data = self.store.get(key)
        if data is None:
            return None
        try:
            return self.kit.json_loads(data.decode())
        except ValueError:
            return None

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
        self._tell_levels()
        self.sheet = "print"

    def _wake_cut_off(self) -> None:
        self._wake()
        self._exposed = True
        self.message = self.cut_off_text()

    def cut_off_text(self) -> str:
        """What is known of the run that a reset cut off."""
        cut = self._cut_off or {}
        if not cut.get("light"):
            return "Power was lost before: %s." % cut.get("name")
        if self._cut_ms:
            return "The box was reset. %s had %s or more." % (cut.get("name"), seconds_down(self._cut_ms))
        return "Power was lost. %s may be partly exposed." % cut.get("name")

    def _cut_is_known(self) -> bool:
        """The map still has the stage that was cut off."""
        cut = self._cut_off or {}
        stages = self.plan()
        known = cut.get("kind") == "print" and cut.get("of") == len(stages)
        return known and 0 <= cut["stage"] < len(stages)

    def _cut_is_whole(self) -> bool:
        """The stage that was cut off is known to have got all of its light."""
        cut = self._cut_off or {}
        return 0 < self.plan()[cut["stage"]].light_ms <= self._cut_ms

    def _can_resume(self) -> bool:
        cut = self._cut_off or {}
        return self._cut_is_known() and not (self._cut_is_whole() and cut["stage"] == len(self.plan()) - 1)

    def _resume(self) -> None:
        cut = self._cut_off or {}
        whole = self._cut_is_whole()
        self._start(False)
        self._take_up(cut)
        self._go_to(cut["stage"])
        self.given_ms = self._cut_ms
        if whole:
            self._note_stage()
            self._go_to(self.at + 1)

    def _can_resume_rest(self) -> bool:
        return self._cut_ms > 0 and self._can_resume() and not self._cut_is_whole()

    def _take_up(self, cut: dict) -> None:
        """Count what was given before the reset to the run that is on."""
        self._done_text = str(cut.get("done", ""))
        self._done = [[int(word) for word in stage.split()] for stage in self._done_text.split(";") if stage]
        self._cut_at = str(cut.get("name")) if cut.get("light") else ""
        self._cut_off = None

    def _forget_run(self) -> None:
        cut = self._cut_off or {}
        self.is_strip = cut.get("kind") == "strip"
        known = self._cut_is_known()
        self.stages = list(self.plan()) if known else []
        self._take_up(cut if known else dict(cut, done=""))
        self._close_run()

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

    def go_to_sheet(self, name: str) -> None:
        self.sheet = name
        self.cursor = 0

    def _can_undo(self) -> bool:
        return self._earlier is not None

    def _row_chooses(self) -> bool:
        return self.row().chooses

    def _row_acts(self) -> bool:
        return self.row().acts

    def _row_turns(self) -> bool:
        return self.row().turns

    def _can_move(self) -> bool:
        return len(sheets.rows(self)) > 1

    def _move(self) -> None:
        self._earlier = None
        self.cursor = max(0, min(len(sheets.rows(self)) - 1, self.cursor + self.value))

    def _leave_sheet(self) -> None:
        self.cursor = sheets.NAMES.index(self.sheet)
        self.sheet = "sheets"

    def _act(self) -> None:
        row = self.row()
        before = self._snapshot()
        row.act(self)
        self._earlier = None
        if row.changes:
            self._changed(before)

    def _open(self) -> None:
        self._earlier = self._snapshot()
        self.row().open(self)

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
        self.row().take(self)
        self._changed(self._earlier)

    def base_before_ms(self, index: int) -> int:
        """The base of a pass as it was when the value under the cursor was opened, if it was there then."""
        then = self._earlier[0] if self._earlier else self.work
        return (then if index < len(then.passes) else self.work).base_ms(index)

    def _restore(self) -> None:
        self._put_back()

    def _undo(self) -> None:
        card = self._earlier_card
        if card is not None:
            if card[1] is None:
                self.shelf.drop(card[0])
            else:
                self.shelf.keep(card[1])
        self._put_back()
        self._keep_all()
        row = self.row()
        value = row.value(self)
        self._say("Undone: %s is %s again." % (row.label.strip(), value) if value else "Undone.")

    def remember_card(self, name: str) -> None:
        """Note the card of this name as it is on the shelf (or that there is none), for undo."""
        self._earlier_card = (name, self.shelf.get(name))

    def _snapshot(self) -> tuple:
        self._earlier_card = None
        return (
            self.work.copy(),
            self.strip.copy(),
            self.bench.to_dict(),
            self.sheet,
            self.cursor,
            self.prints,
        )

    def _put_back(self) -> None:
        if self._earlier is not None:
            self.work, self.strip, values, self.sheet, self.cursor, self.prints = self._earlier
            self.bench.set_all(values)
            self._earlier = None
            self._plan = None
            self._tell_levels()

    def _changed(self, before: tuple | None) -> None:
        self.strip.settle(self.work)
        self._plan = None
        self._earlier = before
        self._keep_all()

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
        """Keep what the printer set; a put of what is kept already writes nothing."""
        self._keep("work", self.work.text())
        self._keep("bench", encode(self.bench.to_dict()))

    def _keep(self, key: str, data: bytes) -> None:
        """A store that cannot write must not stop a printer in the dark: say so and go on."""
        try:
            self.store.put(key, data)
        except Refusal as refusal:
            self._say(refusal.line)

    def plan(self) -> list:
        """The stages EXPOSE would begin on this sheet; empty where they cannot be given."""
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
        self._earlier = None
        self._exposed = True  # paper is in the easel from here on
        self._keep_all()
        self.stages = list(stages)
        self.is_strip = is_strip
        self._done = []
        self._done_text = ""
        self._go_to(1)

    def _go_to(self, at: int) -> None:
        """Stand before stage `at`, and note it, so that a reset in mid-exposure can be told."""
        self.at = at
        self.given_ms = 0
        self.strikes = 0
        stage = self.stages[at]
        journal = {
            "kind": "strip" if self.is_strip else "print",
            "stage": at,
            "of": len(self.stages),
            "name": stage_name(stage),
            "light": stage.kind != FIT,
            "done": self._done_text,
        }
        self._keep("journal", encode(journal))

    def _stage_is_fit(self) -> bool:
        return self.stages[self.at].kind == FIT

    def _stage_is_begun(self) -> bool:
        return self.given_ms > 0

    def _fitted(self) -> None:
        self._go_to(self.at + 1)

    def _move_stage(self) -> None:
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
        """`left_ms` as the printer thinks of it: without dry-down."""
        stage = self.stages[self.at]
        left_ms = self.left_ms()
        if left_ms == stage.light_ms:
            return stage.shown_ms
        # Coarser units keep the product a small integer: this is called while the lamp is lit.
        bits = 0
        while stage.shown_ms >> bits > 32767:
            bits += 1
        return (left_ms >> bits) * (stage.shown_ms >> bits) // (stage.light_ms >> bits) << bits

    def _paper_at_risk(self) -> bool:
        return self._exposed and not self._warned

    def _warn_paper(self) -> None:
        self._warned = True
        self._say("Viewing light would fog the sheet. Put it away, then press LAMP again.")
        self.out.put("sound", "refuse")

    def _strike(self) -> None:
        lag_ms = self.bench.get("lag_ms")
        left_ms = self.stages[self.at].light_ms - self.given_ms
        strike_ms = lamp_ms(left_ms, lag_ms)
        least_ms = self.bench.get("least_ms")
        if strike_ms < least_ms:
            raise Refusal(
                "The rest is too short",
                "%d ms of lamp, and this lamp needs %d" % (strike_ms, least_ms),
                "Press BACK to leave it",
            )
        self._axis_ms = lag_ms - self.given_ms
        if self.strikes == 0:
            self._cue = 0
            while self._cue_at() <= self.given_ms:
                self._cue += 1
            self._next_tick_ms = (self.given_ms // TICK_MS + 1) * TICK_MS
        self.strikes += 1
        self._exposed = True
        self._light(strike_ms, "exposing")
        self.out.put("sound", "start")

    def _cue_at(self) -> int:
        cues = self.stages[self.at].cues
        return cues[self._cue][0] if self._cue < len(cues) else NEVER_MS

    def _sound_cues(self) -> None:
        """Every cue and second tick that is due; a cue on a full second silences the tick."""
        so_far_ms = since(self.now_ms, self._struck_ms) - self._axis_ms
        cues = self.stages[self.at].cues
        end_ms = self.stages[self.at].light_ms
        while True:
            cue_ms = self._cue_at()
            if cue_ms <= self._next_tick_ms:
                if cue_ms > so_far_ms:
                    break
                self.out.put("sound", cues[self._cue][1])
                self._cue += 1
                if cue_ms == self._next_tick_ms:
                    self._next_tick_ms += TICK_MS
            else:
                if self._next_tick_ms > so_far_ms:
                    break
                self.out.put("sound", "tick")
                self._next_tick_ms += TICK_MS
            if self._next_tick_ms >= end_ms:
                self._next_tick_ms = NEVER_MS
        self._refresh()

    def _refresh(self) -> None:
        if self.panel_ms:
            lit_ms = since(self.now_ms, self._struck_ms)
            if lit_ms >= self._next_picture_ms:
                self._next_picture_ms = lit_ms - lit_ms % self._picture_step_ms + self._picture_step_ms
                self.out.put("screen")

    def _too_late_to_hold(self) -> bool:
        """A rest shorter than the lamp can give could not be given later: let it run out."""
        return self.left_ms() + self.bench.get("lag_ms") < self.bench.get("least_ms")

    def _put_out_to_hold(self) -> None:
        self._to_hold = True
        self._put_out()

    def _put_out_to_leave(self) -> None:
        self._to_hold = False
        self._put_out()

    def _account(self, lit_ms: int) -> None:
        """Count the light of the strike that ended after `lit_ms` of lamp."""
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
        return self._is_last() and not self.is_strip

    def _strip_is_whole(self) -> bool:
        return self._is_last() and self.is_strip

    def _holding(self) -> bool:
        return self._to_hold

    def _hold(self) -> None:
        self.out.put("sound", "hold")

    def _cut_short(self) -> None:
        self.out.put("sound", "hold")
        self._say("The lamp went out early. The rest can still be given.")

    def _note_stage(self) -> None:
        self._done.append([self.at, self.given_ms, self.strikes])
        # As one text it is written into the journal at once, however long the run has become.
        self._done_text += "%d %d %d;" % (self.at, self.given_ms, self.strikes)

    def _end_stage(self) -> None:
        self._note_stage()
        self._go_to(self.at + 1)
        self.out.put("sound", "fit" if self._stage_is_fit() else "end")

    def _end_print(self) -> None:
        self._note_stage()
        self.prints += 1
        self.out.put("sound", "end")
        self._say("Print %d is done and in the ledger." % self.prints)
        self._close_run()

    def _end_strip(self) -> None:
        self._note_stage()
        self._close_run()
        self.out.put("sound", "end")
        self._strip_gave = self.strip.gives(self.work)
        self.place = self.strip.patches - 1

    def _abandon(self) -> None:
        if self.given_ms:
            self._note_stage()
        self._say(
            "Ended here. What was given is in the ledger." if self._done else "Ended. No light was given."
        )
        self._close_run()

    def _close_run(self) -> None:
        """The run is over: its record into the ledger, the journal closed."""
        stages = self.stages
        lit = [index for index in range(len(stages)) if stages[index].kind != FIT]
        record = {
            "kind": "strip" if self.is_strip else "print",
            "card": self.work.name,
            "title": self.work.title,
            "whole": bool(lit) and [at for at, ms, _ in self._done if ms >= stages[at].light_ms] == lit,
            "cut_off": self._cut_at,
            "lag_ms": self.bench.get("lag_ms"),
            "dry_down_pm": self.work.dry_down_pm if self.work.dry_down and not self.is_strip else 0,
            "stages": [
                {
                    "stage": stage_name(stages[at]),
                    "filter": stages[at].filter,
                    "light_ms": stages[at].light_ms,
                    "given_ms": given_ms,
                    "strikes": strikes,
                }
                for at, given_ms, strikes in self._done
            ],
        }
        worth_noting = bool(self._done or self._cut_at)
        self.stages = []
        self.at = 0
        self.given_ms = 0
        self._done = []
        self._done_text = ""
        self._cut_at = ""
        if worth_noting:
            try:
                self.ledger.append(record)
            except Refusal as refusal:
                self._say(refusal.line)
        self._close_journal()

    def _close_journal(self) -> None:
        try:
            self.store.drop("journal")
        except Refusal as refusal:
            self._say(refusal.line)

    # --- the viewing light

    def _view(self) -> None:
        self._before = self.state
        self._exposed = False
        self._light(self.bench.get("viewing_limit_s") * 1000, "viewing")

    def view_left_ms(self) -> int:
        """What is left of the viewing light's limit."""
        return max(0, self._lamp_ms - since(self.now_ms, self._struck_ms))

    def _put_out_view(self) -> None:
        self._put_out()

    def _view_ran_out(self) -> None:
        self.out.put("sound", "end")
        self._say("Viewing light has reached its limit.")

    def _was_viewing(self) -> bool:
        return self._viewing

    # --- after a strip

    def _reopen_choice(self) -> None:
        self._earlier = None

    def _move_place(self) -> None:
        self.place = max(0, min(self.strip.last_place, self.place + self.value))

    def _take_place(self) -> None:
        before = self._snapshot()
        self.strip.choose(self.work, self.place)
        self.go_to_sheet("print")
        self._changed(before)

    def _leave_choice(self) -> None:
        self.cursor = len(sheets.rows(self)) - 1

    @property
    def strip_given(self) -> bool:
        """True while the strip as it is set is the one that was given: then a patch can be chosen."""
        return self._strip_gave == self.strip.gives(self.work)

    # --- what the wire asks for

    def summary(self) -> dict:
        """The state in plain data: what it is, what is under way, what each control will do."""
        running = bool(self.stages)
        return {
            "state": self.state,
            "sheet": self.sheet,
            "card": self.work.name,
            "lit": self.lit,
            "safelight": self.safelight,
            "run": ("strip" if self.is_strip else "print") if running else "",
            "stage": self.at + 1 if running else 0,
            "stages": len(self.stages),
            "name": stage_name(self.stages[self.at]) if running else "",
            "left_ms": self.left_ms() if running else 0,
            "expose": self.says("expose"),
            "message": self.message,
        }

    def set_bench(self, values: dict) -> None:
        """Set and keep all of `values`, or none. A Refusal changes nothing.

        What the printer is turning is not kept by it, and what BACK would undo can still be undone.
        """
        kept = Bench()
        kept.set_all(self._earlier[2] if self.state == "edit" and self._earlier else self.bench.to_dict())
        kept.set_all(values)
        self.store.put("bench", encode(kept.to_dict()))
        self.bench.set_all(values)
        if self._earlier is not None:
            self._earlier[2].update(values)
        self._plan = None
        self._wired = True

    def shelf_changed(self) -> None:
        self.pick = 0  # what was picked may be another card now, or none
        if self.sheet == "shelf" and self.state == "edit":
            self.cursor_on(self.picking)
        self._wired = True

    def hand_over(self) -> None:
        """Leave to the prompt, as soon as the link is done and only if it is dark then."""
        self._leaving = True
        self._wired = True

    def _settle_wire(self) -> None:
        """Say outside what the wire changed inside."""
        if not self._wired:
            return
        self._wired = False
        self._tell_levels()
        if self._leaving and not self.lit:
            self.state = "away"
            self.out.put("handover")
        self._leaving = False
        self._picture()
