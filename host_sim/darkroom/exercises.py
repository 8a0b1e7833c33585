"""Exercises for an evening: a negative, a card that says what to do with it, and what to look out for.

What must live here: the exercises as data. Marks are in 1/120 stop, and every area is one the negative has.
"""

from __future__ import annotations

from typing import Any, NamedTuple


class Exercise(NamedTuple):
    """`card` is what goes on the box's shelf, as the wire has it."""

    title: str
    negative: str
    paper: str
    says: str
    card: dict[str, Any]


def _card(name: str, title: str, passes: list[dict[str, Any]], tied: bool = False) -> dict[str, Any]:
    return {
        "name": name,
        "title": title,
        "tied": tied,
        "dry_down": False,
        "dry_down_pm": 80,
        "facts": {},
        "passes": passes,
    }


def _pass(filter: str, base_ms: int, *marks: tuple[Any, ...]) -> dict[str, Any]:
    keys = ("area", "stops120", "with_previous")
    return {
        "filter": filter,
        "base_ms": base_ms,
        "marks": [dict(zip(keys, mark, strict=False)) for mark in marks],
    }


EXERCISES = {
    "one-dodge": Exercise(
        "One dodge",
        "pears",
        "vc-2019",
        "Load the card from the Shelf, fit filter 2 and press EXPOSE. From the rising tone to the falling "
        "one hold the disc over the pears.",
        _card("one-dodge", "Practice: one dodge", [_pass("2", 14000, ("pears", -40))]),
    ),
    "sky-burn": Exercise(
        "A dodge and a burn",
        "breakwater",
        "vc-2019",
        "Dodge the posts while the base is on, with a disc as large as they are. For the burn cover all "
        "but the sky with the straight edge.",
        _card("sky-burn", "Practice: dodge and burn", [_pass("2", 14000, ("posts", -30), ("sky", 80))]),
    ),
    "two-hands": Exercise(
        "A shade in each hand",
        "pears",
        "vc-2019",
        "Dodge jug and pears together: both go in at the three rising tones, each comes out at its own. Hold "
        "a disc over the jug and press H, then another over the pears: while O, the right mouse button or a "
        "second finger is down, the jug is shaded too.",
        _card("two-hands", "Practice: two hands", [_pass("2", 10000, ("jug", -90), ("pears", -60, True))]),
    ),
    "split-grade": Exercise(
        "Split grade",
        "workroom",
        "vc-2019",
        "Two passes: fit filter 00 first, and 5 when the box asks for it. Burn the window through 00 with "
        "the hole. In the hard pass dodge the stool, then burn the ceiling.",
        _card(
            "split-grade",
            "Practice: split grade",
            [
                _pass("00", 7000, ("window", 120)),
                _pass("5", 8000, ("stool", -60), ("ceiling", 60)),
            ],
            tied=True,
        ),
    ),
}
