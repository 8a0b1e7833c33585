"""What can go wrong with a box, done to the real firmware one by one: what the lamp did, what was kept.

What must live here: the faults, and what is looked at after each. Every fault comes in a copy of one box
that has a card on its shelf and is in the middle of a print, the lamp lit for `LIGHT_MS`.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from firmware.board.flash import FlashDisk
from host_sim.box.platform import desk_platform
from lampblack.board.merged_groups import file_of
from lampblack.wire.box_client import BoxError
from tests.rig.box import LAMP, SAFELIGHT, PicoBox
from tests.rig.pico import MS
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM
from timing_core.light.printing_map import Mark, PrintingMap
from timing_core.records.ledger import FORM, RECORDS_MAX, stage_record
from timing_core.records.shelf import CARDS_MAX
from timing_core.records.store import Store

KIT = desk_platform()
LIGHT_MS = 1500
STRUCK_MS = 300
"""How long the lamp has been lit when the fault comes."""

LOG_MAX_BYTES = 2 * (2048 + 2048)


def harbour() -> PrintingMap:
    """The card on the shelf."""
    card = PrintingMap.new(16000, "2", 80)
    card.name, card.title = "harbour", "Harbour, morning"
    card.add_mark(0, Mark("boats", -40))
    return card


def disk_with(light_ms: int = LIGHT_MS, **fitted: object) -> dict[str, bytes]:
    """What a box has kept whose next print has a base of `light_ms`, and which has a card on its shelf.
    `fitted` is what is fitted, if that was ever set.

    There is no settling time: presses follow each other quickly here.
    """

    def fill(store: Store) -> None:
        store.put("bench", encode({"form": BENCH_FORM, "new_base_ms": light_ms, "settle_ms": 0}))
        store.put("card-harbour", encode(harbour().to_dict()))
        if fitted:
            store.put("fitted", encode(fitted))

    return disk_of(fill)


def full_disk() -> dict[str, bytes]:
    """What a box has kept that can keep no more: every card changed once, every record of a long print."""

    def fill(store: Store) -> None:
        for number in range(CARDS_MAX):
            card = harbour()
            card.name = f"harbour-{number}"
            for mark in range(8):
                card.add_mark(0, Mark(f"corner {mark}", 20 + mark))
            for title in ("Harbour, morning", "Harbour, evening"):
                card.title = title
                store.put("card-" + card.name, encode(card.to_dict()))
        record = {
            "form": FORM,
            "box": "0123456789abcdef",
            "kind": "print",
            "map": card.to_dict(),
            "strip": None,
            "whole": True,
            "cut_off": "",
            "up_s": 1000,
            "at": "2026-11-18T20:00:00Z",
            "dry_down_pm": 0,
            "stages": [stage_record("Burn corner", "2", 16000, 16000, 1, 60, False)] * 10,
        }
        for number in range(1, RECORDS_MAX + 1):
            store.put(f"ledger-{number:06d}", encode({**record, "n": number}))

    return disk_of(fill)


def disk_of(fill: Callable[[Store], None]) -> dict[str, bytes]:
    """The files, on the board, of what `fill` keeps."""
    with tempfile.TemporaryDirectory() as folder:
        fill(Store(FlashDisk(lambda: False, lambda: None, lambda on: None, folder), KIT.crc32))
        return {
            f"keep/{path.relative_to(folder)}": path.read_bytes()
            for path in sorted(Path(folder).rglob("*.?"))
            if path.is_file()
        }


def records(box: PicoBox) -> dict[str, bytes | None]:
    """Every whole record in the box's flash, by its key."""
    with tempfile.TemporaryDirectory() as folder:
        for path, data in box.pico.files().items():
            if path.startswith("keep/"):
                place = Path(folder) / path[5:]
                place.parent.mkdir(parents=True, exist_ok=True)
                place.write_bytes(data)
        store = Store(FlashDisk(lambda: False, lambda: None, lambda on: None, folder), KIT.crc32)
        keys = store.keys()
        return {key: store.get(key) for key in keys}


def crash_log(box: PicoBox) -> str:
    files = box.pico.files()
    return (files.get("crash.old", b"") + files.get("crash.log", b"")).decode()


class Outcome(NamedTuple):
    """After a fault: `lit_ms` is how long the lamp was lit in all, `reset` what restarted the box ("" for
    nothing), `panel_ms` from there to a drawn panel, `state` and `says` what the box then told, `given_ms`
    what it knew of the stage, `kept` False if any record was not what it should be, `log` the crash log.
    """

    lit_ms: float
    reset: str
    panel_ms: int
    state: str
    says: str
    given_ms: int
    kept: bool
    log: str


def set_base(box: PicoBox, ms: int) -> None:
    """Have the print at work take `ms`."""
    box.do(f"runner.box.work.map.set_base(0, {ms}); runner.box.work.changed()")


def strike(box: PicoBox) -> int:
    """Begin a print and light the lamp; returns when it was lit, in ns."""
    box.press("expose")
    box.run_ms(400)
    box.press("expose")
    return box.wait_lamp(1, 1000)


def under_light(fault: Callable[[PicoBox], None], restarts: bool) -> Callable[[PicoBox], Outcome]:
    """A scenario: light the lamp, do `fault` STRUCK_MS later, and see what becomes of the box."""

    def scenario(box: PicoBox) -> Outcome:
        struck_ns = strike(box)
        box.pico.run_for(struck_ns + STRUCK_MS * MS - box.now_ns)
        fault(box)
        return after(box, restarts)

    return scenario


def after(box: PicoBox, restarts: bool) -> Outcome:
    """Wait until the box has restarted, where it is to, or else has done with its light; look at it."""
    pico = box.pico

    def over() -> bool:
        dark = pico.level(LAMP) == 0 and len(pico.edges_of(LAMP)) % 2 == 0
        return len(pico.resets) > 1 or (dark and not restarts)

    # A hang that begins in mid-exposure outlives it: the watchdog bites 3 s after.
    pico.run_until(over, 6000 * MS)
    # What does not restart it at once may do so a moment later.
    box.run_ms(400)
    reset = pico.resets[-1].cause if len(pico.resets) > 1 else ""
    panel_ms = box.wait_for_panel() if reset else 0
    box.run_ms(300)
    state = box.ask("runner.box.state")
    says = box.ask("runner.box.message")
    given_ms = int(box.ask("runner.box.exposing.known_ms"))
    kept = {"bench", "card-harbour", "work"} <= set(records(box))
    kept = kept and records(box)["card-harbour"] == encode(harbour().to_dict())
    assert pico.level(LAMP) == 0
    assert pico.level(SAFELIGHT) == 1
    lit_ms = sum(pico.high_times_ns(LAMP)) / MS
    return Outcome(lit_ms, reset, panel_ms, state, says, given_ms, kept, crash_log(box))


def _raises(place: str, error: str = "ValueError('injected')") -> Callable[[PicoBox], None]:
    """Make a method of the firmware raise from now on."""

    def fault(box: PicoBox) -> None:
        box.do(f"def boom(*_):\n raise {error}\n{place} = boom", wait_ms=0)

    return fault


def _after_raises(place: str, then: Callable[[PicoBox], None]) -> Callable[[PicoBox], None]:
    def fault(box: PicoBox) -> None:
        _raises(place)(box)
        box.run_ms(30)
        then(box)

    return fault


def spoiled_picture(box: PicoBox) -> None:
    """The next picture fails half drawn; those after it are well."""
    box.do(
        """
whole = runner._screen.draw
def half():
    runner._screen.draw = whole
    runner._screen.fb.fill(1)
    raise ValueError('injected')
runner._screen.draw = half""",
        wait_ms=0,
    )


def _loose_display(box: PicoBox) -> None:
    box.panel.attached = False
    box.run_ms(900)
    box.panel.attached = True


def _wire_traffic(box: PicoBox) -> None:
    box.pico.usb.send(b"x\n" * 4)


def hang_of_the_loop(box: PicoBox) -> None:
    """At its top. Interrupts, and what they schedule, go on: the end of the light is still taken and kept."""
    box.do("runner._deep = False\nwhile True: pass", wait_ms=0)


def hang_at_work(box: PicoBox) -> None:
    """While it draws or answers: the end of the light has to wait, and is found in the registers."""
    box.do("runner._deep = True\nwhile True: pass", wait_ms=0)


def _hang(box: PicoBox) -> None:
    box.do("import machine; machine.disable_irq()\nwhile True: pass", wait_ms=0)


def _unplug(box: PicoBox) -> None:
    """The cable is pulled while a card comes in, and put back."""
    box.pico.usb.send(b'{"jsonrpc":"2.0","id":1,"method":"card.part","params":{"digest":"' + b"0" * 700)
    box.run_ms(3)
    box.pico.usb.unplug()
    box.run_ms(300)
    box.pico.usb.plug()


def _stray_bytes(box: PicoBox) -> None:
    """What a terminal or a tool for the prompt sends: Ctrl-C, Ctrl-D, the raw prompt, raw paste."""
    box.pico.usb.send(b"\r\x03\x03\x01\x05A\x01import machine; machine.reset()\x04\x02\x04\x03\r\n" * 3)


def _deaf(box: PicoBox) -> None:
    """The PC asks and asks and reads nothing of the answers."""
    box.deafen()
    box.pico.usb.send(b"x\n" * 400)


CRASHES = {
    "core: handling an input": _raises("runner.box.handle"),
    "core: answering the wire": _after_raises("runner.box.link.take", _wire_traffic),
    "display": _raises("runner._display.step"),
    "piezo": _raises("runner._piezo.step"),
    "wire, reading": _raises("runner._wire.next_line"),
    "wire, sending": _after_raises("runner._wire.send", _wire_traffic),
    "interrupt of a key": _after_raises("runner._inputs.put", lambda box: box.press("lamp") and None),
    "note for after a reset": _raises("runner._survivor.note"),
    "no memory left": _raises("runner.box.next_deadline", "MemoryError()"),
}
"""An exception in each handler of the loop and the interrupts, in mid-exposure: the box restarts."""

RESETS = {
    "hang, interrupts off": (_hang, "watchdog"),
    "RUN pin": (lambda box: box.pico.reset(), "run pin"),
    "plug pulled": (lambda box: box.pico.power_cycle(), "power"),
    "machine.reset()": (lambda box: box.do("import machine; machine.reset()", wait_ms=0), "watchdog"),
}
"""In mid-exposure, with the cause that the restart then has."""

HARMLESS = {
    "display not answering for 0.9 s": _loose_display,
    "flash not writing": _raises("runner._disk.write", "OSError(5)"),
    "lamp's report lost": _raises("runner._pulse.on_end"),
    "cable pulled in mid-message and put back": _unplug,
    "Ctrl-C, Ctrl-D, raw prompt": _stray_bytes,
    "PC sends and does not read": _deaf,
}
"""In mid-exposure: the box goes on, and the light is given whole."""


# --- not in mid-exposure

_CRASHING = """
from board import assembly
def _boom(*_):
    raise ValueError("injected")
assembly.build = _boom
"""


def three_crashes(uf2: Path) -> PicoBox:
    """A box that crashes on its way up, each time, run until it is at the prompt."""
    box = PicoBox(uf2, before=_CRASHING)
    box.pico.run_until(lambda: b">>>" in box.pico.usb.received, 15_000 * MS)
    return box


def core_spoiled(uf2: Path) -> PicoBox:
    """A box whose core does not load, run until it is at the prompt."""
    spoiled = file_of("timing_core.light.stops").replace(".", "/") + ".mpy"
    box = PicoBox(uf2, files={spoiled: b"spoiled"})
    box.pico.run_until(lambda: b">>>" in box.pico.usb.received, 15_000 * MS)
    return box


def crash_without_memory(box: PicoBox, in_pieces: bool) -> str:
    """Fill the box's memory, or leave every other 60 bytes of it free, and raise; the crash log then."""
    free_some = "for n in range(0, len(space), 2): space[n] = None" if in_pieces else ""
    box.do(
        f"""
import board.crash
board.crash.kept = space = []
for size in (1000, 60):
    try:
        while True:
            space.append(bytearray(size))
    except MemoryError:
        pass
{free_some}
raise ValueError("injected")""",
        wait_ms=0,
    )
    box.pico.run_until(lambda: len(box.pico.resets) > 1, 9000 * MS)
    box.wait_for_panel()
    return crash_log(box)


def handed_over(box: PicoBox) -> tuple[Exception | None, str, int]:
    """Asks for the prompt under light, then in the dark, and runs a line there. Returns what the box said
    to the first, what the prompt said, and how often the box had started 4 s later."""
    refused = None
    client = box.client  # it says hello first, and in a run the wire is answered twice a second
    strike(box)
    try:
        client.handover()
    except BoxError as error:
        refused = error
    box.wait_lamp(0)
    box.run_ms(700)
    box.client.handover()
    box.run_ms(200)
    at = len(box.pico.usb.received)
    box.pico.usb.send(b"while True: pass\r\r")
    box.run_ms(100)
    box.pico.usb.send(b"\x03print(6 * 7)\r")
    box.run_ms(4000)
    return refused, box.pico.usb.received[at:].decode(), len(box.pico.resets)
