"""What the panel shows, in every situation: law 8 of the design, and that it can be read.

Each picture is taken apart as it is drawn: which words stand where, which figures, what had to be cut. Two
cards are shown in every situation: an everyday one, and one whose names and times are the longest there are.
"""

import functools
import json
import re

import pytest

from host_sim.box.frame_pictures import rows
from host_sim.box.platform import desk_platform
from tests.box_model import (
    LIT_STATES,
    SITUATIONS,
    GuardedDisk,
    Listener,
    PickyDisk,
    PlainCell,
    a_card,
    a_pass,
    ask,
    keys,
    load,
    new_session,
    push,
    set_row,
    situation,
    snapshot,
    to_row,
    to_screen,
    together,
    undo,
    until_dark,
    wait,
    worked_card,
)
from tests.panel_texts import core_messages
from tests.portable.heap_lock import Desk
from tests.portable.papers import VC_2019
from timing_core.canonical import encode
from timing_core.light.bench import FILTER_MAX
from timing_core.light.guided import HEADINGS
from timing_core.light.paper_record import PaperRecord
from timing_core.light.plain_form import NAME_MAX
from timing_core.light.stops import offset_between, stops_text
from timing_core.light.tray_sequence import FACTOR
from timing_core.machine import light_cell
from timing_core.machine.cell_doses import MISSED
from timing_core.machine.cell_strips import CellStrip
from timing_core.machine.exposing import kept_text
from timing_core.machine.watch import FAULTS, LINES
from timing_core.panel import drawing as screens
from timing_core.panel import letters as font
from timing_core.panel import light_cell_screen, tests_screen
from timing_core.panel.rows import ACTS, CHOOSES, TURNS
from timing_core.records.shelf import CARDS_MAX
from timing_core.records.store import Store

WIDTH, HEIGHT = 128, 64
CONTROLS = {"expose": "EXPOSE ", "back": "BACK ", "lamp": "LAMP ", "dial": "turn ", "press": "press "}

LONGEST_AREA, LONGEST_FILTER, LONGEST_TITLE, LONGEST_NAME = "W" * 15, "W" * 8, "W" * 40, "w" * 24


def worst_card() -> dict:
    """Every name as long and as wide as it may be, every time with all its figures."""
    card = a_card(
        (LONGEST_AREA + "1", -119),
        (LONGEST_AREA + "2", -109),
        (LONGEST_AREA + "3", 119),
        base_ms=999_900,
        filter=LONGEST_FILTER,
        name=LONGEST_NAME,
        title=LONGEST_TITLE,
        tied=True,
        dry_down_pm=499,
    )
    card["passes"].append(a_pass((LONGEST_AREA + "4", 119, "M" * 8), base_ms=988_800, filter="W" * 7 + "M"))
    return card


CARDS = {
    "everyday": worked_card,
    "worst": worst_card,
    "together": lambda: together(worked_card()),
    "worst together": lambda: together(worst_card()),
}


# --- taking a picture apart


class Seen:
    """The texts, figures and cuts of one picture, as they were drawn."""

    def __init__(self, session, monkeypatch) -> None:
        self.texts: list[tuple[str, int, int, int]] = []  # words, x, y, x of the end
        self.large: list[tuple[str, int, int, int, int]] = []  # enlarged words, x, y, x and y of the end
        self.figures: list[tuple[int, int, int, int, int]] = []  # number, x, y, x and y of the end
        self.cuts: list[str] = []
        self.state = session.box.state
        pen, cut = session.screen.pen, screens.clip
        ends: list[int] = []

        def text(fb, data, x, y, ink=1):
            next_x = write(fb, data, x, y, ink)
            if ends and ends[-1] == x and self.texts[-1][2] == y:
                data, x = font.in_letters(self.texts[-1][0]) + data, self.texts.pop()[1]
            if data:
                self.texts.append((read(data), x, y, next_x - font.GAP_PX))
                ends.append(next_x)
            return next_x

        def enlarge(buffer, row_px, data, x, y, times=2):
            end = x + times * font.width(data)
            self.large.append((read(data), x, y, end, y + times * font.HEIGHT_PX))
            write_large(buffer, row_px, data, x, y, times)

        def clip(data, px):
            kept = cut(data, px)
            if kept != data:
                self.cuts.append(read(data))
            return kept

        write, write_large = pen.text, screens.enlarge
        with monkeypatch.context() as patch:
            patch.setattr(pen, "text", text)
            patch.setattr(screens, "enlarge", enlarge)
            patch.setattr(light_cell_screen, "enlarge", enlarge)
            patch.setattr(tests_screen, "enlarge", enlarge)
            patch.setattr(screens, "clip", clip)
            patch.setattr(screens, "LARGE", self.watch(screens.LARGE))
            session.screen._words = screens._NO_WORDS  # words that were encoded beforehand are cut again
            self.frame = bytes(session.frame())
        self.words = " ".join(words for words, *_ in (*self.large, *self.texts))

    def watch(self, figures):
        seen = self

        class Watched:
            height = figures.height
            width = figures.width

            def draw(self, fb, number, right, y, ink=1, tenths=True):
                left = right - figures.width(number, tenths)
                seen.figures.append((number, left, y, right, y + figures.height))
                seen.with_tenths = tenths
                return figures.draw(fb, number, right, y, ink, tenths)

        return Watched()

    def hints(self) -> dict[str, str]:
        """What the picture says of each control."""
        return {
            control: words[len(name) :]
            for control, name in CONTROLS.items()
            for words, _, y, _ in self.texts
            if words.startswith(name) and y >= 40
        }


SIGNS = dict(zip(range(0x17, 0x20), "\u00bd\u2212\u00b7\u2026\u2192\u00d7\u00b0\u25b8\u25b9"))


def read(data: bytes) -> str:
    return "".join(SIGNS.get(code) or chr(code) for code in data)


def names_of(card: dict) -> list[str]:
    """Every name in a card that somebody chose."""
    found = [card["name"], card["title"], card.get("record", "")]
    for own in card["passes"]:
        found.append(own["filter"])
        for mark in own["marks"]:
            found += [mark["area"], mark.get("filter", "")]
    return sorted({name for name in found if name}, key=len, reverse=True)


every_situation = pytest.mark.parametrize("name", SITUATIONS)
every_card = pytest.mark.parametrize("card", CARDS)


def paper_card() -> dict:
    """Split grade with a paper record at work, whose name is as long as can be."""
    card = {**worked_card(), "record": LONGEST_NAME, "tied": True}
    for own, filter in zip(card["passes"], VC_2019["pair"], strict=True):
        own["filter"] = filter
    return card


def flash_card() -> dict:
    """With the longest flash, through a filter of the longest name."""
    return {**worst_card(), "flash": {"light_ms": 999_900, "filter": LONGEST_FILTER, "after": True}}


CARDS_OF_ROWS = {**CARDS, "paper": paper_card, "flash": flash_card}


def every_row(card: dict):
    """A session on every row of every screen, one after another."""
    for screen in ("print", "strip", "trays", "shelf", "bench", "ledger"):
        session = new_session()
        if "record" in card:
            push(session, {**VC_2019, "name": card["record"]})
        load(session, card)
        to_screen(session, screen)
        count = len(session.box.panel.rows())
        for row in range(count):
            yield f"{screen} row {row}", session
            session.input("dial", 1)


# --- what a control will do is on the screen


def does(name: str, control: str, value: int) -> bool:
    """Whether the control does anything that can be seen or heard."""
    session = situation(name)
    session.input("tick")  # the picture of a lit box moves with the time it was last told
    listener = Listener()
    session.watchers.append(listener)
    before, frame = snapshot(session), bytes(session.frame())
    session.input(control, value)
    heard = {kind for kind, _ in listener.heard} - {"screen"}
    return bool(heard) or snapshot(session) != before or bytes(session.frame()) != frame


@every_situation
def test_a_control_has_a_hint_exactly_when_it_does_something(name):
    box = situation(name).box
    for control in CONTROLS:
        says = box.machine.says(control)
        acts = any(does(name, control, value) for value in ((1, -1) if control == "dial" else (0,)))
        # Under light "wait" says why nothing happens: a rest that could not be given later runs out.
        waits = box.lit and says == "wait"
        assert acts == (says != "" and not waits), (control, says)


@every_situation
def test_every_hint_is_on_the_screen_and_no_other_and_no_word_is_cut_or_written_over(name, monkeypatch):
    for card, make in CARDS.items():
        plain = make()
        session = situation(name, plain)
        seen = Seen(session, monkeypatch)
        check_hints(seen, session, card)
        check_layout(seen, plain, card)


def check_hints(seen: Seen, session, card: str) -> None:
    hints = {
        control: session.box.machine.says(control)
        for control in CONTROLS
        if session.box.machine.says(control)
    }
    shown = seen.hints()
    if session.box.state == "off":
        hints = {}
    assert set(shown) == set(hints), card
    if seen.figures and hints.get("expose", "").startswith("give "):
        # The seconds are named where they can be read at a metre.
        tenths = seen.figures[0][0] if seen.with_tenths else 10 * seen.figures[0][0]
        off_ms = abs(tenths * 100 - session.box.exposing.left_shown_ms())
        assert off_ms <= (50 if seen.with_tenths else 1000), card
        _, _, after = hints["expose"].partition(" s")
        hints["expose"] = after.strip() or "give"
    for control, says in hints.items():
        assert shown[control] == says or shown[control].endswith("…"), (card, control, shown[control])


def test_the_hint_of_every_row_is_what_a_press_does(monkeypatch):
    for where, session in every_row(worked_card()):
        says = session.box.machine.says("press")
        assert Seen(session, monkeypatch).hints().get("press", "") == says, where
        row = session.box.panel.row()
        assert bool(says) == bool(row.does & (ACTS | TURNS | CHOOSES)), where
        assert says == (row.deed if row.does & ACTS else "change" if row.does & TURNS else says), where


def marks(frame: bytes) -> tuple[bool, bool]:
    """Whether a small triangle in the margin points up, at the first of the rows, and down, at the last."""

    def shape(top: int) -> list[int]:
        return [sum(frame[y // 8 * WIDTH + x] >> y % 8 & 1 for x in range(6)) for y in range(top, top + 3)]

    return shape(9) == [1, 3, 5], shape(36) == [5, 3, 1]


@pytest.mark.parametrize("screen", ["bench", "print", "strip", "ledger"])
def test_a_mark_tells_of_rows_above_or_below_that_are_not_shown(screen, monkeypatch):
    session = new_session()
    load(session, worked_card())
    to_screen(session, screen)
    labels = [row.label for row in session.box.panel.rows()]
    for _ in labels:
        seen = Seen(session, monkeypatch)
        shown = [words for words, x, y, _ in seen.texts if x == 7 and 8 <= y < 40]
        first = labels.index(shown[0]) if shown[0] in labels else -1
        assert marks(seen.frame) == (first > 0, first + len(shown) < len(labels)), (screen, shown)
        session.input("dial", 1)


# --- words that can be read


def check_layout(seen: Seen, card: dict, where: str) -> None:
    names = names_of(card)
    for words, x, y, end in seen.texts:
        assert 0 <= x <= end <= WIDTH, (where, words, x, end)
        assert 0 <= y <= HEIGHT - font.HEIGHT_PX, (where, words, y)
    for number, x, y, end, bottom in (*seen.figures, *seen.large):
        assert 0 <= x <= end <= WIDTH, (where, number)
        assert 0 <= y <= bottom <= HEIGHT, (where, number)
    boxes = [(words, x, y, end, y + font.HEIGHT_PX) for words, x, y, end in seen.texts if words.strip()]
    boxes += [(str(number), *box) for number, *box in (*seen.figures, *seen.large)]
    for at, (one, x, y, end, bottom) in enumerate(boxes):
        for other, x2, y2, end2, bottom2 in boxes[:at]:
            apart = end < x2 or end2 < x or bottom <= y2 or bottom2 <= y
            assert apart, f"{where}: {one!r} and {other!r} stand on each other"
    for words in seen.cuts:
        # A new name for the shelf is made of the old one's first letters.
        assert any(name[:15] in words for name in names), f"{where}: {words!r} is cut, and is no name"


@pytest.mark.parametrize("card", CARDS_OF_ROWS)
def test_no_word_of_any_row_is_cut_or_written_over(card, monkeypatch):
    plain = CARDS_OF_ROWS[card]()
    for where, session in every_row(plain):
        check_layout(Seen(session, monkeypatch), plain, where)
        if session.box.panel.row_turns():
            session.input("press")
            for _ in range(3):
                check_layout(Seen(session, monkeypatch), plain, where + ", open")
                wait(session, 200)
                session.input("dial", 1)
            session.input("back")
            session.input("dial", 0)


def test_no_message_is_longer_than_its_lines(monkeypatch):
    """Every refusal and every remark the box can show, with the longest names in it. There are four lines,
    and a fifth where EXPOSE does nothing and has no line of its own."""
    for message, state in longest_messages():
        session = situation(STANDS_IN[state])
        session.box.io.message = message
        seen = Seen(session, monkeypatch)
        foot = min(
            y for words, _, y, _ in seen.texts if words.startswith(tuple(CONTROLS.values())) and y >= 40
        )
        lines = [words for words, _, y, _ in seen.texts if 8 <= y < foot]
        shown = message
        for name in seen.cuts:  # only a name is longer than a line
            (start,) = [line[:-1] for line in lines if line.endswith("…") and name.startswith(line[:-1])]
            shown = shown.replace(name, start + "…")
        assert " ".join(lines) == shown, state
        check_layout(seen, worst_card(), message)


def test_over_a_message_the_head_shows_the_row_that_the_keys_act_on(monkeypatch):
    session = new_session()
    load(session, a_card(base_ms=8400))
    keys(session, "expose", "expose")
    until_dark(session)
    assert session.box.message == "Print 1 is done and in the ledger."
    seen = Seen(session, monkeypatch)
    assert [words for words, _, y, _ in seen.texts if y == 0] == ["▸Base, filter 2", "8.4 s"]
    session.input("dial", 1)
    assert Seen(session, monkeypatch).texts[0][0] == "Print"


STANDS_IN = {"browse": "new print", "ready": "ready, burn", "held": "held", "choose": "choose"}
STANDS_IN |= {
    "notice": "notice, print",
    "ask": "asked to end a run",
    "edit": "edit base",
}
STANDS_IN |= {"exposing": "new print", "viewing": "new print", "stopping": "new print"}
"""Where each state's messages are drawn. Under light none is: they are read when it is dark again."""

TOLD_A_PC_ALONE = {
    "Nothing is counted",
    "Nothing is shown",
    "What is fitted is not changed",
    "No bench setting …",
    "No card …",
    "No paper record …",
    "No record …",
    "The card is not taken",
    "The paper record is not kept",
    "The paper record is not taken",
    "No tray sequence …",
    "The tray sequence is not kept",
    "The tray sequence is not taken",
}
NEVER_SHOWN = {"Nothing to undo", "Nothing to redo", "No more marks", "No time for …"}
"""The rows that would say so do not act then, or are not there."""
HAS_NO_LENGTH = {"Handed over to the prompt. Restart to use the box."}
"""Shown in a state of its own, and among the situations."""


def test_every_message_is_among_the_longest():
    found = {message for message, _ in longest_messages()}

    def is_shown(text: str) -> bool:
        pattern = ".*".join(re.escape(part) for part in text.split("…"))
        return any(re.search(pattern, message) for message in found)

    missing = {text for text in core_messages() if not is_shown(text)}
    assert missing == TOLD_A_PC_ALONE | NEVER_SHOWN | HAS_NO_LENGTH


@functools.cache
def longest_messages() -> frozenset[tuple[str, str]]:
    """(message, state it is shown in) of all there are, each as long as it can be."""
    found: set[tuple[str, str]] = set()

    def note(session, has: str = "") -> None:
        box = session.box
        assert has in box.message, box.message
        kept = kept_text(box.exposing) if box.state == "ask" else ""
        for words in (box.message, box.findings.known, kept):
            if words:
                found.add((words, box.state))

    _note_situations(note)
    _note_refusals(note)
    _note_carrying(note)
    _note_guided(note)
    _note_trays(note)
    _note_light_cell(note)
    _note_what_is_kept(note)
    _note_undo(note)
    _note_cuts(note)
    _note_damage(note)
    _note_faults(note)
    _note_unloaded(note)
    return frozenset(found)


def _note_situations(note) -> None:
    for card in CARDS.values():
        for name in SITUATIONS:
            note(situation(name, card()))
    early = situation("exposing")
    early.input("lamp_end", early._lamp_off())
    note(early, "went out early")
    held = situation("ready, base")
    keys(held, "back_down", "expose")
    note(held, "BACK is down")
    silent = situation("exposing")
    silent._lamp_off()
    wait(silent, 20_000)
    note(silent, "did not report")
    # A strip that is given, but is not the one that is set any more.
    session = new_session()
    load(session, worst_card())
    SITUATIONS["ready, patch"](session, {})
    keys(session, "back")
    to_screen(session, "strip")
    set_row(session, "Patches", -1)
    keys(session, "back")
    to_row(session, "Go on")
    keys(session, "press")
    _give_all(session)
    note(session, "another now")


def _note_faults(note) -> None:
    """Each fault of the circuit where it is told, and those of a start beside a run that was cut off."""
    for at, line in enumerate(LINES):
        for name in ("new print", "ready, burn", "held", "choose", "edit base", "asked to end a run"):
            session = situation(name, worst_card())
            session.box.watch.news = 1 << at
            session.box.watch.tell_news("")
            note(session, line)
    for name in ("exposing a burn", "ready, burn"):
        for fault in ("live", "welded", "unknown"):
            for known_ms in (0, 1000):
                session = situation(name, worst_card())
                session.reset(known_ms)
                session.box.watch.news = 1 << FAULTS.index(fault)
                session.box.handle("tick", session.now_ms)
                note(session, LINES[FAULTS.index(fault)])
    session = situation("screens")
    session.box.watch.uncounted = True
    to_row(session, "Confirm")
    session.input("press")
    note(session, "Confirmed.")


def _note_unloaded(note) -> None:
    """A screen that cannot be loaded, the one with the longest name."""
    session = situation("screens")

    def fails():
        raise OSError

    (later,) = [screen for screen in session.box.panel.screens if screen.key == "ledger"]
    later._make = fails
    to_row(session, "Ledger")
    session.input("press")
    note(session, "is not opened")


def _give_all(session) -> None:
    while session.box.state in ("ready", "held"):
        keys(session, "expose")
        if session.lamp.lit:
            until_dark(session)


def _note_carrying(note) -> None:
    """What is said of a print carried over, and each refusal, with the aperture that would do and without."""

    def carrying(detents: int, base_ms: int, **measures) -> None:
        session = new_session()
        load(session, {**a_card(base_ms=base_ms), "measures": measures})
        to_row(session, "Carry over")
        session.input("press")
        to_row(session, "  carry to")
        session.input("press")
        session.input("dial", detents)
        if base_ms == 10_000:
            keys(session, "press")
        note(session, "Carried over" if base_ms == 10_000 else "Base is not changed")

    sizes = {"negative_mm10": 360, "print_mm10": 2400}
    carrying(100, 10_000, **sizes)
    filters = [["M" * FILTER_MAX, 1100, 0, 0, 0], ["W" * FILTER_MAX, 900, 0, 0, 0]]
    turned = [[filters[1][0], 1100, 0, 0, 0], [filters[0][0], 900, 0, 0, 0]]
    filter = filters[0][0]
    for has, own in (
        ("for a start", {"filters": filters, "speed": 200}),
        ("Nearest in contrast", {"filters": turned, "speed": 200}),
        ("has no speed", {"filters": filters}),
        ("has not this filter", {"filters": filters[1:], "speed": 200}),
        ("would be", {"filters": [filters[0], [filters[1][0], 900, 7, 7, 7]], "speed": 200}),
    ):
        session = new_session()
        old = {"name": "m" * NAME_MAX, "edition": "", "filters": filters, "speed": 400}
        for record in (old, {"name": "w" * NAME_MAX, "edition": "", **own}):
            session.box.papers.keep_text(record["name"], PaperRecord.from_dict(record).text())
        # Its own filter takes it to +5 1/120.
        burn = [(LONGEST_AREA, 599, filters[1][0])] if has == "would be" else []
        card = a_card(*burn, base_ms=10_000)
        card["passes"][0]["filter"] = filter
        load(session, {**card, "record": "m" * NAME_MAX})
        to_row(session, "Carry over")
        session.input("press")
        to_row(session, "Carry to paper")
        session.input("press")
        session.input("dial", 1)
        if "has" not in has and has != "would be":
            session.input("press")
        note(session, has)
    carrying(100, 990_000, **sizes)
    carrying(100, 990_000, aperture=39, **sizes)
    carrying(-100, 100, aperture=63, **sizes)
    carrying(11, 10_000, aperture=28)
    carrying(11, 990_000, aperture=28)


def _note_cell(note) -> None:
    """What the tests of the light cell say when they are asked for, and when they are over."""

    def given(key: str, said: str, change=None, counts: int = 30_000, dims: int = 0) -> None:
        """The whole test. `change(session, cell, strike)` comes when a strike has begun."""
        session = new_session()
        cell = PlainCell(session, lag_ms=390)
        to_screen(session, "tests")
        to_row(session, HEADINGS[key])
        session.input("press")
        session.input("expose")
        note(session, "reads the dark")
        for plugged, line in ((False, "Plug it in"), (True, "Put it out")):
            cell.is_plugged, cell.dark = plugged, 58_001
            wait(session, 1500)
            session.input("expose")
            note(session, line)
        cell.counts, cell.dark = counts, 3
        wait(session, 3000)
        session.input("expose")
        strikes = 0
        while session.box.state != "browse":
            if session.box.state in ("ready", "held"):
                wait(session, 700)
                session.input("expose")
                wait(session, 200)
                strikes += 1
            was_lit = session.lamp.lit
            session.advance(session.next_ms())
            if session.lamp.lit and not was_lit:
                strikes += 1
                wait(session, 200)
            if change and session.lamp.lit:
                change(session, cell, strikes)
            cell.counts -= dims
        note(session, said)

    def in_second(what: str, then: object):
        def change(session, cell, strike: int) -> None:
            was = getattr(cell, what)
            if strike == 2 and was != then:
                setattr(cell, what, then)
            elif strike == 3 and was == then:
                setattr(cell, what, 30_000 if what == "counts" else True)

        return change

    def hold(session, cell, strike: int) -> None:
        if strike == 2:
            session.input("back")

    def miss(session, cell, strike: int) -> None:
        session.read_cell = (lambda *_: MISSED) if strike == 2 else cell.read

    def view(session, cell, strike: int) -> None:
        if strike == 3:
            until_dark(session)
            session.input("lamp")
            wait(session, 300)
            session.input("lamp")

    given("cell_lag", "The lag is 390 ms")
    given("cell_lag", "differ too little", in_second("counts", 600))
    given("cell_lag", "three readings differ", in_second("counts", 15_000))
    given("cell_lag", "too much light", in_second("counts", 500_000))
    given("cell_lag", "did not answer", in_second("is_plugged", False))
    given("cell_lag", "was missed", miss)
    given("cell_lag", "not given in one", hold)
    given("cell_lag", "LAMP was pressed", view)
    given("cell_lag", "too little light", counts=1000)
    given("drift", "steady from")
    given("drift", "stop a minute at last", dims=1)
    given("drift", "over 1/2 stop a minute at last", dims=8)
    given("drift", "too much light", in_second("counts", 500_000), counts=500_000)
    session = situation("a cell's test, cut off")
    while session.box.state != "browse":
        session.input("expose")
        session.advance(session.next_ms())
    note(session, "cut off")


def _note_guided(note) -> None:
    """Each answer to a guided test."""

    def answered(key: str, *places: int, **values: int) -> None:
        session = new_session()
        to_screen(session, "tests")
        to_row(session, HEADINGS[key])
        session.input("press")
        screen = session.box.panel.screen
        screen._known.given[key] = session.box.work.test | values
        screen._known.keep()
        session.box.panel.come_home()
        for place in places:
            session.input("press")
            session.input("dial", -99)
            session.input("dial", place)
            session.input("press")
        note(session, ".")

    answered("lag", 0, strip=1)
    answered("shortest", 0)
    answered("drydown", 10)
    answered("flash", 9, first_ms=60_000)
    answered("flash", 0)
    for places in ((0, 0, 0), (1, 1, 1), (3, 3, 3)):
        for light in (0, 1):
            answered("safelight", *places, ladder=1, light=light)
    answered("cell_lag", 4, lag_ms=1979, spread_ms=20)
    note(situation("a paper strip, given"), "in the ledger")
    _note_cell(note)
    note(situation("a test's screen, to be read"), "read it here")
    for name in ("ready, burn", "held", "ready, base", "edit base"):
        session = situation(name)
        session.box.lamp.sheet_time.begin(session.now_ms)
        session.box.asked.set_bench({"safelight_safe_s": 10})
        wait(session, 8000)
        note(session, "4/5" if session.box.in_run else "")
    session = new_session()
    session.box.asked.set_bench({"lag_ms": 2000})
    to_screen(session, "tests")
    session.input("press")
    set_row(session, "Strip", 2)
    session.input("expose")
    note(session, "No fine strip")
    session = new_session()
    to_screen(session, "tests")
    to_row(session, HEADINGS["paper"])
    session.input("press")
    set_row(session, "First patch", 20)
    session.input("expose")
    note(session, "too long")


def _note_trays(note) -> None:
    """What is said of sheets and baths, at the longest times there are."""

    def pressed(after_ms: int, has: str, *moves: int, **values: int) -> None:
        session = new_session()
        to_screen(session, "trays")
        session.box.panel.screen._setup.keep(**values)
        session.input("press")
        for ms in (*moves, after_ms):
            wait(session, ms)
            session.input("press")
        note(session, has)

    pressed(1000, "Not moved")
    pressed(1000, "No sheet begins", 4000, 4000, 4000, 4000)
    pressed(1000, "First sight is not taken", kind=FACTOR)
    pressed(1_700_000, "is tired", kind=FACTOR, fresh_ms=1_100_000)
    for percent, has, values in (
        (80, "80 %", {}),
        (100, "Mix it fresh", {}),
        (100, "bath 2", {"baths": 1}),
        (100, "both fresh", {"baths": 1, "turns": 3}),
    ):
        session = new_session()
        to_screen(session, "trays")
        sheet = session.box.panel.screen._setup.sheet_cm2()
        limit = 100 * sheet
        used = percent * sheet - 1
        session.box.panel.screen._setup.keep(limit_cm2=limit, used_cm2=used, **values)
        session.input("press")
        note(session, has)
    session = new_session()
    to_screen(session, "trays")
    session.input("press")
    session.reset()
    note(session, "clocks of the trays")
    to_screen(session, "trays")
    note(session, "clocks of the trays")


def _note_light_cell(note) -> None:
    """Every reason not to go by a reading, and what is said of a strip with the longest names."""
    for state in (*light_cell_screen._BARS, light_cell.READY):
        session = situation("light cell, dark", worst_card())
        session.box.panel.screen.cell.now = state
        keys(session, "press")
        note(session, "Not read")
    for totals in ([900_000, 950_000], [1, 2]):
        session = situation("light cell, two spots", worst_card())
        screen = session.box.panel.screen
        screen._strips.keep(CellStrip("vc-2019", "2", 120_000, 1, totals))
        to_row(session, "Base")
        keys(session, "press")
        note(session, "No base from this")
    session = situation("light cell, two spots", worst_card())
    session.box.work.map.passes[0].filter = LONGEST_FILTER
    to_row(session, "Base")
    keys(session, "press")
    note(session, "there is no strip of")
    session = situation("light cell, dark", worst_card())
    to_row(session, "Keep a strip")
    keys(session, "press")
    note(session, "open easel was not read")
    session.box.panel.work.spots[2] = 120_000
    keys(session, "press")
    note(session, "one for a base")
    session.box.work.strip_gave = [0, None, LONGEST_FILTER, 1000, 2000, 1200, "00"]
    keys(session, "press")
    note(session, "had a flash")
    session.box.work.strip_gave = [0, None, LONGEST_FILTER, 1000, 2000]
    keys(session, "press")
    note(session, "are the tones for")
    session = situation("light cell, two spots", worst_card())
    to_row(session, "Open easel")
    keys(session, "press")
    note(session, "Noted")


def _note_refusals(note) -> None:
    def refused(act, **bench) -> None:
        session = new_session()
        if bench:
            session.box.asked.set_bench(bench)
        act(session)
        note(session, ": ")

    area = LONGEST_AREA + "1"
    dodges = a_card((area, -240), (LONGEST_AREA + "2", -240), base_ms=999_900)
    refused(lambda session: (load(session, dodges), keys(session, "expose")))
    for offsets in ((-120, -119), (-120, -120, -120)):
        hands = a_card(*[(LONGEST_AREA + str(n), offset) for n, offset in enumerate(offsets)], base_ms=24_000)
        for mark in hands["passes"][0]["marks"][1:]:
            mark["with_previous"] = True
        refused(lambda session, hands=hands: (load(session, hands), keys(session, "expose")))
    burn = a_card((area, 1), base_ms=100)
    refused(lambda session: (load(session, burn), keys(session, "expose")), least_ms=20)
    refused(lambda session: (load(session, burn), keys(session, "expose")), least_ms=2000, lag_ms=-500)
    long = a_card((area, 600), base_ms=999_900)
    refused(lambda session: (load(session, long), keys(session, "expose")))

    def turned(card: dict, label: str, detents: int):
        def act(session) -> None:
            load(session, card)
            to_row(session, label)
            session.input("press")
            session.input("dial", detents)

        return act

    refused(turned(a_card(base_ms=999_900), "Base", 1))
    two = a_card(base_ms=999_900, tied=True)
    two["passes"].append(a_pass(base_ms=100))
    refused(turned(two, "Base", 1))
    refused(turned(a_card(base_ms=100), "Base", -1))
    refused(turned(a_card(base_ms=500), "Base", 200))
    for ms, detents in ((100, -1), (999_900, 1), (100, 200)):
        refused(turned(a_card(flash={"light_ms": ms}), "Flash", detents))

    def strip(card: dict, *rows: tuple[str, int]):
        def act(session) -> None:
            load(session, card)
            to_screen(session, "strip")
            for label, detents in rows:
                set_row(session, label, detents)
            keys(session, "expose")

        return act

    refused(strip(a_card((area, 40, "00")), ("Strip for", 1), ("Kind", 1)))
    refused(strip(a_card(base_ms=1000), ("Step", 5)))
    refused(strip(a_card(base_ms=999_900), ("Step", 2)))

    def rest_too_short(session) -> None:
        keys(session, "expose", "expose")
        wait(session, 9000)
        keys(session, "expose")
        session.box.asked.set_bench({"least_ms": 2000})
        keys(session, "expose")

    refused(rest_too_short)

    def far_patch(session) -> None:
        strip(a_card((area, 560), base_ms=1000), ("Strip for", 1), ("Step", 2))(session)
        _give_all(session)
        session.input("dial", 99)
        session.input("press")

    refused(far_patch)

    def full_shelf(session) -> None:
        for number in range(CARDS_MAX):
            push(session, a_card(name=f"card-{number}"))
        set_row(session, "Keep on shelf", 0)

    refused(full_shelf)

    def card_gone_bad(session) -> None:
        push(session, a_card(name=LONGEST_NAME))
        spoil(session.disk, "card-" + LONGEST_NAME)
        to_screen(session, "shelf")
        session.input("press")

    refused(card_gone_bad)


def _note_what_is_kept(note) -> None:
    """New, load, keep, remove, choose; a full disk; a run that is ended."""
    worst = worst_card()
    session = new_session()
    set_row(session, "Keep on shelf", 0)
    note(session, "on the shelf")
    load(session, worst)
    to_screen(session, "shelf")
    to_row(session, LONGEST_NAME)
    session.input("press")
    note(session, "Nothing to load")
    set_row(session, "Keep on shelf", 1)
    note(session, "it replaces")
    to_screen(session, "shelf")
    to_row(session, "new-print")
    session.input("press")
    note(session, "Undo brings " + LONGEST_NAME)
    undo(session)
    to_screen(session, "print")
    to_row(session, "New print")
    session.input("press")
    note(session, "A new print. Undo")
    to_row(session, "New print")
    session.input("press")
    note(session, "new already")
    to_screen(session, "shelf")
    set_row(session, "Remove a card", 2)
    note(session, LONGEST_NAME + " is off the shelf")

    filters = a_card(name=LONGEST_NAME)
    for number in range(1, 16):
        burn = {"area": f"a{number}", "stops120": 1, "filter": f"WWWWWWW{number:x}"}
        filters["passes"][0]["marks"].append(burn)
    load_as_it_comes = new_session()
    push(load_as_it_comes, filters)
    to_screen(load_as_it_comes, "shelf")
    load_as_it_comes.input("press")
    note(load_as_it_comes, "and 12 more")

    for drawer in (["2", "5"], ["1"]):
        session = new_session()
        ask(session, "bench.set", values={"filters": drawer})
        keys(session, "expose", "expose")
        until_dark(session)
        load(session, worst)
        to_screen(session, "ledger")
        to_row(session, "Print this again")
        session.input("press")
        note(session, f"Undo brings {LONGEST_NAME} back")

    session = new_session()
    for _ in range(2):
        set_row(session, "Keep on shelf", 0)
    push(session, a_card(name="new-print-2"))
    undo(session)
    note(session, "the PC has changed it")

    session = new_session()
    load(session, a_card(("door", 0, LONGEST_FILTER)))
    to_screen(session, "strip")
    set_row(session, "Strip for", 1)
    keys(session, "expose")
    note(session, "No strip here")

    session = situation("ready, filter", worst)
    keys(session, "back")
    to_screen(session, "print")
    keys(session, "expose")
    note(session)

    session = new_session()
    load(session, a_card(base_ms=4000))
    keys(session, "expose", "expose")
    wait(session, 1000)
    keys(session, "expose", "back")
    to_screen(session, "print")
    set_row(session, "Base", 1)
    keys(session, "back")
    to_row(session, "Go on")
    keys(session, "press")
    _give_all(session)
    note(session, "another now: EXPOSE")

    for number in (0, 1, 99):
        session = new_session()
        load(session, worst_card() if number else a_card(base_ms=600_000, filter=LONGEST_FILTER))
        to_screen(session, "strip")
        set_row(session, "Strip for", number)
        if session.box._refusal():
            continue
        keys(session, "expose")
        _give_all(session)
        session.input("press")
        note(session, "is set to")

    tied = a_card(base_ms=400_000, tied=True)
    tied["passes"].append(a_pass(base_ms=300_000))
    session = new_session()
    load(session, tied)
    to_screen(session, "strip")
    keys(session, "expose")
    _give_all(session)
    session.input("press")
    note(session, "alone is set to")

    for kept in ("kept in mid-stage", "kept before light"):
        session = situation(kept, worst_card())
        to_row(session, "End this run")
        session.input("press")
        note(session, "Ended")

    session = new_session()
    load(session, a_card(base_ms=999_900))
    for label, detents, has in (("Keep on shelf", -1, "Not kept"), ("Dry-down", 100, "The lamp gives")):
        set_row(session, label, detents)
        note(session, has)

    full = new_session(GuardedDisk())
    full.disk.full = True
    set_row(full, "Base", 1)
    note(full, "full")
    keys(full, "expose")
    note(full)
    _give_all(full)
    note(full, "not kept yet")
    for _ in range(12):
        keys(full, "expose")
        _give_all(full)
    note(full, "are lost")
    full = new_session(PickyDisk())
    full.disk.refuses = "run"
    keys(full, "expose")
    note(full, "The map of this run")


def _note_undo(note) -> None:
    """Every row of every screen changed and undone, both ways."""
    for card in CARDS_OF_ROWS.values():
        for way in (1, -1, 2):
            for _, session in every_row(card()):
                row = session.box.panel.row()
                if not row.does & TURNS:
                    continue
                place = (session.box.panel.screen.key, session.box.panel.cursor.at)
                session.input("press")
                wait(session, 200)
                session.input("dial", way)
                session.input("press")
                if session.box.state == "browse" and len(session.box.panel.undo):
                    note(session)
                    changes = len(session.box.panel.undo)
                    undo(session)
                    note(session, "Undone: ")
                    assert len(session.box.panel.undo) == changes - 1
                    to_row(session, "Redo")
                    session.input("press")
                    note(session, "Redone: ")
                    undo(session)
                else:
                    session.input("back")
                to_screen(session, place[0])
                session.input("dial", place[1])
    session = new_session()
    load(session, worst_card())
    for label in ("Add a mark", "New print"):
        to_row(session, label)
        session.input("press")
        while session.box.state == "edit":
            session.input("press")
    while len(session.box.panel.undo):
        undo(session)
        note(session, "Undone: ")
    chosen = situation("choose")
    chosen.input("dial", 1)
    chosen.input("press")
    undo(chosen)
    note(chosen, "Undone: Base: ")


def _note_cuts(note) -> None:
    """Runs that a reset cut off: what is known, whether it can go on, what else is wrong."""
    worst = worst_card()

    def at_burn():
        """In mid-burn of the longest name: its stage begins where the base has been given."""
        session = situation("exposing a burn", worst)
        assert LONGEST_AREA in session.box.run.stages[session.box.run.at].area
        return session

    def whole(session) -> int:
        return session.box.run.stages[session.box.run.at].light_ms

    for known in (0, 1, -1):
        for spoilt in SPOILT.values():
            session = at_burn()
            spoilt(session.disk)
            session.reset(0 if not known else whole(session) if known < 0 else whole(session) - 100)
            note(session)
            if session.box.state == "notice":
                keys(session, "press")
                note(session)
    session = situation("ready, base", worst)
    session.reset()
    note(session, "Power was lost")
    session = situation("ready, filter", worst)
    session.reset(-1)
    note(session, "The box was reset before")

    # Between a run's last light and its record.
    session = situation("exposing")
    while session.box.run.at < len(session.box.run.stages) - 1:
        until_dark(session)
        keys(session, "expose")
        if not session.lamp.lit:
            keys(session, "expose")
    session.reset(whole(session))
    note(session, "It is in the ledger")
    disk = PickyDisk()
    session = new_session(disk)
    keys(session, "expose", "expose")
    disk.refuses = "ledger"
    until_dark(session)
    disk.refuses = "nothing"
    session.reset()
    note(session, "in the ledger now")


def _note_damage(note) -> None:
    session = situation("ready, base")
    spoil(session.disk, "run")
    session.reset()
    session.input("back")
    lines = session.box.damage_lines()
    assert len(lines) == 1
    session.box.io.say(lines[0])
    note(session, "cut off is damaged")
    for spoilt in SPOILT.values():
        session = situation("print screen, a change to undo")
        spoilt(session.disk)
        session.reset()
        note(session)
    session = new_session()
    load(session, worst_card())
    keys(session, "expose")
    _give_all(session)
    disk = session.disk
    card, paper, record = "card-" + LONGEST_NAME, "paper-" + LONGEST_NAME, "ledger-000001"
    sequence = "sequence-" + LONGEST_NAME
    session.box.papers.keep_text(LONGEST_NAME, b"{}")
    session.box.sequences.keep_text(LONGEST_NAME, b"{}")
    for keys_lost in (
        [card],
        [record],
        [paper],
        [sequence],
        *([own, record] for own in (card, paper, sequence)),
    ):
        kept = dict(disk.files)
        for key in keys_lost:
            spoil(disk, key)
        session.reset()
        session.box.read_up()
        note(session, "damaged")
        disk.files = kept


def spoil(disk, key: str, slots: str = "01") -> None:
    """Change a bit in every copy, or in the one named."""
    for slot in slots:
        data = disk.files.get(f"{key}.{slot}")
        if data is not None:
            disk.files[f"{key}.{slot}"] = data[:-1] + bytes([data[-1] ^ 1])


def without_map(disk) -> None:
    spoil(disk, "run")


def with_another_bench(disk) -> None:
    """Settings under which the run cannot be given."""
    change(disk, "bench", least_ms=2000, lag_ms=-500, lead_ms=5000)


def of_form_1(disk) -> None:
    """The settings as the first version kept them, the longest there are."""
    change(disk, "bench", form=None, least_ms=2000, lag_ms=-500)


def with_less_of_the_run(disk) -> None:
    change(disk, "journal", of=39)


def change(disk, key: str, **values) -> None:
    """Put values into a record, or with None take them out; a record that is not there stays so."""
    store = Store(disk, desk_platform().crc32)
    text = store.get(key)
    if text is not None:
        plain = {**json.loads(text), **values}
        store.put(key, encode({name: value for name, value in plain.items() if value is not None}))


SPOILT = {
    "nothing": lambda disk: None,
    "map of the run": without_map,
    "bench": lambda disk: spoil(disk, "bench"),
    "a copy of the bench": lambda disk: spoil_newest(disk, "bench"),
    "journal": lambda disk: spoil(disk, "journal"),
    "a copy of the journal": lambda disk: spoil_newest(disk, "journal"),
    "work": lambda disk: spoil(disk, "work"),
    "a copy of the work": lambda disk: spoil_newest(disk, "work"),
    "another bench": with_another_bench,
    "an old bench": of_form_1,
    "fewer stages": with_less_of_the_run,
    "bench and work": lambda disk: (spoil(disk, "bench"), spoil(disk, "work")),
    "map of the run, bench": lambda disk: (without_map(disk), spoil(disk, "bench")),
    "fewer stages, work": lambda disk: (with_less_of_the_run(disk), spoil_newest(disk, "work")),
    "old bench, work": lambda disk: (of_form_1(disk), spoil(disk, "work")),
}
"""What may be wrong with what is kept."""


def spoil_newest(disk, key: str) -> None:
    copies = [slot for slot in "01" if f"{key}.{slot}" in disk.files]
    if copies:
        spoil(disk, key, max(copies, key=lambda slot: disk.files[f"{key}.{slot}"][:8]))


def test_nothing_is_abbreviated(monkeypatch):
    """Every word of every screen is one that a dictionary or a printer knows."""
    words = set()
    for name in SITUATIONS:
        words |= words_of(Seen(situation(name), monkeypatch).words, worked_card())
    for card in (worked_card(), paper_card()):
        for _, session in every_row(card):
            words |= words_of(Seen(session, monkeypatch).words, card)
    for message, _ in longest_messages():
        words |= words_of(message, worst_card()) - words_of(" ".join(names_of(worked_card())), worst_card())
    assert not words - PLAIN_WORDS, " ".join(sorted(words - PLAIN_WORDS))


def test_a_box_that_is_handed_over_says_what_it_is(monkeypatch):
    assert "Lampblack" in Seen(situation("away"), monkeypatch).words


def words_of(text: str, card: dict) -> set[str]:
    for name in names_of(card):
        text = re.sub(rf"(?<![A-Za-z]){re.escape(name)}(?![A-Za-z])", " ", text)
    for start in re.findall("([A-Za-z]+)…", text):  # a name may be cut
        if any(name.startswith(start) for name in names_of(card)):
            text = text.replace(start + "…", " ")
    words = {word.lower() for word in re.findall("[A-Za-z]+", text)}
    return {word for word in words if set(word) - {"w", "m"} or word == "ms"}  # the widest names there are


PLAIN_WORDS = set(
    """
    a about above add after again ago all alone already anchor and another answer answers apart aperture are
    areas around as asked at auto away b back base bases bath baths be became before begin begins begun
    below bench between black border both box brighter brightness brings burn but by c came can cancel
    cannot card cards carried carrier cell change changed check choose chosen clocks close closed cm come
    condenser confirm confirmed contact contrast could count counted counts cover cut damaged dark darker
    defaults delay develop developer dial did differ display do doctor dodge dodges does done down drawer
    drift drop dry each early easel edge else empty end ended exact expose exposed exposing f failing falls
    fewer fibre filter filters fine firmware first fit fitted fix fixing flash fog fogs for force forget
    free fresh from full get give given gives go goes gone good grade grey h had half handed hands has have
    held here hold holds image in incomplete ins install is it its itself just keep keeps kept keys kind
    known lacks lag lamp lampblack last later lead least leave leaves ledger left lens less let light like
    limit listen lit little load loaded long longer lost make makes many map mark may meant memory middle
    min minute minutes missed mix mixed moment more move moved moves ms much name names near nearer nearest
    nearly need needs negative new next no none not note noted nothing now nowhere number of off older on
    one ones only open opened or other out output over own paper papers partly pass passes patch patches
    pause pc pedal piece place play plug power press pressed print prints prompt pull pulses push put r
    range ratio rc reached read reading readings reads record redo redone remove replaces report reset rest
    restart right round run s safe safelight same save say screens second see seen sequence set sets
    settings settling shade shades sheet sheets shelf short shortest show sight since size smaller so some
    soon sound speed speeds split spot stage stages start stays steady step steps still stop stops strike
    strikes strip switch take taken takes tell temperature tenth test tests than that the then there third
    this three through throw tie tied time times tired to together tone tones too tray trays try turn two
    unasked under undo undone up use used view viewing volume wait waits warm was went were wet what when
    which white whole why wires with within without works would yes yet you your yourself zero
    """.split()  # noqa: SIM905
)
"""`s` and `ms` are the units; "lead-in" and "dry-down" come apart at their hyphens."""


# --- figures that can be read at a metre


@every_card
@pytest.mark.parametrize("name", [name for name in SITUATIONS if situation(name).box.lamp.meters])
def test_what_the_light_cell_reads_is_16_pixels_tall_or_more(name, card, monkeypatch):
    session = situation(name, CARDS[card]())
    if session.box.state == "viewing":
        seen = Seen(session, monkeypatch)
        assert seen.large
        for words, _, y, end, bottom in seen.large:
            assert words
            assert end <= WIDTH
            assert bottom - y >= (24 if y == 0 else 16)
            assert bottom <= 48


@every_card
@pytest.mark.parametrize(
    "name", [name for name in SITUATIONS if situation(name).box.lit and not situation(name).box.lamp.meters]
)
def test_figures_are_28_pixels_tall_while_light_is_on(name, card, monkeypatch):
    session = situation(name, CARDS[card]())
    seen = Seen(session, monkeypatch)
    ((number, x, y, end, bottom),) = seen.figures
    # Measured in the picture itself: rows with light in them, where the figures stand.
    lit = [row for row, line in enumerate(rows(seen.frame)) if any(line[x:end]) and y <= row < bottom]
    assert lit[-1] - lit[0] + 1 >= 28
    assert number >= 0


def test_the_figures_are_the_light_that_is_left(monkeypatch):
    session = new_session()
    load(session, {**a_card(base_ms=16_000, dry_down=True, dry_down_pm=100)})
    keys(session, "expose", "expose")
    for passed_ms in range(0, 14_400, 700):
        session.advance(passed_ms + session.lamp.lit_ms)
        session.input("tick")
        # 16.0 s as shown take 14.4 s of lamp; shown figures never reach zero before the light does.
        left_ms = 16_000 - passed_ms * 16_000 / 14_400
        ((tenths, *_),) = Seen(session, monkeypatch).figures
        assert left_ms <= tenths * 100 <= left_ms + 101
    session.advance(session.lamp.ends_ms - 1)
    session.input("tick")
    assert Seen(session, monkeypatch).figures[0][0] == 1


def chosen_card(tied: bool, passes: int) -> dict:
    """A card with every kind of thing that a strip can be for."""
    marks = (("face", -40), ("sky", 80), ("sun", 40, "0"), ("wall", 0))
    card = a_card(*marks, base_ms=12_000, tied=tied)
    if passes > 1:
        card["passes"].append(a_pass(("door", 60, "00"), ("step", -20), base_ms=9000, filter="5"))
    return card


def marks_of(card: dict) -> dict[tuple[int, str], int]:
    passes = card["passes"]
    return {(n, mark["area"]): mark["stops120"] for n, own in enumerate(passes) for mark in own["marks"]}


def bases_of(card: dict) -> list[int]:
    return [own["base_ms"] for own in card["passes"]]


TIMES = {"middle as now": (), "set the middle": (("Times", 1), ("Middle", 4)), "in seconds": (("Step", 3),)}
"""Rows of the Strip screen and how far each is turned, by what the strip is built on."""


def told_of_choice(seen: Seen) -> tuple[str, str, list[str]]:
    """What taking the place sets: its two lines, and those beside the seconds, the stops as one."""
    at = {(y, x > WIDTH // 2): words for words, x, y, _ in seen.texts if y < 40}
    lines = [at[y, False] for y in (16, 24, 32) if (y, False) in at]
    if lines[1] not in ("stop", "stops"):
        lines[:2] = [" ".join(lines[:2])]
    return at[0, True], at[8, True], lines


@pytest.mark.parametrize("times", TIMES)
@pytest.mark.parametrize(("tied", "passes"), [(False, 1), (True, 1), (False, 2), (True, 2)])
def test_choosing_a_patch_sets_just_what_the_screen_says(tied, passes, times, monkeypatch):
    """For every base and mark of a map, and every place of the strip."""
    card = chosen_card(tied, passes)
    several, notes = passes > 1, set()
    for target in range(passes + len(marks_of(card))):
        session = new_session()
        box = session.box
        load(session, card)
        to_screen(session, "strip")
        for label, detents in (("Strip for", target), *TIMES[times]):
            set_row(session, label, detents)
        keys(session, "expose")
        _give_all(session)
        session.input("dial", -100)
        strip, map = box.work.strip, box.work.map.copy()
        mark, own = strip.mark(map), f"pass {strip.pass_index + 1}"
        for place in range(strip.last_place + 1):
            assert (box.state, box.panel.cursor.place) == ("choose", place)
            seen = Seen(session, monkeypatch)
            check_layout(seen, card, f"{own}, target {target}, place {place}")
            first, second, (stops, unit, *note) = told_of_choice(seen)
            ((tenths, *_),) = seen.figures
            got_ms = strip.total_ms(map, place)
            session.input("press")
            now = box.work.map.to_dict()
            assert box.state == "browse"
            assert abs(tenths * 100 - got_ms) <= 50
            bases, marks = bases_of(card), marks_of(card)
            if mark is None:
                moved = offset_between(bases[strip.pass_index], got_ms)
                bases[strip.pass_index] = got_ms
                assert stops == stops_text(offset := moved)
                named = (own, "alone") if several and tied else ("sets", own if several else "base")
                means = ["new ratio"] if several and tied and moved else []
            else:
                set_to = marks[strip.pass_index, mark.area] = marks_of(now)[strip.pass_index, mark.area]
                assert stops == stops_text(offset := set_to)
                named = (mark.area, own) if several else ("sets", mark.area)
                kind = "burn" if set_to > 0 else "dodge"
                means = ["filter " + mark.filter] if mark.filter else [kind] if set_to else []
            assert (first, second) == named
            assert unit == ("stop" if 0 < abs(offset) <= 120 else "stops")
            fits = font.width(font.in_letters(stops)) <= WIDTH - font.LARGE.width(999) - 2
            assert note == (means if fits else []), "a long fraction takes the room"
            assert (bases_of(now), marks_of(now)) == (bases, marks), "and nothing else"
            notes.update(note)
            box.work.map = map.copy()
            box.work.changed()
            to_screen(session, "strip")
            to_row(session, "Choose a patch")
            session.input("press")
            session.input("dial", place + 1 - box.panel.cursor.place)
    assert notes >= {"burn", "dodge", "filter 0"}
    assert ("new ratio" in notes) == (tied and several)


def test_the_hands_are_told_whose_turn_it_is(monkeypatch):
    # On 16 s a dodge of 1/3 stop takes 3.301 s, one of 1/6 stop 1.746 s; lead-ins take 2 s each.
    session = situation("exposing")
    start_ms = session.lamp.lit_ms
    for at_ms, *words in (
        (100, "face", "in", "2s"),
        (1000, "face", "in", "1s"),
        (1999, "face", "in", "1s"),
        (2000, "face", "out", "4s"),
        (5300, "face", "out", "1s"),
        (5301, "hands", "in", "2s"),
        (7300, "hands", "in", "1s"),
        (7301, "hands", "out", "2s"),
        (9046, "hands", "out", "1s"),
        (9047, "Base, pass 1"),
        (15_900, "Base, pass 1"),
    ):
        session.now_ms = start_ms + at_ms
        session.input("tick")
        shown = [text for text, _, y, *_ in Seen(session, monkeypatch).large if y < 32]
        assert shown == words, at_ms


def test_of_windows_that_overlap_the_one_of_the_next_cue_is_named(monkeypatch):
    session = situation("exposing")
    windows = session.box.run.stage.windows
    for window, open_ms, close_ms in zip(windows, (4500, 6000), (9000, 7000), strict=True):
        window.open_ms, window.close_ms = open_ms, close_ms
    start_ms = session.lamp.lit_ms
    for at_ms, *words in (
        (4100, "face", "in", "1s"),
        (4500, "hands", "in", "2s"),
        (6000, "hands", "out", "1s"),
        (7000, "face", "out", "2s"),
        (9000, "Base, pass 1"),
    ):
        session.now_ms = start_ms + at_ms
        session.input("tick")
        assert [text for text, _, y, *_ in Seen(session, monkeypatch).large if y < 32] == words, at_ms


def test_until_a_cue_the_seconds_go_without_tenths(monkeypatch):
    """So that the count stands apart from them. From 100 s on there is no room for its unit."""
    session = new_session()
    load(session, a_card(("sky", -60), base_ms=110_000))
    keys(session, "expose", "expose")
    stage = session.box.run.stage
    start_ms = session.lamp.lit_ms
    for at_ms, figures, *words in (
        (1000, 109, "in", "1"),
        (3000, 107, "out", "32"),
        (stage.windows[0].close_ms - 9001, 85, "out", "10s"),
        (stage.windows[0].close_ms - 9000, 85, "out", "9s"),
        (stage.windows[0].close_ms, 758),
    ):
        session.now_ms = start_ms + at_ms
        session.input("tick")
        seen = Seen(session, monkeypatch)
        assert [text for text, _, y, *_ in seen.large if y == 16] == words
        assert (seen.figures[0][0], seen.with_tenths) == (figures, not words)


def test_the_figures_stand_still_while_the_lamp_reports(monkeypatch):
    session = situation("stopping")
    assert Seen(session, monkeypatch).figures[0][0] == 12
    session.now_ms += 200
    session.input("tick")
    assert Seen(session, monkeypatch).figures[0][0] == 12


def test_the_viewing_light_shows_the_seconds_it_has_left(monkeypatch):
    session = situation("viewing")
    for passed_s, shown in ((0, 300), (0.001, 300), (1, 299), (299, 1), (299.999, 1)):
        session.advance(int(passed_s * 1000))
        session.input("tick")
        assert Seen(session, monkeypatch).figures[0][0] == shown


def test_the_rail_is_the_light_to_come_and_is_raised_where_an_area_is_shaded():
    session = situation("exposing")
    stage = session.box.run.stages[session.box.run.at]
    plain, raised = 53, 50

    def lit(ms: int, row: int) -> int:
        return rows(session.frame())[row][ms * 128 // stage.light_ms & ~1]  # every second pixel is dark

    def to_come(ms: int) -> None:
        shaded = any(window.open_ms <= ms < window.close_ms for window in stage.windows)
        assert (lit(ms, raised), lit(ms, plain)) == (int(shaded), int(not shaded)), ms

    for ms in (4500, 5500, 7000, 8000, 9500, 15_900):
        to_come(ms)
    for given_ms in (4000, 8000):
        session.advance(session.lamp.lit_ms + given_ms)
        session.input("tick")
        for ms in range(100, given_ms - 200, 300):
            assert not lit(ms, raised) + lit(ms, plain), "what is given is dark"
        to_come(given_ms + 500)
        to_come(15_900)


# --- the frame


@every_situation
def test_a_frame_changes_only_when_it_is_drawn(name):
    session = situation(name)
    frame = session.frame()
    before, drawn = snapshot(session), bytes(frame)
    assert len(frame) == WIDTH * HEIGHT // 8
    assert session.frame() is frame
    assert bytes(frame) == drawn, "drawing again changes nothing"
    assert snapshot(session) == before, "drawing changes nothing in the box"
    for control in CONTROLS:
        session.input(control, 1)
        assert bytes(session.screen.buffer) == drawn
    wait(session, 5000)
    assert bytes(session.screen.buffer) == drawn


@every_situation
def test_every_change_that_shows_is_announced(name):
    """Whoever draws only when the box says "screen" never shows an old picture of a dark box."""
    for control in CONTROLS:
        session = situation(name)
        session.input("tick")
        listener = Listener()
        session.watchers.append(listener)
        before = bytes(session.frame())
        session.input(control, 1)
        if bytes(session.frame()) != before:
            assert ("screen", 0) in listener.heard, control


@pytest.mark.parametrize("state", LIT_STATES[:2])
def test_a_lit_screen_is_announced_often_enough(state):
    session = situation(state, panel_ms=100)
    listener = Listener()
    session.watchers.append(listener)
    wait(session, 5000)
    pictures = listener.heard.count(("screen", 0))
    assert pictures == (50 if state == "exposing" else 5)


def test_the_rows_of_a_picture_are_made_once(monkeypatch):
    desk = Desk(0)
    screen, made = desk.box.panel.screen, []
    make = screen.rows
    monkeypatch.setattr(type(screen), "rows", lambda self, panel: made.append(1) or make(panel))
    desk.screen.draw()
    assert len(made) == 1


def test_a_key_that_cuts_into_a_picture_finds_the_rows_as_they_are(monkeypatch):
    """On a board it may come at any time while rows are drawn."""
    desk = Desk(0)
    panel = desk.box.panel
    seen = []

    def cut(*words):
        before = panel.rows()
        assert panel.rows() is before
        desk.box.handle("press", desk.now_ms, 0)
        seen.append((before, panel.rows()))

    monkeypatch.setattr(desk.screen, "_foot", cut)
    desk.screen.draw()
    [(before, after)] = seen
    assert after is not before
    assert panel.drawn is None
