"""The light cell's bus, and the terminals on the back."""

from hardware.circuit import Circuit
from hardware.drawings.drawing import Drawing


def draw(circuit: Circuit) -> Drawing:
    s = Drawing(8, "Light cell and terminals", circuit)
    s.heading("Light cell: a bus of its own", (0.6, 17.4))
    j3 = s.block(
        "J3",
        (18.6, 16.4),
        3.0,
        left=[("1", "3V3"), ("2", "GND"), ("3", "SDA"), ("", ""), ("4", "SCL")],
        pitch=1.6,
    )
    y = {pad: end[1] for pad, end in j3.items()}
    s.net("3V3", (13.6, y["1"]))
    s.two("R42", (13.6, y["1"]), (15.6, y["1"]), side="below")
    s.wire((15.6, y["1"]), j3["1"])
    s.wire(j3["2"], (17.2, y["2"]), (17.2, y["2"] - 0.2))
    s.net("GND", (17.2, y["2"] - 0.2))
    for pad, net, spare, pull_up, suppressor in (
        ("3", "CELL_SDA", "R40", "R43", "D6"),
        ("4", "CELL_SCL", "R41", "R44", "D7"),
    ):
        s.net(net, (4.2, y[pad]), "left")
        s.two(spare, (4.6, y[pad]), (6.6, y[pad]))
        s.wire((4.2, y[pad]), (4.6, y[pad]))
        s.wire((6.6, y[pad]), j3[pad])
        s.two(pull_up, (8.6, y[pad] + 1.6), (8.6, y[pad]))
        s.net("3V3", (8.6, y[pad] + 1.6))
        s.two(suppressor, (12.0, y[pad]), (12.0, y[pad] - 1.5))
        s.net("GND", (12.0, y[pad] - 1.5))

    s.heading("To the switching unit: low voltage only", (0.6, 6.6))
    j2 = s.block(
        "J2",
        (5.6, 5.2),
        3.4,
        left=[("1", "LAMP"), ("2", "GND"), ("3", "ARM"), ("4", "FEEDBACK")],
        pitch=0.9,
    )
    for pad, net in circuit.parts["J2"].pads.items():
        if net == "GND":
            s.wire(j2[pad], (1.6, j2[pad][1]), (1.6, j2[pad][1] - 0.3))
            s.net(net, (1.6, j2[pad][1] - 0.3))
        else:
            s.wire(j2[pad], (4.6, j2[pad][1]))
            s.net(net, (4.6, j2[pad][1]), "left")
    s.heading("To the safelight's switch: a cable of its own", (14.0, 6.6))
    j5 = s.block("J5", (18.6, 5.2), 3.0, left=[("1", "LIGHT"), ("2", "GND")], pitch=0.9)
    s.wire(j5["1"], (17.6, j5["1"][1]))
    s.net("SAFE_OUT", (17.6, j5["1"][1]), "left")
    s.wire(j5["2"], (17.2, j5["2"][1]), (17.2, j5["2"][1] - 0.3))
    s.net("GND", (17.2, j5["2"][1] - 0.3))
    s.note(
        "At rest neither the lamp's wire nor the second contact's is live.\n"
        "The safelight's is, so it has a connector of another size.",
        (14.0, 2.0),
    )
    return s
