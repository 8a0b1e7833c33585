"""`lampblack ledger`, `lampblack backup` and `lampblack restore`.

What must live here: the words of these commands and what they print. The database is loaded by what needs it
alone, since it takes long to load and not everyone has installed it.
"""

from __future__ import annotations

import csv
import io
import sys
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from lampblack.cards import card_file
from lampblack.errors import CommandError
from lampblack.extra import extra
from lampblack.files import write_file
from lampblack.ledger import shown
from lampblack.ledger.backup import files_of, newest_ahead, read_backup, write_backup
from lampblack.ledger.editions import editions
from lampblack.ledger.entries import Entry, Name, box_name, card_of, parse_name
from lampblack.ledger.places import data_folder
from lampblack.ledger.pulling import pull
from lampblack.ledger.restore import CALLED, Changes, carry_out, changes
from lampblack.text import tables
from lampblack.text.printable import json_text
from lampblack.text.settings import setting_text
from lampblack.wire.box_client import BoxClient, BoxError
from lampblack.wire.finding import the_box

if TYPE_CHECKING:
    from lampblack.ledger.home import Home

ledger_app = typer.Typer(
    help="Keep what boxes have exposed, find it and print it again.", rich_markup_mode=None
)

Port = Annotated[
    str | None,
    typer.Option(metavar="URL", envvar="LAMPBLACK_PORT", help="The box; the only one if left out."),
]
Database = Annotated[
    str | None,
    typer.Option(
        metavar="URL",
        envvar="LAMPBLACK_DATABASE",
        help="The ledger, where it is not this user's own: any SQLAlchemy URL.",
    ),
]
Id = Annotated[str, typer.Argument(metavar="ID", help="As lampblack ledger list has it, like a52c-17.")]
Out = Annotated[Path, typer.Option("-o", "--out", help="The file to write; - is stdout.")]
Force = Annotated[bool, typer.Option("--force", help="Write over a file that is there.")]


NOT_IN_IT = (
    "Not in a backup, and to be made again at the box: the light cell's strips, the settings and counts of "
    "Trays, the dates of the guided tests, and a print at work that is not on the shelf."
)
"""The box gives these to no PC."""


def _now() -> datetime:
    return datetime.now(UTC)


def moment_of(at: datetime) -> str:
    """As records have it; a day begins by this PC's clock."""
    # Not by strftime, whose years before 1000 are short, and sort wrongly.
    return at.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="seconds") + "Z"


def _home(database: str | None, is_read: bool = False) -> Home:
    with extra():
        from lampblack.ledger.home import Home
    return Home(database, is_read=is_read)


@contextmanager
def _reading(database: str | None) -> Iterator[Home]:
    """The ledger, to be read alone. What of it is damaged is told."""
    with _home(database, is_read=True) as home:
        yield home
    for name in home.damaged:
        print(damaged_text(name), file=sys.stderr)


def damaged_text(name: Name) -> str:
    return (
        f"{name} cannot be read: its record in the ledger is damaged. While its box has it, lampblack ledger "
        "pull mends it."
    )


# --- from the box


@ledger_app.command("box")
def ledger_box(
    port: Port = None,
    after: Annotated[
        int, typer.Option(min=0, metavar="N", help="Only what has a higher number than this.")
    ] = 0,
    as_json: Annotated[
        bool, typer.Option("--json", help="Plain data for programs, in ms and 1/120 stop.")
    ] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="A row for each stage, for a spreadsheet.")] = False,
) -> None:
    """Show what is in a box: its newest 64 records."""
    if as_json and as_csv:
        raise typer.BadParameter("--json and --csv are two forms. Give one of them.", param_hint="--csv")
    with BoxClient(the_box(port)) as box:
        records = list(box.ledger(after))
    if as_json:
        print(json_text(records))
    elif as_csv:
        _write_csv(sys.stdout, tables.ledger_rows(records))
    else:
        _print(tables.ledger_table(records))


@ledger_app.command("pull")
def ledger_pull(
    port: Annotated[
        list[str] | None,
        typer.Option(
            metavar="URL",
            envvar="LAMPBLACK_PORT",
            help="A box; give it again for another. The only one if left out.",
        ),
    ] = None,
    database: Database = None,
) -> None:
    """Take what boxes have exposed into the ledger of this PC.

    What is there already changes nothing: pull as often as you like. Nothing is taken out of a box.
    """
    faults = []
    with _home(database) as home:
        for one in [*(port or ())] or [None]:
            try:
                _pull(the_box(one), home)
            except BoxError as fault:
                faults.append(str(fault))
    if faults:
        raise CommandError(" ".join(faults))


def _pull(port: str, home: Home) -> None:
    with BoxClient(port) as box:
        put, lost = pull(box, home, moment_of(_now()))
        identity = box.about["identity"]
    name = home.box_names().get(identity) or box_name(identity, ())
    new = _count(put.new, "new record")
    if lost:
        # How many there are is not known.
        _print(f"Box {name}: {new}, in {home.shown}, before it was cut off.")
        raise lost
    _print(f"Box {name}: {new} of {put.of}, in {home.shown}.")


# --- in the ledger


@ledger_app.command("list")
def ledger_list(
    negative: Annotated[
        str | None, typer.Option(metavar="TEXT", help="Only those whose negative has it.")
    ] = None,
    title: Annotated[str | None, typer.Option(metavar="TEXT", help="Only those whose title has it.")] = None,
    paper: Annotated[str | None, typer.Option(metavar="TEXT", help="Only those whose paper has it.")] = None,
    since: Annotated[
        datetime | None,
        typer.Option("--from", formats=["%Y-%m-%d"], metavar="DATE", help="From this day on: 2026-11-30."),
    ] = None,
    to: Annotated[
        datetime | None,
        typer.Option("--to", formats=["%Y-%m-%d"], metavar="DATE", help="To this day, with it."),
    ] = None,
    kind: Annotated[
        Literal["print", "strip", "test"] | None,
        typer.Option(metavar="KIND", help="Only print, only strip or only test."),
    ] = None,
    database: Database = None,
) -> None:
    """List what is in the ledger, the oldest first."""
    if since and to and to < since:
        raise typer.BadParameter(
            "the two days are the wrong way round. Give the earlier one to --from.", param_hint="--to"
        )
    first = _begin_of("--from", since)
    end = _begin_of("--to", to, timedelta(days=1))
    with _reading(database) as home:
        found = home.find(
            kind=kind,
            since=first,
            before=end,
            negative=negative,
            title=title,
            paper=paper,
        )
        where = home.shown
    if not found:
        asked = any((negative, title, paper, since, to, kind))
        nothing = "Nothing like that" if asked else "Nothing"
        _print(f"{nothing} is in {where}. lampblack ledger pull takes in what a box has.")
        return
    for line in shown.entries_lines(found):
        print(line)


def _begin_of(option: str, day: datetime | None, later: timedelta = timedelta()) -> str | None:
    """The moment at which `day`, or one so much `later`, begins."""
    try:
        return moment_of(day + later) if day else None
    except (OverflowError, ValueError, OSError):
        raise typer.BadParameter(
            "this PC's clock does not reach that day. Write one like 2026-11-27.", param_hint=option
        ) from None


@ledger_app.command("show")
def ledger_show(id: Id, database: Database = None) -> None:
    """Show an entry: what was given, stage by stage."""
    with _reading(database) as home:
        entry = _one(home, id)
        numbered = _numbered(home, entry)
    for line in shown.headlines(entry, numbered):
        _print(line)
    _print(shown.stages_table(entry))


@ledger_app.command("again")
def ledger_again(id: Id, out: Out = Path("-"), force: Force = False, database: Database = None) -> None:
    """Make the card of an entry: pushed, it is printed again to the millisecond."""
    with _reading(database) as home:
        entry = _one(home, id)
    if entry.record["map"] is None:
        raise CommandError(
            f"{entry.name} makes no card: its record is of the first form, which has no map. See lampblack "
            f"ledger show {entry.name} for the light that was given."
        )
    _write(card_file.dump(entry.record["map"]), out, force, f"the card of {entry.name}")


@ledger_app.command("editions")
def ledger_editions(
    card: Annotated[
        str | None, typer.Argument(help="A card's name; all that have two prints if left out.")
    ] = None,
    database: Database = None,
) -> None:
    """Show which prints are of one card, and what has drifted between them.

    Prints of the same map have the same letter, and are numbered. All is compared with the first of the card.
    """
    with _reading(database) as home:
        found = editions(home.find(kind="print", card=card))
    if card is None:
        _print(shown.editions_table(own for own in found if len(own.prints) > 1))
        return
    if not found:
        raise CommandError(f"The ledger has no print of {card}. See lampblack ledger list --kind print.")
    for own in found:
        _print(", ".join(words for words in (own.name, own.title, own.negative) if words))
        _print(shown.edition_table(own))


@ledger_app.command("export")
def ledger_export(
    as_json: Annotated[bool, typer.Option("--json", help="Every record whole.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="A row for each stage, for a spreadsheet.")] = False,
    out: Out = Path("-"),
    force: Force = False,
    database: Database = None,
) -> None:
    """Write out all that is in the ledger."""
    if as_json == as_csv:
        raise typer.BadParameter("One form is needed. Give --json or --csv.", param_hint="--json")
    with _reading(database) as home:
        found = home.find()
    if as_json:
        _write(json_text(shown.plain(found)) + "\n", out, force, _count_of(found))
        return
    text = io.StringIO()
    _write_csv(text, shown.rows(found))
    _write(text.getvalue(), out, force, _count_of(found))


def _one(home: Home, id: str) -> Entry:
    name = parse_name(id)
    found = home.named(name) if name else []
    if not found and home.damaged:
        raise CommandError(" ".join(map(damaged_text, home.damaged)))
    if not found:
        raise CommandError(f'The ledger has no entry "{id}". See lampblack ledger list.')
    if len(found) > 1:
        names = ", ".join(str(entry.name) for entry in found)
        raise CommandError(f"{id} could be more than one entry: {names}. Name one of them.")
    return found[0]


def _numbered(home: Home, entry: Entry) -> str:
    """ "Print 7 of 25.", or nothing for what is no whole print."""
    if entry.record["kind"] != "print":
        return ""
    for edition in editions(home.find(kind="print", card=card_of(entry.record)[0])):
        for own in edition.prints:
            if own.entry.name == entry.name and own.number:
                return f"Print {own.number} of {own.of}."
    return ""


# --- a box's backup


def backup(
    folder: Annotated[
        Path | None, typer.Argument(help="Where the backups of this box are; your own folder if left out.")
    ] = None,
    port: Port = None,
) -> None:
    """Copy a box's cards, paper records, tray sequences, bench and ledger into plain files.

    Each backup is a folder of its own, named by its date, and no other is touched. Not in a backup, and to be
    made again at the box: the light cell's strips, the settings and counts of Trays, the dates of the guided
    tests, and a print at work that is not on the shelf.
    """
    made_at = moment_of(_now())
    with BoxClient(the_box(port)) as box:
        identity = box.about["identity"]
        files = files_of(box)
        damage = box.damage() if "damage.read" in box.about["methods"] else []
    into = folder or data_folder() / "boxes" / box_name(identity, ())
    made = write_backup(into, identity, made_at, files)
    for line in damage:
        _print(f"Not in the backup as it was: {line}")
    _print(f"The backup is in {made}." if made else f"Nothing has changed since the newest backup in {into}.")
    if ahead := newest_ahead(into, made_at):
        _print(f"{_dated_ahead(ahead)} To restore, give the one backup itself.")


def restore(
    folder: Annotated[
        Path, typer.Argument(help="A backup, or the folder of a box's backups: the newest of them.")
    ],
    port: Port = None,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    database: Database = None,
) -> None:
    """Put a backup into a box, such as a new board.

    Every file is checked first. What the box has beyond it stays. If it is cut off, run it again.
    """
    if ahead := newest_ahead(folder, moment_of(_now())):
        raise CommandError(f"Nothing is restored: {_dated_ahead(ahead)} Give the one backup itself.")
    saved = read_backup(folder)
    with BoxClient(the_box(port)) as box, _home(database) as home:
        wanted = changes(saved, box)
        _print(
            f"The backup of box {box_name(saved.box, ())}, {tables.local_time(saved.made_at)}, for the box at"
            f" {box.url}."
        )
        _tell(wanted)
        if wanted and not yes and not _agreed():
            _print("Nothing is changed.")
            raise typer.Exit(1)
        put = home.put(saved.ledger, saved.box, saved.made_at)
        _print(
            f"Ledger: {_count(put.new, 'new record')} of {put.of}, in {home.shown}. A box takes no records "
            "in, and goes on with its own."
        )
        carry_out(wanted, box, lambda kind, name: _print(f"{name}, a {CALLED[kind][0]}, is in the box."))
        if changes(saved, box):
            raise CommandError("Not all of it is in the box: it has changed meanwhile. Run this again.")
    _print("All of the backup is in the box, but for what is fitted: lampblack accept sets that, at the box.")
    _print(NOT_IN_IT)


def _dated_ahead(backup: Path) -> str:
    return f"{backup} is dated later than now, so which is the newest cannot be told."


def _tell(wanted: Changes) -> None:
    for kind, (_, called) in CALLED.items():
        if names := wanted.replaced[kind]:
            _print(f"Replaced {called}: {', '.join(names)}.")
        replaced = set(wanted.replaced[kind])
        if names := [own["name"] for own in wanted.put[kind] if own["name"] not in replaced]:
            _print(f"New {called}: {', '.join(names)}.")
        if names := wanted.others[kind]:
            _print(f"Other {called} in the box, which stay: {', '.join(names)}.")
    for key, value in wanted.bench.items():
        before = setting_text(key, wanted.bench_before[key])
        _print(f"Bench setting {key}: {before or 'none'} becomes {setting_text(key, value) or 'none'}.")
    if wanted.unknown:
        _print(f"Settings that the box has not got, and are left out: {', '.join(wanted.unknown)}.")


def _agreed() -> bool:
    if not sys.stdin.isatty():
        raise CommandError("Nothing is changed: there is no terminal to ask at. Give --yes.")
    return typer.confirm("Put it into the box?")


# --- shared


def _count(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _count_of(found: Sequence[Entry]) -> str:
    return "1 entry" if len(found) == 1 else f"{len(found)} entries"


def _write(text: str, out: Path, force: bool, what: str) -> None:
    if out == Path("-"):
        sys.stdout.write(text)
    else:
        write_file(out, text.encode(), force)
        _print(f"{out} is written: {what}.")


def _write_csv(to: Any, rows: Iterable[list[Any]]) -> None:
    csv.writer(to, lineterminator="\n").writerows(rows)


def _print(what: Any) -> None:
    tables.console().print(what)
