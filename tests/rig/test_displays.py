"""Every kind of display on the emulated Pico: what the core has drawn is what the panel shows."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from tests.display_chips import CHIPS, DARK
from tests.rig.box import PicoBox
from tests.rig.faults import disk_with
from tests.rig.pico import MS

BRIGHTNESS = 2
"""As the bench has it at first."""
LEVELS = (1, 8, 32, 96, 255)
"""Of 255."""
FRAME_MAX_MS = 30
"""On the bus: 32 pieces, each with its place, at 400 kHz."""
PIECE_MAX_MS = 1


class Shown(NamedTuple):
    """`seen` by an eye, `drawn` by the core, `light` behind it and `contrast`, of 255."""

    seen: bytes
    drawn: bytes
    light: float
    contrast: int


@pytest.fixture(scope="module")
def box(uf2) -> PicoBox:
    box = PicoBox(uf2, probe=True, files=disk_with())
    box.wait_for_panel()
    box.wait_for_rest()
    return box


def look(box: PicoBox) -> Shown:
    # In pieces: a board has seldom more than some KB in one.
    parts = [box.ask(f"runner._screen.buffer[{at}:{at + 128}].hex()") for at in range(0, 1024, 128)]
    drawn = bytes.fromhex("".join(parts))
    return Shown(box.panel.chip.shown(), drawn, box.backlight() * 255, box.panel.chip.contrast)


# The first is in every other test, and the second is its like.
KINDS = [
    pytest.param("ssd1306", marks=pytest.mark.long),
    pytest.param("ssd1309", marks=pytest.mark.long),
    "sh1106",
    "st7567",
]


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_shows_the_cores_frame_pixel_for_pixel(box, kind):
    def scenario(box: PicoBox) -> tuple[list[float], list[Shown]]:
        # What each transfer that wrote, and the one before it that said where, took on the bus.
        pieces_ms = []
        busy_ns = box.panel.busy_ns

        def count() -> None:
            nonlocal busy_ns
            pieces_ms.append((box.panel.busy_ns - busy_ns) / MS)
            busy_ns = box.panel.busy_ns

        plain, box.panel._changed = box.panel._changed, count
        box.refit(kind)
        box.run_ms(150)
        box.panel._changed = plain
        found = [look(box)]
        box.turn(1)
        box.run_ms(200)
        found.append(look(box))
        # Nothing changes while it is away.
        box.panel.unplug()
        box.run_ms(1200)
        box.panel.plug()
        found.append(look(box))
        box.run_ms(1000)
        found.append(look(box))
        # Something does.
        box.panel.unplug()
        box.turn(1)
        box.run_ms(100)
        box.panel.plug()
        box.run_ms(1000)
        found.append(look(box))
        box.client.bench_set({"brightness": 5})
        box.run_ms(100)
        found.append(look(box))
        return pieces_ms, found

    pieces_ms, (first, turned, away, back, later, bright) = box.forked(scenario)
    print(f"{kind}: on the bus a whole frame takes {sum(pieces_ms):.1f} ms, a piece {pieces_ms[5]:.2f}")
    # The last one switches it on; start-up comes before the first.
    assert len(pieces_ms) == 33
    assert max(pieces_ms[1:]) < PIECE_MAX_MS
    assert sum(pieces_ms) < FRAME_MAX_MS
    assert len({first.drawn, turned.drawn, later.drawn}) == 3
    assert away.seen == DARK
    for shown in (first, turned, back, later, bright):
        assert shown.seen == shown.drawn
    if kind == "st7567":
        assert later.light == pytest.approx(LEVELS[BRIGHTNESS - 1], rel=0.01)
        assert bright.light == pytest.approx(255, rel=0.01)
        assert later.contrast == bright.contrast
    else:
        assert later.contrast == LEVELS[BRIGHTNESS - 1]
        assert bright.contrast == 255
        assert bright.light == 0


@pytest.mark.long
@pytest.mark.parametrize("kind", ["sh1106", "st7567"])
def test_what_is_fitted_is_known_from_power_up_on(uf2, kind):
    files = disk_with(display=kind, column_offset=CHIPS[kind].FIRST)
    box = PicoBox(uf2, probe=True, files=files, display=kind)
    panel_ms = box.wait_for_panel()
    print(f"{kind}: power-up to a drawn panel: {panel_ms} ms")
    box.wait_for_rest()
    shown = look(box)
    assert shown.seen == shown.drawn
    assert box.panel.chip.times_on == 1
    assert box.client.call("health")["display"]["answers"]
    light = LEVELS[BRIGHTNESS - 1] if kind == "st7567" else 0
    assert shown.light == pytest.approx(light, rel=0.01)
