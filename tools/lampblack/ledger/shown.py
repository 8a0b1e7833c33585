"""Entries and editions as a person reads them, and as plain data.

What must live here: which columns there are.
"""

from collections.abc import Iterable, Iterator
from typing import Any

from rich.cells import cell_len
from rich.table import Table

from lampblack.ledger.editions import Edition
from lampblack.ledger.entries import Entry, card_of
from lampblack.text.printable import printable
from lampblack.text.tables import STAGE_COLUMNS, cell, local_time, new_table, seconds
from lampblack.text.units import percent_exact

COLUMNS = (
    "id", "box", "n", "at", "pulled_at", "kind", "card", "title", "negative", "paper", "whole", "cut_off",
    "up_s", "dry_down_pm", "form",
)  # fmt: skip
"""Of a row for a spreadsheet, before those of the stage."""


def when(entry: Entry) -> str:
    """As this PC's clock has it. Where no PC had told the box the time, it was before it was pulled."""
    return local_time(entry.moment) if entry.record["at"] else f"before {local_time(entry.pulled_at)}"


def entries_lines(entries: Iterable[Entry]) -> Iterator[str]:
    """A line for each entry, headings first. There may be thousands, which a `Table` takes minutes for."""
    rows = [("id", "when", "kind", "card", "title", "negative", "paper", "whole")]
    for entry in entries:
        kind, whole = printable(entry.record["kind"]), "yes" if entry.record["whole"] else "no"
        rows.append((str(entry.name), when(entry), kind, *card_of(entry.record), whole))
    widths = [max(map(cell_len, column)) for column in zip(*rows)]
    for row in rows:
        cells = (own + " " * (width - cell_len(own)) for own, width in zip(row, widths))
        yield "  ".join(cells).rstrip()


def headlines(entry: Entry, numbered: str) -> list[str]:
    """What there is to say of an entry above its stages; `numbered` is its place in an edition, or ""."""
    record = entry.record
    name, title, negative, paper = card_of(record)
    card = f"{name}, {title}" if title else name
    lines = [f"{entry.name}: {record['kind']} of {card}, {when(entry)}. {numbered}".rstrip()]
    known = {"Negative": negative, "Paper": paper}
    if record["dry_down_pm"]:
        known["Dry-down"] = percent_exact(record["dry_down_pm"])
    if record["map"] is not None:
        facts = record["map"]["facts"]
        known |= {key.capitalize(): facts[key] for key in facts if key not in ("negative", "paper")}
    lines += [f"{key}: {value}" for key, value in known.items() if value]
    if not record["whole"]:
        cut = f", cut off at {record['cut_off']}" if record["cut_off"] else ""
        lines.append(f"Not whole{cut}.")
    if faults := record.get("faults"):
        lines.append(f"Faults of the circuit: {', '.join(faults)}.")
    return lines


def stages_table(entry: Entry) -> Table:
    table = new_table("#>", "stage", "filter", "planned s>", "given s>", "strikes>", "lag ms>")
    for count, stage in enumerate(entry.record["stages"], 1):
        given = seconds(stage["given_ms"])
        table.add_row(
            str(count),
            stage["stage"],
            stage["filter"] or "none",
            seconds(stage["light_ms"]),
            f"{given} or more" if stage["at_least"] else given,
            str(stage["strikes"]),
            "" if stage["lag_ms"] is None else str(stage["lag_ms"]),
        )
    return table


def editions_table(found: Iterable[Edition]) -> Table:
    table = new_table("card", "title", "negative", "prints>", "maps>", "first", "last")
    for own in found:
        prints = own.whole or own.prints
        maps = len({each.map for each in own.prints})
        table.add_row(
            own.name, own.title, own.negative, str(len(own.whole)), str(maps),
            when(prints[0].entry), when(prints[-1].entry),
        )  # fmt: skip
    return table


def edition_table(own: Edition) -> Table:
    table = new_table("map", "print", "id", "when", "changed", "light given, stops")
    for each in own.prints:
        table.add_row(
            each.map,
            f"{each.number} of {each.of}" if each.number else "not whole",
            str(each.entry.name),
            when(each.entry),
            ", ".join(each.changes),
            ", ".join(each.drift),
        )
    return table


def plain(entries: Iterable[Entry]) -> list[dict[str, Any]]:
    """All that there is of entries, as plain data."""
    return [
        {"id": str(entry.name), "box": entry.box, "pulled_at": entry.pulled_at, "record": entry.record}
        for entry in entries
    ]


def rows(entries: Iterable[Entry]) -> list[list[Any]]:
    """Entries as rows of a spreadsheet, headings first: one for each stage, one for an entry without any."""
    found: list[list[Any]] = [[*COLUMNS, *STAGE_COLUMNS]]
    for entry in entries:
        name, title, negative, paper = card_of(entry.record)
        known = {
            **entry.record,
            "id": str(entry.name),
            "box": entry.box,
            "pulled_at": entry.pulled_at,
            "card": name,
            "title": title,
            "negative": negative,
            "paper": paper,
        }
        head = [cell(known[key]) for key in COLUMNS]
        stages = [[cell(stage[key]) for key in STAGE_COLUMNS] for stage in entry.record["stages"]]
        found += [head + stage for stage in stages or [[""] * len(STAGE_COLUMNS)]]
    return found
