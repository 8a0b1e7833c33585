"""`lampblack record`: the page that goes into the box of prints.

What must live here: what the command takes, and which files it reads and writes.
"""

import datetime
import hashlib
import re
from pathlib import Path
from typing import Annotated, Any, Literal, NamedTuple

import typer

from lampblack.cards import areas_file, card_file, trays_file
from lampblack.cards.toml_file import FileError
from lampblack.errors import CommandError
from lampblack.files import write_file
from lampblack.lab.records import load_record
from lampblack.record.contents import contents_of
from lampblack.text.tables import console
from lampblack.wire.box_client import BoxClient
from timing_core.canonical import encode
from timing_core.light.bench import Bench
from timing_core.light.paper_record import PaperRecord
from timing_core.refusal import Refusal

ENDINGS = (".pdf", ".svg", ".png")
EDITION_MAX = 9999
DATE_MAX = 40
TODAY = "today"


def record(
    card: Annotated[Path, typer.Argument(help="A card: a TOML file.")],
    out: Annotated[
        Path | None,
        typer.Option("-o", "--out", help="The file: .pdf, .svg or .png; the card's name.pdf if left out."),
    ] = None,
    print_: Annotated[
        Path | None, typer.Option("--print", metavar="PICTURE", help="A scan or photograph of the print.")
    ] = None,
    trays: Annotated[
        Path | None, typer.Option(metavar="FILE", help="The tray sequence it went through: a TOML file.")
    ] = None,
    edition: Annotated[
        str | None, typer.Option(metavar="N/OF", help="Which print of the edition: 7/25.")
    ] = None,
    date: Annotated[
        str, typer.Option(metavar="DATE", help='As it is to be written; "today" for today; none if left out.')
    ] = "",
    paper_size: Annotated[
        Literal["a4", "letter"], typer.Option(metavar="a4|letter", help="The page's size.")
    ] = "a4",
    port: Annotated[
        str | None,
        typer.Option(
            metavar="URL", help="Lay the dodges with the bench settings of this box, such as lead-in."
        ),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a file that is there.")] = False,
) -> None:
    """Draw the page that goes into the box of prints.

    Areas that are drawn in NAME.areas.toml, beside NAME.toml, are outlined on the picture.
    """
    out = out or card.with_suffix(ENDINGS[0])
    if out.suffix.lower() not in ENDINGS:
        raise typer.BadParameter(
            f'"{out}" ends in none of {", ".join(ENDINGS)}. Write {out.stem or "record"}.pdf.',
            param_hint="--out",
        )
    count = edition_of(edition)
    if len(date) > DATE_MAX:
        raise typer.BadParameter(f"it has over {DATE_MAX} characters. Write fewer.", param_hint="--date")
    plain = card_file.load(card)
    drawn_areas = areas_file.path_for(card)
    areas = areas_file.load(drawn_areas) if drawn_areas.exists() else None
    sequence = trays_file.SEQUENCES.load(trays) if trays else None
    bench = Bench()
    if port is not None:
        with BoxClient(port) as box:
            bench.set_all(box.bench_get())
    try:
        made = laid(
            plain,
            bench=bench,
            picture=print_,
            paper_size=paper_size,
            areas=areas,
            trays=sequence,
            edition=count,
            date=date,
            paper=paper_of(plain, card.parent),
        )
    except Refusal as refusal:
        raise CommandError(f"{card}: {refusal}") from None
    for path in write_record(out, force, made):
        console().print(f"{path} is written.")


def paper_of(card: dict[str, Any], beside: Path) -> PaperRecord | None:
    """The paper record that a card names; None if it names none, or there is none that can be read: it may be
    in its box alone."""
    try:
        return load_record(card["record"], beside) if card.get("record") else None
    except (CommandError, FileError):
        return None


class Laid(NamedTuple):
    """A record before it is drawn: its pages, the picture of the print in greys, and its title."""

    pages: list[Any]
    greys: Any
    title: str


def laid(
    card: dict[str, Any],
    *,
    bench: Bench | None = None,
    picture: Any = None,
    paper_size: str = "a4",
    areas: dict[str, Any] | None = None,
    trays: dict[str, Any] | None = None,
    edition: tuple[int, int] | None = None,
    date: str = "",
    paper: PaperRecord | None = None,
) -> Laid:
    """The record of `card`. `picture` is a file, or greys; `areas` and `trays` are in their plain forms;
    `paper` is the record that the card names, where it is at hand.
    Refusal if the run cannot be given, CommandError for a picture that is none."""
    # Arrays and drawing take their time to load, and no other command needs them.
    from lampblack.record.page_layout import laid_out
    from lampblack.record.print_picture import greys_of

    digest = hashlib.sha256(encode(card)).hexdigest()
    if date == TODAY:
        date = datetime.date.today().isoformat()
    contents = contents_of(card, bench or Bench(), areas, trays, edition, date, digest, paper)
    greys = greys_of(picture) if isinstance(picture, Path) else picture
    size_px = None if greys is None else (greys.shape[1], greys.shape[0])
    return Laid(laid_out(contents, paper_size, size_px), greys, contents.title)


def files_of(record: Laid, kind: str) -> list[bytes]:
    """It as "pdf", or as "svg" or "png" for each page."""
    from lampblack.record.page_drawing import drawn

    return drawn(record.pages, kind, record.greys, record.title)


def write_record(out: Path, force: bool, record: Laid) -> list[Path]:
    """Write it as `out` and what follows that, where pages are files of their own. Returns the files.
    CommandError where that fails, before anything is drawn where one is there already."""
    paths = paths_of(out, record)
    for path in paths:
        if path.exists() and not force:
            raise CommandError(f"{path} is there already. Give another name, or --force to write over it.")
    for path, data in zip(paths, files_of(record, _kind_of(out)), strict=True):
        write_file(path, data, force)
    return paths


def paths_of(out: Path, record: Laid) -> list[Path]:
    """`out`, and what follows it where pages are files of their own."""
    files = 1 if _kind_of(out) == "pdf" else len(record.pages)
    return [out, *(out.with_stem(f"{out.stem}-{number}") for number in range(2, files + 1))]


def _kind_of(out: Path) -> str:
    return out.suffix.lower().removeprefix(".")


def edition_of(text: str | None) -> tuple[int, int] | None:
    if text is None:
        return None
    found = re.fullmatch(r"([0-9]{1,4})/([0-9]{1,4})", text)
    if not found or not 1 <= int(found[1]) <= int(found[2]):
        raise typer.BadParameter(
            f'"{text}" is no print of an edition. Write which of how many, like 7/25.', param_hint="--edition"
        )
    return int(found[1]), int(found[2])
