"""Display with its jumpers, backlight and piezo."""

from hardware.circuit import Circuit
from hardware.drawings.drawing import Drawing


def draw(circuit: Circuit) -> Drawing:
    s = Drawing(7, "Display, backlight and piezo", circuit)
    j1 = s.block(
        "J1",
        (20.8, 17.2),
        3.4,
        left=[
            ("1", "GND or 3V3"),
            ("2", "3V3 or GND"),
            ("3", "SCL"),
            ("4", "SDA"),
            ("5", "RES"),
            ("6", "DC"),
            ("7", "CS"),
        ],
        pitch=1.5,
    )
    y = [j1[str(pad)][1] for pad in range(1, 8)]

    jp3 = s.block(
        "JP3", (12.0, y[0] + 0.3), 1.8, left=[("3", "3V3"), ("1", "GND")], right=[("2", "")], pitch=0.6
    )
    s.wire(jp3["2"], j1["1"])
    s.wire(jp3["3"], (10.6, y[0]))
    s.net("3V3", (10.6, y[0]))
    s.net("GND", jp3["1"])
    jp4 = s.block(
        "JP4", (16.4, y[1] + 0.3), 1.8, left=[("1", "3V3"), ("3", "GND")], right=[("2", "")], pitch=0.6
    )
    s.wire(jp4["2"], j1["2"])
    s.wire(jp4["1"], (15.0, y[1]))
    s.net("3V3", (15.0, y[1]))
    s.net("GND", jp4["3"])
    s.note(
        "Modules with GND on pin 1: JP3 1-2, JP4 1-2.\n"
        "Modules with 3V3 on pin 1: JP3 2-3, JP4 2-3.\n"
        "The wrong ones destroy the module.",
        (1.0, 16.6),
    )

    s.net("DISPLAY_SCL", (9.4, y[2]), "left")
    s.wire((9.4, y[2]), j1["3"])
    s.two("R25", (10.4, y[2] + 1.6), (10.4, y[2]))
    s.net("3V3", (10.4, y[2] + 1.6))
    s.net("DISPLAY_SDA", (4.6, y[3]), "left")
    s.wire((4.6, y[3]), j1["4"])
    s.two("R24", (5.4, y[3] + 1.6), (5.4, y[3]))
    s.net("3V3", (5.4, y[3] + 1.6))
    s.net("3V3", (10.4, y[4]))
    s.two("R18", (10.4, y[4]), (12.4, y[4]), side="below")
    s.wire((12.4, y[4]), j1["5"])
    s.two("C23", (14.4, y[4]), (14.4, y[4] - 1.6))
    s.net("GND", (14.4, y[4] - 1.6))
    s.wire(j1["6"], (19.4, y[5]), (19.4, y[6] - 0.3))
    s.wire(j1["7"], (19.4, y[6]))
    s.net("GND", (19.4, y[6] - 0.3))

    s.heading("Backlight of an LCD", (0.6, 7.6))
    low = 4.6
    s.net("BACKLIGHT", (3.2, low), "left")
    s.wire((3.2, low), (4.8, low))
    s.two("R55", (3.7, low), (3.7, low - 1.6))
    s.net("GND", (3.7, low - 1.6))
    s.two("R56", (4.8, low), (6.6, low))
    q = s.transistor("Q12", (7.8, low))
    s.wire((6.6, low), q.base)
    s.wire(q.emitter, (q.x, low - 1.6))
    s.net("GND", (q.x, low - 1.6))
    j6 = s.block("J6", (12.6, 7.1), 2.0, left=[("1", "anode"), ("2", "cathode")], pitch=0.9)
    s.wire(q.collector, (q.x, j6["2"][1]), j6["2"])
    s.two("R57", (9.4, j6["1"][1]), (11.2, j6["1"][1]))
    s.wire((11.2, j6["1"][1]), j6["1"])
    s.net("V5S", (9.4, j6["1"][1]))

    s.heading("Piezo", (16.2, 5.9))
    s.net("PIEZO", (18.4, 4.4), "left")
    s.wire((18.4, 4.4), (20.2, 4.4))
    s.two("R46", (18.9, 4.4), (18.9, 2.8))
    s.net("GND", (18.9, 2.8))
    s.two("R45", (20.2, 4.4), (22.0, 4.4))
    s.wire((22.0, 4.4), (23.2, 4.4))
    s.two("BZ1", (23.2, 4.4), (23.2, 2.8))
    s.net("GND", (23.2, 2.8))
    return s
