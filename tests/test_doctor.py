"""`lampblack doctor`: every fault it knows, made on a fake board or a fake port, is named with its remedy."""

import errno
import itertools
import json
import types

import pytest
from mpremote import transport_serial

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from lampblack import cli
from lampblack.board import board_prompt as prompt
from lampblack.board import doctor
from lampblack.board.doctor import FREE_LEAST_BYTES, examine
from lampblack.board.firmware_files import MANIFEST, manifest
from lampblack.wire import box_client
from lampblack.wire import finding as wire_finding
from lampblack.wire.box_client import BoxError, Port, open_port
from tests.fake_board import FakeBoard
from tests.portable.fakes import board_health, crash_log, documented_box
from timing_core import VERSION
from timing_core.wire import methods as link

FILES = {"boot.py": b"release the relays", "main.py": b"start the box", "board/pulse.mpy": b"pulse"}
WHOLE = {**FILES, MANIFEST: manifest(FILES)}
CRASH = "\n".join(["Traceback (most recent call last):", "ValueError: older", *crash_log()]) + "\n"
UPDATE = "Get a newer lampblack for this PC."
INSTALL = "Run `lampblack install --port a port`."


LOOKS = itertools.count()


def clock() -> float:
    """Every look at it takes 10 ms."""
    return next(LOOKS) / 100


@pytest.fixture
def plug(monkeypatch):
    """Plugs a FakeBoard into every port."""

    def plugged(board: FakeBoard) -> FakeBoard:
        for module in (box_client, doctor, prompt):
            monkeypatch.setattr(module, "open_port", lambda *_: board.open())
        monkeypatch.setattr(
            transport_serial, "time", types.SimpleNamespace(monotonic=clock, sleep=lambda s: None)
        )
        monkeypatch.setattr(doctor, "firmware_files", lambda: FILES)
        return board

    return plugged


@pytest.fixture
def box(plug):
    """A healthy box."""
    board = FakeBoard(WHOLE)
    board.runs = FILES["main.py"]
    board.power_cycle()
    board.box.shelves = documented_box().shelves
    board.box.health = board_health
    return plug(board)


def wrong(url="a port") -> dict[str, str]:
    """What is wrong, by what it is about."""
    found, _ = examine(url, clock)
    for finding in found:
        assert "\n" not in finding.line
        assert finding.line.endswith((".", "`."))
    return {finding.about: finding.line for finding in found if not finding.ok}


# --- a box that answers


def test_a_healthy_box_is_told_in_plain_words_and_nothing_is_changed(box, capsys):
    before = dict(box.files)
    assert cli.run(["doctor", "--port", "a port"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    assert said.out.splitlines() == [
        "ok    port: a port opens.",
        f"ok    box: it answers, and runs Lampblack {VERSION}. It is box e6614103e7261c2f.",
        f"ok    version: box and PC both have {VERSION}.",
        "ok    light: it is off; EXPOSE does this: start: filter 2.",
        "ok    memory: 1 of 64 cards on the shelf; 0 exposures in the ledger so far.",
        "ok    board: Raspberry Pi Pico with RP2040, MicroPython 1.22.2; 97 KB of its memory are free.",
        "ok    display: it answers.",
    ]
    assert (box.files, box.commands, box.resets) == (before, 0, 0)


def test_the_same_as_plain_data(box, capsys):
    assert cli.run(["doctor", "--port", "a port", "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["healthy"] is True
    about = [finding["about"] for finding in told["findings"]]
    assert about == ["port", "box", "version", "light", "memory", "board", "display"]
    assert told["crash"] == []


def test_what_is_damaged_is_told_line_by_line(box):
    lines = [
        "The settings are damaged: defaults are in force, lag 0 ms.",
        "Card harbour is damaged. Push it again.",
    ]
    box.box.damage_lines = lambda: lines
    found, _ = examine("a port", clock)
    assert [finding.line for finding in found if finding.about == "damage"] == lines
    assert not any(finding.ok for finding in found if finding.about == "damage")


def test_a_crash_is_shown_with_its_last_lines(box, capsys):
    box.box.crash_lines = lambda: CRASH.splitlines()
    assert cli.run(["doctor", "--port", "a port"]) == 1
    out = capsys.readouterr().out.splitlines()
    assert out[-4].startswith("WRONG crash: the box has crashed: OSError: [Errno 5] EIO. Report it")
    assert out[-3:] == ["      " + line for line in crash_log()]
    assert cli.run(["doctor", "--port", "a port", "--json"]) == 1
    told = json.loads(capsys.readouterr().out)
    assert (told["healthy"], told["crash"]) == (False, crash_log())


def test_a_long_crash_log_comes_whole(box):
    log = [f"Traceback {number}" for number in range(9)] + ["x" * 279 + "é"] * 40 + ["Error: last"]
    box.box.crash_lines = lambda: log
    assert examine("a port", clock)[1] == log[8:]


@pytest.mark.parametrize(
    ("version", "says"),
    [
        ("0.0.9", INSTALL),
        ("0.0.12", INSTALL),
        ("0.10.0", "Get a newer lampblack for this PC."),
        ("", INSTALL),
    ],
)
def test_box_and_pc_of_different_versions(box, monkeypatch, version, says):
    writes, wanted, hello = link.METHODS["hello"]
    monkeypatch.setitem(
        link.METHODS, "hello", (writes, wanted, lambda own: hello(own) | {"version": version})
    )
    assert wrong() == {"version": f"this PC has {VERSION}. {says}"}


def test_another_wire(box, monkeypatch):
    writes, wanted, hello = link.METHODS["hello"]
    monkeypatch.setitem(
        link.METHODS, "hello", (writes, wanted, lambda own: hello(own) | {"wire": 2, "version": "7.0"})
    )
    assert wrong() == {"version": "the box speaks wire 2, this PC wire 1. Get a newer lampblack for this PC."}


def test_a_box_too_old_to_tell_of_crashes_is_not_asked(box, monkeypatch):
    monkeypatch.delitem(link.METHODS, "crash.read")
    assert wrong() == {}


@pytest.mark.parametrize(
    ("told", "about", "says"),
    [
        (
            {"display": {"answers": False, "sda": 16, "scl": 17}},
            "display",
            "it does not answer. Check its two wires (SDA GP16, SCL GP17) and its 3.3 V.",
        ),
        (
            {"free_bytes": FREE_LEAST_BYTES - 1},
            "board",
            "Raspberry Pi Pico with RP2040, MicroPython 1.22.2; 48 KB of its memory are free, which is "
            "little. Pull the plug and put it back; if it stays so, report it.",
        ),
        (
            {"restarts": 1},
            "restarts",
            "since its plug was put in the box has restarted by itself once: it crashed, or it hung. Report "
            "it with what was done before; pulling the plug begins the count anew.",
        ),
    ],
)
def test_a_board_that_is_not_well(box, told, about, says):
    box.box.health = lambda: board_health() | told
    assert wrong() == {about: says}


def test_restarts_are_counted(box):
    box.box.health = lambda: board_health() | {"restarts": 12}
    assert " has restarted by itself 12 times: " in wrong()["restarts"]


def test_under_light_memory_is_passed_over(box):
    healthy = board_health()
    del healthy["free_bytes"]
    box.box.health = lambda: healthy
    found, _ = examine("a port", clock)
    assert [finding.line for finding in found if finding.about == "board"] == [
        "Raspberry Pi Pico with RP2040, MicroPython 1.22.2; its free memory is not told while it works."
    ]
    assert wrong() == {}


def test_a_simulator_says_that_it_is_one(box):
    session = Session(MemoryDisk(), desk_platform())
    box.box.health = session.box.health
    found, _ = examine("a port", clock)
    assert [finding.line for finding in found if finding.about == "board"] == ["none: this is a simulator."]
    assert wrong() == {}


def test_a_box_too_old_to_tell_of_its_board_is_not_asked(box, monkeypatch):
    monkeypatch.delitem(link.METHODS, "health")
    found, _ = examine("a port", clock)
    assert [finding.about for finding in found] == ["port", "box", "version", "light", "memory"]


def test_a_box_that_goes_away_while_it_is_asked(box, monkeypatch):
    def gone(own):
        box._plugged = False
        raise OSError(5, "EIO")

    monkeypatch.setitem(link.METHODS, "state", (False, (), gone))
    assert "box" in wrong()


# --- what is there in place of a box


def at_prompt(plug, files) -> FakeBoard:
    board = plug(FakeBoard(files))
    board.start = ""
    return board


@pytest.mark.parametrize(
    ("files", "says"),
    [
        ({}, f"there is none on the board. {INSTALL}"),
        ({"main.py": b"mine"}, f"there is none on the board. {INSTALL}"),
        (FILES | {"main.py": b""}, f"it is there in part: an install was cut off. {INSTALL}"),
        (
            {**FILES, "main.py": b"", MANIFEST: b"\xff torn"},
            f"it is not this PC's {VERSION}: 1 of 3 files differ. {INSTALL}",
        ),
        (WHOLE | {"board/pulse.mpy": b"?"}, f"it is not this PC's {VERSION}: 1 of 3 files differ. {INSTALL}"),
        (
            {**FILES, "main.py": b"", MANIFEST: b'{"version":"9.1"}'},
            f"it is not this PC's {VERSION}: 1 of 3 files differ. Get a newer lampblack for this PC.",
        ),
    ],
)
def test_at_the_prompt_it_says_what_is_on_the_board(plug, files, says):
    board = at_prompt(plug, files)
    assert wrong() == {
        "box": "no box answers: the board is at its MicroPython prompt.",
        "firmware": says,
    }
    assert board.files == files
    assert board.resets == 0


def test_a_box_that_stopped_after_crashes_shows_the_last(plug):
    at_prompt(plug, {**WHOLE, "crash.log": CRASH.encode(), "crash.old": b"ValueError: long ago\n"})
    found, crash = examine("a port", clock)
    assert [finding.about for finding in found if not finding.ok] == ["box", "crash"]
    assert crash == crash_log()
    (firmware,) = [finding for finding in found if finding.about == "firmware"]
    assert firmware.line == f"{VERSION} is whole, and stopped. Pull the plug and put it back."


def test_a_board_that_the_firmware_does_not_run_on(plug):
    at_prompt(plug, {}).release = (1, 20, 0)
    assert "its MicroPython 1.20.0 is older than 1.22" in wrong()["board"]


@pytest.mark.parametrize("asked", ["sys.implementation", "digests(", "f.read("])
@pytest.mark.parametrize(
    "said",
    ["None", "1", "'x'", "()", "[]", "{[]: 1}", "((1, 2),)", "('micropython', (1,), 'Pico', 6)", "b'x' * 9",
     repr((b"x" * 1024,)), "(True, True, True, True)", "(1.5,)", "(" * 2000, "9" * 5000, "\x1b[2J", "\xff"],
    ids=lambda said: said[:24],
)  # fmt: skip
def test_a_board_that_says_something_else_than_it_was_asked(plug, monkeypatch, asked, said):
    at_prompt(plug, {**WHOLE, "board/pulse.mpy": b"?"})
    answered = prompt.Prompt.exec

    def lie(self, command, data_consumer=None):
        if command.startswith("print(repr(") and asked in command:
            return said.encode("latin-1")
        return answered(self, command, data_consumer)

    monkeypatch.setattr(prompt.Prompt, "exec", lie)
    told = wrong()
    if (asked, said) == ("digests(", "()"):
        assert told["firmware"] == f"there is none on the board. {INSTALL}"  # a board without a file
    else:
        assert told["board"].startswith("The connection to a port is lost: ")


def test_another_program(plug):
    board = plug(FakeBoard({"main.py": b"mine"}))
    board._out += b"temp \x1b[1m21.5\r\ntemp 21.6\r\n" * 9

    def chatter(byte):
        if byte == 13:
            board._out += b"temp \x1b[1m21.5\r\ntemp 21.6\r\n" * 9

    board._take = chatter
    line = wrong()["box"]
    assert line.startswith('another program talks here: "temp [1m21.5 temp 21.6 ')
    assert "lampblack install" in line


def test_nothing_at_all(plug):
    board = plug(FakeBoard())
    board._take = lambda byte: None
    assert wrong()["box"].startswith("nothing answers. ")


def test_pulled_while_it_listens(plug):
    board = plug(FakeBoard())

    def pull(byte):
        if byte == 13:
            board._plugged = False

    board._take = pull
    assert wrong()["box"] == "the connection to a port is lost. Check the cable and try again."


# --- ports


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        (OSError(errno.ENOENT, "could not open port"), "nothing is there. Plug the box in"),
        (OSError(errno.EACCES, "could not open port"), "Join its group with `sudo usermod -a -G "),
        (OSError(errno.EBUSY, "could not open port"), "another program has it open"),
        (OSError(errno.EAGAIN, "Could not exclusively lock port"), "another program has it open"),
        # pyserial on Windows, serialwin32.py: the cause is in the words.
        (
            OSError("could not open port 'COM5': PermissionError(13, 'Access is denied.', None, 5)"),
            "another program has it open",
        ),
        (
            OSError("could not open port 'COM5': FileNotFoundError(2, 'The system cannot find it', None, 2)"),
            "nothing is there",
        ),
        (OSError(errno.EIO, "Input/output error"), "Input/output error. Check its name"),
    ],
)
def test_a_port_that_does_not_open(monkeypatch, fault, says):
    def fail(*_, **__):
        raise fault

    monkeypatch.setattr(box_client.serial, "serial_for_url", fail)
    line = wrong("/dev/ttyACM0")["port"]
    assert line.startswith("/dev/ttyACM0 does not open: ")
    assert says in line
    with pytest.raises(BoxError) as caught:
        open_port("/dev/ttyACM0")
    assert str(caught.value) == line


def test_the_group_of_a_port_is_its_own(tmp_path):
    path = tmp_path / "port"
    path.touch()
    assert box_client._group(str(path)) == path.group()
    assert box_client._group("COM5") == "dialout"


def test_without_a_port_it_says_what_was_looked_for(monkeypatch, capsys):
    """What is taken for a box where no port is named: tests/test_finding.py."""
    monkeypatch.delenv("LAMPBLACK_PORT", raising=False)
    monkeypatch.setattr(wire_finding, "ports", lambda: [Port("/dev/ttyS0", ""), Port("/dev/ttyS1", "")])
    assert cli.run(["doctor"]) == 1
    out = capsys.readouterr().out
    assert out.startswith("WRONG port: No box is found: no serial port has the USB id of ")
    assert out.count("\n") == 1


def test_the_only_port_is_taken(box, monkeypatch, capsys):
    monkeypatch.delenv("LAMPBLACK_PORT", raising=False)
    monkeypatch.setattr(wire_finding, "ports", lambda: [Port("a port", "", (0x2E8A, 0x0005))])
    assert cli.run(["doctor"]) == 0
    assert capsys.readouterr().out.startswith("ok    port: a port opens.\n")
