"""The laboratory's page served to tests: its folder, its ledger, and a strip to type."""

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from lampblack.cards import card_file
from lampblack.lab_page.folder import Folder
from lampblack.lab_page.jobs import Place
from lampblack.lab_page.server import served_alone

EXAMPLES = Path(card_file.__file__).parents[1] / "examples"
BASE, BLACK = "0.05", "2.05"
DENSITIES = "0.06 0.08 0.13 0.22 0.37 0.58 0.90 1.30 1.65 1.86 1.97 2.02"
"""Of a strip in half stops, invented."""
WITHOUT = "This needs {}, which is not installed. Install it with: pip install 'lampblack[lab]'."
"""What each part of the laboratory says where a library of its extra is missing."""


def place_in(folder: Path, port: str | None = None) -> Place:
    """A laboratory in an empty folder, but for the two cards of the examples."""
    place = Place(Folder(folder), f"sqlite:///{folder / 'ledger.sqlite'}", port)
    for path in sorted(EXAMPLES.glob("*.toml")):
        place.folder.keep_card(card_file.load(path))
    return place


@contextmanager
def served(place: Place) -> Iterator[str]:
    """The page's address, while inside."""
    loop = asyncio.new_event_loop()
    address: list[str] = []
    is_there, ends = threading.Event(), asyncio.Event()

    async def run() -> None:
        async with served_alone(place) as found:
            address.append(f"{found}lab/")
            is_there.set()
            await ends.wait()

    thread = threading.Thread(target=loop.run_until_complete, args=(run(),))
    thread.start()
    try:
        assert is_there.wait(30)
        yield address[0]
    finally:
        loop.call_soon_threadsafe(ends.set)
        thread.join()
        loop.close()
