"""The box with its parts on a Pico: which adapter is on which pin.

Loading all of it takes more than half of the memory; what was only needed to build the box is let go.
"""

import binascii
import gc
import hashlib
import json
import sys
from io import BytesIO

from deflate import RAW, DeflateIO
from framebuf import FrameBuffer
from machine import I2C, PWM, Pin, unique_id
from micropython import const

from board import crash, pins
from board.display import LCD, Display
from board.flash import FlashDisk
from board.health import health_of
from board.inputs import Inputs
from board.piezo import Piezo
from board.pulse import Pulse
from board.read_backs import ReadBacks
from board.runner import Runner
from board.scratch import Survivor
from board.watchdog import Dog
from board.wire import Wire
from timing_core.box import Box
from timing_core.light.bench import longest_light_ms as longest_light_ms
from timing_core.panel.drawing import Drawing
from timing_core.platform import Platform
from timing_core.records.store import Store
from timing_core.wire.framing import WINDOW_BITS

_PANEL_MS = const(100)

_I2C_TIMEOUT_US = const(3000)
"""A piece of the picture takes 1 ms. A key must not wait the usual 50 ms for a bus that hangs."""

_BACKLIGHT_HZ = const(1000)
"""Too quick for the eye to see it flicker, also where something moves."""

_FOR_BUILDING = (
    ("timing_core.machine", "transitions"),
    ("timing_core.panel", "glyphs"),
    ("timing_core.box", "WHEN"),
    ("timing_core.box", "DO"),
)
"""Modules, and tables of them, that only building the box has need of."""

_FOR_STARTING = (("timing_core.machine", "recovery"), ("timing_core.panel", "tests_screen"))
"""And what only its power-up has need of: the second where a guided test was cut off."""


def build(pulse: Pulse, safelight: Pin, arm: Pin, survivor: Survivor, dog: Dog) -> Runner:
    """A Runner that is started, ready to run. `pulse` has the lamp's pin; `safelight` and `arm` are Pins."""
    platform = Platform(FrameBuffer, json.loads, binascii.crc32, hashlib.sha256, _unpacked, json.load)
    inputs = Inputs()
    disk = FlashDisk(lambda: pulse.lit, dog.feed, inputs.mask)
    box = Box(Store(disk, platform.crc32), platform, _PANEL_MS)
    box.crash_lines = crash.lines
    box.identity = binascii.hexlify(unique_id()).decode()
    screen = Drawing(box, platform)
    # The machine goes by the table as it has bound it, and the letters have their own glyphs: the text and
    # the names of these are 11 KB.
    _let_go(_FOR_BUILDING)
    i2c = I2C(0, sda=Pin(pins.DISPLAY_SDA), scl=Pin(pins.DISPLAY_SCL), freq=400000, timeout=_I2C_TIMEOUT_US)
    fitted = box.watch.fitted.in_force
    kind = fitted["display"]
    backlight = PWM(Pin(pins.BACKLIGHT), freq=_BACKLIGHT_HZ, duty_u16=0) if kind == LCD else None
    display = Display(i2c, screen.buffer, kind, fitted["column_offset"], backlight)
    box.health = lambda: health_of(box, display, survivor)
    box.acceptance.contacts = inputs.contacts
    piezo = Piezo(PWM(Pin(pins.PIEZO)))
    wire = Wire()
    backs = ReadBacks(box.watch, inputs, arm, pulse)
    runner = Runner(box, screen, pulse, safelight, backs, inputs, display, piezo, wire, disk, dog, survivor)
    runner.cell_for = _cell_for
    box.io.undisturbed = runner.undisturbed
    box.panel.let_go = _let_go_of_screen
    box.papers.let_go = _let_go_of_record
    box.sequences.let_go = _let_go_of_sequence
    inputs.wake = runner.wake
    inputs.add_key("expose", pins.EXPOSE)
    inputs.add_key("pedal", pins.PEDAL)
    inputs.add_key("lamp", pins.LAMP_KEY)
    inputs.add_key("back", pins.BACK, runner.put_out)
    inputs.add_key("press", pins.DIAL_PRESS)
    inputs.add_dial(pins.DIAL_A, pins.DIAL_B)
    runner.start()
    _let_go(_FOR_STARTING)
    _is_made(runner, pulse, survivor, disk, inputs, wire, piezo, backs, screen, screen.pen, box, box.store)
    _is_made(
        box.io, box.clock, box.work, box.shelf, box.ledger, box.journal, box.findings, box.fitted, box.watch
    )
    _is_made(box.lamp, box.lamp.strike, box.exposing, box.run, box.exposing.cues, box.machine)
    _is_made(box.trays, *box.trays.sheets)
    _is_made(box.asked, box.link, box.acceptance, display)
    _is_made(box.panel, box.panel.kept, box.panel.kept.undo, box.panel.cursor, *box.panel.screens)
    for part, name in (
        (box, "_read_kept"),
        (box.machine, "_bind"),
        (box.bench, "take_kept"),
        (box.watch, "start"),
        (box.findings, "told"),
        (box.findings, "told_of_run"),
        (inputs, "add_key"),
        (inputs, "add_dial"),
        (backs, "_listen"),
        (runner, "start"),
    ):
        setattr(type(part), name, None)
    gc.collect()
    gc.threshold(-1)
    return runner


def _let_go(names) -> None:
    for group, name in names:
        sys.modules.pop(group + "." + name, None)
        if hasattr(sys.modules[group], name):
            delattr(sys.modules[group], name)


def _let_go_of_screen(module: str) -> None:
    _let_go((("timing_core.panel", module),))


def _cell_for(cell, range: int):
    """A light cell that reads in this range; None where none is to, or its file cannot be loaded."""
    if not range:
        if cell:
            cell.rest()
        return None
    if not cell:
        try:
            from board.light_cell import LightCell

            cell = LightCell()
        except (ImportError, OSError, ValueError, MemoryError):
            return None
        _let_go((("board", "light_cell"),))
    cell.ask(range)
    return cell


def _let_go_of_record() -> None:
    _let_go((("timing_core.light", "paper_record"),))


def _let_go_of_sequence() -> None:
    """What reads one is a part of the Trays screen."""
    _let_go_of_screen("trays_screen")


def _unpacked(text: str) -> DeflateIO:
    packed = BytesIO(binascii.a2b_base64(text))  # type: ignore[abstract]  # the stubs take it for an abstract class
    return DeflateIO(packed, RAW, WINDOW_BITS)


def _is_made(*parts) -> None:
    """Let go of how these are made: there is one of each in the life of a box."""
    for part in parts:
        type(part).__init__ = None
