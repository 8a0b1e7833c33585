"""The flash disk: the box's records as files. See `timing_core.records.store` for what it may count on.

A write stalls the processor for tens of milliseconds. The lamp's own timer is not affected, but a key would
be. So nothing is written while the lamp is lit, and `writing` makes inputs wait until a write is done.

littlefs searches a folder from its beginning: among 200 files that takes 34 ms, and a box with a full shelf
took 6 s to start. So the files are spread over FOLDERS folders, where it takes 3 ms. Making a folder takes
50 ms or more, so a new board makes them while it is at rest, and no card has to wait for that.
"""

import os

FOLDER = "/keep"
FOLDERS = 16


class FlashDisk:
    """`lit` says whether the lamp is lit; a write is then refused with OSError. `feed` feeds the watchdog.
    `mask(on)` is called at the beginning and at the end of a write, which masks interrupts.
    """

    def __init__(self, lit, feed, mask, folder: str = FOLDER) -> None:
        self.writing = False
        self._lit = lit
        self._feed = feed
        self._mask = mask
        self._folder = folder
        self._missing = list(range(FOLDERS))
        _make(folder)

    def names(self) -> list:
        found: list = []
        for number in range(FOLDERS):
            try:
                found += os.listdir(self._subfolder(number))
            except OSError:
                continue  # nothing has ever been put there
            if number in self._missing:
                self._missing.remove(number)
        return found

    def make_ready(self) -> bool:
        """Make one of the missing folders, if the lamp is not lit; True if one was made."""
        if not self._missing or self._lit():
            return False
        try:
            self._begin()
        except OSError:
            return False  # an input has just lit the lamp
        try:
            self._make_missing(self._missing[0])
        finally:
            self._end()
        return True

    def read(self, name: str):
        self._feed()
        try:
            with open(self._path(name), "rb") as file:
                return file.read()
        except OSError:
            return None

    def write(self, name: str, data: bytes) -> None:
        self._begin()
        try:
            self._make_missing(_number(name))
            with open(self._path(name), "wb") as file:
                file.write(data)
        finally:
            self._end()

    def remove(self, name: str) -> None:
        self._begin()
        try:
            os.remove(self._path(name))
        except OSError:
            pass  # it is gone
        finally:
            self._end()

    def _path(self, name: str) -> str:
        return "%s/%s" % (self._subfolder(_number(name)), name)

    def _subfolder(self, number: int) -> str:
        return "%s/%x" % (self._folder, number)

    def _make_missing(self, number: int) -> None:
        if number in self._missing:
            _make(self._subfolder(number))
            self._missing.remove(number)

    def _begin(self) -> None:
        # The flag comes before the question, so that no input can light the lamp from here on.
        self.writing = True
        self._feed()
        self._mask(True)
        if self._lit():
            self._end()
            raise OSError("the lamp is lit")

    def _end(self) -> None:
        self._mask(False)
        self.writing = False


def _number(name: str) -> int:
    """Which of the folders a file lies in."""
    return sum(name.encode()) % FOLDERS


def _make(folder: str) -> None:
    try:
        os.mkdir(folder)
    except OSError:
        pass  # it is there
