"""An emulated Pico on a cable, as pyserial gives one, for the commands that open a port themselves.

The chip runs while the PC waits, and only then; whatever waits on the PC goes by the chip's time.
"""

from __future__ import annotations

import contextlib
import types

import pytest
from mpremote import transport_serial

from lampblack.board import board_prompt as prompt
from lampblack.board import doctor
from lampblack.wire import box_client
from tests.rig.pico import Pico, S, TimedOut


class Cable:
    """The port, at any address. `clock` and `sleep` are the chip's time, in seconds."""

    def __init__(self, pico: Pico, monkeypatch: pytest.MonkeyPatch) -> None:
        self.pico = pico
        self._read = 0
        self.timeout = 0.0
        self.rts = self.dtr = True
        for module in (box_client, doctor, prompt):
            monkeypatch.setattr(module, "open_port", self._open)
        chip_time = types.SimpleNamespace(monotonic=self.clock, sleep=self.sleep)
        monkeypatch.setattr(transport_serial, "time", chip_time)

    def _open(self, url: str, timeout_s: float = 0) -> Cable:
        self._read = len(self.pico.usb.received)
        self.timeout = 0.05
        return self

    def close(self) -> None:
        pass

    def clock(self) -> float:
        return self.pico.now_ns / S

    def sleep(self, seconds: float) -> None:
        self.pico.run_for(round(seconds * S))

    @property
    def in_waiting(self) -> int:
        return len(self.pico.usb.received) - self._read

    def inWaiting(self) -> int:
        return self.in_waiting

    def read(self, size: int = 1) -> bytes:
        with contextlib.suppress(TimedOut):
            self.pico.run_until(lambda: self.in_waiting >= size, round(self.timeout * S))
        data = bytes(self.pico.usb.received[self._read : self._read + size])
        self._read += len(data)
        return data

    def write(self, data: bytes) -> int:
        self.pico.usb.send(data)
        return len(data)
