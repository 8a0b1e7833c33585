"""Runs, strips, shelves, benches and ledgers as a person reads them, and as plain data.

What must live here: which columns there are and how a figure looks in them. Tables are text
without frames, so that they can be searched and piped; seconds have two decimals, since the eye
needs no more: programs take the plain data, in whole ms and 1/120 stop.
"""

import sys
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Any

from rich.console import Console
from rich.table import Table
from rich.text import Text

from lampblack.text.printable import csv_cell, printable
from lampblack.text.settings import MEANINGS, setting_text
from lampblack.text.units import percent_exact
from timing_core.light.bench import setting, setting_keys
from timing_core.light.plan import BURN, Stage, lamp_ms, stage_name
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import offset_between, stops_text
from timing_core.light.strip import Strip

PIPED_WIDTH = 1000


class _Console(Console):
    """Prints text as it is: nothing in a name is markup, and no control character gets through."""

    def render_str(self, text: str, **options: Any) -> Text:
        return super().render_str(printable(text), **options)


def console() -> Console:
    """Where tables are printed. Names come from cards and boxes."""
    wide = None if sys.stdout.isatty() else PIPED_WIDTH
    return _Console(markup=False, highlight=False, emoji=False, width=wide)


def seconds(ms: int) -> str:
    """A time in hundredths of a second, without its unit. Halves round up."""
    hundredths = (ms + 5) // 10
    return f"{hundredths // 100}.{hundredths % 100:02}"


# --- a run


def run_plain(stages: list[Stage], lag_ms: int) -> dict[str, Any]:
    """A compiled run as plain data: its stages in order, and totals."""
    rows = [
        {
            "stage": count,
            "kind": stage.kind,
            "name": stage_name(stage),
            "pass": stage.pass_index + 1,
            "area": stage.area,
            "filter": stage.filter,
            "stops120": stage.stops120,
            "shown_ms": stage.shown_ms,
            "light_ms": stage.light_ms,
            "lamp_ms": lamp_ms(stage.light_ms, lag_ms) if stage.light_ms else 0,
            "windows": [
                {"area": window.area, "open_ms": window.open_ms, "close_ms": window.close_ms}
                for window in stage.windows
            ],
        }
        for count, stage in enumerate(stages, 1)
    ]
    return {"stages": rows, "totals": {key: _total(rows, key) for key in ("shown_ms", "light_ms", "lamp_ms")}}


def run_table(stages: list[Stage], lag_ms: int) -> Table:
    """A compiled run, a row for each stage, with the totals below.

    The column of shown times is there only where dry-down makes the light differ from them.
    """
    plain = run_plain(stages, lag_ms)
    dries_down = any(stage.shown_ms != stage.light_ms for stage in stages)
    table = new_table("#>", "stage", "area", "filter", "stops>")
    if dries_down:
        _add(table, "shown s>")
    _add(table, "light s>", "lamp s>", "dodge windows, s of light")
    for row, stage in zip(plain["stages"], stages, strict=True):
        gives = stage.light_ms > 0
        cells: list[str | Text] = [
            str(row["stage"]),
            "Burn" if stage.kind == BURN else row["name"],
            stage.area if gives else "",
            (stage.filter or "none") if gives else "",
            stops_text(stage.stops120) if stage.stops120 else "",
            *_times(row, dries_down, gives),
            _lines(_windows(stage)),
        ]
        table.add_row(*cells)
    table.add_row("", "Together", "", "", "", *_times(plain["totals"], dries_down, True), "", style="bold")
    return table


def _windows(stage: Stage) -> Iterator[str]:
    """A line for each; of two that open together the second says so."""
    open_ms = -1
    for own in stage.windows:
        with_it = ", with it" if own.open_ms == open_ms else ""
        open_ms = own.open_ms
        yield f"{seconds(own.open_ms)} to {seconds(own.close_ms)}  {own.area}{with_it}"


def _lines(lines: Iterable[str]) -> Text:
    return Text("\n".join(map(printable, lines)))


def _times(row: dict[str, Any], dries_down: bool, gives: bool) -> list[str]:
    keys = ["shown_ms"] * dries_down + ["light_ms", "lamp_ms"]
    return [seconds(row[key]) if gives else "" for key in keys]


def burn_line(area: str, filter: str, stops120: int, tones: Iterable[float]) -> str:
    """What a burn through another filter does to a light, a middle and a dark tone, in stops."""
    light, middle, dark = (f"{stops:+.2f}" for stops in tones)
    return (
        f"{area}, {stops_text(stops120)} through {filter or 'no filter'}: {light} stop in a light tone, "
        f"{middle} in a middle one, {dark} in a dark one."
    )


# --- a strip


def strip_plain(strip: Strip, map: PrintingMap, stages: list[Stage], lag_ms: int) -> dict[str, Any]:
    """A compiled strip as plain data: its patches in order, and totals.

    `stops120` is the patch's offset from the strip's base, to the nearest 1/120 stop.
    """
    patches = [stage for stage in stages if stage.kind == strip.kind]
    rows = []
    for count, stage in enumerate(patches):
        total_ms = strip.total_ms(map, 2 * count)
        rows.append(
            {
                "patch": count + 1,
                "stops120": offset_between(strip.origin(map), total_ms),
                "total_ms": total_ms,
                "increment_ms": stage.light_ms,
                "lamp_ms": lamp_ms(stage.light_ms, lag_ms),
            }
        )
    return {
        "kind": strip.kind,
        "patches": rows,
        "totals": {"light_ms": _total(rows, "increment_ms"), "lamp_ms": _total(rows, "lamp_ms")},
    }


def strip_table(plain: dict[str, Any], exact_stops: bool) -> Table:
    """`strip_plain` as a table; `exact_stops` where its steps are stops, not plain seconds."""
    table = new_table("patch>", "stops>", "patch gets s>", "this press s>", "lamp s>")
    for row in plain["patches"]:
        stops120 = row["stops120"]
        table.add_row(
            str(row["patch"]),
            stops_text(stops120) if exact_stops else f"{stops120 / 120:+.2f}",
            *(seconds(row[key]) for key in ("total_ms", "increment_ms", "lamp_ms")),
        )
    totals = plain["totals"]
    table.add_row("all", "", "", seconds(totals["light_ms"]), seconds(totals["lamp_ms"]), style="bold")
    return table


# --- what a box keeps


def shelf_table(cards: Iterable[dict[str, Any]]) -> Table:
    table = new_table("name", "title", "digest")
    for card in cards:
        table.add_row(card["name"], card["title"], card["digest"][:12])
    return table


def papers_table(records: Iterable[dict[str, Any]]) -> Table:
    table = new_table("name", "edition", "digest")
    for record in records:
        table.add_row(record["name"], record["title"], record["digest"][:12])
    return table


def bench_table(values: dict[str, Any]) -> Table:
    """The settings of `values` in the panel's order."""
    table = new_table("key", "value", "on the panel", "what it is")
    for key, label, *_ in map(setting, setting_keys()):
        if key in values:
            table.add_row(key, setting_text(key, values[key]), label, MEANINGS[key])
    return table


def state_table(state: dict[str, Any]) -> Table:
    table = new_table("what", "now")
    for key, value in state.items():
        table.add_row(key, value if isinstance(value, str) else str(value).lower())
    return table


def port_plain(url: str, about: str, box: dict[str, Any] | None) -> dict[str, str]:
    """A serial port as plain data; `box` is what a box says of itself, None where there is none."""
    plain = {"url": url, "about": about}
    return plain if box is None else {**plain, "identity": box["identity"], "version": box["version"]}


def ports_table(ports: list[tuple[str, str, dict[str, Any] | None]]) -> Table:
    """A row for each port, as `port_plain` takes it; the last columns are there only with a box."""
    table = new_table("port", "what is there")
    if any(box for _, _, box in ports):
        _add(table, "box", "version")
    for url, about, box in ports:
        table.add_row(url, about, *((box["identity"], box["version"]) if box else ()))
    return table


LEDGER_COLUMNS = ("box", "n", "at", "kind", "card", "title", "whole", "cut_off", "dry_down_pm")
STAGE_COLUMNS = ("stage", "filter", "light_ms", "given_ms", "at_least", "strikes", "lag_ms")


def _named(record: dict[str, Any]) -> dict[str, Any]:
    """A record with its card's name and title, wherever they are: the first form had no map."""
    map = record["map"] or {"name": record.get("card", ""), "title": record.get("title", "")}
    return {**record, "card": map["name"], "title": map["title"]}


def local_time(moment: str) -> str:
    """A moment (ISO 8601) as this PC's clock has it."""
    return datetime.fromisoformat(moment).astimezone().strftime("%Y-%m-%d %H:%M")


def _when(record: dict[str, Any]) -> str:
    """Date and time; where no PC had told the box the time, since its power-up."""
    if record["at"]:
        return local_time(record["at"])
    if record["up_s"] is None:
        return "not known"
    return f"{record['up_s'] // 60} min after power-up"


def ledger_table(records: Iterable[dict[str, Any]]) -> Table:
    """A row for each record; the stages are in the plain data and in `ledger_rows`."""
    table = new_table("n>", "when", "kind", "card", "title", "whole", "lights>", "light s>", "dry-down>")
    for record in map(_named, records):
        table.add_row(
            str(record["n"]),
            _when(record),
            record["kind"],
            record["card"],
            record["title"],
            "yes" if record["whole"] else "no",
            str(len(record["stages"])),
            seconds(_total(record["stages"], "given_ms")),
            percent_exact(record["dry_down_pm"]) if record["dry_down_pm"] else "",
        )
    return table


def ledger_rows(records: Iterable[dict[str, Any]]) -> list[list[Any]]:
    """The ledger as rows of a spreadsheet, headings first: one row for each stage."""
    rows: list[list[Any]] = [[*LEDGER_COLUMNS, *STAGE_COLUMNS]]
    for record in map(_named, records):
        for stage in record["stages"]:
            rows.append(
                [cell(record[key]) for key in LEDGER_COLUMNS] + [cell(stage[key]) for key in STAGE_COLUMNS]
            )
    return rows


def cell(value: Any) -> Any:
    """For a spreadsheet: words for yes and no, nothing for what is not known."""
    if value is None:
        return ""
    return ("yes" if value else "no") if isinstance(value, bool) else csv_cell(value)


# --- shared


def new_table(*columns: str) -> Table:
    """An empty table. A heading that ends in ">" has figures under it, flush right."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    _add(table, *columns)
    return table


def _add(table: Table, *columns: str) -> None:
    for name in columns:
        table.add_column(name.removesuffix(">"), justify="right" if name.endswith(">") else "left")


def _total(rows: Iterable[dict[str, Any]], key: str) -> int:
    return sum(row[key] for row in rows)
