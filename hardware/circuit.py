"""The circuit: parts.toml and pins.toml as one, and the rules that both must keep.

What must live here: reading the two files, and what may be said of any circuit of a box. It may not know how
anything is drawn, placed or made.
"""

from __future__ import annotations

import tomllib
from collections import defaultdict
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent

PULL_DOWN_MOST_OHM = 8200
"""From an output's pin to ground: RP2350 data sheet, erratum E9, asks for 8.2k or less."""

OUTPUT_KINDS = ("output-low", "pwm", "kept-free")
EDGE_PINS = 40
"""Of a Raspberry Pi Pico."""
CUTOFF_TURNS = 8192
"""Of the counter's clock until its last output rises: half a turn of Q13."""


class CircuitError(Exception):
    """parts.toml or pins.toml cannot be read as a circuit: one line."""


@dataclass(frozen=True)
class Pin:
    """A GPIO of the Pico, and the pad of U1 that it comes out at."""

    name: str
    gpio: int
    pin: int
    kind: str
    to: str

    @property
    def net(self) -> str:
        return self.name.upper()


@dataclass(frozen=True)
class Part:
    """A part with all that its class says of it. `pads`: pad of the footprint -> net."""

    ref: str
    value: str
    kind: str
    what: str
    does: str
    footprint: str
    height_mm: float
    step: int
    pads: dict[str, str]
    side: str = "front"
    fitted: bool = True
    place: tuple[float, float, float] = (0.0, 0.0, 0.0)
    contacts: tuple[str, ...] = ()
    substitutes: str = ""
    never: str = ""

    @property
    def ohm(self) -> float:
        """Of a resistor. CircuitError for any other part, and for a value that is none."""
        return quantity(self.value)


@dataclass(frozen=True)
class Bought:
    """What is bought and not soldered to the board. `step` is one of the case's; 0 is none."""

    name: str
    what: str
    count: int
    step: int = 0
    substitutes: str = ""
    never: str = ""


@dataclass(frozen=True)
class Circuit:
    pins: dict[str, Pin]
    parts: dict[str, Part]
    steps: dict[int, str]
    board: dict[str, Any] = field(default_factory=dict)
    case: dict[str, Any] = field(default_factory=dict)
    bought: tuple[Bought, ...] = ()

    @property
    def case_steps(self) -> dict[int, str]:
        return {int(number): title for number, title in self.case["step"].items()}

    @property
    def nets(self) -> dict[str, list[tuple[str, str]]]:
        """Net -> the pads (part, pad) on it, in the order of the file."""
        found: dict[str, list[tuple[str, str]]] = defaultdict(list)
        for part in self.parts.values():
            for pad, net in part.pads.items():
                found[net].append((part.ref, pad))
        return dict(found)

    def on(self, net: str) -> list[Part]:
        return [self.parts[ref] for ref, _ in self.nets.get(net, [])]


def quantity(value: str) -> float:
    """ "4k7" as 4700.0, "220n" as 2.2e-7, "68" as 68.0. CircuitError for anything else."""
    number = value.split()[0]
    for letter, factor in {"k": 1e3, "M": 1e6, "n": 1e-9, "u": 1e-6, "p": 1e-12}.items():
        if letter in number:
            whole, _, part = number.partition(letter)
            number, scale = f"{whole}.{part or 0}" if whole else value, factor
            break
    else:
        scale = 1.0
    try:
        return float(number) * scale
    except ValueError:
        raise CircuitError(f"{value!r} is no value of a part. Write it as 4k7, 220n or 68.") from None


def read_circuit(folder: Path = HERE) -> Circuit:
    """CircuitError where a file lacks what it must have, or names what is not there."""
    data = tomllib.loads((folder / "parts.toml").read_text(encoding="utf-8"))
    rows = tomllib.loads((folder / "pins.toml").read_text(encoding="utf-8"))
    pins = {name: Pin(name, **row) for name, row in rows.items()}
    steps = {int(number): title for number, title in data["step"].items()}
    parts = {}
    for ref, row in data["part"].items():
        kind = data["class"].get(row["class"])
        if kind is None:
            raise CircuitError(f"{ref} is of the class {row['class']}, which parts.toml does not have.")
        details = {**kind, **row}
        details["kind"] = details.pop("class")
        for what in ("place", "contacts"):
            if what in details:
                details[what] = tuple(details[what])
        pads = {str(pad): net for pad, net in details.pop("pads", {}).items()}
        try:
            parts[ref] = Part(ref, pads=pads, **details)
        except TypeError as fault:
            raise CircuitError(f"{ref} in parts.toml: {fault}.") from None
    parts["U1"].pads.update({str(pin.pin): pin.net for pin in pins.values()})
    parts["U1"].pads.update(data["pico"])
    try:
        bought = tuple(Bought(name, **row) for name, row in data.get("bought", {}).items())
    except TypeError as fault:
        raise CircuitError(f"What is bought in parts.toml: {fault}.") from None
    return Circuit(pins, parts, steps, data.get("board", {}), data.get("case", {}), bought)


def broken_rules(circuit: Circuit) -> list[str]:
    """A line for each rule that the circuit breaks, and where."""
    return [
        *_each_pin_once(circuit),
        *_each_net_joins(circuit),
        *_outputs_are_held_low(circuit),
        *_the_lamps_neighbours_are_quiet(circuit),
        *_parts_are_whole(circuit),
    ]


def _each_pin_once(circuit: Circuit) -> list[str]:
    faults = []
    for what in ("gpio", "pin"):
        used: dict[int, str] = {}
        for pin in circuit.pins.values():
            number = getattr(pin, what)
            if number in used:
                faults.append(f"{what} {number} is {used[number]}'s and {pin.name}'s")
            used[number] = pin.name
    for pin in circuit.pins.values():
        if pin.pin != edge_pin(pin.gpio):
            faults.append(f"{pin.name}: GPIO {pin.gpio} comes out at pin {edge_pin(pin.gpio)}, not {pin.pin}")
        if len(circuit.nets.get(pin.net, [])) < 2:
            faults.append(f"{pin.name}: nothing is connected to its pin")
    return faults


def edge_pin(gpio: int) -> int:
    """The number on a Pico's edge (Raspberry Pi Pico data sheet, pin-out): GPIOs in order, every third pin of
    the first rows ground. CircuitError for one that does not come out."""
    left = [1, 2, 4, 5, 6, 7, 9, 10, 11, 12, 14, 15, 16, 17, 19, 20]
    right = {16: 21, 17: 22, 18: 24, 19: 25, 20: 26, 21: 27, 22: 29, 26: 31, 27: 32, 28: 34}
    if 0 <= gpio < len(left):
        return left[gpio]
    if gpio in right:
        return right[gpio]
    raise CircuitError(f"GPIO {gpio} does not come out of a Pico.")


def _each_net_joins(circuit: Circuit) -> list[str]:
    return [
        f"net {net} has one pad only: {pads[0]}"
        for net, pads in circuit.nets.items()
        if len(pads) < 2 and circuit.parts[pads[0][0]].kind != "test-point"
    ]


def _outputs_are_held_low(circuit: Circuit) -> list[str]:
    faults = []
    for pin in circuit.pins.values():
        if pin.kind not in OUTPUT_KINDS:
            continue
        held = [
            part
            for part in circuit.on(pin.net)
            if part.kind == "resistor"
            and set(part.pads.values()) == {pin.net, "GND"}
            and part.ohm <= PULL_DOWN_MOST_OHM
            and part.fitted == (pin.kind != "kept-free")
        ]
        if not held:
            faults.append(f"{pin.name}: no resistor of {PULL_DOWN_MOST_OHM} ohm or less holds its pin low")
    return faults


def side_by_side(pins: int) -> list[tuple[int, int]]:
    """The neighbours among so many pins in two rows, counted round: the first of a row has one neighbour."""
    return [(one, other) for one, other in pairwise(range(1, pins + 1)) if one != pins // 2]


def cutoff_period_s(circuit: Circuit) -> float:
    """Of the counter's clock: 74HC4060 data sheet, T = 2.5 R C."""
    return 2.5 * circuit.parts["R20"].ohm * quantity(circuit.parts["C21"].value)


def _the_lamps_neighbours_are_quiet(circuit: Circuit) -> list[str]:
    """One bridge of solder, between pins side by side on the same edge, may not light the lamp."""
    lamp = circuit.pins["lamp"].pin
    faults = []
    for one, other in side_by_side(EDGE_PINS):
        if lamp in (one, other):
            beside = other if one == lamp else one
            net = circuit.parts["U1"].pads.get(str(beside))
            if net not in (None, "GND"):
                faults.append(f"pin {beside}, beside the lamp's, is {net}")
    return faults


def _parts_are_whole(circuit: Circuit) -> list[str]:
    faults = []
    for part in circuit.parts.values():
        if part.step not in circuit.steps:
            faults.append(f"{part.ref} is fitted in step {part.step}, which is none")
        if part.side not in ("front", "back"):
            faults.append(f"{part.ref} is on the side {part.side}")
        if not part.pads:
            faults.append(f"{part.ref} has no pads")
    return faults
