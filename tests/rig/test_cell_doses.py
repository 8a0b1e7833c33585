"""The lamp's lag by the light cell on the emulated Pico: what is missed of a strike is noticed."""

from __future__ import annotations

import pytest

from tests.rig.box import LAMP, PicoBox
from tests.rig.faults import disk_with
from tests.rig.light_cell import LightCell
from tests.rig.pico import MS

LAG_MS = 60
COUNTS = 6000
"""Of 100 ms under the lamp. A third of all is infrared."""


class Light:
    """What falls on the cell: the lamp's light, which comes late by its lag, and a little in the dark."""

    def __init__(self, box: PicoBox) -> None:
        self.box = box

    def counts(self, gain: int, ms: int) -> tuple[int, int]:
        return 6, 3

    def gathers(self, from_ns: int, to_ns: int) -> tuple[int, int]:
        edges = [edge.ns for edge in self.box.pico.edges_of(LAMP)]
        if len(edges) % 2:
            edges.append(to_ns)
        lit_ns = sum(
            max(0, min(to_ns, off) - max(from_ns, on + LAG_MS * MS))
            for on, off in zip(edges[::2], edges[1::2], strict=True)
        )
        seen = 3 + COUNTS * lit_ns // (100 * MS)
        return seen * 3 // 2, seen // 2


@pytest.mark.long
def test_the_lag_is_found_and_no_conversion_is_missed(uf2):
    box = PicoBox(uf2, probe=True, files=disk_with(8000), start=False)
    light = Light(box)
    cell = LightCell(box, light.counts)
    cell.gathers = light.gathers
    box.pico.start()
    box.wait_for_panel()
    box.wait_for_rest()
    box.do("runner.box.panel.show('screens')")
    for row in ("'screen', 'tests'", "'test', 'cell_lag'"):
        box.do(f"runner.box.panel.cursor_on_key({row})")
        box.press("press")
        box.run_ms(500)
    assert box.ask("runner.box.panel.screen.meters") == "3"
    box.run_ms(3000)
    box.press("expose")
    box.run_ms(1500)
    assert box.ask("runner.box.state") == "ready"
    for strikes, ms in ((3, 4000), (4, 500)):
        box.press("expose")
        box.run_ms(strikes * ms + (strikes - 1) * 3000 + 1500)
    assert box.ask("runner.box.state") == "browse"
    lag_ms, spread_ms = eval(box.ask("runner.box.panel.doses.found"))
    assert lag_ms == pytest.approx(LAG_MS, abs=2)
    assert spread_ms <= 3
    assert cell.longest_ns < 600_000
