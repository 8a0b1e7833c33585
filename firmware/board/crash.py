"""The crash log: what went wrong, kept over a restart, never longer than two files of LOG_MAX bytes."""

import gc
import io
import os
import sys

LOG = "/crash.log"
OLDER = "/crash.old"
LOG_MAX = 2048


def note(fault: BaseException) -> None:
    """Add a traceback to the log. A log that cannot be written is let go: the restart matters more."""
    gc.collect()
    text = io.StringIO()  # type: ignore[abstract]  # the stubs take it for an abstract class
    sys.print_exception(fault, text)
    try:
        if _size(LOG) > LOG_MAX:
            os.rename(LOG, OLDER)
        with open(LOG, "a") as file:
            file.write(text.getvalue()[-LOG_MAX:])
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
