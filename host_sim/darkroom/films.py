"""The film in the lamp house: which negative is in, and where its areas lie.

What must live here: the negatives that can be put in, a person's own among them, and the outlines that are
drawn by hand. It may not know the box, light or sheets.
"""

from __future__ import annotations

from collections.abc import Iterable

from host_sim.darkroom.checks import RoomError, one_of
from host_sim.optics import negatives
from host_sim.optics.negatives import NEGATIVES, OWN, Negative, NegativeError
from host_sim.optics.pixels import Outline

TITLE_MAX = 60
"""Of a picture: as much of its file's name as is shown, with what it ends in."""
AREAS_MAX = 64
"""Drawn on one negative. A card has no more: four passes of 16 marks."""


class Films:
    """`negative` is the one at hand, and `is_out` is true while it is taken out of the light. RoomError for a
    name that is not of NEGATIVES."""

    def __init__(self, name: str) -> None:
        self.is_out = False
        self._own: Negative | None = None
        self._placed: dict[str, dict[str, Outline]] = {}
        self.put_in(name)

    def put_in(self, name: object) -> None:
        self.negative = self.film(one_of(name, "negative", [known for known, _ in self.titles()]))
        self.is_out = False

    def put_in_own(self, own: Negative) -> None:
        """A negative from `film_from`, in place of the one before."""
        self._own = own
        self._placed.pop(OWN, None)
        self.put_in(OWN)

    @property
    def projected(self) -> str:
        """The name of the negative in the light; "" while none is."""
        return "" if self.is_out else self.negative.name

    def film(self, name: str) -> Negative:
        return self._own if name == OWN and self._own else negatives.negative(name)

    def titles(self) -> list[list[str]]:
        """Name and title of every negative that can be put in."""
        own = [[OWN, self._own.title]] if self._own else []
        return [*map(list, NEGATIVES.items()), *own]

    # --- areas

    @property
    def _drawn(self) -> dict[str, Outline]:
        return self._placed.get(self.negative.name, {})

    def place(self, area: str, outline: Outline) -> None:
        """Where an area lies on the negative that is in. RoomError where that has too many."""
        if area not in self._drawn and len(self._drawn) >= AREAS_MAX:
            raise RoomError(
                f"{area} is not placed: {AREAS_MAX} areas are drawn, as many as a card has. Draw one anew."
            )
        self._placed.setdefault(self.negative.name, {})[area] = outline

    def outline(self, area: str) -> Outline | None:
        """None where nobody has said where it lies."""
        return self._drawn.get(area, self.negative.outlines.get(area))

    def areas(self, marked: Iterable[str]) -> dict[str, Outline | None]:
        """Outlines of the areas that are marked, and of all others that are known here."""
        return {area: self.outline(area) for area in [*marked, *self.negative.outlines, *self._drawn]}


def make_ready(name: object) -> None:
    """Make one of NEGATIVES, which takes a second the first time; nothing for any other name."""
    if isinstance(name, str) and name in NEGATIVES:
        negatives.negative(name)


def film_from(data: bytes, name: str, is_negative: bool) -> Negative:
    """A negative made of a picture file, which takes a while too. RoomError for what cannot be used."""
    title = "".join(ch if ch.isprintable() else "?" for ch in name[-TITLE_MAX:]) or "The picture"
    try:
        return negatives.from_picture(data, title, is_negative)
    except NegativeError as error:
        raise RoomError(str(error)) from None
