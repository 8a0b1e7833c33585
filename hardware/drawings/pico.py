"""The Pico with all its pins, and the supply of the outputs."""

from hardware.circuit import EDGE_PINS, Circuit, CircuitError, edge_pin
from hardware.drawings.drawing import Drawing

# Raspberry Pi Pico data sheet, pin-out: what is no GPIO.
OTHER_PINS = {
    **dict.fromkeys((3, 8, 13, 18, 23, 28, 33, 38), "GND"),
    30: "RUN",
    35: "ADC_VREF",
    36: "3V3(OUT)",
    37: "3V3_EN",
    39: "VSYS",
    40: "VBUS",
}


def pin_names() -> dict[int, str]:
    """Pin of the edge -> what the Pico calls it."""
    names = dict(OTHER_PINS)
    for gpio in range(29):
        try:
            names[edge_pin(gpio)] = f"GP{gpio}"
        except CircuitError:
            continue
    return names


def draw(circuit: Circuit) -> Drawing:
    s = Drawing(1, "Pico and supply", circuit)
    names = pin_names()
    half = EDGE_PINS // 2
    ends = s.block(
        "U1",
        (6.6, 17.3),
        5.4,
        left=[(str(pin), names[pin]) for pin in range(1, half + 1)],
        right=[(str(pin), names[pin]) for pin in range(EDGE_PINS, half, -1)],
        pitch=0.79,
    )
    for pad, end in ends.items():
        if pad in circuit.parts["U1"].pads:
            out = -0.5 if int(pad) <= half else 0.5
            far = s.wire(end, (end[0] + out, end[1]))
            s.net(circuit.parts["U1"].pads[pad], far, "flag-left" if out < 0 else "flag-right")

    y = 14.2
    s.heading("5 V of the outputs", (18.6, 16.6))
    s.net("VSYS", (19.0, y))
    s.two("F1", (19.0, y), (21.4, y), side="below")
    s.wire((21.4, y), (25.0, y))
    s.net("V5S", (22.2, y))
    s.two("C22", (23.4, y), (23.4, y - 1.8))
    s.net("GND", (23.4, y - 1.8))
    s.wire((25.0, y), (25.0, y + 0.5))
    s.test_point("TP1", (25.0, y + 0.5))
    s.note(
        "USB feeds VBUS. VSYS is behind the Pico's diode:\n4.7 V. V5S is what the fuse lets through.",
        (18.6, 10.8),
    )

    s.heading("Test points", (18.6, 8.8))
    for ref, net, x in (("TP2", "3V3", 19.2), ("TP3", "GND", 21.2), ("TP7", "RUN", 23.0)):
        s.test_point(ref, (x, 6.9))
        down = 0.6 if net == "3V3" else 0.5
        s.wire((x, 6.9), (x, 6.9 - down), *([(x + 0.8, 6.9 - down)] if net != "GND" else []))
        at = (x, 6.9 - down) if net == "GND" else (x + 0.8, 6.9 - down)
        s.net(net, at, "right")
    s.note("Nothing is fitted there: hold a probe to the hole.", (18.6, 4.8))
    s.note("A cross: nothing is connected to this pin.", (18.6, 2.6))
    return s
