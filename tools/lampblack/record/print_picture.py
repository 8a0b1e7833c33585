"""A picture of the print, for its printing record: a scan or a photograph, in greys.

What must live here: reading a picture file, whatever it is, into no more than a page can show.
"""

import struct
import warnings
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lampblack.errors import CommandError

LARGEST_PX = 170_000_000
"""A scan of 40 x 50 cm at 600 dots an inch has 110 million."""
SIDE_PX = 1200
"""Of the longer side: as fine as 300 dots an inch on a page."""
_FORMATS = ("JPEG", "PNG", "TIFF", "WEBP", "BMP")


def greys_of(path: Path) -> NDArray[np.uint8]:
    """The picture at `path`, upright. CommandError for what is none; OSError where there is no such file."""
    from PIL import Image, ImageOps, UnidentifiedImageError

    # Given a path, Pillow 13 reads the rows of a TIFF that lies on its side as long as they are once turned.
    opened = path.open("rb")
    try:
        with opened, warnings.catch_warnings():
            # Pillow warns of what is large, which is decided here, and of odd metadata, which is not used.
            warnings.simplefilter("ignore")
            with Image.open(opened, formats=_FORMATS) as file:
                if file.width * file.height > LARGEST_PX:
                    raise Image.DecompressionBombError
                file.draft("L", (2 * SIDE_PX, 2 * SIDE_PX))
                upright = _grey(ImageOps.exif_transpose(file))
    except Image.DecompressionBombError:
        raise CommandError(
            f"{path} is not used: it has over {LARGEST_PX // 10**6} million pixels. Give a smaller picture."
        ) from None
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, EOFError, MemoryError, struct.error):
        # What a decoder stumbles over is as varied as damage is; Pillow has these names for it.
        raise CommandError(
            f"{path} is not used: it is no picture that can be read. Give a whole PNG, TIFF or JPEG file."
        ) from None
    upright.thumbnail((SIDE_PX, SIDE_PX), Image.Resampling.LANCZOS)
    return np.asarray(upright, np.uint8)


def _grey(file: Any) -> Any:
    from PIL import Image

    if file.mode.startswith("I") or file.mode == "F":
        levels = np.nan_to_num(np.asarray(file, np.float32))
        most = 65535.0 if file.mode.startswith("I") else max(1.0, float(levels.max()))
        return Image.fromarray(np.clip(levels * (255 / most), 0, 255).astype(np.uint8))
    return file.convert("L")
