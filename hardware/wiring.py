"""What leaves the board: each connector's contacts in words, and as a picture with its wires coming out.

What must live here: what each contact carries, which pole of a plug it goes to, and how a connector is drawn.
Contacts, nets and places are the parts file's and the board's. `python -m hardware.wiring` draws all of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from hardware.board_picture import LOOKS, write
from hardware.circuit import HERE, Circuit, CircuitError, Part, read_circuit
from hardware.drawings import practice
from hardware.layout import Layout, read_layout

MADE = HERE / "made" / "wiring"
PRACTICE = "practice-plug.svg"

CARRIES = {
    "LAMP_OUT": "about 4.4 V while the lamp is wanted; nothing at rest; 20 mA at most",
    "ARM_OUT": "about 4.4 V while the second contact is wanted; nothing at rest; 20 mA at most",
    "K_FEEDBACK": "3.3 V through 1k; joined to GND over there while the second contact is open",
    "SAFE_OUT": "about 4.4 V while the safelight is wanted, at rest too; 20 mA at most",
    "C_3V3": "3.3 V through 10 ohm, for the light cell",
    "C_SDA": "data of the light cell's bus, 3.3 V",
    "C_SCL": "clock of the light cell's bus, 3.3 V",
    "K_PEDAL": "3.3 V through 10k; the pedal joins it to the sleeve",
    "D_1": "GND or 3.3 V, as JP3 is set",
    "D_2": "3.3 V or GND, as JP4 is set",
    "DISPLAY_SCL": "clock of the display's bus, 3.3 V",
    "DISPLAY_SDA": "data of the display's bus, 3.3 V",
    "D_RES": "low for a moment at power-up, then 3.3 V",
    "BL_A": "4.7 V through 68 ohm: 40 mA at most",
    "BL_K": "to GND while the backlight is on, many times a second",
    "GND": "return",
}
ALSO = {
    ("J1", "6"): "GND: DC of a seven-pin module, so that its address is 0x3C",
    ("J1", "7"): "GND: CS of a seven-pin module",
    ("J2", "2"): "return of LAMP, ARM and FEEDBACK",
    ("J4", "2"): "return of the pedal",
}
POLES = {
    "J2": practice.POLES,
    "J3": {"1": "3V3", "2": "GND", "3": "SDA", "4": "SCL"},
    "J4": {"tip": "TIP", "sleeve": "SLEEVE"},
    "J5": {"1": "LIGHT", "2": "GND"},
}
"""Pole of the plug at the cable's other end -> the contact that goes there."""


@dataclass(frozen=True)
class Contact:
    number: str
    name: str
    net: str
    carries: str
    pole: str


def connectors(circuit: Circuit) -> list[Part]:
    """What has wires, in the order of their numbers."""
    found = [part for part in circuit.parts.values() if part.ref.startswith("J") and part.ref[1:].isdigit()]
    return sorted((part for part in found if part.fitted), key=lambda part: part.ref)


def contacts(part: Part) -> list[Contact]:
    """CircuitError where one has no word, or a plug has not all of them."""
    poles = {name: pole for pole, name in POLES.get(part.ref, {}).items()}
    if poles and set(poles) != set(part.contacts):
        raise CircuitError(f"{part.ref}'s plug has {sorted(poles)}, the connector {sorted(part.contacts)}.")
    found = []
    for (number, net), name in zip(part.pads.items(), part.contacts, strict=True):
        carries = ALSO.get((part.ref, number)) or CARRIES.get(net)
        if not carries:
            raise CircuitError(f"{part.ref}: nobody says what {net} carries.")
        found.append(Contact(number, name, net, carries, poles.get(name, "")))
    return found


def table(part: Part) -> list[str]:
    """As Markdown."""
    with_pole = part.ref in POLES
    head = "| contact | name | net | what it carries |" + (" pole of the plug |" if with_pole else "")
    rows = [
        f"| {one.number} | {one.name} | {one.net} | {one.carries} |" + (f" {one.pole} |" if with_pole else "")
        for one in contacts(part)
    ]
    return [head, "| --- " * (5 if with_pole else 4) + "|", *rows]


# --- the pictures

SCALE = 14.0
"""Units of a picture in a mm."""
WIDE = 900.0
LINE = 26.0
"""From one wire's words to the next."""
LEFT = 40.0
INK, RED, GREEN, METAL = "#1c1c1c", "#d02020", "#5fa673", "#d9dde0"


def picture(part: Part, layout: Layout) -> str:
    """A terminal from above, the board lying on its keys and the wires towards the one who looks; a header as
    it is on the front."""
    body = list(_terminal(part, layout) if part.side == "back" else _header(part, layout))
    high = float(body.pop())
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE:g} {high:g}" width="{WIDE:g}" '
        f'height="{high:g}" font-family="sans-serif" font-size="15" fill="{INK}">'
    )
    ground = f'<rect width="{WIDE:g}" height="{high:g}" fill="#ffffff"/>'
    return "\n".join([head, ground, *body, "</svg>"]) + "\n"


def _text(words: str, x: float, y: float, more: str = "") -> str:
    return f'<text x="{x:g}" y="{y:g}"{" " + more if more else ""}>{escape(words, quote=False)}</text>'


def _rect(x: float, y: float, wide: float, high: float, fill: str) -> str:
    return (
        f'<rect x="{x:g}" y="{y:g}" width="{wide:g}" height="{high:g}" fill="{fill}" stroke="{INK}" '
        'stroke-width="1.5"/>'
    )


def _wire(one: Contact, points: list[tuple[float, float]]) -> Iterator[str]:
    """Its line, and its words where it ends."""
    path = "M" + "L".join(f"{x:g} {y:g}" for x, y in points)
    colour = "#111111" if one.net == "GND" else "#2563c9"
    yield (
        f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="4" stroke-linejoin="round" '
        f'data-contact="{one.number}" data-net="{one.net}"/>'
    )
    x, y = points[-1]
    pole = f", pole {one.pole}" if one.pole.isdigit() else ""
    yield _text(
        f"{one.number} {one.name}{pole}",
        x + 8,
        y + 5,
        f'font-weight="bold"{f" fill={chr(34)}{RED}{chr(34)}" if one.number == "1" else ""}',
    )
    yield _text(one.carries.split(";")[0], x + 192, y + 5)


def _terminal(part: Part, layout: Layout) -> Iterator[str]:
    """The last is the picture's height."""
    left, top, right, bottom = LOOKS[part.kind].box
    footprint = layout.footprints[part.ref]
    first = footprint.pad("1").at
    all_contacts = contacts(part)
    # Turned over left for right, and then its upper edge towards the one who looks: as x on the front.
    x0 = LEFT - left * SCALE
    y0 = 70 - top * SCALE
    yield _text(f"{part.ref} {part.value}", LEFT, 26, 'font-size="20" font-weight="bold"')
    yield _text("The board lies on its keys, the edge with the terminals towards you.", LEFT, 48)
    edge = y0 + first[1] * SCALE
    rows_at = edge + 48
    yield f'<rect x="0" y="62" width="{x0 + (right + 10) * SCALE:g}" height="{edge - 62:g}" fill="#e9eee0"/>'
    yield f'<path d="M0 {edge:g}H{x0 + (right + 10) * SCALE:g}" stroke="#6c7a5c" stroke-width="3"/>'
    yield _text("the board's edge", x0 + (right + 0.6) * SCALE, edge - 8, 'font-size="12" fill="#4d5a3f"')
    yield _rect(x0 + left * SCALE, 70, (right - left) * SCALE, (bottom - top) * SCALE, GREEN)
    places = [x0 + (footprint.pad(one.number).at[0] - first[0]) * SCALE for one in all_contacts]
    end = places[-1] + 24
    for row, (one, x) in enumerate(reversed(list(zip(all_contacts, places)))):
        yield from _wire(
            one, [(x, y0 + (bottom - 1.2) * SCALE), (x, rows_at + row * LINE), (end, rows_at + row * LINE)]
        )
    for one, x in zip(all_contacts, places):
        yield f'<circle cx="{x:g}" cy="{y0:g}" r="{1.5 * SCALE:g}" fill="{METAL}" stroke="{INK}"/>'
        yield f'<path d="M{x - 15:g} {y0:g}H{x + 15:g}" stroke="{INK}" stroke-width="3"/>'
        yield _rect(x - 14, y0 + (bottom - 1.2) * SCALE, 28, 1.2 * SCALE, "#2b2b2b")
        red = f' fill="{RED}" font-weight="bold"' if one.number == "1" else ""
        yield _text(one.number, x, y0 - 1.8 * SCALE, f'text-anchor="middle" font-size="17"{red}')
    yield f"{rows_at + len(all_contacts) * LINE + 6:g}"


def _header(part: Part, layout: Layout) -> Iterator[str]:
    """The last is the picture's height."""
    footprint = layout.footprints[part.ref]
    first = footprint.pad("1").at
    all_contacts = contacts(part)
    yield _text(f"{part.ref} {part.value}", LEFT, 26, 'font-size="20" font-weight="bold"')
    yield _text("The front of the board is before you, its upper edge up.", LEFT, 48)
    x0, y0 = LEFT + 1.27 * SCALE, 70 + 1.27 * SCALE
    high = (len(all_contacts) * 2.54) * SCALE
    yield _rect(LEFT, 70, 2.54 * SCALE, high, "#3d3d3d")
    for one in all_contacts:
        x, y = footprint.pad(one.number).at
        at = (x0 + (x - first[0]) * SCALE, y0 + (y - first[1]) * SCALE)
        yield from _wire(one, [at, (LEFT + 90, at[1])])
        fill = RED if one.number == "1" else "#e0c36a"
        half = 8 if one.number == "1" else 6
        yield _rect(at[0] - half, at[1] - half, 2 * half, 2 * half, fill)
    yield f"{70 + high + 14:g}"


def pictures(circuit: Circuit, layout: Layout) -> dict[str, str]:
    """File name -> the picture."""
    found = {f"{part.ref}.svg": picture(part, layout) for part in connectors(circuit)}
    return found | {PRACTICE: practice.draw(practice.circuit()).svg({})}


def main() -> None:
    write(MADE, pictures(read_circuit(), read_layout()))


if __name__ == "__main__":
    main()
