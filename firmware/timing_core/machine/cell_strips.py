"""Calibration strips: for each filter what the open easel read, and the light of the strip's patches. One
record of the store.

What must live here: how they are kept and found. It may not know who reads. It is loaded with the Light cell
screen, in the dark, and written there alone.
"""

from timing_core.canonical import encode
from timing_core.light.bench import is_int

STRIPS_MAX = 8
_KEY = "light-cell"


class CellStrip:
    """A strip through `filter` on the paper of the record called `paper` ("" for none): the reading
    `open_counts` with the carrier empty, the patches' `totals` in ms, and at which `place` of it (in half
    patches, see `light.strip`) is the tone that the first spot shall have."""

    def __init__(self, paper: str, filter: str, open_counts: int, place: int, totals: list) -> None:
        self.paper = paper
        self.filter = filter
        self.open_counts = open_counts
        self.place = place
        self.totals = totals

    def plain(self) -> list:
        return [self.paper, self.filter, self.open_counts, self.place, self.totals]


class CellStrips:
    """`kept` has them, the newest last."""

    def __init__(self, store, json_loads) -> None:
        self._store = store
        self.kept: list = []
        data = store.get(_KEY)
        try:
            found = [CellStrip(*plain) for plain in json_loads(str(data or b"[]", "utf-8"))]
            if all(_is_sound(strip) for strip in found):
                self.kept = found
        except (ValueError, TypeError):
            pass  # it is whole, and of another form: it is as if there were none

    def find(self, paper: str, filter: str):
        """The strip of this paper through this filter, or None."""
        for strip in self.kept:
            if strip.paper == paper and strip.filter == filter:
                return strip
        return None

    def keep(self, strip: CellStrip) -> None:
        """Keep it in place of the one before for this paper and filter, or of the oldest. A Refusal changes
        nothing."""
        other = self.find(strip.paper, strip.filter)
        kept = [each for each in self.kept if each is not other] + [strip]
        self._put(kept[-STRIPS_MAX:])

    def place(self, strip: CellStrip, place: int) -> None:
        """The first spot shall have the tone at `place`. A Refusal changes nothing."""
        own = CellStrip(strip.paper, strip.filter, strip.open_counts, place, strip.totals)
        self._put([own if each is strip else each for each in self.kept])

    def _put(self, kept: list) -> None:
        self._store.put(_KEY, encode([strip.plain() for strip in kept]))
        self.kept = kept


def _is_sound(strip: CellStrip) -> bool:
    numbers = strip.totals + [strip.open_counts]
    if not all(is_int(number) and number > 0 for number in numbers) or len(strip.totals) < 2:
        return False
    return 0 <= strip.place <= 2 * (len(strip.totals) - 1)
