"""The sheet in the easel: what it has had of lamp and safelight, of which run, and what is said of it.

What must live here: the one sheet. It may not know the box, the hands or the lamp: it is told what falls on
it, and for what.
"""

from __future__ import annotations

from host_sim.darkroom.verdict import Run
from host_sim.optics.paper import Paper
from host_sim.optics.shades import NO_SHADOW
from host_sim.optics.sheet import Sheet

SAFELIGHT_LUX = 0.00013
"""What the safelight does to paper, as lux of lamp light through the softest filter. Set so that some 10 min
of it change a light grey by a density of 0.02, which is what can just be seen; no source."""
WHOLE = (0, 1)
"""The patch, and of how many, that light falls on where it falls on all of the sheet."""


class Easel:
    """`sheet` is the one that is in, if there is one, with its light up to `settled_us`; `run` is what it is
    for, once a run has begun on it. `spoilt` says why its light cannot be held against the plan, if so.
    `patch` is what the light falls on, `cover` the shadow of what lies on the paper meanwhile, and `viewing`
    is true where it is the viewing light; `dark_cover` is the shadow of what lies there between lights."""

    def __init__(self, now_us: int, safelight: bool) -> None:
        self.settled_us = now_us
        self.safelight = safelight
        self.sheets = 0
        self.sheet: Sheet | None = None
        self.run: Run | None = None
        self.patch = WHOLE
        self.cover = self.dark_cover = NO_SHADOW
        self.viewing = False
        self.spoilt = ""
        self.note = ""
        self._note_waits = False
        self._key: tuple[int, str] | None = None

    def put_in(self, paper: Paper) -> None:
        self.sheets += 1
        self.sheet = Sheet(self.sheets, paper)
        self.run = None
        self.spoilt = ""
        self._key = None
        self.tell("")

    def take_out(self) -> str:
        """What was said of the sheet goes with it."""
        self.sheet = None
        note = self.note
        self.tell("")
        return note

    def tell(self, note: str, until_a_run: bool = False) -> None:
        """Say `note` of the sheet, from now on or until a run begins on it."""
        self.note = note
        self._note_waits = until_a_run

    def begin(self, key: tuple[int, str], run: Run) -> bool:
        """A stage of `run` is lit. True where this is the first run on the sheet, and begins."""
        begins = self.run is None
        if begins:
            self.run = run
            if self._note_waits:
                self.tell("")
        elif self._key != key:
            self.tell("This sheet had light of an earlier run.")
        self._key = key
        return begins

    def let_pass(self, now_us: int) -> None:
        """Time has passed, under the safelight where it is on."""
        if self.sheet and self.safelight:
            lux_s = SAFELIGHT_LUX * (now_us - self.settled_us) / 1_000_000
            self.sheet.safelight.gather(lux_s, self.dark_cover)
        self.settled_us = now_us

    # --- what it has had

    @property
    def lit_lux_s(self) -> float:
        """Open light of the lamp, up to `settled_us`."""
        return sum(layer.even for layer in self.sheet.layers.values()) if self.sheet else 0.0

    def safelight_ms(self, now_us: int) -> float:
        if not self.sheet:
            return 0.0
        since_us = now_us - self.settled_us if self.safelight else 0
        return self.sheet.safelight.even / SAFELIGHT_LUX * 1000 + since_us / 1000
