"""The circuit in ngspice (https://ngspice.sourceforge.io): its voltages in every state, faults included.

What must live here: parts.toml as a netlist, and what stands round it: a Pico's pins, the counter, a
person's finger, the switching unit. It may not know what is good and what is not: `faults` does.

Models of transistors and diodes are typical ones, written from memory of their data sheets; judgements keep
far from their spread.
"""

from __future__ import annotations

import re
import subprocess
from dataclasses import dataclass

from hardware.circuit import Circuit, Part, quantity
from lampblack.board.chips import RP2040

VSYS_V = 4.7
"""USB's 5 V less the Pico's diode."""
LOGIC_V = 3.3
PIN_OHM = 40.0
"""Of a Pico's output at 8 mA, about; the data sheet gives 0.5 V at most at its rated current."""
COUNTER_OHM = 100.0
INPUT_OHM = 220.0
"""What a switching unit takes: 20 mA, the most that docs allow it."""

MODELS = """
.model NPNQ NPN(IS=4e-14 BF=350 VAF=100 IKF=0.5 RB=40 RC=0.3 RE=0.2 CJE=45p CJC=12p TF=0.6n)
.model PNPQ PNP(IS=4e-14 BF=300 VAF=60 IKF=0.5 RB=40 RC=0.4 RE=0.2 CJE=50p CJC=15p TF=0.7n)
.model SWITCHING D(IS=4.35e-9 N=1.9 RS=0.6 BV=110)
.model SCHOTTKY D(IS=2e-7 N=1.05 RS=2 BV=30)
.model SUPPRESSOR D(IS=1e-9 N=1.5 RS=0.3 BV=6.8 IBV=10m)
.model CLAMP D(IS=1e-12 N=1 RS=50)
.model CONTACT SW(VT=3 VH=0.1 RON=1 ROFF=1e9)
"""


@dataclass(frozen=True)
class State:
    """What firmware, finger and time do. The pins float where `driven` is false."""

    lamp: int = 0
    arm: int = 0
    safelight: int = 0
    back: int = 0
    time_up: int = 0
    tick: int = 0
    welded: int = 0
    driven: bool = True


STATES = {
    "boot": State(driven=False),
    "rest": State(safelight=1),
    "rest, safelight off": State(),
    "rest, BACK": State(safelight=1, back=1),
    "armed": State(arm=1, safelight=1),
    "armed, BACK": State(arm=1, safelight=1, back=1),
    "lit": State(lamp=1, arm=1),
    "lit, tick": State(lamp=1, arm=1, tick=1),
    "lit, safelight on": State(lamp=1, arm=1, safelight=1),
    "lit, no second contact": State(lamp=1),
    "lit, BACK": State(lamp=1, arm=1, back=1),
    "lit, time up": State(lamp=1, arm=1, time_up=1),
    "rest, time up": State(safelight=1, time_up=1),
    "armed, time up": State(arm=1, safelight=1, time_up=1),
    "rest, second contact welded": State(safelight=1, welded=1),
}

OUTPUTS = ("LAMP", "ARM", "SAFELIGHT")
PINS = ("LAMP_SENSE", "FEEDBACK", "CUTOFF_TICK", "BACK", *OUTPUTS)
WATCHED = (*PINS, "CUT_RESET", "LAMP_INPUT", "ARM_INPUT", "SAFE_INPUT", "SUPPLY_MA")
"""PINS are seen at the Pico's own pins, inputs at the switching unit."""


@dataclass(frozen=True)
class Fault:
    """`kind` is "open" with one pad, "joined" with two."""

    ref: str
    kind: str
    pads: tuple[str, ...]

    def __str__(self) -> str:
        if self.kind == "open":
            return f"{self.ref} pad {self.pads[0]} open"
        return f"{self.ref} pads {self.pads[0]} and {self.pads[1]} joined"


def node_of(net: str) -> str:
    return "0" if net == "GND" else "n_" + re.sub(r"\W", "_", net.lower())


def netlist(
    circuit: Circuit, fault: Fault | None = None, leak_a: float = RP2040.pin_leak_a, bare: bool = False
) -> list[str]:
    """The circuit, with what stands round it, and with the fault. `bare`: neither Pico nor counter is plugged
    in, and nothing is connected."""
    lines = ["* the box's circuit", *MODELS.strip().split("\n")]
    nodes = set()
    for part in circuit.parts.values():
        if not part.fitted or (bare and part.kind in ("pico", "counter")):
            continue
        at = {pad: node_of(net) for pad, net in part.pads.items()}
        if fault and fault.ref == part.ref:
            if fault.kind == "open":
                at[fault.pads[0]] = f"open_{part.ref.lower()}"
                nodes.add(at[fault.pads[0]])
            else:
                lines.append(f"RFAULT {at[fault.pads[0]]} {at[fault.pads[1]]} 0.1")
        nodes |= set(at.values())
        if not (bare and part.ref in ("J2", "J5")):
            lines += _elements(circuit, part, at, leak_a)
    nodes |= {"x_lamp", "x_gnd", "x_arm", "x_feedback", "x_safe", "x_sgnd"}
    # Nothing floats for ngspice: a thousand times what any part has.
    lines += [f"RG{number} {node} 0 1e10" for number, node in enumerate(sorted(nodes - {"0"}))]
    return lines


def _elements(circuit: Circuit, part: Part, at: dict[str, str], leak_a: float) -> list[str]:
    ref = part.ref
    match part.kind:
        case "resistor":
            return [f"R{ref} {at['1']} {at['2']} {part.ohm:g}"]
        case "fuse":
            return [f"R{ref} {at['1']} {at['2']} 3"]
        case "network":
            return [f"R{ref}_{pad} {at['1']} {at[pad]} 10k" for pad in at if pad != "1"]
        case "ceramic" | "film" | "electrolytic":
            return [f"C{ref} {at['1']} {at['2']} {quantity(part.value):g}"]
        case "switching-diode" | "schottky-diode" | "suppressor":
            model = {"switching-diode": "SWITCHING", "schottky-diode": "SCHOTTKY"}.get(
                part.kind, "SUPPRESSOR"
            )
            return [f"D{ref} {at['2']} {at['1']} {model}"]
        case "npn" | "pnp":
            return [f"Q{ref} {at['1']} {at['2']} {at['3']} {part.kind.upper()}Q"]
        case "key":
            return [f"R{ref} {at['1']} {at['2']} 1e9"]
        case "counter":
            return _counter(at)
        case "pico":
            return _pico(circuit, at, leak_a)
    return {"J2": _switching_unit, "J5": _safelight}.get(ref, _nothing)(at)


def _nothing(at: dict[str, str]) -> list[str]:
    """Connectors, jumpers, dial and piezo: nothing flows there that the lamp depends on."""
    return []


def _pico(circuit: Circuit, at: dict[str, str], leak_a: float) -> list[str]:
    lines = [
        f"VVSYS {at['39']} 0 {VSYS_V}",
        f"V3V3 {at['36']} 0 {LOGIC_V}",
        "BSUPPLY supply_ma 0 V=-1000*i(VVSYS)",
    ]
    for pin in circuit.pins.values():
        node = at[str(pin.pin)]
        name = pin.name
        if pin.kind in ("output-low", "pwm"):
            lines += [
                f"VP_{name} p_{name} 0 0",
                f"RP_{name} p_{name} {node} {PIN_OHM}",
                f"IP_{name} 0 {node} 0",
            ]
        elif pin.kind in ("key", "dial"):
            lines.append(f"RP_{name} {node} {at['36']} 65k")
        elif pin.kind != "kept-free":
            lines.append(f"RP_{name} {node} 0 3.3e6")
        if pin.net in PINS:
            lines.append(f"BPIN_{name} pin_{name} 0 V=V({node})")
    return lines


def _counter(at: dict[str, str]) -> list[str]:
    """Its supply, outputs and oscillator. What it has counted is told by the state."""
    supply = f"V({at['16']},{at['8']})"
    alive = f"(1/(1+exp(-20*({supply}-2))))"
    high = f"1/(1+exp(-30*(V({at['11']})-1.65)))"
    return [
        "VCUT cut_said 0 0",
        f"BCUT cut_out 0 V=V(cut_said)*{alive}",
        f"RCUT cut_out {at['3']} {COUNTER_OHM}",
        "VTICK tick_said 0 0",
        f"BTICK tick_out 0 V=V(tick_said)*{alive}",
        f"RTICK tick_out {at['7']} {COUNTER_OHM}",
        f"BOSCR osc_r_out 0 V={LOGIC_V}*(1-{high})*{alive}",
        f"ROSCR osc_r_out {at['10']} {COUNTER_OHM}",
        f"BOSCC osc_c_out 0 V={LOGIC_V}*({high})*{alive}",
        f"ROSCC osc_c_out {at['9']} {COUNTER_OHM}",
        f"DOSCH {at['11']} {at['16']} CLAMP",
        f"DOSCL {at['8']} {at['11']} CLAMP",
        f"RRESET {at['12']} {at['8']} 1e8",
        f"RSUPPLY {at['16']} {at['8']} 1e6",
        f"BRESET reset_seen 0 V=V({at['12']},{at['8']})",
    ]


def _switching_unit(at: dict[str, str]) -> list[str]:
    """Two inputs, and a mirror contact that is closed while the second contact is open."""
    return [
        f"RJ_LAMP {at['1']} x_lamp 0.05",
        f"RJ_GND {at['2']} x_gnd 0.05",
        f"RJ_ARM {at['3']} x_arm 0.05",
        f"RJ_FB {at['4']} x_feedback 0.05",
        f"RK1 x_lamp x_gnd {INPUT_OHM}",
        f"RK2 x_arm x_gnd {INPUT_OHM}",
        "VWELDED welded 0 0",
        "BK2 k2_off 0 V=5-V(x_arm,x_gnd)-V(welded)",
        "BLAMP lamp_input 0 V=V(x_lamp,x_gnd)",
        "BARM arm_input 0 V=V(x_arm,x_gnd)",
        "SK2 x_feedback x_gnd k2_off 0 CONTACT",
    ]


def _safelight(at: dict[str, str]) -> list[str]:
    return [
        f"RJ_SAFE {at['1']} x_safe 0.05",
        f"RJ_SGND {at['2']} x_sgnd 0.05",
        f"RK3 x_safe x_sgnd {INPUT_OHM}",
        "BSAFE safe_input 0 V=V(x_safe,x_sgnd)",
    ]


# --- what it does


Volts = dict[str, dict[str, float]]
"""State -> net -> volts."""


def volts(circuit: Circuit, fault: Fault | None = None, leak_a: float = RP2040.pin_leak_a) -> Volts:
    """The watched nets in every state. RuntimeError with ngspice's words where it finds no answer."""
    commands = []
    for state in STATES.values():
        for name in ("lamp", "arm", "safelight"):
            commands.append(f"alter VP_{name} dc={LOGIC_V * getattr(state, name)}")
        for name in ("lamp", "arm", "safelight", "backlight", "piezo"):
            commands.append(f"alter RP_{name} = {PIN_OHM if state.driven else 1e9}")
            commands.append(f"alter IP_{name} dc={0 if state.driven else leak_a}")
        commands.append(f"alter RSW1 = {1 if state.back else 1e9}")
        commands.append(f"alter VCUT dc={LOGIC_V * state.time_up}")
        commands.append(f"alter VTICK dc={LOGIC_V * state.tick}")
        commands.append(f"alter VWELDED dc={5 * state.welded}")
        commands += ["op", "print " + " ".join(f"v({_watched(net)})" for net in WATCHED)]
    said = answered(netlist(circuit, fault, leak_a), commands)
    found = [float(number) for number in re.findall(r"^v\(\w+\) = (-?[\d.e+-]+)", said, re.M)]
    if len(found) != len(STATES) * len(WATCHED):
        raise RuntimeError(f"{fault}: {said[-1500:]}")
    rows = (found[start : start + len(WATCHED)] for start in range(0, len(found), len(WATCHED)))
    return {state: dict(zip(WATCHED, row, strict=True)) for state, row in zip(STATES, rows, strict=True)}


def _watched(net: str) -> str:
    if net in PINS:
        return "pin_" + net.lower()
    return "reset_seen" if net == "CUT_RESET" else net.lower()


def period_s(circuit: Circuit, fault: Fault | None = None, time_up: bool = False) -> float:
    """Of the counter's clock while the lamp is lit; 0 where it stands still."""
    net = [*netlist(circuit, fault), ".ic v(n_osc_x)=0"]
    commands = [
        f"alter VCUT dc={LOGIC_V * time_up}",
        f"alter VP_lamp dc={LOGIC_V}",
        f"alter VP_arm dc={LOGIC_V}",
        "tran 0.5m 1.4 0 0.5m uic",
        "meas tran first WHEN v(n_osc_r)=1.65 RISE=2",
        "meas tran last WHEN v(n_osc_r)=1.65 RISE=7",
    ]
    said = answered(net, commands)
    at = dict(re.findall(r"^(first|last)\s+=\s+(-?[\d.e+-]+)", said, re.M))
    if len(at) < 2:
        return 0.0
    return (float(at["last"]) - float(at["first"])) / 5


def answered(net: list[str], commands: list[str]) -> str:
    """What ngspice says to the commands."""
    text = "\n".join([*net, ".control", "set noaskquit", "set numdgt=6", *commands, "quit", ".endc", ".end"])
    done = subprocess.run(
        ["ngspice", "-b", "-n", "/dev/stdin"],
        input=text,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    return done.stdout + done.stderr
