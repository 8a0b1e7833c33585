"""The paper of the guided test at hand, as ideal hands treat it: laid out, covered, and laid together.

What must live here: which of its stages have fallen on the sheet in the easel, and what came of its pieces so
far: they may come out of the trays one after another. It reads the box, and knows no light.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from host_sim.box.view import BoxView
from host_sim.darkroom.fields import Layout, Piece, Place, layout_of
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX, Pixels
from host_sim.optics.shades import NO_SHADOW, Cast, cast_outside
from host_sim.optics.sheet import Beam
from timing_core.light.plan import WAIT

_NO_NEGATIVE = ("", "plain")
OF_A_TEST = "No verdict: this sheet was for a guided test. What came out of it is for your eyes."
_THROUGH_FILM = "Its light came through the negative. Take that out, and test again."
_NOT_ALL = "Not all of the test's light is on this paper."


@dataclass
class _Made:
    """What came of a piece, its density wet and dry, and as which of them it is looked at."""

    wet: Pixels
    dry: Pixels
    is_dry: bool


class GuidedPaper:
    """Of the box's test under way, or of the last one. `layout` is None where that takes no paper."""

    def __init__(self, box: BoxView) -> None:
        self._box = box
        self._key: tuple[int, str] | None = None
        self.layout: Layout | None = None
        self._lit: set[int] = set()
        self._made: dict[int, _Made] = {}
        self._waits_at = -1

    def look(self) -> bool:
        """See what the box is at. True where the hands have to cover something else while it waits."""
        box = self._box
        if box.in_run and box.in_test and box.sheet_key != self._key:
            self._key, self.layout = box.sheet_key, layout_of(box.stages)
            self._lit, self._made = set(), {}
        waits_at = box.at if box.state == "waiting" and box.stages[box.at].kind == WAIT else -1
        changed, self._waits_at = waits_at != self._waits_at, waits_at
        return changed

    def cover_while_waiting(self) -> Cast:
        """The shadow of what lies on the paper now, under no light."""
        return self.cover(self._waits_at) if self._waits_at >= 0 else NO_SHADOW

    def cover(self, at: int) -> Cast:
        """The shadow of what lies on the paper at a stage, which is given now."""
        if self.layout is None or at not in self.layout.open:
            return NO_SHADOW
        self._lit.add(at)
        return cast_outside(*self.layout.open[at])

    def put_in_a_sheet(self) -> None:
        self._lit = {self._waits_at} - {-1}

    @property
    def is_on_the_sheet(self) -> bool:
        return bool(self._lit)

    # --- in the trays

    def lay_together(self, wet: Pixels, dry: Pixels, dries: bool) -> Pixels:
        """What is looked at: of the sheet that is developed now the pieces that it has, and beside them what
        came of the others before. `dries`: all are dried that are not to stay wet, and so they are by the
        time that one of these is there."""
        assert self.layout is not None
        here = self._here()
        dries = dries or any(piece.is_wet for piece in here)
        seen = wet.copy()
        for number, piece in enumerate(self.layout.pieces):
            rows, columns = _pixels(piece.place)
            if piece in here:
                self._made[number] = _Made(wet[rows, columns].copy(), dry[rows, columns].copy(), False)
            made = self._made.get(number)
            if made:
                made.is_dry = (made.is_dry or dries) and not piece.is_wet
                seen[rows, columns] = made.dry if made.is_dry else made.wet
        return seen

    def notes(self, beams: list[Beam]) -> list[str]:
        """What is to be said of the sheet that was just developed."""
        here = self._here()
        found = []
        if here and any(beam.negative not in _NO_NEGATIVE for beam in beams):
            found.append(_THROUGH_FILM)
        if any(not self._is_whole(piece) for piece in here):
            found.append(_NOT_ALL)
        return found

    def _here(self) -> list[Piece]:
        """Those that are on the sheet in the easel."""
        pieces = self.layout.pieces if self.layout else []
        return [piece for piece in pieces if piece.stages & self._lit]

    def _is_whole(self, piece: Piece) -> bool:
        box = self._box
        under_way = {box.at} if box.stages and box.sheet_key == self._key else set()
        return piece.stages <= self._lit - under_way

    # --- what a page shows

    def fields(self) -> list[list[Any]]:
        """Name and place of each field of the pieces that there are by now."""
        pieces = self.layout.pieces if self.layout and self._lit else []
        there = [p for number, p in enumerate(pieces) if number in self._made or p.stages & self._lit]
        return [[field.name, *field.place] for piece in there for field in piece.fields]

    def told(self) -> dict[str, Any] | None:
        """The fields of the test under way, and what the stage at hand leaves open; None where there are
        none, or nothing has to be covered."""
        box = self._box
        if not self.layout or not box.in_run or not box.in_test or box.at not in self.layout.open:
            return None
        at = box.at
        fields = [
            [field.name, *field.place]
            for piece in self.layout.pieces
            if at in piece.stages
            for field in piece.fields
        ]
        return {"fields": fields, "open": list(self.layout.open[at])}


def _pixels(place: Place) -> tuple[slice, slice]:
    rows = slice(round(place.top * HEIGHT_PX), round(place.bottom * HEIGHT_PX))
    return rows, slice(round(place.left * WIDTH_PX), round(place.right * WIDTH_PX))
