"""The steps of the acceptance test, their figures, and the limits of each.

What must live here: every limit, once. `hardware/acceptance.md` is the page for people; a test holds the two
equal. It may not know how a figure is got.
"""

from __future__ import annotations

from dataclasses import dataclass

OPEN = float("inf")
"""What a meter shows where nothing is joined."""
CUT_OFF_TICKS = 512
"""Rises of the tick until the counter's last output rises (74HC4060: Q13 after 8,192 turns of its clock, Q4
once in 16)."""


@dataclass(frozen=True)
class Figure:
    """What is measured or asked in a step. `low` and `high` are limits, both included; without either the
    figure is a yes that is wanted. `said` are the words of the page that have the limits. `is_under`: the
    high one is not included."""

    key: str
    what: str
    unit: str = ""
    low: float | None = None
    high: float | None = None
    said: str = ""
    is_under: bool = False

    @property
    def step(self) -> int:
        return int(self.key.partition(".")[0])

    @property
    def is_yes(self) -> bool:
        return self.low is None and self.high is None

    def holds(self, value: float | bool) -> bool:
        if self.is_yes:
            return value is True
        above = self.low is None or value >= self.low
        below = self.high is None or (value < self.high if self.is_under else value <= self.high)
        return above and below

    def limits(self) -> str:
        """In words."""
        if self.is_yes:
            return "yes"
        if self.low is not None and self.low == self.high:
            return self.with_unit(self.low)
        if self.low is None:
            return f"{'under' if self.is_under else 'at most'} {self.with_unit(self.high or 0)}"
        if self.high is None:
            return f"at least {self.with_unit(self.low)}"
        return f"{number(self.low)} to {self.with_unit(self.high)}"

    def with_unit(self, value: float | bool) -> str:
        if self.is_yes or isinstance(value, bool):
            return "yes" if value else "no"
        return "open" if value == OPEN else f"{number(value)} {self.unit}".rstrip()


def number(value: float) -> str:
    """A figure as it is read: a whole one without a point, others with no more digits than they need."""
    return f"{value:,.0f}" if float(value).is_integer() else f"{value:,.4g}"


STEPS = {
    1: "Readings before anything is plugged in",
    2: "First power, firmware, and what is fitted",
    3: "Power-up in the dark",
    4: "Keys and pedal",
    5: "The dial",
    6: "The display",
    7: "Sounds",
    8: "Exposures of 10.0 s",
    9: "BACK darkens the lamp by itself",
    10: "The cut-off",
    11: "The plug is pulled in mid-exposure",
    12: "The second contact",
    13: "The light cell",
    14: "The limit of the viewing light",
    15: "A dark room, and paper",
    16: "The switching unit, by a qualified person",
}
YEARLY = (8, 9, 10, 11, 12)
BEFORE_MAINS = tuple(step for step in STEPS if step < 16)

# Red probe, black probe, range, and between which figures, in ohm or V.
READINGS = (
    ("3V3", "GND", "ohm", 500, None),
    ("VSYS", "GND", "ohm", 2000, None),
    ("VSYS", "V5S", "ohm", 0.5, 12),
    ("VSYS", "3V3", "ohm", 2000, None),
    ("LAMP", "GND", "ohm", 3380, 3740),
    ("ARM", "GND", "ohm", 3380, 3740),
    ("SAFELIGHT", "GND", "ohm", 3380, 3740),
    ("BACKLIGHT", "GND", "ohm", 4460, 4930),
    ("PIEZO", "GND", "ohm", 4460, 4930),
    ("LAMP_SENSE", "GND", "ohm", 14200, 15800),
    ("LAMP_OUT", "LAMP_SENSE", "ohm", 9500, 10500),
    ("K_FEEDBACK", "FEEDBACK", "ohm", 9500, 10500),
    ("OSC_IN", "OSC_X", "ohm", 646000, 714000),
    ("K_BACK", "BACK", "ohm", 950, 1050),
    ("K_LAMP", "LAMP_KEY", "ohm", 950, 1050),
    ("K_EXPOSE", "EXPOSE", "ohm", 950, 1050),
    ("K_A", "DIAL_A", "ohm", 950, 1050),
    ("K_B", "DIAL_B", "ohm", 950, 1050),
    ("K_PRESS", "DIAL_PRESS", "ohm", 950, 1050),
    ("K_PEDAL", "PEDAL", "ohm", 950, 1050),
    ("PERMIT", "K_BACK", "diode", 0.15, 0.4),
    ("PERMIT", "GND", "diode", 0.15, 0.4),
    ("GND", "LAMP_OUT", "diode", 0.4, 0.9),
    ("GND", "ARM_OUT", "diode", 0.4, 0.9),
    ("GND", "SAFE_OUT", "diode", 0.4, 0.9),
    ("GND", "K_FEEDBACK", "diode", 0.4, 0.9),
    ("GND", "K_PEDAL", "diode", 0.4, 0.9),
    ("GND", "C_SDA", "diode", 0.4, 0.9),
    ("GND", "C_SCL", "diode", 0.4, 0.9),
)
WITH_BACK_HELD = ("PERMIT", "GND")


def reading_key(red: str, black: str) -> str:
    return f"1.{red}-{black}"


PRESSES = 20
DETENTS = 48
CHOICES = 10
STRIKES = 3
DARK_V = 0.1

KEYS = (("expose", "EXPOSE"), ("lamp", "LAMP"), ("back", "BACK"), ("pedal", "the pedal"))


def _dark(key: str, what: str) -> Figure:
    return Figure(key, what, "V", None, DARK_V, "under 0.1 V", is_under=True)


def _exactly(key: str, what: str, value: float, unit: str = "", said: str = "") -> Figure:
    return Figure(key, what, unit, value, value, said)


def _exposures() -> list[Figure]:
    found = []
    for turn in range(1, STRIKES + 1):
        found += [
            Figure(f"8.{turn}.light", f"light {turn}, as lamp sense saw it", "s", 9.99, 10.01, "10.0 s"),
            Figure(f"8.{turn}.strikes", f"light {turn}: strikes, with a hold between", "", 2, None),
        ]
    return found


FIGURES = {
    own.key: own
    for own in (
        *(
            Figure(reading_key(red, black), f"{red} to {black}", "V" if kind == "diode" else "ohm", low, high)
            for red, black, kind, low, high in READINGS
        ),
        Figure("1.connectors", "no contact of one connector under 500 ohm to one of another, but GND to GND"),
        Figure("2.cool", "nothing is warm"),
        _exactly("2.doctor", "faults that doctor finds", 0, said="nothing wrong"),
        _dark("3.bootsel", "LAMP OUT (TP5) at power-up with BOOTSEL held"),
        _dark("3.run", "LAMP OUT (TP5) with RUN (TP7) at GND"),
        Figure("3.flash", "neither LED has flashed in 20 power-ups"),
        _exactly("3.sense", "edges of lamp sense since power-up", 0),
        _exactly("3.ticks", "ticks of the cut-off since power-up", 0),
        *(_exactly(f"4.{key}", f"presses of {name}", PRESSES, said="20 times") for key, name in KEYS),
        *(_exactly(f"4.{key}.others", f"anything else, beside {name}", 0) for key, name in KEYS),
        *(Figure(f"4.{key}.edges", f"edges of {name}'s contact a press", "", 2, None) for key, name in KEYS),
        _exactly("5.right", "steps to the right", DETENTS, said="48 steps"),
        _exactly("5.left", "steps to the left", DETENTS, said="48 steps"),
        _exactly("5.back", "steps the wrong way", 0),
        _exactly("5.press", "presses of the dial", CHOICES, said="10 choices"),
        _exactly("5.others", "anything else, beside the dial", 0),
        Figure("6.answers", "the display answers"),
        Figure("6.all", "every dot is lit at the brightest setting"),
        Figure("6.chequer", "the chequer is even, and so is its inverse"),
        Figure("6.levels", "five levels, each brighter than the one before"),
        Figure("7.loud", "heard at 2 m at the loudest"),
        Figure("7.steps", "five levels, each quieter than the one before"),
        Figure("7.silent", "silent when it is set so"),
        *_exposures(),
        Figure("8.closed_ms", "the second contact closes after", "ms", 0, 99),
        Figure("8.safelight", "the safelight goes as its rule says"),
        Figure("8.bare_ma", "from USB under light, display unplugged", "mA", None, 150, "under 150 mA", True),
        Figure("8.more_ma", "from USB under light, more than at rest", "mA", None, 60, "no more than 60 mA"),
        Figure("9.first", "lamp sense falls before the program sees BACK"),
        Figure("9.apart_ms", "the program follows after", "ms", -2, 2),
        _dark("9.lamp", "LAMP OUT (TP5) while BACK is down"),
        _dark("9.arm", "ARM (J2) while BACK is down"),
        Figure("9.up", "PERMIT to GND without power, BACK up", "V", 0.5, None, "over 0.5 V"),
        Figure("9.held", "PERMIT to GND without power, BACK down", "V", 0.15, 0.4, "0.15 to 0.40 V"),
        Figure("10.quick_s", "light until the cut-off, with JP2", "s", 9, 20, "out after 9 to 20 s"),
        Figure("10.latched_s", "counted while LAMP was wanted on, with JP2", "s", 9, 20, "9 to 20 s"),
        Figure("10.wanted_s", "LAMP was wanted for", "s", 39, None),
        Figure("10.dark", "the LED stayed dark though LAMP was wanted"),
        _exactly("10.dark_ticks", "ticks in the dark", 0, said="no tick in the dark"),
        Figure("10.tick_s", "a tick every, without JP2", "s", 2.0, 3.3, "a tick every 2.0 to 3.3 s"),
        Figure("10.cut_off_s", "so the cut-off comes after", "s", 1024, 1690, "1,024 to 1,690 s"),
        Figure("11.plug", "dark at once when the plug is pulled"),
        Figure("11.plug_told", "it comes up dark, and says what was given"),
        Figure("11.run", "dark at once when RUN goes to GND"),
        Figure("11.run_told", "it comes up dark, and says what was given, once more"),
        Figure("12.open", "FEEDBACK open: the box says that the second contact has not opened"),
        Figure("12.open_dark", "FEEDBACK open: LAMP gives no light"),
        Figure("12.ground", "FEEDBACK at GND: the box says that the second contact has not closed"),
        Figure("12.ground_dark", "FEEDBACK at GND: LAMP gives no light"),
        Figure("12.back", "FEEDBACK is right again: all is well"),
        Figure("12.closed_ms", "the second contact closes after", "ms", 0, 99),
        Figure("12.opened_ms", "the second contact opens after", "ms", 0, 99),
        Figure("13.dark", "the dark, of the LED's light", "%", None, 1, "under 1 %", True),
        Figure("13.out", "the box says that no light cell answers"),
        Figure("13.in", "it reads again"),
        Figure("13.display", "the display and the keys went on meanwhile"),
        Figure("14.apart_s", "from the limit that is set", "s", -1, 1, "within a second"),
        Figure("15.leaks", "no light but the window's"),
        Figure("15.paper", "no edge to be seen on the paper"),
        Figure("16.earth", "protective earth", "ohm", None, 0.1, "0.1 ohm at most"),
        Figure("16.insulation", "insulation as the rules of the place ask for it"),
        Figure("16.trips", "the residual-current device trips"),
        Figure("16.lag_ms", "lamp lag, by the light cell", "ms", 0, None),
        Figure("16.spread_ms", "its three repeats lie apart by", "ms", 0, 10, "10 ms at most"),
    )
}
