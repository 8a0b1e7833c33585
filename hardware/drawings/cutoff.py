"""The counter that ends a light which nothing else has ended."""

from hardware.circuit import CUTOFF_TURNS, Circuit, cutoff_period_s
from hardware.drawings.drawing import Drawing


def draw(circuit: Circuit) -> Drawing:
    s = Drawing(3, "Cut-off counter", circuit)
    s.heading("It counts while LX is live", (0.6, 17.4))
    s.net("LX", (2.6, 11.0), "left")
    s.wire((2.6, 11.0), (2.8, 11.0))
    s.two("R9", (2.8, 11.0), (4.6, 11.0))
    q6 = s.transistor("Q6", (5.8, 11.0))
    s.wire((4.6, 11.0), q6.base)
    s.two("R10", (5.0, 11.0), (5.0, 9.2), side="left")
    s.net("GND", (5.0, 9.2))
    s.wire((5.0, 11.0), (5.0, 12.3), (4.6, 12.3))
    s.net("Q6B", (4.6, 12.3), "left")
    s.wire(q6.emitter, (q6.x, 9.2))
    s.net("GND", (q6.x, 9.2))
    s.wire(q6.collector, (q6.x, 14.0))
    s.two("R11", (q6.x, 15.8), (q6.x, 14.0))
    s.net("3V3", (q6.x, 15.8))

    ends = s.block(
        "U2",
        (14.6, 14.7),
        4.0,
        left=[("12", "MR"), ("", ""), ("11", "RS"), ("10", "RTC"), ("", ""), ("9", "CTC")],
        right=[("16", "VCC"), ("7", ":16"), ("", ""), ("3", "last"), ("", ""), ("8", "GND")],
        pitch=1.4,
    )
    s.wire((q6.x, 14.0), ends["12"])

    # The clock. OSC_X is the line on its left.
    x = 9.6
    rs, rtc, ctc = (ends[pad][1] for pad in ("11", "10", "9"))
    test = (rtc + ctc) / 2
    s.two("R21", (x + 2.0, rs), (x, rs))
    s.wire((x + 2.0, rs), ends["11"])
    s.two("R20", (x + 2.0, rtc), (x, rtc))
    s.wire((x + 2.0, rtc), ends["10"])
    s.two("R22", (x + 1.7, test), (x, test))
    s.two("JP2", (x + 3.6, test), (x + 1.7, test), side="below")
    s.wire((x + 3.6, test), (x + 3.6, rtc))
    s.two("C21", (x + 2.0, ctc), (x, ctc), side="below")
    s.wire((x + 2.0, ctc), ends["9"])
    s.wire((x, rs), (x, ctc))
    s.net("CUT", (9.4, 12.6), "left")
    s.wire((9.4, 12.6), (9.8, 12.6))
    s.two("D20", (12.0, 12.6), (9.8, 12.6))
    s.wire((12.0, 12.6), (13.2, 12.6), (13.2, rs))

    # Supply and outputs.
    s.wire(ends["16"], (20.2, 14.0), (20.2, 14.6))
    s.net("3V3", (20.2, 14.6))
    s.wire(ends["8"], (20.2, ctc), (20.2, ctc - 0.4))
    s.net("GND", (20.2, ctc - 0.4))
    tick, cut = ends["7"][1], ends["3"][1]
    s.wire(ends["7"], (20.4, tick))
    s.two("R23", (20.4, tick), (22.4, tick))
    s.net("CUTOFF_TICK", (22.8, tick), "right")
    s.wire((22.4, tick), (22.8, tick))
    s.wire(ends["3"], (22.8, cut))
    s.wire((21.4, cut), (21.4, cut + 0.6))
    s.test_point("TP6", (21.4, cut + 0.6))
    s.net("CUT", (22.8, cut), "right")
    s.net("3V3", (24.4, 16.6))
    s.two("C20", (24.4, 16.6), (24.4, 15.0))
    s.net("GND", (24.4, 15.0))

    period_s = cutoff_period_s(circuit)
    end_s = CUTOFF_TURNS * period_s
    s.note(
        f"T = 2.5 x R20 x C21 = {1000 * period_s:.1f} ms. Its :16 output ticks every {16 * period_s:.1f} s.\n"
        f"The last rises after {CUTOFF_TURNS:,} T = {end_s:,.0f} s and takes the permit away. D20 stops the\n"
        "clock, so that it stays until LX falls. JP2 is for the test: open in use.\n"
        "Pins 1, 2, 4, 5, 6, 13, 14 and 15 of U2 are outputs, and not connected.",
        (0.6, 3.2),
    )
    return s
