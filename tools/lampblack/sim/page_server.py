"""The darkroom on screen: one page, for the browsers of this computer.

What must live here: what is sent when, and which input a message is. Keys, dial and pace go to the session,
all else to the room, and what is shown is the room's state as it is: of box and darkroom nothing is worked
out here. Every window is told what has changed since it was last told, so a slow one holds up no other. What
it sends waits its turn, but BACK does not.
"""

from __future__ import annotations

import asyncio
import base64
import contextlib
import json
from collections.abc import AsyncIterator, Iterator, Sequence
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response
from starlette.routing import BaseRoute, Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.websockets import WebSocket, WebSocketDisconnect

from host_sim.box.frame_pictures import HEIGHT_PX, WIDTH_PX
from host_sim.box.live import Live
from host_sim.box.script import DETENTS_MAX, KEYS
from host_sim.box.session import Watcher
from host_sim.darkroom.checks import RoomError
from host_sim.darkroom.films import film_from
from host_sim.darkroom.pictures import PICTURES
from host_sim.darkroom.room import Room
from host_sim.darkroom.timeline import Timeline
from host_sim.darkroom.told import told_once
from host_sim.optics.negatives import LARGEST_BYTES
from lampblack.page.serving import body_of, saved_as, served
from lampblack.sim.window import BACK, Window
from timing_core.panel.sounds import SOUNDS

FILES = Path(__file__).with_name("page")
FRAME_S = 1 / 30
"""What moves by itself is told this often at most; an input is told at once."""
PACES = {0: "Paused", 1: "Real time", 10: "10 times"}
FIXED = {"frame_px": [WIDTH_PX, HEIGHT_PX], "paces": list(PACES.items()), "tones": SOUNDS}
"""What a window is told of the box once, and needs to draw it, to pace it and to sound as it does."""
STEP_MAX_MS = 60 * 1000


class Page(Watcher):
    """Serves `live` and its `room`; `ways_in` are the addresses that tools reach the box at, `lab` the routes
    of the laboratory."""

    def __init__(
        self, live: Live, room: Room, timeline: Timeline, ways_in: list[str], lab: Sequence[BaseRoute] = ()
    ) -> None:
        self._lab = lab
        self._live = live
        self._room = room
        self._timeline = timeline
        self._ways_in = ways_in
        self._windows: set[Window] = set()
        self._stirred = asyncio.Event()
        self._pressed = asyncio.Event()
        self._state: dict[str, Any] = {}
        self._frame = b""
        self._frame_is_old = True
        self._pictures: dict[tuple[str, int], bytes] = {}
        self._taking_a_picture = asyncio.Lock()
        self._making = 0
        live.session.watchers.append(self)
        live.on_change(self._stirred.set)

    # --- watching

    def input(self, now_ms: int, event: str, value: object) -> None:
        # What a tool sends is told of with the next frame: tools may send a lot.
        if event not in ("tick", "line"):
            self._tell_now()

    def output(self, now_ms: int, kind: str, value: object) -> None:
        if kind == "screen":
            self._frame_is_old = True
        elif kind == "sound":
            self._tell_now()

    def lamp(self, now_ms: int, on: bool) -> None:
        self._tell_now()

    def reset(self, now_ms: int) -> None:
        self._frame_is_old = True
        self._tell_now()

    def _tell_now(self) -> None:
        self._pressed.set()
        self._stirred.set()

    # --- telling

    async def run(self) -> None:
        """Tell the windows what there is to tell, until cancelled."""
        clock = asyncio.get_running_loop().time
        told_s = -FRAME_S
        while True:
            # Light that rises or falls moves without an input or a deadline of the box.
            moving = bool(self._windows) and self._live.speed > 0 and not self._state.get("settled", True)
            await _wait(self._stirred, FRAME_S if moving else None)
            await _wait(self._pressed, told_s + FRAME_S - clock())
            self._stirred.clear()
            self._pressed.clear()
            if not self._windows:
                continue
            if moving:
                self._live.catch_up()
            told_s = clock()
            self._look()
            self._wake()
            if self._frame_is_old:
                # Drawing the display takes longer than all else: lamp and safelight are told of before it.
                await asyncio.sleep(0)
                self._draw()
                self._wake()

    def _wake(self) -> None:
        for window in self._windows:
            window.wake.set()

    def _draw(self) -> None:
        self._frame = bytes(self._live.session.frame())
        self._frame_is_old = False

    def _look(self) -> None:
        self._state = {**self._room.state(), "pace": self._live.speed, "making": self._making > 0}

    def _news(self, window: Window) -> dict[str, Any]:
        """What the window has not been told yet; empty where there is nothing."""
        news: dict[str, Any] = {}
        known = window.state
        changed = {key: now for key, now in self._state.items() if key not in known or known[key] != now}
        if not window.greeted:
            news["hello"] = {**told_once(), **FIXED, "ways_in": self._ways_in, "has_lab": bool(self._lab)}
            window.greeted = True
        if changed.keys() - {"now_ms"}:
            news["state"] = changed
            window.state = self._state
        if window.frame != self._frame:
            news["frame"] = base64.b64encode(self._frame).decode()
            window.frame = self._frame
        rows = self._timeline.since(window.rows)
        if rows:
            news["events"] = rows
            window.rows += len(rows)
        if window.refused:
            news["refused"] = window.refused
            window.refused = ""
        if news:
            news.setdefault("state", {})["now_ms"] = self._state["now_ms"]
        return news

    async def _tell(self, window: Window) -> None:
        while True:
            news = self._news(window)
            if news:
                await window.socket.send_text(json.dumps(news, separators=(",", ":")))
            await window.wake.wait()
            window.wake.clear()

    # --- taking

    async def _open(self, websocket: WebSocket) -> None:
        await websocket.accept()
        window = Window(websocket)
        self._windows.add(window)
        self._live.catch_up()
        self._draw()
        self._look()
        telling = asyncio.create_task(self._tell(window))
        listening = asyncio.create_task(self._listen(window))
        working = asyncio.create_task(self._work(window))
        try:
            await asyncio.wait({telling, listening, working}, return_when=asyncio.FIRST_COMPLETED)
            self._leave(window)
            await working
        finally:
            self._leave(window)
            for task in (telling, listening, working):
                task.cancel()
                with contextlib.suppress(WebSocketDisconnect, asyncio.CancelledError):
                    await task

    def _leave(self, window: Window) -> None:
        if window.gone:
            return
        window.leave()
        self._windows.discard(window)
        self._hold_back(window, False)
        if not self._windows:
            self._live.catch_up()
            self._room.close_light()

    async def _listen(self, window: Window) -> None:
        """Take what the window sends as soon as it comes, so that BACK is never behind anything."""
        while True:
            message = await window.socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            try:
                command = json.loads(message.get("text") or "")
            except (ValueError, RecursionError):
                command = None  # refused in its turn
            if command == BACK:
                for one in window.back(self._live.session.lamp.lit):
                    self._obey(window, one)
            else:
                window.take(command)

    async def _work(self, window: Window) -> None:
        """Do what waits, one message at a time: between two of them every other window has its turn."""
        with contextlib.suppress(EOFError):
            while True:
                message = await window.next(lambda: self._live.session.lamp.lit)
                match message:
                    case {"do": "negative" | "practice", "name": str()}:
                        with self._being_made():
                            await asyncio.to_thread(self._room.make_ready, message)
                self._obey(window, message)
                await asyncio.sleep(0)

    @contextlib.contextmanager
    def _being_made(self) -> Iterator[None]:
        """A negative is made while inside, and every window is told so."""
        self._making += 1
        self._tell_now()
        try:
            yield
        finally:
            self._making -= 1
            self._tell_now()

    def _obey(self, window: Window, message: Any) -> None:
        try:
            self._do(window, message)
        except RoomError as error:
            window.refuse(str(error))
        except (ValueError, RecursionError):
            window.refuse("That message is no command of this page. Load the page again.")

    def _hold_back(self, window: Window, is_down: bool) -> None:
        """BACK is held down in `window`, or let go. The box has one BACK, held while any window holds it."""
        others = any(other.holds_back for other in self._windows if other is not window)
        if is_down != window.holds_back and not others:
            self._live.input("back_down" if is_down else "back_up")
        window.holds_back = is_down

    def _do(self, window: Window, message: Any) -> None:
        """Perform a message of a window. RoomError for what is refused, ValueError for what is no command."""
        live = self._live
        match message:
            case {"do": "key", "name": "back_up"}:
                self._hold_back(window, False)
            case {"do": "key", "name": str(name)} if name in KEYS:
                if name == "back":
                    self._hold_back(window, True)
                live.input(name)
            case {"do": "dial", "detents": int(detents)} if _is_count(detents, DETENTS_MAX):
                live.input("dial", detents)
            case {"do": "pace", "speed": int(speed)} if speed in PACES and not isinstance(speed, bool):
                live.set_speed(speed)
            case {"do": "step", "ms": int(ms)} if _is_count(ms, STEP_MAX_MS) and ms > 0:
                live.step(ms)
            case {"do": str()} if all(isinstance(message.get(key, ""), str) for key in ("name", "filter")):
                live.catch_up()
                self._room.do(message)
            case _:
                raise ValueError
        self._tell_now()

    # --- answering

    async def _picture(self, request: Request) -> Response:
        kind = request.path_params["kind"]
        number = self._room.pictures.numbers[kind] if kind in PICTURES else 0
        if not number:
            return PlainTextResponse("There is no such picture yet. Develop a sheet first.\n", 404)
        if (kind, number) not in self._pictures:
            self._pictures = {key: png for key, png in self._pictures.items() if key[0] != kind}
            self._pictures[kind, number] = self._room.picture(kind)
        return Response(self._pictures[kind, number], media_type="image/png")

    async def _negative(self, request: Request) -> Response:
        query = request.query_params
        # Pictures take much memory: only one is in it at a time, from its first byte on.
        async with self._taking_a_picture:
            try:
                data = await body_of(request, LARGEST_BYTES)
                with self._being_made():
                    film = await asyncio.to_thread(
                        film_from, data, query.get("name", ""), query.get("film") == "negative"
                    )
                self._live.catch_up()
                self._room.set_own_negative(film)
            except RoomError as error:
                return PlainTextResponse(f"{error}\n", 422)
            except OverflowError:
                return PlainTextResponse(
                    f"The file is over {LARGEST_BYTES >> 20} MB. Use a smaller one.\n", 413
                )
            except TimeoutError:
                return PlainTextResponse("The file stopped coming. Send it again.\n", 408)
        self._tell_now()
        return Response(status_code=204)

    async def _svg(self, request: Request) -> Response:
        return Response(self._timeline.svg(), media_type="image/svg+xml", headers=saved_as("timeline.svg"))

    async def _trace(self, request: Request) -> Response:
        return Response(
            self._timeline.trace(), media_type="application/x-ndjson", headers=saved_as("trace.jsonl")
        )

    @contextlib.asynccontextmanager
    async def served(self) -> AsyncIterator[str]:
        """Serve while inside; gives the address. Only this computer can reach it."""
        routes = [
            WebSocketRoute("/live", self._open),
            Route("/picture/{kind}.png", self._picture),
            Route("/negative", self._negative, methods=["POST"]),
            Route("/timeline.svg", self._svg),
            Route("/trace.jsonl", self._trace),
            Mount("/lab", routes=self._lab),
            Mount("/", StaticFiles(directory=FILES, html=True)),
        ]
        async with served(routes, [FILES / "index.html"]) as address:
            telling = asyncio.create_task(self.run())
            try:
                yield address
            finally:
                telling.cancel()


def _is_count(number: int, most: int) -> bool:
    """From 1 to `most`, either way. True is a number in Python, and none here."""
    return 0 < abs(number) <= most and not isinstance(number, bool)


async def _wait(event: asyncio.Event, patience_s: float | None) -> None:
    """Until the event, but no longer than `patience_s` (None: however long)."""
    # Not `wait_for`: in Python 3.11 it may swallow a cancellation that comes together with the event.
    if patience_s is None or patience_s > 0:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(patience_s):
                await event.wait()
