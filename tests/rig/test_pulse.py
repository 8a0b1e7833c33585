"""The lamp's one-shot on an emulated Pico: how long the pin is high, measured at the pin.

`lamp_times.py` measures the same for every length, load and phase, beside other ways to do it.
"""

from __future__ import annotations

import pytest

from tests.micropython import ROOT
from tests.rig.image import compile_module
from tests.rig.lamp_times import LOADS, errors_ns
from tests.rig.pico import MS, US, S

LAMP = 6
WITHIN_NS = 50 * US

START = """
import gc, machine, micropython, time
from machine import Pin
from pulse import Pulse
time.sleep_ms(60)
ended = []
lamp = Pulse(6, SM, 20000)
lamp.on_end = ended.append
"""


@pytest.fixture
def with_lamp(boot):
    """`with_lamp(program, sm=0)`: a Pico whose program goes on from a Pulse called `lamp`."""
    source = ROOT / "firmware" / "board" / "pulse.py"

    def made(program: str, sm: int = 0):
        files = {"pulse.mpy": compile_module(source, source.name)}
        return boot(START.replace("SM", str(sm)) + program, files, watch=[LAMP])

    return made


@pytest.mark.parametrize("load", LOADS)
def test_lamp_time_is_what_was_commanded_whatever_the_processor_does(uf2, load):
    cases = [("pulse", load, 50, phase) for phase in range(2)] + [("pulse", load, 250, 0)]
    if load == "none":
        cases += [("pulse", load, ms, phase) for ms in (50, 1000) for phase in (2, 3)]
        cases += [("pulse", load, 16000, 0)]
    errors = errors_ns(uf2, cases)
    print(f"{load}: errors of {len(errors)} pulses from {min(errors)} to {max(errors)} ns")
    assert max(abs(error) for error in errors) <= WITHIN_NS


def test_the_pin_is_low_from_the_start_and_between_pulses(with_lamp):
    pico = with_lamp(
        "print('ready', lamp.lit)\n"
        "lamp.start(20)\n"
        "print('lit', lamp.lit)\n"
        "time.sleep_ms(60)\n"
        "print('ended', ended, lamp.lit, lamp.given_us, lamp.stop())\n",
        sm=5,
    )
    assert pico.wait_for("lit", S).split()[1] == "True"
    assert pico.wait_for("ended", S).split(None, 1)[1].strip() == "[20] False 20000 0"
    assert pico.high_times_ns(LAMP) == [20 * MS]
    # Plain output, low: the pin no longer follows the state machine.
    assert pico.mcu.gpio[LAMP].function_select == 5
    assert pico.level(LAMP) == 0


def test_stopped_early_it_goes_dark_at_once_and_tells_what_was_given(with_lamp):
    pico = with_lamp(
        "print('ready')\n"
        "for ms in (1, 7, 33, 120, 299):\n"
        "    lamp.start(300)\n"
        "    time.sleep_ms(ms)\n"
        "    given_ms = lamp.stop()\n"
        "    print('given', given_ms, lamp.given_us, lamp.lit, lamp.stop())\n"
        "    time.sleep_ms(5)\n"
        "print('ended', ended)\n"
    )
    told = [pico.wait_for("given", S).split() for _ in range(5)]
    measured_us = [high / 1000 for high in pico.high_times_ns(LAMP)]
    for (_, ms, us, lit, again), high_us in zip(told, measured_us, strict=True):
        print(f"told {us} us, measured {high_us:.1f} us")
        assert int(us) == pytest.approx(high_us, abs=20)
        assert int(ms) == int(us) // 1000
        assert (lit, again) == ("False", "0")
    assert pico.wait_for("ended", S).split(None, 1)[1].strip() == "[]", "a pulse is reported once"


def test_stopped_just_as_it_ends_it_is_reported_once_and_whole(with_lamp):
    pico = with_lamp(
        "print('ready')\n"
        "given = []\n"
        "for wait_us in range(9600, 10200, 12):\n"
        "    lamp.start(10)\n"
        "    time.sleep_us(wait_us)\n"
        "    ms = lamp.stop()\n"
        "    time.sleep_ms(1)\n"
        "    given.append((ms, lamp.given_us, len(ended)))\n"
        "    ended.clear()\n"
        "print('all', given)\n"
    )
    given = eval(pico.wait_for("all", 3 * S).split(None, 1)[1])
    measured_us = [high / 1000 for high in pico.high_times_ns(LAMP)]
    kinds = set()
    for (ms, us, ends), high_us in zip(given, measured_us, strict=True):
        assert us == pytest.approx(high_us, abs=20)
        # Either the stop or the end reports it; both together would count the light twice.
        assert (ms == us // 1000 and ends == 0) or (ms == 0 and ends == 1 and us == 10_000)
        kinds.add((ms, ends))
    assert len(kinds) > 1, "the stops fell on both sides of the end"


def test_stopped_inside_an_interrupt_with_all_others_held_back(with_lamp):
    pico = with_lamp(
        "key = Pin(2, Pin.IN, Pin.PULL_UP)\n"
        "given = 0\n"
        "def press(_):\n"
        "    global given\n"
        "    given = lamp.stop()\n"
        "key.irq(press, Pin.IRQ_FALLING, hard=True)\n"
        "print('ready')\n"
        "lamp.start(200)\n"
        "time.sleep_ms(300)\n"
        "print('given', given, ended)\n"
        # Masked, its end goes unnoticed until after the stop.
        "lamp.start(5)\n"
        "masked = machine.disable_irq()\n"
        "began = time.ticks_us()\n"
        "while time.ticks_diff(time.ticks_us(), began) < 6000:\n"
        "    pass\n"
        "unseen = lamp.lit\n"
        "micropython.heap_lock()\n"
        "given = lamp.stop()\n"
        "micropython.heap_unlock()\n"
        "machine.enable_irq(masked)\n"
        "time.sleep_ms(2)\n"
        "print('masked', unseen, given, lamp.lit, ended)\n"
    )
    pressed_ns = pico.now_ns + 40 * MS
    pico.at(pressed_ns, lambda: pico.set_level(2, 0))
    told = pico.wait_for("given", S).split()
    rise, fall = pico.edges_of(LAMP)
    print(f"edge of the key to dark: {(fall.ns - pressed_ns) / 1000:.1f} us")
    assert 0 < fall.ns - pressed_ns < MS
    assert told[1:] == [str((fall.ns - rise.ns) // MS), "[]"]
    assert pico.wait_for("masked", S).split(None, 1)[1].strip() == "True 5 False []"
    assert pico.high_times_ns(LAMP)[1] == 5 * MS


def test_nothing_lights_it_above_the_ceiling_or_while_lit_or_by_a_stray_word(with_lamp):
    pico = with_lamp(
        "print('ready')\n"
        "for ms in (0, -1, 20001, 1 << 31):\n"
        "    try:\n"
        "        lamp.start(ms)\n"
        "    except ValueError as error:\n"
        "        print('refused', error)\n"
        "for ceiling in (0, 1073742):\n"
        "    try:\n"
        "        Pulse(7, 1, ceiling)\n"
        "    except ValueError as error:\n"
        "        print('refused', error)\n"
        "lamp.start(20)\n"
        "try:\n"
        "    lamp.start(10)\n"
        "except RuntimeError as error:\n"
        "    print('refused', error)\n"
        "time.sleep_ms(40)\n"
        "for word in (1, 1000, 0x3fffffff):\n"
        "    lamp._machine.put(word)\n"
        "time.sleep_ms(40)\n"
        "print('over')\n"
    )
    said = pico.wait_for("over", S)
    assert said.count("refused") == 7
    assert pico.high_times_ns(LAMP) == [20 * MS]
    assert pico.level(LAMP) == 0


def test_start_and_stop_take_nothing_from_the_heap(with_lamp):
    pico = with_lamp(
        "gc.collect()\n"
        "print('ready')\n"
        "lamp.on_end = lambda ms: None\n"
        "ms = 0\n"
        "micropython.heap_lock()\n"
        "lamp.start(5)\n"
        "time.sleep_ms(8)\n"
        "lamp.start(20000)\n"
        "time.sleep_ms(3)\n"
        "ms = lamp.stop()\n"
        "micropython.heap_unlock()\n"
        "print('whole', ms)\n"
    )
    assert pico.wait_for("whole", S).split()[1] == "3"


def test_an_exception_does_not_prolong_it(with_lamp):
    pico = with_lamp("print('ready')\nlamp.start(50)\n1 / 0\n")
    pico.run_until(lambda: b">>>" in pico.usb.received, S)
    pico.run_for(100 * MS)
    assert b"ZeroDivisionError" in pico.usb.received
    assert pico.high_times_ns(LAMP) == [50 * MS]


@pytest.mark.parametrize("cause", ["run pin", "power", "watchdog", "machine.reset"])
def test_a_reset_in_mid_pulse_drops_the_pin(with_lamp, cause):
    hang = {"watchdog": "machine.WDT(timeout=30)\n", "machine.reset": "time.sleep_ms(30)\nmachine.reset()\n"}
    pico = with_lamp(
        "print('ready')\ntime.sleep_ms(5)\nlamp.start(5000)\n" + hang.get(cause, "") + "time.sleep(9)\n"
    )
    pico.run_for(20 * MS)
    assert pico.level(LAMP) == 1
    if cause == "run pin":
        pico.reset()
    elif cause == "power":
        pico.power_cycle()
    else:
        pico.run_until(lambda: len(pico.resets) == 2, S)
    fall = pico.edges_of(LAMP)[-1]
    assert fall.level == 0
    assert fall.ns <= pico.resets[1].ns
    assert pico.level(LAMP) == 0
    # It stays dark through the boot, until the program lights it anew.
    pico.run_for(50 * MS)
    assert pico.edges_of(LAMP)[-1] == fall
