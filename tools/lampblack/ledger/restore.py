"""A backup, put into a box: what would change there, and changing it.

What must live here: what differs between a backup and a box, and the order in which it is put right. Every
step is one that the box takes whole or not at all, and what is right already is passed over, so that running
it again goes on where it was cut off. It may not know the terminal or a database.
"""

import hashlib
from collections.abc import Callable
from typing import Any, NamedTuple

from lampblack.errors import CommandError
from lampblack.ledger.backup import PLACES, Backup
from lampblack.wire.box_client import BoxClient, Kind
from timing_core.canonical import encode

CALLED: dict[Kind, tuple[str, str]] = {
    "card": ("card", "cards"),
    "paper": ("paper record", "paper records"),
    "sequence": ("tray sequence", "tray sequences"),
}


class Changes(NamedTuple):
    """What a backup would change in a box: what of each kind is put in, which names of those are there with
    other content, which are in the box alone, and the settings that change. `unknown` are settings that the
    box has not got."""

    put: dict[Kind, list[dict[str, Any]]]
    replaced: dict[Kind, list[str]]
    others: dict[Kind, list[str]]
    bench_before: dict[str, Any]
    bench: dict[str, Any]
    unknown: list[str]

    def __bool__(self) -> bool:
        return any(self.put.values()) or bool(self.bench)


def changes(backup: Backup, box: BoxClient) -> Changes:
    """CommandError if the box has no room for all of it."""
    put: dict[Kind, list[dict[str, Any]]] = {}
    replaced: dict[Kind, list[str]] = {}
    others: dict[Kind, list[str]] = {}
    for kind in PLACES:
        own = backup.kept[kind]
        there = {each["name"]: each["digest"] for each in box.cards(kind)} if box.keeps(kind) else {}
        put[kind] = [each for each in own if there.get(each["name"]) != _digest(each)]
        replaced[kind] = [each["name"] for each in put[kind] if each["name"] in there]
        others[kind] = sorted(set(there) - {each["name"] for each in own})
        room, wanted = box.most(kind), len(own) + len(others[kind])
        if put[kind] and wanted > room:
            raise CommandError(
                f"Nothing is restored: with the {len(others[kind])} in the box alone there would be {wanted} "
                f"{CALLED[kind][1]}, and the box has room for {room}. Take some out of it."
            )
    settings = box.bench_get()
    bench = {
        key: value
        for key, value in backup.bench.items()
        if key in settings and _plain(value) != _plain(settings[key])
    }
    unknown = sorted(set(backup.bench) - set(settings))
    return Changes(put, replaced, others, {key: settings[key] for key in bench}, bench, unknown)


def carry_out(wanted: Changes, box: BoxClient, told: Callable[[Kind, str], None]) -> None:
    """Make the changes; `told` hears of each that is done. BoxError where the box refuses or is lost."""
    for kind in PLACES:
        for own in wanted.put[kind]:
            box.push(own, kind=kind)
            told(kind, own["name"])
    if wanted.bench:
        box.bench_set(wanted.bench)


def _plain(value: Any) -> Any:
    """A setting as it compares: names come as a tuple or a list."""
    return list(value) if isinstance(value, (list, tuple)) else value


def _digest(own: dict[str, Any]) -> str:
    return hashlib.sha256(encode(own)).hexdigest()
