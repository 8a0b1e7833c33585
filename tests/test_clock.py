"""The clock: seconds since power-up whatever the ticks begin with, and dates as `datetime` has them."""

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from timing_core.machine.clock import DAY_S, Clock, _date
from timing_core.ticks import MASK, later
from timing_core.wire.methods import DAYS_MAX

ticks = st.integers(0, MASK)


@given(ticks, st.lists(st.integers(0, DAY_S * 1000), max_size=30))
def test_seconds_are_counted_from_the_start_over_any_wrap(began_ms, steps_ms):
    clock = Clock()
    clock.count(began_ms)  # the first input a box is given is told before it has started
    assert clock.up_s == 0
    clock.start(began_ms)
    now_ms, passed_ms = began_ms, 0
    for step_ms in steps_ms:
        now_ms, passed_ms = later(now_ms, step_ms), passed_ms + step_ms
        clock.count(now_ms)
        assert clock.up_s == passed_ms // 1000


@given(ticks, st.integers(0, DAYS_MAX), st.integers(0, DAY_S - 1), st.integers(0, DAY_S * 1000))
def test_the_date_is_the_calendars(began_ms, day, second, passed_ms):
    # Reference: the proleptic Gregorian calendar of Python's `datetime`, in the form of ISO 8601.
    clock = Clock()
    clock.start(began_ms)
    assert clock.text() is None
    clock.tell(day, second)
    clock.count(later(began_ms, passed_ms))
    then = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(days=day, seconds=second + passed_ms // 1000)
    assert clock.text() == then.strftime("%Y-%m-%dT%H:%M:%SZ")


def test_every_day_of_two_centuries_is_the_calendars():
    day = datetime(1970, 1, 1, tzinfo=UTC)
    for number in range(200 * 366):
        assert _date(number) == (day.year, day.month, day.day)
        day += timedelta(1)
