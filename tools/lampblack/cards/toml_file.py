"""TOML files in people's units: cards, paper records and tray sequences.

What must live here: what a table of keys is, how it reads a file, says what is wrong with it and on which
line, and gives editors a JSON Schema. What stands in a file is told by `card_file`, `paper_file` and
`trays_file`; what a figure looks like is in `units`.

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
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from lampblack.text.units import UnitError
from timing_core.light.bench import is_plain_text
from timing_core.light.plain_form import NAME_MAX
from timing_core.refusal import Refusal

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


class FileError(Exception):
    """A file that cannot be read. `str()` has one line for each fault, in the file's order."""

    def __init__(self, name: str, faults: list[tuple[int, str]]) -> None:
        self.faults = sorted(faults, key=lambda fault: fault[0])
        self.lines = [f"{name}:{line}: {text}" for line, text in self.faults]
        super().__init__("\n".join(self.lines))


class Kind(NamedTuple):
    """A kind of file: what it is called, its keys, what makes the core's plain form of the values that were
    read, with what no single key can see checked, and what the core itself makes of that. It is `size_max`
    bytes long at most."""

    what: str
    table: "Table"
    plain: Callable[[dict[str, Any], list], dict[str, Any]]
    checked: Callable[[dict[str, Any]], dict[str, Any]]
    size_max: int = SIZE_MAX

    def load(self, path: Path | str) -> dict[str, Any]:
        """What the file at `path` has, in the core's plain form. Raises FileError, or OSError."""
        if Path(path).exists() and not Path(path).is_file():
            raise FileError(str(path), [(1, f"this is no file. Give a {self.what}, which is a TOML file.")])
        with Path(path).open("rb") as file:
            data = file.read(self.size_max + 1)
        if len(data) > self.size_max:
            said = f"the file is over {self.size_max} bytes. Give it one {self.what} only."
            raise FileError(str(path), [(1, said)])
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as fault:
            line = data.count(b"\n", 0, fault.start) + 1
            raise FileError(str(path), [(line, "this is not UTF-8 text. Save the file as UTF-8.")]) from None
        return self.read(text, str(path))

    def read(self, text: str, name: str = "") -> dict[str, Any]:
        """What is written as `text`; FileError speaks of it as `name`."""
        name = name or self.what
        raw = _parse(text, name, self.what)
        faults = Faults(self.table)
        plain = self.plain(self.table.read(raw, (), faults), faults)
        if faults:
            lines = _lines(text, raw, {where for where, _ in faults})
            told = sorted(
                ((_line_of(where, lines), said) for where, said in faults), key=lambda fault: fault[0]
            )
            if len(told) > FAULTS_MOST:
                last = told[FAULTS_MOST][0]
                told[FAULTS_MOST:] = [(last, "here and below there are more faults. Mend those above first.")]
            raise FileError(name, told)
        return self.checked(plain)

    def takes(self, text: str) -> bool:
        """True if `text` is such a file."""
        try:
            self.read(text)
        except (FileError, Refusal):
            return False
        return True

    def schema_text(self) -> str:
        """The JSON Schema of such a file, to be written anew when its table changes."""
        head = {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "title": f"Lampblack {self.what}",
        }
        return json.dumps({**head, **self.table.schema()}, indent=2) + "\n"


class Faults(list[tuple[Where, str]]):
    """What is wrong with a file, and where; `top` is the table of the whole file."""

    def __init__(self, top: "Table") -> None:
        super().__init__()
        self.top = top


# --- the kinds of value


class Leaf(NamedTuple):
    """One value. `parse` gives it as the core has it, or raises a UnitError."""

    example: str | bool | int | float
    shape: dict[str, Any]
    parse: Callable[[Any], Any]

    def schema(self) -> dict[str, Any]:
        return {**self.shape, "examples": [self.example]}

    def read(self, raw: object, where: Where, faults: Faults) -> Any:
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
    kind: "Leaf | Table | Values | Pairs | Rows"
    meaning: str
    required: bool = False


class Table(NamedTuple):
    """Keys with values of their own kinds; `place` is where a file has it."""

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

    def within(self) -> "Iterator[Table]":
        """This table, and those in it."""
        yield self
        for key in self.keys.values():
            inner = key.kind.table if isinstance(key.kind, Rows) else key.kind
            if isinstance(inner, Table):
                yield from inner.within()

    def read(self, raw: object, where: Where, faults: Faults) -> dict[str, Any]:
        if not isinstance(raw, dict):
            faults.append((where, f"{where[-1]}: keys and values stand here. Write {self.place} above them."))
            return {}
        unknown = [name for name in raw if name not in self.keys]
        for name in unknown[: FAULTS_MOST + 1]:
            faults.append(((*where, name), self._unknown(name, faults.top)))
        for name, key in self.keys.items():
            if key.required and name not in raw:
                faults.append((where, f"{name} is missing from {self.place}. {_example(name, key.kind)}."))
        return {
            name: key.kind.read(raw[name], (*where, name), faults)
            for name, key in self.keys.items()
            if name in raw
        }

    def _unknown(self, name: str, top: "Table") -> str:
        shown = name if len(name) <= 40 else name[:40] + "..."
        said = f"{json.dumps(shown, ensure_ascii=False)} is no key of {self.place}."
        for table in top.within():
            if name in table.keys:
                return f"{said} It belongs to {table.place}."
        near = difflib.get_close_matches(name, self.keys, n=1)
        return f'{said} Did you mean "{near[0]}"?' if near else f"{said} It has {', '.join(self.keys)}."


class Values(NamedTuple):
    """`length` values of one kind in brackets."""

    leaf: Leaf
    length: int

    def schema(self) -> dict[str, Any]:
        return _array(self.leaf.schema(), self.length, self.length)

    def read(self, raw: object, where: Where, faults: Faults) -> list[Any]:
        if not isinstance(raw, list) or len(raw) != self.length:
            shown = json.dumps(self.leaf.example)
            said = f"it has {self.length} values. Write {where[-1]} = [{shown}, ...], {self.length} of them."
            faults.append((where, f"{where[-1]}: {said}"))
            return []
        return [self.leaf.read(value, where, faults) for value in raw]


class Pairs(NamedTuple):
    """`low` to `high` pairs of values of one kind, each in brackets of its own."""

    leaf: Leaf
    low: int
    high: int

    def schema(self) -> dict[str, Any]:
        return _array(Values(self.leaf, 2).schema(), self.low, self.high)

    def read(self, raw: object, where: Where, faults: Faults) -> list[list[Any]]:
        if not isinstance(raw, list) or not self.low <= len(raw) <= self.high:
            faults.append(
                (where, f"{where[-1]}: it has {self.low} to {self.high} pairs. {self.example(where)}.")
            )
            return []
        for pair in raw:
            if not isinstance(pair, list) or len(pair) != 2:
                faults.append((where, f"{where[-1]}: a pair has two values. {self.example(where)}."))
                return []
        return [[self.leaf.read(value, where, faults) for value in pair] for pair in raw]

    def example(self, where: Where) -> str:
        shown = json.dumps(self.leaf.example)
        return f"Write {where[-1]} = [[{shown}, {shown}], ...]"


class Rows(NamedTuple):
    """`low` to `high` tables, one after another."""

    table: Table
    low: int
    high: int

    def schema(self) -> dict[str, Any]:
        return _array(self.table.schema(), self.low, self.high)

    def read(self, raw: object, where: Where, faults: Faults) -> list[dict[str, Any]]:
        if not isinstance(raw, list):
            faults.append((where, f"{where[-1]}: there can be several. Write {self.table.place}."))
            return []
        if not self.low <= len(raw) <= self.high:
            at = (*where, self.high) if len(raw) > self.high else where
            faults.append(
                (at, f"{where[-1]}: there are {len(raw)}. Write {self.low} to {self.high} of them.")
            )
        return [self.table.read(row, (*where, count), faults) for count, row in enumerate(raw[: self.high])]


def _array(items: dict[str, Any], low: int, high: int) -> dict[str, Any]:
    """The schema of `low` to `high` of these."""
    return {"type": "array", "minItems": low, "maxItems": high, "items": items}


def _shown(raw: object) -> str:
    """A value that is no text, as a file would have it."""
    if isinstance(raw, int) and raw.bit_length() > 64:
        return hex(raw)  # Python writes out no decimals of several thousand digits
    return json.dumps(raw, default=str).strip('"')


def _example(name: str, kind: "Leaf | Table | Values | Pairs | Rows") -> str:
    if isinstance(kind, Pairs):
        return kind.example((name,))
    if isinstance(kind, Leaf):
        return f"Write {name} = {json.dumps(kind.example)}"
    if isinstance(kind, Values):
        return f"Write {name} = [{json.dumps(kind.leaf.example)}, ...]"
    return f"Write [[{name}]]"


def text_leaf(low: int, high: int, example: str) -> Leaf:
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


def name_leaf(example: str) -> Leaf:
    def parse(text: str) -> str:
        if re.fullmatch(NAME_PATTERN, text):
            return text
        raise UnitError(text, "is no shelf name", f"Write 1 to {NAME_MAX} of a-z, 0-9 and -")

    return Leaf(example, {"type": "string", "pattern": f"^{NAME_PATTERN}$"}, parse)


def figure_leaf(
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


def number_leaf(example: int | float, parts: int, low: int, high: int) -> Leaf:
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


def choice_leaf(choices: Sequence[str], example: str) -> Leaf:
    """One of these words."""

    def parse(text: str) -> str:
        if text in choices:
            return text
        raise UnitError(text, "is none of them", f"Write {', '.join(choices[:-1])} or {choices[-1]}")

    return Leaf(example, {"type": "string", "enum": list(choices)}, parse)


def flag_leaf(example: bool) -> Leaf:
    return Leaf(example, {"type": "boolean"}, bool)


# --- TOML and its lines


_NO_KEY = re.compile(
    r'"""(?:[^\\]|\\.)*?"""|\'\'\'.*?\'\'\'|"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*', re.DOTALL
)
"""Strings, which may be parts of keys as well, and comments."""
_LONG_KEY = re.compile(rf"(?:\.[ \tA-Za-z0-9_-]*){{{DEPTH_MAX}}}")


def _parse(text: str, name: str, what: str) -> dict[str, Any]:
    too_deep = f"it has keys or brackets within each other as no {what} has. Write one key a line."
    # The parser takes seconds over a key of thousands of parts.
    bare = _NO_KEY.sub(lambda found: "s" + "\n" * found[0].count("\n"), text)
    if long_key := _LONG_KEY.search(bare):
        raise FileError(name, [(bare.count("\n", 0, long_key.start()) + 1, too_deep)])
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        said, _, place = str(fault).partition(" (at ")
        line = re.match(r"line (\d+)", place)
        number = int(line[1]) if line else text.count("\n") + 1
        if re.search("overwrite|twice|mutate|redefine|[Dd]uplicate", said):
            raise FileError(name, [(number, "this stands here a second time. Take one away.")]) from None
        todo = 'One key a line; text, times and stops in "quotes"'
        raise FileError(name, [(number, f"this is not TOML: {said[0].lower()}{said[1:]}. {todo}.")]) from None
    except (ValueError, RecursionError):
        raise FileError(
            name, [(1, f"it has numbers or brackets no {what} has. Write times as text.")]
        ) from None
    if _is_deep(raw):
        raise FileError(name, [(1, too_deep)])
    return raw


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
