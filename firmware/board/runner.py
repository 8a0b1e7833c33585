"""The loop: inputs into the box, its outputs into the adapters, and everything else in between.

What must live here: who goes first. A key must reach the lamp within 5 ms whatever else is going on, so an
input that lights the lamp or puts it out does not wait its turn: `wake`, which runs between two bytecodes of
whatever the loop is doing, hands it to the box at once. The loop itself does what can wait: ticks, pictures,
display, wire. Such an input has to wait for three things only: the box while it takes another input or a
change from the wire, a write to flash, and a collection. BACK does not wait even for these: its interrupt
puts the lamp out, and the box is told afterwards.

Other inputs, and the end of a light, wait until the loop is done with what it is at (`_deep`): some tens of
ms where it draws a picture or works out an answer. They may write records, and that uses as much of the stack
as drawing and answering do: there is no room for both.

On the way from a press to its light no function may be large: where its variables, what it has in hand, and
three words for each handler of exceptions are more than 11 words, each call of it takes memory, which takes
0.05 ms, and 0.25 ms where free memory is in pieces. `wake` is the one that has to catch exceptions.

A collection takes 30 ms, and to ask how much memory is free takes 6. So the loop reckons what pictures and
answers have taken, and in the dark memory is collected as soon as the box has taken an input, and the end of
the light that it put out: nobody presses again within that time. Else it is collected when it is short. In a
run the wire is answered so seldom that it is hardly ever short when a key comes.

Once the light is on it needs nothing from here: the pulse ends by itself.
"""

import gc
import time

from machine import Pin
from micropython import const

from board import crash
from board.display import Display
from board.flash import FlashDisk
from board.inputs import CLOCKWISE, Inputs
from board.piezo import Piezo
from board.pulse import Pulse
from board.read_backs import ReadBacks
from board.scratch import Survivor
from board.watchdog import Dog
from board.wire import Wire
from timing_core.box import Box
from timing_core.panel.drawing import Drawing
from timing_core.ticks import since

_NAP_MS = const(20)
"""The longest sleep: this often the watchdog is fed and inputs are looked for, in case a wake-up was lost."""

_RUN_ANSWER_MS = const(500)
"""In a run at most one line from the wire is answered in this time, since each takes 6 to 26 KB of memory."""

# What they take of memory in KB, at most
_PICTURE_KB = const(5)
_ANSWER_KB = const(26)

_COLLECT_KB = const(30)
_COLLECT_IN_RUN_KB = const(10)
"""In the dark, memory is collected after an input once so much of it has been taken."""

_SHORT_KB = const(60)
_SHORT_BYTES = const(30000)
"""With no input it is looked at once so much may have been taken, and collected where less is left than what
pictures and answers take."""

_DAILY_MS = const(1 << 26)
"""Some 19 hours: a box needs some input every day."""

_SETTLED_MS = const(10000)
"""A box that has run for this long has started well."""


# What a light cell says when it has no conversion
_ASKED = const(-4)
_NOTHING = const(-5)


def _no_cell(cell, range):
    """See `Runner.cell_for`: nothing here reads one."""


def _detents(inputs: Inputs) -> int:
    """Detents that wait one after another count as one turn."""
    detents = 0
    while inputs.waiting() == "dial":
        detents += 1 if inputs.next() == CLOCKWISE else -1
    return detents


class Runner:
    """Runs `box` on the board's adapters until it is handed over to the prompt. `cell_for(cell, range)` gives
    the light cell that is to read in this range, 0 for not at all; `cell` is the one that did before.

    `watch(way, now_ms, kind, value)`, if given, is told of every input ("in") and output ("out").
    """

    def __init__(
        self,
        box: Box,
        screen: Drawing,
        pulse: Pulse,
        safelight: Pin,
        read_backs: ReadBacks,
        inputs: Inputs,
        display: Display,
        piezo: Piezo,
        wire: Wire,
        disk: FlashDisk,
        dog: Dog,
        survivor: Survivor,
        watch=None,
    ) -> None:
        self.box = box
        self._screen = screen
        self._pulse = pulse
        self._safelight = safelight
        self._read_backs = read_backs
        self._inputs = inputs
        self._display = display
        self._piezo = piezo
        self._wire = wire
        self._disk = disk
        self._dog = dog
        self._survivor = survivor
        self._watch = watch
        self._busy = self._taking = self._deep = False
        self._dirty = True
        self._ended_ms = -1
        self._cut_ms = -1
        self._fault: BaseException | None = None
        self._reply = b""
        self._over = False
        self._taken_kb = 0
        self._settled = self._has_read_up = self._noted = False
        self._undrawn: BaseException | None = None
        self.cell_for = _no_cell
        self._cell = _no_cell(None, 0)
        self._began_ms = time.ticks_ms()
        self._given_ms = self._began_ms
        self._answered_ms = self._began_ms
        pulse.on_end = self._lamp_ended

    def start(self) -> None:
        """Power the box up, before anything else."""
        self._give("power_up", self._survivor.known_ms())

    def run(self) -> None:
        """Run until handed over. The caller must put the lamp out afterwards, however this has ended."""
        while self._reply or not self._over:
            self._dog.feed()
            self._deep = False
            self.wake(0)
            fault = self._fault or self._inputs.fault
            if fault:
                raise fault
            self._deep = True
            due = self.box.next_deadline()
            if due is not None and since(time.ticks_ms(), due) >= 0:
                self._give("tick", 0)
            elif self._reply:
                self._send()
            elif self._dirty:
                self._draw()
            elif not ((self._cell and _read_cell(self)) or self._display.step() or self._answer()):
                self._rest(due)

    # --- inputs

    def wake(self, _) -> None:
        """Give the box every input that may come in now.

        The scheduler may call this while the loop is doing so. Both would then take the same input, and
        also take again all that were in the ring before it. MicroPython's scheduler would swallow an
        exception, so it is kept, and the loop raises it. Until then nothing more is taken.
        """
        while not (self._busy or self._taking or self._disk.writing):
            self._taking = True
            try:
                self._take()
            except BaseException as fault:
                self._pulse.stop()
                self._fault = fault
                return
            self._taking = False
            # An input that came in between was not taken, since this call was taking one.
            if not self._next():
                return

    def _take(self) -> None:
        """Give the box the next input that may come in now, if any. In the dark, then collect memory."""
        if self._ended_ms < 0:  # what the lamp has given comes first
            held = self._inputs.hold()
            if held:
                self._give(held, 0)
        event = self._next()
        if not event:
            return
        amount = 0
        if event == "lamp_end":
            amount, self._ended_ms = self._ended_ms, -1
        elif event == "dial":
            amount = _detents(self._inputs)
        else:
            self._inputs.next()
        self._give(event, amount)
        # Not `box.lit`: the box takes the lamp to be on until the loop tells it of the end. The journal is
        # written then, and a press that came soon after would have to wait for that too.
        if not (self._ended_ms >= 0 or self._next() or self._pulse.owes):
            if self._taken_kb >= (_COLLECT_IN_RUN_KB if self.box.in_run else _COLLECT_KB):
                self._collect()

    def undisturbed(self, act):
        """Call `act` with no input cutting in, and return what it returns."""
        before = self._busy
        self._busy = True
        try:
            return act()
        finally:
            self._busy = before
            # A key that came meanwhile does not wait for the loop, which may have much to do before.
            self.wake(0)

    def put_out(self) -> None:
        """In BACK's interrupt: put the lamp out now. The key goes to the box like any other."""
        if self._pulse.owes:
            self._cut_ms = self._pulse.stop()

    def _next(self) -> str:
        """The input that is next; "" if there is none, or it waits until the loop has done what it is at."""
        if self._ended_ms >= 0:
            return "" if self._deep else "lamp_end"
        event = self._inputs.waiting()
        # BACK has put the lamp out: like the end of its light, it waits.
        if self._deep and (event == "back" or not self.box.is_about_light(event)):
            return ""
        return event

    def _lamp_ended(self, ms: int) -> None:
        self._ended_ms = ms
        self.wake(0)
        if self._ended_ms >= 0:
            # The loop is at something. Should it hang there, it must be known after the reset.
            self._survivor.note(self.box, True)

    # --- outputs

    def _give(self, event: str, value) -> None:
        """Hand one input to the box and do what it asks for. If that fails, no other may come in."""
        self._busy = True
        self._given_ms = time.ticks_ms()
        if self._watch:
            self._watch("in", self._given_ms, event, value)
        if event == "lamp_end":
            # Until the next stage is in the journal, a reset must not count this light for it.
            self._survivor.forget()
        out = self.box.handle(event, self._given_ms, value)
        for index in range(out.count):
            self._perform(out, index)
        self._survivor.note(self.box)  # takes 0.7 ms, for which no light waits
        self._busy = False

    def _perform(self, out, index: int) -> None:
        """Do one output."""
        kind, value = out.kind[index], out.value[index]
        if kind == "light":
            # After two quick presses the stage is not drawn yet. Its words take memory, so make them now.
            self._screen.prepare()
            self._pulse.start(value)
        elif kind == "dark":
            self._put_out()
        elif kind == "safelight":
            self._safelight.value(value)
        elif kind == "arm":
            self._read_backs.drive(value)
        elif kind == "sound":
            self._piezo.play(value)
        elif kind == "screen":
            self._dirty = True
        elif kind == "send":
            self._wire.send(value)
        elif kind == "volume":
            self._piezo.volume(value)
        elif kind == "level":
            self._display.level(value)
        elif kind == "cell":
            self._cell = self.cell_for(self._cell, value)
        elif kind == "handover":
            self._over = True
        if self._watch:
            self._watch("out", self._given_ms, kind, value)

    def _put_out(self) -> None:
        """Put the lamp out. What it gave is the next input."""
        owed = self._pulse.owes
        lit_ms = self._pulse.stop()
        if self._cut_ms >= 0:
            # BACK's interrupt was first.
            self._ended_ms, self._cut_ms = self._cut_ms, -1
        elif owed:
            self._ended_ms = lit_ms

    # --- what can wait

    def _draw(self) -> None:
        """Draw the picture. A fault in drawing must end neither light nor run: the picture is left out, and
        the first such fault is noted in the crash log.

        An input that comes in while drawing may change what is drawn. It then asks for a new picture.
        """
        self._dirty = False
        self._taken_kb += _PICTURE_KB
        try:
            self._screen.draw()
        except Exception as fault:
            if not self._dirty:
                self._undrawn = fault
            self._display.leave_out()

    def _answer(self) -> bool:
        """Take in one line from the wire and work out its reply; False if there is nothing to do.

        In a run the wire waits most of the time, since answering takes memory and a key would have to wait
        for a collection.
        """
        now_ms = time.ticks_ms()
        if self.box.in_run and since(now_ms, self._answered_ms) < _RUN_ANSWER_MS:
            return False
        line = self._wire.next_line()
        if not line:
            return line is not None
        self._answered_ms = now_ms
        self._taken_kb += _ANSWER_KB
        self._reply = self.box.link.take(line)
        self._give("wire", 0)
        return True

    def _send(self) -> None:
        """Send the reply. That may have to wait for the PC, and takes little of the stack."""
        reply, self._reply = self._reply, b""
        self._deep = False
        self._wire.send(reply)

    def _rest(self, due: int | None) -> None:
        """Do what there is no hurry for, or sleep until `due`, in ticks, or until an input comes in."""
        if not self._has_read_up:
            self._has_read_up = True
            if self.box.read_up():
                self._give("wire", 0)
            return
        if self._undrawn and not self._noted and not self.box.lit:
            # No lambda: it would make `self` a cell, which takes memory at each call, under light too.
            self.undisturbed(self._note_undrawn)
            return
        if not self.box.in_run and self._disk.make_ready():  # a key would wait for it
            return
        if self._taken_kb >= _SHORT_KB and not self.box.lit:
            self._taken_kb = _COLLECT_KB
            if gc.mem_free() < _SHORT_BYTES:
                self._collect()
        now_ms = time.ticks_ms()
        if since(now_ms, self._given_ms) >= _DAILY_MS:
            self._give("tick", 0)
        if not self._settled and since(now_ms, self._began_ms) >= _SETTLED_MS:
            self._settled = True
            self._survivor.settled()
        nap_ms = _NAP_MS
        if due is not None:
            nap_ms = min(nap_ms, max(0, since(due, now_ms)))
        sound_ms = self._piezo.step()
        if sound_ms >= 0:
            nap_ms = min(nap_ms, sound_ms)
        # An input that waited while the loop was at something calls nobody again.
        self._deep = False
        if not nap_ms or self._dirty or self._next():
            return
        if self.box.in_run:
            # Bytes waiting to be read would end the other kind of sleep at once.
            time.sleep_ms(nap_ms)
        else:
            self._wire.wait(nap_ms)

    def _note_undrawn(self) -> None:
        self._noted = True
        if self._undrawn:
            crash.note(self._undrawn)

    def _collect(self) -> None:
        self._taken_kb = 0
        gc.collect()


def _read_cell(runner: Runner) -> bool:
    """Ask the light cell once; False if nothing is due."""
    counts = runner._cell.step()
    if counts > _ASKED:
        runner._give("reading", counts)
    return counts > _NOTHING
