"""The commands `lampblack lab`: what a laboratory works out, printed.

What must live here: the words of these commands and what they print. What is worked out comes from the
modules beside this one as plain data. Those that need the extra `lab` are imported when a command runs.
"""

import re
from collections.abc import Callable
from fractions import Fraction
from typing import Annotated, Any, TypeVar

import typer

from lampblack.lab import sums
from lampblack.text import tables
from lampblack.text.printable import json_text
from lampblack.text.units import UnitError, parse_seconds, percent_exact, seconds_exact
from timing_core.light import tray_times
from timing_core.light.stops import clock_text, cut_text, seconds_text

app = typer.Typer(
    help="Work out papers, grades and tests of a darkroom; no box is needed.", rich_markup_mode=None
)

T = TypeVar("T")
AsJson = Annotated[bool, typer.Option("--json", help="Plain data for programs.")]


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
