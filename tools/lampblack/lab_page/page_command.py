"""The command `lampblack lab page`: the laboratory in a browser.

What must live here: the words of this command, and how long the page is there.
"""

import asyncio
import contextlib
from pathlib import Path
from typing import Annotated, Any

import typer

from lampblack.errors import CommandError
from lampblack.extra import extra
from lampblack.lab.options import say


def page(
    folder: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            envvar="LAMPBLACK_LAB",
            help="Where cards, papers and pictures are; this user's own folder if left out.",
        ),
    ] = None,
    database: Annotated[
        str | None,
        typer.Option(
            metavar="URL", envvar="LAMPBLACK_DATABASE", help="The ledger, where it is not this user's own."
        ),
    ] = None,
    port: Annotated[
        str | None,
        typer.Option(metavar="URL", envvar="LAMPBLACK_PORT", help="The box; the only one if left out."),
    ] = None,
) -> None:
    """Work in a browser: papers, carrying over, printing records, the ledger."""
    with extra():
        from lampblack.lab_page.jobs import Place

        place = Place.of(folder, database, port)
    try:
        place.folder.root.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        said = f"{place.folder.root} is a file, and the page works in a folder. Give another --folder."
        raise CommandError(said) from None
    except OSError as fault:
        raise CommandError(
            f"{place.folder.root} is no folder to work in: {fault.strerror or fault}. Give another --folder."
        ) from None
    with contextlib.suppress(KeyboardInterrupt):
        asyncio.run(_serve(place))


async def _serve(place: Any) -> None:
    # The web server takes its time to load, and no other command of the laboratory needs it.
    from lampblack.lab_page.server import served_alone
    from lampblack.page.serving import open_for_person

    async with served_alone(place) as address:
        say(f"The laboratory is at {address}lab/")
        say(f"It works in {place.folder.root}. Ctrl-C ends it.")
        open_for_person(f"{address}lab/")
        await asyncio.Event().wait()
