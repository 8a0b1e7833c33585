"""Requests to a box, and their replies, over one open port. docs/wire.md is their page for people.

What must live here: asking again, telling a reply from noise, and what a person reads when the wire fails. It
may not know what is asked for, nor how a port is opened.

A request that gets no reply is asked again under the same id: every message may be repeated (see
`timing_core.wire.framing`). Ids begin at a random number, so that a reply meant for an earlier tool is no
reply. Everything that is not a whole, checked reply to an open request is noise, and is passed over. A reply
of a shape that `replies` does not declare goes no further than this.
"""

import json
import secrets
from binascii import crc32
from collections.abc import Callable, Iterator
from typing import Any

from lampblack.wire.replies import Wrong, checked, checked_error
from timing_core.canonical import encode
from timing_core.wire.framing import BUSY, LINE_MAX, TOO_LONG, LineReader, frame, unframe

TRIES = 4
WINDOW = 8
"""Requests under way at once: the box works on one while the next comes in."""
SAME_IN_ALL = ("hello", "handover")
"""Methods that every version of the wire has alike."""
SLICE_S = 0.05
"""How long reading waits for a first byte."""


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


class Asking:
    """Asks the box at `url`, on the other end of `port`. Every method raises BoxError.

    `timeout_s` is how long one question may go without an answer; `clock` counts seconds. Where the box does
    not speak this wire, as `knows_wire` tells, a reply may have any shape, and it is the caller who may not
    rely on it.
    """

    def __init__(self, url: str, port: Any, timeout_s: float, clock: Callable[[], float]) -> None:
        self.url = url
        self.knows_wire = True
        self._port = port
        self._try_s = timeout_s / TRIES
        self._clock = clock
        self._reader = LineReader()
        self._next_id = secrets.randbelow(1 << 29)

    def close(self) -> None:
        self._port.close()

    def ask(
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
        asked: dict[int, str] = {}
        for method, params in questions:
            self._next_id += 1
            message = {"jsonrpc": "2.0", "id": self._next_id, "method": method, "params": params}
            line = frame(encode(message), crc32)
            if len(line) > LINE_MAX:
                raise BoxError(
                    f"{method} is not sent: it takes {len(line)} bytes, a line has {LINE_MAX}. Send less."
                )
            waiting[self._next_id] = line
            asked[self._next_id] = method
        results: dict[int, dict] = {id: {} for id in waiting}
        for _ in range(TRIES):
            self.write(b"".join(waiting.values()))
            until = self._clock() + self._try_s
            while waiting and self._clock() < until:
                for reply in self._replies():
                    id = reply.get("id")
                    if type(id) is not int or id not in waiting:
                        continue
                    results[id] = self._result(asked[id], reply)
                    del waiting[id]
                    until = self._clock() + self._try_s
            if not waiting:
                return list(results.values())
            self.write(b"\n")  # the line may have arrived in half
        raise NoAnswer(
            f"No answer from {self.url}: no box is there, or it is at its prompt or still starting. "
            "Check the port (`lampblack ports`) and try again."
        )

    def _result(self, method: str, reply: dict) -> dict:
        """What a reply to `method` says, in the shape that is declared for it; BoxError for a refusal."""
        try:
            if "error" in reply:
                error = checked_error(reply["error"])
                raise BoxError(error["message"], error["code"])
            if self.knows_wire or method in SAME_IN_ALL:
                return checked(method, reply["result"])
        except Wrong as wrong:
            raise self.wrong(method, wrong) from None
        return reply["result"] if isinstance(reply["result"], dict) else {}

    def wrong(self, method: str, why: object) -> BoxError:
        return BoxError(
            f"The box at {self.url} answers {method} wrongly: {why}. Give box and PC the same version."
        )

    def write(self, data: bytes) -> None:
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
                self._port.timeout = SLICE_S
        except OSError as error:
            raise self._lost(error) from None
        self._reader.feed(data)
        while (line := self._reader.next_line()) is not None:
            payload = None if line == TOO_LONG else unframe(line, crc32)
            message = read_json(payload) if payload is not None else None
            if isinstance(message, dict) and ("result" in message or "error" in message):
                yield message

    def _lost(self, error: OSError) -> BoxError:
        return BoxError(
            f"The connection to {self.url} is lost: {cause_of(error)}. Check the cable and try again."
        )


def read_json(text: bytes | str) -> object:
    """Plain data; None where the text is no JSON, or is nested past all measure."""
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return None


def cause_of(error: Exception) -> str:
    """The system's words for an error, on one line and without a full stop of their own."""
    words = getattr(error, "strerror", None) or str(error)
    return " ".join(words.split()).rstrip(".") or type(error).__name__
