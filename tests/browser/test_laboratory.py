"""The laboratory's four jobs, worked on its page as a person works them: typed, drawn, chosen, kept."""

import io
import os
from collections.abc import Callable, Iterator

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, expect

from host_sim.darkroom.ideal_print import ideal_greys
from host_sim.darkroom.planned_light import planned_print
from host_sim.optics.negatives import negative
from lampblack.cards import areas_file, card_file
from lampblack.sim.simulator import build
from tests.browser.screen import dark, keep_picture
from tests.laboratory import BASE, BLACK, DENSITIES, place_in, served
from tests.test_lab_page import exposed, picture_of
from tests.test_printing_record import long_card
from timing_core.light.printing_map import PrintingMap


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    return place_in(tmp_path_factory.mktemp("lab"))


@pytest.fixture(scope="module")
def address(place) -> Iterator[str]:
    with served(place) as found:
        yield found


@pytest.fixture
def at(chromium: Browser, address: str) -> Iterator[Callable[..., Page]]:
    """`at(job, width)`: a window on that job. What a page logs as wrong fails the test."""
    contexts, wrong = [], []

    def opened(job: str, width: int = 1280) -> Page:
        context = chromium.new_context(viewport={"width": width, "height": 900})
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda said: wrong.append(said.text) if said.type == "error" else None)
        page.goto(f"{address}#{job}")
        expect(page.locator(f"#{job}")).to_be_visible()
        return page

    yield opened
    for context in contexts:
        context.close()
    assert wrong == []


def test_a_paper_record_grows_is_made_and_kept(at, place):
    page = at("paper")
    strip = page.locator("#strips li").first
    strip.get_by_label("Filter").fill("2")
    strip.get_by_label("First patch").fill("2 s")
    strip.get_by_label("Densities").fill(DENSITIES[:20])
    expect(strip.locator(".line")).to_contain_text("the base is missing", timeout=30_000)
    page.get_by_label("Unexposed paper").fill(BASE)
    page.get_by_label("Black piece").fill(BLACK)
    expect(strip.locator(".line")).to_contain_text("the black is not reached")
    make = page.get_by_role("button", name="Make the record")
    expect(make).to_be_disabled()
    short = page.locator("#curves").get_attribute("src")
    strip.get_by_label("Densities").fill(DENSITIES)
    expect(strip.locator(".line")).to_have_text("Filter 2: R 115")
    expect(page.locator("#curves")).not_to_have_attribute("src", short or "")
    page.get_by_label("Name").fill("rc-pearl")
    expect(make).to_be_enabled()
    make.click()
    expect(page.locator("#paper-made")).to_contain_text("115 ±", timeout=30_000)
    keep_picture(page.screenshot(), "laboratory-paper")
    keep = page.get_by_role("button", name="Keep it")
    keep.click()
    expect(page.locator("#told")).to_contain_text("rc-pearl.toml is kept", timeout=30_000)
    assert place.folder.paper("rc-pearl").name == "rc-pearl"
    page.get_by_label("write over it").first.check()
    expect(keep).to_be_enabled()
    # What is typed now is another record than the one that was made.
    strip.get_by_label("Densities").fill(DENSITIES + " 2.03")
    expect(keep).to_be_disabled()
    page.get_by_role("button", name="Another filter").click()
    page.reload()
    expect(page.locator("#strips li")).to_have_count(2)
    expect(strip.get_by_label("Densities")).to_have_value(DENSITIES + " 2.03")
    expect(page.get_by_label("Unexposed paper")).to_have_value(BASE)
    page.locator("#strips li").last.get_by_role("button", name="Take away").click()
    page.reload()
    expect(page.locator("#strips li")).to_have_count(1)


def hold(page: Page, *words: str) -> list[Route]:
    """What asks with all of these words from now on, held until it is let go."""
    held: list[Route] = []

    def look(route: Route) -> None:
        if all(word in (route.request.post_data or "") for word in words):
            held.append(route)
        else:
            route.continue_()

    page.route("**/do", look)
    return held


def test_what_is_typed_while_a_record_is_made_is_not_kept_as_it(at):
    page = at("paper")
    held = hold(page, '"paper.make"')
    strip = page.locator("#strips li").first
    strip.get_by_label("Densities").fill(DENSITIES)
    page.get_by_label("Unexposed paper").fill(BASE)
    page.get_by_label("Black piece").fill(BLACK)
    page.get_by_label("Name").fill("hasty")
    make = page.get_by_role("button", name="Make the record")
    expect(make).to_be_enabled(timeout=30_000)
    with page.expect_request(lambda request: '"paper.make"' in (request.post_data or "")):
        make.click()
    page.get_by_label("Edition").fill("another batch")
    with page.expect_response(lambda reply: '"paper.make"' in (reply.request.post_data or "")):
        held.pop().continue_()
    expect(make).to_be_enabled(timeout=30_000)
    expect(page.locator("#paper-made")).to_be_empty()
    expect(page.get_by_role("button", name="Keep it")).to_be_disabled()


def test_a_refusal_is_in_sight_and_stays_while_other_answers_come(at):
    page = at("record", 360)
    held = hold(page, '"record.show"')
    page.locator("#record-form [name=card]").select_option("workroom")
    page.set_viewport_size({"width": 360, "height": 300})
    page.locator("#choose-card").scroll_into_view_if_needed()
    page.locator("#card-file").set_input_files({"name": "a.toml", "mimeType": "text/plain", "buffer": b"?"})
    expect(page.locator("#notice")).to_contain_text("this is not TOML")
    with page.expect_response(lambda reply: '"record.show"' in (reply.request.post_data or "")):
        held.pop().continue_()
    expect(page.locator("#pages img")).to_have_count(1, timeout=30_000)
    expect(page.locator("#notice")).to_be_in_viewport()
    page.mouse.wheel(0, 5000)
    expect(page.locator("#notice")).to_be_in_viewport()


def test_a_card_is_carried_over_and_kept(at, place):
    page = at("carry")
    page.get_by_label("Paper record at work").select_option("vc-2019")
    page.get_by_label("Filter 2 becomes").fill("4")
    expect(page.locator("#carried")).to_contain_text("vc-2019, light tone")
    page.get_by_label("Aperture").fill("f/11")
    expect(page.locator("#notice")).to_contain_text("the card has no f_thirds")
    expect(page.get_by_role("button", name="Keep the new card")).to_be_disabled()
    page.get_by_label("Aperture").fill("")
    expect(page.locator("#carried")).to_contain_text("First strip: 5 patches")
    dark(page.screenshot())
    page.get_by_placeholder("name of the new card").fill("harder")
    page.get_by_role("button", name="Keep the new card").click()
    expect(page.locator("#told")).to_contain_text("harder.toml is kept")
    assert place.folder.card("harder")["passes"][0]["filter"] == "4"


def draw(page: Page, *corners: tuple[float, float]) -> None:
    box = page.locator("#outlines").bounding_box()
    assert box is not None
    for x, y in corners:
        page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])


def kept_on(page: Page) -> object:
    """Until the outlines that are drawn inside are kept."""
    return page.expect_response(lambda reply: '"record.areas"' in (reply.request.post_data or ""))


def test_areas_are_drawn_on_a_picture_and_come_on_the_record(at, place):
    page = at("record")
    page.locator("#record-form [name=card]").select_option("breakwater")
    expect(page.locator("#pages img")).to_have_count(1, timeout=30_000)
    expect(page.locator("#drawing")).to_be_hidden()
    page.locator("#picture-file").set_input_files(
        {"name": "print.png", "mimeType": "image/png", "buffer": picture_of(600, 400)}
    )
    expect(page.locator("#drawing")).to_be_visible(timeout=30_000)
    page.get_by_role("radio", name="sky").check()
    draw(page, (0.1, 0.1), (0.9, 0.1), (0.5, 0.5))
    expect(page.locator("#drawing-help")).to_contain_text("3 corners")
    draw(page, (0.1, 0.1))
    expect(page.locator("#told")).to_contain_text("breakwater.areas.toml is kept")
    (outline,) = place.folder.areas("breakwater")["outlines"]
    assert outline["area"] == "sky"
    assert outline["corners"][0] == pytest.approx([1000, 1000], abs=40)
    # A corner is drawn along, and by key another area is drawn.
    box = page.locator("#outlines").bounding_box()
    page.mouse.move(box["x"] + 0.9 * box["width"], box["y"] + 0.1 * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + 0.8 * box["width"], box["y"] + 0.2 * box["height"])
    with kept_on(page):
        page.mouse.up()
    page.get_by_role("radio", name="posts").check()
    page.locator("#outlines").focus()
    for key in ("Space", *["ArrowRight"] * 5, "Space", *["ArrowDown"] * 5, "Space"):
        page.keyboard.press(key)
    with kept_on(page):
        page.keyboard.press("Enter")
    expect(page.locator("#marks .drawn")).to_have_count(2)
    drawn = {own["area"]: own["corners"] for own in place.folder.areas("breakwater")["outlines"]}
    assert drawn["sky"][1] == pytest.approx([8000, 2000], abs=40)
    assert drawn["posts"] == [[5000, 5000], [5500, 5000], [5500, 5500]]
    dark(page.screenshot())
    with page.expect_download() as download:
        page.get_by_role("button", name="PDF").click()
    assert download.value.path().read_bytes().startswith(b"%PDF")


def test_every_page_of_a_record_is_saved(at, place):
    place.folder.keep_card({**long_card(), "name": "long"})
    page = at("record")
    page.locator("#record-form [name=card]").select_option("long")
    expect(page.locator("#pages img")).to_have_count(2, timeout=30_000)
    files: dict[str, bytes] = {}
    page.on("download", lambda file: files.update({file.suggested_filename: file.path().read_bytes()}))
    with page.expect_download(lambda file: file.suggested_filename == "long-2.svg"):
        page.get_by_role("button", name="SVG").click()
    expect(page.locator("#told")).to_have_text("Saved: long.svg, long-2.svg.")
    assert list(files) == ["long.svg", "long-2.svg"]
    assert len(set(files.values())) == 2
    place.folder.card_path("long").unlink()


def test_a_card_that_is_there_is_written_over_when_that_is_ticked(at, place):
    page = at("record")
    other = {**place.folder.card("breakwater"), "title": "Breakwater, noon"}
    text = card_file.dump(other).encode()

    def drop() -> None:
        page.locator("#card-file").set_input_files(
            {"name": "a.toml", "mimeType": "text/plain", "buffer": text}
        )

    before = place.folder.card("breakwater")
    drop()
    expect(page.locator("#notice")).to_contain_text("is there already. Tick")
    assert place.folder.card("breakwater") == before
    page.locator("#record").get_by_label("write over it").check()
    drop()
    expect(page.locator("#told")).to_contain_text("breakwater.toml is kept")
    assert place.folder.card("breakwater")["title"] == "Breakwater, noon"
    place.folder.keep_card(before, force=True)


@pytest.mark.parametrize("job", ["record", "carry"])
def test_a_card_that_cannot_be_read_says_why(at, place, job):
    torn = place.folder.root / "cards" / "torn.toml"
    torn.write_text("name = ", encoding="utf-8")
    page = at(job)
    expect(page.locator("#notice")).to_contain_text("torn.toml:1: this is not TOML")
    option = page.locator(f"#{job}-form [name=card] option[value=torn]")
    expect(option).to_have_text("torn: cannot be read")
    assert "this is not TOML" in (option.get_attribute("title") or "")
    page.wait_for_load_state("networkidle")
    expect(page.locator("#notice")).to_be_visible()
    torn.unlink()
    page.get_by_role("link", name="Ledger").click()
    page.get_by_role("link", name="Record").click()
    expect(page.locator("#pages img").first).to_be_visible(timeout=30_000)
    expect(page.locator("#notice")).to_be_hidden()


def test_an_outline_stays_its_card_s_while_another_is_on_its_way(at, place):
    place.folder.keep_picture("breakwater", picture_of(600, 400))
    place.folder.keep_areas("breakwater", {"outlines": []})
    before = place.folder.areas("workroom")
    page = at("record")
    cards = page.locator("#record-form [name=card]")
    cards.select_option("breakwater")
    page.get_by_role("radio", name="sky").check(timeout=30_000)
    page.wait_for_load_state("networkidle")
    draw(page, (0.1, 0.1), (0.9, 0.1), (0.5, 0.5))
    hold(page, '"record.show"', '"workroom"')
    cards.select_option("workroom")
    with kept_on(page):
        draw(page, (0.1, 0.1))
    (outline,) = place.folder.areas("breakwater")["outlines"]
    assert outline["area"] == "sky"
    assert place.folder.areas("workroom") == before


def test_outlines_of_two_windows_come_together(at, place):
    place.folder.keep_picture("breakwater", picture_of(600, 400))
    place.folder.keep_areas("breakwater", {"outlines": []})
    one, other = at("record"), at("record")
    for page, area in ((one, "sky"), (other, "posts")):
        page.locator("#record-form [name=card]").select_option("breakwater")
        page.get_by_role("radio", name=area).check(timeout=30_000)
        page.wait_for_load_state("networkidle")
    draw(one, (0.1, 0.1), (0.9, 0.1), (0.5, 0.5))
    with kept_on(one):
        draw(one, (0.1, 0.1))
    draw(other, (0.2, 0.2), (0.8, 0.2), (0.5, 0.6))
    with kept_on(other):
        draw(other, (0.2, 0.2))
    expect(other.locator("#told")).to_contain_text("with what has been drawn elsewhere")
    expect(other.locator("#marks .drawn")).to_have_count(2)
    assert [own["area"] for own in place.folder.areas("breakwater")["outlines"]] == ["sky", "posts"]
    # The one goes on upon what it has, and the other's outline stays.
    with kept_on(one):
        one.get_by_role("button", name="Clear this area").click()
    expect(one.locator("#marks .drawn")).to_have_count(1)
    assert [own["area"] for own in place.folder.areas("breakwater")["outlines"]] == ["posts"]


def test_a_cleared_area_is_brought_back(at, place):
    sky = {"pass": 1, "area": "sky", "corners": [[1000, 1000], [9000, 1000], [5000, 4000]]}
    place.folder.keep_picture("breakwater", picture_of(600, 400))
    place.folder.keep_areas("breakwater", {"outlines": [sky]})
    page = at("record")
    page.locator("#record-form [name=card]").select_option("breakwater")
    page.get_by_role("radio", name="sky").check(timeout=30_000)
    page.wait_for_load_state("networkidle")
    draw(page, (0.2, 0.7), (0.4, 0.7))
    with kept_on(page):
        page.get_by_role("button", name="Clear this area").click()
    assert place.folder.areas("breakwater")["outlines"] == []
    page.get_by_role("radio", name="posts").check()
    with kept_on(page):
        page.get_by_role("button", name="Bring sky back").click()
    assert place.folder.areas("breakwater")["outlines"] == [sky]
    expect(page.get_by_role("radio", name="sky")).to_be_checked()
    expect(page.locator("#drawing-help")).to_contain_text("2 corners")
    back = page.get_by_role("button", name="Take back the last corner")
    back.click()
    back.click()
    expect(back).to_be_disabled()


def test_corners_wait_while_another_area_or_card_is_looked_at(at, place):
    place.folder.keep_picture("breakwater", picture_of(600, 400))
    place.folder.keep_picture("workroom", picture_of(600, 400))
    place.folder.keep_areas("breakwater", {"outlines": []})
    page = at("record")
    cards, told = page.locator("#record-form [name=card]"), page.locator("#drawing-help")
    cards.select_option("breakwater")
    page.get_by_role("radio", name="sky").check(timeout=30_000)
    page.wait_for_load_state("networkidle")
    draw(page, (0.1, 0.1), (0.9, 0.1))
    page.get_by_role("radio", name="posts").check()
    expect(told).to_contain_text("Press corner after corner")
    page.get_by_role("radio", name="sky").check()
    expect(told).to_contain_text("2 corners")
    cards.select_option("workroom")
    expect(page.get_by_role("radio", name="sky")).to_have_count(0, timeout=30_000)
    cards.select_option("breakwater")
    page.get_by_role("radio", name="sky").check(timeout=30_000)
    expect(told).to_contain_text("2 corners")
    # Escape lets go of them, and they can be brought back.
    page.locator("#outlines").focus()
    page.keyboard.press("Escape")
    expect(told).to_contain_text("Press corner after corner")
    page.get_by_role("button", name="Bring sky back").click()
    page.wait_for_load_state("networkidle")
    draw(page, (0.5, 0.5))
    with kept_on(page):
        draw(page, (0.1, 0.1))
    (outline,) = place.folder.areas("breakwater")["outlines"]
    assert outline["corners"] == [
        pytest.approx(each, abs=40) for each in ([1000, 1000], [9000, 1000], [5000, 5000])
    ]


def test_what_is_chosen_outlasts_a_reload_and_a_picture_goes_to_its_card(at, place):
    page = at("record")
    cards = page.locator("#record-form [name=card]")
    cards.select_option("workroom")
    page.get_by_label("Print", exact=True).fill("7/25")
    page.get_by_label("Date").fill("in May")
    before = place.folder.picture("breakwater")
    page.reload()
    expect(page.get_by_label("Print", exact=True)).to_have_value("7/25")
    expect(page.get_by_label("Date")).to_have_value("in May")
    expect(cards).to_have_value("workroom")
    picture = {"name": "print.png", "mimeType": "image/png", "buffer": picture_of(600, 400)}
    page.locator("#picture-file").set_input_files(picture)
    expect(page.locator("#told")).to_contain_text("The picture of workroom is kept", timeout=30_000)
    assert place.folder.picture("breakwater") == before


def test_what_is_to_be_carried_over_outlasts_a_reload_and_another_job(at):
    page = at("carry")
    cards = page.locator("#carry-form [name=card]")
    cards.select_option("workroom")
    page.get_by_label("Filter 5 becomes").fill("4")
    page.get_by_label("Paper record at work").select_option("vc-2019")
    page.get_by_placeholder("name of the new card").fill("softer")
    page.reload()
    expect(page.get_by_label("Filter 5 becomes")).to_have_value("4")
    expect(cards).to_have_value("workroom")
    expect(page.get_by_placeholder("name of the new card")).to_have_value("softer")
    expect(page.locator("#carried")).to_contain_text("First strip")
    page.get_by_role("link", name="Ledger").click()
    page.get_by_role("link", name="Carry over").click()
    expect(page.get_by_label("Filter 5 becomes")).to_have_value("4")
    cards.select_option("breakwater")
    cards.select_option("workroom")
    expect(page.get_by_label("Filter 5 becomes")).to_have_value("")


def test_an_answer_about_the_card_before_takes_nothing_that_is_typed_for_this_one(at):
    page = at("carry")
    cards = page.locator("#carry-form [name=card]")
    cards.select_option("workroom")
    held = hold(page, '"carry.card"', '"breakwater"')
    cards.select_option("breakwater")
    cards.select_option("workroom")
    page.get_by_label("Filter 5 becomes").fill("4")
    with page.expect_response(lambda answer: '"breakwater"' in (answer.request.post_data or "")) as late:
        held[0].continue_()
    late.value.finished()
    page.get_by_label("Paper record at work").select_option("vc-2019")
    expect(page.locator("#carried")).to_contain_text("First strip")
    expect(page.get_by_label("Filter 5 becomes")).to_have_value("4")


@pytest.mark.skipif(not os.environ.get("LAMPBLACK_PICTURES"), reason="it shows what another test tries")
def test_a_print_with_its_areas_is_shown_in_the_documents(at, place):
    card = place.folder.card("workroom")
    map, film, house = PrintingMap.from_dict(card), negative("workroom"), build("tungsten").house
    doses = {key: ms * house.lux / 1000 for key, ms in planned_print(map).items()}
    png = io.BytesIO()
    Image.fromarray(ideal_greys(doses, film, house.paper)).save(png, "PNG")
    place.folder.keep_picture("workroom", png.getvalue())
    place.folder.keep_areas("workroom", areas_file.of_outlines(card, film.outlines))
    page = at("record")
    page.locator("#record-form [name=card]").select_option("workroom")
    expect(page.locator("#drawing")).to_be_visible(timeout=30_000)
    page.get_by_role("radio").first.check()
    keep_picture(page.screenshot(), "laboratory-record")


def test_the_ledger_finds_an_entry_and_makes_its_card(at, place):
    exposed(place, 1, 2)
    place.folder.keep_picture("breakwater", picture_of(600, 400))
    page = at("ledger")
    entries = page.locator("#entries button")
    expect(entries).to_have_count(2, timeout=30_000)
    expect(entries.first.locator("img")).to_have_js_property("naturalWidth", 160)
    page.get_by_label("Title").fill("morning")
    expect(page.locator("#entries")).to_contain_text("Nothing like that")
    page.get_by_label("Title").fill("EVENING")
    expect(entries).to_have_count(2)
    expect(entries.first).to_contain_text("print 2 of 2")
    entries.first.click()
    expect(page.locator("#entry")).to_contain_text("Base, pass 1")
    dark(page.screenshot())
    place.folder.card_path("breakwater").unlink()
    page.get_by_role("button", name="Make its card").click()
    expect(page.locator("#told")).to_contain_text("breakwater.toml is kept")


WHITE = "getComputedStyle(document.body).backgroundColor"


def test_it_is_dark_red_until_white_is_asked_for(at):
    page = at("paper")
    assert page.evaluate(WHITE) == "rgb(8, 0, 0)"
    page.get_by_role("button", name="White, for the office").click()
    assert page.evaluate(WHITE) == "rgb(255, 255, 255)"
    page.reload()
    assert page.evaluate(WHITE) == "rgb(8, 0, 0)", "a page that turns white by itself fogs paper"


def test_a_page_of_the_record_is_enlarged_on_a_phone_and_stays_dark(at):
    page = at("record", 360)
    sheet = page.locator("#pages .sheet")
    expect(sheet).to_have_count(1, timeout=30_000)

    def wide() -> float:
        box = page.locator("#pages img").bounding_box()
        assert box is not None
        return box["width"]

    assert wide() <= 360
    sheet.click()
    expect(sheet).to_have_attribute("aria-pressed", "true")
    assert wide() >= 990
    assert page.evaluate("document.documentElement.scrollWidth") <= 360, "it is moved in its own window"
    dark(page.screenshot())
    sheet.press("Enter")
    assert wide() <= 360
    # Nor is the page itself kept from being spread with two fingers.
    content = page.locator("meta[name=viewport]").get_attribute("content") or ""
    assert "scalable" not in content
    assert "maximum" not in content


OUTSIDE = """[...document.querySelectorAll("section:not([hidden]) :is(table, button, input, select, p, img)")]
    .filter((node) => node.getBoundingClientRect().right > 341).map((node) => node.outerHTML)"""
"""What lies in the margin of a window that is 360 wide."""


@pytest.fixture(scope="module")
def widest(tmp_path_factory) -> Iterator[str]:
    """The address of a laboratory whose first card has the longest names, with areas to draw and an entry."""
    place = place_in(tmp_path_factory.mktemp("widest"))
    mark = {"area": "W" * 16, "stops120": 40}
    facts = {"negative": "W" * 32, "paper": "W" * 32}
    card = {**place.folder.card("workroom"), "name": "0" * 24, "title": "W" * 40, "facts": facts}
    card["passes"] = [{**own, "marks": [mark]} for own in card["passes"]]
    place.folder.keep_card(card)
    place.folder.keep_picture(card["name"], picture_of(600, 400))
    exposed(place, *range(1, 11), map=card)
    with served(place) as found:
        yield found


@pytest.mark.parametrize("job", ["paper", "carry", "record", "ledger"])
def test_nothing_leaves_a_phones_window(at, widest, job):
    page = at(job, 360)
    page.goto(f"{widest}#{job}")
    if job == "record":
        page.get_by_role("radio").first.check(timeout=30_000)
        draw(page, (0.2, 0.7), (0.4, 0.7))
        page.get_by_role("button", name="Clear this area").click()
    if job == "carry":
        page.get_by_label("Paper record at work").select_option("vc-2019")
        page.get_by_label("Filter 5 becomes").fill("4")
        expect(page.locator("#carried")).to_contain_text("First strip")
    if job == "ledger":
        page.locator("#entries button").first.click()
        expect(page.locator("#entry")).to_contain_text("Base, pass 1")
        expect(page.locator("#entry table")).to_be_in_viewport(ratio=1)
    page.wait_for_load_state("networkidle")
    assert page.evaluate("document.documentElement.scrollWidth") <= 360
    assert page.evaluate(OUTSIDE) == []


def test_the_longest_names_leave_a_record_its_place(at, widest):
    page = at("record", 1300)
    page.goto(f"{widest}#record")
    expect(page.locator("#drawing")).to_be_visible(timeout=30_000)
    form, pages = page.locator("#record-form").bounding_box(), page.locator("#pages").bounding_box()
    assert form is not None
    assert pages is not None
    for part in ("#record-form label", "#record .board"):
        box = page.locator(part).first.bounding_box()
        assert box is not None
        assert box["x"] + box["width"] <= form["x"] + form["width"] < pages["x"]
