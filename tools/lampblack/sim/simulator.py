"""`lampblack sim`: the box with nothing attached.

What must live here: putting together a session, its darkroom, its ports and what is written about it.
"""

import asyncio
import contextlib
import json
import os
import re
import secrets
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, Protocol

import typer
from filelock import FileLock, Timeout
from rich.table import Table

from host_sim.box.disks import DirectoryDisk
from host_sim.box.live import Live
from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.script import Player, ScriptError
from host_sim.box.session import LATENCY_MS, SIMULATOR, Session, Trace
from host_sim.darkroom.ideal_hands import IdealHands, Sheet
from host_sim.optics.lamp_house import LampHouse
from lampblack.errors import CommandError
from lampblack.files import NewFile, write_file
from lampblack.text import tables
from lampblack.wire.push import requests_for

FILM = 1 / 8
"""The report's densities are those of a tone whose film lets so much of the light through: a middle grey."""
PANEL_MS = 100
DEFAULT_PORT = 7327
IDENTITY_FILE = "identity.txt"
"""Beside the records of a kept box. The store takes it for none of them: their names end in .0 or .1."""

LOCK_FILE = "in-use.lock"
HOLDER_FILE = "in-use.txt"
"""Who has the folder: apart from the lock, which is emptied by whoever tries it."""

LampName = Literal["tungsten", "cold light", "led", "ideal"]
PaperName = Literal["vc-2019", "vc-2020"]


@dataclass
class Darkroom:
    """A session under a lamp, with ideal hands, whose sheets gather its light."""

    session: Session
    house: LampHouse
    hands: IdealHands


def build(
    lamp: str = "tungsten",
    paper: str = "vc-2019",
    keep: Path | None = None,
    panel_ms: int = PANEL_MS,
    identity: str = SIMULATOR,
) -> Darkroom:
    """A box with nothing attached, not yet powered up. OSError where `keep` cannot be used."""
    disk = MemoryDisk() if keep is None else DirectoryDisk(keep)
    session = Session(disk, desk_platform(), panel_ms, latency_ms=LATENCY_MS, identity=identity)
    house = LampHouse(session, lamp, paper)
    hands = IdealHands(session, house)
    session.watchers.append(hands)
    return Darkroom(session, house, hands)


@contextlib.contextmanager
def in_use(keep: Path | None) -> Iterator[None]:
    """The folder is for this process alone, until it ends in whatever way. CommandError where another has it,
    OSError where it cannot be used."""
    if keep is None:
        yield
        return
    keep.mkdir(parents=True, exist_ok=True)
    holder = keep / HOLDER_FILE
    try:
        lock = FileLock(keep / LOCK_FILE).acquire(timeout=0)
    except Timeout:
        raise CommandError(
            f"{keep} is in use by another simulator ({_process_in(holder)}). End that one, or name another "
            "folder with --keep."
        ) from None
    with lock:
        holder.write_text(f"{os.getpid()}\n", encoding="ascii")
        try:
            yield
        finally:
            holder.unlink(missing_ok=True)


def _process_in(holder: Path) -> str:
    """What the file says, if it is as it was written here."""
    try:
        text = holder.read_text(encoding="ascii").strip()
    except (OSError, ValueError):
        text = ""
    return f"process {text}" if re.fullmatch("[0-9]{1,10}", text) else "which one, its folder does not say"


def identity_of(keep: Path | None, is_script: bool) -> str:
    """Tells this box from all others in the ledgers of a PC: always the same in a folder, and for a script,
    whose outputs are compared byte for byte. `keep` is there. CommandError where its own cannot be used."""
    if keep is None:
        return SIMULATOR if is_script else new_identity()
    path = keep / IDENTITY_FILE
    if not path.exists():
        write_file(path, (new_identity() + "\n").encode(), force=False)
    identity = path.read_text(encoding="utf-8", errors="replace").strip()
    if not re.fullmatch("sim-[0-9a-f]{8}", identity):
        raise CommandError(
            f"{path} is no name of a box: it is to hold sim- and eight hex digits. Correct it, or remove it "
            "for a new name."
        )
    return identity


def new_identity() -> str:
    return "sim-" + secrets.token_hex(4)


def report_plain(darkroom: Darkroom) -> list[dict[str, Any]]:
    """What every area of every sheet got, as plain data; errors in stops."""
    return [
        {
            "sheet": sheet.title,
            "paper": sheet.paper.name,
            "no_data_for": sheet.lacking,
            "areas": [
                {
                    "area": light.area,
                    "filter": light.filter,
                    "planned_ms": light.planned_ms,
                    "given_ms": round(light.given_ms, 3),
                    "error_stops": sheet.error_stops(light),
                }
                for light in lights
            ],
        }
        for sheet, lights in darkroom.hands.report()
    ]


def report_tables(darkroom: Darkroom) -> Iterator[Table | str]:
    """A table for each sheet: the light of every area against the map, and the density it leaves; and a line
    about filters that its paper has no data for."""
    for sheet, lights in darkroom.hands.report():
        table = Table(
            title=f"Light on the paper: {sheet.title}", title_justify="left", box=None, pad_edge=False
        )
        for head in ("area", "filter"):
            table.add_column(head)
        for head in ("planned s", "given s", "error in stops", "density"):
            table.add_column(head, justify="right")
        for light in lights:
            error = sheet.error_stops(light)
            table.add_row(
                light.area,
                light.filter or "none",
                f"{light.planned_ms / 1000:.3f}",
                f"{light.given_ms / 1000:.3f}",
                "" if error is None else f"{error:+.4f}",
                _density(sheet, light.area),
            )
        yield table
        if sheet.lacking:
            names = " and ".join(sheet.lacking)
            says = f"{sheet.paper.name} has no data for filter {names}. Its light counts as unfiltered."
            yield f"No verdict: {says}"


def _density(sheet: Sheet, area: str) -> str:
    doses = {filter: dose for (name, filter), dose in sheet.doses.items() if name == area}
    if any(sheet.paper.lacks(filter) for filter in doses):
        return "-"
    return f"{sheet.paper.density({filter or 'none': FILM * dose for filter, dose in doses.items()}):.2f}"


def sim(
    script: Annotated[
        Path | None, typer.Option(help="Play these inputs and end; see docs/simulator.md.")
    ] = None,
    speed: Annotated[
        float | None, typer.Option(help="Times real time. With a script: as fast as it goes, unless given.")
    ] = None,
    port: Annotated[
        int, typer.Option(help="TCP port for tools, on this computer only; 0: any free.")
    ] = DEFAULT_PORT,
    trace: Annotated[
        Path | None, typer.Option(help="Write every input and output here, as JSON lines.")
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over a trace that is there.")] = False,
    report: Annotated[
        bool, typer.Option("--report", help="At the end, show the light each area got.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="The report as plain data, in ms and stops.")
    ] = False,
    keep: Annotated[Path | None, typer.Option(help="A folder that keeps cards, bench and ledger.")] = None,
    lamp: Annotated[LampName, typer.Option(help="The lamp over the easel.")] = "tungsten",
    paper: Annotated[PaperName, typer.Option(help="The paper on it.")] = "vc-2019",
    terminal: Annotated[
        bool, typer.Option("--terminal", help="Show the box in this terminal, not in a browser.")
    ] = False,
) -> None:
    """Run the box with nothing attached: on a page in your browser, in this terminal, or from a script."""
    if speed is not None and not 0.01 <= speed <= 1000:
        raise typer.BadParameter("give 0.01 to 1000", param_hint="--speed")
    if terminal and not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise CommandError("There is no terminal to show the box in. Leave out --terminal for a page.")
    text = _text_of(script) if script else None
    with contextlib.ExitStack() as stack:
        traced = stack.enter_context(NewFile(trace, force)) if trace else None
        stack.enter_context(in_use(keep))
        darkroom = build(lamp, paper, keep, identity=identity_of(keep, script is not None))
        if traced:
            traced.keeps_part = True  # from here on it is of a session
            darkroom.session.watchers.append(Trace(darkroom.session, _line_writer(traced)))
        try:
            if script is None or text is None:
                face: Face = _Panel() if terminal else _OnScreen(darkroom.house, keep)
                asyncio.run(_live(darkroom, speed or 1.0, port, face))
            elif speed is None:
                darkroom.session.power_up()
                Player(darkroom.session).play(text, script.name)
            else:
                asyncio.run(_live(darkroom, speed, port, _Script(text, script.name)))
        except ScriptError as fault:
            raise CommandError(str(fault)) from None
    if as_json:
        print(json.dumps(report_plain(darkroom), indent=2))
    elif report:
        for piece in report_tables(darkroom):
            tables.console().print(piece)


def _text_of(script: Path) -> str:
    try:
        return script.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as fault:
        raise CommandError(
            f"{script} is not played: it is no text in UTF-8, from byte {fault.start} on. Save it as UTF-8."
        ) from None


def _line_writer(file: NewFile) -> Callable[[str], None]:
    return lambda line: file.write(f"{line}\n".encode())


@dataclass
class Ways:
    """Where tools reach a box."""

    address: str
    serial: str | None
    lag_ms: int

    def __str__(self) -> str:
        either = f" or {self.serial}" if self.serial else ""
        return (
            f"Tools reach this box at --port {self.address}{either}\n"
            f"The lamp over its easel lags {self.lag_ms} ms."
        )


class Face(Protocol):
    """How a live session is shown and worked."""

    def before(self, session: Session) -> None:
        """Join the session before its box wakes."""

    async def run(self, live: Live, ways: Ways) -> None:
        """Until the session is to end."""


async def _live(darkroom: Darkroom, speed: float, port: int, face: Face) -> None:
    session = darkroom.session
    face.before(session)
    session.power_up()
    live = Live(session, speed)
    try:
        port = await live.open_socket(port)
    except OSError:
        raise CommandError(
            f"Port {port} is taken: another box may be running. Use --port 0 for a free one."
        ) from None
    try:
        ways = Ways(f"socket://localhost:{port}", await live.open_pty(), darkroom.house.lag_ms)
        await face.run(live, ways)
    finally:
        live.close()


class _Script:
    """Played in real time, or faster."""

    def __init__(self, text: str, name: str) -> None:
        self._text = text
        self._name = name

    def before(self, session: Session) -> None:
        pass

    async def run(self, live: Live, ways: Ways) -> None:
        print(ways, file=sys.stderr)
        time_passes = asyncio.create_task(live.run())
        try:
            await live.play(Player(live.session).steps(self._text, self._name))
        finally:
            live.end()
            await time_passes


class _Panel:
    """In this terminal."""

    def before(self, session: Session) -> None:
        pass

    async def run(self, live: Live, ways: Ways) -> None:
        from lampblack.sim.terminal import Panel

        await Panel(live, str(ways)).run()


class _OnScreen:
    """On a page, with the darkroom round the box."""

    def __init__(self, house: LampHouse, keep: Path | None) -> None:
        self._house = house
        self._keep = keep

    def before(self, session: Session) -> None:
        # The web server and the arrays take their time to load, and no other command needs them.
        from host_sim.darkroom.room import Room
        from host_sim.darkroom.scores import FILE, Scores
        from host_sim.darkroom.timeline import Timeline

        self._timeline = Timeline(session)
        session.watchers.append(self._timeline)
        scores = Scores(self._keep and self._keep / FILE)
        self._room = Room(session, self._house, requests_for, scores=scores)

    async def run(self, live: Live, ways: Ways) -> None:
        from lampblack.extra import has_extra
        from lampblack.lab_page.jobs import Place
        from lampblack.lab_page.server import routes
        from lampblack.page.serving import open_for_person
        from lampblack.sim.page_server import Page

        known = [way for way in (ways.address, ways.serial) if way]
        lab = routes(Place.of(port=ways.address)) if has_extra() else []
        page = Page(live, self._room, self._timeline, known, lab)
        # Ctrl-C cancels: the session ends, and what was asked for at its end is still told.
        with contextlib.suppress(asyncio.CancelledError):
            async with page.served() as address:
                print(f"The darkroom is at {address}\n{ways}\nCtrl-C ends it.", flush=True)
                open_for_person(address)
                await live.run()
