"""The circuit keeps its rules, and each rule finds a circuit that breaks it."""

import runpy
from dataclasses import replace

import pytest

from hardware.circuit import (
    Circuit,
    CircuitError,
    Part,
    Pin,
    broken_rules,
    edge_pin,
    quantity,
)
from hardware.make_pins import TARGET, pins_text
from tests.micropython import ROOT


def with_part(circuit: Circuit, part: Part) -> Circuit:
    return replace(circuit, parts=circuit.parts | {part.ref: part})


def with_pin(circuit: Circuit, pin: Pin) -> Circuit:
    pads = {str(p.pin): p.net for p in circuit.pins.values()}
    kept = {pad: net for pad, net in circuit.parts["U1"].pads.items() if pads.get(pad) != pin.net}
    moved = replace(circuit.parts["U1"], pads=kept | {str(pin.pin): pin.net})
    return with_part(replace(circuit, pins=circuit.pins | {pin.name: pin}), moved)


def test_the_circuit_keeps_every_rule(circuit):
    assert broken_rules(circuit) == []


def test_the_firmwares_pins_are_these(circuit):
    assert TARGET.read_text("utf-8") == pins_text()
    firmware = {name: gpio for name, gpio in runpy.run_path(str(TARGET)).items() if not name.startswith("_")}
    driven = {pin.net: pin.gpio for pin in circuit.pins.values() if pin.kind != "kept-free"}
    assert firmware == driven


def test_the_first_of_all_programs_lets_go_of_every_output_that_switches(circuit):
    """boot.py has numbers of its own, since it must work where nothing else does."""
    switching = [pin.gpio for pin in circuit.pins.values() if pin.kind == "output-low"]
    boot = (ROOT / "firmware" / "boot.py").read_text("utf-8")
    assert f"for gpio in ({', '.join(map(str, switching))}):" in boot


def test_pins_come_out_where_the_data_sheet_says():
    # Raspberry Pi Pico data sheet, figure 2: some of its pin-out.
    for gpio, pin in ((0, 1), (2, 4), (5, 7), (9, 12), (15, 20), (16, 21), (22, 29), (26, 31), (28, 34)):
        assert edge_pin(gpio) == pin
    for gpio in (-1, 23, 24, 25, 29):
        with pytest.raises(CircuitError):
            edge_pin(gpio)


def test_a_pin_that_is_used_twice_is_found(circuit):
    safelight = circuit.pins["safelight"]
    taken = replace(safelight, gpio=6, pin=9)
    assert any("is safelight's and expose's" in line for line in broken_rules(with_pin(circuit, taken)))


def test_a_pin_that_comes_out_elsewhere_is_found(circuit):
    wrong = with_pin(circuit, replace(circuit.pins["arm"], pin=31))
    assert any(line.startswith("arm: GPIO 22 comes out at pin 29") for line in broken_rules(wrong))


def test_an_output_beside_the_lamps_pin_is_found(circuit):
    beside = with_pin(circuit, replace(circuit.pins["safelight"], gpio=3, pin=5))
    assert "pin 5, beside the lamp's, is SAFELIGHT" in broken_rules(beside)


def test_a_net_with_one_pad_is_found(circuit):
    loose = replace(circuit.parts["R9"], pads={"1": "LX", "2": "NOWHERE"})
    assert any("net NOWHERE has one pad only" in line for line in broken_rules(with_part(circuit, loose)))


@pytest.mark.parametrize("ref", ["R19", "R28", "R50", "R55", "R46", "R60"])
def test_an_output_that_nothing_holds_low_is_found(circuit, ref):
    for weak in (
        replace(circuit.parts[ref], value="10k"),
        replace(circuit.parts[ref], fitted=not circuit.parts[ref].fitted),
    ):
        assert any("holds its pin low" in line for line in broken_rules(with_part(circuit, weak)))


def test_a_part_without_step_or_pads_is_found(circuit):
    for wrong in (replace(circuit.parts["R9"], step=99), replace(circuit.parts["R9"], side="under")):
        assert len(broken_rules(with_part(circuit, wrong))) == 1
    assert "J7 has no pads" in broken_rules(with_part(circuit, replace(circuit.parts["J7"], pads={})))


def test_every_part_says_what_it_is_and_does(circuit):
    for part in circuit.parts.values():
        assert part.what, part.ref
        assert part.does, part.ref
        assert part.footprint.count(":") == 1, part.ref
        assert part.height_mm > 0 or part.kind == "test-point", part.ref


def test_nothing_of_the_second_lamp_channel_is_fitted(circuit):
    """A place, and no promise: its pin is never driven, and no part of it is there."""
    channel = {"SECOND_LAMP", "Q21B", "Q21C", "Q22B", "Q23B", "LX2", "LAMP2_OUT"}
    refs = {ref for net in channel for ref, _ in circuit.nets[net]} - {"U1"}
    assert refs == {part.ref for part in circuit.parts.values() if not part.fitted}
    # It is behind the same permit, and the same counter counts it.
    assert {"Q4C", "Q6B"} <= {net for ref in refs for net in circuit.parts[ref].pads.values()}


@pytest.mark.parametrize(
    ("value", "number"), [("4k7", 4700), ("68", 68), ("2M2", 2.2e6), ("220n", 220e-9), ("10u 16V", 10e-6)]
)
def test_values_are_read_as_they_are_written(value, number):
    assert quantity(value) == pytest.approx(number)


@pytest.mark.parametrize("value", ["big", "4x7", "k"])
def test_a_value_that_is_none_is_refused(value):
    with pytest.raises(CircuitError):
        quantity(value)
