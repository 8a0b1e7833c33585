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
HALF_COUNT_NS = 1188 * MS
HALVES_TO_CUT_OFF = 1024
QUICK = 100
"""So many times faster the counter runs with its jumper."""


class Circuit:
    """Faults may be set at any time, and `settle` called: `is_cut`, the lamp output is dead; `is_shorted`, it
    is on whatever the pin does; `is_stuck`, neither BACK nor the cut-off can darken it; `back_is_cut`, BACK's
    contact cannot; `counts` False, the cut-off does not count; `is_quick`, its jumper is on; `half_count_ns`,
    of its tick; `is_welded`, the second contact stays closed, or its feedback is open; `is_apart`, it stays
    open, or its feedback is at ground. `is_sense_held`: lamp sense is held high by hand."""

    def __init__(self, box: PicoBox) -> None:
        self.box = box
        self.is_cut = self.is_shorted = self.is_welded = self.is_apart = False
        self.is_stuck = self.back_is_cut = self.is_quick = self.is_sense_held = False
        self.half_count_ns = HALF_COUNT_NS
        self.counts = True
        self.back_is_down = self._is_out = False
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
        if not node:
            self._is_out = False
        darkened = not self.is_stuck and (self._is_out or (self.back_is_down and not self.back_is_cut))
        live = int(node and not self.is_cut and not darkened)
        if not self.sense_edges or self.sense_edges[-1][1] != live:
            self.sense_edges.append((pico.now_ns, live))
        pico.set_level(PINS["lamp_sense"], int(live or self.is_sense_held))
        if node and not self._counting:
            self._counting = pico.now_ns
            pico.at(pico.now_ns + self._half_ns, lambda began=pico.now_ns: self._count(began, 1))
        elif not node:
            self._counting = 0
            pico.set_level(PINS["cutoff_tick"], 0)
        if pico.level(ARM) != self._arm:
            self._arm = pico.level(ARM)
            pico.at(pico.now_ns + CONTACTOR_NS, self._move)
        self._move_if_spoiled()

    @property
    def _half_ns(self) -> int:
        return self.half_count_ns // QUICK if self.is_quick else self.half_count_ns

    def _count(self, began_ns: int, halves: int) -> None:
        """So many halves of a tick have passed. At the last the lamp goes out, and the counter stops."""
        if self._counting != began_ns:
            return
        if self.counts:
            self.box.pico.set_level(PINS["cutoff_tick"], halves % 2)
            if halves == HALVES_TO_CUT_OFF:
                self._is_out = True
                self.settle()
                return
        at_ns = self.box.now_ns + self._half_ns
        self.box.pico.at(at_ns, lambda: self._count(began_ns, halves + 1))

    def _move_if_spoiled(self) -> None:
        if self.is_welded or self.is_apart:
            self._move()

    def _move(self) -> None:
        closed = self.is_welded or (self._arm and not self.is_apart)
        self.box.pico.set_level(PINS["feedback"], int(closed))
