"""Makes the board from parts.toml and pins.toml: places, nets, outline, words, tracks and poured ground.

What must live here: what KiCad is told. Where a part is and what it connects is in parts.toml; how tracks are
found, in route.py. It runs under the Python that KiCad came with: `make board`.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from functools import cache
from itertools import pairwise
from pathlib import Path

import pcbnew

from hardware.circuit import Circuit, Part, read_circuit
from hardware.plot import broken_rules, draw, maker_files, summary
from hardware.route import BACK, VIA_DRILL_MM, VIA_MM, Kind, Land, Router
from hardware.silk import box_of, mm, touches
from hardware.steady import steady
from hardware.words import IN_A_LINE, write_words

MADE = Path(__file__).parent / "made" / "board"
FILE = "lampblack.kicad_pcb"
LIBRARY = Path("/usr/share/kicad/footprints")

USUAL = Kind(width_mm=0.3, gap_mm=0.2)
WIDE = Kind(width_mm=0.8, gap_mm=0.2)
APART = Kind(width_mm=0.3, gap_mm=0.5)
"""Far from all that is live while the lamp is dark: a splash of solder or a whisker is shorter."""
POUR_GAP_MM = 0.3
ROUND_MM = 0.03
"""How far a circle of the poured ground may be from round: less makes large files."""
HOLE = "MountingHole:MountingHole_3.2mm_M3"


def build(circuit: Circuit) -> pcbnew.BOARD:
    """The board with all but its tracks and words."""
    board = pcbnew.BOARD()
    set_rules(board)
    nets = {}
    for net in circuit.nets:
        nets[net] = pcbnew.NETINFO_ITEM(board, net)
        board.Add(nets[net])
    for part in circuit.parts.values():
        _add_part(board, part, nets)
    for number, (x, y) in enumerate(circuit.board["holes"], 1):
        hole = pcbnew.FOOTPRINT(_loaded(HOLE))
        hole.SetReference(f"H{number}")
        hole.Reference().SetVisible(False)
        hole.SetPosition(pcbnew.wxPointMM(x, y))
        board.Add(hole)
    width, height = circuit.board["size"]
    _outline(board, width, height)
    for layer in (pcbnew.F_Cu, pcbnew.B_Cu):
        _pour(board, layer, nets["GND"], width, height)
    board.BuildListOfNets()
    return board


def set_rules(board: pcbnew.BOARD) -> None:
    """What any cheap maker of boards can do."""
    rules = board.GetDesignSettings()
    rules.m_MaxError = pcbnew.FromMM(ROUND_MM)
    rules.m_TrackMinWidth = pcbnew.FromMM(USUAL.width_mm)
    rules.m_MinClearance = pcbnew.FromMM(USUAL.gap_mm)
    rules.m_HoleClearance = pcbnew.FromMM(0.25)
    rules.m_CopperEdgeClearance = pcbnew.FromMM(0.5)
    usual = rules.GetNetClasses().GetDefault()
    usual.SetClearance(pcbnew.FromMM(USUAL.gap_mm))
    usual.SetTrackWidth(pcbnew.FromMM(USUAL.width_mm))
    usual.SetViaDiameter(pcbnew.FromMM(VIA_MM))
    usual.SetViaDrill(pcbnew.FromMM(VIA_DRILL_MM))


def _add_part(board: pcbnew.BOARD, part: Part, nets: dict[str, pcbnew.NETINFO_ITEM]) -> None:
    """At its place, its pads with their nets."""
    footprint = _pico(board) if part.footprint == "own:Pico" else pcbnew.FOOTPRINT(_loaded(part.footprint))
    footprint.SetReference(part.ref)
    footprint.SetValue(part.value if part.fitted else "not fitted")
    board.Add(footprint)
    x, y, turn = part.place
    footprint.SetPosition(pcbnew.wxPointMM(x, y))
    if part.side == "back":
        footprint.Flip(footprint.GetPosition(), False)
    footprint.SetOrientationDegrees(turn)
    named = set()
    for pad in footprint.Pads():
        if net := part.pads.get(pad.GetNumber()):
            pad.SetNet(nets[net])
            named.add(pad.GetNumber())
    if named != set(part.pads):
        raise SystemExit(f"{part.ref}: {part.footprint} has no pad {sorted(set(part.pads) - named)}")


@cache
def _loaded(name: str) -> pcbnew.FOOTPRINT:
    """From KiCad's library."""
    library, _, name = name.partition(":")
    footprint = pcbnew.FootprintLoad(str(LIBRARY / f"{library}.pretty"), name)
    footprint.SetFPID(pcbnew.LIB_ID(library, name))
    return footprint


def _pico(board: pcbnew.BOARD) -> pcbnew.FOOTPRINT:
    """On two rows of sockets: 2 x 20, 2.54 mm, rows 17.78 mm apart; origin in the middle, USB at the top."""
    footprint = pcbnew.FOOTPRINT(board)
    footprint.SetFPID(pcbnew.LIB_ID("own", "Pico"))
    for number in range(1, 41):
        row = number - 1 if number <= 20 else 40 - number
        at = pcbnew.wxPointMM(-8.89 if number <= 20 else 8.89, row * 2.54 - 24.13)
        pad = pcbnew.PAD(footprint)
        pad.SetNumber(str(number))
        pad.SetAttribute(pcbnew.PAD_ATTRIB_PTH)
        pad.SetShape(pcbnew.PAD_SHAPE_RECT if number == 1 else pcbnew.PAD_SHAPE_CIRCLE)
        pad.SetSize(pcbnew.wxSizeMM(1.7, 1.7))
        pad.SetDrillSize(pcbnew.wxSizeMM(1.0, 1.0))
        pad.SetLayerSet(pad.PTHMask())
        pad.SetPos0(at)
        pad.SetPosition(at)
        footprint.Add(pad)
    boxes = [
        (pcbnew.F_SilkS, 0.12, (-10.5, -25.5, 10.5, 25.5)),
        (pcbnew.F_SilkS, 0.12, (-4.0, -26.8, 4.0, -21.0)),
        (pcbnew.F_CrtYd, 0.05, (-10.75, -27.0, 10.75, 25.75)),
        (pcbnew.F_Fab, 0.1, (-10.5, -25.5, 10.5, 25.5)),
    ]
    for layer, line, (left, top, right, bottom) in boxes:
        corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
        for start, end in pairwise(corners):
            shape = pcbnew.FP_SHAPE(footprint)
            shape.SetShape(pcbnew.SHAPE_T_SEGMENT)
            shape.SetLayer(layer)
            shape.SetWidth(pcbnew.FromMM(line))
            shape.SetStart0(pcbnew.wxPointMM(*start))
            shape.SetEnd0(pcbnew.wxPointMM(*end))
            shape.SetDrawCoord()
            footprint.Add(shape)
    return footprint


def _outline(board: pcbnew.BOARD, width: float, height: float) -> None:
    edge = pcbnew.PCB_SHAPE(board)
    edge.SetShape(pcbnew.SHAPE_T_RECT)
    edge.SetLayer(pcbnew.Edge_Cuts)
    edge.SetWidth(pcbnew.FromMM(0.1))
    edge.SetStart(pcbnew.wxPointMM(0, 0))
    edge.SetEnd(pcbnew.wxPointMM(width, height))
    board.Add(edge)


def _pour(board: pcbnew.BOARD, layer: int, net: pcbnew.NETINFO_ITEM, width: float, height: float) -> None:
    zone = pcbnew.ZONE(board)
    zone.SetLayer(layer)
    zone.SetNet(net)
    zone.SetLocalClearance(pcbnew.FromMM(POUR_GAP_MM))
    zone.SetMinThickness(pcbnew.FromMM(0.25))
    zone.SetThermalReliefGap(pcbnew.FromMM(0.4))
    zone.SetThermalReliefSpokeWidth(pcbnew.FromMM(0.5))
    outline = zone.Outline()
    outline.NewOutline()
    for x, y in ((0.5, 0.5), (width - 0.5, 0.5), (width - 0.5, height - 0.5), (0.5, height - 0.5)):
        outline.Append(pcbnew.FromMM(x), pcbnew.FromMM(y))
    board.Add(zone)


def lands(board: pcbnew.BOARD) -> list[Land]:
    found = []
    for footprint in sorted(board.GetFootprints(), key=lambda f: f.GetReference()):
        for pad in footprint.Pads():
            at, size, drill = pad.GetPosition(), pad.GetSize(), pad.GetDrillSize()
            width, height = max(size.x, drill.x) / 1e6, max(size.y, drill.y) / 1e6
            if round(pad.GetOrientation() / 10) % 180 == 90:
                width, height = height, width
            is_square = pad.GetShape() == pcbnew.PAD_SHAPE_RECT
            found.append(Land(at.x / 1e6, at.y / 1e6, width, height, is_square, pad.GetNetname()))
    return found


def lay_tracks(board: pcbnew.BOARD, circuit: Circuit) -> None:
    kinds = {
        **dict.fromkeys(circuit.board["apart"], APART),
        **dict.fromkeys(circuit.board["wide"], WIDE),
    }
    # No hole in what is written in the part's own outline.
    whole = [
        box_of(board.FindFootprintByReference(part.ref))
        for part in circuit.parts.values()
        if part.kind in (*IN_A_LINE, "npn", "pnp")
    ]
    router = Router(tuple(circuit.board["size"]), lands(board), USUAL, kinds, "GND", whole)
    taken_up = router.run()
    tracks, vias = router.copper()
    for track in tracks:
        item = pcbnew.PCB_TRACK(board)
        item.SetStart(pcbnew.wxPointMM(*track.start_mm))
        item.SetEnd(pcbnew.wxPointMM(*track.end_mm))
        item.SetWidth(pcbnew.FromMM(track.width_mm))
        item.SetLayer(pcbnew.B_Cu if track.side == BACK else pcbnew.F_Cu)
        item.SetNet(board.FindNet(track.net))
        board.Add(item)
    for via in vias:
        hole = pcbnew.PCB_VIA(board)
        hole.SetPosition(pcbnew.wxPointMM(*via.at_mm))
        hole.SetWidth(pcbnew.FromMM(VIA_MM))
        hole.SetDrill(pcbnew.FromMM(VIA_DRILL_MM))
        hole.SetNet(board.FindNet(via.net))
        board.Add(hole)
    print(f"{len(tracks)} tracks, {len(vias)} vias, {taken_up} paths laid again")


def finish(board: pcbnew.BOARD, file: Path) -> pcbnew.BOARD:
    """Saved, the ground poured around the tracks, and saved again: what is in the file, read from there."""
    for pour in (True, False):
        pcbnew.SaveBoard(str(file), board)
        file.write_text(steady(file.read_text("utf-8")), "utf-8")
        board = load(file)
        if pour:
            pcbnew.ZONE_FILLER(board).Fill(board.Zones())
    return board


def load(file: Path) -> pcbnew.BOARD:
    board = pcbnew.LoadBoard(str(file))
    set_rules(board)
    return board


def covered_joints(board: pcbnew.BOARD, circuit: Circuit) -> dict[str, int]:
    """How many pads cannot be soldered, since a part on the side of the solder lies flat on them."""
    covered = 0
    for part in circuit.parts.values():
        # The Pico stands on its sockets, over what is soldered under it.
        flat = [
            box_of(board.FindFootprintByReference(other.ref))
            for other in circuit.parts.values()
            if other.side != part.side and other.kind != "pico"
        ]
        for pad in board.FindFootprintByReference(part.ref).Pads():
            covered += any(touches(mm(pad.GetBoundingBox()), box) for box in flat)
    return {"covered_joint": covered} if covered else {}


def main(target: Path = MADE) -> None:
    circuit = read_circuit()
    target.mkdir(parents=True, exist_ok=True)
    board = build(circuit)
    lay_tracks(board, circuit)
    write_words(board, circuit)
    with tempfile.TemporaryDirectory() as folder:
        # KiCad leaves files of its own beside a board that it saves.
        file = Path(folder) / FILE
        board = finish(board, file)
        shutil.copyfile(file, target / FILE)
        broken = broken_rules(board) | covered_joints(board, circuit)
        (target / "rules.txt").write_text(summary(board, broken), "utf-8")
        maker_files(board, "lampblack", target / "gerbers.zip")
        draw(board, target)
    print((target / "rules.txt").read_text("utf-8"), end="")
    if broken:
        raise SystemExit("The board breaks rules.")


if __name__ == "__main__":
    main(*(Path(argument) for argument in sys.argv[1:]))
