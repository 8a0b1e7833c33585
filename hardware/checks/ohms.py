"""What an ohmmeter reads on a good board before anything is plugged in, and that it finds what it is for.

What must live here: the readings of the acceptance test's first step, their limits, and the proof that each
fault of the table that this step has to find puts one of them out of its limits. `python -m
hardware.checks.ohms` prints the readings.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from hardware.checks.simulation import Fault, answered, netlist, node_of
from hardware.circuit import Circuit, read_circuit

OHM_A = 10e-6
"""Through what is measured: so little that no transistor or diode conducts."""
DIODE_A = 1e-3
"""A meter's diode range."""
OPEN_OHM = 1e6


@dataclass(frozen=True)
class Reading:
    """From `red` to `black`; `low` and `high` in ohm, on the diode range in volt. `back`: with BACK held."""

    red: str
    black: str
    low: float
    high: float
    diode: bool = False
    finds: str = ""
    back: bool = False

    @property
    def looks_for(self) -> list[str]:
        """The parts that it finds."""
        return re.findall(r"\b[A-Z]+\d+\b", self.finds)

    @property
    def limits(self) -> str:
        if self.diode:
            return f"{self.low:.2f} to {self.high:.2f} V"
        if self.high >= OPEN_OHM:
            return f"over {_ohm(self.low)}"
        return f"{_ohm(self.low)} to {_ohm(self.high)}"


def _ohm(value: float) -> str:
    return f"{value / 1000:.3g} kohm" if value >= 1000 else f"{value:.3g} ohm"


def _around(red: str, black: str, ohm: float, finds: str) -> Reading:
    return Reading(red, black, 0.95 * ohm, 1.05 * ohm, finds=finds)


READINGS = (
    Reading("3V3", "GND", 500, OPEN_OHM * 1e6, finds="a short of the 3.3 V supply"),
    Reading("VSYS", "GND", 2000, OPEN_OHM * 1e6, finds="a short of the 5 V supply"),
    Reading("VSYS", "V5S", 0.5, 12, finds="F1"),
    Reading("VSYS", "3V3", 2000, OPEN_OHM * 1e6, finds="a bridge between the supplies"),
    _around("LAMP", "GND", 3560, "R19, R1, R2"),
    _around("ARM", "GND", 3560, "R50, R51, R52"),
    _around("SAFELIGHT", "GND", 3560, "R28, R14, R15"),
    _around("BACKLIGHT", "GND", 4700, "R55"),
    _around("PIEZO", "GND", 4700, "R46"),
    _around("LAMP_SENSE", "GND", 15000, "R13"),
    _around("LAMP_OUT", "LAMP_SENSE", 10000, "R12"),
    _around("K_FEEDBACK", "FEEDBACK", 10000, "R37"),
    _around("OSC_IN", "OSC_X", 680000, "R21"),
    *(
        _around(f"K_{name}", pin, 1000, f"R3{number}")
        for number, (name, pin) in enumerate(
            (
                ("BACK", "BACK"),
                ("LAMP", "LAMP_KEY"),
                ("EXPOSE", "EXPOSE"),
                ("A", "DIAL_A"),
                ("B", "DIAL_B"),
                ("PRESS", "DIAL_PRESS"),
                ("PEDAL", "PEDAL"),
            )
        )
    ),
    Reading("PERMIT", "K_BACK", 0.15, 0.4, diode=True, finds="D1, and that it is no 1N4148"),
    Reading("PERMIT", "GND", 0.15, 0.4, diode=True, finds="D1 at BACK's own contact", back=True),
    Reading("GND", "LAMP_OUT", 0.4, 0.9, diode=True, finds="D2"),
    Reading("GND", "ARM_OUT", 0.4, 0.9, diode=True, finds="D8"),
    Reading("GND", "SAFE_OUT", 0.4, 0.9, diode=True, finds="D3"),
    Reading("GND", "K_FEEDBACK", 0.4, 0.9, diode=True, finds="D5"),
    Reading("GND", "K_PEDAL", 0.4, 0.9, diode=True, finds="D4"),
    Reading("GND", "C_SDA", 0.4, 0.9, diode=True, finds="D6"),
    Reading("GND", "C_SCL", 0.4, 0.9, diode=True, finds="D7"),
)


def read(circuit: Circuit, fault: Fault | None = None) -> list[float]:
    """What the meter reads, one for each of READINGS."""
    net = netlist(circuit, fault, bare=True)
    commands = []
    for number, reading in enumerate(READINGS):
        net.append(f"IM{number} {node_of(reading.black)} {node_of(reading.red)} 0")
    for number, reading in enumerate(READINGS):
        commands.append(f"alter IM{number} dc={DIODE_A if reading.diode else OHM_A}")
        commands.append(f"alter RSW1 = {1 if reading.back else 1e9}")
        red, black = (node_of(end) for end in (reading.red, reading.black))
        voltage = (
            f"v({red},{black})" if "0" not in (red, black) else f"v({red})" if black == "0" else f"v({black})"
        )
        commands += ["op", f"let m = {voltage}", "print m", f"alter IM{number} dc=0"]
    said = answered(net, commands)
    found = [abs(float(number)) for number in re.findall(r"^m = (-?[\d.e+-]+)", said, re.M)]
    if len(found) != len(READINGS):
        raise RuntimeError(f"{fault}: {said[-1500:]}")
    return [volt if reading.diode else volt / OHM_A for reading, volt in zip(READINGS, found, strict=True)]


def out_of_limits(circuit: Circuit, fault: Fault | None = None) -> list[Reading]:
    values = read(circuit, fault)
    return [
        reading
        for reading, value in zip(READINGS, values, strict=True)
        if not reading.low <= value <= reading.high
    ]


def table() -> list[str]:
    """As Markdown."""
    lines = ["| red probe | black probe | range | reads | finds |", "| --- | --- | --- | --- | --- |"]
    for reading in READINGS:
        kind = ("diode" if reading.diode else "ohm") + (", BACK held" if reading.back else "")
        lines.append(f"| {reading.red} | {reading.black} | {kind} | {reading.limits} | {reading.finds} |")
    return lines


def main() -> int:
    circuit = read_circuit()
    for reading, value in zip(READINGS, read(circuit), strict=True):
        shown = f"{value:.2f} V" if reading.diode else _ohm(value)
        print(f"{reading.red:12} {reading.black:12} {reading.limits:24} simulated {shown}")
    wrong = out_of_limits(circuit)
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
