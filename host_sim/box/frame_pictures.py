"""Pictures of the box's frame: for documents, for browsers, for the terminal.

What lives here: one-way translations of a finished 128 x 64 frame (MONO_VLSB, 1,024 bytes, as the display
takes it). It may not know what the frame shows or how it was drawn.
"""

import struct
import zlib

WIDTH_PX = 128
HEIGHT_PX = 64
INK_RGB = (255, 64, 32)
GROUND_RGB = (8, 0, 0)
INK = "#%02x%02x%02x" % INK_RGB
GROUND = "#%02x%02x%02x" % GROUND_RGB
"""The display's colours, and the brightest and the darkest of all that is shown of the darkroom."""


def rows(frame: bytes) -> list[list[int]]:
    """The frame as 64 rows of 128 pixels, 1 for lit. Raises ValueError unless it is 1,024 bytes long."""
    if len(frame) != WIDTH_PX * HEIGHT_PX // 8:
        raise ValueError(f"a frame is {WIDTH_PX * HEIGHT_PX // 8} bytes, not {len(frame)}")
    found = []
    for page in range(0, len(frame), WIDTH_PX):
        columns = frame[page : page + WIDTH_PX]
        found += [[column >> row & 1 for column in columns] for row in range(8)]
    return found


def half_blocks(frame: bytes) -> list[str]:
    """32 lines of 128 characters; each character shows two pixels, one above the other."""
    picture = rows(frame)
    return [
        "".join(" ▀▄█"[upper + 2 * lower] for upper, lower in zip(*picture[y : y + 2], strict=True))
        for y in range(0, HEIGHT_PX, 2)
    ]


def png_bytes(
    frame: bytes,
    scale: int = 6,
    ink: tuple[int, int, int] = INK_RGB,
    ground: tuple[int, int, int] = GROUND_RGB,
) -> bytes:
    """A PNG file, `scale` (1 or more) pixels to a pixel of the frame; `ink` and `ground` are RGB, 0 to 255.

    One bit a pixel with a palette of two, as ISO/IEC 15948 has it: a screen takes about a kilobyte.
    """
    if scale < 1:
        raise ValueError(f"the scale of a picture is 1 or more, not {scale}")
    lines = bytearray()
    for row in rows(frame):
        bits = "".join(str(pixel) * scale for pixel in row)
        # WIDTH_PX is a multiple of 8, so a line always ends on a whole byte. Filter type 0: none.
        lines += (b"\x00" + int(bits, 2).to_bytes(len(bits) // 8, "big")) * scale

    def chunk(kind: bytes, content: bytes) -> bytes:
        body = kind + content
        return struct.pack(">I", len(content)) + body + struct.pack(">I", zlib.crc32(body))

    header = struct.pack(">IIBBBBB", WIDTH_PX * scale, HEIGHT_PX * scale, 1, 3, 0, 0, 0)
    return b"".join(
        (
            b"\x89PNG\r\n\x1a\n",
            chunk(b"IHDR", header),
            chunk(b"PLTE", bytes((*ground, *ink))),
            chunk(b"IDAT", zlib.compress(bytes(lines), 9)),
            chunk(b"IEND", b""),
        )
    )


def svg(frame: bytes, scale: int = 6, ink: str = INK, ground: str = GROUND) -> str:
    """An SVG document; a run of lit pixels in a row is one rectangle. `ink` and `ground` are CSS colours."""
    runs = []
    for y, row in enumerate(rows(frame)):
        x = 0
        while x < WIDTH_PX:
            start = x
            while x < WIDTH_PX and row[x]:
                x += 1
            if x > start:
                runs.append(f'<rect x="{start}" y="{y}" width="{x - start}" height="1"/>')
            x += 1
    return "\n".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH_PX} {HEIGHT_PX}"'
            f' width="{WIDTH_PX * scale}" height="{HEIGHT_PX * scale}" shape-rendering="crispEdges">',
            f'<rect width="{WIDTH_PX}" height="{HEIGHT_PX}" fill="{ground}"/>',
            f'<g fill="{ink}">',
            *runs,
            "</g>",
            "</svg>",
            "",
        )
    )


def braille(frame: bytes) -> list[str]:
    """The frame in 16 lines of 64 characters, for small terminals: each is 2 x 4 pixels."""
    lit = rows(frame)
    # Bits of a braille cell, by column and row: Unicode 2800, "Braille Patterns".
    bits = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
    return [
        "".join(
            chr(0x2800 + sum(bits[dx][dy] for dx in range(2) for dy in range(4) if lit[y + dy][x + dx]))
            for x in range(0, 128, 2)
        )
        for y in range(0, 64, 4)
    ]
