"""The shelf: the cards kept in the box, by name; and in the same way paper records and tray sequences.

What must live here: how many there may be of each, and their one form, the canonical text of their
`to_dict`. Names are kept in memory once they have been asked for, since finding them takes seconds on a full
shelf; everything else is read each time. A damaged card is listed in `damaged` and hides no other card.

What reads a paper record or a tray sequence is loaded for each, and let go of again: most evenings want one,
or none.
"""

from timing_core.canonical import digest_of_text
from timing_core.light.plain_form import NAME_MAX
from timing_core.light.printing_map import PrintingMap
from timing_core.refusal import Refusal

CARDS_MAX = 64
PAPERS_MAX = 16
SEQUENCES_MAX = 8

_KINDS = {
    "card": (CARDS_MAX, "title"),
    "paper": (PAPERS_MAX, "edition"),
    "sequence": (SEQUENCES_MAX, "title"),
}


class Shelf:
    """The cards in `store`, or with another `kind` ("paper", "sequence") the paper records or the tray
    sequences; `title_key` is the key that says more of one than its name. Any name that is not on the shelf
    gives None or False, even one that could not be. `changes` counts what was kept and dropped; `let_go()` is
    called when what was loaded to read one has read it."""

    changes = 0

    def __init__(self, store, platform, kind: str = "card") -> None:
        self.store = store
        self.platform = platform
        self._names: list | None = None
        self.damaged: list = []
        self.kind = kind
        self.most, self.title_key = _KINDS[kind]

    def let_go(self) -> None:
        """Set from outside, where memory is short: a desk has the room for all modules."""

    def names(self) -> list:
        """The names of all cards, sorted."""
        return list(self._known())

    def _known(self) -> list:
        if self._names is None:
            found: list = []
            damaged: list = []
            for key in self.store.keys(self.kind + "-"):
                lost = self.store.get(key) is None
                (damaged if lost else found).append(key[len(self.kind) + 1 :])
            self.damaged = damaged
            # On a board an input may have cut in meanwhile, asked for the names too, and kept another card.
            if self._names is None:
                self._names = found
        return self._names

    def text(self, name: str):
        """The card's canonical text in bytes, or None. A card that has gone bad is taken off the shelf
        here."""
        if name not in self._known():
            return None
        text = self.store.get(self.kind + "-" + name)
        if text is None:
            self._is_damaged(name)
        return text

    def _is_damaged(self, name: str) -> None:
        self._known().remove(name)
        self.damaged.append(name)

    def card(self, name: str, text: bytes | None = None):
        """The card as plain data, or None; `text` is its own where that was read before. One that is whole
        and cannot be read is as good as damaged."""
        if text is None:
            text = self.text(name)
        if text is None:
            return None
        try:
            card = self.platform.json_loads(str(text, "utf-8"))
        except ValueError:
            card = None
        if isinstance(card, dict) and isinstance(card.get(self.title_key), str):
            return card
        self._is_damaged(name)
        return None

    def get(self, name: str):
        """The card's PrintingMap, the PaperRecord or the TraySequence; or None."""
        card = self.card(name)
        if card is None:
            return None
        try:
            return self.made(card)
        except Refusal:
            self._is_damaged(name)
            return None

    def made(self, card):
        """The PrintingMap, PaperRecord or TraySequence of plain data; its `text()` is kept. Refusal if it is
        none."""
        if self.kind == "card":
            return PrintingMap.from_dict(card)
        try:
            return (_record if self.kind == "paper" else _sequence)(card)
        finally:
            self.let_go()

    def damage(self) -> list:
        """A line for each that is known to be damaged."""
        line = {
            "card": "Card %s is damaged. Push it again.",
            "paper": "Paper record %s is damaged. Push it again.",
            "sequence": "Tray sequence %s is damaged. Push it again.",
        }[self.kind]
        return [line % name for name in self.damaged]

    def digest(self, name: str):
        """SHA-256 of the card's text as 64 hex digits, or None. Equals `canonical.digest` of the card."""
        text = self.text(name)
        return None if text is None else digest_of_text(self.platform, text)

    def keep_text(self, name: str, text: bytes) -> None:
        """Keep a card, in canonical text, under its name, replacing one of that name. A Refusal leaves the
        shelf as it was."""
        fresh = name not in self._known()
        if fresh and len(self._known()) >= self.most:
            what = {
                "card": "The card is not kept",
                "paper": "The paper record is not kept",
                "sequence": "The tray sequence is not kept",
            }[self.kind]
            where = "the shelf" if self.kind == "card" else "the box"
            raise Refusal(what, "%s holds %d" % (where, self.most), "Remove one first")
        self.changes += 1
        self.store.put(self.kind + "-" + name, text)
        if fresh:
            self._names = sorted(self._known() + [name])
        if name in self.damaged:
            self.damaged.remove(name)

    def drop(self, name: str) -> bool:
        """Remove a card, or what is left of a damaged one; True if it was there."""
        known = name in self._known()
        if not known and name not in self.damaged:
            return False
        self.changes += 1
        self.store.drop(self.kind + "-" + name)
        (self._known() if known else self.damaged).remove(name)
        return True

    def free_name(self, name: str) -> str:
        """`name` if no card has it, else the first free one of "name-2", "name-3" and so on, shortened to
        fit."""
        free, number = name, 1
        while free in self._known():
            number += 1
            tail = "-%d" % number
            free = name[: NAME_MAX - len(tail)] + tail
        return free


def shelves_in(store, platform) -> tuple:
    """The cards, the paper records and the tray sequences."""
    return tuple([Shelf(store, platform, kind) for kind in ("card", "paper", "sequence")])


def _record(plain):
    from timing_core.light.paper_record import PaperRecord

    return PaperRecord.from_dict(plain)


def _sequence(plain):
    from timing_core.light.tray_sequence import TraySequence

    return TraySequence.from_dict(plain)
