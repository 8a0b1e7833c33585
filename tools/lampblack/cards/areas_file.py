"""Where the areas of a print lie: outlines drawn on a picture of it, in NAME.areas.toml beside NAME.toml.

What must live here: every key of such a file, in one table that `toml_file` reads a file with, and what an
outline has to do with the marks of its card. The file stays on the PC: it is never pushed, and no pull
writes over it.

A place is in parts of the picture, x from its left edge and y from its top; in the plain form in 1/10000.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import tomlkit

from lampblack.cards.toml_file import Key, Kind, Pairs, Rows, Table, number_leaf, text_leaf
from lampblack.text.printable import escaped
from timing_core.light.printing_map import AREA_MAX, MARKS_MAX, PASSES_MAX

ENDING = ".areas.toml"
PARTS = 10_000
CORNERS_MIN, CORNERS_MAX = 3, 100
OUTLINES_MAX = 2 * PASSES_MAX * MARKS_MAX
"""As many as two for each mark that a card can have: an area may be in pieces, or its mark gone by now."""
SIZE_MAX = 1 << 18

OUTLINE = Table(
    "[[outline]]",
    {
        "pass": Key(number_leaf(1, 1, 1, PASSES_MAX), f"the pass of the mark, 1 to {PASSES_MAX}", True),
        "area": Key(
            text_leaf(1, AREA_MAX, "sky"),
            f"the mark's area, 1 to {AREA_MAX} characters, as on the card",
            True,
        ),
        "corners": Key(
            Pairs(number_leaf(0.25, PARTS, 0, PARTS), CORNERS_MIN, CORNERS_MAX),
            "the corners in their order, each as [x, y] in parts of the picture from its left and its top",
            True,
        ),
    },
)
AREAS = Table(
    "the file",
    {
        "outline": Key(
            Rows(OUTLINE, 0, OUTLINES_MAX), f"the outlines, up to {OUTLINES_MAX}; an area may have several"
        )
    },
)


def _plain(values: dict[str, Any], _: list) -> dict[str, Any]:
    return {"outlines": values.get("outline", [])}


AREA_FILES = Kind("file of areas", AREAS, _plain, lambda plain: plain, SIZE_MAX)
load, read, schema_text = AREA_FILES.load, AREA_FILES.read, AREA_FILES.schema_text


def path_for(card: Path) -> Path:
    """Where the areas of the card at `card` are, if it has any."""
    return card.with_suffix(ENDING)


def is_areas(path: Path) -> bool:
    return path.name.endswith(ENDING)


def dump(areas: Mapping[str, Any]) -> str:
    """The one way to write `areas`, as `read` gives them: `read` gives them back."""
    doc = tomlkit.document()
    rows = tomlkit.aot()
    for own in areas["outlines"]:
        row = tomlkit.table()
        row["pass"], row["area"] = own["pass"], own["area"]
        row["corners"] = [[x / PARTS, y / PARTS] for x, y in own["corners"]]
        rows.append(row)
    if areas["outlines"]:
        doc["outline"] = rows
    return escaped(tomlkit.dumps(doc))


def of_outlines(
    card: Mapping[str, Any], outlines: Mapping[str, Sequence[tuple[float, float]]]
) -> dict[str, Any]:
    """The areas of a card whose outlines are known by their names, in parts of the picture."""
    return {
        "outlines": [
            {
                "pass": count,
                "area": area,
                "corners": [[round(x * PARTS), round(y * PARTS)] for x, y in outlines[area]],
            }
            for count, area in marks_of(card)
            if area in outlines
        ]
    }


def together(
    there: Sequence[Mapping[str, Any]], drawn: Sequence[Mapping[str, Any]], upon: Sequence[Mapping[str, Any]]
) -> list[Mapping[str, Any]]:
    """The outlines that are `there`, with what was done to those of `upon` to have them as `drawn`: what has
    come there meanwhile stays."""
    gone = [own for own in upon if own not in drawn]
    left = [own for own in there if own not in gone]
    return left + [own for own in drawn if own not in upon and own not in left]


def check(areas: Mapping[str, Any], card: Mapping[str, Any]) -> str:
    """One line about the outlines of marks that `card`, as PrintingMap.to_dict gives it, has no longer; "" if
    it has them all."""
    marks = marks_of(card)
    gone = dict.fromkeys(
        f"{own['area']} in pass {own['pass']}"
        for own in areas["outlines"]
        if (own["pass"], own["area"]) not in marks
    )
    if not gone:
        return ""
    marks_word = "mark" if len(gone) == 1 else "marks"
    return f"Drawn and kept, though the card has no such {marks_word}: {', '.join(gone)}."


def marks_of(card: Mapping[str, Any]) -> dict[tuple[int, str], list[dict[str, Any]]]:
    """The marks of a card by pass, counted from 1, and area, in the card's order."""
    found: dict[tuple[int, str], list[dict[str, Any]]] = {}
    for count, own in enumerate(card["passes"], 1):
        for mark in own["marks"]:
            found.setdefault((count, mark["area"]), []).append(mark)
    return found
