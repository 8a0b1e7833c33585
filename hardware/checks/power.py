"""What the box takes from its 5 V supply, by arithmetic, load by load, each with its source.

What must live here: the sum. What the outputs take is arithmetic from parts.toml; nothing has been measured
on a box.
"""

from __future__ import annotations

from typing import NamedTuple

from hardware.circuit import Circuit, read_circuit

USB_MA = 500.0
"""USB 2.0, 7.2.1: what a device may take once it is configured. Any certified 5 V supply gives more."""
INPUT_MA = 20.0
"""The most that an input of the switching unit may take (hardware/switching-unit.md)."""
OUTPUTS = ("LAMP_OUT", "ARM_OUT", "SAFE_OUT")
VSYS_V, LOGIC_V, ON_V, LED_V = 4.7, 3.3, 0.2, 2.0


class Load(NamedTuple):
    what: str
    worst_ma: float
    source: str


def loads(circuit: Circuit) -> list[Load]:
    """The worst of each, all at once."""
    base_ohm = [circuit.parts[ref].ohm for ref in ("R3", "R6", "R53", "R16")]
    drive_ma = sum(1000 * (VSYS_V - 0.7 - ON_V) / ohm for ohm in base_ohm)
    contacts_ma = 1000 * LOGIC_V / circuit.parts["R38"].ohm + 8 * 1000 * LOGIC_V / 10e3
    backlight_ma = 1000 * (VSYS_V - LED_V - ON_V) / circuit.parts["R57"].ohm
    return [
        Load("Pico, both cores busy, USB on", 95, "Raspberry Pi Pico data sheet, memory"),
        Load("2.42 inch display, every pixel lit", 170, "makers' data sheets, memory; text lights a sixth"),
        Load("or an LCD's backlight, full", backlight_ma, "R57: instead of the OLED, not in the sum"),
        Load("three inputs of the switching unit", INPUT_MA * len(OUTPUTS), "the limit in switching-unit.md"),
        Load("what drives their transistors", drive_ma, "R3, R6, R53, R16"),
        Load("contacts and pull-ups", contacts_ma, "R38, RN1"),
        Load("light cell", 5, "TSL2591 data sheet: under 1 mA, and its pull-ups"),
        Load("piezo", 10, "through R45, at the loudest, memory"),
    ]


def worst_ma(circuit: Circuit) -> float:
    return sum(load.worst_ma for load in loads(circuit) if not load.what.startswith("or "))


def table(circuit: Circuit) -> list[str]:
    """As Markdown."""
    lines = ["| load | worst, mA | source |", "| --- | --- | --- |"]
    lines += [f"| {load.what} | {load.worst_ma:.0f} | {load.source} |" for load in loads(circuit)]
    lines.append(f"| **all at once** | **{worst_ma(circuit):.0f}** of {USB_MA:.0f} | sum |")
    return lines


def main() -> int:
    circuit = read_circuit()
    print("\n".join(table(circuit)))
    return 0 if worst_ma(circuit) < USB_MA else 1


if __name__ == "__main__":
    raise SystemExit(main())
