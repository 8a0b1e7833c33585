"""Paper records by name or file.

What must live here: where a record that is named is looked for, and what one that is made may be called.
"""

from pathlib import Path

from lampblack.cards.paper_file import PAPERS
from lampblack.errors import CommandError
from timing_core.light.bench import is_plain_text
from timing_core.light.paper_record import EDITION_MAX, PaperRecord
from timing_core.light.plain_form import NAME_MAX, is_name

COMES_ALONG = Path(__file__).parents[1] / "papers"


def check_called(name: str, edition: str) -> None:
    """CommandError where no record may have this name or edition: that is known before it is made."""
    if not is_name(name):
        raise CommandError(f'"{name[:40]}" is no name of a record. Write 1 to {NAME_MAX} of a-z, 0-9 and -.')
    if not is_plain_text(edition, 0, EDITION_MAX):
        raise CommandError(f"The edition is no plain text of up to {EDITION_MAX} characters. Shorten it.")


def load_record(named: str, beside: Path | None = None) -> PaperRecord:
    """The record in the file `named`, or, for a name, in NAME.toml in the folder `beside`, here, or among
    those that come along. CommandError where there is none; FileError where it is wrong."""
    if named.endswith(".toml") or "/" in named or "\\" in named or Path(named).is_file():
        return PaperRecord.from_dict(PAPERS.load(named))
    folders = [*([beside] if beside else []), Path(), COMES_ALONG]
    for folder in folders:
        path = folder / f"{named}.toml"
        if path.is_file():
            return PaperRecord.from_dict(PAPERS.load(path))
    known = ", ".join(sorted(path.stem for path in COMES_ALONG.glob("*.toml")))
    raise CommandError(
        f"There is no paper record {named}: no {named}.toml beside the card or here, and none that comes "
        f"along ({known}). Copy it from the box with lampblack paper pull {named} -o {named}.toml."
    )
