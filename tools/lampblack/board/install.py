"""`lampblack install`: the firmware onto a board that runs MicroPython.

What must live here: the order of the steps. The faults tolerated, and why each is survivable:
- cut off while files are sent: they have names of their own, the box still runs what it had;
- cut off while they take their places: without `main.py` nothing starts, and the board is dark;
- cut off after that: all is there but the manifest.
Each time running it again finishes it. Cards, settings and the ledger lie in `/keep`, which is not
looked at.
"""

import contextlib
import time
from collections.abc import Callable
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import Progress

from host_sim.box.session import SIMULATOR
from lampblack.board.board_prompt import NoRoom, Prompt
from lampblack.board.chips import untried
from lampblack.board.firmware_files import MANIFEST, PACKAGES, START, digest, firmware_files, manifest
from lampblack.errors import CommandError
from lampblack.text.printable import printable
from lampblack.wire.box_client import BoxClient, BoxError, NoAnswer
from lampblack.wire.finding import the_box

NEW = ".new"
"""Ends the name of a file that waits to take its place."""
MAIN = "main.py"
OURS = tuple(f"{package}/" for package in PACKAGES)
CRASH_LOGS = ("crash.log", "crash.old")

ASK_S = 2.0
RESTART_S = 20.0

Told = Callable[[str, int, int], None]
"""Progress: what is done now, bytes done, bytes in all."""


def install(
    port: Annotated[
        str | None,
        typer.Option(
            metavar="URL",
            envvar="LAMPBLACK_PORT",
            help="The board: /dev/ttyACM0, COM5; the only box or Pico if left out.",
        ),
    ] = None,
) -> None:
    """Put the firmware on a board that runs MicroPython.

    Cards, settings and ledger stay. If it is cut off, run it again.
    """
    url = the_box(port, or_pico=True)
    files = firmware_files()
    stderr = Console(stderr=True)
    with Progress(console=stderr, transient=True, disable=not stderr.is_terminal) as bar:
        task = bar.add_task("Asking the box")
        said = install_at(
            url, files, lambda what, done, of: bar.update(task, description=what, completed=done, total=of)
        )
    print("\n".join(map(printable, said.split("\n"))))


def install_at(
    url: str,
    files: dict[str, bytes],
    told: Told = lambda what, done, of: None,
    *,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> str:
    """Install `files` on the board at `url` and wait for its box to answer; what there is to say of it.

    BoxError or CommandError where that fails. `clock` and `sleep` are in seconds.
    """
    _hand_over(url, clock)
    with Prompt(url, restart=True) as board:
        try:
            about = board.check()
            count = put(board, files, told)
        except CommandError:
            # Whatever the board has starts again.
            with contextlib.suppress(CommandError):
                board.reset()
            raise
        board.reset()
    told("Waiting for the box", 1, 1)
    version = _wait(url, clock, sleep)
    what = f"{count} of {len(files)} files written" if count else "all files were there already"
    said = f"Lampblack {version} is on the board ({about.machine}, MicroPython {about.release}): {what}."
    return said if about.chip is None or about.chip.tried else f"{said}\n{untried(about.chip)}"


def put(board: Prompt, files: dict[str, bytes], told: Told) -> int:
    """Make `files` and their manifest what the board has; how many it had not."""
    told("Comparing", 0, 1)
    there = board.digests(PACKAGES, [*START, MANIFEST])
    last = manifest(files)
    changed = [path for path in files if there.get(path) != digest(files[path])]
    stale = [path for path in there if path not in files and path.startswith(OURS)]
    if changed or stale or there.get(MANIFEST) != digest(last):
        _send(board, {path: files[path] for path in changed} | {MANIFEST: last}, told)
        board.remove([MANIFEST])
        if MAIN in changed:
            board.remove([MAIN])
        else:
            board.rename(MAIN, MAIN + NEW)
        for path in changed:
            if path != MAIN:
                board.rename(path + NEW, path)
        # A source that was left would be run in place of its bytecode.
        board.remove(stale)
        board.rename(MAIN + NEW, MAIN)
        # They tell of what ran before.
        board.remove(CRASH_LOGS)
        board.rename(MANIFEST + NEW, MANIFEST)
    return len(changed)


def _send(board: Prompt, files: dict[str, bytes], told: Told) -> None:
    """Write files under names of their own, and make sure that they are whole."""
    done, of = 0, sum(len(content) for content in files.values())
    for path, content in files.items():
        told(path, done, of)
        try:
            board.write(path + NEW, content)
        except NoRoom:
            board.remove([other + NEW for other in files])
            raise CommandError(
                f"Nothing is installed: {path} has no room, {board.free_bytes() // 1024} KB are free and "
                f"{of // 1024} KB are sent. Take files of your own off the board."
            ) from None
        done += len(content)
    told("Checking", done, of)
    there = board.digests(PACKAGES, [name + NEW for name in (*START, MANIFEST)])
    for path, content in files.items():
        if there.get(path + NEW) != digest(content):
            raise CommandError(
                f"Nothing is installed: {path} did not arrive whole. Run it again; if it stays so, the flash "
                "of the board is worn."
            )


def _hand_over(url: str, clock: Callable[[], float]) -> None:
    """Have a box leave to its prompt. Where none answers there is another program, or the prompt itself."""
    try:
        with BoxClient(url, ASK_S, clock=clock, any_wire=True) as box:
            if "health" in box.about.get("methods", ()) and box.call("health").get("board") == SIMULATOR:
                raise CommandError(
                    f"Nothing is installed: {url} is a simulator, not a board. Give the port of a board; "
                    "`lampblack ports` names them."
                )
            if box.state().get("run"):
                raise CommandError(
                    "Nothing is installed: a run is under way. Finish it, or leave it with BACK."
                )
            box.handover()
    except NoAnswer:
        pass


def _wait(url: str, clock: Callable[[], float], sleep: Callable[[float], None]) -> str:
    """The version of the box once it has started; its port is away for a while."""
    until = clock() + RESTART_S
    while True:
        try:
            with BoxClient(url, ASK_S, clock=clock) as box:
                return box.about["version"]
        except BoxError as fault:
            if clock() > until:
                raise CommandError(
                    f"The firmware is on the board, and the box does not answer: {fault} Then see "
                    f"`lampblack doctor --port {url}`."
                ) from None
        sleep(0.5)
