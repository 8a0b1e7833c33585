"""How `version-1.img.gz` was made: an evening at the box of commit d85c7af, on an emulated Pico.

What must live here: what hands, a PC and the plug did. It is kept to show where the image comes from: it
speaks to the box as it was then, and is run in a checkout of that commit, from its root:

    git worktree add ../then d85c7af && cd ../then && make .venv/ready-for-tests
    LAMPBLACK_UF2=… .venv/bin/python …/make_version_1.py version-1

It takes a quarter of an hour. The image that was used is MicroPython 1.22.2 for the Pico, the emulator is
`rp2040py` 0.3.6. The PC numbers its requests at random, so a second run may differ by a few ms where a hand
put the lamp out. The result is the file system as it lay in flash when the plug was pulled. Only the
firmware's own modules were taken off afterwards, and their blocks erased: they are no part of what a box
keeps.

Beside it a JSON with the same in plain words, as the firmware of then understood it: `bench`, `cards`,
`work` and `ledger` in the forms of that version's wire, `journal` as it was written, and `cut`: the run
that was cut off, stage by stage as that version planned it, what it had given, and what it said of it
when power came back.
"""

import gzip
import json
import sys
from pathlib import Path

sys.path.append("tests/emulated")

from box import PicoBox, firmware
from faults import records
from image import FS_SIZE, FS_START, LAYOUT, PROG_BYTES, find_uf2, read_fs
from littlefs import LittleFS, UserContext
from pico import MS, S

from timing_core.bench import Bench
from timing_core.printing_map import PrintingMap
from timing_core.run import FIT, compile_print, lamp_ms, stage_name

BLOCK = LAYOUT["fs_blocksize"]
SLOW = 5
"""Detents a second: one at a time, none of them paced."""

BENCH = {
    "filters": ["00", "0", "1", "2", "3", "4", "4 1/2", "5"],
    "lag_ms": 129,
    "lamp": "150 W opal, no. 2",
    "lead_ms": 1500,
    "new_base_ms": 7600,
    "new_dry_down_pm": 45,
    "new_filter": "3",
    "safelight": "exposing",
    "step": "1/3",
    "viewing_limit_s": 240,
    "volume": 4,
}
"""Set from the PC. The brightness is turned at the panel; the shortest light stays as it came, 100 ms."""


def marks(*rows: tuple) -> list[dict]:
    return [
        {"area": area, "stops120": stops120} | ({"filter": filter} if filter else {})
        for area, stops120, filter in rows
    ]


CARDS = [
    {
        "name": "allotment",
        "title": "Allotment, first frost",
        "tied": False,
        "dry_down": True,
        "dry_down_pm": 65,
        "facts": {"paper": "matt fibre, 18 x 24 cm", "notes": "hold the shed back early"},
        "passes": [
            {"filter": "3", "base_ms": 9100, "marks": marks(("shed", -30, ""), ("frost", 50, ""))},
        ],
    },
    {
        "name": "slate-roof",
        "title": "Slate roof",
        "tied": False,
        "dry_down": False,
        "dry_down_pm": 45,
        "facts": {},
        "passes": [{"filter": "2", "base_ms": 7300, "marks": []}],
    },
    {
        "name": "weir",
        "title": "Weir at dusk",
        "tied": True,
        "dry_down": False,
        "dry_down_pm": 80,
        "facts": {
            "negative": "roll 8, frame 19",
            "paper": "glossy fibre, 24 x 30 cm",
            "developer": "1+9, 2 min at 20 C",
            "height": "52 cm",
            "lens": "80 mm",
            "aperture": "f/8",
        },
        "passes": [
            {
                "filter": "00",
                "base_ms": 6200,
                "marks": marks(("steps", -40, ""), ("foam", -20, ""), ("far bank", 60, "")),
            },
            {
                "filter": "5",
                "base_ms": 4700,
                "marks": marks(("sluice", -30, ""), ("willow", 50, ""), ("sky", 80, "00"), ("hut", 40, "2")),
            },
        ],
    },
]


def file_system(box: PicoBox) -> bytes:
    return bytes(box.pico.mcu.flash[FS_START : FS_START + FS_SIZE])


class Evening:
    """The box, and what is looked at on the way: a press that went astray would show."""

    def __init__(self, uf2: Path) -> None:
        self.box = PicoBox(uf2, start=False)
        self.new = file_system(self.box)
        self.box.pico.start()
        self.box.wait_for_panel()
        self.box.wait_for_rest()

    def press(self, key: str) -> None:
        self.box.press(key)
        self.box.run_ms(700)

    def turn(self, detents: int) -> None:
        if detents:
            self.box.turn(detents, per_s=SLOW)
            self.box.run_ms(300)

    def on(self, state: str, sheet: str = "") -> None:
        told = self.box.client.state()
        self.box.run_ms(300)
        assert told["state"] == state, told
        assert not sheet or told["sheet"] == sheet, told

    def open_sheet(self, name: str) -> None:
        """From another sheet; the turn is there so that BACK does not undo."""
        sheets = ["print", "strip", "shelf", "bench"]
        here = sheets.index(self.box.client.state()["sheet"])
        self.turn(1)
        self.press("back")
        self.turn(sheets.index(name) - here)
        self.press("press")
        self.on("browse", name)

    def load(self, number: int) -> None:
        """The card of this number, counted from 0 by name."""
        self.open_sheet("shelf")
        self.turn(number)
        self.press("press")
        self.on("browse", "print")

    def give(self) -> None:
        """EXPOSE, and the light to its end."""
        self.box.press("expose")
        self.box.wait_lamp(1, 1000)
        self.box.wait_lamp(0, 60_000)
        self.box.run_ms(1500)


def spend(evening: Evening) -> None:
    box, client = evening.box, evening.box.client
    client.bench_set(BENCH)
    for card in CARDS:
        client.push(card)
    evening.open_sheet("bench")
    evening.turn(7)
    evening.press("press")
    evening.turn(1)
    evening.press("press")
    assert client.bench_get()["brightness"] == 3

    # 1: a whole print of the plain card, with a hold in it
    evening.load(1)
    evening.press("expose")
    box.press("expose")
    box.wait_lamp(1, 1000)
    box.run_ms(3000)
    evening.press("expose")
    evening.on("held")
    evening.give()
    evening.on("browse")

    # 2: a run of the card with dry-down that is left in mid-base
    evening.load(0)
    evening.press("expose")
    box.press("expose")
    box.wait_lamp(1, 1000)
    box.run_ms(4000)
    evening.press("back")
    evening.on("left")
    evening.press("back")
    evening.on("browse")

    # 3: a strip for the split grade's first pass, and the patch before the middle one chosen
    evening.load(2)
    evening.open_sheet("strip")
    evening.press("expose")
    for _ in range(7):
        evening.give()
    evening.on("choose")
    evening.turn(-2)
    evening.press("press")
    evening.on("browse", "print")

    # The map is changed at the panel: the base of pass 1 by +1/3 (the other is tied to it), the burn of
    # the far bank by +1/3, dry-down on.
    for down, detents in ((1, 1), (3, 1), (16, 1)):
        evening.turn(down)
        evening.press("press")
        evening.turn(detents)
        evening.press("press")
    evening.on("browse", "print")


def planned(box: PicoBox) -> tuple[list, int]:
    kept = records(box)
    bench = Bench()
    bench.set_all(json.loads(kept["bench"]))
    return compile_print(PrintingMap.from_dict(json.loads(kept["work"])), bench), bench.get("lag_ms")


def cut_in(evening: Evening, area: str) -> int:
    """Print up to the burn of `area`, until the plug is pulled; returns ms of light it had got."""
    box = evening.box
    evening.press("expose")
    for stage in planned(box)[0][1:]:
        if stage.area == area:
            break
        if stage.kind == FIT:
            evening.press("expose")
        else:
            evening.give()
    evening.on("ready")
    box.press("expose")
    struck_ns = box.wait_lamp(1, 1000)
    box.run_ms(1000)
    return (box.now_ns - struck_ns) // MS


def in_words(box: PicoBox, lit_ms: int) -> dict:
    kept = records(box)
    stages, lag_ms = planned(box)
    journal = json.loads(kept["journal"])
    done = {
        int(at): (int(given), int(strikes))
        for at, given, strikes in (row.split() for row in journal["done"].split(";") if row)
    }
    return {
        "bench": json.loads(kept["bench"]),
        "cards": [json.loads(kept[key]) for key in sorted(kept) if key.startswith("card-")],
        "work": json.loads(kept["work"]),
        "ledger": [json.loads(kept[key]) for key in sorted(kept) if key.startswith("ledger-")],
        "journal": journal,
        "cut": {
            "stages": [
                {
                    "stage": stage_name(stage),
                    "filter": stage.filter,
                    "light_ms": stage.light_ms,
                    "lamp_ms": lamp_ms(stage.light_ms, lag_ms) if stage.light_ms else 0,
                    "given_ms": done.get(at, (0, 0))[0],
                    "strikes": done.get(at, (0, 0))[1],
                }
                for at, stage in enumerate(stages)
            ],
            "cut_stage": journal["stage"],
            "lamp_was_lit_ms": lit_ms,
        },
    }


def without_firmware(flash: bytes, new: bytes) -> bytes:
    """The file system without the firmware; its blocks, which are as they were on the `new` board, erased."""
    context = UserContext(buffsize=FS_SIZE)
    context.buffer[:] = flash
    fs = LittleFS(
        context=context, mount=False, block_size=BLOCK, block_count=FS_SIZE // BLOCK, prog_size=PROG_BYTES
    )
    fs.mount()
    for path in firmware():
        fs.remove(path)
    for folder in {path.rpartition("/")[0] for path in firmware()} - {""}:
        fs.rmdir(folder)
    fs.unmount()
    image = bytearray(context.buffer)
    # The first two are the root's.
    for at in range(2 * BLOCK, FS_SIZE, BLOCK):
        if flash[at : at + BLOCK] == new[at : at + BLOCK]:
            image[at : at + BLOCK] = b"\xff" * BLOCK
    return bytes(image)


def main() -> None:
    uf2, reason = find_uf2()
    assert uf2, reason
    evening = Evening(uf2)
    box = evening.box
    spend(evening)
    lit_ms = cut_in(evening, "willow")
    flash = file_system(box)
    words = in_words(box, lit_ms)
    box.pico.power_cycle(S)
    box.wait_for_panel()
    box.run_ms(1000)
    told = box.client.state()
    words["cut"]["said"] = told["message"]
    words["cut"]["state"] = told["state"]
    image = without_firmware(flash, evening.new)
    kept = {path: data for path, data in read_fs(flash).items() if path.startswith("keep/")}
    assert read_fs(image) == kept
    out = Path(sys.argv[1])
    out.with_suffix(".img.gz").write_bytes(gzip.compress(image, 9, mtime=0))
    out.with_suffix(".json").write_text(json.dumps(words, indent=1) + "\n")
    print(len(kept), "files,", out.with_suffix(".img.gz").stat().st_size, "bytes")


if __name__ == "__main__":
    main()
