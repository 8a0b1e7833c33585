"""Negatives to practise with: our own, drawn by code, and a user's picture made into one.

What must live here: film. It may not know paper, light or sessions. A negative is the part of the light that
each point of the film lets through, and where the areas lie that a printer would dodge or burn.
"""

from __future__ import annotations

import io
import struct
import warnings
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from PIL import ExifTags, Image, ImageDraw, ImageFilter

from host_sim.optics import scenery
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX, Outline, Pixels

WEDGE_STEPS = 21
WEDGE_STEP_D = 0.15
LARGEST_BYTES = 64 << 20
LARGEST_PX = 60_000_000
"""Some 300 to 500 MB of memory while it is read."""
LARGEST_PX_OF = {"WEBP": 15_000_000}
"""Its decoder keeps all of it several times."""
_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "BMP", "GIF")
"""Pictures, and no documents that are programs."""
_BLACK = np.float32(0.005)
"""Light, as part of white, that is as good as none."""
_SPARE = 4
"""How many times finer than the sheet a picture is averaged, for a better filter to go on with."""
_PIECE_PX = 1000
_BEYOND = np.float32(1e30)
"""No level is taken for higher, so that those of many points have a sum."""
_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What puts a picture upright, by how the camera was held: EXIF 2.3, tag 0x0112."""
_ON_ITS_SIDE = {_TURNS[orientation] for orientation in (5, 6, 7, 8)}
OWN = "own"
"""The name of a user's picture."""


class NegativeError(Exception):
    """One line: what is refused, why, and what to do."""


class _NoNumber(Exception):
    """A point of a picture has no level."""


@dataclass
class Negative:
    """`transmittance`: 0..1 at each point. `outlines`: where the areas of this picture lie."""

    name: str
    title: str
    transmittance: Pixels
    outlines: dict[str, Outline] = field(default_factory=dict)

    @property
    def areas(self) -> dict[str, Pixels]:
        return {name: mask_of(outline) for name, outline in self.outlines.items()}


def mask_of(outline: Outline, width_px: int = WIDTH_PX, height_px: int = HEIGHT_PX) -> Pixels:
    """1 inside the outline, 0 outside, soft at its edge, which is at one half."""
    image = Image.new("L", (width_px, height_px))
    ImageDraw.Draw(image).polygon([(x * width_px, y * height_px) for x, y in outline], fill=255)
    soft = image.filter(ImageFilter.GaussianBlur(0.006 * width_px))
    return np.asarray(soft, np.float32) / np.float32(255)


NEGATIVES = {
    "breakwater": "Breakwater, evening",
    "workroom": "Workroom, north window",
    "pears": "Pears on a sill",
    "step-wedge": "Step wedge, 21 steps of 0.15",
    "plain": "Clear film",
}


SCENES = {"breakwater": scenery.breakwater, "pears": scenery.pears, "workroom": scenery.workroom}

_FOG = np.float32(0.22)
_PER_STOP = np.float32(0.175)
"""Density of the film's base and fog, and how it grows with each stop of light: a contrast of 0.58; common
practice, no source."""


@cache
def negative(name: str) -> Negative:
    """One of NEGATIVES. KeyError for any other."""
    title = NEGATIVES[name]
    if name == "plain":
        return Negative(name, title, np.ones((HEIGHT_PX, WIDTH_PX), np.float32))
    if name == "step-wedge":
        step = np.arange(WIDTH_PX) * WEDGE_STEPS // WIDTH_PX
        row = (10.0 ** (-WEDGE_STEP_D * step)).astype(np.float32)
        return Negative(name, title, np.repeat(row[None, :], HEIGHT_PX, axis=0))
    stops, outlines = SCENES[name]()
    return Negative(name, title, _film(stops, seed=len(name)), outlines)


def _film(stops: Pixels, seed: int) -> Pixels:
    """What a film lets through that was exposed to a scene, given in stops from a middle grey."""
    rng = np.random.default_rng(seed)
    shape = stops.shape
    y = np.linspace(-1, 1, shape[0], dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, shape[1], dtype=np.float32)[None, :] * np.float32(shape[1] / shape[0])
    stops = stops - np.float32(0.28) * (x * x + y * y)
    # A toe: the deepest shadows leave hardly a trace.
    over_fog = _PER_STOP * np.log2(1 + 2 ** (stops + np.float32(4.2)))
    grain = scenery.blur(rng.standard_normal(shape).astype(np.float32), 0.75)
    density = _FOG + over_fog + grain * np.float32(0.04) * np.sqrt(np.maximum(over_fog, 0.05))
    return (10 ** -np.maximum(density, 0)).astype(np.float32)


def from_picture(data: bytes, name: str, is_negative: bool) -> Negative:
    """A picture file as a negative, whole on the sheet: bright is dense, or clear where the picture is of a
    negative already. NegativeError for what cannot be one."""
    if len(data) > LARGEST_BYTES:
        raise NegativeError(f"{name} is not taken: it is over {LARGEST_BYTES >> 20} MB. Use a smaller file.")
    largest_px = LARGEST_PX
    try:
        with warnings.catch_warnings():
            # Pillow warns of what is large, which is decided here, and of odd metadata, which is not used.
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data), formats=_FORMATS) as file:
                largest_px = LARGEST_PX_OF.get(file.format or "", LARGEST_PX)
                if file.width * file.height > largest_px:
                    raise Image.DecompressionBombError
                file.draft(None, (2 * WIDTH_PX, 2 * HEIGHT_PX))
                levels = _levels(file)
    except Image.DecompressionBombError:
        raise NegativeError(
            f"{name} is not taken: it is over {largest_px // 10**6} million pixels. Use a smaller picture."
        ) from None
    except MemoryError:
        raise NegativeError(
            f"{name} is not taken: this computer has too little memory for it. Use a smaller picture."
        ) from None
    except _NoNumber:
        raise NegativeError(
            f"{name} is not taken: the level of a point is no number. Save it as 16 bit without such points."
        ) from None
    except (OSError, ValueError, SyntaxError, EOFError, struct.error):
        # What a decoder stumbles over is as varied as damage is; Pillow has these names for it.
        raise NegativeError(
            f"{name} is not taken: it is no picture that can be read. Use a whole JPEG or PNG file."
        ) from None
    # From the display's levels to light: IEC 61966-2-1.
    light = np.where(levels <= 0.04045, levels / 12.92, ((levels + 0.055) / 1.055) ** 2.4).astype(np.float32)
    if not is_negative:
        light = 10 ** -(_FOG + _PER_STOP * np.log2(np.maximum(light, _BLACK) / _BLACK))
    film = np.zeros((HEIGHT_PX, WIDTH_PX), np.float32)
    top, left = (HEIGHT_PX - light.shape[0]) // 2, (WIDTH_PX - light.shape[1]) // 2
    film[top : top + light.shape[0], left : left + light.shape[1]] = light
    return Negative(OWN, name, film)


def _levels(image: Image.Image) -> Pixels:
    """The picture's grey levels, 0..1, as large as fits the sheet, and the right way up."""
    image.load()
    turn = _TURNS.get(image.getexif().get(ExifTags.Base.Orientation, 1))
    wide, high = WIDTH_PX, HEIGHT_PX
    if turn in _ON_ITS_SIDE:
        wide, high = high, wide
    scale = min(wide / image.width, high / image.height)
    size = (max(1, round(image.width * scale)), max(1, round(image.height * scale)))
    fitted = _reduced(image, size).resize(size, Image.Resampling.LANCZOS)
    if turn is not None:
        fitted = fitted.transpose(turn)
    return np.clip(np.asarray(fitted) / np.float32(1 if fitted.mode == "F" else 255), 0, 1)


def _reduced(image: Image.Image, size: tuple[int, int]) -> Image.Image:
    """The picture in grey, no more than some times as large as `size`. It is made grey piece by piece: all of
    a large picture at once would take several times its memory."""
    by_x, by_y = (max(1, full // (_SPARE * fit)) for full, fit in zip(image.size, size))
    reduced = Image.new("F" if _is_deep(image) else "L", (-(-image.width // by_x), -(-image.height // by_y)))
    step_x, step_y = (by * -(-_PIECE_PX // by) for by in (by_x, by_y))
    most = 0.0
    for top in range(0, image.height, step_y):
        for left in range(0, image.width, step_x):
            right, bottom = min(left + step_x, image.width), min(top + step_y, image.height)
            piece = _grey(image.crop((left, top, right, bottom)))
            if piece.mode == "F":
                most = max(most, float(np.asarray(piece).max()))
            reduced.paste(piece.reduce((by_x, by_y)), (left // by_x, top // by_y))
    if reduced.mode == "F":
        full = max(65535.0 if image.mode.startswith("I") else 1.0, most)
        reduced = Image.fromarray(np.asarray(reduced) / np.float32(full))
    return reduced


def _is_deep(image: Image.Image) -> bool:
    """More than 8 bits a point."""
    return image.mode.startswith(("I", "F"))


def _grey(piece: Image.Image) -> Image.Image:
    if _is_deep(piece):
        levels = np.asarray(piece).astype(np.float32)
        if not np.isfinite(levels).all():
            raise _NoNumber
        return Image.fromarray(np.clip(levels, 0, _BEYOND))
    if piece.has_transparency_data:
        piece = Image.alpha_composite(Image.new("RGBA", piece.size, "white"), piece.convert("RGBA"))
    return piece.convert("L")
