"""What the core is handed from outside, in one place: the core imports nothing but itself."""


class Kit:
    """`FrameBuffer` as in MicroPython's `framebuf`; `json_loads(text)`; `crc32(bytes[, start]) -> int` as in
    `binascii`; `sha256()` gives an object with `update(bytes)` and `digest()`, as in `hashlib`.
    """

    def __init__(self, FrameBuffer, json_loads, crc32, sha256) -> None:
        self.FrameBuffer = FrameBuffer
        self.json_loads = json_loads
        self.crc32 = crc32
        self.sha256 = sha256
