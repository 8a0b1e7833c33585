"""Writing a file so that nothing is lost by it.

What must live here: how every file that the command makes is written. It is written aside, in the same
folder, and takes its name once it is whole: a full disk or a pulled plug leaves the old file as it was.
Where the name belongs to no regular file (a pipe, /dev/stdout) there is nothing to keep whole.
"""

import errno
import os
import secrets
import shutil
from pathlib import Path
from types import TracebackType

from lampblack.errors import CommandError


class NewFile:
    """A file to be written at `path`. CommandError where that cannot be, or without `force` where a file is.

    As a context it is there at the end; where the context fails only if `keeps_part`, as far as it got.
    """

    def __init__(self, path: Path, force: bool) -> None:
        self._path = path
        self._force = force
        self.keeps_part = False
        try:
            self._is_direct = path.exists() and not path.is_file()
            # A link stays, and what it leads to is written.
            self._target = path if self._is_direct else Path(os.path.realpath(path))
            self._aside = self._target.with_name(f".lampblack-{secrets.token_hex(6)}")
            self._refuse_to_overwrite()
            if self._target.is_file() and not os.access(self._target, os.W_OK):
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
            self._file = self._target.open("wb") if self._is_direct else self._aside.open("xb")
        except OSError as fault:
            raise self._not_written(fault) from None

    def write(self, data: bytes) -> None:
        try:
            self._file.write(data)
        except BrokenPipeError:
            raise
        except OSError as fault:
            raise self._not_written(fault) from None

    def __enter__(self) -> "NewFile":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            self._end(kind is None or self.keeps_part)
        except (OSError, CommandError) as own:
            if kind is not None:
                return  # what went wrong first is told
            if isinstance(own, OSError) and not isinstance(own, BrokenPipeError):
                raise self._not_written(own) from None
            raise
        finally:
            if not self._is_direct:
                self._aside.unlink(missing_ok=True)

    def _end(self, is_kept: bool) -> None:
        full: OSError | None = None
        try:
            try:
                self._file.flush()
                if not self._is_direct:
                    os.fsync(self._file.fileno())
            finally:
                self._file.close()
        except OSError as fault:
            full = fault
        if not self._is_direct and is_kept and (full is None or self.keeps_part):
            self._refuse_to_overwrite()
            if self._target.exists():
                shutil.copymode(self._target, self._aside)
            self._aside.replace(self._target)
        if full:
            raise full

    def _refuse_to_overwrite(self) -> None:
        if not self._force and not self._is_direct and self._target.exists():
            raise CommandError(
                f"{self._path} is there already. Give another name, or --force to write over it."
            )

    def _not_written(self, fault: OSError) -> CommandError:
        why = fault.strerror or type(fault).__name__
        return CommandError(
            f"{self._path} is not written: {why}. What was there is as it was; check the name, its folder "
            "and the room on the disk."
        )


def write_file(path: Path, data: bytes, force: bool) -> None:
    """Write `data` at `path`, whole or not at all. CommandError where that fails."""
    with NewFile(path, force) as file:
        file.write(data)
