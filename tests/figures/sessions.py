"""How fast virtual time goes: a print of 30 stages, pressed through by a printer who takes 5 to 10 s
between stages.

The rivals are written for SimPy, the process-based simulator of PyPI `simpy`. One is the whole session
in its style: a process each for printer, box, lamp, second ticks and cues. It gives the same light and the
same sounds at the same ms, and that is all it does: it has no states, refuses nothing, and keeps neither
journal nor ledger. The other uses SimPy as the clock round the very same box, so that it does all the work.
"""

from typing import NamedTuple

import simpy

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import SIMULATOR, Session, Watcher
from host_sim.darkroom.ideal_hands import IdealHands
from host_sim.optics.lamp_house import LampHouse
from tests.figures.comparison import Figure, of, side_by_side
from tests.figures.prints import thirty_stages
from timing_core.box import Box
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM, Bench
from timing_core.light.plan import FIT, Stage, compile_print, lamp_ms
from timing_core.machine.strike import CUE_LENGTH_MS, PIP_LENGTH_MS
from timing_core.records.store import Store
from timing_core.ticks import MASK, since

BUDGET_TIMES_REAL = 100_000
LAG_MS = 85


class Score(NamedTuple):
    """What the printer will do, known beforehand: the same for every player."""

    stages: list[Stage]
    presses_ms: list[int]
    ends_ms: int


class Log(Watcher):
    """Lamp edges and sounds with their ms: what two players are compared by."""

    def __init__(self) -> None:
        self.edges: list[tuple[float, bool]] = []
        self.sounds: list[tuple[float, str]] = []

    def lamp(self, now_ms: int, on: bool) -> None:
        self.edges.append((now_ms, on))

    def output(self, now_ms: int, kind: str, value) -> None:
        if kind == "sound":
            self.sounds.append((now_ms, value))


def score() -> Score:
    bench = Bench()
    bench.set("lag_ms", LAG_MS)
    stages = compile_print(thirty_stages(), bench)
    presses_ms = []
    at_ms = 3000
    for number, stage in enumerate(stages):
        presses_ms.append(at_ms)
        if stage.kind != FIT:
            at_ms += lamp_ms(stage.light_ms, LAG_MS)
        at_ms += 5000 + number * 1733 % 5000
    return Score(stages, presses_ms, at_ms)


def prepared_disk() -> MemoryDisk:
    """A box was left with the print at work."""
    platform = desk_platform()
    disk = MemoryDisk()
    store = Store(disk, platform.crc32)
    store.put("work", encode(thirty_stages().to_dict()))
    store.put("bench", encode({"lag_ms": LAG_MS, "form": BENCH_FORM}))
    return disk


# --- the session as it is


def powered_up(disk: MemoryDisk) -> tuple[Session, Log]:
    session = Session(disk, desk_platform())
    log = Log()
    session.watchers.append(log)
    session.power_up()
    return session, log


def play(session: Session, played: Score) -> None:
    for at_ms in played.presses_ms:
        session.advance(at_ms)
        session.input("expose")
    session.advance(played.ends_ms)


def under_a_lamp(disk: MemoryDisk) -> tuple[Session, IdealHands]:
    session, _ = powered_up(disk)
    hands = IdealHands(session, LampHouse(session))
    session.watchers.append(hands)
    return session, hands


# --- its rivals


class SimpySession(Log):
    """The session as SimPy's users would write it."""

    def __init__(self, played: Score) -> None:
        super().__init__()
        self.played = played
        self.env = simpy.Environment()
        self.expose = simpy.Store(self.env)
        self.env.process(self.printer())
        self.env.process(self.box())

    def printer(self):
        for at_ms in self.played.presses_ms:
            yield self.env.timeout(at_ms - self.env.now)
            yield self.expose.put("expose")

    def box(self):
        env = self.env
        stages = self.played.stages
        for number, stage in enumerate(stages):
            yield self.expose.get()
            if stage.kind == FIT:
                continue
            lamp = env.process(self.lit(lamp_ms(stage.light_ms, LAG_MS)))
            self.sounds.append((env.now, "start"))
            env.process(self.ticks(stage))
            if stage.cues:
                env.process(self.cues(stage))
            yield lamp
            fit_next = number + 1 < len(stages) and stages[number + 1].kind == FIT
            self.sounds.append((env.now, "fit" if fit_next else "end"))

    def lit(self, ms: int):
        self.edges.append((self.env.now, True))
        yield self.env.timeout(ms)
        self.edges.append((self.env.now, False))

    def ticks(self, stage: Stage):
        """A tick each second of light, but where it would cut a cue off."""
        lengths_ms = {"pip": PIP_LENGTH_MS}
        cues = [(ms, ms + lengths_ms.get(sound, CUE_LENGTH_MS)) for ms, sound in stage.cues]
        yield self.env.timeout(LAG_MS)
        for so_far_ms in range(1000, stage.light_ms, 1000):
            yield self.env.timeout(1000)
            if not any(begins_ms <= so_far_ms < over_ms for begins_ms, over_ms in cues):
                self.sounds.append((self.env.now, "tick"))

    def cues(self, stage: Stage):
        so_far_ms = -LAG_MS
        for ms, sound in stage.cues:
            yield self.env.timeout(ms - so_far_ms)
            so_far_ms = ms
            self.sounds.append((self.env.now, sound))

    def run(self) -> None:
        self.env.run(self.played.ends_ms)


class SimpyClock(Log):
    """SimPy in place of `host_sim.box.session`, round the same box."""

    def __init__(self, disk: MemoryDisk, played: Score) -> None:
        super().__init__()
        platform = desk_platform()
        self.played = played
        self.env = simpy.Environment()
        self.box = Box(Store(disk, platform.crc32), platform, 0)
        self.box.identity = SIMULATOR
        self.give("power_up")
        self.env.process(self.printer())

    def give(self, event: str, value: int = 0) -> None:
        now_ms = int(self.env.now)  # a whole number already: every wait is of whole ms
        out = self.box.handle(event, now_ms & MASK, value)
        for index in range(out.count):
            if out.kind[index] == "light":
                self.env.process(self.lit(out.value[index]))
                self.env.process(self.ticks())
            elif out.kind[index] == "sound":
                self.sounds.append((self.env.now, out.value[index]))

    def printer(self):
        for at_ms in self.played.presses_ms:
            yield self.env.timeout(at_ms - self.env.now)
            self.give("expose")

    def lit(self, ms: int):
        self.edges.append((self.env.now, True))
        yield self.env.timeout(ms)
        self.edges.append((self.env.now, False))
        self.give("lamp_end", ms)

    def ticks(self):
        while (due_ms := self.box.next_deadline()) is not None:
            now_ms = int(self.env.now)
            yield self.env.timeout(since(due_ms, now_ms & MASK))
            if self.box.next_deadline() == due_ms:
                self.give("tick")

    def run(self) -> None:
        self.env.run(self.played.ends_ms)


def figures(repeats: int) -> list[Figure]:
    """Session and rivals must agree on every edge and sound before any is timed."""
    played = score()
    session, log = powered_up(prepared_disk())
    play(session, played)
    for rival in (SimpySession(played), SimpyClock(prepared_disk(), played)):
        rival.run()
        assert (rival.edges, rival.sounds) == (log.edges, log.sounds), "the rival did other work"
    session_s = played.ends_ms / 1000
    lit_s = sum(stage.light_ms for stage in played.stages) / 1000

    def report(made: tuple[Session, IdealHands]) -> None:
        play(made[0], played)
        made[1].report()

    taken = side_by_side(
        repeats,
        (lambda: powered_up(prepared_disk()), lambda made: play(made[0], played)),
        (lambda: SimpySession(played), SimpySession.run),
        (lambda: SimpyClock(prepared_disk(), played), SimpyClock.run),
        (prepared_disk, lambda disk: play(powered_up(disk)[0], played)),
        (lambda: under_a_lamp(prepared_disk()), report),
    )
    ours, style, clock, with_power_up, with_light = (spread.each(lambda s: session_s / s) for spread in taken)
    unit = "x real time"
    return [
        of(
            f"Session, no panel: {len(played.stages)} stages, {session_s:.0f} s, {lit_s:.0f} s lit",
            ours,
            unit,
            rival="SimPy's style: light and sounds only",
            rival_value=style.median,
            budget=BUDGET_TIMES_REAL,
        ),
        of("  the same", ours, unit, rival="SimPy as clock round the same box", rival_value=clock.median),
        of("  with power-up", with_power_up, unit),
        of("  with lamp, relay and light on every area", with_light, unit),
    ]
