"""The shelf: the cards kept in the box, by name.

What must live here: how many cards there may be, and their one form, the canonical text of
`PrintingMap.to_dict`. Names are kept in memory once they have been asked for, since finding them takes
seconds on a full shelf; everything else is read each time. A damaged card is listed in `damaged` and hides
no other card.
"""

from timing_core.canonical import digest_of_text
from timing_core.light.plain_form import NAME_MAX
from timing_core.light.printing_map import PrintingMap
from timing_core.refusal import Refusal

CARDS_MAX = 64
_CARD_PREFIX = "card-"


class Shelf:
    """The cards in `store`. Any name that is not on the shelf gives None or False, even one that could not
    be."""

    def __init__(self, store, platform) -> None:
        self.store = store
        self.platform = platform
        self._names: list | None = None
        self.damaged: list = []

    def names(self) -> list:
        """The names of all cards, sorted."""
        return list(self._known())

    def _known(self) -> list:
        if self._names is None:
            found: list = []
            damaged: list = []
            for key in self.store.keys(_CARD_PREFIX):
                lost = self.store.get(key) is None
                (damaged if lost else found).append(key[len(_CARD_PREFIX) :])
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
        text = self.store.get(_CARD_PREFIX + name)
        if text is None:
            self._is_damaged(name)
        return text

    def _is_damaged(self, name: str) -> None:
        self._known().remove(name)
        self.damaged.append(name)

    def card(self, name: str):
        """The card as plain data, or None. One that is whole and cannot be read is as good as damaged."""
        text = self.text(name)
        if text is None:
            return None
        try:
            card = self.platform.json_loads(str(text, "utf-8"))
        except ValueError:
            card = None
        if isinstance(card, dict) and isinstance(card.get("title"), str):
            return card
        self._is_damaged(name)
        return None

    def get(self, name: str):
        """The card's PrintingMap, or None."""
        card = self.card(name)
        if card is None:
            return None
        try:
            return PrintingMap.from_dict(card)
        except Refusal:
            self._is_damaged(name)
            return None

    def digest(self, name: str):
        """SHA-256 of the card's text as 64 hex digits, or None. Equals `canonical.digest` of the card."""
        text = self.text(name)
        return None if text is None else digest_of_text(self.platform, text)

    def keep_text(self, name: str, text: bytes) -> None:
        """Keep a card, in canonical text, under its name, replacing one of that name. A Refusal leaves the
        shelf as it was."""
        fresh = name not in self._known()
        if fresh and len(self._known()) >= CARDS_MAX:
            raise Refusal("The card is not kept", "the shelf holds %d" % CARDS_MAX, "Remove one first")
        self.store.put(_CARD_PREFIX + name, text)
        if fresh:
            self._names = sorted(self._known() + [name])
        if name in self.damaged:
            self.damaged.remove(name)

    def drop(self, name: str) -> bool:
        """Remove a card, or what is left of a damaged one; True if it was there."""
        known = name in self._known()
        if not known and name not in self.damaged:
            return False
        self.store.drop(_CARD_PREFIX + name)
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
