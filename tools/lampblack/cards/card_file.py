"""Cards: a printing map with its facts, as a TOML file in people's units.

What must live here: every key of a card, in one table that reads a file, says what is wrong with
it and on which line, and gives editors their JSON Schema. What a card means, and its limits, are
the core's (see `printing_map`); what a figure looks like is in `units`.

The line of a fault is found with the parser itself: a statement ends on the line at which the parser
takes it, and a key is on the line at which the parser, given the statement down to that line, first
sees it. So comments, strings over several lines and every other way of writing TOML need no second
reading of our own.

A file may be anything. What is too long, too deep or no file is refused before it costs time.
"""

import difflib
import json
import re
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import tomlkit

from lampblack.text.printable import escaped
from lampblack.text.units import (
    PERCENT_PATTERN,
    SECONDS_PATTERN,
    STOPS_PATTERN,
    UnitError,
    parse_percent,
    parse_seconds,
    parse_stops,
    percent_exact,
    seconds_exact,
)
from timing_core.light.bench import DRY_DOWN_MAX_PM, FILTER_MAX, is_plain_text
from timing_core.light.plain_form import NAME_MAX
from timing_core.light.printing_map import (
    AREA_MAX,
    CARRIED,
    FACTS,
    MARK_FURTHEST,
    MARKS_MAX,
    MEASURES,
    PASSES_MAX,
    TITLE_MAX,
    PrintingMap,
)
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, FURTHEST, stops_text

SIZE_MAX = 32768
"""A card file is at most this long, in bytes; the longest card takes a quarter of it."""

DEPTH_MAX = 20
"""Keys, tables and lists within each other, and parts of one key; a card has five."""
FAULTS_MOST = 20
"""So many faults of a card are told at once."""
PARSED_MOST = 16 * SIZE_MAX
"""Bytes that the parser is given to find lines with; a fault further down is told where its value begins."""

NOT_PLAIN = r"\u0000-\u001f\u007f-\u009f"
NAME_PATTERN = f"[a-z0-9-]{{1,{NAME_MAX}}}"

Where = tuple[str | int, ...]
"""The way to a value: keys, and counts from 0 for the rows of a list."""


class CardError(Exception):
    """A card that cannot be read. `str()` has one line for each fault, in the file's order."""

    def __init__(self, name: str, faults: list[tuple[int, str]]) -> None:
        self.faults = sorted(faults, key=lambda fault: fault[0])
        self.lines = [f"{name}:{line}: {text}" for line, text in self.faults]
        super().__init__("\n".join(self.lines))


def load(path: Path | str) -> dict[str, Any]:
    """The card in the file at `path`, as PrintingMap.to_dict gives it. Raises CardError, or OSError."""
    if Path(path).exists() and not Path(path).is_file():
        raise CardError(str(path), [(1, "this is no file. Give a card, which is a TOML file.")])
    with Path(path).open("rb") as file:
        data = file.read(SIZE_MAX + 1)
    if len(data) > SIZE_MAX:
        raise CardError(str(path), [(1, f"the file is over {SIZE_MAX} bytes. Give it one card only.")])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data.count(b"\n", 0, fault.start) + 1
        raise CardError(str(path), [(line, "this is not UTF-8 text. Save the file as UTF-8.")]) from None
    return read(text, str(path))


def read(text: str, name: str = "card") -> dict[str, Any]:
    """The card written as `text`; CardError speaks of it as `name`."""
    raw = _parse(text, name)
    faults: list[tuple[Where, str]] = []
    card = _plain(CARD.read(raw, (), faults), faults)
    if faults:
        lines = _lines(text, raw, {where for where, _ in faults})
        told = sorted(((_line_of(where, lines), said) for where, said in faults), key=lambda fault: fault[0])
        if len(told) > FAULTS_MOST:
            last = told[FAULTS_MOST][0]
            told[FAULTS_MOST:] = [(last, "here and below there are more faults. Mend those above first.")]
        raise CardError(name, told)
    return PrintingMap.from_dict(card).to_dict()


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
    if card["facts"]:
        doc["facts"] = {key: card["facts"][key] for key, _ in FACTS if key in card["facts"]}
    if "carried" in card:
        doc["carried"] = {name: stops_text(card["carried"][name]) for name in sorted(card["carried"])}
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


def schema_text() -> str:
    """The JSON Schema of a card: what `card.schema.json` holds, to be written anew when the table changes."""
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Lampblack card"}
    return json.dumps({**head, **CARD.schema()}, indent=2) + "\n"


# --- the kinds of value


class Leaf(NamedTuple):
    """One value. `parse` gives it as the core has it, or raises a UnitError."""

    example: str | bool | int | float
    shape: dict[str, Any]
    parse: Callable[[Any], Any]

    def schema(self) -> dict[str, Any]:
        return {**self.shape, "examples": [self.example]}

    def read(self, raw: object, where: Where, faults: list) -> Any:
        try:
            return self._value(raw, str(where[-1]))
        except UnitError as fault:
            faults.append((where, f"{where[-1]}: {fault}"))
            return None

    def _value(self, raw: object, name: str) -> Any:
        todo = f"Write {name} = {json.dumps(self.example)}"
        text = raw if isinstance(raw, str) else _shown(raw)
        if isinstance(self.example, bool):
            if isinstance(raw, bool):
                return raw
            raise UnitError(text, "is no plain true or false", todo)
        if isinstance(raw, (dict, list)):
            raise UnitError(text, "is more than one value", todo)
        if not isinstance(self.example, str):
            if isinstance(raw, (int, float)) and not isinstance(raw, bool):
                return self.parse(raw)
            raise UnitError(text, "is no plain number", todo)
        value = self.parse(text)
        if isinstance(raw, str):
            return value
        raise UnitError(text, "stands without quotes", f"Write {name} = {json.dumps(text)}")


class Key(NamedTuple):
    kind: "Leaf | Table | Rows"
    meaning: str
    required: bool = False


class Table(NamedTuple):
    """Keys with values of their own kinds; `place` is where a card has it."""

    place: str
    keys: dict[str, Key]

    def schema(self) -> dict[str, Any]:
        shape: dict[str, Any] = {
            "type": "object",
            "additionalProperties": False,
            "properties": {
                name: {"description": key.meaning, **key.kind.schema()} for name, key in self.keys.items()
            },
        }
        required = [name for name, key in self.keys.items() if key.required]
        return {**shape, "required": required} if required else shape

    def read(self, raw: object, where: Where, faults: list) -> dict[str, Any]:
        if not isinstance(raw, dict):
            faults.append((where, f"{where[-1]}: keys and values stand here. Write {self.place} above them."))
            return {}
        unknown = [name for name in raw if name not in self.keys]
        for name in unknown[: FAULTS_MOST + 1]:
            faults.append(((*where, name), self._unknown(name)))
        for name, key in self.keys.items():
            if key.required and name not in raw:
                faults.append((where, f"{name} is missing from {self.place}. {_example(name, key.kind)}."))
        return {
            name: key.kind.read(raw[name], (*where, name), faults)
            for name, key in self.keys.items()
            if name in raw
        }

    def _unknown(self, name: str) -> str:
        shown = name if len(name) <= 40 else name[:40] + "..."
        said = f"{json.dumps(shown, ensure_ascii=False)} is no key of {self.place}."
        for table in (CARD, FACT, CARRY, PASS, MARK):
            if name in table.keys:
                return f"{said} It belongs to {table.place}."
        near = difflib.get_close_matches(name, self.keys, n=1)
        return f'{said} Did you mean "{near[0]}"?' if near else f"{said} It has {', '.join(self.keys)}."


class Rows(NamedTuple):
    """`low` to `high` tables, one after another."""

    table: Table
    low: int
    high: int

    def schema(self) -> dict[str, Any]:
        return {
            "type": "array",
            "minItems": self.low,
            "maxItems": self.high,
            "items": self.table.schema(),
        }

    def read(self, raw: object, where: Where, faults: list) -> list[dict[str, Any]]:
        if not isinstance(raw, list):
            faults.append((where, f"{where[-1]}: there can be several. Write {self.table.place}."))
            return []
        if not self.low <= len(raw) <= self.high:
            at = (*where, self.high) if len(raw) > self.high else where
            faults.append(
                (at, f"{where[-1]}: there are {len(raw)}. Write {self.low} to {self.high} of them.")
            )
        return [self.table.read(row, (*where, count), faults) for count, row in enumerate(raw[: self.high])]


def _shown(raw: object) -> str:
    """A value that is no text, as a file would have it."""
    if isinstance(raw, int) and raw.bit_length() > 64:
        return hex(raw)  # Python writes out no decimals of several thousand digits
    return json.dumps(raw, default=str).strip('"')


def _example(name: str, kind: "Leaf | Table | Rows") -> str:
    return f"Write {name} = {json.dumps(kind.example)}" if isinstance(kind, Leaf) else f"Write [[{name}]]"


def _text(low: int, high: int, example: str) -> Leaf:
    def parse(text: str) -> str:
        if is_plain_text(text, low, high):
            return text
        if not low <= len(text) <= high:
            raise UnitError(text, f"has {len(text)} characters", f"Write {low} to {high} characters")
        raise UnitError(
            text,
            "has a line break, a control or a character beyond U+FFFF in it",
            "Write plain text on one line",
        )

    shape = {"type": "string", "minLength": low, "maxLength": high, "pattern": f"^[^{NOT_PLAIN}]*$"}
    return Leaf(example, shape, parse)


def _name(example: str) -> Leaf:
    def parse(text: str) -> str:
        if re.fullmatch(NAME_PATTERN, text):
            return text
        raise UnitError(text, "is no shelf name", f"Write 1 to {NAME_MAX} of a-z, 0-9 and -")

    return Leaf(example, {"type": "string", "pattern": f"^{NAME_PATTERN}$"}, parse)


def _figure(
    example: str,
    pattern: str,
    parse_unit: Callable[[str], int],
    low: int,
    high: int,
    said: Callable[[int], str],
) -> Leaf:
    def parse(text: str) -> int:
        value = parse_unit(text)
        if low <= value <= high:
            return value
        raise UnitError(text, "is out of range", f"Write {said(low)} to {said(high)}")

    return Leaf(example, {"type": "string", "pattern": f"^({pattern})$"}, parse)


def _number(example: int | float, parts: int, low: int, high: int) -> Leaf:
    """A number that the core has in whole parts, `parts` to each 1, from `low` to `high` of them."""

    def parse(raw: int | float) -> int:
        whole = raw * parts
        if not low <= whole <= high:
            raise UnitError(_shown(raw), "is out of range", f"Write {_in_ones(low)} to {_in_ones(high)}")
        if abs(whole - round(whole)) > 1e-6:
            raise UnitError(_shown(raw), "is too fine", f"Write whole steps of {_in_ones(1)}")
        return round(whole)

    def _in_ones(value: int) -> str:
        return f"{value / parts:g}"

    shape = {"type": "number", "minimum": low / parts, "maximum": high / parts}
    return Leaf(example, shape, parse)


def _flag(example: bool) -> Leaf:
    return Leaf(example, {"type": "boolean"}, bool)


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
            _text(1, longest, FACT_WORDS[name][1]), f"{FACT_WORDS[name][0]}; up to {longest} characters"
        )
        for name, longest in FACTS
    },
)
MARK = Table(
    "[[pass.mark]]",
    {
        "area": Key(_text(1, AREA_MAX, "sky"), f"what the area is called, 1 to {AREA_MAX} characters", True),
        "stops": Key(
            _figure("+1/3", STOPS_PATTERN, parse_stops, -MARK_FURTHEST, MARK_FURTHEST, stops_text),
            "offset from the base: + is a burn, - a dodge; -5 to +5 stops, exact in 1/120 stop",
            True,
        ),
        "filter": Key(
            _text(1, FILTER_MAX, "5"),
            f"burns only: the filter to burn through, if not the pass's own; 1 to {FILTER_MAX} characters",
        ),
        "with_previous": Key(
            _flag(True),
            "dodges only: true if it opens together with the dodge before it",
        ),
    },
)
PASS = Table(
    "[[pass]]",
    {
        "filter": Key(
            _text(0, FILTER_MAX, "2"),
            f"the filter in the light; up to {FILTER_MAX} characters, none if left out",
        ),
        "base": Key(
            _figure("11.3 s", SECONDS_PATTERN, parse_seconds, BASE_MIN_MS, BASE_MAX_MS, seconds_exact),
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
}
"""Keys of a card's measures: what each is in the core, and how many of the core's parts are 1 of it."""

_MEASURE_WORDS = {
    "negative_mm": "length of a detail on the negative, or of its long side",
    "print_mm": "length of the same on the print",
    "f_thirds": "aperture in thirds of a stop from f/1, with halves: f/4 is 12, f/5.6 15, f/8 18, f/11 21",
}
_MEASURE_EXAMPLES = {"negative_mm": 36, "print_mm": 254.5, "f_thirds": 18}
_RANGES = {name: (low, high) for name, low, high in MEASURES}


def _measure(name: str) -> Key:
    own, parts = MEASURE_KEYS[name]
    low, high = _RANGES[own]
    limits = f"{low / parts:g} to {high / parts:g}"
    return Key(_number(_MEASURE_EXAMPLES[name], parts, low, high), f"{_MEASURE_WORDS[name]}; {limits}")


CARRY = Table(
    "[carried]",
    {
        name: Key(
            _figure("+1/2", STOPS_PATTERN, parse_stops, -FURTHEST, FURTHEST, stops_text),
            f"by how much the bases moved for another {name}; the box writes it",
        )
        for name in sorted(CARRIED)
    },
)
CARD = Table(
    "the card's top",
    {
        "name": Key(_name("breakwater"), f"name on the box's shelf: 1 to {NAME_MAX} of a-z, 0-9 and -", True),
        "title": Key(_text(0, TITLE_MAX, "Breakwater, evening"), f"up to {TITLE_MAX} characters"),
        "tied": Key(_flag(True), "true if the bases of the passes keep their ratio; false if left out"),
        "dry_down": Key(
            _figure("8 %", PERCENT_PATTERN, parse_percent, 0, DRY_DOWN_MAX_PM, percent_exact),
            f"light to take away because paper dries darker, 0 % to {percent_exact(DRY_DOWN_MAX_PM)}",
        ),
        "dry_down_on": Key(_flag(False), "false keeps dry_down on the card without using it"),
        **{name: _measure(name) for name in MEASURE_KEYS},
        "facts": Key(FACT, "what a later print needs to know"),
        "carried": Key(CARRY, "what the bases were carried over to"),
        "pass": Key(Rows(PASS, 1, PASSES_MAX), f"the exposures of the whole sheet, 1 to {PASSES_MAX}", True),
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
    measures = {own: values[name] for name, (own, _) in MEASURE_KEYS.items() if name in values}
    more = {"measures": measures, "carried": values.get("carried", {})}
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


# --- TOML and its lines


_NO_KEY = re.compile(
    r'"""(?:[^\\]|\\.)*?"""|\'\'\'.*?\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*', re.DOTALL
)
"""Strings, which may be parts of keys as well, and comments."""
_LONG_KEY = re.compile(rf"(?:\.[ \tA-Za-z0-9_-]*){{{DEPTH_MAX}}}")


def _parse(text: str, name: str) -> dict[str, Any]:
    # The parser takes seconds over a key of thousands of parts.
    bare = _NO_KEY.sub(lambda found: "s" + "\n" * found[0].count("\n"), text)
    if long_key := _LONG_KEY.search(bare):
        raise CardError(name, [(bare.count("\n", 0, long_key.start()) + 1, _TOO_DEEP)])
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        said, _, place = str(fault).partition(" (at ")
        line = re.match(r"line (\d+)", place)
        number = int(line[1]) if line else text.count("\n") + 1
        if re.search("overwrite|twice|mutate|redefine|[Dd]uplicate", said):
            raise CardError(name, [(number, "this stands here a second time. Take one away.")]) from None
        todo = 'One key a line; text, times and stops in "quotes"'
        raise CardError(name, [(number, f"this is not TOML: {said[0].lower()}{said[1:]}. {todo}.")]) from None
    except (ValueError, RecursionError):
        raise CardError(name, [(1, "it has numbers or brackets no card has. Write times as text.")]) from None
    if _is_deep(raw):
        raise CardError(name, [(1, _TOO_DEEP)])
    return raw


_TOO_DEEP = "it has keys or brackets within each other as no card has. Write one key a line."


def _is_deep(raw: object) -> bool:
    level = [raw]
    for _ in range(DEPTH_MAX):
        level = [inner for value in level for inner in _inside(value)]
    return bool(level)


def _inside(value: object) -> Iterable[object]:
    return value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()


def _line_of(where: Where, lines: dict[Where, int]) -> int:
    while where not in lines:
        where = where[:-1]
    return lines[where]


def _lines(text: str, raw: dict[str, Any], wanted: set[Where]) -> dict[Where, int]:
    """The lines on which the keys, tables and rows of the valid TOML `text` begin; all `wanted`, if they are
    found before PARSED_MOST. `raw` is what the text says."""
    found: dict[Where, int] = {(): 1}
    lines = text.replace("\r\n", "\n").split("\n")
    rows: Counter[Where] = Counter()
    table: Where = ()
    room = PARSED_MOST
    start, begins = 0, 1
    for count in range(1, len(lines) + 1):
        statement = "\n".join(lines[start:count])
        # What ends a list that goes on over the next lines, and one inside an inline table.
        for end in ("", "\n]", "\n]}", "\n]}\n]"):
            room -= len(statement)
            if room < 0:
                return {**dict.fromkeys(wanted, start + 1), **found}
            try:
                piece = tomllib.loads(statement + end)
            except tomllib.TOMLDecodeError:
                continue
            is_header = statement.lstrip().startswith("[")
            if is_header:
                table = _table_of(piece, raw, rows)
            for way in _prefixes(table) if is_header else _ways(piece, table):
                found.setdefault(way, begins)
            begins = count + 1
            if not end:
                start = count
            break
        if wanted <= found.keys():
            break
    return found


def _table_of(header: dict[str, Any], raw: Any, rows: Counter[Where]) -> Where:
    """The way to the table that a header, parsed alone, begins; `rows` counts the rows of lists so far."""
    where: Where = ()
    piece: Any = header
    while piece:
        ((key, piece),) = piece.items()
        where, raw = (*where, key), raw[key]
        if isinstance(piece, list):
            rows[where] += 1
            piece = {}
        if isinstance(raw, list):
            row = rows[where] - 1
            where, raw = (*where, row), raw[row]
    return where


def _prefixes(where: Where) -> Iterator[Where]:
    return (where[:size] for size in range(1, len(where) + 1))


def _ways(raw: object, where: Where) -> Iterator[Where]:
    yield where
    rows = raw.items() if isinstance(raw, dict) else enumerate(raw) if isinstance(raw, list) else ()
    for step, value in rows:
        yield from _ways(value, (*where, step))
