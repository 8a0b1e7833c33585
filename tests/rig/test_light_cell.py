"""The light cell on the emulated Pico: found, read, pulled out, stuck, and never in the way of a key."""

from __future__ import annotations

import pytest

from tests.rig.box import LAMP, SAFELIGHT, PicoBox
from tests.rig.faults import disk_with
from tests.rig.light_cell import LightCell
from tests.rig.pico import MS

LOOKING, ABSENT, DARKENS, READY, GLARE, WAITS, MOVES, GOOD = range(8)
READ_MS = 5500
"""Two conversions that are passed over and four, of 600 ms and what is asked between them."""
KEY_NS = 5 * MS


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


@pytest.fixture(scope="module")
def ready(uf2) -> tuple[PicoBox, LightCell, Sight]:
    """A box that has started, with a cell."""
    box = PicoBox(uf2, probe=True, files=disk_with(8000), start=False)
    sight = Sight(box)
    cell = LightCell(box, sight.counts)
    box.pico.start()
    box.wait_for_panel()
    box.wait_for_rest()
    return box, cell, sight


def opened(box: PicoBox) -> None:
    box.do("runner.box.panel.show('screens')\nrunner.box.panel.cursor_on_key('screen', 'light_cell')")
    box.press("press")
    box.run_ms(400)


def state(box: PicoBox) -> int:
    return int(box.ask("runner.box.panel.screen.cell.now"))


def good(box: PicoBox) -> int:
    return int(box.ask("runner.box.panel.screen.cell.good"))


def test_it_is_read_dark_first_then_under_the_lamp_and_spots_are_taken(ready):
    box, cell, sight = ready

    def scenario(box: PicoBox) -> None:
        assert box.pico.level(SAFELIGHT)
        opened(box)
        assert not box.pico.level(SAFELIGHT)
        box.run_ms(READ_MS)
        assert state(box) == READY
        box.press("lamp")
        box.run_ms(READ_MS)
        assert state(box) == GOOD
        assert good(box) == pytest.approx(4 * 4000, abs=8)
        box.press("press")
        sight.light = 32000
        box.run_ms(READ_MS)
        assert int(box.ask("runner.box.panel.screen.cell.twelfths()")) == 36
        box.press("press")
        box.run_ms(100)
        first, second, _ = eval(box.ask("runner.box.panel.spots"))
        assert second == pytest.approx(8 * first, rel=0.001)
        box.press("lamp")
        box.run_ms(1000)
        assert not box.pico.level(LAMP)
        box.press("back")
        box.run_ms(500)
        assert box.pico.level(SAFELIGHT)
        at_rest = cell.transactions
        box.run_ms(3000)
        assert cell.transactions == at_rest
        assert not cell._registers[0]

    box.forked(scenario)


def test_no_transaction_takes_more_than_a_fraction_of_a_millisecond(ready):
    box, cell, _sight = ready

    def scenario(box: PicoBox) -> None:
        opened(box)
        box.run_ms(READ_MS)
        assert cell.transactions > 30
        assert cell.longest_ns < 600_000

    box.forked(scenario)


@pytest.mark.long
def test_light_that_is_too_much_for_the_one_range_is_read_in_the_other(ready):
    box, _cell, sight = ready

    def scenario(box: PicoBox) -> None:
        opened(box)
        box.run_ms(READ_MS)
        sight.light = 92_280
        box.press("lamp")
        box.run_ms(READ_MS + 2000)
        assert state(box) == GOOD
        assert good(box) == pytest.approx(4 * 92_280, rel=0.002)

    box.forked(scenario)


FAULTS = {
    "pulled out": lambda cell: cell.plug(False),
    "SDA stuck": lambda cell: cell.hold_sda(True),
    "mute": lambda cell: setattr(cell, "is_mute", True),
    "without power for a moment": lambda cell: cell.plug(True),
}
MENDED = {
    "pulled out": lambda cell: cell.plug(True),
    "SDA stuck": lambda cell: cell.hold_sda(False),
    "mute": lambda cell: setattr(cell, "is_mute", False),
    "without power for a moment": lambda cell: None,
}


@pytest.mark.long
@pytest.mark.parametrize("lit", [False, True])
@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_of_the_cell_is_told_delays_no_key_and_goes_with_its_cause(ready, fault, lit):
    box, cell, _sight = ready

    def scenario(box: PicoBox) -> None:
        opened(box)
        box.run_ms(READ_MS)
        if lit:
            box.press("lamp")
            box.run_ms(READ_MS)
            assert state(box) == GOOD
        FAULTS[fault](cell)
        box.run_ms(1600)
        if fault != "without power for a moment":
            assert state(box) == ABSENT
        # A key goes through all the same, and the light of it ends
        at_ns = box.press("lamp")
        assert box.wait_lamp(0 if lit else 1) - at_ns < KEY_NS
        box.run_ms(1500)
        if not lit:
            at_ns = box.press("back")
            assert box.wait_lamp(0) - at_ns < KEY_NS
            box.run_ms(1000)
        MENDED[fault](cell)
        box.run_ms(READ_MS + 1000)
        assert state(box) == READY
        box.press("lamp")
        box.run_ms(READ_MS)
        assert state(box) == GOOD
        assert good(box) == pytest.approx(4 * 4000, abs=8)

    box.forked(scenario)


@pytest.mark.long
@pytest.mark.parametrize("fault", ["none there", "another part", "SDA stuck"])
def test_without_a_cell_that_is_one_the_screen_says_so(ready, fault):
    box, cell, _sight = ready

    def scenario(box: PicoBox) -> None:
        if fault == "another part":
            cell.identity = 0x0A
        elif fault == "SDA stuck":
            cell.hold_sda(True)
        else:
            cell.plug(False)
        opened(box)
        box.run_ms(1500)
        assert state(box) == ABSENT
        assert box.ask("runner.box.panel.row().label") == "No light cell answers"
        box.press("back")
        box.run_ms(300)
        assert box.ask("runner.box.panel.screen.key") == "screens"

    box.forked(scenario)


def test_memory_of_the_open_screen(ready, capsys):
    """Given back when it is left."""
    box, _cell, _sight = ready

    def scenario(box: PicoBox) -> tuple[int, ...]:
        found = []
        for _ in range(2):
            found.append(int(box.ask("(__import__('gc').collect(), __import__('gc').mem_free())[1]")))
            opened(box)
            box.run_ms(READ_MS)
            found.append(int(box.ask("(__import__('gc').collect(), __import__('gc').mem_free())[1]")))
            box.press("back")
            box.run_ms(500)
        return tuple(found)

    before, opened_once, after, again = box.forked(scenario)
    with capsys.disabled():
        print(f"\nthe open Light cell screen takes {before - opened_once} bytes of {before}")
    assert abs(before - after) < 1000
    assert before - opened_once < 24_000
    assert again > 60_000
