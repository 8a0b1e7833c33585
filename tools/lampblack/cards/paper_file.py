"""Paper records as TOML files in people's units: what is measured of one paper and developer.

What must live here: every key of such a file, in one table that `toml_file` reads a file with. What a record
means, and its limits, are the core's (see `paper_record`).
"""

from collections.abc import Mapping
from typing import Any

import tomlkit

from lampblack.cards.toml_file import (
    Key,
    Kind,
    Rows,
    Table,
    Values,
    figure_leaf,
    name_leaf,
    number_leaf,
    text_leaf,
)
from lampblack.text.printable import escaped
from lampblack.text.units import STOPS_PATTERN, parse_stops
from timing_core.light.bench import FILTER_MAX
from timing_core.light.paper_record import (
    EDITION_MAX,
    FILTERS_MAX,
    NODES,
    OFFSET_FURTHEST,
    R10_MAX,
    R10_MIN,
    SPEED_MAX,
    PaperRecord,
)
from timing_core.light.plain_form import NAME_MAX
from timing_core.light.stops import stops_text


def _stops(example: str) -> Any:
    return figure_leaf(example, STOPS_PATTERN, parse_stops, -OFFSET_FURTHEST, OFFSET_FURTHEST, stops_text)


_RANGE = number_leaf(110, 10, R10_MIN, R10_MAX)
_RANGES = f"{R10_MIN // 10} to {R10_MAX // 10}"
_SHARES = ", ".join(str(node) for node in NODES)

TONES = ("light_tone", "middle", "black")
"""The keys of a filter's offsets, in the order of the core's ANCHORS."""
_TONE_WORDS = ("density 0.10", "density 0.60", "90 % of the greatest density")

FILTER = Table(
    "[[filter]]",
    {
        "name": Key(text_leaf(0, FILTER_MAX, "2"), "the filter; no filter if left out"),
        "range": Key(_RANGE, f"its ISO range R, {_RANGES}", True),
        **{
            key: Key(_stops("+1/3"), f"light for {words}, in stops from that for a middle tone", True)
            for key, words in zip(TONES, _TONE_WORDS, strict=True)
        },
    },
)
PAIR = Table(
    "[pair]",
    {
        "soft": Key(text_leaf(0, FILTER_MAX, "00"), "the soft filter of split grade", True),
        "hard": Key(text_leaf(0, FILTER_MAX, "5"), "the hard filter", True),
        "range": Key(Values(_RANGE, len(NODES)), f"R where the hard filter has {_SHARES} of 64 parts", True),
        "light_tone": Key(
            Values(_stops("-1"), len(NODES)),
            f"at these parts, light for {_TONE_WORDS[0]} in stops from that for a middle tone",
            True,
        ),
        "black": Key(
            Values(_stops("+2"), len(NODES)),
            f"at these parts, light for {_TONE_WORDS[2]} in stops from that for a middle tone",
            True,
        ),
    },
)
PAPER = Table(
    "the record's top",
    {
        "name": Key(name_leaf("rc-glossy"), f"name in the box: 1 to {NAME_MAX} of a-z, 0-9 and -", True),
        "edition": Key(
            text_leaf(0, EDITION_MAX, "batch 12, 1+9, June 2024"),
            f"which batch and developer, and when; up to {EDITION_MAX} characters",
        ),
        "speed": Key(
            number_leaf(200, 1, 1, SPEED_MAX), "ISO speed P of the filter from which the stops are counted"
        ),
        "pair": Key(PAIR, "what two filters make together on one sheet"),
        "filter": Key(Rows(FILTER, 1, FILTERS_MAX), f"the filters, 1 to {FILTERS_MAX}", True),
    },
)


def _plain(values: dict[str, Any], _: list) -> dict[str, Any]:
    filters = [
        [own.get("name", ""), own.get("range"), *(own.get(key) for key in TONES)]
        for own in values.get("filter", [])
    ]
    plain = {"name": values.get("name"), "edition": values.get("edition", ""), "filters": filters}
    if "speed" in values:
        plain["speed"] = values["speed"]
    if pair := values.get("pair"):
        plain["pair"] = [pair.get("soft"), pair.get("hard")]
        plain["r10"], plain["qa"], plain["qs"] = (pair.get(key) for key in ("range", "light_tone", "black"))
    return plain


PAPERS = Kind("paper record", PAPER, _plain, lambda plain: PaperRecord.from_dict(plain).to_dict())


def dump(record: Mapping[str, Any]) -> str:
    """The one way to write `record`, as PaperRecord.to_dict gives it: `PAPERS.read` gives it back."""
    doc = tomlkit.document()
    doc["name"] = record["name"]
    if record["edition"]:
        doc["edition"] = record["edition"]
    if "speed" in record:
        doc["speed"] = record["speed"]
    if "pair" in record:
        soft, hard = record["pair"]
        doc["pair"] = {
            "soft": soft,
            "hard": hard,
            "range": [_range(r10) for r10 in record["r10"]],
            "light_tone": [stops_text(stops120) for stops120 in record["qa"]],
            "black": [stops_text(stops120) for stops120 in record["qs"]],
        }
    filters = tomlkit.aot()
    for name, r10, *offsets in record["filters"]:
        table = tomlkit.table()
        if name:
            table["name"] = name
        table["range"] = _range(r10)
        for key, stops120 in zip(TONES, offsets, strict=True):
            table[key] = stops_text(stops120)
        filters.append(table)
    doc["filter"] = filters
    return escaped(tomlkit.dumps(doc))


def _range(r10: int) -> int | float:
    whole, tenths = divmod(r10, 10)
    return r10 / 10 if tenths else whole
