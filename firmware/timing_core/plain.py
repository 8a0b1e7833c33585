"""Plain data as text, one way only: sorted keys, no spaces, ASCII.

What must live here: the canonical JSON writer and the digest taken of it. MicroPython's dicts have
no order and its own writer puts spaces in, so the box, the PC and every trace write with this one:
equal data gives equal bytes everywhere. Reading is the injected `json_loads`.

Plain data is None, bool, int, str, list or tuple, and dict with str keys. No floats: every number
in the project is an integer with its unit in its name.
"""

_SHORT = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\r": "\\r", "\t": "\\t", "\f": "\\f", "\b": "\\b"}


def encode(value: object) -> bytes:
    """`value` as canonical JSON. TypeError for anything that is not plain data."""
    # One growing buffer: hundreds of small pieces kept until a join would break a small heap up.
    text = bytearray()
    _write(value, lambda piece: text.extend(piece.encode()))
    return bytes(text)


def digest(kit, value: object) -> str:
    """SHA-256 of `encode(value)` as 64 hex digits, fed piece by piece: no long text is built."""
    sha = kit.sha256()
    _write(value, lambda piece: sha.update(piece.encode()))
    return hex_of(sha.digest())


def hex_of(data: bytes) -> str:
    return "".join(["%02x" % byte for byte in data])


def _write(value, put) -> None:
    if value is None:
        put("null")
    elif value is True or value is False:
        put("true" if value else "false")
    elif isinstance(value, int):
        put(str(value))
    elif isinstance(value, str):
        put(_quoted(value))
    elif isinstance(value, (list, tuple)):
        mark = "["
        for item in value:
            put(mark)
            _write(item, put)
            mark = ","
        put("]" if mark == "," else "[]")
    elif isinstance(value, dict):
        mark = "{"
        for key in sorted(value):
            put(mark)
            put(_quoted(key))
            put(":")
            _write(value[key], put)
            mark = ","
        put("}" if mark == "," else "{}")
    else:
        raise TypeError("not plain data: %s" % type(value))


def _quoted(text: str) -> str:
    # Nearly all text is printable ASCII without quotes, and `repr` can tell so in one call instead
    # of a slow loop: it shows every control character and backslash as something else.
    if repr(text) == "'" + text + "'" and '"' not in text and len(text.encode()) == len(text):
        return '"' + text + '"'
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
