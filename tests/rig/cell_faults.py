"""What can go wrong with the light cell, done to it in every state of the box: keys, light, what is told.

What must live here: the faults, the states that they come in, and what is looked at after each. The cell is
read while the Light cell screen is open, whatever the lamp does; in the other states it has been read, and is
at rest. Each key is pressed just as the firmware begins a transaction with the cell, where it still tries to.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import NamedTuple

from tests.rig.box import LAMP, PicoBox
from tests.rig.faults import disk_of
from tests.rig.light_cell import LightCell
from tests.rig.pico import MS, US, TimedOut
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM
from timing_core.panel.light_cell_screen import _WORDS
from timing_core.records.store import Store

VIEWING_S = 10
LIGHT_MS = 3000
STRUCK_MS = 300
TOLD_MS = 1700
"""From a fault until the panel must tell it: a conversion that never comes is waited for 0.9 s."""
READ_MS = 5500
"""Two conversions that are passed over and four, of 600 ms and what is asked between them."""
TRANSACTION_MS = 700
"""So often there is one, unless a line is held."""
READY = 3


class Sight:
    """What the cell sees: `light` under the lamp and `dark` besides, as counts of a conversion of 600 ms at
    the greatest gain. A third of all is infrared."""

    def __init__(self, box: PicoBox) -> None:
        self.box = box
        self.light, self.dark = 4000, 9

    def counts(self, gain: int, ms: int) -> tuple[int, int]:
        seen = self.dark + (self.light if self.box.pico.level(LAMP) else 0)
        visible = seen * gain * ms // (9876 * 600)
        return visible * 3 // 2, visible // 2


def metering_disk() -> dict[str, bytes]:
    """What a box has kept that has a strip for its light cell, and no settling time."""

    def fill(store: Store) -> None:
        store.put("bench", encode({"new_base_ms": LIGHT_MS, "settle_ms": 0, "form": BENCH_FORM}))
        store.put("light-cell", encode([["", "2", 120_000, 4, [2000, 4000, 8000, 16_000]]]))

    return disk_of(fill)


def metering_box(uf2: Path) -> tuple[PicoBox, LightCell, Sight]:
    """A box with a cell, that has started."""
    box = PicoBox(uf2, probe=True, files=metering_disk(), start=False)
    sight = Sight(box)
    cell = LightCell(box, sight.counts)
    box.pico.start()
    box.wait_for_panel()
    box.wait_for_rest()
    return box, cell, sight


SHEETS = """
t = runner.box.trays
for at in range(3):
    t.start(at, (("Developer", 60000 + 7000 * at, 10000, 15000, False), ("Stop bath", 30000, 5000, 0, False),
    ("Fix", 300000, 10000, 30000, True), ("Wash", 600000, 0, 0, True)))
"""


def busy_box(uf2: Path) -> PicoBox:
    """A box with three sheets in the trays, whose cell has been read on its screen, and which stands on Print
    again."""
    box, *_ = metering_box(uf2)
    box.do(SHEETS, wait_ms=400)
    assert box.ask("t.is_empty()") == "False"
    open_screen(box)
    box.run_ms(READ_MS)
    assert cell_word(box) == READY
    box.press("back")
    box.run_ms(300)
    box.do("runner.box.panel.show('print')", wait_ms=300)
    return box


# --- faults


class Fault(NamedTuple):
    """`come` and `go` do it to the cell and mend it."""

    come: Callable[[LightCell], None]
    go: Callable[[LightCell], None]


def _another(cell: LightCell, identity: int) -> None:
    cell.identity = identity
    cell.plug(True)


def _answer(cell: LightCell, byte: int | None) -> None:
    cell.answers = byte
    if byte is None:
        cell.plug(True)


FAULTS = {
    "pulled out": Fault(lambda cell: cell.plug(False), lambda cell: cell.plug(True)),
    "SDA held low": Fault(lambda cell: cell.hold_sda(True), lambda cell: cell.hold_sda(False)),
    "SCL held low": Fault(lambda cell: cell.hold_scl(True), lambda cell: cell.hold_scl(False)),
    "another part put in": Fault(lambda cell: _another(cell, 0x0A), lambda cell: _another(cell, 0x50)),
    "answers ones alone": Fault(lambda cell: _answer(cell, 0xFF), lambda cell: _answer(cell, None)),
    "answers zeros alone": Fault(lambda cell: _answer(cell, 0), lambda cell: _answer(cell, None)),
}


# --- states


def open_screen(box: PicoBox) -> None:
    box.do("runner.box.panel.show('screens')\nrunner.box.panel.cursor_on_key('screen', 'light_cell')")
    box.press("press")
    box.run_ms(1500)


def _value_open(box: PicoBox) -> None:
    open_screen(box)
    box.do("runner.box.panel.cursor_on_key('place')")
    box.press("press")
    box.run_ms(300)


def _viewing(box: PicoBox) -> None:
    box.do(f"runner.box.asked.set_bench({{'viewing_limit_s': {VIEWING_S}}})", wait_ms=300)
    open_screen(box)
    box.press("lamp")
    box.wait_lamp(1)
    box.run_ms(STRUCK_MS)


def _ready(box: PicoBox) -> None:
    open_screen(box)
    box.press("back")
    box.run_ms(500)
    box.do("runner.box.panel.show('print')", wait_ms=300)
    box.press("expose")
    box.run_ms(500)


def _exposing(box: PicoBox) -> None:
    _ready(box)
    struck_ns = box.press("expose")
    box.wait_lamp(1)
    box.pico.run_for(struck_ns + STRUCK_MS * MS - box.now_ns)


def _held(box: PicoBox) -> None:
    _exposing(box)
    box.press("expose")
    box.wait_lamp(0)
    box.run_ms(300)


class State(NamedTuple):
    """`enter` brings the box there; `reads` is true where the cell is read. With the fault there `keys` are
    pressed, each with the level that it gives the lamp's pin; a light that is on then is left to end by
    itself, after `lit_ms` in all, and the keys of `after` follow."""

    enter: Callable[[PicoBox], None]
    reads: bool
    keys: tuple[tuple[str, int], ...]
    lit_ms: int = 0
    after: tuple[tuple[str, int], ...] = ()


_VIEWS = (("lamp", 1), ("lamp", 0), ("lamp", 1), ("back", 0))
_GIVES = (("expose", 1), ("expose", 0), ("expose", 1))
STATES = {
    "screen open, lamp out": State(open_screen, True, _VIEWS),
    "a value of it open": State(_value_open, True, _VIEWS),
    "screen open, viewing light": State(_viewing, True, (), 1000 * VIEWING_S, _VIEWS[:2]),
    "screen left, a stage waits": State(_ready, False, _GIVES, LIGHT_MS),
    "a stage's light": State(_exposing, False, _GIVES[1:], LIGHT_MS),
    "held": State(_held, False, _GIVES, LIGHT_MS),
}


AT_REST = ("pulled out", "SDA held low")
EVERY = [(state, fault) for state, at in STATES.items() for fault in (FAULTS if at.reads else AT_REST)]
"""Each state with the faults to try there: where no transaction is made, one fault is like another."""


# --- what comes of it


class Told(NamedTuple):
    """`keys_ms` are the times from a key's edge to the lamp's pin; `lit_ms` how long the lamp was lit in all
    until it went out by itself, 0 where it did not; `says` what the panel said of the cell, "" where it is
    not read; `asked` how many transactions there were; `back_ms` the time from the mending to a dark
    reading, -1 if there was none."""

    keys_ms: list[float]
    lit_ms: float
    says: str
    asked: int
    back_ms: int


def cell_word(box: PicoBox) -> int:
    return int(box.ask("runner.box.panel.screen.cell.now"))


def told_of(box: PicoBox, cell: LightCell, fault: Fault, state: State) -> Told:
    """Bring the box there, do the fault, press, let the light end, mend it."""
    state.enter(box)
    begun = cell.begun
    fault.come(cell)
    box.run_ms(TOLD_MS if state.reads else 200)
    says = _says(box) if state.reads else ""
    keys_ms = [_pressed(box, cell, state, *key) for key in state.keys]
    lit_ms = 0.0
    if state.lit_ms:
        box.wait_lamp(0, state.lit_ms + 1000)
        lit_ms = sum(box.pico.high_times_ns(LAMP)) / MS
        box.run_ms(300)
    keys_ms += [_pressed(box, cell, state, *key) for key in state.after]
    if state.reads and _says(box) != says:
        says += f"; then: {_says(box)}"
    asked = cell.begun - begun
    fault.go(cell)
    return Told(keys_ms, lit_ms, says, asked, _read_again(box, state))


def _says(box: PicoBox) -> str:
    """Under light the word on the panel, in the dark its first row."""
    if box.pico.level(LAMP):
        return str(_WORDS[cell_word(box)], "utf-8")
    return box.ask("runner.box.panel.rows()[0].label")


def _pressed(box: PicoBox, cell: LightCell, state: State, name: str, level: int) -> float:
    """Press just after the next transaction has begun, if one does; ms from the key's edge to the pin's."""
    begun = cell.begun
    if state.reads:
        with suppress(TimedOut):
            box.pico.run_until(lambda: cell.begun > begun, TRANSACTION_MS * MS)
    at_ns = box.press(name, box.now_ns + 20 * US)
    took_ns = box.wait_lamp(level, 1000) - at_ns
    box.run_ms(150)
    return took_ns / MS


def _read_again(box: PicoBox, state: State) -> int:
    if not state.reads:
        open_screen(box)
    from_ns = box.now_ns
    while box.now_ns - from_ns < 2 * READ_MS * MS:
        box.run_ms(100)
        if cell_word(box) == READY:
            return (box.now_ns - from_ns) // MS
    return -1
