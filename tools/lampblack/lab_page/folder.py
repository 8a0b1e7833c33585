"""The folder that the laboratory's page works in: cards, paper records, pictures of prints, as plain files.

What must live here: which file is whose, and what a name may be. Files are the printer's: nothing here is
written over unless that is asked for, and a file that cannot be read is told of and left alone.
"""

import contextlib
from pathlib import Path
from typing import Any

from lampblack.cards import areas_file, card_file, paper_file, trays_file
from lampblack.cards.toml_file import FileError
from lampblack.errors import CommandError, in_words
from lampblack.files import write_file
from lampblack.lab.records import COMES_ALONG
from timing_core.light.paper_record import PaperRecord
from timing_core.light.plain_form import is_name

CARDS, PAPERS, PRINTS, TRAYS = "cards", "papers", "prints", "trays"
TRAYS_COME_ALONG = Path(__file__).parents[1] / TRAYS


class Folder:
    """At `root`, with a folder each for CARDS, PAPERS, PRINTS and TRAYS. Every method raises CommandError."""

    def __init__(self, root: Path) -> None:
        self.root = root

    def _path(self, kind: str, name: str, ending: str) -> Path:
        if not is_name(name):
            raise CommandError(f'"{name[:40]}" is no name. Write 1 to 24 of a-z, 0-9 and -.')
        return self.root / kind / f"{name}{ending}"

    # --- cards

    def cards(self) -> list[dict[str, str]]:
        """Name, title and negative of each card, by name; `wrong` is a line on what is wrong with a file."""
        found = []
        for path in sorted((self.root / CARDS).glob("*.toml")):
            if areas_file.is_areas(path) or not is_name(path.stem):
                continue
            try:
                card = card_file.load(path)
                facts = card["facts"]
                found.append(
                    {"name": path.stem, "title": card["title"], "negative": facts.get("negative", "")}
                )
            except (FileError, OSError) as fault:
                wrong = fault.lines[0] if isinstance(fault, FileError) else in_words(fault)
                found.append({"name": path.stem, "title": "", "negative": "", "wrong": wrong})
        return found

    def card_path(self, name: str) -> Path:
        """Where the card is; it has to be there."""
        path = self._path(CARDS, name, ".toml")
        if not path.is_file():
            raise CommandError(f"There is no card {name} in {self.root / CARDS}. Choose another.")
        return path

    def card(self, name: str) -> dict[str, Any]:
        return card_file.load(self.card_path(name))

    def keep_card(
        self, card: dict[str, Any], force: bool = False, otherwise: str = "give another name"
    ) -> Path:
        """`otherwise` is what can be done where one of this name is there, and is not to be written over."""
        path = self._path(CARDS, card["name"], ".toml")
        _keep(path, card_file.dump(card).encode(), force, otherwise)
        return path

    # --- what is drawn on a picture of its print

    def areas(self, name: str) -> dict[str, Any] | None:
        path = areas_file.path_for(self.card_path(name))
        return areas_file.load(path) if path.is_file() else None

    def keep_areas(self, name: str, areas: dict[str, Any]) -> Path:
        path = areas_file.path_for(self.card_path(name))
        text = areas_file.dump(areas)
        areas_file.read(text, path.name)  # a file that could not be read again is not written
        _write(path, text.encode(), True)
        return path

    def picture(self, name: str) -> Path | None:
        path = self._path(PRINTS, name, ".png")
        return path if path.is_file() else None

    def pictured(self) -> list[dict[str, Any]]:
        """The cards whose print has a picture, but for those that cannot be read."""
        found = []
        for path in (self.root / PRINTS).glob("*.png"):
            with contextlib.suppress(CommandError, FileError, OSError):
                found.append(self.card(path.stem))
        return found

    def keep_picture(self, name: str, png: bytes) -> Path:
        self.card_path(name)
        path = self._path(PRINTS, name, ".png")
        _write(path, png, True)
        return path

    # --- paper records

    def papers(self) -> list[str]:
        """The names of paper records: those here, and those that come along."""
        return _names_in(self.root / PAPERS, COMES_ALONG)

    def paper_path(self, name: str) -> Path:
        own = self._path(PAPERS, name, ".toml")
        return _first_of("paper record", own, COMES_ALONG / own.name)

    def paper(self, name: str) -> PaperRecord:
        return PaperRecord.from_dict(paper_file.PAPERS.load(self.paper_path(name)))

    def keep_paper(self, record: dict[str, Any], force: bool = False) -> Path:
        path = self._path(PAPERS, record["name"], ".toml")
        _keep(path, paper_file.dump(record).encode(), force, "give another name")
        return path

    # --- tray sequences

    def sequences(self) -> list[str]:
        """The names of tray sequences: those here, and those that come along."""
        return _names_in(self.root / TRAYS, TRAYS_COME_ALONG)

    def sequence(self, name: str) -> dict[str, Any]:
        own = self._path(TRAYS, name, ".toml")
        return trays_file.SEQUENCES.load(_first_of("tray sequence", own, TRAYS_COME_ALONG / own.name))


def _names_in(*folders: Path) -> list[str]:
    found = {path.stem for folder in folders for path in folder.glob("*.toml")}
    return sorted(name for name in found if is_name(name))


def _first_of(what: str, own: Path, comes_along: Path) -> Path:
    """The printer's own, or that which comes along."""
    for path in (own, comes_along):
        if path.is_file():
            return path
    raise CommandError(f"There is no {what} {own.stem} in {own.parent}. Choose another.")


def _keep(path: Path, data: bytes, force: bool, otherwise: str) -> None:
    """Write a file; one of the same content is as good as written."""
    if path.is_file() and path.read_bytes() == data:
        return
    if path.exists() and not force:
        raise CommandError(f"{path.name} is there already. Tick “write over it”, or {otherwise}.")
    _write(path, data, force)


def _write(path: Path, data: bytes, force: bool) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise CommandError(
            f"{path.parent} cannot be made: {fault.strerror or fault}. Make room for it, and try again."
        ) from None
    write_file(path, data, force)
