"""Stops where integers are small and floats may be single: the same milliseconds, proven in integers."""

from timing_core.light.stops import (
    BASE_MAX_MS,
    BASE_MIN_MS,
    FURTHEST,
    STOP,
    mark_ms,
    no_base_text,
    offset_between,
    per_mille_less,
    plain_step,
    scale,
    seconds_down,
    seconds_text,
    seconds_up,
    stops_text,
)


def is_nearest(base_ms, stops120, ms):
    """Is `ms` what base * 2**(stops120/120) rounds to, halves up? Both sides to the power 120: no roots."""
    exact = (2 * base_ms) ** STOP
    low, high = max(0, 2 * ms - 1) ** STOP, (2 * ms + 1) ** STOP
    if stops120 >= 0:
        exact <<= stops120
    else:
        low <<= -stops120
        high <<= -stops120
    return low <= exact < high


def test_every_offset_is_scaled_to_the_nearest_ms():
    for base_ms in (BASE_MIN_MS, 10007, BASE_MAX_MS):
        for stops120 in range(-FURTHEST, FURTHEST + 1):
            assert is_nearest(base_ms, stops120, scale(base_ms, stops120)), (base_ms, stops120)


def test_the_proof_itself_tells_right_from_wrong():
    assert is_nearest(16000, -100, 8980)
    assert not is_nearest(16000, -100, 8979)
    assert not is_nearest(16000, -100, 8981)
    # Halves go up.
    assert is_nearest(101, -STOP, 51)
    assert not is_nearest(101, -STOP, 50)


def test_bases_far_apart_are_scaled_to_the_nearest_ms():
    base_ms = BASE_MIN_MS
    stops120 = -FURTHEST
    while base_ms <= BASE_MAX_MS:
        assert is_nearest(base_ms, stops120, scale(base_ms, stops120)), (base_ms, stops120)
        base_ms += 997
        stops120 += 1 if stops120 < FURTHEST else -2 * FURTHEST


def test_whole_stops_are_exact():
    for ms in (101, 8980, BASE_MAX_MS):
        for whole in range(11):
            assert scale(ms, whole * STOP) == ms << whole
            assert scale(ms, -whole * STOP) == ((2 * ms >> whole) + 1) // 2


def test_offsets_read_back():
    for stops120 in range(-FURTHEST, FURTHEST + 1, 13):
        # From 204.8 s even ten stops down leave 200 ms, where 1/120 stop is more than a millisecond's half.
        assert offset_between(204800, scale(204800, stops120)) == stops120


def test_what_a_mark_adds_or_takes():
    # Common practice, no source: 16 s and +4/12 stop add 4.16 s; 16 s and 8.98 s are 10/12 apart.
    assert mark_ms(16000, 40) == 4159
    assert mark_ms(16000, -100) == -(16000 - 8980)
    assert offset_between(16000, 8980) == -100


def test_plain_seconds():
    assert plain_step(9900, 2) == 10500
    assert plain_step(10500, -2) == 9900
    assert plain_step(59500, 2) == 61000
    assert plain_step(61000, -2) == 59500
    assert plain_step(8980, 1) == 9000
    assert plain_step(8980, -1) == 8900
    assert plain_step(100, 99 + 100 + 60) == 120000


def test_dry_down():
    assert per_mille_less(16000, 80) == 14720
    assert per_mille_less(1, 500) == 1
    assert per_mille_less(999900, 0) == 999900
    assert per_mille_less(999900, 1000) == 0


def test_texts():
    assert [stops_text(n) for n in (0, 40, -60, 180, -240)] == ["0", "+1/3", "-1/2", "+1 1/2", "-2"]
    assert [seconds_text(ms) for ms in (49, 50, 16000, 999900)] == ["0.0 s", "0.1 s", "16.0 s", "999.9 s"]
    assert [seconds_down(ms) for ms in (99, 100, 1999, 2000)] == ["0.0 s", "0.1 s", "1.9 s", "2.0 s"]
    assert [seconds_up(ms) for ms in (1, 100, 1901, 2000)] == ["0.1 s", "0.1 s", "2.0 s", "2.0 s"]


def test_what_is_no_base_does_not_read_as_one():
    assert [no_base_text(ms) for ms in (0, 89, 99)] == ["0.0 s"] * 3
    assert [no_base_text(ms) for ms in (999901, 999930, 1000000)] == ["1000.0 s"] * 3
