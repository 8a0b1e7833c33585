"""The crash log: what went wrong, kept over a restart. It is two files, and neither grows past LOG_MAX
bytes and one more traceback, which a board's stack of 8 KB keeps short.
"""

import gc
import os
import sys

LOG = "/crash.log"
OLDER = "/crash.old"
LOG_MAX = 2048

_spare: bytearray | None = bytearray(1280)
"""Let go to open the log: MicroPython needs 1.2 KB in one piece for a file, which may be nowhere else."""


def note(fault: BaseException) -> None:
    """Add a traceback to the log. A log that cannot be written is let go: the restart matters more.

    It goes straight into the file, since memory might not hold it.
    """
    global _spare
    _spare = None
    gc.collect()
    try:
        if _size(LOG) > LOG_MAX:
            os.rename(LOG, OLDER)
        with open(LOG, "a") as file:
            sys.print_exception(fault, file)
    except OSError:
        pass


def lines() -> list:
    """The log, oldest line first; empty if nothing ever went wrong."""
    found: list = []
    for name in (OLDER, LOG):
        try:
            with open(name) as file:
                found += file.read().split("\n")[:-1]
        except OSError:
            pass
    return found


def forget() -> None:
    for name in (OLDER, LOG):
        try:
            os.remove(name)
        except OSError:
            pass


def _size(name: str) -> int:
    try:
        return os.stat(name)[6]
    except OSError:
        return 0
