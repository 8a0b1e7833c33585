"""Negatives: our own, and a user's picture made into one."""

import io
import math
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image, ImageOps

from host_sim.optics import negatives
from host_sim.optics.lamp_house import LUX
from host_sim.optics.negatives import NEGATIVES, NegativeError, from_picture, mask_of
from host_sim.optics.paper import paper
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX
from host_sim.optics.sheet import densities
from tests.scans import lying

PICTURES = [name for name in NEGATIVES if name not in ("step-wedge", "plain")]


def saved(image: Image.Image, form: str = "PNG", **more) -> bytes:
    file = io.BytesIO()
    image.save(file, form, **more)
    return file.getvalue()


def ramp(width: int = 500, height: int = 400) -> Image.Image:
    """Dark at the left, bright at the right."""
    row = np.linspace(0, 255, width).astype(np.uint8)
    return Image.fromarray(np.repeat(row[None, :], height, axis=0))


# --- our own


@pytest.mark.parametrize("name", NEGATIVES)
def test_a_negative_is_film_the_size_of_the_sheet(name):
    film = negatives.negative(name)
    assert film.transmittance.shape == (HEIGHT_PX, WIDTH_PX)
    assert film.transmittance.dtype == np.float32
    assert film.transmittance.min() > 0
    assert film.transmittance.max() <= 1
    assert film.title == NEGATIVES[name]
    for area, mask in film.areas.items():
        assert mask.shape == film.transmittance.shape, area
        assert mask.min() >= 0
        assert mask.max() == pytest.approx(1), area
        assert 0.005 < (mask > 0.5).mean() < 0.7, area


def test_a_negative_is_drawn_alike_every_time():
    first = negatives.negative("breakwater").transmittance
    again = negatives.negative.__wrapped__("breakwater").transmittance
    assert np.array_equal(first, again)


def test_the_wedge_has_21_steps_of_0_15():
    film = negatives.negative("step-wedge").transmittance
    steps = list(dict.fromkeys(film[100].tolist()))
    assert len(steps) == 21
    assert [-math.log10(t) for t in steps] == pytest.approx([0.15 * k for k in range(21)], abs=1e-5)


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_fits_paper_of_a_normal_grade(name):
    """Common practice, no source: a negative for grade 2 has densities over some 1.0 to 1.5; a print of it
    in 14 s of the room's light has black, white and all the tones between."""
    film = negatives.negative(name).transmittance
    low, high = (-math.log10(np.percentile(film, part)) for part in (99.5, 0.5))
    assert 0.9 < high - low < 1.6
    density = densities(paper("vc-2019"), {"2": film * np.float32(14 * LUX)})
    assert np.percentile(density, 99.8) > 1.8
    assert np.percentile(density, 0.5) < 0.2
    shares = np.histogram(density, bins=np.linspace(0, 2.1, 8))[0] / density.size
    assert shares.min() > 0.005
    assert shares.max() < 0.5


@pytest.mark.parametrize("name", PICTURES)
def test_a_picture_has_grain(name):
    """Film is no smooth thing: neighbours differ, even where the scene does not."""
    density = -np.log10(negatives.negative(name).transmittance)
    step = np.abs(np.diff(density, axis=1))
    assert 0.003 < np.median(step) < 0.05


def test_a_mask_is_one_inside_and_half_at_its_edge():
    mask = mask_of([(0.25, 0.25), (0.75, 0.25), (0.75, 0.75), (0.25, 0.75)])
    assert mask[400, 500] == 1
    assert mask[20, 20] == 0
    assert mask[400, 250] == pytest.approx(0.5, abs=0.1)
    assert (mask > 0.5).mean() == pytest.approx(0.25, abs=0.01)


# --- a user's picture


def test_a_picture_becomes_a_negative_and_a_negative_stays_one():
    made = from_picture(saved(ramp()), "ramp.png", is_negative=False)
    assert (made.name, made.title) == ("own", "ramp.png")
    row = made.transmittance[400]
    assert row[20] > 3 * row[980], "what is bright in the picture is dense on film"
    kept = from_picture(saved(ramp()), "ramp.png", is_negative=True).transmittance[400]
    assert kept[20] < kept[980] / 20
    # sRGB (IEC 61966-2-1): half of full scale is 0.214 of the light.
    grey = Image.new("L", (1000, 800), 128)
    light = from_picture(saved(grey), "grey.png", is_negative=True).transmittance
    assert light[400, 500] == pytest.approx(0.2159, abs=0.002)


def test_a_picture_prints_as_itself():
    """The print of the negative of a picture has the picture's tones, the darker the darker."""
    made = from_picture(saved(ramp()), "ramp.png", is_negative=False)
    vc = paper("vc-2019")
    density = densities(vc, {"2": made.transmittance * np.float32(56)})[400]
    assert np.all(np.diff(density[5:-5:10]) <= 1e-6)
    assert density[10] > 1.7
    assert density[990] < 0.1


def test_the_whole_picture_is_on_the_sheet_whatever_its_shape():
    tall = from_picture(saved(Image.new("L", (300, 900), 200)), "tall.png", is_negative=True).transmittance
    across = np.flatnonzero(tall[400] > 0.1)
    assert len(across) == pytest.approx(HEIGHT_PX / 3, abs=2)
    assert across.mean() == pytest.approx(WIDTH_PX / 2, abs=2)
    # Beside the picture the film's holder lets nothing through, in either case.
    for is_negative in (True, False):
        beside = from_picture(saved(Image.new("L", (300, 900), 0)), "tall.png", is_negative).transmittance
        assert beside[:, :300].max() < 1e-3


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize(
    ("form", "deep", "more"),
    [("JPEG", False, {}), ("PNG", True, {}), ("TIFF", False, {}), ("TIFF", True, {}),
     ("TIFF", True, {"compression": "tiff_lzw"})],
)  # fmt: skip
def test_a_camera_that_was_turned_is_turned_back(orientation, form, deep, more):
    """The picture is dark in its left upper quarter when looked at rightly."""
    upright = Image.new("L", (400, 320), 220)
    upright.paste(20, (0, 0, 200, 160))
    if deep:
        upright = Image.fromarray(np.asarray(upright).astype(np.uint16) * 257)
    stored, exif = lying(upright, orientation)
    film = from_picture(saved(stored, form, exif=exif, **more), "x", is_negative=True).transmittance
    dark = film[100, 100] / film[700, 900]
    assert dark < 0.1
    assert film[700, 100] / film[700, 900] == pytest.approx(1, abs=0.05)


def sixteen_bit(form: str = "PNG") -> bytes:
    row = np.linspace(0, 65535, 1000).astype(np.uint16)
    return saved(Image.fromarray(np.repeat(row[None, :], 800, axis=0)), form)


# Made by the tests that want them: every process of a run reads this file.
KINDS = {
    "rgb": lambda: saved(ramp().convert("RGB")),
    "rgba": lambda: saved(ramp().convert("RGBA")),
    "palette": lambda: saved(ImageOps.colorize(ramp(), "black", "white").quantize(64)),
    "grey+alpha": lambda: saved(ramp().convert("LA")),
    "tiff": lambda: saved(ramp(), "TIFF"),
    "bmp": lambda: saved(ramp(), "BMP"),
    "webp": lambda: saved(ramp().convert("RGB"), "WEBP", lossless=True),
    "gif": lambda: saved(ramp(), "GIF"),
    "cmyk": lambda: saved(ramp().convert("CMYK"), "JPEG", quality=95),
    "deep": sixteen_bit,
    "deep tiff": lambda: sixteen_bit("TIFF"),
}


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_picture_gives_the_same_film(kind):
    expected = from_picture(saved(ramp(1000, 800)), "ramp", is_negative=True).transmittance
    found = from_picture(KINDS[kind](), "ramp", is_negative=True).transmittance
    # In the display's even steps: 8 bits, a palette of 64 and JPEG are coarse.
    off = np.abs(found[::7, 20:-20:7] ** (1 / 2.2) - expected[::7, 20:-20:7] ** (1 / 2.2))
    assert off.max() < 0.03


def test_16_bits_are_not_cut_to_8():
    film = from_picture(sixteen_bit(), "deep.png", is_negative=True).transmittance
    assert len(np.unique(film[400])) > 900


def test_what_is_clear_in_a_picture_is_white():
    clear = Image.new("RGBA", (100, 80), (0, 0, 0, 0))
    film = from_picture(saved(clear), "clear.png", is_negative=False).transmittance
    white = from_picture(saved(Image.new("L", (100, 80), 255)), "white.png", is_negative=False).transmittance
    assert film[400, 500] == pytest.approx(white[400, 500], rel=1e-5)


@pytest.mark.parametrize("make", [lambda: ramp(9000, 6000), lambda: Image.new("L", (1, 1), 90)])
def test_a_large_and_a_tiny_picture_are_taken(make):
    film = from_picture(saved(make()), "x.png", is_negative=False).transmittance
    assert film.shape == (HEIGHT_PX, WIDTH_PX)


@pytest.mark.parametrize("size", [(59_000_000, 1), (1, 5_000_000), (1_000_000, 3)])
def test_a_picture_may_have_any_shape(size):
    film = from_picture(saved(Image.new("L", size, 200)), "x.png", is_negative=True).transmittance
    assert np.isfinite(film).all()
    assert film.max() == pytest.approx(0.578, abs=0.01)


PEAK = """
import sys
from host_sim.optics.negatives import from_picture
data = open(sys.argv[1], "rb").read()
from_picture(data, "x", False)
# Not `ru_maxrss`, which a process has from the one that started it.
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells the most memory a process had")
@pytest.mark.parametrize(("mode", "form"), [("RGBA", "PNG"), ("I;16", "PNG"), ("F", "TIFF")])
def test_a_large_picture_takes_little_more_memory_than_its_pixels(tmp_path, mode, form):
    width, height = 9000, 6600
    if mode == "RGBA":
        image = Image.new("RGBA", (width, height), (90, 120, 200, 250))
    else:
        image = Image.fromarray(np.full((height, width), 0.5 if form == "TIFF" else 30_000, mode_type(mode)))
    path = tmp_path / "picture"
    image.save(
        path, form, **({"compression": "tiff_adobe_deflate"} if form == "TIFF" else {"compress_level": 1})
    )
    del image
    said = subprocess.run([sys.executable, "-c", PEAK, str(path)], capture_output=True, text=True, check=True)
    assert int(said.stdout) < (450 << 10), "in kB"


def mode_type(mode: str) -> type:
    return np.float32 if mode == "F" else np.uint16


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_point_that_is_no_number_is_refused(value):
    points = np.full((80, 100), 0.5, np.float32)
    points[3, 4] = value
    with pytest.raises(NegativeError, match=r"^deep\.tif is not taken: .*no number.*\.$"):
        from_picture(saved(Image.fromarray(points), "TIFF"), "deep.tif", is_negative=True)


@pytest.mark.parametrize("value", [3e38, -3e38])
def test_a_point_beyond_all_bounds_leaves_the_rest_a_film(value):
    points = np.full((1600, 2000), 0.5, np.float32)
    points[3:9, 4:9] = value
    film = from_picture(saved(Image.fromarray(points), "TIFF"), "deep.tif", is_negative=True).transmittance
    assert np.isfinite(film).all()
    assert 0 <= film.min() <= film.max() <= 1


def png_that_claims(width: int, height: int) -> bytes:
    """A small file with a header that promises a huge picture."""
    import struct
    import zlib

    head = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    body = b"IDAT" + zlib.compress(bytes(1000))
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        struct.pack(">I", len(part) - 4) + part + struct.pack(">I", zlib.crc32(part))
        for part in (head, body, b"IEND")
    )


NO_PICTURE, TOO_LARGE = "no picture that can be read", "over 60 million pixels"
REFUSED = {
    "empty": (lambda: b"", NO_PICTURE),
    "text": (lambda: b"Dear diary, no picture here.", NO_PICTURE),
    "postscript": (lambda: b"%!PS-Adobe-3.0 EPSF-3.0\n%%BoundingBox: 0 0 10 10\n", NO_PICTURE),
    "cut png": (lambda: saved(ramp())[:900], NO_PICTURE),
    "cut jpeg": (lambda: saved(ramp().convert("RGB"), "JPEG")[:700], NO_PICTURE),
    "cut head": (lambda: saved(ramp())[:40], NO_PICTURE),
    "cut data": (lambda: png_that_claims(400, 300), NO_PICTURE),
    "huge": (lambda: png_that_claims(10_000, 9_000), TOO_LARGE),
    "bomb": (lambda: png_that_claims(60_000, 60_000), TOO_LARGE),
    "bytes": (lambda: bytes((64 << 20) + 1), "over 64 MB"),
    "webp": (lambda: saved(Image.new("L", (4000, 4000)), "WEBP", method=0), "over 15 million pixels"),
}


@pytest.mark.parametrize("which", REFUSED)
def test_what_is_no_picture_is_refused_in_one_line(which):
    make, says = REFUSED[which]
    data = make()
    with pytest.raises(NegativeError, match=says) as refusal:
        from_picture(data, "holiday.png", is_negative=False)
    line = str(refusal.value)
    assert line.startswith("holiday.png is not taken: ")
    assert "\n" not in line
    assert line.endswith(".")
