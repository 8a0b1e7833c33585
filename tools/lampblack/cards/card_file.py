"""Cards: a printing map with its facts, as a TOML file in people's units.

What must live here: every key of a card, in one table that `toml_file` reads a file with. What a card means,
and its limits, are the core's (see `printing_map`).
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
    flag_leaf,
    name_leaf,
    number_leaf,
    text_leaf,
)
from lampblack.text.printable import escaped
from lampblack.text.units import (
    PERCENT_PATTERN,
    SECONDS_PATTERN,
    STOPS_PATTERN,
    parse_percent,
    parse_seconds,
    parse_stops,
    percent_exact,
    seconds_exact,
)
from timing_core.light.bench import DRY_DOWN_MAX_PM, FILTER_MAX
from timing_core.light.plain_form import NAME_MAX
from timing_core.light.printing_map import (
    AREA_MAX,
    CARRIED,
    FACTS,
    MARK_FURTHEST,
    MARKS_MAX,
    MEASURES,
    PASSES_MAX,
    SHEET,
    SHEET_MAX_MM,
    SHEET_MIN_MM,
    TITLE_MAX,
    PrintingMap,
)
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, FURTHEST, stops_text


def dump(card: Mapping[str, Any]) -> str:
    """The one way to write `card`, as PrintingMap.to_dict gives it: `read` gives it back."""
    doc = tomlkit.document()
    doc["name"] = card["name"]
    if card["title"]:
        doc["title"] = card["title"]
    if card["tied"]:
        doc["tied"] = True
    if card["dry_down"] or card["dry_down_pm"]:
        doc["dry_down"] = percent_exact(card["dry_down_pm"])
        if not card["dry_down"]:
            doc["dry_down_on"] = False
    measures = card.get("measures", {})
    for name, (own, parts) in MEASURE_KEYS.items():
        if own in measures:
            whole, rest = divmod(measures[own], parts)
            doc[name] = measures[own] / parts if rest else whole
    if SHEET[0] in measures:
        doc["sheet_mm"] = [measures[side] for side in SHEET]
    if "record" in card:
        doc["record"] = card["record"]
    if card["facts"]:
        doc["facts"] = {key: card["facts"][key] for key, _ in FACTS if key in card["facts"]}
    if "carried" in card:
        doc["carried"] = {name: stops_text(card["carried"][name]) for name in sorted(card["carried"])}
    if "flash" in card:
        own = card["flash"]
        flash: dict[str, Any] = {"time": seconds_exact(own["light_ms"])}
        if "filter" in own:
            flash["filter"] = own["filter"]
        if "after" in own:
            flash["after"] = True
        doc["flash"] = flash
    passes = tomlkit.aot()
    for own in card["passes"]:
        table = tomlkit.table()
        if own["filter"]:
            table["filter"] = own["filter"]
        table["base"] = seconds_exact(own["base_ms"])
        if own["marks"]:
            marks = tomlkit.aot()
            for mark in own["marks"]:
                row = {"area": mark["area"], "stops": stops_text(mark["stops120"])}
                if "filter" in mark:
                    row["filter"] = mark["filter"]
                if "with_previous" in mark:
                    row["with_previous"] = True
                marks.append(tomlkit.item(row))
            table["mark"] = marks
        passes.append(table)
    doc["pass"] = passes
    return escaped(tomlkit.dumps(doc))


# --- every key of a card

FACT_WORDS = {
    "negative": ("which negative it is", "roll 12, frame 7"),
    "paper": ("paper and size", "glossy fibre, 24 x 30 cm"),
    "developer": ("developer, dilution, time, temperature", "1+9, 2 min at 20 C"),
    "height": ("height of the enlarger's head, as you measure it", "43 cm"),
    "lens": ("enlarging lens", "80 mm"),
    "aperture": ("aperture of the lens", "f/8"),
    "notes": ("anything else", "flash the top edge if the sky stays blank"),
}
FACT = Table(
    "[facts]",
    {
        name: Key(
            text_leaf(1, longest, FACT_WORDS[name][1]), f"{FACT_WORDS[name][0]}; up to {longest} characters"
        )
        for name, longest in FACTS
    },
)
MARK = Table(
    "[[pass.mark]]",
    {
        "area": Key(
            text_leaf(1, AREA_MAX, "sky"), f"what the area is called, 1 to {AREA_MAX} characters", True
        ),
        "stops": Key(
            figure_leaf("+1/3", STOPS_PATTERN, parse_stops, -MARK_FURTHEST, MARK_FURTHEST, stops_text),
            "offset from the base: + is a burn, - a dodge; -5 to +5 stops, exact in 1/120 stop",
            True,
        ),
        "filter": Key(
            text_leaf(1, FILTER_MAX, "5"),
            f"burns only: the filter to burn through, if not the pass's own; 1 to {FILTER_MAX} characters",
        ),
        "with_previous": Key(
            flag_leaf(True),
            "dodges only: true if it opens together with the dodge before it",
        ),
    },
)
PASS = Table(
    "[[pass]]",
    {
        "filter": Key(
            text_leaf(0, FILTER_MAX, "2"),
            f"the filter in the light; up to {FILTER_MAX} characters, none if left out",
        ),
        "base": Key(
            figure_leaf("11.3 s", SECONDS_PATTERN, parse_seconds, BASE_MIN_MS, BASE_MAX_MS, seconds_exact),
            f"exposure of the whole sheet, {seconds_exact(BASE_MIN_MS)} to {seconds_exact(BASE_MAX_MS)}",
            True,
        ),
        "mark": Key(Rows(MARK, 0, MARKS_MAX), f"dodges and burns of this pass, up to {MARKS_MAX}"),
    },
)
MEASURE_KEYS = {
    "negative_mm": ("negative_mm10", 10),
    "print_mm": ("print_mm10", 10),
    "f_thirds": ("aperture", 2),
    "spot": ("spot", 1),
}
"""Keys of a card's measures: what each is in the core, and how many of the core's parts are 1 of it."""

_MEASURE_WORDS = {
    "negative_mm": "length of a detail on the negative, or of its long side",
    "print_mm": "length of the same on the print",
    "f_thirds": "aperture in thirds of a stop from f/1, with halves: f/4 is 12, f/5.6 15, f/8 18, f/11 21",
    "spot": "what the light cell read at the first spot, in counts; the box writes it",
}
_MEASURE_EXAMPLES = {"negative_mm": 36, "print_mm": 254.5, "f_thirds": 18, "spot": 48200}
_RANGES = {name: (low, high) for name, low, high in MEASURES}


def _measure(name: str) -> Key:
    own, parts = MEASURE_KEYS[name]
    low, high = _RANGES[own]
    limits = f"{low / parts:.9g} to {high / parts:.9g}"
    return Key(number_leaf(_MEASURE_EXAMPLES[name], parts, low, high), f"{_MEASURE_WORDS[name]}; {limits}")


CARRY = Table(
    "[carried]",
    {
        name: Key(
            figure_leaf("+1/2", STOPS_PATTERN, parse_stops, -FURTHEST, FURTHEST, stops_text),
            f"how far the bases moved for another {name}; the box writes it",
        )
        for name in sorted(CARRIED)
    },
)
FLASH = Table(
    "[flash]",
    {
        "time": Key(
            figure_leaf("1.2 s", SECONDS_PATTERN, parse_seconds, BASE_MIN_MS, BASE_MAX_MS, seconds_exact),
            f"its light, {seconds_exact(BASE_MIN_MS)} to {seconds_exact(BASE_MAX_MS)}",
            True,
        ),
        "filter": Key(
            text_leaf(0, FILTER_MAX, "00"), f"its filter, up to {FILTER_MAX} characters; none if left out"
        ),
        "after": Key(flag_leaf(True), "true if it comes after all other light; before it if left out"),
    },
)
CARD = Table(
    "the card's top",
    {
        "name": Key(
            name_leaf("breakwater"), f"name on the box's shelf: 1 to {NAME_MAX} of a-z, 0-9 and -", True
        ),
        "title": Key(text_leaf(0, TITLE_MAX, "Breakwater, evening"), f"up to {TITLE_MAX} characters"),
        "tied": Key(flag_leaf(True), "true if the bases of the passes keep their ratio; false if left out"),
        "dry_down": Key(
            figure_leaf("8 %", PERCENT_PATTERN, parse_percent, 0, DRY_DOWN_MAX_PM, percent_exact),
            f"light to take away because paper dries darker, 0 % to {percent_exact(DRY_DOWN_MAX_PM)}",
        ),
        "dry_down_on": Key(flag_leaf(False), "false keeps dry_down on the card without using it"),
        **{name: _measure(name) for name in MEASURE_KEYS},
        "sheet_mm": Key(
            Values(number_leaf(203, 1, SHEET_MIN_MM, SHEET_MAX_MM), len(SHEET)),
            f"width and height of the sheet, which the trays count; {SHEET_MIN_MM} to {SHEET_MAX_MM}",
        ),
        "record": Key(name_leaf("rc-glossy"), "the paper record that is at work; the box has to have it"),
        "facts": Key(FACT, "what a later print needs to know"),
        "carried": Key(CARRY, "what the bases were carried over to"),
        "pass": Key(Rows(PASS, 1, PASSES_MAX), f"the exposures of the whole sheet, 1 to {PASSES_MAX}", True),
        "flash": Key(FLASH, "light on the paper without the negative"),
    },
)


def _plain(values: dict[str, Any], faults: list) -> dict[str, Any]:
    """The values of a card in the core's plain form, with what no single key can see checked."""
    if "dry_down_on" in values and "dry_down" not in values:
        faults.append((("dry_down_on",), 'dry_down_on: there is no dry_down. Write dry_down = "8 %" too.'))
    passes = []
    for count, own in enumerate(values.get("pass", [])):
        marks = []
        for number, mark in enumerate(own.get("mark", [])):
            stops120 = mark.get("stops")
            if "filter" in mark and stops120 is not None and stops120 < 0:
                where = ("pass", count, "mark", number, "filter")
                faults.append(
                    (where, "filter: a dodge is made inside its pass's exposure. Take the filter away.")
                )
            plain = {"area": mark.get("area"), "stops120": stops120}
            if "filter" in mark:
                plain["filter"] = mark["filter"]
            if mark.get("with_previous"):
                plain["with_previous"] = True
            marks.append(plain)
        passes.append({"filter": own.get("filter", ""), "base_ms": own.get("base"), "marks": marks})
    flash = {}
    if "flash" in values:
        own = values["flash"]
        flash = {"light_ms": own.get("time")}
        if own.get("filter"):
            flash["filter"] = own["filter"]
        if own.get("after"):
            flash["after"] = True
    measures = {own: values[name] for name, (own, _) in MEASURE_KEYS.items() if name in values}
    measures |= dict(zip(SHEET, values.get("sheet_mm", []), strict=False))
    more = {
        "measures": measures,
        "carried": values.get("carried", {}),
        "record": values.get("record", ""),
        "flash": flash,
    }
    return {
        **{key: value for key, value in more.items() if value},
        "name": values.get("name"),
        "title": values.get("title", ""),
        "tied": values.get("tied", False),
        "dry_down": values.get("dry_down_on", "dry_down" in values),
        "dry_down_pm": values.get("dry_down", 0),
        "facts": values.get("facts", {}),
        "passes": passes,
    }


CARDS = Kind("card", CARD, _plain, lambda plain: PrintingMap.from_dict(plain).to_dict())
load, read, schema_text = CARDS.load, CARDS.read, CARDS.schema_text
