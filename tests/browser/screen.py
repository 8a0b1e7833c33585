"""A window on the darkroom, worked as a person works it: by pointer, by finger, by key.

Nothing here sleeps: `expect` waits for what is to come.
"""

import base64
import io
import itertools
import json
import os
import subprocess
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image
from playwright.sync_api import Page, expect

from tests.forked import ready
from tests.simulated import Darkroom

INK = (255, 64, 32)
"""The display's own, of `host_sim.box.frame_pictures`: nothing on the page may be brighter, but a print that
is judged in white light."""
GROUND = (8, 0, 0)
PICTURES = Path(__file__).parent.parent.parent / "docs" / "screens"
WIDTH_PX, HEIGHT_PX = 128, 64
FRAMES_OF_PATIENCE = 100

MEASURED = {
    "#frame": "frame",
    "#clock": "seconds",
    "#dial": "dial",
    "#turn-left": "left",
    "#turn-right": "right",
} | {f'[data-key="{name}"]': name for name in ("press", "expose", "lamp", "back", "pedal")}
PLACES = f"""() => {{
  const found = {{}};
  for (const [css, name] of Object.entries({json.dumps(MEASURED)})) {{
    const one = document.querySelector(css), box = one.getBoundingClientRect();
    const isStill = one.closest(".strip") || getComputedStyle(one).position === "fixed";
    const scrolled = isStill ? 0 : scrollY;
    found[name] = [box.left, box.top + scrolled, box.right, box.bottom + scrolled];
  }}
  return found;
}}"""
WORDS = """() => Object.fromEntries([...document.querySelectorAll(".does")].map((one) => {
  const word = one.textContent, name = one.id.replace("-does", "");
  if (!word) return [name, ["", ""]];
  const under = name === "dial" ? document.getElementById("dial") : one.parentElement;
  const text = document.createRange(), title = document.createRange();
  text.selectNodeContents(one);
  const place = text.getBoundingClientRect();
  const room = (name === "dial" ? one : under).getBoundingClientRect();
  const isIn = place.left >= room.left && place.right <= room.right && place.bottom <= room.bottom + 0.5;
  if (!place.width || !isIn) return [name, [word, "is not whole"]];
  if (name === "dial") title.selectNode(under);
  else title.selectNode(under.firstChild);
  const above = title.getBoundingClientRect();
  const isBelow = place.top >= above.bottom - 1 || (name === "pedal" && place.left > above.right);
  return [name, [word, isBelow ? "" : "is not below its name"]];
}))"""


def overlaps(places: dict[str, tuple[float, float, float, float]]) -> list[tuple[str, str]]:
    """Which two lie over each other."""
    return [
        (one, other)
        for (one, a), (other, b) in itertools.combinations(places.items(), 2)
        if min(a[2], b[2]) - max(a[0], b[0]) > 0.5 and min(a[3], b[3]) - max(a[1], b[1]) > 0.5
    ]


def dark(png: bytes) -> Image.Image:
    """The picture, on which nothing is brighter than the ink."""
    image = Image.open(io.BytesIO(png)).convert("RGB")
    brightest = np.asarray(image).reshape(-1, 3).max(axis=0)
    assert (brightest <= INK).all(), brightest
    return image


def keep_picture(png: bytes, name: str) -> None:
    """A screenshot, on which nothing may be brighter than the ink; kept for the documents if asked to."""
    image = dark(png)
    if os.environ.get("LAMPBLACK_PICTURES"):
        PICTURES.mkdir(exist_ok=True)
        # A page of reds needs no more than a hundred of them.
        image.quantize(128, Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE).save(
            PICTURES / f"{name}.png", optimize=True
        )


class Screen:
    def __init__(self, page: Page, room: Darkroom) -> None:
        self.page = page
        self.room = room
        self.requests: list[str] = []
        self.errors: list[str] = []
        page.on("request", lambda request: self.requests.append(request.url))
        page.on("websocket", lambda socket: self.requests.append(socket.url))
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("console", lambda said: said.type == "error" and self.errors.append(said.text))
        self.html = page.locator("html")

    def open(self, path: str | None = None) -> None:
        self.page.goto(self.room.address if path is None else path)
        if path is None:
            expect(self.html).to_have_attribute("data-connected", "yes")

    def resize(self, width: int, height: int) -> None:
        self.page.set_viewport_size({"width": width, "height": height})
        self.settle()

    def reload(self) -> None:
        self.page.reload()
        expect(self.html).to_have_attribute("data-connected", "yes")

    # --- what it shows

    def box(self, state: str) -> None:
        expect(self.html).to_have_attribute("data-box", state)

    def lamp(self, state: str) -> None:
        expect(self.html).to_have_attribute("data-lamp", state)

    def display(self) -> list[list[int]]:
        """64 rows of 128 pixels, 1 for lit, from the canvas itself."""
        pixels = self._pixels("frame", WIDTH_PX, HEIGHT_PX)
        lit = (pixels == INK).all(axis=2)
        assert (lit | (pixels == GROUND).all(axis=2)).all()
        return lit.astype(int).tolist()

    def until_display(self, holds: Callable[[list[list[int]]], bool]) -> None:
        """Until the display, which comes after all else that is told, is as it should be."""
        for _ in range(FRAMES_OF_PATIENCE):
            if holds(self.display()):
                return
            self.settle()
        raise AssertionError("the display is not as it should be")

    def canvas(self, name: str) -> np.ndarray:
        """The red of a picture of the sheet, 0..255, once the newest one is there."""
        with self.room.window() as window:
            number = window.state["pictures"][name]
        expect(self.page.locator(f"#{name}")).to_have_attribute("data-number", str(number))
        return self._pixels(name, 1000, 800)[..., 0]

    def _pixels(self, name: str, width: int, height: int) -> np.ndarray:
        url = self.page.evaluate("(name) => document.getElementById(name).toDataURL()", name)
        image = Image.open(io.BytesIO(base64.b64decode(url.partition(",")[2]))).convert("RGB")
        assert image.size == (width, height)
        return np.asarray(image)

    def places(self) -> dict[str, tuple[float, float, float, float]]:
        """Left, top, right and bottom of the display, the seconds and every control in the window, were the
        page not scrolled."""
        return self.page.evaluate(PLACES)  # type: ignore[no-any-return]

    def words(self) -> dict[str, str]:
        """What stands under each control, which is seen to stand there: below its name, and whole."""
        found = self.page.evaluate(WORDS)
        assert [(name, fault) for name, (_, fault) in found.items() if fault] == []
        return {name: word for name, (word, _) in found.items()}

    def verdict(self) -> dict[str, list[str]]:
        """The rows of the last print, by area: filter, planned s, given s, stops off, density."""
        table = self.page.locator("#verdict table")
        expect(table).to_be_visible()
        rows = [row.split("\t") for row in table.locator("tbody").inner_text().split("\n")]
        return {area: cells for area, *cells in rows}

    def shoot(self, name: str) -> None:
        """As `keep_picture` keeps it."""
        keep_picture(self.page.screenshot(), name)

    # --- what a person does

    def click(self, name: str) -> None:
        self.page.get_by_role("button", name=name, exact=True).click()

    def choose(self, name: str, group: str | None = None) -> None:
        within = self.page.get_by_role("group", name=group, exact=True) if group else self.page
        within.get_by_role("radio", name=name, exact=True).check()

    def keys(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)

    def listens(self, control: str = "expose") -> None:
        """Until the settling time of the last light, filter or beginning has passed: the clock must go."""
        expect(self.page.locator(f"#{control}-does")).not_to_have_text("wait")

    def expose(self) -> None:
        """Press EXPOSE as soon as the box listens to it."""
        self.listens()
        self.keys("e")

    def begin(self, clock_goes: bool = True) -> None:
        """Take up the run, and give its first light."""
        self.expose()
        self.box("ready")
        if not clock_goes:
            self.step(1)
        self.expose()
        self.lamp("lit")

    def step(self, seconds: int) -> None:
        """Let the stopped clock go on, without moving the pointer."""
        button = self.page.get_by_role("button", name="+1 s", exact=True)
        for _ in range(seconds):
            button.press("Enter")

    def step_until(self, state: str) -> None:
        """The same, until the box is in that state."""
        while self.html.get_attribute("data-box") != state:
            self.step(1)
            self.settle()

    def wheel(self, detents: int) -> None:
        self.page.get_by_role("spinbutton", name="Dial").hover()
        for _ in range(abs(detents)):
            self.page.mouse.wheel(0, 100 if detents > 0 else -100)

    def over(self, x: float, y: float) -> tuple[float, float]:
        """Where a point of the sheet is in the window, which shows the page's top."""
        self.page.evaluate("() => scrollTo(0, 0)")
        box = self.page.locator("#easel").bounding_box()
        assert box
        return box["x"] + x * box["width"], box["y"] + y * box["height"]

    def point(self, x: float, y: float) -> None:
        """Move the pointer to a point of the sheet, and wait until the session has heard of it."""
        self.page.mouse.move(*self.over(x, y))
        self.settle()

    def drag(self, *points: tuple[float, float]) -> None:
        self.page.mouse.move(*self.over(*points[0]))
        self.page.mouse.down()
        for point in points[1:]:
            self.page.mouse.move(*self.over(*point), steps=5)
        self.page.mouse.up()
        self.settle()

    def settle(self) -> None:
        """Until what was drawn last has been sent: two frames."""
        self.page.evaluate(
            "() => new Promise((go) => requestAnimationFrame(() => requestAnimationFrame(go)))"
        )


def lampblack(*arguments: str) -> str:
    """The command in a terminal."""
    command = [*ready(), *arguments]
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout
