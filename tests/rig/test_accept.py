"""The acceptance test on the emulated board: what circuit and contacts give is what the command measures."""

from __future__ import annotations

from typing import Any

import pytest

from lampblack.wire.box_client import BoxClient
from tests.accept_person import Hands, World, failing, hands, played, results
from tests.rig.box import LAMP, PicoBox
from tests.rig.circuit import Circuit
from tests.rig.pico import MS

PRINT_MS = 10_000
KEYS = ("expose", "pedal", "lamp", "back", "press")


def read(box: PicoBox) -> dict[str, Any]:
    return box.client.call("accept.read")


# --- what each figure is made of


def test_contacts_that_bounce_are_counted_once_and_do_nothing(played):
    def scenario(box: PicoBox, circuit: Circuit):
        before = box.ask("runner.box.panel.cursor.at"), box.ask("runner.box.panel.screen.key")
        box.client.call("accept.count", on=1)
        for key in KEYS:
            for _ in range(2):
                box.press(key)
                box.run_ms(150)
        box.turn(5)
        box.turn(-3)
        box.run_ms(100)
        told = read(box)
        box.client.call("accept.count", on=0)
        after = box.ask("runner.box.panel.cursor.at"), box.ask("runner.box.panel.screen.key")
        return told, before == after, box.pico.edges_of(LAMP), box.client.state()["state"]

    told, is_same, lamp, state = played(scenario)
    assert told["counts"] == {**dict.fromkeys(KEYS, 2), "right": 5, "left": 3}
    for key in KEYS:
        assert 4 < told["edges"][key] < 60
    assert (is_same, lamp, state) == (True, [], "browse")


@pytest.mark.parametrize("faults", [{}, {"back_is_cut": True}, {"is_stuck": True}])
def test_whether_back_has_a_wire_of_its_own_is_seen(played, faults):
    def scenario(box: PicoBox, circuit: Circuit):
        circuit.spoil(**faults)
        box.press("lamp")
        box.wait_lamp(1, 1000)
        box.run_ms(500)
        circuit.hold_back()
        box.wait_lamp(0, 100)
        box.run_ms(300)
        return read(box)["light"]

    light = played(scenario)
    assert light["fell_first"] == (not faults)
    assert abs(light["lit_ms"] - light["seen_ms"]) <= 2
    assert 490 < light["lit_ms"] < 520
    assert 15 <= light["closed_ms"] <= 17
    assert 15 <= light["opened_ms"] <= 17


def test_a_light_that_ends_by_itself_is_read_back(played):
    def scenario(box: PicoBox, circuit: Circuit):
        box.press("expose")
        box.run_ms(300)
        box.press("expose")
        box.wait_lamp(1, 1000)
        box.wait_lamp(0)
        box.run_ms(500)
        return read(box)

    told = played(scenario)
    light = told["light"]
    assert (light["lamp_ms"], light["lit_ms"]) == (PRINT_MS, PRINT_MS)
    assert abs(light["seen_ms"] - PRINT_MS) <= 2
    assert light["ticks"] == told["ticks"] == 4
    assert abs(light["ticking_ms"] - 3 * 2376) <= 2
    assert (told["sense"], told["sense_edges"], told["armed"]) == (0, 2, False)


@pytest.mark.parametrize(
    ("faults", "seen_ms"),
    [({}, 12_165), ({"is_stuck": True}, 0), ({"counts": False}, 0), ({"half_count_ns": 700 * MS}, 7168)],
)
def test_the_cut_off_is_seen_at_its_time(played, faults, seen_ms):
    def scenario(box: PicoBox, circuit: Circuit):
        circuit.spoil(is_quick=True, **faults)
        box.press("lamp")
        box.wait_lamp(1, 1000)
        box.run_ms(14_000)
        is_lit = box.pico.level(LAMP)
        told = read(box)
        box.run_ms(1000)
        return is_lit, told["light"], read(box)["ticks"] - told["ticks"]

    is_lit, light, in_the_dark = played(scenario)
    assert is_lit == (not seen_ms)
    if seen_ms:
        assert abs(light["seen_ms"] - seen_ms) <= 3
        # The box puts out by itself what it does not see.
        assert 45 <= light["lit_ms"] - light["seen_ms"] <= 120
        assert light["ticks"] == 512
        assert in_the_dark == 0


# --- the steps, led


class PicoWorld(World):
    def __init__(self, box: PicoBox, circuit: Circuit) -> None:
        self.box = box
        self.circuit = circuit

    def wait(self, ms: int) -> None:
        self.box.run_ms(ms)

    def strike(self, key: str) -> None:
        if key == "back":
            self.circuit.hold_back()
        else:
            self.box.press(key)

    def turn(self, detents: int) -> None:
        self.box.turn(detents)

    def spoil(self, **faults: Any) -> None:
        self.circuit.spoil(**faults)

    def is_lit(self) -> bool:
        return bool(self.box.pico.level(LAMP))

    def replug(self) -> None:
        self.box.pico.reset()
        self.box.run_ms(3000)

    def connect(self) -> BoxClient:
        return self.box.client


class PatientHands(Hands):
    """Looks seldom, since the box answers at the cost of its time."""

    look_ms = 1000


def led(box: PicoBox, circuit: Circuit, folder, *steps: int, **how: Any):
    """Results and failing figures of these steps, and what was said."""
    world = PicoWorld(box, circuit)
    for name, value in how.pop("contacts", {}).items():
        setattr(world, name, value)
    person = hands(world, kind=PatientHands)
    circuit.spoil(**how)
    trial = played(world, folder, person=person, fit=False, steps=steps)
    return results(trial), failing(trial), person.text


@pytest.mark.long
@pytest.mark.parametrize("steps", [(3, 4), (5, 6, 7), (8,), (9, 12), (10,), (11,)])
def test_a_good_box_passes(played, tmp_path, steps):
    got, failed, text = played(lambda box, circuit: led(box, circuit, tmp_path, *steps))
    assert (got, failed) == (dict.fromkeys(steps, "passed"), set()), text


@pytest.mark.long
@pytest.mark.parametrize(
    ("step", "how", "keys"),
    [
        (9, {"back_is_cut": True}, {"9.first"}),
        (10, {"is_stuck": True}, {"10.quick_s"}),
        (10, {"counts": False}, {"10.quick_s"}),
        (10, {"half_count_ns": 3000 * MS}, {"10.quick_s"}),
        (3, {"is_shorted": True}, {"3.sense"}),
        (8, {"is_cut": True}, {"8.1.light"}),
        (4, {"contacts": {"dead": ("lamp",)}}, {"4.lamp"}),
        (4, {"contacts": {"bouncing": ("expose",)}}, {"4.expose"}),
        (5, {"contacts": {"half_cycles": True}}, {"5.right", "5.left"}),
    ],
)
def test_a_fault_is_found_by_its_step(played, tmp_path, step, how, keys):
    got, failed, text = played(lambda box, circuit: led(box, circuit, tmp_path, step, **how))
    assert got == {step: "failed"}, text
    assert failed >= keys, text
