"""What an earlier version kept in flash is there, whole, for this one.

`kept/version-1` is a flash as the first version wrote it, its plug pulled in mid-exposure (see
`kept/make_version_1.py`); the JSON beside it says in plain words what that version took it to be.
"""

import json

import pytest

from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from tests.box_model import keys, last_record, until_dark
from tests.kept_flash import disk_of, told_of
from timing_core.records.store import Store

VERSION_1 = told_of("version-1")


def test_the_image_holds_every_record_whole():
    store = Store(disk_of("version-1"), desk_platform().crc32)
    keys = store.keys()
    records = {key: json.loads(store.get(key) or b"") for key in keys}
    cards = {"card-" + card["name"]: card for card in VERSION_1["cards"]}
    ledger = {f"ledger-{record['n']:06d}": record for record in VERSION_1["ledger"]}
    alone = {key: VERSION_1[key] for key in ("bench", "work", "journal")}
    assert records == {**cards, **ledger, **alone}


def test_the_image_holds_what_a_later_version_must_not_lose():
    """The image is worth testing with: this is no statement on any code, but on the image."""
    weir = VERSION_1["cards"][2]
    marks = [mark for own in weir["passes"] for mark in own["marks"]]
    assert len(VERSION_1["cards"]) == 3
    assert weir["tied"]
    assert {mark["stops120"] > 0 for mark in marks} == {True, False}
    assert {own["filter"] for own in weir["passes"]} == {"00", "5"}
    assert "2" in [mark.get("filter") for mark in marks]
    assert [card["dry_down"] for card in VERSION_1["cards"]] == [True, False, False]
    assert VERSION_1["bench"]["lag_ms"] == 129
    assert VERSION_1["bench"]["least_ms"] == 100
    assert VERSION_1["work"]["name"] == "weir"
    assert VERSION_1["work"] != weir
    kinds = [(record["kind"], record["whole"]) for record in VERSION_1["ledger"]]
    assert kinds == [("print", True), ("print", False), ("strip", True)]
    cut = VERSION_1["cut"]["stages"][VERSION_1["cut"]["cut_stage"]]
    given = [stage for stage in VERSION_1["cut"]["stages"] if stage["given_ms"]]
    assert cut["stage"] == "Burn willow"
    assert cut["given_ms"] == 0 < VERSION_1["cut"]["lamp_was_lit_ms"]
    assert [stage["stage"][:4] for stage in given].count("Base") == 2
    assert all(stage["given_ms"] == stage["light_ms"] for stage in given)


@pytest.fixture
def session() -> Session:
    """A box of today, powered up on what the first version kept."""
    session = Session(disk_of("version-1"), desk_platform())
    session.power_up()
    return session


def test_settings_cards_map_and_ledger_are_as_they_were(session):
    box = session.box
    # The shortest light was a strike of 100 ms, lag included, and nobody had set it: it is found now.
    kept = {**VERSION_1["bench"], "least_ms": 0, "settle_ms": 700}
    # Names of areas, the start delay, the anchor and the limit of the safelight are of later versions.
    later = ("areas", "start_delay_s", "anchor", "safelight_safe_s")
    assert {key: value for key, value in box.bench.to_dict().items() if key not in later} == kept
    assert box.bench.get("start_delay_s") == 0
    assert box.work.map.to_dict() == VERSION_1["work"]
    assert [box.shelf.card(name) for name in box.shelf.names()] == VERSION_1["cards"]
    assert all("Shortest light" in line for line in box.damage_lines())
    records = box.ledger.read(0, 100)
    assert len(records) == len(VERSION_1["ledger"])
    for record, was in zip(records, VERSION_1["ledger"], strict=True):
        assert (record["form"], record["map"], record["box"]) == (1, None, "")
        for key in ("n", "kind", "card", "title", "whole", "cut_off", "dry_down_pm"):
            assert record[key] == was[key]
        assert record["stages"] == [
            {**stage, "lag_ms": was["lag_ms"], "at_least": False} for stage in was["stages"]
        ]
    assert box.ledger.last() == VERSION_1["ledger"][-1]["n"]


def test_what_has_changed_its_meaning_is_said_once(session):
    said = "Shortest light no longer counts the lag: 100 ms became 387 ms."
    assert session.box.message == f"{VERSION_1['cut']['said']} {said}"
    session.reset()
    assert session.box.message == VERSION_1["cut"]["said"]


def test_the_run_that_was_cut_off_goes_on_where_it_was(session):
    box = session.box
    cut = VERSION_1["cut"]
    assert box.state == cut["state"]
    assert box.message.startswith(cut["said"])
    session.input("press")
    assert box.state == "ready"
    assert box.run.at == cut["cut_stage"]
    assert [stage.light_ms for stage in box.run.stages] == [stage["light_ms"] for stage in cut["stages"]]
    keys(session, "expose")
    until_dark(session)
    while box.in_run:
        keys(session, "expose")
        if session.lamp.lit:
            until_dark(session)
    record = last_record(box)
    assert (record["form"], record["n"]) == (2, VERSION_1["ledger"][-1]["n"] + 1)
    assert record["map"] == VERSION_1["work"]
    given = [(stage["stage"], stage["given_ms"]) for stage in record["stages"]]
    assert given == [(stage["stage"], stage["light_ms"]) for stage in cut["stages"] if stage["light_ms"]]
    assert [stage["at_least"] for stage in record["stages"]].count(True) == 1


def test_what_was_kept_is_kept_in_todays_form_and_found_again(session):
    box = session.box
    session.reset()
    again = session.box
    assert again.bench.to_dict() == box.bench.to_dict()
    assert again.run.is_kept
    assert [again.shelf.card(name) for name in again.shelf.names()] == VERSION_1["cards"]
