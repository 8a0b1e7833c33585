"""What is made from a finished board: the report of its rules, what a maker takes, and drawings.

What must live here: KiCad's plots, and how they are the same every time. It may not change the board.
"""

from __future__ import annotations

import re
import tempfile
import zipfile
from collections import Counter
from pathlib import Path

import pcbnew

ZIP_DATE = (2000, 1, 1, 0, 0, 0)
MADE_AT = re.compile(
    r"^(%TF\.CreationDate.*|G04 Created by KiCad.*|; DRILL file.*|; #@! TF\.CreationDate.*)\n", re.M
)
LAYERS = {
    "F_Cu": pcbnew.F_Cu,
    "B_Cu": pcbnew.B_Cu,
    "F_Mask": pcbnew.F_Mask,
    "B_Mask": pcbnew.B_Mask,
    "F_Silkscreen": pcbnew.F_SilkS,
    "B_Silkscreen": pcbnew.B_SilkS,
    "Edge_Cuts": pcbnew.Edge_Cuts,
}
DRAWN = {
    "front": (pcbnew.F_Mask, pcbnew.Edge_Cuts, pcbnew.F_SilkS),
    "back": (pcbnew.B_Mask, pcbnew.Edge_Cuts, pcbnew.B_SilkS),
}
VIEW = re.compile(r'width="[^"]*" height="[^"]*" viewBox="0 0 (\d+) \d+"')
HIDDEN = re.compile(r"<title>.*?</title>|<text.*?</text>|(?<=\d)\.000000", re.S)
"""The date; words that are drawn, and hidden in the file once more; millionths of a nanometre."""


def broken_rules(board: pcbnew.BOARD) -> dict[str, int]:
    """How often KiCad finds which of its rules broken; empty for a good board."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "drc.txt"
        pcbnew.WriteDRCReport(board, str(file), pcbnew.EDA_UNITS_MILLIMETRES, True)
        return dict(sorted(Counter(re.findall(r"^\[(\w+)\]", file.read_text("utf-8"), re.M)).items()))


def summary(board: pcbnew.BOARD, broken: dict[str, int]) -> str:
    """What KiCad says of the board, in a few lines."""
    vias = sum(isinstance(item, pcbnew.PCB_VIA) for item in board.GetTracks())
    lines = [
        f"parts: {len(board.GetFootprints())}, mounting holes among them",
        f"nets: {board.GetNetCount() - 1}",
        f"tracks: {len(board.GetTracks()) - vias}",
        f"vias: {vias}",
        f"connections missing: {board.GetConnectivity().GetUnconnectedCount()}",
        f"rules broken: {sum(broken.values())}",
        *(f"  {name}: {count}" for name, count in broken.items()),
    ]
    return "\n".join(lines) + "\n"


def _plotter(board: pcbnew.BOARD, folder: str) -> pcbnew.PLOT_CONTROLLER:
    """Plots the board alone into `folder`: no frame of a page, no values."""
    plot = pcbnew.PLOT_CONTROLLER(board)
    options = plot.GetPlotOptions()
    options.SetOutputDirectory(folder)
    options.SetPlotFrameRef(False)
    options.SetPlotValue(False)
    return plot


def maker_files(board: pcbnew.BOARD, name: str, target: Path) -> None:
    """Copper, masks, words, outline and drills, in the zip that makers of boards take."""
    with tempfile.TemporaryDirectory() as folder:
        plot = _plotter(board, folder)
        options = plot.GetPlotOptions()
        options.SetUseGerberProtelExtensions(False)
        options.SetCreateGerberJobFile(False)
        options.SetUseGerberX2format(True)
        options.SetIncludeGerberNetlistInfo(True)
        options.SetSubtractMaskFromSilk(True)
        for layer_name, layer in LAYERS.items():
            plot.SetLayer(layer)
            plot.OpenPlotfile(layer_name, pcbnew.PLOT_FORMAT_GERBER, layer_name)
            plot.PlotLayer()
        plot.ClosePlot()
        drills = pcbnew.EXCELLON_WRITER(board)
        drills.SetFormat(True)
        drills.SetOptions(False, False, board.GetDesignSettings().GetAuxOrigin(), False)
        drills.CreateDrillandMapFilesSet(folder, True, False)
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            for file in sorted(Path(folder).iterdir()):
                entry = zipfile.ZipInfo(f"{name}-{file.name.split('-', 1)[1]}", ZIP_DATE)
                entry.compress_type = zipfile.ZIP_DEFLATED
                entry.external_attr = 0o644 << 16
                archive.writestr(entry, MADE_AT.sub("", file.read_text("utf-8")))


def draw(board: pcbnew.BOARD, target: Path) -> None:
    """A drawing of each side, as one looks at it: outline, words and pads."""
    with tempfile.TemporaryDirectory() as folder:
        plot = _plotter(board, folder)
        options = plot.GetPlotOptions()
        marks = options.GetDrillMarksType()
        edge = board.GetBoardEdgesBoundingBox()
        for side, layers in DRAWN.items():
            options.SetMirror(side == "back")
            plot.SetLayer(layers[0])
            plot.OpenPlotfile(side, pcbnew.PLOT_FORMAT_SVG, side)
            for layer in layers:
                plot.SetLayer(layer)
                # Holes are drawn in their pads alone: in words they would be gaps.
                options.SetDrillMarksType(
                    marks if layer == layers[0] else pcbnew.PCB_PLOT_PARAMS.NO_DRILL_SHAPE
                )
                plot.PlotLayer()
            plot.ClosePlot()
            (file,) = Path(folder).glob(f"*-{side}.svg")
            text = file.read_text("utf-8")
            width = float(VIEW.search(text)[1])  # type: ignore[index]
            left = width - edge.GetRight() if side == "back" else edge.GetLeft()
            size = f'width="{edge.GetWidth() / 1e6}mm" height="{edge.GetHeight() / 1e6}mm"'
            view = f'viewBox="{left:.0f} {edge.GetTop()} {edge.GetWidth()} {edge.GetHeight()}"'
            text = VIEW.sub(f"{size} {view}", HIDDEN.sub("", text))
            (target / f"{side}.svg").write_text(text, "utf-8")
