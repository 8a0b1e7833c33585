"""`lampblack doctor`: what is wrong between this PC and the box, and what to do next.

What must live here: the questions, in the order in which a person would ask them, and what the answers
mean. Each finding is one line; the first thing that is broken ends the questions that need it.
"""

import json
import time
from collections.abc import Callable
from typing import Annotated, NamedTuple

import typer

from host_sim.box.session import SIMULATOR
from lampblack.board.board_prompt import Prompt
from lampblack.board.firmware_files import MANIFEST, PACKAGES, START, digest, firmware_files, names_on_board
from lampblack.board.install import CRASH_LOGS
from lampblack.errors import CommandError
from lampblack.text.printable import printable
from lampblack.wire.box_client import BoxClient, BoxError, NoAnswer, open_port
from lampblack.wire.finding import the_box
from timing_core import VERSION
from timing_core.wire.methods import WIRE

FREE_LEAST_BYTES = 50_000
"""Less than is free while the largest screen is open, and more than the loop counts on (`_SHORT_BYTES` in
board/runner.py)."""

LISTEN_S = 1.0
HEARD_MOST = 60


class Finding(NamedTuple):
    """One thing that was looked at: `line` says what there is, and where it is not `ok`, what to do."""

    about: str
    ok: bool
    line: str


def doctor(
    port: Annotated[
        str | None,
        typer.Option(metavar="URL", envvar="LAMPBLACK_PORT", help="The box; the only one if left out."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Plain data for programs.")] = False,
) -> None:
    """Say what is wrong with a connection, a version or a board, and what to do.

    Ends with exit code 0 if all is well, 1 if not. Nothing is changed.
    """
    found, crash = examine(port)
    healthy = all(finding.ok for finding in found)
    if as_json:
        plain = [finding._asdict() for finding in found]
        print(json.dumps({"healthy": healthy, "findings": plain, "crash": crash}, indent=2))
    else:
        for finding in found:
            print(printable(f"{'ok   ' if finding.ok else 'WRONG'} {finding.about}: {finding.line}"))
        for line in crash:
            print(printable(f"      {line}"))
    if not healthy:
        raise typer.Exit(1)


def examine(url: str | None, clock: Callable[[], float] = time.monotonic) -> tuple[list[Finding], list[str]]:
    """What there is to say of the box at `url`, and the lines of its last crash. `clock` counts seconds."""
    try:
        url = the_box(url, or_pico=True)
        port = open_port(url)
    except BoxError as fault:
        return [Finding("port", False, str(fault))], []
    found = [Finding("port", True, f"{url} opens.")]
    try:
        with BoxClient(url, transport=port, clock=clock, any_wire=True) as box:
            crash = _ask(box, found)
    except NoAnswer:
        crash = _at_prompt(url, found)
    except BoxError as fault:
        found.append(Finding("box", False, str(fault)))
        crash = []
    return found, crash


# --- a box that answers


def _ask(box: BoxClient, found: list[Finding]) -> list[str]:
    """Add what a box says of itself; the lines of its last crash."""
    about = box.about
    identity = f" It is box {about['identity']}." if about.get("identity") else ""
    found.append(Finding("box", True, f"it answers, and runs Lampblack {about['version']}.{identity}"))
    if about["wire"] != WIRE:
        what = f"the box speaks wire {about['wire']}, this PC wire {WIRE}"
        found.append(Finding("version", False, f"{what}. {_catch_up(about['version'], box.url)}"))
        return []
    same = about["version"] == VERSION
    line = f"box and PC both have {VERSION}." if same else f"this PC has {VERSION}. "
    found.append(Finding("version", same, line if same else line + _catch_up(about["version"], box.url)))
    state = box.state()
    light = "on" if state["lit"] else "off"
    found.append(Finding("light", True, f"it is {light}; EXPOSE does this: {state['expose']}."))
    shelf = f"{len(box.cards())} of {about['cards_max']} cards"
    exposed = box.call("ledger.read", after=0)["last"]
    found.append(Finding("memory", True, f"{shelf} on the shelf; {exposed} exposures in the ledger so far."))
    if "health" in about["methods"]:
        found += _health(box.call("health"))
    if "damage.read" in about["methods"]:
        found += [Finding("damage", False, line) for line in box.damage()]
    crash = _last_crash(box.crashes() if "crash.read" in about["methods"] else [], same)
    if crash:
        found.append(Finding("crash", False, _crash_line(crash)))
    return crash


def _health(told: dict) -> list[Finding]:
    """What there is to say of the board under a box. What it does not tell is passed over."""
    found = [Finding("fault", False, line) for line in told.get("faults", ())]
    if told.get("board") == SIMULATOR:
        return [*found, Finding("board", True, "none: this is a simulator.")]
    if "board" in told:
        found.append(_board(told))
    if "display" in told:
        display = told["display"]
        wires = f"its two wires (SDA GP{display['sda']}, SCL GP{display['scl']})"
        line = "it answers." if display["answers"] else f"it does not answer. Check {wires} and its 3.3 V."
        found.append(Finding("display", display["answers"], line))
    if told.get("restarts"):
        found.append(Finding("restarts", False, _restarts_line(told["restarts"])))
    return found


def _board(told: dict) -> Finding:
    """What the board is; how much memory it has left is told in the dark only."""
    line = f"{told['board']}, MicroPython {told.get('micropython')}"
    free = told.get("free_bytes")
    if free is None:
        return Finding("board", True, f"{line}; its free memory is not told while it works.")
    line += f"; {free // 1024} KB of its memory are free"
    if free >= FREE_LEAST_BYTES:
        return Finding("board", True, line + ".")
    return Finding(
        "board", False, line + ", which is little. Pull the plug and put it back; if it stays so, report it."
    )


def _restarts_line(restarts: int) -> str:
    times = "once" if restarts == 1 else f"{restarts} times"
    return (
        f"since its plug was put in the box has restarted by itself {times}: it crashed, or it hung. Report "
        "it with what was done before; pulling the plug begins the count anew."
    )


def _catch_up(version: object, url: str) -> str:
    """What to do where box and PC have different versions."""
    if _numbers(version) > _numbers(VERSION):
        return "Get a newer lampblack for this PC."
    return f"Run `lampblack install --port {url}`."


def _numbers(version: object) -> list[int]:
    return [int(part) if part.isdecimal() else 0 for part in str(version)[:32].split(".")]


def _last_crash(log: list[str], same: bool) -> list[str]:
    """The lines of the newest traceback in a crash log; the log is cut where it grew too long. `same`: the
    board has this PC's firmware, so that functions can be told by their own names."""
    starts = [number for number, line in enumerate(log) if line.startswith("Traceback")]
    crash = log[starts[-1] :] if starts else log
    return names_on_board().put_back("\n".join(crash)).split("\n") if same and crash else crash


def _crash_line(crash: list[str]) -> str:
    return (
        f"the box has crashed: {crash[-1].rstrip('.')}. Report it with the lines below; installing again "
        "clears the log."
    )


# --- something else that answers


def _at_prompt(url: str, found: list[Finding]) -> list[str]:
    """Add what is there in place of a box; the lines of a crash that lie on the board."""
    try:
        port = open_port(url)
        try:
            port.timeout = LISTEN_S
            port.write(b"\r")
            heard = port.read(1 << 16)
        finally:
            port.close()
    except (BoxError, OSError):
        found.append(
            Finding("box", False, f"the connection to {url} is lost. Check the cable and try again.")
        )
        return []
    if b">>>" not in heard:
        found.append(Finding("box", False, _not_a_box(heard)))
        return []
    found.append(Finding("box", False, "no box answers: the board is at its MicroPython prompt."))
    try:
        with Prompt(url, restart=False) as board:
            return _look_at(board, url, found)
    except (CommandError, BoxError) as fault:
        found.append(Finding("board", False, str(fault)))
        return []


def _not_a_box(heard: bytes) -> str:
    text = heard.decode("utf-8", "replace")
    said = " ".join(printable(text).split())
    if said:
        return (
            f'another program talks here: "{said[:HEARD_MOST]}". Look at `lampblack ports` for the box, or '
            "make this board one with `lampblack install`."
        )
    return (
        "nothing answers. A box that was just plugged in takes two seconds; else pull its plug and put it "
        "back, and look at `lampblack ports` for another port."
    )


def _look_at(board: Prompt, url: str, found: list[Finding]) -> list[str]:
    """Add what lies on a board at its prompt."""
    about = board.check()
    found.append(Finding("board", True, f"{about.machine}, MicroPython {about.release}."))
    install = f"Run `lampblack install --port {url}`."
    there = board.digests(PACKAGES, [*START, MANIFEST])
    files = firmware_files()
    missing = [path for path, content in files.items() if there.get(path) != digest(content)]
    if MANIFEST not in there and len(missing) == len(files):
        found.append(Finding("firmware", False, f"there is none on the board. {install}"))
    elif MANIFEST not in there:
        found.append(Finding("firmware", False, f"it is there in part: an install was cut off. {install}"))
    elif missing:
        line = f"it is not this PC's {VERSION}: {len(missing)} of {len(files)} files differ."
        version = _version_in(board.read(MANIFEST) or b"")
        found.append(Finding("firmware", False, f"{line} {_catch_up(version, url)}"))
    else:
        line = f"{VERSION} is whole, and stopped. Pull the plug and put it back."
        found.append(Finding("firmware", True, line))
    log = b"".join(board.read(name) or b"" for name in reversed(CRASH_LOGS))
    crash = _last_crash(log.decode("utf-8", "replace").splitlines(), not missing)
    if crash:
        found.append(Finding("crash", False, _crash_line(crash)))
    return crash


def _version_in(text: bytes) -> object:
    """The version that a manifest names; None if it cannot be read."""
    try:
        return json.loads(text)["version"]
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
