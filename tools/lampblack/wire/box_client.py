"""The box from the PC's side of the wire. docs/wire.md is its page for people.

What must live here: ports, asking again, and what a person reads when the wire fails. It is the only
file that imports `serial`. It knows no card file and no terminal.

A request that gets no reply is asked again under the same id: every message may be repeated (see
`timing_core.wire.framing`). Ids begin at a random number, so that a reply meant for an earlier tool is no
reply. Everything that is not a whole, checked reply to an open request is noise, and is passed over.
"""

import errno
import hashlib
import json
import secrets
import time
from binascii import crc32
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, NamedTuple

import serial  # type: ignore[import-untyped]
from serial.tools import list_ports  # type: ignore[import-untyped]

from lampblack.wire.push import requests_for
from timing_core.canonical import encode
from timing_core.light.printing_map import PrintingMap
from timing_core.refusal import Refusal
from timing_core.wire.framing import BUSY, LINE_MAX, TOO_LONG, LineReader, frame, unframe
from timing_core.wire.methods import WIRE

TRIES = 4
WINDOW = 8
"""Requests under way at once: the box works on one while the next comes in."""
_SLICE_S = 0.05


class BoxError(Exception):
    """What went wrong, why, and what to do, in one line.

    `code` is the box's (docs/wire.md), 0 where the PC speaks; `retry` is true if the box waits for dark.
    """

    def __init__(self, line: str, code: int = 0) -> None:
        super().__init__(line)
        self.code = code
        self.retry = code == BUSY


class NoAnswer(BoxError):
    """The port is open, and nothing on it answers as a box does."""


class Port(NamedTuple):
    """A serial port of this PC: what to call it, what is plugged into it, and the vendor and product of its
    USB id where it has one."""

    url: str
    about: str
    usb: tuple[int, int] | None = None


def ports() -> list[Port]:
    """The serial ports of this PC, by name."""
    found = sorted(list_ports.comports(), key=lambda port: port.device)
    return [Port(port.device, _about(port.description), _usb(port.vid, port.pid)) for port in found]


def _about(description: str | None) -> str:
    return "unknown" if not description or description == "n/a" else description


def _usb(vendor: int | None, product: int | None) -> tuple[int, int] | None:
    return None if vendor is None or product is None else (vendor, product)


class BoxClient:
    """A box at a pyserial URL: `/dev/ttyACM0`, `COM5`, `socket://host:port`. Every method raises BoxError.

    `timeout_s` is how long one question may go without an answer, asking again included. `transport` stands
    in for the port: `read(n)` gives up to n bytes, or none after a short wait; `write(data)`, `in_waiting`,
    `close()`. `clock` counts seconds, `wall_clock` those since 1970, which the box is told. A box that speaks
    another version of the wire is refused, unless `any_wire`: `hello` and `handover` are the same in all.
    With `only_hello` nothing else is asked by itself.
    """

    def __init__(
        self,
        url: str,
        timeout_s: float = 4.0,
        *,
        transport: Any = None,
        clock: Callable[[], float] = time.monotonic,
        wall_clock: Callable[[], float] = time.time,
        any_wire: bool = False,
        only_hello: bool = False,
    ) -> None:
        self.url = url
        self._try_s = timeout_s / TRIES
        self._clock = clock
        self._wall_clock = wall_clock
        self._reader = LineReader()
        self._next_id = secrets.randbelow(1 << 29)
        self._port = transport if transport is not None else open_port(url, timeout_s)
        try:
            self._write(b"\n")  # ends whatever half line an earlier tool left
            self.about = self.hello()
            if not only_hello:
                self._greet(any_wire)
        except BaseException:
            self.close()
            raise

    def _greet(self, any_wire: bool) -> None:
        if self.about.get("wire") == WIRE:
            if "clock.set" in self.about.get("methods", ()):
                self.tell_time()
        elif not any_wire:
            raise BoxError(
                f"The box at {self.url} is not used: it speaks wire {self.about.get('wire')} and this tool "
                f"wire {WIRE}. Give box and PC the same version."
            )

    def __enter__(self) -> "BoxClient":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        self._port.close()

    # --- questions

    def call(self, method: str, **params: Any) -> dict:
        """The result of one message."""
        return self._ask([(method, params)])[0]

    def hello(self) -> dict:
        """What the box is and can do."""
        return self.call("hello")

    def tell_time(self) -> None:
        """Tell the box the date and time (UTC), which it has no way to know, for its ledger."""
        day, second = divmod(int(self._wall_clock()), 86400)
        self.call("clock.set", day=day, second=second)

    def damage(self) -> list[str]:
        """What is kept in the box and damaged, a line each."""
        return self._lines("damage.read")

    def state(self) -> dict:
        """What the box is doing."""
        return self.call("state")

    def cards(self) -> list[dict]:
        """Name, title and digest of every card on the shelf, by name."""
        found: list[dict] = []
        more = True
        while more:
            page = self.call("card.list", after=found[-1]["name"] if found else "")
            found += page["cards"]
            more = page["more"]
        return found

    def push(self, card: dict, progress: Callable[[int, int], None] | None = None) -> dict:
        """Put a card on the shelf, whole or not at all, in place of one with its name; gives name and digest.

        `card` is as `PrintingMap.to_dict` has it. `progress(done, of)` counts messages.
        """
        try:
            requests = requests_for(PrintingMap.from_dict(card).to_dict())
        except Refusal as refusal:
            raise BoxError(refusal.line) from None
        told = progress or (lambda done, of: None)
        of = len(requests)
        self._ask(requests[:-1], lambda done: told(done, of))
        # Only now: a commit that finds a part missing is refused.
        return self._ask(requests[-1:], lambda done: told(of, of))[0]

    def pull(self, name: str, progress: Callable[[int, int], None] | None = None) -> dict:
        """A card from the shelf, as `PrintingMap.to_dict` has it."""
        first = self.call("card.fetch", name=name, part=0)
        told = progress or (lambda done, of: None)
        told(1, first["of"])
        rest = self._ask(
            [("card.fetch", {"name": name, "part": part}) for part in range(1, first["of"])],
            lambda done: told(1 + done, first["of"]),
        )
        text = "".join(piece["text"] for piece in [first, *rest])
        if hashlib.sha256(text.encode()).hexdigest() != first["digest"]:
            raise BoxError(f"{name} is not pulled: it changed meanwhile. Pull it again.")
        return json.loads(text)

    def remove(self, name: str) -> bool:
        """Take a card off the shelf; False if it is not there (or a lost reply was asked for again)."""
        return self.call("card.remove", name=name)["removed"]

    def bench_get(self) -> dict:
        """Every setting of the bench."""
        return self.call("bench.get")["values"]

    def bench_set(self, values: dict) -> dict:
        """Set all of `values` or none; gives every setting as it is then."""
        return self.call("bench.set", values=values)["values"]

    def ledger(self, after: int = 0) -> Iterator[dict]:
        """The records numbered above `after`, in order."""
        more = True
        while more:
            page = self.call("ledger.read", after=after)
            for record in page["records"]:
                yield self._whole(record)
                after = record["n"]
            more = page["more"]

    def _whole(self, record: dict) -> dict:
        """A record too long for a page comes as its number and its count of pieces."""
        if set(record) != {"n", "of"}:
            return record
        asked = [("ledger.fetch", {"n": record["n"], "part": part}) for part in range(record["of"])]
        return json.loads("".join(piece["text"] for piece in self._ask(asked)))

    def crashes(self) -> list[str]:
        """The lines of the box's crash log, oldest first; none if it never failed."""
        return self._lines("crash.read")

    def _lines(self, method: str) -> list[str]:
        lines: list[str] = []
        more = True
        while more:
            page = self.call(method, after=len(lines))
            lines += page["lines"]
            more = page["more"]
        return lines

    def handover(self) -> None:
        """Make the box leave to its MicroPython prompt. It answers nothing more after this."""
        self.call("handover")

    # --- asking

    def _ask(
        self, questions: list[tuple[str, dict]], progress: Callable[[int], None] | None = None
    ) -> list[dict]:
        results: list[dict] = []
        for at in range(0, len(questions), WINDOW):
            results += self._ask_at_once(questions[at : at + WINDOW])
            if progress:
                progress(len(results))
        return results

    def _ask_at_once(self, questions: list[tuple[str, dict]]) -> list[dict]:
        waiting: dict[int, bytes] = {}
        for method, params in questions:
            self._next_id += 1
            message = {"jsonrpc": "2.0", "id": self._next_id, "method": method, "params": params}
            line = frame(encode(message), crc32)
            if len(line) > LINE_MAX:
                raise BoxError(
                    f"{method} is not sent: it takes {len(line)} bytes, a line has {LINE_MAX}. Send less."
                )
            waiting[self._next_id] = line
        results: dict[int, dict] = {id: {} for id in waiting}
        for _ in range(TRIES):
            self._write(b"".join(waiting.values()))
            until = self._clock() + self._try_s
            while waiting and self._clock() < until:
                for reply in self._replies():
                    id = reply.get("id")
                    if not isinstance(id, int) or id not in waiting:
                        continue
                    if "error" in reply:
                        raise BoxError(reply["error"]["message"], reply["error"]["code"])
                    results[id] = reply["result"]
                    del waiting[id]
                    until = self._clock() + self._try_s
            if not waiting:
                return list(results.values())
            self._write(b"\n")  # the line may have arrived in half
        raise NoAnswer(
            f"No answer from {self.url}: no box is there, or it is at its prompt or still starting. "
            "Check the port (`lampblack ports`) and try again."
        )

    def _write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except OSError as error:
            raise self._lost(error) from None

    def _replies(self) -> Iterator[dict]:
        """The whole, checked messages among the bytes that came in; waits a moment for the first byte."""
        try:
            data = self._port.read(max(1, self._port.in_waiting))
            if data and self.url.startswith("socket:"):
                # Here pyserial tells whether there are bytes, but not how many, and one at a time is slow.
                self._port.timeout = 0
                data += self._port.read(LINE_MAX)
                self._port.timeout = _SLICE_S
        except OSError as error:
            raise self._lost(error) from None
        self._reader.feed(data)
        while (line := self._reader.next_line()) is not None:
            payload = None if line == TOO_LONG else unframe(line, crc32)
            message = _json(payload) if payload is not None else None
            if isinstance(message, dict) and ("result" in message or "error" in message):
                yield message

    def _lost(self, error: OSError) -> BoxError:
        return BoxError(
            f"The connection to {self.url} is lost: {_cause(error)}. Check the cable and try again."
        )


def open_port(url: str, timeout_s: float = 4.0) -> Any:
    """The port at `url`, for this program alone. Reading waits a moment, writing up to `timeout_s`."""
    try:
        return serial.serial_for_url(url, timeout=_SLICE_S, write_timeout=timeout_s, exclusive=True)
    except (OSError, ValueError) as error:
        raise BoxError(f"{url} does not open: {_why_closed(url, error)}") from None


def _why_closed(url: str, error: OSError | ValueError) -> str:
    """Why a port does not open, and what to do. On Windows pyserial has the cause in its words only."""
    number = getattr(error, "errno", None)
    words = str(error)
    if number == errno.ENOENT or "FileNotFoundError" in words:
        return "nothing is there. Plug the box in with a data cable, and look at `lampblack ports`."
    if number == errno.EACCES:
        join = f"`sudo usermod -a -G {_group(url)} $USER`"
        return f"you may not use it. Join its group with {join}, then log in anew."
    if number in (errno.EBUSY, errno.EAGAIN) or "PermissionError" in words:
        return "another program has it open. Close that program and try again."
    return f"{_cause(error)}. Check its name (`lampblack ports`) and that no other program has it open."


def _group(path: str) -> str:
    try:
        return Path(path).group()
    except (OSError, KeyError, NotImplementedError):
        return "dialout"


def _json(text: bytes) -> object:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None


def _cause(error: Exception) -> str:
    """The system's words for an error, on one line and without a full stop of their own."""
    words = getattr(error, "strerror", None) or str(error)
    return " ".join(words.split()).rstrip(".") or type(error).__name__
