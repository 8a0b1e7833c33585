"""The timeline: what it keeps is what happened, and its picture shows that."""

import json
import xml.etree.ElementTree as ET

import pytest

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.session import Session, Trace, Watcher
from host_sim.darkroom import timeline as timeline_module
from host_sim.darkroom.timeline import Timeline
from tests.box_model import LightMeter, a_card, keys, load, new_session, until_dark, wait, worked_card

SVG = "{http://www.w3.org/2000/svg}"


class Witness(Watcher):
    """Writes down what a timeline should say, straight from the session."""

    def __init__(self) -> None:
        self.sounds: list[tuple[int, str]] = []
        self.lamp_edges: list[tuple[int, int]] = []

    def lamp(self, now_ms: int, on: bool) -> None:
        self.lamp_edges.append((now_ms, int(on)))

    def output(self, now_ms: int, kind: str, value) -> None:
        if kind == "sound":
            self.sounds.append((now_ms, value))


def watched(card: dict | None = None) -> tuple[Session, Timeline]:
    session = new_session()
    timeline = Timeline(session)
    session.watchers.append(timeline)
    if card is not None:
        load(session, card)
    return session, timeline


def print_it(session: Session) -> None:
    keys(session, "expose")
    while session.box.state == "ready":
        keys(session, "expose")
        if session.lamp.lit:
            until_dark(session)
        wait(session, 2000)


def of(timeline: Timeline, kind: str) -> list[tuple[int, object]]:
    return [(at_ms, value) for at_ms, what, value in timeline.rows if what == kind]


def test_it_keeps_every_lamp_edge_sound_and_stage():
    session, timeline = watched(worked_card())
    witness = Witness()
    session.watchers.append(witness)
    print_it(session)
    assert of(timeline, "lamp") == witness.lamp_edges
    assert len(witness.lamp_edges) == 8
    assert of(timeline, "sound") == witness.sounds
    assert [name for _, name in of(timeline, "stage")] == [
        "Base, pass 1", "Burn sky", "Fit filter 5", "Base, pass 2", "Fit filter 00", "Burn door", "",
    ]  # fmt: skip
    times = [at_ms for at_ms, _, _ in timeline.rows]
    assert times == sorted(times)


def test_the_safelight_is_there_from_the_start_and_follows_its_rule():
    session, timeline = watched(a_card(base_ms=4000))
    session.box.asked.set_bench({"safelight": "exposing"})
    began_ms = session.now_ms
    keys(session, "expose", "expose")
    until_dark(session)
    assert of(timeline, "safelight") == [(0, 1), (began_ms, 0), (began_ms + 4000, 1)]


def test_what_is_new_comes_once():
    session, timeline = watched(a_card(base_ms=4000))
    keys(session, "expose", "expose")
    first = timeline.since(0)
    assert first == timeline.rows
    seen = len(timeline.rows)
    assert timeline.since(seen) == []
    wait(session, 1500)
    assert timeline.since(seen) == [(1000, "sound", "tick")]


SHORT = (("developer", 6000, 0, 0, False), ("fix", 4000, 0, 0, False), ("fix", 3000, 0, 0, False))
"""(name, ms, ms to drain, ms between agitations, whether the sheet stays)"""


def test_sheets_go_from_tray_to_tray_at_their_times_also_while_a_tone_waits_under_light():
    session, timeline = watched(a_card(base_ms=9000))
    session.box.trays.start(0, SHORT)
    session.box.trays.start(2, SHORT[1:])
    began_ms = session.now_ms
    keys(session, "expose", "expose")
    wait(session, 20_000)
    ends_ms = [0, 6000, 10_000, 13_000]
    names = ["developer", "fix", "fix", ""]
    assert of(timeline, "sheet 1") == [(began_ms + ms, name) for ms, name in zip(ends_ms, names)]
    assert of(timeline, "sheet 2") == []
    assert of(timeline, "sheet 3") == [(began_ms, "fix"), (began_ms + 4000, "fix"), (began_ms + 7000, "")]
    bars = [
        bar.findtext(SVG + "title", "")
        for bar in drawn(timeline).iter(SVG + "rect")
        if bar.get("class") == "sheet"
    ]
    assert [bar.partition(",")[0] for bar in bars] == ["developer", "fix", "fix", "fix", "fix"]
    assert seconds(bars[1]) == [began_ms / 1000 + 6, began_ms / 1000 + 10]


def test_a_reset_ends_the_trays():
    session, timeline = watched()
    session.box.trays.start(1, SHORT)
    wait(session, 2000)
    session.reset()
    wait(session, 9000)
    assert [name for _, name in of(timeline, "sheet 2")] == ["developer", ""]
    assert of(timeline, "sheet 2")[-1][0] == session.now_ms - 9000


def test_a_reset_ends_the_stage():
    session, timeline = watched(a_card(base_ms=4000))
    keys(session, "expose", "expose")
    wait(session, 700)
    session.reset()
    assert (700, "lamp", 0) in timeline.rows
    assert (700, "reset", 0) in timeline.rows
    assert of(timeline, "stage")[-1] == (700, "")
    keys(session, "press")
    assert of(timeline, "stage")[-1] == (700, "Base, pass 1")


def test_no_picture_is_drawn_before_somebody_wants_it(monkeypatch):
    """A page is told of a press first: drawing takes longer than all else."""
    session, timeline = watched(worked_card())
    keys(session, "expose")
    drawn = []
    draw = session.screen.draw
    monkeypatch.setattr(session.screen, "draw", lambda: drawn.append(session.box.state) or draw())
    keys(session, "expose")
    assert drawn == ["ready"]  # the picture before, with this press
    assert '"out":"screen"' in timeline.trace()
    assert drawn == ["ready", "exposing"]


def test_the_trace_is_the_sessions_own():
    session, timeline = watched()
    lines: list[str] = []
    session.watchers.append(Trace(session, lines.append))
    load(session, a_card(base_ms=3000))
    print_it(session)
    session.reset()
    assert timeline.trace() == "".join(line + "\n" for line in lines)
    assert len(lines) > 30


def test_a_flood_takes_a_bounded_room_and_what_was_left_out_is_said(monkeypatch):
    monkeypatch.setattr(timeline_module, "LINES_MAX", 100)
    session, timeline = watched()
    lines: list[str] = []
    session.watchers.append(Trace(session, lines.append))
    for _ in range(3):
        for _ in range(40):
            session.input("line", b"noise")
        first, *rest = timeline.trace().splitlines()
        if len(lines) <= 100:
            assert [first, *rest] == lines
        else:
            assert json.loads(first) == {"left_out": len(lines) - 100}
            assert rest == lines[-100:]
        assert len(timeline._lines) <= 100
    assert len(lines) == 240


# --- the picture


def drawn(timeline: Timeline) -> ET.Element:
    return ET.fromstring(timeline.svg())


def seconds(title: str) -> list[float]:
    return [float(word) for word in title.replace(",", " ").split() if word.replace(".", "").isdigit()]


def test_the_picture_shows_every_strike_to_scale():
    session, timeline = watched(worked_card())
    meter = LightMeter(session)
    session.watchers.append(meter)
    print_it(session)
    picture = drawn(timeline)
    bars = [bar for bar in picture.iter(SVG + "rect") if bar.get("class") == "lamp"]
    edges = of(timeline, "lamp")
    spans = [(on_ms, off_ms) for (on_ms, _), (off_ms, _) in zip(edges[::2], edges[1::2])]
    assert len(bars) == len(spans) == 4
    scales = []
    for bar, (on_ms, off_ms) in zip(bars, spans):
        scales.append(float(bar.get("width", 0)) / (off_ms - on_ms))
        title = bar.findtext(SVG + "title", "")
        assert seconds(title) == [on_ms / 1000, off_ms / 1000]
    assert scales == pytest.approx([scales[0]] * 4, rel=0.01)
    words = [text.text for text in picture.iter(SVG + "text")]
    assert {"stage", "lamp", "safelight", "sound", "Base, pass 1", "Burn sky", "0", "10", "s"} <= set(words)


def test_the_picture_is_red_on_black_and_fetches_nothing():
    _, timeline = watched()
    text = timeline.svg()
    root = ET.fromstring(text)
    assert root.tag == SVG + "svg"
    for colour in ("#ff4020", "#080000"):
        assert colour in text
    assert text.count("http") == 1, "but for the name space"
    assert not {"script", "image", "use", "a", "foreignObject"} & {
        part.tag.replace(SVG, "") for part in root.iter()
    }


@pytest.mark.parametrize("name", ["a<b", 'say "x" & y', "</svg>"])
def test_an_areas_name_cannot_break_the_picture(name):
    session, timeline = watched(a_card((name, 60), base_ms=9000))
    print_it(session)
    titles = [title.text or "" for title in drawn(timeline).iter(SVG + "title")]
    assert any(title.startswith(f"Burn {name},") for title in titles)


def test_what_is_still_on_reaches_to_now():
    session, timeline = watched(a_card(base_ms=60_000))
    keys(session, "expose", "expose")
    wait(session, 7000)
    (bar,) = [bar for bar in drawn(timeline).iter(SVG + "rect") if bar.get("class") == "lamp"]
    assert seconds(bar.findtext(SVG + "title", "")) == [0, 7]


@pytest.mark.parametrize("hours", [0, 1, 9])
def test_a_long_evening_stays_a_picture_of_a_fair_size(hours):
    session, timeline = watched()
    wait(session, hours * 3_600_000)
    root = drawn(timeline)
    assert 900 <= int(root.get("width", 0)) <= 16_500
    assert len(list(root.iter())) < 150


def test_a_timeline_that_begins_late_shows_the_safelight_as_it_is():
    session = new_session(MemoryDisk())
    wait(session, 5000)
    timeline = Timeline(session)
    assert timeline.rows == [(5000, "safelight", 1)]
