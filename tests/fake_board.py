"""A board behind a serial port, for what no emulator does fast: cables that fail, flash that is full.

It is a port as pyserial gives one. On its other end is MicroPython's raw prompt, as docs.micropython.org,
"MicroPython interpreter modes", describes it; the code sent there is run by CPython, on a file system in
memory. Once a `main.py` is on it, a reset starts the true `Link` on a fake box instead.
"""

from __future__ import annotations

import builtins
import errno
import io
import traceback
import types
from collections.abc import Callable

from tests.portable.fakes import FakeBox, platform
from timing_core.wire.framing import LineReader
from timing_core.wire.methods import Link

BANNER = b"raw REPL; CTRL-B to exit\r\n>"
BLOCK = 4096
WINDOW = 128


class Unplugged(OSError):
    pass


class FakeBoard:
    """`files` (path -> content) are on it. `start` sees what its last reset started: "box", "other" or ""."""

    def __init__(self, files: dict[str, bytes] | None = None, blocks: int = 352) -> None:
        self.files = dict(files or {})
        self.blocks = blocks
        self.runs: bytes | None = None
        """The `main.py` that starts a box; any other is some other program."""
        self.release = (1, 22, 2)
        self.name = "micropython"
        self.machine = "Raspberry Pi Pico with RP2040"
        self.bytecode = 6
        self.spoil: Callable[[str, bytes], bytes] = lambda path, data: data
        self.box = FakeBox()
        self.box.hand_over = self._hand_over  # type: ignore[method-assign]
        self.commands = 0
        self.cut_at: int | None = None
        """The command that the cable is pulled in, counted from 0: it is not carried out."""
        self._made: set[str] = set()
        self.opened = 0
        self.resets = 0
        self.power_cycle()

    # --- the board

    def power_cycle(self) -> None:
        """Plug it in again."""
        self._plugged = True
        self._out = bytearray()
        self._in = bytearray()
        self._raw = False
        self._paste = False
        self._globals: dict = {}
        main = self.files.get("main.py")
        self.start = "" if main is None else "box" if main == self.runs else "other"
        self._reader = LineReader()
        self._link = Link(self.box, platform)

    def _hand_over(self) -> None:
        self.start = ""

    # --- the port

    timeout: float | None = None
    rts = dtr = True

    def open(self) -> FakeBoard:
        self.opened += 1
        if not self._plugged:
            raise Unplugged(errno.ENOENT, "no such port")
        return self

    def close(self) -> None:
        pass

    @property
    def in_waiting(self) -> int:
        self._there()
        return len(self._out)

    def inWaiting(self) -> int:
        return self.in_waiting

    def read(self, size: int = 1) -> bytes:
        self._there()
        data = bytes(self._out[:size])
        del self._out[:size]
        return data

    def write(self, data: bytes) -> int:
        self._there()
        for byte in data:
            self._take(byte)
        return len(data)

    def _there(self) -> None:
        if not self._plugged:
            raise Unplugged(errno.EIO, "Input/output error")

    def _take(self, byte: int) -> None:
        if self.start == "box":
            self._reader.feed(bytes([byte]))
            while (line := self._reader.next_line()) is not None:
                self._out += self._link.take(line) or b""
        elif self.start == "other":
            if byte == 3:
                self.start = ""
                self._out += b"\r\nTraceback (most recent call last):\r\nKeyboardInterrupt: \r\n>>> "
        elif self._paste:
            self._paste_in(byte)
        elif self._raw and self._in + bytes([byte]) == b"\x05A\x01":
            self._in.clear()
            self._paste = True
            self._out += b"R\x01" + WINDOW.to_bytes(2, "little")
        elif byte == 1:
            self._raw = True
            self._out += b"\r\n" + BANNER
        elif byte == 2:
            self._raw = False
            self._out += b"\r\nMicroPython\r\n>>> "
        elif not self._raw:
            self._out += b"\r\n>>> " if byte in b"\r\x03" else b""
        elif byte == 4 and not self._in:
            self._globals = {}
            self._out += b"OK\r\nMPY: soft reboot\r\n" + BANNER
        else:
            self._in.append(byte)
            if byte in b"\r\x03":
                self._in.clear()

    def _paste_in(self, byte: int) -> None:
        if byte != 4:
            self._in.append(byte)
            if len(self._in) % WINDOW == 0:
                self._out.append(1)
            return
        code = self._in.decode()
        self._in.clear()
        self._paste = False
        self._out += b"\x04"
        if self.cut_at == self.commands:
            self._plugged = False
        self.commands += 1
        self._there()
        out, fault = self._run(code)
        if self.start == "" and self._raw:
            self._out += out.replace("\n", "\r\n").encode() + b"\x04" + fault.encode() + b"\x04>"

    def _run(self, code: str) -> tuple[str, str]:
        said = io.StringIO()

        def tell(*values: object, end: str = "\n") -> None:
            said.write(" ".join(str(value) for value in values) + end)

        modules = {
            "os": self._os(),
            "sys": self._sys(),
            "machine": types.SimpleNamespace(reset=self._reset),
            "time": types.SimpleNamespace(sleep_ms=lambda ms: None),
        }

        def imported(name: str, *rest: object):
            return modules.get(name) or builtins.__import__(name, *rest)  # type: ignore[arg-type]

        inside = {**vars(builtins), "open": self._open, "print": tell, "__import__": imported}
        self._globals["__builtins__"] = inside
        try:
            exec(code, self._globals)
        except Exception as caught:
            fault = "".join(traceback.format_exception_only(caught)).strip()
            if isinstance(caught, OSError):
                fault = f"OSError: [Errno {caught.errno}] {errno.errorcode[caught.errno or 5]}"
            return said.getvalue(), f"Traceback (most recent call last):\r\n{fault}\r\n"
        return said.getvalue(), ""

    # --- MicroPython's modules

    def _reset(self) -> None:
        self.resets += 1
        waits = self._out
        self.power_cycle()
        self._out += waits

    def _sys(self) -> types.SimpleNamespace:
        class Implementation(tuple):
            _machine = self.machine
            _mpy = 0x1400 | self.bytecode

        return types.SimpleNamespace(
            implementation=Implementation((self.name, (*self.release, ""))), platform="rp2"
        )

    def _os(self) -> types.SimpleNamespace:
        files, folders = self.files, self._folders

        def have(path: str) -> str:
            path = path.strip("/")
            if path not in files and path not in folders():
                raise OSError(errno.ENOENT, path)
            return path

        def ilistdir(path: str = ""):
            inside = have(path) + "/" if path.strip("/") else ""
            names = {name[len(inside) :] for name in (*files, *folders()) if name.startswith(inside)}
            for name in sorted(names):
                if name and "/" not in name:
                    yield (name, 0x8000 if inside + name in files else 0x4000, 0, 0)

        def stat(path: str):
            path = have(path)
            return (0x8000 if path in files else 0x4000, 0, 0, 0, 0, 0, len(files.get(path, b"")), 0, 0, 0)

        def remove(path: str) -> None:
            del files[have(path)]

        def rename(old: str, new: str) -> None:
            files[new.strip("/")] = files.pop(have(old))

        def mkdir(path: str) -> None:
            self._made.add(path.strip("/"))

        def statvfs(path: str):
            free = self.blocks - self._used()
            return (BLOCK, BLOCK, self.blocks, free, free, 0, 0, 0, 0, 255)

        return types.SimpleNamespace(
            ilistdir=ilistdir, stat=stat, remove=remove, rename=rename, mkdir=mkdir, statvfs=statvfs
        )

    def _folders(self) -> set[str]:
        parents = {"/".join(path.split("/")[:-1]) for path in self.files}
        return (self._made | parents) - {""}

    def _used(self) -> int:
        """Blocks in use: a file takes at least one, a folder two."""
        return 2 + 2 * len(self._folders()) + sum(-(-len(data) // BLOCK) or 1 for data in self.files.values())

    def _open(self, path: str, mode: str = "r"):
        path = path.strip("/")
        if "w" in mode:
            return _Written(self, path)
        if path not in self.files:
            raise OSError(errno.ENOENT, path)
        file = io.BytesIO(self.files[path])
        return file if "b" in mode else io.TextIOWrapper(file)


class _Written(io.BytesIO):
    """A file that is being written: on flash piece by piece, so that a cut leaves a part of it."""

    def __init__(self, board: FakeBoard, path: str) -> None:
        super().__init__()
        self._board, self._path = board, path
        board.files[path] = b""

    def write(self, data) -> int:
        count = super().write(data)
        before = self._board.files.get(self._path)
        self._board.files[self._path] = self._board.spoil(self._path, self.getvalue())
        if self._board._used() > self._board.blocks:
            assert before is not None
            self._board.files[self._path] = before
            raise OSError(errno.ENOSPC, self._path)
        return count
