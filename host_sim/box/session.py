"""A box with nothing attached, on a virtual clock.

What must live here: the clock, the lamp that counts its own time, the performing of outputs, and
the trace. It runs on CPython and MicroPython alike, so that both can play one script and be
compared byte for byte. Time is an integer count of ms since the session began; the box is given
the same count wrapped at 2**30 and offset, as a board's ticks would be.
"""

from host_sim.box.circuit import Circuit
from host_sim.box.platform import collect
from timing_core.box import Box
from timing_core.canonical import encode
from timing_core.panel.drawing import Drawing
from timing_core.platform import Platform
from timing_core.records.store import Store
from timing_core.ticks import MASK, since

SIMULATOR = "simulator"
"""What a box that runs on no board gives for its board, and for its identity unless it is given one."""

LATENCY_MS = 3
"""How long a board takes from a press to the lamp's pin: 2.9 ms is the median on the emulated one
(docs/measurements.md)."""

DAY_MS = 86400 * 1000


class Lamp:
    """The lamp's own timer: once lit it goes out by itself, whatever the box does."""

    def __init__(self) -> None:
        self.lit_ms = 0
        self.ends_ms = -1

    @property
    def lit(self) -> bool:
        return self.ends_ms >= 0


class Watcher:
    """Told of everything that happens in a session. Subclass and override what you need."""

    def lamp(self, now_ms: int, on: bool) -> None:
        """The lamp pin changed."""

    def input(self, now_ms: int, event: str, value) -> None:
        """The box is about to be given an input."""

    def output(self, now_ms: int, kind: str, value) -> None:
        """The box asked for something."""

    def reset(self, now_ms: int) -> None:
        """The plug was pulled and put back: a new box on the old store."""


CONVERSION_MS = {1: 600, 2: 600, 3: 202}
"""How long the light cell takes for one, by its range (see `machine.light_cell` and `machine.cell_doses`)."""
GONE = -2
"""Given for a conversion of a cell that does not answer, as `machine.light_cell` has it, which a board loads
with its screen alone."""
_RETRY_MS = 500
"""How often that is tried again."""


class Session:
    """A box, its lamp and a clock.

    `disk` keeps what the box keeps (see `timing_core.records.store`). `panel_ms` is the picture rate of a
    lit panel, 0 for no panel. `ticks_ms` is the box's tick count at the session's start. `latency_ms` is how
    long it takes to put the lamp out. `identity` is the box's own. `undrawn` is told of a fault in drawing.
    `read_cell(range, from_ms, to_ms)` gives a conversion of the light cell (see `machine.light_cell`).
    """

    def __init__(
        self,
        disk,
        platform: Platform,
        panel_ms: int = 0,
        ticks_ms: int = 0,
        latency_ms: int = 0,
        identity: str = SIMULATOR,
    ) -> None:
        self.disk = disk
        self.platform = platform
        self.panel_ms = panel_ms
        self.ticks_ms = ticks_ms
        self.latency_ms = latency_ms
        self.identity = identity
        self._told_ms = 0
        self.now_ms = 0
        self._cut_off_ms = -1
        self.lamp = Lamp()
        self.circuit = Circuit()
        self.watchers: list[Watcher] = []
        self.send = _nowhere
        self.undrawn = _left_out
        self.read_cell = _no_cell
        self._cell_range = 0
        self._cell_ms = -1
        self.handed_over = False
        self.box = self._new_box()
        self.screen = Drawing(self.box, self.platform)
        self._drawn = False

    def _new_box(self) -> Box:
        box = Box(Store(self.disk, self.platform.crc32), self.platform, self.panel_ms)
        box.health = _simulated
        box.identity = self.identity
        self._watch = box.watch
        return box

    def power_up(self, known_ms: int = 0) -> None:
        self.handed_over = False
        self._tell_circuit()
        self.input("power_up", known_ms)
        if self.box.read_up():
            self.input("wire")

    def reset(self, known_ms: int = 0) -> None:
        """Pull the plug and put it back: the pin falls, and only what was kept is left.

        `known_ms` is light of the stage under way that a board's registers would have kept; 0 for none.
        """
        if self.lamp.lit:
            self._lamp_off()
        self.circuit.arm = False
        self._cell_ms = -1
        for watcher in self.watchers:
            watcher.reset(self.now_ms)
        # A small heap has no room for two boxes, nor always for a second frame; and as a board begins with an
        # empty one, the new box does not have to fit between the remains of the old.
        self._watch = self.box = self.screen.box = None  # type: ignore[assignment]
        collect()
        self.box = self._new_box()
        self.screen.show(self.box)
        self.power_up(known_ms)

    def input(self, event: str, value=0) -> None:
        """Give the box one input now, and perform what it asks for."""
        if event == "line":
            self._tell_circuit()  # what is read of the cut-off is what it has counted by now
        watchers = self.watchers
        while True:
            for watcher in watchers:
                watcher.input(self.now_ms, event, value)
            out = self.box.handle(event, (self.now_ms + self.ticks_ms) & MASK, value)
            self._told_ms = self.now_ms
            self._drawn = False
            stopped = -1
            for index in range(out.count):
                kind = out.kind[index]
                if kind == "sound" or kind == "screen":
                    pass  # nearly all are, and only watchers take them
                elif kind == "dark" and self.lamp.lit:
                    # As on a board, nothing else is done until it is dark.
                    self.now_ms = min(self.now_ms + self.latency_ms, self.lamp.ends_ms)
                    stopped = self._lamp_off(event == "back")
                else:
                    self._perform(kind, out.value[index])
                for watcher in watchers:
                    watcher.output(self.now_ms, kind, out.value[index])
            if stopped < 0:
                return
            event, value = "lamp_end", stopped

    def _perform(self, kind: str, value) -> None:
        if kind == "light":
            self._lamp_on(value)
        elif kind == "arm":
            self.circuit.arm = bool(value)
            self._tell_circuit()
        elif kind == "send":
            self.send(value)
        elif kind == "cell":
            self._cell_range = value
            self._cell_ms = self.now_ms + CONVERSION_MS[value] if value else -1
        elif kind == "handover":
            self.handed_over = True

    def _lamp_on(self, ms: int) -> None:
        self.lamp.lit_ms = self.now_ms
        self.lamp.ends_ms = self.now_ms + ms
        self.circuit.pin = True
        cut_off_ms = self.circuit.cut_off_ms
        self._cut_off_ms = self.now_ms + cut_off_ms if 0 <= cut_off_ms < ms else -1
        self._tell_circuit()
        for watcher in self.watchers:
            watcher.lamp(self.now_ms, True)

    def _lamp_off(self, by_back: bool = False) -> int:
        self.lamp.ends_ms = self._cut_off_ms = -1
        self.circuit.drop(self._watch, self.ticks_now(), by_back)
        for watcher in self.watchers:
            watcher.lamp(self.now_ms, False)
        return self.now_ms - self.lamp.lit_ms

    def spoil(self, **faults) -> None:
        """Give the circuit faults, or mend them: see `Circuit`."""
        for name in faults:
            setattr(self.circuit, name, faults[name])
        self._tell_circuit()

    def _tell_circuit(self) -> None:
        self.circuit.tell(self._watch, self.ticks_now())

    def ticks_now(self) -> int:
        """What the box takes the time to be, now."""
        return (self.now_ms + self.ticks_ms) & MASK

    def next_ms(self) -> int:
        """When something will happen by itself; -1 for never."""
        ends_ms = self.lamp.ends_ms if self._cut_off_ms < 0 else self._cut_off_ms
        if self._cell_ms >= 0 and (ends_ms < 0 or self._cell_ms < ends_ms):
            ends_ms = self._cell_ms
        due = self.box.next_deadline()
        if due is None:
            return ends_ms
        due_ms = self.now_ms + since(due, (self.now_ms + self.ticks_ms) & MASK)
        if due_ms < self.now_ms:
            due_ms = self.now_ms
        return due_ms if ends_ms < 0 or due_ms < ends_ms else ends_ms

    def advance(self, to_ms: int) -> None:
        """Let time pass until `to_ms`, with all that happens on the way."""
        while True:
            next_ms = self.next_ms()
            if next_ms < 0 or next_ms > self._told_ms + DAY_MS:
                next_ms = max(self.now_ms, self._told_ms + DAY_MS)  # a box wants some input every day
            if next_ms > to_ms:
                break
            self._step(next_ms)
        self.now_ms = max(self.now_ms, to_ms)

    def _step(self, next_ms: int) -> None:
        # What was due while the lamp was being put out comes late.
        if next_ms > self.now_ms:
            self.now_ms = next_ms
        if next_ms == self.lamp.ends_ms:
            self.input("lamp_end", self._lamp_off())
        elif next_ms == self._cell_ms:
            self._convert()
        elif next_ms == self._cut_off_ms:
            self._cut_off_ms = -1
            self._tell_circuit()
        else:
            self.input("tick")

    def _convert(self) -> None:
        takes_ms = CONVERSION_MS[self._cell_range]
        counts = self.read_cell(self._cell_range, self.now_ms - takes_ms, self.now_ms)
        self._cell_ms = self.now_ms + (takes_ms if counts != GONE else _RETRY_MS)
        self.input("reading", counts)

    def left_ms(self) -> int:
        """Light the stage under way still has to give, now."""
        left_ms = self.box.exposing.left_ms()
        if self.box.state == "exposing" and self.lamp.lit:
            # The box knows it as of its last input. The lamp's end is that of the light; before the lag has
            # passed, more of the lamp's time is left than of light.
            return min(left_ms, self.lamp.ends_ms - self.now_ms)
        return left_ms

    def light_in_ms(self) -> int:
        """In a start delay: how long it is until the light comes by itself, now."""
        return self.box.delay.left_ms(self.ticks_now())

    def frame(self) -> bytearray:
        """The panel's picture since the last input: 1,024 bytes, 8 rows of 128 columns, lowest bit on top."""
        # Several may want to see it, and it changes only with an input.
        if not self._drawn:
            try:
                self.screen.draw()
                self._drawn = True
            except Exception as fault:
                self.undrawn(fault)
        return self.screen.buffer


def _nowhere(data: bytes) -> None:
    pass


def _no_cell(range: int, from_ms: int, to_ms: int) -> int:
    return GONE


def _left_out(fault: Exception) -> None:
    """A picture that cannot be drawn ends neither light nor run: it is tried again when next asked for."""


def _simulated() -> dict:
    return {"board": SIMULATOR}


class Trace(Watcher):
    """Writes every input and output as a line of JSON, with a checksum for each picture."""

    def __init__(self, session: Session, write) -> None:
        self.session = session
        self._write = write

    def _line(self, now_ms: int, entry: dict) -> None:
        entry["t"] = now_ms
        self._write(encode(entry).decode())

    def input(self, now_ms: int, event: str, value) -> None:
        if event == "line":
            self._line(now_ms, {"in": event, "crc": "%08x" % self.session.platform.crc32(value)})
        elif event != "tick":
            self._line(now_ms, {"in": event, "value": value})

    def output(self, now_ms: int, kind: str, value) -> None:
        crc32 = self.session.platform.crc32
        if kind == "screen":
            self._line(now_ms, {"out": kind, "crc": "%08x" % crc32(self.session.frame())})
        elif kind == "send":
            self._line(now_ms, {"out": kind, "crc": "%08x" % crc32(value)})
        else:
            self._line(now_ms, {"out": kind, "value": value})

    def reset(self, now_ms: int) -> None:
        self._line(now_ms, {"in": "reset"})
