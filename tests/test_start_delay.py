"""The start delay: from the press for a burn or a patch to the light that comes by itself."""

import itertools

import pytest

from host_sim.box.session import Session
from tests.box_model import (
    GuardedDisk,
    LightMeter,
    Listener,
    a_card,
    ask,
    keys,
    last_record,
    load,
    new_session,
    set_row,
    snapshot,
    to_row,
    to_screen,
    until_dark,
    wait,
)
from timing_core.machine.lamp import BACK_DOWN, TOO_EARLY
from timing_core.machine.watch import FAULTS, LINES
from timing_core.panel.sounds import SOUNDS

DELAY_S = 5
SETTLE_MS = 700
LAG_MS = 150
CARD = a_card(("sky", 120), ("door", 60), base_ms=4000)
"""Its burns have 4 s and 1.657 s."""


def desk(delay_s: int = DELAY_S, settle_ms: int = SETTLE_MS, fitted=None, ticks_ms: int = 0) -> Session:
    """Before the base of a print with two burns, with a meter and a listener."""
    session = new_session(GuardedDisk(), ticks_ms=ticks_ms, settle_ms=settle_ms, fitted=fitted)
    ask(session, "bench.set", values={"start_delay_s": delay_s, "lag_ms": LAG_MS})
    session.meter, session.listener = LightMeter(session, fitted), Listener()
    session.meter.safelight = 1
    session.watchers += [session.meter, session.listener]
    load(session, CARD)
    keys(session, "expose")
    return session


def at_burn(**details) -> Session:
    """Before the first burn, when the box listens."""
    session = desk(**details)
    keys(session, "expose")
    settle(session)
    until_dark(session)
    wait(session, 1000)
    assert session.box.state == "ready"
    session.meter.anew()
    session.listener.sounds.clear()
    return session


def settle(session: Session) -> None:
    """Let a second contact close."""
    if not session.lamp.lit:
        wait(session, 100)
    assert session.lamp.lit


def held_burn(**details) -> Session:
    session = at_burn(**details)
    session.input("expose")
    wait(session, DELAY_S * 1000 + 1150)
    session.input("expose")
    assert session.box.state == "held"
    wait(session, 1000)
    session.listener.sounds.clear()
    return session


def heard(session: Session, from_ms: int) -> list[tuple[int, str]]:
    return [(at_ms - from_ms, name) for at_ms, name in session.listener.sounds]


def unchanged(session: Session, before: dict) -> None:
    """Nothing is given, and nothing is lost."""
    after = snapshot(session)
    for what in ("work", "strip", "bench", "shelf", "cursor", "undo", "redo", "run", "ledger", "files"):
        assert after[what] == before[what], what
    assert not session.lamp.lit


# --- what has one


def test_a_new_box_has_none():
    session = new_session()
    assert session.box.bench.get("start_delay_s") == 0
    to_screen(session, "bench")
    to_row(session, "Start delay")
    assert session.box.panel.value(session.box.panel.row()) == "off"
    for turned, value in ((1, "1 s"), (8, "9 s"), (5, "10 s"), (-9, "1 s"), (-3, "off")):
        set_row(session, "Start delay", turned)
        assert session.box.panel.value(session.box.panel.row()) == value


def test_a_base_has_none_and_every_burn_has_it():
    session = desk()
    wait(session, 1000)
    assert session.box.machine.says("expose") == "give 4.0 s"
    session.input("expose")
    assert session.lamp.lit
    until_dark(session)
    for light_ms, says in ((4000, "give 4.0 s in 5 s"), (1657, "give 1.7 s in 5 s")):
        wait(session, 1000)
        assert session.box.machine.says("expose") == says
        session.meter.anew()
        pressed_ms = session.now_ms
        session.input("expose")
        assert session.box.state == "delaying"
        wait(session, DELAY_S * 1000 - 1)
        assert not session.lamp.lit
        assert session.meter.safelight == 1
        wait(session, 1)
        assert session.lamp.lit_ms == pressed_ms + DELAY_S * 1000
        until_dark(session)
        assert session.meter.light_ms == light_ms
    assert session.box.state == "browse"
    assert [stage["given_ms"] for stage in last_record(session.box)["stages"]] == [4000, 4000, 1657]
    assert session.meter.faults == []
    assert session.disk.written_while_lit == []


@pytest.mark.parametrize("kind", ["cover", "fresh"])
def test_every_patch_of_a_strip_has_it(kind):
    session = new_session()
    ask(session, "bench.set", values={"start_delay_s": 3})
    to_screen(session, "strip")
    set_row(session, "Patches", -4)
    if kind == "fresh":
        set_row(session, "Kind", 0)
    keys(session, "expose")
    patches = 0
    while session.box.state == "ready":
        pressed_ms = session.now_ms
        session.input("expose")
        wait(session, 3000)
        assert session.lamp.lit_ms == pressed_ms + 3000
        until_dark(session)
        patches += 1
    assert patches == session.box.work.strip.patches
    assert session.box.state == "choose"


def test_a_filter_is_confirmed_at_once():
    session = desk()
    session.input("dial", -1)
    keys(session, "expose")
    assert session.box.state == "ready"
    assert session.box.run.at == 1


def test_the_rest_of_a_stage_has_it_too():
    session = held_burn()
    assert session.box.machine.says("expose") == "give 3.0 s in 5 s"
    pressed_ms = session.now_ms
    session.input("pedal")
    wait(session, DELAY_S * 1000)
    assert session.lamp.lit_ms == pressed_ms + DELAY_S * 1000
    until_dark(session)
    assert session.meter.light_ms == 4000
    assert session.meter.strikes == 2


@pytest.mark.parametrize("ticks_ms", [(1 << 30) - 15_000, (1 << 29) - 15_000])
def test_ticks_that_wrap_in_it_change_nothing(ticks_ms):
    for after_ms in range(0, 8000, 1000):
        session = at_burn(ticks_ms=ticks_ms + after_ms)
        pressed_ms = session.now_ms
        session.input("expose")
        wait(session, DELAY_S * 1000)
        assert session.lamp.lit_ms == pressed_ms + DELAY_S * 1000
        assert len(heard(session, 0)) == 8


# --- what is heard


@pytest.mark.parametrize(
    ("delay_s", "pips_ms"),
    [
        (1, [0, 500]),
        (2, [0, 500, 1000, 1500]),
        (3, [0, 1000, 1500, 2000, 2500]),
        (10, [*range(0, 9000, 1000), 8500, 9000, 9500]),
    ],
)
def test_pips_count_it_and_the_last_beat_is_the_light_s_own(delay_s, pips_ms):
    session = at_burn(delay_s=delay_s)
    pressed_ms = session.now_ms
    session.input("expose")
    wait(session, delay_s * 1000 + 500)
    sounds = heard(session, pressed_ms)
    assert sounds == [*((at_ms, "pip") for at_ms in pips_ms), (delay_s * 1000, "start")]


def test_a_tick_that_is_for_something_else_sounds_nothing():
    """A sheet in a tray wants its own, in between."""
    session = at_burn(delay_s=3)
    pressed_ms = session.now_ms
    session.input("expose")
    for _ in range(70):
        wait(session, 50)
        session.input("tick")
    pips = [at_ms for at_ms, name in heard(session, pressed_ms) if name == "pip"]
    assert pips == [0, 1000, 1500, 2000, 2500]


def test_no_sound_cuts_another():
    for delay_s in range(1, 11):
        session = at_burn(delay_s=delay_s)
        session.input("expose")
        wait(session, 1000 * delay_s + 2000)
        session.input("expose")
        sounds = heard(session, 0)
        for (at_ms, name), (next_ms, _) in itertools.pairwise(sounds):
            assert at_ms + sum(ms for _, ms in SOUNDS[name]) <= next_ms


def test_a_beat_that_comes_late_is_left_out_and_the_light_is_given_whole():
    session = at_burn()
    box = session.box
    pressed_ms = session.now_ms
    session.input("expose")
    session.input("tick")
    session.now_ms += 1249  # 249 ms late: still heard
    session.input("tick")
    session.now_ms += 1001  # late by half of the shortest beat, and two beats missed by the next
    session.input("tick")
    session.now_ms += 1350
    session.input("tick")
    assert heard(session, pressed_ms) == [(0, "pip"), (1249, "pip"), (3600, "pip")]
    assert session.next_ms() == pressed_ms + 4000
    session.now_ms += 60_000  # whatever kept the box: what was pressed for is given
    session.input("tick")
    assert box.state == "exposing"
    assert heard(session, pressed_ms)[3:] == [(63_600, "start")]
    until_dark(session)
    assert session.meter.light_ms == 4000


# --- what ends it


@pytest.mark.parametrize("begin", [at_burn, held_burn])
@pytest.mark.parametrize("key", ["expose", "pedal", "back", "lamp"])
@pytest.mark.parametrize("left_ms", [5000, 4970, 4000, 2600, 500, 1])
def test_a_key_in_it_ends_it_and_the_stage_stands_as_before(begin, key, left_ms):
    session = begin()
    before, state, lights = snapshot(session), session.box.state, session.meter.lights_asked
    session.input("expose")
    wait(session, 5000 - left_ms)
    assert {session.box.machine.says(name) for name in ("expose", "back", "lamp")} == {"cancel"}
    session.input(key)
    ended_ms = session.now_ms
    assert session.box.state == state
    unchanged(session, before)
    sounds = len(session.listener.sounds)
    for then in ("expose", "pedal", "lamp"):  # for the settling time nothing begins
        wait(session, 200)
        session.input(then)
        assert session.box.state == state
        assert session.box.message == TOO_EARLY
    assert all(name == "refuse" for _, name in session.listener.sounds[sounds:])
    wait(session, ended_ms + SETTLE_MS - session.now_ms)
    assert session.box.message == ""
    wait(session, 20_000)
    unchanged(session, before)
    assert session.meter.lights_asked == lights
    session.input("expose")
    wait(session, 5000)
    assert session.lamp.lit
    until_dark(session)
    assert session.meter.light_ms == 4000


@pytest.mark.parametrize("control", ["dial", "press"])
def test_the_dial_does_nothing_in_it(control):
    session = at_burn()
    pressed_ms = session.now_ms
    session.input("expose")
    wait(session, 1100)
    before, frame = snapshot(session), bytes(session.frame())
    session.input(control, 3)
    assert snapshot(session) == before
    assert bytes(session.frame()) == frame
    wait(session, 5000)
    assert session.lamp.lit_ms == pressed_ms + 5000


@pytest.mark.parametrize("key", ["expose", "back"])
@pytest.mark.parametrize("after_ms", [0, 1, 100])
def test_a_key_just_after_it_holds_what_has_begun(key, after_ms):
    """Meant for the delay, and too late by a moment: the light goes out, and the rest can be given."""
    session = at_burn()
    session.input("expose")
    wait(session, 5000 + after_ms)
    session.input(key)
    assert session.box.state == "held"
    assert not session.lamp.lit
    assert session.box.exposing.left_ms() == 4000
    session.input("expose")
    assert session.box.state == "held"  # too early
    wait(session, 1000)
    session.input("expose")
    wait(session, 5000)
    until_dark(session)
    assert session.box.state == "ready"
    assert 4000 <= session.meter.light_ms <= 4000 + 1


def test_a_key_in_the_ms_of_the_light_comes_first():
    session = at_burn()
    lights = session.meter.lights_asked
    session.input("expose")
    wait(session, 4999)
    session.now_ms += 1
    session.input("expose")
    wait(session, 5000)
    assert session.meter.lights_asked == lights


def test_a_short_burn_that_has_begun_runs_to_its_end():
    session = at_burn()
    until_dark_of(session)
    wait(session, 1000)
    session.box.bench.set("least_ms", 1500)
    session.input("expose")
    wait(session, 5000)
    assert session.box.machine.says("expose") == "hold"
    wait(session, 400)
    session.input("tick")
    assert session.box.machine.says("expose") == "wait"
    session.input("expose")
    assert session.lamp.lit


def until_dark_of(session: Session) -> None:
    """Give the stage."""
    session.input("expose")
    wait(session, DELAY_S * 1000)
    until_dark(session)


def test_a_pulled_plug_in_it_keeps_the_run_with_nothing_given():
    session = at_burn()
    lights = session.meter.lights_asked
    session.input("expose")
    wait(session, 4900)
    session.reset()
    assert session.box.state == "notice"
    assert session.meter.lights_asked == lights
    session.input("press")
    assert session.box.state == "ready"
    assert session.box.run.stage.area == "sky"
    assert session.box.exposing.left_ms() == 4000
    wait(session, 20_000)
    assert session.meter.lights_asked == lights


def test_a_pulled_plug_in_the_delay_of_a_rest_keeps_what_was_given():
    session = held_burn()
    session.input("expose")
    wait(session, 2000)
    session.reset()
    session.input("press")
    assert session.box.state == "held"
    assert session.box.exposing.left_ms() == 3000


# --- what the wire may do in it


def test_the_wire_changes_nothing_in_it_and_the_light_comes_in_its_time():
    session = at_burn()
    pressed_ms = session.now_ms
    session.input("expose")
    wait(session, 1000)
    before = snapshot(session)
    for method, params in (
        ("bench.set", {"values": {"start_delay_s": 0, "lag_ms": 0}}),
        ("card.remove", {"name": "harbour"}),
        ("accept.count", {"on": 1}),
        ("handover", {}),
    ):
        error = ask(session, method, **params)["error"]
        assert error["message"] == "Nothing is changed: light is on, or about to be. Try again when dark."
        assert snapshot(session) == before, method
    assert not session.handed_over
    told = ask(session, "state")["result"]
    assert (told["state"], told["run"], told["name"], told["left_ms"]) == (
        "delaying",
        "print",
        "Burn sky",
        4000,
    )
    assert told["lit"]
    assert told["expose"] == "cancel"
    session.advance(pressed_ms + 5000)
    assert session.lamp.lit_ms == pressed_ms + 5000


# --- what is asked again before the light


def test_back_held_down_through_its_end_lets_nothing_begin():
    session = at_burn()
    before, lights = snapshot(session), session.meter.lights_asked
    session.input("expose")
    wait(session, 3000)
    session.input("back_down")  # its contact is wet: no press comes with it
    wait(session, 2000)
    assert session.box.state == "ready"
    assert session.box.message == BACK_DOWN
    assert session.listener.sounds[-1][1] == "refuse"
    unchanged(session, before)
    assert session.meter.lights_asked == lights
    session.input("back_up")
    assert session.box.message == ""
    session.input("expose")
    wait(session, 5000)
    assert session.lamp.lit


@pytest.mark.parametrize("begin", [at_burn, held_burn])
@pytest.mark.parametrize("at_ms", [0, 2000, 4949, 4960, 4999])
def test_a_lamp_output_that_comes_on_in_it_lets_no_light_follow(begin, at_ms):
    session = begin(fitted={"read_backs": True})
    state, before, lights = session.box.state, snapshot(session), session.meter.lights_asked
    session.input("expose")
    wait(session, at_ms)
    session.meter.circuit_changes(lambda: session.spoil(is_shorted=True))
    wait(session, 5100 - at_ms)
    assert session.box.state == state
    assert session.box.message == LINES[FAULTS.index("live")]
    assert session.meter.lights_asked == lights
    after = snapshot(session)
    assert after["run"] == before["run"]
    sounds = [name for _, name in session.listener.sounds if name != "pip"]
    assert sounds in (["hold"], ["refuse", "hold"])
    session.input("expose")
    assert session.box.state == state


def test_a_second_contact_that_falls_open_in_it_ends_it():
    session = at_burn(fitted={"second_contact": True})
    lights = session.meter.lights_asked
    session.input("expose")
    wait(session, 1000)
    session.spoil(is_apart=True)
    wait(session, 200)
    assert session.box.state == "ready"
    assert session.box.message == LINES[FAULTS.index("apart")]
    assert not session.circuit.arm
    wait(session, 20_000)
    assert session.meter.lights_asked == lights


def test_an_open_contact_closes_at_its_end_and_the_light_follows_100_ms_later():
    session = at_burn(fitted={"second_contact": True})
    session.input("expose")
    wait(session, 6000)
    session.input("back")  # which opens it
    assert session.box.state == "held"
    wait(session, 1000)
    session.listener.times.clear()
    pressed_ms = session.now_ms
    session.input("expose")
    wait(session, 4999)
    assert not session.circuit.arm
    wait(session, 1)
    assert session.box.state == "arming"
    assert session.box.in_run
    wait(session, 200)
    times = [(at_ms - pressed_ms, kind) for at_ms, kind in session.listener.times if kind in ("arm", "light")]
    assert times == [(5000, "arm"), (5100, "light")]
    until_dark(session)
    assert session.meter.faults == []


def test_a_key_while_the_contact_closes_after_it_calls_the_light_off():
    session = at_burn(fitted={"second_contact": True})
    session.input("expose")
    wait(session, 6000)
    session.input("back")
    wait(session, 1000)
    lights = session.meter.lights_asked
    session.input("expose")
    wait(session, 5050)
    assert session.box.state == "arming"
    session.input("expose")
    assert session.box.state == "held"
    assert not session.circuit.arm
    wait(session, 5000)
    assert session.meter.lights_asked == lights


def test_the_safelight_goes_off_with_the_light_not_before():
    session = at_burn()
    session.box.bench.set("safelight", "exposing")
    session.input("expose")
    wait(session, 4999)
    assert session.meter.safelight == 1
    wait(session, 1)
    assert session.lamp.lit
    assert session.meter.safelight == 0
    assert session.meter.faults == []
