"""The schematic, drawn by code: a module for each drawing, all of them compared with the parts.

What must live here: which drawings there are, and where their pictures lie.
"""

from hardware.circuit import HERE, Circuit
from hardware.drawings import arm, connectors, cutoff, display, keys, lamp, pico, safelight
from hardware.drawings.drawing import Drawing, nets_of, part_faults

MADE = HERE / "made" / "drawings"
MODULES = (pico, lamp, cutoff, arm, safelight, keys, display, connectors)


def drawn(circuit: Circuit) -> list[Drawing]:
    """All drawings, in order."""
    return [module.draw(circuit) for module in MODULES]


def faults_of(drawings: list[Drawing], circuit: Circuit) -> list[str]:
    """A line for each thing on a drawing that is not as the parts have it, or not to be read."""
    where = nets_of(drawings, circuit)
    faults = part_faults(drawings, circuit)
    for drawing in drawings:
        faults += [f"drawing {drawing.number}: {line}" for line in drawing.faults() + drawing.crowded(where)]
    return faults


def pictures(drawings: list[Drawing], circuit: Circuit) -> dict[str, str]:
    """File name -> the picture, as SVG."""
    where = nets_of(drawings, circuit)
    names = [module.__name__.rpartition(".")[2] for module in MODULES]
    return {f"{drawing.number}-{name}.svg": drawing.svg(where) for drawing, name in zip(drawings, names)}
