"""The laboratory's page without a browser: every job, what it refuses, and who may look.

What a job works out is tried beside its own module; here that the page says the same.
"""

import base64
import io
import json
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from sqlalchemy import text

from lampblack.cards import areas_file, card_file, paper_file
from lampblack.lab import paper
from lampblack.lab.paper import record_of
from lampblack.lab.readings import strip_of_text
from lampblack.lab_page.folder import TRAYS_COME_ALONG
from lampblack.lab_page.jobs import JOBS, NO_JOB, answered
from lampblack.ledger.home import Home
from lampblack.wire import finding
from lampblack.wire.box_client import NoAnswer, Port
from tests.laboratory import BASE, BLACK, DENSITIES, place_in, served
from tests.test_cli import lampblack  # noqa: F401
from tests.test_printing_record import long_card
from timing_core.records.ledger import stage_record

AT = "2026-11-27T21:00:00Z"


@pytest.fixture
def place(tmp_path):
    return place_in(tmp_path)


def typed(densities: str = DENSITIES, **more: object) -> dict:
    strip = {"filter": "2", "first": "2 s", "densities": densities}
    return {"name": "rc-pearl", "step": "1/2", "base": BASE, "black": BLACK, "strips": [strip], **more}


def ask(place, job: str, **message: object) -> dict:
    return answered(place, {"job": job, **message})


def given_to(place, job: str, **message: object) -> dict:
    answer = ask(place, job, **message)
    assert "wrong" not in answer, answer
    return answer


# --- a paper


def test_the_curve_grows_with_each_reading(place):
    numbers = DENSITIES.split()
    pictures, lines = [], []
    for count in (0, 1, 8, 9, 10, 12):
        answer = given_to(place, "paper.look", **typed(" ".join(numbers[:count])))
        assert answer["picture"].startswith("<svg")
        pictures.append(answer["picture"])
        lines.append(answer["lines"][0])
        # 90 % of black is 1.80 above the base, and the tenth patch 1.81.
        assert answer["whole"] == (count >= 10)
    assert len(set(pictures)) == len(pictures)
    assert lines[0] == ""
    assert "no curve" in lines[1]
    assert "the black is not reached" in lines[3]
    assert lines[-1] == "Filter 2: R 115"


def test_the_colours_are_those_of_the_room(place):
    dark = given_to(place, "paper.look", **typed())["picture"]
    white = given_to(place, "paper.look", **typed(), white=True)["picture"]
    assert "#ffffff" not in dark
    assert "#ff4020" in dark
    assert "#ffffff" in white
    assert "#ff4020" not in white


def test_the_record_is_the_one_that_the_command_makes(place):
    strip = strip_of_text(f"2: {DENSITIES}", 2000, 60)._replace(base=[0.05], black=[(0.0, 2.05)])
    made = record_of([strip], "rc-pearl", "batch 12")
    answer = given_to(place, "paper.make", **typed(edition="batch 12"))
    assert paper_file.PAPERS.read(answer["text"], "it") == made.record
    # What a figure may be off by is never told as less than it is.
    (own,) = made.filters
    assert 0 < own.range_pm % 1 < 0.5
    assert answer["rows"][0][1] == "115 ± 6"
    assert f"R {answer['rows'][0][1]}, " in paper.told(made, own)
    assert not place.folder.papers().count("rc-pearl"), "made, and not kept yet"
    kept = given_to(place, "paper.keep", text=answer["text"])
    assert "rc-pearl" in kept["papers"]
    assert place.folder.paper("rc-pearl").to_dict() == made.record


def test_a_record_is_made_once_and_kept_as_it_was_shown(place, monkeypatch):
    made = given_to(place, "paper.make", **typed())

    def again(*_args, **_more):
        raise AssertionError("it is there, and made again")

    monkeypatch.setattr(paper, "record_of", again)
    given_to(place, "paper.keep", text=made["text"])
    assert place.folder.paper_path("rc-pearl").read_text(encoding="utf-8") == made["text"]
    assert '"base" is no key' in ask(place, "paper.keep", text="base = 1\n")["wrong"]


def test_nothing_is_written_over_unless_it_is_asked_for(place):
    text = given_to(place, "paper.make", **typed())["text"]
    given_to(place, "paper.keep", text=text)
    before = place.folder.paper_path("rc-pearl").read_bytes()
    given_to(place, "paper.keep", text=text)
    other = text.replace('"rc-pearl"', '"rc-pearl"\nedition = "another batch"', 1)
    assert "is there already" in ask(place, "paper.keep", text=other)["wrong"]
    assert place.folder.paper_path("rc-pearl").read_bytes() == before
    given_to(place, "paper.keep", text=other, force=True)
    assert place.folder.paper_path("rc-pearl").read_bytes() != before


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (
            {"strips": [{"filter": "2", "first": "", "densities": "0.1 0.2"}]},
            "say what light its first patch got",
        ),
        ({"strips": [{"filter": "2", "first": "2", "densities": "0.1 0.2"}]}, '"2" has no unit'),
        ({"strips": [{"filter": "2", "first": "2 s", "densities": "0.1 x"}]}, '"x" is no density'),
        ({"base": ""}, "the base is missing"),
        ({"name": "RC Pearl"}, "a-z, 0-9 and -"),
        ({"step": "2 s"}, "The step is in stops"),
        ({"lux": "much"}, '"much" is no light in lux'),
    ],
)
def test_what_is_wrong_is_said_in_a_line(place, changed, said):
    wrong = ask(place, "paper.make", **{**typed(), **changed})["wrong"]
    assert said in wrong
    assert "\n" not in wrong


# --- carrying over


def test_a_card_is_carried_over_as_by_the_command(place):
    now = given_to(place, "carry.card", card="breakwater")
    assert now["filters"] == ["2"]
    asked = {"card": "breakwater", "record": "vc-2019", "filters": [{"old": "2", "new": "4"}]}
    answer = given_to(place, "carry.look", **asked)
    assert [row[0] for row in answer["rows"]] == ["filter", "reciprocity", "together"]
    # Light tone of filter 4 less that of filter 2 in the record: 0.217 + 1.375 stops.
    assert answer["rows"][0][3] == "+1 71/120"
    before = place.folder.card("breakwater")
    given_to(place, "carry.keep", **asked, name="breakwater-4")
    made = place.folder.card("breakwater-4")
    assert made["passes"][0]["filter"] == "4"
    assert place.folder.card("breakwater") == before


def test_the_strip_is_for_the_pass_that_has_moved(place):
    asked = {"card": "workroom", "record": "vc-2019", "filters": [{"old": "5", "new": "4"}]}
    lines = given_to(place, "carry.look", **asked)["lines"]
    (strip,) = [line for line in lines if line.startswith("First strip")]
    assert strip.endswith("pass 2.")


def test_the_page_and_the_command_propose_the_same_strip(place, lampblack):  # noqa: F811
    for card, filters in (("workroom", "5=4"), ("workroom", "00=1"), ("breakwater", "2=4")):
        old, new = filters.split("=")
        asked = {"card": card, "record": "vc-2019", "filters": [{"old": old, "new": new}]}
        strip = [own for own in given_to(place, "carry.look", **asked)["lines"] if "First strip" in own]
        told = lampblack(
            "lab", "carry", place.folder.card_path(card), "--record", "vc-2019", "--filter", filters
        )
        assert strip[0] in told.out.splitlines()


def test_nothing_asked_for_is_nothing_carried(place):
    assert given_to(place, "carry.look", card="breakwater") == {}
    assert "no f_thirds" in ask(place, "carry.look", card="breakwater", aperture="f/11")["wrong"]
    assert "is no aperture" in ask(place, "carry.look", card="breakwater", aperture="f/9.3")["wrong"]
    assert "is no length" in ask(place, "carry.look", card="breakwater", print_mm="wide")["wrong"]


# --- the record


def picture_of(width: int = 60, height: int = 40) -> bytes:
    out = io.BytesIO()
    Image.linear_gradient("L").resize((width, height)).save(out, "PNG")
    return out.getvalue()


def test_areas_are_kept_beside_the_card_and_shown_again(place):
    outline = {"pass": 1, "area": "sky", "corners": [[0.1, 0.1], [0.9, 0.1], [0.5, 0.4]]}
    card = place.folder.card_path("breakwater").read_bytes()
    given_to(place, "record.areas", card="breakwater", outlines=[outline])
    shown = given_to(place, "record.show", card="breakwater")
    assert shown["outlines"] == [outline]
    assert {"pass": 1, "area": "sky"} in shown["marks"]
    with Image.open(io.BytesIO(base64.b64decode(shown["pages"][0]["png"]))) as page:
        assert page.width < page.height
    assert place.folder.card_path("breakwater").read_bytes() == card
    assert areas_file.path_for(place.folder.card_path("breakwater")).is_file()


def test_what_is_drawn_in_two_windows_is_kept_together(place):
    sky = {"pass": 1, "area": "sky", "corners": [[0.1, 0.1], [0.9, 0.1], [0.5, 0.4]]}
    posts, moved = {**sky, "area": "posts"}, {**sky, "corners": [[0.2, 0.1], *sky["corners"][1:]]}

    def kept(drawn: list, upon: list) -> list:
        answer = given_to(place, "record.areas", card="breakwater", outlines=drawn, upon=upon)
        assert answer["outlines"] == given_to(place, "record.show", card="breakwater")["outlines"]
        told = "breakwater.areas.toml is kept beside the card"
        elsewhere = [own for own in answer["outlines"] if own not in drawn]
        assert answer["told"] == told + (", with what has been drawn elsewhere." if elsewhere else ".")
        return answer["outlines"]

    assert kept([sky], []) == [sky]
    assert kept([posts], []) == [sky, posts]
    assert kept([posts], []) == [sky, posts], "sent again, it is not drawn twice"
    # A corner is moved in both: nothing of either is lost. What one has cleared is gone, and nothing else.
    assert kept([moved], [sky]) == [posts, moved]
    other = {**sky, "corners": [[0.3, 0.1], *sky["corners"][1:]]}
    assert kept([other, posts], [sky, posts]) == [posts, moved, other]
    assert kept([posts], [posts, moved]) == [posts, other]


def test_an_outline_that_is_none_changes_nothing(place):
    good = {"pass": 1, "area": "sky", "corners": [[0.1, 0.1], [0.9, 0.1], [0.5, 0.4]]}
    given_to(place, "record.areas", card="breakwater", outlines=[good])
    for bad in (
        {**good, "corners": [[0.1, 0.1], [0.9, 0.1]]},
        {**good, "corners": [[0.1, 0.1], [0.9, 1.1], [0.5, 0.4]]},
        {**good, "corners": [[0.1, 0.1], [True, 0.1], [0.5, 0.4]]},
        {**good, "corners": "all"},
        {**good, "pass": 0},
        {**good, "pass": True},
        {**good, "area": ""},
    ):
        assert "wrong" in ask(place, "record.areas", card="breakwater", outlines=[bad]), bad
        assert [own["area"] for own in place.folder.areas("breakwater")["outlines"]] == ["sky"]


def test_a_record_tells_of_the_trays_that_are_chosen(place):
    """The printer's own, or one that comes along."""
    own = place.folder.root / "trays" / "fibre.toml"
    own.parent.mkdir()
    text = (TRAYS_COME_ALONG / "fibre.toml").read_text(encoding="utf-8")
    own.write_text(text.replace('name = "fibre"', 'name = "fibre"\ntitle = "mine"'), encoding="utf-8")
    assert given_to(place, "cards")["sequences"] == ["fibre", "rc"]
    svg = {}
    for trays in ("", "rc", "fibre"):
        (file,) = given_to(place, "record.save", card="breakwater", kind="svg", trays=trays)["files"]
        svg[trays] = base64.b64decode(file["data"]).decode()
    assert "<!-- developer -->" not in svg[""]
    assert "<!-- developer -->" in svg["rc"]
    assert "<!-- Trays: fibre, mine -->" in svg["fibre"]
    wrong = ask(place, "record.save", card="breakwater", kind="svg", trays="nowhere")["wrong"]
    assert wrong.startswith("There is no tray sequence nowhere in ")


def test_a_record_is_saved_whole_under_the_command_s_names(place):
    place.folder.keep_card({**long_card(), "name": "long"})
    for kind, begins, names in (
        ("pdf", b"%PDF", ["long.pdf"]),
        ("svg", b"<?xml", ["long.svg", "long-2.svg"]),
        ("png", b"\x89PNG", ["long.png", "long-2.png"]),
    ):
        saved = given_to(place, "record.save", card="long", kind=kind, edition="7/25", date="today")
        assert [own["name"] for own in saved["files"]] == names
        assert saved["told"] == f"Saved: {', '.join(names)}."
        data = [base64.b64decode(own["data"]) for own in saved["files"]]
        assert all(own.startswith(begins) for own in data)
        assert len(set(data)) == len(names)
    assert ask(place, "record.save", card="long", kind="exe")["wrong"] == NO_JOB
    wrong = ask(place, "record.save", card="long", kind="pdf", edition="9/3")["wrong"]
    assert wrong.startswith('"9/3" is no print of an')


# --- the ledger


def exposed(place, *ups: int, **more: object) -> None:
    """Prints of the example's card in the ledger."""
    map = place.folder.card("breakwater")
    base_ms = map["passes"][0]["base_ms"]
    stages = [stage_record("Base, pass 1", "2", base_ms, base_ms, 1, 0, False)]
    records = [
        {
            "form": 2, "n": up, "box": "e66164084373a52c", "kind": "print", "map": map, "strip": None,
            "whole": True, "cut_off": "", "up_s": up, "at": AT, "dry_down_pm": 0, "stages": stages,
            "kept": True,
            **more,
        }
        for up in ups
    ]  # fmt: skip
    with Home(place.database) as home:
        home.put(records, "e66164084373a52c", AT)


def test_what_was_exposed_is_found_and_its_card_made_again(place):
    exposed(place, 1, 2)
    found = given_to(place, "ledger.list", title="evening")["entries"]
    assert [own["print"] for own in found] == ["2 of 2", "1 of 2"]
    assert given_to(place, "ledger.list", title="morning")["entries"] == []
    shown = given_to(place, "ledger.show", id=found[0]["id"])
    assert shown["rows"][0][:2] == ["Base, pass 1", "2"]
    card = place.folder.card("breakwater")
    place.folder.card_path("breakwater").unlink()
    given_to(place, "ledger.again", id=found[0]["id"])
    assert place.folder.card("breakwater") == card
    assert "is no entry" in ask(place, "ledger.show", id="zzz-9")["wrong"]


def test_an_entry_that_is_damaged_is_named_and_the_others_are_there(place):
    exposed(place, 1, 2)
    with Home(place.database) as home, home._writing.begin() as connection:
        connection.execute(text("UPDATE ledger_entries SET record = '{}' WHERE n = 1"))
    answer = given_to(place, "ledger.list")
    assert [own["id"] for own in answer["entries"]] == ["a52c-2"]
    assert [line.split(" cannot be read")[0] for line in answer["remarks"]] == ["a52c-1"]


def test_a_print_has_its_number_whatever_is_looked_for(place):
    exposed(place, 1, 2)
    card = place.folder.card("breakwater")
    exposed(place, 3, 4, map={**card, "facts": {**card["facts"], "paper": "matt fibre"}})
    found = given_to(place, "ledger.list", paper="MATT")["entries"]
    assert [own["print"] for own in found] == ["4 of 4", "3 of 4"]


def test_an_entry_has_the_picture_of_its_own_print_alone(place):
    """A name is given again: the card of today may be of another print."""
    place.folder.keep_picture("breakwater", picture_of())
    (place.folder.root / "prints" / "No Name.png").write_bytes(b"")
    card = place.folder.card("breakwater")
    exposed(place, 1)
    exposed(place, 2, map={**card, "facts": {**card["facts"], "negative": "another"}})
    exposed(place, 3, map={**card, "title": "Harbour"})
    found = {own["id"][-1]: own["picture"] for own in given_to(place, "ledger.list")["entries"]}
    assert found == {"1": "breakwater", "2": "", "3": ""}
    # A card without title and negative says too little of what it is of.
    bare = {**card, "title": "", "facts": {}}
    place.folder.keep_card(bare, force=True)
    exposed(place, 4, map=bare)
    assert not any(own["picture"] for own in given_to(place, "ledger.list")["entries"])


def test_a_record_of_the_first_form_makes_no_card(place):
    exposed(place, 3, form=1, map=None, card="old", title="Old")
    found = given_to(place, "ledger.list")["entries"]
    assert not given_to(place, "ledger.show", id=found[0]["id"])["again"]
    assert "older form" in ask(place, "ledger.again", id=found[0]["id"])["wrong"]


# --- whatever is sent


plain = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False) | st.text(max_size=30),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)
KEYS = (
    "name", "card", "strips", "outlines", "filters", "step", "base", "id", "text", "first", "edition",
    "paper_size", "aperture", "anchor",
)  # fmt: skip


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25)
@given(
    job=st.sampled_from([job for job in JOBS if not job.endswith((".push", ".pull"))]),
    message=st.dictionaries(st.sampled_from(KEYS), plain, max_size=6),
)
def test_whatever_is_asked_is_answered_and_stays_in_its_folder(place, job, message):
    before = set(place.folder.root.parent.iterdir())
    answer = answered(place, {"job": job, **message})
    json.dumps(answer)
    assert isinstance(answer.get("wrong", ""), str)
    assert set(place.folder.root.parent.iterdir()) == before


@pytest.mark.parametrize("message", [None, 3, [], {}, {"job": 3}, {"job": "paper.burn"}, {"job": ["cards"]}])
def test_what_is_no_job_is_refused(place, message):
    assert answered(place, message) == {"wrong": NO_JOB}


@pytest.mark.parametrize(
    "name", ["../breakwater", "/etc/passwd", "", "a/b", "breakwater.toml", "é", "x" * 25]
)
def test_a_name_leads_nowhere_else(place, name):
    for job in ("record.show", "record.areas", "carry.card"):
        assert "is no name" in ask(place, job, card=name)["wrong"]


@pytest.mark.parametrize("job", ["paper.push", "ledger.pull"])
def test_who_has_no_box_is_told_what_a_browser_can_do(place, job, monkeypatch):
    found = []
    monkeypatch.setattr(finding, "ports", lambda: found)
    for boxes, todo in ((0, "Plug the box in with a data cable, and press again."),
                        (1, "Unplug it, plug it in again, and press again.")):  # fmt: skip
        found[:] = [Port("/dev/no-such-box", "Board in FS mode", (finding.RASPBERRY_PI, 5))] * boxes
        monkeypatch.setattr(finding, "BoxClient", silent)
        wrong = ask(place, job, name="vc-2019")["wrong"]
        assert wrong.endswith(todo), wrong
        assert "--" not in wrong


def silent(url, *_args, **_more):
    raise NoAnswer(f"{url} does not answer.")


@pytest.mark.parametrize("job", ["paper.push", "ledger.pull"])
def test_no_box_is_a_line(place, job):
    away = place._replace(port="socket://localhost:1")
    assert "does not open" in ask(away, job, name="vc-2019")["wrong"]


# --- over the wire of a browser


def test_only_who_has_the_key_may_look_and_only_the_page_may_ask(place):
    place.folder.keep_picture("breakwater", picture_of())
    with served(place) as address:
        origin = "/".join(address.split("/")[:3])

        def got(path: str, data: bytes | None = None, **headers: str) -> tuple[int, bytes]:
            request = urllib.request.Request(path, data, headers)
            try:
                with urllib.request.urlopen(request) as reply:
                    return reply.status, reply.read()
            except urllib.error.HTTPError as refused:
                return refused.code, refused.read()

        assert got(address)[0] == 200
        assert got(address.replace("/lab/", "x/lab/"))[0] == 403
        asked = json.dumps({"job": "cards"}).encode()
        assert got(f"{address}do", asked)[0] == 403
        assert got(f"{address}do", asked, Origin="http://127.0.0.1:1")[0] == 403
        status, answer = got(f"{address}do", asked, Origin=origin)
        assert status == 200
        assert [own["name"] for own in json.loads(answer)["cards"]] == ["breakwater", "workroom"]
        assert json.loads(got(f"{address}do", b"\xff", Origin=origin)[1])["wrong"] == NO_JOB
        with Image.open(io.BytesIO(got(f"{address}thumbnail/breakwater.png")[1])) as small:
            assert small.size == (60, 40)
        assert got(f"{address}thumbnail/workroom.png")[0] == 404
        posted = got(f"{address}print/workroom", picture_of(2400, 1600), Origin=origin)[1]
        assert json.loads(posted) == {"told": "The picture of workroom is kept."}
        posted = got(f"{address}print/workroom", picture_of(2400, 1600), Origin=origin)[1]
        assert json.loads(posted)["told"].endswith("of workroom is kept, in place of the one before.")
        wrong = json.loads(got(f"{address}print/workroom", b"no picture", Origin=origin)[1])["wrong"]
        assert wrong.startswith("The picture is not used")
        with Image.open(place.folder.picture("workroom")) as kept:
            assert kept.size == (1200, 800)


def test_a_card_that_cannot_be_read_is_told_of_and_left_alone(place):
    path = Path(place.folder.root / "cards" / "torn.toml")
    assert given_to(place, "cards")["note"] == ""
    path.write_text("name = ", encoding="utf-8")
    answer = given_to(place, "cards")
    cards = {own["name"]: own for own in answer["cards"]}
    assert answer["note"] == cards["torn"]["wrong"]
    assert answer["note"].startswith(f"{path}:1: this is not TOML")
    assert "wrong" not in cards["breakwater"]
    assert path.read_text(encoding="utf-8") == "name = "
    # Of each the first line: the whole of it is for who mends it.
    path.with_name("bare.toml").write_text("", encoding="utf-8")
    note = given_to(place, "cards")["note"]
    assert "bare.toml:1: name is missing" in note
    assert note.endswith(" And 1 more card cannot be read.")
    assert "\n" not in note


def test_a_card_that_is_dropped_is_kept_and_a_wrong_one_is_not(place):
    text = card_file.dump({**place.folder.card("breakwater"), "name": "second"})
    assert given_to(place, "card.take", text=text)["name"] == "second"
    assert place.folder.card("second")["title"] == "Breakwater, evening"
    wrong = ask(place, "card.take", text=text.replace("base", "bass"))["wrong"]
    assert '"bass" is no key' in wrong
    outline = {"pass": 1, "area": "sky", "corners": [[0, 0], [9000, 0], [9000, 9000]]}
    for other, what in (
        (areas_file.dump({"outlines": [outline]}), "file of areas"),
        (given_to(place, "paper.make", **typed())["text"], "paper record"),
    ):
        said = f"This is a {what}, and no card. Give a card."
        assert ask(place, "card.take", text=other)["wrong"] == said


def test_a_name_that_is_taken_is_refused_with_what_can_be_done_there(place):
    """Only who is asked for a name is told to give another."""
    exposed(place, 1)
    second = {**place.folder.card("breakwater"), "title": "Another"}
    place.folder.keep_card(second, force=True)
    entry = given_to(place, "ledger.list")["entries"][0]["id"]
    dropped = card_file.dump({**second, "title": "Yet another"})
    carried = {"card": "breakwater", "cell": "+1", "name": "workroom"}
    for job, message, todo in (
        ("ledger.again", {"id": entry}, "or rename the one that is there."),
        ("card.take", {"text": dropped}, "or write another name into yours."),
        ("carry.keep", carried, "or give another name."),
    ):
        wrong = ask(place, job, **message)["wrong"]
        assert wrong.endswith(f"is there already. Tick “write over it”, {todo}"), wrong
