"""Where patches lie on a scan: found in the picture, drawn over it, and as a file that a person corrects.

What must live here: rows of patches and their places. What light they have is for `scan`.

Strips and tablet lie beside each other on a card of another tone, not quite straight: each is a row of pieces
of about the same length. The outline of a row is what differs from the card; the borders between its pieces
are where its tone steps, and where there is no step to be seen (in white, in black), where equal pieces have
them."""

import csv
import io
import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from PIL import Image, ImageDraw
from scipy import ndimage

from lampblack.errors import CommandError
from lampblack.lab.readings import number_of

LOOKED_AT = 900
"""Pixels of the longer side of the picture in which rows are looked for."""
SHOWN = 1600
SKEW_MOST_DEGREES = 5.0
_STANDS_OUT = 0.035
"""How much a row differs from the card, in cube roots of light, which go about as the eye does."""
_CARD_CLEAR = 0.06
"""The card lies between the tones of the rows by this: on another a white end, or a black one, is hidden."""
_MIDDLE = 0.5
"""Of a piece its middle half is read, each way: edges, borders and a little skew stay outside."""
_COLUMNS = ("row", "patch", "x", "y", "width", "height")


class Row(NamedTuple):
    """A row as a person names it, from left to right or from above, and how many pieces it has."""

    name: str
    pieces: int


class Place(NamedTuple):
    """What is read of a piece, in pixels of the scan: its middle, and its size. `patch` counts from 0, the
    lightest."""

    row: str
    patch: int
    x: float
    y: float
    width: float
    height: float

    def box(self) -> tuple[int, int, int, int]:
        """Left, top, right and bottom."""
        half_width, half_height = self.width / 2, self.height / 2
        return (
            round(self.x - half_width),
            round(self.y - half_height),
            round(self.x + half_width),
            round(self.y + half_height),
        )


def find_places(light: Any, rows: Sequence[Row]) -> list[Place]:
    """The places of all pieces in a picture of light, 0 to 1. CommandError if its rows are not those
    named."""
    by = max(1, math.ceil(max(light.shape) / LOOKED_AT))
    small = _shrunk(light, by)
    tones = ndimage.median_filter(np.cbrt(small), 3)
    margin = max(2, round(0.01 * min(tones.shape)))
    frame = np.ones(tones.shape, dtype=bool)
    frame[margin:-margin, margin:-margin] = False
    card = np.median(tones[frame])
    spread = 1.4826 * np.median(np.abs(tones[frame] - card))
    stands_out = np.abs(tones - card) > max(_STANDS_OUT, 6 * spread)
    stands_out = ndimage.binary_opening(stands_out, iterations=2)
    if stands_out.any():
        darkest, lightest = np.percentile(tones[stands_out], (1, 99))
        if not darkest + _CARD_CLEAR < card < lightest - _CARD_CLEAR:
            what = "light as paper" if card > (darkest + lightest) / 2 else "dark as black"
            raise CommandError(
                f"What the strips lie on is as {what}, and an end of theirs may not be seen. Lay them on a "
                "plain grey card, or give --places."
            )
    for upright in (True, False):
        seen = stands_out if upright else stands_out.T
        found = _groups(seen)
        if len(found) == len(rows):
            own = tones if upright else tones.T
            return [
                place
                for row, group in zip(rows, found, strict=True)
                for place in _pieces(own, seen, group, row, by, upright)
            ]
    raise CommandError(
        f"{len(rows)} rows are named and {len(_groups(stands_out))} are found on the scan. Lay strips and "
        "tablet side by side on a plain grey card that none of their edges touches, or give --places."
    )


def _shrunk(light: Any, by: int) -> Any:
    high, wide = (size // by * by for size in light.shape)
    return light[:high, :wide].reshape(high // by, by, wide // by, by).mean(axis=(1, 3))


def _groups(seen: Any) -> list[tuple[int, int]]:
    """The columns from and to of what stands side by side, where `seen` is true: a strip with a patch of the
    card's own tone is in two pieces above each other, and is one row all the same."""
    labels, _ = ndimage.label(seen)
    slices = ndimage.find_objects(labels)
    least = 0.002 * seen.size
    spans = sorted(
        (own[1].start, own[1].stop)
        for at, own in enumerate(slices)
        if own is not None and np.count_nonzero(labels[own] == at + 1) > least
    )
    groups: list[tuple[int, int]] = []
    for start, stop in spans:
        if groups and start < groups[-1][1] - 0.3 * min(stop - start, groups[-1][1] - groups[-1][0]):
            groups[-1] = (groups[-1][0], max(stop, groups[-1][1]))
        else:
            groups.append((start, stop))
    return groups


def _pieces(tones: Any, seen: Any, group: tuple[int, int], row: Row, by: int, upright: bool) -> list[Place]:
    """The places of one row, which stands upright in `tones`; if it did not in the scan, they are turned."""
    start, stop = group
    own = seen[:, start:stop]
    lines = np.nonzero(own.any(axis=1))[0]
    top, bottom = int(lines[0]), int(lines[-1]) + 1
    lefts, rights = own.argmax(axis=1), own.shape[1] - own[:, ::-1].argmax(axis=1)
    widths = rights - lefts
    width = float(np.median(widths[lines]))
    whole = [line for line in lines if abs(widths[line] - width) <= 0.1 * width + 1]
    if bottom - top < 2 * row.pieces or len(whole) < 8:
        raise CommandError(
            f"The row {row.name} is too small on the scan. Scan with more pixels, or give --places."
        )
    slope, at_0 = np.polyfit(whole, start + (lefts[whole] + rights[whole]) / 2, 1)
    degrees = math.degrees(math.atan(slope))
    if abs(degrees) > SKEW_MOST_DEGREES:
        raise CommandError(
            f"The row {row.name} lies {abs(degrees):.0f} degrees askew. Lay it straight, or give --places."
        )
    lines = np.arange(top, bottom)
    across = np.linspace(-width / 4, width / 4, 9)[:, None]
    samples = ndimage.map_coordinates(
        tones,
        [np.broadcast_to(lines, (9, len(lines))), at_0 + slope * lines + across],
        order=1,
        mode="nearest",
    )
    profile = np.median(samples, axis=0)
    ends = max(2, len(profile) // (2 * row.pieces))
    is_turned = np.median(profile[:ends]) < np.median(profile[-ends:])
    borders = _borders(profile[::-1] if is_turned else profile, row.pieces)
    found = []
    for patch in range(row.pieces):
        low, high = borders[patch], borders[patch + 1]
        middle = (low + high) / 2
        line = bottom - middle if is_turned else top + middle
        x, y = at_0 + slope * line + 0.5, line
        size_x, size_y = _MIDDLE * width, _MIDDLE * (high - low)
        if not upright:
            x, y, size_x, size_y = y, x, size_y, size_x
        found.append(Place(row.name, patch, *(round(by * value, 1) for value in (x, y, size_x, size_y))))
    return found


def _borders(profile: Any, pieces: int) -> list[float]:
    """Where pieces end along a row, beginning with its own ends: the steepest place near where equal pieces
    have it, and where there is no step, as its neighbours say."""
    pitch = len(profile) / pieces
    reach = max(2, round(0.25 * pitch))
    noise = 1.4826 * float(np.median(np.abs(np.diff(profile)))) + 1e-4
    medians = np.median(sliding_window_view(profile, reach), axis=1)
    steps = np.zeros(len(profile) + 1)
    steps[reach : len(profile) - reach + 1] = np.abs(medians[reach:] - medians[:-reach])
    known = {0: 0.0, pieces: float(len(profile))}
    for border in range(1, pieces):
        near = round(border * pitch)
        low, high = (
            max(reach, near - round(0.35 * pitch)),
            min(len(profile) - reach, near + round(0.35 * pitch)),
        )
        window = steps[low : high + 1]
        if len(window) and window.max() > max(0.006, 4 * noise):
            # Beside a border the step stays as high: its middle is the border.
            most = np.nonzero(window >= 0.9 * window.max())[0]
            known[border] = low + float(most.mean())
    there = sorted(known)
    return np.interp(range(pieces + 1), there, [known[own] for own in there]).tolist()


# --- shown, and corrected


def picture_of(light: Any, places: Sequence[Place]) -> bytes:
    """The scan with what is read of it outlined and numbered, as PNG."""
    by = max(1, math.ceil(max(light.shape) / SHOWN))
    grey = Image.fromarray((255 * np.cbrt(_shrunk(light, by))).astype(np.uint8)).convert("RGB")
    draw = ImageDraw.Draw(grey)
    for place in places:
        box = [value / by for value in place.box()]
        draw.rectangle(box, outline="white", width=3)
        draw.rectangle(box, outline="black", width=1)
        text = f"{place.row}:{place.patch}"
        draw.text((box[0] + 4, box[1] + 2), text, fill="white", stroke_width=1, stroke_fill="black")
    out = io.BytesIO()
    grey.save(out, "PNG")
    return out.getvalue()


def csv_of(places: Sequence[Place]) -> str:
    """The places as a file that `places_of_csv` reads."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(_COLUMNS)
    writer.writerows(places)
    return out.getvalue()


def places_of_csv(path: Path, rows: Sequence[Row], shape: tuple[int, int]) -> list[Place]:
    """The places in a file, for these rows on a scan of so many lines and columns. CommandError says which
    line is wrong, or what is missing."""
    with path.open(encoding="utf-8-sig", errors="replace", newline="") as file:
        table = list(csv.reader(file))
    if not table or tuple(cell.strip() for cell in table[0]) != _COLUMNS:
        raise CommandError(f"{path}:1: these are no places on a scan. Its heading is {','.join(_COLUMNS)}.")
    pieces = {row.name: row.pieces for row in rows}
    found: dict[tuple[str, int], Place] = {}
    for count, cells in enumerate(table[1:], 2):
        where = f"{path}:{count}"
        if not cells:
            continue
        if len(cells) != len(_COLUMNS):
            raise CommandError(f"{where}: there are {len(cells)} cells. Write {','.join(_COLUMNS)}.")
        name, patch = cells[0].strip(), int(number_of(cells[1], where, "patch", 0, 99))
        if name not in pieces or patch >= pieces[name]:
            raise CommandError(
                f"{where}: there is no patch {patch} in a row {name[:40]}. Take the line away."
            )
        numbers = [
            number_of(cell, where, what, 0, 1e6) for cell, what in zip(cells[2:], _COLUMNS[2:], strict=True)
        ]
        place = Place(name, patch, *numbers)
        left, top, right, bottom = place.box()
        if (
            left < 0
            or top < 0
            or right > shape[1]
            or bottom > shape[0]
            or right - left < 4
            or bottom - top < 4
        ):
            raise CommandError(
                f"{where}: this lies outside of the scan, or is under 4 pixels wide. The scan has {shape[1]} "
                f"x {shape[0]}."
            )
        found[name, patch] = place
    for row in rows:
        for patch in range(row.pieces):
            if (row.name, patch) not in found:
                raise CommandError(f"{path}: patch {patch} of the row {row.name} is missing. Add its line.")
    return list(found.values())
