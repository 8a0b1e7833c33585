"""What an earlier version kept in flash is there, whole, for this one.

`kept/version-1` is a flash as the first version wrote it, its plug pulled in mid-exposure (see
`kept/make_version_1.py`); the JSON beside it says in plain words what that version took it to be.
"""

import json
import sys
from pathlib import Path

import pytest

from host_sim.desk import desk_kit
from host_sim.session import Session
from timing_core.store import Store

sys.path.append(str(Path(__file__).parent))

from kept_flash import disk_of, told_of

VERSION_1 = told_of("version-1")


def test_the_image_holds_every_record_whole():
    store = Store(disk_of("version-1"), desk_kit().crc32)
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
    session = Session(disk_of("version-1"), desk_kit())
    session.power_up()
    return session


def test_settings_cards_map_and_ledger_are_as_they_were(session):
    box = session.box
    assert box.bench.to_dict() == VERSION_1["bench"]
    assert box.work.to_dict() == VERSION_1["work"]
    assert [box.shelf.card(name) for name in box.shelf.names()] == VERSION_1["cards"]
    assert box.ledger.read(0, 100) == VERSION_1["ledger"]


def test_the_run_that_was_cut_off_goes_on_where_it_was(session):
    box = session.box
    cut = VERSION_1["cut"]
    assert (box.state, box.message) == (cut["state"], cut["said"])
    session.input("press")
    assert box.state == "ready"
    assert box.at == cut["cut_stage"]
    assert [stage.light_ms for stage in box.stages] == [stage["light_ms"] for stage in cut["stages"]]
