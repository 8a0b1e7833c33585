"""What the laboratory's page can ask for, and what it is answered: plain data both ways.

What must live here: which message is which job, and that its figures are text as a person writes them. What
is worked out comes from the modules that the commands use; nothing is decided in the browser. It may not know
how messages come and go.
"""

import base64
import os
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import typer

from lampblack import errors
from lampblack.cards import areas_file, card_file, paper_file, trays_file
from lampblack.cards.toml_file import FileError
from lampblack.errors import CommandError
from lampblack.extra import extra
from lampblack.lab.records import check_called
from lampblack.lab_page.folder import PAPERS, Folder
from lampblack.ledger.places import data_folder
from lampblack.text.tables import seconds
from lampblack.text.units import UnitError, parse_seconds, parse_step
from lampblack.wire.box_client import BoxClient, BoxError
from lampblack.wire.finding import IN_BROWSER, the_box
from timing_core.light.carrying import aperture_text, length_text
from timing_core.light.paper_record import ANCHORS, FILTERS_MAX
from timing_core.light.printing_map import PrintingMap
from timing_core.refusal import Refusal

TEXT_MAX = 2000
STRIPS_MAX = 12
OUTLINES_MAX = 128
PREVIEW_PX = 1000
NO_JOB = "That message is no job of this page. Load the page again."

Message = Mapping[str, Any]
Answer = dict[str, Any]


class Place(NamedTuple):
    """Where the page works: its folder, the ledger's database (None: this user's own) and the port of the box
    (None: the only one)."""

    folder: Folder
    database: str | None
    port: str | None

    @classmethod
    def of(cls, folder: Path | None = None, database: str | None = None, port: str | None = None) -> "Place":
        """Where that is for this user: as LAMPBLACK_LAB and LAMPBLACK_DATABASE have it, unless it is said."""
        said = folder or os.environ.get("LAMPBLACK_LAB")
        return cls(
            Folder(Path(said) if said else data_folder()),
            database or os.environ.get("LAMPBLACK_DATABASE") or None,
            port,
        )


def draws(message: object) -> bool:
    """True for a message whose answer is slow, since it is drawn or resampled."""
    return isinstance(message, dict) and message.get("job") in DRAWN


def answered(place: Place, message: object) -> Answer:
    """The answer to a message. What cannot be done is `wrong`: a line, or some."""
    try:
        if not isinstance(message, dict) or not isinstance(message.get("job"), str):
            raise CommandError(NO_JOB)
        job = JOBS.get(message["job"])
        if job is None:
            raise CommandError(NO_JOB)
        with extra():
            return job(place, message)
    except REFUSED as fault:
        return {"wrong": in_words(fault)}


REFUSED = (CommandError, FileError, UnitError, Refusal, BoxError, typer.BadParameter, OSError)
"""What a job cannot do."""


def in_words(fault: Exception) -> str:
    """What a job that is REFUSED says."""
    if isinstance(fault, typer.BadParameter):
        return fault.message
    if isinstance(fault, OSError):
        return errors.in_words(fault)
    return str(fault)


# --- reading a message


def _text(message: Message, key: str, most: int = TEXT_MAX) -> str:
    value = message.get(key, "")
    if not isinstance(value, str):
        raise CommandError(NO_JOB)
    value = value.strip()
    if len(value) > most:
        raise CommandError(f"{key}: it has over {most} characters. Write fewer.")
    return value


def _flag(message: Message, key: str) -> bool:
    return message.get(key) is True


def _items(message: Message, key: str, most: int) -> list[Message]:
    values = message.get(key, [])
    if not isinstance(values, list) or not all(isinstance(own, dict) for own in values):
        raise CommandError(NO_JOB)
    if len(values) > most:
        raise CommandError(f"There are {len(values)} of {key}, and {most} is the most. Take some away.")
    return values


def _inks(message: Message) -> Any:
    from lampblack.lab_page.growing import Inks

    if _flag(message, "white"):
        return Inks("#111111", "#cccccc", "#ffffff")
    return Inks("#ff4020", "#5c170b", "#080000")


# --- a paper from strips


def _numbers(text: str, where: str) -> list[float]:
    from lampblack.lab.readings import DENSITY_MAX, number_of

    return [number_of(own, where, "density", 0, DENSITY_MAX) for own in text.split()]


def _strips(message: Message) -> tuple[list[Any], list[str]]:
    """The strips as far as they are typed, and for each what is wrong with it."""
    from lampblack.lab.readings import filter_of, lights_of
    from lampblack.lab.strips import Strip

    step_stops120, step_ms = parse_step(_text(message, "step") or "1/2")
    if step_ms or not step_stops120:
        raise CommandError("The step is in stops. Write 1/2 or 1/4.")
    base = _numbers(_text(message, "base"), "unexposed paper")
    black = [(0.0, density) for density in _numbers(_text(message, "black"), "black piece")]
    strips, wrong = [], []
    for own in _items(message, "strips", STRIPS_MAX):
        filter = filter_of(_text(own, "filter"), "filter")
        called = f"Filter {filter}" if filter else "No filter"
        readings: list[tuple[float, float]] = []
        said = ""
        try:
            densities = _numbers(_text(own, "densities"), called)
            if densities:
                first = _text(own, "first")
                if not first:
                    raise CommandError(f"{called}: say what light its first patch got, like 2 s.")
                lights = lights_of(parse_seconds(first), step_stops120, len(densities))
                readings = list(zip(lights, densities, strict=True))
        except (CommandError, UnitError) as fault:
            said = str(fault)
        strips.append(Strip(filter, readings, base, black))
        wrong.append(said)
    return strips, wrong


def _look_at_paper(place: Place, message: Message) -> Answer:
    """The curves as they grow: what is typed, and what each strip still wants."""
    from lampblack.lab.curves import curve_of
    from lampblack.lab_page.growing import Growing, growing_picture

    strips, wrong = _strips(message)
    growing, lines = [], []
    for strip, said in zip(strips, wrong, strict=True):
        curve = None
        if strip.readings and not said:
            try:
                curve = curve_of(strip)
                said = f"{strip.called}: R {curve.points.iso_range:.0f}"
            except CommandError as fault:
                said = str(fault)
        growing.append(Growing(strip, curve))
        lines.append(said)
    return {
        "picture": growing_picture(growing, _inks(message)),
        "lines": lines,
        "whole": bool(growing) and all(own.curve is not None for own in growing),
    }


def _made_paper(message: Message) -> Any:
    from lampblack.lab.paper import record_of
    from lampblack.lab.readings import number_of

    name, edition = _text(message, "name"), _text(message, "edition")
    check_called(name, edition)
    strips, wrong = _strips(message)
    if said := next((line for line in wrong if line), ""):
        raise CommandError(said)
    strips = [strip for strip in strips if strip.readings]
    if not strips:
        raise CommandError("There is no strip yet. Type the densities of one.")
    lux = _text(message, "lux")
    return record_of(
        strips,
        name,
        edition,
        reference=_text(message, "reference") or None,
        lux=number_of(lux, "The light on the easel", "light in lux", 0.001, 10000) if lux else None,
    )


def _make_paper(place: Place, message: Message) -> Answer:
    """The record of what is typed, as it would be kept."""
    from lampblack.lab.paper import pm_text

    made = _made_paper(message)
    rows = [
        [
            own.filter or "none",
            f"{own.iso_range:.0f} ± {pm_text(own.range_pm)}",
            *(f"{stops120 / 120:+.2f}" for stops120 in own.offsets),
        ]
        for own in made.filters
    ]
    return {
        "heads": ["filter", "R", "light tone", "middle", "black"],
        "rows": rows,
        "notes": list(made.warnings),
        "text": paper_file.dump(made.record),
        "name": made.record["name"],
    }


def _keep_paper(place: Place, message: Message) -> Answer:
    """Keep the record that was made, as it was shown: making it again would take as long again."""
    record = paper_file.PAPERS.read(_text(message, "text", paper_file.PAPERS.size_max), "the record")
    path = place.folder.keep_paper(record, _flag(message, "force"))
    return {"told": f"{path.name} is kept in {path.parent}.", "papers": place.folder.papers()}


def _push_paper(place: Place, message: Message) -> Answer:
    record = paper_file.PAPERS.load(place.folder.paper_path(_text(message, "name")))
    with BoxClient(the_box(place.port, todo=IN_BROWSER)) as box:
        box.push(record, None, "paper")
    return {"told": f"{record['name']} is in the box."}


# --- cards


def _cards(place: Place, message: Message) -> Answer:
    cards = place.folder.cards()
    wrong = [own["wrong"] for own in cards if "wrong" in own]
    others = len(wrong) - 1
    more = f" And {others} more {'card' if others == 1 else 'cards'} cannot be read." if others > 0 else ""
    return {
        "cards": cards,
        "papers": place.folder.papers(),
        "sequences": place.folder.sequences(),
        "folder": str(place.folder.root),
        "note": wrong[0] + more if wrong else "",
    }


def _take_card(place: Place, message: Message) -> Answer:
    """A card that was dropped on the page comes into the folder."""
    text = _text(message, "text", card_file.CARDS.size_max)
    try:
        card = card_file.read(text, "the card")
    except FileError:
        for kind in (paper_file.PAPERS, trays_file.SEQUENCES, areas_file.AREA_FILES):
            if kind.takes(text):
                raise CommandError(f"This is a {kind.what}, and no card. Give a card.") from None
        raise
    path = place.folder.keep_card(card, _flag(message, "force"), "write another name into yours")
    return {"told": f"{path.name} is kept in {path.parent}.", **_cards(place, message), "name": card["name"]}


# --- carrying over


def _look_at_card(place: Place, message: Message) -> Answer:
    """What a card can be carried over from."""
    map = PrintingMap.from_dict(place.folder.card(_text(message, "card")))
    measures = map.measures
    known = [length_text(measures[key]) + words for key, words in _LENGTHS if key in measures]
    if "aperture" in measures:
        known.append(aperture_text(measures["aperture"]))
    if map.record:
        known.append(f"paper record {map.record}")
    return {"now": ", ".join(known) or "The card has no measures yet.", "filters": map.filters()}


_LENGTHS = (("negative_mm10", " on the negative"), ("print_mm10", " on the print"))


def _carry(place: Place, message: Message) -> Any:
    from lampblack.lab.carry import LIGHTS, carried
    from lampblack.lab.carry_command import wanted_of

    map = PrintingMap.from_dict(place.folder.card(_text(message, "card")))
    light = _text(message, "light")
    anchor = _text(message, "anchor") or ANCHORS[0]
    if light not in ("", *LIGHTS) or anchor not in ANCHORS:
        raise CommandError(NO_JOB)
    filters = _items(message, "filters", FILTERS_MAX)
    wanted = wanted_of(
        map,
        place.folder.root / "papers",
        light=light,
        anchor=anchor,
        filters=[f"{_text(own, 'old')}={_text(own, 'new')}" for own in filters],
        print_mm=_text(message, "print_mm"),
        cell=_text(message, "cell"),
        aperture=_text(message, "aperture"),
        paper=_text(message, "paper"),
        record=_text(message, "record"),
        exponent=_text(message, "exponent"),
    )
    return map, carried(map, wanted)


def _look_carried(place: Place, message: Message) -> Answer:
    from lampblack.lab.carry_command import HEADS, told

    map, made = _carry(place, message)
    if not made.steps:
        return {}
    rows, lines = told(map, made, made.strip_pass)
    return {"heads": [head.rstrip(">") for head in HEADS], "rows": rows, "lines": lines}


def _keep_carried(place: Place, message: Message) -> Answer:
    _, made = _carry(place, message)
    made.map.name = _text(message, "name")
    path = place.folder.keep_card(made.map.to_dict(), _flag(message, "force"))
    return {"told": f"{path.name} is kept in {path.parent}."}


# --- the printing record


def _laid(place: Place, message: Message) -> Any:
    from lampblack.record.record_command import edition_of, laid, paper_of

    name = _text(message, "card")
    size, trays = _text(message, "paper_size") or "a4", _text(message, "trays")
    if size not in ("a4", "letter"):
        raise CommandError(NO_JOB)
    card = place.folder.card(name)
    return laid(
        card,
        paper=paper_of(card, place.folder.root / PAPERS),
        picture=place.folder.picture(name),
        paper_size=size,
        areas=place.folder.areas(name),
        trays=place.folder.sequence(trays) if trays else None,
        edition=edition_of(_text(message, "edition")) if _text(message, "edition") else None,
        date=_text(message, "date", 40),
    )


def _show_record(place: Place, message: Message) -> Answer:
    """The pages as pictures, with the areas and marks of the card."""
    from io import BytesIO

    from PIL import Image

    from lampblack.record.record_command import files_of

    name = _text(message, "card")
    card = place.folder.card(name)
    pages = []
    for page in files_of(_laid(place, message), "png"):
        with Image.open(BytesIO(page)) as image:
            image.thumbnail((PREVIEW_PX, PREVIEW_PX * 2))
            out = BytesIO()
            image.convert("L").save(out, "PNG")
            wide, high = image.size
        pages.append({"png": _in_letters(out.getvalue()), "wide": wide, "high": high})
    areas = place.folder.areas(name) or {"outlines": []}
    return {
        "pages": pages,
        "marks": [{"pass": count, "area": area} for count, area in areas_file.marks_of(card)],
        "outlines": _in_parts(areas),
        "has_picture": place.folder.picture(name) is not None,
        "note": areas_file.check(areas, card),
    }


def _in_letters(data: bytes) -> str:
    return base64.b64encode(data).decode()


def _in_parts(areas: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {**own, "corners": [[x / areas_file.PARTS, y / areas_file.PARTS] for x, y in own["corners"]]}
        for own in areas["outlines"]
    ]


def _keep_areas(place: Place, message: Message) -> Answer:
    """The outlines as drawn, with what has been drawn elsewhere since they were as `upon` has them."""
    name, drawn = _text(message, "card"), _outlines(message, "outlines")
    there = place.folder.areas(name) or {"outlines": []}
    outlines = areas_file.together(there["outlines"], drawn, _outlines(message, "upon"))
    path = place.folder.keep_areas(name, {"outlines": outlines})
    more = ", with what has been drawn elsewhere" if any(own not in drawn for own in outlines) else ""
    told = f"{path.name} is kept beside the card{more}."
    return {"told": told, "outlines": _in_parts({"outlines": outlines})}


def _outlines(message: Message, key: str) -> list[dict[str, Any]]:
    outlines = []
    for own in _items(message, key, OUTLINES_MAX):
        count, corners = own.get("pass"), own.get("corners")
        if not isinstance(count, int) or isinstance(count, bool) or not isinstance(corners, list):
            raise CommandError(NO_JOB)
        places = []
        for corner in corners:
            if not (isinstance(corner, list) and len(corner) == 2 and all(_is_part(part) for part in corner)):
                raise CommandError(NO_JOB)
            places.append([round(part * areas_file.PARTS) for part in corner])
        outlines.append({"pass": count, "area": _text(own, "area", 16), "corners": places})
    return outlines


def _is_part(part: object) -> bool:
    return isinstance(part, (int, float)) and not isinstance(part, bool) and 0 <= part <= 1


def _save_record(place: Place, message: Message) -> Answer:
    """The record as files, called as the command calls them, for the browser to save."""
    from lampblack.record.record_command import ENDINGS, files_of, paths_of

    kind = _text(message, "kind")
    if f".{kind}" not in ENDINGS:
        raise CommandError(NO_JOB)
    record = _laid(place, message)
    names = [path.name for path in paths_of(Path(f"{_text(message, 'card')}.{kind}"), record)]
    files = [
        {"name": name, "data": _in_letters(data)}
        for name, data in zip(names, files_of(record, kind), strict=True)
    ]
    return {"files": files, "told": f"Saved: {', '.join(names)}."}


# --- the ledger


def _home(place: Place) -> Any:
    from lampblack.ledger.home import Home

    return Home(place.database)


def _list_ledger(place: Place, message: Message) -> Answer:
    from lampblack.ledger.commands import damaged_text
    from lampblack.ledger.editions import editions
    from lampblack.ledger.entries import card_of
    from lampblack.ledger.shown import when

    with _home(place) as home:
        entries = home.find(
            kind=_text(message, "kind") or None,
            negative=_text(message, "negative"),
            title=_text(message, "title"),
            paper=_text(message, "paper"),
        )
        prints = home.find(kind="print")  # an edition is all its prints, whatever is looked for
    numbers = {
        str(each.entry.name): f"{each.number} of {each.of}"
        for own in editions(prints)
        for each in own.prints
        if each.number
    }
    pictures = {card_of({"map": card})[:3] for card in place.folder.pictured()}
    found = []
    for entry in reversed(entries):
        name, title, negative, paper = card_of(entry.record)
        found.append(
            {
                "id": str(entry.name),
                "when": when(entry),
                "kind": entry.record["kind"],
                "name": name,
                "title": title or name,
                "negative": negative,
                "paper": paper,
                "print": numbers.get(str(entry.name), ""),
                "whole": entry.record["whole"],
                "picture": name if (title or negative) and (name, title, negative) in pictures else "",
            }
        )
    return {"entries": found, "remarks": list(map(damaged_text, home.damaged)), "shown": home.shown}


def _entry(home: Any, text: str) -> Any:
    from lampblack.ledger.entries import parse_name

    name = parse_name(text)
    found = home.named(name) if name else []
    if len(found) != 1:
        raise CommandError(f'"{text[:40]}" is no entry of the ledger. Look for it again.')
    return found[0]


def _show_entry(place: Place, message: Message) -> Answer:
    from lampblack.ledger.shown import headlines

    with _home(place) as home:
        entry = _entry(home, _text(message, "id"))
    stages = [
        [
            own["stage"],
            own["filter"] or "none",
            seconds(own["light_ms"]),
            seconds(own["given_ms"]) + (" or more" if own["at_least"] else ""),
        ]
        for own in entry.record["stages"]
    ]
    return {
        "lines": headlines(entry, ""),
        "heads": ["stage", "filter", "planned s", "given s"],
        "rows": stages,
        "again": entry.record["map"] is not None,
    }


def _again(place: Place, message: Message) -> Answer:
    """The card of an entry comes into the folder."""
    with _home(place) as home:
        entry = _entry(home, _text(message, "id"))
    if entry.record["map"] is None:
        raise CommandError("This record is of an older form, without its map. Print from another one.")
    path = place.folder.keep_card(
        entry.record["map"], _flag(message, "force"), "rename the one that is there"
    )
    return {
        "told": f"{path.name} is kept in {path.parent}. Push it to print it again.",
        **_cards(place, message),
    }


def _pull_ledger(place: Place, message: Message) -> Answer:
    from datetime import UTC, datetime

    from lampblack.ledger.commands import moment_of
    from lampblack.ledger.pulling import pull

    with _home(place) as home, BoxClient(the_box(place.port, todo=IN_BROWSER)) as box:
        put, fault = pull(box, home, moment_of(datetime.now(UTC)))
    if fault is not None:
        raise CommandError(f"New records that came before it was cut off: {put.new}. {fault}")
    return {"told": f"{put.new} new of {put.of} records in the box."}


JOBS: dict[str, Callable[[Place, Message], Answer]] = {
    "paper.look": _look_at_paper,
    "paper.make": _make_paper,
    "paper.keep": _keep_paper,
    "paper.push": _push_paper,
    "cards": _cards,
    "card.take": _take_card,
    "carry.card": _look_at_card,
    "carry.look": _look_carried,
    "carry.keep": _keep_carried,
    "record.show": _show_record,
    "record.save": _save_record,
    "record.areas": _keep_areas,
    "ledger.list": _list_ledger,
    "ledger.show": _show_entry,
    "ledger.again": _again,
    "ledger.pull": _pull_ledger,
}
DRAWN = ("paper.look", "paper.make", "record.show", "record.save")
