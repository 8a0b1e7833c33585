"""A paper record at the panel: grade, anchor, filters that take their base with them, and their undo."""

import math

import pytest

from host_sim.optics.paper import paper
from lampblack.cards.card_file import dump, read
from lampblack.sim.published_papers import exposure, record_of, tones_of
from tests.box_model import (
    a_card,
    a_pass,
    ask,
    keys,
    load,
    new_session,
    push,
    set_row,
    to_row,
    to_screen,
    undo,
)
from timing_core.canonical import encode
from timing_core.light.paper_record import ANCHORS
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import BASE_MAX_MS, scale
from timing_core.refusal import Refusal


def with_papers(soft_ms=8000, hard_ms=8000, filters=("00", "5"), tied=False, record="", names=("vc-2019",)):
    session = new_session()
    for name in names:
        push(session, record_of(name))
    card = a_card(("sky", 60), base_ms=soft_ms, filter=filters[0], tied=tied)
    if len(filters) > 1:
        card["passes"].append(a_pass(("door", -40), base_ms=hard_ms, filter=filters[1]))
    load(session, {**card, **({"record": record} if record else {})})
    return session


def labels(session) -> list[str]:
    return [row.label.split(",")[0] for row in session.box.panel.rows()]


def shown(session, label: str, nth: int = 1) -> str:
    to_row(session, label, nth)
    panel = session.box.panel
    return panel.value(panel.row())


def bases(session) -> list[int]:
    map = session.box.work.map
    return [map.base_ms(index) for index in range(len(map.passes))]


def test_a_record_is_put_to_work_and_moves_no_base():
    session = with_papers(names=("vc-2019", "vc-2020"))
    assert shown(session, "Paper") == "none"
    assert "Grade" not in labels(session)
    assert "Anchor" not in labels(session)
    before = bases(session)
    set_row(session, "Paper", 2)
    assert session.box.work.map.record == "vc-2020"
    assert session.box.panel.row().label == "Paper"
    assert bases(session) == before
    assert {"Grade", "Anchor"} <= set(labels(session))
    set_row(session, "Paper", -2)
    assert "record" not in session.box.work.map.to_dict()
    assert "Grade" not in labels(session)


@pytest.mark.parametrize("filters", [("00", "5"), ("5", "00")])
@pytest.mark.parametrize("record", ["vc-2019", "vc-2020"])
def test_the_screen_tells_the_grade_of_two_times(record, filters):
    """S1 and S2: 16 s soft and 9 s hard are grade 1 3/4 on both sheets (computed)."""
    times = {"00": 16000, "5": 9000}
    session = with_papers(*(times[key] for key in filters), filters, record=record, names=(record,))
    assert shown(session, "Grade") == "about 1 3/4"
    to_row(session, "Base")
    assert session.box.panel.screen.about(session.box.panel) == "grade about 1 3/4"
    # It follows a base as that is turned.
    set_row(session, "Base", -12, nth=1 + filters.index("5"))
    assert shown(session, "Grade") == {"vc-2019": "about 1/4", "vc-2020": "about 0"}[record]


@pytest.mark.parametrize("filters", [("00", "4"), ("2",), ("", "5")])
def test_nothing_is_said_where_a_filter_is_not_of_the_pair(filters):
    session = with_papers(filters=filters, record="vc-2019")
    assert "Grade" not in labels(session)
    assert "Anchor" in labels(session)
    to_row(session, "Base")
    assert "grade" not in session.box.panel.screen.about(session.box.panel)


@pytest.mark.parametrize("filters", [("00", "5"), ("5", "00")])
@pytest.mark.parametrize("tied", [False, True])
@pytest.mark.parametrize("anchor", ANCHORS)
def test_turning_the_grade_keeps_the_anchor(anchor, tied, filters):
    session = with_papers(filters=filters, tied=tied, record="vc-2019")
    assert shown(session, "Grade") == "about 2 1/2"
    set_row(session, "Anchor", ANCHORS.index(anchor))
    set_row(session, "Grade", 6)
    assert shown(session, "Grade") == "about 4"
    own = paper("vc-2019")
    tone = tones_of(own)[ANCHORS.index(anchor)]
    after = {key: float(ms) for key, ms in zip(filters, bases(session), strict=True)}
    before = dict.fromkeys(filters, 8000.0)
    assert abs(math.log2(exposure(own, after, tone) / exposure(own, before, tone))) < 0.045
    map = session.box.work.map
    assert map.tied == tied
    assert PrintingMap.from_dict(map.to_dict()).text() == map.text()


def test_the_grade_is_a_proposal_and_turned_back_it_is_what_it_was():
    session = with_papers(8123, 7777, record="vc-2019")
    before = session.box.work.map.text()
    to_row(session, "Grade")
    keys(session, "press")
    session.input("dial", 3)
    assert session.box.work.map.text() != before
    session.input("dial", -3)
    assert session.box.work.map.text() == before
    session.input("dial", 2)
    keys(session, "back")
    assert session.box.work.map.text() == before


def test_the_grade_ends_at_the_filters_own_and_no_base_leaves_its_range():
    session = with_papers(record="vc-2019")
    to_row(session, "Grade")
    keys(session, "press")
    session.input("dial", -1)
    before = session.box.work.map.text()
    session.input("dial", 99)
    # Grade 5 would be no light at all through the soft filter.
    assert session.box.message.startswith("Base is not changed: pass 1 would be 0.0 s. ")
    assert session.box.work.map.text() == before
    assert session.box.state == "edit"


@pytest.mark.parametrize(("anchor", "hundredths"), [(0, 301), (1, 200), (2, 97)])
def test_a_filter_takes_its_base_with_it(anchor, hundredths):
    """From filter 2 to 4, sheet of 2019: 3.01, 2.00 and 0.97 times the light (computed)."""
    session = with_papers(10_000, filters=("2",), record="vc-2019")
    set_row(session, "Anchor", anchor)
    set_row(session, "Filter", 2)
    assert session.box.work.map.passes[0].filter == "4"
    assert bases(session)[0] == pytest.approx(100 * hundredths, rel=0.01)
    # There and back is the same time again.
    set_row(session, "Filter", -2)
    assert bases(session) == [10_000]


def test_a_filter_that_the_record_has_not_got_moves_no_base():
    session = with_papers(10_000, filters=("2",), record="vc-2019")
    ask(session, "bench.set", values={"filters": ["2", "2 1/2", "4"]})
    set_row(session, "Filter", 1)
    assert (session.box.work.map.passes[0].filter, bases(session)) == ("2 1/2", [10_000])
    set_row(session, "Filter", 1)
    assert (session.box.work.map.passes[0].filter, bases(session)) == ("4", [10_000])


def test_a_filter_of_tied_passes_moves_its_own_base_alone():
    session = with_papers(10_000, 6000, ("2", "3"), tied=True, record="vc-2019")
    set_row(session, "Filter", 1, nth=1)
    assert bases(session) == [scale(10_000, 21), 6000]
    assert session.box.work.map.tied


def test_the_cursor_stays_on_a_filter_that_makes_a_grade_or_ends_it():
    """Above it the row *Grade* comes and goes."""
    session = with_papers(filters=("0", "5"), record="vc-2019")
    panel, before = session.box.panel, session.box.work.map.text()
    to_row(session, "Filter")
    session.input("press")
    for detent, has_grade in ((-1, True), (1, False), (-1, True)):
        session.input("dial", detent)
        assert ("Grade" in labels(session)) is has_grade
        assert panel.row().label == "Filter, pass 1"
    session.input("press")
    assert panel.row().label == "Filter, pass 1"
    assert [len(own.marks) for own in session.box.work.map.passes] == [1, 1]
    undo(session)
    assert session.box.work.map.text() == before


def test_a_filter_whose_base_would_leave_the_range_is_refused_and_changes_nothing():
    session = with_papers(500_000, filters=("2",), record="vc-2019")
    before = session.box.work.map.text()
    to_row(session, "Filter")
    keys(session, "press")
    session.input("dial", 2)
    assert "pass 1 would be 1" in session.box.message
    assert session.box.work.map.text() == before


def test_undo_and_redo_go_exactly_back_and_forth():
    session = with_papers(8123, 7777, tied=True)
    work = session.box.work
    texts = [(work.map.text(), work.bench.get("anchor"))]
    for label, detents in (
        ("Paper", 1),
        ("Grade", 3),
        ("Anchor", 2),
        ("Grade", -6),
        ("Filter", 1),
        ("Paper", -1),
    ):
        set_row(session, label, detents)
        texts.append((work.map.text(), work.bench.get("anchor")))
    assert len({text for text, _ in texts}) == 6
    keys(session, "back")
    for label, expected in (("Undo", texts[-2::-1]), ("Redo", texts[1:])):
        for text in expected:
            to_row(session, label)
            keys(session, "press")
            assert (work.map.text(), work.bench.get("anchor")) == text
            assert session.box.state == "browse"


def test_a_record_that_is_not_here_is_named_and_the_print_is_as_before():
    session = with_papers(record="vc-2020")
    assert shown(session, "Paper") == "not here: vc-2020"
    assert "Grade" not in labels(session)
    push(session, record_of("vc-2020"))
    assert shown(session, "Paper") == "vc-2020"
    assert "Grade" in labels(session)


def test_the_wire_may_change_a_record_while_it_is_at_work():
    session = with_papers(16000, 9000, record="vc-2019")
    panel = session.box.panel
    to_row(session, "Base", 2)
    other = {**record_of("vc-2020"), "name": "vc-2019"}
    other["filters"] = [[*own[:1], 1000, *own[2:]] if own[0] == "1" else own for own in other["filters"]]
    push(session, other)
    assert (panel.row().key, panel.row().index) == ("base", 1)
    assert shown(session, "Grade") == "about 1 1/2"
    # An open grade is that of the record with which it was opened, and is taken as it was turned.
    to_row(session, "Grade")
    keys(session, "press")
    session.input("dial", 2)
    turned = bases(session)
    assert ask(session, "card.remove", name="vc-2019", kind="paper")["result"] == {"removed": True}
    assert session.box.panel.row().key == "grade"
    keys(session, "press")
    assert bases(session) == turned
    assert "Grade" not in labels(session)
    assert shown(session, "Paper") == "not here: vc-2019"


def test_undo_of_a_card_is_not_forgotten_for_a_paper_record_of_its_name():
    session = new_session()
    to_screen(session, "print")
    set_row(session, "Keep on shelf", 0)
    name = session.box.work.map.name
    push(session, {**record_of("vc-2019"), "name": name})
    keys(session, "back")
    to_row(session, "Undo")
    keys(session, "press")
    assert session.box.shelf.names() == []
    assert session.box.papers.names() == [name]


def test_a_record_that_has_gone_bad_is_not_here():
    session = with_papers(record="vc-2019")
    session.box.papers.keep_text("vc-2019", encode({"edition": ""}))
    assert shown(session, "Paper") == "not here: vc-2019"
    assert "Paper record vc-2019 is damaged. Push it again." in session.box.damage_lines()


def test_no_paper_record_is_taken_or_removed_under_light():
    session = with_papers(record="vc-2019")
    to_screen(session, "print")
    while not session.lamp.lit:
        keys(session, "expose")
    for method, params in (
        ("card.remove", {"name": "vc-2019", "kind": "paper"}),
        ("card.commit", {"digest": "0" * 64}),
    ):
        assert "light is on" in ask(session, method, **params)["error"]["message"]
    assert session.box.papers.names() == ["vc-2019"]


def test_a_card_brings_its_record_and_takes_it_back():
    session = with_papers(record="vc-2019")
    text = dump(session.box.work.map.to_dict())
    assert 'record = "vc-2019"\n' in text
    assert read(text) == session.box.work.map.to_dict()
    with pytest.raises(Refusal, match="record: it is 1 to 24 characters"):
        PrintingMap.from_dict({**a_card(), "record": "Rc"})


def test_bases_that_are_set_together_are_set_or_none_is():
    map = PrintingMap.from_dict({**a_card(), "passes": [a_pass(), a_pass()], "tied": True})
    before = map.text()
    with pytest.raises(Refusal, match="pass 2 would be"):
        map.set_bases([10_000, BASE_MAX_MS + 1])
    assert map.text() == before
    map.set_bases([4000, 12_000])
    map.step_base(0, 120, 1)
    assert [map.base_ms(0), map.base_ms(1)] == [8000, 24_000]
