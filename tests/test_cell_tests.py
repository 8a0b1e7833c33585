"""The lag and the drift of a lamp by the light cell, in the simulated darkroom, and with wrong keys.

Light is judged from outside: by the doses that the simulated lamp gives an eye, integrated without the box.
"""

import math

import pytest

from host_sim.darkroom.room import Room
from host_sim.optics.feed import RELAYS
from host_sim.optics.filament import EYE
from host_sim.optics.lamp_house import LampHouse
from host_sim.optics.lamps import LAMPS, LampHouseLight, lag_ms
from lampblack.wire.push import requests_for
from tests.box_model import PlainCell, a_card, keys, last_record, load, new_session, to_row, to_screen, wait
from timing_core.light.guided import HEADINGS
from timing_core.light.lamp_metering import LONG_STRIKE_MS, REPEATS, STRIKE_MS
from timing_core.machine.cell_doses import NEVER_S, STEADY

LAG, DRIFT = "cell_lag", "drift"
IS_LIT = ("exposing", "between")


def on_test(key: str, lamp: str = "", **more):
    """The test's screen with the dark read, and a room with this lamp, or a plain cell without one."""
    session = new_session(**more)
    load(session, a_card())
    if lamp:
        room = Room(session, LampHouse(session, lamp), requests_for, "plain")
        room.do({"do": "shade", "shape": "cell", "x": 0.5, "y": 0.5})
        session.room = room
    else:
        session.cell = PlainCell(session, lag_ms=60)
    open_test(session, key)
    wait(session, 3000)
    return session


def open_test(session, key: str) -> None:
    to_screen(session, "tests")
    to_row(session, HEADINGS[key])
    session.input("press")


def give_all(session) -> str:
    """What is left of the test, and what the box says at its end."""
    while session.box.state != "browse":
        if session.box.state in ("ready", "held"):
            wait(session, 700)
            keys(session, "expose")
        session.advance(session.next_ms())
    return session.box.message


def given(session) -> str:
    keys(session, "expose")
    assert session.box.state == "ready"
    return give_all(session)


def found(session, key: str) -> list:
    return session.box.panel.screen._known.found[key]


def value(session, label: str) -> str:
    to_row(session, label)
    return session.box.panel.value(session.box.panel.row())


# --- the lag


@pytest.mark.parametrize("lamp", LAMPS)
def test_the_lag_is_the_lamps_own_as_an_eye_sees_it(lamp):
    """Two doses of the same lamp, integrated by themselves: L = (t1 D2 - t2 D1) / (D2 - D1)."""
    session = on_test(LAG, lamp)
    relay = RELAYS["ideal" if lamp == "ideal" else "mechanical"]
    doses = {ms: ms - lag_ms(LAMPS[lamp], relay, ms, EYE) for ms in (STRIKE_MS, LONG_STRIKE_MS)}
    short, long = doses[STRIKE_MS], doses[LONG_STRIKE_MS]
    wanted = (STRIKE_MS * long - LONG_STRIKE_MS * short) / (long - short)
    said = given(session)
    assert said.startswith("The lag is ")
    test = session.box.panel.screen._known.given[LAG]
    assert abs(test["lag_ms"] - wanted) <= 3
    assert test["spread_ms"] <= 10
    pm_ms = 3 + math.ceil(test["spread_ms"] / 2)
    assert session.box.bench.get("lag_ms") == 0, "nothing is set that was not taken"
    keys(session, "press", "press")
    assert session.box.bench.get("lag_ms") == test["lag_ms"]
    assert session.box.message.startswith("Lag %d ms, +/-%d: 1 s of light" % (test["lag_ms"], pm_ms))


def test_what_paper_sees_more_is_added_and_undone():
    session = on_test(LAG)
    assert given(session) == "The lag is 60 ms, +/-3. Press to set it."
    keys(session, "press")
    session.input("dial", 2)
    assert session.box.panel.value(session.box.panel.row()) == "70 ms, paper +10"
    keys(session, "press")
    assert session.box.bench.get("lag_ms") == 70
    assert found(session, LAG)[:2] == [70, 7]
    keys(session, "back")
    assert value(session, HEADINGS[LAG]) == "70 ms, +/-7"
    keys(session, "back")
    to_row(session, "Undo")
    keys(session, "press")
    assert session.box.bench.get("lag_ms") == 0


def test_it_is_set_days_later_too():
    session = on_test(LAG)
    given(session)
    session.reset()
    open_test(session, LAG)
    to_row(session, "Set lag")
    keys(session, "press", "press")
    assert session.box.bench.get("lag_ms") == 60


def test_it_needs_no_paper():
    """A sheet that lay in the easel before may still lie there; one that did not is not taken to."""
    session = on_test(LAG)
    keys(session, "expose")
    assert session.box.run.sheet == "No paper"
    keys(session, "lamp")
    assert session.lamp.lit, "there is no sheet to fog"
    keys(session, "lamp")
    assert not session.box.lamp.sheet_time.is_in
    give_all(session)
    keys(session, "lamp")
    assert session.lamp.lit


def test_a_sheet_in_the_easel_is_still_guarded():
    session = on_test(LAG)
    session.box.lamp.paper_out = True
    given(session)
    keys(session, "lamp")
    assert not session.lamp.lit
    assert session.box.message.startswith("Viewing light would fog the sheet.")


def test_the_safelight_is_out_from_the_screen_on_and_comes_back_after_it():
    session = on_test(LAG)
    assert not session.box.lamp.safelight
    keys(session, "expose", "expose")
    wait(session, 5000)
    assert not session.box.lamp.safelight
    give_all(session)
    keys(session, "back")
    assert session.box.lamp.safelight


@pytest.mark.parametrize("key", ["expose", "pedal", "back"])
def test_a_strike_that_is_held_spoils_it_in_words_and_sets_nothing(key):
    session = on_test(LAG)
    keys(session, "expose", "expose")
    wait(session, 1500)
    keys(session, key)
    if key != "back":  # the strike under way is given whole, and the next comes when it is asked for
        assert give_all(session) == "The lag is 60 ms, +/-3. Press to set it."
        return
    assert session.box.state == "held"
    assert give_all(session) == "No lag: a strike was not given in one. Give the test again."
    assert session.box.panel.screen._known.given == {}
    assert given(session) == "The lag is 60 ms, +/-3. Press to set it.", "and again, on the spot"


def test_a_look_at_another_screen_between_strikes_costs_nothing():
    session = on_test(LAG)
    keys(session, "expose", "expose")
    while session.box.state != "ready":
        session.advance(session.next_ms())
    wait(session, 2000)
    keys(session, "back")
    to_row(session, "Shelf")
    keys(session, "press")
    wait(session, 5000)
    keys(session, "back")
    to_row(session, "Go on")
    keys(session, "press")
    wait(session, 2000)
    assert give_all(session) == "The lag is 60 ms, +/-3. Press to set it."


def test_a_power_cut_spoils_it_and_it_can_be_given_again():
    session = on_test(LAG)
    keys(session, "expose", "expose")
    wait(session, 9000)
    session.reset()
    keys(session, "press")
    wait(session, 3000)
    assert give_all(session) == "No lag: the test was cut off. Give the test again."
    wait(session, 3000)
    assert given(session).startswith("The lag is 60 ms")


@pytest.mark.parametrize("at_ms", range(0, 24_000, 1700))
def test_a_cell_that_is_pulled_out_is_told_whenever_it_is(at_ms):
    """In the dark between strikes its dark is read anew; in a strike that is lost."""
    session = on_test(LAG)
    keys(session, "expose", "expose")
    begun_ms = session.now_ms
    while session.now_ms - begun_ms < at_ms and session.box.state in IS_LIT:
        session.advance(session.next_ms())
    session.cell.is_plugged = False
    wait(session, 600)
    session.cell.is_plugged = True
    said = give_all(session)
    assert said in (
        "No lag: the light cell did not answer. Give the test again.",
        "The lag is 60 ms, +/-3. Press to set it.",
    )


def test_without_a_cell_it_is_not_begun_and_nothing_is_lit():
    session = new_session()
    open_test(session, LAG)
    keys(session, "expose")
    assert session.box.message == "The test is not begun: the cell reads the dark. Wait for 2 s."
    wait(session, 2000)
    assert value(session, "Light cell") == "no cell"
    keys(session, "expose", "expose", "pedal")
    assert session.box.message == "The test is not begun: no light cell answers. Plug it in."
    assert session.box.state == "browse"
    assert not session.lamp.lit


def test_lamp_on_its_screen_tells_whether_there_is_light_enough():
    session = on_test(LAG)
    for counts, word in ((100_000, "good"), (500_000, "too bright"), (500, "too faint")):
        session.cell.counts = counts
        keys(session, "lamp")
        wait(session, 1000)
        keys(session, "lamp")
        wait(session, 1500)
        assert value(session, "Light cell") == word


# --- the drift


def test_the_drift_of_a_warm_lamp():
    session = on_test(DRIFT, "led")
    assert given(session) == "The light is steady from 0:10 on: under 1/240 stop a minute."
    keys(session, "back")
    assert value(session, HEADINGS[DRIFT]) == "from 0:10"


def test_the_drift_of_a_lamp_that_warms_up_is_that_of_its_light():
    """Against the same lamp lit by itself: its light in each 10 s, 20 s apart."""
    session = on_test(DRIFT, "cold light")
    session.room.house.put_in(LAMPS["cold light"], RELAYS["mechanical"], warmed_up=False)
    said = given(session)
    light = LampHouseLight(LAMPS["cold light"], RELAYS["mechanical"], lux=1.0)
    light.pin(0, True)
    doses = [light.dose(10_000_000 * at, 10_000_000 * (at + 1), EYE) for at in range(12)]
    rates = [3 * 3840 * math.log2(doses[at + 2] / doses[at]) for at in range(9)]
    steady_s, last, _ = found(session, DRIFT)
    assert abs(last - rates[-1]) <= 4
    if rates[-1] > STEADY + 4:
        assert steady_s == NEVER_S
        assert said.startswith("Not steady in 2 minutes: 1/")
    else:
        assert abs(rates[steady_s // 10 - 1]) <= STEADY + 4


def test_a_drift_in_two_parts_is_none():
    session = on_test(DRIFT)
    keys(session, "expose", "expose")
    wait(session, 20_000)
    keys(session, "back")
    assert session.box.state == "held"
    assert give_all(session) == "No drift: a strike was not given in one. Give the test again."


def test_the_ledger_says_what_was_given():
    session = on_test(LAG)
    given(session)
    record = last_record(session.box)
    assert record["test"] == {"test": LAG, "filter": ""}
    assert [stage["given_ms"] for stage in record["stages"]] == [
        REPEATS * LONG_STRIKE_MS,
        (REPEATS + 1) * STRIKE_MS,
    ]
