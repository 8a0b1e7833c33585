"""The laboratory's page: its routes, and pictures that a browser asks for by their address.

What must live here: how a message comes and an answer goes. What a message means is for `jobs`; who may look
is for `lampblack.page.serving`.
"""

from __future__ import annotations

import asyncio
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from lampblack.errors import CommandError
from lampblack.lab_page.jobs import REFUSED, Place, answered, draws, in_words
from lampblack.page.serving import body_of, served

FILES = Path(__file__).with_name("files")
PAGE = FILES / "index.html"
MESSAGE_MAX = 1 << 18
PICTURE_MAX = 128 << 20
THUMBNAIL_PX = 160


def routes(place: Place) -> list[BaseRoute]:
    """The routes of the page, below its own folder."""
    # One job at a time, of those that draw and of all others: what is kept does not wait for a picture.
    drawing, keeping = asyncio.Lock(), asyncio.Lock()

    async def do(request: Request) -> Response:
        try:
            message = json.loads(await body_of(request, MESSAGE_MAX))
        except (ValueError, RecursionError):
            message = None
        except OverflowError:
            return JSONResponse({"wrong": "That is too much for one message. Give less."})
        except TimeoutError:
            return PlainTextResponse("The message stopped coming. Send it again.\n", 408)
        async with drawing if draws(message) else keeping:
            return JSONResponse(await asyncio.to_thread(answered, place, message))

    async def take_picture(request: Request) -> Response:
        try:
            data = await body_of(request, PICTURE_MAX)
        except OverflowError:
            return JSONResponse({"wrong": f"The picture is over {PICTURE_MAX >> 20} MB. Give a smaller one."})
        except TimeoutError:
            return PlainTextResponse("The picture stopped coming. Send it again.\n", 408)
        async with keeping:
            return JSONResponse(await asyncio.to_thread(_taken, place, request.path_params["card"], data))

    async def picture(request: Request) -> Response:
        return await _png(lambda: _picture(place, request.path_params["card"], None))

    async def thumbnail(request: Request) -> Response:
        return await _png(lambda: _picture(place, request.path_params["card"], THUMBNAIL_PX))

    return [
        Route("/do", do, methods=["POST"]),
        Route("/print/{card}", take_picture, methods=["POST"]),
        Route("/print/{card}.png", picture),
        Route("/thumbnail/{card}.png", thumbnail),
        Mount("/", StaticFiles(directory=FILES, html=True)),
    ]


def served_alone(place: Place) -> Any:
    """Serve the page alone while inside; gives its address (see `served`)."""

    async def to_page(request: Request) -> Response:
        return RedirectResponse(str(request.url).rstrip("/") + "/lab/")

    return served([Route("/", to_page), Mount("/lab", routes=routes(place))], [PAGE])


async def _png(make: Callable[[], bytes]) -> Response:
    try:
        return Response(await asyncio.to_thread(make), media_type="image/png")
    except REFUSED as fault:
        return PlainTextResponse(f"{in_words(fault)}\n", 404)


def _picture(place: Place, card: str, side_px: int | None) -> bytes:
    from PIL import Image

    path = place.folder.picture(card)
    if path is None:
        raise CommandError("There is no picture of this print yet. Drop one on the page.")
    if side_px is None:
        return path.read_bytes()
    with Image.open(path) as image:
        image.thumbnail((side_px, side_px))
        out = io.BytesIO()
        image.save(out, "PNG")
    return out.getvalue()


def _taken(place: Place, card: str, data: bytes) -> dict[str, Any]:
    """A picture that was dropped becomes that of the card's print: in greys, as large as a record has it."""
    import tempfile

    from PIL import Image

    from lampblack.record.print_picture import greys_of

    try:
        place.folder.card_path(card)
        with tempfile.NamedTemporaryFile(suffix=".picture") as file:
            file.write(data)
            file.flush()
            try:
                greys = greys_of(Path(file.name))
            except CommandError as fault:
                raise CommandError(str(fault).replace(file.name, "The picture")) from None
        out = io.BytesIO()
        Image.fromarray(greys).save(out, "PNG")
        before = place.folder.picture(card)
        place.folder.keep_picture(card, out.getvalue())
    except REFUSED as fault:
        return {"wrong": in_words(fault)}
    return {"told": f"The picture of {card} is kept{', in place of the one before' if before else ''}."}
