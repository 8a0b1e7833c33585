"""What a sheet per pixel costs: a shade moved in the light, and the print developed.

A move settles the light since the last one, on a sheet of 1,000 x 800. The rival does it as it is said: at
every move it works out how much light reaches each point of the whole sheet and adds it up there. Both are
given the same moves and must leave the same light.

The print's rival is the paper's own function, point by point. It is timed on every 997th point, for it would
take some ten seconds for all of them; its figure is scaled up.
"""

import math

import numpy as np

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from host_sim.darkroom.room import Room
from host_sim.optics import negatives
from host_sim.optics.lamp_house import LampHouse
from host_sim.optics.paper import paper
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX, Pixels
from host_sim.optics.shades import PENUMBRA, WIRE_SHADE, WIRE_WIDTH, Shade, cast_of
from host_sim.optics.sheet import Beam, Sheet, densities
from lampblack.wire.push import requests_for
from tests.figures.comparison import Figure, of, side_by_side

MOVES = 40
STEP_MS = 8
"""A pointer of 125 reports a second."""
EVERY = 997
SHAPES = ("disc", "hole", "edge")
FILTER = "2"
BASE_MS = 60_000


def path(shape: str) -> list[Shade]:
    """A hand that circles over the middle."""
    turns = [2 * math.pi * number / MOVES for number in range(MOVES)]
    return [Shade(shape, 0.5 + 0.03 * math.cos(a), 0.5 + 0.03 * math.sin(a), 0.25, 30.0) for a in turns]


# --- the room as it is


def exposing() -> Room:
    session = Session(MemoryDisk(), desk_platform())
    session.power_up()
    session.box.work.map.set_base(0, BASE_MS)
    room = Room(session, LampHouse(session), requests_for, "plain")
    room.do({"do": "fit", "filter": FILTER})
    room.do({"do": "sheet"})
    for at_ms in (1000, 2000):
        session.advance(at_ms)
        session.input("expose")
    session.advance(session.now_ms + STEP_MS)
    return room


def move(room: Room, shades: list[Shade]) -> None:
    for shade in shades:
        room.do({"do": "shade", **vars(shade)})
        room.session.advance(room.session.now_ms + STEP_MS)
    room.do({"do": "shade", "shape": "none"})


# --- its rival


class WholeSheet:
    """The same lamp, and every point of the sheet worked out at every move."""

    def __init__(self) -> None:
        self.house = LampHouse(Session(MemoryDisk(), desk_platform()))
        self.house.lamp(0, True)
        self.now_ms = STEP_MS
        self.x = (np.arange(WIDTH_PX, dtype=np.float32) + np.float32(0.5))[None, :]
        self.y = (np.arange(HEIGHT_PX, dtype=np.float32) + np.float32(0.5))[:, None]
        self.light = np.full((HEIGHT_PX, WIDTH_PX), self.house.dose(0, STEP_MS * 1000, FILTER), np.float32)

    def move(self, shades: list[Shade]) -> None:
        for shade in shades:
            lux_s = self.house.dose(self.now_ms * 1000, (self.now_ms + STEP_MS) * 1000, FILTER)
            self.now_ms += STEP_MS
            self.light += np.float32(lux_s) * self.open(shade)

    def open(self, shade: Shade) -> Pixels:
        dx, dy = self.x - np.float32(shade.x * WIDTH_PX), self.y - np.float32(shade.y * HEIGHT_PX)
        cos, sin = (np.float32(f(math.radians(shade.angle))) for f in (math.cos, math.sin))
        edge = np.float32(PENUMBRA * WIDTH_PX)
        if shade.shape == "edge":
            return 1 - soft((dx * cos + dy * sin) / edge)
        covered = soft((np.float32(shade.size * WIDTH_PX / 2) - np.sqrt(dx * dx + dy * dy)) / edge)
        if shade.shape == "hole":
            return covered
        off = (dx * sin - dy * cos) / np.float32(WIRE_WIDTH * WIDTH_PX / 2)
        wire = np.float32(WIRE_SHADE) * np.maximum(1 - off * off, 0) * (dx >= 0)
        return (1 - covered) * (1 - wire)


def soft(t: Pixels) -> Pixels:
    t = np.clip(t + np.float32(0.5), 0, 1)
    return t * t * (3 - 2 * t)


def lights(shape: str) -> tuple[Pixels, Pixels]:
    """The light that the same moves leave, ours and the rival's, in lux seconds."""
    room, rival = exposing(), WholeSheet()
    move(room, path(shape))
    rival.move(path(shape))
    assert room.easel.sheet is not None
    return room.easel.sheet.open_light()[FILTER], rival.light


# --- the print


def exposed() -> Sheet:
    sheet = Sheet(1, paper("vc-2019"))
    for name, lux_s in (("00", 20.0), ("5", 30.0)):
        sheet.gather(Beam("breakwater", name), lux_s, cast_of(Shade("disc", size=0.25)))
    return sheet


def some_points(sheet: Sheet, film: Pixels) -> list[float]:
    """Densities of every 997th point, by the paper's function."""
    doses = {name: light.ravel()[::EVERY].tolist() for name, light in sheet.light(lambda beam: film).items()}
    return [sheet.paper.density(dict(zip(doses, point))) for point in zip(*doses.values())]


def figures(repeats: int) -> list[Figure]:
    rows = []
    for shape in SHAPES:
        ours, theirs = lights(shape)
        assert np.abs(ours - theirs).max() < 1e-3 * theirs.max(), "the rival gave other light"
        settled, whole = side_by_side(
            repeats,
            (exposing, lambda room, shape=shape: move(room, path(shape))),
            (WholeSheet, lambda rival, shape=shape: rival.move(path(shape))),
        )
        rows.append(
            of(
                f"Sheet of {WIDTH_PX:,} x {HEIGHT_PX}: a move of the {shape}",
                settled.each(lambda s: s * 1000 / MOVES),
                "ms",
                rival="the whole sheet at every move",
                rival_value=whole.median * 1000 / MOVES,
                more_is_better=False,
            )
        )
    film = negatives.negative("breakwater").transmittance
    sheet = exposed()
    light = sheet.light(lambda beam: film)
    found = densities(sheet.paper, light).ravel()[::EVERY]
    assert np.abs(found - some_points(sheet, film)).max() < 1e-3, "the rival made another print"
    quick, slow = side_by_side(
        repeats,
        (lambda: None, lambda _: sheet.develop(lambda beam: film)),
        (lambda: None, lambda _: some_points(sheet, film)),
    )
    rows.append(
        of(
            "  develop it, two filters",
            quick.each(lambda s: s * 1000),
            "ms",
            rival="the paper, point by point",
            rival_value=slow.median * 1000 * EVERY,
            more_is_better=False,
        )
    )
    return rows
