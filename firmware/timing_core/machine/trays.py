"""The trays: a second small machine, which counts the time of sheets in developer, stop bath, fix and wash.

What must live here: which sheet is in which tray since when, what is due for it, and the tones that tell of
it. It may not know what else the box does: that is handed in. Times under way are not kept over a power cut;
that there were some is.

A sheet goes from tray to tray by itself, as a printer does who follows the tones; a press moves it early. In
a tray whose time is a least one it stays until it is moved, and what it is over is counted. A tone waits
until it is at least QUIET_MS from every other sound but the tick of a second, before and after. Of what waits
the most urgent is said first, and each but once.

Law: while the lamp is lit nothing here allocates or writes a record, and no number leaves 30 bits.
"""

from timing_core.light.stops import clock_text
from timing_core.platform import const
from timing_core.refusal import Refusal
from timing_core.ticks import later, since

SHEETS_MAX = 3

QUIET_MS = 1000
TONE_MS = 450
"""Room for the longest tone of a tray."""
_ROOM_MS = const(1450)
"""For that, and a quiet second after it."""
EARLIEST_MS = 3000
"""A press so soon after a sheet came into its tray may have been meant for the tray before."""
_FORGOTTEN_MS = const(1800000)
"""A sheet whose image is not seen in half an hour is taken out, and so is one that is over by that."""
_PICTURE_MS = const(1000)

# Of what waits to be said, the highest first
_TONES = ("agitate", "drain", "tray")
_AGITATE = const(1)
_DRAIN = const(2)
_TRAY = const(4)

_NAME = const(0)
_LASTS_MS = const(1)
_DRAIN_MS = const(2)
_TICK_MS = const(3)
_STAYS = const(4)

_KEY = "sheets"

LOST_SHEETS = "The clocks of the trays are lost: the power was. Go by your own time."


class Sheet:
    """A sheet on its way. `trays` are (name, ms it lasts, or 0 until the image was seen, ms of it to drain,
    ms between agitations or 0, whether the sheet stays there until it is moved), () while there is no sheet;
    `at` is which of them it is in, `lasts_ms` how long that is, and `is_over` whether the sheet has stayed
    longer. `by_time` tells that it came here by its time, and not by a press. Before the first sheet `at` is
    -1."""

    def __init__(self) -> None:
        self.trays: tuple = ()
        self.at = -1
        self.is_over = self.by_time = False
        self.lasts_ms = self._began_ms = self._new_ms = self._next_ms = 0

    @property
    def tray(self) -> str:
        """The name of that which it is in."""
        return self.trays[self.at][_NAME]

    def enter(self, at: int, now_ms: int, by_time: bool = False) -> None:
        self.at = at
        self.by_time = by_time
        self.is_over = False
        self._began_ms = self._new_ms = now_ms
        if at >= len(self.trays):
            self.trays = ()
            return
        self.lasts_ms = self.trays[at][_LASTS_MS]
        self._find(0)

    def see(self, lasts_ms: int, now_ms: int) -> None:
        """The image is seen: so long does this tray last, from when the sheet came into it."""
        self.lasts_ms = lasts_ms
        self._new_ms = now_ms
        self._find(self.in_ms(now_ms))

    def has_just_left(self, now_ms: int) -> bool:
        return not self.trays and self.at >= 0 and self.is_new(now_ms)

    def is_new(self, now_ms: int) -> bool:
        """It came into its tray, out, or was seen so lately that a press may have been meant for that."""
        return 0 <= since(now_ms, self._new_ms) < EARLIEST_MS

    def told_until_ms(self) -> int:
        """When it is new no more."""
        return later(self._new_ms, EARLIEST_MS)

    def in_ms(self, now_ms: int) -> int:
        """How long it has been in its tray."""
        return since(now_ms, self._began_ms)

    def is_due_out(self, now_ms: int) -> bool:
        """Its time in the tray before was over just now: it has to be out of there."""
        return self.by_time and self.at > 0 and self.is_new(now_ms)

    def left_ms(self, now_ms: int) -> int:
        return max(0, self.lasts_ms - self.in_ms(now_ms))

    def clock_text(self, now_ms: int) -> str:
        """What is left in its tray; what it is over, as "+0:12"; or how long it is in until it is seen."""
        if self.is_over:
            return "+" + clock_text(1000 * self.over_s(now_ms))
        return clock_text(self.left_ms(now_ms) if self.lasts_ms else self.in_ms(now_ms))

    def over_s(self, now_ms: int) -> int:
        return (self.in_ms(now_ms) - self.lasts_ms) // 1000

    def due_ms(self) -> int:
        return later(self._began_ms, self._next_ms)

    def take(self, now_ms: int) -> int:
        """The tones of all that is due by now, as bits."""
        tones = 0
        while self.trays and self.in_ms(now_ms) >= self._next_ms:
            at_ms = self._next_ms
            if at_ms >= self._ends_ms():
                tones |= _TRAY
                if self.lasts_ms and self.trays[self.at][_STAYS] and not self.is_over:
                    self.is_over = True
                    self._next_ms = self._ends_ms()
                    continue
                is_forgotten = self.is_over or not self.lasts_ms
                at = len(self.trays) if is_forgotten else self.at + 1
                self.enter(at, later(self._began_ms, at_ms), True)
                continue
            tones |= _DRAIN if at_ms == self._drains_ms() else _AGITATE
            self._find(at_ms)
        return tones

    def _ends_ms(self) -> int:
        if self.is_over or not self.lasts_ms:
            return self.lasts_ms + _FORGOTTEN_MS
        return self.lasts_ms

    def _drains_ms(self) -> int:
        drain_ms = self.trays[self.at][_DRAIN_MS]
        return self.lasts_ms - drain_ms if drain_ms < self.lasts_ms else 0

    def _find(self, past_ms: int) -> None:
        """What comes next after `past_ms` in the tray: an agitation, to drain, or the end."""
        due_ms = self._ends_ms()
        drains_ms = self._drains_ms()
        if past_ms < drains_ms:
            due_ms = drains_ms
        tick_ms = self.trays[self.at][_TICK_MS]
        # What drains is not agitated
        if tick_ms and (past_ms < drains_ms or not drains_ms):
            due_ms = min(due_ms, (past_ms // tick_ms + 1) * tick_ms)
        self._next_ms = due_ms


class Trays:
    """`sheets` are places for them. `lost` is true after a start that found sheets on their way, until the
    Trays screen has said so. `counted_s` is the time since power-up that the record of the baths has."""

    def __init__(self, io, store, clock) -> None:
        self._io = io
        self._store = store
        self.clock = clock
        self.sheets = tuple([Sheet() for _ in range(SHEETS_MAX)])
        self.lost = self._is_noted = store.get(_KEY) is not None
        self.counted_s = self._waiting = self._said = self._said_ms = self._picture_ms = 0

    def is_empty(self) -> bool:
        return not (self.sheets[0].trays or self.sheets[1].trays or self.sheets[2].trays)

    def is_idle(self) -> bool:
        """Nothing is due, nor will be before a sheet begins."""
        return not (self._waiting or self._said or self._is_noted) and self.is_empty()

    def nearest(self):
        """The sheet whose tray ends next, else one that is over; None if there is none with an end."""
        found = None
        for sheet in self.sheets:
            if sheet.trays and sheet.lasts_ms:
                now_ms = self._io.now_ms
                is_sooner = not sheet.is_over and found and sheet.left_ms(now_ms) < found.left_ms(now_ms)
                if found is None or found.is_over or is_sooner:
                    found = sheet
        return found

    # --- what a press does; in the dark alone

    def start(self, at: int, trays: tuple) -> None:
        """A sheet goes into the first of `trays` now, in place `at`, where there is none. Refusal if one has
        only just come out there."""
        sheet, io = self.sheets[at], self._io
        if sheet.has_just_left(io.now_ms):
            raise Refusal("No sheet begins", "one came out here just now", "Press again after 3 s")
        if self.is_empty():
            # What was before may be so long ago that its time has wrapped
            io.sounded_ms = self._picture_ms = io.now_ms
            self._said = 0
        sheet.trays = trays
        sheet.enter(0, io.now_ms)
        self._note()

    def move(self, at: int) -> None:
        """A sheet goes into its next tray now. Refusal if it is too new in this one."""
        sheet, now_ms = self.sheets[at], self._io.now_ms
        if sheet.is_new(now_ms):
            raise Refusal("Not moved", "this sheet came in or was seen just now", "Press again after 3 s")
        sheet.enter(sheet.at + 1, now_ms)

    def _note(self) -> None:
        """Keep that there are sheets: what is on its way is lost with the power, and is then told of."""
        if not self._is_noted:
            try:
                self._store.put(_KEY, b"1")
                self._is_noted = True
            except Refusal:
                pass  # their times are counted all the same

    # --- time

    def look(self, quiet_ms: int, dark: bool) -> None:
        """At each tick: tell of what is due by now. There is room for a tone, and quiet after it, in the next
        `quiet_ms`. `dark`: records may be written, and the panel may show the sheets."""
        io = self._io
        now_ms = io.now_ms
        if self._said:
            cut_ms = since(io.sounded_ms, self._said_ms)
            if 0 < cut_ms < TONE_MS:
                self._waiting |= self._said  # a press has cut it off
            if cut_ms or since(now_ms, self._said_ms) >= TONE_MS:
                self._said = 0
        tones = 0
        is_empty = True
        for sheet in self.sheets:
            if sheet.trays:
                is_empty = False
                tones |= sheet.take(now_ms)
        self._waiting |= tones
        if self._waiting and quiet_ms >= _ROOM_MS and since(now_ms, io.sounded_ms) >= QUIET_MS:
            self._sound()
        if is_empty:
            if dark and self._is_noted and self._just_left() is None:
                self._forget()
                io.picture()  # which has told until now that a sheet is to come out
        elif tones or since(now_ms, self._picture_ms) >= _PICTURE_MS:
            self._picture_ms = now_ms
            if dark:
                io.picture()

    def _sound(self) -> None:
        at = 2 if self._waiting & _TRAY else 1 if self._waiting & _DRAIN else 0
        self._said = 1 << at
        self._said_ms = self._io.now_ms
        self._waiting &= ~self._said
        self._io.put("sound", _TONES[at])

    def _just_left(self):
        for sheet in self.sheets:
            if sheet.has_just_left(self._io.now_ms):
                return sheet
        return None

    def _forget(self) -> None:
        self._is_noted = False
        try:
            self._store.drop(_KEY)
        except Refusal:
            pass

    def due_ms(self, due, quiet_ms: int, dark: bool):
        """When a `look` is wanted, or `due` if that is sooner (None: not at all)."""
        is_empty = True
        for sheet in self.sheets:
            if sheet.trays:
                is_empty = False
                due = _sooner(due, sheet.due_ms())
        if dark:
            if not is_empty:
                due = _sooner(due, later(self._picture_ms, _PICTURE_MS))
            elif self._is_noted:
                left = self._just_left()
                due = _sooner(due, left.told_until_ms() if left else self._io.now_ms)
        if self._waiting and quiet_ms >= _ROOM_MS:
            due = _sooner(due, later(self._io.sounded_ms, QUIET_MS))
        return due


def _sooner(due, other_ms: int) -> int:
    return other_ms if due is None or since(due, other_ms) > 0 else due
