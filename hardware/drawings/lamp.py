"""The lamp's output: two switches in series, what permits the second, and the read-back."""

from hardware.circuit import Circuit
from hardware.drawings.drawing import Drawing
from hardware.drawings.stages import switch


def draw(circuit: Circuit) -> Drawing:
    s = Drawing(2, "Lamp, its permit and its read-back", circuit)
    s.heading("Q1 obeys the pin, Q2 switches", (0.6, 17.6))
    (x, lx), _ = switch(s, (2.8, 11.4), "LAMP", ("R19", "R1", "R2", "Q1", "R3", "R4", "Q2"))

    # Q3 lets through what Q4 permits.
    s.wire((x, lx), (13.6, lx))
    s.wire((11.4, lx), (11.4, lx + 0.4))
    s.test_point("TP4", (11.4, lx + 0.4))
    s.net("LX", (12.6, lx + 0.9), "right")
    s.wire((12.2, lx), (12.2, lx + 0.9), (12.6, lx + 0.9))
    s.two("R5", (13.6, lx), (13.6, lx - 2.2), side="left")
    q3 = s.transistor("Q3", (15.0, lx - 2.2))
    s.wire((13.6, lx), (q3.x, lx), q3.emitter)
    s.wire((13.6, lx - 2.2), q3.base)
    s.two("R6", (13.6, 7.8), (13.6, lx - 2.2), side="left")
    s.net("Q4C", (14.6, 7.8), "right")
    s.wire((13.6, 7.8), (14.6, 7.8))
    s.note("Q3 lets through while Q4 permits", (17.2, lx))

    # The output and its read-back.
    out = 9.2
    s.wire(q3.collector, (q3.x, out), (23.6, out))
    s.net("LAMP_OUT", (23.6, out), "right")
    s.wire((18.2, out), (18.2, out + 0.6))
    s.test_point("TP5", (18.2, out + 0.6))
    s.two("D2", (19.6, out), (19.6, out - 1.8))
    s.net("GND", (19.6, out - 1.8))
    s.two("R12", (21.6, out), (21.6, out - 1.8))
    s.two("R13", (21.6, out - 2.4), (21.6, out - 4.2))
    s.wire((21.6, out - 1.8), (21.6, out - 2.4))
    s.wire((21.6, out - 2.1), (23.6, out - 2.1))
    s.net("LAMP_SENSE", (23.6, out - 2.1), "right")
    s.net("GND", (21.6, out - 4.2))

    # The permit: high while BACK is up and the cut-off has not come.
    s.heading("Permit: high while BACK is up and the cut-off has not come", (0.6, 8.5))
    permit = 4.6
    q4 = s.transistor("Q4", (12.848, permit))
    s.wire(q4.collector, (q4.x, 7.8))
    s.wire(q4.emitter, (q4.x, 2.6))
    s.net("GND", (q4.x, 2.6))
    s.two("R26", (10.0, permit), (12.0, permit))
    s.wire((12.0, permit), q4.base)
    s.two("D1", (3.0, permit), (5.0, permit))
    s.net("K_BACK", (3.0, permit), "left")
    s.wire((5.0, permit), (10.0, permit))
    s.two("R7", (6.0, permit + 2.0), (6.0, permit))
    s.net("3V3", (6.0, permit + 2.0))
    s.wire((9.4, permit), (9.4, permit + 1.3), (9.8, permit + 1.3))
    s.net("PERMIT", (9.8, permit + 1.3), "right")
    q5 = s.transistor("Q5", (7.0, 3.0))
    s.wire((q5.x, permit), q5.collector)
    s.wire(q5.emitter, (q5.x, 2.0))
    s.net("GND", (q5.x, 2.0))
    s.two("R8", (3.4, 3.0), (5.4, 3.0))
    s.wire((3.0, 3.0), (3.4, 3.0))
    s.wire((5.4, 3.0), q5.base)
    s.net("CUT", (3.0, 3.0), "left")
    s.note("BACK held: D1 takes the permit away.  Time up: Q5 does.\nNeither needs a processor.", (14.8, 2.4))
    return s
