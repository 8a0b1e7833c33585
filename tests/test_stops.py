"""Stops and milliseconds against `mpmath`, `pint`, handbook examples, and proofs in integers alone.

The heart is a proof, not a sample: `test_no_time_at_all_is_rounded_the_wrong_way` covers every base,
every offset and every pair of tied passes there can be.
"""

import math
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import cache
from itertools import pairwise
from math import gcd

import mpmath
import pint
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from timing_core.light.stop_table import FRACTION_BITS, RATIO_BYTES, RATIOS
from timing_core.light.stops import (
    BASE_MAX_MS,
    BASE_MIN_MS,
    FURTHEST,
    PLAIN_SIZES,
    STEPS,
    STOP,
    cut_text,
    mark_ms,
    offset_between,
    per_mille_less,
    plain_step,
    scale,
    seconds_text,
    stops_text,
)

EXACT = mpmath.MPContext()
EXACT.prec = 400

bases_ms = st.integers(BASE_MIN_MS, BASE_MAX_MS)
offsets = st.integers(-FURTHEST, FURTHEST)
TABLE = [int.from_bytes(RATIOS[k * RATIO_BYTES : (k + 1) * RATIO_BYTES], "big") for k in range(STOP)]


@cache
def exact_ratio(stops120):
    return EXACT.power(2, EXACT.mpf(stops120) / STOP)


def nearest_ms(base_ms, stops120, num=1, den=1):
    """`base_ms * 2**(stops120/120) * num / den` to the nearest ms by mpmath, halves up."""
    exact = EXACT.mpf(base_ms) * num / den * exact_ratio(stops120)
    return int(EXACT.floor(exact + EXACT.mpf(1) / 2))


# --- the table


def test_the_table_is_right_in_integers_alone():
    """x is 2**(k/120) * 2**95 to the nearest: (x - 1/2)**120 < 2**(k + 95*120) < (x + 1/2)**120."""
    assert len(RATIOS) == STOP * RATIO_BYTES
    assert TABLE[0] == 1 << FRACTION_BITS
    for k in range(1, STOP):
        power = 1 << (k + FRACTION_BITS * STOP + STOP)
        assert (2 * TABLE[k] - 1) ** STOP < power < (2 * TABLE[k] + 1) ** STOP, k


def test_the_table_agrees_with_mpmath():
    for k in range(STOP):
        assert int(EXACT.nint(EXACT.power(2, EXACT.mpf(k) / STOP) * 2**FRACTION_BITS)) == TABLE[k], k


def smallest_distance(ratio, furthest):
    """The least |q * ratio - p| over whole p and 1 <= q <= `furthest`, for an irrational `ratio`.

    Convergents of the continued fraction are the best approximations there are (Hardy and Wright, An
    Introduction to the Theory of Numbers, theorem 182; number from memory): the last one in reach has it.
    """
    p_before, q_before, p, q = 1, 0, int(EXACT.floor(ratio)), 1
    rest = ratio - EXACT.floor(ratio)
    while True:
        digit = int(EXACT.floor(1 / rest))
        rest = 1 / rest - digit
        p_before, p, q_before, q = p, digit * p + p_before, q, digit * q + q_before
        if q > furthest:
            return abs(q_before * ratio - p_before)


def test_no_time_at_all_is_rounded_the_wrong_way():
    """For every base, every offset and every tied pass: the table and the exact value give the same ms.

    `scale` divides exactly, so only the table's error, at most 2**-96, could turn a rounding. A half would
    have to lie between the two values of base * num * 2**whole * 2**(k/120) / den. Cleared of fractions:
    q * 2**(k/120) would be within q * 2**-96 of a whole number, with q = 2 * base * num * 2**max(whole, 0).
    Bases are below 2**20 ms and offsets below ten stops, so without a tie (num and den 1) q is below 2**31.
    With one, q is below 2**41: for whole < 0 since base and num are bases, else since the result is one
    (what is not is refused) and so base * num * 2**whole < 2**20 * den. Whole stops (k = 0) are exact.
    """
    for k in range(1, STOP):
        ratio = EXACT.power(2, EXACT.mpf(k) / STOP)
        for bits in (31, 41):
            assert smallest_distance(ratio, 1 << bits) > EXACT.mpf(2) ** (bits - FRACTION_BITS - 1), (k, bits)


# --- scaling


@given(bases_ms, offsets)
@settings(max_examples=500, deadline=None)
@example(BASE_MAX_MS, FURTHEST)
@example(BASE_MIN_MS, -FURTHEST)
def test_scale_rounds_as_mpmath_does(base_ms, stops120):
    assert scale(base_ms, stops120) == nearest_ms(base_ms, stops120)


@pytest.mark.parametrize("base_ms", [BASE_MIN_MS, 101, 999, 10000, 16000, 123457, BASE_MAX_MS])
def test_scale_rounds_as_mpmath_does_at_every_offset(base_ms):
    for stops120 in range(-FURTHEST, FURTHEST + 1):
        assert scale(base_ms, stops120) == nearest_ms(base_ms, stops120), stops120


@given(bases_ms, st.integers(-10, 10))
@settings(deadline=None)
def test_whole_stops_are_exact_and_halves_round_up(base_ms, whole):
    exact = base_ms * Fraction(2) ** whole
    assert scale(base_ms, whole * STOP) == (exact + Fraction(1, 2)).__floor__()


def test_a_half_goes_up():
    assert [scale(ms, -STOP) for ms in (101, 103, 999)] == [51, 52, 500]


@given(bases_ms, offsets, bases_ms, bases_ms)
@settings(max_examples=300, deadline=None)
def test_scale_with_a_ratio_rounds_once(base_ms, stops120, num, den):
    assert scale(base_ms, stops120, num, den) == nearest_ms(base_ms, stops120, num, den)


@pytest.mark.parametrize("stops120", [-FURTHEST - 1, FURTHEST + 1])
def test_beyond_ten_stops_is_an_error(stops120):
    with pytest.raises(ValueError, match="outside"):
        scale(1000, stops120)


def test_a_step_up_is_never_down():
    times = [scale(1000, stops120) for stops120 in range(-FURTHEST, FURTHEST + 1)]
    assert times == sorted(times)


# --- outside values


def test_a_stop_is_an_octave():
    """The unit `octave` of PyPI `pint`: to one part in a million."""
    octave = pint.UnitRegistry(autoconvert_offset_to_baseunit=True).octave
    for stops120 in range(-FURTHEST, FURTHEST + 1, 7):
        factor = (stops120 / STOP * octave).to("dimensionless").magnitude
        ratio = TABLE[stops120 % STOP] * Fraction(2) ** (stops120 // STOP) / (1 << FRACTION_BITS)
        assert float(ratio) == pytest.approx(factor, rel=1e-6)


def test_factors_of_the_usual_fractions():
    # Computed by pint's octave and by mpmath (2**(1/n)), to 1e-6; as six figures at 10**6 ms.
    for fraction, factor in ((3, 1.259921), (4, 1.189207), (6, 1.122462), (12, 1.059463)):
        assert float(EXACT.power(2, EXACT.mpf(1) / fraction)) == pytest.approx(factor, abs=1e-6)
        assert scale(1000000, STOP // fraction) == round(factor * 1000000)


def test_dodges_and_burns_in_stops():
    # photrio.com, thread 209811 (formulas and worked examples), to 0.05 s: on 20 s a burn of 2/3 stop adds
    # 11.7 s, a dodge of 1/2 stop takes 5.9 s away.
    assert mark_ms(20000, 80) == pytest.approx(11700, abs=50)
    assert mark_ms(20000, -60) == pytest.approx(-5900, abs=50)
    # Common practice, no source: 4/12 stop on 16 s is 4.16 s, the same map on 10 s 2.60 s; to 0.005 s.
    assert mark_ms(16000, 40) == pytest.approx(4160, abs=5)
    assert mark_ms(10000, 40) == pytest.approx(2600, abs=5)


def test_percents_are_not_symmetric_in_stops():
    # Arithmetic: a dodge of 20 % is log2(0.8) = -0.322 stop, a burn of 20 % log2(1.2) = +0.263.
    assert offset_between(10000, 8000) / STOP == pytest.approx(-0.322, abs=1 / 240)
    assert offset_between(10000, 12000) / STOP == pytest.approx(0.263, abs=1 / 240)


def test_exact_third_stops():
    # photo.stackexchange.com, question 100367: 8, 8.98, 10.08, 11.31, 12.70, 14.25, 16, to 0.01. They are
    # f-numbers: light goes with their square, so a third of a stop of light is a sixth of a doubling.
    numbers = [scale(8000, 20 * n) for n in range(7)]
    assert numbers == pytest.approx([8000, 8980, 10080, 11310, 12700, 14250, 16000], abs=10)
    # ISO 517's markings round the series to 8, 9, 10, 11, 13, 14, 16 (its table not seen): f/11 for 11.314
    # errs by 2 log2(11 / 11.314) = -0.081 stop.
    assert [round(number / 1000) for number in numbers] == [8, 9, 10, 11, 13, 14, 16]
    assert 2 * offset_between(11314, 11000) / STOP == pytest.approx(-0.081, abs=2 / 240)


def test_density_and_stops():
    # One stop is log10(2) = 0.30103 of density; steps of a tablet 0.15 = 0.498 stop, 0.10 = 0.332 stop
    # (analogica.it, T2115 tablet), here to the nearest 1/120.
    for density, stops in ((0.30103, 1), (0.15, 0.498), (0.10, 0.332)):
        assert offset_between(100000, round(100000 * 10**density)) / STOP == pytest.approx(stops, abs=1 / 240)


def test_dry_down_in_stops():
    # East Midlands Monochrome Group: a cut of 10 %, which is -0.152 stop; 8 % -0.120 and 12 % -0.184 by
    # arithmetic (log2 of what is left).
    for per_mille, stops in ((100, -0.152), (80, -0.120), (120, -0.184)):
        left_ms = per_mille_less(100000, per_mille)
        assert float(mpmath.log(left_ms / 100000, 2)) == pytest.approx(stops, abs=0.001)


# --- offsets between times


@given(bases_ms, bases_ms)
@settings(max_examples=300, deadline=None)
def test_offset_between_is_the_nearest(from_ms, to_ms):
    exact = EXACT.log(EXACT.mpf(to_ms) / from_ms, 2) * STOP
    nearest = max(-FURTHEST, min(FURTHEST, int(EXACT.floor(exact + EXACT.mpf(1) / 2))))
    assert offset_between(from_ms, to_ms) == nearest


@given(bases_ms, offsets)
@settings(max_examples=300, deadline=None)
def test_offset_between_undoes_scale(base_ms, stops120):
    # Below 200 ms one millisecond is more than 1/120 stop, so that an offset can no longer be told.
    to_ms = scale(base_ms, stops120)
    if to_ms >= 200:
        assert offset_between(base_ms, to_ms) == stops120


def test_offset_between_stops_at_ten_stops():
    assert offset_between(100, BASE_MAX_MS) == FURTHEST
    assert offset_between(BASE_MAX_MS, 1) == -FURTHEST


# --- steps and plain seconds


def test_steps_are_exact_parts_of_a_stop():
    assert STEPS[-1] == ("seconds", 0)
    for name, stops120 in STEPS[:-1]:
        assert Fraction(stops120, STOP) == Fraction(name)
    # DESIGN: every part of a stop in use is a whole number of 1/120.
    assert [STOP % n for n in (2, 3, 4, 5, 6, 8, 10, 12)] == [0] * 8


def test_plain_seconds_are_tenths_then_halves_then_whole_ones():
    # Where they coarsen is our own choice.
    scale_ms = [*range(0, 10000, 100), *range(10000, 60000, 500), *range(60000, 1000001, 1000)]
    assert [size for _, size in PLAIN_SIZES] == [100, 500, 1000]
    for place, (ms, above_ms) in enumerate(pairwise(scale_ms)):
        assert plain_step(ms, 1) == above_ms
        assert plain_step(above_ms, -1) == ms
        end = min(place + 37, len(scale_ms) - 1)
        assert plain_step(ms, end - place) == scale_ms[end]
        assert plain_step(scale_ms[end], place - end) == ms


@given(bases_ms, st.integers(1, 20))
@settings(deadline=None)
def test_a_time_between_two_plain_ones_goes_to_the_next(ms, steps):
    scale_ms = [*range(0, 10000, 100), *range(10000, 60000, 500), *range(60000, 1100001, 1000)]
    above = [place for place in scale_ms if place > ms]
    below = [place for place in scale_ms if place < ms]
    assert plain_step(ms, steps) == above[steps - 1]
    if steps <= len(below):
        assert plain_step(ms, -steps) == below[-steps]
    assert plain_step(ms, 0) == ms


@given(st.integers(0, BASE_MAX_MS), st.integers(0, 1000))
@settings(deadline=None)
def test_dry_down_is_to_the_nearest_ms(ms, per_mille):
    exact = Decimal(ms) * (1000 - per_mille) / 1000
    assert per_mille_less(ms, per_mille) == exact.quantize(Decimal(1), ROUND_HALF_UP)


# --- texts


def test_stops_as_printers_write_them():
    texts = {
        0: "0",
        40: "+1/3",
        -60: "-1/2",
        180: "+1 1/2",
        -240: "-2",
        1: "+1/120",
        100: "+5/6",
        -1200: "-10",
    }
    assert {stops120: stops_text(stops120) for stops120 in texts} == texts


@given(offsets)
@settings(deadline=None)
def test_the_text_of_an_offset_reads_back(stops120):
    text = stops_text(stops120)
    whole, _, rest = text.lstrip("+-").rpartition(" ")
    parts = [Fraction(part) for part in (whole, rest) if part]
    assert sum(parts) * STOP == abs(stops120)
    assert text[0] == ("-" if stops120 < 0 else "+" if stops120 else "0")
    if "/" in rest:
        top, bottom = (int(part) for part in rest.split("/"))
        assert 0 < top < bottom
        assert gcd(top, bottom) == 1


def test_the_text_of_a_cut_has_its_stops_to_a_hundredth():
    """-log2 of what is left, from 1/120 stop: the same as by Decimal, halves up."""
    for per_mille in range(1, 501):
        stops120 = round(-STOP * math.log2(1 - per_mille / 1000))
        hundredths = (Decimal(stops120) / STOP).quantize(Decimal("0.01"), ROUND_HALF_UP)
        assert cut_text(per_mille) == f"-{hundredths}  {per_mille / 10:.1f} %"


@given(st.integers(0, 10**6))
@settings(deadline=None)
def test_the_text_of_a_time_is_in_tenths_halves_up(ms):
    tenths = (Decimal(ms) / 1000).quantize(Decimal("0.1"), ROUND_HALF_UP)
    assert seconds_text(ms) == f"{tenths} s"
