"""Prints that are cut off, again and again, and gone on with: what the ledger says of them against the paper.

What must live here: the evening with its cuts, and the truth, which is taken at the lamp's pin. By the laws
of the design no light is left out of a run that is gone on with, none is given twice unless the record says
that there may have been more, and a record never says more than the paper got.
"""

from __future__ import annotations

import random
from collections import Counter
from typing import Any

from host_sim.box.session import Session, Watcher
from tests.box_model import GuardedDisk, PowerCut, a_card, a_pass, load, new_session, until_dark

AREAS = ("sky", "sea", "face", "door", "wall", "hand")
ACTIONS_MOST = 400
"""A run of so few lights is over by then, however often it was cut off."""
CUTS_MOST = 6


class Truth(Watcher):
    """`light_ms` is what each stage got on paper, by the name that the box has for it; a lamp without lag."""

    def __init__(self, session: Session) -> None:
        self.session = session
        self.light_ms: Counter[str] = Counter()
        self.strikes: Counter[str] = Counter()
        self.name = ""
        self.on_ms = 0

    def lamp(self, now_ms: int, on: bool) -> None:
        if on:
            self.name, self.on_ms = self.session.box.summary()["name"], now_ms
        else:
            self.light_ms[self.name] += now_ms - self.on_ms
            self.strikes[self.name] += 1


def random_card(chance: random.Random) -> dict:
    areas = list(AREAS)
    chance.shuffle(areas)
    passes = []
    for filter in ("2", "00")[: chance.choice((1, 1, 2))]:
        burns = [(areas.pop(), chance.randrange(40, 200)) for _ in range(chance.choice((0, 1, 2)))]
        passes.append(a_pass(*burns, base_ms=chance.randrange(2000, 20_000), filter=filter))
    return {**a_card(), "passes": passes}


class Evening:
    def __init__(self, chance: random.Random, count: Counter[str]) -> None:
        self.chance, self.count = chance, count
        self.disk = GuardedDisk()
        self.session = new_session(self.disk, ticks_ms=(1 << 30) - chance.randrange(1, 200_000))
        self.card = random_card(chance)
        load(self.session, self.card)
        self.truth = Truth(self.session)
        self.session.watchers.append(self.truth)
        self.cuts = 0
        self.is_begun = self.is_ended = False

    def play(self) -> None:
        for _ in range(ACTIONS_MOST):
            box = self.session.box
            self.is_begun |= bool(box.run.stages)
            if self.is_begun and box.state == "browse" and not box.run.stages:
                break
            if box.state == "held" and "too short" in box.message:
                self.end_the_run()
                break
            self.act_or_be_cut()
        else:
            raise AssertionError(f"the run does not end: it stands in {self.session.box.state}")
        self.check()

    def end_the_run(self) -> None:
        """What is left is too little for the lamp: the box says so, and how to end the run."""
        self.session.input("back")
        self.session.box.panel.show("screens")
        self.session.box.panel.cursor_on_key("end")
        self.session.input("press")
        assert not self.session.box.run.stages, "the run is not ended"
        self.is_ended = True
        self.count["runs ended"] += 1

    def act_or_be_cut(self) -> None:
        chance, disk = self.chance, self.disk
        if self.cuts < CUTS_MOST and chance.random() < 0.3:
            disk.fuse, disk.torn = chance.randrange(4), chance.choice((0, 1, 30, 2000))
        try:
            self.act()
        except PowerCut:
            self.begin_again(0)
        disk.fuse = None

    def act(self) -> None:
        session = self.session
        box = session.box
        if box.state == "browse" and not self.is_begun:
            session.input("expose")
        elif box.state == "browse" and box.run.is_kept:
            session.input("back")
            box.panel.cursor_on_key("go on")
            session.input("press")
        elif box.state in ("notice", "ask"):
            session.input("press")
        elif box.state in ("ready", "held"):
            session.input("expose")
            if session.lamp.lit:
                self.give()
        else:
            session.advance(session.now_ms + 100)

    def give(self) -> None:
        """All of the light, or a part of it until a hold or a cut."""
        chance, session = self.chance, self.session
        whole_ms = session.lamp.ends_ms - session.lamp.lit_ms
        match chance.choice(("whole", "whole", "hold", "cut")):
            case "hold":
                session.advance(session.now_ms + chance.randrange(0, whole_ms))
                session.input(chance.choice(("expose", "back")))
            case "cut" if self.cuts < CUTS_MOST:
                session.advance(session.now_ms + chance.randrange(0, whole_ms))
                self.begin_again(chance.choice((0, session.now_ms - session.lamp.lit_ms)))
            case _:
                until_dark(session)
        self.count["lights"] += 1

    def begin_again(self, known_ms: int) -> None:
        disk = self.disk
        self.cuts += 1
        self.count["cuts"] += 1
        disk.fuse = self.chance.choice((None, None, 0, 1, 2)) if self.cuts < CUTS_MOST else None
        while True:
            try:
                self.session.reset(known_ms)
                return
            except PowerCut:
                self.cuts += 1
                self.count["cuts"] += 1
                self.count["second cuts"] += 1
                disk.fuse, known_ms = None, 0

    def check(self) -> None:
        box, truth = self.session.box, self.truth
        records = box.ledger.read()
        if not records:
            assert not truth.light_ms, f"light of which the ledger knows nothing: {dict(truth.light_ms)}"
            self.count["runs without light"] += 1
            return
        assert len(records) == 1, f"{len(records)} records of one run"
        (record,) = records
        assert record["map"] == self.card, "the record has another map"
        found: dict[str, Any] = {own["stage"]: own for own in record["stages"]}
        assert set(truth.light_ms) <= set(found), "a light is in no record"
        for name, own in found.items():
            real_ms, close_ms = truth.light_ms[name], own["strikes"] + 1
            said = f"{name}: {own['given_ms']} ms on record, {real_ms} ms on paper"
            assert own["given_ms"] <= real_ms + close_ms, said
            assert own["at_least"] or own["given_ms"] >= real_ms - close_ms, f"{said}, unsaid"
            # A rest that is too short for the lamp to give may be left.
            least_ms = max(20, box.bench.least_light_ms)
            assert real_ms >= own["light_ms"] - least_ms - close_ms, f"{said} of {own['light_ms']}: left out"
        is_whole = not any(own["at_least"] or own["given_ms"] < own["light_ms"] for own in record["stages"])
        assert record["whole"] == (is_whole and not self.is_ended), "whole is said wrongly"
        self.count["records"] += 1


def play(chance: random.Random, count: Counter[str]) -> None:
    Evening(chance, count).play()
