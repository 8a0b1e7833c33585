"""The panel: screens, the cursor, and the value that is open.

What must live here: what dial and BACK do on a screen. It gives no light and knows no run but the one it is
shown, to offer going on with it.
"""

from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import seconds_text, stops_text
from timing_core.light.strip import Strip
from timing_core.light.work import Work
from timing_core.machine.machine import Exchange
from timing_core.panel.rows import (
    ACTS,
    CHOOSES,
    ENDS,
    GOES_ON,
    KEEPS,
    LEADS_ON,
    PACES,
    SETTING,
    TURNS,
    Row,
)
from timing_core.panel.screens import screens
from timing_core.panel.undo import Before, Kept
from timing_core.refusal import Refusal
from timing_core.ticks import since


class Cursor:
    """`screen` is one of the panel's screens, `at` the row, `pick` what an open row has picked, and `place`
    that on a strip while a patch is chosen (see `Strip`)."""

    def __init__(self, screen) -> None:
        self.screen = screen
        self.at = 0
        self.pick = 0
        self.place = 0
        self._turned_ms = 0

    def pace(self, now_ms: int, detents: int) -> int:
        """Faster turning takes bigger steps: 1, then 2 under 80 ms a detent, 5 under 40 ms."""
        each_ms = since(now_ms, self._turned_ms) // max(1, abs(detents))
        self._turned_ms = now_ms
        if not 0 <= each_ms < 80:
            return 1
        return 2 if each_ms >= 40 else 5


def _keep(module: str) -> None:
    """A desk has the room for all screens."""


def _bring_trays(panel, were: dict) -> dict:
    """Bring back settings of the trays, which are read with their screen. Refusal if that cannot be loaded,
    or they cannot be kept."""
    for screen in panel.screens:
        if screen.key == "trays":
            trays = screen.opened()
            try:
                trays.home(panel)
                return trays.bring_back(were)
            finally:
                panel.let_go(screen.module)
    return were


def _keep_open(panel, row: Row, was: str) -> None:
    """The wire has changed something while this row is open, and its value `was` this. If what it has picked
    is another now, or none, it is opened anew."""
    try:
        is_same = panel.value(row) == was
    except IndexError:
        is_same = False
    if not is_same:
        before = panel.before
        panel.work.map, panel.work.strip = before.map.copy(), before.strip.copy()
        panel.cursor_on(row)
        panel.screen.open(panel, row)


def _set_text(map: PrintingMap, mark, index: int) -> str:
    """What choosing a patch sets: the stops of a mark, or the base of a pass."""
    return stops_text(mark.stops120) if mark is not None else seconds_text(map.base_ms(index))


class Panel:
    """`screens` has the list of screens first. `before` is what was there when the open value was opened;
    None if none is open. `aim` is the pass and mark (None for the base) of the row on which the Print screen
    was left for the list of screens; None if that had neither, or the list was reached in another way.
    `doses` is what the cell gathers for its own two tests (see `machine.cell_doses`), while one is open.
    `let_go(module)` is called when a screen is left that is loaded when it is opened. `drawn` is the input
    after which rows are being drawn, and these; None while none are."""

    def __init__(self, work: Work, io: Exchange, platform, store, shelves, ledger, run, watch, trays) -> None:
        self.work = work
        self.io = io
        self.shelf, self.papers, self.sequences = shelves
        self.run = run
        self.watch = watch
        self.trays = trays
        self.doses = None
        self.kept = Kept(work, io, platform, store, self.shelf, ledger)
        self.kept.bring_trays, self.kept.panel = _bring_trays, self
        self.undo = self.kept.undo
        self.screens = screens()
        self.let_go = _keep  # set from outside, where memory is short
        self._loaded = ""
        self.cursor = Cursor(self.screens[0])
        self.before: Before | None = None
        self.aim: tuple | None = None
        self.drawn: tuple | None = None
        self._level = -1
        self._volume = -1

    # --- where the cursor is

    @property
    def screen(self):
        return self.cursor.screen

    def rows(self) -> list:
        """Made anew, since what they say may have changed; but once for a picture that no input cuts into."""
        drawn = self.drawn
        return drawn[1] if drawn and drawn[0] == self.io.inputs else self.cursor.screen.rows(self)

    def row(self) -> Row:
        """The row under the cursor."""
        found = self.rows()
        self.cursor.at = min(self.cursor.at, len(found) - 1)
        return found[self.cursor.at]

    def value(self, row: Row) -> str:
        return self.cursor.screen.value(self, row)

    def show(self, key: str) -> None:
        """Go to a screen, by its key. Refusal if it cannot be loaded; then nothing is changed."""
        for screen in self.screens:
            if screen.key == key and screen.key != self.cursor.screen.key:
                self.cursor.screen = screen.opened()
                if self._loaded and self._loaded != screen.module:
                    self.let_go(self._loaded)
                self._loaded = screen.module
        self.come_home()

    def come_home(self) -> None:
        """Bring the cursor to the row that is most likely wanted on this screen."""
        self.cursor.at = self.cursor.screen.home(self)

    def open_screen(self, key: str) -> None:
        """Go to a screen from the list of them."""
        self.show(key)
        self.cursor.screen.enter(self)

    def cursor_on(self, row: Row) -> None:
        """Keep the cursor on this row when the rows above it change."""
        found = self.cursor.screen.rows(self)
        for at in range(len(found)):
            if found[at].same(row):
                self.cursor.at = at
                return

    def cursor_on_key(self, key: str, name: str = "") -> None:
        row = Row(key, "")
        row.name = name
        self.cursor_on(row)

    def list_screens(self, key: str, name: str = "") -> None:
        """Show the list of screens, with the cursor on one of its rows."""
        self.aim = None
        self.show("screens")
        self.cursor_on_key(key, name)

    def in_screen(self) -> bool:
        return self.cursor.screen is not self.screens[0]

    def leave_screen(self) -> None:
        left = self.cursor.screen
        aim = left.aim(self)
        left.leave()
        if left.over:
            self.show(left.over)
            self.cursor_on_key(left.key)
        else:
            if self.run.can_go_on:
                self.list_screens("go on")
            else:
                self.list_screens("screen", left.key)
            self.aim = aim

    def can_move(self) -> bool:
        return len(self.rows()) > 1

    def move(self) -> None:
        self.cursor.at = max(0, min(len(self.rows()) - 1, self.cursor.at + self.io.amount))

    def row_chooses(self) -> bool:
        return self.row().does & CHOOSES != 0

    def row_acts(self) -> bool:
        return self.row().does & ACTS != 0

    def row_turns(self) -> bool:
        return self.row().does & TURNS != 0

    def row_leads_on(self) -> bool:
        return self.row().does & LEADS_ON != 0

    def row_ends(self) -> bool:
        return self.row().does & ENDS != 0

    def row_goes_on(self) -> bool:
        return self.row().does & GOES_ON != 0

    def deed(self) -> str:
        return self.row().deed

    # --- the open value

    @property
    def is_open(self) -> bool:
        return self.before is not None

    def has_open(self, row: Row) -> bool:
        return self.before is not None and self.row().same(row)

    @property
    def opened_map(self) -> PrintingMap:
        """The map as it was when the value under the cursor was opened; the map itself if none is open."""
        return self.before.map if self.before else self.work.map

    @property
    def opened_strip(self) -> Strip:
        return self.before.strip if self.before else self.work.strip

    def base_before_ms(self, index: int) -> int:
        """The base of a pass as it was when the value under the cursor was opened; of a new pass, as it is
        now."""
        then = self.opened_map
        return (then if index < len(then.passes) else self.work.map).base_ms(index)

    def open(self) -> None:
        row = self.row()
        self.before = Before(self.work, self.cursor.at, self.value(row))
        try:
            self.screen.open(self, row)
        except Refusal:
            self.leave_value()
            raise
        self.work.changed()

    def turn(self) -> None:
        row = self.row()
        steps = self.io.amount
        if row.does & PACES:
            steps *= self.cursor.pace(self.io.now_ms, steps)
        self.screen.turn(self, row, steps)
        self.work.changed()
        self.tell_levels()

    def turn_pick(self, choices: int, steps: int) -> None:
        self.cursor.pick = max(0, min(choices - 1, self.cursor.pick + steps))

    def take(self) -> None:
        row = self.row()
        self.screen.take(self, row)
        before = self.before
        self.before = None
        # Where the row had no value that undo could name, it has none to name now.
        now = self.value(row) if before and before.value else ""
        self.kept.changed(before, self.screen.said(self, row), now)

    def take_on(self) -> None:
        """Take the open value, and open that of the row to which it has led."""
        self.take()
        self.open()

    def leave_value(self) -> None:
        """Drop the proposal: everything is as it was before the value was opened."""
        before = self.before
        if before is not None:
            work = self.work
            work.map, work.strip = before.map, before.strip
            work.bench.take(before.bench)
            self.cursor.at = before.at
            self.before = None
            work.changed()
            self.tell_levels()

    def act(self) -> None:
        row = self.row()
        said = self.screen.said(self, row)
        before = Before(self.work, self.cursor.at, "")
        self.screen.act(self, row)
        if not row.does & KEEPS:
            self.kept.changed(before, said)

    # --- choosing a patch

    def choose_from_middle(self) -> None:
        self.cursor.place = self.work.strip.patches - 1

    def move_place(self) -> None:
        cursor = self.cursor
        cursor.place = max(0, min(self.work.strip.last_place, cursor.place + self.io.amount))

    def take_place(self) -> None:
        strip, map, index = self.work.strip, self.work.map, self.work.strip.pass_index
        mark = strip.mark(map)
        before = Before(self.work, self.cursor.at, _set_text(map, mark, index))
        tied = map.tied and len(map.passes) > 1
        strip.choose(map, self.cursor.place)
        self.work.pass_index = index
        self.show("print")
        # The cursor comes to the row that the choice has set.
        row = Row("base" if mark is None else "mark", "", 0, "", index, strip.mark_index)
        self.cursor_on(row)
        said, value = self.screen.said(self, row), _set_text(map, mark, index)
        whole = said + " alone" if mark is None and tied else said
        self.io.say("%s is set to %s. To choose again: undo, then Strip." % (whole, value))
        self.kept.changed(before, said, value)

    def leave_choice(self) -> None:
        self.show("strip")
        self.cursor.at = len(self.rows()) - 1

    # --- what is kept

    def take_back(self) -> None:
        """Undo the newest change. A Refusal leaves everything as it is, and the change remembered."""
        self._moved_in_time(self.kept.take_back())

    def make_again(self) -> None:
        """Make the change again that was undone last. A Refusal leaves everything as it is."""
        self._moved_in_time(self.kept.make_again())

    def _moved_in_time(self, told: str) -> None:
        self.aim = None  # the map may be another, or have other marks
        self.tell_levels()
        self.io.say(told)
        self.kept.keep_all()

    def card_changed_by_wire(self, shelf, name: str, here: Row, was: str) -> None:
        """The wire has kept or removed a card, a paper record or a tray sequence: undo must not take that
        back, and the cursor stays on the row that it was on (`here`), whose open value `was` this."""
        if shelf is self.shelf:
            self.undo.forget_card(name)
        at = self.cursor.at
        self.cursor_on(here)
        if self.before is not None:
            self.before.at += self.cursor.at - at
            _keep_open(self, here, was)

    def settings_to_keep(self) -> dict:
        """The settings as they are taken, without what is just being turned."""
        return self.before.bench if self.before is not None else self.work.bench.to_dict()

    def settings_changed_by_wire(self, values: dict) -> None:
        """The wire sets `values`, which are checked: undo must not take that back, nor leaving an open
        value. No key is taken meanwhile, so it is short."""
        before = self.before
        row = self.row() if before is not None else None
        was = self.value(row) if row is not None else ""
        self.work.bench.take(values)
        if before is not None and row is not None:
            before.bench.update(values)
            if row.key != SETTING:
                _keep_open(self, row, was)
            elif row.name in values:
                before.value = ""  # what undo would name is no longer what it brings back
        self.undo.forget_settings(values)
        self.work.changed()

    def tell_levels(self, anew: bool = False) -> None:
        bench = self.work.bench
        level = 1 if self.run.dims else bench.get("brightness")
        if level != self._level or anew:
            self._level = level
            self.io.put("level", level)
        volume = bench.get("volume")
        if volume != self._volume or anew:
            self._volume = volume
            self.io.put("volume", volume)
