"""The safelight's output, and the place for a second lamp channel."""

from hardware.circuit import Circuit
from hardware.drawings.drawing import Drawing
from hardware.drawings.stages import switch


def draw(circuit: Circuit) -> Drawing:
    s = Drawing(5, "Safelight, and a second lamp's place", circuit)
    s.heading("Safelight", (0.6, 17.6))
    (x, out), _ = switch(s, (3.8, 12.4), "SAFELIGHT", ("R28", "R14", "R15", "Q7", "R16", "R17", "Q8"))
    s.wire((x, out), (17.0, out))
    s.two("D3", (14.6, out), (14.6, out - 1.8))
    s.net("GND", (14.6, out - 1.8))
    s.net("SAFE_OUT", (17.0, out), "right")

    s.heading("Second lamp channel: not fitted", (0.6, 9.1))
    (x, lx), _ = switch(s, (3.8, 4.4), "SECOND_LAMP", ("R60", "R61", "R62", "Q21", "R63", "R64", "Q22"))
    s.wire((x, lx), (17.6, lx))
    s.two("R65", (14.2, lx), (14.2, lx - 1.6), side="left")
    q23 = s.transistor("Q23", (15.4, lx - 1.6))
    s.wire((14.2, lx - 1.6), q23.base)
    s.wire((q23.x, lx), q23.emitter)
    s.two("R66", (14.2, lx - 3.2), (14.2, lx - 1.6), side="left")
    s.wire((14.2, lx - 3.2), (13.6, lx - 3.2))
    s.net("Q4C", (13.6, lx - 3.2), "left")
    s.two("R67", (17.6, lx), (19.6, lx))
    s.net("Q6B", (19.9, lx), "right")
    s.wire((19.6, lx), (19.9, lx))
    low = lx - 2.6
    ends = s.block("J7", (22.6, low + 0.4), 2.0, left=[("1", "lamp"), ("2", "GND")])
    s.wire(q23.collector, (q23.x, low), ends["1"])
    s.two("D21", (19.6, low), (19.6, low - 1.5), side="left")
    s.net("GND", (19.6, low - 1.5))
    s.wire(ends["2"], (21.6, ends["2"][1]), (21.6, low - 1.5))
    s.net("GND", (21.6, low - 1.5))
    return s
