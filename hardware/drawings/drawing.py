"""A schematic drawing that knows what it has drawn, and compares it with the parts.

What must live here: how parts, wires and names are drawn, and what a drawing must keep to be right (`faults`)
and easy to read (`crowded`). It may not know any part of the box: the modules beside it say what is drawn
where.

Lengths are in units of 0.4 inch, so that a drawing fills A4; x goes to the right and y goes up. Wires are
horizontal or vertical. They join where one ends on the other, and get their dot by themselves; wires that
only cross do not join. Pieces of a net that lie apart join by its name.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import combinations, pairwise
from math import nan
from typing import Literal

import schemdraw
import schemdraw.elements as elm
from schemdraw.segments import Segment, SegmentCircle, SegmentText

from hardware.circuit import Circuit, Part

schemdraw.use("svg")
schemdraw.svgconfig.text = "text"

Point = tuple[float, float]
Align = Literal["left", "center", "right"]
Box = tuple[float, float, float, float]
"""x0, y0, x1, y1."""

WIDTH, HEIGHT = 27.0, 18.6
"""Of the frame."""
UNIT_PT = 28.8
A4_PT = (841.9, 595.3)
TEXT_PT = 8.5
SMALL_PT = 7.0
LETTER_WIDTH = 0.6
"""Of the text's height: wider than most fonts have it, so that a text fits in any."""
FAINT = "#777777"
FOOT = 0.9
FOOTNOTE = "Made from parts.toml and pins.toml.  NAME /2: the net goes on in drawing 2."
NEAR = 0.02
SINK = 0.06
"""Text that is centred by its height looks too high: capitals and figures have nothing under the line."""


class _RestContact(elm.Element2Term):
    """Its blade lies on both contacts. That of schemdraw ends above one of them, and looks open."""

    def __init__(self) -> None:
        super().__init__()
        radius, gap = 0.12, (nan, nan)
        self.segments += [
            Segment([(0, 0), gap, (0, radius), (1, radius), gap, (1, 0)]),
            SegmentCircle((radius, 0), radius, fill="bg", zorder=3),
            SegmentCircle((1 - radius, 0), radius, fill="bg", zorder=3),
        ]


SUPPLIES = ("3V3", "V5S", "VSYS")
TWO_PADS: dict[str, Callable[[], elm.Element2Term]] = {
    "resistor": elm.Resistor,
    "switching-diode": elm.Diode,
    "schottky-diode": elm.Schottky,
    "suppressor": elm.Zener,
    "ceramic": elm.Capacitor,
    "film": elm.Capacitor,
    "electrolytic": lambda: elm.Capacitor(polar=True),
    "fuse": elm.Fuse,
    "key": elm.Button,
    "piezo": elm.Crystal,
    "header-2": elm.Switch,
    "network": elm.Resistor,
    "led": elm.LED,
    "coil": elm.RBox,
    "rest-contact": _RestContact,
}
HALF_WIDTH = {"piezo": 0.5, "key": 0.6, "header-2": 0.5, "suppressor": 0.36, "led": 0.8, "rest-contact": 0.5}
"""Of the symbols that are wider than 0.25 to either side."""
CATHODE_FIRST = ("switching-diode", "schottky-diode", "suppressor")
"""Pad 1 is the cathode, and the symbol begins with the anode."""


@dataclass(frozen=True)
class Transistor:
    collector: Point
    base: Point
    emitter: Point

    @property
    def x(self) -> float:
        """Of collector and emitter."""
        return self.collector[0]


@dataclass(frozen=True)
class Name:
    net: str
    at: Point
    side: str
    """ "up" and "down" are supply and ground; "left" and "right" are flags."""


def _overlap(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _near(one: Point, other: Point) -> bool:
    return abs(one[0] - other[0]) < NEAR and abs(one[1] - other[1]) < NEAR


def _on(point: Point, wire: tuple[Point, Point]) -> bool:
    """On a wire, its ends too."""
    x, y = point
    (x0, y0), (x1, y1) = wire
    return (x0 - NEAR <= x <= x1 + NEAR or x1 - NEAR <= x <= x0 + NEAR) and (
        y0 - NEAR <= y <= y1 + NEAR or y1 - NEAR <= y <= y0 + NEAR
    )


class Drawing:
    """`pads`, `wires` and `names` are what has been drawn."""

    def __init__(self, number: int, title: str, circuit: Circuit) -> None:
        self.number = number
        self.title = title
        self.circuit = circuit
        self.footnote = FOOTNOTE
        self.pads: list[tuple[str, str, Point]] = []
        self.wires: list[tuple[Point, Point]] = []
        self.names: list[Name] = []
        self.drawn: list[str] = []
        self._elements: list[elm.Element] = []
        self._leads: list[tuple[Point, Point]] = []
        self._bodies: list[tuple[str, Box]] = []
        self._texts: list[tuple[str, Box]] = []

    # --- what is drawn

    def two(
        self, ref: str, one: Point, other: Point, side: str = "", pads: tuple[str, str] = ("1", "2")
    ) -> None:
        """A part of two pads, the first at `one`, the second at `other`. `side` is where its text stands."""
        part = self._begin(ref)
        ends = (other, one) if part.kind in CATHODE_FIRST else (one, other)
        element = TWO_PADS[part.kind]().at(ends[0]).to(ends[1])
        self._add(element, part)
        for pad, point in zip(pads, (one, other)):
            self.pads.append((ref, pad, point))
        inner = [self._anchor(element, name) for name in ("istart", "iend")]
        self._leads += [(ends[0], inner[0]), (ends[1], inner[1])]
        middle = ((one[0] + other[0]) / 2, (one[1] + other[1]) / 2)
        half = HALF_WIDTH.get(part.kind, 0.25)
        upright = abs(one[0] - other[0]) < NEAR
        (x0, y0), (x1, y1) = (min(inner), max(inner))
        body = (x0 - half, y0, x1 + half, y1) if upright else (x0, y0 - half, x1, y1 + half)
        self._bodies.append((ref, body))
        label, value = ref, part.value
        if part.kind == "network":
            label, value = f"{ref}.{pads[1]}", part.value.rpartition(" ")[2]
        side = side or ("right" if upright else "above")
        if side in ("left", "right"):
            out = (half + 0.12) * (1 if side == "right" else -1)
            align: Align = "left" if side == "right" else "right"
            self.text(f"{label}\n{value}", (middle[0] + out, middle[1]), align)
        else:
            up = 1 if side == "above" else -1
            self.text(f"{label}  {value}", (middle[0], middle[1] + up * (half + 0.22)), "center")

    def transistor(self, ref: str, base: Point) -> Transistor:
        """With its base to the left: an NPN's collector above, a PNP's emitter."""
        part = self._begin(ref)
        make = elm.BjtNpn if part.kind == "npn" else elm.BjtPnp
        element = make(circle=True).right().anchor("base").at(base)
        self._add(element, part)
        points = {pad: self._anchor(element, name) for pad, name in _TRANSISTOR_PADS.items()}
        self.pads += [(ref, pad, point) for pad, point in points.items()]
        x, y = base
        self._bodies.append((ref, (x + 0.15, y - 0.55, x + 1.1, y + 0.55)))
        self._leads += [(base, (x + 0.15, y))]
        self.text(f"{ref}\n{part.value}", (x + 1.22, y))
        return Transistor(points["1"], points["2"], points["3"])

    def block(
        self,
        ref: str,
        corner: Point,
        width: float,
        left: Iterable[tuple[str, str]] = (),
        right: Iterable[tuple[str, str]] = (),
        pitch: float = 0.8,
    ) -> dict[str, Point]:
        """A part drawn as a box, its upper left corner at `corner`, with (pad, what it is) from the top down;
        a pad "" leaves its place empty. Returns where each pad's wire begins. What nothing is connected to
        gets a cross."""
        part = self._begin(ref)
        x, y = corner
        left, right = list(left), list(right)
        height = pitch * max(len(left), len(right))
        self._add(elm.Rect(corner1=(0, 0), corner2=(width, -height)).at(corner), part)
        self._bodies.append((ref, (x, y - height, x + width, y)))
        ends = {}
        for rows, edge, out in ((left, x, -1), (right, x + width, 1)):
            for number, (pad, what) in enumerate(rows):
                if not pad:
                    continue
                at = (edge, y - pitch * (number + 0.5))
                end = (edge + 0.6 * out, at[1])
                self._line(at, end)
                self._leads.append((at, end))
                self.text(pad, (edge + 0.3 * out, at[1] + 0.16), "center", SMALL_PT, on_line=True)
                self.text(what, (edge - 0.15 * out, at[1]), "left" if out < 0 else "right", inside=ref)
                ends[pad] = end
                self.pads.append((ref, pad, end))
                if pad not in part.pads:
                    for rise in (-0.12, 0.12):
                        self._line((end[0] - 0.12, end[1] - rise), (end[0] + 0.12, end[1] + rise))
        self.text(f"{ref}  {part.value}", (x, y + 0.28), "left")
        return ends

    def test_point(self, ref: str, at: Point) -> None:
        """Below its text, above its wire."""
        part = self._begin(ref)
        self._add(elm.Dot(radius=0.11, open=True).at(at), part)
        self.pads.append((ref, "1", at))
        self._bodies.append((ref, (at[0] - 0.1, at[1] - 0.1, at[0] + 0.1, at[1] + 0.1)))
        self.text(ref, (at[0], at[1] + 0.35), "center")

    def wire(self, *points: Point) -> Point:
        """From point to point. Returns the last."""
        for one, other in pairwise(points):
            self.wires.append((one, other))
        return points[-1]

    def net(self, name: str, at: Point, side: str = "right") -> None:
        """The net's name: ground and supplies by their symbols, and else, or as "flag-left" or "flag-right",
        a flag that also says on which drawings it goes on."""
        if side.startswith("flag-"):
            side = side.removeprefix("flag-")
        elif name == "GND":
            side = "down"
        elif name in SUPPLIES:
            side = "up"
        self.names.append(Name(name, at, side))

    def text(
        self,
        words: str,
        at: Point,
        align: Align = "left",
        size: float = TEXT_PT,
        *,
        colour: str = "black",
        on_line: bool = False,
        inside: str = "",
    ) -> None:
        """`at` is the middle of its height. `on_line`: by a line on purpose; `inside`: of which part."""
        self._elements.append(_words(words, at, align, size, colour))
        if not on_line:
            self._texts.append((f"{words!r}|{inside}", _text_box(words, at, align, size)))

    def note(self, words: str, at: Point, align: Align = "left") -> None:
        self.text(words, at, align, SMALL_PT + 0.5, colour="#444444")

    def heading(self, words: str, at: Point) -> None:
        self.text(words, at, "left", TEXT_PT + 2)

    def _begin(self, ref: str) -> Part:
        if ref not in self.drawn or self.circuit.parts[ref].kind != "network":
            self.drawn.append(ref)
        return self.circuit.parts[ref]

    def _add(self, element: elm.Element, part: Part) -> None:
        if not part.fitted:
            element.style(color=FAINT, ls="--")
        self._elements.append(_placed(element))

    def _line(self, one: Point, other: Point) -> None:
        self._elements.append(_placed(elm.Line().at(one).to(other)))

    @staticmethod
    def _anchor(element: elm.Element, name: str) -> Point:
        x, y = element.absanchors[name]
        return (round(float(x), 4), round(float(y), 4))

    # --- what the drawing says

    def pieces(self) -> list[tuple[set[tuple[str, str]], set[str]]]:
        """(pads, names) of each piece that is joined by wires."""
        points = [at for *_, at in self.pads] + [name.at for name in self.names]
        labels = len(points)
        points += [end for wire in self.wires for end in wire]
        parent = list(range(len(points)))

        def root(i: int) -> int:
            while parent[i] != i:
                parent[i] = parent[parent[i]]
                i = parent[i]
            return i

        by_x = sorted(range(len(points)), key=lambda i: points[i])
        for rank, i in enumerate(by_x):
            for j in by_x[rank + 1 :]:
                if points[j][0] - points[i][0] >= NEAR:
                    break
                if _near(points[i], points[j]):
                    parent[root(i)] = root(j)
        for number, ((x0, y0), (x1, y1)) in enumerate(self.wires):
            left, right = min(x0, x1) - NEAR, max(x0, x1) + NEAR
            low, high = min(y0, y1) - NEAR, max(y0, y1) + NEAR
            for i, (x, y) in enumerate(points):
                if left <= x <= right and low <= y <= high:
                    parent[root(i)] = root(labels + 2 * number)
        found: dict[int, tuple[set[tuple[str, str]], set[str]]] = defaultdict(lambda: (set(), set()))
        for i, (ref, pad, _) in enumerate(self.pads):
            found[root(i)][0].add((ref, pad))
        for i, name in enumerate(self.names):
            found[root(len(self.pads) + i)][1].add(name.net)
        for i in range(labels, len(points)):
            found[root(i)]
        return list(found.values())

    def faults(self) -> list[str]:
        """A line for each thing drawn that is not so in the parts."""
        pieces = self.pieces()
        return [
            *self._pads_missing_or_unknown(),
            *self._joined_wrongly(pieces),
            *self._names_missing(pieces),
            *self._loose_ends(),
        ]

    def _pads_missing_or_unknown(self) -> list[str]:
        faults = []
        for ref in sorted({ref for ref in self.drawn if self.drawn.count(ref) > 1}):
            faults.append(f"{ref} is drawn twice")
        placed = {(ref, pad) for ref, pad, _ in self.pads}
        for ref in dict.fromkeys(self.drawn):
            for pad in self.circuit.parts[ref].pads:
                if (ref, pad) not in placed:
                    faults.append(f"{ref} has no pad {pad} here")
        return faults

    def _joined_wrongly(self, pieces: list[tuple[set[tuple[str, str]], set[str]]]) -> list[str]:
        faults = []
        for pads, names in pieces:
            nets = {self.circuit.parts[ref].pads.get(pad) for ref, pad in pads}
            if None in nets and (len(pads) > 1 or names):
                faults.append(f"nothing is connected to one of {_listed(pads)}, but it is drawn so")
            elif len(nets | names) > 1:
                faults.append(
                    f"drawn as one: {_listed(pads)}, with the names {sorted(names)}; "
                    f"the parts have {sorted(str(net) for net in nets)}"
                )
            elif not pads:
                faults.append(f"no part is on a wire with the names {sorted(names)}")
        return faults

    def _names_missing(self, pieces: list[tuple[set[tuple[str, str]], set[str]]]) -> list[str]:
        faults = []
        here = set(self.drawn)
        for net, all_pads in self.circuit.nets.items():
            mine = [(pads, names) for pads, names in pieces if not pads.isdisjoint(all_pads)]
            elsewhere = {ref for ref, _ in all_pads} - here
            if len(mine) > 1 or (mine and elsewhere):
                for pads, names in mine:
                    if net not in names:
                        why = f"{len(mine)} pieces" if len(mine) > 1 else "part, and goes on elsewhere"
                        faults.append(f"{net} is drawn in {why}, without its name at {_listed(pads)}")
        return faults

    def _loose_ends(self) -> list[str]:
        faults = []
        for number, wire in enumerate(self.wires):
            if abs(wire[0][0] - wire[1][0]) >= NEAR and abs(wire[0][1] - wire[1][1]) >= NEAR:
                faults.append(f"the wire {wire} is neither horizontal nor vertical")
            others = self.wires[:number] + self.wires[number + 1 :]
            for end in wire:
                if self._arms(end) < 2 and not any(_on(end, other) for other in others):
                    faults.append(f"the wire {wire} ends at nothing")
        return faults

    def _arms(self, point: Point) -> int:
        """How many lines go out from a point: three or more get a dot."""
        x, y = point
        ends = [at for *_, at in self.pads] + [name.at for name in self.names]
        arms = sum(abs(x - at[0]) < NEAR and abs(y - at[1]) < NEAR for at in ends)
        for wire in self.wires:
            if _on(point, wire):
                arms += 1 if any(_near(point, end) for end in wire) else 2
        return arms

    def crowded(self, flags: dict[str, list[int]]) -> list[str]:
        """A line for each thing that no reader of a drawing should have to bear: texts over lines, parts or
        other texts, parts over parts, wires through parts. `flags` as in `svg`."""
        bodies = list(self._bodies)
        texts = list(self._texts)
        texts += [
            (f"{words!r}|", _text_box(words, at, align, size)) for words, at, align, size in self._foot()
        ]
        for name in self.names:
            box, label = _name_boxes(name, self._flag_text(name, flags))
            bodies.append((f"name {name.net}", box))
            if label:
                texts.append((f"{name.net!r}|", label))
        lines = [*self.wires, *self._leads]
        faults = []
        for (what, box), (other_what, other) in combinations(texts, 2):
            if _overlap(box, other):
                faults.append(f"text {what} over text {other_what}")
        for what, box in texts:
            if box[0] < 0 or box[1] < 0 or box[2] > WIDTH or box[3] > HEIGHT:
                faults.append(f"text {what} is out of the frame")
            owner = what.rpartition("|")[2]
            for ref, body in bodies:
                if ref != owner and _overlap(box, body):
                    faults.append(f"text {what} over {ref}")
            for line in lines:
                if _overlap(box, _line_box(line)):
                    faults.append(f"text {what} over the line {line}")
        for (ref, body), (other_ref, other) in combinations(bodies, 2):
            if _overlap(body, other) and ref != other_ref:
                faults.append(f"{ref} over {other_ref}")
        for ref, body in bodies:
            inner = (body[0] + 0.05, body[1] + 0.05, body[2] - 0.05, body[3] - 0.05)
            for line in self.wires:
                if not ref.startswith("TP") and _overlap(inner, _line_box(line)):
                    faults.append(f"the wire {line} runs through {ref}")
        return faults

    # --- the picture

    def svg(self, flags: dict[str, list[int]]) -> str:
        """`flags`: net -> the numbers of the drawings it is on."""
        elements = [*self._elements, *(_placed(elm.Line().at(one).to(other)) for one, other in self.wires)]
        for point in sorted({end for wire in self.wires for end in wire} | {at for *_, at in self.pads}):
            if self._arms(point) > 2:
                elements.append(_placed(elm.Dot(radius=0.065).at(point)))
        for name in self.names:
            elements += _name_elements(name, self._flag_text(name, flags))
        elements += [
            _placed(elm.Rect(corner1=(0, 0), corner2=(WIDTH, HEIGHT)).right().at((0, 0))),
            _placed(elm.Line().at((0, FOOT)).to((WIDTH, FOOT))),
            *(_words(*text) for text in self._foot()),
        ]
        drawing = _drawing()
        drawing.elements += elements
        return _on_a4(drawing.get_imagedata("svg"))

    def _foot(self) -> list[tuple[str, Point, Align, float]]:
        title = f"Lampblack, drawing {self.number}: {self.title}"
        return [
            (title, (0.3, FOOT / 2), "left", TEXT_PT + 2.5),
            (self.footnote, (WIDTH - 0.3, FOOT / 2), "right", SMALL_PT + 0.5),
        ]

    def _flag_text(self, name: Name, flags: dict[str, list[int]]) -> str:
        others = [str(number) for number in flags.get(name.net, []) if number != self.number]
        plain = name.net == "GND" or name.net in SUPPLIES
        return name.net if plain or not others else f"{name.net} /{','.join(others)}"


_TRANSISTOR_PADS = {"1": "collector", "2": "base", "3": "emitter"}


def _listed(pads: set[tuple[str, str]]) -> str:
    return ", ".join(f"{ref}.{pad}" for ref, pad in sorted(pads))


def _text_box(words: str, at: Point, align: Align, size: float) -> Box:
    lines = words.split("\n")
    wide = max(map(len, lines)) * size * LETTER_WIDTH / UNIT_PT
    tall = len(lines) * size * 1.05 / UNIT_PT
    x0 = at[0] - {"left": 0.0, "center": wide / 2, "right": wide}[align]
    return (x0, at[1] - tall / 2, x0 + wide, at[1] + tall / 2)


def _line_box(line: tuple[Point, Point]) -> Box:
    (x0, y0), (x1, y1) = line
    return (min(x0, x1) - 0.03, min(y0, y1) - 0.03, max(x0, x1) + 0.03, max(y0, y1) + 0.03)


def _flag_width(words: str) -> float:
    return len(words) * SMALL_PT * LETTER_WIDTH / UNIT_PT + 0.55


def _name_boxes(name: Name, words: str) -> tuple[Box, Box | None]:
    """What the symbol takes, and its text where that stands outside."""
    x, y = name.at
    if name.side == "down":
        return (x - 0.25, y - 0.64, x + 0.25, y - 0.25), None
    if name.side == "up":
        wide = len(words) * SMALL_PT * LETTER_WIDTH / UNIT_PT
        return (x - 0.19, y + 0.15, x + 0.19, y + 0.4), (x - wide / 2, y + 0.45, x + wide / 2, y + 0.7)
    wide = _flag_width(words)
    x0 = x if name.side == "right" else x - wide
    return (x0, y - 0.26, x0 + wide, y + 0.26), None


def _name_elements(name: Name, words: str) -> list[elm.Element]:
    x, y = name.at
    if name.side == "down":
        return [_placed(elm.Ground().right().at(name.at))]
    if name.side == "up":
        return [_placed(elm.Vdd().right().at(name.at)), _words(words, (x, y + 0.58), "center", SMALL_PT)]
    wide = _flag_width(words)
    tag = elm.Tag(width=wide, height=0.5).at(name.at)
    middle = x + (wide / 2 + 0.06) * (1 if name.side == "right" else -1)
    return [
        _placed(tag.right() if name.side == "right" else tag.left()),
        _words(words, (middle, y), "center", SMALL_PT),
    ]


def _drawing() -> schemdraw.Drawing:
    drawing = schemdraw.Drawing(show=False)
    drawing.config(fontsize=TEXT_PT, lw=1.1, font="sans-serif", inches_per_unit=UNIT_PT / 72)
    return drawing


def _placed(element: elm.Element) -> elm.Element:
    """Where it is to be, in a drawing of its own: only then its anchors are known, and what comes before and
    after has no part in it."""
    _drawing().add(element)
    return element


def _words(words: str, at: Point, align: Align, size: float, colour: str = "black") -> elm.Element:
    element = elm.Element()
    element.segments.append(SegmentText((0, 0), words, (align, "center"), fontsize=size, color=colour))
    return _placed(element.right().at((at[0], at[1] - SINK)))


def _on_a4(picture: bytes) -> str:
    """The picture in the middle of a landscape A4 page."""
    ET.register_namespace("", "http://www.w3.org/2000/svg")
    svg = ET.fromstring(picture)
    x, y, wide, high = map(float, svg.attrib["viewBox"].split())
    x -= (A4_PT[0] - wide) / 2
    y -= (A4_PT[1] - high) / 2
    svg.set("viewBox", f"{x:.1f} {y:.1f} {A4_PT[0]} {A4_PT[1]}")
    svg.set("width", "297mm")
    svg.set("height", "210mm")
    svg.attrib.pop("style", None)
    page = {"x": f"{x:.1f}", "y": f"{y:.1f}", "width": "100%", "height": "100%", "fill": "white"}
    svg.insert(0, ET.Element("{http://www.w3.org/2000/svg}rect", page))
    ET.indent(svg)
    return ET.tostring(svg, encoding="unicode") + "\n"


def part_faults(drawings: list[Drawing], circuit: Circuit) -> list[str]:
    """A line for each part that is not on exactly one drawing."""
    faults = []
    for ref in circuit.parts:
        on = [drawing.number for drawing in drawings if ref in drawing.drawn]
        if len(on) != 1:
            faults.append(f"{ref} is on the drawings {on}" if on else f"{ref} is on no drawing")
    return faults


def nets_of(drawings: list[Drawing], circuit: Circuit) -> dict[str, list[int]]:
    """Net -> the numbers of the drawings it is on."""
    return {
        net: [drawing.number for drawing in drawings if {ref for ref, _ in pads} & set(drawing.drawn)]
        for net, pads in circuit.nets.items()
    }
