"""The schematic, drawn by code: a module for each sheet, all of them compared with the parts.

What must live here: which sheets there are, and where their pictures lie.
"""

from hardware.circuit import HERE, Circuit
from hardware.sheets import arm, connectors, cutoff, display, keys, lamp, pico, safelight
from hardware.sheets.sheet import Sheet, nets_of, part_faults

MADE = HERE / "made" / "sheets"
MODULES = (pico, lamp, cutoff, arm, safelight, keys, display, connectors)


def drawn(circuit: Circuit) -> list[Sheet]:
    """All sheets, in order."""
    return [module.draw(circuit) for module in MODULES]


def faults_of(sheets: list[Sheet], circuit: Circuit) -> list[str]:
    """A line for each thing on a sheet that is not as the parts have it, or not to be read."""
    where = nets_of(sheets, circuit)
    faults = part_faults(sheets, circuit)
    for sheet in sheets:
        faults += [f"sheet {sheet.number}: {line}" for line in sheet.faults() + sheet.crowded(where)]
    return faults


def pictures(sheets: list[Sheet], circuit: Circuit) -> dict[str, str]:
    """File name -> the picture, as SVG."""
    where = nets_of(sheets, circuit)
    names = [module.__name__.rpartition(".")[2] for module in MODULES]
    return {f"{sheet.number}-{name}.svg": sheet.svg(where) for sheet, name in zip(sheets, names)}
