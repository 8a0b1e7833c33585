"""`lampblack demo`: one print, from card to exposed sheet, told as it goes.

What must live here: the telling. The card goes over a real port into the simulated box, the box is
printed from by pressing its controls, the light on the paper is the lamp house's own, and the printing
record at the end shows the sheet that this light makes.
"""

import asyncio
import tempfile
from importlib.resources import files
from pathlib import Path
from typing import Any

from rich.table import Table

from host_sim.box.frame_pictures import braille
from host_sim.box.live import Live
from host_sim.box.script import Player
from host_sim.box.session import Watcher
from host_sim.box.view import BoxView
from lampblack.cards import areas_file
from lampblack.cards import card_file as cards
from lampblack.errors import CommandError
from lampblack.record.record_command import laid, write_record
from lampblack.sim.simulator import Darkroom, build, report_tables
from lampblack.text import tables
from lampblack.wire.box_client import BoxClient
from timing_core.light.bench import Bench
from timing_core.light.plan import BOTH, CLOSES, OPENS, compile_print, stage_name
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import stops_text

CARD = "workroom.toml"
SCRIPT = "split-grade-print.txt"
LAMP = "tungsten"
RECORD = Path("lampblack-demo.pdf")
PRESSED = {"expose": "EXPOSE", "back": "BACK", "lamp": "LAMP", "press": "press dial", "dial": "turn"}


class _Telling(Watcher):
    """Prints what is pressed, and what the box does about it."""

    def __init__(self, darkroom: Darkroom) -> None:
        self._session = darkroom.session
        self._box = BoxView(darkroom.session)
        self._shown = False

    def input(self, now_ms: int, event: str, value: object) -> None:
        if event in PRESSED:
            words = f"turn {value:+}" if event == "dial" else PRESSED[event]
            self._tell(now_ms, f"{words:11} {self._box.says(event)}")

    def lamp(self, now_ms: int, on: bool) -> None:
        stage = self._box.stage
        if stage is None or self._box.viewing:
            return
        if on:
            self._tell(now_ms, f"            lamp on: {stage_name(stage)}")
        else:
            lit_ms = now_ms - self._session.lamp.lit_ms
            self._tell(now_ms, f"            lamp off after {lit_ms / 1000:.3f} s")

    def output(self, now_ms: int, kind: str, value: object) -> None:
        if kind == "sound" and value in (*OPENS, *CLOSES, *BOTH, "fit"):
            stage = self._box.stage
            windows = stage.windows if stage else []
            opens = value in OPENS or value == BOTH[0]
            edges = [(w.open_ms if opens else w.close_ms, w.area) for w in windows]
            now = min((abs(ms - self._box.light_so_far_ms) for ms, _ in edges), default=0)
            moved = " and ".join(area for ms, area in edges if abs(ms - self._box.light_so_far_ms) == now)
            told = "fit the next filter" if value == "fit" else f"shade {'in' if opens else 'out'}: {moved}"
            self._tell(now_ms, f"            sound: {told}")
            if opens and not self._shown:
                self._shown = True
                for line in braille(bytes(self._session.frame())):
                    print("             " + line)

    @staticmethod
    def _tell(now_ms: int, words: str) -> None:
        print(f"  {now_ms / 1000:7.2f} s  {words}")


def demo() -> None:
    """Print one sheet with nothing attached: card, run, keys, light, ledger, printing record.

    The record is written as lampblack-demo.pdf in this folder, over the one of an earlier demo.
    """
    asyncio.run(_demo())


async def _demo() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / CARD
        path.write_bytes(_example(CARD).encode())
        card = cards.load(path)
    darkroom = build(LAMP)
    live = Live(darkroom.session)
    try:
        await _tell(card, darkroom, live)
    finally:
        live.close()


async def _tell(card: dict[str, Any], darkroom: Darkroom, live: Live) -> None:
    port = f"socket://localhost:{await live.open_socket(0)}"
    darkroom.session.power_up()

    _title("The printing map", f"{card['title']}: what each area of the sheet is to get")
    _show(_map_table(PrintingMap.from_dict(card)))

    _title("The bench", f"the lamp is {LAMP}; its lag, measured under it, is {darkroom.house.lag_ms} ms")
    values, where = await asyncio.to_thread(_send, port, card, darkroom.house.lag_ms)
    print(f"Set lag_ms = {values['lag_ms']} on the box, and pushed the card over {where}.")

    _title("The run", "the map in working order: one press of EXPOSE each")
    bench = Bench()
    bench.set_all(values)
    stages = compile_print(PrintingMap.from_dict(card), bench)
    _show(tables.run_table(stages, bench.get("lag_ms")))

    _title("At the easel", "what was pressed (and what the screen promised), and what the box did")
    telling = _Telling(darkroom)
    darkroom.session.watchers.append(telling)
    Player(darkroom.session).play(_example(SCRIPT), SCRIPT)

    _title("The light", "what reached the paper, by the physics of lamp and relay, against the map")
    for piece in report_tables(darkroom):
        _show(piece)

    _title("The ledger", "what the box wrote down, read back over the port")
    _show(tables.ledger_table(await asyncio.to_thread(_ledger, port)))

    _title("The printing record", "the page that goes into the box of prints")
    _draw_record(card, bench, darkroom)
    print("\nNow by hand: `lampblack sim` in one terminal, `lampblack push CARD --port …` in another.")


def _draw_record(card: dict[str, Any], bench: Bench, darkroom: Darkroom) -> None:
    """With the sheet as it is developed, on which the areas of its negative are outlined."""
    # The film and its arrays take their time to make.
    from host_sim.darkroom.ideal_print import ideal_greys
    from host_sim.optics.negatives import negative

    film = negative(card["name"])
    ((sheet, _),) = darkroom.hands.report()
    greys = ideal_greys(sheet.doses, film, sheet.paper)
    areas = areas_file.of_outlines(card, film.outlines)
    try:
        write_record(RECORD, True, laid(card, bench=bench, picture=greys, areas=areas))
    except CommandError as fault:
        print(fault)
    else:
        print(f"{RECORD} has the sheet, its areas, and the run: open it, or print it.")


def _example(name: str) -> str:
    return (files("lampblack") / "examples" / name).read_text(encoding="utf-8")


def _send(port: str, card: dict[str, Any], lag_ms: int) -> tuple[dict[str, Any], str]:
    with BoxClient(port) as box:
        values = box.bench_set({"lag_ms": lag_ms})
        box.push(card)
    return values, port


def _ledger(port: str) -> list[dict[str, Any]]:
    with BoxClient(port) as box:
        return list(box.ledger())


def _map_table(map: PrintingMap) -> Table:
    table = Table(box=None, pad_edge=False)
    for head in ("pass", "filter", "area", "stops"):
        table.add_column(head)
    table.add_column("seconds", justify="right")
    for index, own in enumerate(map.passes):
        table.add_row(str(index + 1), own.filter, "base", "", tables.seconds(map.base_ms(index)))
        for mark in own.marks:
            kind = "burn" if mark.stops120 > 0 else "dodge"
            seconds = tables.seconds(abs(map.mark_ms(index, mark)))
            filter = mark.filter or own.filter
            table.add_row("", filter, f"{kind} {mark.area}", stops_text(mark.stops120), seconds)
    return table


def _title(title: str, about: str) -> None:
    print(f"\n== {title}: {about}\n")


def _show(piece: Table | str) -> None:
    tables.console().print(piece)
