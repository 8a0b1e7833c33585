"""What the core needs from outside, in one place, since the core imports nothing but itself."""


class Platform:
    """`FrameBuffer` as in MicroPython's `framebuf`; `json_loads(text)`; `crc32(bytes[, start]) -> int` as
    in `binascii`; `sha256()` gives an object with `update(bytes)` and `digest()`, as in `hashlib`;
    `unpacked(text)` undoes base64 and deflate (with a window of 2 ** `wire.framing.WINDOW_BITS` bytes) and
    gives a stream (`read(size) -> bytes`, b"" at its end); `json_load(stream)` reads such a stream. Both
    raise some Exception for what they cannot read.
    """

    def __init__(self, FrameBuffer, json_loads, crc32, sha256, unpacked, json_load) -> None:
        self.FrameBuffer = FrameBuffer
        self.json_loads = json_loads
        self.crc32 = crc32
        self.sha256 = sha256
        self.unpacked = unpacked
        self.json_load = json_load


def const(value):
    """`value`. On a board the compiler puts it in place of a name "_X" that is set to `const(...)`: there the
    name takes no memory.
    """
    return value
