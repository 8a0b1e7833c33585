"""A page for the browsers of this computer: who may look (address, host, origin, key), and how it is served.

What must live here: what the simulator's page and the laboratory's share. It may not know what is on either.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import hashlib
import logging
import mimetypes
import os
import re
import secrets
import socket
import sys
import webbrowser
from collections.abc import AsyncIterator, Sequence
from pathlib import Path
from typing import Any

import uvicorn
from starlette.applications import Starlette
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import BaseRoute, Mount
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.websockets.websockets_sansio_impl import WebSocketsSansIOProtocol

GONE_S = 5.0
"""A window that does not answer for this long counts as closed, so that its light does not stay on."""
PING_S, PATIENCE_S = 0.2, 0.6
"""How often a browser is asked whether it is there, and how long its answer may take, in parts of GONE_S. One
comes after the other, and a loop that is busy needs the rest."""
READ_BYTES = 64 * 1024
"""What the system keeps of a connection, so that no window has more than this read before others' turn."""
MESSAGE_MAX = 64 * 1024


@contextlib.asynccontextmanager
async def served(routes: Sequence[BaseRoute], pages: Sequence[Path]) -> AsyncIterator[str]:
    """Serve `routes` while inside; gives the address. Only this computer can reach it, and only who has the
    key in the address. `pages` are the HTML files among what is served."""
    # Windows may have been told another type for scripts, and browsers run no script of another type.
    mimetypes.add_type("text/javascript", ".js")
    listener = socket.create_server(("127.0.0.1", 0))
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, READ_BYTES)
    port = listener.getsockname()[1]
    token = secrets.token_urlsafe(16)
    app = Gate(Starlette(routes=[Mount(f"/{token}", routes=routes)]), token, port, pages)
    server = _server(app)
    serving = asyncio.create_task(server.serve(sockets=[listener]))
    try:
        yield f"http://127.0.0.1:{port}/{token}/"
    finally:
        # What is still being answered is cut off, and nobody is there any more to whom that would be news.
        logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
        server.should_exit = True
        await serving


def open_for_person(address: str) -> None:
    """Open the page in the browser of who has called."""
    if _has_desktop():
        webbrowser.open(address)


def _has_desktop() -> bool:
    """A person at a screen of this computer has called, not a program, nor somebody from afar."""
    if not sys.stdout.isatty() or "SSH_CONNECTION" in os.environ:
        return False
    return sys.platform in ("darwin", "win32") or bool(
        os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY")
    )


class Gate:
    """Lets in only who has the session's key, from this page's own address. 403 and one line otherwise."""

    def __init__(self, app: ASGIApp, token: str, port: int, pages: Sequence[Path]) -> None:
        self._app = app
        self._token = token
        self._hosts = (f"127.0.0.1:{port}", f"localhost:{port}")
        styles = " ".join(sorted({f"'sha256-{_style_digest(page)}'" for page in pages}))
        sockets = " ".join(f"ws://{host}" for host in self._hosts)
        self._headers = {
            "Content-Security-Policy": "default-src 'none'; script-src 'self'; img-src 'self' blob:; "
            f"style-src 'self' {styles}; connect-src 'self' {sockets}; "
            "base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
            "Cache-Control": "no-store",
            "Cross-Origin-Opener-Policy": "same-origin",
            "Cross-Origin-Resource-Policy": "same-origin",
            "Referrer-Policy": "no-referrer",
            "X-Content-Type-Options": "nosniff",
        }

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        refusal = self._refusal(scope)
        if refusal is None:
            await self._app(scope, receive, self._guarded(send))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008, "reason": refusal})
        else:
            await PlainTextResponse(refusal + "\n", 403)(scope, receive, self._guarded(send))

    def _guarded(self, send: Send) -> Send:
        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(self._headers)
            await send(message)

        return with_headers

    def _refusal(self, scope: Scope) -> str | None:
        headers = Headers(scope=scope)
        if headers.get("host") not in self._hosts:
            return f"This page answers at http://{self._hosts[0]} alone. Open the address that was printed."
        # A path may be anything, and without a slash: `OPTIONS *`.
        token = scope["path"].partition("/")[2].partition("/")[0]
        if not secrets.compare_digest(token.encode(), self._token.encode()):
            return "The key in this address is not this session's. Open the address that was printed."
        changes = scope["type"] == "websocket" or scope["method"] not in ("GET", "HEAD")
        if changes and headers.get("origin") not in [f"http://{host}" for host in self._hosts]:
            return "Only this page itself may work the box. Open the address that was printed."
        return None


def _style_digest(page: Path) -> str:
    """Of the style in a page's head, which keeps it from being white while it loads."""
    style = re.search(r"<style>(.*?)</style>", page.read_text(encoding="utf-8"), re.S)
    return base64.b64encode(hashlib.sha256(style[1].encode() if style else b"").digest()).decode()


def _server(app: ASGIApp) -> _Server:
    return _Server(
        uvicorn.Config(
            app,
            ws=_Browser,
            ws_max_size=MESSAGE_MAX,
            ws_ping_interval=GONE_S * PING_S,
            ws_ping_timeout=GONE_S * PATIENCE_S,
            ws_per_message_deflate=False,
            lifespan="off",
            log_level="error",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=1,
        )
    )


async def body_of(request: Request, most: int) -> bytes:
    """OverflowError where it is longer than `most`, TimeoutError where it stops coming."""
    pieces: list[bytes] = []
    stream = aiter(request.stream())
    while True:
        async with asyncio.timeout(GONE_S):
            piece = await anext(stream, None)
        if piece is None:
            return b"".join(pieces)
        pieces.append(piece)
        most -= len(piece)
        if most < 0:
            raise OverflowError


class _Browser(WebSocketsSansIOProtocol):
    """The connection to a window."""

    def keepalive_timeout(self) -> None:
        """It has not answered: it is gone, even where what it has not read keeps the connection open."""
        super().keepalive_timeout()
        self.transport.abort()


class _Server(uvicorn.Server):
    @contextlib.contextmanager
    def capture_signals(self) -> Any:
        """Ctrl-C ends the session, and the session ends the server."""
        yield


def saved_as(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="lampblack-{name}"'}
