"""`lampblack record`: the page that goes into the box of prints.

What must live here: what the command takes, and which files it reads and writes.
"""

import datetime
import hashlib
import re
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from lampblack.cards import areas_file, card_file, trays_file
from lampblack.errors import CommandError
from lampblack.files import write_file
from lampblack.record.contents import contents_of
from lampblack.text.tables import console
from lampblack.wire.box_client import BoxClient
from timing_core.canonical import encode
from timing_core.light.bench import Bench
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
    count = _edition(edition)
    if len(date) > DATE_MAX:
        raise typer.BadParameter(f"it has over {DATE_MAX} characters. Write fewer.", param_hint="--date")
    if date == TODAY:
        date = datetime.date.today().isoformat()
    plain = card_file.load(card)
    drawn_areas = areas_file.path_for(card)
    areas = areas_file.load(drawn_areas) if drawn_areas.exists() else None
    sequence = trays_file.SEQUENCES.load(trays) if trays else None
    bench = Bench()
    if port is not None:
        with BoxClient(port) as box:
            bench.set_all(box.bench_get())
    written = write_record(
        out, force, plain, bench, print_, paper_size, areas, sequence, count, date, str(card)
    )
    for path in written:
        console().print(f"{path} is written.")


def write_record(
    out: Path,
    force: bool,
    card: dict[str, Any],
    bench: Bench,
    picture: Any = None,
    paper_size: str = "a4",
    areas: dict[str, Any] | None = None,
    trays: dict[str, Any] | None = None,
    edition: tuple[int, int] | None = None,
    date: str = "",
    name: str = "",
) -> list[Path]:
    """Write the record of `card` as `out` and what follows it, where pages are files of their own. `picture`
    is a file, or greys; `areas` and `trays` are in their plain forms. Returns the files. CommandError where
    that fails."""
    # Arrays and drawing take their time to load, and no other command needs them.
    from lampblack.record.page_drawing import drawn
    from lampblack.record.page_layout import laid_out
    from lampblack.record.print_picture import greys_of

    digest = hashlib.sha256(encode(card)).hexdigest()
    try:
        contents = contents_of(card, bench, areas, trays, edition, date, digest)
    except Refusal as refusal:
        raise CommandError(f"{name or card['name']}: {refusal}") from None
    greys = greys_of(picture) if isinstance(picture, Path) else picture
    pages = laid_out(contents, paper_size, None if greys is None else (greys.shape[1], greys.shape[0]))
    kind = out.suffix.lower().removeprefix(".")
    files = 1 if kind == "pdf" else len(pages)
    paths = [out, *(out.with_stem(f"{out.stem}-{number}") for number in range(2, files + 1))]
    for path in paths:
        if path.exists() and not force:
            raise CommandError(f"{path} is there already. Give another name, or --force to write over it.")
    made = drawn(pages, kind, greys, contents.title)
    for path, data in zip(paths, made, strict=True):
        write_file(path, data, force)
    return paths


def _edition(text: str | None) -> tuple[int, int] | None:
    if text is None:
        return None
    found = re.fullmatch(r"([0-9]{1,4})/([0-9]{1,4})", text)
    if not found or not 1 <= int(found[1]) <= int(found[2]):
        raise typer.BadParameter(
            f'"{text}" is no print of an edition. Write which of how many, like 7/25.', param_hint="--edition"
        )
    return int(found[1]), int(found[2])
