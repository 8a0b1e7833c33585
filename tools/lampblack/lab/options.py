"""What the commands of the laboratory share: how options are read, and how answers are printed.

What must live here: no command.
"""

import re
import sys
from collections.abc import Callable
from fractions import Fraction
from typing import Annotated, Any, TypeVar

import typer

from lampblack.text import tables
from lampblack.text.printable import json_text, printable
from lampblack.text.units import UnitError, parse_seconds, seconds_exact
from timing_core.light.paper_record import PaperRecord
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS

TABLE_MS = 10_000
"""The time that an exposure table is made for."""

T = TypeVar("T")
AsJson = Annotated[bool, typer.Option("--json", help="Plain data for programs.")]


def option(name: str, parse: Callable[[str], T], text: str) -> T:
    try:
        return parse(text)
    except UnitError as fault:
        raise typer.BadParameter(str(fault), param_hint=name) from None


def duration_ms(name: str, text: str) -> int:
    minutes = re.fullmatch(r"([0-9]{1,3}(?:\.[0-9]{1,3})?) ?min", text)
    if minutes:
        return int(Fraction(minutes[1]) * 60000)
    if not re.search(r"[0-9.,] ?s$", text):
        raise typer.BadParameter(
            f'"{text[:40]}" is no time. Write it like "90 s" or "1.5 min".', param_hint=name
        )
    return option(name, parse_seconds, text)


def light(name: str, text: str) -> int:
    """A time of light in ms, as a base may have it. BadParameter for what is none."""
    ms = option(name, parse_seconds, text)
    if not BASE_MIN_MS <= ms <= BASE_MAX_MS:
        said = f"{seconds_exact(BASE_MIN_MS)} to {seconds_exact(BASE_MAX_MS)}"
        raise typer.BadParameter(f'"{text}" is out of range. Write {said}.', param_hint=name)
    return ms


def number(name: str, text: str) -> float:
    if re.fullmatch(r" *[0-9]{1,9}(\.[0-9]{1,9})? *", text):
        return float(text)
    raise typer.BadParameter(f'"{text}" is no number. Write it like 0.41.', param_hint=name)


def say(what: Any) -> None:
    tables.console().print(what)


def note(text: str) -> None:
    """Beside a result that is for a program."""
    print(printable(text), file=sys.stderr)


def print_json(value: Any) -> None:
    print(json_text(value))


def say_grades(record: PaperRecord, rows: list[dict[str, Any]], filter: str, light_ms: int) -> None:
    """The exposure table of half grades, and what its times are for."""
    soft, hard = record.pair
    say(
        f"Split grade, seconds through {soft} and {hard}, that leave what {seconds_exact(light_ms)} through "
        f"{filter or 'no filter'} do:"
    )
    table = tables.new_table("grade", "R>", "a middle tone>", "a light tone>")
    for row in rows:
        both = [" + ".join(tables.seconds(ms) for ms in row[anchor]) for anchor in ("middle", "light tone")]
        table.add_row(row["grade"], f"{row['r10'] / 10:.0f}", *both)
    say(table)
