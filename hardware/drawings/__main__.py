"""Draws all drawings of the schematic. `make drawings` runs it."""

import sys

from hardware.circuit import read_circuit
from hardware.drawings import MADE, drawn, faults_of, pictures


def main() -> int:
    circuit = read_circuit()
    drawings = drawn(circuit)
    faults = faults_of(drawings, circuit)
    if faults:
        print(*faults, sep="\n", file=sys.stderr)
        return 1
    MADE.mkdir(parents=True, exist_ok=True)
    for name, picture in pictures(drawings, circuit).items():
        (MADE / name).write_text(picture, encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
