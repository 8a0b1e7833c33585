"""How the firmware is started: the lamp's ceiling, and the dark that every failure ends in.

`main.py` and the lamp's one-shot run as they are, on a stand-in for the chip that only notes what is done
to it. That a true chip does the same is for the tests on the emulated Pico.
"""

import re
import runpy
import sys
import types
from collections import defaultdict
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import example, given, settings

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session, Watcher
from lampblack.board.chips import CHIPS
from timing_core.light import bench
from timing_core.light.bench import setting
from timing_core.light.printing_map import DRY_DOWN_MAX_PM, Mark, PrintingMap
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS

FIRMWARE = Path(__file__).parent.parent / "firmware"
ASIDE = ("board", "gc", "machine", "micropython", "rp2")


class Reset(BaseException):
    """The chip resets: nothing after this runs."""


class Chip:
    """What `main.py` did to it: `driven` are (gpio, level), `counts` what the state machine was to count."""

    def __init__(self) -> None:
        self.driven: list[tuple[int, int]] = []
        self.counts: list[int] = []
        self.running = False
        self.noted: list[BaseException] = []
        self.run = lambda pulse: None
        """What the box does once it is built, given the lamp's one-shot."""
        self.loads = True
        """What the box is built with can be loaded."""

    def modules(self) -> dict[str, types.ModuleType]:
        chip = self

        class Pin:
            OUT, ALT, ALT_PIO0, ALT_PIO1 = range(4)

            def __init__(self, gpio: int, mode: int, value: int) -> None:
                self.gpio = gpio
                self.init(mode, value)

            def init(self, mode: int, value: int | None = None, alt: int = 0) -> None:
                if value is not None:
                    chip.driven.append((self.gpio, value))

        class StateMachine:
            def __init__(self, number: int, program: object, **how: object) -> None:
                pass

            def active(self, on: int) -> None:
                chip.running = bool(on)

            def put(self, count: int) -> None:
                chip.counts.append(count)

            def get(self, buffer: None, shift: int) -> int:
                return 0

            def irq(self, handler: object, hard: bool) -> None:
                pass

            def restart(self) -> None:
                pass

            def exec(self, instruction: int) -> None:
                pass

        class Runner:
            def __init__(self, pulse: object, *others: object) -> None:
                self.pulse = pulse

            def run(self) -> None:
                chip.run(self.pulse)

        def reset() -> None:
            raise Reset

        def assembled(**how: object) -> object:
            return lambda program: program

        members = {
            "machine": {
                "Pin": Pin,
                "reset": reset,
                "mem32": defaultdict(int),
                "WDT": lambda timeout: types.SimpleNamespace(feed=lambda: None),
            },
            "micropython": {"const": int, "kbd_intr": lambda key: None, "schedule": lambda call, value: None},
            "rp2": {
                "asm_pio": assembled,
                "PIO": types.SimpleNamespace(OUT_LOW=0),
                "StateMachine": StateMachine,
            },
            "board.crash": {"note": chip.noted.append},
            "board.assembly": {"build": Runner, "longest_light_ms": bench.longest_light_ms},
            "gc": {"threshold": lambda size: None},
        }
        made = {}
        for name, inside in members.items():
            made[name] = types.ModuleType(name)
            vars(made[name]).update(inside)
        return made

    def start(self) -> None:
        """Run `main.py`, which may end in a Reset."""
        kept = {name: module for name, module in sys.modules.items() if name.split(".")[0] in ASIDE}
        for name in kept:
            del sys.modules[name]
        try:
            import board  # the package itself; its modules that touch nothing run as they are

            for name, module in self.modules().items():
                sys.modules[name] = module if self.loads or name != "board.assembly" else None
                if name.startswith("board."):
                    setattr(board, name.split(".")[1], module)
            runpy.run_path(str(FIRMWARE / "main.py"))
        finally:
            for name in [name for name in sys.modules if name.split(".")[0] in ASIDE]:
                del sys.modules[name]
            sys.modules.update(kept)


@pytest.fixture
def chip() -> Chip:
    return Chip()


# --- the ceiling


def ceiling_ms() -> int:
    """The longest light that the lamp's one-shot takes, found by trying."""
    chip = Chip()
    found = []

    def try_all(pulse) -> None:
        low, high = 1, 1 << 30
        while low < high:
            middle = (low + high + 1) // 2
            try:
                pulse.start(middle)
                low = middle
            except ValueError:
                high = middle - 1
            pulse.stop()
        found.append(low)

    chip.run = try_all
    chip.start()
    return found[0]


def lights_asked(values: dict, map: PrintingMap) -> list[int]:
    """Every light that a box with this bench asks for: the viewing light, then a whole print of `map`."""
    asked: list[int] = []

    class Noting(Watcher):
        def output(self, now_ms: int, kind: str, value: int) -> None:
            if kind == "light":
                asked.append(value)

    session = Session(MemoryDisk(), desk_platform())
    session.watchers.append(Noting())
    session.power_up()
    session.box.asked.set_bench({**values, "settle_ms": 0})
    session.advance(session.now_ms + 1000)  # power-up's own settling time
    session.box.work.take(map)
    session.input("lamp")
    session.advance(session.now_ms + 1_000_000)
    for _ in range(20):
        session.input("expose")
        session.advance(session.now_ms + 1_100_000)
    assert not session.box.lit
    return asked


def whole(base_ms: int, burn_stops120: int = 0, dry_down_pm: int = 0) -> PrintingMap:
    map = PrintingMap.new(base_ms, "", dry_down_pm)
    map.dry_down = dry_down_pm > 0
    if burn_stops120 > 0:
        map.add_mark(0, Mark("sky", burn_stops120))
    return map


def limits(key: str) -> tuple[int, int]:
    return setting(key)[4][:2]


LONGEST_LAG_MS = limits("lag_ms")[1]
LONGEST_VIEW_S = limits("viewing_limit_s")[1]
CEILING_MS = ceiling_ms()


@settings(max_examples=50)
@example(LONGEST_LAG_MS, LONGEST_VIEW_S, BASE_MAX_MS, 0, 0)
@example(LONGEST_LAG_MS, LONGEST_VIEW_S, BASE_MAX_MS, 120, 0)
@given(
    st.integers(*limits("lag_ms")),
    st.integers(*limits("viewing_limit_s")),
    st.integers(BASE_MIN_MS, BASE_MAX_MS),
    st.integers(0, 600),
    st.integers(0, DRY_DOWN_MAX_PM),
)
def test_nothing_that_the_core_asks_for_is_above_the_ceiling(lag_ms, view_s, base_ms, burn, dry_down_pm):
    asked = lights_asked({"lag_ms": lag_ms, "viewing_limit_s": view_s}, whole(base_ms, burn, dry_down_pm))
    assert asked[0] == 1000 * view_s
    assert max(asked) <= CEILING_MS


def test_the_ceiling_is_no_higher_than_the_longest_light():
    longest = lights_asked({"lag_ms": LONGEST_LAG_MS, "viewing_limit_s": LONGEST_VIEW_S}, whole(BASE_MAX_MS))
    assert max(longest) == CEILING_MS


@pytest.mark.parametrize(
    ("key", "high", "ceiling"), [("lag_ms", 9000, 1_008_900), ("viewing_limit_s", 1050, 1_050_000)]
)
def test_the_ceiling_follows_the_limits_of_the_core(monkeypatch, key, high, ceiling):
    former = f",{bench.setting(key)[4][1]},"
    changed = re.sub(rf"(?m)^({key}\|.*){former}", rf"\g<1>,{high},", bench.TABLE)
    monkeypatch.setattr(bench, "TABLE", changed)
    assert bench.setting(key)[4][1] == high
    assert ceiling_ms() == ceiling


def test_a_light_above_the_ceiling_is_refused_in_the_dark(chip):
    refused = []

    def ask(pulse) -> None:
        before = len(chip.driven)
        for ms in (CEILING_MS + 1, CEILING_MS * 2, 0, -1):
            with pytest.raises(ValueError, match=f"1 to {CEILING_MS} ms"):
                pulse.start(ms)
            refused.append((pulse.lit, pulse.owes, chip.running, list(chip.counts), chip.driven[before:]))
        pulse.start(CEILING_MS)
        assert pulse.lit
        assert chip.running

    chip.run = ask
    chip.start()
    assert refused == [(False, False, False, [], [])] * 4
    # In us, less what the program itself takes.
    assert chip.counts == [CEILING_MS * 1000 - 2]


# --- whatever fails


def is_dark(chip: Chip) -> bool:
    """No pin was ever driven high by name, and the state machine that may raise one stands still."""
    return not chip.running and {level for _, level in chip.driven} == {0}


def fail(pulse) -> None:
    pulse.start(5000)
    raise ValueError("injected")


def test_a_fault_under_light_puts_it_out_and_is_noted_before_the_restart(chip):
    chip.run = fail
    with pytest.raises(Reset):
        chip.start()
    assert len(chip.counts) == 1
    assert is_dark(chip)
    assert [str(fault) for fault in chip.noted] == ["injected"]


def test_a_core_that_does_not_load_leaves_it_dark_and_is_noted(chip):
    chip.loads = False
    with pytest.raises(Reset):
        chip.start()
    assert chip.counts == []
    assert is_dark(chip)
    assert [type(fault) for fault in chip.noted] == [ModuleNotFoundError]


def test_handed_over_under_light_it_goes_dark_and_does_not_restart(chip):
    chip.run = lambda pulse: pulse.start(5000)
    chip.start()
    assert is_dark(chip)
    assert chip.noted == []


@pytest.mark.parametrize("known", CHIPS, ids=[known.name for known in CHIPS])
def test_the_boards_registers_lie_where_the_table_of_chips_says(known, monkeypatch):
    machine = f"{known.board} with {known.name}"
    monkeypatch.setattr(sys, "implementation", types.SimpleNamespace(_machine=machine))
    at = runpy.run_path(str(FIRMWARE / "board" / "chip.py"))
    assert at["WATCHDOG_AT"] == known.watchdog_at
    # RP2040 data sheet, 4.7.6: SCRATCH0 is the fourth register; 2.1.2: 0x3000 on, written ones are cleared.
    assert [at[f"SCRATCH{number}_AT"] - known.watchdog_at for number in range(4)] == [12, 16, 20, 24]
    assert at["WATCHDOG_CLEAR_AT"] - known.watchdog_at == 0x3000


def test_both_relays_are_let_go_before_anything_that_may_fail(chip):
    chip.start()
    pins = runpy.run_path(str(FIRMWARE / "board" / "pins.py"))
    assert chip.driven[:2] == [(pins["LAMP"], 0), (pins["SAFELIGHT"], 0)]
