"""What the documents take from the code: pictures of the panel, the state diagram, the table of settings,
what a box answers on the wire.

What must live here: how each is made. `make diagram` writes them all; tests/test_docs.py makes them
again and compares. A made piece of a page stands between `<!-- made: NAME -->` and `<!-- end of NAME -->`.
In a block of `wire` the requests are the page's own, and everything else is made.
"""

import hashlib
import re
from binascii import crc32
from functools import partial
from io import BytesIO
from pathlib import Path

from PIL import Image

from host_sim.box.frame_pictures import png_bytes
from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.script import Player
from host_sim.box.session import Session
from host_sim.darkroom.ideal_print import ideal_greys
from host_sim.darkroom.planned_light import planned_print
from host_sim.optics import negatives
from lampblack.cards import card_file as cards
from lampblack.cards import trays_file
from lampblack.cards.areas_file import of_outlines
from lampblack.record.contents import contents_of
from lampblack.record.page_drawing import drawn
from lampblack.record.page_layout import laid_out
from lampblack.sim import state_diagram as diagram
from lampblack.sim.published_papers import record_of
from lampblack.sim.simulator import build
from lampblack.text.settings import AUTO, MEANINGS, setting_text
from timing_core.canonical import encode
from timing_core.light.bench import Bench, setting, setting_keys
from timing_core.light.printing_map import Mark, PrintingMap
from timing_core.light.stops import scale
from timing_core.wire.framing import frame

DOCS = Path(__file__).parent
IMAGES = DOCS / "images"
RECORD_PICTURE = DOCS / "screens" / "printing-record.png"
EXAMPLES = Path(cards.__file__).parent.parent / "examples"
SCALE = 4
LAG_MS = 124
SETTLED_MS = 1000
"""Nobody presses sooner after a light or a start."""

# Sessions at the simulated panel, in the words of its scripts and one more: `picture NAME` takes one.
# EXPOSE and LAMP come a second after a light, a filter or a start: before that they would be refused.
PRINTING = """
back
picture screens
dial 5
press
picture shelf
press
dial 1
picture print
press
+1 dial 2
picture change
back
expose
picture wait
wait 1
picture ready
expose
wait until left 9.8
picture exposing
expose
wait 1
picture held
lamp
picture paper
back
picture kept
dial 2
press
wait 1
expose
picture another
back
back
press
wait 1
expose
wait until left 2
reset
wait 1
picture power
"""
STRIP = """
back
dial 1
press
picture strip
expose
wait 1
expose
wait until ready
wait 1
expose
wait until ready
wait 1
picture patch
expose
wait until ready
wait 1
expose
wait until ready
wait 1
expose
wait until choose
dial 1
picture choose
press
wait 1
back
dial 9
press
picture ledger
back
dial -7
press
lamp
wait 1
lamp
wait 3
picture viewing
"""
TRAYS = """
back
dial 3
press
press
+61 press
+11 dial 1
press
wait 8
dial 1
picture trays
"""
REFUSED = """
back
dial 5
press
press
dial 1
press
+2 dial -15
press
expose
picture refused
"""
LIGHT_CELL = """
back
dial 4
press
wait 5
lamp
wait 5
press
wait 5
picture light-cell-lit
press
lamp
wait 2
picture light-cell
"""
SCRIPTS = (PRINTING, STRIP, TRAYS, REFUSED, LIGHT_CELL)


def session_of_pictures() -> Session:
    """The box that each of the SCRIPTS is played to: the example cards on its shelf, a lag in its bench."""
    session = Session(MemoryDisk(), desk_platform(), panel_ms=100)
    session.power_up()
    session.advance(SETTLED_MS)
    session.box.asked.set_bench({"lag_ms": LAG_MS})
    for path in sorted(EXAMPLES.glob("*.toml")):
        card = PrintingMap.from_dict(cards.load(path))
        session.box.shelf.keep_text(card.name, card.text())
    totals = [scale(1000, 40 * patch) for patch in range(11)]
    session.box.store.put("light-cell", encode([["", "2", 36_000, 6, totals]]))
    session.read_cell = partial(_read_cell, session)
    return session


def _read_cell(session: Session, range: int, from_ms: int, to_ms: int) -> int:
    """A cell without noise, which after 6 s under the lamp is moved to a place with 3 1/2 stops more."""
    if not session.lamp.lit:
        return 3
    return 3 + scale(3000, 0 if to_ms < session.lamp.lit_ms + 6000 else 420)


def pictures() -> dict[str, bytes]:
    """Every picture as a PNG file, by name."""
    found: dict[str, bytes] = {}
    for script in SCRIPTS:
        session = session_of_pictures()
        player = Player(session)
        for line in script.split("\n"):
            if line.startswith("picture "):
                found[line.split()[1]] = png_bytes(bytes(session.frame()), SCALE)
            else:
                player.play(line)
    return found


def blocks() -> dict[str, str]:
    """Every made piece of a page, by name."""
    return {"states": _states(), "settings": _settings()}


def _states() -> str:
    return "\n".join(["```mermaid", *diagram.lines(), "```"])


def _settings() -> str:
    rows = [
        "| key | on the panel | takes | at first | what it is |",
        "| --- | --- | --- | --- | --- |",
    ]
    for key, label, kind, default, limits in map(setting, setting_keys()):
        meaning = MEANINGS[key]
        first = setting_text(key, default) or "nothing"
        rows.append(f"| `{key}` | {label} | {_takes(key, kind, limits)} | {first} | {meaning} |")
    return "\n".join(rows)


def _takes(key: str, kind: str, limits: tuple) -> str:
    if kind == "choice":
        return ", ".join(limits)
    if kind in ("filters", "areas"):
        most = f", {limits[2]} characters in all" if limits[2] else ""
        return f"{limits[0]} to {limits[1]} names, with commas{most}"
    if kind in ("filter", "text"):
        return f"up to {limits[1]} characters"
    low = f"0 ms ({AUTO})" if kind == "auto ms" else setting_text(key, limits[0])
    return f"{low} to {setting_text(key, limits[1])}"


# --- the wire

SPOILED = "00000000"
"""A request with this for its CRC-32 is sent with it."""

CRASH = (
    "Traceback (most recent call last):",
    '  File "board/runner.py", line 68, in run',
    "OSError: [Errno 5] EIO",
)
"""One crash, as MicroPython on a board writes it."""

IDENTITY = "e66164084373a52c"
"""Of the form that a board gives: its flash chip's own number, in hex."""


class Evening:
    """A little evening at a simulated box that tells of itself what a board would.

    A card on the shelf and at work, and a long print of another in the ledger.
    """

    def __init__(self) -> None:
        self.said: list[bytes] = []
        self._disk = MemoryDisk()
        self._session = Session(self._disk, desk_platform(), identity=IDENTITY)
        self._session.send = self.said.append
        self.start_again()
        mill = PrintingMap.new(14500, "2", 80)
        mill.name, mill.title = "mill", "Mill, winter"
        mill.dry_down = True
        mill.facts = {"paper": "RC pearl"}
        mill.add_mark(0, Mark("race", -40))
        mill.add_mark(0, Mark("wheel", -20, "", True))
        mill.add_mark(0, Mark("sky", 80, "0"))
        wall = PrintingMap.new(11800, "3", 80)
        wall.name, wall.title = "dry-wall", "Dry-stone wall"
        wall.set_pass_count(2)
        for number in range(20):
            wall.add_mark(number // 10, Mark(f"stone {number + 1}", 25 + number))
        self._session.box.shelf.keep_text(mill.name, mill.text())
        self._session.box.papers.keep_text("vc-2019", encode(record_of("vc-2019")))
        self._session.box.work.take(wall)
        self.to_the_end()
        self.start_again()
        self._session.box.work.take(mill)

    def start_again(self) -> None:
        self._session.reset()
        box = self._session.box
        box.crash_lines = lambda: list(CRASH)
        box.health = _health_of_a_board
        self._session.advance(self._session.now_ms + SETTLED_MS)

    def use_all_contacts(self) -> None:
        for key in ("expose", "pedal", "lamp", "back", "press"):
            self._session.input(key)
        self._session.input("dial", 3)

    def spoil_settings(self) -> None:
        """The newest copy of the settings goes bad, and the box finds out when it starts."""
        copies = [name for name in self._disk.names() if name.startswith("bench.")]
        newest = max(copies, key=lambda name: self._disk.files[name][:8])
        self._disk.write(newest, self._disk.files[newest][:-1])
        self.start_again()

    def light_on(self) -> None:
        for _ in range(3):
            if not self._session.box.lit:
                self._press("expose")
        assert self._session.box.lit, self._session.box.summary()

    def to_the_end(self) -> None:
        """Give what the print still has to get, all of it where none is under way."""
        while True:
            self.light_on()
            self._session.advance(self._session.now_ms + 60_000)
            if not self._session.box.run.stages:
                return

    def hear(self, line: bytes) -> str:
        """What is said to a line (without its newline): one line, or "" where there is no answer."""
        self.said.clear()
        self._session.input("line", line)
        return b"".join(self.said).decode("ascii")

    def _press(self, key: str) -> None:
        self._session.input(key)
        self._session.advance(self._session.now_ms + SETTLED_MS)


def _health_of_a_board() -> dict:
    measured = (DOCS / "measurements.md").read_text(encoding="utf-8")
    (release,) = re.findall(r"on MicroPython (\S+) for", measured)
    (free_bytes,) = re.findall(r"^\| after the start \| (\d+) \|$", measured, flags=re.MULTILINE)
    return {
        "board": "Raspberry Pi Pico with RP2040",
        "micropython": release,
        "restarts": 0,
        "display": {"answers": True, "sda": 16, "scl": 17},
        "free_bytes": int(free_bytes),
    }


HAPPENS = {
    "* the light is on": Evening.light_on,
    "* the print is given to its end": Evening.to_the_end,
    "* the box is started again": Evening.start_again,
    "* keys and pedal are pressed once each, and the dial is turned by three": Evening.use_all_contacts,
    "* the newest copy of the settings goes bad, and the box is started again": Evening.spoil_settings,
}
"""What may happen at the box between two requests, in the words of the page."""


def _answered(block: str, evening: Evening) -> str:
    """The requests in a block of `wire`, each with its true CRC-32 and followed by what the box says."""
    lines = []
    for line in block.splitlines():
        if line.startswith("> "):
            payload, _, crc = line[2:].rpartition(" ")
            sent = payload.encode("ascii")
            framed = sent + b" " + SPOILED.encode() if crc == SPOILED else frame(sent, crc32)[:-1]
            lines.append("> " + framed.decode())
            lines += ["< " + reply for reply in evening.hear(framed).splitlines()]
        elif line.startswith("* "):
            HAPPENS[line](evening)
            lines.append(line)
        elif not line.startswith("< "):
            raise ValueError(f"'{line}' in a block of wire: begin it with >, < or *")
    return "".join(line + "\n" for line in lines)


def with_blocks(page: str) -> str:
    """`page` with every made piece as it is made today. KeyError for one that nobody makes."""
    made = blocks()

    def today(match: re.Match[str]) -> str:
        return f"{match[1]}\n{made[match[2]]}\n{match[3]}"

    page = re.sub(r"(<!-- made: (\w+) -->)\n.*?(<!-- end of \2 -->)", today, page, flags=re.DOTALL)
    if "\n```wire\n" not in page:
        return page
    evening = Evening()
    return re.sub(
        r"(?<=\n```wire\n)(.*?)(?=^```$)",
        lambda match: _answered(match[1], evening),
        page,
        flags=re.DOTALL | re.MULTILINE,
    )


def record_picture() -> bytes:
    """The printing record of the sheet that `lampblack demo` makes, given by ideal hands, as a PNG. Needs the
    extra `lab`."""
    card = cards.load(EXAMPLES / "workroom.toml")
    map, film, house = PrintingMap.from_dict(card), negatives.negative("workroom"), build("tungsten").house
    doses = {key: ms * house.lux / 1000 for key, ms in planned_print(map).items()}
    contents = contents_of(
        card,
        Bench(),
        of_outlines(card, film.outlines),
        trays_file.SEQUENCES.load(EXAMPLES.parent / "trays" / "fibre.toml"),
        edition=(7, 25),
        date="27 November 2026",
        digest=hashlib.sha256(encode(card)).hexdigest(),
    )
    greys = ideal_greys(doses, film, house.paper)
    (page,) = laid_out(contents, "a4", (greys.shape[1], greys.shape[0]))
    (png,) = drawn([page], "png", greys, contents.title)
    with Image.open(BytesIO(png)) as large:
        small = large.resize((large.width // 3, large.height // 3), Image.Resampling.LANCZOS)
    file = BytesIO()
    small.quantize(32).save(file, "PNG", optimize=True)
    return file.getvalue()


def main() -> None:
    for name, png in pictures().items():
        (IMAGES / f"{name}.png").write_bytes(png)
    RECORD_PICTURE.write_bytes(record_picture())
    for path in DOCS.glob("*.md"):
        page = path.read_text(encoding="utf-8")
        if with_blocks(page) != page:
            path.write_text(with_blocks(page), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
