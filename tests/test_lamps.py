"""The simulated lamp house, held against data sheets, handbook tables and arithmetic that is not its own.

A lamp's light is checked twice: `mpmath` integrates its law as it is written, and a naive lamp house
steps pin, contact and lamp through time.
"""

import ast
import math
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import mpmath
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from host_sim.optics import feed, filament, glowing, lamps, paper
from host_sim.optics.feed import RELAYS, Relay
from host_sim.optics.filament import EYE, PAPER, PAPER_BLUE, PAPER_GREEN, Filament, tungsten
from host_sim.optics.glowing import Glow, Lamp
from host_sim.optics.lamps import LAMPS, AnyLamp, LampHouseLight, lag_ms

S = 1_000_000

# IES Lighting Handbook (memory): watts, seconds to 90 % of the light, seconds to 10 % of it.
IES_HEAT_COOL_S = [(60, 0.10, 0.04), (100, 0.13, 0.06), (200, 0.22, 0.09), (500, 0.38, 0.19)]

# A lamp with everything in it at once, and rates that meet: it warms up just as one glow rises.
BUSY = Lamp(
    (Glow(0.7, 50_000, 20_000), Glow(0.3, 200_000, 90_000)),
    strike_dead_us=30_000,
    fall_dead_us=7_000,
    loss_per_c2=0.0012,
    design_c=30,
    ambient_c=18,
    warm_rise_c=20,
    heat_us=200_000,
    cool_us=700_000,
)
# A driver whose capacitor holds the light after the feed has ended.
HELD = Lamp((Glow(1.0, 100, 100),), strike_dead_us=20_000, fall_dead_us=40_000)
# A filament whose late and weak supply all but gives way at each strike.
WEAK = Filament(
    90_000,
    strike_dead_us=30_000,
    fall_dead_us=7_000,
    supply=0.93,
    droop=0.4,
    droop_recovery_us=60_000,
)
ALL_LAMPS: dict[str, AnyLamp] = {**LAMPS, "busy": BUSY, "held": HELD, "weak": WEAK}
GLOWING = {name: lamp for name, lamp in ALL_LAMPS.items() if isinstance(lamp, Lamp)}
FILAMENTS = {name: lamp for name, lamp in ALL_LAMPS.items() if isinstance(lamp, Filament)}
SEEN = (EYE, PAPER, PAPER_GREEN, PAPER_BLUE)


def struck(lamp: AnyLamp, relay: Relay, *strikes_us: tuple[int, int], lux: float = 1.0) -> LampHouseLight:
    house = LampHouseLight(lamp, relay, lux)
    for on_us, off_us in strikes_us:
        house.pin(on_us, True)
        house.pin(off_us, False)
    return house


def first_time_us(passed, low_us: int, high_us: int) -> int:
    while high_us - low_us > 1:
        middle_us = (low_us + high_us) // 2
        low_us, high_us = (low_us, middle_us) if passed(middle_us) else (middle_us, high_us)
    return high_us


# The relay


def test_mechanical_relay_keeps_inside_the_data_sheet():
    # Omron G5PA-1 (read): operate 15 ms at most, release 5 ms at most. An ideal lamp shows the contact.
    house = struck(LAMPS["ideal"], RELAYS["mechanical"], (0, S))
    closed_us = first_time_us(lambda t: house.intensity(t) > 0.5, 0, S)
    opened_us = first_time_us(lambda t: house.intensity(t) < 0.5, S, 2 * S) - S
    assert 0 < closed_us <= 15_000
    assert 0 < opened_us <= 5_000


@pytest.mark.parametrize(
    ("name", "half_cycle_us"), [("zero-cross 50 Hz", 10_000), ("zero-cross 60 Hz", 8_334)]
)
@given(on_us=st.integers(0, 10**12), for_us=st.integers(20_000, 10**9), phase_us=st.integers(-20_000, 20_000))
def test_zero_cross_relay_waits_at_most_half_a_cycle(name, half_cycle_us, on_us, for_us, phase_us):
    # Crydom application note (read): waits up to half a cycle (10 ms at 50 Hz, 8.3 at 60), conducts to the
    # next zero. Whole microseconds round a crossing up, so a whole number of half cycles is met to 1 us.
    relay = replace(RELAYS[name], mains_phase_us=phase_us)
    closed_us, opened_us = relay.closes_us(on_us), relay.opens_us(on_us + for_us)
    assert 0 <= closed_us - on_us <= half_cycle_us
    assert 0 <= opened_us - on_us - for_us <= half_cycle_us
    for t_us in (closed_us, opened_us):
        halves = (t_us - phase_us) * 2 * relay.mains_hz / S
        assert abs(halves - round(halves)) * half_cycle_us <= 1.001
    house = struck(LAMPS["ideal"], relay, (on_us, on_us + for_us), lux=1000.0)
    assert house.dose(0, opened_us) == pytest.approx((opened_us - closed_us) / 1000, rel=1e-12)


def test_a_pulse_shorter_than_the_relay_moves_nothing():
    relay = Relay(operate_us=10_000, release_us=3_000)
    assert struck(LAMPS["ideal"], relay, (0, 9_999)).dose(0, S) == 0
    gap = struck(LAMPS["ideal"], relay, (0, S), (S + 2_999, 2 * S))
    assert gap.dose(0, 3 * S) == pytest.approx(2 - 0.010 + 0.003, rel=1e-12)


@pytest.mark.parametrize("relay", [Relay(), Relay(operate_us=5_000, release_us=5_000)])
@pytest.mark.parametrize("looked", [False, True])
def test_what_was_due_at_an_instant_comes_before_what_is_new_at_it(relay, looked):
    # A feed just as long as the dead time does light the lamp, whether or not someone looked at that instant.
    house = LampHouseLight(HELD, relay, 1.0)
    house.pin(0, True)
    if looked:
        house.intensity(20_000)
    house.pin(20_000, False)
    assert house.dose(0, S) == pytest.approx(0.040, rel=1e-9)
    assert struck(HELD, relay, (0, 19_999)).dose(0, S) == 0


# The lamp


def firm(lamp: Filament) -> Filament:
    """The same on a supply that does not dip."""
    return replace(lamp, droop=0.0)


def heated_and_cooled_s(lamp: AnyLamp) -> tuple[float, float]:
    """Seconds to 90 % for the eye, and from a long strike's end to 10 %."""
    house = struck(lamp, RELAYS["ideal"], (0, 10 * S))
    heated_us = first_time_us(lambda t: house.intensity(t, EYE) > 0.9, 0, 10 * S)
    cooled_us = first_time_us(lambda t: house.intensity(t, EYE) < 0.1, 10 * S, 20 * S) - 10 * S
    return heated_us / S, cooled_us / S


@pytest.mark.parametrize(("watts", "heat_s", "cool_s"), IES_HEAT_COOL_S)
def test_filaments_heat_and_cool_as_the_handbook_says(watts, heat_s, cool_s):
    # 30 %. Only the heating of the 100 W row set the scale; all else comes out of the heat balance and the
    # 2/3 power of the watts.
    assert heated_and_cooled_s(firm(tungsten(watts))) == pytest.approx((heat_s, cool_s), rel=0.3)


def test_the_scale_is_the_handbooks_100_watts():
    heated_s, cooled_s = heated_and_cooled_s(firm(tungsten(100)))
    assert heated_s == pytest.approx(0.13, rel=1e-4)
    assert cooled_s == pytest.approx(0.050, abs=0.001)


def test_the_tungsten_preset_is_an_enlargers_lamp():
    # 100 to 150 W: between the handbook's rows for 100 and 200 W, its supply's dip included.
    heated_s, cooled_s = heated_and_cooled_s(LAMPS["tungsten"])
    assert 0.13 < heated_s < 0.22
    assert 0.06 < cooled_s < 0.09


# What the volts do to a filament's light, in stops. For the eye: Fink & Beaty, lamp rerating (read). For the
# paper: computed with the spectral sensitivity of a real variable-contrast paper. They are powers of the
# volts; Wien's law is not quite a power, hence 0.01.
@pytest.mark.parametrize(
    ("seen", "supply", "stops"),
    [
        (EYE, 1.05, 0.24),
        (EYE, 0.95, -0.25),
        (PAPER, 1.05, 0.30),
        (PAPER_BLUE, 1.05, 0.33),
        (PAPER_GREEN, 1.05, 0.27),
    ],
)
def test_light_follows_the_voltage(seen, supply, stops):
    def steady(lamp: Filament) -> float:
        return struck(lamp, RELAYS["ideal"], (0, 60 * S)).dose(30 * S, 60 * S, seen)

    lamp = tungsten(150)
    assert math.log2(steady(replace(lamp, supply=supply)) / steady(lamp)) == pytest.approx(stops, abs=0.01)


@pytest.mark.parametrize(("seen", "want_ms"), [(EYE, 81), (PAPER_GREEN, 88), (PAPER_BLUE, 100)])
def test_a_filaments_lag_depends_on_who_looks(seen, want_ms):
    # Computed apart from this code, from the same heat balance, for 150 W without relay and dip: 81 ms for
    # lux, 88 through the softest filter, 100 through the hardest; 1.5 ms.
    assert lag_ms(firm(tungsten(150)), RELAYS["ideal"], seen=seen) == pytest.approx(want_ms, abs=1.5)


@pytest.mark.parametrize(("gap_s", "want_ms"), [(0.2, 50), (1, 71), (2, 75), (4, 78), (600, 81)])
def test_a_hot_filament_lags_less(gap_s, want_ms):
    # The same source, for lux: what the second of two strikes that far apart costs; 1 ms.
    again_us = 10 * S + round(gap_s * S)
    house = struck(firm(tungsten(150)), RELAYS["ideal"], (0, 10 * S), (again_us, again_us + 10 * S))
    lost_ms = 10_000 - 1000 * house.dose(again_us, house.settle_us, EYE)
    assert lost_ms == pytest.approx(want_ms, abs=1)


def test_one_number_for_lag_holds_down_to_a_tenth_of_a_second():
    # The same source: +0.02 stop at 100 ms of light, and a supply that dips is what makes it more.
    def error_stops(lamp: Filament) -> float:
        lag_us = round(1000 * lag_ms(lamp, RELAYS["ideal"], seen=EYE))
        house = struck(lamp, RELAYS["ideal"], (0, 100_000 + lag_us))
        return math.log2(house.dose(0, house.settle_us, EYE) / 0.1)

    assert error_stops(firm(tungsten(150))) == pytest.approx(0.02, abs=0.01)
    assert error_stops(tungsten(150)) > 0.1


def test_a_dip_of_the_supply_costs_light_and_recovers():
    lamp = tungsten(150)
    assert lag_ms(lamp, RELAYS["ideal"]) > lag_ms(firm(lamp), RELAYS["ideal"]) + 10
    late = struck(lamp, RELAYS["ideal"], (0, 60 * S)).intensity(30 * S)
    assert late == pytest.approx(struck(firm(lamp), RELAYS["ideal"], (0, 60 * S)).intensity(30 * S), rel=1e-8)


@pytest.mark.parametrize("room_c", [10, 30])
def test_a_tube_10_c_off_its_design_point_loses_12_percent(room_c):
    # bekolite.com (read): 10 C off, -12 % or -0.18 stop; tolerance 5 %. The preset meets its point in a room
    # of 20 C, when warm.
    lamp = LAMPS["cold light"]
    right = struck(lamp, RELAYS["ideal"], (0, 10_000 * S)).intensity(9_000 * S)
    off = struck(replace(lamp, ambient_c=room_c), RELAYS["ideal"], (0, 10_000 * S)).intensity(9_000 * S)
    assert right == pytest.approx(1.0, rel=1e-9)
    assert 1 - off / right == pytest.approx(0.12, rel=0.05)
    assert math.log2(off / right) == pytest.approx(-0.18, abs=0.01)


def test_a_tube_warms_over_minutes_and_cools_while_dark():
    # Common practice, no source: warm-up takes minutes, and a tube left dark is dimmer at its next strike.
    def first_seconds(dark_s: int) -> float:
        again_us = (1000 + dark_s) * S
        house = struck(LAMPS["cold light"], RELAYS["ideal"], (0, 1000 * S), (again_us, again_us + 5 * S))
        return house.dose(again_us, again_us + 5 * S)

    house = struck(LAMPS["cold light"], RELAYS["ideal"], (0, 3000 * S))
    light = [house.intensity(t * S) for t in range(1, 1500, 10)]
    assert light == sorted(light)
    assert light[0] < 0.8 < 0.9 < light[20] < light[-1] < 1
    doses = [first_seconds(dark_s) for dark_s in (1, 60, 600, 6000)]
    assert doses == sorted(doses, reverse=True)
    assert doses[-1] == pytest.approx(house.dose(0, 5 * S), rel=1e-6)


def test_a_tube_strikes_late_and_glows_after():
    # Common practice, no source: 100 ms or more of dead time; a fast fall, then the phosphor's tail.
    house = struck(LAMPS["cold light"], RELAYS["ideal"], (0, 5 * S))
    dead_us = LAMPS["cold light"].strike_dead_us
    assert dead_us >= 100_000
    assert house.dose(0, dead_us) == 0
    assert house.intensity(dead_us + 10_000) > 0.5
    before, after_5_ms, after_20_ms = (house.intensity(5 * S + t) for t in (0, 5_000, 20_000))
    assert 0.05 * before < after_5_ms < 0.2 * before
    assert 0.01 * before < after_20_ms < 0.1 * before
    assert struck(LAMPS["cold light"], RELAYS["ideal"], (0, dead_us)).dose(0, S) == 0


def test_an_led_is_there_at_once():
    assert abs(lag_ms(LAMPS["led"], RELAYS["ideal"])) < 0.01


# The integral


def reference_light(lamp: Lamp, glow: Glow, s):
    """One glow's light, `s` us after a cold strike's first light, by quadrature of its law as written: no
    closed form."""

    def target(u):
        warmth_c = lamp.warm_rise_c * (1 - mpmath.exp(-u / lamp.heat_us))
        off_c = lamp.ambient_c + warmth_c - lamp.design_c
        return 1 - lamp.loss_per_c2 * off_c**2

    if not glow.rise_us:
        return target(s)
    tau = mpmath.mpf(glow.rise_us)
    # The kernel is dead 80 time constants back; what is left is smooth over each stretch.
    edges = [max(mpmath.mpf(0), s - n * tau) for n in (80, 40, 20, 10, 5, 2, 0)]
    edges = sorted(set(edges))
    return mpmath.quad(lambda u: target(u) * mpmath.exp((u - s) / tau) / tau, edges) if s else mpmath.mpf(0)


@pytest.mark.parametrize("name", GLOWING)
@pytest.mark.parametrize("ms", [0.01, 1, 40, 300, 2_000, 60_000])
def test_light_agrees_with_quadrature_of_the_lamps_law(name, ms):
    lamp = GLOWING[name]
    house = struck(lamp, RELAYS["ideal"], (0, 100 * S))
    s = round(ms * 1000)
    want = sum(glow.share * reference_light(lamp, glow, mpmath.mpf(s)) for glow in lamp.glows)
    assert house.intensity(lamp.strike_dead_us + s) == pytest.approx(float(want), rel=1e-10, abs=1e-12)


@pytest.mark.parametrize("apart", [0.0, 1e-12, 1e-9, 1e-6, 9e-6, 1.1e-5, 1e-3, 0.05])
def test_rates_that_nearly_meet_lose_no_digits(apart):
    lamp = replace(BUSY, heat_us=BUSY.heat_us * (1 + apart))
    house = struck(lamp, RELAYS["ideal"], (0, S))
    for s in (20_000, 150_000, 600_000):
        want = sum(glow.share * reference_light(lamp, glow, mpmath.mpf(s)) for glow in lamp.glows)
        assert house.intensity(lamp.strike_dead_us + s) == pytest.approx(float(want), abs=2e-11)


@cache
def heat_balance(name, lit_us):
    """The temperature of a filament while it is lit, and from then on, each as a function of time. Whoever
    looks, it is the same."""
    lamp = FILAMENTS[name]

    def heating(s, t):
        volts = lamp.supply * (1 - lamp.droop * mpmath.exp(-s * lamp.heat_us / lamp.droop_recovery_us))
        return volts**2 / t**1.2 - t**4

    rising = mpmath.odefun(heating, 0, mpmath.mpf(293) / 2850, tol=1e-12)
    hot = rising(mpmath.mpf(lit_us) / lamp.heat_us)
    return rising, mpmath.odefun(lambda s, t: -(t**4), 0, hot, tol=1e-12)


@pytest.mark.parametrize("seen", [EYE, PAPER_BLUE])
@pytest.mark.parametrize("name", FILAMENTS)
def test_light_agrees_with_the_heat_balance_solved_as_it_is_written(name, seen):
    """`mpmath` solves ``C dT/dt = V ** 2 / R(T) - sigma * T ** 4`` by Taylor series, heating, then cooling,
    and Wien's law makes light of the temperature: to 1e-6 of the full light."""
    lamp = FILAMENTS[name]
    wien = seen * 5.2 / 2
    lit_us = 400_000
    house = struck(lamp, RELAYS["ideal"], (0, lit_us + lamp.strike_dead_us - lamp.fall_dead_us))

    def light(t):
        return mpmath.exp(-wien * (1 / t - 1))

    with mpmath.workdps(15):
        rising, falling = heat_balance(name, lit_us)
        for s_us in (1_000, 20_000, 60_000, 100_000, 150_000, 250_000, lit_us - 1):
            want = light(rising(mpmath.mpf(s_us) / lamp.heat_us))
            assert house.intensity(lamp.strike_dead_us + s_us, seen) == pytest.approx(float(want), abs=1e-6)
        whole = mpmath.quad(
            lambda s: light(rising(s)), mpmath.linspace(0, mpmath.mpf(lit_us) / lamp.heat_us, 9)
        )
        dark_us = lamp.strike_dead_us + lit_us
        found = house.dose(0, dark_us, seen)
        assert found == pytest.approx(float(whole) * lamp.heat_us / S, abs=1e-6)  # a microsecond of light

        for s_us in (10_000, 50_000, 200_000, 1_000_000):
            want = light(falling(mpmath.mpf(s_us) / lamp.heat_us))
            assert house.intensity(dark_us + s_us, seen) == pytest.approx(float(want), rel=1e-4, abs=1e-9)


@pytest.mark.parametrize("seen", [EYE, PAPER_BLUE])
@pytest.mark.parametrize("name", FILAMENTS)
def test_a_rise_is_never_dark_again_and_its_dose_is_its_lights_integral(name, seen):
    house = struck(FILAMENTS[name], RELAYS["ideal"], (0, 2 * S))
    dead_us = FILAMENTS[name].strike_dead_us
    light = [house.intensity(dead_us + s_us, seen) for s_us in range(0, 500_000, 100)]
    assert min(light) >= 0
    assert light[1000] > 1e-3
    summed = sum((a + b) / 2 * 1e-4 for a, b in pairwise(light))
    assert house.dose(dead_us, dead_us + 499_900, seen) == pytest.approx(summed, rel=1e-5)


@pytest.mark.parametrize("name", GLOWING)
@pytest.mark.parametrize("seen", SEEN)
def test_only_a_filaments_light_asks_who_looks(name, seen):
    house = struck(GLOWING[name], RELAYS["mechanical"], (0, S), (2 * S, 2 * S + 300_000))
    assert house.dose(0, 3 * S, seen) == house.dose(0, 3 * S)
    assert house.intensity(S, seen) == house.intensity(S)


@pytest.mark.parametrize("name", ALL_LAMPS)
@pytest.mark.parametrize("relay", RELAYS)
def test_dose_agrees_with_fine_quadrature_of_the_light(name, relay):
    # Three strikes, the second on the tail of the first, and a window that starts and ends inside.
    lamp = ALL_LAMPS[name]
    strikes = [(100_000, 900_000), (950_000, 2_000_000), (3_000_000, 3_400_000)]
    house = struck(lamp, RELAYS[relay], *strikes, lux=7.0)
    corners = {150_000, 4_000_000}
    for on_us, off_us in strikes:
        corners |= {
            RELAYS[relay].closes_us(on_us) + lamp.strike_dead_us,
            RELAYS[relay].opens_us(off_us) + lamp.fall_dead_us,
        }
    corners = sorted(t for t in corners if 150_000 <= t <= 4_000_000)
    whole = mpmath.mpf(0)
    for start_us, end_us in pairwise(corners):
        # Inside a piece time is not whole microseconds, which `intensity` takes as they come.
        steps = [start_us + (end_us - start_us) * x for x in (0, 1e-5, 1e-4, 1e-3, 1e-2, 0.05, 0.2, 0.5, 1)]
        whole += mpmath.quad(lambda t: house.intensity(min(float(t), end_us - 1e-4)), steps)  # noqa: B023
    assert house.dose(150_000, 4_000_000) == pytest.approx(float(whole) / S, rel=1e-9)


class NaiveGlow:
    """A lamp that is no filament, stepped."""

    def __init__(self, lamp: Lamp) -> None:
        self.lamp = lamp
        self.levels = [0.0] * len(lamp.glows)
        self.warmth_c = 0.0

    def step(self, lit: bool, since_us: float, step_us: int) -> float:
        lamp, dose = self.lamp, 0.0
        end_c, warm_us = (lamp.warm_rise_c, lamp.heat_us) if lit else (0.0, lamp.cool_us)
        middle_c = self.warmth_c + (end_c - self.warmth_c) * -math.expm1(-step_us / 2 / warm_us)
        off_c = lamp.ambient_c + middle_c - lamp.design_c
        target = 1 - lamp.loss_per_c2 * off_c**2 if lit else 0.0
        for i, glow in enumerate(lamp.glows):
            tau = glow.rise_us if lit else glow.fall_us
            after = target + (self.levels[i] - target) * (math.exp(-step_us / tau) if tau else 0.0)
            dose += glow.share * (target * step_us - tau * (after - self.levels[i]))
            self.levels[i] = after
        self.warmth_c = end_c + (self.warmth_c - end_c) * math.exp(-step_us / warm_us)
        return dose


class NaiveFilament:
    """A filament's temperature by the heat balance as it is written: steps of a fifth, by their middles."""

    PARTS = 5

    def __init__(self, lamp: Filament) -> None:
        self.lamp = lamp
        self.t = 293 / 2850

    def step(self, lit: bool, since_us: float, step_us: int) -> float:
        lamp = self.lamp
        part_us = step_us / self.PARTS
        dose = 0.0

        def slope(t: float, at_us: float) -> float:
            volts = lamp.supply * (1 - lamp.droop * math.exp(-at_us / lamp.droop_recovery_us)) if lit else 0.0
            return (volts**2 / t**1.2 - t**4) / lamp.heat_us

        for part in range(self.PARTS):
            at_us = since_us + part * part_us
            middle = self.t + slope(self.t, at_us) * part_us / 2
            self.t = max(293 / 2850, self.t + slope(middle, at_us + part_us / 2) * part_us)
            dose += math.exp(-PAPER * 5.2 / 2 * (1 / middle - 1)) * part_us
        return dose


def naive_dose(
    lamp: AnyLamp, relay: Relay, edges: list[tuple[int, bool]], end_us: int, step_us: int
) -> float:
    """The same house, stepped: contact and lamp count for how long their input has differed from them."""
    pin = contact = light = False
    contact_for_us = light_for_us = 0
    glow = NaiveGlow(lamp) if isinstance(lamp, Lamp) else NaiveFilament(lamp)
    since_us = dose = 0.0
    edges = list(edges)
    for t_us in range(0, end_us, step_us):
        while edges and edges[0][0] <= t_us:
            pin = edges.pop(0)[1]
        contact_for_us = contact_for_us if pin != contact else 0
        if pin != contact and contact_for_us >= (relay.operate_us if pin else relay.release_us):
            contact = pin
        light_for_us = light_for_us if contact != light else 0
        if contact != light and light_for_us >= (lamp.strike_dead_us if contact else lamp.fall_dead_us):
            light, since_us = contact, 0.0
        dose += glow.step(light, since_us, step_us)
        contact_for_us = contact_for_us + step_us if pin != contact else 0
        light_for_us = light_for_us + step_us if contact != light else 0
        since_us += step_us
    return dose / S


@settings(max_examples=40, deadline=None)
@example("busy", "mechanical", [5, 300, 350, 200, 30, 100])
@example("cold light", "mechanical", [5, 300, 20, 200, 3, 100, 100])
@example("weak", "mechanical", [50, 300, 20, 200, 60, 100, 100])
@example("tungsten", "mechanical", [400, 100, 150, 40, 300, 400, 60])
@given(
    st.sampled_from(sorted(ALL_LAMPS)),
    st.sampled_from(["mechanical", "ideal"]),
    st.lists(st.integers(1, 400), min_size=1, max_size=12),
)
def test_any_strikes_agree_with_a_bench_that_steps_through_time(name, relay, gaps_ms):
    # Strikes too short to light, gaps too short to darken, and strikes on a tail: state carries over.
    lamp, step_us = ALL_LAMPS[name], 250
    house = LampHouseLight(lamp, RELAYS[relay], 1.0)
    edges, t_us, on = [], 0, False
    for gap_ms in gaps_ms:
        t_us, on = t_us + gap_ms * 1000 + 500, not on  # half a ms: no edge falls on the end of a delay
        edges.append((t_us, on))
        house.pin(t_us, on)
    end_us = t_us + 1_000_000
    want = naive_dose(lamp, RELAYS[relay], edges, end_us, step_us)
    assert house.dose(0, end_us) == pytest.approx(want, rel=1e-4, abs=1e-6)


gaps = st.lists(st.integers(0, 30 * S) | st.integers(0, 300_000), max_size=14)
anything = (st.sampled_from(sorted(ALL_LAMPS)), st.sampled_from(sorted(RELAYS)), gaps)


def played(name: str, relay: str, gaps_us: list[int]) -> tuple[LampHouseLight, int]:
    """A house after pin edges these far apart, and a time when its last tail has died or it has been lit for
    ten seconds more."""
    house = LampHouseLight(ALL_LAMPS[name], RELAYS[relay], lux=3.0)
    t_us, on = 0, False
    for gap_us in gaps_us:
        t_us, on = t_us + gap_us, not on
        house.pin(t_us, on)
    settle_us = house.settle_us
    return house, t_us + 10 * S if settle_us is None else max(t_us, settle_us)


@given(*anything, st.tuples(*[st.floats(0, 1)] * 3))
def test_doses_add_up_grow_and_are_never_negative(name, relay, gaps_us, parts):
    house, end_us = played(name, relay, gaps_us)
    a, b, c = sorted(round(part * end_us) for part in parts)
    ab, bc, ac = house.dose(a, b), house.dose(b, c), house.dose(a, c)
    rounding = 1e-12 * (1 + end_us / S)
    assert ab + bc == pytest.approx(ac, rel=1e-12, abs=rounding)
    assert ab >= 0
    assert bc >= 0
    assert ac >= max(ab, bc) - rounding
    assert house.dose(b, b) == 0
    assert 0 <= house.intensity(b) <= 3.0 * (1 + 1e-12)


@given(*anything)
@example("busy", "mechanical", [S, S])
@example("held", "ideal", [S, S])
def test_nothing_shines_before_a_strike_nor_after_the_tail(name, relay, gaps_us):
    even = gaps_us[: len(gaps_us) // 2 * 2]
    house, end_us = played(name, relay, even)
    assert house.settle_us is not None
    assert house.intensity(end_us) <= 3e-12
    assert house.dose(end_us, end_us + 3600 * S) <= 1e-11
    if even:
        assert house.dose(0, even[0]) == 0
    else:
        assert house.dose(0, end_us + S) == 0


@given(*anything, st.integers(0, 14))
def test_forgetting_history_changes_no_later_light(name, relay, gaps_us, keep):
    house, end_us = played(name, relay, gaps_us)
    again, _ = played(name, relay, gaps_us)
    from_us = sum(gaps_us[:keep])
    again.forget_before(from_us)
    assert again.dose(from_us, end_us) == house.dose(from_us, end_us)


def test_an_endless_session_keeps_little():
    house = LampHouseLight(LAMPS["cold light"], RELAYS["mechanical"], 1.0)
    for n in range(2000):
        house.pin(n * 60 * S, True)
        house.pin(n * 60 * S + 10 * S, False)
        assert house.dose(n * 60 * S, n * 60 * S + 50 * S) > 0
        house.forget_before(n * 60 * S + 50 * S)
        assert len(house._pieces) <= 4
    with pytest.raises(ValueError, match="where this lamp house begins"):
        house.dose(0, n * 60 * S + 50 * S)
    house.forget_before(0)  # long gone: nothing to do


# Lag


def lag_by_hand_ms(lamp: Lamp, relay: Relay) -> float:
    """Delays and areas under the curves, added up on paper."""
    on = relay.operate_us + lamp.strike_dead_us + sum(glow.share * glow.rise_us for glow in lamp.glows)
    off = relay.release_us + lamp.fall_dead_us + sum(glow.share * glow.fall_us for glow in lamp.glows)
    return (on - off) / 1000


@pytest.mark.parametrize("name", ["cold light", "led", "ideal"])
@pytest.mark.parametrize("relay", ["mechanical", "ideal"])
def test_lag_comes_out_of_delays_rise_and_fall(name, relay):
    # 1e-4 ms: a tube cools by a hair in the dead time before its strike.
    lamp = GLOWING[name]
    assert lag_ms(lamp, RELAYS[relay]) == pytest.approx(lag_by_hand_ms(lamp, RELAYS[relay]), abs=1e-4)


def test_lags_are_those_of_the_trade():
    # "Lamp about 100 ms late at switch-on" behind a stabilised supply: common practice, no source; a filament
    # on a firm supply is at it, and a tube above.
    assert lag_ms(firm(tungsten(150)), RELAYS["mechanical"]) == pytest.approx(100, abs=10)
    assert 100 < lag_ms(LAMPS["cold light"], RELAYS["mechanical"]) < 200


@pytest.mark.parametrize("name", LAMPS)
@pytest.mark.parametrize("relay", RELAYS)
@pytest.mark.parametrize("seconds", [5, 20, 64, 900])
def test_a_long_strike_gives_its_time_less_the_lag(name, relay, seconds):
    # A warm lamp: drift is not lag. Five seconds outlast rise and dip; each is a whole number of half cycles.
    house = LampHouseLight(LAMPS[name], RELAYS[relay], lux=12.5, warmed_up=True)
    house.pin(0, True)
    house.pin(seconds * S, False)
    want = 12.5 * (seconds - lag_ms(LAMPS[name], RELAYS[relay]) / 1000)
    assert house.dose(0, house.settle_us) == pytest.approx(want, rel=1e-6)


def test_a_strike_on_a_tail_costs_the_tail_again():
    # A hold in mid-exposure. Long: both strikes pay the lag. Short: light that had not died helps the second.
    lamp, relay = firm(tungsten(150)), RELAYS["ideal"]
    lag_s = lag_ms(lamp, relay) / 1000

    def lost_s(hold_us: int) -> float:
        house = struck(lamp, relay, (0, 10 * S), (10 * S + hold_us, 20 * S + hold_us))
        return 20 - house.dose(0, house.settle_us)

    assert lost_s(120 * S) == pytest.approx(2 * lag_s, abs=1e-6)
    assert lost_s(20_000) < 1.9 * lag_s
    assert lost_s(20_000) < lost_s(50_000) < lost_s(200_000) < lost_s(5 * S) < 2 * lag_s


# What is refused


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: Relay(operate_us=-1), "operate_us is -1"),
        (lambda: Glow(1.0, -1, 0), "rise_us is -1"),
        (lambda: Lamp((Glow(0.5, 0, 0),)), "shares that add to 1"),
        (lambda: Filament(1e5, droop=0.6), "droop is 0.6"),
        (lambda: Filament(1e5, supply=0.2), "supply is 0.2"),
        (lambda: Filament(0), "heat_us is 0"),
        (lambda: Lamp((Glow(1, 0, 0),), heat_us=0), "heat_us is 0"),
        (lambda: replace(LAMPS["cold light"], ambient_c=-30), "off its design point and dark"),
        (lambda: tungsten(5), "5 W is outside"),
        (lambda: LampHouseLight(LAMPS["led"], RELAYS["ideal"], -1.0), "lux is -1.0"),
        (lambda: struck(LAMPS["led"], RELAYS["ideal"], (S, 0)), "a pin edge at 0 us is before 1000000 us"),
        (lambda: struck(LAMPS["led"], RELAYS["ideal"]).dose(2, 1), "the end is before the start"),
        (lambda: struck(LAMPS["led"], RELAYS["ideal"]).intensity(-1), "where this lamp house begins"),
        (lambda: lag_ms(LAMPS["cold light"], RELAYS["ideal"], 100), "ends before the lamp lights"),
    ],
)
def test_bad_input_is_one_clear_line(wrong, says):
    with pytest.raises(ValueError, match=says) as refusal:
        wrong()
    assert "\n" not in str(refusal.value)


def test_an_edge_inside_light_already_told_is_refused():
    house = struck(LAMPS["tungsten"], RELAYS["ideal"], (0, S))
    house.dose(0, 2 * S)
    with pytest.raises(ValueError, match="which is settled"):
        house.pin(2 * S - 1, True)
    house.pin(2 * S, True)
    assert house.settle_us is None


def test_a_repeated_level_changes_nothing():
    once = struck(LAMPS["tungsten"], RELAYS["mechanical"], (0, S))
    twice = LampHouseLight(LAMPS["tungsten"], RELAYS["mechanical"], 1.0)
    for t_us, on in [(0, False), (0, True), (5_000, True), (S, False), (S + 1_000, False)]:
        twice.pin(t_us, on)
    assert twice.settle_us == once.settle_us
    assert twice.dose(0, 3 * S) == pytest.approx(once.dose(0, 3 * S), rel=1e-15)


KNOWS: dict[ModuleType, set[str]] = {
    feed: {"host_sim.optics.checks"},
    filament: {"host_sim.optics.checks"},
    glowing: {"host_sim.optics.checks"},
    lamps: {f"host_sim.optics.{name}" for name in ("feed", "filament", "glowing")},
    paper: set(),
}
"""What each may import beside what Python has."""


@pytest.mark.parametrize("module", KNOWS)
def test_lamps_and_paper_know_nothing_of_what_they_judge(module):
    allowed = {
        "__future__",
        "host_sim.optics.checks",
        "bisect",
        "collections.abc",
        "dataclasses",
        "functools",
        "math",
        "typing",
    }
    imported = set()
    for node in ast.walk(ast.parse(Path(module.__file__).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            imported |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            imported.add(node.module)
    assert imported <= allowed | KNOWS[module]
