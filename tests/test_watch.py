"""The read-backs and the second contact: what is fitted, what is seen, and what each fault leads to."""

import json

import pytest

from tests.box_model import (
    GuardedDisk,
    LightMeter,
    Listener,
    a_card,
    ask,
    keys,
    last_record,
    load,
    new_session,
    snapshot,
    to_row,
    to_screen,
    until_dark,
    wait,
)
from timing_core.canonical import encode
from timing_core.machine import watch
from timing_core.records.fitted import Fitted
from timing_core.records.store import Store

FAULTS = dict(zip(watch.FAULTS, watch.LINES, strict=True))
ALL = {"read_backs": True, "second_contact": True}
SENSE = {"read_backs": True}
CONTACT = {"second_contact": True}
PLAIN = {"column_offset": 0, "display": "ssd1306", "read_backs": False, "second_contact": False}


def desk(fitted=None, settle_ms=0, disk=None, base_ms=10_000):
    """A session with its meter and listener, in front of a print of one base."""
    session = new_session(disk, settle_ms=settle_ms, fitted=ALL if fitted is None else fitted)
    session.meter, session.listener = LightMeter(session), Listener()
    session.meter.safelight = 1
    session.watchers += [session.meter, session.listener]
    if base_ms != 10_000:
        load(session, a_card(base_ms=base_ms))
    return session


def arms(session):
    """What ARM was driven to, and the lamp, each with its time."""
    return [(at, kind) for at, kind in session.listener.times if kind in ("arm", "light", "dark")]


def fault_of(session):
    return {line: name for name, line in FAULTS.items()}.get(session.box.message, "")


# --- what is fitted


def test_nothing_is_fitted_at_first_and_what_is_set_holds_from_the_next_start():
    session = new_session()
    assert ask(session, "fitted.get")["result"] == {"values": PLAIN, "in_force": True}
    reply = ask(session, "fitted.set", values={"read_backs": True, "display": "sh1106", "column_offset": 2})
    values = {**PLAIN, "read_backs": True, "display": "sh1106", "column_offset": 2}
    assert reply["result"] == {"values": values, "in_force": False}
    assert not session.box.watch.has_sense
    session.reset()
    assert session.box.watch.has_sense
    assert ask(session, "fitted.get")["result"] == {"values": values, "in_force": True}
    assert session.box.fitted.in_force["display"] == "sh1106"


@pytest.mark.parametrize(
    "values",
    [
        {"read_backs": 1},
        {"second_contact": "yes"},
        {"display": "other"},
        {"display": 3},
        {"column_offset": 5},
        {"column_offset": True},
        {"column_offset": -1},
        {"lamp": True},
        {"read_backs": True, "tick": True},
    ],
)
def test_what_is_no_value_is_refused_as_a_whole(values):
    session = new_session()
    before = snapshot(session)
    error = ask(session, "fitted.set", values=values)["error"]
    assert error["code"] == 2
    assert ask(session, "fitted.get")["result"]["values"] == PLAIN
    assert snapshot(session) == before


def test_it_is_not_set_under_light():
    session = new_session()
    keys(session, "expose", "expose")
    assert ask(session, "fitted.set", values=SENSE)["error"]["code"] == 1
    assert "fitted.0" not in session.disk.files


def spoiled(name, data):
    """A session after a start whose file `name` of the record has `data`."""
    session = new_session()
    ask(session, "fitted.set", values=CONTACT)
    ask(session, "fitted.set", values=ALL)
    session.disk.files[name] = data
    session.reset()
    return session


@pytest.mark.parametrize("both", [False, True])
def test_a_damaged_record_lights_nothing_until_a_person_confirms(both):
    session = spoiled("fitted.0", b"rubbish")
    if both:
        session.disk.files["fitted.1"] = b""
        session.reset()
    assert fault_of(session) == "unknown"
    for key in ("expose", "lamp"):
        keys(session, key)
        wait(session, 1000)
        assert not session.box.lit
        assert session.box.state == "browse"
        assert fault_of(session) == "unknown"
    assert ask(session, "state")["result"]["fault"] == FAULTS["unknown"]
    # The wire does not confirm: only what is pressed does.
    ask(session, "fitted.set", values={"read_backs": False})
    keys(session, "lamp")
    assert fault_of(session) == "unknown"
    session.input("back")
    to_row(session, "Confirm")
    session.input("press")
    assert session.box.message == "Confirmed."
    assert not session.box.fitted.doubt
    assert session.box.watch.has_contact == (not both)
    session.reset()
    assert session.box.message != FAULTS["unknown"]
    keys(session, "lamp")
    wait(session, 200)
    assert session.box.state == "viewing"


def test_a_record_of_no_known_form_is_a_damaged_one():
    session = new_session()
    for text in (b"[]", b"17", b'"read_backs"', encode({"read_backs": 1}), b"\xff", b"{"):
        Store(session.disk, session.platform.crc32).put("fitted", text)
        fitted = Fitted(session.box.store, session.platform)
        assert fitted.doubt
        assert fitted.in_force == PLAIN


def test_a_confirmation_that_cannot_be_kept_confirms_nothing():
    disk = GuardedDisk()
    session = new_session(disk)
    ask(session, "fitted.set", values=ALL)
    disk.files["fitted.0"] = b"rubbish"
    session.reset()
    session.input("back")
    disk.full = True
    to_row(session, "Confirm")
    session.input("press")
    assert session.box.message.startswith("It is not kept")
    session.input("lamp")
    assert fault_of(session) == "unknown"


# --- all is well


@pytest.mark.parametrize("fitted", [ALL, SENSE, CONTACT])
@pytest.mark.parametrize("settle_ms", [0, 700])
def test_a_well_circuit_changes_no_light(fitted, settle_ms):
    session = desk(fitted, settle_ms, base_ms=16_000)
    keys(session, "expose", "expose")
    for _ in range(2):
        wait(session, 4000)
        keys(session, "expose")
        assert session.box.state == "held"
        keys(session, "expose")
    until_dark(session)
    assert session.box.state == "browse"
    assert session.meter.light_ms == 16_000
    (base,) = last_record(session.box)["stages"]
    assert (base["given_ms"], base["strikes"]) == (16_000, 3)
    assert "faults" not in last_record(session.box)
    keys(session, "lamp")
    wait(session, 1000)
    keys(session, "lamp")
    wait(session, 400_000)
    assert session.meter.faults == []
    assert session.box.watch.faults() == []
    assert not session.circuit.arm


def test_the_contact_closes_with_the_run_and_the_lamp_follows_the_press_at_once():
    session = desk(CONTACT)
    keys(session, "expose")
    begun_ms = session.now_ms
    assert session.circuit.arm
    session.input("expose")
    assert session.box.state == "ready"  # without a settling time of its own there are still 100 ms
    wait(session, 100)
    session.input("expose")
    assert session.box.state == "exposing"
    assert session.lamp.lit_ms == begun_ms + 100
    until_dark(session)
    assert not session.circuit.arm
    assert session.box.state == "browse"


@pytest.mark.parametrize("key", ["lamp", "expose"])
def test_light_from_an_open_contact_comes_100_ms_after_it_closes(key):
    session = desk(CONTACT)
    if key == "expose":
        keys(session, "expose", "expose")
        wait(session, 3000)
        session.input("back")
        assert session.box.state == "held"
    assert not session.circuit.arm
    keys(session, key)
    pressed_ms = session.now_ms
    assert session.box.state == "arming"
    assert session.box.lit
    assert not session.lamp.lit
    assert session.circuit.arm
    wait(session, 99)
    assert not session.lamp.lit
    wait(session, 1)
    assert session.lamp.lit_ms == pressed_ms + 100
    assert session.box.state == ("viewing" if key == "lamp" else "exposing")
    assert session.box.in_run == (key == "expose")
    until_dark(session)
    assert session.box.state == "browse"
    assert not session.circuit.arm


@pytest.mark.parametrize(
    ("begun", "key"),
    [("expose", "expose"), ("expose", "pedal"), ("expose", "back"), ("lamp", "lamp"), ("lamp", "back")],
)
def test_every_key_ends_the_arming_in_the_dark(begun, key):
    session = desk(CONTACT)
    if begun == "expose":
        keys(session, "expose", "expose")
        wait(session, 3000)
        session.input("back")
    before = session.box.state
    keys(session, begun)
    wait(session, 50)
    lights = session.meter.lights_asked
    for other in ("press", "lamp" if begun == "expose" else "expose"):
        session.input(other)
        assert session.box.state == "arming"
    session.input(key)
    assert session.box.state == before
    assert not session.circuit.arm
    wait(session, 5000)
    assert session.meter.lights_asked == lights
    keys(session, begun)
    wait(session, 100)
    assert session.lamp.lit


def test_the_contact_opens_with_back_with_the_end_and_with_a_hand_over():
    session = desk(CONTACT)
    keys(session, "expose")
    session.input("back")
    assert session.box.state == "browse"
    assert not session.circuit.arm
    session.input("press")  # Go on
    assert session.box.state == "ready"
    assert session.circuit.arm
    keys(session, "expose")
    wait(session, 2000)
    keys(session, "expose")
    assert session.box.state == "held"
    assert session.circuit.arm  # a hold is no end
    keys(session, "lamp", "lamp")  # warns of the sheet first
    assert session.box.state == "viewing"
    wait(session, 1000)
    keys(session, "lamp")
    assert session.box.state == "held"
    assert not session.circuit.arm
    keys(session, "expose")
    wait(session, 200)
    assert session.box.state == "exposing"
    keys(session, "expose")
    assert session.circuit.arm
    ask(session, "handover")
    assert not session.circuit.arm


def test_a_reset_opens_the_contact():
    session = desk()
    keys(session, "expose", "expose")
    wait(session, 2000)
    session.reset()
    assert not session.circuit.arm
    assert not session.box.watch.armed


# --- light that is not seen


@pytest.mark.parametrize("at_ms", [0, 1000, 9000])
def test_light_that_is_not_seen_is_held_and_only_what_was_seen_is_counted(at_ms):
    session = desk(SENSE)
    keys(session, "expose")
    if not at_ms:
        session.spoil(is_cut=True)
    keys(session, "expose")
    struck_ms = session.now_ms
    wait(session, at_ms)
    session.spoil(is_cut=True)
    wait(session, 49)
    assert session.box.state == "exposing"
    wait(session, 1)
    assert session.box.state == "held"
    assert not session.lamp.lit
    assert session.now_ms == struck_ms + at_ms + 50
    assert fault_of(session) == "unlit"
    assert session.box.exposing.left_ms() == 10_000 - at_ms
    session.spoil(is_cut=False)
    keys(session, "expose")
    until_dark(session)
    assert session.box.state == "browse"
    record = last_record(session.box)
    assert record["faults"] == ["unlit"]
    assert record["stages"][0]["given_ms"] == 10_000
    assert record["whole"]


def test_a_gap_that_is_over_soon_is_not_counted_either():
    session = desk(SENSE)
    keys(session, "expose", "expose")
    wait(session, 5000)
    session.spoil(is_cut=True)
    wait(session, 40)
    session.spoil(is_cut=False)
    until_dark(session)
    assert session.box.state == "held"
    assert fault_of(session) == "unlit"
    assert session.box.exposing.left_ms() == 40


def test_what_a_reset_finds_counts_no_light_that_was_not_seen():
    session = desk(SENSE)
    keys(session, "expose", "expose")
    wait(session, 3000)
    session.spoil(is_cut=True)
    wait(session, 40)
    assert session.box.exposing.known_ms == 3000


def test_viewing_light_that_is_not_seen_ends():
    session = desk(SENSE)
    keys(session, "lamp")
    wait(session, 5000)
    session.spoil(is_cut=True)
    wait(session, 60)
    assert session.box.state == "browse"
    assert fault_of(session) == "unlit"


@pytest.mark.parametrize(("dark_ms", "short_ms"), [(1, 0), (2, 0), (3, 3), (40, 40)])
def test_light_counts_as_it_is_seen_but_for_2_ms_that_its_two_edges_may_be_read_wrong(dark_ms, short_ms):
    session = desk(SENSE)
    keys(session, "expose", "expose")
    wait(session, 4000)
    session.spoil(is_cut=True)
    wait(session, dark_ms)
    session.spoil(is_cut=False)
    until_dark(session)
    if short_ms:
        assert session.box.state == "held"
        assert session.box.exposing.left_ms() == short_ms
    else:
        assert [own["given_ms"] for own in last_record(session.box)["stages"]] == [10_000]


def test_back_that_darkens_the_lamp_a_little_before_its_press_comes_is_no_fault():
    session = desk()
    keys(session, "expose", "expose")
    wait(session, 3000)
    session.spoil(is_cut=True)
    wait(session, 1)
    session.input("back")
    assert session.box.state == "held"
    assert fault_of(session) == ""
    assert session.box.exposing.left_ms() in (6999, 7000)


def test_a_lag_is_allowed_for_in_light_that_was_seen():
    session = desk(SENSE)
    ask(session, "bench.set", values={"lag_ms": 150})
    keys(session, "expose", "expose")
    wait(session, 4150)
    session.spoil(is_cut=True)
    wait(session, 50)
    assert session.box.exposing.left_ms() == 6000


# --- an output that is on unasked


@pytest.mark.parametrize("fitted", [SENSE, ALL])
def test_an_output_that_is_on_in_the_dark_is_told_and_nothing_is_lit(fitted):
    session = desk(fitted)
    keys(session, "expose")
    session.spoil(is_shorted=True)
    wait(session, 49)
    assert fault_of(session) == ""
    wait(session, 1)
    assert fault_of(session) == "live"
    assert not session.circuit.arm
    for key in ("expose", "lamp"):
        keys(session, key)
        wait(session, 500)
        assert not session.box.lit
        assert fault_of(session) == "live"
    session.input("back")
    assert session.box.state == "browse"
    keys(session, "expose")
    assert session.box.state == "browse"
    session.spoil(is_shorted=False)
    to_row(session, "Go on")
    session.input("press")
    keys(session, "expose")
    until_dark_or_armed(session)
    assert last_record(session.box)["faults"] == ["live"]


def test_a_press_in_the_ms_in_which_the_settling_time_is_over_arms_and_time_goes_on():
    """The end of that time was due, and no tick took it away while the contact closed."""
    session = desk(CONTACT, settle_ms=700)
    wait(session, 699)
    session.now_ms += 1
    session.input("lamp")
    assert session.box.state == "arming"
    for _ in range(9):
        session._step(session.next_ms())
    assert session.lamp.lit


def test_a_fault_that_goes_and_comes_again_is_told_again():
    session = desk(SENSE)
    for _ in range(2):
        session.spoil(is_shorted=True)
        wait(session, 50)
        assert fault_of(session) == "live"
        session.spoil(is_shorted=False)
        wait(session, 500)
        session.input("dial", 1)
        assert fault_of(session) == ""


def until_dark_or_armed(session):
    """Let an arming and its light come to their end."""
    wait(session, 200)
    until_dark(session)


def test_an_output_that_stays_on_after_a_light_is_told():
    session = desk(SENSE)
    keys(session, "expose", "expose")
    wait(session, 2000)
    session.spoil(is_shorted=True)
    until_dark(session)
    assert last_record(session.box)["stages"][0]["given_ms"] == 10_000
    wait(session, 50)
    assert fault_of(session) == "live"


def test_an_output_that_is_on_at_power_up_is_told():
    session = desk(SENSE)
    session.spoil(is_shorted=True)
    session.reset()
    keys(session, "lamp")
    assert not session.lamp.lit
    wait(session, 100)
    assert fault_of(session) == "live"


# --- the cut-off


def test_a_cut_off_that_does_not_count_lets_the_light_end_and_gives_no_other_so_long():
    session = desk(SENSE)
    session.spoil(counts=False)
    keys(session, "expose", "expose")
    until_dark(session)
    assert session.box.state == "browse"
    assert fault_of(session) == "uncounted"
    assert last_record(session.box)["stages"][0]["given_ms"] == 10_000
    keys(session, "lamp")
    assert fault_of(session) == "uncounted"
    assert not session.lamp.lit
    keys(session, "expose")
    assert session.box.state == "ready"
    keys(session, "expose")
    assert session.box.state == "ready"
    assert fault_of(session) == "uncounted"


def test_light_of_3_s_is_given_all_the_same_and_one_that_is_counted_mends_it():
    session = desk(SENSE, base_ms=3000)
    session.spoil(counts=False)
    keys(session, "lamp")
    wait(session, 3000)
    keys(session, "lamp")
    assert fault_of(session) == ""
    keys(session, "lamp")
    wait(session, 3001)
    keys(session, "lamp")
    assert fault_of(session) == "uncounted"
    keys(session, "expose", "expose")
    assert session.lamp.lit
    until_dark(session)
    assert session.box.watch.uncounted
    session.spoil(counts=True)
    keys(session, "expose", "expose")
    until_dark(session)
    assert not session.box.watch.uncounted
    keys(session, "lamp", "lamp")
    assert session.lamp.lit


def test_a_person_may_confirm_that_the_cut_off_does_not_count():
    session = desk(SENSE)
    session.spoil(counts=False)
    keys(session, "lamp")
    wait(session, 3001)
    keys(session, "lamp", "back")
    to_row(session, "Confirm")
    assert session.box.panel.value(session.box.panel.row()) == "no cut-off"
    session.input("press")
    for _ in range(2):
        keys(session, "lamp")
        assert session.lamp.lit
        wait(session, 5000)
        keys(session, "lamp")
        assert fault_of(session) == ""
    # Once it was seen to count, it has to.
    session.spoil(counts=True)
    keys(session, "lamp")
    wait(session, 5000)
    keys(session, "lamp")
    session.spoil(counts=False)
    keys(session, "lamp")
    wait(session, 5000)
    keys(session, "lamp")
    assert fault_of(session) == "uncounted"


# --- the second contact


def test_a_contact_that_does_not_open_is_told_and_the_box_refuses_to_arm():
    session = desk(CONTACT)
    keys(session, "expose", "expose")
    session.spoil(is_welded=True)
    until_dark(session)
    wait(session, 99)
    assert fault_of(session) == ""
    wait(session, 1)
    assert fault_of(session) == "welded"
    for key in ("expose", "lamp"):
        keys(session, key)
        wait(session, 500)
        assert session.box.state == "browse"
        assert not session.circuit.arm
        assert fault_of(session) == "welded"
    session.spoil(is_welded=False)
    keys(session, "lamp", "lamp")
    assert session.box.state == "arming"


def test_it_is_looked_at_at_power_up():
    session = desk(CONTACT)
    session.spoil(is_welded=True)
    session.reset()
    wait(session, 100)
    assert fault_of(session) == "welded"


def test_a_contact_that_does_not_close_gives_no_light():
    session = desk(CONTACT)
    session.spoil(is_apart=True)
    for key in ("lamp", "lamp"):
        keys(session, key)
        assert session.box.state == "arming"
        wait(session, 100)
        assert session.box.state == "browse"
        assert fault_of(session) == "apart"
        assert not session.circuit.arm
    assert session.meter.lights_asked == 0


def test_a_contact_that_opens_under_light_ends_it():
    session = desk(ALL)
    keys(session, "expose", "expose")
    wait(session, 4000)
    session.spoil(is_apart=True)
    wait(session, 50)
    assert session.box.state == "held"
    assert fault_of(session) == "apart"
    assert session.box.exposing.left_ms() == 6000
    assert not session.circuit.arm


def test_two_faults_at_once_are_both_told_and_the_box_sleeps():
    session = desk(ALL)
    session.spoil(is_welded=True, is_shorted=True)
    wait(session, 1000)
    assert session.box.next_deadline() is None
    assert ask(session, "health")["result"]["faults"] == [FAULTS["live"], FAULTS["welded"]]
    keys(session, "expose", "expose")
    assert session.box.state == "browse"


# --- what becomes of a fault


def test_a_fault_outlives_a_pulled_plug_and_is_part_of_the_next_record_alone():
    session = desk(SENSE)
    session.spoil(is_shorted=True)
    wait(session, 100)
    session.spoil(is_shorted=False)
    session.reset()
    for faults in (["live"], None):
        keys(session, "expose", "expose")
        until_dark(session)
        assert last_record(session.box).get("faults") == faults
    json.dumps(ask(session, "ledger.read", after=0))


def test_a_run_that_was_cut_off_is_told_beside_the_fault():
    session = desk(SENSE)
    keys(session, "expose", "expose")
    wait(session, 2000)
    session.spoil(is_shorted=True)
    session.reset()
    wait(session, 100)
    assert session.box.state == "notice"
    assert "Base, pass 1 may be partly exposed" in session.box.message
    assert session.box.message.endswith(FAULTS["live"])


def test_nothing_fitted_takes_no_notice():
    session = desk({})
    session.spoil(is_shorted=True, is_welded=True, counts=False)
    wait(session, 1000)
    keys(session, "expose", "expose")
    until_dark(session)
    assert session.box.state == "browse"
    assert session.box.watch.faults() == []
    assert not [kind for kind, _ in session.listener.heard if kind == "arm"]


def test_the_strip_screen_and_the_list_know_the_fault_too():
    session = desk(SENSE)
    session.spoil(is_shorted=True)
    wait(session, 100)
    to_screen(session, "strip")
    keys(session, "expose")
    assert session.box.state == "browse"
    assert fault_of(session) == "live"
