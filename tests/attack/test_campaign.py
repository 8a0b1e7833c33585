"""The short form of the campaign, and that each attacker sees what it is there for.

The long form is `make attack`. Every round can be played again by the command that a violation prints.
"""

import re
from collections import Counter

import pytest

from host_sim.box.session import Session
from lampblack.cards import toml_file
from lampblack.files import NewFile
from lampblack.lab_page.folder import Folder, _write
from lampblack.page.serving import Gate
from lampblack.wire import asking
from tests.attack import bytecodes, client, core, flash_chip, page, soak
from tests.attack.attackers import ATTACKERS
from tests.attack.campaign import Violation, attack, round_of
from tests.micropython import ROOT
from timing_core.machine.lamp import Lamp
from timing_core.machine.watch import Watch
from timing_core.records.store import Store
from timing_core.wire import framing

SEED = 20261127
SHORT = {
    "core": 120,
    "cuts": 60,
    "flash": 5,
    "bytecodes": 25,
    "client": 200,
    "files": 30,
    "page": 2,
    "soak": 1,
    "wire": 12,
}
REPORTS = {"false reports", "late reports", "doubled reports", "missing reports"}
TRIED = {
    "core": {
        "steps",
        "steps with sheets in the trays",
        "lines",
        "cuts",
        "second cuts",
        "cuts at a write",
        "faults of the circuit",
        "readings",
        "lights",
        *REPORTS,
    },
    "cuts": {"records", "cuts", "second cuts", "lights"},
    "flash": {"operations", "cuts", "wakings"},
    "bytecodes": {"cut into draws", "cut into answers", "cut into ticks", "lights"},
    "client": {"bad lines", "lies", "answers", "refusals"},
    "files": {"done", "refusals"},
    "page": {"requests", "requests of strangers", "messages"},
    "soak": {"hours", "events"},
    "wire": {"hostile lines", "valid lines", "lit"},
}


@pytest.mark.parametrize("name", ATTACKERS)
def test_a_short_attack_finds_nothing_and_tries_all_there_is(name):
    count = attack(ATTACKERS[name], SEED, SHORT[name])
    assert count["rounds"] == SHORT[name]
    assert all(count[what] for what in TRIED[name]), count


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


def test_a_light_while_the_output_is_on_unasked(monkeypatch):
    monkeypatch.setattr(Watch, "forbids", lambda self, lamp_ms=0: 0)
    monkeypatch.setitem(core.MENDED, "is_sense_held", True)
    assert "with the output on unasked" in violated("core", 400)


def test_a_light_with_the_second_contact_open(monkeypatch):
    monkeypatch.setattr(Watch, "is_closed", lambda self: True)
    assert "with the second contact open" in violated("core", 400)


def test_a_deadline_that_no_tick_takes_away(monkeypatch):
    next_ms = Session.next_ms
    monkeypatch.setattr(
        Session, "next_ms", lambda self: self.now_ms if self.box.state == "held" else next_ms(self)
    )
    assert "time stands still in held" in violated("core")


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


def test_a_file_that_is_written_in_two_pieces(monkeypatch):
    source = (ROOT / "firmware" / "board" / "flash.py").read_text(encoding="utf-8")
    whole = "                file.write(data)\n"
    assert source.count(whole) == 1
    pieces = """                file.write(data[:9])
            with open(self._path(name), "ab") as file:
                file.write(data[9:])
"""
    torn = compile(source.replace(whole, pieces), "flash.py", "exec")
    monkeypatch.setattr(flash_chip, "board_code", lambda: torn)
    assert "is neither old nor new" in violated("flash", 10)


def test_a_chip_on_which_what_was_written_before_is_lost_too(monkeypatch):
    do, waits = flash_chip.Chip._do, []

    def late(self, start, data, is_erase):
        """Done with the next operation, as by a cache that tells too early; a cut loses it."""
        if self.fuse == 0:
            waits.clear()
        while waits:
            chip, *before = waits.pop()
            if chip is self:
                do(self, *before)
        if is_erase or start % 8192:
            return do(self, start, data, is_erase)
        waits.append((self, start, bytes(data), is_erase))
        return 0

    monkeypatch.setattr(flash_chip.Chip, "_do", late)
    violated("flash", 10)


def test_a_key_that_is_lost(monkeypatch):
    runner = bytecodes.runner_module().Runner
    wake = runner.wake

    def once(self, value):
        if self._busy or self._deep:
            self._inputs.ring.clear()
        wake(self, value)

    monkeypatch.setattr(runner, "wake", once)
    assert "before bytecode" in violated("bytecodes", 40)


def test_a_client_that_looks_at_no_check(monkeypatch):
    monkeypatch.setattr(asking, "unframe", lambda line, crc32: bytes(line[:-9]))
    assert "a wrong answer is given" in violated("client", 2000)


def test_a_client_that_waits_for_ever(monkeypatch):
    monkeypatch.setattr(client, "TIMEOUT_S", 1e6)
    assert "it hangs" in violated("client", 200)


def test_a_command_that_fails_otherwise_than_in_words(monkeypatch):
    monkeypatch.setattr(toml_file.Kind, "read", lambda self, *_: {}["name"])
    assert "KeyError" in violated("files", 60)


def test_a_command_that_writes_over_a_file(monkeypatch):
    monkeypatch.setattr(NewFile, "_refuse_to_overwrite", lambda self: None)
    assert re.search("as it was|written over", violated("files", 400))


def test_a_page_that_lets_strangers_in(monkeypatch):
    monkeypatch.setattr(Gate, "_refusal", lambda self, scope: None)
    assert "a stranger is answered" in violated("page", 5)


def test_a_page_that_writes_outside_of_its_folder(monkeypatch):
    monkeypatch.setattr(page, "PATHS", ("lab/print/{}",))
    monkeypatch.setattr(page, "NAMES", ["workroom"])
    monkeypatch.setattr(page, "PICTURE", [lambda *_: page.png(40, 30, rows=bytes(41 * 30))])
    monkeypatch.setattr(
        Folder, "keep_picture", lambda self, card, png: _write(self.root.parent / card, png, True)
    )
    assert "is written" in violated("page", 5)


@pytest.mark.parametrize(("step", "grows"), [(400, True), (-2000, False)])
def test_a_day_on_which_memory_is_lost_each_hour(step, grows):
    lost = [(hour, 1000, 80_000 + step * hour, 30_000, 70, 900) for hour in range(24)]
    with pytest.raises(AssertionError, match="from"):
        soak.check(lost, grows)
    soak.check([(*hour[:2], 80_000, *hour[3:]) for hour in lost], grows)


@pytest.mark.long
def test_a_day_on_micropython():
    soak.check(soak.day_on_micropython(1), grows=False)
