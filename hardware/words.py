"""What is written on the board: what a part is called and worth, what a contact is for, what the board is.

What must live here: the words, and where each is tried first. That none covers a pad or another word is
silk.py's.
"""

from __future__ import annotations

import pcbnew

from hardware.circuit import Circuit, Part
from hardware.silk import Box, Silk, box_of, cut_from_pads, ink_mm, mm

LICENCE = "CERN-OHL-P-2.0"
WARNING = "LOW VOLTAGE ONLY"
EMPTY = "WHAT HAS NO VALUE STAYS EMPTY"

LARGE_MM, USUAL_MM, SMALL_MM = 1.6, 1.0, 0.8
SIZES_MM = (USUAL_MM, 0.9, SMALL_MM)
"""Of a part's words, the first that fits: 0.8 mm is what cheap makers still print well."""
GAP_MM = 0.15

AWAY_MM = (0.1, 0.4, -0.3, 0.8, 1.2)
SLIDES_MM = (0.0, 0.5, -0.5, 1.0, -1.0, 2.0, -2.0, 3.0, -3.0, 4.0, -4.0)
"""How far from a part its word may stand, and how far from the part's middle."""

Place = tuple[float, float, float]

IN_A_LINE = ("resistor", "switching-diode", "schottky-diode", "suppressor", "ceramic", "film", "network")
"""Kinds that are long and thin: their words go inside, between the pads, along them."""


class WordsError(Exception):
    """A word has no room: one line."""


def write_words(board: pcbnew.BOARD, circuit: Circuit) -> None:
    """WordsError if any of them finds no room."""
    pads = [mm(pad.GetBoundingBox()) for footprint in board.GetFootprints() for pad in footprint.Pads()]
    for footprint in board.GetFootprints():
        cut_from_pads(footprint, pads)
        footprint.Reference().SetVisible(False)
        footprint.Value().SetVisible(False)
        for item in list(footprint.GraphicalItems()):
            # A diode's band says where its cathode is; the letter beside it would be in others' way.
            if item.GetClass() == "MTEXT" and item.GetLayer() in (pcbnew.F_SilkS, pcbnew.B_SilkS):
                footprint.Delete(item)
    size = tuple(circuit.board["size"])
    front, back = Silk(board, size, False), Silk(board, size, True)
    lost = _write_board(front, back, circuit, size)
    for side, silk in (("front", front), ("back", back)):
        for part in circuit.parts.values():
            lost += _write_contacts(silk, board, part)
        for part in sorted(circuit.parts.values(), key=_turn_of):
            if part.side == side:
                lost += _write_part(silk, board, part)
    for part in circuit.parts.values():
        if part.kind.startswith("terminal"):
            lost += _write_terminal(front, board, part)
    if not front.put(EMPTY, _spread(size[0] / 2, size[1] - 2, size), (USUAL_MM, 0.9)):
        lost.append(EMPTY)
    if lost:
        raise WordsError(f"No room on the board for: {', '.join(lost)}.")


def _write_board(front: Silk, back: Silk, circuit: Circuit, size_mm: tuple[float, float]) -> list[str]:
    """What it is, from which version, and what it must never be connected to."""
    middle = size_mm[0] / 2
    title = f"{circuit.board['name']} {circuit.board['version']}"
    heading = f"{title}    {WARNING}    {LICENCE}"
    lost = []
    if not front.put(heading, [(middle, 10.0 + n / 10, 0.0) for n in range(20)], (1.3, 1.2, 1.1, USUAL_MM)):
        lost.append(heading)
    for text, y, height in ((title, 78.0, 2.5), (WARNING, 43.0, 2.5), (LICENCE, 54.0, LARGE_MM)):
        if not back.put(text, _spread(middle, y, size_mm), (height, height * 0.8, height * 0.6)):
            lost.append(text)
    return lost


def _turn_of(part: Part) -> int:
    """What has one place only comes first."""
    return 0 if part.kind in ("key", "encoder") else 1 if part.kind in IN_A_LINE else 2


def word(part: Part) -> str:
    """What a builder needs to know to fit the right part; nothing where nothing is fitted."""
    if not part.fitted:
        return ""
    if part.kind in ("npn", "pnp"):
        return part.value.split("-")[0]
    if part.kind == "electrolytic":
        return part.value.split()[0]
    if part.kind in ("encoder", "piezo"):
        return {"encoder": "DIAL", "piezo": "PIEZO"}[part.kind]
    return part.value.removesuffix(" hold")


def _spread(x: float, y: float, size_mm: tuple[float, float]) -> list[Place]:
    """All places of the board, the nearest first."""
    grid = [(float(a), b / 2, 0.0) for a in range(int(size_mm[0])) for b in range(int(size_mm[1]) * 2)]
    return sorted(grid, key=lambda place: (abs(place[0] - x) + 2 * abs(place[1] - y), place))


def _write_contacts(silk: Silk, board: pcbnew.BOARD, part: Part) -> list[str]:
    """Each contact's word beside its pad, on both sides: wires come to the one, probes to the other."""
    lost = []
    footprint = board.FindFootprintByReference(part.ref)
    body = box_of(footprint)
    for number, contact in zip(part.pads, part.contacts):
        if not contact:
            continue
        pad = next(pad for pad in footprint.Pads() if pad.GetNumber() == number)
        at, reach = pad.GetPosition(), pad.GetSize().x / 2e6
        x, y = at.x / 1e6, at.y / 1e6
        width, height = ink_mm(contact, USUAL_MM)
        beside = width / 2 + reach + 0.3
        inside = part.kind.startswith("terminal") and silk.back
        below = body[3] + height / 2 + GAP_MM if inside else y + reach + height / 2 + 0.3
        places = [(x, below, 0.0)]
        if not part.kind.startswith("terminal"):
            row = body[3] - body[1] < body[2] - body[0]
            places = [(x, y - reach - 0.9, 0.0), (x, y + reach + 0.9, 0.0)] if row else []
            places += [(x + beside, y, 0.0), (x - beside, y, 0.0)]
        places += [
            (place[0] + dx, place[1] + dy, 0.0)
            for place in places
            for dy in (0, -0.3, -0.5, 0.3, 0.6)
            for dx in (0, -0.4, 0.4)
        ]
        if not silk.put(contact, places, SIZES_MM):
            lost.append(f"{part.ref} {contact}")
    return lost


def _write_part(silk: Silk, board: pcbnew.BOARD, part: Part) -> list[str]:
    footprint = board.FindFootprintByReference(part.ref)
    name = footprint.Reference()
    text = word(part)
    turn = 90.0 if part.kind in IN_A_LINE and part.place[2] % 180 == 90 else 0.0
    if text and any(_write_line(silk, footprint, text, spot, turn) for spot in _lines(footprint, part)):
        return []
    if part.kind == "test-point" and _write_beside(silk, footprint, name, text):
        return []
    if part.kind == "pico":
        ends = [pad.GetPosition() for pad in footprint.Pads() if pad.GetNumber() in ("1", "40")]
        x, y = sum(end.x for end in ends) / 2e6, sum(end.y for end in ends) / 2e6
        silk.put("USB", [(x + slide, y, 0.0) for slide in SLIDES_MM], SIZES_MM)
    lost = []
    sizes = (LARGE_MM,) if part.kind in ("key", "encoder") else SIZES_MM
    box = box_of(footprint)
    if text and not any(
        silk.put(text, places, sizes)
        for places in (_inside(footprint, part, turn, True), _around(box, text), _along(box, text))
    ):
        lost.append(f"{part.ref}'s {text}")
    if not any(
        _claim(silk, footprint, name, places)
        for places in (_inside(footprint, part, turn, False), _around(box, part.ref), _along(box, part.ref))
    ):
        lost.append(part.ref)
    return lost


def _lines(footprint: pcbnew.FOOTPRINT, part: Part) -> list[tuple[float, float]]:
    """Where reference and value stand side by side: in a long part, over or under a header."""
    left, top, right, bottom = box_of(footprint)
    x, y = (left + right) / 2, (top + bottom) / 2
    if part.kind in IN_A_LINE:
        return [(x, y)]
    if part.kind.startswith("header"):
        height = ink_mm(part.ref, USUAL_MM)[1]
        rows = (bottom + height / 2, top - height / 2)
        return [(x + slide, row) for slide in SLIDES_MM for row in rows]
    return []


def _write_beside(silk: Silk, footprint: pcbnew.FOOTPRINT, name: pcbnew.FP_TEXT, text: str) -> bool:
    """A test point's two words, one over the other."""
    left, top, right, bottom = box_of(footprint)
    for size in SIZES_MM:
        height = ink_mm(text, size)[1]
        half, apart = max(ink_mm(text, size)[0], ink_mm(name.GetText(), size)[0]) / 2, height / 2 + 0.08
        for x in (right + half, left - half):
            y = (top + bottom) / 2
            if not _claim_at(silk, footprint, name, (x, y - apart, 0.0), size):
                continue
            own = silk.last
            if silk.write(text, (x, y + apart, 0.0), size):
                return True
            silk.taken.remove(own)
    name.SetVisible(False)
    return False


def _write_terminal(silk: Silk, board: pcbnew.BOARD, part: Part) -> list[str]:
    """On the side where nothing stands on it: its name over its pads."""
    pads = [pad.GetPosition() for pad in board.FindFootprintByReference(part.ref).Pads()]
    x = sum(pad.x for pad in pads) / len(pads) / 1e6
    text = f"{part.ref} {word(part)}".strip()
    places = [(x + slide, 2.4, 0.0) for slide in (0.0, 1.0, -1.0, 2.0, -2.0)]
    return [] if silk.put(text, places, (1.2, 1.1, *SIZES_MM)) else [text]


def _claim(silk: Silk, footprint: pcbnew.FOOTPRINT, name: pcbnew.FP_TEXT, places: list[Place]) -> bool:
    for size in SIZES_MM:
        for x, y, turn in places:
            # KiCad adds the footprint's own turn to that of its texts.
            if silk.claim(name, x, y, turn, size, footprint.GetOrientation() / 10):
                return True
    return False


def _write_line(
    silk: Silk, footprint: pcbnew.FOOTPRINT, text: str, middle: tuple[float, float], turn: float
) -> bool:
    """Reference and value in one line, or one over the other."""
    name = footprint.Reference()
    x, y = middle
    for layout, size in ((layout, size) for layout in (0, 1) for size in SIZES_MM):
        first, height = ink_mm(name.GetText(), size)
        second, _ = ink_mm(text, size)
        along, apart = (first + second + size * 0.3) / 2, height / 2 + 0.08
        one, other = [
            ((first / 2 - along, 0.0), (along - second / 2, 0.0)),
            ((0.0, -apart), (0.0, apart)),
        ][layout]
        for slide in (0.0, 0.4, -0.4, 0.7, -0.7):
            spots = [
                (x + slide + dx, y + dy, 0.0) if turn == 0 else (x + dy, y - slide - dx, 90.0)
                for dx, dy in (one, other)
            ]
            if not _claim_at(silk, footprint, name, spots[0], size):
                continue
            own = silk.last
            if silk.write(text, spots[1], size):
                return True
            silk.taken.remove(own)
    name.SetVisible(False)
    return False


def _claim_at(
    silk: Silk, footprint: pcbnew.FOOTPRINT, name: pcbnew.FP_TEXT, place: Place, size_mm: float
) -> bool:
    return silk.claim(name, *place, size_mm, footprint.GetOrientation() / 10)


def _inside(footprint: pcbnew.FOOTPRINT, part: Part, turn: float, second: bool) -> list[Place]:
    """Where a part's reference, or its second word, stands best."""
    left, top, right, bottom = box_of(footprint)
    x, y = (left + right) / 2, (top + bottom) / 2
    if part.kind in ("npn", "pnp"):
        pads = [pad.GetPosition() for pad in footprint.Pads()]
        x, y = sum(p.x for p in pads) / 3e6, sum(p.y for p in pads) / 3e6
        up = -1.0 if part.place[2] == 0 else 1.0
        ways = (2.5, 2.6, 2.7) if second else (-1.35, -1.4, -1.5)
        inside = [(x + dx, y - up * dy, 0.0) for dy in ways for dx in (0.0, 0.3, -0.3, 0.8, -0.8)]
    elif part.kind in ("key", "encoder") and second:
        inside = [(x, bottom + 1.0 + n / 10, 0.0) for n in range(8)]
    elif part.kind.startswith("terminal"):
        inside = [(x, bottom + 1.8 + n / 10, 0.0) for n in range(8)] if second else []
        inside += [(x, y + n / 5 + (2.0 if second else 0.5), 0.0) for n in range(-5, 16)]
    else:
        inside = [(x, y + (1.2 if second else -0.6) * n, turn) for n in ((1, 0) if word(part) else (0, 1))]
    return inside


def _around(box: Box, text: str) -> list[Place]:
    """Over, under and beside it."""
    left, top, right, bottom = box
    x, y = (left + right) / 2, (top + bottom) / 2
    width, height = ink_mm(text, USUAL_MM)
    found = []
    for away in AWAY_MM:
        for slide in SLIDES_MM:
            found.append((x + slide, top - height / 2 - away, 0.0))
            found.append((x + slide, bottom + height / 2 + away, 0.0))
        for slide in SLIDES_MM:
            found.append((left - width / 2 - away, y + slide, 0.0))
            found.append((right + width / 2 + away, y + slide, 0.0))
    return found


def _along(box: Box, text: str) -> list[Place]:
    """Beside it, from bottom to top."""
    left, top, right, bottom = box
    height = ink_mm(text, USUAL_MM)[1]
    return [
        (x, (top + bottom) / 2 + slide, 90.0)
        for away in AWAY_MM
        for slide in SLIDES_MM
        for x in (left - height / 2 - away, right + height / 2 + away)
    ]
