"""What the panel shows, in every situation: law 8 of the design, and that it can be read.

Each picture is taken apart as it is drawn: which words stand where, which figures, what had to be cut. Two
cards are shown in every situation: an everyday one, and one whose names and times are the longest there are.
"""

import re
import sys
from pathlib import Path

import pytest

from timing_core import font, screens, sheets
from timing_core.shelf import CARDS_MAX

sys.path.append(str(Path(__file__).parent))

from box_model import (
    LIT_STATES,
    SITUATIONS,
    GuardedDisk,
    Listener,
    a_card,
    a_pass,
    keys,
    load,
    new_session,
    push,
    set_row,
    situation,
    snapshot,
    to_row,
    to_sheet,
    until_dark,
    wait,
    worked_card,
)

from host_sim.picture import rows

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


CARDS = {"everyday": worked_card, "worst": worst_card}


# --- taking a picture apart


class Seen:
    """The texts, figures and cuts of one picture, as they were drawn."""

    def __init__(self, session, monkeypatch) -> None:
        self.texts: list[tuple[str, int, int, int]] = []  # words, x, y, x of the end
        self.figures: list[tuple[int, int, int, int, int]] = []  # number, x, y, x and y of the end
        self.cuts: list[str] = []
        self.state = session.box.state
        pen, cut = session.screen.pen, screens.clip
        ends: list[int] = []

        def text(fb, data, x, y, ink=1):
            next_x = write(fb, data, x, y, ink)
            if ends and ends[-1] == x and self.texts[-1][2] == y:
                data, x = font.encode(self.texts[-1][0]) + data, self.texts.pop()[1]
            if data:
                self.texts.append((read(data), x, y, next_x - font.GAP_PX))
                ends.append(next_x)
            return next_x

        def clip(data, px):
            kept = cut(data, px)
            if kept != data:
                self.cuts.append(read(data))
            return kept

        write = pen.text
        with monkeypatch.context() as patch:
            patch.setattr(pen, "text", text)
            patch.setattr(screens, "clip", clip)
            for name in ("LARGE", "MEDIUM"):
                patch.setattr(screens, name, self.watch(getattr(screens, name)))
            session.screen._ready_for = None  # words that were encoded beforehand are cut again
            self.frame = bytes(session.frame())
        self.words = " ".join(words for words, *_ in self.texts)

    def watch(self, figures):
        seen = self

        class Watched:
            height = figures.height

            def draw(self, fb, number, right, y, ink=1, tenths=True):
                left = right - figures.width(number, tenths)
                seen.figures.append((number, left, y, right, y + figures.height))
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
    found = [card["name"], card["title"]]
    for own in card["passes"]:
        found.append(own["filter"])
        for mark in own["marks"]:
            found += [mark["area"], mark.get("filter", "")]
    return sorted({name for name in found if name}, key=len, reverse=True)


every_situation = pytest.mark.parametrize("name", SITUATIONS)
every_card = pytest.mark.parametrize("card", CARDS)


def every_row(card: dict):
    """A session on every row of every sheet, one after another."""
    for sheet in sheets.NAMES:
        session = new_session()
        load(session, card)
        to_sheet(session, sheet)
        count = len(sheets.rows(session.box))
        for row in range(count):
            yield f"{sheet} row {row}", session
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
    for control in CONTROLS:
        says = situation(name).box.says(control)
        acts = any(does(name, control, value) for value in ((1, -1) if control == "dial" else (0,)))
        # The one hint that says why nothing happens: a rest that could not be given later runs out.
        assert acts == (says not in ("", "too late")), (control, says)


@every_card
@every_situation
def test_every_hint_is_on_the_screen_and_no_other(name, card, monkeypatch):
    session = situation(name, CARDS[card]())
    hints = {control: session.box.says(control) for control in CONTROLS if session.box.says(control)}
    seen = Seen(session, monkeypatch)
    shown = seen.hints()
    if session.box.state == "off":
        hints = {}
    assert set(shown) == set(hints)
    for control, says in hints.items():
        assert shown[control] == says or shown[control].endswith("…"), (control, shown[control])


def test_the_hint_of_every_row_is_what_a_press_does(monkeypatch):
    for where, session in every_row(worked_card()):
        says = session.box.says("press")
        assert Seen(session, monkeypatch).hints().get("press", "") == says, where
        row = session.box.row()
        assert bool(says) == (row.acts or row.turns or row.chooses), where
        assert says == (row.deed if row.acts else "change" if row.turns else says), where


# --- words that can be read


def check_layout(seen: Seen, card: dict, where: str) -> None:
    names = names_of(card)
    for words, x, y, end in seen.texts:
        assert 0 <= x <= end <= WIDTH, (where, words, x, end)
        assert 0 <= y <= HEIGHT - font.HEIGHT_PX, (where, words, y)
    for number, x, y, end, bottom in seen.figures:
        assert 0 <= x <= end <= WIDTH, (where, number)
        assert 0 <= y <= bottom <= HEIGHT, (where, number)
    boxes = [(words, x, y, end, y + font.HEIGHT_PX) for words, x, y, end in seen.texts if words.strip()]
    boxes += [(str(number), *box) for number, *box in seen.figures]
    for at, (one, x, y, end, bottom) in enumerate(boxes):
        for other, x2, y2, end2, bottom2 in boxes[:at]:
            apart = end < x2 or end2 < x or bottom <= y2 or bottom2 <= y
            assert apart, f"{where}: {one!r} and {other!r} stand on each other"
    for words in seen.cuts:
        # A new name for the shelf is made of the old one's first letters.
        assert any(name[:15] in words for name in names), f"{where}: {words!r} is cut, and is no name"


@every_card
@every_situation
def test_no_word_is_cut_or_written_over(name, card, monkeypatch):
    plain = CARDS[card]()
    check_layout(Seen(situation(name, plain), monkeypatch), plain, name)


@every_card
def test_no_word_of_any_row_is_cut_or_written_over(card, monkeypatch):
    plain = CARDS[card]()
    for where, session in every_row(plain):
        check_layout(Seen(session, monkeypatch), plain, where)
        if session.box._row_turns():
            session.input("press")
            for _ in range(3):
                check_layout(Seen(session, monkeypatch), plain, where + ", open")
                wait(session, 200)
                session.input("dial", 1)
            session.input("back")
            session.input("dial", 0)


def test_no_message_is_longer_than_its_four_lines(monkeypatch):
    """Every refusal and every remark the box can show, with the longest names in it."""
    for message in longest_messages():
        session = new_session()
        session.box.message = message
        seen = Seen(session, monkeypatch)
        lines = [words for words, _, y, _ in seen.texts if 8 <= y < 40]
        assert " ".join(lines) == message
        check_layout(seen, worst_card(), message)


def longest_messages() -> set[str]:
    found = set()

    def note(session) -> None:
        if session.box.message:
            found.add(session.box.message)

    for card in CARDS.values():
        for name in SITUATIONS:
            note(situation(name, card()))

    def refused(act, **bench) -> None:
        session = new_session()
        if bench:
            session.box.set_bench(bench)
        act(session)
        assert ": " in session.box.message
        note(session)

    area = LONGEST_AREA + "1"
    dodges = a_card((area, -240), (LONGEST_AREA + "2", -240), base_ms=999_900)
    refused(lambda session: (load(session, dodges), keys(session, "expose")))
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

    def strip(card: dict, *rows: tuple[str, int]):
        def act(session) -> None:
            load(session, card)
            to_sheet(session, "strip")
            for label, detents in rows:
                set_row(session, label, detents)
            keys(session, "expose")

        return act

    through = a_card((area, 40, "00"))
    refused(strip(through, ("Strip for", 1), ("Kind", 1)))
    refused(strip(a_card(base_ms=1000), ("Step", 5)))
    refused(strip(a_card(base_ms=999_900), ("Step", 3)))

    def rest_too_short(session) -> None:
        keys(session, "expose", "expose")
        wait(session, 9000)
        keys(session, "expose")
        session.box.set_bench({"least_ms": 2000})
        keys(session, "expose")

    refused(rest_too_short)

    def far_patch(session) -> None:
        strip(a_card((area, 560), base_ms=1000), ("Strip for", 1), ("Step", 2))(session)
        while session.box.state == "ready":
            keys(session, "expose")
            until_dark(session)
        session.input("dial", 99)
        session.input("press")

    refused(far_patch)

    def full_shelf(session) -> None:
        for number in range(CARDS_MAX):
            push(session, a_card(name=f"card-{number}"))
        set_row(session, "Keep on shelf", 1)

    refused(full_shelf)

    full = new_session(GuardedDisk())
    full.disk.full = True
    set_row(full, "Base", 1)
    assert "full" in full.box.message
    note(full)

    early = situation("exposing")
    early.input("lamp_end", early._lamp_off())
    note(early)
    silent = situation("exposing")
    silent._lamp_off()
    wait(silent, 20_000)
    assert "did not report" in silent.box.message
    note(silent)
    return found


def test_nothing_is_abbreviated(monkeypatch):
    """Every word of every screen is one that a dictionary or a printer knows."""
    words = set()
    for name in SITUATIONS:
        words |= words_of(Seen(situation(name), monkeypatch).words, worked_card())
    for _, session in every_row(worked_card()):
        words |= words_of(Seen(session, monkeypatch).words, worked_card())
    for message in longest_messages():
        words |= words_of(message, worst_card())
    assert words - PLAIN_WORDS == set()


def words_of(text: str, card: dict) -> set[str]:
    for name in (*names_of(card), "…"):
        text = re.sub(rf"(?<![A-Za-z]){re.escape(name)}(?![A-Za-z])", " ", text)
    return {word.lower() for word in re.findall("[A-Za-z]+", text)}


PLAIN_WORDS = set(
    """
    a add again all and aperture around as away back base bases be before begins begin below bench box
    brightness burn but can cannot card cards change changed check choose cover cut dial did do
    dodge dodges done down dry each early easel end expose exposed failing fewer filter filters first fit
    fog for free fresh from full get give given go handed has held here hold holds in ins is it its
    keep kept kind lag lamp lampblack late later lead leave ledger left light limit load long lost
    map mark may memory more move moves ms nearer need needs new next no not of off on one open or other out
    over paper partly pass passes patch patches power press print prompt push put reached remove
    report rest restart resume s safelight save shade sheet sheets shelf short shortest smaller
    stage stay steady step steps still stop stops strip take taken takes than the then this through
    times to too try turn undo undone up use view viewing volume wait was went why with would yet you
    zero
    """.split()  # noqa: SIM905
)
"""`s` and `ms` are the units; "lead-in" and "dry-down" come apart at their hyphens."""


# --- figures that can be read at a metre


@every_card
@pytest.mark.parametrize("name", [name for name in SITUATIONS if situation(name).box.lit])
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


def test_the_hands_are_told_whose_turn_it_is(monkeypatch):
    # On 16 s a dodge of 1/3 stop takes 3.301 s, one of 1/6 stop 1.746 s; lead-ins take 2 s each.
    session = situation("exposing")
    start_ms = session.lamp.lit_ms
    for at_ms, words in (
        (100, "Next: face"),
        (1999, "Next: face"),
        (2000, "Shade face"),
        (5300, "Shade face"),
        (5301, "Next: hands"),
        (7300, "Next: hands"),
        (7301, "Shade hands"),
        (9046, "Shade hands"),
        (9047, ""),
        (15_900, ""),
    ):
        session.now_ms = start_ms + at_ms
        session.input("tick")
        shown = [text for text, _, y, _ in Seen(session, monkeypatch).texts if y == 48]
        assert shown == ([words] if words else []), at_ms


def test_the_figures_stand_still_while_the_lamp_reports(monkeypatch):
    session = situation("stopping")
    assert Seen(session, monkeypatch).figures[0][0] == 120
    session.now_ms += 200
    session.input("tick")
    assert Seen(session, monkeypatch).figures[0][0] == 120


def test_the_viewing_light_shows_the_seconds_it_has_left(monkeypatch):
    session = situation("viewing")
    for passed_s, shown in ((0, 300), (0.001, 300), (1, 299), (299, 1), (299.999, 1)):
        session.advance(int(passed_s * 1000))
        session.input("tick")
        assert Seen(session, monkeypatch).figures[0][0] == shown


def test_the_bar_fills_with_the_light_and_shows_the_windows():
    session = situation("exposing")
    stage = session.box.stages[session.box.at]
    bar = 42

    def lit(ms: int, row: int) -> int:
        return rows(session.frame())[bar + row][2 + ms * 124 // stage.light_ms]

    for window in stage.windows:
        inside, outside = (window.open_ms + window.close_ms) // 2, window.open_ms - 300
        assert not lit(inside, 0)
        assert not lit(inside, 4), "a window is a gap in the rail"
        assert lit(outside, 0)
        assert lit(outside, 4)
    session.advance(session.lamp.lit_ms + 8000)
    assert [lit(ms, 1) for ms in (500, 4000, 7900)] == [1, 1, 1]
    assert [lit(ms, 1) for ms in (8300, 12_000, 15_800)] == [0, 0, 0]


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
    session = situation(state)
    listener = Listener()
    session.watchers.append(listener)
    wait(session, 5000)
    pictures = listener.heard.count(("screen", 0))
    assert pictures == (50 if state == "exposing" else 5)
