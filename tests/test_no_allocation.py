"""Law 3: from the press that lights the lamp to its end the core needs no memory and no long integer.

A box under real MicroPython makes its exposures with the heap locked: asking for memory then raises
MemoryError. What a 64-bit desktop cannot show, that no number outgrows the 31 bits of a board's small
integers and so lands on the heap there, is followed on CPython with numbers that check themselves.
"""

import pytest

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from tests import micropython
from tests.portable import heap_lock
from timing_core.box import Box
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM
from timing_core.panel.drawing import Drawing
from timing_core.platform import Platform
from timing_core.records.store import Store

HEAP = "512k"
"""Room enough: the question here is not how much is needed, but when."""

RUNS = 400
"""Prints in a row for the growth of the heap. The law says 10,000; give that number here to try it."""

GROWTH_MAX = 160
"""Bytes, which are five blocks: one block kept in every 53rd print is found. There has been none, but the
numbers of the ledger's records grow by a figure now and then, and so does their text."""


@pytest.mark.parametrize("case", heap_lock.CASES)
def test_no_memory_is_asked_for_while_the_lamp_is_lit(compiled, case):
    done = micropython.run(["-m", "tests.portable.heap_lock", case], compiled, HEAP)
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout) == len(heap_lock.BENCHES) * len(heap_lock.starts())


def test_the_lock_would_tell(compiled):
    done = micropython.run(["-m", "tests.portable.heap_lock", "allocate"], compiled, HEAP)
    assert "MemoryError" in done.stderr


def test_the_heap_does_not_grow(compiled):
    # A full ledger lies in the same memory here.
    done = micropython.run(["-m", "tests.portable.heap_lock", "growth", str(RUNS)], compiled, "640k")
    assert done.returncode == 0, done.stdout + done.stderr
    assert int(done.stdout) <= GROWTH_MAX


# --- 31 bits


class TooLong(Exception):
    """A number that a board would have to put on the heap."""


class Small(int):
    """An integer that stays one through arithmetic and refuses to leave 31 bits."""

    def __new__(cls, value: int):
        if not -(1 << 30) <= value < 1 << 30:
            raise TooLong(value)
        return super().__new__(cls, value)


def _checked(name: str):
    plain = getattr(int, name)

    def method(self, *others):
        result = plain(self, *others)
        return Small(result) if isinstance(result, int) else result

    return method


for _name in ("add", "sub", "mul", "floordiv", "mod", "lshift", "rshift", "and", "or", "xor"):
    for _method in (f"__{_name}__", f"__r{_name}__"):
        setattr(Small, _method, _checked(_method))
Small.__neg__ = _checked("__neg__")  # type: ignore[method-assign]


class NoFrame:
    """Takes every drawing and draws nothing: on the board this is MicroPython's own, in C."""

    def __init__(self, *_):
        pass

    def _nothing(self, *_):
        pass

    fill = fill_rect = rect = hline = vline = pixel = blit = line = _nothing


def small_desk(now_ms: int, card: dict, panel_ms: int, bench: dict) -> heap_lock.Desk:
    """A desk on which every number that the box meets under light is a `Small`."""
    desk = heap_lock.Desk(now_ms, card)
    plain = desk_platform()
    platform = Platform(NoFrame, plain.json_loads, plain.crc32, plain.sha256, plain.unpacked, plain.json_load)
    desk.box = Box(Store(MemoryDisk(), platform.crc32), platform, Small(panel_ms))
    desk.box.store.put("work", encode(card))
    # Key may follow key, and a lamp as slow as these may be struck for as little as the card asks for.
    desk.box.store.put("bench", encode({"settle_ms": 0, "least_ms": 20, "form": BENCH_FORM, **bench}))
    desk.screen = Drawing(desk.box, platform)
    desk.now_ms = Small(now_ms)
    desk.input("power_up")
    for key, value in desk.box.bench.to_dict().items():
        if isinstance(value, int):
            desk.box.bench._values[key] = Small(value)
    return desk


def make_small(box: Box) -> None:
    for stage in box.run.stages:
        stage.shown_ms, stage.light_ms = Small(stage.shown_ms), Small(stage.light_ms)
        stage.cues = [(Small(at_ms), sound) for at_ms, sound in stage.cues]
        for window in stage.windows:
            window.open_ms, window.close_ms = Small(window.open_ms), Small(window.close_ms)


LONG_CARD = {
    **heap_lock.CARD,
    "dry_down_pm": 1,
    "passes": [{"filter": "2", "base_ms": 999_900, "marks": [{"area": "face", "stops120": -100}]}],
}


@pytest.mark.parametrize("now_ms", [0, 1, (1 << 29) - 5000, 1 << 29, (1 << 30) - 500_000, (1 << 30) - 1])
@pytest.mark.parametrize("bench", [{}, {"lag_ms": 2000}, {"lag_ms": -500}])
@pytest.mark.parametrize(("card", "panel_ms"), [(heap_lock.CARD, 100), (LONG_CARD, 1000)])
def test_no_number_leaves_31_bits_while_the_lamp_is_lit(now_ms, bench, card, panel_ms):
    desk = small_desk(now_ms, card, panel_ms, bench)
    desk.input("tick")
    for at, first_ms in enumerate((0, 5000, 3_600_000)):
        tray = ("fix", Small(first_ms), Small(2000), Small(700), at == 1)
        desk.box.trays.start(at, (tray,) * 6)
    desk.input("expose")
    make_small(desk.box)
    while desk.box.state == "ready":
        if not desk.box.exposing.left_ms():
            desk.input("expose")
            continue
        desk.lit("expose", Small(2000))
        assert isinstance(desk.box.lamp.strike._struck_ms, Small)
        assert isinstance(desk.box.exposing.left_shown_ms(), Small)
        desk.put_out("expose", Small(2000))
        desk.to_the_end("expose")
    assert desk.box.state == "browse"
    desk.input("lamp")  # and again, for there is exposed paper in the easel
    desk.lit("lamp", Small(1500))
    assert desk.box.state == "viewing"


def test_a_number_that_outgrows_31_bits_is_noticed():
    with pytest.raises(TooLong):
        Small(999_900) * 1100
    with pytest.raises(TooLong):
        (1 << 29) + Small(1 << 29)
