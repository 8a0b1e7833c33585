"""The second contact: its switch behind the same permit, and the read-back of its mirror contact."""

from hardware.circuit import Circuit
from hardware.drawings.drawing import Drawing
from hardware.drawings.stages import switch


def draw(circuit: Circuit) -> Drawing:
    s = Drawing(4, "Second contact and its feedback", circuit)
    s.heading("Q9 obeys the pin, Q11 permits, Q10 switches", (0.6, 17.4))
    permit = 6.0
    (x, out), foot = switch(
        s, (3.0, 10.6), "ARM", ("R50", "R51", "R52", "Q9", "R53", "R54", "Q10"), emitter_y=permit + 1.0
    )
    q11 = s.transistor("Q11", (7.6, permit))
    s.wire(foot, q11.collector)
    s.wire(q11.emitter, (q11.x, permit - 1.6))
    s.net("GND", (q11.x, permit - 1.6))
    s.net("PERMIT", (3.0, permit), "left")
    s.wire((3.0, permit), (4.4, permit))
    s.two("R27", (4.4, permit), (6.2, permit))
    s.wire((6.2, permit), q11.base)

    s.wire((x, out), (16.0, out))
    s.two("D8", (14.0, out), (14.0, out - 1.8))
    s.net("GND", (14.0, out - 1.8))
    s.net("ARM_OUT", (16.0, out), "right")

    s.heading("Feedback: low is proved open", (14.6, 8.4))
    y = 4.8
    s.net("K_FEEDBACK", (16.6, y), "left")
    s.wire((16.6, y), (19.4, y))
    s.two("D5", (17.2, y), (17.2, y - 1.8))
    s.net("GND", (17.2, y - 1.8))
    s.two("R38", (18.8, y + 1.8), (18.8, y))
    s.net("3V3", (18.8, y + 1.8))
    s.two("R37", (19.4, y), (21.4, y), side="below")
    s.wire((21.4, y), (23.4, y))
    s.two("C37", (22.2, y), (22.2, y - 1.8))
    s.net("GND", (22.2, y - 1.8))
    s.net("FEEDBACK", (23.4, y), "right")
    return s
