"""The ledger: what was exposed, one numbered record after another.

What must live here: numbering and how many records are kept. What a record says is the box's business.
A number is never given twice: the newest record is never removed, and counting goes on from it.
"""

from .plain import encode

RECORDS_MAX = 64
_PREFIX = "ledger-"


class Ledger:
    """The newest RECORDS_MAX records in `store`; numbers begin at 1 and may have holes."""

    def __init__(self, store, kit) -> None:
        self._store = store
        self._json_loads = kit.json_loads
        self._numbers: list | None = None

    def _known(self) -> list:
        """The numbers there are, sorted; found when first asked for, as the shelf's names are."""
        if self._numbers is None:
            found = sorted([int(key[len(_PREFIX) :]) for key in self._store.keys(_PREFIX)])
            if self._numbers is None:
                self._numbers = found
        return self._numbers

    def append(self, record: dict) -> int:
        """Keep `record` with its number as "n" and return that. A Refusal if the disk would not keep it."""
        # The oldest goes first: a full disk has then just been given the room for one more.
        numbers = self._known()
        while len(numbers) >= RECORDS_MAX:
            self._store.drop(_key(numbers[0]))
            numbers.pop(0)
        numbered = dict(record)
        numbered["n"] = self.last() + 1
        self._store.put(_key(numbered["n"]), encode(numbered))
        numbers.append(numbered["n"])
        return numbered["n"]

    def read(self, after: int = 0, count: int = 8) -> list:
        """Up to `count` records with numbers above `after`, in order."""
        found: list = []
        for number in self._known():
            if number > after and len(found) < count:
                text = self._store.get(_key(number))
                if text is not None:
                    found.append(self._json_loads(str(text, "utf-8")))
        return found

    def last(self) -> int:
        """The newest number, 0 before the first."""
        numbers = self._known()
        return numbers[-1] if numbers else 0

    def newest(self):
        """The newest record, or None before the first."""
        found = self.read(self.last() - 1, 1)
        return found[0] if found else None


def _key(number: int) -> str:
    return _PREFIX + "%06d" % number
