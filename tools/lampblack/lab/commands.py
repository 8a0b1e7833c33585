"""The commands `lampblack lab`: what a laboratory works out, printed.

What must live here: the words of these commands and what they print. What is worked out comes from the
modules beside this one as plain data. Commands that are long have a file of their own.
"""

from typing import Annotated, Literal

import typer

from lampblack.errors import CommandError
from lampblack.lab import sums
from lampblack.lab.carry_command import carry
from lampblack.lab.grades import half_grades, r10_of_grade, reference_of, split_for, split_of
from lampblack.lab.options import (
    TABLE_MS,
    AsJson,
    duration_ms,
    light,
    number,
    option,
    print_json,
    say,
    say_grades,
)
from lampblack.lab.paper_command import paper
from lampblack.lab.readings import filter_of
from lampblack.lab.records import load_record
from lampblack.text import tables
from lampblack.text.units import parse_seconds, percent_exact, seconds_exact
from timing_core.light import tray_times
from timing_core.light.paper_record import grade_of
from timing_core.light.stops import clock_text, cut_text, seconds_text
from timing_core.light.tray_sequence import SECONDS_MAX

app = typer.Typer(
    help="Work out papers, grades and tests of a darkroom; no box is needed.", rich_markup_mode=None
)
app.command()(paper)
app.command()(carry)

SIGHT_MAX_MS = 600_000
LEAST_PIECE_MS = 1000
"""Pieces of shorter lights are too few ms apart."""
PER_DEGREE, FACTOR = 12, 6


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
        str | None,
        typer.Option(
            "--filter",
            metavar="FILTER",
            help="The filter of --time; if left out none, or the table's: what stops are counted from.",
        ),
    ] = None,
    anchor: Annotated[
        Literal["light tone", "middle", "black"] | None,
        typer.Option(
            metavar="TONE",
            help="The tone that stays with --grade: light tone, middle or black.",
            show_default="light tone",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """The grade of two times, or two times for a grade.

    With neither, the table of half grades.
    """
    own = load_record(record)
    if filter is not None:
        filter = filter_of(filter, "--filter")
    light_ms = TABLE_MS if time is None else light("--time", time)
    if soft is not None or hard is not None:
        others = {"--grade": wanted, "--time": time, "--filter": filter, "--anchor": anchor}
        for name, value in others.items():
            if value is not None:
                said = "two times make a grade, or a grade makes two. Leave out --soft and --hard, or this."
                raise typer.BadParameter(said, param_hint=name)
        if soft is None or hard is None:
            said = "it is missing: two times make a grade. Write 0 s where its filter got no light."
            raise typer.BadParameter(said, param_hint="--soft" if soft is None else "--hard")
        split = split_of(own, option("--soft", parse_seconds, soft), option("--hard", parse_seconds, hard))
    elif wanted is not None:
        if time is None:
            said = "it is missing: a grade keeps the tone of a light that is right. Give --time and --filter."
            raise typer.BadParameter(said, param_hint="--time")
        split = split_for(
            own, r10_of_grade(own, _quarters(wanted)), filter or "", light_ms, anchor or "light tone"
        )
    elif anchor is not None:
        said = "it goes with --grade: the table has both tones. Give --grade, or leave it out."
        raise typer.BadParameter(said, param_hint="--anchor")
    else:
        through = reference_of(own) if filter is None else filter
        rows = half_grades(own, through, light_ms)
        if not rows:
            raise CommandError(
                f"The record {own.name} has no pair, or no grades. Measure a soft and a hard strip."
            )
        if as_json:
            print_json(rows)
        else:
            say_grades(own, rows, through, light_ms)
        return
    if as_json:
        print_json(split._asdict())
        return
    soft_name, hard_name = own.pair
    called = "" if split.quarters is None else f", about grade {own.grade_text(split.quarters)}"
    say(
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
            print_json(ladder)
            return
        table = tables.new_table("area", "strikes>", "lamp s>", "stands for")
        for row in ladder:
            table.add_row(row["area"], str(row["strikes"]), tables.seconds(row["lamp_ms"]), row["stands_for"])
        say(table)
        say("Pulses are for the left half of the paper; of the right half cover patch by patch.")
        say("The patch whose border to the left half is gone stands for the lag.")
        return
    found = sums.lag_of([_dose(text) for text in doses])
    if as_json:
        print_json(found._asdict())
        return
    spread = f", the strikes agree to {found.spread_ms:.1f} ms" if len(doses) > 2 else ""
    say(f"Lag {found.lag_ms:.0f} ms{spread}.")
    if found.shortest_ms is not None:
        say(f"Strikes from {seconds_exact(found.shortest_ms)} on give their light to 2 %.")


def _dose(text: str) -> tuple[int, float]:
    time, equals, dose = text.partition("=")
    if not equals:
        raise typer.BadParameter(f'"{text}" has no dose. Write {text}=DOSE.', param_hint="TIME=DOSE")
    return option("TIME=DOSE", parse_seconds, time.strip()), number("TIME=DOSE", dose)


@app.command()
def safelight(
    first: Annotated[str, typer.Option(metavar="TIME", help='The first time with a change, like "9 min".')],
    last: Annotated[str, typer.Option(metavar="TIME", help='The last without one, like "4 min".')],
) -> None:
    """How long a safelight is safe: half the geometric mean of the two times (ANSI/NAPM IT2.26)."""
    first_s, last_s = (
        duration_ms(name, text) // 1000 for name, text in (("--first", first), ("--last", last))
    )
    safe_s = sums.safe_s(first_s, last_s)
    say(f"Safe for {clock_text(1000 * safe_s)}." if safe_s else "Not safe: change it, and test again.")


@app.command()
def drydown(
    base: Annotated[str, typer.Argument(metavar="TIME", help='The light of a wet print, like "10 s".')],
    as_json: AsJson = False,
) -> None:
    """The pieces of a dry-down test.

    Dry them, and find the one that matches a wet piece which got the whole time.
    """
    base_ms = light("TIME", base)
    if base_ms < LEAST_PIECE_MS:
        raise typer.BadParameter(
            f'"{base}" is too short: a lamp gives its pieces alike. Write {seconds_exact(LEAST_PIECE_MS)} or '
            "more.",
            param_hint="TIME",
        )
    ladder = sums.dry_down_ladder(base_ms)
    if as_json:
        print_json(ladder)
        return
    table = tables.new_table("piece>", "less light>", "stops", "light s>")
    for row in ladder:
        stops = cut_text(row["cut_pm"]).partition(" ")[0] if row["cut_pm"] else "0"
        table.add_row(str(row["piece"]), percent_exact(row["cut_pm"]), stops, tables.seconds(row["light_ms"]))
    say(table)


@app.command()
def trays(
    time: Annotated[str | None, typer.Argument(metavar="TIME", help='A tray\'s time, like "60 s".')] = None,
    at: Annotated[
        float | None,
        typer.Option(metavar="DEGREES", help="The temperature it is for, in °C.", show_default="20"),
    ] = None,
    per_degree: Annotated[
        int | None,
        typer.Option(
            "--per-degree",
            min=tray_times.K_MIN,
            max=tray_times.K_MAX,
            metavar="N",
            help="What a degree changes, in 1/120 stop; 12 doubles the time for 10 °C.",
            show_default=str(PER_DEGREE),
        ),
    ] = None,
    sight: Annotated[str | None, typer.Option(metavar="TIME", help="When the image was first seen.")] = None,
    factor: Annotated[
        float | None,
        typer.Option(metavar="N", help="The whole time, in times of first sight.", show_default=str(FACTOR)),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """A tray's time at other temperatures, or the developer's from when the image was first seen."""
    by_sight = sight is not None
    for name, value, is_for_sight in (
        ("TIME", time, False),
        ("--at", at, False),
        ("--per-degree", per_degree, False),
        ("--factor", factor, True),
    ):
        if value is not None and is_for_sight is not by_sight:
            said = "--sight makes the time, whatever the temperature. Leave out --sight, or this."
            raise typer.BadParameter(
                "it goes with --sight. Give both." if is_for_sight else said, param_hint=name
            )
    if sight is not None:
        factor = FACTOR if factor is None else factor
        if not 1 <= factor <= 30:
            raise typer.BadParameter(
                f"{factor:g} is no number of times. Write 1 to 30.", param_hint="--factor"
            )
        sight_ms = option("--sight", parse_seconds, sight)
        if sight_ms > SIGHT_MAX_MS:
            raise typer.BadParameter(f'"{sight}" is no first sight. Write up to 600 s.', param_hint="--sight")
        whole_ms = tray_times.factor_ms(sight_ms, round(10 * factor))
        say(f"{seconds_text(whole_ms)} from when the sheet went in.")
        return
    if time is None:
        raise typer.BadParameter("it is missing. Give TIME or --sight.", param_hint="TIME")
    at, per_degree = 20.0 if at is None else at, PER_DEGREE if per_degree is None else per_degree
    coldest, warmest = tray_times.COLDEST_HALF_DEGREES, tray_times.WARMEST_HALF_DEGREES
    if not coldest <= 2 * at <= warmest:
        said = f"{at:g} °C is out of range. Write {coldest // 2} to {warmest // 2}."
        raise typer.BadParameter(said, param_hint="--at")
    ms = duration_ms("TIME", time)
    if not 1000 <= ms <= 1000 * SECONDS_MAX:
        raise typer.BadParameter(
            f'"{time}" is no tray\'s time. Write 1 s to {SECONDS_MAX // 60} min.', param_hint="TIME"
        )
    rows = sums.tray_times_of(ms, per_degree, round(2 * at))
    if as_json:
        print_json(rows)
        return
    table = tables.new_table("at>", "time>")
    for row in rows:
        table.add_row(tray_times.degrees_text(row["half_degrees"]), seconds_text(row["ms"]))
    say(table)
