"""Tests that nothing in the finished box takes the place of anything else.

What must live here: plain bodies of all that is not printed, and the search for two solids in one place.
Bodies are boxes and rods, as large as the part may be: the ground that the board's own file keeps for it, and
the height in parts.toml. Needs build123d; `python -m hardware.checks.clashes` prints what it finds.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from build123d import Part, Pos, Shape

from hardware.case import sizes, solids
from hardware.case.outlines import Outline
from hardware.case.sizes import Entry, Sizes, read_sizes
from hardware.case.solids import block, rod

MOST_MM3 = 0.01

KEY_STEM = 7.0
KEY_OVER_BODY = 3.0
"""How far a key's stem stands out of its body, which fills its footprint."""
DIAL_BODY, DIAL_THREAD, DIAL_THREAD_END = 7.0, 7.0, 13.5
"""Height of the body; across the thread, and the height of its end."""

PLUG = (28.0, 11.0, 8.0)
"""Of the micro-USB plug in the Pico: long, wide, thick."""
PLUG_UNDER = 1.4
"""Its middle, under the top of the Pico's socket."""
DISPLAY_PLUG = (2.5, 13.0)
"""Height over the board from which and to which the display's plug reaches."""
WIRES = 8.0
"""How far the wires of a terminal keep straight."""
THREAD = 12.0
OUT = {"gland": ((20.0, 6.0), (16.0, 8.0)), "jack": ((18.0, 4.0),)}
"""Outside the wall, from it outwards: how far across, how long."""
CABLE = 6.0
CABLE_IN = 12.0
FLANGE = (40.0, 14.0, 4.0)
"""Of the USB socket, inside the wall: long, wide, thick."""
SCREW, SCREW_LONG = 3.0, 8.0
FOOT_TALL = 5.0


@dataclass(frozen=True)
class Body:
    """What has the same `of` belongs together, and is not compared with each other."""

    name: str
    solid: Part
    of: str


def printed_bodies(s: Sizes) -> list[Body]:
    printed = solids.printed(s)
    found = [Body(name, part, name) for name, part in printed.items()]
    found.append(Body("other clip", solids.other_clip(s, printed["clip"]), "other clip"))
    for key in s.caps:
        name = f"cap-{key.name.lower()}"
        found.append(Body(f"{name}, pressed", Pos(0, 0, -sizes.STROKE) * printed[name], f"{name}|{key.ref}"))
    return found


def bodies(s: Sizes) -> list[Body]:
    """All that is not printed, each where it is."""
    return [
        *_board(s),
        *_beside_the_board(s),
        *_display(s),
        *_on_the_panel(s),
        *(body for entry in s.entries for body in _entry(entry, s)),
        *_screws_and_feet(s),
    ]


def _box(s: Sizes, box: tuple[float, float, float, float], start: float, end: float) -> Part:
    """Over a box on the board."""
    left, top, right, bottom = box
    return block(s.at((left + right) / 2, (top + bottom) / 2), right - left, bottom - top, start, end)


def _board(s: Sizes) -> list[Body]:
    wide, high = s.board_size
    front, back = -s.gap, -s.gap - sizes.BOARD
    middle = s.at(wide / 2, high / 2)
    plate = block(middle, wide, high, back, front)
    plate -= [rod(hole, 3.2, back - 1, front + 1) for hole in s.board_holes]
    found = [Body("board", plate, "board")]
    # Tails are everywhere on the back but around the holes, where the board has none.
    tails = block(middle, wide - 2, high - 2, back, back - sizes.TAILS)
    tails -= [rod(hole, 12.0, back + 1, back - sizes.TAILS - 1) for hole in s.board_holes]
    found.append(Body("tails", tails, "board"))
    for ref, part in s.outlines.items():
        if part.height_mm:
            found += [Body(ref, solid, "board" if ref not in _CAPPED else ref) for solid in _fitted(s, part)]
    return found


_CAPPED = ("SW1", "SW2", "SW3")


def _fitted(s: Sizes, part: Outline) -> list[Part]:
    front, back = -s.gap, -s.gap - sizes.BOARD
    tall = part.height_mm
    if part.side == "back":
        return [_box(s, part.keeps, back, back - tall)]
    at = s.at(*part.middle)
    if part.kind == "key":
        stem = rod(at, KEY_STEM, front + tall - KEY_OVER_BODY, front + tall)
        return [_box(s, part.body, front, front + tall - KEY_OVER_BODY), stem]
    if part.kind == "encoder":
        thread = rod(at, DIAL_THREAD, front + DIAL_BODY, front + DIAL_THREAD_END)
        shaft = rod(at, sizes.SHAFT, front + DIAL_THREAD_END, front + tall)
        return [_box(s, part.body, front, front + DIAL_BODY), thread, shaft]
    return [_box(s, part.keeps, front, front + tall)]


def _beside_the_board(s: Sizes) -> list[Body]:
    """What is plugged in and screwed in."""
    back = -s.gap - sizes.BOARD
    pico = s.outlines["U1"]
    long, wide, thick = PLUG
    _, y0, x1, y1 = pico.keeps
    z = back - pico.height_mm + PLUG_UNDER
    y = (y0 + y1) / 2
    plug = _box(s, (x1, y - wide / 2, x1 + long, y + wide / 2), z - thick / 2, z + thick / 2)
    found = [Body("USB plug", plug, "USB plug")]
    for ref, part in s.outlines.items():
        if part.kind.startswith("terminal"):
            left, top, right, _ = part.keeps
            wires = _box(s, (left, top - WIRES, right, top), back, back - part.height_mm)
            found.append(Body(f"wires of {ref}", wires, ref))
    header = s.outlines["J1"].keeps
    start, end = DISPLAY_PLUG
    found.append(Body("plug on J1", _box(s, header, -s.gap + start, -s.gap + end), "board"))
    return found


def _display(s: Sizes) -> list[Body]:
    d = s.display
    x, y = s.display_at
    lit_at = (x + d.lit_middle[0], y + d.lit_middle[1])
    glass = block(lit_at, *d.glass, 0, -d.front)
    own_board = block((x, y), *d.outline, -d.front, d.back)
    behind = block((x, y), d.outline[0] - 2 * sizes.CLIP_OVER - 1, d.outline[1], d.back, d.back - d.behind)
    pane = block(s.window_at, *s.pane, s.gel_thick, s.gel_thick + s.pane_thick)
    gel = block(s.window_at, *s.pane, 0, s.gel_thick)
    return [
        Body("display's glass", glass, "display"),
        Body("display's board", own_board, "display"),
        Body("display's back", behind, "display"),
        Body("pane", pane, "pane"),
        Body("gel", gel, "gel"),
    ]


def _on_the_panel(s: Sizes) -> list[Body]:
    start = sizes.PANEL + sizes.KNOB_ABOVE
    knob = rod(s.dial, sizes.KNOB, start, start + sizes.KNOB_TALL)
    knob -= rod(s.dial, sizes.SHAFT, start - 1, s.shaft_end)
    pressed = Pos(0, 0, -sizes.STROKE) * knob
    return [Body("knob", knob, "board"), Body("knob, pressed", pressed, "board")]


def _entry(entry: Entry, s: Sizes) -> list[Body]:
    """In the wall's own plane z goes outside."""
    plane = solids.wall_plane(entry, s)
    across, deep = entry.room
    inside = -sizes.WALL

    def turned(part: Part) -> Part:
        return plane.location * part

    if entry.fits == "socket":
        long, wide, thick = FLANGE
        flange = block((0, 0), long, wide, inside, inside - thick)
        body = block((0, 0), across, across, inside - thick, inside - deep)
        through = block((0, 0), entry.hole[0] - 0.4, entry.hole[1] - 0.4, 0, inside)
        return [
            Body(f"{entry.name}, {name}", turned(part), entry.name)
            for name, part in (("flange", flange), ("socket", body), ("its front", through))
        ]
    found = [
        Body(f"{entry.name}, thread", turned(rod((0, 0), THREAD, inside, 0)), entry.name),
        Body(f"{entry.name}, inside", turned(rod((0, 0), across, inside, inside - deep)), entry.name),
    ]
    start = 0.0
    for wide, long in OUT[entry.fits]:
        found.append(
            Body(f"{entry.name}, outside", turned(rod((0, 0), wide, start, start + long)), entry.name)
        )
        start += long
    if entry.fits == "gland":
        cable = rod((0, 0), CABLE, inside - deep, inside - deep - CABLE_IN)
        found.append(Body(f"{entry.name}, cable", turned(cable), entry.name))
    return found


def _screws_and_feet(s: Sizes) -> list[Body]:
    across, tall = sizes.SCREW_HEAD
    bottom = -s.inside - sizes.FLOOR
    seats = [
        *(("floor", at, bottom) for at in s.pillars),
        *(("board", at, -s.gap - sizes.BOARD) for at in s.board_holes),
        *(("clip", at, -sizes.CLIP_POST_DEEP - sizes.CLIP_THICK) for at in s.clip_posts),
    ]
    found = []
    for of, at, seat in seats:
        name = f"{of}'s screw at {at[0]:.0f}, {at[1]:.0f}"
        found.append(Body(f"{name}, head", rod(at, across, seat, seat - tall), name))
        found.append(Body(name, rod(at, SCREW, seat, seat + SCREW_LONG), name))
    for x, y in ((x * sizes.FEET[0], y * sizes.FEET[1]) for x in (-1, 1) for y in (-1, 1)):
        foot = rod((x, y), sizes.FOOT - 1, bottom + sizes.FOOT_DEEP, bottom + sizes.FOOT_DEEP - FOOT_TALL)
        found.append(Body(f"foot at {x:.0f}, {y:.0f}", foot, "foot"))
    return found


def invalid(found: list[Body]) -> list[str]:
    """Names of what is not one whole solid."""
    return [body.name for body in found if len(body.solid.solids()) != 1 or not body.solid.is_valid]


def clashes(found: list[Body]) -> dict[tuple[str, str], float]:
    """Two in one place -> how much of it, in mm3."""
    boxes = [_box_of(body.solid) for body in found]
    faces = [np.array([_box_of(face) for face in body.solid.faces()]) for body in found]
    hits = {}
    for (one, box, of_one), (other, other_box, of_other) in combinations(zip(found, boxes, faces), 2):
        if set(one.of.split("|")) & set(other.of.split("|")) or not _meet(box, other_box):
            continue
        # Where no face comes near, one lies in a hollow of the other, or wholly in what it is made of.
        if not _meet(of_one, other_box).any():
            volume = other.solid.volume if _within(other.solid, one.solid) else 0.0
        elif not _meet(of_other, box).any():
            volume = one.solid.volume if _within(one.solid, other.solid) else 0.0
        else:
            volume = _common_mm3(one.solid, other.solid)
        if volume > MOST_MM3:
            hits[one.name, other.name] = round(volume, 2)
    return hits


def _box_of(shape: Shape) -> np.ndarray:
    """Least x, y, z and greatest."""
    box = shape.bounding_box()
    return np.array([*box.min, *box.max])


def _meet(boxes: np.ndarray, box: np.ndarray) -> np.ndarray:
    """Which of the boxes (or whether the one) meets `box`."""
    return np.all((boxes[..., :3] < box[3:]) & (box[:3] < boxes[..., 3:]), axis=-1)


def _within(inner: Part, outer: Part) -> bool:
    """Whether all of one, no face of which crosses the other's, is in what the other is made of."""
    return all(outer.is_inside(corner.center()) for corner in inner.vertices())


def _common_mm3(one: Part, other: Part) -> float:
    both = one & other
    if both is None:
        return 0.0
    return sum(solid.volume for solid in both.solids())


def main() -> int:
    s = read_sizes()
    found = printed_bodies(s) + bodies(s)
    lines = [f"{name} is not a whole solid" for name in invalid(found)]
    lines += [f"{a} and {b} share {volume} mm3" for (a, b), volume in clashes(found).items()]
    print(*lines, sep="\n", end="\n" if lines else "")
    print(f"{len(found)} solids, {len(lines)} faults")
    return bool(lines)


if __name__ == "__main__":
    sys.exit(main())
