"""The whole box on an emulated Pico: the real firmware with its panel, keys, dial, cable and plug.

What must live here: what a hand, an eye and a PC can do to a box, and a probe into the firmware. It may
not know what the box should answer. Only `pico` knows the chip.

The probe is a line of Python given to UART 0, which the box does not use, by its registers: the
firmware's loop runs it between two turns, with `runner` at hand. Tests call things by the names they have in
the sources, and `on_board` makes of these the names that the board has. So one start-up serves many tests: a
scenario runs in a forked copy of the process (`forked`), and what it does to its box is gone with it.
"""

from __future__ import annotations

import ast
import os
import pickle
import re
import tomllib
import traceback
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from rp2040py.utils.fifo import FIFO

from lampblack.board.firmware_files import firmware_files, names_on_board
from lampblack.board.merged_groups import file_of
from lampblack.wire.box_client import BoxClient
from tests.display_chips import CHIPS
from tests.micropython import ROOT
from tests.rig.display import Display
from tests.rig.keys import Contact, Dial
from tests.rig.pico import MS, US, Pico, S, TimedOut

FIRMWARE = ROOT / "firmware"

PINS = {
    name: row["gpio"] for name, row in tomllib.loads((ROOT / "hardware" / "pins.toml").read_text()).items()
}
LAMP = PINS["lamp"]
ARM = PINS["arm"]
SAFELIGHT = PINS["safelight"]

KEYS = {
    "expose": PINS["expose"],
    "pedal": PINS["pedal"],
    "lamp": PINS["lamp_key"],
    "back": PINS["back"],
    "press": PINS["dial_press"],
}
"""The box's event for each key, and its pin."""

FUNCTION_PWM = 4
"""RP2040 data sheet, table 279: what a pin is given to."""

BOUNCE_NS = 5 * MS

TOLD_S = 1_795_000_000
"""What the PC's clock says when the chip's says 0, in s since 1970: 2026-11-18."""

PROBE = """
import micropython
def _probed():
    from board import assembly
    from machine import mem32
    from micropython import const
    data = const(0x40034000)
    flags = const(0x40034018)
    plain = assembly.build
    @micropython.viper
    def send(text):
        place = ptr32(0x40034000)
        bytes_of = ptr8(text)
        for at in range(int(len(text))):
            place[0] = bytes_of[at]
    def say(*words):
        send(" ".join([str(word) for word in words]).encode() + b"\\n")
    space = {"say": say, "make_display": assembly.Display.__init__}
    def build(*parts):
        dog = parts[-1]
        space["runner"] = runner = plain(*parts)
        feed = dog.feed
        def look():
            feed()
            if not mem32[flags] & 16:
                line = bytearray()
                while not line.endswith(b"\\n"):
                    line.append(mem32[data] & 255)
                exec(str(line, "utf-8"), space)
        dog.feed = look
        return runner
    assembly.build = build
_probed()
"""


firmware = cache(firmware_files)
"""What `lampblack install` puts on a board, compiled once."""


class _OnBoard(ast.NodeTransformer):
    """Changes what belongs to the firmware, and leaves names that a test makes for itself."""

    def __init__(self) -> None:
        self._borrowed = names_on_board().borrowed

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:
        node.attr = self._borrowed.get(node.attr, node.attr)
        return self.generic_visit(node)

    def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.AST:
        node.module = file_of(node.module or "")
        node.names = [
            ast.alias(self._borrowed.get(name.name, name.name), name.asname or name.name)
            for name in node.names
        ]
        return node


def on_board(text: str) -> str:
    """A program for the firmware's insides, in the names that they have on a board."""
    return ast.unparse(_OnBoard().visit(ast.parse(text)))


class PicoBox:
    """A box whose plug is in. `start` False leaves it to the caller to apply power.

    `probe` puts the probe before `main.py`; `before` is more text to put there. `display` is the one that is
    plugged in; what the firmware takes it for is among the `files`.
    """

    def __init__(
        self,
        uf2: Path,
        *,
        probe: bool = False,
        before: str = "",
        files: Mapping[str, bytes] | None = None,
        watch: Iterable[int] = (LAMP, SAFELIGHT, ARM),
        start: bool = True,
        display: str = "ssd1306",
    ) -> None:
        chip = CHIPS[display]()
        main = on_board((PROBE if probe else "") + before) + "\n" + firmware()["main.py"].decode()
        self.pico = Pico(uf2, firmware() | {"main.py": main.encode()} | dict(files or {}), watch)
        self.panel = Display(self.pico, chip=chip)
        self._contacts = {name: Contact(self.pico, pin, BOUNCE_NS, seed=1) for name, pin in KEYS.items()}
        self._dial = Dial(self.pico, PINS["dial_a"], PINS["dial_b"], MS // 2)
        for pin in (*KEYS.values(), PINS["dial_a"], PINS["dial_b"]):
            self.pico.set_level(pin, 1)
        self.said = bytearray()
        self.pico.mcu.uart[0].on_byte = self._hear
        # All of a line is there when the firmware looks.
        self.pico.mcu.uart[0].rx_fifo = FIFO(4096)
        self._client: BoxClient | None = None
        if start:
            self.pico.start()

    # --- time

    @property
    def now_ns(self) -> int:
        return self.pico.now_ns

    def run_ms(self, ms: float) -> None:
        self.pico.run_for(round(ms * MS))

    def wait_for_panel(self, within_ms: int = 3000) -> int:
        """Run until the display is lit and a whole frame has been written since the last reset; returns
        the ms since that reset."""
        start_ns = self.pico.resets[-1].ns
        bytes_before = self.panel.bytes

        def drawn() -> bool:
            return self.panel.lit and self.panel.bytes - bytes_before >= 1024

        self.pico.run_until(drawn, within_ms * MS)
        return (self.now_ns - start_ns) // MS

    def wait_for_rest(self) -> None:
        """Wait until a box that has just started has read its shelf and made its folders, if need be."""
        self.run_ms(2000)

    def wait_lamp(self, level: int, within_ms: int = 20_000) -> int:
        """Run until the lamp's pin is at `level`; returns when that came about, in ns."""
        self.pico.run_until(lambda: self.pico.level(LAMP) == level, within_ms * MS)
        edges = self.pico.edges_of(LAMP)
        return edges[-1].ns if edges else 0

    def refit(self, kind: str) -> None:
        """Put another display in while the box runs, and have the firmware know it as if from the start."""
        chip = CHIPS[kind]()
        self.panel.chip = chip
        self.do(
            "from machine import PWM, Pin\n"
            "d = runner._display\n"
            f"lights = {kind!r} == 'st7567'\n"
            f"light = PWM(Pin({PINS['backlight']}), freq=1000, duty_u16=0) if lights else None\n"
            f"make_display(d, d._i2c, d._frame, {kind!r}, {chip.FIRST}, light)\n"
            "d.level(runner.box.bench.get('brightness'))"
        )

    def backlight(self) -> float:
        """The share of the time that the backlight is lit for, 0 to 1; 0 too if its pin is left alone."""
        gpio, channel = PINS["backlight"], self.pico.mcu.pwm.channels[PINS["backlight"] >> 1 & 7]
        if self.pico.mcu.gpio[gpio].function_select != FUNCTION_PWM or not channel.timer.enable:
            return 0.0
        return (channel.cc >> 16 * (gpio & 1) & 0xFFFF) / (channel.top + 1)

    # --- hands

    def press(self, name: str, at_ns: int | None = None, held_ms: float = 60) -> int:
        """Press a key now, or at a time still to come; returns the time of its first edge."""
        at_ns = self.now_ns + US if at_ns is None else at_ns
        self._contacts[name].press(at_ns, round(held_ms * MS))
        return at_ns

    def turn(self, detents: int, per_s: float = 20) -> None:
        """Turn the dial, and wait until it rests."""
        self.pico.run_for(self._dial.turn(self.now_ns + US, detents, per_s) - self.now_ns)

    # --- cable

    @property
    def client(self) -> BoxClient:
        """The PC's own tool on the box's cable; opened when first asked for."""
        if self._client is None:
            self._client = BoxClient(
                "emulated",
                transport=_Port(self.pico),
                clock=lambda: self.now_ns / S,
                wall_clock=lambda: TOLD_S + self.now_ns / S,
            )
        return self._client

    def deafen(self) -> None:
        """From now on the PC takes no more bytes, though its port stays open."""
        usb = self.pico.mcu.usb_ctrl
        stock = usb.dpram_updated
        # RP2040 data sheet, 4.1.2.7.1: a word for IN and one for OUT, 0 being for control.
        usb.dpram_updated = lambda at, value: None if 0x88 <= at < 0x100 and at % 8 == 0 else stock(at, value)

    # --- probe

    def do(self, text: str, wait_ms: int = 40) -> None:
        """Have the firmware's loop run some Python, and let the loop come to it."""
        text = on_board(text)
        text = text if "\n" not in text else f"exec({text!r})"
        for byte in (text + "\n").encode():
            self.pico.mcu.uart[0].feed_byte(byte)
        self.run_ms(wait_ms)

    def ask(self, expression: str, within_ms: int = 2000) -> str:
        """What an expression in the firmware's loop comes to, as text."""
        start = len(self.said)
        answer = re.compile(rb"^= (.*)\n", re.MULTILINE)
        self.do(f"say('=', {expression})", wait_ms=0)
        self.pico.run_until(lambda: answer.search(self.said, start) is not None, within_ms * MS)
        found = answer.search(self.said, start)
        return found.group(1).decode() if found else ""

    def _hear(self, byte: int) -> None:
        self.said.append(byte)
        if byte == 10:
            self.pico.look()

    # --- copies

    def forked(self, scenario: Callable[[PicoBox], Any]) -> Any:
        """What `scenario` returns, run on a copy of this box; AssertionError, with its words, if it fails."""
        return begin(lambda: scenario(self))()


def begin(work: Callable[[], Any]) -> Callable[[], Any]:
    """Start `work` in a forked copy of this process; returns what waits for its result."""
    end, start = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(end)
        try:
            outcome = (True, work())
        except BaseException:
            outcome = (False, traceback.format_exc())
        with os.fdopen(start, "wb") as pipe:
            pickle.dump(outcome, pipe)
        os._exit(0)
    os.close(start)

    def wait() -> Any:
        with os.fdopen(end, "rb") as pipe:
            data = pipe.read()
        os.waitpid(child, 0)
        assert data, "the copy ended without a word"
        well, result = pickle.loads(data)
        assert well, result
        return result

    return wait


class _Port:
    """The cable as pyserial has it."""

    SLICE_NS = 50 * MS

    def __init__(self, pico: Pico) -> None:
        self._pico = pico
        self._read = len(pico.usb.received)

    @property
    def in_waiting(self) -> int:
        return len(self._pico.usb.received) - self._read

    def read(self, size: int) -> bytes:
        if not self.in_waiting:
            try:
                self._pico.run_until(lambda: self.in_waiting > 0, self.SLICE_NS)
            except TimedOut:
                return b""
        data = bytes(self._pico.usb.received[self._read : self._read + size])
        self._read += len(data)
        return data

    def write(self, data: bytes) -> None:
        self._pico.usb.send(data)

    def close(self) -> None:
        pass
