"""Copies of what a box keeps and gives to a PC, as plain files.

What must live here: which file has what, writing them so that a cut leaves every older backup whole, and
reading them so that nothing of a damaged one is used. It may not know the terminal or a database.

A backup is a folder, named by its date and time, in the folder that was asked for. It is written aside, under
a name that begins with a dot, and takes its own name once all of it is on the disk; no other is ever touched.
What a cut leaves aside may be deleted. Its `manifest.json` has the SHA-256 of every file.
"""

import hashlib
import json
import os
import re
import secrets
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import tomlkit

from lampblack.cards import card_file, paper_file, trays_file
from lampblack.errors import CommandError
from lampblack.files import write_file
from lampblack.ledger.entries import Record, text_of
from lampblack.text.printable import escaped
from lampblack.wire.asking import BoxError
from lampblack.wire.box_client import BoxClient, Kind
from lampblack.wire.replies import RECORD, Wrong
from timing_core.light.bench import check, setting_keys
from timing_core.light.plain_form import NAME_MAX
from timing_core.refusal import Refusal

FORM = 1
"""Of the folder: which files there are, and what is in them."""
MANIFEST, BENCH, FITTED, LEDGER = "manifest.json", "bench.toml", "fitted.toml", "ledger.jsonl"
SIZE_MAX = 1 << 24
"""Of one file, in bytes. A ledger of 64 records has some 200 KB."""


class Place(NamedTuple):
    """Where things of a kind are, how one is written and how it is read."""

    folder: str
    dump: Callable[[dict[str, Any]], str]
    load: Callable[[Path], dict[str, Any]]


PLACES: dict[Kind, Place] = {
    "paper": Place("papers", paper_file.dump, paper_file.PAPERS.load),
    "sequence": Place("trays", trays_file.dump, trays_file.SEQUENCES.load),
    "card": Place("cards", card_file.dump, card_file.load),
}
"""In the order in which they go into a box: a card may name a paper record."""
_FOLDERS = "|".join(place.folder for place in PLACES.values())
_PATH = re.compile(rf"(?:{_FOLDERS})/[a-z0-9-]{{1,{NAME_MAX}}}\.toml|bench\.toml|fitted\.toml|ledger\.jsonl")


class Backup(NamedTuple):
    """What a backup has. `box` is the identity of its box, `made_at` a moment (ISO 8601, UTC)."""

    folder: Path
    box: str
    made_at: str
    kept: dict[Kind, list[dict[str, Any]]]
    bench: dict[str, Any]
    ledger: list[Record]


# --- writing


def files_of(box: BoxClient) -> dict[str, bytes]:
    """All that a box gives, as files by their path in a backup. BoxError, also where it changes meanwhile."""
    files: dict[str, bytes] = {}
    lists = _lists(box)
    for kind, listed in lists.items():
        for own in listed:
            text = PLACES[kind].dump(box.pull(own["name"], kind=kind))
            files[f"{PLACES[kind].folder}/{own['name']}.toml"] = text.encode()
    files[BENCH] = escaped(tomlkit.dumps(box.bench_get())).encode()
    if "fitted.get" in box.about["methods"]:
        files[FITTED] = escaped(tomlkit.dumps(box.call("fitted.get")["values"])).encode()
    files[LEDGER] = "".join(f"{text_of(record)}\n" for record in box.ledger()).encode()
    if _lists(box) != lists:
        raise BoxError("No backup is made: what the box keeps has changed meanwhile. Try again.")
    return files


def _lists(box: BoxClient) -> dict[Kind, list[dict]]:
    return {kind: box.cards(kind) for kind in PLACES if box.keeps(kind)}


def write_backup(into: Path, box: str, made_at: str, files: dict[str, bytes]) -> Path | None:
    """A new backup in the folder `into`; None where the newest one there has the same. CommandError if it has
    another box's, is a backup itself, or cannot be written. One that is dated later counts for nothing."""
    manifest: dict[str, Any] = {
        "form": FORM,
        "box": box,
        "made_at": made_at,
        "files": {path: _digest(files[path]) for path in sorted(files)},
    }
    if (into / MANIFEST).exists():
        raise CommandError(
            f"No backup is made: {into} is one itself. Name the folder it is in: {into.resolve().parent}."
        )
    there = {own: _manifest_or_none(own) for own in _backups_in(into)}
    for own in filter(None, there.values()):
        if own["box"] != box:
            raise CommandError(
                f"No backup is made: {into} has those of another box, {own['box']}. Name another folder."
            )
    before = [there[own] for own in there if not _is_after(own, made_at)]
    if before and before[-1] and before[-1]["files"] == manifest["files"]:
        return None
    aside = into / f".unfinished-{secrets.token_hex(4)}"
    try:
        into.mkdir(parents=True, exist_ok=True)
        aside.mkdir()
        for place in PLACES.values():
            (aside / place.folder).mkdir()
        for path, data in files.items():
            write_file(aside / path, data, force=False)
        text = json.dumps(manifest, indent=2) + "\n"
        write_file(aside / MANIFEST, text.encode(), force=False)
        for folder in (aside, *(aside / place.folder for place in PLACES.values())):
            _to_disk(folder)
        folder = _free_name(into, made_at)
        aside.rename(folder)
        _to_disk(into)
    except OSError as fault:
        raise CommandError(
            f"No backup is made in {into}: {fault.strerror or fault}. The older ones are as they were; check "
            "the name and the room on the disk."
        ) from None
    finally:
        shutil.rmtree(aside, ignore_errors=True)
    return folder


def _free_name(into: Path, made_at: str) -> Path:
    """By date and time, so that the newest is the last."""
    name = _name_at(made_at)
    number = 1
    while (folder := into / (name if number == 1 else f"{name}-{number}")).exists():
        number += 1
    return folder


def _to_disk(folder: Path) -> None:
    """What the folder lists is on the disk. Only a system that opens folders can be asked for it."""
    if hasattr(os, "O_DIRECTORY"):
        number = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


# --- reading


def newest_in(folder: Path) -> Path | None:
    """The newest backup in `folder`, which may be one itself; None if there is none."""
    if (folder / MANIFEST).is_file():
        return folder
    return next(reversed(_backups_in(folder)), None)


def newest_ahead(folder: Path, now: str) -> Path | None:
    """The newest backup in `folder` if it is dated later than `now` (ISO 8601, UTC): a clock was wrong, and
    which is the newest cannot be told. None for a folder that is a backup itself."""
    newest = newest_in(folder)
    return newest if newest not in (None, folder) and _is_after(newest, now) else None


def _backups_in(folder: Path) -> list[Path]:
    """By date."""
    if not folder.is_dir():
        return []
    found = [own for own in folder.iterdir() if own.name[:1] != "." and (own / MANIFEST).is_file()]
    return sorted(found, key=lambda own: (_date_of(own), own.name))


def _date_of(backup: Path) -> str:
    """As its folder would be named; of one whose manifest is damaged its name."""
    manifest = _manifest_or_none(backup)
    return _name_at(manifest["made_at"]) if manifest else backup.name


def _is_after(backup: Path, moment: str) -> bool:
    latest = _name_at(moment)
    # A name may have a number after the date.
    return _date_of(backup)[: len(latest)] > latest


def _name_at(moment: str) -> str:
    return moment.replace(":", "")


def read_backup(folder: Path) -> Backup:
    """The newest backup in `folder`, or `folder` itself, every file of it checked. CommandError or FileError
    where one is not as it was written."""
    newest = newest_in(folder)
    if newest is None:
        raise CommandError(f"{folder} has no backup: there is no {MANIFEST} in it. Give a folder that has.")
    manifest = _manifest(newest)
    for path, digest in manifest["files"].items():
        if _digest(_read(newest / path)) != digest:
            raise _damaged(newest / path, "it is not as it was written")
    kept: dict[Kind, list[dict[str, Any]]] = {kind: [] for kind in PLACES}
    for kind, place in PLACES.items():
        for path in manifest["files"]:
            if path.startswith(f"{place.folder}/"):
                own = place.load(newest / path)
                if own["name"] != Path(path).stem:
                    raise _damaged(newest / path, f"it is called {own['name']} inside")
                kept[kind].append(own)
    bench, ledger = _bench(newest / BENCH), _ledger(newest / LEDGER)
    return Backup(newest, manifest["box"], manifest["made_at"], kept, bench, ledger)


def _manifest(folder: Path) -> dict[str, Any]:
    path = folder / MANIFEST
    try:
        read = json.loads(_read(path))
        form, files = read["form"], read["files"]
        if type(form) is not int:
            raise TypeError
        if form > FORM:
            raise CommandError(f"{path} is of a newer lampblack. Restore it with that one.")
        is_right = (
            form == FORM
            and isinstance(read["box"], str)
            and re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ", read["made_at"], re.ASCII)
            and all(_PATH.fullmatch(own) and isinstance(digest, str) for own, digest in files.items())
            and {BENCH, LEDGER} <= set(files)
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        is_right = False
    if not is_right:
        raise _damaged(path, "it is no list of a backup's files")
    return read


def _manifest_or_none(folder: Path) -> dict[str, Any] | None:
    """None where it is damaged."""
    try:
        return _manifest(folder)
    except CommandError:
        return None


def _bench(path: Path) -> dict[str, Any]:
    """The settings, each within its range; those that this version does not know are left out."""
    try:
        values = tomlkit.parse(_read(path).decode()).unwrap()
    except ValueError:
        raise _damaged(path, "it is not TOML") from None
    known = {key: value for key, value in values.items() if key in setting_keys()}
    for key, value in known.items():
        try:
            check(key, value)
        except Refusal as refusal:
            raise _damaged(path, f"{key}: {refusal.why}") from None
    return known


def _ledger(path: Path) -> list[Record]:
    records = []
    for number, line in enumerate(_read(path).splitlines(), 1):
        try:
            records.append(RECORD(json.loads(line)))
        except (ValueError, RecursionError, Wrong) as fault:
            why = fault if isinstance(fault, Wrong) else "it is no JSON"
            raise _damaged(path, f"in line {number} {why}") from None
    return records


def _read(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(SIZE_MAX + 1)
    except OSError as fault:
        raise _damaged(path, f"{fault.strerror or fault}") from None
    if len(data) > SIZE_MAX:
        raise _damaged(path, "it is too long")
    return data


def _damaged(path: Path, why: str) -> CommandError:
    return CommandError(f"Nothing is restored: {path} is damaged: {why}. Take another backup.")
