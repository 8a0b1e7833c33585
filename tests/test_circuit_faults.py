"""What every single fault of the circuit does, by simulation, against the table that is committed."""

import shutil
from dataclasses import replace

import pytest

from hardware.checks import faults
from hardware.checks.faults import (
    COLUMNS,
    HIDDEN,
    LIGHTS,
    LIT_V,
    Judgement,
    all_judged,
    broken_promises,
    faults_of,
    judged,
    read_table,
    row_of,
)
from hardware.checks.simulation import STATES, Fault, period_s, volts
from hardware.circuit import CUTOFF_TURNS, cutoff_period_s
from lampblack.board.chips import RP2350

CEILING_S = 1001.9
"""The firmware gives no light longer than this: `longest_light_ms` of firmware/board/assembly.py."""

EACH = 25
"""One in so many is simulated again."""

with_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="needs ngspice: apt-get install ngspice"
)


def test_the_table_has_every_fault_once(circuit):
    assert [row[0] for row in read_table()] == [str(fault) for fault in faults_of(circuit)]


def test_nothing_lights_the_lamp_alone_and_nothing_lost_goes_unfound():
    rows = [dict(zip(COLUMNS, row, strict=True)) for row in read_table()]
    for row in rows:
        if row["what it does"] == LIGHTS:
            assert row["what else puts the lamp out"], row
            assert "sense" in row["what else puts the lamp out"], row
        if row["what it does"] != faults.HARMLESS:
            assert row["found by"], row
    assert sum(row["what it does"] == LIGHTS for row in rows) == 5


def test_the_shorts_between_two_contacts_of_each_connector_are_faults(circuit):
    found = {(fault.ref, fault.pads) for fault in faults_of(circuit) if fault.kind == "joined"}
    assert {("J2", pair) for pair in (("1", "2"), ("1", "3"), ("1", "4"), ("2", "3"), ("3", "4"))} <= found
    assert ("J5", ("1", "2")) in found
    # No short of a connector can bring the safelight, which is on at rest, to the lamp.
    assert not any({"SAFE_OUT", "LAMP_OUT"} <= set(part.pads.values()) for part in circuit.parts.values())


def test_a_broken_promise_is_told():
    fault = Fault("Q2", "joined", ("1", "3"))
    lit = Judgement(fault, LIGHTS, (), (), (faults.SENSE,))
    unfound = Judgement(fault, HIDDEN, ("lamp sense",), (), ())
    assert len(broken_promises([lit, unfound])) == 2
    assert broken_promises([replace(lit, lines=("BACK",))]) == []


@with_ngspice
def test_a_good_circuit_does_what_it_is_for(circuit):
    at = volts(circuit)
    assert set(at) == set(STATES)
    for state in ("lit", "lit, tick", "lit, safelight on", "lit, no second contact"):
        assert at[state]["LAMP_INPUT"] > 4, state
    for state, row in at.items():
        if not state.startswith("lit") or state in ("lit, BACK", "lit, time up"):
            assert row["LAMP_INPUT"] < 0.1, state
        assert (row["LAMP_SENSE"] > 2) == (row["LAMP_INPUT"] > LIT_V), state
    for state in ("boot", "rest", "armed, BACK", "lit, BACK", "lit, time up", "armed, time up"):
        assert at[state]["ARM_INPUT"] < 0.1, state
    assert at["armed"]["ARM_INPUT"] > 4
    assert at["rest, second contact welded"]["FEEDBACK"] > 2


@with_ngspice
def test_the_cut_off_comes_after_the_longest_light_and_stays(circuit):
    """By the simulated clock and by the data sheets' T = 2.5 RC, which differ by a quarter."""
    assert (
        CEILING_S < CUTOFF_TURNS * period_s(circuit) < CUTOFF_TURNS * cutoff_period_s(circuit) < 2 * CEILING_S
    )
    assert period_s(circuit, time_up=True) == 0


@with_ngspice
def test_a_pico_2_stays_dark_while_it_starts_and_would_not_without_its_resistors(circuit):
    assert volts(circuit, leak_a=RP2350.pin_leak_a)["boot"]["LAMP_INPUT"] < 0.1
    without = {ref: part for ref, part in circuit.parts.items() if ref not in ("R19", "R2")}
    assert volts(replace(circuit, parts=without), leak_a=RP2350.pin_leak_a)["boot"]["LAMP_INPUT"] > LIT_V


@with_ngspice
def test_a_circuit_without_its_second_switch_is_found_out(circuit):
    """With Q3 bridged in the design itself, a shorted Q2 lights the lamp, and BACK does not put it out."""
    bridged = replace(circuit.parts["R5"], pads={"1": "LX", "2": "LAMP_OUT"}, value="1")
    poor = replace(circuit, parts=circuit.parts | {"R5": bridged})
    at = judged(poor, Fault("Q2", "joined", ("1", "3")), volts(poor))
    assert at.does == LIGHTS
    assert not {"BACK", "cut-off"} & set(at.lines)


@with_ngspice
def test_some_faults_simulated_again_are_as_the_table_says(circuit):
    chosen = list(faults_of(circuit))[::EACH]
    rows = {row[0]: row for row in read_table()}
    for judgement in all_judged(circuit, chosen):
        assert row_of(judgement) == rows[str(judgement.fault)]
