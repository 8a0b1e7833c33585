"""Lines of the wire and the messages in them. docs/wire.md is their page for people.

What must live here: framing, JSON-RPC 2.0, and what fits a line. It may not know a method, a box, a port or
a clock.

Faults tolerated, and why:
- noise, half lines, lines without end: a line counts only with its CRC-32, and buffers have a fixed size;
- a message that is none: all of it is checked before anything is done, and it is refused in one line.
"""

from timing_core.canonical import encode
from timing_core.platform import const

LINE_MAX = 2048
"""Bytes of a line, its newline included."""

PIECE = 900
"""Characters of a long text in one message. The line has room for them even if every one is escaped."""
PIECES_MAX = 40
"""Enough pieces for the longest card there can be, and a few more."""
WINDOW_BITS = 10
"""A card comes deflated with a window of 2 ** 10 bytes, which is what must be in memory while it is read."""

_ID_MAX = const(40)
MESSAGE_MAX = 400
_TAIL = const(10)
_PAGE = const(1800)

TOO_LONG = b"\n"
"""What `LineReader` gives for a line that it has thrown away. No true line is equal to it."""

DAMAGED = -32700
NOT_A_REQUEST = -32600
NO_METHOD = -32601
BAD_PARAMS = -32602
BUSY = 1
REFUSED = 2
STORAGE = 3
NOT_ALL_SENT = 4

_MAY_BE_LEFT_OUT = ("after", "kind")
_KINDS = {str: "text", int: "a whole number from 0", dict: "an object"}


def frame(payload: bytes, crc32) -> bytes:
    """The line that carries `payload` (at most LINE_MAX - 10 bytes, no newline)."""
    return payload + b" %08x\n" % crc32(payload)


def unframe(line: bytes, crc32):
    """The payload of a line (without its newline), or None if the line is damaged."""
    payload = line[: 1 - _TAIL]
    return payload if line[1 - _TAIL :] == b" %08x" % crc32(payload) else None


_REQUEST_KEYS = ("jsonrpc", "id", "method", "params")


class LineReader:
    """Cuts a stream of bytes into lines. It keeps one unfinished line of up to `limit` bytes, and no more."""

    def __init__(self, limit: int = LINE_MAX) -> None:
        self._held = bytearray(limit)
        self._used = 0
        self._skipping = False
        self._data = b""
        self._at = 0

    def feed(self, data: bytes) -> None:
        """Take bytes that came in. Call `next_line` until it gives None before feeding more."""
        self._data = self._data[self._at :] + data if self._data else data
        self._at = 0

    def next_line(self):
        """The next line without its newline; TOO_LONG for one past the limit; None if there is none."""
        end = self._data.find(b"\n", self._at)
        stop = end if end >= 0 else len(self._data)
        more = stop - self._at
        if self._used + more >= len(self._held):
            self._skipping = True
        if not self._skipping:
            self._held[self._used : self._used + more] = self._data[self._at : stop]
            self._used += more
        self._at = stop + 1
        if end < 0:
            self._data, self._at = b"", 0
            return None
        line = TOO_LONG if self._skipping else bytes(memoryview(self._held)[: self._used])
        self._used, self._skipping = 0, False
        return line


class Fault(Exception):
    """A message that is not acted on: its error code, and the line that says why and what to do."""

    def __init__(self, code: int, line: str) -> None:
        super().__init__(line)
        self.code = code


def _message_in(line: bytes, platform):
    """The message in a line. Fault if the line is damaged or is no JSON."""
    if line == TOO_LONG:
        raise Fault(DAMAGED, "Line is not read: it is over %d bytes. Send shorter lines." % LINE_MAX)
    payload = unframe(line, platform.crc32)
    if payload is None:
        raise Fault(DAMAGED, "Line is not read: its CRC-32 does not match. Send it again.")
    try:
        text = str(payload, "utf-8")
        if len(text) == len(payload):
            return platform.json_loads(text)
    except Exception:  # whatever the reader raises, the text is no JSON
        pass
    raise Fault(DAMAGED, "Line is not read: it is no JSON in ASCII. Write it as docs/wire.md says.")


def request_in(line: bytes, platform):
    """The request in a line, or None if the line wants no reply. Fault if it is damaged or is no request.

    A notification wants none: it does nothing here, since a refusal could not be reported. Nor does a reply:
    answering replies would go on for ever on a line that echoes.
    """
    message = _message_in(line, platform)
    if isinstance(message, dict):
        if "id" not in message if "method" in message else "result" in message or "error" in message:
            return None
        if all(key in _REQUEST_KEYS for key in message):
            if message.get("jsonrpc") == "2.0" and isinstance(message.get("method"), str):
                id = message["id"]
                if isinstance(id, (int, str)) and not isinstance(id, bool) and len(encode(id)) <= _ID_MAX:
                    return message
    if isinstance(message, list):
        raise Fault(NOT_A_REQUEST, "Message is not taken: it is a batch. Send one request a line.")
    raise Fault(NOT_A_REQUEST, "Message is not taken: it is no request. Write it as docs/wire.md says.")


def error_of(code: int, line) -> dict:
    """One line of printable ASCII that fits its message, whatever characters the sender's names have."""
    text = str(line)
    if len(text) > MESSAGE_MAX:
        text = text[: MESSAGE_MAX // 2] + "..." + text[-MESSAGE_MAX // 2 :]
    error: dict = {"code": code, "message": "".join([ch if 32 <= ord(ch) < 127 else "?" for ch in text])}
    if code == BUSY:
        error["data"] = {"retry": True}
    return error


def params_of(params, wanted: tuple) -> list:
    """The values of `params` in the order of `wanted`. A Fault names the one that is wrong."""
    if not isinstance(params, dict):
        raise Fault(BAD_PARAMS, "Message is not taken: params is no object. Send an object.")
    values = []
    for key, kind in wanted:
        value = params.get(key, kind() if key in _MAY_BE_LEFT_OUT else None)
        if not isinstance(value, kind) or isinstance(value, bool):
            raise Fault(BAD_PARAMS, "Message is not taken: %s is not %s. Send it so." % (key, _KINDS[kind]))
        if kind is int and not 0 <= value < 1 << 30:
            raise Fault(BAD_PARAMS, "Message is not taken: %s is out of range. Send 0 to 2^30 - 1." % key)
        values.append(value)
    names = [key for key, _ in wanted]
    others = [str(key) for key in params if key not in names]
    if others:
        raise Fault(BAD_PARAMS, "Message is not taken: it has no %s. Leave it out." % min(others))
    return values


def pieces_of(text: str) -> list:
    """A long text cut into pieces of PIECE characters, one for each message."""
    return [text[at : at + PIECE] for at in range(0, len(text), PIECE)]


class Page:
    """As many items as fit one line."""

    def __init__(self) -> None:
        self.items: list = []
        self._room = _PAGE

    def takes(self, item) -> bool:
        """Take `item`; False if there is no room for it."""
        self._room -= len(encode(item)) + 1
        if self._room < 0:
            return False
        self.items.append(item)
        return True


def short(record: dict) -> dict:
    """The record, or if it is too long for a line, its number and how many pieces `ledger.fetch` has of
    it."""
    size = len(encode(record))
    return record if size < _PAGE else {"n": record["n"], "of": -(-size // PIECE)}


def piece(text: bytes, part: int) -> dict:
    of = -(-len(text) // PIECE)
    if part >= of:
        raise Fault(BAD_PARAMS, "No part %d: there are %d. They are counted from 0." % (part, of))
    return {"of": of, "part": part, "text": str(text[part * PIECE : (part + 1) * PIECE], "utf-8")}
