"""The piezo plays the sound that was asked for last, whole, whenever it was asked for."""

from __future__ import annotations

import itertools
import types
from functools import partial

import pytest

from tests.stand_ins import Clock, board_module, clockwork, cut_in
from timing_core.panel.sounds import SOUNDS

STEPS_MAX = 20


class Pwm:
    """`heard` are the tones set, as (hertz, ms at which it was set); 0 Hz is silence."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._hertz = 0
        self.heard: list[tuple[int, int]] = []

    def freq(self, hertz: int) -> None:
        self._hertz = hertz

    def duty_u16(self, duty: int) -> None:
        self.heard.append((self._hertz if duty else 0, self._clock.ms))


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def driver(clock) -> types.ModuleType:
    return board_module("piezo", {"machine": {"PWM": Pwm}} | clockwork(clock))


def fitted(driver, clock):
    pwm = Pwm(clock)
    piezo = driver.Piezo(pwm)
    piezo.volume(3)
    return piezo, pwm


def play_out(piezo, clock) -> None:
    """Step as the loop does until the piezo wants no more."""
    for _ in range(STEPS_MAX):
        wait_ms = piezo.step()
        if wait_ms < 0 and piezo.step() < 0:
            return
        clock.ms += max(wait_ms, 0)
    raise AssertionError("it never ends")


def expected(name: str, begins_ms: int) -> list[tuple[int, int]]:
    """What is heard of a sound that begins then, with the silence after it."""
    heard, ms = [], begins_ms
    for hertz, long_ms in SOUNDS[name]:
        heard.append((hertz, ms))
        ms += long_ms
    return [*heard, (0, ms)]


@pytest.mark.parametrize("name", SOUNDS)
def test_a_sound_is_played_tone_by_tone(driver, clock, name):
    piezo, pwm = fitted(driver, clock)
    del pwm.heard[:]
    piezo.play(name)
    play_out(piezo, clock)
    assert pwm.heard == expected(name, 1000)
    assert piezo.step() == -1


def of_each_form(sounds) -> dict[tuple[bool, ...], str]:
    """A sound for each order of tones and rests that there is, the last that has it: all that `step` tells
    sounds apart by."""
    return {tuple(hertz > 0 for hertz, _ in SOUNDS[name]): name for name in sounds}


FIRST, SECOND = of_each_form(SOUNDS), of_each_form(reversed(SOUNDS))


def test_what_cuts_in_is_another_sound_than_what_it_cuts_off():
    assert FIRST.keys() == SECOND.keys()
    assert not {*FIRST.values()} & {*SECOND.values()}


@pytest.mark.parametrize(("first", "second"), list(itertools.product(FIRST.values(), SECOND.values())))
def test_a_sound_that_begins_between_two_bytecodes_is_played_whole(driver, clock, first, second):
    """In the dark or under light, an exception here would end the run and spoil the sheet."""
    places = 0
    for ended in range(len(SOUNDS[first]) + 1):
        for at in itertools.count():
            piezo, pwm = fitted(driver, clock)
            piezo.play(first)
            for tone in range(ended):
                if tone:
                    piezo.step()
                clock.ms += SOUNDS[first][tone][1]
            del pwm.heard[:]
            if not cut_in(piezo.step, partial(piezo.play, second), at, "board/piezo.py"):
                break
            places += 1
            began_ms = clock.ms
            play_out(piezo, clock)
            whole = expected(second, began_ms)
            assert pwm.heard[-len(whole) :] == whole
    assert places > 20


def test_silence_is_silent_and_as_long(driver, clock):
    piezo, pwm = fitted(driver, clock)
    piezo.volume(0)
    piezo.play("fit")
    play_out(piezo, clock)
    assert {hertz for hertz, _ in pwm.heard} == {0}
    assert clock.ms == 1000 + sum(ms for _, ms in SOUNDS["fit"])
