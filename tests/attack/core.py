"""The core under every input at any time, a lamp, a circuit and a light cell that fail or lie, a full flash,
and cuts, two in a row too.

What must live here: the walk, and the witness that knows nothing of how the box works: it sees the lamp's
pin, the flash's writes and what the box says. It judges by the laws of the design:

- light comes by a press alone (or by the delay or the strikes that a press began), never longer than the
  longest there is, never past its end, never in the settling time, never from the wire or a reset;
- where read-backs are fitted, none is begun while the output is on unasked; where a second contact is, none
  but through it;
- time goes on: it never goes back, and no moment asks for one tick after another;
- nothing is written while the lamp is lit;
- after a cut the map, the bench and what is on the shelf are as they were, or as the write that was cut would
  have them;
- what a record of the ledger says was given is what reached the paper: more may have been given only where it
  says so, and never less than it says.
"""

from __future__ import annotations

import random
from collections import Counter
from typing import Any

from host_sim.box.platform import desk_platform
from host_sim.box.session import Session, Watcher
from tests.box_model import (
    ABOUT_TO_BE_LIT,
    GuardedDisk,
    PowerCut,
    a_card,
    a_pass,
    card_lines,
    load,
    new_session,
    to_screen,
    wire_line,
)
from tests.portable.papers import VC_2019
from timing_core.light.bench import longest_light_ms
from timing_core.machine.light_cell import GONE, OVER

KIT = desk_platform()
STEPS = 120
TICKS_IN_ONE_MOMENT = 100
WRAP = 1 << 30
PRESSES = ("expose", "pedal", "lamp")
WAITS_MS = (1, 20, 40, 79, 80, 250, 699, 700, 1000, 3000, 10_000, 60_000, 400_000)
CARDS = [
    a_card(("face", -60), ("sky", 40), base_ms=9000),
    a_card(("sky", 80, "0"), base_ms=3000, filter="", name="shore"),
    {**a_card(("face", -20), base_ms=6000, name="door", tied=True), "dry_down": True, "dry_down_pm": 85},
    a_card(("sky", 40, "5"), base_ms=2000, name="flash", flash={"light_ms": 700}),
]
CARDS[2]["passes"].append(a_pass(("wall", 20, "2"), base_ms=4000, filter="5"))
PUSHED = [*CARDS, VC_2019, {"name": "rc", "title": "", "trays": [["developer", 45, 40, 12, "exact", 0, 5]]}]
FITTED = (
    {},
    {},
    {"read_backs": True},
    {"second_contact": True},
    {"read_backs": True, "second_contact": True},
)
FAULTS = (
    "is_cut",
    "is_shorted",
    "is_stuck",
    "back_is_cut",
    "is_welded",
    "is_apart",
    "is_quick",
    "is_sense_held",
)
MENDED = {**dict.fromkeys(FAULTS, False), "counts": True}
READINGS = (0, 1, 40, 300, 9000, 60_000, OVER, GONE)
SCREENS = ("print", "strip", "shelf", "bench", "tests", "ledger", "trays", "light_cell")


class LyingLamp(Session):
    """A lamp that goes out when it is to, and reports it late, twice or never; or reports an end too soon."""

    lies = ""

    def _step(self, next_ms: int) -> None:
        if self.lies and next_ms == self.lamp.ends_ms:
            lie, self.lies = self.lies, ""
            self.now_ms = next_ms
            lit_ms = self._lamp_off()
            if lie == "late":
                self.advance(self.now_ms + 100)
            if lie != "missing":
                self.input("lamp_end", lit_ms)
            if lie == "doubled":
                self.input("lamp_end", lit_ms)
            return
        super()._step(next_ms)


class Witness(Watcher):
    """Sees what causes light, when, and for how long."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.cause = self.state = ""
        self.asked_ms = self.on_ms = self.input_ms = 0
        self.off_ms = -WRAP
        self.settle_ms = 0
        self.faults: list[str] = []
        self.ticks = 0
        self.lights = 0
        self.sensed = False
        """Lamp sense is high when an input comes."""

    def input(self, now_ms: int, event: str, value: Any) -> None:
        self.ticks = self.ticks + 1 if event == "tick" and now_ms == self.input_ms else 0
        assert now_ms >= self.input_ms, "the clock went back"
        # Said at once: what goes round in one moment never comes to the end of a step.
        assert self.ticks < TICKS_IN_ONE_MOMENT, f"time stands still in {self.session.box.state}"
        self.input_ms = now_ms
        self.cause, self.state = event, self.session.box.state
        self.sensed = self.session.circuit.is_live or self.session.circuit.is_sense_held

    def output(self, now_ms: int, kind: str, value: Any) -> None:
        if kind != "light":
            return
        self.asked_ms = value
        self.lights += 1
        by_itself = self.cause == "tick" and self.state in ABOUT_TO_BE_LIT
        if self.cause not in PRESSES and not by_itself:
            self.faults.append(f"{self.cause} lit the lamp in {self.state}")
        if not 0 < value <= longest_light_ms():
            self.faults.append(f"a light of {value} ms")
        # One that is set anew holds for the lights to come.
        settle_ms = min(self.settle_ms, self.session.box.bench.get("settle_ms"))
        if now_ms - self.off_ms < settle_ms and self.state != "between":
            self.faults.append(f"lit {now_ms - self.off_ms} ms after a light")
        fitted = self.session.box.fitted.in_force
        if fitted["read_backs"] and self.sensed:
            self.faults.append(f"lit by {self.cause} in {self.state} with the output on unasked")
        if fitted["second_contact"] and not self.session.circuit.is_closed:
            self.faults.append(f"lit by {self.cause} in {self.state} with the second contact open")

    def lamp(self, now_ms: int, on: bool) -> None:
        if on:
            self.on_ms = now_ms
            return
        self.off_ms, self.settle_ms = now_ms, self.session.box.bench.get("settle_ms")
        if now_ms - self.on_ms > self.asked_ms:
            self.faults.append(f"lit for {now_ms - self.on_ms} ms of {self.asked_ms}")


class Walk:
    """A random evening with one box."""

    def __init__(self, chance: random.Random, count: Counter[str]) -> None:
        self.chance, self.count = chance, count
        self.disk = GuardedDisk()
        self.session = new_session(
            self.disk,
            chance.choice((0, 100)),
            WRAP - chance.randrange(1, 900_000),
            chance.choice((0, 0, 700)),
            chance.choice((0, 0, 3, 10)),
            make=LyingLamp,
            fitted=chance.choice(FITTED),
        )
        self.session.read_cell = self.read_cell
        self.witness = Witness(self.session)
        self.session.watchers.append(self.witness)
        self.records: dict[int, dict] = {}
        self.kept_well = True
        self.asked: dict[str, int] = {}
        self.settled = self.taken = self.known()
        if chance.random() < 0.8:
            load(self.session, chance.choice(CARDS))
            self.settled = self.taken = self.known()
        self.session.send = self.hear

    # --- what must be known

    def known(self) -> dict[str, Any]:
        box = self.session.box
        return {
            "map": box.work.map.to_dict(),
            "bench": box.bench.to_dict(),
            "shelf": {
                (at, name): shelf.digest(name)
                for at, shelf in enumerate(box.shelves)
                for name in shelf.names()
            },
        }

    def check(self) -> None:
        box, lamp = self.session.box, self.session.lamp
        assert self.witness.faults == [], self.witness.faults
        assert self.disk.written_while_lit == [], self.disk.written_while_lit
        if lamp.lit:
            assert box.lit, "lit, and the box does not know it"
            assert 0 < lamp.ends_ms - lamp.lit_ms <= longest_light_ms()
        self.kept_well &= not self.disk.full
        # What is being turned is a proposal, under the viewing light too.
        standing = box.machine.before if box.state in ("viewing", "stopping", *ABOUT_TO_BE_LIT) else box.state
        if standing not in ("edit", "away"):
            self.settled = self.taken = self.known()
        elif self.witness.cause == "press":
            self.taken = self.known()  # a value that is taken may lead to the next one, which is open

    def check_ledger(self) -> None:
        """What is kept stays as it is, and says nothing that cannot be."""
        for record in self.session.box.ledger.read():
            if not record["kept"]:
                continue
            was = self.records.setdefault(record["n"], record)
            assert was == record, f"record {record['n']} has changed"
            assert record["whole"] <= (not any(own["at_least"] for own in record["stages"]))
            for own in record["stages"]:
                assert own["given_ms"] >= 0
                assert not record["whole"] or own["given_ms"] >= own["light_ms"] - 2 * own["strikes"]

    # --- what is done

    def step(self) -> None:
        chance = self.chance
        act = chance.choices(self.ACTS, self.WEIGHTS)[0]
        try:
            act(self)
        except PowerCut:
            self.count["cuts at a write"] += 1
            self.begin_again(0, at_write=True)
            return
        self.count["steps"] += 1
        self.count["steps with sheets in the trays"] += not self.session.box.trays.is_empty()
        self.check()

    def press(self) -> None:
        key = self.chance.choice(("expose", "expose", "expose", "pedal", "lamp", "press", "press", "back"))
        if key == "back" and self.chance.random() < 0.3:
            self.session.input("back_down")
            self.session.input("back")
            self.session.input("back_up")
        else:
            self.session.input(key)

    def turn(self) -> None:
        self.session.input("dial", self.chance.choice((-40, -3, -1, -1, 1, 1, 2, 9)))

    def wait(self) -> None:
        session = self.session
        lie = session.lies = self.chance.choice(("", "", "", "late", "doubled", "missing"))
        if self.chance.random() < 0.4 and session.next_ms() >= 0:
            session.advance(session.next_ms() + self.chance.choice((-1, 0, 0, 0, 1)))
        else:
            session.advance(session.now_ms + self.chance.choice(WAITS_MS))
        if lie and not session.lies:
            self.count[f"{lie} reports"] += 1
        session.lies = ""

    def lie(self) -> None:
        """An end that nobody expects, with a wrong time: the lamp fails in mid-light, or was dark before."""
        self.count["false reports"] += 1
        if self.session.lamp.lit:
            self.session._lamp_off()
        self.session.input("lamp_end", self.chance.choice((0, 1, 40, 3000, 10**6)))

    def ask(self) -> None:
        chance = self.chance
        match chance.randrange(5):
            case 0:
                line = wire_line(
                    KIT, chance.choice(("state", "hello", "health", "ledger.read", "card.list")), {}
                )
            case 1:
                lines = [wire_line(KIT, *own) for own in card_lines(chance.choice(PUSHED))]
                if chance.random() < 0.5:
                    for line in lines[:-1]:
                        self.count["lines"] += 1
                        self.session.input("line", line)
                    line = lines[-1]
                else:
                    line = chance.choice(lines)
            case 2:
                key = chance.choice(("lag_ms", "settle_ms", "volume"))
                self.asked = {key: chance.choice((0, 3, 150, 700, -9))}
                line = wire_line(KIT, "bench.set", {"values": self.asked})
            case 3:
                line = wire_line(
                    KIT, chance.choice(("light", "expose", "lamp.on", "accept.count")), {"on": 1}
                )
            case _:
                line = bytes(chance.randrange(256) for _ in range(chance.randrange(40))).replace(b"\n", b"")
        self.count["lines"] += 1
        self.session.input("line", line)
        self.asked = {}

    def hear(self, reply: bytes) -> None:
        """What the box says it has set is kept, though a value is open on the panel."""
        if self.asked and b'"result"' in reply:
            self.settled["bench"].update(self.asked)

    def change_screen(self) -> None:
        if self.session.box.state == "browse":
            to_screen(self.session, self.chance.choice(SCREENS))

    def read_cell(self, *_: int) -> int:
        self.count["readings"] += 1
        return self.chance.choice(READINGS)

    def spoil(self) -> None:
        """A fault of the circuit comes, or all go."""
        self.count["faults of the circuit"] += 1
        faults = {self.chance.choice(FAULTS): True, "counts": self.chance.random() < 0.9}
        self.session.spoil(**(faults if self.chance.random() < 0.5 else MENDED))

    def fill(self) -> None:
        self.disk.full = not self.disk.full and self.chance.random() < 0.5

    def arm_the_fuse(self) -> None:
        if not self.session.lamp.lit and not self.disk.full:
            self.disk.fuse, self.disk.torn = self.chance.randrange(4), self.chance.choice((0, 1, 40, 1000))

    def pull_the_plug(self) -> None:
        session = self.session
        lit_ms = session.now_ms - session.lamp.lit_ms if session.lamp.lit else 0
        self.count["cuts"] += 1
        self.begin_again(self.chance.choice((0, lit_ms)))

    ACTS = (press, turn, wait, ask, change_screen, lie, spoil, fill, arm_the_fuse, pull_the_plug)
    WEIGHTS = (40, 15, 30, 6, 4, 1, 2, 1, 2, 2)

    def begin_again(self, known_ms: int, at_write: bool = False) -> None:
        """Power comes back, and may go again at any write of it; then what is known is looked at."""
        disk, session = self.disk, self.session
        may_be = [self.settled, self.known(), self.taken]
        may_be.append({**may_be[1], "bench": {**may_be[1]["bench"], **self.asked}})
        disk.full = False
        disk.fuse, disk.torn = self.chance.choice((None, None, 0, 1, 2)), self.chance.choice((0, 30))
        while True:
            try:
                session.reset(known_ms)
                break
            except PowerCut:
                self.count["second cuts"] += 1
                disk.fuse, known_ms = None, 0
        disk.fuse = None
        assert not session.lamp.lit, "lit by a reset"
        now = self.known()
        if self.kept_well:
            assert now["bench"] in [known["bench"] for known in may_be], "the bench is another"
            was, shelf = may_be[1]["shelf"], now["shelf"]
            changed = {name for name in {*was, *shelf} if was.get(name) != shelf.get(name)}
            assert len(changed) <= at_write, "a cut in one write changes one card, and no other cut any"
            as_left = session.box.bench.get("power_up") == "as left" or session.box.state == "notice"
            if as_left:
                assert now["map"] in [known["map"] for known in may_be] or now["map"]["name"] == "new-print"
        self.witness.off_ms = -WRAP
        self.settled = self.taken = now
        self.kept_well = True
        self.check()
        self.check_ledger()


def play(chance: random.Random, count: Counter[str]) -> None:
    walk = Walk(chance, count)
    for _ in range(STEPS):
        walk.step()
    walk.check_ledger()
    count["lights"] += walk.witness.lights
