"""Plain data as text, one way only: sorted keys, no spaces, ASCII.

What must live here: the canonical JSON writer, and the digest of what it writes. MicroPython's dicts have
no order and its own writer adds spaces, so the box, the PC and every trace use this writer: equal data
gives equal bytes everywhere. Reading is done by the injected `json_loads`.

Plain data is None, bool, int, str, list or tuple, and dict with str keys. No floats: every number
in the project is an integer with its unit in its name.
"""

from timing_core.platform import const

_ROOM = const(512)
_LINE = const(2048)
_FEW = const(16)

PRINTABLE = (
    "etaoinsrl_ dcmupfhgbwykvxzjq0123456789.,-:ABCDEFGHIJKLMNOPQRSTUVWXYZ!\"#$%&'()*+/;<=>?@[\\]^`{|}~"
)
"""ASCII without controls, the most common first, since MicroPython's `strip` searches from the left. Written
out, since MicroPython would keep each character that is put together as a name of its own."""

_AS_IT_IS = PRINTABLE.replace('"', "").replace("\\", "")
_SHORT = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t", "\f": "\\f", "\b": "\\b"}


def encode(value: object) -> bytes:
    """`value` as canonical JSON. TypeError for anything that is not plain data."""
    # What is longer than a line on the wire is measured on the first pass and written on a second. A small
    # heap has room for one long text, but not for a text that grows, nor for hundreds of pieces waiting to be
    # joined.
    text = bytearray(_ROOM)
    size = 0

    def put(piece: str) -> None:
        nonlocal size
        start, size = size, size + len(piece)
        if size > len(text) == _ROOM:
            text.extend(bytes(_LINE - _ROOM))
        if size <= len(text):
            text[start:size] = piece.encode()

    _write(value, put)
    if size > len(text):
        text = bytearray(size)
        size = 0
        _write(value, put)
    return bytes(memoryview(text)[:size])


def digest_of_text(platform, text: bytes) -> str:
    """SHA-256 of a text that `encode` has written, as 64 hex digits."""
    sha = platform.sha256()
    sha.update(text)
    return "%064x" % int.from_bytes(sha.digest(), "big")


def _write(value, put) -> None:
    # What is still open, from the outside in, is on a list and not on the stack, of which a board has little:
    # for each list or dict, what is still to come of it, itself, and what goes before the next item.
    still: list = []
    head = ""
    while True:
        text = _flat(value) if isinstance(value, dict) else _whole(value)
        if text:
            put(head + text)
        elif isinstance(value, dict):
            put(head + "{")
            still.append([iter(sorted(value)), value, ""])
        else:
            put(head + "[")
            still.append([iter(value), None, ""])
        while still:
            inner = still[-1]
            items, source, head = inner
            for value in items:  # noqa: B007  # the next of them
                break
            else:
                put("]" if source is None else "}")
                still.pop()
                continue
            inner[2] = ","
            if source is not None:
                if not isinstance(value, str):
                    raise TypeError("not plain data: a key that is no text")
                head += quoted(value) + ":"
                value = source[value]
            break
        else:
            return


def _whole(value) -> str:
    """`value` as one piece, "" if it is to be written item by item."""
    if isinstance(value, str):
        return quoted(value)
    if value is None:
        return "null"
    if value is True or value is False:
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, (list, tuple)):
        try:
            if value and not "".join(value).strip(_AS_IT_IS):
                return '["%s"]' % '","'.join(value)
        except TypeError:
            pass  # not all of it is text
        return ""
    raise TypeError("not plain data: %s" % type(value))


def _flat(value: dict) -> str:
    """A dict of a few keys that has no other in it, nor a list, as one piece; "" for any other."""
    if len(value) > _FEW:
        return ""
    keys = sorted(value)
    try:
        are_plain = not "".join(keys).strip(_AS_IT_IS)
    except TypeError:
        return ""  # not all of them are text
    pieces = []
    for key in keys:
        own = value[key]
        if isinstance(own, str):
            text = quoted(own)
        elif own is None or isinstance(own, int):
            text = _whole(own)
        else:
            return ""
        pieces.append('"' + key + '":' + text if are_plain else quoted(key) + ":" + text)
    return "{%s}" % ",".join(pieces)


def quoted(text: str) -> str:
    """`text` as a JSON string, in ASCII."""
    # Nearly all text has only these characters, and built-ins handle them without a slow loop.
    if not text.strip(_AS_IT_IS):
        return '"%s"' % text
    if not text.strip(PRINTABLE):
        return '"%s"' % text.replace("\\", "\\\\").replace('"', '\\"')
    pieces = ['"']
    for ch in text:
        code = ord(ch)
        if ch in _SHORT:
            pieces.append(_SHORT[ch])
        elif 32 <= code < 127:
            pieces.append(ch)
        elif code < 0x10000:
            pieces.append("\\u%04x" % code)
        else:
            code -= 0x10000
            pieces.append("\\u%04x\\u%04x" % (0xD800 | code >> 10, 0xDC00 | code & 0x3FF))
    pieces.append('"')
    return "".join(pieces)
