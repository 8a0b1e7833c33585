"""What is known after a cut, a reset or damage, and what is kept of it: nothing that was given is forgotten,
nothing is offered that would give light twice, and what is not known is said to be not known.
"""

import json

import pytest

from host_sim.box.session import Session
from tests.box_model import (
    GuardedDisk,
    LightMeter,
    PowerCut,
    a_card,
    a_pass,
    ask,
    keys,
    last_record,
    load,
    new_session,
    push,
    set_row,
    to_row,
    to_screen,
    until_dark,
    wait,
)
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM
from timing_core.light.plan import compile_print
from timing_core.light.printing_map import PrintingMap
from timing_core.machine.machine import Exchange
from timing_core.panel import drawing as screens


def press_row(session: Session, label: str) -> None:
    while session.box.panel.screen.key != "screens":
        session.input("back")
    to_row(session, label)
    session.input("press")


def give(session: Session) -> None:
    """EXPOSE, and wait until the light is out."""
    keys(session, "expose")
    if session.lamp.lit:
        until_dark(session)


def stages_of(record: dict) -> list[tuple]:
    return [(stage["stage"], stage["given_ms"], stage["at_least"]) for stage in record["stages"]]


CARD = a_card(("sky", 60), ("sea", 40), base_ms=8000)
SKY_MS, SEA_MS = 3314, 2079  # 8 s and half a stop, a third of a stop more: 8 (2^(1/2) - 1), 8 (2^(1/3) - 1)


# --- what is known reaches the ledger


def test_light_known_after_a_watchdogs_reset_reaches_the_ledger():
    session = new_session()
    load(session, CARD)
    keys(session, "expose", "expose")
    wait(session, 2990)
    session.reset(2985)
    assert session.box.message == "The box was reset. Base, pass 1 had 2.9 s or more."
    session.input("back")
    press_row(session, "End this run")
    record = last_record(session.box)
    assert stages_of(record) == [("Base, pass 1", 2985, True)]
    assert (record["cut_off"], record["whole"], record["map"]) == ("Base, pass 1", False, CARD)


def test_what_a_watchdog_told_outlives_a_pulled_plug():
    session = new_session()
    load(session, CARD)
    keys(session, "expose", "expose")
    wait(session, 2990)
    session.reset(2985)
    session.reset()
    assert session.box.message == "Power was lost. Base, pass 1 had 2.9 s or more."
    session.input("press")
    assert (session.box.state, session.box.exposing.left_ms()) == ("held", 8000 - 2985)


def test_what_was_given_before_a_hold_outlives_a_pulled_plug():
    session = new_session()
    load(session, CARD)
    keys(session, "expose", "expose")
    wait(session, 5000)
    keys(session, "expose")
    session.reset()
    assert session.box.message == "Power was lost. Base, pass 1 had 5.0 s or more."
    # It was struck again, for how long nobody knows: the rest is at the most what the hold left.
    session.input("press")
    keys(session, "expose")
    wait(session, 1000)
    session.reset()
    assert session.box.message == "Power was lost. Base, pass 1 had 5.0 s or more."
    session.input("press")
    give(session)
    give(session)
    give(session)
    record = last_record(session.box)
    assert stages_of(record) == [
        ("Base, pass 1", 8000, True),
        ("Burn sky", SKY_MS, False),
        ("Burn sea", SEA_MS, False),
    ]


def test_a_stage_left_out_after_a_reset_is_in_the_record_with_what_is_known_of_it():
    session = new_session()
    load(session, CARD)
    keys(session, "expose", "expose")
    until_dark(session)
    keys(session, "expose")
    wait(session, 1000)
    session.reset()
    keys(session, "press")
    session.input("dial", 1)
    give(session)
    assert stages_of(last_record(session.box)) == [
        ("Base, pass 1", 8000, False),
        ("Burn sky", 0, True),
        ("Burn sea", SEA_MS, False),
    ]


# --- a reprint


@pytest.mark.parametrize(
    "card",
    [
        CARD,
        a_card(("boat", -30), ("sky", 80), base_ms=13_200, dry_down=True, dry_down_pm=65),
        {
            **a_card(tied=True, title="Workroom"),
            "passes": [
                a_pass(("face", -20), ("wall", 50, "2"), base_ms=7400, filter="00"),
                a_pass(("window", 70), base_ms=9300, filter="5"),
            ],
        },
    ],
)
def test_a_reprint_from_a_ledger_record_gives_the_same_milliseconds(card):
    session = new_session()
    meter = LightMeter(session)
    meter.safelight = 1
    session.watchers.append(meter)
    ask(session, "bench.set", values={"lag_ms": 67})

    def a_print() -> list[int]:
        lights = []
        keys(session, "expose")
        while session.box.state == "ready":
            meter.anew()
            give(session)
            lights += [meter.light_ms] if meter.light_ms else []
        return lights

    load(session, card)
    first = a_print()
    (record,) = ask(session, "ledger.read")["result"]["records"]
    assert record["map"] == card
    assert [stage["given_ms"] for stage in record["stages"]] == first
    assert [stage["lag_ms"] for stage in record["stages"]] == [67] * len(first)
    assert record["dry_down_pm"] == (card["dry_down_pm"] if card["dry_down"] else 0)
    session.reset()
    press_row(session, "Print")
    to_row(session, "New print")
    session.input("press")
    load(session, {**record["map"], "name": "again"})
    assert a_print() == first
    stages = compile_print(PrintingMap.from_dict(record["map"]), session.box.bench)
    assert [stage.light_ms for stage in stages if stage.light_ms] == first


def test_a_record_has_the_boxs_identity_and_the_time_where_a_pc_has_told_it():
    session = new_session(make=lambda *details: Session(*details, identity="e6614103e7261c2f"))
    load(session, a_card(base_ms=4000))
    wait(session, 60_000)
    keys(session, "expose", "expose")
    until_dark(session)
    # 2026-03-01 is day 20,513 since 1970-01-01: datetime.date(2026, 3, 1).toordinal() - 719163.
    assert ask(session, "clock.set", day=20_512, second=86_390)["result"] == {"ok": True}
    wait(session, 7000)
    keys(session, "expose", "expose")
    until_dark(session)
    first, second = ask(session, "ledger.read")["result"]["records"]
    assert first["box"] == second["box"] == ask(session, "hello")["result"]["identity"] == "e6614103e7261c2f"
    assert (first["up_s"], first["at"]) == (64, None)
    assert (second["up_s"], second["at"]) == (75, "2026-03-01T00:00:01Z")
    assert "error" in ask(session, "clock.set", day=20_512, second=86_400)


def test_time_is_counted_over_weeks_of_rest():
    session = new_session(ticks_ms=(1 << 30) - 5000)
    ask(session, "clock.set", day=20_512, second=0)
    wait(session, 40 * 86_400_000)
    load(session, a_card(base_ms=4000))
    keys(session, "expose", "expose")
    until_dark(session)
    record = last_record(session.box)
    assert (record["up_s"], record["at"]) == (40 * 86_400 + 4, "2026-04-09T00:00:04Z")


# --- cuts, one after another, at every write


class Evening:
    """A print of three lights with a hold in the first, cut off at the n-th write, and gone on with."""

    def __init__(self) -> None:
        self.disk = GuardedDisk()
        self.session = new_session(self.disk)
        load(self.session, CARD)
        self.light_ms: dict[str, int] = {}
        self._meter = LightMeter(self.session)
        self._meter.safelight = 1
        self.session.watchers.append(self._meter)

    def strike(self, for_ms: int | None = None) -> None:
        """EXPOSE, and hold after `for_ms`; what was given is noted before the box may write anything."""
        name = self.session.box.summary()["name"]
        keys(self.session, "expose")
        if self.session.lamp.lit:
            ends_ms = self.session.lamp.ends_ms
            lit_ms = ends_ms - self.session.lamp.lit_ms if for_ms is None else for_ms
            self.light_ms[name] = self.light_ms.get(name, 0) + lit_ms
            if for_ms is None:
                until_dark(self.session)
            else:
                wait(self.session, for_ms)
                keys(self.session, "expose")

    def play(self) -> None:
        keys(self.session, "expose")
        self.strike(3000)
        while self.session.box.in_run:
            self.strike()

    def go_on(self) -> None:
        if self.session.box.state == "notice":
            self.session.input("press")
        while self.session.box.in_run:
            self.strike()

    def cut(self, act, after: int, torn: int) -> bool:
        """Do it with the plug pulled at a write; False if there are not so many."""
        self.disk.fuse, self.disk.torn = after, torn
        try:
            act()
        except PowerCut:
            self.disk.fuse = None
            while True:
                try:
                    self.session.reset()
                    return True
                except PowerCut:
                    continue
        self.disk.fuse = None
        return False


PLANNED = {"Base, pass 1": 8000, "Burn sky": SKY_MS, "Burn sea": SEA_MS}


@pytest.mark.parametrize("torn", [0, 40])
def test_two_cuts_in_a_row_leave_no_false_word(torn):
    """Whatever two writes are cut: a light that is known to be whole is not offered again, and the ledger has
    one record of the run, which says what was given or that more may have been."""
    cuts = 0
    for first in range(60):
        evening = Evening()
        if not evening.cut(evening.play, first, torn):
            break
        for second in range(60):
            evening = Evening()
            assert evening.cut(evening.play, first, torn)
            if not evening.cut(evening.go_on, second, torn):
                break
            cuts += 1
            check_end(evening, (first, second))
    assert cuts > 15


def check_end(evening: Evening, where: tuple) -> None:
    session = evening.session
    box = session.box
    evening.go_on()
    records = box.ledger.read()
    assert len(records) <= 1, where
    if not records:
        # Nothing was begun, or the very first note of the run was cut: there was no light before it.
        assert not evening.light_ms, where
        return
    (record,) = records
    assert record["map"] == CARD, where
    found = {stage["stage"]: stage for stage in record["stages"]}
    for name, planned_ms in PLANNED.items():
        given_ms = evening.light_ms.get(name, 0)
        assert given_ms >= planned_ms, (where, name, "left out")
        assert given_ms == planned_ms or found[name]["at_least"], (where, name, "given twice unsaid")
        assert found[name]["given_ms"] == planned_ms, (where, name)
    assert record["whole"] == (not any(stage["at_least"] for stage in record["stages"])), where


def test_a_cut_between_the_ledgers_record_and_the_journals_end_says_nothing_false():
    for torn in (0, 10):
        disk = GuardedDisk()
        session = new_session(disk)
        load(session, a_card(base_ms=4000))
        keys(session, "expose", "expose")
        disk.fuse, disk.torn = 1, torn  # the record is written, the journal's removal is cut
        with pytest.raises(PowerCut):
            until_dark(session)
        disk.fuse = None
        session.reset()
        assert session.box.state == "browse"
        assert "partly exposed" not in session.box.message
        assert [record["n"] for record in session.box.ledger.read()] == [1]
        session.reset()
        assert (session.box.state, len(session.box.ledger.read())) == ("browse", 1)


# --- a full flash


class SmallDisk(GuardedDisk):
    """Has room for files of up to `room` bytes each once it is told that it is full."""

    room = 1 << 20

    def write(self, name: str, data: bytes) -> None:
        if len(data) > self.room:
            raise OSError(28, "No space left on device")
        super().write(name, data)


def test_a_run_whose_map_is_not_kept_says_so_before_its_light_and_is_not_gone_on_with():
    disk = SmallDisk()
    session = new_session(disk)
    load(session, CARD)
    keys(session, "expose", "expose")
    until_dark(session)
    press_row(session, "End this run")
    other = a_card(("sky", 120), ("sea", 90), base_ms=5000, title="x" * 40, name="another")
    load(session, other)
    disk.room = 280  # the journal still fits, the map does not
    press_row(session, "Print")
    keys(session, "expose")
    assert session.box.message == (
        "The map of this run is not kept: the memory is full. After a power cut it could not go on."
    )
    keys(session, "expose")
    until_dark(session)
    keys(session, "expose")
    wait(session, 500)
    session.reset()
    box = session.box
    assert box.state == "notice"
    assert box.message == (
        "Power was lost. Burn sky may be partly exposed. It cannot go on: its map is not kept."
    )
    assert box.machine.says("press") == ""
    session.input("press")
    keys(session, "expose", "back")
    assert [row.label for row in [box.panel.row()]] == ["End this run"]
    disk.room = 1 << 20
    session.input("press")
    record = last_record(box)
    assert record["map"] is None
    assert stages_of(record) == [("Stage 2", 5000, False), ("Burn sky", 0, True)]


def test_a_journal_that_is_out_of_date_is_not_left_to_be_believed():
    disk = GuardedDisk()
    session = new_session(disk)
    load(session, CARD)
    keys(session, "expose")
    disk.full = True
    give(session)
    assert "It is not kept" in session.box.message
    give(session)
    assert session.box.message == "", "said once a run: it hides what the hands need"
    session.reset()
    assert session.box.state == "browse", "nothing is offered that would burn the sky again"


def test_a_record_that_waits_is_written_after_a_reset_where_the_journal_fits():
    disk = SmallDisk()
    session = new_session(disk)
    load(session, CARD)
    keys(session, "expose")
    disk.room = 330
    for _ in range(3):
        give(session)
    assert "not kept yet" in session.box.message
    session.reset()
    assert "not kept yet" in session.box.message
    disk.room = 1 << 20
    session.reset()
    assert session.box.message == "The run before the reset is in the ledger now."
    record = last_record(session.box)
    assert stages_of(record) == [(name, ms, False) for name, ms in PLANNED.items()]
    assert record["whole"]


# --- damage


def spoil(disk: GuardedDisk, key: str, copies: str) -> None:
    """Turn a bit in the newest copy of a record, or in both."""
    names = sorted((n for n in disk.files if n[:-2] == key), key=lambda n: disk.files[n][:8])
    for name in names[-1:] if copies == "newest" else names:
        data = disk.files[name]
        disk.files[name] = data[:-1] + bytes([data[-1] ^ 4])


@pytest.mark.parametrize(
    ("copies", "said"),
    [
        ("newest", "The settings are damaged: older ones are in force, lag 40 ms."),
        ("both", "The settings are damaged: defaults are in force, lag 0 ms."),
    ],
)
def test_damaged_settings_are_told_with_what_is_in_force(copies, said):
    disk = GuardedDisk()
    session = new_session(disk)
    for lag_ms in (40, 120):
        ask(session, "bench.set", values={"lag_ms": lag_ms})
    spoil(disk, "bench", copies)
    for _ in range(2):
        session.reset()
        assert session.box.message == said
        assert ask(session, "damage.read")["result"] == {"lines": [said], "more": False}
    ask(session, "bench.set", values={"lag_ms": 90})
    ask(session, "bench.set", values={"lag_ms": 91})
    session.reset()
    assert session.box.message == "", "what is set anew mends it"
    assert ask(session, "damage.read")["result"]["lines"] == []


def test_a_damaged_map_and_journal_are_told():
    disk = GuardedDisk()
    session = new_session(disk)
    load(session, CARD)
    set_row(session, "Base", 1)
    spoil(disk, "work", "newest")
    session.reset()
    assert session.box.message == "The map is damaged: an older one is here."
    keys(session, "expose", "expose")
    spoil(disk, "journal", "both")
    session.reset()
    assert session.box.message == "The note of a run is damaged: a sheet may have had light."


def test_one_bad_card_hides_no_other_and_is_told():
    disk = GuardedDisk()
    session = new_session(disk)
    for name in ("allotment", "harbour", "weir"):
        push(session, a_card(name=name))
    spoil(disk, "card-harbour", "both")
    listed = ask(session, "card.list")["result"]
    assert [card["name"] for card in listed["cards"]] == ["allotment", "weir"]
    said = "Card harbour is damaged. Push it again."
    assert ask(session, "damage.read")["result"]["lines"] == [said]
    session.reset()
    assert session.box.message == said
    assert session.box.shelf.names() == ["allotment", "weir"]
    assert ask(session, "damage.read")["result"]["lines"] == [said]
    push(session, a_card(name="harbour"))
    assert ask(session, "damage.read")["result"]["lines"] == []
    assert session.box.shelf.names() == ["allotment", "harbour", "weir"]


def test_a_damaged_card_can_be_removed():
    disk = GuardedDisk()
    session = new_session(disk)
    push(session, a_card(name="harbour"))
    spoil(disk, "card-harbour", "both")
    session.reset()
    assert ask(session, "card.remove", name="harbour")["result"] == {"removed": True}
    assert not [name for name in disk.files if name.startswith("card-harbour")]


def test_a_bit_that_turns_in_the_newest_record_does_not_give_its_number_again():
    disk = GuardedDisk()
    session = new_session(disk)
    load(session, a_card(base_ms=4000))
    for _ in range(2):
        keys(session, "expose", "expose")
        until_dark(session)
    spoil(disk, "ledger-000002", "newest")
    session.reset()
    assert session.box.message == "Ledger record 2 is damaged; its number is not used again."
    keys(session, "expose", "expose")
    until_dark(session)
    assert [record["n"] for record in session.box.ledger.read()] == [1, 3]


def test_settings_map_and_cards_that_are_whole_and_cannot_be_read_are_told_too():
    disk = GuardedDisk()
    session = new_session(disk)
    push(session, a_card(name="weir"))
    store = session.box.store
    store.put("bench", b"zz")
    store.put("work", b"{}")
    store.put("card-odd", b"{nonsense")
    store.put("card-queer", b'{"title":"x"}')
    session.reset()
    lines = ask(session, "damage.read")["result"]["lines"]
    assert lines[:2] == [
        "The settings are damaged: defaults are in force, lag 0 ms.",
        "The map is damaged: a new print is here.",
    ]
    assert [card["name"] for card in ask(session, "card.list")["result"]["cards"]] == ["queer", "weir"]
    assert session.box.shelf.get("queer") is None
    assert session.box.shelf.names() == ["weir"]


@pytest.mark.parametrize(
    "journal",
    [
        {"stage": 2, "of": 3, "done": "a b"},
        {"form": 2, "stage": 2, "of": 3, "done": "1 2 3;"},
        {"stage": 2, "of": 3, "done": "9 3 1;"},
        {"form": 2, "stage": 99, "of": 3, "done": "", "light": True, "name": "Base"},
        {"form": 2, "stage": -1, "of": 3, "done": "1 5 1 0 0;", "over": True},
        {"form": 2, "stage": 1, "of": "x", "done": "1 5 1 0 0;"},
        {"stage": 1},
        {"stage": "one"},
    ],
)
def test_a_journal_of_no_known_form_breaks_nothing(journal):
    session = new_session()
    load(session, CARD)
    session.box.store.put("journal", encode(journal))
    session.reset()
    assert session.box.state in ("browse", "notice")
    session.frame()
    if session.box.run.is_kept:
        press_row(session, "End this run")
    assert not session.box.run.is_kept


def test_the_journal_is_canonical_json_whatever_an_area_is_called():
    session = new_session()
    load(session, a_card(('"Ä\\', 60), ("sea", 40), base_ms=8000))
    written = []

    def note() -> None:
        text = session.box.store.get("journal")
        journal = json.loads(text)
        assert encode(journal) == text
        assert (journal["stage"], journal["n"]) == (session.box.run.at, session.box.run.number)
        written.append((journal["name"], journal["given_ms"], journal["light"], journal["over"]))

    keys(session, "expose")
    note()
    give(session)
    note()
    keys(session, "expose")
    wait(session, 1500)
    keys(session, "expose")
    wait(session, 1000)
    note()
    burn = 'Burn "Ä\\'
    assert written == [("Base, pass 1", 0, True, False), (burn, 0, True, False), (burn, 1500, True, False)]


def test_a_ledger_record_of_no_known_form_hides_no_other():
    session = new_session()
    load(session, a_card(base_ms=4000))
    for _ in range(3):
        keys(session, "expose", "expose")
        until_dark(session)
    session.box.store.put("ledger-000002", b'{"n":2}')
    assert [record["n"] for record in ask(session, "ledger.read")["result"]["records"]] == [1, 3]


# --- between strips, maps, records and cuts


def test_a_kept_strip_of_a_map_with_more_in_it_than_todays_breaks_nothing():
    session = new_session()
    load(session, a_card(("sky", 80), base_ms=8000))
    to_screen(session, "strip")
    set_row(session, "Strip for", 1)
    keys(session, "expose", "expose")
    until_dark(session)
    keys(session, "back")
    load(session, a_card(name="plain"))
    session.reset()
    keys(session, "back")
    to_screen(session, "strip")
    session.frame()
    press_row(session, "Go on")
    while session.box.in_run:
        give(session)
    assert session.box.message == (
        "The strip is done, but strip or map is another now. Set it back to choose a patch."
    )
    assert len(last_record(session.box)["stages"]) == 5


def test_a_print_known_to_be_whole_is_kept_over_a_full_flash():
    disk = GuardedDisk()
    session = new_session(disk)
    load(session, a_card())
    keys(session, "expose", "expose")
    wait(session, 15_950)
    disk.full = True
    session.reset(16_000)
    assert "not kept yet" in session.box.message
    assert last_record(session.box)["whole"]


def test_a_stage_known_to_be_whole_is_not_offered_again_after_another_cut():
    session = new_session()
    load(session, CARD)
    keys(session, "expose", "expose")
    wait(session, 4000)
    session.reset(8000)
    assert session.box.message == "The box was reset. Base, pass 1 had all of its light."
    session.reset()
    session.input("press")
    assert session.box.summary()["name"] == "Burn sky"


def test_a_record_that_waits_says_that_it_is_not_kept_and_one_that_gives_way_is_told():
    disk = GuardedDisk()
    session = new_session(disk)
    load(session, a_card(base_ms=4000))
    disk.full = True
    for number in range(6):
        keys(session, "expose", "expose")
        until_dark(session)
        said = f"A record waits, {number - 3} are lost" if number > 3 else "The record is not kept yet"
        assert session.box.message.startswith(f"{said}: ")
    records = ask(session, "ledger.read")["result"]["records"]
    assert [(record["n"], record["kept"]) for record in records] == [(n, False) for n in (3, 4, 5, 6)]
    disk.full = False
    records = ask(session, "ledger.read")["result"]["records"]
    assert [(record["n"], record["kept"]) for record in records] == [(n, True) for n in (3, 4, 5, 6)]


def test_dodge_windows_stay_where_they_were_whatever_the_lead_in_is_now():
    session = new_session()
    load(session, a_card(("posts", -40), base_ms=13_200))
    keys(session, "expose")
    windows = [(window.open_ms, window.close_ms) for window in session.box.run.stages[1].windows]
    keys(session, "expose")
    wait(session, 5000)
    keys(session, "expose")
    ask(session, "bench.set", values={"lead_ms": 5000})
    session.reset()
    session.input("press")
    assert [(window.open_ms, window.close_ms) for window in session.box.run.stages[1].windows] == windows


def test_a_reset_that_was_no_loss_of_power_is_not_told_as_one():
    session = new_session()
    load(session, CARD)
    keys(session, "expose", "expose")
    wait(session, 100)
    session.reset(-1)
    assert session.box.message == "The box was reset. Base, pass 1 may be partly exposed."


def test_the_sheet_is_at_risk_again_when_it_is_back_in_the_easel():
    session = new_session()
    load(session, a_card())
    keys(session, "expose", "expose")
    wait(session, 4000)
    keys(session, "expose", "lamp", "lamp", "lamp")
    wait(session, 3000)
    keys(session, "lamp")
    assert not session.lamp.lit


# --- drawing


def test_an_overdue_viewing_light_over_a_filter_stage_is_drawn():
    """A stage of no light has no bar: its length was divided by once."""
    session = new_session()
    card = a_card(base_ms=4000)
    card["passes"].append(a_pass(base_ms=2000, filter="5"))
    load(session, card)
    keys(session, "expose", "expose")
    until_dark(session)
    keys(session, "lamp", "lamp")
    session._lamp_off()  # and nobody tells the box
    wait(session, 300_250)
    assert session.box.state == "stopping"
    assert len(session.frame()) == 1024


def test_words_are_whole_though_the_light_cuts_in_while_they_are_made(monkeypatch):
    """On a board EXPOSE may light the stage between any two bytecodes of the picture before it."""
    session = new_session()
    load(session, a_card(("sky", -60), base_ms=8000))
    keys(session, "expose")
    plain = screens.in_letters
    asked = []

    def cutting(text: str) -> bytes:
        asked.append(text)
        if len(asked) == 2:
            keys(session, "expose")
            session.screen.prepare()
        return plain(text)

    monkeypatch.setattr(screens, "in_letters", cutting)
    session.screen._words = screens._NO_WORDS
    session.screen.prepare()
    stage, title, _, areas, _ = session.screen._words
    assert session.box.state == "exposing"
    assert stage is session.box.run.stages[1]
    assert (title, areas) == (plain("Base, pass 1"), [plain("sky")])


def test_a_fault_in_drawing_ends_neither_light_nor_run(monkeypatch):
    session = new_session()
    undrawn: list[Exception] = []
    session.undrawn = undrawn.append
    load(session, a_card(("sky", 60), base_ms=8000))
    keys(session, "expose")
    plain = session.screen._exposing
    monkeypatch.setattr(session.screen, "_exposing", lambda: 1 // 0)
    keys(session, "expose")
    for _ in range(40):
        wait(session, 100)
        assert len(session.frame()) == 1024
    assert session.lamp.lit
    assert all(isinstance(fault, ZeroDivisionError) for fault in undrawn)
    assert len(undrawn) == 40, "tried again each time"
    monkeypatch.setattr(session.screen, "_exposing", plain)
    wait(session, 100)
    session.frame()
    assert len(undrawn) == 40
    until_dark(session)
    give(session)
    assert last_record(session.box)["whole"]


# --- outputs


def test_an_output_too_many_is_never_lost_in_silence():
    out = Exchange(True)
    for _ in range(Exchange.ROOM):
        out.put("sound", "tick")
    with pytest.raises(IndexError):
        out.put("dark")


def test_a_call_that_comes_very_late_sounds_what_was_due_in_portions():
    session = new_session()
    load(session, a_card(("face", -120), base_ms=100_000))
    keys(session, "expose", "expose")
    box = session.box
    heard = []
    now_ms = session.now_ms + 60_000
    for _ in range(20):
        out = box.handle("tick", now_ms)
        heard += [out.value[n] for n in range(out.count) if out.kind[n] == "sound"]
        assert out.count < Exchange.ROOM
        if box.next_deadline() > now_ms:
            break
    # 60 s: a tick each second but where a cue falls on it (the pip at 1 s and the opening at 2 s of lead-in,
    # three more pips and the closing on full and half seconds), and every cue.
    assert heard.count("open") == heard.count("close") == 1
    assert heard.count("pip") == 6
    assert heard[-1] == "tick"


# --- what an earlier version kept


def test_an_older_shortest_light_is_converted_and_said():
    for was_ms, now_ms in ((100, 0), (400, 280), (60, 0)):
        disk = GuardedDisk()
        session = new_session(disk)
        session.box.store.put("bench", encode({"lag_ms": 120, "least_ms": was_ms}))
        session.reset()
        assert session.box.bench.get("least_ms") == now_ms
        light_ms = now_ms or 360
        assert session.box.message.startswith(
            f"Shortest light no longer counts the lag: {was_ms} ms became {light_ms} ms."
        )
        assert json.loads(session.box.store.get("bench"))["form"] == BENCH_FORM
        session.reset()
        assert session.box.message == "", "once"
