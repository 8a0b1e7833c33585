"""The solids that are printed: panel, tray, caps, clips.

What must live here: their shapes. Every size comes from sizes.py. Needs build123d: see `make case`.
"""

from __future__ import annotations

from build123d import (
    Axis,
    Box,
    Circle,
    Cylinder,
    Location,
    Part,
    Plane,
    Polygon,
    Pos,
    Rectangle,
    RectangleRounded,
    Rot,
    Shape,
    Sphere,
    chamfer,
    extrude,
)

from hardware.case import letters, sizes
from hardware.case.sizes import Cap, Entry, Point, Sizes

BEYOND = 1.0
"""How far what cuts reaches past what is cut."""


def rod(at: Point, across: float, start: float, end: float) -> Part:
    """Along z."""
    low, high = sorted((start, end))
    return Pos(*at, (low + high) / 2) * Cylinder(across / 2, high - low)


def block(at: Point, wide: float, high: float, start: float, end: float, corner: float = 0) -> Part:
    """Along z."""
    low, up = sorted((start, end))
    shape = RectangleRounded(wide, high, corner) if corner else Rectangle(wide, high)
    return extrude(Plane.XY.offset(low) * Pos(*at) * shape, up - low)


def words(text: str, plane: Plane | Location, high: float, out: float) -> list[Part]:
    """Raised by `out` from the plane, and sunk into it a little, so that they are one with it."""
    letters_of = []
    for outline, *open_ones in letters.outlines(text, high):
        shape = Polygon(*outline, align=None)
        for inner in open_ones:
            shape -= Polygon(*inner, align=None)
        letters_of.append(extrude(plane * Pos(0, 0, -0.4) * shape, out + 0.4))
    return letters_of


def panel(s: Sizes) -> Part:
    plate = block((0, 0), s.wide, s.high, 0, sizes.PANEL, sizes.CORNER)
    plate = chamfer(plate.faces().sort_by(Axis.Z)[-1].outer_wire().edges(), sizes.EDGE)
    play = sizes.PANE_PLAY
    plate += [
        _frame(s),
        *(_collar(cap) for cap in s.caps),
        rod(s.dial, sizes.BUSHING_ROOM + 2 * sizes.COLLAR, 0, -sizes.BUSHING_DEEP),
        _lip(s),
    ]
    plate -= [
        block(s.window_at, *s.window, -BEYOND, sizes.PANEL + BEYOND),
        block(s.window_at, s.pane[0] + play, s.pane[1] + play, -BEYOND, s.pane_thick + s.gel_thick),
        *(_key_hole(cap, sizes.PANEL + BEYOND) for cap in s.caps),
        rod(s.dial, sizes.SHAFT_HOLE, -BEYOND, sizes.PANEL + BEYOND),
        rod(s.dial, sizes.BUSHING_ROOM, 0, -sizes.BUSHING_DEEP - BEYOND),
    ]
    # After the holes: one that a post stands in is a clash, and not cut out of the post.
    ends = {
        **dict.fromkeys(s.clip_posts, -sizes.CLIP_POST_DEEP),
        **dict.fromkeys(s.board_holes, -s.gap),
        **dict.fromkeys(s.pillars, -s.inside),
    }
    plate += [rod(at, sizes.PILLAR if at in s.pillars else sizes.POST, 0, end) for at, end in ends.items()]
    return _one(plate - [_insert(at, end) for at, end in ends.items()])


def _one(whole: Shape) -> Part:
    """As one solid, or as it is."""
    found = whole.solids()
    return found[0] if len(found) == 1 else whole


def _insert(at: Point, end: float) -> Part:
    return rod(at, sizes.INSERT_HOLE, end - BEYOND, end + sizes.INSERT_DEEP)


def _frame(s: Sizes) -> Part:
    """Around the display's own board."""
    wide, high = (length + 2 * sizes.FRAME_PLAY for length in s.display.outline)
    outer = block(s.display_at, wide + 2 * sizes.FRAME, high + 2 * sizes.FRAME, 0, -sizes.FRAME_DEEP)
    return outer - block(s.display_at, wide, high, BEYOND, -sizes.FRAME_DEEP - BEYOND)


def _collar(cap: Cap) -> Part:
    around = 2 * (sizes.CAP_PLAY + sizes.COLLAR)
    return block(
        cap.at, cap.wide + around, cap.high + around, 0, -sizes.COLLAR_DEEP, sizes.CAP_CORNER + sizes.COLLAR
    )


def _key_hole(cap: Cap, end: float) -> Part:
    play = 2 * sizes.CAP_PLAY
    corner = sizes.CAP_CORNER + sizes.CAP_PLAY
    return block(cap.at, cap.wide + play, cap.high + play, -sizes.COLLAR_DEEP - BEYOND, end, corner)


def _lip(s: Sizes) -> Part:
    inset = 2 * (sizes.WALL + sizes.LIP_PLAY)
    wide, high = s.wide - inset, s.high - inset
    corner = sizes.CORNER - sizes.WALL - sizes.LIP_PLAY
    outer = block((0, 0), wide, high, 0, -sizes.LIP_DEEP, corner)
    thin = 2 * sizes.LIP
    inner = block((0, 0), wide - thin, high - thin, BEYOND, -sizes.LIP_DEEP - BEYOND, corner - sizes.LIP / 2)
    return outer - inner


def tray(s: Sizes) -> Part:
    bottom = -s.inside - sizes.FLOOR
    outer = block((0, 0), s.wide, s.high, bottom, 0, sizes.CORNER)
    outer = chamfer(outer.faces().sort_by(Axis.Z)[0].edges(), sizes.EDGE)
    inner = block(
        (0, 0),
        s.wide - 2 * sizes.WALL,
        s.high - 2 * sizes.WALL,
        -s.inside,
        BEYOND,
        sizes.CORNER - sizes.WALL,
    )
    feet = [(x * sizes.FEET[0], y * sizes.FEET[1]) for x in (-1, 1) for y in (-1, 1)]
    cut = [
        inner,
        *(rod(pillar, sizes.SCREW_HOLE, bottom - BEYOND, -s.inside + BEYOND) for pillar in s.pillars),
        *(rod(foot, sizes.FOOT, bottom - BEYOND, bottom + sizes.FOOT_DEEP) for foot in feet),
        *(_through(entry, s) for entry in s.entries),
    ]
    return _one(outer - cut + _words_on_walls(s))


def wall_plane(entry: Entry, s: Sizes) -> Plane:
    """At the outside of the wall, z to the outside and y to the front, at the entry's middle."""
    if entry.wall == "rear":
        return Plane(origin=(entry.along, s.high / 2, entry.z), x_dir=(-1, 0, 0), z_dir=(0, 1, 0))
    return Plane(origin=(s.wide / 2, entry.along, entry.z), x_dir=(0, 1, 0), z_dir=(1, 0, 0))


def _through(entry: Entry, s: Sizes) -> Part:
    if len(entry.hole) == 1:
        shape = Circle(entry.hole[0] / 2)
    else:
        wide, high = entry.hole
        shape = RectangleRounded(wide, high, 0.5)
        for side in (-1, 1):
            shape += Pos(side * entry.screws / 2, 0) * Circle(sizes.SCREW_HOLE / 2)
    return extrude(wall_plane(entry, s).offset(-sizes.WALL - BEYOND) * shape, sizes.WALL + 2 * BEYOND)


def _words_on_walls(s: Sizes) -> list[Part]:
    raised: list[Part] = []
    for entry in s.entries:
        plane = wall_plane(entry, s)
        below = Pos(0, -s.inside - sizes.FLOOR - entry.z + 3.4)
        raised += words(entry.name, plane * below, 3.0, 0.6)
    rear = Plane(origin=(0, s.high / 2, -5.5), x_dir=(-1, 0, 0), z_dir=(0, 1, 0))
    raised += words("LOW VOLTAGE ONLY", rear, 5.0, 0.6)
    return raised


def cap(key: Cap) -> Part:
    """Its foot lies on the key's end, and cannot pass the collar."""
    top = sizes.PANEL + key.out
    body = block(key.at, key.wide, key.high, key.foot, top, sizes.CAP_CORNER)
    body = chamfer(body.faces().sort_by(Axis.Z)[-1].edges(), 0.8)
    reach = 2 * sizes.FLANGE
    foot = block(key.at, key.wide + reach, key.high + reach, key.foot, key.shoulder, sizes.CAP_CORNER + 2)
    body += foot
    if key.name == "BACK":
        # A groove across, as wide as a finger feels and a nozzle makes.
        body -= Pos(*key.at, top) * Box(3.0, key.high + 2 * BEYOND, 2.4)
    elif key.name == "LAMP":
        body -= Pos(*key.at, top + 8.0) * Sphere(9.4)
    return _one(body)


def clip(s: Sizes) -> Part:
    """Screwed to the two posts on the right, presses the display's board forward through foam."""
    first, second = s.clip_posts[2:]
    start = -sizes.CLIP_POST_DEEP
    outer = first[0] + sizes.POST / 2
    inner = s.display_at[0] + s.display.outline[0] / 2 - sizes.CLIP_OVER
    at = ((outer + inner) / 2, (first[1] + second[1]) / 2)
    high = second[1] - first[1] + 10
    plate = block(at, outer - inner, high, start, start - sizes.CLIP_THICK, 1.5)
    over = sizes.CLIP_OVER - 1
    pad = block((inner + over / 2, at[1]), over, high - 2, start - BEYOND, s.display.back - sizes.FOAM)
    end = start - sizes.CLIP_THICK
    holes = [rod(post, sizes.SCREW_HOLE, start + BEYOND, end - BEYOND) for post in (first, second)]
    return _one(plate + pad - holes)


def printed(s: Sizes) -> dict[str, Part]:
    """All that is printed, where it is in the finished box; of the two clips, the right one."""
    return {
        "panel": panel(s),
        "tray": tray(s),
        **{f"cap-{key.name.lower()}": cap(key) for key in s.caps},
        "clip": clip(s),
    }


def other_clip(s: Sizes, right: Part) -> Part:
    """The same, turned half round the middle of the display."""
    x, y = s.display_at
    return Pos(x, y) * Rot(0, 0, 180) * Pos(-x, -y) * right


def on_the_bed(name: str, part: Part) -> Part:
    """As it is printed: the panel lies on its front, the rest stands as it is."""
    turned = Rot(180, 0, 0) * part if name == "panel" else part
    box = turned.bounding_box()
    middle = box.center()
    return Pos(-middle.X, -middle.Y, -box.min.Z) * turned
