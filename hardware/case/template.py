"""The drilling template, for a box that is bought: at its true size on A4, for a printer.

What must live here: how the template is drawn. `make guides` writes it, and needs nothing for it; where there
is rsvg-convert, a PDF too.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from pathlib import Path

from hardware.case.sizes import (
    CAP_PLAY,
    FLOOR,
    PANEL,
    SCREW_HOLE,
    SHAFT_HOLE,
    Sizes,
    read_sizes,
)
from hardware.circuit import HERE

FILE = HERE / "made" / "case" / "drilling.svg"
PAGE = (210.0, 297.0)
TOP = 78.0
"""Of the panel on the page."""
LEFT = 16.0
FOLD = 4.0
"""Between the panel and a wall beside it."""


def drawn(sizes: Sizes) -> str:
    left, top = LEFT, TOP
    wide, high = sizes.wide, sizes.high
    deep = sizes.inside + PANEL + FLOOR
    pieces: list[str] = []

    def place(x: float, y: float) -> tuple[float, float]:
        return left + wide / 2 + x, top + high / 2 - y

    def text(x: float, y: float, words: str, size: float = 2.8, anchor: str = "middle") -> None:
        pieces.append(
            f'<text x="{x:.2f}" y="{y:.2f}" font-size="{size}" text-anchor="{anchor}">{words}</text>'
        )

    def circle(kind: str, x: float, y: float, across: float) -> None:
        """With its cross, for the centre punch."""
        pieces.append(
            f'<circle class="{kind}" cx="{x:.3f}" cy="{y:.3f}" r="{across / 2:.3f}"/>'
            f'<path class="cross" d="M{x - across / 2 - 1.5:.3f} {y:.3f}h{across + 3:.3f}'
            f'M{x:.3f} {y - across / 2 - 1.5:.3f}v{across + 3:.3f}"/>'
        )

    def rectangle(kind: str, x: float, y: float, across: float, up: float, corner: float = 0) -> None:
        pieces.append(
            f'<rect class="{kind}" x="{x - across / 2:.3f}" y="{y - up / 2:.3f}" width="{across:.3f}" '
            f'height="{up:.3f}" rx="{corner:g}"/>'
        )

    # The line to check the print, and what this is.
    text(left, 12, "Lampblack: drilling template, seen from the front and from outside", 4, "start")
    text(
        left,
        17.5,
        "Print at 100 %, without fitting to the page. No case has been made with it yet.",
        3,
        "start",
    )
    pieces.append(f'<path id="ruler" class="hole" d="M{left} 24.000h100"/>')
    pieces.append(f'<path class="hole" d="M{left} 22v4M{left + 100} 22v4"/>')
    text(left + 103, 25, "This line is 100 mm: measure it.", 3, "start")

    rectangle("edge", *place(0, 0), wide, high)
    text(place(0, 0)[0], top + high + 5, f"panel, {wide} x {high} mm outside", 3)
    x, y = place(*sizes.window_at)
    rectangle("window", x, y, *sizes.window)
    rectangle("guide", x, y, *sizes.pane)
    text(x, y - 3, f"window {sizes.window[0]} x {sizes.window[1]}")
    text(x, y + 1, f"broken line: pane and gel, {sizes.pane[0]} x {sizes.pane[1]},")
    text(x, y + 5, "inside; not cut")
    for cap in sizes.caps:
        x, y = place(*cap.at)
        across, up = cap.wide + 2 * CAP_PLAY, cap.high + 2 * CAP_PLAY
        rectangle("key", x, y, across, up, 2)
        pieces.append(f'<path class="cross" d="M{x - 1.5:.3f} {y:.3f}h3M{x:.3f} {y - 1.5:.3f}v3"/>')
        text(x, y - 2.2, cap.name, 2.6)
        text(x, y + 4, f"{across:.1f} x {up:.1f}", 2.1)
    x, y = place(*sizes.dial)
    circle("dial", x, y, SHAFT_HOLE)
    text(x, y + 9, f"dial {SHAFT_HOLE}", 2.6)
    for hole in sizes.board_holes:
        x, y = place(*hole)
        circle("board", x, y, SCREW_HOLE)
    x, y = place(0, sizes.board_top)
    text(x, y + 6, f"four holes of {SCREW_HOLE}: board, on spacers of {sizes.gap} mm", 2.6)

    for entry in sizes.entries:
        depth = PANEL - entry.z
        x, y = place(entry.along, 0) if entry.wall == "rear" else place(0, entry.along)
        if entry.wall == "rear":
            y = top - FOLD - depth
        else:
            x = left + wide + FOLD + depth
        size = " x ".join(f"{length:g}" for length in entry.hole)
        if len(entry.hole) == 1:
            circle("entry", x, y, entry.hole[0])
        else:
            # On the right wall, what is wide runs along it, which is up the page.
            rectangle("entry", x, y, entry.hole[1], entry.hole[0])
            for side in (-1, 1):
                circle("screw", x, y + side * entry.screws / 2, SCREW_HOLE)
            text(x, y + entry.screws / 2 + 10, f"and two of {SCREW_HOLE}", 2.6)
        text(x, y + (10 if len(entry.hole) == 1 else entry.screws / 2 + 6), f"{entry.name} {size}", 2.6)
    rectangle("edge", *(place(0, 0)[0], top - FOLD - deep / 2), wide, deep)
    text(
        left + wide / 2, top - FOLD - deep + 4, "rear wall: its lower edge here is the one at the panel", 2.6
    )
    rectangle("edge", left + wide + FOLD + deep / 2, place(0, 0)[1], deep, high)
    text(left + wide + FOLD + deep / 2, top + 5, "right wall: its left edge", 2.6)
    text(left + wide + FOLD + deep / 2, top + 9, "here is the one at the panel", 2.6)

    style = (
        "<style>circle,rect,path{fill:none;stroke:#000;stroke-width:0.2}"
        ".cross{stroke-width:0.1}.guide{stroke-dasharray:2 1}.edge{stroke-width:0.1}</style>"
    )
    wide_page, high_page = PAGE
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide_page:g}mm" height="{high_page:g}mm" '
        f'viewBox="0 0 {wide_page:g} {high_page:g}" font-family="DejaVu Sans, Arial, sans-serif">'
        f"{style}\n" + "\n".join(pieces) + "\n</svg>\n"
    )


def main() -> None:
    FILE.parent.mkdir(parents=True, exist_ok=True)
    FILE.write_text(drawn(read_sizes()), "utf-8")
    if shutil.which("rsvg-convert"):
        FILE.with_suffix(".pdf").write_bytes(pdf(FILE))


def pdf(file: Path) -> bytes:
    """The same, as a file that every printer takes; without the day on which it was made."""
    command = ["rsvg-convert", "--format", "pdf", str(file)]
    environment = {**os.environ, "SOURCE_DATE_EPOCH": "0"}
    return subprocess.run(command, capture_output=True, check=True, env=environment).stdout


if __name__ == "__main__":
    main()
