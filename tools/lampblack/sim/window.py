"""One browser window: what it has been told, and what it has sent that waits its turn.

What must live here: the order of a window's messages. Of what they do it is known here only which are inputs
of the box, and which of those can light the lamp.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from starlette.websockets import WebSocket

WAITING_MAX = 300
"""Messages of one window that wait: some seconds of a moving hand while a negative is made."""
BACK, BACK_UP = ({"do": "key", "name": name} for name in ("back", "back_up"))
_LIGHTS = ("expose", "pedal", "lamp")


def _is_input(message: Any) -> bool:
    return isinstance(message, dict) and message.get("do") in ("key", "dial")


def _may_light(message: Any) -> bool:
    return _is_input(message) and message.get("name") in _LIGHTS


@dataclass(eq=False)
class Window:
    """`holds_back` is true while BACK is down in it; `gone`, once it is closed."""

    socket: WebSocket
    state: dict[str, Any] = field(default_factory=dict)
    frame: bytes = b""
    rows: int = 0
    refused: str = ""
    greeted: bool = False
    holds_back: bool = False
    gone: bool = False
    wake: asyncio.Event = field(default_factory=asyncio.Event)
    waiting: deque[Any] = field(default_factory=deque)
    _came: asyncio.Event = field(default_factory=asyncio.Event)

    def refuse(self, line: str) -> None:
        self.refused = line
        self.wake.set()

    def take(self, message: Any) -> None:
        """Let `message` wait its turn, unless too many do. That BACK is let go is not left out."""
        if len(self.waiting) >= WAITING_MAX and (message != BACK_UP or BACK_UP in self.waiting):
            self.refuse("Not all is done: too much waits to be done already. Wait, then do it again.")
            return
        self.waiting.append(message)
        self._came.set()

    async def next(self) -> Any:
        """The next of what waits. EOFError when the window is gone and nothing is left."""
        while not self.waiting:
            if self.gone:
                raise EOFError
            self._came.clear()
            await self._came.wait()
        return self.waiting.popleft()

    def back(self, lit: bool) -> list[Any]:
        """What is done at once when BACK is pressed: what was pressed or turned before and waits, then BACK.
        Where the former could be light after BACK, it is left out: under light, EXPOSE was meant to hold."""
        before = self._taken_out(_is_input)
        if before and (lit or any(map(_may_light, before))):
            self.refuse("What was pressed before BACK is not done: it still waited. Press it again.")
            before = []
        return [*before, BACK]

    def leave(self) -> None:
        """It is closed. What it has sent before is still done, but lights nothing."""
        self.gone = True
        self._taken_out(lambda message: message == BACK_UP or _may_light(message))
        self._came.set()

    def _taken_out(self, is_one: Callable[[Any], bool]) -> list[Any]:
        found = [message for message in self.waiting if is_one(message)]
        self.waiting = deque(message for message in self.waiting if not is_one(message))
        return found
