"""The light cell on the emulated Pico: found, read, pulled out, stuck, and never in the way of a key."""

from __future__ import annotations

import pytest

from tests.rig.box import LAMP, SAFELIGHT, PicoBox
from tests.rig.cell_faults import FAULTS, READ_MS, STATES, Sight, metering_box, told_of
from tests.rig.light_cell import LightCell

ABSENT, READY, GOOD, NO_DARK = 1, 3, 7, 10
WORST_KEY_MS = 5.5
"""The budget is 5 ms at the 99th percentile; these are pressed at the worst moment there is."""


@pytest.fixture(scope="module")
def ready(uf2) -> tuple[PicoBox, LightCell, Sight]:
    """A box that has started, with a cell."""
    return metering_box(uf2)


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
        first, second, _ = eval(box.ask("runner.box.panel.work.spots"))
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


OPEN = ("screen open, lamp out", "screen open, viewing light")
ELSEWHERE = [(state, "SDA held low") for state in STATES if state not in OPEN]


@pytest.mark.long
@pytest.mark.parametrize(
    ("where", "fault"), [(state, fault) for fault in FAULTS for state in OPEN] + ELSEWHERE
)
def test_a_fault_of_the_cell_is_told_delays_no_key_moves_no_end_and_goes_with_its_cause(ready, where, fault):
    """`measure.py` does every fault in every state."""
    box, cell, _sight = ready
    at = STATES[where]
    told = box.forked(lambda box: told_of(box, cell, FAULTS[fault], at))
    assert max(told.keys_ms) < WORST_KEY_MS
    # A light that a key put out is reckoned in whole ms
    assert told.lit_ms == pytest.approx(at.lit_ms, abs=0.001 if not at.keys else len(at.keys))
    assert 0 <= told.back_ms < READ_MS
    if at.reads:
        assert told.says.partition(";")[0] in ("no cell", "No light cell answers")
    else:
        assert told.asked == 0, "the cell was asked though its screen was left"


@pytest.mark.long
def test_a_cell_without_power_for_a_moment_is_read_on(ready):
    box, cell, _sight = ready

    def scenario(box: PicoBox) -> None:
        opened(box)
        box.run_ms(1500)
        box.press("lamp")
        box.run_ms(READ_MS)
        cell.plug(True)
        box.run_ms(READ_MS + 2000)
        assert state(box) == NO_DARK  # what was dark for the one that was there is not for this one
        box.press("lamp")
        box.run_ms(READ_MS)
        assert state(box) == READY

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
