"""How many inputs the commonest changes cost at the panel: `make presses`.

They are counted on the real core, by search: breadth first over what the box can be in, from "Print 1 is
done" to the goal. A goal is said in plain data of map, strip, bench, shelf, lamp and run. Nothing here may
know a row, a label or a screen, so that the count is that of the panel there is, and no path is left out
because nobody thought of it.

An input is a press of a key or of the dial, or one detent. Each comes 200 ms after the one before, and later
where a settling time is not over: waiting costs nothing. So it costs nothing either to let a light that is on
run to its end. Nothing is sent over the wire.

Up to its budget a task is searched whole. One that misses it is searched on for the figure, but then only
where all that was taken lies on the way from start to goal (see `on_the_way`). Every count is that of a real
path, so it is never too low; one that is over its budget may be too high ("over 29": none found of up to 29).

The exit code is 1 if a budget was missed.
"""

import marshal
import sys
from collections.abc import Callable, Iterator
from itertools import groupby
from types import BuiltinFunctionType, FunctionType
from typing import Any, NamedTuple

from rich.console import Console
from rich.table import Table

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from timing_core.canonical import encode
from timing_core.light.plan import BASE, COVER, FIT, FRESH
from timing_core.light.printing_map import PrintingMap
from timing_core.light.strip import Strip
from timing_core.machine.machine import NO_ROW
from timing_core.records.store import Store

PAUSE_MS = 200
"""Between two inputs. No dial that is turned so slowly takes larger steps."""
FURTHER = 8
"""How much further than the first edition a search goes before it gives up."""

INPUTS = (("press", 0), ("expose", 0), ("dial", 1), ("dial", -1), ("back", 0), ("lamp", 0))
WAIT = ("wait", 0)
"""The light runs to its end: no input."""
WORDS = {
    ("press", 0): "press",
    ("expose", 0): "EXPOSE",
    ("dial", 1): "turn right",
    ("dial", -1): "turn left",
    ("back", 0): "BACK",
    ("lamp", 0): "LAMP",
    WAIT: "wait",
}
WIDTH = 200
"""Columns of the table where it goes to a file: it is not folded for a screen that is not there."""

Step = tuple[str, int]
Path = tuple[Step, ...]


# --- goals, as plain data


class _Any:
    """Stands for whatever the box proposes."""

    def __eq__(self, other: object) -> bool:
        return True

    __hash__ = None  # type: ignore[assignment]


ANY: Any = _Any()


class Goal(NamedTuple):
    """`lit` has the kinds of stage of which the first is to be lit; without any it is to be dark, no run and
    no value open. `bench` is as before, always."""

    map: dict
    strip: dict
    shelf: list
    lit: tuple = ()

    def reached(self, session: Session, bench: dict) -> bool:
        box = session.box
        if self.lit:
            if not first_is_lit(session, self.lit):
                return False
        elif session.lamp.lit or box.panel.is_open or box.run.is_kept:
            return False
        work = box.work
        return (
            work.map.to_dict() == self.map
            and work.strip.to_dict() == self.strip
            and work.bench.to_dict() == bench
            and cards(session) == self.shelf
        )


def first_is_lit(session: Session, kinds: tuple) -> bool:
    """The lamp is lit for the first stage of these kinds, in a run of the map at work. All light that comes
    before it in the run was given whole."""
    box, run = session.box, session.box.run
    if not session.lamp.lit or box.state != "exposing" or run.stage.kind not in kinds:
        return False
    whole = [done[0] for done in run.done if done[1] >= run.stages[done[0]].light_ms]
    before = [at for at in range(run.at) if run.stages[at].kind != FIT]
    return (
        (run.kind == "strip") == (BASE not in kinds)
        and whole == before
        and not any(run.stages[at].kind in kinds for at in before)
        and box.work.map.text() in run.text
    )


def cards(session: Session) -> list[dict]:
    shelf = session.box.shelf
    return [shelf.card(name) for name in shelf.names()]


# --- the tasks


class Way(NamedTuple):
    """A print to begin from, and the goals of which one is to be reached."""

    start: dict
    goals: list[Goal]


class Task(NamedTuple):
    """`first` is what the first edition of the panel took. Of several ways the worst counts."""

    what: str
    first: str
    budget: int
    ways: list[Way]

    @property
    def most(self) -> int:
        """As many inputs as are tried."""
        return max(self.budget, *map(int, self.first.split(" to "))) + FURTHER


def card(*passes: dict, **more: Any) -> dict:
    made = {
        "name": "harbour",
        "title": "",
        "tied": len(passes) > 1,
        "dry_down": False,
        "dry_down_pm": 80,
        "facts": {},
        "passes": list(passes),
    }
    return {**made, **more}


def one_pass(*marks: dict, filter: str = "2", base_ms: Any = 16000) -> dict:
    return {"filter": filter, "base_ms": base_ms, "marks": list(marks)}


def mark(area: str, stops120: int) -> dict:
    return {"area": area, "stops120": stops120}


SINGLE = card(one_pass())
PAIR = card(
    one_pass(mark("sky", 40), filter="00", base_ms=9000), one_pass(mark("door", 60), filter="5", base_ms=7000)
)
MARKED = card(one_pass(mark("face", -20), mark("sky", 40), mark("door", 60)))
STRIP = Strip().to_dict()


def a_strip(**fixed: Any) -> dict:
    """A strip round the map, with the rest of it as the box proposes it."""
    return {**dict.fromkeys(STRIP, ANY), "origin_ms": None, "mark_index": None, **fixed}


def changed(start: dict, change: Callable[[PrintingMap], object]) -> dict:
    map = PrintingMap.from_dict(start)
    change(map)
    return map.to_dict()


def tasks() -> list[Task]:
    def printed(start: dict, then: dict) -> list[Way]:
        return [Way(start, [Goal(then, STRIP, [], (BASE,))])]

    def set_to(start: dict, *thens: dict) -> list[Way]:
        return [Way(start, [Goal(then, STRIP, []) for then in thens])]

    def strip(start: dict, **fixed: Any) -> list[Way]:
        return [Way(start, [Goal(start, a_strip(**fixed), [], (COVER, FRESH))])]

    third_more = [changed(start, lambda map: map.step_base(0, 40, 1)) for start in (SINGLE, PAIR)]
    sixth_more = changed(PAIR, lambda map: map.set_base_alone(1, map.base_ms(1), 20))
    burnt = {**SINGLE, "passes": [one_pass(mark(ANY, 60))]}
    dried = {**MARKED, "dry_down": True}
    kept = {**MARKED, "name": ANY}
    soft, hard = one_pass(filter="00", base_ms=ANY), one_pass(filter="5", base_ms=ANY)
    pairs = [card(*passes, name=ANY) for passes in ((soft, hard), (hard, soft))]
    return [
        Task("base +1/3, lamp on", "7", 5, printed(SINGLE, third_more[0])),
        Task("both tied bases +1/3, lamp on", "7", 6, printed(PAIR, third_more[1])),
        Task("one pass of a tied pair alone +1/6", "31", 8, set_to(PAIR, sixth_more)),
        Task("strip round the map, first patch lit", "5 to 6", 5, strip(SINGLE, pass_index=0)),
        Task(
            "strip for pass 2 over pass 1, first patch lit",
            "18",
            10,
            strip(PAIR, pass_index=1, over_earlier=True),
        ),
        Task("add a burn of +1/2 and give the print, lamp on", "14", 8, printed(SINGLE, burnt)),
        Task("dry-down on or off", "12 to 16", 3, set_to(MARKED, dried) + set_to(dried, MARKED)),
        Task("keep on the shelf", "15", 5, [Way(MARKED, [Goal(kept, STRIP, [kept])])]),
        Task("new print to a tied split-grade pair", "21", 12, set_to(SINGLE, *pairs)),
        Task("repeat, lamp on", "2", 2, printed(SINGLE, SINGLE)),
    ]


# --- a box, and going back to what it was


def after_print(start: dict) -> Session:
    """A box as it comes, that has just given its first print, of this card."""
    disk, platform = MemoryDisk(), desk_platform()
    Store(disk, platform.crc32).put("work", encode(start))
    session = Session(disk, platform)
    session.power_up()
    pause(session)
    while session.box.ledger.last() == 0:
        give(session, ("expose", 0))
        if session.lamp.lit:
            give(session, WAIT)
    assert (session.box.work.map.to_dict(), session.box.work.prints) == (start, 1)
    return session


def give(session: Session, step: Step) -> None:
    """An input, or a wait, and the pause after it."""
    if step == WAIT:
        session.advance(session.lamp.ends_ms)
    else:
        session.input(*step)
    pause(session)


def pause(session: Session) -> None:
    session.advance(session.now_ms + PAUSE_MS)
    while session.box.lamp.is_settling():
        session.advance(session.now_ms + PAUSE_MS)


_ATOMS = {int, str, bytes, bool, type(None), FunctionType, BuiltinFunctionType, type}


def contents(session: Session, known: list) -> list:
    """What everything that may change in a session has in it, as pairs of a container and a copy of it.
    Copies that are still true are taken from `known`."""
    copies = {id(pair[0]): pair for pair in known}
    pairs = []
    todo: list = [vars(session)]
    seen = {id(vars(session.screen)), id(session.platform)}
    while todo:
        held = todo.pop()
        if id(held) in seen:
            continue
        seen.add(id(held))
        kind = type(held)
        if kind is not tuple and kind is not dict and kind is not list and kind is not bytearray:
            held = vars(held)
            kind = dict
        if kind is not tuple:
            pair = copies.get(id(held))
            pairs.append(pair if pair and pair[1] == held else (held, held.copy()))
        if kind is not bytearray:
            todo += [one for one in (held.values() if kind is dict else held) if type(one) not in _ATOMS]
    return pairs


def put_back(pairs: list) -> None:
    for held, copy in pairs:
        if type(held) is dict:
            held.clear()
            held.update(copy)
        else:
            held[:] = copy


# --- telling one state from another


def plain(value: Any, seen: dict) -> Any:
    """What an object is in, as plain data. Those `seen` already are told by their number. Moments are left
    out: every pause is longer than what depends on them."""
    kind = type(value)
    if callable(value):
        return value.__name__
    if kind in _ATOMS:
        return value
    if kind is list or kind is tuple:
        return tuple([plain(one, seen) for one in value])
    if kind is dict:
        return tuple([(name, plain(one, seen)) for name, one in value.items()])
    if kind is PrintingMap:
        return value.text()
    if id(value) in seen:
        return ("seen", seen[id(value)])
    seen[id(value)] = len(seen)
    state = [
        (name, plain(one, seen))
        for name, one in vars(value).items()
        if not (name[0] == "_" and name.endswith("_ms"))
    ]
    return (kind.__name__, *state)


def key(session: Session) -> bytes:
    """All that matters for what an input will do, but what Undo remembers: a path is overlooked if it makes a
    change in order to take it back."""
    box = session.box
    panel, work, run, lamp = box.panel, box.work, box.run, box.lamp
    apart = [*vars(box).values(), panel.kept, panel.undo]
    state = (
        box.state,
        box.machine.before if session.lamp.lit else "",
        box.message != "",
        plain(vars(panel), {id(part): number for number, part in enumerate(apart)}),
        work.map.text(),
        work.pass_index,
        plain(work.strip, {}),
        plain(work.bench, {}),
        tuple(work.strip_gave),
        (run.text, run.kind, run.at, run.given_ms > 0, len(run.done)),
        (lamp.paper_out, lamp.paper_at_risk()),
        tuple([(name, box.shelf.text(name)) for name in box.shelf.names()]),
    )
    return marshal.dumps(state, 0)


# --- the search


class Search:
    """One way of a task, searched."""

    def __init__(self, way: Way) -> None:
        self.session = after_print(way.start)
        self.way = way
        self.bench = self.session.box.bench.to_dict()

    def fewest(self, budget: int, most: int) -> Path | None:
        """The path with the fewest inputs; None if there is none of up to `most`."""
        if self._is_reached():
            return ()
        seen = {key(self.session)}
        ends: list[tuple[Path, list]] = [((), contents(self.session, []))]
        for inputs in range(1, most + 1):
            further = []
            for path, pairs in ends:
                for steps in self._from(pairs):
                    state = key(self.session)
                    if state in seen:
                        continue
                    seen.add(state)
                    if self._is_reached():
                        return (*path, *steps)
                    if inputs < budget or self.on_the_way():
                        further.append(((*path, *steps), contents(self.session, pairs)))
            ends = further
        return None

    def _is_reached(self) -> bool:
        return any(goal.reached(self.session, self.bench) for goal in self.way.goals)

    def _from(self, pairs: list) -> Iterator[Path]:
        """Make each input, and where it leaves a light on, let that run to its end too."""
        session = self.session
        put_back(pairs)
        machine = session.box.machine
        for step in [step for step in INPUTS if machine.row(step[0]) != NO_ROW]:
            put_back(pairs)
            give(session, step)
            yield (step,)
            if session.lamp.lit:
                give(session, WAIT)
                yield (step, WAIT)

    def on_the_way(self) -> bool:
        """What was taken is as at the start or nearer to a goal, but for what is yes or no in the map, and so
        is what is proposed, but for its words. The lamp is not used to view, no run is begun without need,
        and none is left."""
        box = self.session.box
        panel, lamp, running = box.panel, box.lamp, box.run.is_kept
        if lamp.paper_out != lamp.paper_at_risk() or running != box.in_run:
            return False
        if box.bench.to_dict() != self.bench:
            return False
        taken, proposed = panel.opened_map.to_dict(), box.work.map.to_dict()
        strip, shelf = panel.opened_strip.to_dict(), cards(self.session)
        start = self.way.start
        return any(
            bool(goal.lit) >= running
            and lies_between(taken, start, goal.map, (bool,))
            and lies_between(proposed, start, goal.map, (bool, str))
            and lies_between(strip, STRIP, goal.strip)
            and lies_between(shelf, [], goal.shelf)
            for goal in self.way.goals
        )


def lies_between(now: Any, start: Any, goal: Any, free: tuple = ()) -> bool:
    """True if plain data is as at the start, or as at the goal, or a number between the two. What is of a
    `free` type may be anything; what is new is taken for a copy of the last of its kind."""
    if isinstance(now, dict) and isinstance(start, dict) and isinstance(goal, dict):
        return all(lies_between(now[name], start.get(name), goal.get(name), free) for name in now)
    if isinstance(now, list) and isinstance(start, list) and isinstance(goal, list):
        longest = max(len(start), len(goal))
        start, goal = start + (start[-1:] or [ANY]) * (longest - len(start)), goal + start[len(goal) :]
        return len(now) <= longest and all(
            lies_between(*each, free) for each in zip(now, start, goal, strict=False)
        )
    if type(now) in free:
        return True
    if type(now) is type(start) is type(goal) is int:
        return min(start, goal) <= now <= max(start, goal)
    return now == start or (goal is not ANY and now == goal)


# --- the table


def in_words(path: Path) -> str:
    words = []
    for step, same in groupby(path):
        times = len(list(same))
        words.append(WORDS[step] + (f" x{times}" if times > 1 else ""))
    return ", ".join(words)


def count(path: Path) -> int:
    return sum(step != WAIT for step in path)


class Count(NamedTuple):
    """What a task takes: `path` is None if none was found."""

    task: Task
    path: Path | None

    @property
    def shown(self) -> str:
        return f"over {self.task.most}" if self.path is None else str(count(self.path))

    @property
    def kept(self) -> bool:
        return self.path is not None and count(self.path) <= self.task.budget


def counted(task: Task) -> Count:
    """The task by its worst way."""
    paths = [Search(way).fewest(task.budget, task.most) for way in task.ways]
    return Count(
        task, None if None in paths else max((path for path in paths if path is not None), key=count)
    )


def table(counts: list[Count]) -> Table:
    shown = Table(
        title="Inputs: presses and detents",
        title_justify="left",
        caption_justify="left",
        box=None,
        pad_edge=False,
    )
    shown.add_column("task")
    shown.add_column("first edition", justify="right")
    shown.add_column("fewest now", justify="right")
    shown.add_column("budget", justify="right")
    shown.add_column("")
    shown.add_column("path")
    for one in counts:
        kept = "[green]kept[/]" if one.kept else "[bold red]MISSED[/]"
        path = "" if one.path is None else in_words(one.path)
        shown.add_row(one.task.what, one.task.first, one.shown, str(one.task.budget), kept, path)
    return shown


def main(wanted: list[Task] | None = None) -> int:
    console = Console(width=None if sys.stdout.isatty() else WIDTH)
    counts = []
    with Console(stderr=True).status("Counting"):
        for task in tasks() if wanted is None else wanted:
            counts.append(counted(task))
    console.print(table(counts))
    missed = [f"{one.task.what}: {one.shown}, not {one.task.budget}" for one in counts if not one.kept]
    if missed:
        print("Over budget: " + "; ".join(missed), file=sys.stderr)
    return int(bool(missed))


if __name__ == "__main__":
    sys.exit(main())
