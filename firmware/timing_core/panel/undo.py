"""Undo: the changes made at the panel, newest last, how each is kept, and how to take it back.

What must live here: what is remembered of a change, how far back the memory reaches, what is forgotten when
the wire changes the same thing, and what a change leaves in the store and on the shelf. It may not know
screens, nor what a change is for.

A change of the map is kept as the difference between two canonical texts, which takes little memory on a
board. A map that is replaced as a whole takes its own length. Past ROOM bytes the oldest changes are
dropped.
"""

from timing_core.canonical import encode
from timing_core.light.printing_map import PrintingMap
from timing_core.light.strip import Strip
from timing_core.light.work import Work
from timing_core.machine.machine import Exchange
from timing_core.refusal import Refusal

CHANGES_MAX = 12
ROOM = 12288
"""Bytes for all changes together: twelve changed values, or eight replaced maps of about 30 marks each."""


class Change:
    """One change: what it is `of`, the value that there `was` before it and is there `now`, both "" if it has
    none. `more` is said when it is crossed. The rest is what was there before, and is None or empty where
    nothing changed: `map` (see `cut`), `strip` (anything), `bench` ({setting: value}), `trays` (what
    `TraySetup.bring_back` takes), and `card` (its name, and its text or None)."""

    def __init__(self, of: str, was: str, now: str) -> None:
        self.of = of
        self.was = was
        self.now = now
        self.more = ""
        self.map: tuple | None = None
        self.strip: tuple | None = None
        self.bench: dict = {}
        self.trays: dict = {}
        self.card: tuple | None = None
        self.prints = self.pass_index = 0

    @property
    def says(self) -> str:
        """What crossing it brings back."""
        return "%s: %s" % (self.of, self.was.replace("  ", ", ")) if self.was else self.of

    @property
    def is_nothing(self) -> bool:
        is_same = self.map is None and self.strip is None and self.card is None
        return is_same and not (self.bench or self.trays)

    @property
    def size(self) -> int:
        size = len(self.map[2]) if self.map else 0
        if self.card and self.card[1]:
            size += len(self.card[1])
        return size


class Undo:
    """The changes, newest last, and those that were undone, the last one last. Each change holds what was
    there on its other side: `go_back` and `go_forward` take the change that leads to where it came from."""

    def __init__(self) -> None:
        self._changes: list[Change] = []
        self._undone: list[Change] = []

    def __len__(self) -> int:
        return len(self._changes)

    @property
    def newest(self):
        """The change that would be taken back, or None."""
        return self._changes[-1] if self._changes else None

    @property
    def ahead(self):
        """The change that was undone last and can be made again, or None."""
        return self._undone[-1] if self._undone else None

    def push(self, change: Change) -> None:
        """A new change: what was undone before it cannot be made again."""
        if change.is_nothing:
            return
        self._undone = []
        self._changes.append(change)
        self._make_room()

    def go_back(self, forward: Change) -> None:
        """The newest change is undone; `forward` makes it again."""
        self._changes.pop()
        self._undone.append(forward)
        self._make_room()

    def go_forward(self, back: Change) -> None:
        """The change that was undone last is made again; `back` undoes it."""
        self._undone.pop()
        self._changes.append(back)
        self._make_room()

    def _make_room(self) -> None:
        size = sum([one.size for one in self._changes + self._undone])
        for found in (self._changes, self._undone):
            while len(found) > 1 and (len(found) > CHANGES_MAX or size > ROOM):
                size -= found[0].size
                found.pop(0)

    def forget_card(self, name: str) -> None:
        """The wire has changed this card, and undo must not take that back."""
        for change in self._changes + self._undone:
            if change.card and change.card[0] == name:
                change.card = None
                change.of, change.was = "the map's name", ""
                change.more = " The card stays: the PC has changed it."
        self._drop_empty()

    def forget_settings(self, keys) -> None:
        """The wire has set these settings, and undo must not take that back."""
        for change in self._changes + self._undone:
            for key in keys:
                change.bench.pop(key, None)
        self._drop_empty()

    def _drop_empty(self) -> None:
        self._changes = [change for change in self._changes if not change.is_nothing]
        self._undone = [change for change in self._undone if not change.is_nothing]


def cut(before: bytes, after: bytes):
    """What is needed to make `before` out of `after`: how many bytes are the same at the start and at the
    end, and what was between them. None if the two are equal."""
    if before == after:
        return None
    most = min(len(before), len(after))
    start = 0
    while start < most and before[start] == after[start]:
        start += 1
    end = 0
    while end < most - start and before[-1 - end] == after[-1 - end]:
        end += 1
    return (start, end, before[start : len(before) - end])


def mend(after: bytes, piece: tuple) -> bytes:
    """The text before the change, from the text after it and the result of `cut`."""
    start, end, middle = piece
    return after[:start] + middle + after[len(after) - end :]


class Before:
    """Everything that a change at the panel may change, as it was before it. `at` is where the cursor was,
    and `value` what its row showed."""

    def __init__(self, work: Work, at: int, value: str) -> None:
        self.map = work.map.copy()
        self.text = work.map.text()
        self.strip = work.strip.copy()
        self.strip_gave = work.strip_gave
        self.prints, self.pass_index = work.prints, work.pass_index
        self.bench = work.bench.to_dict()
        self.at = at
        self.value = value


def _no_trays(panel, were: dict) -> dict:
    return were


class Kept:
    """Keeps what is changed at the panel, and takes it back. `trays_were` is handed in with a change of the
    trays: what leads back from it; `bring_trays(panel, were)` brings that back and returns what leads here
    again."""

    def __init__(self, work: Work, io: Exchange, platform, store, shelf, ledger) -> None:
        self.work = work
        self.io = io
        self.json_loads = platform.json_loads
        self.store = store
        self.shelf = shelf
        self.ledger = ledger
        self.undo = Undo()
        self._card_change: tuple | None = None
        self.trays_were: dict = {}
        self.bring_trays = _no_trays  # set from outside, as is what it wants
        self.panel: object = None

    def changed(self, before: Before | None, of: str, now: str = "") -> None:
        """Keep what was changed at the panel, and remember how to take it back. It is `of` what `before` has
        the value of, and that is `now` another."""
        work = self.work
        work.settle()
        if before is not None:
            change = Change(of, before.value, now)
            change.map = cut(before.text, work.map.text())
            strip = before.strip.to_dict()
            if strip != work.strip.to_dict() or before.strip_gave != work.strip_gave:
                change.strip = (strip, before.strip_gave)
            values = work.bench.to_dict()
            for key in before.bench:
                if before.bench[key] != values[key]:
                    change.bench[key] = before.bench[key]
            change.card = self._card_change
            change.trays, self.trays_were = self.trays_were, {}
            change.prints, change.pass_index = before.prints, before.pass_index
            self._card_change = None
            self.undo.push(change)
        self.keep_all()

    def take_back(self) -> str:
        """Undo the newest change, and return the message that it was. A Refusal leaves everything as it is,
        and the change remembered."""
        change = self.undo.newest
        if change is None:
            raise Refusal("Nothing to undo", "no change is remembered", "Go on")
        self.undo.go_back(self._cross(change))
        return "Undone: %s." % change.says + change.more

    def make_again(self) -> str:
        """Make the change again that was undone last, and return the message that it was. A Refusal leaves
        everything as it is."""
        change = self.undo.ahead
        if change is None:
            raise Refusal("Nothing to redo", "no undone change is remembered", "Go on")
        self.undo.go_forward(self._cross(change))
        return "Redone: %s." % change.says + change.more

    def _cross(self, change: Change) -> Change:
        """Bring back what `change` remembers. Returns the change that leads here again."""
        work = self.work
        here = Change(change.of, change.now, change.was)
        here.more = change.more
        # What may fail comes first.
        if change.card is not None:
            name, text = change.card
            here.card = (name, self.shelf.text(name))
            if text is None:
                self.shelf.drop(name)
            else:
                self.shelf.keep_text(name, text)
        if change.trays:
            here.trays = self.bring_trays(self.panel, change.trays)
        if change.map is not None:
            now = work.map.text()
            text = mend(now, change.map)
            here.map = cut(now, text)
            here.prints, here.pass_index = work.prints, work.pass_index
            former = work.map.name
            work.map = PrintingMap.from_dict(self.json_loads(str(text, "utf-8")))
            work.prints, work.pass_index = change.prints, change.pass_index
            if work.map.name != former:
                work.forget_spots()
        if change.strip is not None:
            here.strip = (work.strip.to_dict(), work.strip_gave)
            work.strip, work.strip_gave = Strip.from_dict(change.strip[0]), change.strip[1]
        values = work.bench.to_dict()
        for key in change.bench:
            here.bench[key] = values[key]
        work.bench.take(change.bench)
        work.settle()
        return here

    def keep_card(self, name: str, text: bytes) -> bool:
        """Keep a card on the shelf from the panel; True if it replaces another."""
        before = self.shelf.text(name)
        self.shelf.keep_text(name, text)
        self._card_changed(name, before)
        return before is not None

    def drop_card(self, name: str) -> None:
        """Take a card off the shelf from the panel."""
        before = self.shelf.text(name)
        self.shelf.drop(name)
        self._card_changed(name, before)

    def _card_changed(self, name: str, before) -> None:
        self._card_change = (name, before)
        line = self.ledger.write_waiting_or_say()
        if line:
            self.io.say(line)

    def keep_all(self) -> None:
        """Keep what the printer has set. Nothing is written if it is kept already."""
        self._keep("work", self.work.map.text())
        self.keep_settings()

    def keep_settings(self) -> None:
        self._keep("bench", encode(self.work.bench.kept()))

    def _keep(self, key: str, data: bytes) -> None:
        """If the store cannot write, say so and go on: it must not stop a printer in the dark."""
        try:
            self.store.put(key, data)
        except Refusal as refusal:
            self.io.say(refusal.line)
