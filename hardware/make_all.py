"""Makes everything of the hardware that is made, in the order of what needs what: `make hardware`.

What must live here: which targets there are, and which tool each needs. How a thing is made is its target's.
"""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
from dataclasses import dataclass

from hardware.circuit import HERE

NGSPICE, KICAD, BUILD123D = "ngspice", "kicad", "build123d"
HOW = {
    NGSPICE: "ngspice: apt-get install ngspice",
    KICAD: "KiCad 6 with its footprints: apt-get install kicad kicad-footprints (Debian 12)",
    BUILD123D: "build123d, about 1 GB: make case installs it first",
}


@dataclass(frozen=True)
class Target:
    """Of the Makefile. `makes`: what stays as it was where it fails."""

    name: str
    makes: str
    needs: str = ""


TARGETS = (
    Target("pins", "firmware/board/pins.py"),
    Target("faults", "the table of faults", NGSPICE),
    Target("board", "the board", KICAD),
    # From the board: its parts page, and what is built around it.
    Target("parts-page", "the parts page", KICAD),
    Target("case", "the case", BUILD123D),
    Target("drawings", "the schematic"),
    # From the table of faults and the board.
    Target("guides", "lists, tables and pictures of the pages"),
)


def is_there(tool: str, kicad_python: str) -> bool:
    if tool == NGSPICE:
        return shutil.which("ngspice") is not None
    if tool == KICAD:
        if not shutil.which(kicad_python):
            return False
        asked = [kicad_python, "-c", "import pcbnew; print(pcbnew.GetBuildVersion())"]
        said = subprocess.run(asked, capture_output=True, text=True)
        return said.returncode == 0 and said.stdout.startswith("6.")
    return tool != BUILD123D or importlib.util.find_spec(BUILD123D) is not None


def make(kicad_python: str) -> list[str]:
    """Makes what can be made. A line for each thing that was not."""
    lost = []
    for target in TARGETS:
        if not is_there(target.needs, kicad_python):
            lost.append(f"Not made: {target.makes}. It needs {HOW[target.needs]}.")
            continue
        print(f"make {target.name}", flush=True)
        command = ["make", "--no-print-directory", target.name, f"KICAD_PYTHON={kicad_python}"]
        # What stands round this one is no part of that.
        env = {name: value for name, value in os.environ.items() if name not in ("MAKEFLAGS", "MAKELEVEL")}
        if subprocess.run(command, cwd=HERE.parent, env=env).returncode:
            lost.append(f"Not made: {target.makes}. `make {target.name}` failed, see above.")
    return lost


def main() -> int:
    lost = make(sys.argv[1])
    print(*lost, sep="\n", end="\n" if lost else "", file=sys.stderr)
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
