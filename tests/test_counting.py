"""Contacts that are only counted, and what was read back of a light: what the acceptance test asks of a box.

Nothing of it gives light, and nothing of it is left behind.
"""

import json

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session, Watcher
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM
from timing_core.panel.counting import KEYS, SILENCE_MS
from timing_core.records.store import Store
from timing_core.wire.framing import frame

FITTED = {"read_backs": True, "second_contact": True}


class Heard(Watcher):
    """What the box asked for."""

    def __init__(self):
        self.outputs = []

    def output(self, now_ms, kind, value):
        self.outputs.append((kind, value))

    def take(self):
        found = [(kind, value) for kind, value in self.outputs if kind not in ("send", "screen")]
        self.outputs = []
        return found


class Desk:
    def __init__(self, fitted=FITTED, settle_ms=700):
        disk = MemoryDisk()
        platform = desk_platform()
        store = Store(disk, platform.crc32)
        store.put("bench", encode({"settle_ms": settle_ms, "form": BENCH_FORM}))
        store.put("fitted", encode(fitted))
        self.heard = Heard()
        self.session = Session(disk, platform, 100)
        self.session.watchers.append(self.heard)
        self.session.power_up()
        self.wait(1000)
        self.heard.take()

    @property
    def box(self):
        return self.session.box

    def wait(self, ms):
        self.session.advance(self.session.now_ms + ms)

    def press(self, *keys):
        for key in keys:
            self.wait(800)
            self.session.input(key)

    def ask(self, method, **params):
        sent = []
        self.session.send = sent.append
        request = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
        platform = self.session.platform
        self.session.input("line", frame(encode(request), platform.crc32)[:-1])
        reply = json.loads(sent[0][:-10])
        return reply.get("result", reply.get("error"))

    def counts(self):
        return self.ask("accept.read")["counts"]

    def light(self):
        return self.ask("accept.read")["light"]


def counting(**how):
    desk = Desk(**how)
    assert desk.ask("accept.count", on=1) == {"ok": True}
    assert desk.box.state == "counting"
    return desk


def test_contacts_are_counted_and_do_nothing():
    desk = counting()
    screen, at = desk.box.panel.screen, desk.box.panel.cursor.at
    for _ in range(3):
        for key in KEYS:
            desk.session.input(key)
    desk.session.input("dial", 7)
    desk.session.input("dial", -2)
    desk.wait(5000)
    assert desk.counts() == {
        "expose": 3,
        "pedal": 3,
        "lamp": 3,
        "back": 3,
        "press": 3,
        "right": 7,
        "left": 2,
    }
    assert desk.ask("accept.read")["edges"] == {}  # a simulator's keys have no contacts
    assert desk.heard.take() == []
    assert (desk.box.panel.screen, desk.box.panel.cursor.at) == (screen, at)
    assert not desk.box.lit


def test_asking_again_changes_nothing_and_beginning_anew_begins_at_nought():
    desk = counting()
    desk.session.input("expose")
    assert desk.ask("accept.count", on=1) == {"ok": True}
    assert desk.counts()["expose"] == 1
    for _ in range(2):
        assert desk.ask("accept.count", on=0) == {"ok": True}
        assert desk.box.state == "browse"
    assert desk.counts() is None
    desk.ask("accept.count", on=1)
    assert desk.counts()["expose"] == 0


def test_after_it_no_press_lights_the_lamp_for_the_settling_time():
    desk = counting()
    desk.ask("accept.count", on=0)
    desk.session.input("lamp")
    assert not desk.box.lit
    desk.wait(701)
    desk.session.input("lamp")
    assert desk.box.lit


def test_a_tool_that_has_gone_is_not_waited_for():
    desk = counting()
    desk.wait(SILENCE_MS - 1)
    assert desk.box.state == "counting"
    desk.ask("accept.read")
    desk.wait(SILENCE_MS - 1)
    assert desk.box.state == "counting"
    desk.ask("state")  # may be from anyone
    desk.wait(1)
    assert desk.box.state == "browse"
    assert desk.box.lamp.is_settling()
    desk.wait(800)
    assert desk.session.next_ms() == -1


def test_it_is_refused_wherever_the_box_is_not_at_rest():
    desk = Desk(fitted={})
    desk.press("press")
    assert desk.box.state == "edit"
    assert desk.ask("accept.count", on=1)["code"] == 2
    desk.press("back", "expose")
    assert desk.box.state == "ready"
    assert desk.ask("accept.count", on=1)["code"] == 2
    desk.press("expose")
    error = desk.ask("accept.count", on=1)
    assert error["code"] == 1
    assert error["data"] == {"retry": True}
    assert desk.ask("accept.show", picture="", level=1, sound="", volume=0)["code"] == 1
    assert desk.box.state == "exposing"
    assert desk.ask("accept.count", on=2)["code"] == 1


def test_a_run_that_is_kept_and_what_the_panel_says_are_left_as_they_were():
    desk = Desk(fitted={})
    desk.press("expose", "expose")
    desk.wait(3000)
    desk.press("back", "back")
    before = (desk.box.run.at, desk.box.run.given_ms, desk.box.message, desk.box.panel.row().key)
    assert desk.box.run.is_kept
    desk.ask("accept.count", on=1)
    desk.press("expose", "lamp", "back", "press")
    desk.session.input("dial", -5)
    desk.ask("accept.count", on=0)
    assert before == (desk.box.run.at, desk.box.run.given_ms, desk.box.message, desk.box.panel.row().key)
    desk.press("press")
    assert desk.box.state == "held"


def test_pictures_and_tones_are_shown_and_taken_back():
    desk = counting()
    assert desk.ask("accept.show", picture="all", level=5, sound="end", volume=2) == {"ok": True}
    assert desk.heard.take() == [("level", 5), ("volume", 2), ("sound", "end")]
    assert bytes(desk.session.frame()) == b"\xff" * 1024
    found = []
    for picture in ("chequer", "inverse"):
        desk.ask("accept.show", picture=picture, level=1, sound="", volume=0)
        found.append(bytes(desk.session.frame()))
    assert [one ^ other for one, other in zip(found[0], found[1])] == [255] * 1024
    assert found[0][:4] == b"\x55\xaa\x55\xaa"
    desk.heard.take()
    desk.ask("accept.count", on=0)
    assert desk.heard.take() == [("level", 2), ("volume", 3)]


def test_what_cannot_be_shown_is_refused():
    desk = Desk()
    good = {"picture": "all", "level": 1, "sound": "end", "volume": 0}
    assert desk.ask("accept.show", **good)["code"] == 2
    desk.ask("accept.count", on=1)
    for key, value in (("picture", "x"), ("level", 0), ("level", 6), ("sound", "x"), ("volume", 6)):
        spoiled = dict(good)
        spoiled[key] = value
        assert desk.ask("accept.show", **spoiled)["code"] == 2
    desk.heard.take()
    desk.wait(1)
    assert desk.heard.take() == []


def test_the_counts_are_on_the_panel():
    desk = counting()
    before = bytes(desk.session.frame())
    desk.session.input("pedal")
    assert bytes(desk.session.frame()) != before


# --- the last light, as it was read back


def test_a_light_is_read_back():
    desk = Desk(settle_ms=0)
    desk.press("expose", "expose")
    desk.wait(20000)
    light = desk.light()
    assert (light["lamp_ms"], light["lit_ms"], light["seen_ms"]) == (10000, 10000, 10000)
    assert (light["ticks"], light["ticking_ms"]) == (4, 3 * 2376)
    told = desk.ask("accept.read")
    assert (told["sense"], told["sense_edges"], told["ticks"]) == (0, 2, 4)
    assert (told["armed"], told["feedback"], told["feedback_edges"]) == (False, 0, 2)


def test_back_darkens_the_lamp_before_its_press_is_seen():
    for cut in (False, True):
        desk = Desk()
        desk.session.spoil(back_is_cut=cut)
        desk.press("lamp")
        desk.wait(2000)
        desk.press("back")
        light = desk.light()
        assert light["lamp_ms"] > light["lit_ms"] > 2000
        assert light["fell_first"] == (not cut)


def test_the_cut_off_is_seen_at_its_time():
    desk = Desk()
    desk.session.spoil(is_quick=True)
    desk.press("lamp")
    desk.wait(20000)
    light = desk.light()
    assert light["seen_ms"] == 23 * 512
    assert light["lit_ms"] == light["seen_ms"] + 50
    assert light["ticks"] == 512
    assert not desk.session.lamp.lit
    desk.wait(10000)
    assert desk.ask("accept.read")["ticks"] == 512


def test_a_cut_off_that_does_not_reach_the_lamp_is_seen_not_to():
    desk = Desk()
    desk.session.spoil(is_quick=True, is_stuck=True)
    desk.press("lamp")
    desk.wait(20000)
    assert desk.session.lamp.lit
    desk.press("back")
    light = desk.light()
    assert light["seen_ms"] > 20000
    assert not light["fell_first"]


def test_a_cut_off_that_has_acted_stays_out_though_the_lamp_is_wanted():
    for latches in (True, False):
        desk = Desk()
        desk.session.spoil(is_quick=True, latches=latches)
        desk.press("lamp")
        desk.wait(2000)
        desk.session.spoil(is_sense_held=True)  # or the box would put the lamp out
        desk.wait(40000)
        desk.press("lamp")
        desk.session.spoil(is_sense_held=False)
        light = desk.light()
        assert light["lit_ms"] > 42000
        assert (11000 < light["ticking_ms"] < 12000) == latches
