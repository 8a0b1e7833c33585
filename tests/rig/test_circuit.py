"""The real firmware in its circuit: read-backs and second contact, all well and with each fault."""

from __future__ import annotations

import pytest

from tests.rig.box import ARM, LAMP, SAFELIGHT, PicoBox
from tests.rig.circuit import Circuit
from tests.rig.pico import MS
from timing_core.machine import watch

FAULTS = dict(zip(watch.FAULTS, watch.LINES, strict=True))
KEY_MAX_NS = 5 * MS
PRINT_MS = 3500


def begin(box: PicoBox) -> None:
    """Take up a run, and let the second contact close."""
    box.press("expose")
    box.run_ms(300)


def strike(box: PicoBox) -> int:
    begin(box)
    box.press("expose")
    return box.wait_lamp(1, 1000)


def told(box: PicoBox) -> tuple[str, str]:
    """The box's state, and the name of the fault on its panel."""
    message = box.ask("runner.box.message")
    return box.ask("runner.box.state"), {line: name for name, line in FAULTS.items()}.get(message, message)


def given_ms(box: PicoBox) -> int:
    return int(box.ask("runner.box.exposing.known_ms"))


def test_a_print_is_given_whole_with_everything_fitted(played):
    def scenario(box: PicoBox, circuit: Circuit):
        begin(box)
        armed_ns = box.pico.edges_of(ARM)[-1].ns
        pressed_ns = box.press("expose")
        struck_ns = box.wait_lamp(1, 1000)
        box.wait_lamp(0)
        box.run_ms(400)
        (lit_ns,) = box.pico.high_times_ns(LAMP)
        arm = [edge.level for edge in box.pico.edges_of(ARM)]
        return struck_ns - pressed_ns, struck_ns - armed_ns, lit_ns, arm, box.ask("runner.box.watch.faults()")

    latency_ns, after_ns, lit_ns, arm, faults = played(scenario)
    print(f"from EXPOSE to the lamp of an armed box: {latency_ns / 1000:.0f} us")
    assert latency_ns < KEY_MAX_NS
    assert after_ns >= 100 * MS
    assert abs(lit_ns - PRINT_MS * MS) < 50_000
    assert arm == [1, 0]
    assert faults == "[]"


def test_viewing_light_follows_its_contact_and_back_is_dark_before_the_pin(played):
    def scenario(box: PicoBox, circuit: Circuit):
        box.press("lamp")
        struck_ns = box.wait_lamp(1, 1000)
        armed_ns = box.pico.edges_of(ARM)[-1].ns
        box.run_ms(500)
        closed_ns = circuit.hold_back()
        dark_ns = box.wait_lamp(0, 100)
        box.run_ms(300)
        sense = circuit.sense_edges[-1]
        return struck_ns - armed_ns, sense[0] - closed_ns, dark_ns - closed_ns, told(box), box.pico.level(ARM)

    wait_ns, sense_ns, dark_ns, state, arm = played(scenario)
    assert 100 * MS <= wait_ns < 160 * MS
    assert sense_ns == 0
    assert 0 < dark_ns < KEY_MAX_NS
    assert state == ("browse", "")
    assert arm == 0


def test_back_in_mid_exposure_counts_what_was_seen(played):
    def scenario(box: PicoBox, circuit: Circuit):
        strike(box)
        box.run_ms(1000)
        circuit.hold_back(200)
        box.run_ms(500)
        lit_ms = sum(box.pico.high_times_ns(LAMP)) / MS
        first = told(box), given_ms(box), box.pico.level(ARM)
        box.press("expose")
        box.run_ms(300)
        again = told(box), box.pico.level(ARM), box.pico.level(LAMP)
        return lit_ms, first, again

    lit_ms, (state, given, arm), again = played(scenario)
    assert state == ("held", "")
    assert lit_ms - 3 <= given <= lit_ms
    assert arm == 0
    assert again == (("exposing", ""), 1, 1)


def test_exposing_with_back_down_gives_nothing_and_counts_nothing(played):
    def scenario(box: PicoBox, circuit: Circuit):
        begin(box)
        circuit.spoil(back_is_down=True)
        box.press("expose")
        box.run_ms(500)
        (lit_ns,) = box.pico.high_times_ns(LAMP)
        return told(box), given_ms(box), lit_ns

    state, given, lit_ns = played(scenario)
    assert state == ("held", "unlit")
    assert given == 0
    assert 45 * MS <= lit_ns < 120 * MS


def test_an_output_that_goes_dark_in_mid_exposure_is_held(played):
    def scenario(box: PicoBox, circuit: Circuit):
        strike(box)
        box.run_ms(1000)
        circuit.spoil(is_cut=True)
        box.run_ms(500)
        (seen_ns,) = [
            fall[0] - rise[0] for rise, fall in zip(circuit.sense_edges, circuit.sense_edges[1:]) if rise[1]
        ]
        return told(box), given_ms(box) - seen_ns / MS, box.pico.level(ARM)

    state, apart_ms, arm = played(scenario)
    assert state == ("held", "unlit")
    assert abs(apart_ms) <= 2
    assert arm == 0


def test_an_output_that_is_on_in_the_dark_is_told_and_nothing_is_lit(played):
    def scenario(box: PicoBox, circuit: Circuit):
        circuit.spoil(is_shorted=True)
        box.run_ms(300)
        first = told(box)
        for key in ("expose", "lamp", "expose"):
            box.press(key)
            box.run_ms(300)
        edges = box.pico.edges_of(LAMP), box.pico.edges_of(ARM)
        return first, told(box), edges

    assert played(scenario) == (("browse", "live"), ("browse", "live"), ([], []))


def test_a_cut_off_that_does_not_count_is_told_at_the_end_of_the_light(played):
    def scenario(box: PicoBox, circuit: Circuit):
        circuit.spoil(counts=False)
        strike(box)
        box.wait_lamp(0)
        box.run_ms(300)
        lit_ms = sum(box.pico.high_times_ns(LAMP)) / MS
        first = told(box)
        box.press("lamp")
        box.run_ms(300)
        health = box.client.call("health")
        return lit_ms, first, told(box), box.pico.level(LAMP), health["faults"]

    lit_ms, first, again, level, faults = played(scenario)
    assert abs(lit_ms - PRINT_MS) < 0.1
    assert first == again == ("browse", "uncounted")
    assert level == 0
    assert faults == [FAULTS["uncounted"]]


def test_a_second_contact_that_does_not_open_is_told_and_not_closed_again(played):
    def scenario(box: PicoBox, circuit: Circuit):
        begin(box)
        circuit.spoil(is_welded=True)
        box.press("back")
        box.run_ms(400)
        first = told(box)
        arms = len(box.pico.edges_of(ARM))
        box.press("lamp")
        box.run_ms(400)
        return first, told(box), len(box.pico.edges_of(ARM)) - arms, box.pico.edges_of(LAMP)

    assert played(scenario) == (("browse", "welded"), ("browse", "welded"), 0, [])


def test_a_second_contact_that_does_not_close_gives_no_light(played):
    def scenario(box: PicoBox, circuit: Circuit):
        circuit.spoil(is_apart=True)
        box.press("lamp")
        box.run_ms(500)
        return told(box), box.pico.level(ARM), box.pico.edges_of(LAMP)

    assert played(scenario) == (("browse", "apart"), 0, [])


@pytest.mark.parametrize("how", ["crash", "run pin", "hand-over"])
def test_the_second_contact_opens_however_the_box_is_left(played, how):
    def scenario(box: PicoBox, circuit: Circuit):
        strike(box)
        box.run_ms(400)
        assert box.pico.level(ARM) == 1
        if how == "crash":
            box.do("def boom(*_):\n raise ValueError('injected')\nrunner.box.handle = boom", wait_ms=0)
        elif how == "run pin":
            box.pico.reset()
        else:
            box.press("expose")
            box.run_ms(300)
            assert box.pico.level(ARM) == 1
            box.client.handover()
        box.run_ms(1500)
        return box.pico.level(ARM), box.pico.level(LAMP), box.pico.level(SAFELIGHT)

    arm, lamp, _ = played(scenario)
    assert (arm, lamp) == (0, 0)


def test_nothing_under_light_takes_memory_with_everything_fitted(played):
    def scenario(box: PicoBox, circuit: Circuit):
        begin(box)
        box.press("expose")
        box.wait_lamp(1, 1000)
        box.run_ms(200)
        before = int(box.ask("__import__('gc').mem_free()"))
        box.run_ms(1500)
        return before - int(box.ask("__import__('gc').mem_free()"))

    # What the probe itself takes for asking.
    assert played(scenario) < 3000
