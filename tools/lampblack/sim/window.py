"""One browser window: what it has been told, and what it has sent that waits its turn.

What must live here: the order of a window's messages. Of what they do it is known here only which are inputs
of the box, and which of those can light the lamp.
"""

from __future__ import annotations

import asyncio
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from starlette.websockets import WebSocket

WAITING_MAX = 300
"""Messages of one window that wait: some seconds of a moving hand while a negative is made."""
STEPS_MAX = 10
"""Steps of the clock that BACK waits for. Each takes some ms."""
BACK, BACK_UP = ({"do": "key", "name": name} for name in ("back", "back_up"))
_LIGHTS = ("expose", "pedal", "lamp")
LATE_S = 0.3
"""A press that could light the lamp lights nothing when it has waited for so long: hands have moved on, and
the settling time, in which it would not have counted, may have passed since."""


def _is_input(message: Any) -> bool:
    return isinstance(message, dict) and message.get("do") in ("key", "dial")


def _moves_time(message: Any) -> bool:
    return isinstance(message, dict) and message.get("do") in ("pace", "step")


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
    waiting: deque[tuple[Any, float]] = field(default_factory=deque)
    """What waits, the oldest first, each with when it has come, in s."""
    _came: asyncio.Event = field(default_factory=asyncio.Event)

    def refuse(self, line: str) -> None:
        self.refused = line
        self.wake.set()

    def take(self, message: Any) -> None:
        """Let `message` wait its turn, unless too many do. That BACK is let go is not left out."""
        is_up = message == BACK_UP and all(one != BACK_UP for one, _ in self.waiting)
        if len(self.waiting) >= WAITING_MAX and not is_up:
            self.refuse("Not all is done: too much waits to be done already. Wait, then do it again.")
            return
        self.waiting.append((message, time.monotonic()))
        self._came.set()

    async def next(self, lit: Callable[[], bool]) -> Any:
        """The next of what waits. EOFError when the window is gone and nothing is left."""
        while True:
            message, came_s = await self._oldest()
            if not _may_light(message) or lit() or time.monotonic() - came_s < LATE_S:
                return message
            self.refuse("That press waited too long to be done. Press it again.")

    async def _oldest(self) -> tuple[Any, float]:
        while not self.waiting:
            if self.gone:
                raise EOFError
            self._came.clear()
            await self._came.wait()
        return self.waiting.popleft()

    def back(self, lit: bool) -> list[Any]:
        """What is done at once when BACK is pressed: what was pressed, turned or stepped before and waits,
        then BACK. What was pressed or turned is left out where it could be light after BACK: under light,
        EXPOSE was meant to hold. Time that was stepped before BACK must not pass after it, or a press that
        comes too early would count."""
        before = self._taken_out(lambda message: _is_input(message) or _moves_time(message))
        pressed = list(filter(_is_input, before))
        steps = list(filter(_moves_time, before))
        if (pressed and (lit or any(map(_may_light, pressed)))) or len(steps) > STEPS_MAX:
            self.refuse("What was done before BACK is left out: it still waited. Do it again.")
            before = steps if len(steps) <= STEPS_MAX else []
        return [*before, BACK]

    def leave(self) -> None:
        """It is closed. What it has sent before is still done, but lights nothing."""
        self.gone = True
        self._taken_out(lambda message: message == BACK_UP or _may_light(message))
        self._came.set()

    def _taken_out(self, is_one: Callable[[Any], bool]) -> list[Any]:
        found = [message for message, _ in self.waiting if is_one(message)]
        self.waiting = deque(one for one in self.waiting if not is_one(one[0]))
        return found
