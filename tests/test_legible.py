"""Law 10 of the design: what hands need in the dark can be read at a metre, and the panel fogs nothing.

The pictures are read back from their pixels: enlarged letters by the shapes of the small ones, each of whose
pixels has to be a square of 2 (or 3), and the seconds by the rows that they light. What ought to be there is
worked out from the card and the plan of `box_model`, not from what the drawing meant to show.
"""

import pytest

from host_sim.box.frame_pictures import rows
from tests.box_model import (
    SITUATIONS,
    a_card,
    a_pass,
    keys,
    load,
    new_session,
    planned_print,
    planned_strip,
    set_row,
    situation,
    to_screen,
    until_dark,
    wait,
    worked_card,
)
from tests.test_screens import CARDS, SIGNS, Seen, check_layout, worst_card
from timing_core.light.bench import setting
from timing_core.light.printing_map import MARKS_MAX
from timing_core.panel.glyphs import GLYPHS
from timing_core.panel.letters import in_letters, width

WIDTH, HEIGHT = 128, 64
PIXELS = WIDTH * HEIGHT
LIT_PART_MAX = 0.20
FIGURES_PX = 28
HANDS_WORK = (
    "ready",
    "exposing",
    "held",
    "stopping",
    "choose",
    "viewing",
    "arming",
    "delaying",
    "between",
    "waiting",
)

SHAPES = {
    tuple(GLYPHS[at + 1 : at + 1 + GLYPHS[at]]): chr(23 + at // 8) if at >= 72 else SIGNS[23 + at // 8]
    for at in range(0, len(GLYPHS), 8)
    if GLYPHS[at] and 23 + at // 8 != ord("_")  # which is all below its row 7
}
"""The columns of each small letter."""


class Unread(AssertionError):
    """Pixels that are no enlarged letter."""


def read_at(picture, y: int, x: int = 0, times: int = 2, dims: bool = False, ground: int = 0) -> str:
    """The letters that begin at (x, y), enlarged so many times, up to where there is no letter more.

    A letter counts only if each of its pixels is a square of so many. With `dims` the rows that are dark
    under light are left out of account, but have to be dark (else Unread). `ground` is 1 for dark letters.
    """
    columns = []
    for left in range(x, WIDTH - times + 1, times):
        bits = 0
        for row in range(7):
            square = [picture[y + times * row + down][left : left + times] for down in range(times)]
            if dims:
                if any(square.pop()):
                    raise Unread(f"row {y + times * row + 1} is lit")
            lit = set().union(*square)
            if len(lit) != 1:
                bits = -1
                break
            bits |= (lit.pop() ^ ground) << row
        columns.append(bits)
    text, at = "", 0
    while at < len(columns):
        for wide in range(7, 0, -1):
            cell = tuple(columns[at : at + wide])
            if len(cell) == wide and -1 not in cell and columns[at + wide : at + wide + 1] in ([0], []):
                found = [sign for shape, sign in SHAPES.items() if tuple(b & 127 for b in shape) == cell]
                if found:
                    text += found[0]
                    at += wide + 1
                    break
        else:
            break
    return text.rstrip()


def is_said(shown: str, words: str, where: str) -> None:
    """`shown` is `words`, or as much of a name as there is room for."""
    assert shown, where
    assert shown == words or (shown[-1] == "…" and len(shown) > 1 and words.startswith(shown[:-1])), (
        where,
        shown,
        words,
    )


def lit_rows(picture, x: int, end: int, top: int, bottom: int) -> int:
    """Rows from the first to the last that has light between x and end."""
    found = [row for row in range(top, bottom) if any(picture[row][x:end])]
    return found[-1] - found[0] + 1 if found else 0


def are_said(shown: str, before: str, areas: list[str], room: int, where: str) -> None:
    """`shown` names them all after the words `before`, each whole where there is room for all."""
    if width(in_letters(before + " + ".join(areas))) <= room:
        assert shown == before + " + ".join(areas), where
        return
    assert shown.startswith(before), (where, shown)
    names = shown[len(before) :].split(" + ")
    for name, area in zip(names, areas, strict=True):
        is_said(name, area, where)


def next_cue(box) -> tuple[list[str], str, int] | None:
    """(areas, "in" or "out", whole seconds) of the windows whose edge comes next; None if none does."""
    so_far_ms = box.exposing.light_so_far_ms()
    edges = [
        (at_ms, window.area, word)
        for window in box.run.stage.windows
        for at_ms, word in ((window.open_ms, "in"), (window.close_ms, "out"))
        if at_ms > so_far_ms
    ]
    if not edges:
        return None
    at_ms, _, word = min(edges, key=lambda edge: edge[0])
    return [area for ms, area, _ in edges if ms == at_ms], word, -((so_far_ms - at_ms) // 1000)


def title_of(stage) -> str:
    return {
        "base": f"Base, pass {stage.pass_index + 1}",
        "burn": f"Burn {stage.area}",
        "cover": f"Patch {stage.area}",
        "fresh": f"Patch {stage.area}",
        "flash": "Flash",
        "negative": f"Negative {stage.area}",
    }.get(stage.kind, stage.area)


def task_of(stage) -> str:
    """What hands do before the stage."""
    if stage.task:
        return stage.task
    if stage.kind == "cover":
        return f"Cover up to {int(stage.area) - 1}" if stage.area != "1" else "All open"
    if stage.kind == "fresh":
        return f"Fresh piece {stage.area}"
    if stage.windows:
        areas = ", ".join(" + ".join(group) for group in shades_of(stage))
        return ("Shade " if len(stage.windows[0].area) < 8 else "") + areas
    return title_of(stage)


def shades_of(stage) -> list[list[str]]:
    """The areas to shade, those together that open together."""
    opened: dict[int, list[str]] = {}
    for window in stage.windows:
        opened.setdefault(window.open_ms, []).append(window.area)
    return list(opened.values())


def check_beside(box, picture, dims: bool, counts: bool) -> None:
    """Beside the seconds: the filter that is in, and where a shade comes or goes the count down to it."""
    is_said(read_at(picture, 32, 3, dims=dims), box.run.stage.filter or "no", "filter")
    cue = next_cue(box)
    if counts and cue:
        _, word, seconds = cue
        said = read_at(picture, 16, dims=dims)
        assert said == word
        if seconds < 100:
            after = {"in": 17, "out": 31}[word]
            assert read_at(picture, 16, after, dims=dims).startswith(str(seconds)), seconds


def check_legible(session, monkeypatch) -> None:
    """Everything that hands need, in the state that the session is in."""
    box = session.box
    seen = Seen(session, monkeypatch)
    picture = rows(seen.frame)
    state, dims = box.state, box.lit
    if box.lamp.meters:
        return  # tests/test_screens.py looks at what is large there
    if box.lit and box.lamp.strike.viewing:
        assert read_at(picture, 0, dims=True) == "Viewing light"
    elif state == "choose":
        place = box.panel.cursor.place
        assert read_at(picture, 0) == f"Patch {place // 2 + 1}" + ("½" if place % 2 else "")
    elif state == "ready" and box.exposing.stage_is_fit() and not box.message:
        filter = box.run.stage.filter
        if box.run.stage.kind == "negative":
            assert read_at(picture, 8) == title_of(box.run.stage)
        elif filter:
            assert read_at(picture, 8).startswith("Fit filter")
            is_said(read_at(picture, 0, 78, 3) or read_at(picture, 8, 78), filter, "fit")
        else:
            assert read_at(picture, 8) == "Take filter out"
        assert read_at(picture, 24) == box.run.sheet
        return
    elif state in ("ready", "waiting"):
        if not box.message:
            first = shades_of(box.run.stage)[:1]
            if first and len(first[0]) == 2:
                said = read_at(picture, 0)
                are_said(said.partition(",")[0], "Shade " * said.startswith("Shade "), first[0], 64, state)
            else:
                is_said(read_at(picture, 0), task_of(box.run.stage), state)
            check_beside(box, picture, False, False)
    elif state == "held":
        stage, cue = box.run.stage, next_cue(box)
        about = cue[0] if cue else [f"pass {stage.pass_index + 1}"]
        if stage.kind != "base":
            whole = title_of(stage).lower() if stage.kind in ("cover", "fresh", "flash") else stage.area
            about = [whole]
        assert sum(map(sum, picture[:16])) > WIDTH * 8, "on a lit ground"
        are_said(read_at(picture, 0, 2, ground=1), "Held ", about, 63, state)
        if not box.message:
            check_beside(box, picture, False, True)
    elif state == "delaying":
        is_said(read_at(picture, 0, dims=True), task_of(box.run.stage), state)
        assert read_at(picture, 16, dims=True) == "Light in"
        check_beside(box, picture, True, False)
        ((number, *_),) = seen.figures
        assert number == -(-session.light_in_ms() // 1000)
    else:
        cue = next_cue(box)
        are_said(read_at(picture, 0, dims=True), "", cue[0] if cue else [title_of(box.run.stage)], 64, state)
        check_beside(box, picture, True, True)
    if box.message:
        assert not box.lit
        return
    ((_, x, y, end, bottom),) = seen.figures
    assert lit_rows(picture, x, end, y, bottom) >= FIGURES_PX
    if dims:
        assert not any(sum(picture[row]) for row in range(1, 48, 2)), "half of the rows are dark"


IN_HAND = [name for name in SITUATIONS if situation(name).box.state in HANDS_WORK]


@pytest.mark.parametrize("card", CARDS)
@pytest.mark.parametrize("name", IN_HAND)
def test_what_hands_need_is_large(name, card, monkeypatch):
    session = situation(name, CARDS[card]())
    if session.box.message and session.box.state == "ready":
        session.input("dial", 0)  # a message is read near by, and goes with the next control
        session.box.io.message = ""
    check_legible(session, monkeypatch)


@pytest.mark.parametrize("card", CARDS)
def test_what_hands_need_is_large_all_through_a_print(card, monkeypatch):
    session = new_session()
    load(session, CARDS[card]())
    keys(session, "expose")
    met = set()
    while session.box.state != "browse":
        check_legible(session, monkeypatch)
        keys(session, "expose")
        if session.lamp.lit:
            whole_ms = session.lamp.ends_ms - session.lamp.lit_ms
            for part in (2, 30, 55, 80):
                session.advance(session.lamp.lit_ms + whole_ms * part // 100)
                session.input("tick")
                check_legible(session, monkeypatch)
            keys(session, "expose")
            if session.box.state == "held":
                check_legible(session, monkeypatch)
                keys(session, "expose")
            until_dark(session)
        met.add(session.box.state)
    assert met >= {"ready", "browse"}


@pytest.mark.parametrize("kind", ["cover", "fresh"])
def test_what_hands_need_is_large_all_through_a_strip(kind, monkeypatch):
    session = new_session()
    load(session, a_card(base_ms=14_000, filter=""))
    to_screen(session, "strip")
    set_row(session, "Patches", 6)
    if kind == "fresh":
        set_row(session, "Kind", 0)
    keys(session, "expose")
    while session.box.state == "ready":
        check_legible(session, monkeypatch)
        keys(session, "expose")
        wait(session, 300)
        session.input("tick")
        check_legible(session, monkeypatch)
        until_dark(session)
    for _ in range(25):
        check_legible(session, monkeypatch)
        session.input("dial", 1)
    assert session.box.panel.cursor.place == 20


def test_a_letter_that_is_small_is_noticed():
    frame = rows(bytes(situation("screens").frame()))
    for y in range(0, 48, 8):
        assert len(read_at(frame, y)) < 2
    large = rows(bytes(situation("ready, burn").frame()))
    assert read_at(large, 0) == "Burn sky"
    with pytest.raises(Unread):
        read_at(large, 0, dims=True)


@pytest.mark.parametrize("name", ["ready, burn", "ready, base", "ready, patch", "held", "choose"])
def test_where_nothing_can_be_given_the_seconds_stay_large(name, monkeypatch):
    """EXPOSE and LAMP need more words then, and the name goes small: there is nothing to shade."""
    session = situation(name)
    session.box.watch.has_sense = session.box.watch.uncounted = True
    assert session.box.machine.says("lamp") == "cannot: why?"
    seen = Seen(session, monkeypatch)
    picture = rows(seen.frame)
    ((_, x, y, end, bottom),) = seen.figures
    assert lit_rows(picture, x, end, y, bottom) >= FIGURES_PX
    if name != "choose":
        assert read_at(picture, y + 16, 3) == session.box.run.stage.filter
    check_layout(seen, worked_card(), name)


def test_the_first_area_to_shade_is_named_whole_where_the_verb_leaves_no_room(monkeypatch):
    for area, shown in (("face", "Shade face, hands"[:13]), ("chimney left", "chimney left")):
        session = new_session()
        load(session, a_card((area, -40), ("hands", -20), base_ms=16_000))
        keys(session, "expose")
        assert read_at(rows(bytes(session.frame())), 0).startswith(shown.rstrip())


# --- the light of the panel itself


def lit_part(session) -> float:
    return int.from_bytes(session.frame(), "little").bit_count() / PIXELS


def brightest(width: int) -> str:
    """The letter or figure with the most pixels in a line of that length."""
    lit = {
        sign: sum(column.bit_count() for column in shape) * (width // (len(shape) + 1))
        for shape, sign in SHAPES.items()
        if sign.isalnum()
    }
    return max(lit, key=lambda sign: lit[sign])


def test_no_lit_screen_lights_a_fifth_of_the_panel(capsys):
    letter = brightest(64)
    areas = [letter * 15 + chr(ord("A") + number) for number in range(MARKS_MAX)]
    worst: dict[str, float] = {}

    def look(session, what: str) -> None:
        session.input("tick")
        if session.box.lit:
            worst[what] = max(worst.get(what, 0), lit_part(session))

    cards = {
        "windows": a_card(*[(area, -7) for area in areas], base_ms=999_900, filter=letter * 8),
        "one window": a_card((areas[0], -119), base_ms=999_900, filter=letter * 8),
        "burn": a_card((areas[0], 110), base_ms=999_900, filter=letter * 8),
        "no filter": a_card((areas[0], -60), base_ms=99_900, filter=""),
    }
    for what, card in cards.items():
        session = new_session(panel_ms=1000)
        load(session, card)
        keys(session, "expose")
        while session.box.state == "ready":
            keys(session, "expose")
            if not session.lamp.lit:
                continue
            from_ms, whole_ms = session.lamp.lit_ms, session.lamp.ends_ms - session.lamp.lit_ms
            eights = [
                whole_ms - left_ms for left_ms in (888_000, 880_000, 800_000, 88_800, 80_800, 8_800, 800)
            ]
            for at_ms in sorted([*eights, *range(100, whole_ms, 997)]):
                if 0 < at_ms < whole_ms:
                    session.now_ms = from_ms + at_ms
                    look(session, what)
            until_dark(session)
    for name in SITUATIONS:
        for make in (worked_card, worst_card):
            session = situation(name, make())
            if session.box.lit:
                worst[name] = max(worst.get(name, 0), lit_part(session))
    session = new_session(panel_ms=1000)
    low, high, _ = setting("viewing_limit_s")[4]
    assert low < 888 < high
    session.box.asked.set_bench({"viewing_limit_s": high})
    keys(session, "lamp")
    for left_s in (high, 888, 880, 88, 8):
        session.now_ms = session.lamp.lit_ms + (high - left_s) * 1000
        look(session, "viewing")
    with capsys.disabled():
        most = max(worst, key=lambda what: worst[what])
        print(f"\nof the panel at most {100 * worst[most]:.1f} % is lit under light ({most})")
    assert set(cards) < set(worst)
    assert max(worst.values()) < LIT_PART_MAX, worst


# --- what is said of sheet and filter is true


class Easel:
    """What a helper with eyes knows: which filter hands have put in, where the negative is, whether the sheet
    has had light."""

    def __init__(self) -> None:
        self.filter: str | None = None
        self.negative = "in"
        self.had_light = False


def walk(session, steps: list[tuple], monkeypatch) -> list[str]:
    """Give a run that stands before its first filter, step by step as planned; what was said of the paper."""
    easel, said = Easel(), []
    for what, area, filter, _ in steps:
        assert session.box.state == "ready"
        seen = Seen(session, monkeypatch)
        picture = rows(seen.frame)
        if what == "negative":
            assert read_at(picture, 8) == f"Negative {area}"
            assert seen.hints()["expose"] == f"negative is {area}"
            easel.negative = area
            keys(session, "expose")
            continue
        if what == "fit":
            words = read_at(picture, 24)
            assert read_at(picture, 8).startswith("Fit filter" if filter else "Take filter out")
            assert (read_at(picture, 0, 78, 3) or read_at(picture, 8, 78)) == filter
            if steps[-1][0] == "fresh":
                assert words == "Fresh piece"
            else:
                assert words == ("Same sheet" if easel.had_light else "Paper in")
            said.append(words)
            keys(session, "expose")
            easel.filter = filter
            continue
        assert read_at(picture, 32, 3) == (easel.filter or "no")
        assert filter == easel.filter, "the plan has every filter fitted"
        assert easel.negative == ("out" if what == "flash" else "in"), "the plan has the negative moved"
        assert [words for words, *_ in seen.texts if words in ("Negative", "out")] == (
            ["Negative", "out"] if what == "flash" else []
        )
        words = seen.words
        says = not easel.had_light and what not in ("fresh", "flash")
        assert ("Paper in" in words) == says, words
        assert ("Same sheet" in words) <= easel.had_light
        assert ("Fresh piece " + area in words) == (what == "fresh")
        said.append("Fresh piece" if what == "fresh" else "Paper in" if "Paper in" in words else "")
        keys(session, "expose")
        assert session.lamp.lit
        session.advance((session.lamp.lit_ms + session.lamp.ends_ms) // 2)
        keys(session, "expose")
        picture = rows(bytes(session.frame()))
        assert session.box.state == "held"
        assert read_at(picture, 32, 3) == (easel.filter or "no")
        assert "Paper in" not in Seen(session, monkeypatch).words
        easel.had_light = what != "fresh"
        keys(session, "expose")
        session.input("tick")
        assert read_at(rows(bytes(session.frame())), 32, 3, dims=True) == (easel.filter or "no")
        until_dark(session)
    return said


def test_what_is_said_of_sheet_and_filter_is_true_all_through_a_print(monkeypatch):
    card = a_card(("face", -40), ("sky", 80), ("door", 60, "00"), filter="2", base_ms=16_000)
    card["passes"].append(
        a_pass(("wall", 40, "3"), ("edge", 30), ("water", 50, "2"), filter="", base_ms=9000)
    )
    session = new_session()
    load(session, card)
    keys(session, "expose")
    session.input("dial", -1)
    steps = planned_print(card)
    assert [filter for what, _, filter, _ in steps if what == "fit"] == ["2", "", "00", "3"]
    said = walk(session, steps, monkeypatch)
    assert said[:2] == ["Paper in", "Paper in"]
    assert [words for words in said[2:] if words] == ["Same sheet"] * 3
    assert session.box.state == "browse"


@pytest.mark.parametrize("flash", [{"filter": "00"}, {}, {"filter": "2", "after": True}])
def test_what_is_said_of_the_negative_is_true_all_through_a_print(flash, monkeypatch):
    card = a_card(("sky", 80), filter="2", base_ms=16_000, flash={"light_ms": 1200, **flash})
    session = new_session()
    load(session, card)
    keys(session, "expose")
    session.input("dial", -1)
    walk(session, planned_print(card), monkeypatch)
    assert session.box.state == "browse"


@pytest.mark.parametrize("kind", ["cover", "fresh"])
def test_what_is_said_of_sheet_and_filter_is_true_all_through_a_strip(kind, monkeypatch):
    card = a_card(filter="00")
    session = new_session()
    load(session, card)
    to_screen(session, "strip")
    if kind == "fresh":
        set_row(session, "Kind", 0)
    keys(session, "expose")
    session.input("dial", -1)
    steps = planned_strip(card, session.box.work.strip)
    assert {what for what, *_ in steps} == {"fit", kind}
    said = walk(session, steps, monkeypatch)
    patches = session.box.work.strip.patches
    fresh, same = ["Fresh piece"] * (patches + 1), ["Paper in"] * 2 + [""] * (patches - 1)
    assert said == (fresh if kind == "fresh" else same)
    assert session.box.state == "choose"


def test_a_sheet_that_nobody_knows_of_is_not_spoken_of(monkeypatch):
    """A reset cut the run off, and the base may have had light or not."""
    session = situation("ready, base", a_card(base_ms=8000))
    session.reset()
    keys(session, "press")
    assert session.box.state == "ready"
    for way in (0, -1):
        session.input("dial", way)
        words = Seen(session, monkeypatch).words
        assert not any(sheet in words for sheet in ("Paper in", "Same sheet", "Fresh piece"))
    session.input("dial", 1)
    keys(session, "expose")
    wait(session, 2000)
    keys(session, "back")
    assert "Same sheet" in Seen(session, monkeypatch).words


def a_split_print(monkeypatch):
    card = a_card(filter="00", base_ms=9000, tied=True)
    card["passes"].append(a_pass(filter="5", base_ms=7000))
    session = new_session()
    load(session, card)
    return session


def beside(session, monkeypatch) -> tuple[str, str]:
    """What stands large beside the seconds: a word above the filter's frame, and the filter."""
    picture = rows(Seen(session, monkeypatch).frame)
    return read_at(picture, 16), read_at(picture, 32, 3)


def test_the_next_print_asks_large_for_its_first_filter(monkeypatch):
    session = a_split_print(monkeypatch)
    keys(session, "expose")
    assert beside(session, monkeypatch)[1] == "00"
    assert beside(session, monkeypatch)[0] != "Fit"
    while session.box.run.is_kept:
        keys(session, "expose")
        if session.lamp.lit:
            until_dark(session)
    keys(session, "expose")
    told = session.box.io
    assert "fit" in [told.value[at] for at in range(told.count) if told.kind[at] == "sound"]
    assert beside(session, monkeypatch) == ("Fit", "00")
    keys(session, "expose")
    wait(session, 1000)
    keys(session, "expose")
    assert session.box.state == "held"
    wait(session, 1000)
    assert beside(session, monkeypatch)[0] != "Fit"


def test_a_stage_behind_a_filter_that_was_turned_past_asks_for_it(monkeypatch):
    session = a_split_print(monkeypatch)
    keys(session, "expose")
    wait(session, 1000)
    session.input("dial", 2)
    assert session.box.run.stage.pass_index == 1
    assert beside(session, monkeypatch) == ("Fit", "5")
    session.input("dial", -2)
    assert beside(session, monkeypatch)[0] != "Fit"


def test_what_was_in_before_a_reset_is_not_known(monkeypatch):
    session = a_split_print(monkeypatch)
    keys(session, "expose", "expose")
    wait(session, 2000)
    session.reset()
    session.advance(session.now_ms + 1000)
    keys(session, "press")
    wait(session, 1000)
    assert session.box.in_run
    assert beside(session, monkeypatch) == ("Fit", "00")
