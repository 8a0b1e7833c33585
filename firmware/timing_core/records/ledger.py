"""The ledger: what was exposed, one numbered record after another.

What must live here: the one form of a record, numbering, and how many are kept. A number is never given
twice to what is kept: a new one is above all that are there, damaged records included. If the disk has no
room for a record, it waits in memory and is written when there is room. Up to WAITING_MAX wait; then the
oldest of them is lost, and that is said. What still waits when the box is switched off is gone, and its
number is given again: so `read` says of each record whether it is kept.

A record is plain data (docs/wire.md shows one):

- form: 2; n: its number; box: the identity of the box that gave the light, so that the numbers of two boxes
  are never confused;
- kind: "print", "strip" or "test"; map: the whole printing map as it was given (`PrintingMap.to_dict`), from
  which the print can be made again to the ms; strip: the strip's settings, or null;
- whole: true if every light is known to have been given in full, once; cut_off: the stage that a reset cut
  off, or "";
- up_s: seconds since power-up when the run ended; at: the same moment as date and time (ISO 8601, UTC), or
  null if no PC had told the box the time;
- dry_down_pm: the cut that was in force; stages: in order, each with its name ("stage"), filter, planned
  light in ms (light_ms), light given (given_ms), number of strikes, the lag allowed for in each (lag_ms),
  and at_least: true if a reset cut the stage off, so that it may have had more light than is known.

A record of form 1 has neither map nor box. `read` gives it with null and "" for these, with its card's name
and title as "card" and "title", and with form 1.

`read` adds "kept": false for a record that waits.

The record of a guided test has "test": which it is, and what it was made with (`light.guided`).

A record may have "faults": a list of the faults (`machine.watch`) that were found since the record before.
"""

from timing_core.canonical import encode
from timing_core.refusal import Refusal

RECORDS_MAX = 64
WAITING_MAX = 4
FORM = 2
_RECORD_PREFIX = "ledger-"


def stage_record(name: str, filter: str, light_ms: int, given_ms: int, strikes: int, lag_ms, at_least: bool):
    """One stage of a record. `lag_ms` is None if it is not known."""
    return {
        "stage": name,
        "filter": filter,
        "light_ms": light_ms,
        "given_ms": given_ms,
        "strikes": strikes,
        "lag_ms": lag_ms,
        "at_least": at_least,
    }


def with_all_keys(record: dict) -> dict:
    """`record` with the keys of today's form, whichever its own is."""
    if "form" in record:
        return record
    stages = []
    for own in record["stages"]:
        stages.append(
            stage_record(
                own["stage"],
                own["filter"],
                own["light_ms"],
                own["given_ms"],
                own["strikes"],
                record["lag_ms"],
                False,
            )
        )
    return {
        "form": 1,
        "n": record["n"],
        "box": "",
        "kind": record["kind"],
        "card": record["card"],
        "title": record["title"],
        "map": None,
        "strip": None,
        "whole": record["whole"],
        "cut_off": record["cut_off"],
        "up_s": None,
        "at": None,
        "dry_down_pm": record["dry_down_pm"],
        "stages": stages,
    }


class Ledger:
    """The newest RECORDS_MAX records in `store`; numbers begin at 1 and may have holes. `identity` is that of
    the box whose light is recorded here."""

    def __init__(self, store, platform) -> None:
        self.store = store
        self._json_loads = platform.json_loads
        self._numbers: list | None = None
        self._waiting: list = []
        self.identity = ""
        self.lost = 0
        self.damaged: list = []

    def _known(self) -> list:
        """The numbers of all records there are files for, sorted. Found when first asked for, like the
        shelf's names."""
        if self._numbers is None:
            found = []
            for key in self.store.keys(_RECORD_PREFIX):
                number = key[len(_RECORD_PREFIX) :]
                if number.isdigit():
                    found.append(int(number))
            if self._numbers is None:
                self._numbers = sorted(found)
        return self._numbers

    def check(self) -> None:
        """Read every record once, and list the damaged ones in `damaged`. May take seconds."""
        self.damaged = [number for number in self._known() if self.store.get(_key(number)) is None]

    @property
    def waiting(self) -> int:
        """How many records the disk has not kept so far."""
        return len(self._waiting)

    def append(self, record: dict, n: int = 0) -> int:
        """Keep `record` with its number as "n", and return the number. `n`, if given, is the number that
        the run was begun with: if a record of it was torn by a power cut, it is written again.

        Refusal if the disk will not keep it. It then waits in memory, and `read` gives it too.
        """
        numbered = dict(record)
        numbered["n"] = n or self.last() + 1
        numbered["box"] = self.identity
        faults = self._faults()
        if faults:
            numbered["faults"] = faults
        if len(self._waiting) >= WAITING_MAX:
            self._waiting.pop(0)
            self.lost += 1
        self._waiting.append(numbered)
        self.write_waiting()
        if faults:
            self.store.drop("faults")
        return numbered["n"]

    def _faults(self) -> list:
        """Faults of the circuit that were named since the last record."""
        text = self.store.get("faults")
        return str(text, "utf-8").split() if text else []

    def note_faults(self, names: list) -> None:
        """Put faults on record. They outlive a pulled plug, and are part of the next record."""
        kept = self._faults()
        try:
            self.store.put("faults", " ".join(kept + [name for name in names if name not in kept]).encode())
        except Refusal:
            pass  # they are told on the panel and to the wire

    def write_waiting(self) -> None:
        """Write the records that wait, oldest first. Refusal if the disk will not keep one."""
        numbers = self._known()
        while self._waiting:
            # The oldest record goes first, so that even a full disk has room for one more.
            while len(numbers) >= RECORDS_MAX:
                self.store.drop(_key(numbers[0]))
                numbers.pop(0)
            record = self._waiting[0]
            self.store.put(_key(record["n"]), encode(record))
            if record["n"] not in numbers:
                numbers.append(record["n"])
            self._waiting.pop(0)

    def write_waiting_or_say(self) -> str:
        """Try again to write what waits. A line for the printer if it still waits, "" otherwise."""
        try:
            if self._waiting:
                self.write_waiting()
        except Refusal as refusal:
            return not_kept(refusal, self.lost).line
        return ""

    def read(self, after: int = 0, count: int = 8) -> list:
        """Up to `count` records with numbers above `after`, in order, including those that wait."""
        found: list = []
        for number in self._known():
            if number > after and len(found) < count:
                text = self.store.get(_key(number))
                if text is not None:
                    try:
                        record = with_all_keys(self._json_loads(str(text, "utf-8")))
                    except (ValueError, TypeError, KeyError):
                        continue  # whole, and of no form that there ever was: as good as damaged
                    record["kept"] = True
                    found.append(record)
        for record in self._waiting:
            if record["n"] > after and len(found) < count:
                found.append(dict(record, kept=False))
        return found

    def newest(self, count: int) -> list:
        """The numbers of the newest `count` records, newest first, including those that wait. Reads none."""
        numbers = self._known()
        numbers = numbers + [record["n"] for record in self._waiting if record["n"] not in numbers]
        return [numbers[-1 - at] for at in range(min(count, len(numbers)))]

    def has(self, n: int) -> bool:
        """True if record `n` is kept whole. Reads that one alone."""
        return self.store.get(_key(n)) is not None

    def last(self) -> int:
        """The newest number, 0 before the first."""
        if self._waiting:
            return self._waiting[-1]["n"]
        numbers = self._known()
        return numbers[-1] if numbers else 0


def _key(number: int) -> str:
    return _RECORD_PREFIX + "%06d" % number


def not_kept(refusal: Refusal, lost: int) -> Refusal:
    """What the printer is told about a record that waits; `lost` had to give way before it."""
    return Refusal(
        "A record waits, %d are lost" % lost if lost else "The record is not kept yet",
        refusal.why,
        "Remove a card or pull the ledger before you switch off",
    )
