"""The crash log: what went wrong, kept over a restart.

It is two files. Neither grows beyond LOG_MAX bytes and one more traceback, which the board's stack of 8 KB
keeps short.
"""

import gc
import os
import sys

LOG = "/crash.log"
OLDER = "/crash.old"
LOG_MAX = 2048

_spare: bytearray | None = bytearray(1280)
"""Freed to open the log: MicroPython needs 1.2 KB in one piece for a file, which there may be nowhere
else."""


def note(fault: BaseException) -> None:
    """Add a traceback to the log. If the log cannot be written that is ignored, since the restart matters
    more.

    The traceback goes straight into the file, since memory may be too short for it.
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
    """The log, oldest line first; empty if nothing has ever gone wrong."""
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
