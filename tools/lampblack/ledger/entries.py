"""An entry of the ledger's home: one record of a box, and what it is called.

What must live here: whose a record is, when two records are one, and the name that a person types. What it
may not know: databases, ports and files.

A number is one box's own, but not for ever one record's: what the box could not keep is gone when it is
switched off, and its number is given again. So an entry is told by box, number and content; a second content
of the same number is a second entry, and is called by the same name with ".2" after it.
"""

import hashlib
import re
from collections.abc import Collection
from itertools import count
from typing import Any, NamedTuple

from lampblack.text.printable import printable
from timing_core.canonical import encode

Record = dict[str, Any]
"""As docs/wire.md has it."""

TAIL = 4
"""A box is called by the last so many letters and digits of its identity, by more where two are alike."""
NAME = re.compile(r"(?:(?P<box>[a-z0-9]+)-)?(?P<n>[0-9]{1,10})(?:\.(?P<again>[0-9]{1,9}))?", re.ASCII)
_OF_THE_MOMENT = "kept"
"""Whether the box has written the record so far: this is of the moment it was read at, not of the record."""


class Name(NamedTuple):
    """What a person types for an entry: "a52c-17", or "17" where one box alone has that number. `again` is 1
    but for the second content of a number."""

    box: str
    n: int
    again: int = 1

    def __str__(self) -> str:
        whole = f"{self.box}-{self.n}" if self.box else str(self.n)
        return whole if self.again == 1 else f"{whole}.{self.again}"


class Entry(NamedTuple):
    """A record in the ledger's home. `box` is the identity of the box that gave the light, `pulled_at` when
    it came (ISO 8601, UTC)."""

    name: Name
    box: str
    pulled_at: str
    record: Record

    @property
    def moment(self) -> str:
        """When it ended, as far as is known: ISO 8601, UTC."""
        return self.record["at"] or self.pulled_at


def parse_name(text: str) -> Name | None:
    """The name of an entry, typed by a person; None if it is none."""
    found = NAME.fullmatch(text.strip().lower())
    if not found:
        return None
    return Name(found["box"] or "", int(found["n"]), int(found["again"] or 1))


def box_name(identity: str, taken: Collection[str]) -> str:
    """What the box of this identity is called, beside those whose names are `taken`."""
    letters = re.sub("[^a-z0-9]", "", identity.lower()) or "box"
    for size in range(TAIL, max(TAIL, len(letters)) + 1):
        if letters[-size:] not in taken:
            return letters[-size:]
    return next(name for number in count(2) if (name := f"{letters}x{number}") not in taken)


def owner_of(record: Record, pulled_from: str) -> str:
    """The identity of the box that gave the light. Records of the first form do not say: theirs is the box
    that has them."""
    return record["box"] or pulled_from


def text_of(record: Record) -> str:
    """The whole record, one way only."""
    lasting = {key: value for key, value in record.items() if key != _OF_THE_MOMENT}
    return encode(lasting).decode("ascii")


def digest_of(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def holds(more: object, less: object) -> bool:
    """True if `more` says all that `less` says: a newer version may read more of the same record."""
    if isinstance(more, dict) and isinstance(less, dict):
        return all(key in more and holds(more[key], value) for key, value in less.items())
    if isinstance(more, list) and isinstance(less, list):
        return len(more) == len(less) and all(map(holds, more, less))
    return type(more) is type(less) and more == less


def card_of(record: Record) -> tuple[str, str, str, str]:
    """Name, title, negative and paper of the record's card; "" for what is not known. The first form had no
    map."""
    map = record["map"] or {"name": record.get("card", ""), "title": record.get("title", ""), "facts": {}}
    said = (map["name"], map["title"], map["facts"].get("negative", ""), map["facts"].get("paper", ""))
    name, title, negative, paper = (printable(words) for words in said)
    return name, title, negative, paper
