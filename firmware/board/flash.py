"""The flash disk: the box's records as files. See `timing_core.store` for what it may count on.

A write stalls the processor for tens of milliseconds; the lamp's own timer does not mind, but a key
would. So nothing is written while the lamp is lit: `busy` is asked first, and asked again here.
"""

import os

FOLDER = "/keep"


class FlashDisk:
    """`lit` says whether the lamp is lit; a write then is OSError."""

    def __init__(self, lit, folder: str = FOLDER) -> None:
        self._lit = lit
        self._folder = folder
        try:
            os.mkdir(folder)
        except OSError:
            pass  # it is there

    def names(self) -> list:
        return os.listdir(self._folder)

    def read(self, name: str):
        try:
            with open(self._folder + "/" + name, "rb") as file:
                return file.read()
        except OSError:
            return None

    def write(self, name: str, data: bytes) -> None:
        self._refuse_when_lit()
        with open(self._folder + "/" + name, "wb") as file:
            file.write(data)

    def remove(self, name: str) -> None:
        self._refuse_when_lit()
        try:
            os.remove(self._folder + "/" + name)
        except OSError:
            pass  # it is gone

    def _refuse_when_lit(self) -> None:
        if self._lit():
            raise OSError("the lamp is lit")
