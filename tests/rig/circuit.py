"""The circuit around the Pico: the lamp output with its read-backs, BACK's own contact, the second contact.

What must live here: how the box's inputs follow from its outputs and from BACK, in the times that the parts
take, and what each fault makes of that. It may not know what the box should do.
"""

from __future__ import annotations

from tests.rig.box import ARM, LAMP, PINS, PicoBox
from tests.rig.pico import MS, US

RC_NS = 142 * US
"""So long after its contact closes BACK's pin is low: 1 kohm and 100 nF stand between."""
CONTACTOR_NS = 15 * MS
"""The second contact follows ARM (common practice, no source)."""
HALF_COUNT_NS = 1190 * MS


class Circuit:
    """Faults may be set at any time, and `settle` called: `is_cut`, the lamp output is dead; `is_shorted`, it
    is on whatever the pin does; `counts` False, the cut-off does not count; `is_welded`, the second contact
    stays closed; `is_apart`, it stays open."""

    def __init__(self, box: PicoBox) -> None:
        self.box = box
        self.is_cut = self.is_shorted = self.is_welded = self.is_apart = False
        self.counts = True
        self.back_is_down = False
        self.sense_edges: list[tuple[int, int]] = []
        self._arm = 0
        self._counting = 0
        pico = box.pico
        for pin in (LAMP, ARM):
            pico.mcu.gpio[pin].add_listener(lambda new, old: self.settle())
        stock = pico._note_levels

        def released() -> None:
            stock()
            self.settle()

        pico._note_levels = released  # type: ignore[method-assign]

    def spoil(self, **faults: bool) -> None:
        for name, value in faults.items():
            setattr(self, name, value)
        self.settle()

    def hold_back(self, ms: float = 60) -> int:
        """Hold BACK down from now on for `ms`; returns when its contact closed."""
        now_ns = self.box.now_ns
        self.back_is_down = True
        self.settle()
        self.box.press("back", now_ns + RC_NS, ms)
        self.box.pico.at(now_ns + round(ms * MS), self._let_go)
        return now_ns

    def _let_go(self) -> None:
        self.back_is_down = False
        self.settle()

    def settle(self) -> None:
        """Let everything follow what drives it."""
        pico = self.box.pico
        node = bool(pico.level(LAMP)) or self.is_shorted
        live = int(node and not self.is_cut and not self.back_is_down)
        if not self.sense_edges or self.sense_edges[-1][1] != live:
            self.sense_edges.append((pico.now_ns, live))
        pico.set_level(PINS["lamp_sense"], live)
        if node and not self._counting:
            self._counting = pico.now_ns
            pico.at(pico.now_ns + HALF_COUNT_NS, lambda began=pico.now_ns: self._count(began, 1))
        elif not node:
            self._counting = 0
            pico.set_level(PINS["cutoff_tick"], 0)
        if pico.level(ARM) != self._arm:
            self._arm = pico.level(ARM)
            pico.at(pico.now_ns + CONTACTOR_NS, self._move)
        self._move_if_spoiled()

    def _count(self, began_ns: int, level: int) -> None:
        if self._counting == began_ns:
            if self.counts:
                self.box.pico.set_level(PINS["cutoff_tick"], level)
            at_ns = self.box.now_ns + HALF_COUNT_NS
            self.box.pico.at(at_ns, lambda: self._count(began_ns, 1 - level))

    def _move_if_spoiled(self) -> None:
        if self.is_welded or self.is_apart:
            self._move()

    def _move(self) -> None:
        closed = self.is_welded or (self._arm and not self.is_apart)
        self.box.pico.set_level(PINS["feedback"], int(closed))
