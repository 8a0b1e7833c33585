"""A board at its MicroPython prompt, by way of mpremote.

What must live here: reaching the prompt, what board and MicroPython it is, files on it, and what a
person reads when that fails. It may not know what the files are for.
"""

import contextlib
import io
import struct
from collections.abc import Iterable, Iterator
from errno import ENOENT, ENOSPC
from typing import NamedTuple

from mpremote.transport import TransportError, TransportExecError  # type: ignore[import-untyped]
from mpremote.transport_serial import SerialTransport  # type: ignore[import-untyped]

from lampblack.board.chips import CHIPS, Chip
from lampblack.board.firmware_files import BYTECODE
from lampblack.errors import CommandError
from lampblack.wire.box_client import open_port

OLDEST = (1, 22)
"""The first release of MicroPython that the firmware is proven on."""

_READ_S = 10
_CHUNK = 1024
_READ_MOST = 1 << 20
"""Bytes of a file that is read; the flash of a Pico has two such."""
_NOT_TOLD = (
    TransportError,
    OSError,
    struct.error,
    SyntaxError,
    ValueError,
    TypeError,
    RecursionError,
    MemoryError,
)
"""What reading a board's words as Python values raises: they may be anything."""

_DIGESTS = """
import binascii, hashlib, os
def digests(folders, names):
    found = {}
    chunk = memoryview(bytearray(1024))
    todo = [""] + folders
    while todo:
        folder = todo.pop()
        try:
            entries = list(os.ilistdir("/" + folder))
        except OSError:
            continue
        for entry in entries:
            path = folder + "/" + entry[0] if folder else entry[0]
            if entry[1] == 0x4000:
                if folder:
                    todo.append(path)
                continue
            if not folder and path not in names:
                continue
            sha = hashlib.sha256()
            with open("/" + path, "rb") as file:
                while True:
                    count = file.readinto(chunk)
                    if not count:
                        break
                    sha.update(chunk[:count])
            found[path] = binascii.hexlify(sha.digest()).decode()
    return found
"""


def _check(value: object, kinds: list[type] | None) -> tuple:
    """`value`, if it is a tuple of values of `kinds`."""
    if not isinstance(value, tuple) or (kinds is not None and [type(own) for own in value] != kinds):
        raise ValueError("it answers something else than it was asked")
    return value


class NoRoom(CommandError):
    """A file did not fit on the board."""


class About(NamedTuple):
    """What a board says of itself."""

    name: str
    version: tuple[int, ...]
    machine: str
    bytecode: int

    @property
    def release(self) -> str:
        return ".".join(str(part) for part in self.version)

    @property
    def chip(self) -> Chip | None:
        """None for one that the firmware is not for."""
        return next((chip for chip in CHIPS if chip.name in self.machine), None)


class Prompt(SerialTransport):
    """The board at `url`, at its prompt. With `restart` MicroPython is started anew, without its `main.py`:
    whatever ran is over and memory is free. Every method raises CommandError.
    """

    def __init__(self, url: str, *, restart: bool) -> None:
        # In place of mpremote's own way to open a port, which does not say why one stays closed.
        self.in_raw_repl = False
        self.use_raw_paste = True
        self.device_name = url
        self.mounted = False
        self.is_pty = False
        self.serial = open_port(url)
        self.serial.timeout = _READ_S
        try:
            # mpremote prints what it got where it did not get a prompt.
            with contextlib.redirect_stdout(io.StringIO()):
                self.enter_raw_repl(soft_reset=restart)
        except (TransportError, OSError):
            self.leave()
            raise CommandError(
                f"No MicroPython answers at {url}: there is no prompt. Check the port (`lampblack ports`); "
                "put an image on a new board first (`lampblack image`)."
            ) from None

    def __enter__(self) -> "Prompt":
        return self

    def __exit__(self, *_: object) -> None:
        self.leave()

    def leave(self) -> None:
        """Back to the prompt that people use, and close the port."""
        with contextlib.suppress(OSError, TransportError):
            if self.in_raw_repl:
                self.exit_raw_repl()
        with contextlib.suppress(OSError):
            self.serial.close()

    def about(self) -> About:
        with self._plain():
            self.exec("import sys")
            name, version, machine, bytecode = self._told(
                "(sys.implementation[0], tuple(sys.implementation[1][:3]), "
                "getattr(sys.implementation, '_machine', sys.platform), "
                "getattr(sys.implementation, '_mpy', 0) & 255)",
                [str, tuple, str, int],
            )
            _check(version, [int, int, int])
        return About(name, version, machine, bytecode)

    def check(self) -> About:
        """What the board is; CommandError if the firmware cannot run on it."""
        about = self.about()
        if about.name != "micropython":
            raise CommandError(
                f"The board at {self.device_name} is not used: it runs {about.name}, not MicroPython. Put an "
                "image on it first (`lampblack image`)."
            )
        if about.chip is None:
            known = " and ".join(chip.name for chip in CHIPS)
            raise CommandError(
                f"The board at {self.device_name} is not used: it is a {about.machine}, and the firmware is "
                f"for the {known}. Use a Raspberry Pi Pico."
            )
        if about.version[:2] < OLDEST:
            raise CommandError(
                f"The board at {self.device_name} is not used: its MicroPython {about.release} is older than "
                f"{OLDEST[0]}.{OLDEST[1]}. Put a newer one on it (`lampblack image`)."
            )
        if about.bytecode != BYTECODE[1]:
            raise CommandError(
                f"The board at {self.device_name} is not used: its MicroPython {about.release} runs bytecode "
                f"{about.bytecode}, and lampblack compiles {BYTECODE[1]}. Get a newer lampblack."
            )
        return about

    # --- files

    def digests(self, folders: Iterable[str], names: Iterable[str]) -> dict[str, str]:
        """SHA-256 in hex of every file under `folders`, and of those in the root that have one of `names`."""
        with self._plain():
            self.exec(_DIGESTS)
            pairs = self._told(f"tuple(digests({list(folders)!r}, {list(names)!r}).items())")
            for pair in pairs:
                _check(pair, [str, str])
        return dict(pairs)

    def read(self, path: str) -> bytes | None:
        """A file's content; None if there is none."""
        with self._plain():
            try:
                self.exec(f"f = open({path!r}, 'rb')")
            except TransportExecError as fault:
                if "ENOENT" in fault.error_output:
                    return None
                raise
            content = b""
            while True:
                (chunk,) = self._told(f"(f.read({_CHUNK}),)", [bytes])
                content += chunk
                if len(chunk) < _CHUNK:
                    self.exec("f.close()")
                    return content
                if len(content) > _READ_MOST:
                    raise ValueError("a file on it has no end")

    def write(self, path: str, content: bytes) -> None:
        """Write a file, and its folders if need be. NoRoom if it does not fit; then it is gone."""
        folders = path.split("/")[:-1]
        with self._plain():
            for depth in range(len(folders)):
                folder = "/".join(folders[: depth + 1])
                if not self.fs_isdir(folder):
                    self.fs_mkdir(folder)
            try:
                self.fs_writefile(path, content, _CHUNK)
            except OSError as fault:
                if fault.errno != ENOSPC:
                    raise
                # Until it is closed it cannot be removed, and closing it writes what is left once more.
                with contextlib.suppress(TransportExecError):
                    self.exec("f.close()")
                self.remove([path])
                raise NoRoom(path) from None

    def rename(self, old: str, new: str) -> None:
        """Give a file another name, in place of the file that had it."""
        with self._plain():
            self.exec(f"import os\nos.rename({old!r}, {new!r})")

    def remove(self, paths: Iterable[str]) -> None:
        """Remove files, where they are."""
        for path in paths:
            with self._plain():
                try:
                    self.fs_rmfile(path)
                except OSError as fault:
                    if fault.errno != ENOENT:
                        raise

    def free_bytes(self) -> int:
        """Room left on the file system."""
        with self._plain():
            self.exec("import os")
            size, _, _, free = self._told("os.statvfs('/')[:4]", [int] * 4)
        return size * free

    def _told(self, expression: str, kinds: list[type] | None = None) -> tuple:
        """What the board makes of `expression`; ValueError where that is no tuple of values of `kinds`."""
        return _check(self.eval(expression), kinds)

    def reset(self) -> None:
        """Reset the board, as its power does, and close the port."""
        with self._plain():
            # Only once what it said has left it.
            self.exec_raw_no_follow("import machine, time\ntime.sleep_ms(100)\nmachine.reset()")
        self.in_raw_repl = False
        self.leave()

    @contextlib.contextmanager
    def _plain(self) -> Iterator[None]:
        """Say in one line what went wrong on the board or on the way to it."""
        try:
            yield
        except TransportExecError as fault:
            said = fault.error_output.strip().splitlines()[-1:]
            raise CommandError(
                f"The board at {self.device_name} fails: {''.join(said)}. Reset it and try again."
            ) from None
        except _NOT_TOLD as fault:
            words = " ".join(str(fault).split()).rstrip(".")
            raise CommandError(
                f"The connection to {self.device_name} is lost: {words}. Check the cable and try again."
            ) from None
