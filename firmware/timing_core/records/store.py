"""The store: records that survive a pulled plug.

What must live here: how a record is laid out and which copy of it counts. It may not know what a
record means, nor how the disk works.

A record "x" has two slots, the files "x.0" and "x.1". A file is a header, `SEQUENCE LENGTH CRC-32` in eight
hex digits each, followed by the data. The CRC covers key, sequence, length and data, so nothing else can be
taken for this record. A write goes to the slot that does not have the newest whole copy. One put is one
write of one file, so nothing can reach the disk in the wrong order.

Faults tolerated, at any single file operation, and why:
- a write that is torn after any byte, zero-filled, lost, left with an old tail or full of garbage: its slot
  is not whole, and the other slot still has the record as it was;
- a full disk: the same, and the caller gets a Refusal;
- a power cut between the two removals of a drop: the newest copy is removed last, so the record is whole or
  gone;
- a copy that has gone bad since: the other copy counts, or none. `damage` tells, and the next put mends it.
What the disk must do: a write or removal that has returned stays done, and touches no other file.
"""

from timing_core.platform import const
from timing_core.refusal import Refusal

_HEAD = const(27)

OLDER = "older"
LOST = "lost"


class StoreFault(Refusal):
    """The disk did not keep something. What was kept before is still there."""


class Store:
    """Records on `disk`: `names() -> list[str]`, `read(name) -> bytes | None`, `write(name, data)`,
    `remove(name)`, which does nothing for a name that is not there. `crc32(bytes, start) -> int`.

    Keys are made of a-z, 0-9 and "-" (ValueError otherwise).
    """

    def __init__(self, disk, crc32) -> None:
        self._disk = disk
        self._crc32 = crc32

    def get(self, key: str):
        """The record's data in bytes, or None if there is none."""
        return self._newest(key)[2]

    def look(self, key: str) -> tuple:
        """(data, damage) of a record: what `get` returns, and what is wrong with it: "" for nothing (or no
        record), OLDER if one copy is damaged and the other is in force, LOST if no copy is whole. A write
        that was cut off leaves OLDER behind."""
        return self._newest(key)[2:]

    def put(self, key: str, data: bytes) -> None:
        """Keep `data`, whole or not at all. Nothing is written if the same data is there already,
        undamaged."""
        slot, sequence, kept, damage = self._newest(key)
        if kept == data and not damage:
            return
        slot, sequence = 1 - slot, sequence + 1
        text = self._head(key, sequence, data) + data
        try:
            # As few calls deep as can be: a board writes at the end of its stack.
            self._disk.write(_file(key, slot), text)
        except OSError:
            raise _not_kept() from None

    def drop(self, key: str) -> bool:
        """Remove the record; True if there was one."""
        slot, _, kept, _ = self._newest(key)
        try:
            self._disk.remove(_file(key, 1 - slot))
            self._disk.remove(_file(key, slot))
        except OSError:
            raise _not_kept() from None
        return kept is not None

    def keys(self, prefix: str = "") -> list:
        """The sorted keys that begin with `prefix`, of damaged records too. Reads no record."""
        found = set()
        for name in self._disk.names():
            if name.startswith(prefix) and name[-2:] in (".0", ".1"):
                found.add(name[:-2])
        return [key for key in sorted(found) if _is_key(key)]

    def _whole(self, key: str, found: bytes):
        """(sequence, data) of a file's content, or None."""
        try:
            sequence = int(str(found[:8], "utf-8"), 16)
        except ValueError:
            return None
        data = found[_HEAD:]
        return (sequence, data) if found[:_HEAD] == self._head(key, sequence, data) else None

    def _newest(self, key: str) -> tuple:
        """(slot, sequence, data, damage) of the newest whole copy; (1, 0, None, damage) if there is none."""
        if not _is_key(key):
            raise ValueError("a key is made of a-z, 0-9 and -")
        slot, sequence, data = 1, 0, None
        is_bad = False
        for each in (0, 1):
            found = self._disk.read(_file(key, each))
            whole = None if found is None else self._whole(key, found)
            if whole is None:
                is_bad = is_bad or found is not None
            elif whole[0] > sequence:
                slot, sequence, data = each, whole[0], whole[1]
        return slot, sequence, data, (LOST if data is None else OLDER) if is_bad else ""

    def _head(self, key: str, sequence: int, data: bytes) -> bytes:
        start = "%08x %08x " % (sequence, len(data))
        crc = self._crc32(data, self._crc32((key + " " + start).encode()))
        return (start + "%08x\n" % crc).encode()


def _not_kept() -> StoreFault:
    return StoreFault("It is not kept", "the memory is full or failing", "Remove a card and try again")


def _file(key: str, slot: int) -> str:
    return "%s.%d" % (key, slot)


def _is_key(key: str) -> bool:
    return bool(key) and not key.strip("abcdefghijklmnopqrstuvwxyz0123456789-")
