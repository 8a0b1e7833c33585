"""Keys, dial and pedal: each contact with its pull-up, and 1k and a capacitor before the pin."""

from hardware.circuit import Circuit
from hardware.drawings.drawing import Drawing

ROW = 4.0
TOP = 15.2


def _to_the_pin(
    s: Drawing, x: float, y: float, pull_up: str, resistor: str, capacitor: str, net: str
) -> None:
    """From the contact's wire at `x` to the pin."""
    s.two("RN1", (x, y + 1.5), (x, y), pads=("1", pull_up))
    s.net("3V3", (x, y + 1.5))
    s.wire((x, y), (x + 1.0, y))
    s.two(resistor, (x + 1.0, y), (x + 3.0, y), side="below")
    s.wire((x + 3.0, y), (x + 5.0, y))
    s.two(capacitor, (x + 3.8, y), (x + 3.8, y - 1.4))
    s.net("GND", (x + 3.8, y - 1.4))
    s.net(net, (x + 5.0, y), "right")


def draw(circuit: Circuit) -> Drawing:
    s = Drawing(6, "Keys, dial and pedal", circuit)
    x = 5.2
    for row, (ref, contact, pull_up, resistor, capacitor, net) in enumerate(
        (
            ("SW1", "K_BACK", "2", "R30", "C30", "BACK"),
            ("SW2", "K_LAMP", "3", "R31", "C31", "LAMP_KEY"),
            ("SW3", "K_EXPOSE", "4", "R32", "C32", "EXPOSE"),
        )
    ):
        y = TOP - ROW * row
        s.two(ref, (1.6, y), (1.6, y - 1.4))
        s.net("GND", (1.6, y - 1.4))
        s.wire((1.6, y), (x, y))
        if len({r for r, _ in circuit.nets[contact]} - {ref, "RN1", resistor}) > 0:
            s.wire((3.4, y), (3.4, y + 0.9))
            s.net(contact, (3.4, y + 0.9), "left")
        _to_the_pin(s, x, y, pull_up, resistor, capacitor, net)

    y = TOP - ROW * 3
    ends = s.block("J4", (0.6, y + 0.4), 1.8, right=[("1", "tip"), ("2", "sleeve")])
    s.wire(ends["1"], (x, y))
    s.wire(ends["2"], (3.0, y - 1.4))
    s.net("GND", (3.0, y - 1.4))
    s.two("D4", (4.2, y), (4.2, y - 1.4))
    s.net("GND", (4.2, y - 1.4))
    _to_the_pin(s, x, y, "8", "R36", "C36", "PEDAL")

    dial = s.block(
        "SW4",
        (14.0, TOP + 1.0),
        2.2,
        right=[("A", "A"), ("C", "C"), ("B", "B"), ("MP", "body"), ("S1", "press"), ("S2", "press")],
        pitch=ROW / 2,
    )
    x = 18.4
    for pad, pull_up, resistor, capacitor, net in (
        ("A", "5", "R33", "C33", "DIAL_A"),
        ("B", "6", "R34", "C34", "DIAL_B"),
        ("S1", "7", "R35", "C35", "DIAL_PRESS"),
    ):
        s.wire(dial[pad], (x, dial[pad][1]))
        _to_the_pin(s, x, dial[pad][1], pull_up, resistor, capacitor, net)
    for pad in ("C", "MP", "S2"):
        end = s.wire(dial[pad], (17.4, dial[pad][1]), (17.4, dial[pad][1] - 0.2))
        s.net("GND", end)
    s.note("RN1: eight resistors in one part; its pin 1 is at 3V3. Its pin 9 is not used.", (13.6, 2.6))
    s.note("Every contact closes to ground. BACK also takes the permit away (drawing 2).", (13.6, 2.1))
    return s
