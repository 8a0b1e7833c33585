"""Which port is taken where none is named: by its USB id, then by its answer."""

import errno
import json
from types import SimpleNamespace

import pytest

from lampblack import cli
from lampblack.board import board_prompt as prompt
from lampblack.board import doctor, install
from lampblack.wire import box_client, finding
from lampblack.wire.box_client import BoxError
from lampblack.wire.finding import MICROPYTHON, RASPBERRY_PI, the_box
from tests.fake_board import FakeBoard
from tests.portable.fakes import documented_box
from tests.test_box_client import FakePort
from timing_core import VERSION

PICO = (RASPBERRY_PI, MICROPYTHON)
PROBE = (RASPBERRY_PI, 0x000C)
"""github.com/raspberrypi/usb-pid: Raspberry Pi Debug Probe."""
OTHER = (0x2341, 0x0043)
IDENTITY = documented_box().identity


class Silent:
    """A port on which nothing answers."""

    in_waiting = 0

    def write(self, data):
        pass

    def read(self, size):
        return b""

    def close(self):
        pass


class Pc:
    """The ports of this computer, and which of them were opened."""

    def __init__(self) -> None:
        self.found: list[SimpleNamespace] = []
        self.there: dict[str, object] = {}
        self.opened: list[str] = []

    def plug(self, url, usb, there, about="Board in FS mode"):
        vendor, product = usb or (None, None)
        self.found.append(SimpleNamespace(device=url, description=about, vid=vendor, pid=product))
        self.there[url] = there
        return there

    def open(self, url, timeout_s=4.0):
        self.opened.append(url)
        there = self.there[url]
        if isinstance(there, OSError):
            raise BoxError(f"{url} does not open: {box_client._why_closed(url, there)}")
        return there


@pytest.fixture
def pc(monkeypatch):
    made = Pc()
    monkeypatch.delenv("LAMPBLACK_PORT", raising=False)
    monkeypatch.setattr(box_client.list_ports, "comports", lambda: made.found)
    for module in (box_client, doctor, prompt):
        monkeypatch.setattr(module, "open_port", made.open)
    monkeypatch.setattr(finding, "ASK_S", 0.04)
    return made


def box(identity=IDENTITY):
    made = documented_box()
    made.identity = identity
    return FakePort(made)


def no_box(url=None, **more) -> str:
    with pytest.raises(BoxError) as caught:
        the_box(url, **more)
    line = str(caught.value)
    assert "\n" not in line
    assert ": " in line
    assert line.endswith((".", "…"))
    return line


def test_a_motherboards_port_is_no_box_and_is_not_opened(pc):
    for url, usb in (
        ("/dev/ttyS0", None),
        ("/dev/ttyACM7", OTHER),
        ("/dev/ttyACM8", (OTHER[0], MICROPYTHON)),
    ):
        pc.plug(url, usb, box())
    line = no_box()
    assert line.startswith("No box is found: no serial port has the USB id of a Raspberry Pi board (2E8A). ")
    assert "--port socket://" in line
    assert no_box(or_pico=True) == line
    assert pc.opened == []


def test_the_one_box_among_others_is_found(pc):
    pc.plug("/dev/ttyS0", None, box())
    pc.plug("/dev/ttyACM0", PROBE, Silent())
    pc.plug("/dev/ttyACM1", PICO, box())
    assert the_box(None) == the_box(None, or_pico=True) == "/dev/ttyACM1"
    assert set(pc.opened) == {"/dev/ttyACM0", "/dev/ttyACM1"}


def test_a_port_that_is_looked_at_is_asked_hello_alone(pc):
    there = pc.plug("/dev/ttyACM1", PICO, box())
    there.spoil = lambda count, line: lines.append(line) or line
    lines = []
    the_box(None)
    assert [b'"method":"hello"' in line for line in lines] == [True, False]
    assert there.closed
    assert there.link.box.time is None


def test_of_several_boxes_one_is_to_be_named(pc):
    pc.plug("/dev/ttyACM1", PICO, box("e66b"))
    pc.plug("/dev/ttyACM0", PICO, box("e66a"))
    assert no_box() == (
        "More than one could be meant: box e66a at /dev/ttyACM0, box e66b at /dev/ttyACM1. "
        "Name one of them with --port."
    )
    assert the_box("/dev/ttyACM1") == "/dev/ttyACM1"


def test_a_named_port_is_taken_without_a_look(pc):
    pc.plug("/dev/ttyACM0", PICO, box())
    assert the_box("socket://localhost:7327") == "socket://localhost:7327"
    assert pc.opened == []


def test_a_pico_that_does_not_answer_is_for_doctor_and_install(pc):
    pc.plug("/dev/ttyACM0", PICO, Silent())
    pc.plug("/dev/ttyACM1", PROBE, Silent())
    assert the_box(None, or_pico=True) == "/dev/ttyACM0"
    line = no_box()
    assert "/dev/ttyACM0, /dev/ttyACM1" in line
    assert "`lampblack doctor --port /dev/ttyACM0`" in line
    pc.plug("/dev/ttyACM2", PICO, box())
    assert the_box(None) == "/dev/ttyACM2"
    # Which of the two is to be looked at, or to be written on, is the printer's to say.
    assert no_box(or_pico=True) == (
        f"More than one could be meant: a Pico at /dev/ttyACM0, box {IDENTITY} at /dev/ttyACM2. "
        "Name one of them with --port."
    )


def test_why_the_only_port_does_not_open_is_told(pc):
    pc.plug("/dev/ttyACM0", PICO, OSError(errno.EACCES, "could not open port"))
    assert no_box().startswith("/dev/ttyACM0 does not open: you may not use it. Join its group with ")
    assert the_box(None, or_pico=True) == "/dev/ttyACM0"


# --- the commands


def test_every_command_does_without_a_port(pc, capsys, tmp_path):
    there = pc.plug("/dev/ttyACM0", PICO, box())
    pc.plug("/dev/ttyS0", None, OSError(errno.EACCES, "never to be opened"))
    out = tmp_path / "mill.toml"
    for arguments in (
        ["pull", "mill", "--out", str(out)],
        ["push", str(out)],
        ["shelf"],
        ["bench", "get"],
        ["bench", "set", "lag_ms=120"],
        ["state"],
        ["doctor"],
        ["drop", "mill"],
    ):
        assert cli.run(arguments) == (1 if arguments == ["doctor"] else 0), capsys.readouterr()
    assert "WRONG crash" in capsys.readouterr().out
    assert there.link.box.shelf.names() == []
    assert there.link.box.bench.get("lag_ms") == 120


def test_without_a_box_a_command_is_one_line(pc, capsys):
    assert cli.run(["shelf"]) == 1
    said = capsys.readouterr()
    assert (said.out, said.err.count("\n")) == ("", 1)
    assert said.err.startswith("No box is found: ")


def test_install_finds_the_only_pico(pc, monkeypatch):
    pc.plug("/dev/ttyS0", None, OSError(errno.EACCES, "never to be opened"))
    pc.plug("/dev/ttyACM0", PICO, FakeBoard())
    asked = []
    monkeypatch.setattr(install, "install_at", lambda url, *_: asked.append(url) or "Done.")
    assert cli.run(["install"]) == 0
    assert asked == ["/dev/ttyACM0"]


def test_ports_tells_what_is_on_each(pc, capsys):
    pc.plug("/dev/ttyACM0", PICO, box("e66a"))
    pc.plug("/dev/ttyACM1", PICO, Silent())
    pc.plug("/dev/ttyS0", None, OSError(errno.EACCES, "never to be opened"), "n/a")
    assert cli.run(["ports", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == [
        {"url": "/dev/ttyACM0", "about": "Board in FS mode", "identity": "e66a", "version": VERSION},
        {"url": "/dev/ttyACM1", "about": "Board in FS mode"},
        {"url": "/dev/ttyS0", "about": "unknown"},
    ]
    assert cli.run(["ports"]) == 0
    rows = [row.split() for row in capsys.readouterr().out.splitlines()]
    assert rows[1] == ["/dev/ttyACM0", "Board", "in", "FS", "mode", "e66a", VERSION]
    assert rows[3] == ["/dev/ttyS0", "unknown"]
    assert set(pc.opened) == {"/dev/ttyACM0", "/dev/ttyACM1"}
