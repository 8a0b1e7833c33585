"""A sheet in pixels: how many there are, and which of them are a strip's patch.

What must live here: the one size that film, shadows and paper share. It may not know what the pixels are of.

Places are in parts of the sheet: x from the left edge, y from the top, 1 at the far edge. Arrays are
HEIGHT_PX rows of WIDTH_PX.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

WIDTH_PX, HEIGHT_PX = 1000, 800
Pixels = NDArray[np.floating[Any]]
Outline = list[tuple[float, float]]
"""Corners of a polygon."""


def band(patch: int, patches: int, width_px: int) -> slice:
    """The columns of patch 1, 2, … of a strip."""
    return slice((patch - 1) * width_px // patches, patch * width_px // patches)
