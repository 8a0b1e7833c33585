"""Readings of strips as they come: a CSV file, or typed.

What must live here: how readings are written, and what is wrong with them. What they mean is for `curves`.

A CSV file has a row for each patch, and a heading with `light` (seconds; 0 is unexposed paper, "black" a
piece that got far more than any patch) and `density`; besides `filter`, and `tablet`, the density of a
tablet's step over the patch, where light is that of the exposure.
"""

import csv
import re
from collections.abc import Sequence
from pathlib import Path

from lampblack.errors import CommandError
from lampblack.lab.strips import Strip
from timing_core.light.bench import FILTER_MAX, is_plain_text
from timing_core.light.stops import FURTHEST, scale

SIZE_MAX = 1 << 20
DENSITY_MAX = 4.0
LIGHT_MAX_S = 100_000.0
TABLET_SIGMA = 0.02
"""How far a step of a tablet that was not calibrated may be off, in density: 1/10 stop at its light end, 1/3
at its dense one (a maker's figures, quoted by analogica.it, read)."""
COLUMNS = ("filter", "light", "tablet", "density")
BLACK = "black"
NO_FILTER = "none"


def strips_of_csv(path: Path) -> list[Strip]:
    """The strips in a file, in the order of their first rows. CommandError says which line is wrong."""
    with path.open("rb") as file:
        data = file.read(SIZE_MAX + 1)
    if len(data) > SIZE_MAX:
        raise CommandError(f"{path} is over {SIZE_MAX} bytes. Give it the readings of one paper only.")
    try:
        text = data.decode("utf-8-sig")
        return strips_of_rows(text, str(path))
    except (UnicodeDecodeError, csv.Error) as fault:
        why = "this is not UTF-8 text" if isinstance(fault, UnicodeDecodeError) else str(fault)
        raise CommandError(f"{path}: {why}. Save it as CSV in UTF-8.") from None


def strips_of_rows(text: str, name: str) -> list[Strip]:
    """What is written as `text`, of which CommandError speaks as `name`. Commas or semicolons stand between
    the cells; after semicolons a decimal comma is taken."""
    semicolons = ";" in text.partition("\n")[0]
    rows = csv.reader(text.splitlines(), delimiter=";" if semicolons else ",", strict=True)
    heads = [head.strip().lower() for head in next(rows, [])]
    for head in heads:
        if head not in COLUMNS or heads.count(head) > 1:
            raise CommandError(f'{name}:1: "{head[:40]}" is no heading here. Write {", ".join(COLUMNS)}.')
    for head in ("light", "density"):
        if head not in heads:
            raise CommandError(f"{name}:1: the heading {head} is missing. Write {', '.join(COLUMNS)}.")
    found: dict[str, dict[str, list]] = {}
    uses_tablet = set()
    for row in rows:
        where = f"{name}:{rows.line_num}"
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(heads):
            todo = "Put semicolons between cells, if a comma is the decimal sign."
            cells_there = "is 1 cell" if len(row) == 1 else f"are {len(row)} cells"
            raise CommandError(
                f"{where}: there {cells_there}, and the heading has {len(heads)}. "
                + ("Write a cell under each heading." if semicolons or len(row) < len(heads) else todo)
            )
        cells = {head: cell.strip() for head, cell in zip(heads, row, strict=True)}
        if semicolons:
            cells = {head: c if head == "filter" else c.replace(",", ".") for head, c in cells.items()}
        filter = filter_of(cells.get("filter", ""), where)
        own = found.setdefault(filter, {"readings": [], "base": [], "black": []})
        density = number_of(cells["density"], where, "density", 0, DENSITY_MAX)
        if cells["light"].lower() == BLACK:
            own["black"].append((0.0, density))
            continue
        light = number_of(cells["light"].removesuffix("s"), where, "light", 0, LIGHT_MAX_S)
        if light == 0:
            own["base"].append(density)
            continue
        if cells.get("tablet"):
            uses_tablet.add(filter)
            light *= 10 ** -number_of(cells["tablet"], where, "tablet", 0, DENSITY_MAX)
        own["readings"].append((light, density))
    if not found:
        raise CommandError(f"{name} has no readings. Write a row for each patch under its heading.")
    strips = [
        Strip(filter, step_sigma=TABLET_SIGMA if filter in uses_tablet else 0.0, **own)
        for filter, own in found.items()
    ]
    return shared(strips)


def strip_of_text(text: str, first_ms: int, step_stops120: int) -> Strip:
    """A strip as it is typed: "FILTER: D D D ...", densities from the lightest patch on, where the first
    patch got `first_ms` and each further one `step_stops120` more."""
    filter, colon, written = text.rpartition(":")
    if not colon:
        raise CommandError(
            f'"{text[:40]}" has no filter. Write FILTER: and the densities; none: for no filter.'
        )
    said = f'--strip "{filter.strip()}"'
    numbers = [number_of(one, said, "density", 0, DENSITY_MAX) for one in written.split()]
    lights = lights_of(first_ms, step_stops120, len(numbers))
    return Strip(filter_of(filter.strip(), said), list(zip(lights, numbers, strict=True)))


def lights_of(first_ms: int, step_stops120: int, patches: int) -> list[float]:
    """The light of each patch of a strip, in s, as the box gives it."""
    if (patches - 1) * step_stops120 > FURTHEST:
        raise CommandError(f"{patches} patches of this step span over 10 stops. Make the step less.")
    return [scale(first_ms, at * step_stops120) / 1000 for at in range(patches)]


def shared(strips: Sequence[Strip]) -> list[Strip]:
    """The same strips; one without a base or a black of its own has those of all: it is the same paper."""
    base = [density for strip in strips for density in strip.base]
    black = [reading for strip in strips for reading in strip.black]
    return [strip._replace(base=strip.base or base, black=strip.black or black) for strip in strips]


def filter_of(text: str, where: str) -> str:
    """A filter as it is written: "none" is no filter. CommandError names `where` a wrong one stands."""
    if not is_plain_text(text, 0, FILTER_MAX):
        raise CommandError(f"{where}: a filter's name has up to {FILTER_MAX} plain characters. Shorten it.")
    return "" if text == NO_FILTER else text


def number_of(text: str, where: str, what: str, low: float, high: float) -> float:
    """A number from `low` to `high`. CommandError names `where` it stands and `what` it is."""
    if not re.fullmatch(r"[0-9]{1,9}(\.[0-9]{1,9})?", text.strip()):
        raise CommandError(f'{where}: "{text[:40]}" is no {what}. Write a number, like 1.25.')
    number = float(text)
    if not low <= number <= high:
        raise CommandError(f"{where}: a {what} of {text.strip()} is out of range. Write {low:g} to {high:g}.")
    return number
