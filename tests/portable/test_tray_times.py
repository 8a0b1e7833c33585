"""Times of the trays against published figures, where integers are small and floats may be single."""

from timing_core.light.stops import clock_text
from timing_core.light.tray_times import (
    COLDEST_HALF_DEGREES,
    WARMEST_HALF_DEGREES,
    area_cm2,
    degrees_text,
    factor_ms,
    is_late,
    per_cent,
    tray_ms,
    turned_over,
    warned_at,
)
from timing_core.refusal import Refusal

EIGHT_BY_TEN = area_cm2(203, 254)
"""8 x 10 inches, in cm2."""


def within(value, published, per_mille):
    return abs(value - published) * 1000 <= published * per_mille


def half_degrees(fahrenheit):
    """The nearest half degree Celsius."""
    return ((fahrenheit - 32) * 20 + 9) // 18


def test_a_minute_at_20_degrees_at_other_temperatures():
    """Computed: 60 s at 20 °C with Q10 = 2 (k 12) at 16, 18, 22 and 24 °C, to 0.1 s."""
    for degrees, tenths in ((16, 792), (18, 689), (20, 600), (22, 522), (24, 455)):
        assert abs(tray_ms(60000, 2 * degrees, 12) - 100 * tenths) <= 100


def test_ten_degrees_fahrenheit_are_half_as_long_again():
    """Glover 1924, in L. P. Clerc, Photography: Theory and Practice, 573: gaslight paper 20 to 40 s at 65 F,
    30 to 60 s at 55 F. 10 F are 5.5 °C to the half degree; to 3 %."""
    assert within(tray_ms(40000, 32, 12, 43), 60000, 30)


def test_the_times_of_an_x_ray_film():
    """T.O. 33B-1-1, table 6-16: 5 min at 68 F, 4 1/2 at 70, 5 1/2 at 65, 6 at 63. To 5 %, since the table
    goes by quarters of a minute and temperatures here by half degrees. 80 F is out of range."""
    assert half_degrees(68) == 40
    for fahrenheit, seconds in ((70, 270), (65, 330), (63, 360)):
        assert within(tray_ms(300000, half_degrees(fahrenheit), 11), 1000 * seconds, 50)
        assert within(tray_ms(300000, half_degrees(fahrenheit), 12), 1000 * seconds, 50)
    assert is_refused(half_degrees(80))


def test_fixing_takes_twice_as_long_for_ten_degrees():
    """TM 11-2323, section 33c: double the time for every 18 F (10 °C)."""
    assert tray_ms(60000, 32, 12, 52) == 120000
    assert tray_ms(600000, 32, 12, 52) == 1200000


def test_washing_takes_twice_as_long_at_50_f():
    """TM 11-2323, section 33d: x 2 from 68 F to 50 F, which is 10 °C. The box does not time so cold a wash,
    but its factor for as many degrees is that."""
    assert half_degrees(68) - half_degrees(50) == 20
    assert tray_ms(120000, 52 - 20, 12, 52) == 240000
    assert is_refused(half_degrees(50))


def is_refused(half):
    try:
        tray_ms(60000, half, 12)
    except Refusal as refusal:
        line = refusal.line
        return "16 to 26" in line and "\n" not in line
    return False


def test_no_time_is_extrapolated():
    for half in (0, COLDEST_HALF_DEGREES - 1, WARMEST_HALF_DEGREES + 1, 100):
        assert is_refused(half)
    assert not is_refused(COLDEST_HALF_DEGREES)
    assert not is_refused(WARMEST_HALF_DEGREES)


def test_warmer_is_never_longer():
    for k in (8, 12, 13, 18):
        times = [tray_ms(60000, half, k) for half in range(COLDEST_HALF_DEGREES, WARMEST_HALF_DEGREES + 1)]
        assert times == sorted(times, reverse=True)
    assert tray_ms(60000, 33, 0) == 60000


def test_factors_of_first_sight():
    """Cyclopedia of Photography: 9 s x 15 = 135, 20 x 12 = 240. Wellington Photographic Handbook, p. 26:
    30 x 10 = 300. Watkins 1901, in the Dictionary of Photography (rodsmith.org.uk): 45 x 5 = 225."""
    for sight_s, factor, whole_s in ((9, 15, 135), (20, 12, 240), (30, 10, 300), (45, 5, 225)):
        assert factor_ms(1000 * sight_s, 10 * factor) == 1000 * whole_s
    assert factor_ms(12345, 55) == 12345 * 55 // 10


def test_no_image_is_seen_within_three_seconds():
    try:
        factor_ms(2999, 60)
        raise AssertionError("it was taken")
    except Refusal:
        pass
    assert factor_ms(3000, 60) == 18000


def test_a_tired_developer_shows_the_image_late():
    assert not is_late(12000, 8000)
    assert is_late(12001, 8000)
    assert not is_late(99000, 0)


def test_a_gallon_fixes_200_of_8_by_10():
    """NAVEDTRA 14209: 200 of 8 x 10 in. per US gallon (3,785 ml), which is 52.8 a litre."""
    assert EIGHT_BY_TEN == 516
    litre_cm2 = 200 * EIGHT_BY_TEN * 1000 // 3785
    assert per_cent(52 * EIGHT_BY_TEN, litre_cm2) == 98
    assert per_cent(53 * EIGHT_BY_TEN, litre_cm2) == 100


def test_a_warning_comes_once_at_80_and_once_at_100_per_cent():
    limit, said = 50 * EIGHT_BY_TEN, []
    for sheet in range(60):
        warned = warned_at(sheet * EIGHT_BY_TEN, (sheet + 1) * EIGHT_BY_TEN, limit)
        if warned:
            said.append((sheet + 1, warned))
    assert said == [(40, 80), (50, 100)]
    assert warned_at(0, limit, limit) == 100
    assert warned_at(0, 10**6, 0) == 0


def test_two_baths_are_turned_over_three_times_before_both_are_fresh():
    """analogue-photography.org: some fifty 8 x 10 a litre of the first bath, all renewed at 250."""
    turns, sheets, done = 0, 0, []
    for _ in range(8):
        sheets += 50
        turns = turned_over(turns)
        if not turns:
            done.append(sheets)
            sheets = 0
    assert done == [200, 200]
    assert max(done) <= 250


def test_words():
    assert degrees_text(41) == "20.5 °C"
    assert [clock_text(ms) for ms in (0, 1, 1000, 59001, 600000)] == ["0:00", "0:01", "0:01", "1:00", "10:00"]
