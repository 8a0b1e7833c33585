"""The commands `lampblack lab`: what a laboratory works out, printed.

What must live here: the words of these commands and what they print. What is worked out comes from the
modules beside this one as plain data. Those that need the extra `lab` are imported when a command runs.
"""

import math
import re
import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

import typer

from lampblack.errors import CommandError
from lampblack.files import write_file
from lampblack.lab import sums
from lampblack.lab.extra import extra
from lampblack.lab.grades import half_grades, r10_of_grade, split_for, split_of
from lampblack.lab.readings import DENSITY_MAX, number_of, shared, strip_of_text, strips_of_csv
from lampblack.lab.records import load_record
from lampblack.lab.strips import Strip
from lampblack.text import tables
from lampblack.text.printable import json_text
from lampblack.text.units import UnitError, parse_seconds, parse_step, percent_exact, seconds_exact
from lampblack.wire.box_client import BoxClient
from lampblack.wire.finding import the_box
from timing_core.light import tray_times
from timing_core.light.paper_record import PaperRecord, grade_of
from timing_core.light.stops import clock_text, cut_text, seconds_text

app = typer.Typer(
    help="Work out papers, grades and tests of a darkroom; no box is needed.", rich_markup_mode=None
)

TABLE_MS = 10_000
"""The time that an exposure table is made for."""

T = TypeVar("T")
AsJson = Annotated[bool, typer.Option("--json", help="Plain data for programs.")]


# --- paper records


@app.command()
def paper(
    name: Annotated[str, typer.Argument(help="The record's name in the box: a-z, 0-9 and -.")],
    csv: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Readings: a row each, under filter,light,density and perhaps tablet."
        ),
    ] = None,
    strip: Annotated[
        list[str] | None,
        typer.Option(metavar="FILTER:D...", help='Densities of a strip, like "2: 0.06 0.08 0.15 ...".'),
    ] = None,
    eye: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FILTER:N...",
            help="By eye: the patches with first tone, last before black, and like a grey of 0.65.",
        ),
    ] = None,
    first: Annotated[
        list[str] | None,
        typer.Option(
            metavar="TIME",
            help="The first patch's light of --strip and --eye: for all, or one after another.",
        ),
    ] = None,
    step: Annotated[str, typer.Option(metavar="STOPS", help="What each patch got more.")] = "1/2",
    base: Annotated[
        list[str] | None, typer.Option(metavar="D", help="Unexposed paper, developed with the strips.")
    ] = None,
    black: Annotated[
        list[str] | None, typer.Option(metavar="D", help="A piece with 8 times the last patch's light.")
    ] = None,
    edition: Annotated[str, typer.Option(metavar="TEXT", help="Which batch and developer, and when.")] = "",
    reference: Annotated[
        str | None,
        typer.Option(metavar="FILTER", help="The filter from which stops are counted; 2 if left out."),
    ] = None,
    pair: Annotated[
        tuple[str, str] | None,
        typer.Option(
            metavar="SOFT HARD", help="The filters of split grade; the softest and the hardest if left out."
        ),
    ] = None,
    lux: Annotated[
        str | None,
        typer.Option(metavar="N", help="The light on the easel, without a filter: gives ISO speed P."),
    ] = None,
    sigma: Annotated[
        str | None, typer.Option(metavar="D", help="How far a reading may be off.", show_default="0.01")
    ] = None,
    seed: Annotated[
        int, typer.Option(min=0, help="Of the resampling that finds what figures may be off.")
    ] = 0,
    out: Annotated[
        Path | None, typer.Option("-o", "--out", metavar="FILE", help="Write the record; - is stdout.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Draw the curves: a name that ends in .svg or .png.")
    ] = None,
    push: Annotated[bool, typer.Option("--push", help="Put the record into the box.")] = False,
    port: Annotated[
        str | None,
        typer.Option(metavar="URL", envvar="LAMPBLACK_PORT", help="The box; the only box if left out."),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over files that are there.")] = False,
) -> None:
    """Make a paper record from test strips: readings of them, or what an eye sees."""
    with extra():
        from lampblack.lab import paper as papers

    if sum(map(bool, (csv, strip, eye))) != 1:
        raise typer.BadParameter("Give one of --csv, --strip and --eye.", param_hint="--csv")
    lux_there = None if lux is None else number_of(lux, "--lux", "light in lux", 0.001, 10000)
    step_stops120, step_ms = _option("--step", parse_step, step)
    if step_ms or not step_stops120:
        raise typer.BadParameter(
            f'"{step}" is no step of a strip for a record. Write stops.', param_hint="--step"
        )
    if eye:
        made, strips = _paper_by_eye(name, edition, eye, first, step_stops120, reference, lux_there), []
    else:
        strips = strips_of_csv(csv) if csv else _typed(strip or [], first, step_stops120)
        strips = [
            own._replace(
                base=[*own.base, *_densities("--base", base)],
                black=[*own.black, *((0.0, density) for density in _densities("--black", black))],
            )
            for own in strips
        ]
        made = papers.record_of(
            strips,
            name,
            edition,
            reference=reference,
            pair=pair,
            lux=lux_there,
            sigma=papers.READER_SIGMA
            if sigma is None
            else number_of(sigma, "--sigma", "density", 0.001, 0.2),
            seed=seed,
        )
    if made is None:
        return
    if out != Path("-"):
        _say_paper(made)
    if picture is not None:
        with extra():
            from lampblack.lab.pictures import curves_picture
        write_file(picture, curves_picture(made, strips, picture.suffix.lower()), force)
    if out == Path("-"):
        sys.stdout.write(papers.text_of(made))
    elif out is not None:
        write_file(out, papers.text_of(made).encode(), force)
        _print(f"The record is written to {out}.")
    if push:
        with BoxClient(the_box(port)) as box:
            box.push(made.record, None, "paper")
        _print(f"{made.record['name']} is in the box.")


def _typed(texts: list[str], first: list[str] | None, step_stops120: int) -> list[Strip]:
    return shared(
        [
            strip_of_text(text, first_ms, step_stops120)
            for text, first_ms in zip(texts, _first_ms(first, len(texts)), strict=True)
        ]
    )


def _first_ms(first: list[str] | None, strips: int) -> list[int]:
    times = [_option("--first", parse_seconds, text) for text in first or []]
    if len(times) not in (1, strips) or not all(times):
        raise typer.BadParameter(
            "Give the light of the first patch, once for all strips or once for each.", param_hint="--first"
        )
    return times * strips if len(times) == 1 else times


def _densities(name: str, texts: list[str] | None) -> list[float]:
    return [number_of(text, name, "density", 0, DENSITY_MAX) for text in texts or []]


def _paper_by_eye(
    name: str,
    edition: str,
    texts: list[str],
    first: list[str] | None,
    step_stops120: int,
    reference: str | None,
    lux: float | None,
) -> Any:
    """The record, or None where the eye saw enough for R alone, which is printed."""
    from lampblack.lab import eye as eyes

    seen = [
        eyes.seen_of_text(text, ms / 1000, step_stops120)
        for text, ms in zip(texts, _first_ms(first, len(texts)), strict=True)
    ]
    if any(own.grey is None for own in seen):
        for own in seen:
            iso_range, pm = eyes.range_of(own)
            _print(f"Filter {own.filter or 'none'}: R {iso_range:.0f} ± {math.ceil(pm)}.")
        _print("For a record, give the patch that matches a grey of 0.65 as the third number.")
        return None
    return eyes.record_by_eye(seen, name, edition, reference, lux)


def _say_paper(made: Any) -> None:
    has_speed = "speed" in made.record
    table = tables.new_table(
        "filter",
        "R>",
        "±>",
        "P>" if has_speed else "speed>",
        "± %>",
        "light tone>",
        "middle>",
        "black>",
        "±>",
    )
    for own in made.filters:
        table.add_row(
            own.filter or "none",
            f"{own.iso_range:.0f}",
            str(math.ceil(own.range_pm)),
            f"{own.speed:.0f}",
            str(math.ceil(own.speed_pm_percent)),
            *(f"{stops120 / 120:+.2f}" for stops120 in own.offsets),
            " ".join(f"{stops120 / 120:.2f}" for stops120 in own.offsets_pm),
        )
    _print(table)
    whose = f"Stops are counted from a middle tone through {made.reference or 'no filter'}."
    _print(whose if has_speed else f"{whose} Its speed is called 100: without lux there is no P.")
    if made.pair_worst is not None:
        soft, hard = made.record["pair"]
        _print(f"Together, {soft} and {hard} are modelled to {made.pair_worst:.2f} in density.")
    for warning in made.warnings:
        _print(f"Note: {warning}")
    record = PaperRecord.from_dict(made.record)
    rows = half_grades(record, made.reference, TABLE_MS)
    if rows:
        _print("")
        _print(
            f"Split grade, seconds through {soft} and {hard}, that leave what {seconds_exact(TABLE_MS)} "
            f"through {made.reference or 'no filter'} do:"
        )
        _print(_grades_table(rows))


def _grades_table(rows: list[dict[str, Any]]) -> Any:
    table = tables.new_table("grade", "R>", "a middle tone>", "a light tone>")
    for row in rows:
        both = [" + ".join(tables.seconds(ms) for ms in row[anchor]) for anchor in ("middle", "light tone")]
        table.add_row(row["grade"], f"{row['r10'] / 10:.0f}", *both)
    return table


# --- grades

Record = Annotated[
    str,
    typer.Option(metavar="FILE|NAME", help="A paper record: a file, or the name of one that comes along."),
]


@app.command()
def grade(
    record: Record,
    soft: Annotated[
        str | None, typer.Option(metavar="TIME", help="Light through the pair's soft filter.")
    ] = None,
    hard: Annotated[str | None, typer.Option(metavar="TIME", help="Light through its hard filter.")] = None,
    wanted: Annotated[
        str | None, typer.Option("--grade", metavar="GRADE", help='The grade to make, like "2 1/2".')
    ] = None,
    time: Annotated[
        str | None, typer.Option(metavar="TIME", help="The light through --filter whose tone is to stay.")
    ] = None,
    filter: Annotated[
        str | None, typer.Option("--filter", metavar="FILTER", help="The filter of --time; none if left out.")
    ] = None,
    anchor: Annotated[
        Literal["light tone", "middle", "black"],
        typer.Option(metavar="TONE", help="The tone that stays: light tone, middle or black."),
    ] = "light tone",
    as_json: AsJson = False,
) -> None:
    """The grade of two times, or two times for a grade.

    With neither, the table of half grades.
    """
    own = load_record(record)
    light_ms = TABLE_MS if time is None else _option("--time", parse_seconds, time)
    if soft is not None or hard is not None:
        soft_ms, hard_ms = (
            0 if text is None else _option(name, parse_seconds, text)
            for name, text in (("--soft", soft), ("--hard", hard))
        )
        split = split_of(own, soft_ms, hard_ms)
    elif wanted is not None:
        if time is None:
            said = "Which light is right so far? Give --time and --filter."
            raise typer.BadParameter(said, param_hint="--time")
        split = split_for(own, r10_of_grade(own, _quarters(wanted)), filter or "", light_ms, anchor)
    else:
        rows = half_grades(own, own.filters[0][0] if filter is None else filter, light_ms)
        if not rows:
            raise CommandError(
                f"The record {own.name} has no pair, or no grades. Measure a soft and a hard strip."
            )
        if as_json:
            _print_json(rows)
        else:
            _print(_grades_table(rows))
        return
    if as_json:
        _print_json(split._asdict())
        return
    soft_name, hard_name = own.pair
    called = "" if split.quarters is None else f", about grade {own.grade_text(split.quarters)}"
    _print(
        f"{seconds_exact(split.soft_ms)} through {soft_name} and {seconds_exact(split.hard_ms)} through "
        f"{hard_name}: R {split.r10 / 10:.0f}{called}."
    )


def _quarters(text: str) -> int:
    whole, _, part = text.strip().rpartition(" ")
    parts = {"1/4": 1, "1/2": 2, "3/4": 3}
    quarters = grade_of(text.strip())
    if quarters is None and part in parts and whole in ("", "0", "1", "2", "3", "4"):
        quarters = 4 * int(whole or 0) + parts[part]
    if quarters is None:
        raise typer.BadParameter(
            f'"{text}" is no grade. Write 00, or 0 to 5, like "2 1/2".', param_hint="--grade"
        )
    return quarters


# --- guided tests without a box


@app.command()
def lag(
    doses: Annotated[
        list[str] | None,
        typer.Argument(metavar="TIME=DOSE...", help='A strike and its light in any unit: "0.5 s=0.41".'),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Lamp lag from the light of strikes, less the dark's.

    Without any, the strip that needs no instrument.
    """
    if not doses:
        ladder = sums.lag_ladder()
        if as_json:
            _print_json(ladder)
            return
        table = tables.new_table("area", "strikes>", "lamp s>", "stands for")
        for row in ladder:
            table.add_row(row["area"], str(row["strikes"]), tables.seconds(row["lamp_ms"]), row["stands_for"])
        _print(table)
        _print("Where the border to the left half is gone, the patch stands for the lag.")
        return
    found = sums.lag_of([_dose(text) for text in doses])
    if as_json:
        _print_json(found._asdict())
        return
    spread = f", the strikes agree to {found.spread_ms:.1f} ms" if len(doses) > 2 else ""
    _print(f"Lag {found.lag_ms:.0f} ms{spread}.")
    if found.shortest_ms is not None and len(doses) > 2:
        _print(f"Strikes from {seconds_exact(found.shortest_ms)} on give their light to 2 %.")


def _dose(text: str) -> tuple[int, float]:
    time, equals, dose = text.partition("=")
    if not equals:
        raise typer.BadParameter(f'"{text}" has no dose. Write {text}=DOSE.', param_hint="TIME=DOSE")
    return _option("TIME=DOSE", parse_seconds, time.strip()), _number("TIME=DOSE", dose)


@app.command()
def safelight(
    first: Annotated[str, typer.Option(metavar="TIME", help='The first time with a change, like "9 min".')],
    last: Annotated[str, typer.Option(metavar="TIME", help='The last without one, like "4 min".')],
) -> None:
    """How long a safelight is safe: half the geometric mean of the two times (ANSI/NAPM IT2.26)."""
    first_s, last_s = (
        _duration_ms(name, text) // 1000 for name, text in (("--first", first), ("--last", last))
    )
    safe_s = sums.safe_s(first_s, last_s)
    _print(f"Safe for {clock_text(1000 * safe_s)}." if safe_s else "Not safe: change it, and test again.")


@app.command()
def drydown(
    base: Annotated[str, typer.Argument(metavar="TIME", help='The light of a wet print, like "10 s".')],
    as_json: AsJson = False,
) -> None:
    """The pieces of a dry-down test.

    Dry them, and find the one that matches a wet piece which got the whole time.
    """
    ladder = sums.dry_down_ladder(_option("TIME", parse_seconds, base))
    if as_json:
        _print_json(ladder)
        return
    table = tables.new_table("piece>", "less light>", "stops", "light s>")
    for row in ladder:
        stops = cut_text(row["cut_pm"]).partition(" ")[0] if row["cut_pm"] else "0"
        table.add_row(str(row["piece"]), percent_exact(row["cut_pm"]), stops, tables.seconds(row["light_ms"]))
    _print(table)


@app.command()
def trays(
    time: Annotated[str | None, typer.Argument(metavar="TIME", help='A tray\'s time, like "60 s".')] = None,
    at: Annotated[float, typer.Option(metavar="DEGREES", help="The temperature it is for, in °C.")] = 20.0,
    per_degree: Annotated[
        int,
        typer.Option(
            "--per-degree",
            min=tray_times.K_MIN,
            max=tray_times.K_MAX,
            metavar="N",
            help="What a degree changes, in 1/120 stop; 12 doubles the time for 10 °C.",
        ),
    ] = 12,
    sight: Annotated[str | None, typer.Option(metavar="TIME", help="When the image was first seen.")] = None,
    factor: Annotated[
        float, typer.Option(metavar="N", help="The whole time, in times of first sight.")
    ] = 6.0,
    as_json: AsJson = False,
) -> None:
    """A tray's time at other temperatures, or the developer's from when the image was first seen."""
    if sight is not None:
        whole_ms = tray_times.factor_ms(_option("--sight", parse_seconds, sight), round(10 * factor))
        _print(f"{seconds_text(whole_ms)} from when the sheet went in.")
        return
    if time is None:
        raise typer.BadParameter("There is no time to work with. Give TIME or --sight.", param_hint="TIME")
    rows = sums.tray_times_of(_option("TIME", parse_seconds, time), per_degree, round(2 * at))
    if as_json:
        _print_json(rows)
        return
    table = tables.new_table("at>", "time>")
    for row in rows:
        table.add_row(tray_times.degrees_text(row["half_degrees"]), seconds_text(row["ms"]))
    _print(table)


# --- shared


def _option(name: str, parse: Callable[[str], T], text: str) -> T:
    try:
        return parse(text)
    except UnitError as fault:
        raise typer.BadParameter(str(fault), param_hint=name) from None


def _duration_ms(name: str, text: str) -> int:
    minutes = re.fullmatch(r"([0-9]{1,3}(?:\.[0-9])?) ?min", text)
    return int(Fraction(minutes[1]) * 60000) if minutes else _option(name, parse_seconds, text)


def _number(name: str, text: str) -> float:
    if re.fullmatch(r" *[0-9]{1,9}(\.[0-9]{1,9})? *", text):
        return float(text)
    raise typer.BadParameter(f'"{text}" is no number. Write it like 0.41.', param_hint=name)


def _print(what: Any) -> None:
    tables.console().print(what)


def _print_json(value: Any) -> None:
    print(json_text(value))
