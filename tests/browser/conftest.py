"""Fixtures of the browser tests: Debian's Chromium, one darkroom for all, and windows that look at it.

No browser is downloaded: the one on PATH is used, and where there is none the tests are skipped.
"""

import os
import shutil
from collections.abc import Callable, Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

from tests.browser.screen import Screen
from tests.simulated import Darkroom, darkroom

QUIET = (
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
    # Chromium takes one such list, the last: what Playwright leaves out itself, then what costs more than the
    # page that is tried: pages of the browser's own behind its line of addresses, and a spare process.
    "--disable-features=AvoidUnnecessaryBeforeUnloadCheckSync,DestroyProfileOnBrowserClose,HttpsUpgrades,"
    "HttpsFirstBalancedModeAutoEnable,LensOverlay,MediaRouter,PaintHolding,ThirdPartyStoragePartitioning,"
    "AvoidCorsURLLoaderRestartOnRedirect,OptimizationHints,NetworkTimeServiceQuerying,AimEnabled,"
    "PreconnectToSearch,WebUIOmniboxPopup,WebUIOmniboxAimPopup,SpareRendererForSitePerProcess",
)


# Not for the session: while Playwright runs, no other test can run an event loop of its own.
@pytest.fixture(scope="module")
def chromium() -> Iterator[Browser]:
    path = shutil.which("chromium")
    if path is None:
        pytest.skip("no `chromium` on PATH; on Debian: apt-get install chromium")
    # Chromium refuses its sandbox to root.
    root = ("--no-sandbox",) if hasattr(os, "geteuid") and os.geteuid() == 0 else ()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=[*QUIET, *root])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def shared(chromium: Browser) -> Iterator[Darkroom]:
    with darkroom("--lamp", "ideal") as running:
        yield running


@pytest.fixture
def room(shared: Darkroom) -> Iterator[Darkroom]:
    """The darkroom, tidied up after each test."""
    yield shared
    shared.tidy()


@pytest.fixture
def look(chromium: Browser, room: Darkroom) -> Iterator[Callable[..., Screen]]:
    """`look(width, height, **context)`: a new window on the room, as large as a desk's unless told."""
    contexts = []

    def made(width: int = 1440, height: int = 900, path: str | None = None, **more: object) -> Screen:
        context = chromium.new_context(viewport={"width": width, "height": height}, **more)  # type: ignore[arg-type]
        contexts.append(context)
        screen = Screen(context.new_page(), room)
        screen.open(path)
        return screen

    yield made
    for context in contexts:
        context.close()
