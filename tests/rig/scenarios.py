"""What is done with the real firmware to measure it: a print, a row of presses, keys that bounce.

What must live here: what the hands do and what is noted. `test_firmware.py` holds a few of each against
the budgets; `measure.py` does many and writes the figures down. Except for the bounce, every scenario is
given a box that has just started with what `faults.disk_with` says.
"""

from __future__ import annotations

import json
import random
import tempfile
from binascii import crc32
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest

from lampblack.board.board_prompt import Prompt
from tests.micropython import ROOT, compile_all, run
from tests.rig.box import KEYS, LAMP, PINS, PicoBox
from tests.rig.cabled import Cable
from tests.rig.faults import crash_log, disk_with, records, set_base
from tests.rig.image import compile_module
from tests.rig.keys import Contact, Dial
from tests.rig.pico import MS, US, Pico
from tests.rig.replay import replay
from timing_core.canonical import encode
from timing_core.light.bench import Bench
from timing_core.light.plan import FIT, Stage, compile_print
from timing_core.light.printing_map import Mark, PrintingMap
from timing_core.light.stops import BASE_MAX_MS
from timing_core.wire.framing import frame

FREE_MIN_BYTES = 75_000
"""Heap that has to be free with all running, in bytes, on the release `TESTED`."""

DESK_HEAP = "512k"
"""Of MicroPython on a desk, where the question is not how much memory is needed (see `micropython.HEAP`)."""

# --- a print, from the PC to the ledger

TAP = """
from binascii import crc32
from timing_core.canonical import encode
trace = []
seen = [0]
def note(entry):
    trace.append(encode(entry))
def watch(way, now_ms, kind, value):
    if way == "in":
        seen[0] += 1
    note({way: kind, "t": now_ms, "value": value})
draw = runner._screen.draw
def traced_draw():
    before = seen[0]
    frame = "%08x" % crc32(draw())
    if seen[0] == before:
        note({"frame": frame})
take = runner.box.link.take
def traced_take(line):
    trace.append(b"line " + line)
    reply = take(line)
    trace.append(b"reply " + (reply or b""))
    return reply
runner._watch = watch
runner._screen.draw = traced_draw
runner.box.link.take = traced_take
"""
"""Has the firmware note what happens in the form of `replay`. A picture that an input cut into is drawn
again, and only then noted. What goes over the wire is noted as it is: to quote a long reply takes 8 KB in one
piece, and beside the trace there may be none. `_entry` does that on the PC."""


def _entry(said: str) -> str | None:
    """What the firmware says of its trace, as an entry of it; None if it is none."""
    kind, _, text = said.partition(" ")
    if kind not in ("line", "reply"):
        return said if said.startswith("{") else None
    return encode({kind: text + "\n" if kind == "reply" and text else text}).decode()


def split_grade_card() -> PrintingMap:
    """Two filtered passes, a dodge in each, two burns, of which one through a third filter; dry-down."""
    card = PrintingMap.new(1700, "0", 80)
    card.name, card.title = "mill-pond", "Mill pond"
    card.dry_down = True
    card.facts = {"paper": "RC pearl", "notes": "boats first"}
    card.set_pass_count(2)
    card.passes[1].filter = "5"
    card.set_base(1, 1300)
    card.set_tied(True)
    card.add_mark(0, Mark("boats", -40))
    card.add_mark(0, Mark("sky", 40))
    card.add_mark(1, Mark("quay", -20))
    card.add_mark(1, Mark("roof", 60, "2"))
    return card


BENCH = {"lead_ms": 500, "lag_ms": 60, "safelight": "exposing"}
HOLD_AT_MS = 900


class Printed(NamedTuple):
    """`identity` is the board's, `up_ms` its clock at power-up, and `trace` what came after; `pulled` and
    `record` are what the PC got back, `stages` the plan and `strikes` the lamp's measured ms for each
    stage, `panel` what the display showed in the end."""

    identity: str
    up_ms: int
    trace: list[str]
    pulled: dict
    record: dict
    stages: list[Stage]
    strikes: list[list[float]]
    panel: bytes


def print_a_card(box: PicoBox) -> Printed:
    """Push a card, take it off the shelf by dial, print it with a hold, pull it and read the ledger."""
    card = split_grade_card()
    bench = Bench()
    bench.set_all(BENCH)
    stages = compile_print(card, bench)
    trace: list[str] = []

    def take_trace() -> None:
        box.run_ms(200)
        at = len(box.said)
        box.do("for line in trace: say(str(line, 'utf-8'))\ntrace.clear()", wait_ms=0)
        assert box.ask("len(trace)", 5000) == "0"
        trace.extend(filter(None, map(_entry, box.said[at:].decode().splitlines())))

    identity = box.ask("runner.box.identity")
    up_ms = int(box.ask("runner.box.clock._counted_ms - 1000 * runner.box.clock.up_s"))
    box.do(TAP)
    client = box.client
    client.bench_set(BENCH)
    client.push(card.to_dict())
    take_trace()
    box.press("back")
    box.run_ms(300)
    for detents in (5, 1):
        # The shelf, and there the second card.
        box.turn(detents)
        box.run_ms(300)
        box.press("press")
        box.run_ms(400)
    take_trace()
    strikes: list[list[float]] = []
    held = False
    box.press("expose")
    box.run_ms(300)
    for stage in stages[1:]:
        box.press("expose")
        if stage.kind == FIT:
            box.run_ms(300)
            continue
        begun = len(box.pico.edges_of(LAMP))
        box.wait_lamp(1, 500)
        if not held:
            held = True
            box.press("expose", box.now_ns + HOLD_AT_MS * MS)
            box.wait_lamp(0, 1500)
            box.run_ms(400)
            box.press("pedal")
            box.wait_lamp(1, 500)
        box.wait_lamp(0)
        edges = [edge.ns / MS for edge in box.pico.edges_of(LAMP)[begun:]]
        strikes.append([fall - rise for rise, fall in zip(edges[::2], edges[1::2])])
        box.run_ms(400)
        take_trace()
    pulled = client.pull(card.name)
    record = list(client.ledger())[-1]
    take_trace()
    return Printed(identity, up_ms, trace, pulled, record, stages, strikes, box.panel.frame())


def whole_trace(made: Printed) -> list[str]:
    """Its trace with what a box has to be given before it: its name, what was kept, and power."""
    before: list[dict] = [{"identity": made.identity}]
    for path, data in disk_with().items():
        before.append({"file": path.rsplit("/", 1)[1], "text": data.decode()})
    before.append({"in": "power_up", "t": made.up_ms, "value": 0})
    return [encode(entry).decode() for entry in before] + made.trace


def replayed_here(made: Printed) -> list[str]:
    """The same inputs given to a box on this computer: its trace, without what power-up gave."""
    lines: list[str] = []
    replay(whole_trace(made), lines.append)
    return lines[-len(made.trace) :]


def grown_by(prints: int) -> int:
    """Bytes by which the heap of MicroPython on a desk has grown over so many prints."""
    with tempfile.TemporaryDirectory() as folder:
        program = ["-m", "tests.portable.heap_lock", "growth", str(prints)]
        done = run(program, compile_all(Path(folder)), DESK_HEAP, timeout_s=60 + prints // 5)
    assert done.returncode == 0, done.stderr
    return int(done.stdout)


def replayed_on_micropython(made: Printed, folder: Path) -> list[str]:
    """The same on MicroPython for a desk, with a small heap; `folder` is for its modules and its trace."""
    compile_all(folder)
    (folder / "trace.txt").write_text("\n".join(whole_trace(made)) + "\n")
    done = run(["-m", "tests.rig.replay", "trace.txt"], folder)
    assert done.returncode == 0, done.stderr + done.stdout[-1000:]
    return done.stdout.splitlines()[-len(made.trace) :]


# --- how long a key takes


class Latencies(NamedTuple):
    """In us, from the first edge at the key's pin to the lamp's."""

    expose_to_light: list[float]
    back_to_dark: list[float]
    expose_to_dark: list[float]


def request(id: int, method: str, **params: object) -> bytes:
    message = {"jsonrpc": "2.0", "id": id, "method": method, "params": params}
    return frame(json.dumps(message).encode(), crc32)


WRITE_MS = 100
"""The longest that a write of the journal takes. It follows the end of each light, and masks interrupts."""


def latencies(box: PicoBox, strikes: int, seed: int) -> Latencies:
    """Light the lamp and put it out again, by BACK and every fourth time by EXPOSE, 45 to 145 ms after light
    and WRITE_MS more after dark, while the PC asks and sets without a pause and so also has the panel drawn
    anew."""
    found = Latencies([], [], [])
    chance = random.Random(seed)
    set_base(box, BASE_MAX_MS)
    box.press("expose")
    box.run_ms(400)
    flood = request(1, "state") + request(2, "bench.set", values={"volume": 3}) + request(3, "card.list")
    box.pico.usb.send(flood * 20 * strikes)
    edges = len(box.pico.edges_of(LAMP))
    for at in range(strikes):
        found.expose_to_light.append(_press(box, "expose", 1, chance))
        if at % 4 < 3:
            found.back_to_dark.append(_press(box, "back", 0, chance))
        else:
            found.expose_to_dark.append(_press(box, "expose", 0, chance))
        box.run_ms(WRITE_MS)
    box.run_ms(200)
    assert len(box.pico.edges_of(LAMP)) - edges == 2 * strikes, "a press was lost or counted twice"
    return found


LOADED = {"Light cell": "light_cell", "Trays": "trays", "Tests": "tests", "A guided test": ""}
"""Screens that take the most memory, by their names; the last is opened with a press from the one before."""


def open_screens(box: PicoBox) -> list[tuple[str, int, int]]:
    """For each of LOADED the free heap in bytes before it is opened and while it is."""

    def free() -> int:
        box.run_ms(1000)
        return int(box.ask("(__import__('gc').collect(), __import__('gc').mem_free())[1]"))

    found = []
    for name, key in LOADED.items():
        before = free()
        if key:
            box.do(f"runner.box.panel.show('screens')\nrunner.box.panel.cursor_on_key('screen', {key!r})")
        box.press("press")
        box.run_ms(500)
        found.append((name, before, free()))
        if key != "tests":
            box.press("back")
            box.run_ms(500)
    return found


STACK_MIN_BYTES = 1500
"""What must be left of the main stack's 8 KB at its deepest."""


def stack_left(box: PicoBox, presses: int, seed: int) -> int:
    """Press and turn whatever there is while the PC asks and pushes without a pause. Returns the bytes of the
    main stack that have never been used, by the loop, by what cuts into it, or by interrupts."""
    chance = random.Random(seed)
    flood = request(1, "state") + request(2, "card.list") + request(3, "bench.set", values={"volume": 3})
    flood += request(4, "ledger.read") + request(5, "health") + request(6, "nothing")
    box.pico.usb.send(flood * presses)
    box.pico.paint_stack()
    for _ in range(presses):
        box.run_ms(chance.uniform(30, 200))
        if chance.random() < 0.2:
            box.turn(chance.choice((-2, -1, 1, 2)), per_s=50)
        else:
            box.press(chance.choice(list(KEYS)), held_ms=30)
    box.run_ms(200)
    assert len(box.pico.resets) == 1, crash_log(box)
    return box.pico.stack_left()


TWO_TAKE = """
inputs = runner._inputs
plain, given = inputs._ring, []
class Ring:
    def __setitem__(self, at, code):
        plain[at] = code
    def __getitem__(self, at):
        code = plain[at]
        if at == inputs._out:
            # As the scheduler may do it, between two bytecodes of the loop.
            runner.wake(0)
        return code
inputs._ring = Ring()
runner._watch = lambda way, now_ms, kind, value: way == "in" and kind != "tick" and given.append(kind)
"""


def taken_by_two(box: PicoBox) -> tuple[str, str]:
    """Press EXPOSE while whoever takes an input is cut into by another who does: what the box was given,
    and where the ring was written and read last."""
    box.do(TWO_TAKE)
    box.press("expose")
    box.run_ms(400)
    return box.ask("*given"), box.ask("inputs._in - inputs._out")


ENDS_WHILE_HELD = """
given = []
runner._watch = lambda way, now_ms, kind, value: way == "in" and kind != "tick" and given.append(kind)
runner._ended_ms = 7
runner._inputs._held.down = True
runner.wake(0)
"""


def given_while_held(box: PicoBox) -> str:
    """BACK goes down, and a light's end still waits for the loop: what the box was given, in order."""
    box.do(ENDS_WHILE_HELD)
    return box.ask("*given")


def _press(box: PicoBox, key: str, level: int, chance: random.Random) -> float:
    # A key let go is taken to be up 25 ms later: nobody presses one again so soon.
    box.run_ms(45 + chance.uniform(0, 100))
    edge_ns = box.press(key, held_ms=15)
    return (box.wait_lamp(level, 1000) - edge_ns) / US


# --- keys that cut in


OUTRUN = """
screen = runner._screen
lay_rail = screen._lay_rail
def outrun(stage):
    screen._lay_rail = lay_rail
    lay_rail(stage)
    # As the interrupts and the scheduler may do it, between two bytecodes of the picture: on to the next
    # stage, and its light.
    runner._inputs.put(1)
    runner._inputs.put(3)
    runner.wake(0)
screen._lay_rail = outrun
runner._dirty = True
"""
"""The words of a stage are looked up while dial and EXPOSE ask for another one, and its light."""


def words_outrun(box: PicoBox) -> tuple[str, bool, float]:
    """Have two keys come in while the words of the first light are looked up. Returns the area that the
    panel's words are of while the next one is lit, whether the panel then shows what it should, and the ms
    the lamp was lit."""
    box.do(
        "from timing_core.light.printing_map import Mark\n"
        "runner.box.work.map.add_mark(0, Mark('sky', 60)); runner.box.work.changed()"
    )
    box.press("expose")
    # Before the picture of the stage is drawn.
    box.do(OUTRUN, wait_ms=0)
    box.wait_lamp(1, 1000)
    box.run_ms(250)
    area = box.ask("runner._screen._words[0].area")
    box.wait_lamp(0)
    box.run_ms(300)
    shown = box.panel.frame()
    box.do("runner._screen.show(runner.box); runner._dirty = True", wait_ms=200)
    return area, box.panel.frame() == shown, sum(box.pico.high_times_ns(LAMP)) / MS


def set_while_turned(box: PicoBox, key: str, after_ms: float) -> tuple[int, int]:
    """The lamp's lag is open at the panel, and turned, when the PC sets it; `after_ms` after the PC has asked
    a key comes: "back" leaves the value, "press" takes it. Returns the lag in force and the lag kept."""
    box.do("runner.box.panel.list_screens('screen', 'bench')")
    for _ in range(2):
        box.press("press")
        box.run_ms(300)
    box.turn(2)
    box.run_ms(200)
    assert box.ask("runner.box.state, runner.box.bench.get('lag_ms') > 0") == "edit True"
    assert box.client.state()["screen"] == "bench"
    box.run_ms(400)
    box.press(key, box.now_ns + round(after_ms * MS))
    box.client.bench_set({"lag_ms": 200})
    box.run_ms(800)
    kept = records(box)["bench"]
    assert kept is not None
    return int(box.ask("runner.box.bench.get('lag_ms')")), json.loads(kept)["lag_ms"]


# --- memory under light

WATCH_HEAP = """
import gc, micropython
from board import crash
used = []
def watch(way, now_ms, kind, value):
    if kind == "light":
        used.append(gc.mem_alloc())
        micropython.heap_lock()
    elif kind == "lamp_end":
        micropython.heap_unlock()
        used.append(gc.mem_alloc())
def unlocked(fault):
    micropython.heap_unlock()
    note(fault)
runner._watch = watch
note = crash.note
crash.note = unlocked
micropython.alloc_emergency_exception_buf(400)
"""


def heap_under_light(box: PicoBox) -> list[int]:
    """Give a whole light with the heap locked from its start to its end, so that whoever takes memory
    fails. Returns the bytes in use at both."""
    box.do(WATCH_HEAP)
    box.run_ms(300)
    box.press("expose")
    box.run_ms(400)
    # As if the second press were so quick that the stage had not been on the panel before.
    box.do("runner._screen.show(runner.box)")
    box.press("expose")
    box.wait_lamp(1, 1000)
    box.wait_lamp(0)
    box.run_ms(400)
    assert len(box.pico.resets) == 1, crash_log(box)
    return [int(word) for word in box.ask("*used").split()]


def long_card() -> PrintingMap:
    """A print of 40 stages and more: four passes with nine burns each."""
    card = PrintingMap.new(16000, "2", 0)
    card.name = "forty"
    card.set_pass_count(4)
    for index in range(4):
        for number in range(9):
            card.add_mark(index, Mark(f"area {index} {number}", 20 + number))
    return card


class Moved(NamedTuple):
    """How long something took by the chip's clock, and for how much of that its flash was busy, in ms."""

    ms: float
    flash_ms: float


def _timed(box: PicoBox, act: Callable[[], object]) -> Moved:
    start_ns, start_flash_ns = box.now_ns, box.pico.flash_ns
    act()
    return Moved((box.now_ns - start_ns) / MS, (box.pico.flash_ns - start_flash_ns) / MS)


def pushed(box: PicoBox, wait_ms: float) -> tuple[Moved, Moved]:
    """Push the long card as a new one, after `wait_ms`, and pull it: both timed at the client."""
    card = long_card().to_dict()
    client = box.client
    box.run_ms(wait_ms)
    push = _timed(box, lambda: client.push(card))
    pulled: list[dict] = []
    pull = _timed(box, lambda: pulled.append(client.pull(card["name"])))
    assert pulled == [card]
    return push, pull


def pushed_again(box: PicoBox, wait_ms: float) -> Moved:
    """Push the long card over a version of it that was pushed before, its two slots being there."""
    card = long_card()
    client = box.client
    for title in ("", "Forty"):
        card.title = title
        client.push(card.to_dict())
        box.run_ms(500)
    card.title = "Forty stages"
    box.run_ms(wait_ms)
    push = _timed(box, lambda: client.push(card.to_dict()))
    assert client.pull(card.name) == card.to_dict()
    return push


def copied(box: PicoBox) -> tuple[Moved, Moved, int]:
    """The long card's bytes as a file, as mpremote copies one: a new file, and once more over it; and the ms
    from a reset to a panel.

    The box has left to its prompt before. What is timed: mpremote enters the raw prompt without starting
    MicroPython anew, opens the file, sends it in chunks of 256 bytes, and closes it.
    """
    box.client.handover()
    box.run_ms(200)
    Cable(box.pico, pytest.MonkeyPatch())
    times = []
    for title in ("", "Forty"):
        card = long_card()
        card.title = title
        text = card.text()
        box.run_ms(100)
        times.append(_timed(box, lambda text=text: _copy(text)))
        assert box.pico.files()["keep/copied"] == text
    box.pico.reset()
    return times[0], times[1], box.wait_for_panel()


def _copy(text: bytes) -> None:
    with Prompt("the box", restart=False) as prompt:
        prompt.fs_writefile("keep/copied", text)


# --- contacts that bounce

COUNTER = """
import sys, time
from board.flash import FlashDisk
from board.inputs import Inputs
from board import pins
time.sleep_ms(60)
inputs = Inputs()
counts = [0] * 8
taking = False
def wake(_):
    global taking
    if taking:  # this call cuts into the other
        return
    taking = True
    while inputs.waiting():
        counts[inputs.next()] += 1
    taking = False
inputs.wake = wake
for name, pin in (("expose", pins.EXPOSE), ("pedal", pins.PEDAL), ("lamp", pins.LAMP_KEY),
                  ("back", pins.BACK), ("press", pins.DIAL_PRESS)):
    inputs.add_key(name, pin)
inputs.add_dial(pins.DIAL_A, pins.DIAL_B)
disk = FlashDisk(lambda: False, lambda: None, inputs.mask)
print("ready")
while True:
    if sys.stdin.readline() == "write\\n":
        disk.write("x", bytes(3000))
    wake(0)
    print("counted", counts, inputs.lost)
"""
"""The board's own inputs, with something in place of the box that counts what they give."""


def counting_pico(uf2: Path) -> Pico:
    files = {
        f"board/{name}.mpy": compile_module(ROOT / "firmware" / "board" / f"{name}.py", f"board/{name}.py")
        for name in ("__init__", "flash", "inputs", "pins")
    }
    pico = Pico(
        uf2, {"main.py": b"import guest\n", "guest.mpy": compile_module(COUNTER, "guest.py"), **files}
    )
    for pin in (*KEYS.values(), PINS["dial_a"], PINS["dial_b"]):
        pico.set_level(pin, 1)
    pico.start()
    pico.wait_for("ready", 3000 * MS)
    return pico


def _counts(pico: Pico) -> list[int]:
    """What was counted so far: right, left, and each key; the last is what was lost."""
    pico.usb.send(b"\n")
    counts, lost = pico.wait_for("counted", 1000 * MS).split("counted", 1)[1].rsplit(None, 1)
    return [*json.loads(counts)[1:], int(lost)]


def bouncing_presses(uf2: Path, presses_a_key: int, seed: int) -> tuple[list[int], list[int]]:
    """Press all five keys, each in its own time, with bounce of 1 to 20 ms as it closes and as it opens.
    Returns how often each was pressed, and what was counted for it, with what was lost at the end.
    """
    pico = counting_pico(uf2)
    chance = random.Random(seed)
    ends = [pico.now_ns] * len(KEYS)
    for _ in range(presses_a_key):
        for index, pin in enumerate(KEYS.values()):
            at_ns = max(ends[index], pico.now_ns) + round(chance.uniform(30, 150) * MS)
            contact = Contact(pico, pin, round(chance.uniform(1, 20) * MS), chance.random())
            ends[index] = contact.press(at_ns, round(chance.uniform(30, 120) * MS))
        # Not all at once: what is to come takes memory here.
        if min(ends) > pico.now_ns + 500 * MS:
            pico.run_for(min(ends) - 400 * MS - pico.now_ns)
    pico.run_for(max(ends) + 50 * MS - pico.now_ns)
    return [presses_a_key] * len(KEYS), _counts(pico)[2:]


def quick_chatter(uf2: Path) -> tuple[int, list[int]]:
    """Press EXPOSE with one chatter as it closes, open after 20 to 200 us for 20 to 200 us: about as quick as
    the interrupt. Returns as `presses_round_writes` does."""
    pico = counting_pico(uf2)
    pin = KEYS["expose"]
    lengths_us = range(20, 201, 15)
    at_ns = pico.now_ns + MS
    for first_us in lengths_us:
        for open_us in lengths_us:
            for ns, level in ((0, 0), (first_us * US, 1), ((first_us + open_us) * US, 0), (30 * MS, 1)):
                pico.at(at_ns + ns, lambda level=level: pico.set_level(pin, level))
            at_ns += 70 * MS
            pico.run_for(at_ns - MS // 2 - pico.now_ns)
    return len(lengths_us) ** 2, _counts(pico)[2:]


def presses_round_writes(uf2: Path, presses: int, seed: int) -> tuple[int, list[int]]:
    """Press EXPOSE, with bounce of 1 to 20 ms, 2 to 20 ms before a write to flash begins, which masks
    interrupts. Returns how often it was pressed, and what was counted for every key, with what was lost.
    """
    pico = counting_pico(uf2)
    chance = random.Random(seed)
    for _ in range(presses):
        contact = Contact(pico, KEYS["expose"], round(chance.uniform(1, 20) * MS), chance.random())
        ends_ns = contact.press(pico.now_ns + MS, round(chance.uniform(40, 120) * MS))
        pico.run_for(round(chance.uniform(2, 20) * MS))
        pico.usb.send(b"write\n")
        pico.wait_for("counted", 2000 * MS)
        pico.run_for(max(0, ends_ns - pico.now_ns) + 40 * MS)
    return presses, _counts(pico)[2:]


DIAL_SPEEDS = (1, 5, 20, 50, 100, 200)


def bouncing_dial(uf2: Path, detents: int, seed: int) -> list[tuple[int, list[int], list[int]]]:
    """Turn the dial at each of DIAL_SPEEDS, there and back, with bounce of up to 5 ms or most of a quarter
    turn. For each speed: detents right and left, and what was counted for them, with what was lost.
    """
    pico = counting_pico(uf2)
    chance = random.Random(seed)
    rows = []
    before = _counts(pico)
    for per_s in DIAL_SPEEDS:
        turned = [0, 0]
        bounce_ns = min(5 * MS, 800 * MS // 4 // per_s)
        dial = Dial(pico, PINS["dial_a"], PINS["dial_b"], bounce_ns, chance.random())
        for turn in range(max(2, min(detents, 10 * per_s) // 5)):
            count = chance.randint(1, 9)
            turned[turn % 2] += count
            end_ns = dial.turn(pico.now_ns + US, count if turn % 2 == 0 else -count, per_s)
            pico.run_for(end_ns - pico.now_ns)
        now = _counts(pico)
        rows.append((per_s, turned, [now[0] - before[0], now[1] - before[1], now[-1]]))
        before = now
    return rows
