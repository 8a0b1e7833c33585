"""Makes all of the case in hardware/made/case. `make case` runs it; needs `pip install -e '.[case]'`."""

import sys
from pathlib import Path

from build123d import Part, export_step, export_stl

from hardware.case import pictures, solids, template
from hardware.case.sizes import Sizes, read_sizes

DAY = "2000-01-01T00:00:00"
"""Written into every file, so that the same case is the same file."""
ROUND, TURN = 0.06, 0.35
"""How far the triangles for a printer may be from round, in mm and radians."""


def make(s: Sizes, target: Path) -> None:
    target.mkdir(parents=True, exist_ok=True)
    for name, part in solids.printed(s).items():
        export_step(part, target / f"{name}.step", write_pcurves=False, timestamp=DAY)
        _write_triangles(name, part, target)
    for name, picture in pictures.drawings(s).items():
        (target / name).write_text(picture, "utf-8")


def _write_triangles(name: str, part: Part, target: Path) -> None:
    lying = solids.on_the_bed(name, part)
    export_stl(lying, target / f"{name}.stl", tolerance=ROUND, angular_tolerance=TURN)


def main(target: Path = template.FILE.parent) -> None:
    s = read_sizes()
    if faults := s.faults():
        raise SystemExit("\n".join(faults))
    make(s, target)


if __name__ == "__main__":
    main(*(Path(argument) for argument in sys.argv[1:]))
