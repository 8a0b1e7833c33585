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
    keys = ("area", "stops120", "filter")
    return {
        "filter": filter,
        "base_ms": base_ms,
        "marks": [dict(zip(keys, mark, strict=False)) for mark in marks],
    }


EXERCISES = {
    "one-dodge": Exercise(
        "One dodge",
        "breakwater",
        "vc-2019",
        "Load it from the Shelf and press EXPOSE. Between the rising and the falling tone hold the disc over "
        "the boat, and keep it moving a little.",
        _card("one-dodge", "Practice: one dodge", [_pass("2", 16000, ("boat", -60))]),
    ),
    "sky-burn": Exercise(
        "A burn",
        "breakwater",
        "vc-2019",
        "Base first, then cover all but the sky with the straight card and give the burn.",
        _card("sky-burn", "Practice: burn the sky", [_pass("2", 16000, ("boat", -40), ("sky", 80))]),
    ),
    "split-grade": Exercise(
        "Split grade",
        "workroom",
        "vc-2019",
        "Two passes, two filters: fit 00 when the box asks, then 5.",
        _card(
            "split-grade",
            "Practice: split grade",
            [
                _pass("00", 9000, ("window", 60)),
                _pass("5", 14000, ("bench", -40), ("window", 40, "00")),
            ],
            tied=True,
        ),
    ),
}
