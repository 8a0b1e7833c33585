"""Puts words on the board where they can be read: off pads and lines, and none over another.

What must live here: where a word goes. What it says is the board's business.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import cache
from itertools import pairwise
from math import ceil, cos, hypot, pi, sin

import pcbnew

Box = tuple[float, float, float, float]
"""Left, top, right, bottom in mm."""

FROM_PAD_MM = 0.12
FROM_INK_MM = 0.12
FROM_EDGE_MM = 0.6
LINE_OF_SIZE = 0.15
"""How thick a letter's line is, as a part of its height."""


def mm(box: pcbnew.EDA_RECT) -> Box:
    return box.GetLeft() / 1e6, box.GetTop() / 1e6, box.GetRight() / 1e6, box.GetBottom() / 1e6


def grown(box: Box, by_mm: float) -> Box:
    return box[0] - by_mm, box[1] - by_mm, box[2] + by_mm, box[3] + by_mm


def touches(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


class Taken:
    """Boxes, and which of them a box touches, by the squares of 4 mm that they lie in."""

    SQUARE_MM = 4.0

    def __init__(self) -> None:
        self.squares: dict[tuple[int, int], list[Box]] = {}

    def add(self, box: Box) -> None:
        for square in self._squares(box):
            self.squares.setdefault(square, []).append(box)

    def remove(self, box: Box) -> None:
        for square in self._squares(box):
            self.squares[square].remove(box)

    def has(self, box: Box) -> bool:
        return any(
            touches(box, other) for square in self._squares(box) for other in self.squares.get(square, ())
        )

    def _squares(self, box: Box) -> Iterator[tuple[int, int]]:
        left, top, right, bottom = (int(side // self.SQUARE_MM) for side in box)
        return ((x, y) for x in range(left, right + 1) for y in range(top, bottom + 1))


class Silk:
    """The words of one side."""

    def __init__(self, board: pcbnew.BOARD, size_mm: tuple[float, float], back: bool) -> None:
        self.board, self.size_mm, self.back = board, size_mm, back
        self.layer = pcbnew.B_SilkS if back else pcbnew.F_SilkS
        self.taken = Taken()
        self.last: Box = (0.0, 0.0, 0.0, 0.0)  # what was laid last
        for item in board.GetTracks():
            if isinstance(item, pcbnew.PCB_VIA):
                # Its ring is covered, and takes ink; its hole does not.
                self.taken.add(grown(mm(item.GetBoundingBox()), (item.GetDrill() - item.GetWidth()) / 2e6))
        for footprint in board.GetFootprints():
            for pad in footprint.Pads():
                self.taken.add(grown(mm(pad.GetBoundingBox()), FROM_PAD_MM))
            for item in footprint.GraphicalItems():
                if item.GetLayer() == self.layer and item.GetClass() == "MGRAPHIC":
                    for box in _ink(item):
                        self.taken.add(grown(box, FROM_INK_MM))

    def put(self, text: str, places: Iterable[tuple[float, float, float]], sizes_mm: Iterable[float]) -> bool:
        """Writes at the first of `places` (x, y, turn) that is free, as large as can be; whether it could."""
        return any(self.write(text, place, size) for size in sizes_mm for place in places)

    def write(self, text: str, place: tuple[float, float, float], size_mm: float) -> bool:
        x, y, turn = place
        item = pcbnew.PCB_TEXT(self.board)
        item.SetText(text)
        item.SetLayer(self.layer)
        if not self.claim(item, x, y, turn, size_mm):
            return False
        self.board.Add(item)
        return True

    def claim(
        self, item: pcbnew.EDA_TEXT, x: float, y: float, turn: float, size_mm: float, carried: float = 0.0
    ) -> bool:
        """Lays a text there if nothing else is; whether it could. `carried`: its footprint's own turn."""
        width, height = ink_mm(item.GetText(), size_mm)
        if turn % 180:
            width, height = height, width
        box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
        room = (FROM_EDGE_MM, FROM_EDGE_MM, self.size_mm[0] - FROM_EDGE_MM, self.size_mm[1] - FROM_EDGE_MM)
        if box[0] < room[0] or box[1] < room[1] or box[2] > room[2] or box[3] > room[3]:
            return False
        if self.taken.has(box):
            return False
        item.SetTextSize(pcbnew.wxSizeMM(size_mm, size_mm))
        item.SetTextThickness(pcbnew.FromMM(size_mm * LINE_OF_SIZE))
        item.SetPosition(pcbnew.wxPointMM(x, y))
        item.SetTextAngle((turn - carried) * 10)
        item.SetMirrored(self.back)
        item.SetVisible(True)
        self.taken.add(grown(box, FROM_INK_MM))
        self.last = grown(box, FROM_INK_MM)
        return True


def box_of(footprint: pcbnew.FOOTPRINT) -> Box:
    """All that it takes for itself: its courtyard."""
    layers = (pcbnew.F_CrtYd, pcbnew.B_CrtYd)
    boxes = [mm(item.GetBoundingBox()) for item in footprint.GraphicalItems() if item.GetLayer() in layers]
    return (
        min(box[0] for box in boxes),
        min(box[1] for box in boxes),
        max(box[2] for box in boxes),
        max(box[3] for box in boxes),
    )


def cut_from_pads(footprint: pcbnew.FOOTPRINT, pads: list[Box]) -> None:
    """Takes away what its lines would leave on pads."""
    for item in list(footprint.GraphicalItems()):
        if item.GetLayer() not in (pcbnew.F_SilkS, pcbnew.B_SilkS) or item.GetClass() != "MGRAPHIC":
            continue
        if item.GetShape() != pcbnew.SHAPE_T_SEGMENT:
            continue
        start, end = item.GetStart(), item.GetEnd()
        whole = mm(item.GetBoundingBox())
        near = [pad for pad in (grown(pad, FROM_PAD_MM) for pad in pads) if touches(pad, whole)]
        if not near:
            continue
        kept = _outside(
            (start.x / 1e6, start.y / 1e6),
            (end.x / 1e6, end.y / 1e6),
            [grown(pad, item.GetWidth() / 2e6) for pad in near],
        )
        pieces = [item, *(_like(item, footprint) for _ in kept[1:])]
        for piece, (one, other) in zip(pieces, kept):
            piece.SetStart(pcbnew.wxPointMM(*one))
            piece.SetEnd(pcbnew.wxPointMM(*other))
            piece.SetLocalCoord()
        if not kept:
            footprint.Delete(item)


def _like(item: pcbnew.FP_SHAPE, footprint: pcbnew.FOOTPRINT) -> pcbnew.FP_SHAPE:
    piece = pcbnew.FP_SHAPE(footprint)
    piece.SetShape(item.GetShape())
    piece.SetLayer(item.GetLayer())
    piece.SetWidth(item.GetWidth())
    footprint.Add(piece)
    return piece


def _outside(
    start: tuple[float, float], end: tuple[float, float], boxes: list[Box]
) -> list[tuple[tuple[float, float], tuple[float, float]]]:
    """What of a line lies in no box, in pieces."""
    steps = 200
    points = [
        (start[0] + (end[0] - start[0]) * n / steps, start[1] + (end[1] - start[1]) * n / steps)
        for n in range(steps + 1)
    ]
    free = [not any(b[0] < x < b[2] and b[1] < y < b[3] for b in boxes) for x, y in points]
    pieces = []
    first = None
    for n in range(steps + 2):
        if n <= steps and free[n]:
            first = n if first is None else first
        elif first is not None:
            if n - first > 2:
                pieces.append((points[first], points[n - 1]))
            first = None
    return pieces


@cache
def ink_mm(text: str, size_mm: float) -> tuple[float, float]:
    """How wide and high a line of KiCad's letters is."""
    item = pcbnew.PCB_TEXT(None)
    item.SetText(text)
    item.SetTextSize(pcbnew.wxSizeMM(size_mm, size_mm))
    item.SetTextThickness(pcbnew.FromMM(size_mm * LINE_OF_SIZE))
    box = item.GetBoundingBox()
    return box.GetWidth() / 1e6, size_mm * 1.15


def _ink(item: pcbnew.FP_SHAPE) -> Iterator[Box]:
    """Small boxes along a line, an arc or a circle."""
    half = item.GetWidth() / 2e6
    points: list[tuple[float, float]] = []
    kind = item.GetShape()
    start, end = item.GetStart(), item.GetEnd()
    if kind == pcbnew.SHAPE_T_SEGMENT:
        points = [(start.x / 1e6, start.y / 1e6), (end.x / 1e6, end.y / 1e6)]
    elif kind == pcbnew.SHAPE_T_RECT:
        x0, y0, x1, y1 = start.x / 1e6, start.y / 1e6, end.x / 1e6, end.y / 1e6
        points = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
    elif kind in (pcbnew.SHAPE_T_CIRCLE, pcbnew.SHAPE_T_ARC):
        centre = item.GetCenter()
        radius = item.GetRadius() / 1e6
        first = 0.0
        whole = 2 * pi
        if kind == pcbnew.SHAPE_T_ARC:
            first = item.GetArcAngleStart() / 1800 * pi
            whole = item.GetArcAngle() / 1800 * pi
        steps = max(8, ceil(abs(whole) * radius / 0.3))
        points = [
            (
                centre.x / 1e6 + radius * cos(first + whole * n / steps),
                centre.y / 1e6 + radius * sin(first + whole * n / steps),
            )
            for n in range(steps + 1)
        ]
    else:
        yield mm(item.GetBoundingBox())
    for (x0, y0), (x1, y1) in pairwise(points):
        parts = 1 if x0 == x1 or y0 == y1 else max(1, ceil(hypot(x1 - x0, y1 - y0) / 0.3))
        for n in range(parts):
            xs = sorted((x0 + (x1 - x0) * n / parts, x0 + (x1 - x0) * (n + 1) / parts))
            ys = sorted((y0 + (y1 - y0) * n / parts, y0 + (y1 - y0) * (n + 1) / parts))
            yield xs[0] - half, ys[0] - half, xs[1] + half, ys[1] + half
