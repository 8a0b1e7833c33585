"""What a person asks of the room, checked: names, numbers, outlines.

What must live here: refusing what makes no sense, in one line. It may not know the room or what is in it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from host_sim.optics.pixels import Outline

POINTS_MIN, POINTS_MAX = 3, 500
"""How many points the outline of an area has."""
NEAR, FAR = -2.0, 3.0
"""As far as a shade, or a point of an outline, can be off the sheet, in parts of it."""
_SHOWN_MAX = 40
"""Characters of a line that are somebody's own. No name that a card can have is longer."""


class RoomError(Exception):
    """One line: what is refused, why, and what to do."""


def shown(value: object) -> str:
    """What was asked for, as part of a line: as much of it as it is known by."""
    try:
        text = repr(value)
    except (ValueError, RecursionError):
        return "of this kind"  # a number of thousands of digits, lists in lists without end
    return text if len(text) <= _SHOWN_MAX else text[:_SHOWN_MAX] + "..."


def one_of(name: object, what: str, known: Iterable[str]) -> str:
    if isinstance(name, str) and name in known:
        return name
    # What stands for none has no letters.
    names = ", ".join(one or "none at all" for one in known)
    raise RoomError(f"No {what} {shown(name)}: there are {names}. Take one of these.")


def number(message: dict[str, Any], key: str, low: float, high: float, before: float) -> float:
    """The shade's number under `key`, held to its range; as it was before where it is left out."""
    try:
        return max(low, min(high, _finite(message.get(key, before))))
    except ValueError:
        raise RoomError(f"The shade stays: its {key} is no number. Give {low:g} to {high:g}.") from None


def outline(message: dict[str, Any]) -> tuple[str, Outline]:
    """An area's name and its outline."""
    name, points = message.get("name"), message.get("points")
    if not isinstance(name, str) or not name.isprintable() or not 0 < len(name) <= _SHOWN_MAX:
        raise RoomError(
            "No area is placed: it has no name that a card can have. Name one of the card's areas."
        )
    if not isinstance(points, list) or not POINTS_MIN <= len(points) <= POINTS_MAX:
        raise RoomError(
            f"{name} is not placed: its outline is no list of {POINTS_MIN} to {POINTS_MAX} points. "
            "Draw it again."
        )
    try:
        return name, [(_near(x), _near(y)) for x, y in points]
    except (TypeError, ValueError):
        raise RoomError(
            f"{name} is not placed: a point of it is no pair of numbers. Draw it again."
        ) from None


def _near(value: Any) -> float:
    return max(NEAR, min(FAR, _finite(value)))


def _finite(value: Any) -> float:
    """ValueError for what is none: JSON has numbers that no float holds, and true is not 1 here."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError
    try:
        found = float(value)
    except OverflowError:
        raise ValueError from None
    if not math.isfinite(found):
        raise ValueError
    return found
