"""The short form of the campaign, and that each attacker sees what it is there for.

The long form is `make attack`. Every round can be played again by the command that a violation prints.
"""

from collections import Counter

import pytest

from host_sim.box.session import Session
from tests.attack import core
from tests.attack.attackers import ATTACKERS
from tests.attack.campaign import Violation, attack, round_of
from timing_core.machine.lamp import Lamp
from timing_core.records.store import Store
from timing_core.wire import framing

SHORT = {"core": 60, "cuts": 60, "wire": 12}
SEED = 20261127


@pytest.mark.parametrize("name", ATTACKERS)
def test_a_short_attack_finds_nothing(name):
    count = attack(ATTACKERS[name], SEED, SHORT[name])
    assert count["rounds"] == SHORT[name]


def test_the_short_form_tries_all_there_is():
    count: Counter[str] = Counter()
    for name, rounds in SHORT.items():
        count += attack(ATTACKERS[name], SEED + 1, rounds // 2)
    assert min(count.values()) > 0
    assert {"steps", "lines", "cuts", "second cuts", "cuts at a write", "false reports", "lights"} <= set(
        count
    )
    assert {"records", "hostile lines", "valid lines", "lit"} <= set(count)


def test_a_round_is_the_same_whatever_came_before():
    alone: Counter[str] = Counter()
    round_of(ATTACKERS["core"], SEED, 3, alone)
    round_of(ATTACKERS["core"], SEED, 1, Counter())
    again: Counter[str] = Counter()
    round_of(ATTACKERS["core"], SEED, 3, again)
    assert alone == again


# --- each sees what it is there for


def violated(name: str, rounds: int = 80) -> str:
    with pytest.raises(Violation) as caught:
        attack(ATTACKERS[name], SEED, rounds)
    said = str(caught.value)
    assert f"python -m tests.attack {name} --seed {SEED} --round " in said
    return said


def test_a_light_that_is_longer_than_was_asked_for(monkeypatch):
    lamp_on = Session._lamp_on
    monkeypatch.setattr(Session, "_lamp_on", lambda self, ms: lamp_on(self, ms + 1))
    assert "lit for" in violated("core")


def test_a_light_in_the_settling_time(monkeypatch):
    monkeypatch.setattr(Lamp, "settled", lambda self: True)
    assert "after a light" in violated("core")


def test_a_light_that_no_press_has_asked_for(monkeypatch):
    handle = core.Session.input

    def also_on_a_line(self, event, value=0):
        handle(self, event, value)
        if event == "line" and self.box.state == "ready":
            for watcher in self.watchers:
                watcher.input(self.now_ms, "line", value)
                watcher.output(self.now_ms, "light", 1000)

    monkeypatch.setattr(core.LyingLamp, "input", also_on_a_line)
    assert "line lit the lamp" in violated("core")


def test_a_map_that_a_cut_takes_back(monkeypatch):
    put, kept = Store.put, []

    def loses_the_map(self, name, data):
        if name == "work":
            kept.append(name)
            if len(kept) % 3:
                return
        put(self, name, data)

    monkeypatch.setattr(Store, "put", loses_the_map)
    violated("core", 200)


def test_light_that_is_known_and_was_not_given(monkeypatch):
    reset = Session.reset
    monkeypatch.setattr(
        Session, "reset", lambda self, known_ms=0: reset(self, known_ms + 300 if known_ms else 0)
    )
    assert "on record" in violated("cuts")


def test_light_that_was_given_and_is_not_known(monkeypatch):
    lamp_off = Session._lamp_off
    monkeypatch.setattr(Session, "_lamp_off", lambda self, by_back=False: lamp_off(self, by_back) // 2)
    assert "unsaid" in violated("cuts")


def test_a_line_whose_check_nobody_looks_at(monkeypatch):
    monkeypatch.setattr(framing, "unframe", lambda line, crc32: bytes(line[:-9]))
    violated("wire", 20)
