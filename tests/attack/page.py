"""The pages' servers, asked as strangers ask, and as a page does that has gone mad.

What must live here: requests and messages, and what must hold whatever they are. A request is answered, and
never by a fault of the server; who has not the key, this host and this origin moves nothing; no file outside
the laboratory's folder is read or written, and none in it is written over unasked. A window's message does
what a hand can do at the box, or is refused: light comes by a press of a key alone, and what is told next is
plain data.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import random
import tempfile
from collections import Counter
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any
from unittest.mock import patch
from urllib.parse import unquote_to_bytes

from starlette.applications import Starlette
from starlette.routing import Mount

from host_sim.box.live import Live
from host_sim.box.script import KEYS
from host_sim.box.session import Session
from host_sim.darkroom.room import Room
from host_sim.darkroom.timeline import Timeline
from lampblack.lab_page.jobs import DRAWN, JOBS
from lampblack.lab_page.server import PAGE, routes
from lampblack.page.serving import Gate
from lampblack.sim import page_server
from lampblack.sim.page_server import Page
from lampblack.sim.simulator import build
from lampblack.sim.window import WAITING_MAX, Window
from lampblack.wire.push import requests_for
from tests.attack.core import Witness
from tests.attack.files import PICTURE, png
from tests.laboratory import place_in

REQUESTS, MESSAGES = 25, 120
SECRET = "what is on the other side"
KEY, PORT = "k" * 22, 8000
HOST = f"127.0.0.1:{PORT}"
NAMES: list[Any] = [
    "workroom",
    "breakwater",
    "vc-2019",
    "../../outside/secret",
    "../outside/secret.toml",
    "/etc/passwd",
    "..",
    "a" * 24,
    "a" * 4000,
    "\x00",
    "é",
    "",
]
VALUES: list[Any] = [
    *NAMES,
    None,
    True,
    0,
    -1,
    10**30,
    1e308,
    0.5,
    [],
    [[]],
    {},
    {"a": 1},
    [{}],
    "2",
    "1/2",
    "f/8",
    "00",
]
KEYS_OF_JOBS = (
    *("name", "card", "force", "strips", "filter", "first", "densities", "step", "base", "black", "edition"),
    *(
        "reference",
        "pair",
        "text",
        "light",
        "anchor",
        "filters",
        "old",
        "new",
        "print_mm",
        "cell",
        "aperture",
    ),
    *(
        "paper",
        "record",
        "exponent",
        "outlines",
        "pass",
        "area",
        "corners",
        "upon",
        "id",
        "white",
        "paper_size",
        "kind",
    ),
)
PATHS = (
    *("", "lab/", "lab/do", "lab/print/{}", "lab/print/{}.png", "lab/thumbnail/{}.png"),
    *(
        "{}",
        "picture/{}.png",
        "picture/print.png",
        "negative",
        "timeline.svg",
        "trace.jsonl",
        "main.js",
        "lab/{}",
    ),
    *("%2e%2e/%2e%2e/{}", "lab/..%2f..%2f{}", "lab/%5c..%5c{}", "lab//{}", "%00", "live", "lab/index.html"),
)
DEEDS = (
    *("shade", "fit", "paper", "lamp", "lens", "negative", "move_negative", "sheet", "develop", "area"),
    *("practice", "unplug", "dial", "pace", "step", "step", "nothing", *["key"] * 8),
)


class Laboratory:
    """A page with its laboratory, in a folder beside which lies what is nobody's business."""

    def __init__(self, root: Path) -> None:
        self.root = root
        self.outside = root / "outside" / "secret.toml"
        self.outside.parent.mkdir()
        self.outside.write_text(f'name = "{SECRET}"\n')
        self.place = place_in(root / "lab", "socket://127.0.0.1:9")
        darkroom = build("ideal")
        self.session: Session = darkroom.session
        self.session.power_up()
        self.witness = Witness(self.session)
        self.session.watchers.append(self.witness)
        self.now_s = 0.0
        self.live = Live(self.session, 1.0, lambda: self.now_s)
        room = Room(self.session, darkroom.house, requests_for)
        timeline = Timeline(self.session)
        self.page = Page(self.live, room, timeline, [], routes(self.place))
        self.app = Gate(Starlette(routes=[Mount(f"/{KEY}", routes=self._routes())]), KEY, PORT, [PAGE])

    def _routes(self) -> list[Any]:
        found: list[Any] = []

        @contextlib.asynccontextmanager
        async def caught(routes: list[Any], pages: object) -> AsyncIterator[str]:
            found.extend(routes)
            yield ""

        async def serve() -> None:
            with patch.object(page_server, "served", caught):
                async with self.page.served():
                    pass

        asyncio.run(serve())
        return found

    def files(self) -> dict[str, bytes]:
        """All there is, but for the ledger's database."""
        found = {
            path.relative_to(self.root).as_posix(): path for path in self.root.rglob("*") if path.is_file()
        }
        return {name: path.read_bytes() for name, path in found.items() if ".sqlite" not in name}

    def standing(self) -> tuple:
        box = self.session.box
        return box.state, box.work.map.text(), box.run.at, tuple(box.shelf.names()), repr(box.bench.to_dict())

    async def ask(
        self, method: str, path: str, headers: dict[str, str], body: list[bytes]
    ) -> tuple[int, bytes]:
        """As uvicorn hands a request over."""
        raw = f"/{path}".encode("utf-8", "surrogatepass")
        scope = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": unquote_to_bytes(raw.partition(b"?")[0]).decode("utf-8", "replace"),
            "raw_path": raw,
            "query_string": raw.partition(b"?")[2],
            "root_path": "",
            "headers": [(name.encode(), value.encode()) for name, value in headers.items()],
            "client": ("127.0.0.1", 5),
            "server": ("127.0.0.1", PORT),
        }
        pieces = [{"type": "http.request", "body": piece, "more_body": True} for piece in body]
        pieces.append({"type": "http.request", "body": b"", "more_body": False})
        said: list[Any] = []

        async def receive() -> Any:
            return pieces.pop(0) if pieces else {"type": "http.disconnect"}

        async def send(message: Any) -> None:
            said.append(message)

        await self.app(scope, receive, send)
        return said[0]["status"], b"".join(message.get("body", b"") for message in said[1:])


def _name(chance: random.Random) -> str:
    return str(chance.choice(NAMES))


def _message(chance: random.Random) -> dict[str, Any]:
    light_jobs = [job for job in JOBS if job not in DRAWN]
    job = chance.choice(sorted(JOBS)) if chance.random() < 0.05 else chance.choice(light_jobs)
    more = {chance.choice(KEYS_OF_JOBS): chance.choice(VALUES) for _ in range(chance.randrange(8))}
    if chance.random() < 0.6:
        more["card"] = chance.choice(NAMES[:4])
    return {"job": job, **more}


def _body(chance: random.Random, path: str) -> list[bytes]:
    if "print" in path or "negative" in path:
        return [chance.choice([*PICTURE, lambda *_: png(40, 30, rows=bytes(41 * 30))])(chance, b"")]
    match chance.randrange(8):
        case 0:
            return [chance.randbytes(chance.randrange(4000))]
        case 1:
            return [b"[" * 100_000]
        case 2:
            return [b"x" * (1 << 16)] * 9
        case 3:
            return [
                chance.choice(
                    (b"", b"null", b"1", b"[]", b"{}", b'{"job":1}', b'{"job":[]}', b"NaN", b'"\\ud800"')
                )
            ]
        case _:
            return [json.dumps(_message(chance)).encode()]


async def ask_badly(lab: Laboratory, chance: random.Random, count: Counter[str]) -> None:
    """Some request: with the key or without it, from this page or from another."""
    path = chance.choice(PATHS).replace("{}", _name(chance))
    if chance.random() < 0.3:
        path = "lab/do"
    method = (
        "POST"
        if path == "lab/do" or chance.random() < 0.3
        else chance.choice(("GET", "HEAD", "PUT", "OPTIONS"))
    )
    key = KEY if chance.random() < 0.8 else chance.choice(("", "k" * 21, "K" * 22, "..", "é"))
    host = (
        HOST
        if chance.random() < 0.85
        else chance.choice(("evil.example", "", "127.0.0.1", f"{HOST}.evil.example"))
    )
    headers = {"host": host}
    origin = chance.choice((f"http://{HOST}", f"http://{HOST}", "http://evil.example", "null", ""))
    if origin:
        headers["origin"] = origin
    may = key == KEY and host == HOST and (method in ("GET", "HEAD") or origin == f"http://{HOST}")
    before, stood = lab.files(), lab.standing()
    body = _body(chance, path)
    where = f"{method} {path[:80]!r} {body[0][:200]!r}"
    try:
        status, said = await lab.ask(method, f"{key}/{path}", headers, body)
    except Exception as fault:
        raise AssertionError(f"{where}: {type(fault).__name__}: {fault}") from fault
    count["requests" if may else "requests of strangers"] += 1
    after = lab.files()
    assert status < 500, f"{where}: {status}"
    assert SECRET.encode() not in said, f"{where}: it tells what is outside"
    assert lab.standing() == stood, f"{where}: the box has moved"
    if not may:
        assert status == 403, f"{where}: a stranger is answered {status}"
        assert after == before, f"{where}: a stranger has changed files"
    for name in {*before, *after}:
        if before.get(name) != after.get(name):
            assert name.startswith("lab/"), f"{where}: {name} is written"
            is_asked = b'"force": true' in b"".join(body) or name.startswith("lab/prints/") or "areas" in name
            assert name not in before or is_asked, f"{where}: {name} is written over"


class Socket:
    """A window's connection: gives what it is to send, then is closed."""

    def __init__(self, messages: list[str | bytes]) -> None:
        self.messages = messages

    async def receive(self) -> dict[str, Any]:
        if not self.messages:
            return {"type": "websocket.disconnect"}
        message = self.messages.pop(0)
        return {"type": "websocket.receive", "text" if isinstance(message, str) else "bytes": message}


def _spoken(chance: random.Random) -> str | bytes:
    """What a window says."""
    if chance.random() < 0.15:
        return chance.choice(
            ("", "{", "[" * 5000, "null", "1", "[]", '"x"', '{"do":1}', '{"do":"key"}', b"\xff", "\x00")
        )
    do = chance.choice(DEEDS)
    message: dict[str, Any] = {"do": do}
    for key in (
        "name",
        "filter",
        "hand",
        "kind",
        "x",
        "y",
        "ms",
        "detents",
        "speed",
        "out",
        "dry",
        "corners",
        "area",
    ):
        if chance.random() < 0.4:
            message[key] = chance.choice(VALUES)
    if do == "key" and chance.random() < 0.8:
        message["name"] = chance.choice((*KEYS, "back_up", "back_down"))
    if do == "dial" and chance.random() < 0.8:
        message["detents"] = chance.choice((1, -1, 3, 10**9))
    if do == "step" and chance.random() < 0.8:
        message["ms"] = chance.choice((1, 700, 5000, 60_000, 60_001))
    return json.dumps(message)


async def speak_badly(lab: Laboratory, chance: random.Random, count: Counter[str]) -> None:
    """A window that says anything, a part of it faster than it can be done."""
    page = lab.page
    window = Window(Socket([_spoken(chance) for _ in range(chance.choice((1, 20, WAITING_MAX + 20)))]))  # type: ignore[arg-type]
    page._windows.add(window)
    count["messages"] += len(window.socket.messages)  # type: ignore[attr-defined]
    await page._listen(window)
    assert len(window.waiting) <= WAITING_MAX + 1, "what waits has no end"
    for message, _ in list(window.waiting)[:MESSAGES]:
        if isinstance(message, dict) and message.get("do") in ("negative", "practice", "develop", "paper"):
            count["messages that are slow"] += 1
            if chance.random() < 0.9:
                continue
        lab.now_s += chance.choice((0, 0.01, 0.3, 2))
        lit, stood = lab.session.lamp.lit, lab.standing()
        try:
            page._obey(window, message)
        except Exception as fault:
            raise AssertionError(f"{message!r:.300}: {type(fault).__name__}: {fault}") from fault
        assert lab.witness.faults == [], f"{message!r:.300}: {lab.witness.faults}"
        if not lit and lab.session.lamp.lit:
            count["lights"] += 1
        is_hand = isinstance(message, dict) and message.get("do") in ("key", "dial", "unplug", "practice")
        if not is_hand and stood[0] not in (
            "exposing",
            "viewing",
            "stopping",
            "delaying",
            "arming",
            "between",
        ):
            assert lab.standing()[1:] == stood[1:], f"{message!r:.300}: the box has moved"
        page._look()
        json.dumps(page._news(window))
    page._leave(window)


async def attack(lab: Laboratory, chance: random.Random, count: Counter[str]) -> None:
    for _ in range(REQUESTS):
        await ask_badly(lab, chance, count)
    await speak_badly(lab, chance, count)


def play(chance: random.Random, count: Counter[str]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        asyncio.run(attack(Laboratory(Path(folder)), chance, count))
