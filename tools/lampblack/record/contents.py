"""What a printing record says: a card with its run, as the texts and figures that stand on the page.

What must live here: what is said, and in which order. It may not know paper, letters or places.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from lampblack.cards.areas_file import PARTS, check, marks_of
from lampblack.lab.burns import grade_of_passes
from lampblack.text.printable import printable
from lampblack.text.tables import seconds
from lampblack.text.units import percent_exact, seconds_exact
from timing_core.light.bench import Bench
from timing_core.light.carrying import aperture_text, length_text
from timing_core.light.paper_record import PaperRecord
from timing_core.light.plan import BASE, BURN, FIT, FLASH, Stage, compile_print, filter_text, stage_name
from timing_core.light.printing_map import FACTS, SHEET, Mark, PrintingMap
from timing_core.light.stops import STOP, cut_text, stops_text

OPEN, COVERED = "open", "covered"
"""Bars: light on what is open to it, and the time that a shade is in."""


_KEPT = "\N{NO-BREAK SPACE}"


class Bar(NamedTuple):
    kind: str
    start_ms: int
    end_ms: int


class Row(NamedTuple):
    """A line of the run: what is done, and its figures as text. `shown` is the time as the printer thinks of
    it, `light` what the paper gets after dry-down, both in s; `begins` is true where a filter is fitted."""

    what: str
    number: str = ""
    filter: str = ""
    stops: str = ""
    shown: str = ""
    light: str = ""
    window: str = ""
    bar: Bar | None = None
    begins: bool = False


class Shape(NamedTuple):
    """An area on the picture: its number, its outlines in parts of the picture, and what stands beside it.
    `dodged` is true where all its marks are dodges."""

    number: str
    outlines: list[list[tuple[float, float]]]
    label: list[str]
    dodged: bool


@dataclass
class Contents:
    """All of a record. Times of bars go up to `longest_ms`; `trays` has a row of cells for each."""

    title: str
    about: list[str]
    facts: list[tuple[str, str]]
    rows: list[Row]
    dries_down: bool
    longest_ms: int
    notes: str = ""
    trays_title: str = ""
    trays: list[tuple[str, ...]] = field(default_factory=list)
    shapes: list[Shape] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    foot: str = ""


TRAY_HEADS = ("tray", "time", "at", "ends", "agitate", "drain")


def contents_of(
    card: Mapping[str, Any],
    bench: Bench,
    areas: Mapping[str, Any] | None = None,
    trays: Mapping[str, Any] | None = None,
    edition: tuple[int, int] | None = None,
    date: str = "",
    digest: str = "",
    paper: PaperRecord | None = None,
) -> Contents:
    """The record of `card`, as PrintingMap.to_dict gives it; `areas` and `trays` are in their plain forms.
    The record of its `paper` says which grade two passes make. Refusal if the run cannot be given."""
    map = PrintingMap.from_dict(dict(card))
    stages = compile_print(map, bench)
    shapes = _shapes(map, card, areas) if areas else []
    numbers = {place: shape.number for shape, places in shapes for place in places}
    remarks = []
    if areas:
        if left := [
            f"{area} in pass {count}" for count, area in marks_of(card) if (count, area) not in numbers
        ]:
            remarks.append(f"Not outlined: {', '.join(left)}.")
        if gone := check(areas, card):
            remarks.append(gone)
    about = [f"Print {edition[0]} of {edition[1]}"] if edition else []
    if date:
        about.append(printable(date))
    return Contents(
        title=map.title or map.name,
        about=about,
        facts=_facts(map, stages, paper),
        rows=_rows(map, stages, numbers),
        dries_down=any(stage.shown_ms != stage.light_ms for stage in stages),
        longest_ms=max(stage.light_ms for stage in stages),
        notes=map.facts.get("notes", ""),
        trays_title=_trays_title(trays),
        trays=_trays(trays),
        shapes=[shape for shape, _ in shapes],
        remarks=remarks,
        foot=f"Card {map.name}" + (f", {digest[:12]}" if digest else ""),
    )


# --- what the print was made with


def _facts(map: PrintingMap, stages: Sequence[Stage], paper: PaperRecord | None) -> list[tuple[str, str]]:
    """Labels and texts, those alone that the card has."""
    told = {key: map.facts[key] for key, _ in FACTS if key in map.facts}
    measures = map.measures
    size = []
    if "print_mm10" in measures:
        size.append(f"{length_text(measures['print_mm10'])} on the print")
    if "negative_mm10" in measures:
        size.append(f"{length_text(measures['negative_mm10'])} on the negative")
    sheet = " x ".join(str(measures[side]) for side in SHEET) + " mm" if SHEET[0] in measures else ""
    aperture = [aperture_text(measures["aperture"])] if "aperture" in measures else []
    if told.get("aperture") and told["aperture"] not in aperture:
        aperture.append(told["aperture"])
    found = [
        ("Negative", told.get("negative", "")),
        ("Paper", told.get("paper", "")),
        ("Paper record", map.record),
        ("Grade", _grade(map, paper) if paper else ""),
        ("Developer", told.get("developer", "")),
        ("Sheet", sheet),
        ("Size", ", ".join(size)),
        ("Height", told.get("height", "")),
        ("Lens", told.get("lens", "")),
        ("Aperture", ", ".join(aperture)),
        ("Light cell", f"{measures['spot']} at the first spot" if "spot" in measures else ""),
        ("Dry-down", _dry_down(map)),
        ("Carried over", _chain(map.carried)),
        ("Light in all", seconds(sum(stage.light_ms for stage in stages)) + " s"),
    ]
    if map.flash:
        found.insert(-2, ("Flash", f"{seconds_exact(map.flash.light_ms())}, {filter_text(map.flash.filter)}"))
    if map.tied:
        found.insert(-1, ("Passes", "tied"))
    return [(label, text) for label, text in found if text]


def _grade(map: PrintingMap, paper: PaperRecord) -> str:
    grade = grade_of_passes(paper, map)
    return f"about {paper.grade_text(grade['quarters'])}, R {grade['r10'] / 10:.0f}" if grade else ""


def _dry_down(map: PrintingMap) -> str:
    if not map.dry_down_pm:
        return ""
    cut = f"{cut_text(map.dry_down_pm).split()[0]} stop"
    return f"{percent_exact(map.dry_down_pm)} ({cut})" + ("" if map.dry_down else ", not used")


def _chain(carried: Mapping[str, int]) -> str:
    """What the bases were carried over to, and by how much."""
    if not carried:
        return ""
    steps = [f"{what}{_KEPT}{_decimal(carried[what])}" for what in sorted(carried)]
    if len(steps) > 1:
        steps.append(f"together{_KEPT}{_decimal(sum(carried.values()))}")
    return ", ".join(steps) + f"{_KEPT}stop"


def _decimal(stops120: int) -> str:
    """An offset; where its fraction is an odd one, in decimals."""
    text = stops_text(stops120)
    return f"{stops120 / STOP:+.2f}" if len(text.partition("/")[2]) > 1 and not text.endswith("/12") else text


# --- the run


def _rows(map: PrintingMap, stages: Sequence[Stage], numbers: Mapping[tuple[int, str], str]) -> list[Row]:
    found: list[Row] = []
    for stage in stages:
        index = stage.pass_index
        gives: dict[str, Any] = {
            "shown": seconds(stage.shown_ms),
            "light": seconds(stage.light_ms),
            "filter": stage.filter,
        }
        bar = Bar(OPEN, 0, stage.light_ms)
        if stage.kind == BASE:
            found.append(Row(stage_name(stage), bar=bar, **gives))
            found += _in_base(map, stage, numbers)
        elif stage.kind == BURN:
            of_pass = f", pass {index + 1}" if len(map.passes) > 1 else ""
            found.append(
                Row(
                    f"burn {stage.area}{of_pass}",
                    number=numbers.get((index + 1, stage.area), ""),
                    stops=stops_text(stage.stops120),
                    bar=bar,
                    **gives,
                )
            )
        elif stage.kind == FLASH:
            found.append(Row("Flash, without the negative", bar=bar, **gives))
        else:
            found.append(Row(stage_name(stage), begins=stage.kind == FIT))
    return found


def _in_base(map: PrintingMap, stage: Stage, numbers: Mapping[tuple[int, str], str]) -> list[Row]:
    """The marks of a pass that its base holds: dodges, with their windows, and those without an offset."""
    own = map.passes[stage.pass_index]
    windows = iter(stage.windows)
    found = []
    for mark in own.marks:
        number = numbers.get((stage.pass_index + 1, mark.area), "")
        if mark.stops120 < 0:
            window = next(windows)
            found.append(
                Row(
                    f"dodge {mark.area}",
                    number=number,
                    filter=own.filter,
                    stops=stops_text(mark.stops120),
                    shown=seconds(-map.mark_ms(stage.pass_index, mark)),
                    light=seconds(window.close_ms - window.open_ms),
                    window=f"{seconds(window.open_ms)} to {seconds(window.close_ms)}",
                    bar=Bar(COVERED, window.open_ms, window.close_ms),
                )
            )
        elif not mark.stops120:
            found.append(Row(f"{mark.area}, as the base", number=number, stops=stops_text(0)))
    return found


# --- areas


def _shapes(
    map: PrintingMap, card: Mapping[str, Any], areas: Mapping[str, Any]
) -> list[tuple[Shape, list[tuple[int, str]]]]:
    """The outlined areas, each with the passes and names that it is: alike outlines of one name are one."""
    outlines: dict[tuple[int, str], list] = {}
    for own in areas["outlines"]:
        outline = tuple((x / PARTS, y / PARTS) for x, y in own["corners"])
        outlines.setdefault((own["pass"], own["area"]), []).append(outline)
    marks = marks_of(card)
    alike: dict[tuple[str, tuple], list[tuple[int, str]]] = {}
    for count, area in marks:
        if (count, area) in outlines:
            alike.setdefault((area, tuple(outlines[count, area])), []).append((count, area))
    found = []
    for number, ((area, drawn), places) in enumerate(alike.items(), 1):
        own_marks = [
            (count, mark)
            for count, name in places
            for mark in map.passes[count - 1].marks
            if mark.area == name
        ]
        several = len(map.passes) > 1
        label = [f"{number} {area}", *(_mark_label(map, count, mark, several) for count, mark in own_marks)]
        dodged = all(mark.stops120 < 0 for _, mark in own_marks)
        found.append((Shape(str(number), [list(own) for own in drawn], label, dodged), places))
    return found


def _mark_label(map: PrintingMap, count: int, mark: Mark, several: bool) -> str:
    is_other = mark.filter and mark.filter != map.passes[count - 1].filter
    through = f" through {mark.filter}" if is_other else ""
    text = f"{stops_text(mark.stops120)}{through}  {seconds(abs(map.mark_ms(count - 1, mark)))} s"
    return f"pass {count}: {text}" if several else text


# --- trays


def _trays_title(trays: Mapping[str, Any] | None) -> str:
    if not trays:
        return ""
    return f"Trays: {trays['name']}" + (f", {trays['title']}" if trays["title"] else "")


def _trays(trays: Mapping[str, Any] | None) -> list[tuple[str, ...]]:
    """A row of cells for each tray, as TRAY_HEADS names them."""
    found: list[tuple[str, ...]] = []
    for name, seconds_, half_degrees, _, kind, tick_s, drain_s in trays["trays"] if trays else ():
        minutes, rest = divmod(seconds_, 60)
        time = f"{minutes}:{rest:02} min" if minutes else f"{rest} s"
        found.append(
            (
                name,
                time,
                f"{half_degrees / 2:g} \N{DEGREE SIGN}C",
                {"least": "at least", "exact": "exactly", "factor": "by first sight"}.get(kind, kind),
                f"every {tick_s} s" if tick_s else "",
                f"last {drain_s} s" if drain_s else "",
            )
        )
    return found
