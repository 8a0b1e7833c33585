"""The Light cell screen, worked as a printer works it: a strip once, then two spots of a negative."""

import math
from fractions import Fraction

import pytest

from tests.box_model import (
    CELL_READ_MS,
    GuardedDisk,
    PlainCell,
    a_card,
    a_pass,
    keys,
    load,
    new_session,
    set_row,
    snapshot,
    to_row,
    to_screen,
    undo,
    until_dark,
    wait,
)
from tests.portable.papers import VC_2019
from timing_core.canonical import encode
from timing_core.light.stops import scale
from timing_core.machine.cell_strips import STRIPS_MAX, CellStrip, CellStrips
from timing_core.panel import light_cell_screen
from timing_core.panel.print_screen import record_at_work
from timing_core.refusal import Refusal

OPEN = 30000
"""What a conversion counts on the open easel."""


def metering(record: bool = False, disk=None, **card):
    """A session with the screen open, and its dark reading taken."""
    session = new_session(disk)
    if record:
        session.box.papers.keep_text("vc-2019", encode(VC_2019))
        card["record"] = "vc-2019"
    load(session, a_card(**card))
    session.cell = PlainCell(session)
    to_screen(session, "light_cell")
    wait(session, CELL_READ_MS)
    return session


def lamp(session, counts: int) -> None:
    """The lamp lit, and the cell on a spot long enough."""
    session.cell.counts = counts
    if not session.lamp.lit:
        keys(session, "lamp")
        if not session.lamp.lit:  # there may be paper in the easel
            wait(session, 1000)
            keys(session, "lamp")
    wait(session, CELL_READ_MS)


def dark(session) -> None:
    keys(session, "lamp")
    wait(session, CELL_READ_MS)


def value(session, label: str) -> str:
    to_row(session, label)
    return session.box.panel.value(session.box.panel.row())


def labels(session) -> list:
    return [row.label for row in session.box.panel.rows()]


def press(session, label: str) -> str:
    to_row(session, label)
    keys(session, "press")
    return session.box.message


def calibrated(session, filter: str = "2", open_counts: int = OPEN, place: int = 4, totals=None) -> None:
    """As if a strip had been given and kept."""
    totals = totals or [scale(2000, 40 * patch) for patch in range(7)]
    map = session.box.work.map
    strip = CellStrip(map.record, filter, 4 * open_counts, place, totals)
    session.box.panel.screen._strips.keep(strip)


def spots(session, first: int, second: int) -> None:
    lamp(session, first)
    keys(session, "press")
    lamp(session, second)
    keys(session, "press")
    dark(session)


def give_a_strip(session) -> None:
    """All of it, with its middle patch chosen; then back to the light cell."""
    to_screen(session, "strip")
    keys(session, "expose")
    while session.box.state == "ready":
        keys(session, "expose")
        until_dark(session)
        wait(session, 1000)
    assert session.box.state == "choose"
    keys(session, "press")
    to_screen(session, "light_cell")


# --- the screen and what surrounds it


def test_the_safelight_is_out_while_it_is_open_and_only_then():
    session = metering()
    assert not session.box.lamp.safelight
    lamp(session, 500)
    dark(session)
    assert not session.box.lamp.safelight
    keys(session, "back")
    assert session.box.lamp.safelight


def test_without_a_cell_one_line_says_so_and_nothing_else_is_offered():
    session = new_session()
    to_screen(session, "light_cell")
    wait(session, 1000)
    assert labels(session) == ["No light cell answers"]
    assert press(session, "No light cell answers") == (
        "Not read: no light cell answers. Plug it in; all else works without one."
    )


def test_it_is_asked_to_read_while_the_screen_is_open_and_not_after():
    session = metering()
    asked = []
    session.read_cell = lambda *_: asked.append(1) or 0
    wait(session, 2000)
    assert asked
    keys(session, "back")
    asked.clear()
    wait(session, 60_000)
    assert asked == []


def test_the_wires_counting_of_contacts_leaves_the_safelight_as_it_is():
    session = metering()
    session.input("count")
    assert session.box.state == "counting"
    assert not session.box.lamp.safelight
    session.input("end_count")
    assert not session.box.lamp.safelight


def test_handed_over_the_safelight_is_lit():
    session = metering()
    session.input("handover")
    assert session.box.state == "away"
    assert session.box.lamp.safelight


@pytest.mark.parametrize("key", ["expose", "pedal"])
def test_expose_does_nothing_here_in_the_dark_and_under_light(key):
    session = metering()
    for _ in range(2):
        assert session.box.machine.says("expose") == ""
        before = snapshot(session)
        keys(session, key, key)
        assert snapshot(session) == before
        lamp(session, 500)
    assert session.box.state == "viewing"


def test_nothing_is_written_while_it_reads_under_light():
    disk = GuardedDisk()
    session = metering(disk=disk)
    disk.session = session  # from now on a write under light is a fault
    lamp(session, 500)
    keys(session, "press")
    lamp(session, 800)
    keys(session, "press")
    wait(session, 10_000)
    dark(session)
    assert session.box.panel.work.spots[:2] == [2000, 3200]


# --- spots


def test_a_press_takes_the_first_spot_and_the_next_the_second_and_says_so():
    session = metering()
    box = session.box
    assert box.machine.says("press") == "tell more"
    lamp(session, 500)
    assert box.machine.says("press") == "first spot"
    keys(session, "press")
    assert box.machine.says("press") == "second spot"
    lamp(session, 4000)
    keys(session, "press")
    assert box.panel.work.spots == [2000, 16000, 0]
    dark(session)
    assert value(session, "Light") == "+3"
    assert box.machine.says("press") == "forget"
    keys(session, "press")
    assert box.panel.work.spots == [0, 0, 0]


def test_what_cannot_be_gone_by_is_not_taken_and_the_press_is_not_named():
    session = metering()
    session.cell.counts = 20
    keys(session, "lamp")
    wait(session, CELL_READ_MS)
    before = list(session.box.panel.work.spots)
    assert session.box.machine.says("press") == ""
    keys(session, "press")
    assert session.box.panel.work.spots == before


def test_spots_stay_while_other_screens_are_open_and_the_dark_is_read_again():
    session = metering()
    lamp(session, 500)
    keys(session, "press")
    dark(session)
    to_screen(session, "print")
    to_screen(session, "light_cell")
    assert session.box.panel.screen.cell.now == 0
    wait(session, CELL_READ_MS)
    lamp(session, 1000)
    assert session.box.panel.screen.cell.twelfths() == 12


def test_a_reading_waits_until_the_filter_is_out():
    session = metering()
    session.box.run.filter_in = "2"
    lamp(session, 500)
    assert session.box.machine.says("press") == ""
    dark(session)
    assert "a filter is in" not in session.box.message
    press(session, "Filter 2 is in")
    assert session.box.run.filter_in == ""
    assert "Filter 2 is in" not in labels(session)
    assert session.box.panel.row().key == "light", "where a second press notes nothing"
    lamp(session, 500)
    assert session.box.machine.says("press") == "first spot"


@pytest.mark.parametrize(
    ("counts", "dark_counts", "why"),
    [
        (20, 0, "Not read: there is too little light. Open the lens, or read a brighter spot."),
        (60000 * 23, 0, "Not read: there is too much light. Close the lens."),
        (500, 200, "Not read: other light is over a tenth of it. Put it out, cover the display."),
    ],
)
def test_why_it_is_not_read_is_told_under_light_by_a_word_and_in_the_dark_by_a_line(counts, dark_counts, why):
    session = metering()
    session.cell.dark = dark_counts
    wait(session, CELL_READ_MS)
    lamp(session, counts)
    cell = session.box.panel.screen.cell
    assert cell.good == 0
    with pytest.raises(Refusal) as refusal:
        raise session.box.panel.screen._refusal()
    assert refusal.value.line == why


# --- a strip


def test_a_strip_is_kept_with_the_open_easel_and_found_after_a_power_cut():
    disk = GuardedDisk()
    session = metering(disk=disk)
    assert press(session, "Keep a strip") == (
        "No strip is kept: the open easel was not read. Read it before you give the strip."
    )
    assert press(session, "Open easel") == (
        "Not read: no light was read. Press LAMP, and hold the cell still for 4 s."
    )
    lamp(session, OPEN)
    dark(session)
    assert press(session, "Open easel").startswith("Noted.")
    assert press(session, "Keep a strip") == (
        "No strip is kept: it has to be one for a base. Give one for pass 1."
    )
    give_a_strip(session)
    assert press(session, "Keep a strip") == "Kept. Its patches are the tones for filter 2 now."
    assert session.box.panel.row().label == "Keep a strip", "though First spot as is above it now"
    gave = session.box.work.strip_gave[3:]
    for again in (session, metering(disk=disk)):
        (strip,) = again.box.panel.screen._strips.kept
        assert (strip.paper, strip.filter, strip.open_counts) == ("", "2", 4 * OPEN)
        assert strip.totals == gave
        assert strip.place == len(gave) - 1


@pytest.mark.parametrize("flash", [{"light_ms": 1200}, {"light_ms": 700, "filter": "00", "after": True}])
def test_a_strip_with_a_flash_is_not_kept_for_its_tones_are_not_those_of_its_light(flash):
    session = metering(flash=flash)
    calibrated(session, filter="5")
    lamp(session, OPEN)
    dark(session)
    press(session, "Open easel")
    give_a_strip(session)
    assert press(session, "Keep a strip") == (
        "No strip is kept: the last strip had a flash. Give one without."
    )
    assert [strip.filter for strip in session.box.panel.screen._strips.kept] == ["5"]


def test_strips_are_kept_a_paper_and_a_filter_and_the_oldest_goes():
    session = metering()
    strips = session.box.panel.screen._strips
    for number in range(STRIPS_MAX + 2):
        calibrated(session, filter=str(number))
    assert [strip.filter for strip in strips.kept] == [str(n) for n in range(2, STRIPS_MAX + 2)]
    calibrated(session, filter="5", open_counts=999)
    assert len(strips.kept) == STRIPS_MAX
    assert strips.find("", "5").open_counts == 4 * 999
    assert strips.find("vc", "5") is None


@pytest.mark.parametrize(
    "kept", [b"{}", b"[1]", b'[["","2",0,0,[1,2]]]', b'[["","2",5,9,[1,2]]]', b"[[]]", b"7"]
)
def test_a_record_of_another_form_is_as_none(kept):
    session = new_session()
    session.box.store.put("light-cell", kept)
    strips = CellStrips(session.box.store, session.box.panel.kept.json_loads)
    assert strips.kept == []


# --- what follows from spots


def test_the_base_is_the_patches_light_by_the_ratio_of_readings_and_is_undone():
    """t = t_k c_0 / c: patch 3 had 3.175 s where a conversion counted 30000; at a tenth of that it is ten
    times as long."""
    session = metering(base_ms=8000)
    calibrated(session)
    lamp(session, OPEN // 10)
    keys(session, "press")
    dark(session)
    wanted_ms = 31_750
    assert value(session, "Base") == "31.8 s"
    before = session.box.work.map.text()
    keys(session, "press")
    assert session.box.panel.value(session.box.panel.row()) == "+2  31.8 s"
    assert session.box.work.map.base_ms(0) == pytest.approx(wanted_ms, abs=5)
    keys(session, "press")
    assert session.box.message == "It is a start, to about 1/6 stop: make a strip round it."
    assert session.box.work.map.base_ms(0) == pytest.approx(wanted_ms, abs=5)
    undo(session)
    assert session.box.work.map.text() == before


def test_the_tone_of_the_first_spot_is_turned_and_kept():
    session = metering()
    calibrated(session)
    to_row(session, "First spot as")
    keys(session, "press")
    session.input("dial", 3)
    keys(session, "press")
    assert value(session, "First spot as") == "patch 4½"
    assert session.box.panel.screen._strips.kept[0].place == 7
    keys(session, "press")
    session.input("dial", 99)
    keys(session, "back")
    assert value(session, "First spot as") == "patch 4½"


def test_two_spots_choose_the_filter_and_neighbours_are_turned_to():
    """M1: counts of 17870 and 200470 are R 105.1, and filter 2 of the paper of 2019."""
    session = metering(record=True, filter="1")
    calibrated(session, filter="1")
    spots(session, 1787, 20047)
    assert value(session, "Filter").startswith("2  ")
    before = session.box.work.map.text()
    keys(session, "press")
    first = session.box.work.map
    assert first.passes[0].filter == "2"
    moved = record_at_work(session.box.panel).change("1", "2", "light tone")
    light_ms = scale(scale(2000, 80), moved, OPEN, 1787)
    assert first.base_ms(0) == pytest.approx(light_ms, rel=0.003)
    session.input("dial", 1)
    assert session.box.work.map.passes[0].filter == "3"
    assert session.box.work.map.base_ms(0) > first.base_ms(0)
    session.input("dial", -1)
    keys(session, "press")
    taken = session.box.work.map
    assert taken.to_dict() == {**first.to_dict(), "measures": {"spot": 4 * 1787}}
    undo(session)
    assert session.box.work.map.text() == before


def test_two_spots_make_a_split_pair_and_it_is_undone():
    session = metering(record=True)
    calibrated(session)
    spots(session, 1787, 20047)
    before = session.box.work.map.text()
    to_row(session, "Split grade")
    keys(session, "press", "press")
    map = session.box.work.map
    assert [own.filter for own in map.passes] == ["00", "5"]
    assert map.tied
    record = record_at_work(session.box.panel)
    light_ms = scale(scale(2000, 80), 0, OPEN, 1787)
    wanted = record.split_for("2", light_ms, 419)
    for index in (0, 1):
        assert map.base_ms(index) == pytest.approx(wanted[index], rel=0.005)
    # And again, for what is a pair now, in whichever order
    spots(session, 1787, 15000)
    to_row(session, "Split grade")
    undo(session)
    assert session.box.work.map.text() == before


def test_with_the_pair_at_work_its_bases_are_set():
    card = {"passes": [a_pass(filter="5", base_ms=9000), a_pass(filter="00", base_ms=8000)], "tied": True}
    session = metering(record=True, **card)
    calibrated(session, filter="5")
    spots(session, 1787, 20047)
    assert not {"Base", "Filter"} & set(labels(session))
    to_row(session, "Split grade")
    keys(session, "press", "press")
    record = record_at_work(session.box.panel)
    soft_ms, hard_ms = record.split_for("5", scale(scale(2000, 80), 0, OPEN, 1787), 419)
    map = session.box.work.map
    assert map.base_ms(0) == pytest.approx(hard_ms, rel=0.005)
    assert map.base_ms(1) == pytest.approx(soft_ms, rel=0.005)


def test_without_a_strip_or_a_record_nothing_is_proposed_that_is_not_known():
    session = metering()
    spots(session, 500, 5000)
    assert not {"Base", "Filter", "Split grade", "First spot as"} & set(labels(session))
    calibrated(session)
    assert {"Base", "First spot as"} <= set(labels(session))
    assert not {"Filter", "Split grade"} & set(labels(session))
    calibrated(session, filter="5")
    session.box.work.map.passes[0].filter = "3"
    assert "Base" not in labels(session)


def test_a_base_out_of_range_is_refused_and_the_map_is_as_it_was():
    session = metering()
    calibrated(session, place=1, totals=[900_000, 950_000])
    lamp(session, 150)
    keys(session, "press")
    dark(session)
    before = session.box.work.map.text()
    assert value(session, "Base") == ""
    assert press(session, "Base").startswith("No base from this: it would be ")
    assert (session.box.state, session.box.work.map.text()) == ("browse", before)


# --- another size


def test_another_size_by_two_readings_is_the_law_of_the_light_itself():
    """4.1: offset_between(c2, c1). A quarter of the light wants two stops."""
    session = metering(base_ms=8000)
    lamp(session, 4000)
    keys(session, "press")
    dark(session)
    lamp(session, 1000)
    dark(session)
    before = session.box.work.map.text()
    to_row(session, "To this size")
    keys(session, "press")
    assert session.box.panel.value(session.box.panel.row()) == "+2"
    assert session.box.work.map.base_ms(0) == 32_000
    session.input("dial", -1)
    assert session.box.work.map.base_ms(0) == 8000
    session.input("dial", 1)
    keys(session, "press")
    assert session.box.work.map.carried == {"size": 240}
    assert session.box.panel.work.spots[0] == 4000
    undo(session)
    assert session.box.work.map.text() == before


def test_without_a_reading_now_no_size_is_carried_to():
    session = metering()
    lamp(session, 4000)
    keys(session, "press")
    dark(session)
    session.box.panel.screen.cell.good = 0
    assert press(session, "To this size").startswith("Not read")
    assert session.box.state == "browse"


def of_a_kept_card(session):
    """The print kept with its first spot, of 4000 counts; another one made, and the card loaded again."""
    lamp(session, 4000)
    keys(session, "press")
    dark(session)
    to_screen(session, "print")
    set_row(session, "Keep on shelf", 0)
    name = session.box.work.map.name
    to_row(session, "New print")
    keys(session, "press")
    assert session.box.work.spots == [0, 0, 0]
    to_screen(session, "shelf")
    to_row(session, name)
    keys(session, "press")
    to_screen(session, "light_cell")
    wait(session, CELL_READ_MS)


@pytest.mark.parametrize("takes_one", [False, True], ids=["", "and a spot is taken before"])
def test_a_kept_card_is_carried_to_another_size_by_one_reading_years_later(takes_one):
    """A quarter of the light wants two stops, whichever press comes first under the lamp."""
    session = metering(base_ms=8000)
    of_a_kept_card(session)
    assert value(session, "To this size") == ""
    lamp(session, 1000)
    if takes_one:
        keys(session, "press")
    dark(session)
    assert value(session, "To this size") == "+2"
    keys(session, "press", "press")
    card = session.box.work.map.to_dict()
    assert (card["passes"][0]["base_ms"], card["carried"]) == (32_000, {"size": 240})
    assert card["measures"] == {"spot": 4000}
    undo(session)
    assert session.box.work.map.measures == {"spot": 16_000}


def test_a_card_that_cannot_be_kept_gets_no_spot():
    disk = GuardedDisk()
    session = metering(disk=disk, base_ms=8000)
    lamp(session, 4000)
    keys(session, "press")
    dark(session)
    to_screen(session, "print")
    before = session.box.work.map.text()
    disk.full = True
    set_row(session, "Keep on shelf", 0)
    assert session.box.shelf.names() == ["harbour"]
    assert session.box.work.map.text() == before


def test_the_spots_of_another_print_do_not_come_along_by_undo():
    session = metering(base_ms=8000)
    to_screen(session, "print")
    to_row(session, "New print")
    keys(session, "press")
    to_screen(session, "light_cell")
    wait(session, CELL_READ_MS)
    lamp(session, 4000)
    keys(session, "press")
    dark(session)
    undo(session)
    assert session.box.work.map.name == "harbour"
    assert session.box.work.spots[:2] == [0, 0]


@pytest.mark.parametrize("nth", [1, 2], ids=["size", "aperture"])
def test_carried_over_in_another_way_the_spots_are_no_longer_gone_by(nth):
    """Or the same step would be made twice."""
    session = metering(base_ms=8000)
    session.box.work.map.measures = {"negative_mm10": 360, "print_mm10": 2400, "aperture": 36, "spot": 16_000}
    lamp(session, 4000)
    keys(session, "press")
    dark(session)
    assert "To this size" in labels(session)
    to_screen(session, "print")
    to_row(session, "Carry over")
    keys(session, "press")
    set_row(session, "  carry to", 2, nth)
    assert "spot" not in session.box.work.map.measures
    assert session.box.work.spots == [0, 0, 0]
    to_screen(session, "light_cell")
    assert "To this size" not in labels(session)


# --- pulled out


@pytest.mark.parametrize("when", ["dark", "lit", "open"])
def test_a_cell_that_is_pulled_out_is_told_and_found_again(when):
    session = metering()
    calibrated(session)
    lamp(session, 500)
    keys(session, "press")
    if when != "lit":
        dark(session)
    if when == "open":
        to_row(session, "First spot as")
        keys(session, "press")
    session.cell.is_plugged = False
    wait(session, 3000)
    assert session.box.panel.screen.cell.now == 1
    if when == "open":
        session.input("dial", 1)
        keys(session, "press")
        assert session.box.panel.screen._strips.kept[0].place == 5
    if when == "lit":
        dark(session)
    assert labels(session) == ["No light cell answers"]
    session.cell.is_plugged = True
    wait(session, CELL_READ_MS)
    lamp(session, 1000)
    assert session.box.panel.screen.cell.twelfths() == 12
    assert math.isclose(session.box.panel.work.spots[0], 2000)


@pytest.mark.parametrize("twelfths", [0, 1, -1, 5, 12, -18, 24, 31, -60, 131, 143, 144, 300])
def test_the_stops_between_two_spots_are_drawn_as_they_are(twelfths, monkeypatch):
    """Up to the 11 whole stops that have room; a cell reads no more apart."""
    drawn = []
    monkeypatch.setattr(
        light_cell_screen, "enlarge", lambda buffer, row_px, data, *_: drawn.append(data.decode())
    )
    light_cell_screen._draw_stops(bytearray(1024), twelfths)
    whole, part = divmod(abs(twelfths), 12)
    fraction = Fraction(part, 12)
    wanted = ["-" if twelfths < 0 else "+"] if twelfths else []
    wanted += [str(min(whole, 11))] if whole or not part else []
    assert [words for words in drawn if words] == wanted + ([str(fraction)] if part else [])


def test_no_tone_is_shown_by_a_strip_of_another_filter(monkeypatch):
    session = metering(base_ms=8000)
    calibrated(session, filter="2")
    drawn = []
    enlarge = light_cell_screen.enlarge

    def noted(buffer, row_px, data, *more):
        drawn.append(bytes(data))
        enlarge(buffer, row_px, data, *more)

    monkeypatch.setattr(light_cell_screen, "enlarge", noted)

    def words() -> list:
        lamp(session, OPEN)
        drawn.clear()
        session.frame()
        dark(session)
        return [own for own in drawn if own in (b"patch ", b"paler", b"darker")]

    session.frame()
    assert words()
    load(session, a_card(base_ms=8000, filter="3"))
    to_screen(session, "light_cell")
    wait(session, CELL_READ_MS)
    session.frame()
    assert not words()
