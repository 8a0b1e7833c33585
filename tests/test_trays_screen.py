"""The Trays screen, worked as a printer works it: with wet hands, and now and then with the wrong key."""

import pytest

from tests.box_model import (
    GuardedDisk,
    a_card,
    ask,
    keys,
    load,
    new_session,
    push,
    set_row,
    snapshot,
    to_row,
    to_screen,
    until_dark,
    wait,
)
from tests.test_trays import Heard, places
from timing_core.light.tray_sequence import (
    DEFAULT_NAMES,
    EXACT,
    FACTOR,
    TRAYS_MAX,
    TraySequence,
    default_sequence,
)
from timing_core.machine.tray_setup import PAPERS, SETTINGS, TraySetup
from timing_core.machine.trays import LOST_SHEETS


def on_trays(disk=None, sequence=None, **values):
    """The Trays screen, set to these values; `sequence` has the trays of one from a PC."""
    session = new_session(disk)
    if sequence is not None:
        kept = TraySequence.from_dict({"name": "own", "title": "", "trays": sequence})
        session.box.sequences.keep_text("own", kept.text())
    to_screen(session, "trays")
    if sequence is not None:
        setup_of(session).choose("own")
    session.box.panel.screen._setup.keep(**values)
    return session


EXACTLY = [["developer", 60, 40, 12, "exact", 0, 10], ["stop bath", 10, 40, 0, "exact", 0, 5]]


def setup_of(session) -> TraySetup:
    return session.box.panel.screen._setup


def value_of(session, label: str) -> str:
    to_row(session, label)
    return session.box.panel.value(session.box.panel.row())


def test_a_press_starts_a_sheet_and_the_next_moves_it():
    session = on_trays()
    keys(session, "press")
    assert places(session) == ["developer", "", ""]
    wait(session, 3000)
    keys(session, "press")
    assert places(session)[0] == "stop bath"


@pytest.mark.parametrize("key", ["expose", "pedal"])
def test_expose_does_nothing_here_and_the_foot_says_nothing_of_it(key):
    session = on_trays()
    for _ in range(2):
        assert session.box.machine.says("expose") == ""
        before = snapshot(session)
        keys(session, key, key)
        assert snapshot(session) == before
        keys(session, "press")
    assert places(session)[0] == "developer"


def test_the_second_press_of_a_bounce_or_a_slip_does_nothing():
    session = on_trays(kind=EXACT)
    keys(session, "press", "press")
    assert session.box.message.startswith("Not moved")
    assert places(session)[0] == "developer"
    wait(session, 60_000 - 100)
    assert places(session)[0] == "developer"
    wait(session, 200)  # it has just gone on by itself, and the hand was too late
    keys(session, "press")
    assert places(session)[0] == "stop bath"


def test_a_sheet_that_has_just_come_out_makes_no_new_one():
    session = on_trays(sequence=EXACTLY)
    keys(session, "press")
    whole_ms = sum(tray[1] for tray in setup_of(session).way)
    wait(session, whole_ms + 2000)
    assert places(session)[0] == ""
    keys(session, "press")
    assert session.box.message.startswith("No sheet begins")
    assert places(session)[0] == ""
    wait(session, 1000)
    keys(session, "press")
    assert places(session)[0] == "developer"


def test_every_sheet_keeps_its_row_whatever_goes_on_in_the_others():
    session = on_trays(sequence=EXACTLY)
    keys(session, "press")
    wait(session, 30_000)
    session.input("dial", 1)
    keys(session, "press")
    sheet = session.box.trays.sheets[1]
    while session.box.trays.sheets[0].trays:
        wait(session, 1000)
        assert session.box.panel.row().index == 1
        assert session.box.panel.row().label in (sheet.tray, "take it out")
    assert sheet.trays


def test_first_sight_is_pressed_and_a_bounce_of_it_does_not_move_the_sheet():
    session = on_trays(kind=FACTOR, factor10=60)
    keys(session, "press")
    assert session.box.panel.row().deed == "it is seen"
    wait(session, 2999)
    keys(session, "press")
    assert session.box.message.startswith("First sight is not taken")
    wait(session, 9001)
    assert session.box.panel.value(session.box.panel.row()) == "0:12"
    keys(session, "press", "press")
    assert session.box.message.startswith("Not moved")
    assert session.box.panel.value(session.box.panel.row()) == "1:00"
    wait(session, 60_000)
    assert places(session)[0] == "stop bath"


def test_a_tired_developer_is_told_by_a_late_image():
    session = on_trays(kind=FACTOR)
    for at, sight_ms in enumerate((8000, 12_000, 12_100)):
        to_row(session, f"Sheet {at + 1}")
        keys(session, "press")
        wait(session, sight_ms)
        keys(session, "press")
        assert ("is tired" in session.box.message) == (sight_ms > 12_000)
    assert setup_of(session).values["fresh_ms"] == 8000
    set_row(session, "  mixed", 0)
    assert setup_of(session).values["fresh_ms"] == 0


def test_the_temperature_changes_the_sheets_that_begin_and_no_other():
    session = on_trays()
    keys(session, "press")
    set_row(session, "Temperature", 8)
    assert value_of(session, "Temperature") == "24.0 °C"
    assert value_of(session, "developer") == "0:59"
    assert value_of(session, "Sheet 2") == "0:46"


def test_back_drops_a_temperature_that_was_only_turned():
    session = on_trays()
    before = dict(session.disk.files)
    to_row(session, "Temperature")
    keys(session, "press")
    session.input("dial", 5)
    assert session.box.panel.value(session.box.panel.row()) == "22.5 °C"
    keys(session, "back")
    assert session.box.panel.value(session.box.panel.row()) == "20.0 °C"
    assert session.disk.files == before


def test_no_temperature_is_turned_to_that_has_no_time():
    session = on_trays()
    for detents, text in ((99, "26.0 °C"), (-99, "16.0 °C")):
        to_row(session, "Temperature")
        keys(session, "press")
        session.input("dial", detents)
        keys(session, "press")
        assert value_of(session, "Temperature") == text
        assert setup_of(session).way


def test_trays_are_reached_from_a_run_that_is_kept_and_the_run_goes_on():
    session = new_session()
    load(session, a_card(base_ms=40_000))
    to_screen(session, "trays")
    setup_of(session).keep(kind=EXACT)
    keys(session, "press", "back")
    to_screen(session, "print")
    keys(session, "expose", "expose")
    wait(session, 10_000)
    keys(session, "back", "back")
    to_screen(session, "trays")
    assert places(session)[0] == "developer"
    assert session.box.run.is_kept
    wait(session, 60_000)
    assert places(session)[0] != "developer"
    keys(session, "back")
    to_row(session, "Go on")
    keys(session, "press", "expose")
    until_dark(session)
    assert session.box.message.startswith("Print 1 is done")


def test_what_is_shown_under_light_is_as_without_sheets():
    frames = []
    for sheets in (False, True):
        session = new_session()
        load(session, a_card(("face", -40), base_ms=20_000))
        if sheets:
            to_screen(session, "trays")
            keys(session, "press", "back")
            to_screen(session, "print")
        keys(session, "expose", "expose")
        found = []
        for _ in range(19):
            wait(session, 1000)
            found.append(bytes(session.frame()))
        frames.append(found)
    assert frames[0] == frames[1]


def test_the_tones_come_whatever_screen_is_open_and_through_strikes():
    session = new_session()
    load(session, a_card(("face", -20), base_ms=30_000))
    heard = Heard(session)
    to_screen(session, "trays")
    setup_of(session).keep(kind=EXACT)
    keys(session, "press", "back")
    to_screen(session, "print")
    keys(session, "expose", "expose")
    until_dark(session)
    keys(session, "expose", "expose")
    wait(session, 29_000)
    keys(session, "expose")
    wait(session, 120_000)
    to_screen(session, "shelf")
    wait(session, 90_000)
    tones = [tone for _, tone in heard.tones()]
    assert tones.count("tray") == 4
    assert tones.count("drain") == 3
    heard.check_apart()


# --- the kinds of time


def test_after_a_least_time_the_row_says_what_it_is_over_and_a_press_moves_the_sheet():
    session = on_trays()
    keys(session, "press")
    wait(session, 60_000)
    shown = []
    for _ in range(4):
        row = session.box.panel.row()
        shown.append((row.label, session.box.panel.value(row)))
        wait(session, 1000)
    assert shown == [("developer", "over"), ("over", "+0:01"), ("developer", "over"), ("over", "+0:03")]
    wait(session, 79_000)
    assert value_of(session, "over") == "+1:23"
    assert session.box.panel.row().deed == "move on"
    keys(session, "press")
    assert value_of(session, "stop bath") == "0:10"


def test_after_an_exact_time_the_row_says_that_the_sheet_is_to_come_out_and_its_clock_goes_on():
    session = on_trays(sequence=EXACTLY)
    keys(session, "press")
    wait(session, 60_000)
    assert value_of(session, "take it out") == ""
    assert places(session)[0] == "stop bath"
    wait(session, 3000)
    assert value_of(session, "stop bath") == "0:07"
    wait(session, 7000)
    assert places(session)[0] == ""
    assert value_of(session, "take it out") == ""
    frame = bytes(session.frame())
    wait(session, 3000)
    assert session.box.panel.row().label == "Sheet 1"
    assert bytes(session.frame()) != frame, "the screen is drawn anew when it is told no more"


def test_a_press_that_moves_a_sheet_asks_for_nothing_more():
    session = on_trays(sequence=EXACTLY)
    keys(session, "press")
    wait(session, 5000)
    keys(session, "press")
    assert session.box.panel.row().label == "stop bath"


def test_the_kind_of_the_first_tray_comes_with_the_sequence_and_can_be_changed():
    session = on_trays(
        sequence=[["developer", 90, 40, 12, "factor", 0, 10], ["fix", 60, 40, 12, "least", 0, 0]]
    )
    set_row(session, "Sequence", -2)
    assert value_of(session, "Developer") == "least time"
    set_row(session, "Sequence", 1)
    assert value_of(session, "Developer") == "exact time"
    set_row(session, "Sequence", 1)
    assert value_of(session, "Sequence") == "own"
    assert value_of(session, "Developer") == "by first sight"
    assert value_of(session, "  factor") == "\u00d7 6.0"
    assert value_of(session, "Sheet 1") == ""
    set_row(session, "Developer", -1)
    assert value_of(session, "Sheet 1") == "1:30"


def test_a_tray_has_its_time_at_its_own_temperature():
    session = on_trays(sequence=[["developer", 60, 48, 12, "exact", 0, 0], ["fix", 60, 40, 0, "exact", 0, 0]])
    assert value_of(session, "Sheet 1") == "1:20"  # 60 s at 24 °C, and 4 degrees less: x 2^(48/120) is 79.2
    set_row(session, "Temperature", 8)
    assert value_of(session, "Sheet 1") == "1:00"
    assert [tray[1] for tray in setup_of(session).way] == [60_000, 60_000]


# --- sequences from a PC


def test_one_of_the_same_name_takes_the_place_of_the_box_s_own_until_it_is_removed():
    session = on_trays()
    own = {"name": "rc", "title": "my own", "trays": [["developer", 45, 40, 12, "exact", 0, 5]]}
    assert value_of(session, "Sheet 1") == "1:00"
    push(session, own)
    assert value_of(session, "Sheet 1") == "0:45"
    assert setup_of(session).sequences() == ["rc", "fibre"]
    ask(session, "card.remove", name="rc", kind="sequence")
    assert value_of(session, "Sheet 1") == "1:00"


def test_where_the_chosen_one_is_removed_the_box_s_first_is_in_force():
    session = on_trays(sequence=EXACTLY)
    keys(session, "press")
    assert value_of(session, "Sequence") == "own"
    ask(session, "card.remove", name="own", kind="sequence")
    assert value_of(session, "Sequence") == "rc"
    assert len(setup_of(session).way) == 4
    assert len(session.box.trays.sheets[0].trays) == 2, "a sheet on its way keeps its trays"
    keys(session, "back")
    to_screen(session, "trays")
    assert value_of(session, "Sequence") == "rc"


# --- undo


def undo(session) -> str:
    keys(session, "back")
    session.input("dial", -99)
    keys(session, "press")
    return session.box.message


def redo(session) -> str:
    keys(session, "back")
    to_row(session, "Redo")
    keys(session, "press")
    return session.box.message


@pytest.mark.parametrize(
    ("label", "detents", "says"),
    [
        ("Temperature", 3, "Temperature: 20.0 °C"),
        ("Sequence", 1, "Sequence: rc"),
        ("Developer", 2, "Developer: least time"),
        ("Sheets of", 1, f"Sheets of: {PAPERS[2][0]}"),
        ("Fixing baths", 0, "Fixing baths: one"),
        ("  good for", 7, "Fix good for: 4 sheets"),
    ],
)
def test_a_setting_of_the_trays_is_undone_and_made_again(label, detents, says):
    session = on_trays(limit_cm2=4 * 516)
    before = setup_of(session).all_values()
    set_row(session, label, detents)
    after = setup_of(session).all_values()
    assert before != after
    for _ in range(2):
        assert undo(session) == f"Undone: {says}."
        to_screen(session, "trays")
        assert setup_of(session).all_values() == before
        redo(session)
        to_screen(session, "trays")
        assert setup_of(session).all_values() == after


def test_sheets_that_went_through_since_a_bath_was_fresh_count_also_when_that_is_undone():
    session = on_trays(limit_cm2=100 * 516, used_cm2=5 * 516, baths=1, turns=1)
    set_row(session, "  used", 0)
    assert value_of(session, "  used") == "0 sheets, 0 %"
    to_row(session, "Sheet 1")
    keys(session, "press")
    assert undo(session) == "Undone: Fix used: 5 sheets, 5 %."
    to_screen(session, "trays")
    assert value_of(session, "  used") == "6 sheets, 6 %"
    assert setup_of(session).values["turns"] == 1
    redo(session)
    to_screen(session, "trays")
    assert value_of(session, "  used") == "1 sheet, 1 %"
    assert setup_of(session).values["turns"] == 2


def test_what_a_fresh_developer_was_before_comes_back():
    session = on_trays(kind=FACTOR, mixed_s=7200, fresh_ms=9000)
    set_row(session, "  mixed", 0)
    assert (setup_of(session).mixed_s(), setup_of(session).values["fresh_ms"]) == (0, 0)
    undo(session)
    to_screen(session, "trays")
    assert (setup_of(session).mixed_s(), setup_of(session).values["fresh_ms"]) == (7200, 9000)


def test_a_setting_that_is_taken_as_it_was_is_no_change():
    session = on_trays()
    set_row(session, "Temperature", 0)
    assert len(session.box.panel.undo) == 0


def test_where_the_disk_is_full_nothing_is_undone_and_the_change_is_remembered():
    disk = GuardedDisk()
    session = on_trays(disk)
    set_row(session, "Temperature", 2)
    disk.full = True
    assert undo(session).startswith("It is not kept")
    disk.full = False
    assert undo(session) == "Undone: Temperature: 20.0 °C."


def test_a_sheet_on_its_way_is_no_change_to_undo():
    session = on_trays()
    keys(session, "press")
    assert len(session.box.panel.undo) == 0
    assert undo(session) != "Undone: Sheet 1."
    assert places(session)[0] == "developer"


# --- what is kept


def test_settings_and_counts_are_kept_and_the_sheets_are_not():
    disk = GuardedDisk()
    session = on_trays(disk)
    set_row(session, "Sequence", 1)
    set_row(session, "  good for", 10)
    keys(session, "back")
    to_screen(session, "trays")
    keys(session, "press")
    session.reset()
    assert session.box.message == LOST_SHEETS
    to_screen(session, "trays")
    assert session.box.message == LOST_SHEETS
    keys(session, "back")
    to_screen(session, "trays")
    assert session.box.message == ""
    assert places(session) == ["", "", ""]
    assert value_of(session, "Sequence") == "fibre"
    assert value_of(session, "  used") == "1 sheet, 10 %"


def test_hours_since_the_developer_was_mixed_are_counted_as_far_as_the_box_was_on():
    session = on_trays()
    assert value_of(session, "  mixed") == "not set"
    set_row(session, "  mixed", 0)
    keys(session, "back")
    wait(session, 2 * 3_600_000 + 60_000)
    to_screen(session, "trays")
    assert value_of(session, "  mixed") == "2 h ago or more"
    set_row(session, "Temperature", 1)  # which writes the record
    wait(session, 3_600_000)
    assert value_of(session, "  mixed") == "3 h ago or more"
    session.reset()
    to_screen(session, "trays")
    assert value_of(session, "  mixed") == "2 h ago or more"


def test_two_baths_are_turned_over_three_times_and_then_both_are_fresh():
    session = on_trays(limit_cm2=516, baths=1)
    said = []
    for _ in range(5):
        to_row(session, "Sheet 1") if not places(session)[0] else to_row(session, places(session)[0])
        while places(session)[0]:
            wait(session, 4000)
        wait(session, 4000)
        session.input("dial", -99)
        keys(session, "press")
        said.append(session.box.message)
        to_row(session, "  used")
        keys(session, "press", "press")
        assert value_of(session, "  used") == "0 sheets, 0 %"
    assert ["both" in line for line in said] == [False, False, False, True, False]


@pytest.mark.parametrize(
    "record",
    [
        b"",
        b"null",
        b"[1]",
        b"{",
        b'{"sequence":7,"half_degrees":"x"}',
        b'{"sequence":"RC"}',
        b'{"paper":-1,"mixed_s":true}',
    ],
)
def test_a_record_that_makes_no_sense_leaves_the_defaults(record):
    session = new_session()
    session.box.store.put("trays", record)
    to_screen(session, "trays")
    assert setup_of(session).values == {"sequence": "rc", **{key: value for key, value, _, _ in SETTINGS}}
    assert value_of(session, "Temperature") == "20.0 °C"


def test_every_sequence_and_paper_fits():
    session = on_trays()
    for name in DEFAULT_NAMES:
        setup_of(session).choose(name)
        assert 3 <= len(setup_of(session).way) <= TRAYS_MAX
        assert TraySequence.from_dict(default_sequence(name).to_dict()).to_dict()["name"] == name
    for at in range(len(PAPERS)):
        setup_of(session).keep(paper=at)
        assert setup_of(session).sheet_cm2() > 200


def test_the_cards_sheet_is_counted_where_it_names_one():
    """203 x 254 mm are 516 cm2, 508 x 610 mm 3099 cm2 (20 x 24 inches)."""
    session = on_trays(limit_cm2=10_000)
    keys(session, "press")
    assert setup_of(session).values["used_cm2"] == 516
    keys(session, "back", "back")
    load(session, {**a_card(), "measures": {"sheet_wide_mm": 508, "sheet_high_mm": 610}})
    to_screen(session, "trays")
    assert value_of(session, "Sheets of") == "508 \u00d7 610 mm"
    keys(session, "press")
    session.input("dial", 1)
    assert session.box.panel.row().label == "Fixing baths", "what the card says is not opened here"
    to_row(session, "Sheet 2")
    keys(session, "press")
    assert setup_of(session).values["used_cm2"] == 516 + 3099
    load(session, a_card())
    to_screen(session, "trays")
    assert value_of(session, "Sheets of") == "20 \u00d7 25 cm"


def test_what_has_two_values_is_turned_to_either():
    session = on_trays()
    for label, proposed in (("  mixed", 1), ("  used", 1), ("Fixing baths", 1)):
        to_row(session, label)
        keys(session, "press")
        for detents, picked in ((0, proposed), (-1, 0), (1, 1), (1, 1), (-3, 0)):
            session.input("dial", detents)
            assert session.box.panel.cursor.pick == picked
        keys(session, "back")


def test_what_fix_is_good_for_goes_from_not_set_to_999_sheets():
    session = on_trays()
    to_row(session, "  good for")
    keys(session, "press")
    for detents, picked in ((-1, 0), (-9, 0), (2000, 999), (1, 999)):
        session.input("dial", detents)
        assert session.box.panel.cursor.pick == picked


def test_a_full_disk_refuses_a_setting_and_loses_nothing():
    disk = GuardedDisk()
    session = on_trays(disk)
    disk.full = True
    to_row(session, "Temperature")
    keys(session, "press")
    session.input("dial", 2)
    keys(session, "press")
    assert session.box.message.startswith("It is not kept")
    keys(session, "back")
    assert value_of(session, "Temperature") == "20.0 °C"
    session.input("dial", -99)
    keys(session, "press")
    assert session.box.message.startswith("It is not kept")
    assert places(session)[0] == "developer", "the clock comes before the count"
