"""The breadboard build: its wires, its picture, and the tables of breadboard.md.

What must live here: where each part is plugged in, which wire goes from where to where, and how they are
drawn. Which pin does what is not said here: it comes from pins.toml. `make guides` draws the picture.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from xml.sax.saxutils import escape

from hardware.circuit import EDGE_PINS, HERE, Circuit, read_circuit

PICTURE = HERE / "made" / "breadboard.svg"

Point = tuple[float, float]

# --- the breadboard: 63 columns, rows a to j, and two rails on each side; lengths are in pitches of 2.54 mm

COLUMNS = 63
ROWS = dict(zip("abcdefghij", (3, 4, 5, 6, 7, 10, 11, 12, 13, 14)))
RAILS = {"top +": 0, "top -": 1, "bottom -": 16, "bottom +": 17}
RAIL_HOLES = [first + more for first in range(3, 60, 6) for more in range(5)]
LAST_OF_LEFT_HALF = 31
"""On some boards the rails are in two halves."""
HALF_PINS = EDGE_PINS // 2

MODULES = {
    **{f"display {what}": (17.0 + at, -4.0) for at, what in enumerate(("GND", "VCC", "SCL", "SDA"))},
    **{f"dial {what}": (26.0 + at, 24.8) for at, what in enumerate(("CLK", "DT", "SW", "+", "GND"))},
}
"""Pins of the two modules that lie beside the board, in the order that most have."""

COLOURS = {
    "black": "#222222",
    "red": "#d62222",
    "orange": "#f28c1e",
    "yellow": "#dfc000",
    "blue": "#2563c9",
    "green": "#2a9d3a",
    "violet": "#8a3ab9",
    "grey": "#8b8b8b",
    "brown": "#8b5a2b",
    "pink": "#ef6fae",
    "turquoise": "#14b3ad",
    "light blue": "#6db9ee",
}

LEFT_OUT = {
    "arm": "there is no second contact",
    "feedback": "there is no second contact",
    "lamp_sense": "no part of the box's output is there to be read back",
    "cutoff_tick": "the cut-off is not there: only the firmware ends a light",
    "pedal": "a key more, if you like: to ground, as the others",
    "backlight": "this display has none",
    "cell_sda": "the light cell is not needed to begin with",
    "cell_scl": "the light cell is not needed to begin with",
    "second_lamp": "kept free on every board",
}
"""Pins of pins.toml that this build does not use, and why."""


@dataclass(frozen=True)
class Wire:
    """`one` and `other` are a hole ("j4"), a hole of a rail ("top - 33") or a module's pin ("dial CLK").
    `lane` is how far down it goes on its way, where it is not straight."""

    number: int
    colour: str
    one: str
    other: str
    what: str
    lane: float | None = None


@dataclass(frozen=True)
class Leg:
    """Of a part that is plugged in."""

    part: str
    leg: str
    hole: str


def hole_of(pin: int) -> str:
    """The outermost hole of the strip that a pin of the Pico is in: it sits astride the gap, its USB to the
    left."""
    return f"j{pin}" if pin <= HALF_PINS else f"a{EDGE_PINS + 1 - pin}"


def place(end: str) -> Point:
    """KeyError for what is not there."""
    if end in MODULES:
        return MODULES[end]
    rail = re.fullmatch(r"((?:top|bottom) [+-]) (\d+)", end)
    if rail:
        return (float(RAIL_HOLES[RAIL_HOLES.index(int(rail[2]))]), float(RAILS[rail[1]]))
    return (float(end[1:]), float(ROWS[end[0]]))


def wires(circuit: Circuit) -> list[Wire]:
    """All of them, in the order in which they are put in."""
    pin = {name: hole_of(pin.pin) for name, pin in circuit.pins.items()}
    rows: list[tuple[str, str, str, str, float | None]] = [
        ("black", hole_of(3), "bottom - 3", "ground", None),
        ("black", hole_of(38), "top - 3", "ground", None),
        ("red", hole_of(36), "top + 5", "3.3 V", None),
        ("red", "top + 28", "bottom + 28", "3.3 V", None),
        ("black", "top - 31", "top - 33", "joins its halves", None),
        ("black", "bottom - 31", "bottom - 33", "joins its halves", None),
        ("black", "a37", "top - 37", "BACK key", None),
        ("black", "a43", "top - 43", "LAMP key", None),
        ("black", "a49", "top - 49", "EXPOSE key", None),
        ("black", "j55", "bottom - 55", "safelight's LED", None),
        ("black", "j61", "bottom - 61", "lamp's LED", None),
        ("black", "j25", "bottom - 25", "piezo", None),
        ("violet", pin["back"], "j35", "BACK key", 35.8),
        ("green", pin["lamp_key"], "j41", "LAMP key", 37.0),
        ("blue", pin["expose"], "j47", "EXPOSE key", 38.2),
        ("yellow", pin["safelight"], "j51", "safelight's LED", 39.4),
        ("orange", pin["lamp"], "j57", "lamp's LED", 40.6),
        ("grey", pin["dial_a"], "dial CLK", "dial, contact A", 21.2),
        ("brown", pin["dial_b"], "dial DT", "dial, contact B", 20.3),
        ("pink", pin["dial_press"], "dial SW", "dial, press", 19.2),
        ("red", "bottom + 29", "dial +", "dial, 3.3 V", None),
        ("black", "bottom - 30", "dial GND", "dial, ground", None),
        ("black", "top - 17", "display GND", "display, ground", None),
        ("red", "top + 18", "display VCC", "display, 3.3 V", None),
        ("light blue", pin["display_scl"], "display SCL", "display, clock", None),
        ("turquoise", pin["display_sda"], "display SDA", "display, data", None),
    ]
    return [Wire(number, *row) for number, row in enumerate(rows, 1)]


def legs(circuit: Circuit) -> list[Leg]:
    """Of every part that is plugged in."""
    found = []
    for pin in range(1, EDGE_PINS + 1):
        row, column = ("h", pin) if pin <= HALF_PINS else ("c", EDGE_PINS + 1 - pin)
        found.append(Leg("Pico", str(pin), f"{row}{column}"))
    for key, column in (("BACK", 35), ("LAMP", 41), ("EXPOSE", 47)):
        for row in "dg":
            found += [Leg(f"{key} key", f"{row}{at}", f"{row}{at}") for at in (column, column + 2)]
    piezo = circuit.pins["piezo"].pin
    found += [
        Leg("100 ohm", "one", f"i{piezo}"),
        Leg("100 ohm", "other", "i23"),
        Leg("piezo", "one", "f23"),
        Leg("piezo", "other", "f25"),
        Leg("safelight's 1k", "one", "h51"),
        Leg("safelight's 1k", "other", "h54"),
        Leg("safelight's LED", "long leg", "f54"),
        Leg("safelight's LED", "short leg", "f55"),
        Leg("lamp's 1k", "one", "h57"),
        Leg("lamp's 1k", "other", "h60"),
        Leg("lamp's LED", "long leg", "f60"),
        Leg("lamp's LED", "short leg", "f61"),
    ]
    return found


def words(end: str, circuit: Circuit) -> str:
    """An end of a wire, as it is said to a builder."""
    if end in MODULES:
        module, pin = end.split(" ")
        return f"{module}, {pin}"
    if end.startswith(("top", "bottom")):
        side, sign, column = end.split(" ")
        return f"{side} {sign} rail, at {column}"
    name = _pico_names(circuit).get(end)
    return f"{end} (pin {name})" if name else end


def _pico_names(circuit: Circuit) -> dict[str, str]:
    """Hole on the strip of a pin of the Pico that is used -> its number and what it does."""
    pads = circuit.parts["U1"].pads
    return {hole_of(int(pad)): f"{pad}, {net}" for pad, net in pads.items()}


# --- tables


def wire_table(circuit: Circuit) -> list[str]:
    rows = [
        f"| {wire.number} | {wire.colour} | {words(wire.one, circuit)} | {words(wire.other, circuit)} "
        f"| {wire.what} |"
        for wire in wires(circuit)
    ]
    return ["| wire | colour | from | to | for |", "| --- | --- | --- | --- | --- |", *rows]


def part_table(circuit: Circuit) -> list[str]:
    plugged: dict[str, list[str]] = {}
    for leg in legs(circuit):
        said = f"{leg.leg} in {leg.hole}" if leg.leg.endswith("leg") else leg.hole
        plugged.setdefault(leg.part, []).append(said)
    corners = {leg.leg: leg.hole for leg in legs(circuit) if leg.part == "Pico"}
    plugged["Pico"] = [f"pin {pin} in {corners[pin]}" for pin in ("1", "20", "21", "40")]
    rows = [f"| {part} | {', '.join(where)} |" for part, where in plugged.items()]
    return ["| part | holes |", "| --- | --- |", *rows]


def left_out_table(circuit: Circuit) -> list[str]:
    rows = [
        f"| {circuit.pins[name].net} | {circuit.pins[name].pin} | {why} |" for name, why in LEFT_OUT.items()
    ]
    return ["| net | pin | why |", "| --- | --- | --- |", *rows]


# --- the picture

PITCH = 14.0
LEFT, TOP = -5.0, -17.2
RIGHT, BOTTOM = 66.5, 54.6
BADGE = 0.46


def picture(circuit: Circuit) -> str:
    """As SVG. Holes, legs and wires carry what they are, so that a test can follow them."""
    wide, high = (RIGHT - LEFT) * PITCH, (BOTTOM - TOP) * PITCH
    box = f"{LEFT * PITCH:g} {TOP * PITCH:g} {wide:g} {high:g}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}" width="{wide:g}" height="{high:g}" '
        f'font-family="sans-serif" font-size="10">',
        _rect(LEFT, TOP, RIGHT - LEFT, BOTTOM - TOP, "#ffffff"),
        *_board(),
        *_pico(circuit),
        *_display(),
        *_dial(),
        *_small_parts(circuit),
        *_legs(circuit),
        *_wires(circuit),
        *_legend(circuit),
        "</svg>",
    ]
    return "\n".join(parts) + "\n"


def _xy(point: Point) -> str:
    return f"{point[0] * PITCH:g} {point[1] * PITCH:g}"


def _rect(x: float, y: float, wide: float, high: float, fill: str, more: str = "") -> str:
    at = f'x="{x * PITCH:g}" y="{y * PITCH:g}" width="{wide * PITCH:g}" height="{high * PITCH:g}"'
    return f'<rect {at} fill="{fill}"{" " + more if more else ""}/>'


def _circle(at: Point, radius: float, fill: str, more: str = "") -> str:
    place = f'cx="{at[0] * PITCH:g}" cy="{at[1] * PITCH:g}" r="{radius * PITCH:g}"'
    return f'<circle {place} fill="{fill}"{" " + more if more else ""}/>'


def _text(
    words: str, at: Point, size: float = 10, anchor: str = "middle", fill: str = "#222222", turn: int = 0
) -> str:
    x, y = at[0] * PITCH, at[1] * PITCH + size * 0.35
    where = f'x="{x:g}" y="{y:g}"'
    if turn:
        where = f'transform="translate({at[0] * PITCH + size * 0.35:g} {at[1] * PITCH:g}) rotate({turn})"'
    return f'<text {where} font-size="{size:g}" text-anchor="{anchor}" fill="{fill}">{escape(words)}</text>'


def _board() -> Iterator[str]:
    yield _rect(-0.6, -1.2, COLUMNS + 2.2, 19.4, "#f4f1ea", 'stroke="#b9b2a3" rx="6"')
    yield _rect(-0.6, 8.1, COLUMNS + 2.2, 0.8, "#e3dece")
    for rail, y in RAILS.items():
        colour = COLOURS["red"] if rail.endswith("+") else "#2563c9"
        line = y - 0.5 if rail in ("top +", "bottom -") else y + 0.5
        yield f'<path d="M{_xy((2.4, line))}L{_xy((61.6, line))}" stroke="{colour}" stroke-width="1"/>'
        for x in (0.6, COLUMNS + 0.6):
            yield _text(rail[-1], (x, y), 12, fill=colour)
        for column in RAIL_HOLES:
            half = "left" if column <= LAST_OF_LEFT_HALF else "right"
            yield _circle((column, y), 0.16, "#6e675a", f'data-strip="{rail} {half}"')
    for row, y in ROWS.items():
        for x in (0.1, COLUMNS + 0.9):
            yield _text(row, (x, y), 9, fill="#8b8473")
        for column in range(1, COLUMNS + 1):
            half = "upper" if row <= "e" else "lower"
            yield _circle((column, y), 0.16, "#6e675a", f'data-strip="{half} {column}"')
    for column in (1, *range(5, COLUMNS + 1, 5)):
        for height in (2.2, 14.8):
            yield _text(str(column), (column, height), 8, fill="#8b8473")


def _pico(circuit: Circuit) -> Iterator[str]:
    yield _rect(0.45, 4.4, 20.1, 8.25, "#1c6b46", 'rx="4"')
    yield _rect(-0.1, 7.1, 2.2, 2.9, "#c9ccd1", 'stroke="#8a8d92"')
    yield _rect(-4.2, 7.5, 4.1, 2.1, "#3b3b3b", 'rx="3"')
    yield _text("USB", (-2.2, 8.55), 10, fill="#ffffff")
    yield _text("Raspberry Pi Pico, its USB to the left", (-0.4, -1.9), 11, "start")
    pads = circuit.parts["U1"].pads
    drawn = {end for wire in wires(circuit) for end in (wire.one, wire.other)}
    for pin in range(1, EDGE_PINS + 1):
        lower = pin <= HALF_PINS
        column = pin if lower else EDGE_PINS + 1 - pin
        y = ROWS["h"] if lower else ROWS["c"]
        net = pads.get(str(pin), "")
        is_used = net == "PIEZO" or bool(net and hole_of(pin) in drawn)
        name = f"{net.removeprefix('DISPLAY_')} {pin}" if is_used else str(pin)
        fill = "#ffffff" if is_used else "#86b39d"
        at = (column, y - 0.45) if lower else (column, y + 0.45)
        yield _text(name, at, 8, "start" if lower else "end", fill, -90)


def _display() -> Iterator[str]:
    yield _rect(13.2, -14.2, 10.6, 10.8, "#20407a", 'rx="4"')
    yield _rect(13.8, -13.0, 9.4, 6.6, "#0c0c0c")
    yield _text("128 x 64", (18.5, -9.8), 15, fill="#ff5040")
    yield _text("display module, I2C", (18.5, -15.0), 11)
    yield from _module_pins("display", -5.0)


def _dial() -> Iterator[str]:
    yield _rect(24.2, 24.1, 7.6, 10.4, "#2a2a2a", 'rx="4"')
    yield _circle((28, 30.4), 2.9, "#b9bcc2", 'stroke="#777777"')
    yield _circle((28, 30.4), 2.2, "#d9dbe0")
    yield _text("dial", (28, 30.4), 12)
    yield _text("dial module", (23.6, 30.4), 11, "end")
    yield from _module_pins("dial", 26.2)


def _module_pins(module: str, name_y: float) -> Iterator[str]:
    for end, at in MODULES.items():
        if end.startswith(module + " "):
            yield _circle(at, 0.26, "#e8c04a", f'data-leg="{end}"')
            yield _text(end.split(" ")[1], (at[0], name_y), 8, fill="#ffffff", turn=-90)


def _small_parts(circuit: Circuit) -> Iterator[str]:
    at = {(leg.part, leg.leg): place(leg.hole) for leg in legs(circuit)}
    for part in ("100 ohm", "safelight's 1k", "lamp's 1k"):
        (x0, y), (x1, _) = at[part, "one"], at[part, "other"]
        yield f'<path d="M{_xy((x0, y))}L{_xy((x1, y))}" stroke="#777777" stroke-width="2"/>'
        yield _rect(x0 + 0.6, y - 0.4, x1 - x0 - 1.2, 0.8, "#9cc3e6", 'rx="4" stroke="#5b7f9f"')
        yield _text("1k" if part.endswith("1k") else "100", ((x0 + x1) / 2, y), 8)
    for part, fill, said in (
        ("lamp's LED", "#e01b1b", "lamp"),
        ("safelight's LED", "#f0a020", "safelight"),
    ):
        (x0, y), (x1, _) = at[part, "long leg"], at[part, "short leg"]
        x = (x0 + x1) / 2
        yield _circle((x, y), 1.15, fill, 'stroke="#553300"')
        flat = f"M{_xy((x + 0.9, y - 0.75))}L{_xy((x + 0.9, y + 0.75))}"
        yield f'<path d="{flat}" stroke="#553300" stroke-width="3"/>'
        yield _text(said, (x, y - 1.75), 10)
    (x0, y), (x1, _) = at["piezo", "one"], at["piezo", "other"]
    yield _circle(((x0 + x1) / 2, y), 2.36, "#3a3a3a")
    yield _text("piezo", ((x0 + x1) / 2, y - 1.0), 10, fill="#ffffff")
    for key in ("BACK", "LAMP", "EXPOSE"):
        corners = [point for (part, _), point in at.items() if part == f"{key} key"]
        x = sum(point[0] for point in corners) / 4
        y = sum(point[1] for point in corners) / 4
        yield _rect(x - 2.36, y - 2.36, 4.72, 4.72, "#4a4a4a", 'rx="4"')
        yield _circle((x, y), 1.55, "#7d7d7d")
        yield _text(key, (x, y), 9, fill="#ffffff")


def _legs(circuit: Circuit) -> Iterator[str]:
    for leg in legs(circuit):
        yield _circle(place(leg.hole), 0.24, "#e8c04a", f'data-leg="{escape(leg.part)} {leg.leg}"')


def _wires(circuit: Circuit) -> Iterator[str]:
    badges = []
    for wire in wires(circuit):
        one, other = place(wire.one), place(wire.other)
        points = [one, other]
        if wire.lane is not None:
            points = [one, (one[0], wire.lane), (other[0], wire.lane), other]
        path = "M" + "L".join(map(_xy, points))
        style = 'fill="none" stroke-linejoin="round" stroke-linecap="round"'
        yield f'<path d="{path}" stroke="#ffffff" stroke-width="5.5" {style}/>'
        more = f'data-wire="{wire.number}" stroke-width="3.2"'
        yield f'<path d="{path}" stroke="{COLOURS[wire.colour]}" {more} {style}/>'
        for end in (one, other):
            yield _circle(end, 0.2, COLOURS[wire.colour], 'stroke="#ffffff" stroke-width="0.8"')
        for at in _badge_places(points):
            badges.append(
                _circle(at, BADGE, "#ffffff", f'stroke="{COLOURS[wire.colour]}" stroke-width="1.4"')
            )
            badges.append(_text(str(wire.number), at, 8))
    yield from badges


def _badge_places(points: list[Point]) -> list[Point]:
    """Near both ends of a wire, or once in the middle of a short one."""
    (x0, y0), (x1, y1) = points[0], points[-1]
    if len(points) == 2 and abs(x0 - x1) + abs(y0 - y1) < 4.5:
        return [((x0 + x1) / 2, (y0 + y1) / 2)]
    places = []
    for end, towards in ((points[0], points[1]), (points[-1], points[-2])):
        length = abs(towards[0] - end[0]) + abs(towards[1] - end[1])
        # Neighbours are at different heights, or their numbers would touch.
        share = (1.1 if end[0] % 2 else 2.1) / length
        places.append((end[0] + (towards[0] - end[0]) * share, end[1] + (towards[1] - end[1]) * share))
    return places


def _legend(circuit: Circuit) -> Iterator[str]:
    all_wires = wires(circuit)
    per_column = -(-len(all_wires) // 3)
    for rank, wire in enumerate(all_wires):
        x = LEFT + 1.2 + rank // per_column * 23.6
        y = 42.6 + rank % per_column * 1.3
        yield _circle((x, y), BADGE, "#ffffff", f'stroke="{COLOURS[wire.colour]}" stroke-width="2"')
        yield _text(str(wire.number), (x, y), 8)
        said = f"{words(wire.one, circuit)}  to  {words(wire.other, circuit)}: {wire.what}"
        yield _text(said, (x + 0.8, y), 9.5, "start")
    yield _text("Low voltage only: 3.3 V from the Pico. Never mains.", ((LEFT + RIGHT) / 2, TOP + 0.9), 14)


if __name__ == "__main__":
    PICTURE.write_text(picture(read_circuit()), encoding="utf-8")
