"""Differences of wrapping ticks against MicroPython's own `time.ticks_diff` and `time.ticks_add`.

`ticks_ms` wraps at 2**30 on a board of 32 bits (MicroPython `py/mpconfig.h` and the `time` docs). On a
desktop of 64 bits the same functions wrap at 2**62: counts shifted up by 32 bits wrap as on a board.
"""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests import micropython
from timing_core.ticks import HALF, MASK, later, since

PERIOD = 1 << 30
# Counts crowd around both ends and the middle, where the sign of a difference turns.
counts = st.one_of(
    st.integers(0, PERIOD - 1),
    st.sampled_from([0, PERIOD // 2, PERIOD - 1]).flatmap(
        lambda at: st.integers(-3, 3).map(lambda near: (at + near) % PERIOD)
    ),
)


class Small(int):
    """An integer that must stay a small one of a 32-bit board: 31 bits with its sign."""

    def __new__(cls, value):
        assert -(1 << 30) <= value < 1 << 30, f"{value} would go to the heap"
        return super().__new__(cls, value)

    def __add__(self, other):
        return Small(int(self) + int(other))

    def __sub__(self, other):
        return Small(int(self) - int(other))

    def __rsub__(self, other):
        return Small(int(other) - int(self))

    def __and__(self, other):
        return Small(int(self) & int(other))

    __radd__ = __add__
    __rand__ = __and__


def test_a_small_integer_knows_its_range():
    assert Small(MASK) & MASK == MASK
    for grown in (lambda: Small(MASK) + 1, lambda: Small(-PERIOD) - 1, lambda: 2 - Small(-MASK)):
        with pytest.raises(AssertionError, match="heap"):
            grown()


@given(counts, st.integers(0, HALF))
@settings(max_examples=150, deadline=None)
@example(PERIOD - 1, 1)
@example(HALF, HALF)
@example(HALF - 1, HALF)
def test_later_wraps_and_stays_small(now_ms, ms):
    assert later(Small(now_ms), Small(ms)) == (now_ms + ms) % PERIOD


@given(counts, st.integers(-HALF, HALF - 1))
@settings(max_examples=150, deadline=None)
@example(0, -HALF)
@example(PERIOD - 1, HALF - 1)
def test_since_tells_what_has_passed_and_stays_small(then_ms, ms):
    assert since(Small((then_ms + ms) % PERIOD), Small(then_ms)) == ms


@given(counts, st.integers(0, HALF - 1))
@settings(deadline=None)
def test_since_undoes_later(now_ms, ms):
    assert since(later(now_ms, ms), now_ms) == ms
    assert since(now_ms, later(now_ms, ms)) == -ms


def test_micropython_s_own_ticks_agree(tmp_path):
    ends = [0, 1, 2, 1000, HALF - 2, HALF - 1, HALF, HALF + 1, HALF + 1000, MASK - 1000, MASK - 1, MASK]
    program = (
        "import time\n"
        f"ends = {ends}\n"
        "for a in ends:\n"
        "    for b in ends:\n"
        "        print(time.ticks_diff(a << 32, b << 32) >> 32)\n"
        "    for ms in (0, 1, 1000, 536870911):\n"
        "        print(time.ticks_add(a << 32, ms << 32) >> 32)\n"
    )
    done = micropython.run(["-c", program], tmp_path)
    assert done.returncode == 0, done.stderr
    told = iter(int(line) for line in done.stdout.split())
    for a in ends:
        for b in ends:
            assert since(a, b) == next(told), (a, b)
        for ms in (0, 1, 1000, HALF - 1):
            assert later(a, ms) == next(told), (a, ms)
    assert next(told, None) is None
