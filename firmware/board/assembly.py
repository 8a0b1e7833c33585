"""The box with its parts on a Pico: which adapter is on which pin.

Loading all of it takes two thirds of the memory. It is collected often meanwhile, or what is kept would be
strewn over all of the rest; and what was only needed to build the box is let go.
"""

# ruff: noqa: E402

import gc

gc.threshold(60000)

import binascii
import hashlib
import json
import sys
from io import BytesIO

from deflate import RAW, DeflateIO
from framebuf import FrameBuffer
from machine import I2C, PWM, Pin, unique_id
from micropython import const

from board import crash, health, pins
from board.display import Display
from board.flash import FlashDisk
from board.inputs import Inputs
from board.piezo import Piezo
from board.pulse import Pulse
from board.runner import Runner
from board.scratch import Survivor
from board.watchdog import Dog
from board.wire import Wire
from timing_core.box import Box
from timing_core.panel import rows as sheets
from timing_core.panel.drawing import Screen
from timing_core.platform import Kit
from timing_core.records.store import Store
from timing_core.wire.methods import WINDOW_BITS

_PANEL_MS = const(100)

_I2C_TIMEOUT_US = const(3000)
"""A piece of the picture takes 1 ms. A key must not wait the usual 50 ms for a bus that hangs."""


_TABLE_SIZES = const((97, 127, 167, 223, 293))
"""Of MicroPython's tables of names that are large (py/map.c)."""


def build(pulse: Pulse, safelight: Pin, survivor: Survivor, dog: Dog) -> Runner:
    """A Runner ready to run. `pulse` has the lamp's pin, `safelight` is a Pin."""
    kit = Kit(FrameBuffer, json.loads, binascii.crc32, hashlib.sha256, _unpacked, json.load)
    _make_room(Box)
    inputs = Inputs()
    disk = FlashDisk(lambda: pulse.lit, dog.feed, inputs.mask)
    box = Box(Store(disk, kit.crc32), kit, _PANEL_MS)
    box.crash_lines = crash.lines
    box.identity = binascii.hexlify(unique_id()).decode()
    gc.collect()
    screen = Screen(box, kit)
    # The box goes by the table as it has bound it, and the font has its own glyphs: the text of both is 9 KB.
    for group, name in (("timing_core.machine", "transitions"), ("timing_core.panel", "glyphs")):
        del sys.modules[group + "." + name]
        delattr(sys.modules[group], name)
    gc.collect()
    i2c = I2C(0, sda=Pin(pins.DISPLAY_SDA), scl=Pin(pins.DISPLAY_SCL), freq=400000, timeout=_I2C_TIMEOUT_US)
    display = Display(i2c, screen.buffer)
    box.health = lambda: health.told(box, display, survivor)
    piezo = Piezo(PWM(Pin(pins.PIEZO)))
    wire = Wire()
    runner = Runner(box, screen, pulse, safelight, inputs, display, piezo, wire, disk, dog, survivor)
    box.undisturbed = runner.undisturbed
    inputs.wake = runner.wake
    inputs.add_key("expose", pins.EXPOSE)
    inputs.add_key("pedal", pins.PEDAL)
    inputs.add_key("lamp", pins.LAMP_KEY)
    inputs.add_key("back", pins.BACK, runner.put_out)
    inputs.add_key("press", pins.DIAL_PRESS)
    inputs.add_dial(pins.DIAL_A, pins.DIAL_B)
    gc.collect()
    gc.threshold(-1)
    return runner


def _make_room(kind) -> None:
    """Leave a fifth of a class's table of names empty, at least.

    To set an attribute of an object MicroPython first looks for that name in the class, where it is not: in a
    table without room it looks through all of it. A full one made EXPOSE twice as slow. A table grows when it
    overflows, and does not shrink. The names are those of another module, in memory anyway.
    """
    used = len(kind.__dict__)
    size = min([size for size in _TABLE_SIZES if size >= used])
    if 5 * (size - used) < size:
        spare = [name for name in dir(sheets) if not hasattr(kind, name)][: size - used + 1]
        for name in spare:
            setattr(kind, name, None)
        for name in spare:
            delattr(kind, name)


def _unpacked(text: str) -> DeflateIO:
    packed = BytesIO(binascii.a2b_base64(text))  # type: ignore[abstract]  # the stubs take it for an abstract class
    return DeflateIO(packed, RAW, WINDOW_BITS)
