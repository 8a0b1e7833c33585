"""The PC's client against a port with anything at its other end.

What must live here: what such a port sends, and what may come of a question. Two kinds are told apart:

- a bad line: all that the true box says may be cut, spoiled, repeated, late or buried in noise, and more
  comes that no question asked for. What the client then gives is the true answer, or a refusal of one line.
- a liar: whole and checked replies with anything in them. The client gives something of the declared shape,
  or a refusal of one line.

Either way it ends in a time that hangs on the question alone, by the injected clock, and keeps no more in
memory than a line or two.
"""

from __future__ import annotations

import json
import random
from collections import Counter
from collections.abc import Callable
from typing import Any
from zlib import crc32

from lampblack.wire.asking import SLICE_S
from lampblack.wire.box_client import BoxClient, BoxError
from tests.portable.fakes import small_card
from tests.portable.papers import VC_2019
from tests.test_hostile_box import TRUE
from timing_core.canonical import encode
from timing_core.wire.framing import LINE_MAX, LineReader, frame, unframe

TIMEOUT_S = 4.0
BYTES_A_SECOND = 100_000
SYSTEM_BYTES = 4096
"""So much the system keeps for who reads late."""
NEVER_S = 4000.0
"""No job asks so many questions that all their time together is longer."""
JOBS: dict[str, Callable[[BoxClient], Any]] = {
    "hello": lambda client: client.about,
    "state": lambda client: client.state(),
    "cards": lambda client: client.cards(),
    "papers": lambda client: client.cards("paper"),
    "pull": lambda client: client.pull("mill"),
    "pull of a paper record": lambda client: client.pull("vc-2019", kind="paper"),
    "push": lambda client: client.push(small_card("workroom")),
    "push of a paper record": lambda client: client.push(VC_2019, kind="paper"),
    "bench": lambda client: client.bench_get(),
    "change of the bench": lambda client: client.bench_set({"volume": 3}),
    "ledger": lambda client: list(client.ledger()),
    "crash log": lambda client: client.crashes(),
    "damage": lambda client: client.damage(),
}
VALUES: list[Any] = [
    None,
    True,
    0,
    -1,
    10**30,
    1e308,
    "",
    "x" * 5000,
    "\x1b[2J\n",
    [],
    [[[]]],
    {},
    {"a": {}},
    "é",
]


class HostilePort:
    """A port to the true box, with its own clock: `chance` decides what becomes of each of its answers."""

    def __init__(self, chance: random.Random, count: Counter[str], lies: bool, evil: float) -> None:
        self.chance, self.count, self.lies, self.evil = chance, count, lies, evil
        self.now_s = 0.0
        self.timeout: float | None = None
        self._requests = LineReader()
        self._waits: list[tuple[float, bytes]] = []
        self._old: list[bytes] = []
        self._endless = b""
        self._reads = 0
        self.is_gone = False

    def clock(self) -> float:
        return self.now_s

    def sleep(self, seconds: float) -> None:
        self.now_s += seconds

    # --- from the PC

    def write(self, data: bytes) -> None:
        self._there()
        self._requests.feed(data)
        while (line := self._requests.next_line()) is not None:
            request = json.loads(unframe(line, crc32) or b"null") if line else None
            if request:
                self._answer(request)

    def _answer(self, request: dict) -> None:
        reply = dict(TRUE.reply(request["method"], request["params"]))
        if self.lies and self.chance.random() < self.evil:
            self.count["lies"] += 1
            spoil(self.chance, reply)
        reply = {key: reply[key] for key in ("result", "error") if key in reply}
        payload = json.dumps({"id": request["id"], "jsonrpc": "2.0", **reply}).encode()
        line = frame(payload, crc32)
        self._old.append(line)
        if not self.lies and self.chance.random() < self.evil:
            self.count["bad lines"] += 1
            self._send_badly(line)
        else:
            self._send(line)

    def _send(self, data: bytes, after_s: float = 0) -> None:
        self._waits.append((self.now_s + after_s, data))

    def _send_badly(self, line: bytes) -> None:
        chance = self.chance
        match chance.randrange(12):
            case 0:
                pass  # silence
            case 1:
                self._send(line[: chance.randrange(len(line))])
            case 2:
                at = chance.randrange(len(line))
                self._send(line[:at] + bytes([line[at] ^ 1 << chance.randrange(8)]) + line[at + 1 :])
            case 3:
                self._send(chance.randbytes(chance.randrange(3000)) + b"\n" + line)
            case 4:
                self._send(chance.choice(self._old) * chance.choice((1, 50)) + line + line)
            case 5:
                self._send(line, chance.choice((0.3, 0.9, 1.1, 5)))
            case 6:
                self._endless = chance.choice((b"x" * 997, b"{" * 500, line, b"\n", b"\x00" * 64, b'"'))
            case 7:
                others = (chance.choice((None, -1, "1", 1.0, True, 1 << 70, [], {})) for _ in range(9))
                for other in others:
                    self._send(frame(json.dumps({"id": other, "result": {}}).encode(), crc32))
                self._send(line)
            case 8:
                odd = (
                    b"[" * 1000,
                    b"{}",
                    b"[]",
                    b"null",
                    b"\xff\xfe",
                    b'{"result":1}',
                    b'{"id":1,"result":1',
                )
                self._send(frame(chance.choice(odd), crc32) + line)
            case 9:
                self._send(line.replace(b" ", b"  ", 1) + line.upper() + b"\r\n" + line[:-1] + b"\r\n")
            case 10:
                self.is_gone = True
            case _:
                for byte in line:
                    self._send(bytes([byte]), 0.001)

    # --- to the PC

    @property
    def in_waiting(self) -> int:
        self._there()
        waits = sum(len(data) for at_s, data in self._waits if at_s <= self.now_s) or len(self._endless)
        return min(waits, SYSTEM_BYTES)

    def read(self, size: int) -> bytes:
        self._there()
        self._reads += 1
        assert self.now_s < NEVER_S, "it hangs"
        assert self._reads < 200_000, "it reads without end"
        data = b"".join(data for at_s, data in self._waits if at_s <= self.now_s) or self._endless
        self._waits = [(at_s, own) for at_s, own in self._waits if at_s > self.now_s]
        if len(data) > size:
            self._waits.insert(0, (self.now_s, data[size:]))
        self.now_s += max(0.001, min(size, len(data)) / BYTES_A_SECOND) if data else SLICE_S
        return data[:size]

    def close(self) -> None:
        self._endless = b""

    def _there(self) -> None:
        if self.is_gone:
            raise OSError(5, "Input/output error")


def spoil(chance: random.Random, reply: dict) -> None:
    """Put something else into it, anywhere."""
    at: Any = reply
    while True:
        keys = list(at) if isinstance(at, dict) else list(range(len(at)))
        if not keys:
            return
        key = chance.choice(keys)
        inner = at[key]
        if isinstance(inner, dict | list) and inner and chance.random() < 0.8:
            at[key] = inner = inner.copy()
            at = inner
            continue
        match chance.randrange(3):
            case 0 if isinstance(at, dict):
                del at[key]
            case 1 if isinstance(at, list):
                at += [inner] * chance.choice((1, 3000))
            case _:
                at[key] = chance.choice(VALUES)
        return


def memory_of(client: BoxClient) -> int:
    """Bytes that wait in it for the end of their line."""
    reader = client._asking._reader
    return sum(len(own) for own in vars(reader).values() if isinstance(own, bytes | bytearray))


def play(chance: random.Random, count: Counter[str]) -> None:
    port = HostilePort(chance, count, chance.random() < 0.4, chance.choice((0.05, 0.3, 1)))
    job = chance.choice(sorted(JOBS))
    client = None
    try:
        client = BoxClient(
            "a port", TIMEOUT_S, transport=port, clock=port.clock, sleep=port.sleep, wall_clock=lambda: 1e9
        )
        given = JOBS[job](client)
    except BoxError as refused:
        count["refusals"] += 1
        said = str(refused)
        assert said.isascii() or port.lies, f"a refusal with what the noise said: {said!r}"
        assert "\n" not in said or port.lies, f"a refusal of several lines: {said!r}"
        assert len(said) <= 2 * LINE_MAX, f"a refusal without end: {len(said)} characters"
    else:
        count["answers"] += 1
        assert port.lies or given == truth(job), f"{job}: a wrong answer is given"
        encode({"given": given})  # it is plain data
    if client is not None:
        assert memory_of(client) <= 4 * LINE_MAX, "noise fills the memory"
    count["s of its clock"] += int(port.now_s)


_TRUTH: dict[str, Any] = {}


def truth(job: str) -> Any:
    """What an undisturbed client gives."""
    if job not in _TRUTH:
        port = HostilePort(random.Random(0), Counter(), False, 0)
        client = BoxClient("a port", transport=port, clock=port.clock, wall_clock=lambda: 1e9)
        _TRUTH[job] = JOBS[job](client)
    return _TRUTH[job]
