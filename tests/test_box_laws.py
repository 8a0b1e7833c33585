"""The laws of the box, under every input there is, in any order, checked after each one.

Hypothesis plays a printer, a tool on the wire, a failing disk and a house with power cuts against one
box whose tick count wraps on the way. Laws 1, 2, 5, 6 and 7 of the design are checked after every step
against `box_model`, which knows nothing of how the box works. A failing run is printed as a short
program, with the blob that plays it again: put `@reproduce_failure(...)` above `BoxMachine`'s test, or
run pytest with the `--hypothesis-seed` that it names.
"""

import contextlib
import json
import re

import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, event, settings
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from host_sim.box.platform import desk_platform
from host_sim.box.session import Session, Watcher
from lampblack.wire import replies
from tests.box_model import (
    ABOUT_TO_BE_LIT,
    LIT_STATES,
    GuardedDisk,
    LightMeter,
    Listener,
    PlainCell,
    PowerCut,
    a_card,
    a_pass,
    card_lines,
    cell_reads,
    in_the_dark,
    keys,
    last_record,
    load,
    new_session,
    planned_print,
    planned_strip,
    planned_test,
    snapshot,
    stops,
    to_row,
    to_screen,
    together,
    until_dark,
    wait,
    wire_line,
)
from timing_core.light.bench import setting, setting_keys
from timing_core.light.guided import HEADINGS, OF_THE_CELL, TESTS
from timing_core.light.printing_map import PrintingMap
from timing_core.machine.sheet_time import TOLD
from timing_core.records.ledger import RECORDS_MAX
from timing_core.refusal import Refusal
from timing_core.wire.methods import METHODS

KIT = desk_platform()
WRAP = 1 << 30
REFUSAL = re.compile(r"[^\n]+: [^\n]+\. [^\n]+\.")
"""What, why, what to do, in one line."""

# Cards that between them have all there is: dodges, also two at once, burns, a third filter, ties, dry-down,
# no filter.
CARDS = [
    a_card(("face", -60), ("sky", 40), base_ms=9000),
    a_card(("sky", 80, "0"), ("sea", 20, "00"), base_ms=3000, filter="", name="shore", title="Shore"),
    {
        **a_card(("face", -20), ("door", 60), base_ms=16000, name="door", tied=True),
        "dry_down": True,
        "dry_down_pm": 85,
    },
    a_card(base_ms=999900, name="long"),
    a_card(("dot", 10), base_ms=700, name="short", dry_down=True, dry_down_pm=500),
    a_card(("face", -240), ("hand", -240), base_ms=4000, name="crowded"),
    together(a_card(("face", -60), ("hand", -40), base_ms=8000, name="both")),
    a_card(
        ("sky", 40, "5"), base_ms=6000, name="flash", dry_down=True, dry_down_pm=80, flash={"light_ms": 700}
    ),
    a_card(base_ms=2000, name="last", flash={"light_ms": 1900, "filter": "5", "after": True}),
]
CARDS[2]["passes"] += [a_pass(("wall", 20, "2"), base_ms=8980, filter="5"), a_pass(base_ms=4000, filter="00")]

times_ms = st.sampled_from((1, 39, 40, 79, 80, 100, 249, 500, 999, 1000, 3000, 20_000, 60_000, 400_000))
holds = st.lists(st.tuples(times_ms, st.sampled_from(("expose", "expose", "back", "leave"))), max_size=4)
detents = st.sampled_from((-40, -7, -2, -1, 1, 1, 2, 7, 40))
settings_values = st.one_of(
    *[
        st.tuples(st.just(row[0]), st.integers(row[4][0] - 20, row[4][1] + 20))
        for row in map(setting, setting_keys())
        if row[2] in ("ms", "s", "level", "time", "pm")
    ],
    st.tuples(st.just("lag_ms"), st.sampled_from((-500, -60, 0, 150, 2000))),
    st.tuples(st.just("least_ms"), st.sampled_from((20, 100, 2000))),
    st.tuples(st.just("safelight"), st.sampled_from(("steady", "exposing", "off"))),
    st.tuples(st.just("power_up"), st.sampled_from(("as left", "new print"))),
    st.tuples(st.just("step"), st.sampled_from(("1/2", "1/12", "seconds", 3))),
    st.tuples(
        st.just("filters"), st.sampled_from((["2"], ["0", "5"], [], "2", ["2", "2"], ["toolongaword"]))
    ),
    st.tuples(st.sampled_from(("volume", "light", "lamp")), st.sampled_from((True, None, "x", 1, 2.5, -1))),
)


trays_ways = st.tuples(
    st.just("fix"),
    st.sampled_from((0, 1, 5000, 60_000)),
    st.sampled_from((0, 3000)),
    st.sampled_from((0, 700)),
    st.booleans(),
)


messages = st.one_of(
    st.tuples(st.sampled_from(tuple(METHODS)), st.sampled_from(({}, {"key": 1}, {"after": 0}))),
    st.tuples(st.sampled_from(("light", "expose", "box.handle", "lamp.on")), st.just({"ms": 1})),
    st.tuples(st.just("card.remove"), st.sampled_from([{"name": card["name"]} for card in CARDS])),
    st.tuples(st.just("card.fetch"), st.sampled_from([{"name": "door", "part": part} for part in range(3)])),
    st.tuples(st.just("ledger.fetch"), st.sampled_from([{"n": 1, "part": part} for part in range(3)])),
    st.tuples(st.just("accept.count"), st.sampled_from([{"on": on} for on in (0, 1, 1, 2)])),
    st.tuples(
        st.just("accept.show"),
        st.sampled_from(
            [
                {"picture": picture, "level": level, "sound": "end", "volume": 5}
                for picture, level in (("all", 5), ("", 1), ("none", 0))
            ]
        ),
    ),
)


class CircuitWatcher(Watcher):
    """Watches the lamp's pin beside its circuit. `lights` are (when the lamp was struck, when ARM rose)."""

    def __init__(self, session: Session, fitted: dict) -> None:
        self.session = session
        self.fitted = fitted
        self.lights: list[tuple[int, int]] = []
        self.wrongly_lit: list[str] = []
        self._arm_ms = self._writes = 0
        self.back_is_down = False

    def reset(self, now_ms: int) -> None:
        self.back_is_down = False

    def input(self, now_ms: int, event: str, value) -> None:
        if event in ("back_down", "back_up"):
            self.back_is_down = event == "back_down"
        # Between two strikes of one stage it is dark for seconds, and what was given is noted.
        follows = event == "tick" and self.session.box.state == "between"
        if event in ("expose", "pedal", "lamp") or follows:
            self._writes = self.session.disk.writes

    def output(self, now_ms: int, kind: str, value) -> None:
        circuit = self.session.circuit
        if kind == "arm" and value:
            self._arm_ms = now_ms
            if circuit.is_welded or (self.fitted.get("read_backs") and circuit.is_live):
                self.wrongly_lit.append("armed while a fault stands")
        if kind == "light":
            self.lights.append((now_ms, self._arm_ms))
            if self.back_is_down:
                self.wrongly_lit.append("lit while BACK was down")
            if self.session.disk.writes != self._writes:
                self.wrongly_lit.append("written to between the press and the light")
            if self.fitted.get("read_backs") and circuit.is_shorted and not circuit.is_cut:
                self.wrongly_lit.append("lit while the output was on unasked")
            if self.fitted.get("second_contact") and not circuit.is_closed:
                self.wrongly_lit.append("lit while the second contact was open")


ALL = {"read_backs": True, "second_contact": True}
"""Everything that may be fitted."""


class BoxMachine(RuleBasedStateMachine):
    @initialize(
        before_wrap_ms=st.integers(1, 900_000),
        panel_ms=st.sampled_from((0, 100)),
        card=st.sampled_from((None, *CARDS)),
        settle_ms=st.sampled_from((0, 0, 700, 2000)),
        latency_ms=st.sampled_from((0, 0, 3, 10)),
        fitted=st.sampled_from((None, {"read_backs": True}, {"second_contact": True}, ALL, ALL)),
        start_delay_s=st.sampled_from((0, 0, 1, 5, 10)),
    )
    def power_up(self, before_wrap_ms, panel_ms, card, settle_ms, latency_ms, fitted, start_delay_s):
        self.disk = GuardedDisk()
        self.fitted = fitted or {}
        self.session = new_session(
            self.disk, panel_ms, WRAP - before_wrap_ms, settle_ms, latency_ms, fitted=fitted
        )
        self.session.box.asked.set_bench({"start_delay_s": start_delay_s})
        self.before_wrap_ms = before_wrap_ms
        self.meter = LightMeter(self.session, fitted)
        self.meter.safelight = 1  # as it told before there was anyone to listen
        self.listener = Listener()
        self.watcher = CircuitWatcher(self.session, self.fitted)
        self.session.watchers += [self.meter, self.listener, self.watcher]
        self.sent: list[bytes] = []
        self.plan: list[tuple] = []
        self.stages = self.session.box.run.stages
        self.at = 0
        self.given: list[tuple] = []
        self.unsure = False
        self.began_with = None
        self.pressed = ""
        self.quiet_ms = -WRAP
        self.journal_is_whole = True
        self.ledger = 0
        self.kept_well = True
        self.settled = snapshot(self.session)
        if card:
            self.do(load, self.session, card)

    def teardown(self) -> None:
        """What the wire tells of all this has the shapes that the PC's tool declares."""
        if hasattr(self, "session"):
            box = self.session.box
            records = box.ledger.read(0, RECORDS_MAX)
            assert [replies.RECORD(record) for record in records] == records
            assert replies.checked("state", box.summary()) == box.summary()

    # --- doing one thing, and what must be so after it

    def do(self, act, *details) -> bool:
        """Do one thing to the session and check the laws. False if the power was cut in the middle of it."""
        before = snapshot(self.session)
        card, strip = before["work"], self.session.box.work.strip.copy()
        self.listener.heard.clear()
        self.listener.times.clear()
        self.meter.off_ms_before = self.meter.off_ms
        began_ms = self.session.now_ms
        writes = self.disk.writes
        try:
            act(*details)
        except PowerCut:
            self.power_is_cut()
            return False
        box = self.session.box
        after = snapshot(self.session)
        # A light that came by itself may end in this very act: `CircuitWatcher` looks there. In a long wait
        # several strikes of one stage follow each other.
        comes_by_itself = before["state"] in (*ABOUT_TO_BE_LIT, "exposing")
        if "light" in [kind for kind, _ in self.listener.heard] and not comes_by_itself:
            assert self.disk.writes == writes, "law 3: nothing is written between the press and the light"
        self.check_settling(before, after, began_ms)
        self.follow_run(card, strip)
        if ("sound", "refuse") in self.listener.heard:
            self.check_refusal(before, after)
        standing = box.machine.before if box.state in ("viewing", *ABOUT_TO_BE_LIT) else box.state
        # What is being turned is not taken; a value that leads on to another is, and that is not turned yet.
        if standing not in ("edit", "away") or (standing == "edit" and after["undo"] != before["undo"]):
            self.settled = after
        if self.disk.full:
            self.kept_well = False
        return True

    def check_settling(self, before: dict, after: dict, began_ms: int) -> None:
        """Law 9: for the settling time nothing lights the lamp."""
        for at_ms, kind in self.listener.times:
            if kind == "light":
                apart_ms = at_ms - max(self.quiet_ms, self.meter.off_ms_before)
                assert apart_ms >= self.session.box.bench.get("settle_ms"), "lit within the settling time"
        self.listener.times.clear()
        if after["bench"]["settle_ms"] != before["bench"]["settle_ms"]:
            # What holds from here on is asked of what comes from here on.
            self.quiet_ms = self.meter.off_ms = -WRAP
        stage = (after["state"], after["run"][1])
        begun = after["state"] in ("ready", "held") and before["state"] in ("browse", "ask", "notice")
        confirmed = (
            after["state"] == "ready"
            and before["state"] == "ready"
            and stage[1] == before["run"][1] + 1
            and not before["run"][5][before["run"][1]]["light_ms"]
        )
        warned = (
            after["message"].startswith("Viewing light would fog") and before["message"] != after["message"]
        )
        counted = before["state"] == "counting" and after["state"] == "browse"
        # Not where the light came and has ended, or could not be given: nobody has pressed a key there.
        called_off = (
            before["state"] == "delaying"
            and after["state"] in ("ready", "held")
            and not {("sound", "start"), ("sound", "refuse")} & set(self.listener.heard)
        )
        if called_off:
            event("a start delay was ended")
        if counted or called_off:
            # By a key now, or by itself at some time in between.
            self.quiet_ms = max(self.quiet_ms, began_ms)
        if (begun or warned) or (confirmed and self.pressed == "expose"):
            self.quiet_ms = self.session.now_ms

    def check_refusal(self, before: dict, after: dict) -> None:
        """Law 7: one line with what, why and what to do; what the printer set is as it was."""
        message = self.session.box.message
        event(f"refused: {message.split(':')[0].split('.')[0]}")
        assert "\n" not in message
        assert REFUSAL.fullmatch(message) or message.startswith("Viewing light would fog the sheet."), message
        if message == TOLD:
            return  # no press was refused: it comes by itself, in a wait that may have ended a stage as well
        if before["state"] == "delaying":
            # What was pressed for cannot be given any more, and all is as it was before that.
            assert after["state"] == self.session.box.machine.before
            before["state"] = after["state"]
        for what in ("work", "strip", "bench", "shelf", "cursor", "undo", "redo", "state"):
            assert after[what] == before[what], what

    def follow_run(self, card: dict, strip) -> None:
        """Law 2: the stages are the map's, and the box moves on from one just when it has got its light."""
        box, meter = self.session.box, self.meter
        if box.run.stages is not self.stages or box.run.at != self.at:
            if meter.light_ms or self.unsure:
                self.close_stage(moved_on=box.run.stages is self.stages)
            meter.anew()
            self.unsure = False
        if box.run.stages is not self.stages:
            if self.stages:
                self.close_run()
            self.stages = box.run.stages
            if box.run.stages:
                self.journal_is_whole = True
                self.plan = {
                    "print": lambda: planned_print(card),
                    "strip": lambda: planned_strip(card, strip),
                    "test": lambda: planned_test(box.run.test),
                }[box.run.kind]()
                self.check_stages()
        self.at = box.run.at
        if not box.run.stages:
            self.ledger = box.ledger.last()
            return
        planned_ms = self.plan[box.run.at][3]
        close_ms = self.close_ms()
        if box.run.stage.kind == "wait":
            assert not meter.light_ms
        elif box.state == "exposing":
            if meter.seen_ms() == self.session.now_ms - self.session.lamp.lit_ms:
                whole_ms = planned_ms
                if box.run.stage.kind == "pulses":
                    each_ms = box.run.stage.pulse_ms
                    whole_ms = (box.run.given_ms // each_ms + 1) * each_ms
                    assert meter.to_come_ms <= each_ms
                assert abs(meter.light_ms + meter.to_come_ms - whole_ms) <= close_ms
        elif box.state == "between":
            assert abs(box.exposing.left_ms() - (planned_ms - meter.light_ms)) <= close_ms
            assert meter.light_ms < planned_ms
        elif box.state == "delaying":
            assert planned_ms
            assert abs(box.exposing.left_ms() - (planned_ms - meter.light_ms)) <= close_ms
        elif box.state == "held":
            assert meter.light_ms < planned_ms or not planned_ms
            assert abs(box.exposing.left_ms() - (planned_ms - meter.light_ms)) <= close_ms
        elif box.state == "ready":
            assert box.exposing.left_ms() == planned_ms
            assert not meter.light_ms

    def close_ms(self) -> int:
        """1 ms a strike, and where the edges of lamp sense tell of the light, one for each of these."""
        return self.meter.strikes * (3 if self.fitted else 1)

    def check_stages(self) -> None:
        stages = self.session.box.run.stages
        assert [(s.kind, s.area, s.filter, s.light_ms) for s in stages] == self.plan

    def close_stage(self, moved_on: bool) -> None:
        """The box has left a stage that has had light."""
        light_ms, close_ms = self.meter.light_ms, self.close_ms()
        planned_ms = self.plan[self.at][3]
        whole = abs(light_ms - planned_ms) <= close_ms
        event("a stage was whole" if whole else "a stage was left")
        assert light_ms <= planned_ms + close_ms
        # A rest that the lamp cannot give may be left; what a reset cut off may be passed over.
        bench = self.session.box.bench
        too_little = planned_ms - light_ms < max(bench.least_light_ms, 20 - bench.get("lag_ms")) + close_ms
        assert whole or not moved_on or self.unsure or too_little
        self.given.append((light_ms, close_ms, self.meter.strikes))

    def close_run(self) -> None:
        """The run is over: the ledger says what the meter saw."""
        box = self.session.box
        if self.given and self.journal_is_whole:
            record = last_record(box)
            assert record["n"] == self.ledger + 1
            assert len(record["stages"]) == len(self.given)
            for stage, (light_ms, close_ms, strikes) in zip(record["stages"], self.given):
                assert abs(stage["given_ms"] - light_ms) <= close_ms
                assert stage["strikes"] == strikes or stage["at_least"]
            assert PrintingMap.from_dict(record["map"]).to_dict() == record["map"]
            event("a run is in the ledger")
        self.ledger = box.ledger.last()
        self.given = []

    @invariant()
    def light_is_where_it_may_be(self):
        """Law 1, and the safelight's rule."""
        if not hasattr(self, "session"):
            return
        box, lamp = self.session.box, self.session.lamp
        assert self.meter.faults == []
        assert self.disk.written_while_lit == []
        assert lamp.lit == (box.state in LIT_STATES)
        assert box.lit == (lamp.lit or box.state in ABOUT_TO_BE_LIT)
        self.check_circuit()
        assert not lamp.lit or lamp.ends_ms > self.session.now_ms
        exposing = lamp.lit and box.state != "viewing"
        off = lamp.lit and (not exposing or box.bench.get("safelight") == "exposing")
        assert self.meter.safelight == (0 if off or cell_reads(box) or in_the_dark(box) else 1)
        due = box.next_deadline()
        assert not box.lit if due is None else 0 <= due < WRAP

    def check_circuit(self):
        """No light while a fault stands, none without the second contact, none counted that was not seen."""
        box, circuit = self.session.box, self.session.circuit
        if self.fitted.get("second_contact"):
            assert circuit.arm or not self.session.lamp.lit
            assert not circuit.arm or box.in_run or box.lit
            for at_ms, arm_ms in self.watcher.lights:
                assert at_ms >= arm_ms + 100, "the contact has to be closed when the lamp is struck"
        assert circuit.arm == box.watch.armed
        assert self.watcher.wrongly_lit == []

    @rule(fault=st.sampled_from(("is_cut", "is_shorted", "is_welded", "is_apart")), mends=st.booleans())
    def spoil_or_mend_the_circuit(self, fault, mends):
        """A part of the circuit fails, or is well again."""
        if self.session.box.state != "away":
            self.meter.circuit_changes(lambda: self.session.spoil(**{fault: not mends}))
            self.do(self.session.advance, self.session.now_ms)
            event("a fault was mended" if mends else f"a fault: {fault}")

    @rule(counts=st.booleans())
    def stop_or_start_counting(self, counts):
        self.session.spoil(counts=counts)

    @precondition(lambda self: self.session.box.state == "browse")
    @rule(keys=st.lists(st.sampled_from(("expose", "pedal", "lamp", "back", "press", "dial")), max_size=6))
    def count_some_keys(self, keys):
        """They are counted, and do nothing: not even what is on the panel is another afterwards."""
        before = snapshot(self.session)
        self.hear(wire_line(KIT, "accept.count", {"on": 1}))
        if self.session.box.state != "counting":
            return
        for key in keys:
            self.do(self.session.input, key, 1 if key == "dial" else 0)
        counting = self.session.box.acceptance.counting
        assert sum(counting.presses) + counting.right + counting.left == len(keys)
        assert not self.session.box.lit
        after = snapshot(self.session)
        assert {what for what in after if after[what] != before[what]} <= {"state", "due"}

    @invariant()
    def what_is_worked_on_can_be_kept(self):
        """Whatever was turned, the map is one that a card can carry, and the screen can be drawn."""
        if not hasattr(self, "session"):
            return
        work = self.session.box.work.map.to_dict()
        assert PrintingMap.from_dict(work).to_dict() == work
        assert len(self.session.frame()) == 1024

    # --- a printer

    @precondition(lambda self: self.watcher.back_is_down)
    @rule()
    def let_back_go(self):
        self.do(self.session.input, "back_up")

    @rule(
        key=st.sampled_from(("expose", "expose", "expose", "pedal", "lamp", "back", "press", "press")),
        holds=st.booleans(),
    )
    def press(self, key, holds):
        if key == "back" and holds and not self.watcher.back_is_down:
            self.do(self.session.input, "back_down")
        before = snapshot(self.session)
        self.pressed = key
        if self.do(self.session.input, key) and key == "back" and before["state"] not in LIT_STATES:
            after = snapshot(self.session)
            if before["state"] == "edit":
                before["work"], before["strip"], before["bench"] = [
                    self.settled[what] for what in ("work", "strip", "bench")
                ]
            for what in ("work", "strip", "bench", "shelf", "ledger", "undo", "redo"):
                assert after[what] == before[what], f"BACK has changed {what}"
            assert after["run"] == before["run"], "BACK keeps the run"

    @rule(n=detents, times=st.integers(1, 4), gap_ms=st.sampled_from((0, 30, 60, 200)))
    def turn(self, n, times, gap_ms):
        for _ in range(times):
            self.do(self.session.input, "dial", n)
            self.do(wait, self.session, gap_ms)

    @rule(ms=times_ms)
    def wait(self, ms):
        self.do(wait, self.session, ms)
        if self.session.now_ms > self.before_wrap_ms:
            event("the ticks have wrapped")

    @precondition(lambda self: self.session.lamp.lit)
    @rule(off_ms=st.sampled_from((-1, 0, 0, 0, 1)))
    def wait_for_the_lamp(self, off_ms):
        self.do(self.session.advance, max(self.session.now_ms, self.session.lamp.ends_ms + off_ms))

    @precondition(lambda self: self.session.next_ms() >= 0)
    @rule()
    def wait_for_what_comes_next(self):
        self.do(self.session.advance, self.session.next_ms())

    @precondition(lambda self: self.session.lamp.lit)
    @rule(key=st.sampled_from(("expose", "back", "lamp", "dial", "press")))
    def press_in_the_last_ms(self, key):
        """A key and the lamp's own end in one ms, and the key comes first."""
        self.do(self.session.advance, self.session.lamp.ends_ms - 1)
        self.session.now_ms += 1
        self.do(self.session.input, key)
        self.do(self.session.advance, self.session.now_ms)

    @precondition(lambda self: self.session.box.state in ("browse", "ready", "held"))
    @rule(delay_s=st.sampled_from((1, 3, 10)), light_ms=st.sampled_from((0, 0, 2000)))
    def come_into_a_start_delay(self, delay_s, light_ms):
        """Up to the first patch or burn of a run that has one, and perhaps into the rest of it."""
        box = self.session.box
        self.hear(wire_line(KIT, "bench.set", {"values": {"start_delay_s": delay_s}}))
        if box.state == "browse":
            self.do(to_screen, self.session, "strip")
            self.expose()
            if box.state == "ask":
                self.do(self.session.input, "press")
        while box.state in ("ready", "held") and box.run.stage.kind in ("fit", "base"):
            at = box.run.at
            self.give([], 1)
            if self.session.lamp.lit:
                self.do(until_dark, self.session)
            elif box.run.at == at:
                break  # a fault stands, or BACK is down
        self.expose()
        if light_ms and box.state == "delaying":
            self.do(wait, self.session, self.session.light_in_ms() + light_ms)
            self.do(self.session.input, "expose")
            self.expose()
        event(f"stood in {box.state} after a start delay was asked for")

    @precondition(lambda self: self.session.box.state == "delaying")
    @rule(
        left_ms=st.sampled_from((1, 1, 20, 499, 501, 3000)),
        key=st.sampled_from(("expose", "pedal", "back", "lamp", "dial", "press")),
    )
    def press_in_the_start_delay(self, left_ms, key):
        """The keys end it, without light, and the stage is as it was; the dial does nothing."""
        box, session = self.session.box, self.session
        self.do(session.advance, max(session.now_ms, session.now_ms + session.light_in_ms() - left_ms))
        if box.state != "delaying":
            return  # a fault of the circuit has ended it
        before, asked = snapshot(session), self.meter.lights_asked
        self.pressed = key
        self.do(session.input, key)
        assert self.meter.lights_asked == asked
        assert snapshot(session)["run"] == before["run"]
        if key in ("dial", "press"):
            assert snapshot(session) == before
            return
        assert box.state == box.machine.before
        self.do(session.input, "expose")
        if box.bench.get("settle_ms"):
            assert box.state in ("ready", "held"), "the second of two presses begins nothing"

    @precondition(lambda self: self.session.box.state == "browse")
    @rule(card=st.sampled_from(CARDS))
    def work_on_a_card(self, card):
        if self.disk.full:
            return
        for method, params in card_lines(card):
            self.do(self.session.input, "line", wire_line(KIT, method, params))
        self.do(load, self.session, card)

    @precondition(lambda self: self.session.box.state == "browse")
    @rule(screen=st.sampled_from(("print", "strip", "tests", "shelf", "bench", "ledger")))
    def go_to_screen(self, screen):
        self.do(to_screen, self.session, screen)

    @precondition(lambda self: self.session.box.state == "browse")
    @rule(row=st.integers(0, 12), n=detents, end=st.sampled_from(("press", "press", "back", "lamp")))
    def change_a_row(self, row, n, end):
        self.do(self.session.input, "dial", -100)
        self.do(self.session.input, "dial", row)
        self.do(self.session.input, "press")
        if self.session.box.state == "edit":
            self.do(self.session.input, "dial", n)
            self.do(self.session.input, end)

    @precondition(lambda self: self.session.box.state == "browse")
    @rule(screen=st.sampled_from(("print", "strip")), holds=holds, stages=st.integers(1, 20), n=detents)
    def begin_a_run(self, screen, holds, stages, n):
        self.do(to_screen, self.session, screen)
        self.expose()
        if self.session.box.state == "ask" and stages % 2:
            self.do(self.session.input, "press")
        self.give(holds, stages)
        if self.session.box.state == "choose":
            self.choose_a_patch(n)

    @precondition(lambda self: self.session.box.state == "browse")
    @rule(
        key=st.sampled_from(TESTS), holds=holds, stages=st.integers(1, 20), row=st.integers(0, 5), n=detents
    )
    def begin_a_test(self, key, holds, stages, row, n):
        self.do(to_screen, self.session, "tests")
        self.do(to_row, self.session, HEADINGS[key])
        self.do(self.session.input, "press")
        if key in OF_THE_CELL and n > 0:
            PlainCell(self.session, lag_ms=n)
            self.do(wait, self.session, 3000)
        self.change_a_row(row, n, "press")
        self.expose()
        if self.session.box.state == "ask" and stages % 2:
            self.do(self.session.input, "press")
        self.give(holds, stages)
        event(f"stood in {self.session.box.state} after a test of {key} was begun")

    @precondition(lambda self: self.session.box.state in ("between", "waiting"))
    @rule(ms=st.sampled_from((1, 500, 2999, 60_000)), key=st.sampled_from(("expose", "back", "lamp", "dial")))
    def press_in_the_dark_of_a_test(self, ms, key):
        """No key lights the lamp there."""
        self.do(wait, self.session, ms)
        if self.session.box.state in ("between", "waiting"):
            asked = self.meter.lights_asked
            self.do(self.session.input, key)
            assert self.meter.lights_asked == asked

    def expose(self):
        """Press EXPOSE when the box listens."""
        self.do(wait, self.session, self.session.box.bench.get("settle_ms"))
        self.pressed = "expose"
        self.do(self.session.input, "expose")

    @precondition(lambda self: self.session.box.run.stages)
    @rule(holds=holds, stages=st.integers(1, 20))
    def go_on_with_the_run(self, holds, stages):
        box = self.session.box
        if box.state == "notice":
            self.do(self.session.input, "press")
        elif box.state == "browse":
            while box.panel.screen.key != "screens":
                self.do(self.session.input, "back")
            self.do(to_row, self.session, "Go on")
            self.do(self.session.input, "press")
        self.give(holds, stages)

    @precondition(lambda self: self.session.box.state == "browse" and self.session.box.run.is_kept)
    @rule()
    def end_the_run(self):
        while self.session.box.panel.screen.key != "screens":
            self.do(self.session.input, "back")
        self.do(to_row, self.session, "End this run")
        if self.do(self.session.input, "press"):
            assert not self.session.box.run.is_kept

    @precondition(lambda self: self.session.box.state == "browse" and len(self.session.box.panel.undo))
    @rule(times=st.integers(1, 4))
    def undo(self, times):
        """Back by so many changes. One that cannot be taken back stays, and all is as it was."""
        for _ in range(times):
            changes = len(self.session.box.panel.undo)
            if not changes or self.session.box.state != "browse":
                return
            while self.session.box.panel.screen.key != "screens":
                self.do(self.session.input, "back")
            self.do(to_row, self.session, "Undo")
            if not self.do(self.session.input, "press"):
                return
            refused = ("sound", "refuse") in self.listener.heard
            assert len(self.session.box.panel.undo) == changes - (not refused)
            assert not refused or self.disk.full
        event("undone")

    def give(self, holds, stages):
        """What a printer does most: stage after stage, with a hold or a stop here and there."""
        for _ in range(stages):
            if self.session.box.state in ("ready", "held"):
                self.expose()
            if holds and self.session.box.state in ("exposing", "delaying"):
                ms, key = holds.pop()
                self.do(wait, self.session, ms)
                if key == "leave":
                    self.do(self.session.input, "back")
                    key = "back"
                self.do(self.session.input, key)
            elif self.session.lamp.lit:
                self.do(until_dark, self.session)
            elif self.session.box.state == "delaying":
                self.do(wait, self.session, self.session.light_in_ms() + 200)
            elif self.session.box.state in ("between", "waiting"):
                self.do(wait, self.session, self.session.box.guided.is_between())

    @precondition(lambda self: self.session.box.state == "choose")
    @rule(n=detents)
    def choose_a_patch(self, n):
        """The base or mark taken is the light that the chosen patch got."""
        box = self.session.box
        strip = box.work.strip.copy()
        before = box.work.map.to_dict()
        self.do(self.session.input, "dial", n)
        place = box.panel.cursor.place
        self.do(self.session.input, "press")
        if box.state != "browse":
            return
        for index in range(len(box.work.map.passes)):
            if index != strip.pass_index or strip.mark_index is not None:
                assert box.work.map.base_ms(index) == before["passes"][index]["base_ms"], "that pass alone"
        if place % 2:
            return
        got_ms = sum(self.given_by_place(strip, before, place))
        after = box.work.map.passes[strip.pass_index]
        if strip.mark_index is None:
            assert box.work.map.base_ms(strip.pass_index) == got_ms
        else:
            mark = after.marks[strip.mark_index]
            base_ms = box.work.map.base_ms(strip.pass_index)
            through_another = strip.filter(PrintingMap.from_dict(before)) != after.filter
            wanted_ms = got_ms + base_ms if through_another else got_ms
            assert stops(base_ms, mark.stops120 - 0.51) <= wanted_ms + 1
            assert stops(base_ms, mark.stops120 + 0.51) >= wanted_ms - 1
        event("a patch was chosen")

    @staticmethod
    def given_by_place(strip, card, place):
        patches = [step for step in planned_strip(card, strip) if step[0] == strip.kind]
        return [
            step[3]
            for step in (patches[: place // 2 + 1] if strip.kind == "cover" else [patches[place // 2]])
        ]

    # --- what hardware may do that it should not

    @rule(ms=st.integers(0, 2000))
    def stray_tick_or_lamp_end(self, ms):
        self.do(self.session.input, "tick")
        if not self.session.box.lit:
            before = snapshot(self.session)
            self.do(self.session.input, "lamp_end", ms)
            assert snapshot(self.session) == before

    # --- power

    def start_again(self, known_ms=0):
        """After the plug was pulled: dark, and nothing that was kept is gone."""
        session, disk = self.session, self.disk
        was = self.settled
        disk.fuse = None
        asked = self.meter.lights_asked
        session.reset(known_ms)
        assert not session.lamp.lit
        assert self.meter.lights_asked == asked
        box = session.box
        assert box.state in ("browse", "notice")
        assert (box.state == "notice") == box.run.is_kept
        now = snapshot(session)
        meter = self.meter
        ran = self.stages
        self.stages = box.run.stages
        if ran and self.kept_well and self.journal_is_whole and not box.run.is_kept:
            # Its record was there already, or its last light known to be whole and only the record missing.
            assert known_ms or box.ledger.last() == self.ledger + 1
            if known_ms:
                self.given.append((known_ms, meter.strikes + 1, meter.strikes))
                self.close_run()
        elif box.run.stages and ran:
            sure = self.journal_is_whole and self.kept_well
            if sure:
                self.check_stages()
            if sure and box.run.at != self.at:
                # The cut may have come in the note of a fault, after the stage's own.
                seen = abs(meter.light_ms - self.plan[self.at][3]) <= self.close_ms()
                assert known_ms >= self.plan[self.at][3] - 1 or seen
                self.given.append((self.plan[self.at][3], meter.strikes + 1, meter.strikes))
                meter.anew()
            elif sure:
                assert box.run.given_ms <= max(known_ms, meter.light_ms) + self.close_ms(), (
                    "no more than there was"
                )
        self.journal_is_whole = self.journal_is_whole and self.kept_well
        self.at = box.run.at
        strikes = meter.strikes
        meter.anew()
        meter.light_ms, meter.strikes = box.run.given_ms, strikes if box.run.given_ms else 0
        self.unsure = box.run.at_least
        if not box.run.stages:
            self.given = []
        self.ledger = box.ledger.last()
        self.began_with = now["work"] if now["bench"]["power_up"] == "new print" else None
        self.settled = now
        return was, now

    @rule(trays=st.lists(trays_ways, min_size=1, max_size=6).map(tuple))
    def put_a_sheet_into_the_trays(self, trays):
        """As a press on the Trays screen does, which there is in the dark alone."""
        box = self.session.box
        if box.state == "browse" and not all(sheet.trays for sheet in box.trays.sheets):
            self.do(self.start_sheet, trays)
            event("sheets: %d" % sum(1 for sheet in self.session.box.trays.sheets if sheet.trays))

    def start_sheet(self, way):
        self.session.input("tick")
        trays = self.session.box.trays
        at = [bool(sheet.trays) for sheet in trays.sheets].index(False)
        with contextlib.suppress(Refusal):  # one may have come out there just now
            trays.start(at, way)

    @precondition(lambda self: self.session.box.state == "exposing")
    @rule(ms=times_ms)
    def reset_by_the_watchdog(self, ms):
        """A reset that a board's registers outlive: the light given so far is known."""
        self.do(wait, self.session, ms)
        if self.session.box.state == "exposing":
            assert self.session.lamp.lit
            given_ms = max(0, self.meter.seen_ms() - self.meter.lag_ms)
            self.pull_the_plug(self.meter.light_ms + given_ms)

    @rule()
    def lose_power(self):
        self.pull_the_plug()

    def pull_the_plug(self, known_ms=0):
        box = self.session.box
        stage = box.summary()["name"]
        lit = self.session.lamp.lit and box.state != "viewing"
        planned_ms = self.plan[self.at][3] if box.run.stages else 0
        known = known_ms or (box.run.given_ms if box.run.stages else 0)
        over = bool(box.run.stages) and box.run.at == len(box.run.stages) - 1 and known_ms >= planned_ms
        was_running = bool(box.run.stages) and not over
        began_with = self.began_with
        was, now = self.start_again(known_ms)
        if self.kept_well:
            assert now["shelf"] == was["shelf"]
            assert now["bench"] == was["bench"]
            as_left = now["state"] == "notice" or now["bench"]["power_up"] == "as left"
            # A new print that power-up began, and that nothing was done to, was never kept.
            untouched = was["work"] == began_with
            if as_left and not untouched and any(name.startswith("work.") for name in self.disk.files):
                assert now["work"] == was["work"]
            assert was_running <= (now["state"] == "notice")
            message = self.session.box.message
            if lit and not over:
                cause = "The box was reset." if known_ms else "Power was lost."
                told = f"{stage} had " if known else f"{stage} may be partly exposed."
                assert message.startswith(f"{cause} {told}"), message
        self.kept_well = not self.disk.full

    @precondition(lambda self: not self.session.lamp.lit)
    @rule(after=st.integers(0, 3), torn=st.integers(0, 80))
    def cut_power_at_a_write(self, after, torn):
        """One of the next writes will be torn, and the plug is out with it."""
        self.disk.fuse, self.disk.torn = after, torn

    def power_is_cut(self):
        event("power cut in a write")
        was, now = self.start_again()
        self.journal_is_whole = False
        if self.kept_well:
            changed = {
                name
                for name in {*was["shelf"], *now["shelf"]}
                if was["shelf"].get(name) != now["shelf"].get(name)
            }
            assert len(changed) <= 1, "one write changes one card"
        for name in self.session.box.shelf.names():
            assert self.session.box.shelf.get(name) is not None
        self.kept_well = not self.disk.full

    @rule(full=st.booleans())
    def fill_or_free_the_disk(self, full):
        self.disk.full = full

    # --- the wire

    def hear(self, line: bytes) -> None:
        """Send one line and see that it did no more than it says: laws 5 and 6."""
        replies: list[bytes] = []
        self.session.send = replies.append
        self.sent.append(line)
        before = snapshot(self.session)
        asked, lit = self.meter.lights_asked, self.session.lamp.lit
        if not self.do(self.session.input, "line", line):
            return
        after = snapshot(self.session)
        assert self.meter.lights_asked == asked, "the wire gave light"
        for what in ("lamp", "safelight", "run", "work", "strip", "message", "ledger"):
            assert after[what] == before[what], what
        assert after["due"] == before["due"] or not lit
        assert len(replies) <= 1
        reply = json.loads(replies[0][:-10]) if replies else None
        change = {what for what in after if after[what] != before[what]}
        if reply is None or "error" in reply:
            assert not change
            if reply:
                message = reply["error"]["message"]
                event(f"wire refused: {reply['error']['code']}")
                assert REFUSAL.fullmatch(message), message
                assert reply["error"]["code"] != -32603, message
        else:
            self.check_result(json.loads(line[:-9]), reply["result"], before, after, change, lit)

    def check_result(self, request, result, before, after, change, lit):
        method, params = request["method"], request["params"]
        event(f"wire: {method}")
        assert not (lit and METHODS[method][0]), "written while the light is on"
        allowed = {
            "bench.set": {"bench", "files", "undo", "due"},
            "card.commit": {"shelf", "files", "cursor", "undo"},
            "card.remove": {"shelf", "files", "cursor", "undo"},
            "ledger.read": {"files"},
            # The prompt has no settling time to wait for.
            "handover": {"state", "due"},
            "accept.count": {"state", "due"},
            "accept.show": {"due"},
            "accept.read": {"due"},
        }.get(method, set())
        assert change <= allowed, (method, change)
        if method == "bench.set":
            assert after["bench"] == {**before["bench"], **params["values"]}
            assert not any(set(params["values"]) & set(change["bench"]) for change in after["undo"])
            self.settled["bench"] = {**self.settled["bench"], **params["values"]}
        elif method == "card.commit":
            assert not any(change["card"] and change["card"][0] == result["name"] for change in after["undo"])
            assert after["shelf"] == {**before["shelf"], result["name"]: params["digest"]}
        elif method == "card.remove":
            assert after["shelf"] == {k: v for k, v in before["shelf"].items() if k != params["name"]}
        self.settled["shelf"] = after["shelf"]
        if method == "handover":
            assert self.session.handed_over
            self.pull_the_plug()

    @rule(values=st.lists(settings_values, max_size=2).map(dict))
    def set_the_bench(self, values):
        self.hear(wire_line(KIT, "bench.set", {"values": values}))

    @rule(card=st.sampled_from(CARDS), lost=st.integers(0, 5))
    def push_a_card(self, card, lost):
        for number, (method, params) in enumerate(card_lines(card)):
            if number != lost:
                self.hear(wire_line(KIT, method, params))

    @rule(message=messages)
    def ask(self, message):
        self.hear(wire_line(KIT, *message))

    @rule(data=st.binary(max_size=60), nth=st.integers(1, 12), cut=st.integers(0, 12), flip=st.booleans())
    def garbage_and_replays(self, data, nth, cut, flip):
        """Noise, and a line heard before: whole, cut short, or with one bit turned."""
        self.hear(data.replace(b"\n", b""))
        line = self.sent[-min(nth, len(self.sent))]
        if b'"handover"' not in line:
            line = line[: len(line) - cut]
            if flip and line:
                line = line[:-1] + bytes([line[-1] ^ 1])
            self.hear(line.replace(b"\n", b""))


TestBox = BoxMachine.TestCase
TestBox.settings = settings(
    max_examples=120,
    stateful_step_count=50,
    deadline=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much, HealthCheck.data_too_large],
)


# --- a lamp that does not do its part


class Deaf(Session):
    """A session whose box is never told that the lamp has gone out, however that came about."""

    def _new_box(self):
        box = super()._new_box()
        handle = box.handle

        def deaf(event, now_ms, value=0):
            if event != "lamp_end":
                return handle(event, now_ms, value)
            box.io.count = 0
            return box.io

        box.handle = deaf
        return box


OVERDUE = "The lamp did not report its end: it was put out. Check it before you go on."


def deaf_session() -> tuple[Session, LightMeter, Listener]:
    session = new_session(GuardedDisk(), 100, WRAP - 20_000, make=Deaf)
    meter, listener = LightMeter(session), Listener()
    meter.safelight = 1
    session.watchers += [meter, listener]
    return session, meter, listener


def test_a_lamp_that_never_reports_its_end_is_put_out_and_the_run_goes_on():
    session, meter, listener = deaf_session()
    box = session.box
    card = a_card(("sky", 60), base_ms=16_000)
    load(session, card)
    keys(session, "expose")
    for light_ms, then in ((16_000, "ready"), (6627, "browse")):
        begun_ms = session.now_ms
        keys(session, "expose")
        listener.heard.clear()
        wait(session, light_ms + 249)
        assert box.state == "exposing"
        assert ("dark", 0) not in listener.heard
        wait(session, 1)
        assert ("dark", 0) in listener.heard
        assert session.now_ms == begun_ms + light_ms + 250
        assert (box.state, box.message) == ("stopping", OVERDUE)
        before = dict(session.disk.files)
        wait(session, 249)
        assert box.state == "stopping"
        assert session.disk.files == before
        wait(session, 1)
        assert (box.state, box.message) == (then, OVERDUE)
        assert session.disk.files != before
        assert meter.light_ms == light_ms
        meter.anew()
    (base, burn) = last_record(box)["stages"]
    assert (base["given_ms"], burn["given_ms"]) == (16_000, 6627)
    assert meter.faults == []
    assert meter.safelight == 1


def test_viewing_light_that_never_reports_its_end_is_put_out():
    session, meter, listener = deaf_session()
    keys(session, "lamp")
    wait(session, 300_249)
    assert session.box.state == "viewing"
    wait(session, 1)
    assert ("dark", 0) in listener.heard
    assert (session.box.state, session.box.message) == ("stopping", OVERDUE)
    wait(session, 250)
    assert (session.box.state, session.box.message) == ("browse", OVERDUE)
    assert meter.safelight == 1


class Stuck(Session):
    """A session whose lamp does not go out by itself."""

    def _lamp_on(self, ms):
        super()._lamp_on(ms + 60_000)


def test_a_lamp_that_does_not_go_out_is_dark_before_anything_is_put_on_record():
    session = new_session(GuardedDisk(), make=Stuck)
    keys(session, "expose", "expose")
    wait(session, 10_249)
    assert session.lamp.lit
    before = dict(session.disk.files)
    handled = []
    handle = session.box.handle

    def noting(event, now_ms, value=0):
        out = handle(event, now_ms, value)
        handled.append((event, session.lamp.lit, session.disk.files == before))
        return out

    session.box.handle = noting
    wait(session, 1)
    assert handled == [("tick", True, True), ("lamp_end", False, False)]
    assert (session.box.state, session.box.message) == ("browse", OVERDUE)
    (base,) = last_record(session.box)["stages"]
    assert (base["given_ms"], base["strikes"]) == (10_000, 1)


@pytest.mark.parametrize(("key", "then"), [("expose", "held"), ("back", "held")])
def test_a_lamp_that_is_put_out_and_does_not_say_so_is_taken_at_the_press(key, then):
    session, meter, _ = deaf_session()
    box = session.box
    keys(session, "expose", "expose")
    wait(session, 3000)
    keys(session, key)
    assert box.state == "stopping"
    assert not session.lamp.lit
    for ignored in ("expose", "pedal", "back", "lamp", "press"):
        keys(session, ignored)
        assert box.state == "stopping"
    wait(session, 249)
    assert box.state == "stopping"
    wait(session, 1)
    assert (box.state, box.message) == (then, OVERDUE)
    assert box.exposing.left_ms() == 10_000 - 3000
    assert meter.light_ms == 3000


def test_a_lamp_that_fails_in_mid_stage_leaves_the_rest_to_be_given():
    session = new_session()
    meter = LightMeter(session)
    meter.safelight = 1
    session.watchers.append(meter)
    keys(session, "expose", "expose")
    wait(session, 4000)
    session.input("lamp_end", session._lamp_off())
    assert session.box.state == "held"
    assert session.box.exposing.left_ms() == 6000
    keys(session, "expose")
    until_dark(session)
    assert session.box.state == "browse"
    assert (meter.light_ms, meter.strikes) == (10_000, 2)


@pytest.mark.parametrize("ms", [0, 1, 2999, 3000, 10_000, 10**6])
@pytest.mark.parametrize("key", ["expose", "lamp"])
def test_a_false_report_of_the_end_finds_the_lamp_put_out(key, ms):
    # What was given is not known any more; that the lamp is dark when the box says so, is.
    session = new_session()
    keys(session, *(["expose"] if key == "expose" else []), key)
    wait(session, 3000)
    assert session.lamp.lit
    session.input("lamp_end", ms)
    assert not session.lamp.lit
    assert session.box.state not in LIT_STATES


def test_an_exception_in_any_handler_leaves_the_lamp_to_end_by_itself():
    # Whatever goes wrong in the box, the lamp's own timer has the end: there is no light without one.
    session = new_session()
    meter = LightMeter(session)
    meter.safelight = 1
    session.watchers.append(meter)
    keys(session, "expose", "expose")
    ends_ms = session.lamp.ends_ms

    class Fault(Exception):
        pass

    def fails(*_):
        raise Fault

    session.box.handle = fails
    session.box.next_deadline = lambda: None
    for event_name in ("expose", "back", "tick", "line"):
        with pytest.raises(Fault):
            session.input(event_name)
        assert session.lamp.ends_ms == ends_ms
    with pytest.raises(Fault):
        session.advance(ends_ms)
    assert not session.lamp.lit
    assert meter.faults == []
