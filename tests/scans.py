"""Synthetic scans: a tablet and strips of known densities on a grey card, with what goes wrong on a glass.

What must live here: pictures made from densities. Nothing of how a scan is read.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from PIL import Image

CARD = 0.30
"""The card's light: about density 0.5."""

_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}


def lying(upright: Image.Image, orientation: int) -> tuple[Image.Image, Image.Exif]:
    """How a picture is stored that lies as this orientation says, and the tag that says so (EXIF 2.3, tag
    0x0112)."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    turn = _TURNS.get(orientation)
    return upright if turn is None else upright.transpose(turn), exif


def scan_of(
    rows: Sequence[Sequence[float]],
    *,
    skews: Sequence[float] = (),
    noise: float = 0.004,
    floor: float = 0.0001,
    dust: float = 0.0,
    uneven: float = 0.0,
    gamma: float = 1.0,
    white: float = 0.9,
    stray: float = 0.0,
    card: float = CARD,
    turned: Sequence[bool] = (),
    sideways: bool = False,
    size: tuple[int, int] = (720, 90),
    seed: int = 0,
) -> np.ndarray:
    """A scan as 16-bit pixels. `rows` has each row's densities, lightest first, drawn from above unless
    `turned`; `skews` are degrees. Pixels differ by the part `noise` of their light and by `floor`; `dust` is
    the part of the picture that specks cover. Borders between pieces are off by up to `uneven` of a piece. A
    row is `size` pixels long and wide, white paper without a base reads `white`, and `stray` light is over
    all."""
    rng = np.random.default_rng(seed)
    long, wide = size
    gap = wide // 2 + long // 12
    shape = (long + 2 * gap, len(rows) * (wide + gap) + gap)
    light = np.full(shape, card)
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(float)
    for at, densities in enumerate(rows):
        angle = np.radians(skews[at] if skews else 0.0)
        middle_x, middle_y = gap + at * (wide + gap) + wide / 2, shape[0] / 2
        across = (x - middle_x) * np.cos(angle) - (y - middle_y) * np.sin(angle)
        along = (x - middle_x) * np.sin(angle) + (y - middle_y) * np.cos(angle) + long / 2
        if turned and turned[at]:
            along = long - along
        piece = long / len(densities)
        borders = piece * np.arange(len(densities) + 1)
        borders[1:-1] += uneven * piece * rng.uniform(-1, 1, len(densities) - 1)
        inside = (np.abs(across) < wide / 2) & (along >= 0) & (along < long)
        which = np.clip(np.searchsorted(borders, along[inside], side="right") - 1, 0, len(densities) - 1)
        light[inside] = white * 10 ** -np.asarray(densities)[which]
    light = stray + (1 - stray) * light
    if dust:
        specks = rng.random(shape) < dust / 9
        grown = np.zeros(shape, dtype=bool)
        for down in (-1, 0, 1):
            for right in (-1, 0, 1):
                grown |= np.roll(specks, (down, right), (0, 1))
        light[grown] = rng.choice([0.02, 0.85], grown.sum())
    light = light * (1 + noise * rng.standard_normal(shape)) + floor * rng.standard_normal(shape)
    pixels = np.clip(np.round(65535 * np.clip(light, 0, 1) ** (1 / gamma)), 0, 65535).astype(np.uint16)
    return np.ascontiguousarray(pixels.T) if sideways else pixels


def save(pixels: np.ndarray, path: Path) -> Path:
    Image.fromarray(pixels).save(path)
    return path
