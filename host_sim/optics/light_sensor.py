"""The sensor of a light cell: what a TSL2591 counts of the light that falls on it.

What must live here: its ranges, its noise and what it counts in the dark. It may not know where it lies, nor
what is made of its counts. All figures but the noise are the data sheet's, second-hand; noise and drift are
assumed, and to be verified on a part.
"""

from __future__ import annotations

import numpy as np

COUNTS_PER_LUX = 14_500.0
"""Of visible light in a conversion of 600 ms at the greatest gain: channel 0 less channel 1, which sees
infrared alone."""
GAIN_RATIO = 9876 / 428
"""Of the range for faint light to that for bright."""
MOST_COUNTS = 65_535
USED = 0.9
"""The part of that which is gone by."""
INFRARED = 1.5
"""Channel 1 counts so many times more of tungsten's light than the difference does."""
DARK_COUNTS = 10.0
NOISE_COUNTS = 1.5
DRIFT_COUNTS = 7.5
"""What the dark changes by from one minute to another: 5 % of the greatest that there may be, 25 counts in
100 ms."""
DRIFT_MS = 60_000

FAINT, BRIGHT, DOSES = 1, 2, 3
SHORT_PART = 1 / 3
"""Of a long conversion is a short one: 200 ms of 600."""
OVER = -1


class LightSensor:
    """`seed` makes its noise come again."""

    def __init__(self, seed: int = 1) -> None:
        self._chance = np.random.default_rng(seed)
        self._drift = 0.0
        self._drifts_ms = -1

    def counts(self, lux_s: float, range: int, now_ms: int) -> int:
        """A conversion on which so much light fell, of 600 ms or in DOSES of 200 ms; OVER where that is past
        what it can count."""
        if now_ms >= self._drifts_ms:
            self._drifts_ms = now_ms + DRIFT_MS
            self._drift = self._chance.normal(0, DRIFT_COUNTS)
        gain = 1 / GAIN_RATIO if range == BRIGHT else 1.0
        part = SHORT_PART if range == DOSES else 1.0
        seen = COUNTS_PER_LUX * lux_s / 0.6
        if gain * seen * (1 + INFRARED) > USED * MOST_COUNTS:
            return OVER
        found = gain * (seen + part * (DARK_COUNTS + self._drift)) + self._chance.normal(0, NOISE_COUNTS)
        return max(0, round(found))
