"""The light cell's part of the core: conversions in, readings and refusals out."""

from hypothesis import given
from hypothesis import strategies as st

from host_sim.box import session as simulated
from timing_core.machine.light_cell import (
    ABSENT,
    AVERAGED,
    BRIGHT,
    DARKENS,
    FAINT,
    FILTERED,
    GLARE,
    GONE,
    GOOD,
    LEAST,
    LOOKING,
    MOVES,
    NO_DARK,
    OVER,
    RATIO_HUNDREDTHS,
    READY,
    TOO_BRIGHT,
    TOO_FAINT,
    WAITS,
    LightCell,
)
from timing_core.machine.machine import Exchange

PASSED_OVER = 2


class Desk:
    """A cell, the lamp above it, and what the cell asks for."""

    def __init__(self, spots=None) -> None:
        self.io = Exchange(False)
        self.spots = [0, 0, 0] if spots is None else spots
        self.cell = LightCell(self.io, self.spots)
        self.lit = self.filtered = False

    def take(self, *conversions: int) -> "Desk":
        for counts in conversions:
            self.io.count = 0
            self.cell.take(counts, self.lit, self.filtered)
        return self

    def darkened(self, counts: int = 3) -> "Desk":
        self.lit = False
        return self.take(*[counts] * (PASSED_OVER + AVERAGED))

    def under_lamp(self, counts: int) -> "Desk":
        self.lit = True
        return self.take(*[counts] * (PASSED_OVER + AVERAGED))

    @property
    def asked(self) -> list:
        """What the last conversion has made it ask for."""
        return [self.io.value[at] for at in range(self.io.count) if self.io.kind[at] == "cell"]


def test_the_simulator_says_it_as_the_core_does():
    assert simulated.GONE == GONE


def test_dark_first_then_light_less_the_dark():
    desk = Desk()
    assert desk.cell.now == LOOKING
    desk.take(3)
    assert desk.cell.now == DARKENS
    desk.darkened(3)
    assert desk.cell.now == READY
    desk.under_lamp(1003)
    assert (desk.cell.now, desk.cell.good) == (GOOD, AVERAGED * 1000)


def test_what_began_before_the_lamp_was_lit_is_not_counted():
    desk = Desk().darkened()
    desk.lit = True
    desk.take(500, 900)
    assert (desk.cell.now, desk.cell.light) == (WAITS, 0)
    desk.take(1003)
    assert (desk.cell.now, desk.cell.light, desk.cell.good) == (MOVES, AVERAGED * 1000, 0)
    desk.take(1003, 1003)
    assert desk.cell.good == 0
    desk.take(1003)
    assert desk.cell.good == AVERAGED * 1000


def test_a_lamp_without_a_dark_reading_is_no_reading():
    desk = Desk().under_lamp(1000)
    assert (desk.cell.now, desk.cell.light, desk.cell.takes()) == (NO_DARK, 0, 0)
    desk.darkened().under_lamp(1000)
    assert desk.cell.now == GOOD


def test_noise_is_averaged_and_a_cell_that_is_moved_begins_anew():
    desk = Desk().darkened(0).under_lamp(1000)
    desk.take(1010, 990, 1012, 988)
    assert (desk.cell.now, desk.cell.good) == (GOOD, 4000)
    desk.take(500)
    assert (desk.cell.now, desk.cell.light) == (MOVES, 2000)
    desk.take(500, 500, 500)
    assert (desk.cell.now, desk.cell.good) == (GOOD, 2000)


def test_dark_over_a_tenth_of_the_reading_is_refused():
    desk = Desk().darkened(100).under_lamp(1000)
    assert desk.cell.now == GOOD
    desk.under_lamp(990)
    assert (desk.cell.now, desk.cell.good) == (GLARE, 0)
    desk.darkened(0).under_lamp(990)
    assert desk.cell.now == GOOD


def test_light_in_the_room_is_told_in_the_dark():
    desk = Desk().darkened(OVER)
    assert (desk.cell.now, desk.asked) == (GLARE, [])
    desk.under_lamp(2000)
    assert desk.cell.now == NO_DARK
    desk.darkened(1)
    assert desk.cell.now == READY


def test_too_little_is_refused():
    desk = Desk().darkened(0).under_lamp(LEAST // AVERAGED - 1)
    assert (desk.cell.now, desk.cell.takes()) == (TOO_FAINT, 0)
    desk.under_lamp(LEAST // AVERAGED)
    assert desk.cell.now == GOOD


def test_too_much_for_one_range_is_read_in_the_other():
    desk = Desk().darkened(2)
    desk.lit = True
    desk.take(40000, OVER, OVER)
    assert (desk.asked, desk.cell.range, desk.cell.now) == ([BRIGHT], BRIGHT, WAITS)
    desk.take(OVER)  # still the conversion of before
    assert desk.cell.now == WAITS
    desk.take(*[5000] * AVERAGED)
    assert desk.cell.good == AVERAGED * (5000 * RATIO_HUNDREDTHS // 100) - 8
    desk.take(OVER)
    assert (desk.cell.now, desk.cell.good) == (TOO_BRIGHT, 0)
    desk.take(300)
    assert (desk.asked, desk.cell.range) == ([FAINT], FAINT)
    desk.take(300, *[300 * 23] * AVERAGED)
    assert desk.cell.now == GOOD


def test_in_the_dark_it_goes_back_to_the_range_of_the_dark_reading():
    desk = Desk().darkened(2)
    desk.lit = True
    desk.take(OVER, OVER, OVER)
    assert desk.cell.range == BRIGHT
    desk.lit = False
    desk.take(0, 0, 0)
    assert (desk.asked, desk.cell.range) == ([FAINT], FAINT)


def test_a_reading_through_a_filter_is_refused():
    desk = Desk().darkened()
    desk.filtered = True
    desk.under_lamp(1000)
    assert (desk.cell.now, desk.cell.light, desk.cell.takes()) == (FILTERED, 0, 0)
    desk.filtered = False
    desk.take(1000)
    assert desk.cell.now == GOOD


def test_the_first_spot_the_second_and_what_lies_between_them():
    desk = Desk().darkened(0).under_lamp(1000)
    assert desk.cell.takes() == 1
    desk.cell.take_spot()
    assert (desk.spots, desk.cell.twelfths(), desk.cell.takes()) == ([4000, 0, 0], 0, 2)
    desk.under_lamp(4000)
    assert desk.cell.twelfths() == 24
    desk.cell.take_spot()
    assert desk.spots == [4000, 16000, 0]
    assert Desk(desk.spots).darkened(0).under_lamp(500).cell.twelfths() == -12


def test_what_was_read_stays_when_the_lamp_goes_out_and_no_spot_is_taken_of_it():
    desk = Desk().darkened(0).under_lamp(1000).darkened(0)
    assert (desk.cell.now, desk.cell.good, desk.cell.takes()) == (READY, 4000, 0)
    desk.lit = True
    desk.take(1000)
    assert desk.cell.good == 0


def test_a_cell_that_was_moved_when_the_lamp_went_out_leaves_no_reading():
    desk = Desk().darkened(0).under_lamp(1000).take(2000).darkened(0)
    assert desk.cell.good == 0


def test_a_cell_that_is_pulled_out_and_put_back_begins_with_the_dark():
    desk = Desk().darkened(0).under_lamp(1000).take(GONE)
    assert (desk.cell.now, desk.cell.good, desk.cell.light, desk.cell.takes()) == (ABSENT, 0, 0, 0)
    desk.under_lamp(1000)
    assert desk.cell.now == NO_DARK
    desk.darkened(0).under_lamp(1000)
    assert desk.cell.now == GOOD


conversions = st.one_of(st.integers(0, 65535), st.sampled_from([OVER, GONE, 0, 65535]))


@given(st.lists(st.tuples(conversions, st.booleans(), st.booleans())))
def test_whatever_comes_no_number_leaves_30_bits_and_nothing_good_comes_of_no_light(script):
    desk = Desk()
    for counts, desk.lit, desk.filtered in script:
        desk.take(counts)
        cell = desk.cell
        assert 0 <= cell.good < 1 << 28
        assert 0 <= cell.light < 1 << 28
        assert cell.range in (FAINT, BRIGHT)
        if cell.takes():
            assert (desk.lit, desk.filtered, cell.now) == (True, False, GOOD)
            cell.take_spot()
            assert -400 < cell.twelfths() < 400
