"""Tray sequences as TOML files in people's units: the trays that a sheet goes through, and how long.

What must live here: every key of such a file, in one table that `toml_file` reads a file with. What a
sequence means, and its limits, are the core's (see `tray_sequence`).
"""

from collections.abc import Mapping
from typing import Any

import tomlkit

from lampblack.cards.toml_file import (
    Key,
    Kind,
    Leaf,
    Rows,
    Table,
    choice_leaf,
    name_leaf,
    number_leaf,
    text_leaf,
)
from lampblack.text.printable import escaped
from timing_core.light.plain_form import NAME_MAX
from timing_core.light.tray_sequence import (
    DRAIN_MAX_S,
    FACTOR,
    KINDS,
    SECONDS_MAX,
    TICK_MAX_S,
    TICK_MIN_S,
    TITLE_MAX,
    TRAY_MAX,
    TRAYS_MAX,
    TraySequence,
)
from timing_core.light.tray_times import (
    COLDEST_HALF_DEGREES,
    K_MAX,
    K_MIN,
    REFERENCE_HALF_DEGREES,
    WARMEST_HALF_DEGREES,
)


def _seconds(example: int, low: int, high: int) -> Leaf:
    return number_leaf(example, 1, low, high)


TRAY = Table(
    "[[tray]]",
    {
        "name": Key(text_leaf(1, TRAY_MAX, "developer"), f"what is in it, up to {TRAY_MAX} characters", True),
        "seconds": Key(
            _seconds(60, 1, SECONDS_MAX), f"how long a sheet is in it: 1 to {SECONDS_MAX} s", True
        ),
        "kind": Key(
            choice_leaf(KINDS, "exact"),
            "least: then it may stay until you move it; exact: then it comes out; factor, of the first tray: "
            "by first sight",
            True,
        ),
        "degrees": Key(
            number_leaf(20, 2, COLDEST_HALF_DEGREES, WARMEST_HALF_DEGREES),
            "the temperature in °C for which these seconds are, 16 to 26 in halves; 20 if left out",
        ),
        "k": Key(
            number_leaf(12, 1, K_MIN, K_MAX),
            f"how much a degree changes them, in 1/120 stop: {K_MIN} to {K_MAX}; not at all if left out",
        ),
        "agitate": Key(
            _seconds(30, TICK_MIN_S, TICK_MAX_S),
            f"seconds from one agitation to the next, {TICK_MIN_S} to {TICK_MAX_S}; none if left out",
        ),
        "drain": Key(
            _seconds(10, 0, DRAIN_MAX_S),
            f"how many of the seconds are to drain, up to {DRAIN_MAX_S}; none if left out",
        ),
    },
)
TRAYS = Table(
    "the sequence's top",
    {
        "name": Key(
            name_leaf("fibre-two-baths"), f"name in the box: 1 to {NAME_MAX} of a-z, 0-9 and -", True
        ),
        "title": Key(
            text_leaf(0, TITLE_MAX, "1+9, two fixing baths"), f"a line for you, up to {TITLE_MAX} characters"
        ),
        "tray": Key(Rows(TRAY, 1, TRAYS_MAX), f"the trays in their order, 1 to {TRAYS_MAX}", True),
    },
)


def _plain(values: dict[str, Any], faults: list) -> dict[str, Any]:
    rows = values.get("tray", [])
    for at, own in enumerate(rows):
        if at and own.get("kind") == KINDS[FACTOR]:
            faults.append(
                (("tray", at, "kind"), 'kind: only the first tray goes by first sight. Write kind = "exact".')
            )
        seconds, drain_s = own.get("seconds"), own.get("drain") or 0
        if seconds is not None and drain_s >= seconds:
            faults.append(
                (
                    ("tray", at, "drain"),
                    f"drain: a tray of {seconds} s has none of {drain_s} s. Write fewer seconds.",
                )
            )
    trays = [
        [
            own.get("name"),
            own.get("seconds"),
            own.get("degrees", REFERENCE_HALF_DEGREES),
            own.get("k", 0),
            own.get("kind"),
            own.get("agitate", 0),
            own.get("drain", 0),
        ]
        for own in rows
    ]
    return {"name": values.get("name"), "title": values.get("title", ""), "trays": trays}


SEQUENCES = Kind("tray sequence", TRAYS, _plain, lambda plain: TraySequence.from_dict(plain).to_dict())


def dump(sequence: Mapping[str, Any]) -> str:
    """The one way to write `sequence`, as TraySequence.to_dict gives it: `SEQUENCES.read` gives it back."""
    doc = tomlkit.document()
    doc["name"] = sequence["name"]
    if sequence["title"]:
        doc["title"] = sequence["title"]
    trays = tomlkit.aot()
    for name, seconds, half_degrees, k, kind, tick_s, drain_s in sequence["trays"]:
        table = tomlkit.table()
        table["name"] = name
        table["seconds"] = seconds
        table["kind"] = kind
        if half_degrees != REFERENCE_HALF_DEGREES:
            table["degrees"] = half_degrees // 2 if half_degrees % 2 == 0 else half_degrees / 2
        for key, value in (("k", k), ("agitate", tick_s), ("drain", drain_s)):
            if value:
                table[key] = value
        trays.append(table)
    doc["tray"] = trays
    return escaped(tomlkit.dumps(doc))
