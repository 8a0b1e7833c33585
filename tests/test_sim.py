"""`lampblack sim` as a command: whose records it writes, and how late its lamp falls."""

import json
import re
import signal
import socket
import struct
import subprocess
import time
from binascii import crc32
from pathlib import Path

import pytest

from host_sim.box.disks import DirectoryDisk
from host_sim.box.session import LATENCY_MS, SIMULATOR
from lampblack import cli
from lampblack.sim.simulator import IDENTITY_FILE, LOCK_FILE, _OnScreen, build, identity_of
from lampblack.wire.box_client import BoxClient
from tests.box_model import new_session
from tests.forked import PLAINLY
from tests.simulated import SIM, darkroom
from timing_core.wire.framing import frame

HELD = """
1 expose
+0.8 expose
+4 expose
wait until held
+1 expose
wait until browse
"""


def play(tmp_path: Path, *options: str) -> list[dict]:
    """The trace of a print that is held once."""
    script, trace = tmp_path / "held.txt", tmp_path / "trace.jsonl"
    script.write_text(HELD)
    assert cli.run(["sim", "--script", str(script), "--trace", str(trace), "--force", *options]) == 0
    return [json.loads(line) for line in trace.read_text().splitlines()]


def kept_records(folder: Path) -> list[dict]:
    ledger = new_session(DirectoryDisk(folder)).box.ledger
    return ledger.read()


def test_the_lamp_falls_as_late_as_on_a_board_and_none_of_its_light_is_lost(tmp_path):
    trace = play(tmp_path)
    lit_ms = [entry["value"] for entry in trace if entry.get("in") == "lamp_end"]
    assert lit_ms == [4000 + LATENCY_MS, 6000 - LATENCY_MS]
    assert LATENCY_MS > 0


def test_a_script_gives_one_trace_byte_for_byte(tmp_path):
    assert play(tmp_path) == play(tmp_path)
    assert identity_of(None, is_script=True) == SIMULATOR


def test_a_script_is_read_as_windows_saves_it(tmp_path):
    script = tmp_path / "held.txt"
    script.write_text("\ufeff" + HELD.strip(), encoding="utf-8")
    assert cli.run(["sim", "--port", "0", "--script", str(script)]) == 0


def test_a_folder_has_an_identity_of_its_own_made_once(tmp_path):
    one, other = tmp_path / "one", tmp_path / "other"
    for folder in (one, one, other):
        play(tmp_path, "--keep", str(folder))
    first, second = kept_records(one)
    (third,) = kept_records(other)
    assert re.fullmatch("sim-[0-9a-f]{8}", first["box"])
    assert first["box"] == second["box"] != third["box"]
    assert (one / IDENTITY_FILE).read_text() == first["box"] + "\n"
    box = new_session(DirectoryDisk(one)).box
    assert box.findings.damage == [], "the store takes it for no record"


def test_without_a_folder_every_evening_is_a_box_of_its_own():
    names = {identity_of(None, is_script=False) for _ in range(5)}
    assert len(names) == 5
    assert all(re.fullmatch("sim-[0-9a-f]{8}", name) for name in names)


@pytest.mark.parametrize("text", [b"", b"simulator", b"sim-0123456", b"\xff\xfe", b"sim-01234567\nsim-1"])
def test_a_damaged_identity_is_said_in_a_line_and_nothing_is_touched(tmp_path, capsys, text):
    keep = tmp_path / "box"
    play(tmp_path, "--keep", str(keep))
    (keep / IDENTITY_FILE).write_bytes(text)
    before = {path.name: path.read_bytes() for path in keep.iterdir()}
    capsys.readouterr()
    assert cli.run(["sim", "--keep", str(keep), "--script", str(tmp_path / "held.txt")]) == 1
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 1)
    assert f"{keep / IDENTITY_FILE} is no name of a box" in said.err
    assert {path.name: path.read_bytes() for path in keep.iterdir()} == before


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_a_folder_is_for_one_simulator_at_a_time(tmp_path, capsys, how):
    """Two of them would number their records alike, and each put its own in the place of the other's."""
    keep = tmp_path / "box"
    script = tmp_path / "held.txt"
    script.write_text(HELD)
    with subprocess.Popen([*PLAINLY, *SIM, "--keep", str(keep)], stdout=subprocess.PIPE, text=True) as first:
        assert first.stdout is not None
        assert "darkroom" in first.stdout.readline()
        before = contents(keep)
        trace = tmp_path / "trace.jsonl"
        for options in (
            ["--script", str(script)],
            ["--script", str(script), "--speed", "100"],
            ["--trace", str(trace)],
            [],
        ):
            assert cli.run(["sim", "--port", "0", "--keep", str(keep), *options]) == 1
            said = capsys.readouterr()
            assert (said.out, said.err.count("\n")) == ("", 1)
            assert f"{keep} is in use by another simulator (process {first.pid})" in said.err
            assert "--keep" in said.err
        assert contents(keep) == before
        assert not trace.exists()
        first.send_signal(how)
        first.wait(20)
    assert cli.run(["sim", "--keep", str(keep), "--script", str(script)]) == 0
    assert len(kept_records(keep)) == 1
    assert new_session(DirectoryDisk(keep)).box.findings.damage == [], "the store takes none for a record"


def test_a_folder_that_cannot_be_locked_is_said_in_a_line(tmp_path, capsys):
    keep = tmp_path / "box"
    keep.write_text("a file")
    assert cli.run(["sim", "--keep", str(keep), "--script", str(tmp_path / "none")]) == 1
    assert capsys.readouterr().err.count("\n") == 1
    keep.unlink()
    (tmp_path / "held.txt").write_text(HELD)
    (keep / LOCK_FILE).mkdir(parents=True)
    assert cli.run(["sim", "--keep", str(keep), "--script", str(tmp_path / "held.txt")]) == 1
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 1)
    assert str(keep) in said.err


# --- scripts that cannot be played


@pytest.mark.parametrize("speed", [[], ["--speed", "100"]])
@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"expose\n\xff\xfe\n", "it is no text in UTF-8"),
        ("expose\n".encode("utf-16"), "it is no text in UTF-8"),
        (b"dial 1000000000", ":1: "),
        (b"wait " + b"9" * 5000, ":1: "),
        (b"9" * 5000 + b" expose", ":1: "),
        (b"wait 99999999999999", ":1: "),
        (b"line " + b"x" * 1_000_000, ":1: "),
        (b"x" * 1_000_000, ":1: "),
        (b"wait until stage " + b"9" * 5000, ":1: "),
        (b"wait until left " + b"9" * 5000, ":1: "),
        (b"\x00" * 1000, ":1: "),
    ],
    ids=["latin", "utf-16", "dial", "digits", "at", "wait", "line", "word", "stage", "left", "zeros"],
)
def test_a_script_that_cannot_be_played_gets_one_line_at_once(tmp_path, capsys, text, says, speed):
    script = tmp_path / "odd.txt"
    script.write_bytes(text)
    began_s = time.monotonic()
    assert cli.run(["sim", "--port", "0", "--script", str(script), *speed]) == 1
    assert time.monotonic() - began_s < 2
    said = capsys.readouterr()
    line = said.err.splitlines()[-1]
    assert said.out == ""
    assert "odd.txt" in line
    assert says in line
    assert len(line) < 300
    assert said.err.count("\n") == (3 if speed and "UTF" not in says else 1)  # the ways in are told first


@pytest.mark.parametrize("keeps", [True, False])
def test_the_best_is_kept_beside_the_records_of_the_box(tmp_path, keeps):
    keep = tmp_path / "box"
    darkroom = build(keep=keep)
    before = darkroom.session.disk.names()
    face = _OnScreen(darkroom.house, keep if keeps else None)
    face.before(darkroom.session)
    face._room.practice.set_up("one-dodge")
    assert face._room.practice.keep_best(0.25) == 0.25
    assert set(darkroom.session.disk.names()) - set(before) == ({"practice.json"} if keeps else set())
    darkroom.session.power_up()
    assert not darkroom.session.box.findings.damage, "the box takes it for none of its own"


def test_tools_that_leave_early_and_one_that_stays_put_no_word_in_the_terminal():
    """`darkroom` has the simulator end without one."""
    hello = b'{"id":1,"jsonrpc":"2.0","method":"hello","params":{}}'
    line = frame(hello, crc32)
    with darkroom() as room:
        place = ("127.0.0.1", int(room.port.rsplit(":", 1)[1]))
        for linger_s in (0, 0, None, None):
            with socket.create_connection(place) as tool:
                tool.sendall(line * 400)
                if linger_s is not None:
                    tool.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, linger_s))
        with BoxClient(room.port) as box:
            assert box.about["box"] == "lampblack"
        stays = socket.create_connection(place)
        stays.sendall(line)
        assert stays.recv(10)
    stays.close()
