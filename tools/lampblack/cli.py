"""The `lampblack` command.

What must live here: the words of each command and what it prints. Cards are read in `cards`, tables
made in `text`, boxes reached through `box_client`. Results go to stdout, everything else to
stderr; an error is one line and exit code 1, a wrong call one line and exit code 2.
"""

import difflib
import os
import sys
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

import typer
from rich.console import Console
from rich.progress import Progress

from lampblack.accept.accept import accept
from lampblack.board.doctor import doctor
from lampblack.board.image import image
from lampblack.board.install import install
from lampblack.cards import areas_file as areas
from lampblack.cards import card_file as cards
from lampblack.cards import paper_file as papers
from lampblack.cards import trays_file as sequences
from lampblack.cards.toml_file import FileError
from lampblack.errors import CommandError, in_words
from lampblack.files import write_file
from lampblack.lab.burns import effects_of, grade_of_passes
from lampblack.lab.commands import app as lab_app
from lampblack.lab.records import load_record
from lampblack.lab_page.page_command import page
from lampblack.ledger.commands import backup, ledger_app, restore
from lampblack.record.record_command import record
from lampblack.sim.demo import demo
from lampblack.sim.simulator import sim
from lampblack.sim.state_diagram import diagram
from lampblack.text import tables
from lampblack.text.printable import json_text, printable
from lampblack.text.settings import parse_setting, setting_text
from lampblack.text.units import UnitError, parse_seconds, parse_step, seconds_exact
from lampblack.text.wrong_call import told
from lampblack.wire.box_client import BoxClient, BoxError, Kind
from lampblack.wire.finding import look, the_box
from timing_core.light.bench import Bench, setting
from timing_core.light.paper_record import PaperRecord
from timing_core.light.plan import compile_print
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS
from timing_core.light.strip import (
    PATCHES_MAX,
    PATCHES_MIN,
    STEP_MAX_MS,
    STEP_MAX_STOPS120,
    STEP_MIN_MS,
    Strip,
)
from timing_core.refusal import Refusal

app = typer.Typer(
    help="Plan darkroom prints, and carry them to and from a Lampblack box.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
bench_app = typer.Typer(help="Read and change a box's bench settings.", rich_markup_mode=None)
app.add_typer(bench_app, name="bench")
paper_app = typer.Typer(help="Put paper records into a box, and list them.", rich_markup_mode=None)
app.add_typer(paper_app, name="paper")
trays_app = typer.Typer(help="Put tray sequences into a box, and list them.", rich_markup_mode=None)
app.add_typer(trays_app, name="trays")
lab_app.command()(page)
app.add_typer(lab_app, name="lab")
app.add_typer(ledger_app, name="ledger")

T = TypeVar("T")
Port = Annotated[
    str | None,
    typer.Option(
        metavar="URL",
        envvar="LAMPBLACK_PORT",
        help="The box: /dev/ttyACM0, COM5, socket://localhost:7000 or the like; the only box if left out.",
    ),
]
AsJson = Annotated[bool, typer.Option("--json", help="Plain data for programs, in ms and 1/120 stop.")]
LagMs = Annotated[int | None, typer.Option(metavar="N", help="Lamp lag in ms, in place of the bench's.")]
Card = Annotated[Path, typer.Argument(help="A card: a TOML file.")]
Name = Annotated[str, typer.Argument(help="A card's name on the shelf.")]
Out = Annotated[Path, typer.Option("-o", "--out", help="The file to write; - is stdout.")]
Force = Annotated[bool, typer.Option("--force", help="Write over a file that is there.")]


# --- planning, without a box


@app.command()
def plan(
    card: Card,
    lag_ms: LagMs = None,
    port: Annotated[
        str | None, typer.Option(metavar="URL", help="Plan with the bench settings of this box.")
    ] = None,
    record: Annotated[
        str | None,
        typer.Option(metavar="FILE|NAME", help="The paper record; if left out, the one that the card names."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Show the run of a card, press by press.

    With a paper record, also the grade that two passes make, and what burns through other filters do.
    """
    map = PrintingMap.from_dict(cards.load(card))
    paper, without = _record_of(card, map, record)
    bench = Bench()
    if port is not None:
        with BoxClient(port) as box:
            bench.set_all(box.bench_get())
    _set_lag(bench, lag_ms)
    try:
        stages = compile_print(map, bench)
    except Refusal as refusal:
        raise CommandError(f"{card}: {refusal}") from None
    effects = effects_of(paper, map, stages) if paper else []
    grade = grade_of_passes(paper, map) if paper else None
    if as_json:
        plain = {"card": map.name, "bench": bench.to_dict(), **tables.run_plain(stages, bench.get("lag_ms"))}
        if paper:
            plain |= {"record": paper.name, "grade": grade, "burns": [own._asdict() for own in effects]}
        _print_json(plain)
        return
    _print(f"{map.title or map.name}: {_count(len(stages), 'stage')}. {_bench_line(bench, port)}")
    _print(tables.run_table(stages, bench.get("lag_ms")))
    if paper and grade:
        _print(
            f"By {paper.name}: about grade {paper.grade_text(grade['quarters'])}, R {grade['r10'] / 10:.0f}."
        )
    for own in effects:
        _print(tables.burn_line(own.area, own.filter, own.stops120, own.tones))
    if without:
        _print(f"Note: {without}")
    elif record and paper and not grade and not effects:
        why = (
            "its passes are not the record's pair, and no burn goes through another filter that was measured"
            if paper.pair
            else "the record has no pair of filters"
        )
        _print(f"Note: {paper.name} says nothing of this card: {why}.")


def _record_of(card: Path, map: PrintingMap, named: str | None) -> tuple[PaperRecord | None, str]:
    """The paper record to plan with, or why there is none: a card may name one that only its box has."""
    if named:
        return load_record(named), ""
    if not map.record:
        return None, ""
    try:
        return load_record(map.record, card.parent), ""
    except CommandError as fault:
        return None, str(fault)


@app.command()
def strip(
    base: Annotated[str, typer.Option(metavar="TIME", help='The middle of the strip, like "11.3 s".')],
    step: Annotated[
        str, typer.Option(metavar="STEP", help='Between patches: stops, like 1/4, or seconds, like "2 s".')
    ] = "1/3",
    patches: Annotated[
        int,
        typer.Option(min=PATCHES_MIN, max=PATCHES_MAX, metavar="N", help=f"{PATCHES_MIN} to {PATCHES_MAX}."),
    ] = 5,
    kind: Annotated[
        Literal["cover", "fresh"],
        typer.Option(metavar="cover|fresh", help="Cover patch by patch, or fresh paper for each."),
    ] = "cover",
    from_start: Annotated[bool, typer.Option("--from-start", help="The base is the first patch.")] = False,
    lag_ms: LagMs = None,
    as_json: AsJson = False,
) -> None:
    """Show the patches of a test strip."""
    made = Strip()
    made.kind, made.patches, made.centred = kind, patches, not from_start
    made.origin_ms = _option("--base", parse_seconds, base)
    made.step_stops120, made.step_ms = _option("--step", parse_step, step)
    if not BASE_MIN_MS <= made.origin_ms <= BASE_MAX_MS:
        said = f"{seconds_exact(BASE_MIN_MS)} to {seconds_exact(BASE_MAX_MS)}"
        raise typer.BadParameter(f'"{base}" is out of range. Write {said}.', param_hint="--base")
    if made.step_ms:
        in_range = STEP_MIN_MS <= made.step_ms <= STEP_MAX_MS
    else:
        in_range = 1 <= made.step_stops120 <= STEP_MAX_STOPS120
    if not in_range:
        said = f"up to 1 stop, or {seconds_exact(STEP_MIN_MS)} to {seconds_exact(STEP_MAX_MS)}"
        raise typer.BadParameter(f'"{step}" is out of range. Write {said}.', param_hint="--step")
    bench = Bench()
    _set_lag(bench, lag_ms)
    map = PrintingMap.new(made.origin_ms, "", 0)
    plain = tables.strip_plain(made, map, made.compile(map, bench), bench.get("lag_ms"))
    if as_json:
        _print_json(plain)
    else:
        _print(tables.strip_table(plain, exact_stops=made.step_ms == 0))


# --- the shelf of a box


@app.command()
def push(card: Annotated[list[Path], typer.Argument(help="Cards: TOML files.")], port: Port = None) -> None:
    """Put cards on the box's shelf.

    A card of the same name is replaced. All cards are read before any is sent. Areas stay here.
    """
    stay = [path for path in card if areas.is_areas(path)]
    if len(stay) == len(card):
        raise CommandError(f"{stay[0]} is not pushed: areas stay on this computer. Give the card.")
    _push([cards.load(path) for path in card if path not in stay], "card", port)
    for path in stay:
        print(printable(f"{path} stays here: areas are not pushed."), file=sys.stderr)


_WHERE: dict[Kind, str] = {"card": "on the shelf", "paper": "in the box", "sequence": "in the box"}
_CALLED: dict[Kind, str] = {"card": "cards", "paper": "paper records", "sequence": "tray sequences"}
_LISTS: dict[Kind, str] = {"card": "shelf", "paper": "paper list", "sequence": "trays list"}


def _push(loaded: list[dict[str, Any]], kind: Kind, port: str | None) -> None:
    names = [own["name"] for own in loaded]
    for name in names:
        if names.count(name) > 1:
            raise CommandError(
                f"Two of these {_CALLED[kind]} are called {name}: one would replace the other. Rename one."
            )
    with BoxClient(the_box(port)) as box:
        before = {own["name"] for own in box.cards(kind)}
        for own in loaded:
            _push_one(box, own, kind)
            done = "replaces the one that was" if own["name"] in before else "is"
            _print(f"{own['name']} {done} {_WHERE[kind]}.")


def _push_one(box: BoxClient, card: dict[str, Any], kind: Kind) -> None:
    stderr = Console(stderr=True)
    with Progress(console=stderr, transient=True, disable=not stderr.is_terminal) as bar:
        task = bar.add_task(card["name"])
        box.push(card, lambda done, of: bar.update(task, completed=done, total=of), kind)


@app.command()
def pull(
    name: Name,
    port: Port = None,
    out: Out = Path("-"),
    force: Force = False,
) -> None:
    """Copy a card from the box's shelf."""
    _pull(name, "card", cards.dump, port, out, force)


def _pull(
    name: str, kind: Kind, dump: Callable[[dict[str, Any]], str], port: str | None, out: Path, force: bool
) -> None:
    if areas.is_areas(out):
        raise CommandError(f"{out} is not written: that is where the areas of a card are. Give another name.")
    with BoxClient(the_box(port)) as box:
        text = dump(box.pull(name, kind=kind))
    if out == Path("-"):
        sys.stdout.write(text)
        return
    write_file(out, text.encode(), force)


@app.command()
def shelf(port: Port = None, as_json: AsJson = False) -> None:
    """List the cards on the box's shelf."""
    _list("card", tables.shelf_table, port, as_json)


def _list(kind: Kind, table: Callable[[list[dict[str, Any]]], Any], port: str | None, as_json: bool) -> None:
    with BoxClient(the_box(port)) as box:
        found = box.cards(kind)
    if as_json:
        _print_json(found)
    else:
        _print(table(found))


@app.command()
def drop(name: Annotated[list[str], typer.Argument(help="Names on the shelf.")], port: Port = None) -> None:
    """Take cards off the box's shelf, for good.

    If one of them is not there, none is taken.
    """
    _remove(name, "card", port)


def _remove(names: list[str], kind: Kind, port: str | None) -> None:
    with BoxClient(the_box(port)) as box:
        known = [own["name"] for own in box.cards(kind)]
        for one in names:
            if one not in known:
                near = difflib.get_close_matches(one, known, n=1)
                todo = f"Did you mean {near[0]}?" if near else f"See lampblack {_LISTS[kind]}."
                raise CommandError(f"{one} is not {_WHERE[kind]}. {todo}")
        for one in names:
            box.remove(one, kind)
            _print(f"{one} is off the shelf." if kind == "card" else f"{one} is no longer in the box.")


# --- paper records of a box


@paper_app.command("push")
def paper_push(
    record: Annotated[list[Path], typer.Argument(help="Paper records: TOML files.")], port: Port = None
) -> None:
    """Put paper records into the box.

    One of the same name is replaced. All are read before any is sent.
    """
    _push([papers.PAPERS.load(path) for path in record], "paper", port)


@paper_app.command("pull")
def paper_pull(
    name: Annotated[str, typer.Argument(help="A paper record's name in the box.")],
    port: Port = None,
    out: Out = Path("-"),
    force: Force = False,
) -> None:
    """Copy a paper record from the box."""
    _pull(name, "paper", papers.dump, port, out, force)


@paper_app.command("list")
def paper_list(port: Port = None, as_json: AsJson = False) -> None:
    """List the paper records in the box."""
    _list("paper", tables.papers_table, port, as_json)


@paper_app.command("remove")
def paper_remove(
    name: Annotated[list[str], typer.Argument(help="Names in the box.")], port: Port = None
) -> None:
    """Remove paper records from the box, for good.

    If one of them is not there, none is removed.
    """
    _remove(name, "paper", port)


# --- tray sequences of a box


@trays_app.command("push")
def trays_push(
    sequence: Annotated[list[Path], typer.Argument(help="Tray sequences: TOML files.")], port: Port = None
) -> None:
    """Put tray sequences into the box.

    One of the same name is replaced. All are read before any is sent.
    """
    _push([sequences.SEQUENCES.load(path) for path in sequence], "sequence", port)


@trays_app.command("pull")
def trays_pull(
    name: Annotated[str, typer.Argument(help="A tray sequence's name in the box.")],
    port: Port = None,
    out: Out = Path("-"),
    force: Force = False,
) -> None:
    """Copy a tray sequence from the box."""
    _pull(name, "sequence", sequences.dump, port, out, force)


@trays_app.command("list")
def trays_list(port: Port = None, as_json: AsJson = False) -> None:
    """List the tray sequences in the box that came from a PC."""
    _list("sequence", tables.shelf_table, port, as_json)


@trays_app.command("remove")
def trays_remove(
    name: Annotated[list[str], typer.Argument(help="Names in the box.")], port: Port = None
) -> None:
    """Remove tray sequences from the box, for good.

    If one of them is not there, none is removed.
    """
    _remove(name, "sequence", port)


# --- bench, state, ports


@bench_app.command("get")
def bench_get(
    port: Port = None,
    key: Annotated[str | None, typer.Argument(help="One setting; all of them if left out.")] = None,
    as_json: AsJson = False,
) -> None:
    """Show the bench settings of a box."""
    if key is not None:
        setting(key)
    with BoxClient(the_box(port)) as box:
        values = box.bench_get()
    if key is not None and key not in values:
        raise CommandError(f"This box has no {key}: its version is not this tool's. See lampblack bench get.")
    if as_json:
        _print_json(values if key is None else values[key])
    elif key is None:
        _print(tables.bench_table(values))
    else:
        _print(setting_text(key, values[key]))


@bench_app.command("set")
def bench_set(
    values: Annotated[list[str], typer.Argument(metavar="KEY=VALUE...", help='Like lag_ms="150 ms".')],
    port: Port = None,
) -> None:
    """Change bench settings of a box: all that are given, or none."""
    wanted = {}
    for pair in values:
        key, equals, text = pair.partition("=")
        if not equals:
            raise typer.BadParameter(f'"{pair}" has no value. Write {pair}=VALUE.', param_hint="KEY=VALUE")
        wanted[key] = parse_setting(key, text)
    with BoxClient(the_box(port)) as box:
        kept = box.bench_set(wanted)
    _print(tables.bench_table({key: kept[key] for key in wanted}))


@app.command()
def state(port: Port = None, as_json: AsJson = False) -> None:
    """Show what the box is doing."""
    with BoxClient(the_box(port)) as box:
        now = box.state()
    if as_json:
        _print_json(now)
    else:
        _print(tables.state_table(now))


@app.command()
def ports(
    as_json: Annotated[bool, typer.Option("--json", help="Plain data for programs.")] = False,
) -> None:
    """List the serial ports of this computer, and the boxes on them.

    Only ports of Raspberry Pi boards are opened.
    """
    found = look()
    if as_json:
        _print_json([tables.port_plain(seen.port.url, seen.port.about, seen.box) for seen in found])
    elif found:
        _print(tables.ports_table([(seen.port.url, seen.port.about, seen.box) for seen in found]))
    else:
        _print("No serial port is here. Plug the box in; a simulator is at its socket:// address.")


# --- the firmware of a board

app.command()(install)
app.command()(image)
app.command()(doctor)
app.command()(accept)

# --- what is kept of a print

app.command()(record)

# --- what a backup holds

app.command()(backup)
app.command()(restore)

# --- the box with nothing attached

app.command()(sim)
app.command()(demo)
app.command()(diagram)


# --- the command itself


@cache
def _command() -> Any:
    """All of the commands as one, put together once: that takes longer than to run most of them."""
    return typer.main.get_command(app)


def run(arguments: list[str]) -> int:
    """Do what `arguments` say and return the exit code. Every error has become lines on stderr."""
    try:
        code = _command()(arguments, prog_name="lampblack", standalone_mode=False)
        sys.stdout.flush()
        return code or 0
    except typer.TyperException as fault:
        return _fail(printable(told(fault)), 2)
    except FileError as fault:
        return _fail("\n".join(map(printable, fault.lines)), 1)
    except (CommandError, BoxError, Refusal) as fault:
        return _fail(printable(fault), 1)
    except BrokenPipeError:
        # Whoever read our output has seen enough; nothing is left to say, at exit either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except OSError as fault:
        return _fail(printable(in_words(fault)), 1)
    except (KeyboardInterrupt, typer.Abort):
        return 130


def main() -> None:
    """The entry point of the `lampblack` script."""
    for stream in (sys.stdout, sys.stderr):
        # A card goes through a pipe as UTF-8, whatever the system's own encoding.
        stream.reconfigure(encoding="utf-8", errors="replace")  # type: ignore[union-attr]
    sys.exit(run(sys.argv[1:]))


def _fail(text: str, code: int) -> int:
    print(text, file=sys.stderr)
    return code


def _option(name: str, parse: Callable[[str], T], text: str) -> T:
    try:
        return parse(text)
    except UnitError as fault:
        raise typer.BadParameter(str(fault), param_hint=name) from None


def _set_lag(bench: Bench, lag_ms: int | None) -> None:
    if lag_ms is not None:
        bench.set("lag_ms", lag_ms)


def _bench_line(bench: Bench, port: str | None) -> str:
    whose = f"Bench of {port}" if port else "Default bench"
    return f"{whose}: lag {bench.get('lag_ms')} ms, lead-in {seconds_exact(bench.get('lead_ms'))}."


def _count(count: int, what: str) -> str:
    return f"{count} {what}" if count == 1 else f"{count} {what}s"


def _print(what: Any) -> None:
    tables.console().print(what)


def _print_json(value: Any) -> None:
    print(json_text(value))
