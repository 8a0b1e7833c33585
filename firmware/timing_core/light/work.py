"""What is at work: the bench, the map, and the strip for it.

What must live here: these three together, what would be given from them, and what has been. It may not know
who changes them, nor how light is given.
"""

from timing_core.canonical import encode
from timing_core.light.bench import Bench
from timing_core.light.plan import Stage, compile_print
from timing_core.light.printing_map import PrintingMap
from timing_core.light.strip import Strip
from timing_core.refusal import Refusal


class Work:
    """`prints` counts the prints of this map; `pass_index` is the pass of it that was changed or chosen last;
    `spots` are the light cell's readings of the first spot, the second, and the open easel, 0 for none;
    `strip_gave` is what the last strip gave (see `Strip.gives`), and `test` the guided test that is on the
    panel, if any (see `guided`)."""

    def __init__(self) -> None:
        self.bench = Bench()
        self.strip = Strip()
        self.test: dict | None = None
        self._plans: dict = {}
        self.spots = [0, 0, 0]
        self.new()

    def take(self, map: PrintingMap) -> None:
        """Put `map` to work in place of the present one."""
        self.map = map
        self.prints = self.pass_index = 0
        self.strip_gave: list = []
        self.forget_spots()
        self.settle()

    def forget_spots(self) -> None:
        """They are of another negative, or of another size."""
        self.spots[0] = self.spots[1] = 0

    def settle(self) -> None:
        """The map is another, or has been changed: point at what it has, and at its first pass where that
        is gone."""
        if self.pass_index >= len(self.map.passes):
            self.pass_index = 0
        self.strip.settle(self.map)
        self.changed()

    def new(self) -> None:
        """Put a new print to work, as the bench says a new print begins."""
        bench = self.bench
        self.take(
            PrintingMap.new(bench.get("new_base_ms"), bench.get("new_filter"), bench.get("new_dry_down_pm"))
        )

    def changed(self) -> None:
        """Map, strip or bench is another now: what was planned is not up to date."""
        self._plans = {}

    @property
    def strip_given(self) -> bool:
        """True while the strip as it is set is the one that was given, so that a patch can be chosen."""
        return self.strip_gave == self.strip.gives(self.map)

    def plan(self, kind: str) -> list[Stage]:
        """The stages of the "print", the "strip" or the "test"; none if they cannot be given."""
        plan = self._planned(kind)
        return [] if isinstance(plan, Refusal) else plan

    def refusal(self, kind: str):
        """Why there is no plan: a Refusal, or None if there is one."""
        plan = self._planned(kind)
        return plan if isinstance(plan, Refusal) else None

    def _planned(self, kind: str):
        if kind not in self._plans:
            try:
                if kind == "strip":
                    self._plans[kind] = self.strip.compile(self.map, self.bench)
                elif kind == "test":
                    # Loaded with the screen that it is for, on a board.
                    from timing_core.light.guided import compile_test

                    self._plans[kind] = compile_test(self.test or {}, self.bench)
                else:
                    self._plans[kind] = compile_print(self.map, self.bench)
            except Refusal as refusal:
                self._plans[kind] = refusal
        return self._plans[kind]

    def text(self, kind: str) -> bytes:
        """What a run is made from: enough to compile it again and to put it on record."""
        strip, test = self.strip if kind == "strip" else None, self.test if kind == "test" else None
        return text_of_run(self.map, strip, self.bench.get("lead_ms"), test)


def text_of_run(map: PrintingMap, strip, lead_ms: int, test: dict | None = None) -> bytes:
    """A run's map, strip (or None), lead-in and guided test (or None) as one JSON text."""
    settings = b"null" if strip is None else encode(strip.to_dict())
    text = b'{"lead_ms":%d,"map":' % lead_ms + map.text() + b',"strip":' + settings
    return text + (b',"test":' + encode(test) if test else b"") + b"}"
