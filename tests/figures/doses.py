"""The light that reaches each patch of a cover strip under a lamp with 150 ms of lag.

Six patches, 2 s to 64 s of light; every patch is held twice, so the lamp is struck three times for it and
18 times for the last patch's whole light. The rival is the same strip on a box that was told no lag.

The lamp rises and falls in first order, to 90 % in 0.17 s and to 10 % in 0.08 s, behind a supply that is late
and a mechanical relay. Its dead time is set so that a person would measure 150 ms in all.

One number for lag is exact for what is late, and nearly so for a rise that is over within a strike. Two
things are neither, and the last rows show what they leave: a filament that is struck 0.7 s after it
went out is still hot and lags less, and a supply that dips may take as long as a short strike to recover.
"""

import math
from dataclasses import replace

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.script import Player
from host_sim.box.session import LATENCY_MS, Session
from host_sim.darkroom.ideal_hands import AreaLight, IdealHands
from host_sim.optics.feed import RELAYS
from host_sim.optics.filament import tungsten
from host_sim.optics.glowing import Glow, Lamp
from host_sim.optics.lamp_house import LampHouse
from host_sim.optics.lamps import AnyLamp, lag_ms
from tests.figures.comparison import Figure
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM
from timing_core.records.store import Store

BUDGET_STOPS = 0.01
LAG_MS = 150
TOTALS_S = (2, 4, 8, 16, 32, 64)
RELAY = RELAYS["mechanical"]

TO_THE_STRIP = """
back
+0.3 dial 1
+0.3 press
"""
SIX_PATCHES = """
+0.3 dial 2
+0.3 press
+0.3 dial 1
+0.3 press
"""
STEP_OF_ONE_STOP = """
+0.3 dial 1
+0.3 press
+0.3 dial 2
+0.3 press
"""
UP_FROM_THE_BASE = """
+0.3 dial 1
+0.3 press
+0.3 dial 2
+0.3 press
"""
STRIKE = "+0.7 expose\n"
"""As soon as the box listens to it."""


def laggard() -> Lamp:
    """A lamp whose measured lag is LAG_MS."""
    bare = Lamp((Glow(1.0, rise_us=74_000, fall_us=34_000),))
    missing_us = round((LAG_MS - lag_ms(bare, RELAY)) * 1000)
    return replace(bare, strike_dead_us=missing_us)


def script() -> str:
    """Set up the strip with dial and press, then give every patch in three strikes of about a third."""
    lines = [TO_THE_STRIP, SIX_PATCHES, STEP_OF_ONE_STOP, UP_FROM_THE_BASE, STRIKE]
    given_s = 0
    for total_s in TOTALS_S:
        light_s = total_s - given_s
        given_s = total_s
        lines.append(STRIKE)
        for left in (2, 1):
            lines.append(f"wait until left {light_s * left / 3:.3f}\nexpose\nwait until held\n{STRIKE}")
        lines.append("wait until dark\n")
    return "".join(lines)


def strip(told_lag_ms: int, lamp: AnyLamp) -> tuple[list[AreaLight], int]:
    """The light of every patch from a box that was told this lag, and how often the lamp was struck."""
    platform = desk_platform()
    disk = MemoryDisk()
    settings = {"lag_ms": told_lag_ms, "new_base_ms": TOTALS_S[0] * 1000, "form": BENCH_FORM}
    Store(disk, platform.crc32).put("bench", encode(settings))
    session = Session(disk, platform, latency_ms=LATENCY_MS)
    house = LampHouse(session)
    house.put_in(lamp, RELAY)
    hands = IdealHands(session, house)
    session.watchers.append(hands)
    session.power_up()
    Player(session).play(script())
    assert session.box.state == "choose", "the strip was not given to its end"
    record = session.box.ledger.read(session.box.ledger.last() - 1)[0]
    [(_, lights)] = hands.report()
    return lights, sum(stage["strikes"] for stage in record["stages"])


def error_stops(light: AreaLight) -> float:
    """Off the plan, in stops; a patch without light is off without end."""
    return -math.inf if light.error_stops is None else light.error_stops


def figures() -> list[Figure]:
    lamp = laggard()
    known, strikes = strip(LAG_MS, lamp)
    unknown, _ = strip(0, lamp)
    rows = [Figure(f"Cover strip, {strikes} strikes: its lamp's measured lag", lag_ms(lamp, RELAY), "ms")]
    for light, rival in zip(known, unknown, strict=True):
        rows.append(
            Figure(
                f"  error of {light.area}, {light.planned_ms / 1000:.0f} s",
                error_stops(light),
                "stop",
                rival="lag not compensated",
                rival_value=error_stops(rival),
                more_is_better=False,
                budget=BUDGET_STOPS,
            )
        )
    dips = tungsten(150)
    for name, lamp in (
        ("worst of a hot filament", replace(dips, droop=0.0)),
        ("worst where its supply dips", dips),
    ):
        lights, _ = strip(round(lag_ms(lamp, RELAY)), lamp)
        rows.append(
            Figure(
                f"  {name}, lag {lag_ms(lamp, RELAY):.0f} ms",
                max((error_stops(light) for light in lights), key=abs),
                "stop",
                more_is_better=False,
            )
        )
    return rows
