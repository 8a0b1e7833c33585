"""Writes a board that KiCad saved as the same text every time.

KiCad gives every item a random number and saves in the order of those numbers. Here the items are sorted by
what they say, and each number is made from that.
"""

import re
import textwrap
import uuid
from collections.abc import Iterator

Node = str | list["Node"]
"""A word of the file, or what stands between two brackets."""

MOVABLE = frozenset(
    ("footprint", "pad", "segment", "via", "zone", "gr_line", "gr_rect", "gr_text")
    + ("fp_line", "fp_circle", "fp_arc", "fp_text", "fp_rect", "fp_poly")
)
WORD = re.compile(r'"(?:[^"\\]|\\.)*"|[()]|[^\s()"]+')
LINE_LENGTH = 110


def steady(text: str) -> str:
    """The same board, in the one order."""
    return _shown(_ordered(parsed(text), "", {})) + "\n"


def parsed(text: str) -> list["Node"]:
    """What a file of KiCad says, brackets as lists."""
    words = iter(WORD.findall(text))
    next(words)
    return _read(words)


def _read(words: Iterator[str]) -> list["Node"]:
    found: list[Node] = []
    for word in words:
        if word == ")":
            break
        found.append(_read(words) if word == "(" else word)
    return found


def _head(node: Node) -> str:
    return node[0] if isinstance(node, list) and node and isinstance(node[0], str) else ""


def _plain(node: Node) -> str:
    """Its text without numbers, what may move in order."""
    if isinstance(node, str):
        return node
    kept = [child for child in node if _head(child) != "tstamp"]
    still = [_plain(child) for child in kept if _head(child) not in MOVABLE]
    return "(" + " ".join(still + sorted(_plain(child) for child in kept if _head(child) in MOVABLE)) + ")"


def _ordered(node: Node, inside: str, seen: dict[str, int]) -> Node:
    if isinstance(node, str):
        return node
    key = inside + _plain(node)
    seen[key] = seen.get(key, -1) + 1
    still = [child for child in node if _head(child) not in MOVABLE]
    moved = sorted((child for child in node if _head(child) in MOVABLE), key=_plain)
    number = str(uuid.uuid5(uuid.NAMESPACE_URL, f"{key}#{seen[key]}"))
    return [
        ["tstamp", number] if _head(child) == "tstamp" else _ordered(child, _head(node), seen)
        for child in still + moved
    ]


def _shown(node: Node, depth: int = 0) -> str:
    if isinstance(node, str):
        return node
    line = "(" + " ".join(_shown(child) for child in node) + ")"
    if len(line) < LINE_LENGTH:
        return line
    if _head(node) == "pts":
        # Thousands of points: many to a line.
        inside = textwrap.wrap(
            line[5:-1].replace(" ", "_").replace(")_(", ") ("), LINE_LENGTH, break_on_hyphens=False
        )
        return "(pts\n" + "\n".join(inside).replace("_", " ") + ")"
    rows = []
    for place, child in enumerate(node):
        between = "\n" + "  " * (depth + 1) if isinstance(child, list) else " " if place else ""
        rows.append(between + _shown(child, depth + 1))
    return "(" + "".join(rows) + ")"
