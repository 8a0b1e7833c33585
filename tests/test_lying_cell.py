"""The light cell in the simulated darkroom: what it sees, and whether metering with it lands."""

import math

import numpy as np
import pytest

from host_sim.box.session import GONE
from host_sim.darkroom.checks import RoomError
from host_sim.darkroom.room import Room
from host_sim.optics.lamp_house import LUX, LampHouse
from host_sim.optics.light_sensor import (
    BRIGHT,
    COUNTS_PER_LUX,
    DARK_COUNTS,
    DRIFT_COUNTS,
    FAINT,
    GAIN_RATIO,
    NOISE_COUNTS,
    OVER,
    LightSensor,
)
from host_sim.optics.negatives import NEGATIVES
from lampblack.wire.push import requests_for
from tests.box_model import CELL_READ_MS, a_card, keys, load, new_session, to_row, to_screen, until_dark, wait
from timing_core.machine import light_cell
from timing_core.machine.cell_strips import CellStrip

SIXTH = 20
STRIP = [1000 * 2**patch for patch in range(5)]


def a_room(lamp: str = "tungsten", negative: str = "plain") -> Room:
    session = new_session(panel_ms=100)
    load(session, a_card())
    room = Room(session, LampHouse(session, lamp), requests_for, negative)
    room.do({"do": "shade", "shape": "cell", "x": 0.5, "y": 0.5})
    to_screen(session, "light_cell")
    wait(session, CELL_READ_MS)
    return room


def read(room: Room, x: float, y: float) -> int:
    """What is read there under the lamp, once it is good; and the lamp is out again."""
    session = room.session
    room.do({"do": "shade", "shape": "cell", "x": x, "y": y})
    keys(session, "lamp")
    if not session.lamp.lit:
        wait(session, 1000)
        keys(session, "lamp")
    for _ in range(4):
        wait(session, CELL_READ_MS)
        found = session.box.panel.screen.cell.good
        if found:
            break
    keys(session, "lamp")
    until_dark(session)
    wait(session, CELL_READ_MS)
    return found


def open_counts() -> float:
    return 4 * COUNTS_PER_LUX * LUX


# --- the sensor


def test_the_sensor_says_it_as_the_core_does():
    assert (FAINT, BRIGHT, OVER) == (light_cell.FAINT, light_cell.BRIGHT, light_cell.OVER)
    assert pytest.approx(light_cell.RATIO_HUNDREDTHS / 100, rel=0.001) == GAIN_RATIO


def test_its_counts_are_the_lights_with_noise_and_a_dark_that_drifts():
    sensor = LightSensor()
    quick = [sensor.counts(0.6, FAINT, 0) for _ in range(400)]
    assert np.std(quick) == pytest.approx(NOISE_COUNTS, rel=0.15)
    minutes = [sensor.counts(0.0, FAINT, 60_000 * n) for n in range(1, 400)]
    assert np.mean(minutes) == pytest.approx(DARK_COUNTS, abs=2)
    assert np.std(minutes) == pytest.approx(math.hypot(NOISE_COUNTS, DRIFT_COUNTS), rel=0.25)
    assert sensor.counts(0.6, FAINT, 0) == pytest.approx(COUNTS_PER_LUX, abs=50)
    assert sensor.counts(6.0, FAINT, 0) == OVER
    assert sensor.counts(6.0, BRIGHT, 0) == pytest.approx(10 * COUNTS_PER_LUX / GAIN_RATIO, rel=0.01)
    assert sensor.counts(60.0, BRIGHT, 0) == OVER


# --- where it lies


def test_without_one_the_box_is_told_so():
    room = a_room()
    room.do({"do": "shade", "shape": "none"})
    assert room.session.read_cell(FAINT, 0, 0) == GONE
    wait(room.session, 2000)
    assert room.session.box.panel.screen.cell.now == light_cell.ABSENT
    with pytest.raises(RoomError):
        room.do({"do": "shade", "shape": "cell", "x": "left"})


def test_it_sees_the_wedge_step_by_step():
    """Each step of the wedge is 0.15 of density: half a stop, to 1/12 where there is light enough."""
    room = a_room(negative="step-wedge")
    readings = [read(room, (step + 0.5) / 21, 0.5) for step in (0, 2, 4, 8, 12)]
    for step, counts in zip((0, 2, 4, 8, 12), readings, strict=True):
        stops = math.log2(readings[0] / counts)
        # The two ranges' ratio is a rounded one
        assert stops == pytest.approx(step * 0.15 / math.log10(2), abs=1 / 12), step


def test_past_the_frame_and_behind_a_shade_it_is_dark():
    room = a_room()
    assert read(room, 0.5, 0.5) == pytest.approx(open_counts(), rel=0.05)
    assert read(room, -0.3, 0.5) == 0
    room.do({"do": "shade", "hand": "left", "shape": "disc", "x": 0.5, "y": 0.5, "size": 0.4})
    assert read(room, 0.5, 0.5) == 0
    room.do({"do": "shade", "hand": "left", "shape": "disc", "lifted": True})
    assert read(room, 0.5, 0.5) > 0


def test_a_cell_that_is_moved_in_mid_conversion_has_light_of_both_places():
    room = a_room(negative="step-wedge")
    cell, session = room.cell, room.session
    keys(session, "lamp")
    wait(session, 3000)
    session.read_cell = lambda *_: 5
    room.do({"do": "shade", "shape": "cell", "x": 0.02, "y": 0.5})
    cell.begin()
    wait(session, 100)
    cell.settle()
    bright = cell._lux_s
    assert bright > 0.1
    room.do({"do": "shade", "shape": "cell", "x": 0.99, "y": 0.5})
    wait(session, 100)
    cell.settle()
    assert cell._lux_s == pytest.approx(bright, rel=0.01)


# --- metering lands


@pytest.mark.parametrize("lamp", ["tungsten", "led"])
@pytest.mark.parametrize("negative", [name for name in NEGATIVES if name not in ("plain", "step-wedge")])
def test_a_metered_base_gives_the_spot_its_patchs_light_to_a_sixth_of_a_stop(lamp, negative):
    """With a strip of known light on the open easel. What the eye and the paper add is not in it."""
    room = a_room(lamp)
    session = room.session
    screen = session.box.panel.screen
    room.do({"do": "negative", "name": "plain"})
    screen._strips.keep(CellStrip("", "2", read(room, 0.5, 0.5), 4, STRIP))
    room.do({"do": "negative", "name": negative})
    off = []
    for x, y in ((0.3, 0.3), (0.5, 0.6), (0.7, 0.4)):
        session.box.panel.work.spots[0] = read(room, x, y)
        assert session.box.panel.work.spots[0]
        to_row(session, "Base")
        keys(session, "press", "press")
        base_ms = session.box.work.map.base_ms(0)
        px, py = round(x * 1000), round(y * 800)
        film = room.films.negative.transmittance[py - 10 : py + 10, px - 10 : px + 10].mean()
        off.append(120 * math.log2(base_ms * film / STRIP[2]))
    assert max(map(abs, off)) < SIXTH, off
