"""Stand-ins for tests of the store and the wire. Portable: CPython and MicroPython."""

import binascii
import gc

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from tests.portable.chance import numbers
from timing_core.light.bench import Bench
from timing_core.light.printing_map import PrintingMap
from timing_core.panel.counting import Counting
from timing_core.records.fitted import Fitted
from timing_core.records.ledger import Ledger, stage_record
from timing_core.records.shelf import Shelf
from timing_core.records.store import Store

if hasattr(gc, "threshold"):
    # MicroPython otherwise collects only when the heap is full, and by then what lives long lies all over it.
    gc.threshold(16384)

platform = desk_platform()


def packed(text):
    """`text` in bytes as `card.part` takes it, in a block that is stored (RFC 1951, 3.2.4)."""
    size = len(text)
    head = bytes([1, size & 255, size >> 8, ~size & 255, ~size >> 8 & 255])
    return str(binascii.b2a_base64(head + text), "utf-8").strip()


class TightDisk(MemoryDisk):
    """A disk of `room` bytes. `writes` counts what wears a flash."""

    def __init__(self, room=1 << 20):
        super().__init__()
        self.room = room
        self.writes = 0

    def write(self, name, data):
        self.writes += 1
        others = sum([len(self.files[other]) for other in self.files if other != name])
        if others + len(data) > self.room:
            # A write that fails for lack of room may well have spoiled the file it went to.
            self.files[name] = data[: max(0, self.room - others)]
            raise OSError(28, "no space left")
        super().write(name, data)

    def remove(self, name):
        self.writes += 1
        super().remove(name)


class FakeBox:
    """What `Link` asks of a box, and nothing that could give light."""

    def __init__(self, disk=None):
        self.disk = disk or TightDisk()
        self.store = Store(self.disk, platform.crc32)
        self.shelves = [Shelf(self.store, platform, kind) for kind in ("card", "paper", "sequence")]
        self.shelf, self.papers, self.sequences = self.shelves
        self.ledger = Ledger(self.store, platform)
        self.bench = Bench()
        self.fitted = Fitted(self.store, platform)
        self.watch = self.panel = self.screen = self
        self.meters = 0
        self.faults = list
        self.identity = "e6614103e7261c2f"
        self.lit = False
        self.asked = self
        self.handed_over = 0
        self.time = None
        self.crash_lines = list
        self.damage_lines = list
        self.health = dict
        # What the acceptance test reads, counts and is asked by:
        self.io = self.machine = self
        self.now_ms = self.sense = self.feedback = self.armed = self.fell_first = 0
        self.lamp_ms = self.lit_ms = self.seen_ms = self.ticks = self.ticking_ms = 0
        self.edges, self.moved_ms = [0, 0, 0], [0, 0]
        self.state = "browse"
        self.acceptance = self
        self.counting = Counting(self, dict)

    def has(self, event):
        return self.state == "browse"

    def raise_event(self, event):
        self.state = "counting" if event == "count" else "browse"

    def summary(self):
        return {
            "state": "browse",
            "screen": "print",
            "card": "mill",
            "lit": self.lit,
            "safelight": True,
            "run": "",
            "stage": 0,
            "stages": 0,
            "name": "",
            "left_ms": 0,
            "expose": "start: filter 2",
            "message": "",
            "kept": "",
        }

    def set_bench(self, values):
        self.bench.set_all(values)
        return True

    def set_fitted(self, values):
        self.fitted.set(values)

    def push_card(self, shelf, name, text):
        shelf.keep_text(name, text)

    def remove_card(self, shelf, name):
        return shelf.drop(name)

    def write_waiting(self):
        if self.ledger.waiting:
            self.ledger.write_waiting()

    def tell_time(self, day, second):
        self.time = (day, second)

    def hand_over(self):
        self.handed_over += 1

    def kept(self):
        """Everything that a message could have changed, as one comparable value."""
        files = sorted(self.disk.files.items())
        return (
            files,
            self.shelf.names(),
            self.papers.names(),
            self.sequences.names(),
            self.bench.to_dict(),
            self.handed_over,
            self.time,
            self.lit,
        )


def small_card(name="harbour"):
    """A print of one pass with a dodge and a burn."""
    return {
        "name": name,
        "title": "Harbour, morning",
        "tied": False,
        "dry_down": True,
        "dry_down_pm": 80,
        "facts": {"paper": "RC pearl"},
        "passes": [
            {
                "filter": "2",
                "base_ms": 16000,
                "marks": [
                    {"area": "boats", "stops120": -40},
                    {"area": "sky", "stops120": 80, "filter": "0"},
                ],
            }
        ],
    }


def keep(shelf, map):
    """Keep a card as the wire does, which has its text."""
    shelf.keep_text(map.name, map.text())


def crash_log():
    """The lines of one crash, as MicroPython writes it."""
    return [
        "Traceback (most recent call last):",
        '  File "board/runner.py", line 68, in run',
        "OSError: [Errno 5] EIO",
    ]


def board_health():
    """What a healthy board tells of itself."""
    return {
        "board": "Raspberry Pi Pico with RP2040",
        "micropython": "1.22.2",
        "restarts": 0,
        "display": {"answers": True, "sda": 16, "scl": 17},
        "free_bytes": 99744,
    }


def documented_box():
    """A box with one card, one short record and one long one, and one crash."""
    box = FakeBox()
    mill = small_card("mill")
    mill["title"] = "Mill, winter"
    keep(box.shelf, PrintingMap.from_dict(mill))
    base = stage_record("Base, pass 1", "2", 14720, 14720, 1, 0, False)
    record = {"form": 2, "kind": "print", "map": None, "strip": None, "whole": True, "cut_off": ""}
    record.update({"up_s": 71, "at": None, "dry_down_pm": 80})
    box.ledger.append(dict(record, stages=[base]))
    box.ledger.append(dict(record, stages=[base] * 23))
    box.crash_lines = crash_log
    box.health = board_health
    return box


def large_card(sign="e", passes=4):
    """A card with everything in it, every text full of `sign`; with four passes there is none longer."""
    marks = [{"area": sign * 16, "stops120": 500 + n, "filter": sign * 8} for n in range(16)]
    return {
        "name": "n" * 24,
        "title": sign * 40,
        "tied": False,
        "dry_down": False,
        "dry_down_pm": 500,
        "facts": {
            "negative": sign * 60,
            "paper": sign * 60,
            "developer": sign * 60,
            "height": sign * 24,
            "lens": sign * 40,
            "aperture": sign * 16,
            "notes": sign * 400,
        },
        "passes": [{"filter": sign * 8, "base_ms": 999900, "marks": marks} for _ in range(passes)],
    }


def scrambled(card, signs, dice=None):
    """`card` with random texts of `signs`, each as long as it was, but for its name: deflate gains little."""
    dice = dice or numbers(1)
    if isinstance(card, str):
        return "".join([signs[next(dice) % len(signs)] for _ in card])
    if isinstance(card, list):
        return [scrambled(item, signs, dice) for item in card]
    if isinstance(card, dict):
        return {key: card[key] if key == "name" else scrambled(card[key], signs, dice) for key in card}
    return card
