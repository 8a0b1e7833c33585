"""The flash disk: the box's records as files. See `timing_core.store` for what it may count on.

A write stalls the processor for tens of milliseconds; the lamp's own timer does not mind, but a key
would. So nothing is written while the lamp is lit, and `writing` holds inputs up while it is done.
"""

import os

FOLDER = "/keep"


class FlashDisk:
    """`lit` says whether the lamp is lit; a write then is OSError."""

    def __init__(self, lit, folder: str = FOLDER) -> None:
        self.writing = False
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
        self._begin()
        try:
            with open(self._folder + "/" + name, "wb") as file:
                file.write(data)
        finally:
            self.writing = False

    def remove(self, name: str) -> None:
        self._begin()
        try:
            os.remove(self._folder + "/" + name)
        except OSError:
            pass  # it is gone
        finally:
            self.writing = False

    def _begin(self) -> None:
        # First the flag, then the question: from here on no input can light the lamp.
        self.writing = True
        if self._lit():
            self.writing = False
            raise OSError("the lamp is lit")
