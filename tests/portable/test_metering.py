"""Metering in integers, on CPython and MicroPython: against figures of a model of two published sheets (see
`papers`), against ISO 6846, and against the equations themselves."""

import math

from tests.portable.papers import VC_2019, VC_2020
from timing_core.light.lamp_metering import drift_per_minute, lag_ms
from timing_core.light.metering import (
    FINE,
    base_from,
    log_fine,
    logs_of,
    place_ms,
    place_of,
    twelfths_between,
)
from timing_core.light.paper_record import ANCHORS, PaperRecord, range10
from timing_core.light.stops import offset_between, scale
from timing_core.refusal import Refusal

LIGHT, MIDDLE, BLACK = ANCHORS
STRIP = [scale(4000, 40 * patch) for patch in range(11)]
"""Eleven patches of a third of a stop."""


def record(plain):
    return PaperRecord.from_dict(plain)


def refused(act, *values):
    try:
        act(*values)
    except Refusal as refusal:
        return refusal.line
    return ""


# --- the logarithm of a reading


def test_the_logarithm_is_that_of_the_library():
    # Single floats, which a board's library has, are good for this too.
    numbers = [1, 2, 3, 16383, 16384, 32767, 32768, 65535, 65537, 6029220, (1 << 29) - 1]
    numbers += list(range(5, 70000, 977))
    for counts in numbers:
        assert abs(log_fine(counts) - 120 * FINE * math.log(counts) / math.log(2)) <= 3, counts


def test_a_stop_is_twelve_twelfths_whichever_way():
    for counts in (100, 3000, 17870, 65535, 1000000):
        for stops in range(-3, 4):
            other = counts << stops if stops >= 0 else counts >> -stops
            assert abs(twelfths_between(counts, other) - 12 * stops) <= (1 if counts < 3000 else 0)
    assert twelfths_between(1000, scale(1000, 60)) == 6
    assert twelfths_between(1000, scale(1000, -10)) == -1
    assert twelfths_between(1000, 1000) == 0


# --- base and filter


def test_two_readings_make_a_base_and_choose_a_filter():
    """M1: counts of 17870 and 200470 at the lightest and the darkest tone are 419/120 stop, R 105.1, filter 2
    and 10.80 s (computed: 0.10 wants 1.929 lux s through filter 2, on an easel of 4 lux or 400,000 counts,
    which a strip has shown as 0.48225 s)."""
    stops120 = offset_between(17870, 200470)
    assert (stops120, range10(stops120)) == (419, 1051)
    assert record(VC_2019).nearest(stops120) == "2"
    # At an easel a tenth as bright it is ten times the light, so that the patch is not rounded.
    assert abs(base_from(4823, 40000, 17870) - 10800) <= 10


def test_a_middle_tone_by_the_standard():
    """M2, ISO 6846: P = 1000 / H_m in lux s. P 200 and 0.5 lux are 10.0 s to D 0.60."""
    open_millilux, spot_millilux = 3000, 500
    patch_ms = 1000 * 1000 * 1000 // (200 * open_millilux)
    assert abs(base_from(patch_ms, open_millilux, spot_millilux) - 10000) <= 5


def test_as_bright_as_the_strip_was_the_time_is_the_patches():
    for patch_ms in STRIP:
        assert base_from(patch_ms, 31234, 31234) == patch_ms
        assert base_from(patch_ms, 20000, 10000) == 2 * patch_ms


def test_a_time_that_is_no_base_is_refused():
    assert refused(base_from, 4000, 100000, 1) == (
        "No base from this: it would be 400000.0 s. Bases go from 0.1 to 999.9 s."
    )
    assert refused(base_from, 4000, 1, 100000).startswith("No base from this: it would be 0.0 s.")


def test_the_span_of_a_filter_is_its_range_less_what_lies_above_the_light_tone():
    """At filter 2 of 2019 the light tone lies 8 in R above where the range begins (computed): 110 less 8."""
    own = record(VC_2019)
    assert abs(range10(own.span("2")) - 1020) <= 5
    assert own.span("2 1/2") is None


def test_every_filters_own_span_chooses_it():
    for plain in (VC_2019, VC_2020):
        own = record(plain)
        for filter, _, light, _, black in own.filters:
            if filter:
                assert own.nearest(black - light) == filter
    own = record(VC_2019)
    assert (own.nearest(2000), own.nearest(0)) == ("00", "5")
    assert record({"name": "fibre", "edition": "", "filters": [["", 1100, 0, 120, 500]]}).nearest(400) == ""


def test_the_pair_holds_the_light_tone_and_spans_what_was_read():
    """By the record's own tables, whose offsets are rounded; at the ends it is one filter alone."""
    for plain in (VC_2019, VC_2020):
        own = record(plain)
        for filter in ("00", "2", "5"):
            light_ms = scale(8000, own.offset(filter, LIGHT))
            soft_ms, hard_ms = own.split_for(filter, light_ms, 2000)
            wanted_ms = scale(8000, own.offset("00", LIGHT))
            assert hard_ms == 0
            assert abs(soft_ms - wanted_ms) <= wanted_ms // 150
            soft_ms, hard_ms = own.split_for(filter, light_ms, 0)
            wanted_ms = scale(8000, own.offset("5", LIGHT))
            assert soft_ms == 0
            assert abs(hard_ms - wanted_ms) <= wanted_ms // 150
        # A pair that spans what filter 2 does has the grade of filter 2, to a quarter
        light_ms = scale(8000, own.offset("2", LIGHT))
        soft_ms, hard_ms = own.split_for("2", light_ms, own.span("2"))
        assert abs(own.grade(soft_ms, hard_ms) - 8) <= 1


# --- a tone on the strip


def test_a_place_is_found_again():
    logs = logs_of(STRIP)
    for place in range(2 * len(STRIP) - 1):
        assert place_of(logs, log_fine(place_ms(STRIP, place))) == place
    assert place_ms(STRIP, 4) == STRIP[2]
    assert place_ms(STRIP, 5) == scale(STRIP[2], 20)


def test_what_is_off_the_strip_is_told():
    logs = logs_of(STRIP)
    last = 2 * len(STRIP) - 2
    for stops120, place in ((-8, 0), (-12, -1), (-900, -1)):
        assert place_of(logs, log_fine(scale(STRIP[0], stops120))) == place
    for stops120, place in ((8, last), (12, last + 1), (500, last + 1)):
        assert place_of(logs, log_fine(scale(STRIP[-1], stops120))) == place


def test_a_strip_in_seconds_has_places_too():
    seconds = [1000, 2000, 3000, 4000, 4000]
    logs = logs_of(seconds)
    assert [place_of(logs, log_fine(ms)) for ms in (1000, 1414, 2000, 2450, 3000)] == [0, 1, 2, 3, 4]
    assert place_of(logs, log_fine(60000)) == 9


# --- the lamp


def test_the_lag_from_two_doses():
    """L3: 0.5 s gave 0.41 E, 4 s gave 3.91 E (computed: L = (t1 D2 - t2 D1) / (D2 - D1))."""
    assert lag_ms(500, 41000, 4000, 391000) == 90
    for lag in (-20, 0, 7, 62, 129, 300):
        assert lag_ms(500, 4096 * (500 - lag), 4000, 4096 * (4000 - lag)) == lag


def test_the_drift_of_a_lamp():
    """Against 3840 log2 of the ratio: small drifts to a unit, half a stop to 1 %."""
    assert abs(drift_per_minute(30000, 30000 * 1029 // 1024, 60000) - 27) <= 1
    assert abs(drift_per_minute(30000, 21213, 60000) + 1920) <= 20
    assert abs(drift_per_minute(30000, 21213, 20000) + 3 * 1920) <= 60
    assert drift_per_minute(30000, 30000, 20000) == 0
