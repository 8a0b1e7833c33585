"""The core on an emulated Pico, whose small integers have 31 bits: what no desk can tell."""

from __future__ import annotations

import pytest

from lampblack.board.borrowed_names import BorrowedNames
from lampblack.board.folded_numbers import folded
from lampblack.board.merged_groups import in_files, merged
from tests.micropython import ROOT
from tests.rig.image import compile_module
from tests.rig.pico import S

pytestmark = pytest.mark.long

CORE = ROOT / "firmware" / "timing_core"
DISK = ROOT / "host_sim" / "box" / "memory_disk.py"

GUEST = """
import binascii, framebuf, gc, hashlib, json, micropython, time
time.sleep_ms(60)
from timing_core.box import Box
from timing_core.platform import Platform
from timing_core.light.printing_map import PrintingMap
from timing_core.panel.drawing import Drawing
from timing_core.records.store import Store
from timing_core.ticks import later
from memory_disk import MemoryDisk

platform = Platform(framebuf.FrameBuffer, json.loads, binascii.crc32, hashlib.sha256, None, None)
box = Box(Store(MemoryDisk(), platform.crc32), platform, 100)
screen = Drawing(box, platform)
box.handle("power_up", START_MS)
box.asked.set_bench({"lag_ms": LAG_MS, "settle_ms": 0})
box.work.take(PrintingMap.from_dict(json.loads(CARD)))
gc.collect()
print("ready", gc.mem_free())

def locked(now_ms, event, value):
    "One input and the picture after it, with the heap locked; its fault is told by name."
    micropython.heap_lock()
    at = 0
    try:
        box.handle(event, now_ms, value)
        at = 1
        screen.draw()
        at = 2
    except MemoryError:
        pass
    micropython.heap_unlock()
    if at < 2:
        print("over: the heap is needed", "to draw after" if at else "by", event, "in", box.state)
        raise SystemExit

def strike(now_ms):
    "Light the lamp, hold once, light it again, let it run out."
    locked(now_ms, "expose", 0)
    for _ in range(2):
        now_ms = later(now_ms, STEP_MS)
        locked(now_ms, "tick", 0)
    locked(now_ms, "expose", 0)
    box.handle("lamp_end", now_ms, 2 * STEP_MS)
    screen.draw()
    locked(now_ms, "expose", 0)
    lit_ms = 0
    whole_ms = box.io.value[[box.io.kind[i] for i in range(box.io.count)].index("light")]
    while lit_ms + STEP_MS < whole_ms:
        lit_ms += STEP_MS
        locked(later(now_ms, lit_ms), "tick", 0)
    now_ms = later(now_ms, whole_ms)
    box.handle("lamp_end", now_ms, whole_ms)
    return now_ms

now_ms = START_MS
strikes = 0
box.handle("expose", now_ms)
while box.state == "ready":
    screen.draw()
    if box.run.stages[box.run.at].kind == "fit":
        box.handle("expose", now_ms)
    else:
        now_ms = strike(now_ms)
        strikes += 1
if box.message:
    print(box.message)
box.handle("lamp", now_ms)
box.handle("lamp", now_ms)
screen.draw()
locked(now_ms, "tick", 0)
locked(now_ms, "lamp", 0)
print("over:", strikes, "strikes, then", box.state)
"""

SPLIT = """{"name":"harbour","title":"Harbour, morning","tied":true,"dry_down":true,"dry_down_pm":83,
"facts":{},"passes":[{"filter":"2","base_ms":16300,"marks":[{"area":"boats","stops120":-40},
{"area":"sky","stops120":80,"filter":"0"}]},{"filter":"5","base_ms":9100,"marks":
[{"area":"edge","stops120":70}]}]}"""

LONGEST = """{"name":"longest","title":"","tied":false,"dry_down":true,"dry_down_pm":0,"facts":{},
"passes":[{"filter":"","base_ms":999900,"marks":[{"area":"a","stops120":-40}]}]}"""


def core_in_files() -> dict[str, bytes]:
    """The core as a board has it: with a file for each module, and all names its own, it leaves too little
    memory."""
    sources = {
        path.relative_to(CORE.parent).with_suffix("").as_posix().replace("/", "."): path.read_text()
        for path in sorted(CORE.rglob("*.py"))
        if path.stat().st_size
    }
    files = merged(folded(sources, kept=GUEST))
    names = BorrowedNames(files, kept=in_files(GUEST) + DISK.read_text())
    return {
        f"lib/{module.replace('.', '/')}.mpy": compile_module(names.in_source(source), module)
        for module, source in files.items()
    }


@pytest.mark.parametrize(
    ("card", "lag_ms", "start_ms", "step_ms", "strikes"),
    [
        (SPLIT, 150, 5000, 1700, 4),
        # The longest light, the largest lag, and a tick count that wraps under way.
        (LONGEST, 2000, (1 << 30) - 400_000, 70_001, 1),
    ],
)
def test_from_strike_to_end_nothing_is_taken_from_the_heap(boot, card, lag_ms, start_ms, step_ms, strikes):
    given = f"CARD = {card!r}\nLAG_MS = {lag_ms}\nSTART_MS = {start_ms}\nSTEP_MS = {step_ms}\n"
    files = core_in_files() | {
        "memory_disk.mpy": compile_module(DISK, DISK.name),
        "guest.mpy": compile_module(given + in_files(GUEST), "guest.py"),
    }
    pico = boot("import guest\n", files)
    said = pico.wait_for("over", 30 * S)
    assert said.split(":", 1)[1].strip() == f"{strikes} strikes, then stopping"
