"""The page's server, asked as a browser would ask it and as a stranger would.

Who may not look, from the browsers' own rules: any page may send requests to this computer (so the Host and
Origin they carry are checked: RFC 9110 7.2, RFC 6454, RFC 6455 10.2), and an address can be guessed at.
"""

import asyncio
import contextlib
import io
import json
import re
import socket
import subprocess
import threading
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.frames import Frame, Opcode

from host_sim.box.frame_pictures import GROUND, INK
from host_sim.box.live import Live
from host_sim.box.script import KEYS
from host_sim.box.session import Watcher
from host_sim.darkroom import films
from host_sim.darkroom.room import Room
from host_sim.darkroom.timeline import Timeline
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX
from lampblack import cli
from lampblack.page import serving
from lampblack.sim import page_server
from lampblack.sim import window as window_module
from lampblack.sim.page_server import Page
from lampblack.sim.simulator import build
from lampblack.sim.window import WAITING_MAX
from lampblack.wire.box_client import BoxClient
from lampblack.wire.push import requests_for
from tests.forked import ready
from tests.simulated import Darkroom, darkroom
from timing_core.machine.lamp import TOO_EARLY
from timing_core.panel.sounds import SOUNDS


@pytest.fixture(scope="module")
def shared() -> Iterator[Darkroom]:
    """For tests that leave it as it was."""
    with darkroom("--lamp", "ideal") as running:
        yield running


@pytest.fixture
def room(shared: Darkroom) -> Iterator[Darkroom]:
    """For tests that change what is in it."""
    yield shared
    shared.tidy()


def lit(window) -> bool:
    return window.state["box"]["lit"]


# --- who may look


def one_line(text: bytes) -> str:
    line = text.decode()
    assert line.count("\n") == 1
    assert line.endswith(".\n")
    return line


def test_the_page_is_there_and_keeps_to_itself(shared):
    status, headers, text = shared.ask(shared.path)
    assert status == 200
    assert text.startswith(b"<!doctype html>")
    assert headers["cache-control"] == "no-store"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["x-content-type-options"] == "nosniff"
    rules = dict(rule.split(None, 1) for rule in headers["content-security-policy"].split("; "))
    assert rules["default-src"] == rules["frame-ancestors"] == "'none'"
    assert rules["script-src"] == "'self'"
    assert "unsafe" not in headers["content-security-policy"]


@pytest.mark.parametrize(
    "name",
    [path.name for path in (Path(cli.__file__).parent / "sim" / "page").glob("*.js")],
)
def test_scripts_come_as_scripts(shared, name):
    status, headers, _ = shared.ask(shared.path + name)
    assert (status, headers["content-type"].split(";")[0]) == (200, "text/javascript")


def test_a_wrong_key_is_refused(shared):
    assert len(shared.path.strip("/")) >= 22  # 128 bits in base64
    wrong = "/" + "A" * (len(shared.path) - 2) + "/"
    for path in ("/", wrong, wrong + "main.js", "/favicon.ico", "//", "/%2e%2e/"):
        status, _, text = shared.ask(path)
        assert status == 403, path
        assert "key" in one_line(text)
    stranger = Darkroom(f"http://{shared.host}{wrong} {shared.port}")
    with pytest.raises(InvalidStatus, match="403"), stranger.window():
        pass


def test_another_host_name_is_refused(shared):
    """A stranger's name can be made to point at this computer; then its pages come from here, as theirs."""
    port = shared.host.split(":")[1]
    for host in ("stranger.example", f"stranger.example:{port}", "127.0.0.1", "127.0.0.1:1"):
        status, _, text = shared.ask(shared.path, {"Host": host})
        assert status == 403, host
        assert shared.host in one_line(text)
    assert shared.ask(shared.path, {"Host": f"localhost:{port}"})[0] == 200


@pytest.mark.parametrize("origin", ["http://stranger.example", "https://{host}", "null", None])
def test_another_origin_is_refused(shared, origin):
    origin = origin and origin.format(host=shared.host)
    with pytest.raises(InvalidStatus, match="403"), shared.window(origin=origin):
        pass
    status, _, text = shared.ask(shared.path + "negative", {"Origin": origin} if origin else {}, b"x")
    assert status == 403
    one_line(text)


def asked_raw(room, text: bytes) -> bytes:
    """What a stranger is told that sends these bytes, to the end."""
    with socket.create_connection(("127.0.0.1", int(room.host.split(":")[1])), timeout=20) as stranger:
        stranger.sendall(text)
        stranger.shutdown(socket.SHUT_WR)
        told = b""
        with contextlib.suppress(ConnectionError):
            while more := stranger.recv(4096):
                told += more
        return told


ODD_REQUESTS = (
    "OPTIONS *", "CONNECT {host}", "CONNECT *", "GET //", "GET x", "GET *", "GET ?", "GET %", "GET /%zz",
    "GET /%00",
    "GET http://{host}/", "GET http://[", "GET //[", "GET /%ff%fe", "GET /" + "a" * 9000, "PUT /", "TRACE /",
    "BREW /", "POST *", "GET /x/../..", "GET \\", "\x16\x03\x01", "",
)  # fmt: skip


def test_without_the_key_the_oddest_request_is_refused_and_says_nothing_in_the_terminal():
    """`darkroom` has the simulator end without a word of its own."""
    with darkroom() as room:
        key = room.path.strip("/").encode()
        for line in ODD_REQUESTS:
            for host in (room.host, "a.example"):
                request = f"{line.format(host=room.host)} HTTP/1.1\r\nHost: {host}\r\n"
                told = asked_raw(room, f"{request}Connection: close\r\n\r\n".encode())
                assert re.match(rb"HTTP/1.1 4\d\d ", told), request
                assert key not in told
                upgrade = (
                    f"{request}Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
                    "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
                )
                assert re.match(rb"HTTP/1.1 4\d\d |$", asked_raw(room, upgrade.encode())), upgrade


@pytest.mark.parametrize(
    "path",
    ["%", "%00", "%zz", "a" * 5000, "%ff", "picture/%00.png", "picture/[].png", "*", "live", "negative",
     "..%5c..", "trace.jsonl/", "CON", "%0a", "picture/negative.png%0d%0aX:y"],
)  # fmt: skip
def test_with_the_key_an_odd_path_is_not_found(shared, path):
    status, _, _ = shared.ask(shared.path + path)
    assert 400 <= status < 500
    status, _, _ = shared.ask(shared.path + path, {"Origin": "http://["}, b"x")
    assert 400 <= status < 500


def test_no_file_outside_the_page_is_served(shared):
    for path in ("../cli.py", "%2e%2e/cli.py", "..%2fcli.py", "/etc/passwd", "picture/../../cli.py"):
        assert shared.ask(shared.path + path)[0] in (403, 404), path


def test_only_this_computer_is_listened_to(shared):
    assert shared.address.startswith("http://127.0.0.1:")
    table = Path("/proc/net/tcp")
    if not table.exists():
        pytest.skip("the system keeps no table of listening ports under /proc/net/tcp")
    port = f"{int(shared.host.split(':')[1]):04X}"
    listening = [line.split()[1] for line in table.read_text().splitlines() if line.split()[3] == "0A"]
    assert [local.split(":")[0] for local in listening if local.endswith(f":{port}")] == ["0100007F"]


# --- what the page has of its own

PAGE = Path(cli.__file__).parent / "sim" / "page"
SCRIPTS = {path.name: path.read_text(encoding="utf-8") for path in sorted(PAGE.glob("*.js"))}
STYLE = (PAGE / "style.css").read_text(encoding="utf-8")
OWN = ("top > 64", "? 1000 :", "/ 1000", "* 1000", "performance.now() - movedAt > 400")
"""Numbers of the page's own that the session has for something else, such as ms in a second."""


def numbers_in(value) -> Iterator[float]:
    """All numbers of plain data that tell anything: not those that count as far as 10."""
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list | tuple):
        for one in value:
            yield from numbers_in(one)
    elif isinstance(value, int | float) and (value != int(value) or abs(value) > 10):
        yield value


def test_no_figure_of_the_session_is_in_the_page_a_second_time(shared):
    with shared.window() as window:
        told = dict(window.hello)
    for own in ("tones", "ways_in", "steps_s"):
        del told[own]
    # As parts of the sheet, and in pixels of it.
    figures = set(numbers_in(told)) | {told["soft_edge"] * told["sheet_px"][0]}
    assert {1000, 800, 128, 64, 127, 2.2, 0.024, 24} <= figures
    for name, text in SCRIPTS.items():
        for own in OWN:
            text = text.replace(own, "")
        code = re.sub(r"//.*|/\*.*?\*/", "", text)
        found = {float(number) for number in re.findall(r"(?<![\w.#])\d*\.?\d+(?![\w.])", code)}
        angles = {90.0, 180.0}  # a shade's first angle, and half a turn
        assert found & (figures - angles) == set(), name
    for steps in ("30, 60", "60, 120"):
        assert not any(steps in text for text in SCRIPTS.values())


def test_the_pages_colours_are_in_its_style_alone_and_the_displays():
    for name, text in SCRIPTS.items():
        assert re.findall(r"#[0-9a-fA-F]{6}|rgba?\(\d", text) == [], name
    colours = dict(re.findall(r"--(\w+): ([^;]+);", STYLE))
    assert (colours["ink"], colours["ground"]) == (INK, GROUND)
    assert float(colours["aspect"]) == WIDTH_PX / HEIGHT_PX
    # What is seen before the style has come.
    html = (PAGE / "index.html").read_text(encoding="utf-8")
    assert f"html{{background:{GROUND};color:{INK}}}" in html
    assert f'content="{GROUND}"' in html
    icon = (PAGE / "icon.svg").read_text(encoding="utf-8")
    assert set(re.findall(r"#\w+", icon)) == {INK, GROUND}


def test_a_constant_has_its_name_in_one_script():
    given = re.compile(r"^const ([A-Z_]+) = [\d\"'{]", re.MULTILINE)
    named = [name for text in SCRIPTS.values() for name in given.findall(text)]
    assert named
    assert len(set(named)) == len(named)


def test_the_keys_of_the_page_are_the_boxs():
    html = (PAGE / "index.html").read_text(encoding="utf-8")
    assert set(re.findall(r'data-key="(\w+)"', html)) | {"back_down", "back_up"} == set(KEYS)


# --- what a window is told


def test_a_window_learns_everything_when_it_opens(shared):
    with shared.window() as window:
        assert window.hello["tones"] == json.loads(json.dumps(SOUNDS))
        assert shared.port in window.hello["ways_in"]
        assert window.state["box"]["state"] == "browse"
        assert window.state["asks"] == "2"
        assert window.frame
        assert [0, "safelight", 1] in window.events


def test_nothing_is_sent_while_nothing_happens(shared):
    with shared.window() as window:
        window.until(lambda told: told.state["settled"])
        with pytest.raises(TimeoutError):
            window.hear(1.5)


def test_a_key_acts_when_it_goes_down(shared):
    with shared.window() as window:
        window.do("key", name="back_up")
        window.do("key", name="back")
        window.until(lambda told: told.state["says"]["back"] == "")
        assert window.state["box"]["state"] == "browse"
        window.key("press")
        window.until(lambda told: told.state["says"]["back"] != "")


def test_back_is_let_go_by_its_release_or_with_its_window(tmp_path):
    kept = tmp_path / "trace.jsonl"
    with darkroom("--trace", str(kept)) as room, room.window() as one:
        one.key("back")
        one.key("expose")
        one.until_done()
        with room.window() as two:
            two.do("key", name="back")
            two.until_done()
        one.until_done()
    told = [json.loads(line) for line in kept.read_text().splitlines()]
    keys = [entry["in"] for entry in told if entry.get("in") in ("back_down", "back", "back_up", "expose")]
    assert keys == ["back_down", "back", "back_up", "expose", "back_down", "back", "back_up"]


@pytest.mark.parametrize(
    "message",
    ["", "light", "[]", "{}", "7", '{"do":7}', '{"do":"key","name":"power_up"}', "[" * 60000,
     '{"do":"key","name":"lamp_end"}', '{"do":"dial","detents":1e9}', '{"do":"dial","detents":"1"}',
     '{"do":"pace","speed":-1}', '{"do":"step","ms":-5}', '{"do":"step","ms":1e12}', '{"do":"light"}',
     '{"do":"shade","shape":"axe"}', '{"do":"fit","filter":["2"]}', '{"do":"fit","filter":"9"}',
     '{"do":"area","name":"sky","points":[[1,null]]}', '{"do":"lamp","name":"sun"}',
     '{"do":"practice","name":{}}', '{"do":"develop"}',
     *('{"do":%s' % odd for odd in (
         '"shade","shape":"disc","x":' + "9" * 400 + "}", '"shade","shape":"disc","size":1e999}',
         '"area","name":"sky","points":[[0,0],[1,' + "9" * 400 + '],[1,1]]}',
         '"dial","detents":' + "9" * 400 + "}",
         '"dial","detents":true}', '"dial"}', '"dial","detents":[1]}', '"pace","speed":true}', '"pace"}',
         '"pace","speed":1.0}', '"step","ms":true}', '"step","ms":' + "9" * 5000 + "}", '"key"}',
         '"key","name":[]}',
         '"key","name":"' + "x" * 9000 + '"}', '"negative"}', '"negative","name":[]}', '"practice","name":1}',
         '"fit","filter":"\\ud800"}', '"area","name":"a\\nb","points":[]}', '"area","name":"a"}', "{}}",
         "[]}",
     ))],
)  # fmt: skip
def test_what_is_no_command_is_refused_in_a_line(shared, message):
    with shared.window() as window:
        before = dict(window.state)
        window.socket.send(message)
        window.until(lambda told: told.refused)
        assert "\n" not in window.refused
        assert window.refused.endswith(".")
        assert len(window.refused) < 300
        assert {key for key in before if before[key] != window.state[key]} <= {"now_ms", "sheet"}


def test_bytes_are_refused_and_a_flood_closes_only_its_own_window(shared):
    with shared.window() as window, shared.window() as other:
        window.socket.send(b"\x00\x01")
        window.until(lambda told: told.refused)
        window.socket.send("x" * 100_000)
        with pytest.raises(ConnectionClosed):
            window.hear_to_the_end()
        other.do("fit", filter="3")
        other.until(lambda told: told.state["filter"] == "3")
        other.do("fit", filter="")
        other.until(lambda told: told.state["filter"] == "")


def test_every_window_sees_what_another_does(room):
    with room.window() as one, room.window() as two:
        one.key("lamp")
        one.until(lit)
        two.until(lit)
        two.key("lamp")  # out, which is never refused
        one.until_box("browse")
        two.until_box("browse")
        one.until(lambda told: told.frame == two.frame)
        one.do("fit", filter="5")
        two.until(lambda told: told.state["filter"] == "5")
        one.until(lambda told: told.events == two.events)


def test_a_card_pushed_from_a_terminal_is_told_of_at_once(room):
    card = Path(cli.__file__).parent / "examples" / "breakwater.toml"
    with room.window() as window:
        window.key("back")
        window.do("dial", detents=5)
        window.key("press")
        window.until(lambda told: told.state["says"]["dial"] == "" and told.state["says"]["press"] == "")
        empty = window.frame
        command = [*ready(), "push", str(card), "--port", room.port]
        subprocess.run(command, check=True, capture_output=True)
        window.until(lambda told: told.frame != empty)


def test_what_is_reported_at_the_end_is_of_the_lamp_and_the_paper_on_the_page():
    with darkroom("--json", "--lamp", "tungsten") as running, running.window() as window:
        window.do("pace", speed=0)
        window.do("lamp", name="cold light")
        window.do("paper", name="grade 3")
        window.do("sheet")
        for _ in range(2):
            window.light()
            window.do("step", ms=1000)
            window.until_done()
        window.do("step", ms=15_000)
        window.do("develop", dry=False)
        window.until(lambda told: told.state.get("verdict"))
        verdict = window.state["verdict"]
    report = running.said
    (sheet,) = json.loads(report[report.index("[") :])
    assert (sheet["paper"], sheet["no_data_for"]) == ("grade 3", ["2"])
    assert verdict["note"].startswith("No verdict: grade 3 has no data for filter 2.")
    (row,), (area,) = verdict["rows"], sheet["areas"]
    assert area["given_ms"] == pytest.approx(row["given_ms"], abs=0.001)
    # This lamp lags more than the one of the command; nobody told the box.
    assert row["given_ms"] == pytest.approx(row["planned_ms"] - window.state["lag_ms"], abs=3)
    assert area["error_stops"] is row["error_stops"] is None


# --- the light is never left alone


def test_the_last_window_that_closes_puts_the_light_out(room):
    with BoxClient(room.port) as box:
        with room.window() as one:
            with room.window() as two:
                two.do("sheet")
                two.do("fit", filter="2")
                two.begin()
                two.until(lit)
            one.do("fit", filter="3")
            one.until(lambda told: told.state["filter"] == "3")
            assert box.state()["lit"]
        with room.window() as again:
            again.until_box("held")
            assert not lit(again)
            assert again.state["sheet"]["in"]
            assert 0 < again.state["box"]["left_ms"] < 10000
            again.light()
            again.until(lit)
        with room.window() as again:
            again.until_box("held")


def test_the_viewing_light_goes_out_with_the_last_window(room):
    with room.window() as window:
        window.key("lamp")
        window.until(lit)
    with BoxClient(room.port) as box:
        while box.state()["lit"]:
            pass
        assert box.state()["state"] == "browse"


class Raw:
    """A window in this loop, which answers the server's pings only when told to."""

    def __init__(self, place: Darkroom) -> None:
        self.place = place
        self.told = b""

    async def __aenter__(self) -> "Raw":
        self.incoming, self.outgoing = await asyncio.open_connection(*self.place.host.split(":"))
        self.outgoing.write(
            f"GET {self.place.path}live HTTP/1.1\r\nHost: {self.place.host}\r\n"
            f"Origin: {self.place.origin}\r\n"
            "Connection: Upgrade\r\nUpgrade: websocket\r\nSec-WebSocket-Version: 13\r\n"
            "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n".encode()
        )
        assert (await self.incoming.readuntil(b"\r\n\r\n")).startswith(b"HTTP/1.1 101 ")
        return self

    async def __aexit__(self, *failure: object) -> None:
        self.outgoing.transport.abort()
        with contextlib.suppress(OSError):
            await self.outgoing.wait_closed()

    def send(self, *messages: dict[str, Any]) -> None:
        """All in one go."""
        frames = (Frame(Opcode.TEXT, json.dumps(one).encode()).serialize(mask=True) for one in messages)
        self.outgoing.write(b"".join(frames))

    async def hear(self) -> Frame:
        """The next frame: RFC 6455 5.2."""
        first, second = await self.incoming.readexactly(2)
        length = second & 127
        if length > 125:
            length = int.from_bytes(await self.incoming.readexactly(2 if length == 126 else 8), "big")
        return Frame(Opcode(first & 15), await self.incoming.readexactly(length))

    async def until(self, holds: Callable[[dict[str, Any]], Any]) -> dict[str, Any]:
        """The first news of which this is true."""
        while True:
            frame = await self.hear()
            if frame.opcode is Opcode.TEXT and holds(news := json.loads(bytes(frame.data))):
                return news
            if frame.opcode is Opcode.PING:
                self.pong(frame)

    def pong(self, ping: Frame) -> None:
        self.outgoing.write(Frame(Opcode.PONG, ping.data).serialize(mask=True))


def key(name: str) -> dict[str, Any]:
    return {"do": "key", "name": name}


SHADE = {"do": "shade", "shape": "disc", "x": 0.5, "y": 0.5}


class Slow:
    """A negative that takes its time to be made, until it is let go."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, page: Page) -> None:
        self.begun, self.let_go = threading.Event(), threading.Event()
        monkeypatch.setattr(page._room, "make_ready", self)

    def __call__(self, message: dict[str, Any]) -> None:
        self.begun.set()
        assert self.let_go.wait(20)

    async def has_begun(self) -> None:
        assert await asyncio.to_thread(self.begun.wait, 20)


NEGATIVE = {"do": "negative", "name": "plain"}


def test_back_is_not_behind_what_takes_its_time(monkeypatch):
    async def act(page: Page, live: Live, place: Darkroom) -> None:
        slow = Slow(monkeypatch, page)
        async with Raw(place) as window:
            window.send(NEGATIVE, *[SHADE] * 30)
            await slow.has_begun()
            live.input("lamp")
            assert live.session.lamp.lit
            window.send(key("expose"), key("lamp"), key("back"))
            assert "BACK" in (await window.until(lambda news: "refused" in news))["refused"]
            assert not live.session.lamp.lit
            live.step(1000)
            slow.let_go.set()
            window.send({"do": "fit", "filter": "3"})
            await window.until(lambda news: news["state"].get("filter") == "3")
            assert not live.session.lamp.lit, "what was pressed before BACK is not done after it"
            assert page._room.hands.held["right"].shade.shape == "disc", "and all else is"

    in_a_loop(act)


def test_what_was_pressed_before_back_lights_nothing_after_it(monkeypatch):
    async def act(page: Page, live: Live, place: Darkroom) -> None:
        slow = Slow(monkeypatch, page)
        lit = []

        class Lit(Watcher):
            def lamp(self, now_ms: int, on: bool) -> None:
                lit.append(on)

        live.session.watchers.append(Lit())
        async with Raw(place) as window:
            window.send(NEGATIVE, key("lamp"))
            await slow.has_begun()
            window.send(key("back"), key("back_up"))
            await window.until(lambda news: "refused" in news)
            slow.let_go.set()
            window.send({"do": "fit", "filter": "3"})
            await window.until(lambda news: news["state"].get("filter") == "3")
        assert lit == []

    in_a_loop(act)


def test_turns_and_presses_before_back_are_done_before_it(monkeypatch):
    async def act(page: Page, live: Live, place: Darkroom) -> None:
        slow = Slow(monkeypatch, page)
        given: list[str] = []

        class Given(Watcher):
            def input(self, now_ms: int, event: str, value: object) -> None:
                given.append(event)

        live.session.watchers.append(Given())
        async with Raw(place) as window:
            window.send(NEGATIVE, {"do": "dial", "detents": 1}, key("press"), key("back"), key("back_up"))
            await slow.has_begun()
            slow.let_go.set()
            window.send({"do": "fit", "filter": "3"})
            await window.until(lambda news: news["state"].get("filter") == "3")
            assert [event for event in given if event != "tick"] == [
                "dial",
                "press",
                "back_down",
                "back",
                "back_up",
            ]

    in_a_loop(act)


def test_time_stepped_before_back_does_not_pass_after_it(monkeypatch):
    """The settling time would be over, and a press that comes too early would light the lamp."""

    async def act(page: Page, live: Live, place: Darkroom) -> None:
        slow = Slow(monkeypatch, page)
        live.set_speed(0)
        live.input("expose")
        live.step(1000)
        live.input("expose")
        async with Raw(place) as window:
            window.send(NEGATIVE, {"do": "step", "ms": 2000})
            await slow.has_begun()
            assert live.session.lamp.lit
            window.send(key("back"), key("back_up"))
            await window.until(lambda news: not live.session.lamp.lit)
            assert live.session.now_ms >= 3000
            slow.let_go.set()
            window.send(key("expose"), {"do": "fit", "filter": "3"})
            await window.until(lambda news: news["state"].get("filter") == "3")
            assert not live.session.lamp.lit

    in_a_loop(act)


def test_a_press_that_waited_too_long_lights_nothing(monkeypatch):
    monkeypatch.setattr(window_module, "LATE_S", 0.0)

    async def act(page: Page, live: Live, place: Darkroom) -> None:
        slow = Slow(monkeypatch, page)
        async with Raw(place) as window:
            window.send(NEGATIVE, key("lamp"), {"do": "dial", "detents": 1})
            await slow.has_begun()
            slow.let_go.set()
            news = await window.until(lambda news: "refused" in news)
            assert news["refused"] == "That press waited too long to be done. Press it again."
            live.input("lamp")
            window.send(key("lamp"))
            await window.until(lambda news: not live.session.lamp.lit)  # putting it out is never too late

    in_a_loop(act)


def test_a_window_that_floods_takes_no_others_turn():
    async def act(page: Page, live: Live, place: Darkroom) -> None:
        done: list[object] = []
        do = page._do
        page._do = lambda window, message: done.append(message) or do(window, message)  # type: ignore[method-assign]
        async with Raw(place) as flood, Raw(place) as polite:
            flood.send(*[SHADE] * 30_000)
            refused = asyncio.create_task(flood.until(lambda news: "refused" in news))
            while not done:
                await asyncio.sleep(0)
            for name in ("2", "3", "4", "5"):
                before = len(done)
                polite.send({"do": "fit", "filter": name})
                await polite.until(lambda news, name=name: news["state"].get("filter") == name)
                assert len(done) - before < 400, "of the 30,000"
            assert "wait" in (await refused)["refused"]
            while most := max(len(window.waiting) for window in page._windows):
                assert most <= WAITING_MAX
                await asyncio.sleep(0.01)
            flood.send(key("lamp"))
            await flood.until(lambda news: live.session.lamp.lit)

    in_a_loop(act)


def test_back_counts_at_the_end_of_a_flood(monkeypatch):
    async def act(page: Page, live: Live, place: Darkroom) -> None:
        slow = Slow(monkeypatch, page)
        async with Raw(place) as window:
            window.send(NEGATIVE, *[SHADE] * 2000)
            await slow.has_begun()
            live.input("lamp")
            window.send(key("back"), key("back_up"))
            await window.until(lambda news: not live.session.lamp.lit)
            slow.let_go.set()
            window.send(*[SHADE] * 2000, key("back"), key("back_up"))
            window.send({"do": "fit", "filter": "3"})
            while any(window.waiting or window.holds_back for window in page._windows):
                await asyncio.sleep(0.01)

    in_a_loop(act)


def test_what_a_window_sent_before_it_closed_is_done_but_lights_nothing(monkeypatch):
    async def act(page: Page, live: Live, place: Darkroom) -> None:
        slow = Slow(monkeypatch, page)
        async with Raw(place) as window:
            window.send(NEGATIVE, {"do": "fit", "filter": "4"}, key("lamp"))
            await slow.has_begun()
            live.input("lamp")
        while live.session.lamp.lit:
            await asyncio.sleep(0.01)
        slow.let_go.set()
        while page._room.hands.filter != "4":
            await asyncio.sleep(0.01)
        live.step(1000)
        await asyncio.sleep(0.05)
        assert not live.session.lamp.lit

    in_a_loop(act)


@pytest.mark.parametrize("reads", [True, False])
def test_the_light_goes_out_in_time_when_the_browser_stops(monkeypatch, reads):
    """The worst that can be: it has answered just now. What it no longer reads keeps nothing open."""
    gone_s = 3.0  # a fifth of it is left for a computer that is busy
    monkeypatch.setattr(serving, "GONE_S", gone_s)

    async def act(page: Page, live: Live, place: Darkroom) -> None:
        async with Raw(place) as window:
            window.send(key("lamp"))
            await window.until(lambda news: live.session.lamp.lit)
            ping = await window.hear()
            while ping.opcode is not Opcode.PING:
                ping = await window.hear()
            window.pong(ping)
            began_s = time.monotonic()
            if not reads:
                window.outgoing.transport.pause_reading()  # type: ignore[attr-defined]
                (one,) = page._windows
                flood = asyncio.create_task(one.socket.send_text("x" * (20 << 20)))
            while live.session.lamp.lit:
                await asyncio.sleep(0.01)
            assert gone_s / 2 < time.monotonic() - began_s < gone_s
            if not reads:
                await asyncio.wait([flood])
                flood.exception()

    in_a_loop(act)


def test_a_browser_that_answers_stays(monkeypatch):
    monkeypatch.setattr(serving, "GONE_S", 0.3)

    async def act(page: Page, live: Live, place: Darkroom) -> None:
        async with Raw(place) as window:
            window.send(key("lamp"))
            for _ in range(8):
                ping = await window.hear()
                while ping.opcode is not Opcode.PING:
                    ping = await window.hear()
                window.pong(ping)
            assert live.session.lamp.lit

    in_a_loop(act)


# --- time


def test_time_can_be_stopped_and_stepped(room):
    with room.window() as window:
        window.do("pace", speed=0)
        window.until(lambda told: told.state["pace"] == 0)
        window.key("expose")
        window.until_box("ready")
        assert window.state["says"]["expose"] == "wait"
        window.do("step", ms=699)
        window.key("expose")
        window.until(lambda told: told.state["message"] == TOO_EARLY)
        window.do("step", ms=1)
        window.light()
        window.until_box("exposing")
        began_ms = window.state["now_ms"]
        with pytest.raises(TimeoutError):
            window.hear_to_the_end(0.7)
        window.do("step", ms=9999)
        window.until(lambda told: told.state["now_ms"] > began_ms)
        assert window.state["now_ms"] == began_ms + 9999
        assert window.state["box"]["left_ms"] == 1
        window.do("step", ms=1)
        window.until_box("browse")
        assert [began_ms, "lamp", 1] in window.events
        assert [began_ms + 10000, "lamp", 0] in window.events


# --- the trays


def test_a_window_is_told_of_the_trays_when_a_sheet_moves_and_not_while_its_clock_runs(room):
    with room.window() as window:
        window.do("pace", speed=0)
        window.key("back")
        window.do("dial", detents=3)
        window.key("press")
        window.until(lambda told: told.state["says"]["press"] == "start it")
        assert window.state["trays"] == []
        window.key("press")
        window.until(lambda told: told.state["trays"])
        began_ms = window.state["now_ms"]
        (sheet,) = window.state["trays"]
        wanted = {"place": 1, "in": True, "tray": "developer", "says": "then stop bath"}
        times = {"began_ms": began_ms, "ends_ms": began_ms + 60_000, "told_ms": began_ms}
        assert sheet == {**wanted, **times}
        window.do("step", ms=59_999)
        window.until_done()
        assert window.state["trays"] == [sheet]
        window.do("step", ms=1)
        window.until(lambda told: told.state["trays"] != [sheet])
        (over,) = window.state["trays"]
        assert over == {**sheet, "told_ms": began_ms + 63_000}
        window.key("press")
        window.until(lambda told: told.state["trays"] != [over])
        (moved,) = window.state["trays"]
        assert (moved["tray"], moved["says"]) == ("stop bath", "then fix")
        assert (moved["began_ms"], moved["told_ms"]) == (began_ms + 60_000, began_ms + 63_000)
        for _ in range(5):
            window.do("step", ms=190_000 // 4)
        window.until(lambda told: told.state["trays"][0]["tray"] == "wash")
        window.key("press")
        window.until(lambda told: told.state["trays"][0]["tray"] == "out")
        assert window.state["trays"][0]["says"] == "take it out now"
        window.do("step", ms=3000)
        window.until(lambda told: not told.state["trays"])


# --- pictures and files


def test_pictures_are_grey_and_the_size_of_the_sheet(room):
    with room.window() as window:
        status, headers, data = room.ask(room.path + "picture/negative.png")
        assert (status, headers["content-type"]) == (200, "image/png")
        image = Image.open(io.BytesIO(data))
        assert (image.mode, image.size) == ("L", (1000, 800))
        status, _, text = room.ask(room.path + "picture/sky.png")
        assert status == 404
        one_line(text)
        before = window.state["pictures"]["print"]
        window.do("sheet")
        window.do("develop", dry=False)
        window.until(lambda told: told.state["pictures"]["print"] != before)
        image = Image.open(io.BytesIO(room.ask(room.path + "picture/print.png")[2]))
        assert (image.mode, image.size) == ("L", (1000, 800))


def own_picture(size=(500, 400)) -> bytes:
    file = io.BytesIO()
    Image.linear_gradient("L").resize(size).save(file, "PNG")
    return file.getvalue()


def post(room, data: bytes, query: str = "?name=mine.png&film=picture") -> tuple[int, bytes]:
    status, _, text = room.ask(room.path + "negative" + query, {"Origin": room.origin}, data)
    return status, text


def test_a_picture_of_ones_own_becomes_the_negative(room):
    with room.window() as window:
        number = window.state["pictures"]["negative"]
        assert post(room, own_picture()) == (204, b"")
        window.until(lambda told: told.state["pictures"]["negative"] != number)
        first = room.ask(room.path + "picture/negative.png")[2]
        assert post(room, own_picture(), "?name=mine.png&film=negative")[0] == 204
        assert room.ask(room.path + "picture/negative.png")[2] != first


def test_the_box_works_on_while_a_negative_is_made():
    with darkroom() as room, room.window() as one, room.window() as other:
        one.do("negative", name="workroom")
        other.key("press")
        other.until_box("edit")
        assert other.state["negative"] == "breakwater"
        other.until(lambda window: window.state["negative"] == "workroom")


def test_every_window_is_told_while_a_negative_is_made(monkeypatch):
    async def act(page: Page, live: Live, place: Darkroom) -> None:
        slow = Slow(monkeypatch, page)
        async with Raw(place) as one, Raw(place) as other:
            one.send(NEGATIVE)
            await slow.has_begun()
            for window in (one, other):
                await window.until(lambda news: news.get("state", {}).get("making") is True)
            slow.let_go.set()
            for window in (one, other):
                await window.until(lambda news: news.get("state", {}).get("making") is False)

    in_a_loop(act)


@pytest.mark.parametrize("data", [b"", b"no picture", own_picture()[:200]])
def test_what_is_no_picture_is_refused(shared, data):
    status, text = post(shared, data)
    assert status == 422
    one_line(text)


def test_a_file_that_is_too_large_is_refused(shared):
    status, text = post(shared, bytes(64 * 1024 * 1024 + 1))
    assert status == 413
    assert "64 MB" in one_line(text)


@contextlib.asynccontextmanager
async def page_here() -> AsyncIterator[tuple[Page, Live, Darkroom]]:
    """A page, its session and where it is, all in this loop. The clock stands."""
    built = build("ideal")
    session = built.session
    timeline = Timeline(session)
    session.watchers.append(timeline)
    room = Room(session, built.house, requests_for)
    session.power_up()
    session.advance(5000)
    live = Live(session, speed=0)
    page = Page(live, room, timeline, [])
    async with page.served() as address:
        yield page, live, Darkroom(f"{address} socket://none")


def in_a_loop(act: Callable[[Page, Live, Darkroom], Awaitable[None]]) -> None:
    async def run() -> None:
        async with asyncio.timeout(60), page_here() as (page, live, place):
            await act(page, live, place)

    asyncio.run(run())


async def post_here(place: Darkroom, data: bytes, says: int | None = None) -> bytes:
    """The answer to a picture, of which `says` is the length it claims to have."""
    incoming, outgoing = await asyncio.open_connection(*place.host.split(":"))
    head = f"POST {place.path}negative?name=x HTTP/1.1\r\nHost: {place.host}\r\nOrigin: {place.origin}\r\n"
    outgoing.write(f"{head}Connection: close\r\nContent-Length: {says or len(data)}\r\n\r\n".encode() + data)
    try:
        return await incoming.read()
    finally:
        outgoing.close()
        await outgoing.wait_closed()


def test_pictures_are_taken_one_at_a_time(monkeypatch):
    most, now = [], []

    def film_from(*given: Any) -> Any:
        now.append(1)
        most.append(len(now))
        time.sleep(0.02)
        now.pop()
        return films.film_from(*given)

    monkeypatch.setattr(page_server, "film_from", film_from)

    async def act(page: Page, live: Live, place: Darkroom) -> None:
        told = await asyncio.gather(*(post_here(place, own_picture()) for _ in range(5)))
        assert all(one.startswith(b"HTTP/1.1 204") for one in told)
        assert most == [1] * 5

    in_a_loop(act)


def test_a_picture_that_stops_coming_is_not_waited_for(monkeypatch):
    monkeypatch.setattr(serving, "GONE_S", 0.1)

    async def act(page: Page, live: Live, place: Darkroom) -> None:
        told = await post_here(place, own_picture()[:50], says=5000)
        assert told.startswith(b"HTTP/1.1 408")
        assert told.endswith(b"The file stopped coming. Send it again.\n")
        assert (await post_here(place, own_picture())).startswith(b"HTTP/1.1 204")

    in_a_loop(act)


@pytest.mark.parametrize(
    "name", ["a%0d%0ab.png", "x" * 3000 + ".png", "%00%ff", "%F0%9F%98%80%E2%80%AE.png", ""]
)
def test_a_files_name_fits_one_line(room, name):
    status, text = post(room, b"no picture", f"?name={name}")
    assert status == 422
    assert len(one_line(text)) < 200
    assert post(room, own_picture(), f"?name={name}")[0] == 204
    with room.window() as window:
        title = dict(window.state["negatives"])["own"]
        assert 0 < len(title) <= 60
        assert title.isprintable()


def test_trace_and_timeline_can_be_saved(tmp_path):
    kept = tmp_path / "trace.jsonl"
    with darkroom("--trace", str(kept)) as room, room.window() as window:
        window.key("press")
        window.until_box("edit")
        status, headers, trace = room.ask(room.path + "trace.jsonl")
        assert (status, headers["content-disposition"]) == (
            200,
            'attachment; filename="lampblack-trace.jsonl"',
        )
        status, headers, svg = room.ask(room.path + "timeline.svg")
        assert (status, headers["content-type"].split(";")[0]) == (200, "image/svg+xml")
        assert svg.startswith(b"<svg ")
    assert kept.read_bytes() == trace
    assert b'"in":"press"' in trace


# --- the command


def test_a_port_that_is_taken_is_said_in_a_line(shared, capsys):
    assert cli.run(["sim", "--port", shared.port.rsplit(":", 1)[1]]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
    assert "taken" in said.err


def test_without_a_terminal_there_is_no_panel(capsys):
    assert cli.run(["sim", "--terminal"]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.count("\n") == 1
