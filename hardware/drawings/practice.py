"""The practice plug of the acceptance test: what stands for the switching unit, with no mains anywhere.

It is no part of the box, so its parts are here and not in parts.toml; the drawing is compared with them.
"""

from hardware.circuit import Circuit, Part
from hardware.drawings.drawing import Drawing

NUMBER = 9
POLES = {"1": "LAMP", "2": "GND", "3": "ARM", "4": "FEEDBACK"}
"""Of the plug that it is on: those of the box's cable."""

RELAY = "reed relay with no diode inside, 5 V, 500 ohm or more; one contact closed at rest, or a changeover"
LED = "red LED, 5 mm"
RESISTOR = "resistor, 0.25 W"
PLUG = "5-pole plug that mates with the one on the switching unit's cable"


def circuit() -> Circuit:
    rows = [
        ("P1", "5 poles", "plug", PLUG, POLES),
        ("K1", "5 V", "coil", RELAY, {"1": "LAMP", "2": "GND"}),
        ("R1", "1k", "resistor", RESISTOR, {"1": "LAMP", "2": "LED1"}),
        ("LED1", "red", "led", LED, {"1": "LED1", "2": "GND"}),
        ("K2", "5 V", "coil", RELAY, {"1": "ARM", "2": "GND"}),
        ("R2", "1k", "resistor", RESISTOR, {"1": "ARM", "2": "LED2"}),
        ("LED2", "red", "led", LED, {"1": "LED2", "2": "GND"}),
        ("K2.1", "closed at rest", "rest-contact", "", {"1": "FEEDBACK", "2": "GND"}),
    ]
    parts = {
        ref: Part(ref, value, kind, what, "", "", 0.0, 0, dict(pads)) for ref, value, kind, what, pads in rows
    }
    return Circuit({}, parts, {})


def parts_table() -> list[str]:
    """What to buy for it, as Markdown."""
    kinds: dict[tuple[str, str], list[str]] = {}
    for part in circuit().parts.values():
        if part.what:
            kinds.setdefault((part.value, part.what), []).append(part.ref)
    rows = [
        f"| {len(refs)} | {value} | {what} | {', '.join(refs)} |" for (value, what), refs in kinds.items()
    ]
    return ["| how many | value | what | which |", "| --- | --- | --- | --- |", *rows]


def draw(parts: Circuit) -> Drawing:
    s = Drawing(NUMBER, "Practice plug", parts)
    s.footnote = "Low voltage only. It is no part of the box."
    s.heading("On the switching unit's cable, in place of the switching unit", (0.6, 17.6))
    poles = [(pole, parts.parts["P1"].pads[pole]) for pole in POLES]
    ends = s.block("P1", (2.0, 15.9), 3.4, right=[*poles, ("5", "empty")], pitch=1.1)
    s.wire(ends["2"], (6.7, ends["2"][1]), (6.7, ends["2"][1] - 0.2))
    s.net("GND", (6.7, ends["2"][1] - 0.2))

    lamp = ends["1"][1]
    s.wire(ends["1"], (13.0, lamp))
    _relay_and_led(s, lamp, ("K1", "R1", "LED1"))
    s.note("stands for K1 of the switching unit", (15.2, lamp))

    arm = 9.4
    s.wire(ends["3"], (8.0, ends["3"][1]), (8.0, arm), (13.0, arm))
    _relay_and_led(s, arm, ("K2", "R2", "LED2"))
    s.note("stands for K2, the second contact", (15.2, arm))

    feedback = 3.6
    s.wire(ends["4"], (7.2, ends["4"][1]), (7.2, feedback), (8.8, feedback))
    s.two("K2.1", (8.8, feedback), (10.8, feedback))
    s.net("GND", (10.8, feedback))
    s.note("the mirror contact: closed while K2 is open", (15.2, feedback))
    return s


def _relay_and_led(s: Drawing, y: float, refs: tuple[str, str, str]) -> None:
    coil, resistor, led = refs
    s.two(coil, (9.8, y), (9.8, y - 2.0))
    s.net("GND", (9.8, y - 2.0))
    s.two(resistor, (13.0, y), (13.0, y - 1.9))
    s.two(led, (13.0, y - 1.9), (13.0, y - 3.8))
    s.net("GND", (13.0, y - 3.8))
