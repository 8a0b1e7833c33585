"""The lamp's lag and drift by the light cell on the emulated Pico: what is missed of a strike is noticed, and
no fault of the cell changes a strike or delays a key."""

from __future__ import annotations

import math
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from tests.rig.box import LAMP, PicoBox
from tests.rig.cell_faults import FAULTS
from tests.rig.faults import disk_with
from tests.rig.light_cell import LightCell
from tests.rig.pico import MS, US, TimedOut

LAG_MS = 60
COUNTS = 6000
"""Of 100 ms under the lamp. A third of all is infrared."""
WORST_KEY_MS = 5.5
"""See test_light_cell."""


def steady(ns: int) -> float:
    return 1.0


def warming(ns: int) -> float:
    """A lamp whose light rises by a tenth, nine tenths of it in the first 44 s, and is steady in the end."""
    return 1 - 0.1 * math.exp(-ns / (19 * 1000 * MS))


class Light:
    """What falls on the cell: the lamp's light, which comes late by its lag and changes as `course` says from
    its beginning on, and a little in the dark."""

    def __init__(self, box: PicoBox, course: Callable[[int], float]) -> None:
        self.box = box
        self.course = course

    def counts(self, gain: int, ms: int) -> tuple[int, int]:
        return 6, 3

    def gathers(self, from_ns: int, to_ns: int) -> tuple[int, int]:
        edges = [edge.ns for edge in self.box.pico.edges_of(LAMP)]
        if len(edges) % 2:
            edges.append(to_ns)
        lit = 0.0
        for on, off in zip(edges[::2], edges[1::2], strict=True):
            first_ns, last_ns = max(from_ns, on + LAG_MS * MS), min(to_ns, off)
            if last_ns > first_ns:
                lit += (last_ns - first_ns) * self.course((first_ns + last_ns) // 2 - on)
        seen = 3 + round(COUNTS * lit / (100 * MS))
        return seen * 3 // 2, seen // 2


def begun(uf2: Path, test: str, course: Callable[[int], float] = steady) -> tuple[PicoBox, LightCell]:
    """A box whose test is taken up and waits for EXPOSE."""
    box = PicoBox(uf2, probe=True, files=disk_with(8000), start=False)
    light = Light(box, course)
    cell = LightCell(box, light.counts)
    cell.gathers = light.gathers
    box.pico.start()
    box.wait_for_panel()
    box.wait_for_rest()
    box.do("runner.box.panel.show('screens')")
    for row in ("'screen', 'tests'", f"'test', '{test}'"):
        box.do(f"runner.box.panel.cursor_on_key({row})")
        box.press("press")
        box.run_ms(500)
    assert box.ask("runner.box.panel.screen.meters") == "3"
    box.run_ms(3000)
    box.press("expose")
    box.run_ms(1500)
    assert box.ask("runner.box.state") == "ready"
    return box, cell


@pytest.mark.long
def test_the_lag_is_found_and_no_conversion_is_missed(uf2):
    box, cell = begun(uf2, "cell_lag")
    for strikes, ms in ((3, 4000), (4, 500)):
        box.press("expose")
        box.run_ms(strikes * ms + (strikes - 1) * 3000 + 1500)
    assert box.ask("runner.box.state") == "browse"
    lag_ms, spread_ms = eval(box.ask("runner.box.panel.doses.found"))
    assert lag_ms == pytest.approx(LAG_MS, abs=2)
    assert spread_ms <= 3
    assert cell.longest_ns < 600_000


@pytest.mark.long
def test_the_drift_of_a_lamp_that_warms_up_is_found(uf2):
    """In 1/3840 stop a minute, from the light of 10 s and of those 20 s later; the last such pair before the
    end begins at 90 s at the latest."""
    box, _ = begun(uf2, "drift", warming)
    box.press("expose")
    box.run_ms(120_000 + 3000)
    assert box.ask("runner.box.state") == "browse"
    steady_s, last, _ = eval(box.ask("runner.box.panel.screen._known.found['drift']"))

    def rate(from_s: int) -> float:
        def mean(at_s: int) -> float:
            return sum(warming(round((at_s + k / 10) * 1000 * MS)) for k in range(100))

        return 3 * 3840 * math.log2(mean(from_s + 20) / mean(from_s))

    assert last == pytest.approx(rate(80), abs=3)
    assert steady_s > 60
    assert rate(steady_s - 10) < 16 + 3
    assert rate(steady_s - 20) > 16 - 3


@pytest.mark.long
@pytest.mark.parametrize("name", FAULTS)
def test_a_fault_in_a_strike_changes_no_light_delays_no_key_and_is_told(uf2, name):
    fault = FAULTS[name]
    box, cell = begun(uf2, "cell_lag")
    lag_ms = box.ask("runner.box.work.bench.get('lag_ms')")
    box.press("expose")
    box.wait_lamp(1)
    box.run_ms(1000)
    fault.come(cell)
    box.wait_lamp(0, 4000)
    box.wait_lamp(1, 4000)
    (first_ns,) = box.pico.high_times_ns(LAMP)
    assert first_ns / US == pytest.approx(4_000_000, abs=50)
    # BACK just as the firmware begins to ask the cell, where it still does
    box.run_ms(700)
    asked = cell.begun
    with suppress(TimedOut):
        box.pico.run_until(lambda: cell.begun > asked, 700 * MS)
    pressed_ns = box.press("back", box.now_ns + 20 * US)
    assert (box.wait_lamp(0, 1000) - pressed_ns) / MS < WORST_KEY_MS
    box.run_ms(1000)
    assert box.ask("runner.box.state") == "held"
    fault.go(cell)
    for _ in range(2):
        box.press("expose")
        box.run_ms(2 * 4000 + 2 * 3000 + 3 * 500 + 3000)
    assert box.ask("runner.box.state") == "browse"
    assert box.ask("runner.box.message").startswith("No lag: ")
    assert box.ask("runner.box.work.bench.get('lag_ms')") == lag_ms
