"""`lampblack lab carry`: a card carried over, with what each step is worth.

What must live here: what the command takes, and what it prints and writes.
"""

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from lampblack.cards import areas_file, card_file
from lampblack.cards.toml_file import NAME_PATTERN
from lampblack.errors import CommandError
from lampblack.files import write_file
from lampblack.lab.carry import (
    EXPONENT_MAX,
    EXPONENT_MIN,
    STRIP_PATCHES,
    Carried,
    Wanted,
    carried,
    strip_step,
)
from lampblack.lab.readings import filter_of
from lampblack.lab.records import load_record
from lampblack.text.printable import json_text
from lampblack.text.tables import console, new_table
from lampblack.text.units import STOPS_PATTERN, UnitError, parse_stops, seconds_exact
from timing_core.light.carrying import aperture_text
from timing_core.light.plain_form import NAME_MAX
from timing_core.light.plan import filter_text
from timing_core.light.printing_map import APERTURE_MAX, LENGTH_MAX_MM10, LENGTH_MIN_MM10, PrintingMap
from timing_core.light.stops import FURTHEST, STOP, stops_text
from timing_core.refusal import Refusal


def carry(
    card: Annotated[Path, typer.Argument(help="A card: a TOML file.")],
    out: Annotated[
        Path | None,
        typer.Option(
            "-o", "--out", help="The new card, which is called after its file; only shown if left out."
        ),
    ] = None,
    print_mm: Annotated[
        str | None, typer.Option(metavar="MM", help="Another size: the measured detail on the new print.")
    ] = None,
    light: Annotated[
        Literal["diffuser", "condenser"] | None,
        typer.Option(metavar="diffuser|condenser", help="The enlarger's light, for another size."),
    ] = None,
    cell: Annotated[
        str | None,
        typer.Option(
            metavar="STOPS",
            help='Another size: how much more the light cell reads there; "-1 1/3" where it reads less.',
        ),
    ] = None,
    aperture: Annotated[str | None, typer.Option(metavar="F", help="Another aperture, like f/8.")] = None,
    filter: Annotated[
        list[str] | None, typer.Option(metavar="OLD=NEW", help="Another filter; once for each.")
    ] = None,
    paper: Annotated[
        str | None, typer.Option(metavar="FILE|NAME", help="Another paper: its paper record.")
    ] = None,
    record: Annotated[
        str | None, typer.Option(metavar="FILE|NAME", help="The record at work; the card's own if left out.")
    ] = None,
    anchor: Annotated[
        Literal["light tone", "middle", "black"],
        typer.Option(metavar="TONE", help="The tone that stays: light tone, middle or black."),
    ] = "light tone",
    exponent: Annotated[
        str | None,
        typer.Option(metavar="P", help="The paper's reciprocity, measured: how time counts beyond 10 s."),
    ] = None,
    pass_: Annotated[
        int | None,
        typer.Option(
            "--pass",
            metavar="N",
            help="The pass which the strip is for; if left out, one that has moved by itself, or the first.",
        ),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a card that is there.")] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Plain data for programs, in ms and 1/120 stop.")
    ] = False,
) -> None:
    """Carry a card over to another size, aperture, filter or paper.

    Each factor is shown with its source and how sure it is; then, which strip to make first.
    """
    plain = card_file.load(card)
    map = PrintingMap.from_dict(plain)
    if pass_ is not None and not 1 <= pass_ <= len(map.passes):
        known = " or ".join(str(at + 1) for at in range(len(map.passes)))
        raise typer.BadParameter(f"{pass_} is no pass of this card. Write {known}.", param_hint="--pass")
    wanted = wanted_of(
        map,
        card.parent,
        print_mm=print_mm,
        light=light,
        cell=cell,
        aperture=aperture,
        filters=filter or [],
        paper=paper,
        record=record,
        anchor=anchor,
        exponent=exponent,
    )
    try:
        made = carried(map, wanted)
    except Refusal as refusal:
        raise CommandError(f"{card}: {refusal}") from None
    if not made.steps:
        raise CommandError(
            f"{card} stays as it is. Say what it is carried over to: --print-mm, --cell, --aperture, "
            "--filter or --paper."
        )
    index = made.strip_pass if pass_ is None else pass_ - 1
    if out:
        made.map.name = _name_of(out)
        write_file(out, card_file.dump(made.map.to_dict()).encode(), force)
    if as_json:
        print(json_text(carried_plain(map, made, index)))
        return
    _tell(map, made, index)
    if out:
        console().print(f"{out} is written: the card {made.map.name}.")
        if (drawn := areas_file.path_for(card)).is_file():
            console().print(
                f"Areas that were drawn stay with the old card: copy {drawn} to {areas_file.path_for(out)}."
            )


def carried_plain(map: PrintingMap, made: Carried, index: int) -> dict[str, Any]:
    """All of it as plain data, in ms and 1/120 stop; errors are one sigma, in stops."""
    total, error = made.total(index)
    return {
        "card": made.map.to_dict(),
        "steps": [step._asdict() for step in made.steps],
        "passes": [
            {
                "pass": at + 1,
                "was_ms": map.base_ms(at),
                "base_ms": made.map.base_ms(at),
                "stops120": made.total(at)[0],
                "error_stops": made.total(at)[1],
            }
            for at in range(len(map.passes))
        ],
        "strip": {
            "pass": index + 1,
            "base_ms": made.map.base_ms(index),
            "patches": STRIP_PATCHES,
            "step_stops120": strip_step(error)[1],
        },
        "stops120": total,
        "remarks": made.remarks,
    }


HEADS = ("carry", "from", "to", "stops>", "light>", "\N{PLUS-MINUS SIGN} stops>", "from what")


def told(map: PrintingMap, made: Carried, index: int) -> tuple[list[list[str]], list[str]]:
    """Rows under HEADS, the last of them what it is together, and what there is to say below them."""
    rows = [
        [step.what, step.was, step.becomes, *_figures(step.stops120, step.error_stops), step.source]
        for step in made.steps
    ]
    several = len({made.total(at) for at in range(len(map.passes))}) > 1
    for at in range(len(map.passes)) if several else [index]:
        what = f"together, pass {at + 1}" if several else "together"
        rows.append([what, "", "", *_figures(*made.total(at)), ""])
    lines = []
    for at in range(len(map.passes)):
        was, now = seconds_exact(map.base_ms(at)), seconds_exact(made.map.base_ms(at))
        lines.append(f"Pass {at + 1}, {filter_text(made.map.passes[at].filter)}: {was} becomes {now}.")
    step, _ = strip_step(made.total(index)[1])
    around = seconds_exact(made.map.base_ms(index))
    lines.append(f"First strip: {STRIP_PATCHES} patches of {step} stop round {around}, pass {index + 1}.")
    return rows, lines + made.remarks


def _tell(map: PrintingMap, made: Carried, index: int) -> None:
    rows, lines = told(map, made, index)
    table = new_table(*HEADS)
    for row in rows:
        table.add_row(*row, style="bold" if row[0].startswith("together") else None)
    out = console()
    out.print(table)
    for line in lines:
        out.print(line)


def _figures(stops120: int, error_stops: float) -> tuple[str, str, str]:
    return stops_text(stops120), f"x {2 ** (stops120 / STOP):.2f}", f"{error_stops:.2f}"


# --- what is asked for


def wanted_of(
    map: PrintingMap,
    beside: Path,
    *,
    print_mm: str | None = None,
    light: str | None = None,
    cell: str | None = None,
    aperture: str | None = None,
    filters: Sequence[str] = (),
    paper: str | None = None,
    record: str | None = None,
    anchor: str = "light tone",
    exponent: str | None = None,
) -> Wanted:
    """What a person asks for, in their words; "" and None for what stays. Paper records are looked for in the
    folder `beside` first. BadParameter for what is wrong."""
    pairs = [_filter_pair(text) for text in filters]
    changed = dict(pairs)
    if len(changed) < len(pairs):
        raise typer.BadParameter(
            "One filter becomes two. Name each of the card's once.", param_hint="--filter"
        )
    at_work = record or map.record
    old = load_record(at_work, beside) if at_work and (changed or paper) else None
    new = load_record(paper, beside) if paper else None
    if old and new and old.to_dict() == new.to_dict():
        raise typer.BadParameter(f"{new.name} is at work already. Give another.", param_hint="--paper")
    sixths = sixths_of(aperture) if aperture else None
    if sixths is not None and sixths == map.measures.get("aperture"):
        raise typer.BadParameter(
            f"the card has {aperture_text(sixths)} already. Give another.", param_hint="--aperture"
        )
    return Wanted(
        print_mm10=_length(print_mm) if print_mm else None,
        light=light or "",
        cell_stops120=_stops(cell) if cell else None,
        aperture=sixths,
        filters=changed,
        record=old,
        paper=new,
        anchor=anchor,
        exponent=_exponent(exponent) if exponent else None,
    )


def sixths_of(text: str) -> int:
    """An aperture as it is marked, in sixths of a stop from f/1: "f/8", "8", "f/8 +1/2". BadParameter for
    what is none."""
    marked, plus, more = text.strip().lower().removeprefix("f/").partition("+")
    known = {aperture_text(sixths).removeprefix("f/"): sixths for sixths in range(0, APERTURE_MAX + 1, 2)}
    sixths = known.get(marked.strip())
    if sixths is not None and plus:
        try:
            extra, rest = divmod(parse_stops("+" + more.strip()), STOP // 6)
        except UnitError:
            extra, rest = 0, 1
        sixths = None if rest or sixths + extra > APERTURE_MAX else sixths + extra
    if sixths is None:
        raise typer.BadParameter(
            f'"{text}" is no aperture. Write a whole one or a third as marked, like f/8, or f/8 +1/2.',
            param_hint="--aperture",
        )
    return sixths


def _length(text: str) -> int:
    mm = float(text) if re.fullmatch(r"[0-9]{1,6}(\.[0-9]{1,6})?", text) else 0.0
    if not LENGTH_MIN_MM10 <= round(10 * mm) <= LENGTH_MAX_MM10:
        raise typer.BadParameter(
            f'"{text}" is no length here. Write {LENGTH_MIN_MM10 // 10} to {LENGTH_MAX_MM10 // 10}, in mm.',
            param_hint="--print-mm",
        )
    return round(10 * mm)


def _stops(text: str) -> int:
    try:
        stops120 = parse_stops(text)
    except UnitError as fault:
        said = str(fault)
        if re.fullmatch(STOPS_PATTERN, "+" + text):
            said = f'"{text}" has no sign. Write "-{text}" where the cell sees less light than before.'
        raise typer.BadParameter(said, param_hint="--cell") from None
    if abs(stops120) > FURTHEST:
        raise typer.BadParameter(f'"{text}" is out of range. Write -10 to +10.', param_hint="--cell")
    return stops120


def _filter_pair(text: str) -> tuple[str, str]:
    old, _, new = (part.strip() for part in text.partition("="))
    if not new:
        raise typer.BadParameter(f'"{text}" has no new filter. Write {old}=3.', param_hint="--filter")
    return filter_of(old, "--filter"), filter_of(new, "--filter")


def _exponent(text: str) -> int:
    exponent = round(1000 * float(text)) if re.fullmatch(r"[0-9](\.[0-9]{1,6})?", text) else 0
    if not EXPONENT_MIN <= exponent <= EXPONENT_MAX:
        raise typer.BadParameter(
            f'"{text}" is no exponent. Write {EXPONENT_MIN / 1000:g} to {EXPONENT_MAX / 1000:g}.',
            param_hint="--exponent",
        )
    return exponent


def _name_of(out: Path) -> str:
    if out.suffix != ".toml":
        raise CommandError(f"{out} is not written: a card is a TOML file. Give a name that ends in .toml.")
    if not re.fullmatch(NAME_PATTERN, out.stem):
        raise CommandError(
            f"{out} is not written: the card is called after it, and {out.stem} is no shelf name. Give it 1 "
            f"to {NAME_MAX} of a-z, 0-9 and -."
        )
    return out.stem
