"""Undo: the changes made at the panel, newest last, and how to take each back.

What must live here: what is remembered of a change, how far back the memory reaches, and what is forgotten
when the wire changes the same thing. It may not know what a box does with a change.

A change of the map is kept as the difference between two canonical texts, which takes little memory on a
board. A map that is replaced as a whole takes its own length. Past ROOM bytes the oldest changes are
dropped.
"""

CHANGES_MAX = 12
ROOM = 12288
"""Bytes for all changes together: twelve changed values, or eight replaced maps of about 30 marks each."""


class Change:
    """One change. `says` is its name, `what` the message that it was undone. The rest is what was there
    before, and is None or empty where nothing changed: `map` (see `cut`), `strip` (anything), `bench`
    ({setting: value}), and `card` (its name, and its text or None)."""

    def __init__(self, says: str, what: str) -> None:
        self.says = says
        self.what = what
        self.map: tuple | None = None
        self.strip: tuple | None = None
        self.bench: dict = {}
        self.card: tuple | None = None
        self.prints = 0

    @property
    def is_nothing(self) -> bool:
        return self.map is None and self.strip is None and not self.bench and self.card is None

    @property
    def size(self) -> int:
        size = len(self.map[2]) if self.map else 0
        if self.card and self.card[1]:
            size += len(self.card[1])
        return size


class Undo:
    """The changes, newest last. After taking the newest one back, call `pop`."""

    def __init__(self) -> None:
        self._changes: list[Change] = []

    def __len__(self) -> int:
        return len(self._changes)

    @property
    def newest(self):
        """The change that would be taken back, or None."""
        return self._changes[-1] if self._changes else None

    def push(self, change: Change) -> None:
        if change.is_nothing:
            return
        self._changes.append(change)
        size = sum([one.size for one in self._changes])
        while len(self._changes) > 1 and (len(self._changes) > CHANGES_MAX or size > ROOM):
            size -= self._changes[0].size
            self._changes.pop(0)

    def pop(self) -> None:
        self._changes.pop()

    def forget_card(self, name: str) -> None:
        """The wire has changed this card, and undo must not take that back."""
        for change in self._changes:
            if change.card and change.card[0] == name:
                change.card = None
                change.says = "the map's name"
                change.what = "Undone: the map's name. The card stays: the PC has changed it."
        self._drop_empty()

    def forget_settings(self, keys) -> None:
        """The wire has set these settings, and undo must not take that back."""
        for change in self._changes:
            for key in keys:
                change.bench.pop(key, None)
        self._drop_empty()

    def _drop_empty(self) -> None:
        self._changes = [change for change in self._changes if not change.is_nothing]


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
