"""The paper of a guided test: the pieces that it takes, the fields on them, and what each stage leaves open.

What must live here: reading that from the stages of a test. Their kinds, names and tasks alone count, so that
ladders, patches and times stay the box's own. It knows no light, no pixels and no hands.

A place on the sheet is (left, top, right, bottom), in parts of it. Where a test takes several pieces of paper
they lie side by side on one sheet, so that what came of them can be compared.
"""

from __future__ import annotations

from typing import NamedTuple

from timing_core.light.plan import COVER, FRESH, WAIT, WHOLE, Stage, stage_task

_EDGE = 0.1
"""How wide an edge is that has no light of the lamp, in parts of the sheet."""


class Place(NamedTuple):
    left: float
    top: float
    right: float
    bottom: float


WHOLE_SHEET = Place(0, 0, 1, 1)


class Field(NamedTuple):
    """A part of a piece that can be told from the others, by the name that the box has for it."""

    name: str
    place: Place


class Piece(NamedTuple):
    """One piece of paper. `stages` are the numbers of those that it lies in the easel for; `is_wet`: it is
    looked at wet, whatever is dried."""

    place: Place
    fields: list[Field]
    stages: frozenset[int]
    is_wet: bool = False


class Layout(NamedTuple):
    """`open`: what each stage leaves open, by its number."""

    pieces: list[Piece]
    open: dict[int, Place]


def layout_of(stages: list[Stage]) -> Layout | None:
    """The paper that a test of these stages takes; None for one that takes none."""
    tasks = [stage_task(stage) for stage in stages]
    if "Cover right" in tasks:
        return _halves(stages)
    if "Wet piece" in tasks:
        return _dry_and_wet(stages)
    if "Cover 1/4" in tasks:
        return _sheets_in_quarters(stages)
    return _columns(stages) if any(stage.kind == COVER for stage in stages) else None


def _halves(stages: list[Stage]) -> Layout:
    """All of the left half at once; on the right half patches from the top down, all along the border."""
    first, *patches = _lit(stages)
    open_at = {first: Place(0, 0, 0.5, 1)}
    fields = []
    for number, at in enumerate(patches):
        top, bottom = number / len(patches), (number + 1) / len(patches)
        fields.append(Field(str(number + 1), Place(0.5, top, 1, bottom)))
        open_at[at] = Place(0.5, top, 1, 1 if stages[at].kind == COVER else bottom)
    return Layout([Piece(WHOLE_SHEET, fields, frozenset(open_at))], open_at)


def _dry_and_wet(stages: list[Stage]) -> Layout:
    """The dry pieces in a row, and the wet one below, along all of them."""
    *dry, wet = [at for at in _lit(stages) if stages[at].kind == FRESH]
    pieces = []
    for number, at in enumerate(dry):
        place = Place(number / len(dry), 0, (number + 1) / len(dry), 0.5)
        pieces.append(Piece(place, [Field(stages[at].area, place)], frozenset([at])))
    below = Place(0, 0.5, 1, 1)
    pieces.append(Piece(below, [Field("wet", below)], frozenset([wet]), is_wet=True))
    return Layout(pieces, {at: piece.place for piece in pieces for at in piece.stages})


def _sheets_in_quarters(stages: list[Stage]) -> Layout:
    """Sheets one below the other. Along the bottom of each is the edge that its grey leaves out."""
    sheets: list[list[int]] = []
    for at in _given(stages):
        if stages[at].fresh or not sheets:
            sheets.append([])
        sheets[-1].append(at)
    pieces, open_at = [], {}
    for row, sheet in enumerate(sheets):
        top, bottom = row / len(sheets), (row + 1) / len(sheets)
        edge = bottom - _EDGE
        waits = [at for at in sheet if stages[at].kind == WAIT]
        names = [f"{stages[waits[0]].area.split()[0]} 0 min", *(stages[at].area for at in waits)]
        parts = [Place(n / len(names), top, (n + 1) / len(names), edge) for n in range(len(names))]
        pieces.append(Piece(Place(0, top, 1, bottom), list(map(Field, names, parts)), frozenset(sheet)))
        for at in sheet:
            open_at[at] = Place(0, top, 1, edge)
        for at, part in zip(waits, parts[1:], strict=True):
            open_at[at] = Place(part.left, top, 1, bottom)
    return Layout(pieces, open_at)


def _columns(stages: list[Stage]) -> Layout:
    """A cover strip. Paper without light is beside it: at one end where the test asks for that, else all
    along its patches. What comes after the patches is given to the other end alone."""
    given = _lit(stages)
    covers = [at for at in given if stages[at].kind == COVER]
    has_white_end = stages[covers[0]].task == "Cover white"
    names = ["white"] if has_white_end else []
    names += [stages[at].area for at in covers]
    names += [stages[at].area.lower() for at in given if stages[at].kind == WHOLE]
    bottom = 1.0 if has_white_end else 1 - _EDGE
    fields = [
        Field(name, Place(n / len(names), 0, (n + 1) / len(names), bottom)) for n, name in enumerate(names)
    ]
    lit = fields[1:] if has_white_end else fields
    open_at = {at: Place(field.place.left, 0, 1, bottom) for at, field in zip(given, lit, strict=True)}
    return Layout([Piece(WHOLE_SHEET, fields, frozenset(open_at))], open_at)


def _given(stages: list[Stage]) -> list[int]:
    """The numbers of the stages that are more than a press: light, or time to wait."""
    return [at for at, stage in enumerate(stages) if stage.light_ms]


def _lit(stages: list[Stage]) -> list[int]:
    return [at for at in _given(stages) if stages[at].kind != WAIT]
