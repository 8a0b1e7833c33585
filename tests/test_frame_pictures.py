"""The frame's pictures, decoded again by other means than those that made them.

PNG is read back by the rules of ISO/IEC 15948 (signature, chunks with CRC-32, zlib stream, filter 0), SVG by
the standard library's XML parser.
"""

import random
import struct
import xml.etree.ElementTree as ET
import zlib

import pytest

from host_sim.box.frame_pictures import half_blocks, png_bytes, svg
from host_sim.box.raster import FrameBuffer
from timing_core.panel.letters import LARGE, Pen, in_letters


def some_frames():
    empty, full, screen = bytearray(1024), bytearray(b"\xff" * 1024), bytearray(1024)
    frame = FrameBuffer(screen, 128, 64, 0)
    Pen(FrameBuffer).text(frame, in_letters("Base, then +1/3"), 0, 0)
    LARGE.draw(frame, 127, 128, 20)
    frame.pixel(127, 63, 1)
    return [bytes(f) for f in (empty, full, screen)] + [random.Random(1).randbytes(1024)]


def lit(frame):
    """The lit pixels, asked of the frame buffer itself."""
    fb = FrameBuffer(bytearray(frame), 128, 64, 0)
    return {(x, y) for y in range(64) for x in range(128) if fb.pixel(x, y)}


def read_png(data):
    """Width, height and rows of RGB of a one-bit palette PNG."""
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    at, chunks = 8, []
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        kind, content = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        assert struct.unpack(">I", data[at + 8 + length : at + 12 + length]) == (zlib.crc32(kind + content),)
        chunks.append((kind, content))
        at += 12 + length
    assert [kind for kind, _ in chunks] == [b"IHDR", b"PLTE", b"IDAT", b"IEND"]
    width, height, *rest = struct.unpack(">IIBBBBB", chunks[0][1])
    assert rest == [1, 3, 0, 0, 0]
    palette = [tuple(chunks[1][1][i : i + 3]) for i in (0, 3)]
    lines = zlib.decompress(chunks[2][1])
    step = 1 + (width + 7) // 8
    assert len(lines) == step * height
    assert set(lines[::step]) == {0}
    return (
        width,
        height,
        [
            [palette[lines[y * step + 1 + x // 8] >> 7 - x % 8 & 1] for x in range(width)]
            for y in range(height)
        ],
    )


@pytest.mark.parametrize("scale", [1, 3, 6])
def test_png_shows_every_pixel_at_its_scale(scale):
    ink, paper = (255, 200, 1), (2, 3, 4)
    for frame in some_frames():
        width, height, picture = read_png(png_bytes(frame, scale, ink, paper))
        assert (width, height) == (128 * scale, 64 * scale)
        shown = lit(frame)
        for y in range(height):
            for x in range(width):
                assert picture[y][x] == (ink if (x // scale, y // scale) in shown else paper)


def test_half_blocks_hold_the_whole_frame():
    for frame in some_frames():
        lines = half_blocks(frame)
        assert [len(line) for line in lines] == [128] * 32
        seen = set()
        for y, line in enumerate(lines):
            for x, sign in enumerate(line):
                assert sign in " ▀▄█"
                seen |= {(x, 2 * y)} if sign in "▀█" else set()
                seen |= {(x, 2 * y + 1)} if sign in "▄█" else set()
        assert seen == lit(frame)


def test_svg_rectangles_cover_the_lit_pixels_once():
    space = "{http://www.w3.org/2000/svg}"
    for frame in some_frames():
        root = ET.fromstring(svg(frame, scale=4, ink="#ff0000", ground="#000000"))
        assert (root.get("viewBox"), root.get("width"), root.get("height")) == ("0 0 128 64", "512", "256")
        ground, group = root
        assert (ground.tag, ground.get("fill"), group.get("fill")) == (space + "rect", "#000000", "#ff0000")
        seen = []
        for rect in group:
            assert (rect.tag, rect.get("height")) == (space + "rect", "1")
            x, y, width = (int(rect.get(name)) for name in ("x", "y", "width"))
            seen += [(x + i, y) for i in range(width)]
        assert len(seen) == len(set(seen))
        assert set(seen) == lit(frame)


@pytest.mark.parametrize("picture", [png_bytes, half_blocks, svg])
def test_a_frame_of_another_size_is_refused(picture):
    with pytest.raises(ValueError, match="a frame is 1024 bytes, not 1000"):
        picture(bytes(1000))


def test_a_png_without_size_is_refused():
    with pytest.raises(ValueError, match="1 or more, not 0"):
        png_bytes(bytes(1024), scale=0)
