"""The documents say what the code does: commands are run, pictures drawn again, names and links looked up.

What is shown is checked against the program itself; that what it says is true is for the other tests.
"""

import ast
import asyncio
import inspect
import json
import math
import re
import runpy
import shlex
import shutil
import socket
import sys
import threading
import zlib
from collections.abc import AsyncIterator, Iterable, Iterator
from contextlib import AbstractAsyncContextManager, asynccontextmanager, contextmanager
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from queue import SimpleQueue

import numpy as np
import pytest
import typer
from PIL import Image

from host_sim.box.frame_pictures import half_blocks
from host_sim.box.live import Live
from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.script import KEYS, Player
from host_sim.box.session import Session, Watcher
from host_sim.darkroom.room import Room
from host_sim.darkroom.timeline import Timeline
from host_sim.optics import negatives
from host_sim.optics.feed import RELAYS
from host_sim.optics.filament import EYE, PAPER, PAPER_BLUE, PAPER_GREEN, Filament
from host_sim.optics.lamps import LAMPS, lag_ms
from lampblack import cli
from lampblack.cards import card_file as cards
from lampblack.sim.page_server import Page
from lampblack.sim.simulator import build
from lampblack.wire.push import requests_for
from tests.box_model import last_record
from tests.panel_texts import CORE, Census, NotFollowed, core_census, core_messages
from tests.simulated import Darkroom
from tests.test_screens import Seen
from timing_core.light.bench import setting, setting_keys
from timing_core.light.plan import compile_print
from timing_core.light.printing_map import FACTS, PASSES_MAX, Mark, PrintingMap
from timing_core.machine.transitions import STATES
from timing_core.panel import undo
from timing_core.panel.listen_screen import SOUND_NAMES
from timing_core.panel.sounds import SOUNDS
from timing_core.wire.framing import LineReader
from timing_core.wire.methods import METHODS

ROOT = Path(__file__).parent.parent
DOCS = ROOT / "docs"
EXAMPLES = Path(cards.__file__).parent.parent / "examples"
PAGES = sorted(
    [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "hardware").glob("*.md"), *DOCS.glob("*.md")]
)
MADE = runpy.run_path(str(DOCS / "made.py"))

every_page = pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))


def text_of(page: Path) -> str:
    return page.read_text(encoding="utf-8")


def fences(page: Path) -> list[tuple[str, str]]:
    """(words after the opening fence, lines inside) of every fenced block."""
    return re.findall(r"^```([^\n]*)\n(.*?)^```$", text_of(page), flags=re.DOTALL | re.MULTILINE)


def prose(page: Path) -> str:
    """The page without its fenced blocks."""
    return re.sub(r"^```.*?^```$", "", text_of(page), flags=re.DOTALL | re.MULTILINE)


def first_cells(page: Path, heading: str) -> list[str]:
    """The first cells of the rows of the tables under the heading that has this text."""
    section = re.split(r"^#+ ", prose(page), flags=re.MULTILINE)
    (body,) = [part for part in section if part.split("\n")[0] == heading]
    rows = re.sub(r"^\|.*\n\| ---.*\n", "", body, flags=re.MULTILINE).split("\n")
    return [row.split(" | ")[0].removeprefix("| ") for row in rows if row.startswith("| ")]


# --- the README


def test_the_readme_is_short():
    assert len(text_of(ROOT / "README.md").split()) < 900


def test_the_readme_has_what_a_newcomer_needs():
    text = text_of(ROOT / "README.md")
    for needed in ("make demo", "make test", "docs/images/", "docs/safety.md", "DEVELOPERS.md", "(LICENSE)"):
        assert needed in text
    assert (ROOT / "LICENSE").read_text().startswith("MIT License")


def test_the_first_card_of_the_readme_is_explained_in_its_true_figures(tmp_path):
    page = ROOT / "README.md"
    (toml,) = [inside for kind, inside in fences(page) if kind == "toml"]
    # But for its first line, which is for editors.
    assert toml == text_of(EXAMPLES / "breakwater.toml").partition("\n\n")[2]
    path = tmp_path / "breakwater.toml"
    path.write_text(toml)
    map = PrintingMap.from_dict(cards.load(path))
    assert f"{map.base_ms(0) / 1000:g} s through filter {map.passes[0].filter}" in prose(page)
    for mark in map.passes[0].marks:
        hundredths = math.floor(abs(map.mark_ms(0, mark)) / 10 + 0.5)
        assert f"{hundredths / 100:.2f} s" in prose(page)


def test_the_readme_shows_the_plan_of_its_first_card(capsys):
    """To the letter, for that very card; `test_commands_do_what_the_page_shows` runs all the others."""
    page = ROOT / "README.md"
    ((_, shown),) = [block for block in fences(page) if block[0] == "console"]
    command, _, output = shown.partition("\n")
    assert command == "$ lampblack plan tools/lampblack/examples/breakwater.toml"
    assert cli.run(["plan", str(EXAMPLES / "breakwater.toml")]) == 0
    assert lines(capsys.readouterr().out) == lines(output)


@pytest.mark.parametrize("path", sorted(EXAMPLES.glob("*.toml")), ids=lambda path: path.stem)
def test_an_example_card_belongs_to_a_negative_that_comes_with_the_simulator(path):
    card = cards.load(path)
    film = negatives.negative(card["name"])
    assert card["title"] == film.title
    areas = {mark["area"] for own in card["passes"] for mark in own["marks"]}
    assert areas <= set(film.outlines), "a sheet of it gets a verdict on every area"
    bases = [own["base_ms"] for own in card["passes"]]
    assert 16_000 not in bases


def test_the_readmes_card_is_of_the_negative_that_is_in_at_the_start():
    name = inspect.signature(Room).parameters["negative"].default
    assert f"examples/{name}.toml --port" in text_of(ROOT / "README.md")


def test_the_lag_that_pages_tell_is_the_simulated_lamps():
    told = set()
    for page in (ROOT / "README.md", DOCS / "simulator.md", DOCS / "bench-settings.md"):
        told |= set(re.findall(r"lag_ms[=\":]+(\d+)", text_of(page)))
    assert told == {str(round(lag_ms(LAMPS["tungsten"], RELAYS["mechanical"])))}


# --- links and names


def anchors(page: Path) -> set[str]:
    """The anchors of a page's headings, made as code forges make them."""
    found = set()
    for heading in re.findall(r"^#+ (.*)$", prose(page), flags=re.MULTILINE):
        kept = "".join(ch for ch in heading.lower() if ch.isalnum() or ch in " -_")
        found.add(kept.replace(" ", "-"))
    return found


@every_page
def test_links_lead_somewhere(page):
    links = re.findall(r"\]\(([^)\s]+)\)", prose(page))
    for link in links:
        if re.match(r"[a-z]+:", link):
            continue
        name, _, anchor = link.partition("#")
        target = (page.parent / name).resolve() if name else page
        assert target.exists(), link
        assert ROOT in target.parents, link
        assert not anchor or anchor in anchors(target), link


def test_every_page_is_reached_from_the_readme():
    seen, ahead = set(), [ROOT / "README.md"]
    while ahead:
        page = ahead.pop()
        if page in seen:
            continue
        seen.add(page)
        for link in re.findall(r"\]\(([^)#\s]+\.md)", text_of(page)):
            ahead.append((page.parent / link).resolve())
    assert set(PAGES) <= seen


@every_page
def test_files_that_are_named_exist(page):
    suffixes = r"\.(?:py|js|md|json|toml)"
    for name in re.findall(
        rf"`((?:firmware|host_sim|tools|tests|docs|hardware)/[\w./-]+?{suffixes})`", text_of(page)
    ):
        assert (ROOT / name).is_file(), name
    for name in re.findall(r"`((?:firmware|host_sim|tools|tests|docs|hardware)/[\w/-]+)`", text_of(page)):
        assert (ROOT / name).is_dir(), name


def names_in(path: Path) -> set[str]:
    """What a module defines: functions, classes, constants, and methods as `Class.method`; of a script of the
    page its functions."""
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".js":
        return set(re.findall(r"^(?:export )?(?:async )?function (\w+)\(", text, flags=re.MULTILINE))
    found = set()
    for node in ast.parse(text).body:
        if isinstance(node, ast.Assign):
            found |= {target.id for target in node.targets if isinstance(target, ast.Name)}
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            found.add(node.name)
            if isinstance(node, ast.ClassDef):
                members = [
                    inside
                    for inside in node.body
                    if isinstance(inside, ast.FunctionDef | ast.AsyncFunctionDef)
                ]
                found |= {f"{node.name}.{member.name}" for member in members}
    return found


PLACE = r"`([\w/]+\.(?:py|js))` `([\w.]+)`"
"""A file and a name in it."""


@every_page
def test_functions_that_are_named_with_their_file_exist(page):
    for file, name in re.findall(PLACE, text_of(page)):
        assert name in names_in(ROOT / file), f"{file} {name}"


# --- the walks through the files

Place = tuple[str, str]
"""A file, and a function in it as Python calls it."""
NOT_CALLED = {"TRANSITIONS"}


def walk(heading: str) -> list[Place]:
    """The places in the table under this heading, but for what runs in a browser or a terminal."""
    section = re.split(r"^## ", text_of(ROOT / "DEVELOPERS.md"), flags=re.MULTILINE)
    (body,) = [part for part in section if part.split("\n")[0] == heading]
    table = "\n".join(line for line in body.split("\n") if line.startswith("|"))
    return [
        (str(ROOT / file), name)
        for file, name in re.findall(PLACE, table)
        if file.endswith(".py") and not file.endswith("/terminal.py") and name not in NOT_CALLED
    ]


@contextmanager
def noted() -> Iterator[list[Place]]:
    """Every call while inside, here and in threads that are begun there."""
    passed: list[Place] = []

    def note(frame, event, argument):
        if event == "call":
            passed.append((frame.f_code.co_filename, frame.f_code.co_qualname))

    threading.setprofile(note)
    sys.setprofile(note)
    try:
        yield passed
    finally:
        sys.setprofile(None)
        threading.setprofile(None)


def missed(chain: list[Place], passed: list[Place]) -> list[Place]:
    """The places of a chain that were not passed in its order."""
    ahead = iter(passed)
    return [place for place in chain if place not in ahead]


@contextmanager
def in_a_thread(live: Live, door: AbstractAsyncContextManager[str]) -> Iterator[str]:
    """Time passes for `live` in a thread, as long as `door` to it is open; gives the door's address."""
    opened: SimpleQueue = SimpleQueue()

    async def run() -> None:
        async with door as address:
            opened.put((address, asyncio.get_running_loop()))
            await live.run()

    thread = threading.Thread(target=lambda: asyncio.run(run()))
    thread.start()
    address, loop = opened.get(timeout=60)
    try:
        yield address
    finally:
        loop.call_soon_threadsafe(live.end)
        thread.join()


@asynccontextmanager
async def port_of(live: Live) -> AsyncIterator[str]:
    yield f"socket://127.0.0.1:{await live.open_socket(0)}"
    live.close()


def breakwater() -> PrintingMap:
    return PrintingMap.from_dict(cards.load(EXAMPLES / "breakwater.toml"))


def test_one_press_is_followed_all_the_way():
    """From one press to the ledger, the places that the chain names are truly passed, in its order."""
    chain = walk("Follow one press of EXPOSE through the files")
    darkroom = build()
    session = darkroom.session
    session.power_up()
    session.box.work.take(breakwater())
    player = Player(session)
    player.play("wait 1\nexpose\nwait 1")
    with noted() as passed:
        Live(session, clock=lambda: 0).input("expose")
        player.play("wait 1")
        half_blocks(bytes(session.frame()))
        player.play("wait until ready\nwait 1\nexpose\nwait until browse")
    assert len(chain) >= 18
    assert missed(chain, passed) == []


def test_a_push_is_followed_all_the_way():
    """From the command to the shelf of a box at a port, and back."""
    chain = walk("Follow a push through the files")
    session = build().session
    session.power_up()
    live = Live(session)
    with noted() as passed, in_a_thread(live, port_of(live)) as port:
        passed.clear()
        assert cli.run(["push", str(EXAMPLES / "breakwater.toml"), "--port", port]) == 0
        assert session.box.shelf.names() == ["breakwater"]
    assert len(chain) >= 22
    assert missed(chain, passed) == []


def test_a_dodge_by_hand_is_followed_all_the_way():
    """From the light to the verdict, in a darkroom that is served to one window; without its scripts."""
    chain = walk("Follow a dodge by hand through the files")
    darkroom = build("ideal")
    session = darkroom.session
    timeline = Timeline(session)
    session.watchers.append(timeline)
    room = Room(session, darkroom.house, requests_for)
    session.power_up()
    session.box.work.take(breakwater())
    live = Live(session, speed=0)
    page = Page(live, room, timeline, [])
    with (
        noted() as passed,
        in_a_thread(live, page.served()) as address,
        Darkroom(f"{address} socket://none").window() as window,
    ):
        window.do("fit", filter="2")
        window.do("sheet")
        window.do("step", ms=1000)
        window.key("expose")
        window.do("step", ms=1000)
        window.until_box("ready")
        passed.clear()
        window.key("expose")
        window.until_box("exposing")
        dodge = session.box.run.stage.windows[0]
        window.do("step", ms=dodge.open_ms)
        window.until(lambda told: told.state["shaded"] == [dodge.area])
        window.do("shade", shape="disc", x=0.5, y=0.5, size=0.2, angle=90)
        window.do("step", ms=dodge.close_ms - dodge.open_ms)
        window.do("shade", shape="none")
        window.do("step", ms=30_000)
        window.until_box("ready")
        window.do("develop", dry=False)
        window.until(lambda told: told.state["verdict"])
    assert len(chain) >= 20
    assert missed(chain, passed) == []


def test_a_place_that_is_passed_too_early_is_missed():
    assert missed(["a", "b", "c"], ["a", "x", "b", "b", "c"]) == []
    assert missed(["a", "c", "b"], ["a", "b", "c"]) == ["b"]
    assert missed(["a", "z"], ["a", "b"]) == ["z"]


# --- commands


def commands(page: Path) -> list[tuple[str, str | None]]:
    """Every `lampblack` and `export` of a page in order, with the output it is shown with (None: without)."""
    found: list[tuple[str, str | None]] = []
    for kind, inside in fences(page):
        if kind == "sh":
            found += [
                (line, None) for line in inside.split("\n") if line.startswith(("lampblack ", "export "))
            ]
        elif kind == "console":
            command, _, output = inside.partition("\n")
            assert command.startswith("$ lampblack "), command
            found.append((command.removeprefix("$ "), output))
    return found


@pytest.fixture
def port():
    """The address of a simulated box: tools come one after another, the box goes on."""
    session = Session(MemoryDisk(), desk_platform())
    session.power_up()
    listener = socket.create_server(("127.0.0.1", 0))

    over = threading.Event()

    def serve() -> None:
        while not over.is_set():
            connection, _ = listener.accept()
            reader = LineReader()
            session.send = connection.sendall
            with connection:
                while data := connection.recv(4096):
                    reader.feed(data)
                    while (line := reader.next_line()) is not None:
                        session.input("line", line)

    thread = threading.Thread(target=serve)
    thread.start()
    yield f"socket://127.0.0.1:{listener.getsockname()[1]}"
    over.set()
    socket.create_connection(listener.getsockname()).close()
    thread.join()
    listener.close()


def lines(text: str) -> list[str]:
    return [line.rstrip() for line in text.rstrip().split("\n")]


def parse_only(arguments: list[str]) -> None:
    """Parse a command without running it: for what needs a terminal or never ends."""
    group = typer.main.get_command(cli.app)
    context = group.make_context("lampblack", list(arguments))
    name, command, rest = group.resolve_command(context, arguments)
    command.make_context(name, rest, parent=context)


@every_page
def test_commands_do_what_the_page_shows(page, port, tmp_path, monkeypatch, capsys):
    """In a copy of what comes along, against a box of its own."""
    for folder in ("examples", "papers", "trays"):
        shutil.copytree(EXAMPLES.parent / folder, tmp_path / "tools" / "lampblack" / folder)
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("LAMPBLACK_PORT", raising=False)
    for kind, inside in fences(page):
        if kind.startswith("script "):
            Path(kind.split()[1]).write_text(inside)
    for command, output in commands(page):
        arguments = shlex.split(command.replace("socket://localhost:7327", port))[1:]
        if command.startswith("export "):
            monkeypatch.setenv(*arguments[0].split("="))
            continue
        if arguments[0] == "sim" and "--script" not in arguments:
            parse_only(arguments)
            continue
        code = cli.run(arguments)
        said = capsys.readouterr()
        assert code == 0, f"{command}: {said.err}"
        if output is not None:
            assert lines(said.out) == lines(output), command


@every_page
def test_commands_named_in_passing_exist(page):
    group = typer.main.get_command(cli.app)
    context = typer.Context(group)
    for words in re.findall(r"`lampblack ([a-z]+)", prose(page)):
        assert words in group.list_commands(context), words


def test_every_command_is_in_some_page():
    group = typer.main.get_command(cli.app)
    said = "\n".join(text_of(page) for page in PAGES)
    for name in group.list_commands(typer.Context(group)):
        assert f"lampblack {name}" in said, name


@every_page
def test_make_targets_that_are_named_exist(page):
    makefile = (ROOT / "Makefile").read_text()
    named = re.findall(r"`make ([a-z-]+)", prose(page))
    for kind, inside in fences(page):
        named += re.findall(r"^make ([a-z-]+)", inside, flags=re.MULTILINE) if kind == "sh" else []
    for target in named:
        assert re.search(rf"^{target}:", makefile, flags=re.MULTILINE), target


# --- what is made from the code


@pytest.mark.parametrize("page", sorted(DOCS.glob("*.md")), ids=lambda page: page.name)
def test_made_pieces_are_as_they_are_made_today(page):
    assert MADE["with_blocks"](text_of(page)) == text_of(page), "stale: run `make diagram`"


def test_every_made_piece_is_shown():
    said = "\n".join(text_of(page) for page in PAGES)
    for name, inside in MADE["blocks"]().items():
        assert f"<!-- made: {name} -->\n{inside}\n<!-- end of {name} -->" in said


def test_the_state_diagram_is_what_the_command_prints(capsys):
    assert cli.run(["diagram"]) == 0
    (diagram,) = [inside for kind, inside in fences(DOCS / "states.md") if kind == "mermaid"]
    assert diagram == capsys.readouterr().out


def test_no_label_of_the_state_diagram_ends_early():
    """In Mermaid's state diagrams a semicolon ends the statement, and the rest becomes states of its own."""
    (diagram,) = [inside for kind, inside in fences(DOCS / "states.md") if kind == "mermaid"]
    assert [line for line in diagram.split("\n") if ";" in line] == []


def read_png(data: bytes) -> tuple[bytes, bytes, bytes]:
    """Header, palette and pixels: what a picture shows, however well its packer packs."""
    chunks = {}
    at = 8
    while at < len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        chunks[data[at + 4 : at + 8]] = data[at + 8 : at + 8 + length]
        at += 12 + length
    return chunks[b"IHDR"], chunks[b"PLTE"], zlib.decompress(chunks[b"IDAT"])


def test_pictures_are_what_the_core_draws_now():
    drawn = MADE["pictures"]()
    assert {path.stem for path in MADE["IMAGES"].iterdir()} == set(drawn)
    for name, png in drawn.items():
        kept = (MADE["IMAGES"] / f"{name}.png").read_bytes()
        assert read_png(kept) == read_png(png), f"{name} is stale: run `make diagram`"


def test_every_picture_is_shown():
    said = "\n".join(text_of(page) for page in PAGES)
    for name in MADE["pictures"]():
        assert f"images/{name}.png" in said, name


@pytest.mark.long
def test_the_picture_of_a_printing_record_is_the_one_that_is_drawn_now():
    """But for the last shade of its greys, which goes with the versions of what draws it."""
    with Image.open(MADE["RECORD_PICTURE"]) as kept, Image.open(BytesIO(MADE["record_picture"]())) as now:
        assert kept.size == now.size
        apart = np.abs(np.asarray(kept.convert("L"), int) - np.asarray(now.convert("L"), int))
    assert apart.mean() < 1, "it is stale: run `make diagram`"


def test_every_picture_of_the_page_is_shown():
    said = "\n".join(text_of(page) for page in PAGES)
    assert sorted(path.name for path in (DOCS / "screens").iterdir()) == sorted(
        set(re.findall(r"screens/([\w-]+\.png)", said))
    )


# --- the wire

WIRE = DOCS / "wire.md"
CODES = (1, 2, 3, 4, -32700, -32600, -32601, -32602, -32603)
"""What `timing_core.wire` answers with. Only a failing memory and a fault of the box have no example."""


def conversation() -> list[tuple[str, list[dict]]]:
    """Every request of the page with the replies to it, as data."""
    found: list[tuple[str, list[dict]]] = []
    for line in "".join(inside for kind, inside in fences(WIRE) if kind == "wire").splitlines():
        if line.startswith("> "):
            found.append((line[2:-9], []))
        elif line.startswith("< "):
            found[-1][1].append(json.loads(line[2:-9]))
    return found


def test_the_replies_of_the_page_are_made_and_its_requests_are_not():
    page = text_of(WIRE)
    said = [line for line in page.splitlines() if line.startswith("< ")]
    assert len(said) > 20
    bare = re.sub(r"^< .*\n", "", page, flags=re.MULTILINE)
    # Whatever CRC a request has it is made anew, but for the one that is sent spoiled.
    bare, crcs = re.subn(r"^(> .*) (?!00000000)[0-9a-f]{8}$", r"\1 ?", bare, flags=re.MULTILINE)
    assert crcs > 20
    assert "< {" not in bare
    assert MADE["with_blocks"](bare) == page
    assert MADE["with_blocks"](page.replace('"name":"nowhere"', '"name":"elsewhere"')).count(
        "No card elsewhere"
    )


def test_the_example_of_a_boards_health_is_one_that_was_measured():
    measured = text_of(DOCS / "measurements.md")
    ((health,),) = [replies for request, replies in conversation() if '"method":"health"' in request]
    health = health["result"]
    assert f"on MicroPython {health['micropython']} for" in measured
    section = measured.split("\n## Memory\n")[1].split("\n## ")[0]
    free = [int(cell) for cell in re.findall(r"^\|.*\| (\d+) \|$", section, flags=re.MULTILINE)]
    assert len(free) > 2
    assert health["free_bytes"] in free


def test_a_stray_line_in_an_example_is_found():
    with pytest.raises(ValueError, match="begin it with"):
        MADE["with_blocks"]("\n```wire\nhello\n```\n")


def test_every_method_has_an_example_that_is_answered():
    answered = {
        json.loads(request)["method"]
        for request, replies in conversation()
        if [reply for reply in replies if "result" in reply]
    }
    assert answered == set(METHODS)


def test_every_code_is_explained_and_has_an_example():
    codes = {reply["error"]["code"] for _, replies in conversation() for reply in replies if "error" in reply}
    assert codes == set(CODES) - {3, -32603}
    assert [int(cell) for cell in first_cells(WIRE, "Refusals")] == list(CODES)


def test_everything_that_the_state_tells_is_explained():
    told = [
        set(reply["result"])
        for request, replies in conversation()
        if '"method":"state"' in request
        for reply in replies
    ]
    assert len(told) == 2
    cells = first_cells(WIRE, "state: what the box is doing")
    explained = [name for cell in cells for name in re.findall(r"`(\w+)`", cell)]
    assert told == [set(explained)] * 2


def test_the_board_of_the_example_tells_what_a_board_tells():
    """By the names in its source: on a desk there is no board to ask. The emulated one is asked."""
    source = ast.parse((ROOT / "firmware" / "board" / "health.py").read_text(encoding="utf-8"))
    keys = [key for node in ast.walk(source) if isinstance(node, ast.Dict) for key in node.keys]
    keys += [node.slice for node in ast.walk(source) if isinstance(node, ast.Subscript)]
    told = {key.value for key in keys if isinstance(key, ast.Constant) and isinstance(key.value, str)}
    (shown,) = [replies[0]["result"] for request, replies in conversation() if '"method":"health"' in request]
    assert set(shown) | set(shown["display"]) == told


# --- the panel

USING = DOCS / "using-the-box.md"


def test_every_setting_is_explained():
    page = text_of(DOCS / "bench-settings.md")
    for key, label, *_ in map(setting, setting_keys()):
        assert f"| `{key}` | {label} |" in page


def test_every_row_of_every_sheet_is_explained():
    page = DOCS / "using-the-box.md"
    session = Session(MemoryDisk(), desk_platform())
    session.power_up()
    box = session.box
    box.work.take(PrintingMap.from_dict(cards.load(EXAMPLES / "workroom.toml")))
    box.work.strip.pass_index = 1
    labels = {"print": set(), "strip": {"Choose a patch"}}
    for sheet, found in labels.items():
        for origin_ms, centred in ((None, True), (8000, True), (8000, False)):
            box.panel.show(sheet)
            box.work.strip.origin_ms, box.work.strip.centred = origin_ms, centred
            found |= {row.label.strip() for row in box.panel.rows()}
    for sheet, heading in (
        ("print", "Print: the map of the print"),
        ("strip", "Strip: a test strip for a pass or an area"),
    ):
        told = [cell for cells in first_cells(page, heading) for cell in cells.split(", ")]
        for label in labels[sheet]:
            name = re.sub(r"^(Dodge|Burn) .*|^(Pass|Base|Filter)(?: \d)?,.*", lambda m: m[1] or m[2], label)
            assert any(cell == name or cell.startswith(name + " ") for cell in told), label


def test_every_row_of_the_list_of_screens_is_explained_and_no_other():
    session = Session(MemoryDisk(), desk_platform())
    session.power_up()
    Player(session).play("wait 1\npress\ndial 1\npress\nback\ndial -1\npress\ndial 2\npress")
    Player(session).play("wait 1\nexpose\nwait 1\nexpose\nwait 1\nback\nback")
    told = [cell for cells in first_cells(USING, "The list of screens") for cell in cells.split(", ")]
    assert told == [row.label for row in session.box.panel.rows()]


def test_undo_reaches_as_far_as_the_page_says():
    """Maps with marks as a printer names them, each replaced by one that has nothing in common with it."""
    page = " ".join(prose(USING).split())
    limits = re.search(r"Undo reaches back (\d+) changes, as long as they fit into ([\d,]+) bytes", page)
    assert limits
    assert [int(word.replace(",", "")) for word in limits.groups()] == [undo.CHANGES_MAX, undo.ROOM]
    usual = re.search(r"or (\d+) replaced maps of about (\d+) marks each", page)
    large = re.search(r"only (\d+) of maps with (\d+) marks and every fact filled in", page)
    assert usual
    assert large
    for told, full in ((usual, False), (large, True)):
        count, marks = map(int, told.groups())
        remembered = undo.Undo()
        for number in range(undo.CHANGES_MAX):
            change = undo.Change(str(number), "", "")
            change.map = (0, 0, map_with_marks(marks, full).text())
            remembered.push(change)
        assert len(remembered) == count


def map_with_marks(number: int, full: bool) -> PrintingMap:
    map = PrintingMap.new(11800, "2", 80)
    map.set_pass_count(PASSES_MAX)
    for mark in range(number):
        map.add_mark(mark % PASSES_MAX, Mark(f"left door {mark}", 10 + mark, "00" if full else ""))
    map.facts = {key: "x" * most for key, most in FACTS} if full else {}
    return map


def test_every_sound_is_explained_in_its_own_tones():
    rows = {}
    for line in text_of(DOCS / "using-the-box.md").split("\n"):
        cells = line.strip("| ").split(" | ")
        if cells[0] in SOUNDS:
            rows[cells[0]] = cells[1]
            assert (cells[0], cells[2]) in SOUND_NAMES
    assert list(rows) == list(SOUNDS) == [name for name, _ in SOUND_NAMES]
    for name, tones in SOUNDS.items():
        heard = [hertz for hertz, _ in tones if hertz]
        told = [int(number) for number in re.findall(r"\d+", rows[name])]
        assert told == (heard[:1] if len(set(heard)) == 1 else heard), name


# --- the page for the first evening

FIRST_EVENING = """
back
+1 dial 5
+1 dial -4
press
+1 expose
+1 expose
wait until ready
+1 expose
wait until ready
+1 expose
wait until ready
+1 expose
wait until ready
+1 expose
wait until choose
+1 dial 1
press
+1 expose
+1 expose
wait until browse
+1 dial 1
press
+1 dial 1
press
+1 dial -1
+1 dial -1
press
+1 expose
+1 expose
+0.5 back
+1 back
press
+1 expose
+1 wait until browse
+1 dial -6
+1 dial 2
press
press
"""
"""A first print at a new box, as the page has it: strip, patch, print, dodge (put out, left and gone on
with on the way), shelf."""


def opening() -> str:
    return text_of(USING).partition("## Rows and values")[0]


def test_the_first_page_is_one_page():
    words = [word for word in opening().split() if re.search("[A-Za-z0-9]", word)]
    assert 350 <= len(words) <= 450


def test_the_first_page_quotes_what_the_box_shows_in_a_first_print(monkeypatch):
    session = Session(MemoryDisk(), desk_platform())
    session.power_up()
    player, shown = Player(session), []
    for line in FIRST_EVENING.strip().split("\n"):
        for at_ms in player.line_steps(line):
            session.advance(at_ms)
            shown.append(Seen(session, monkeypatch).words)
        shown.append(Seen(session, monkeypatch).words)
    quoted = re.findall(r"(?<!\*)\*([^*]+)\*(?!\*)", opening())
    assert len(quoted) > 20
    assert [words for words in quoted if not any(" ".join(words.split()) in seen for seen in shown)] == []
    assert session.box.shelf.names() == ["new-print"]
    record = last_record(session.box)
    assert record
    assert record["whole"]
    ((given_ms, light_ms, strikes),) = [
        (stage["given_ms"], stage["light_ms"], stage["strikes"]) for stage in record["stages"]
    ]
    assert given_ms == light_ms
    assert strikes == 2


# --- what the panel says

PC_ALONE = "Refusals that only a PC is told"


def explains(cell: str, text: str) -> bool:
    """A cell is a message, or its first sentence."""
    return text == cell or (cell.endswith(".") and text.startswith(cell + " "))


def faults_of(cells: list[str], texts: Iterable[str]) -> list[str]:
    """What is said and not explained, and what is explained and never said."""
    texts = list(texts)
    missing = [f"not explained: {text}" for text in texts if not any(explains(cell, text) for cell in cells)]
    idle = [f"never said: {cell}" for cell in cells if not any(explains(cell, text) for text in texts)]
    return missing + idle


def test_every_message_is_explained_and_no_other():
    shown = core_messages()
    assert len(shown) > 25
    cells = first_cells(USING, "Messages") + first_cells(USING, PC_ALONE)
    assert len(cells) == len(set(cells))
    assert faults_of(cells, shown) == []


def test_what_the_wire_alone_says_is_not_among_the_messages_of_the_panel():
    wires = {text for text, places in core_messages().items() if all("Link" in place for place in places)}
    assert wires
    assert wires <= set(first_cells(USING, PC_ALONE))


def test_every_word_on_a_screen_is_explained_and_no_other():
    controls = {
        name for cell in first_cells(USING, "The controls") for name in re.findall(r"[A-Z]{2,}", cell)
    }
    assert controls == {"EXPOSE", "LAMP", "BACK"}
    shown = {text for text in core_census().words() if text.split()[0] not in controls}
    assert len(shown) > 15
    assert faults_of(first_cells(USING, "Words on the screens"), shown) == []


class Listening(Watcher):
    """Notes every message that a session's box shows."""

    def __init__(self, session: Session) -> None:
        self.said: set[str] = set()
        self._session = session
        session.watchers.append(self)

    def input(self, now_ms: int, event: str, value: object) -> None:
        self.said.add(self._session.box.message)


def said_in_scripts() -> set[str]:
    """Every message a true box shows while the tests' scripts and those of the pictures are played to it."""
    said: set[str] = set()
    for path in sorted((ROOT / "tests" / "scripts").glob("*.txt")):
        session = Session(MemoryDisk(), desk_platform())
        listening = Listening(session)
        session.power_up()
        Player(session).play(path.read_text(encoding="utf-8"))
        said |= listening.said
    for script in MADE["SCRIPTS"]:
        session = MADE["session_of_pictures"]()
        listening = Listening(session)
        Player(session).play(re.sub(r"^picture .*", "", script, flags=re.MULTILINE))
        said |= listening.said
    return said - {""}


def test_what_a_box_truly_says_was_found_in_its_source():
    said = said_in_scripts()
    assert len(said) > 5
    texts = set(core_messages()) - set(first_cells(USING, PC_ALONE))
    # A refusal goes on after its first words, and one message may follow another.
    one = "(?:" + "|".join(".+".join(map(re.escape, text.split("…"))) for text in texts) + ")(?:: .+)?"
    for line in said:
        assert re.fullmatch(f"{one}(?: {one})*", line, flags=re.DOTALL), line


SAYING = """
from .refusal import Refusal

WORN = "The contact is worn"
TOLD = {"one": "First told", "two": "Second told"}

class Fault(Refusal):
    pass

class Full(Fault):
    def __init__(self):
        super().__init__("The shelf is full", "it holds 64", "Remove one")

class Box:
    def _say(self, text, loud=False):
        self.message = text

    def tell(self, lit, *, words=""):
        self._say("Lit" if lit else self.known("now"))
        self._say(TOLD[lit])
        self._say(words)

    def known(self, when):
        text = "Nothing is known"
        if when:
            return f"Known since {when}."
        return text + " of %s" % when

    def fail(self, name):
        what = "%s is not moved" % name
        for bad, why in (("One is bad", "a"), ("Two is bad", "b")):
            raise Fault(bad, why, "Mend it")
        try:
            raise Refusal(what=what, why="it is stuck", todo="Free it")
        except Refusal as refusal:
            self._say(refusal.line)
            self._say(text=WORN)
            self._say(shortened("A long tale. "))

    def keep(self, noted):
        self.noted = noted

    def repeat(self):
        self._say(self.noted)

    @property
    def seen(self):
        return self._cut

    def look(self, name, why):
        cause = "Cut off."
        self._cut = "%s %s may be lit." % (cause, name)
        if why:
            self._cut += " It cannot go on: %s." % why
        self.bad.append(name + " is bad.")
        self.bad += [lost(each) for each in name]

    def wake(self):
        lines = self.bad + []
        self.message = self.seen + (" " + lines[0] if lines else "") + (" More to come." if lines[1:] else "")

def shortened(text):
    return text.strip()

def lost(each):
    return "All is lost." if each else ""

def from_outside(box):
    box.tell(True, words="Told " + "from " + str(box))
    box.keep("Noted before")

class Other:
    def _say(self, text):
        return text

    def silent(self):
        self._say("No message")
"""


def test_the_census_finds_a_message_however_it_is_said():
    found = Census({"a.py": SAYING, "refusal.py": (CORE / "refusal.py").read_text(encoding="utf-8")})
    assert set(found.messages()) == {
        "The shelf is full",
        "Lit",
        "Known since ….",
        "Nothing is known of …",
        "First told",
        "Second told",
        "Told from …",
        "… is not moved",
        "One is bad",
        "Two is bad",
        "The contact is worn",
        "A long tale.",
        "Noted before",
        "Cut off.",
        "… may be lit.",
        "It cannot go on: ….",
        "… is bad.",
        "All is lost.",
        "More to come.",
    }


@pytest.mark.parametrize(
    "line", ["box.message = box.words()", "box.message = words", "raise Refusal(why(), 'b', 'c')"]
)
def test_a_message_that_cannot_be_followed_is_not_passed_over(line):
    with pytest.raises(NotFollowed, match=r"a\.py:2"):
        Census({"a.py": f"def act(box):\n    {line}\n"}).messages()


def test_a_message_without_its_row_is_told_and_a_row_without_its_message():
    assert faults_of(["Not taken", "Ended."], ["Not taken", "Ended. No light was given."]) == []
    assert faults_of(["Not taken"], ["Not taken", "Not loaded"]) == ["not explained: Not loaded"]
    assert faults_of(["Not taken", "Not"], ["Not taken"]) == ["never said: Not"]


# --- the simulator


def test_every_word_of_scripts_is_explained():
    told = "\n".join(first_cells(DOCS / "simulator.md", "Scripts"))
    for word in (*KEYS, "dial 3", "wait 1.5", "reset"):
        assert f"`{word}`" in told
    for start in (
        "line {",
        "# ",
        *("wait until " + what for what in ("dark`", "lit`", "stage ", "left ", "card ")),
    ):
        assert f"`{start}" in told
    assert re.search(r"`wait until (\w+)`", told)[1] in [name for name, _ in STATES]


def test_a_filaments_lag_is_told_for_all_who_look():
    lamp = LAMPS["tungsten"]
    assert isinstance(lamp, Filament)
    cells = [line.strip("| ").split(" | ") for line in text_of(DOCS / "simulator.md").split("\n")]
    rows = [row for row in cells if len(row) == 4 and re.fullmatch(r"\d\.\d", row[1])]
    assert [float(row[1]) for row in rows] == [EYE, PAPER_GREEN, PAPER, PAPER_BLUE]
    for row in rows:
        seen = float(row[1])
        firm = lag_ms(replace(lamp, droop=0.0), RELAYS["ideal"], seen=seen)
        assert row[2:] == [f"{firm:.0f} ms", f"{lag_ms(lamp, RELAYS['mechanical'], seen=seen):.0f} ms"]


def test_lamps_are_told_with_their_lag():
    page = text_of(DOCS / "simulator.md")
    for name, lamp in LAMPS.items():
        relay = RELAYS["ideal" if name == "ideal" else "mechanical"]
        row = next(line for line in page.split("\n") if re.match(rf'\| `"?{name}"?`', line))
        assert row.endswith(f"| {round(lag_ms(lamp, relay))} ms |"), row


def test_the_example_cards_can_be_printed():
    session = Session(MemoryDisk(), desk_platform())
    for path in EXAMPLES.glob("*.toml"):
        assert compile_print(PrintingMap.from_dict(cards.load(path)), session.box.bench)
