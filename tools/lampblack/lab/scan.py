"""Densities of strips from a scan, by a reflection tablet that lies beside them in the same picture.

What must live here: what makes a scan fit to be read, and what its pixels are in density. Where patches lie
is for `places`. The tablet's own densities say what a pixel means, so no profile and no gamma of the
scanner's does."""

import struct
import warnings
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from PIL import Image, ImageOps, UnidentifiedImageError
from scipy.interpolate import PchipInterpolator

from lampblack.errors import CommandError
from lampblack.lab.places import Place
from lampblack.lab.readings import DENSITY_MAX, number_of
from lampblack.lab.strips import Strip

TABLET = "tablet"
SCAN_SIGMA = 0.02
"""How far a density may be off: 0.01 to 0.02, up to 2.0 (two reports, altphotolist 2008 and pixls 2009,
read)."""
PIXELS_MOST = 120_000_000
TONES_LEAST = 1024
"""A picture with fewer tones than this has 8 bits in its 16."""
NOISE_PART, NOISE_FLOOR = 0.02, 0.0005
"""Pixels of a patch differ by no more than this part of its light (1 sigma), and this part of white."""
STRAY_MOST = 0.12
"""The part of a patch that dust may cover."""
CLIPPED_MOST = 0.01
BEYOND = 0.02
"""A density beyond the tablet's ends by less than this is that of its end."""
WEAK_FROM = 1.9
"""From here on stray light and gloss are a part of what a scanner reads."""
STEPS_LEAST = 5
STEP_PART_LEAST, STEP_PART_MOST = 0.5, 1.6
"""How far a step of the tablet may be from its density, beside the other steps."""
STRAY_FROM = 1.5
"""From this density on stray light makes steps smaller."""
NOT_READ = (
    UnidentifiedImageError,
    Image.DecompressionBombError,
    ArithmeticError,
    EOFError,
    LookupError,
    SyntaxError,
    TypeError,
    ValueError,
    struct.error,
)
"""What Pillow raises for files that are damaged or no picture, besides OSError."""


class Reading(NamedTuple):
    """The light of one patch, 0 to 1, and how much its pixels differ (1 sigma)."""

    light: float
    sigma: float
    pixels: int


def light_of(path: Path) -> Any:
    """The picture of a scan as light, 0 to 1: grey, with 16 bits. CommandError names what it lacks."""
    todo = "Scan in grey with 16 bits and all corrections off, as TIFF or PNG"
    try:
        # Pillow warns of what else stands in a file, which is of no matter here.
        with path.open("rb") as file, warnings.catch_warnings(action="ignore"), Image.open(file) as image:
            if image.width * image.height > PIXELS_MOST:
                raise CommandError(
                    f"{path} has {image.width} x {image.height} pixels. Scan the strips alone, with 300 dpi."
                )
            mode, is_negative = image.mode, getattr(image, "tag_v2", {}).get(262) == 0
            if mode in ("RGB", "RGBA", "P", "CMYK", "YCbCr", "LAB"):
                raise CommandError(f"{path} is in colour. {todo}.")
            if not mode.startswith("I;16"):
                raise CommandError(
                    f"{path} has not 16 bits: with 8 there are too few steps in black, and a gamma. {todo}."
                )
            # The way up that any program shows it: what lies on it is named from left to right.
            pixels = np.asarray(ImageOps.exif_transpose(image)).astype(np.uint16)
    except NOT_READ:
        raise CommandError(f"{path} is no picture that can be read. {todo}.") from None
    except OSError as fault:
        if fault.filename:
            raise
        raise CommandError(f"{path} is cut off or damaged. {todo}.") from None
    tones = np.count_nonzero(np.bincount(pixels.ravel(), minlength=1 << 16))
    if tones < TONES_LEAST:
        raise CommandError(
            f"{path} has {tones} tones only: 8 bits in a file for 16, or an empty glass. {todo}."
        )
    light = pixels / np.float32(65535)
    return 1 - light if is_negative else light


def tablet_of(path: Path) -> list[float]:
    """The densities of a tablet from a file: one a line, or between commas; lightest first."""
    try:
        text = path.read_bytes()[: 1 << 16].decode("utf-8-sig")
    except UnicodeDecodeError:
        raise CommandError(f"{path} is no text. Give a file with a density on each line.") from None
    numbers = [
        number_of(word, str(path), "density", 0, DENSITY_MAX) for word in text.replace(",", " ").split()
    ]
    if len(numbers) < STEPS_LEAST:
        raise CommandError(f"{path} has {len(numbers)} densities. Write {STEPS_LEAST} or more, one a line.")
    for at in range(1, len(numbers)):
        if numbers[at] <= numbers[at - 1]:
            raise CommandError(
                f"{path}: step {at + 1} is not denser than step {at}. Write the lightest first."
            )
    return numbers


def reading_of(light: Any, place: Place) -> Reading:
    """What a patch reads: the median of its pixels, which dust does not move. CommandError names the patch if
    it is clipped, too noisy or holds something else."""
    left, top, right, bottom = place.box()
    pixels = light[max(0, top) : bottom, max(0, left) : right].ravel()
    called = f"Patch {place.patch} of the row {place.row}"
    if pixels.size < 16:
        raise CommandError(f"{called} has {pixels.size} pixels. Scan with more, or correct --places.")
    middle = float(np.median(pixels))
    sigma = 1.4826 * float(np.median(np.abs(pixels - middle)))
    for clipped, end, todo in (
        (pixels >= 1 - 1 / 65535, "light", "less exposure"),
        (pixels <= 0, "black", "the levels wide open"),
    ):
        if np.count_nonzero(clipped) > CLIPPED_MOST * pixels.size:
            raise CommandError(f"{called} is clipped in the {end}. Scan with {todo} and all corrections off.")
    if sigma > NOISE_PART * middle + NOISE_FLOOR:
        raise CommandError(
            f"{called} is not even: its pixels differ by {100 * sigma / max(middle, 1e-6):.0f} %. See the "
            "picture of the patches, and correct --places; or scan more slowly."
        )
    stray = np.count_nonzero(np.abs(pixels - middle) > 6 * sigma + NOISE_PART * middle + NOISE_FLOOR)
    if stray > STRAY_MOST * pixels.size:
        raise CommandError(
            f"{called} holds something else in {100 * stray / pixels.size:.0f} % of it: an edge, or dust. "
            "See the picture of the patches, and correct --places."
        )
    return Reading(middle, sigma, pixels.size)


class Transfer:
    """What light on the scan is in density, by the tablet's readings and its own densities, lightest first.
    CommandError where two of its steps read alike."""

    def __init__(self, readings: Sequence[Reading], densities: Sequence[float]) -> None:
        self.densities = list(densities)
        logs = np.log10([max(own.light, 1e-9) for own in readings])
        # How much of each step's density the scan has in its logarithms: all of it, or with a gamma a part.
        parts = -np.diff(logs) / np.diff(densities)
        usual = float(np.median(parts))
        for at, part in enumerate(parts.tolist(), 1):
            before, own = readings[at - 1], readings[at]
            sigma = max(before.sigma / before.pixels**0.5, own.sigma / own.pixels**0.5, 1 / 65535)
            least = STEP_PART_LEAST if densities[at] < STRAY_FROM else STEP_PART_LEAST / 2
            if before.light - own.light < 3 * sigma or part < least * usual:
                end = "light" if densities[at] < 1 else "black"
                raise CommandError(
                    f"Steps {at} and {at + 1} of the tablet read alike: the scan is clipped in the {end}, or "
                    "they are not where they are thought to be. See the picture of the patches, and if --row "
                    "names what lies there from left to right."
                )
        far = int(np.argmax(parts)) + 1
        if parts[far - 1] > STEP_PART_MOST * usual:
            raise CommandError(
                f"Steps {far} and {far + 1} of the tablet lie too far apart for their densities. See the "
                "picture of the patches, and the densities in the tablet's file."
            )
        self._logs = np.log10([own.light for own in readings])
        self._curve = PchipInterpolator(self._logs[::-1], self.densities[::-1])

    def density(self, reading: Reading) -> float | None:
        """A patch's density; None where it lies beyond the tablet, which is not read."""
        log = float(np.log10(max(reading.light, 1e-9)))
        if self._logs[-1] <= log <= self._logs[0]:
            return float(self._curve(log))
        end = 0 if log > self._logs[0] else -1
        return self.densities[end] if abs(log - self._logs[end]) <= BEYOND else None


class Scanned(NamedTuple):
    """A row of densities: `base`, the patches, `black`; None where the tablet does not reach."""

    filter: str
    base: float | None
    patches: list[float | None]
    black: float | None


def densities_of(light: Any, places: Sequence[Place], tablet: Sequence[float]) -> list[Scanned]:
    """The densities of all rows but the tablet's, in their order. CommandError names what cannot be read."""
    rows: dict[str, list[Place]] = {}
    for place in places:
        rows.setdefault(place.row, []).append(place)
    readings = {
        name: [reading_of(light, place) for place in sorted(own, key=lambda place: place.patch)]
        for name, own in rows.items()
    }
    if TABLET not in readings:
        raise CommandError(
            f"There is no row {TABLET}: without it no pixel has a density. Scan it beside the strips."
        )
    transfer = Transfer(readings.pop(TABLET), tablet)
    found = []
    for name, own in readings.items():
        first, *patches, last = (transfer.density(reading) for reading in own)
        found.append(Scanned(name, first, patches, last))
    return found


def strips_of(
    scanned: Sequence[Scanned], lights_s: Sequence[Sequence[float]], has_base: bool, has_black: bool
) -> list[Strip]:
    """Strips from rows, with the light of each one's patches. `has_base` and `has_black` where these are
    given otherwise: then they may lie beyond the tablet."""
    strips = []
    for row, lights in zip(scanned, lights_s, strict=True):
        for what, density, is_given in (("base", row.base, has_base), ("black", row.black, has_black)):
            if density is None and not is_given:
                raise CommandError(
                    f"The {what} of the row {row.filter or 'none'} lies beyond the tablet's densities. Read "
                    f"it otherwise and give --{what}, or use a longer tablet."
                )
        if None in row.patches:
            raise CommandError(
                f"Patch {row.patches.index(None) + 1} of the row {row.filter or 'none'} lies beyond the "
                "tablet's densities. Use a longer tablet."
            )
        strips.append(
            Strip(
                row.filter,
                [
                    (light, density)
                    for light, density in zip(lights, row.patches, strict=True)
                    if density is not None
                ],
                [row.base] if row.base is not None and not has_base else [],
                [(0.0, row.black)] if row.black is not None and not has_black else [],
            )
        )
    return strips
