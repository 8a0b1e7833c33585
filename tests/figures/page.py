"""The darkroom on screen, in Debian's Chromium: from a key to the lamp on screen, frames, the server's work.

A press lasts from the key's own time stamp (when the browser got it) to the end of the frame that shows the
lamp changed. Up to 17 ms of that the browser waits for its next frame, and a press that meets another frame
waits for one more: so the budget is the median's. The rival is the same box on a page that asks for its state
30 times a second (`polling_box`).
An undisturbed sheet is given its light in real time, with two busy processes to every core: its dose is held
against the plan, beside that of a sleep as long in the same second. The server's share is its processor time
over wall time, one window looking. No figures of the browser where there is no `chromium` on PATH, and no
shares where the system has no /proc.
"""

import math
import os
import random
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Browser, Page, sync_playwright

from host_sim.box.disks import DirectoryDisk
from host_sim.box.platform import desk_platform
from tests.figures.comparison import Figure
from tests.simulated import darkroom
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM
from timing_core.records.store import Store

PRESS_BUDGET_MS = 30
REST_BUDGET_PERCENT = 3
DOSE_BUDGET_STOPS = 0.01
PAUSE_MS = (150, 350)
FIRST_PRESSES = 4
"""Not counted: the first ones also warm the browser up."""
POLLING_BOX = str(Path(__file__).with_name("polling_box.py"))
ARGUMENTS = (
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
)

WATCH = """
window.took = [];
let pressed = 0;
addEventListener("keydown", (event) => (pressed = event.timeStamp), true);
let shown = document.documentElement.dataset.lamp;
new MutationObserver(() => {
  if (!pressed || shown === document.documentElement.dataset.lamp) return;
  shown = document.documentElement.dataset.lamp;
  const from = pressed;
  pressed = 0;
  // A message posted while a frame is made is handled when that frame is done.
  requestAnimationFrame(() => {
    const done = new MessageChannel();
    done.port1.onmessage = () => took.push(performance.now() - from);
    done.port2.postMessage(0);
  });
}).observe(document.documentElement, { attributeFilter: ["data-lamp"] });
"""
MOVE = """(ms) => new Promise((done) => {
  const canvas = document.getElementById("easel");
  const draw = CanvasRenderingContext2D.prototype.drawImage;
  const drawn = new Set();
  CanvasRenderingContext2D.prototype.drawImage = function (...given) {
    if (this.canvas === canvas) drawn.add(document.timeline.currentTime);
    return draw.apply(this, given);
  };
  const began = performance.now();
  const step = (now) => {
    const box = canvas.getBoundingClientRect();
    const turn = now / 150;
    window.dispatchEvent(new PointerEvent("pointermove", {
      pointerType: "mouse",
      clientX: box.left + box.width * (0.5 + 0.3 * Math.cos(turn)),
      clientY: box.top + box.height * (0.5 + 0.3 * Math.sin(turn)),
    }));
    if (now - began < ms) return requestAnimationFrame(step);
    CanvasRenderingContext2D.prototype.drawImage = draw;
    done((drawn.size * 1000) / (performance.now() - began));
  };
  requestAnimationFrame(step);
})"""


@contextmanager
def a_box(**settings: int) -> Iterator[str]:
    """A folder of a box with these settings."""
    with tempfile.TemporaryDirectory() as folder:
        store = Store(DirectoryDisk(Path(folder)), desk_platform().crc32)
        store.put("bench", encode({**settings, "form": BENCH_FORM}))
        yield folder


@contextmanager
def serving(*arguments: str) -> Iterator[tuple[str, int]]:
    """A Python process that serves a page: the page's address, and the process's id."""
    with subprocess.Popen(
        [sys.executable, *arguments], stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stdout is not None
            yield next(word for word in process.stdout.readline().split() if "://" in word), process.pid
        finally:
            process.send_signal(signal.SIGTERM)


def worked_s(pid: int) -> float:
    """Processor seconds that the process has used."""
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def presses_ms(page: Page, count: int) -> list[float]:
    """From LAMP to the lamp on screen, `count` times, at moments that no frame or question has a say in."""
    page.evaluate(WATCH)
    chance = random.Random(7)
    for _ in range(count + FIRST_PRESSES):
        # Nothing is asked of the page meanwhile: to answer would keep it from the press.
        page.keyboard.press("l")
        time.sleep(chance.uniform(*PAUSE_MS) / 1000)
    took = page.evaluate("() => took")
    assert len(took) == count + FIRST_PRESSES, f"{len(took)} of {count + FIRST_PRESSES} presses were shown"
    return took[FIRST_PRESSES:]


def share_percent(pid: int, during: Callable[[], object]) -> float:
    """Of one processor core, what the process used meanwhile."""
    began_s, worked = time.monotonic(), worked_s(pid)
    during()
    return 100 * (worked_s(pid) - worked) / (time.monotonic() - began_s)


def percentile_99(values: list[float]) -> float:
    """The value that 99 of 100 are not above (nearest rank)."""
    return sorted(values)[-(-len(values) * 99 // 100) - 1]


def ours(browser: Browser, presses: int, seconds: float) -> tuple[list[float], float, float, float]:
    """Of the darkroom on screen: ms of every press, frames a second, shares at rest and under light."""
    with (
        a_box(settle_ms=0) as folder,
        serving("-m", "lampblack", "sim", "--port", "0", "--keep", folder) as (address, pid),
    ):
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto(address)
        page.wait_for_selector("html[data-box=browse]")
        took = presses_ms(page, presses)
        if page.locator("html").get_attribute("data-lamp") == "lit":
            page.keyboard.press("l")
        page.wait_for_selector("html[data-box=browse]")
        has_proc = Path("/proc/self/stat").exists()
        wait = "(ms) => new Promise((done) => setTimeout(done, ms))"

        def rest() -> None:
            page.evaluate(wait, seconds * 1000)

        rest()
        at_rest = share_percent(pid, rest) if has_proc else 0.0
        for key in ("n", "f", "1", "e", "e"):
            page.keyboard.press(key)
        page.wait_for_selector("html[data-lamp=lit]")
        rates: list[float] = []

        def move() -> None:
            rates.append(page.evaluate(MOVE, seconds * 1000))

        under_light = share_percent(pid, move) if has_proc else 0.0
        assert page.locator("html").get_attribute("data-lamp") == "lit"
        page.close()
    return took, rates[0], at_rest, under_light


def polled(browser: Browser, presses: int) -> list[float]:
    with serving(POLLING_BOX) as (address, _):
        page = browser.new_page()
        page.goto(address)
        took = presses_ms(page, presses)
        page.close()
    return took


@contextmanager
def busy() -> Iterator[None]:
    """A machine that has twice as much to do as it can."""
    work = [sys.executable, "-c", "while True: pass"]
    processes = [subprocess.Popen(work) for _ in range(2 * (os.cpu_count() or 1))]
    try:
        yield
    finally:
        for process in processes:
            process.kill()
            process.wait()


def slept_s(seconds: float) -> float:
    began_s = time.monotonic()
    time.sleep(seconds)
    return time.monotonic() - began_s


def dose_errors_stops(seconds: float) -> tuple[float, float]:
    """Of a print of one base, on a busy machine: of the sheet, and of light ended by a sleep."""
    base_ms = round(seconds * 1000)
    with (
        a_box(settle_ms=0, new_base_ms=base_ms) as folder,
        darkroom("--lamp", "ideal", "--keep", folder) as room,
        room.window() as window,
        busy(),
        ThreadPoolExecutor(1) as beside,
    ):
        window.do("sheet")
        window.do("fit", filter=window.state["asks"] or "")
        window.key("expose")
        window.until_box("ready")
        window.key("expose")
        slept = beside.submit(slept_s, seconds)
        window.until_box("browse")  # and not after the sleep: a window that does not listen is closed
        window.do("develop", dry=False)
        window.until(lambda told: told.state["verdict"] is not None)
        (row,) = window.state["verdict"]["rows"]
    assert row["planned_ms"] == base_ms
    return abs(row["error_stops"]), math.log2(slept.result() / seconds)


def figures(presses: int, seconds: float) -> list[Figure]:
    """`seconds` (under 9) is how long doses, shares and frames are counted."""
    dose, slept = dose_errors_stops(seconds)
    rows = [
        Figure(
            "Dose in real time, machine overloaded",
            dose,
            "stop",
            rival="light ended by a sleep",
            rival_value=slept,
            more_is_better=False,
            budget=DOSE_BUDGET_STOPS,
        )
    ]
    path = shutil.which("chromium")
    if path is None:
        print("No `chromium` on PATH: the page is not measured.", file=sys.stderr)
        return rows
    root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=[*ARGUMENTS, *root])
        took, rate, at_rest, under_light = ours(browser, presses, seconds)
        rival = polled(browser, presses)
        browser.close()
    asked = "the box asked 30 times a second"
    rows += [
        Figure(
            "LAMP to screen, median",
            statistics.median(took),
            "ms",
            min(took),
            max(took),
            rival=asked,
            rival_value=statistics.median(rival),
            more_is_better=False,
            budget=PRESS_BUDGET_MS,
        ),
        Figure(
            "LAMP to screen, 99th percentile",
            percentile_99(took),
            "ms",
            rival=asked,
            rival_value=percentile_99(rival),
            more_is_better=False,
        ),
        Figure("Frames under light, a disc moving", rate, "/s"),
    ]
    if Path("/proc/self/stat").exists():
        rows += [
            Figure(
                "Page server at rest, of a core",
                at_rest,
                "%",
                more_is_better=False,
                budget=REST_BUDGET_PERCENT,
            ),
            Figure("Page server under light, of a core", under_light, "%", more_is_better=False),
        ]
    return rows


if __name__ == "__main__":
    for figure in figures(200, 5):
        print(figure.what, round(figure.value, 2), figure.unit, figure.low, figure.high, figure.rival_value)
