"""The wire: questions answered in a second, and how long a large card takes.

The box is `lampblack sim` in a process of its own and `BoxClient` here, over the loopback; and, without
any port, the link of a box in memory. The rivals speak the same JSON over a bare socket (`bare_server`),
read by pyserial as fast as it can: no checksum, no check of a message, no retry, and nothing kept.
"""

import json
import subprocess
import sys
from binascii import crc32
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import NamedTuple

import serial  # type: ignore[import-untyped]

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from lampblack.wire.box_client import BoxClient
from lampblack.wire.push import requests_for
from tests.figures.comparison import WALL, Figure, Spread, of, side_by_side
from tests.figures.prints import forty_stages
from timing_core.canonical import encode
from timing_core.light.bench import Bench
from timing_core.light.plan import compile_print
from timing_core.wire.framing import frame

PUSH_BUDGET_MS = 300
"""Of the same card over USB."""

CHUNK = 4096
BARE_SERVER = str(Path(__file__).with_name("bare_server.py"))
SIM = ("-m", "lampblack", "sim", "--port", "0")
ASKED = {"jsonrpc": "2.0", "id": 7, "method": "state", "params": {}}


@contextmanager
def process(*arguments: str, lines: int = 1) -> Iterator[str]:
    """A Python process, ended afterwards; gives the first lines that it prints."""
    with subprocess.Popen(
        [sys.executable, *arguments], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True
    ) as running:
        try:
            assert running.stdout is not None
            said = "".join(running.stdout.readline() for _ in range(lines)).strip()
            assert said, f"{' '.join(arguments)} said nothing"
            yield said
        finally:
            running.terminate()


@contextmanager
def simulated_boxes() -> Iterator[list[str]]:
    """The ways into a running `lampblack sim`: a socket and, where the system has one, a pseudo-terminal."""
    with process(*SIM, lines=2) as said:
        yield [word for word in said.split() if word.startswith(("socket://", "/dev/"))]


class BareClient:
    """Questions as lines of JSON, each answered by one; as many at once as are given."""

    def __init__(self, port: str) -> None:
        self._port = serial.serial_for_url(f"socket://127.0.0.1:{port}", timeout=5)

    def close(self) -> None:
        self._port.close()

    def ask(self, questions: list[dict]) -> list[dict]:
        port = self._port
        port.write(b"".join(json.dumps(question).encode() + b"\n" for question in questions))
        data = b""
        while data.count(b"\n") < len(questions):
            port.timeout = 5
            first = port.read(1)
            assert first, "the bare server does not answer"
            port.timeout = 0
            data += first + port.read(CHUNK)
        return [json.loads(line) for line in data.splitlines()]


def card_numbered(number: int) -> dict:
    """A 40-stage card that is not yet on the shelf, so that it has to be written."""
    card = forty_stages().to_dict()
    card["title"] = f"forty stages {number}"
    return card


def push_messages(card: dict) -> list[dict]:
    """The requests that `BoxClient.push` sends for the card."""
    return [
        {"jsonrpc": "2.0", "id": id, "method": method, "params": params}
        for id, (method, params) in enumerate(requests_for(card))
    ]


def bare_results(summary: dict) -> str:
    digest = {"name": "forty-stages", "digest": "0" * 64}
    return json.dumps({"state": summary, "card.part": {"missing": []}, "card.commit": digest})


def in_memory(repeats: int, count: int) -> Figure:
    session = Session(MemoryDisk(), desk_platform())
    session.power_up()
    link = session.box.link
    line = frame(encode(ASKED), crc32)[:-1]
    text = json.dumps(ASKED)
    reply = {"jsonrpc": "2.0", "id": 7, "result": session.box.summary()}
    assert json.loads(link.take(line)[:-10]) == reply

    def ours(_: object) -> None:
        for _ in range(count):
            link.take(line)

    def bare(_: object) -> None:
        for _ in range(count):
            json.loads(text)
            json.dumps(reply).encode()

    answers, bare_answers = side_by_side(repeats, (lambda: None, ours), (lambda: None, bare))
    return of(
        "`state` answered in memory, no port",
        answers.each(lambda s: count / s),
        "/s",
        rival="json.loads and json.dumps of the same",
        rival_value=count / bare_answers.median,
    )


class Contest(NamedTuple):
    """One way into a box beside the bare server: seconds of `count` questions, and of one card."""

    asks: Spread
    bare_asks: Spread
    push: Spread
    bare_push: Spread


def contest(repeats: int, count: int, url: str) -> Contest:
    """Both sides are asked the same; every card pushed is a new one."""
    pushed = 0

    def push(box: BoxClient) -> None:
        nonlocal pushed
        pushed += 1
        assert box.push(card_numbered(pushed))["name"] == "forty-stages"

    def ask(box: BoxClient) -> None:
        for _ in range(count):
            box.state()

    def ask_bare(bare: BareClient) -> None:
        for _ in range(count):
            bare.ask([ASKED])

    messages = push_messages(card_numbered(0))
    with BoxClient(url) as box:
        summary = box.state()
        with process(BARE_SERVER, bare_results(summary)) as port, closing(BareClient(port)) as bare:
            assert bare.ask([ASKED])[0]["result"] == summary
            found = side_by_side(
                repeats,
                (lambda: box, ask),
                (lambda: bare, ask_bare),
                (lambda: box, push),
                (lambda: bare, lambda bare: bare.ask(messages)),
                clock=WALL,
            )
        assert box.pull("forty-stages") == card_numbered(pushed)
    return Contest(*found)


def figures(repeats: int, count: int) -> list[Figure]:
    """`count`: questions in one repeat."""
    rows = [in_memory(repeats, count * 10)]
    stages = len(compile_print(forty_stages(), Bench()))
    lines = len(push_messages(card_numbered(0)))
    with simulated_boxes() as urls:
        for url in urls:
            way = "a socket" if url.startswith("socket:") else "a pseudo-terminal"
            found = contest(repeats, count, url)
            rows.append(
                of(
                    f"`state` over {way}, round trips",
                    found.asks.each(lambda s: count / s),
                    "/s",
                    rival="bare JSON lines over a socket",
                    rival_value=count / found.bare_asks.median,
                )
            )
            rows.append(
                of(
                    f"Push of a {stages}-stage card over {way}",
                    found.push.each(lambda s: s * 1000),
                    "ms",
                    rival=f"the {lines} requests as bare JSON lines",
                    rival_value=found.bare_push.median * 1000,
                    more_is_better=False,
                    budget=PUSH_BUDGET_MS,
                )
            )
    return rows
