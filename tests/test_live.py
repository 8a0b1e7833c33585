"""The clock that follows the wall: its speed, its pauses and its steps. The wall's clock here is a number."""

import asyncio
import math

import hypothesis.strategies as st
import pytest
from hypothesis import given

from host_sim.box.live import LONGEST_NAP_S, Live
from host_sim.box.script import Player
from tests.box_model import a_card, keys, load, new_session


class Wall:
    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def started(speed: float = 1.0) -> tuple[Live, Wall]:
    wall = Wall()
    return Live(new_session(), speed, wall), wall


def test_a_new_speed_counts_from_now_on():
    live, wall = started()
    wall.now_s += 2
    live.set_speed(10)
    assert live.session.now_ms == 2000
    wall.now_s += 1
    live.catch_up()
    assert live.session.now_ms == 12_000
    live.set_speed(0.5)
    wall.now_s += 2
    live.catch_up()
    assert live.session.now_ms == 13_000


def test_a_clock_that_stands_takes_inputs_and_goes_on_where_it_stood():
    live, wall = started()
    load(live.session, a_card(base_ms=4000))
    keys(live.session, "expose")
    live.set_speed(0)
    wall.now_s += 60
    live.input("expose")
    assert live.session.now_ms == 0
    assert live.session.lamp.lit
    live.set_speed(1)
    wall.now_s += 3.999
    live.catch_up()
    assert live.session.lamp.lit
    wall.now_s += 0.001
    live.catch_up()
    assert not live.session.lamp.lit


def test_a_step_moves_the_clock_at_once():
    live, wall = started(0)
    changes: list[int] = []
    live.on_change(lambda: changes.append(live.session.now_ms))
    live.step(250)
    assert live.session.now_ms == 250
    assert changes == [250]
    wall.now_s += 9
    live.step(0)
    assert live.session.now_ms == 250
    live.set_speed(2)
    wall.now_s += 1
    live.step(100)
    assert live.session.now_ms == 2350
    wall.now_s += 1
    live.catch_up()
    assert live.session.now_ms == 4350


@given(
    st.lists(
        st.one_of(
            st.tuples(st.just("pass"), st.integers(0, 5000)),
            st.tuples(st.just("speed"), st.sampled_from((0, 1, 10))),
            st.tuples(st.just("step"), st.integers(0, 1000)),
        ),
        max_size=20,
    )
)
def test_virtual_time_is_the_sum_of_its_stretches(acts):
    live, wall = started()
    expected_ms, speed = 0.0, 1
    for what, value in acts:
        if what == "pass":
            wall.now_s += value / 1000
            expected_ms += value * speed
        elif what == "speed":
            live.set_speed(value)
            speed = value
        else:
            live.step(value)
            expected_ms += value
    before_ms = live.session.now_ms
    live.catch_up()
    # Each change of speed may leave less than a ms behind: time is whole ms.
    assert expected_ms - len(acts) - 1 <= live.session.now_ms <= expected_ms
    assert live.session.now_ms >= before_ms


@pytest.mark.parametrize("speed", [-1, math.nan, math.inf])
def test_no_clock_goes_so(speed):
    live, _ = started()
    with pytest.raises(ValueError, match="a speed of"):
        live.set_speed(speed)
    assert live.speed == 1


def test_time_only_goes_on():
    live, _ = started()
    with pytest.raises(ValueError, match="time only goes on"):
        live.step(-1)


def test_a_standing_clock_runs_until_it_is_stopped():
    async def stand() -> int:
        live, _ = started(0)
        load(live.session, a_card(base_ms=4000))
        keys(live.session, "expose", "expose")
        runs = asyncio.create_task(live.run())
        await asyncio.sleep(0)
        live.end()
        await runs
        return live.session.now_ms

    assert asyncio.run(stand()) == 0


def test_a_change_of_speed_wakes_a_nap():
    async def wake() -> int:
        live, wall = started(0)
        runs = asyncio.create_task(live.run())
        await asyncio.sleep(0)
        live.set_speed(1)
        wall.now_s += 3
        live.end()
        await runs
        return live.session.now_ms

    assert asyncio.run(wake()) == 3000


def test_a_script_waits_while_the_clock_stands():
    live, _ = started(0)
    steps = Player(live.session).steps("wait 5", "script")
    assert next(steps) == 5000
    # What `play` sleeps for then is bounded, so that a new speed is noticed.
    assert live._nap_s(5000) == LONGEST_NAP_S
