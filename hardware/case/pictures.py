"""Line drawings of the case: front, rear, inside, taken apart, and cut through window and key.

What must live here: what is seen from where, and what is written beside it. Needs build123d.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from math import ceil
from xml.sax.saxutils import escape

from build123d import Compound, Edge, GeomType, Part, Plane, Pos, Rectangle, Vector

from hardware.case import sizes
from hardware.case.sizes import Sizes
from hardware.checks.clashes import Body, bodies, printed_bodies

Point = tuple[float, float]
Point3 = tuple[float, float, float]
MARGIN = 6.0
TEXT = 3.2
FINE = 0.15
"""How far a drawn curve may be from the true one."""


@dataclass
class Drawing:
    """x to the right and y up, in mm; the largest and smallest of each are found while drawing."""

    pieces: list[str] = field(default_factory=list)
    seen: list[Point] = field(default_factory=list)

    def lines(self, paths: Iterable[list[Point]], kind: str) -> None:
        data = []
        for path in paths:
            self.seen += path
            data.append("M" + "L".join(_pair(point) for point in path))
        self.pieces.append(f'<path class="{kind}" d="{"".join(data)}"/>')

    def filled(self, loops: Iterable[list[Point]], colour: str, edge: str) -> None:
        data = []
        for loop in loops:
            self.seen += loop
            data.append("M" + "L".join(_pair(point) for point in loop) + "Z")
        self.pieces.append(
            f'<path class="cut" style="fill:{colour};stroke:{edge}" fill-rule="evenodd" d="{"".join(data)}"/>'
        )

    def label(self, words: str, at: Point, target: Point | None = None) -> None:
        """Beside the drawing; a line goes from the words to what they name."""
        x, y = at
        to_left = target is not None and target[0] < x
        anchor = "start" if to_left else "end" if target is not None else "middle"
        if target is not None:
            end = (x - 1 if to_left else x + 1, y)
            self.pieces.append(f'<path class="lead" d="M{_pair(end)}L{_pair(target)}"/>')
            self.pieces.append(f'<circle class="dot" cx="{target[0]:.2f}" cy="{-target[1]:.2f}" r="0.6"/>')
        wide = len(words) * TEXT * 0.56
        left = x if anchor == "start" else x - wide if anchor == "end" else x - wide / 2
        self.seen += [(left, y + TEXT), (left + wide, y - TEXT)]
        self.pieces.append(
            f'<text x="{x:.2f}" y="{-y + TEXT * 0.35:.2f}" text-anchor="{anchor}">{escape(words)}</text>'
        )

    def svg(self) -> str:
        xs, ys = [x for x, _ in self.seen], [-y for _, y in self.seen]
        left, top = min(xs) - MARGIN, min(ys) - MARGIN
        wide, high = max(xs) - left + MARGIN, max(ys) - top + MARGIN
        style = (
            "<style>path{fill:none;stroke:#000;stroke-width:.25;stroke-linejoin:round;stroke-linecap:round}"
            "path.fine{stroke:#777;stroke-width:.15}path.lead{stroke:#777;stroke-width:.18}"
            "path.cut{stroke-width:.2}.dot{fill:#777}text{fill:#000}</style>"
        )
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:.1f}mm" height="{high:.1f}mm" '
            f'viewBox="{left:.2f} {top:.2f} {wide:.2f} {high:.2f}" font-size="{TEXT}" '
            f'font-family="DejaVu Sans, Arial, sans-serif">{style}\n'
            f'<rect x="{left:.2f}" y="{top:.2f}" width="{wide:.2f}" height="{high:.2f}" fill="#fff"/>\n'
            + "\n".join(self.pieces)
            + "\n</svg>\n"
        )


def _pair(point: Point) -> str:
    return f"{point[0]:.2f} {-point[1]:.2f}"


class View:
    """From `towards` the eye, with `up` upwards, without perspective."""

    def __init__(self, towards: Point3, up: Point3 = (0, 1, 0)) -> None:
        self.towards, self.up = Vector(*towards).normalized(), Vector(*up)
        self.right = self.up.cross(self.towards).normalized()
        self.top = self.towards.cross(self.right)

    def flat(self, point: Point3) -> Point:
        place = Vector(*point)
        return place.dot(self.right), place.dot(self.top)

    def draw(self, drawing: Drawing, parts: Iterable[Part], kind: str = "thick") -> None:
        """Only what no other of them hides."""
        eye = self.towards * 1000
        visible, _ = Compound(list(parts)).project_to_viewport(tuple(eye), tuple(self.up), (0, 0, 0))
        drawing.lines(sorted(min(path, path[::-1]) for path in map(_path, visible)), kind)


def _path(edge: Edge) -> list[Point]:
    if edge.geom_type == GeomType.LINE:
        turns = [0.0, 1.0]
    else:
        pieces = max(2, min(48, ceil(edge.length / 0.8)))
        turns = [n / pieces for n in range(pieces + 1)]
    return [(round(place.X, 2), round(place.Y, 2)) for place in (edge.position_at(turn) for turn in turns)]


def _named(found: Iterable[Body], *names: str) -> list[Part]:
    return [body.solid for body in found if body.name.startswith(names)]


def drawings(s: Sizes) -> dict[str, str]:
    printed = {body.name: body.solid for body in printed_bodies(s)}
    bought = bodies(s)
    return {
        "front.svg": _front(s, printed, bought),
        "rear.svg": _rear(s, printed, bought),
        "inside.svg": _inside(s, printed, bought),
        "apart.svg": _apart(s, printed, bought),
        "cut.svg": _cut(s, printed, bought),
    }


def _caps(printed: dict[str, Part]) -> list[Part]:
    return [part for name, part in printed.items() if name.startswith("cap-") and "pressed" not in name]


def _outside(bought: list[Body]) -> list[Part]:
    return [body.solid for body in bought if body.name.endswith(", outside")]


def _front(s: Sizes, printed: dict[str, Part], bought: list[Body]) -> str:
    drawing, view = Drawing(), View((0, 0, 1))
    knob = [body.solid for body in bought if body.name == "knob"]
    view.draw(drawing, [printed["panel"], *_caps(printed), *knob, *_outside(bought), *_named(bought, "pane")])
    edge = s.wide / 2 + 8
    drawing.label("window, red gel behind it", (edge, s.window_at[1]), (s.window[0] / 2 - 6, s.window_at[1]))
    back, lamp, expose = s.caps
    below = -s.high / 2
    drawing.label("BACK: a groove", (-edge, back.at[1]), (back.at[0] - back.wide / 3, back.at[1]))
    drawing.label("LAMP: a dimple", (lamp.at[0] - 12, below - 6), (lamp.at[0], lamp.at[1] - 3))
    drawing.label(
        "EXPOSE: larger, and stands out more", (expose.at[0] + 8, below - 6), (expose.at[0], expose.at[1] - 3)
    )
    drawing.label("dial", (edge, s.dial[1]), (s.dial[0] + sizes.KNOB / 4, s.dial[1]))
    for entry in s.entries:
        if entry.wall == "rear":
            drawing.label(entry.name, (entry.along, s.high / 2 + 18))
        else:
            drawing.label(
                f"{entry.name}, in the side", (edge, entry.along - 12), (s.wide / 2, entry.along - 12)
            )
    deep = s.inside + sizes.PANEL + sizes.FLOOR
    drawing.label(f"{s.wide} mm wide, {s.high} mm high, {deep:.0f} mm deep", (0, below - 14))
    return drawing.svg()


def _rear(s: Sizes, printed: dict[str, Part], bought: list[Body]) -> str:
    """From behind the box as it stands: the words are those on it."""
    drawing, view = Drawing(), View((0, 1, 0), (0, 0, 1))
    feet = _named(bought, "foot")
    knob = [body.solid for body in bought if body.name == "knob"]
    view.draw(drawing, [printed["panel"], printed["tray"], *_caps(printed), *knob, *feet, *_outside(bought)])
    return drawing.svg()


def _inside(s: Sizes, printed: dict[str, Part], bought: list[Body]) -> str:
    """From behind, without the tray; what is in the tray is drawn fine."""
    drawing, view = Drawing(), View((0, 0, -1))
    on_panel = [printed["panel"], printed["clip"], printed["other clip"], *_caps(printed)]
    parts = s.circuit.parts
    on_back = [ref for ref in s.outlines if parts[ref].side == "back" and parts[ref].fitted]
    names = ("board", "USB plug", "display's board", "display's back", *on_back)
    shown = [body.solid for body in bought if body.name in names]
    view.draw(drawing, [*on_panel, *shown, *_named(bought, "board's screw", "clip's screw")])
    view.draw(drawing, _named(bought, *(f"{entry.name}, " for entry in s.entries)), "fine")
    edge = s.wide / 2 + 14

    def behind(x: float, y: float) -> Point:
        return -x, y

    for entry in s.entries:
        if entry.wall == "rear":
            drawing.label(entry.name, behind(entry.along, s.high / 2 + 18))
    for ref in on_back:
        left, top, right, bottom = s.outlines[ref].keeps
        words = "Pico" if ref == "U1" else ref
        drawing.label(words, behind(*s.at((left + right) / 2, (top + bottom) / 2)))
    x, y = behind(*s.display_at)
    drawing.label("back of the display", (x, y - 15))
    x, y = behind(*s.clip_posts[1])
    drawing.label("clip, foam under it", (edge, y - 13), (x, y - 13))
    x, y = behind(*s.pillars[2])
    drawing.label("pillar: the floor is screwed to it", (-edge, y + 8), (x, y))
    x, y = behind(*s.board_holes[2])
    drawing.label("post: the board is screwed to it", (edge, y), (x, y))
    usb = next(entry for entry in s.entries if entry.wall == "right")
    drawing.label("USB socket", (-edge, usb.along), (-s.wide / 2 + 7, usb.along))
    u1 = s.outlines["U1"].keeps
    x, y = behind(*s.at(u1[2] + 20, (u1[1] + u1[3]) / 2))
    drawing.label("plug of the USB socket's lead", (-edge, y), (x, y))
    drawing.label("fine lines: in the tray, which is off", (0, -s.high / 2 - 6))
    return drawing.svg()


APART = {
    "knob": 40.0,
    "caps": -34.0,
    "pane": -44.0,
    "gel": -56.0,
    "display": -70.0,
    "clips": -86.0,
    "board": -110.0,
    "tray": -215.0,
    "feet": -232.0,
}
"""How far each is moved along z: all but the knob goes into the panel from behind."""


def _apart(s: Sizes, printed: dict[str, Part], bought: list[Body]) -> str:
    """As it is put together, the panel on its front."""
    drawing, view = Drawing(), View((0.52, 0.72, -0.42), (0, 0, -1))
    parts = s.circuit.parts
    fitted = [ref for ref in s.outlines if parts[ref].fitted]
    groups: dict[str, list[Part]] = {
        "panel": [printed["panel"]],
        "tray": [printed["tray"], *_outside(bought)],
        "feet": _named(bought, "foot"),
        "board": [body.solid for body in bought if body.name in ("board", *fitted)],
        "clips": [printed["clip"], printed["other clip"]],
        "display": _named(bought, "display's"),
        "gel": _named(bought, "gel"),
        "pane": _named(bought, "pane"),
        "caps": _caps(printed),
        "knob": [body.solid for body in bought if body.name == "knob"],
    }
    moved = [Pos(0, 0, APART.get(name, 0.0)) * part for name, parts in groups.items() for part in parts]
    view.draw(drawing, moved)
    window = s.window_at[1]
    words: dict[str, tuple[str, Point3]] = {
        "knob": ("knob", (s.dial[0], s.dial[1], 12.0)),
        "caps": ("caps", (s.caps[2].at[0] + 10, s.caps[2].at[1] + 5, -7.0)),
        "pane": ("pane", (s.pane[0] / 2, window - 15, 1.0)),
        "gel": ("red gel", (s.pane[0] / 2, window - 15, 0.0)),
        "panel": ("panel, on its front", (s.wide / 2, -s.high / 4, 1.0)),
        "display": ("display", (s.display.outline[0] / 2, window - 15, -2.5)),
        "clips": ("clips", (s.clip_posts[3][0] + 3, window - 15, -8.0)),
        "board": ("board: Pico and terminals on this side", (s.board_size[0] / 2, -50.0, -16.0)),
        "tray": ("tray", (s.wide / 2, -60.0, -20.0)),
        "feet": ("feet", (sizes.FEET[0], -sizes.FEET[1], -41.0)),
    }
    column = max(x for x, _ in drawing.seen) + 8
    last = float("inf")
    targets = {name: view.flat((x, y, z + APART.get(name, 0.0))) for name, (_, (x, y, z)) in words.items()}
    for name in sorted(targets, key=lambda name: -targets[name][1]):
        last = min(targets[name][1], last - 5)
        drawing.label(words[name][0], (column, last), targets[name])
    return drawing.svg()


def _cut(s: Sizes, printed: dict[str, Part], bought: list[Body]) -> str:
    """Upright, through the middle of LAMP and the window: the panel on top, the rear on the right."""
    lamp = next(cap for cap in s.caps if cap.name == "LAMP")
    drawing = Drawing()
    plane = Plane(origin=(lamp.at[0], 0, 0), x_dir=(0, 1, 0), z_dir=(1, 0, 0)) * Rectangle(400, 400)
    shown = [(name, part) for name, part in printed.items() if "pressed" not in name]
    shown += [(body.name, body.solid) for body in bought if "pressed" not in body.name]
    for name, part in shown:
        met = part & plane
        colour = next((colour for start, colour in COLOURS.items() if name.startswith(start)), "#f2f2f2")
        loops = sorted(
            _loop(wire.edges())
            for face in (met.faces() if met is not None else [])
            for wire in (face.outer_wire(), *face.inner_wires())
        )
        if loops:
            drawing.filled(loops, colour, colour if name == "gel" else "#000")
    half, y, window = s.high / 2, lamp.at[1], s.window_at[1]
    high, low = 12.0, -s.inside - sizes.FLOOR - 8
    drawing.label("LAMP's cap", (y - 14, high), (y, sizes.PANEL - 1))
    drawing.label("collar", (y + 9, high + 6), (y + lamp.high / 2 + 1.3, -2.0))
    drawing.label("foot: keeps it in", (y + 20, high), (y + lamp.high / 2, -6.0))
    drawing.label("pane, gel behind it", (window - 20, high), (window - 12, s.gel_thick + 0.8))
    drawing.label("display", (window - 14, high + 6), (window + 4, -1.0))
    drawing.label("lip: no straight way for light", (half + 6, high), (half - sizes.WALL - 1, -3.5))
    drawing.label("key", (y - 16, low), (y, -s.gap + 2))
    drawing.label("board", (-36, low), (-42, -s.gap - sizes.BOARD / 2))
    drawing.label("Pico on its sockets", (-2, low), (-8, -s.gap - sizes.BOARD - 9))
    drawing.label("terminal and its wires", (40, low), (16, -s.gap - sizes.BOARD - 5))
    at = -half - 5
    drawing.lines([[(at, 0.0), (at, float(-s.gap))]], "thick")
    drawing.lines([[(at - 1, z), (half * -1 - 1, z)] for z in (0.0, float(-s.gap))], "fine")
    drawing.label(f"{s.gap} mm", (at - 8, -s.gap / 2))
    return drawing.svg()


COLOURS = {
    "panel": "#8f8f8f",
    "tray": "#8f8f8f",
    "cap": "#bdbdbd",
    "pane": "#cfe6f5",
    "gel": "#e01010",
    "display": "#efe3bb",
    "board": "#a9cfa3",
    "SW": "#f0c294",
    "U1": "#c5daec",
    "tails": "#e4eee2",
}


def _loop(edges: Iterable[Edge]) -> list[Point]:
    """Along y and z, the edges put end to end; the same whichever edge is first and whichever way around."""
    left = [
        [(round(p.Y, 3), round(p.Z, 3)) for p in (edge.position_at(n / count) for n in range(count + 1))]
        for edge in edges
        for count in [1 if edge.geom_type == GeomType.LINE else 12]
    ]
    loop = left.pop(0)
    while left:
        last = loop[-1]
        nearest = min(left, key=lambda path: min(_far(path[0], last), _far(path[-1], last)))
        left.remove(nearest)
        loop += nearest[1:] if _far(nearest[0], last) <= _far(nearest[-1], last) else nearest[-2::-1]
    loop = loop[:-1]
    first = loop.index(min(loop))
    onward = loop[first:] + loop[:first]
    return min(onward, onward[:1] + onward[:0:-1])


def _far(one: Point, other: Point) -> float:
    return abs(one[0] - other[0]) + abs(one[1] - other[1])
