"""A session in real time: the virtual clock follows the wall clock, and ports let tools in.

What must live here: pacing, connections, and whom to believe at them. Light stays exact however late the
machine is, since lamp and box live on the virtual clock, which is only ever moved on by `catch_up`.
"""

from __future__ import annotations

import asyncio
import contextlib
import math
import os
import socket
import time
from collections.abc import Callable, Iterator

from host_sim.box.script import FROM_OUTSIDE, Player, ScriptError
from host_sim.box.session import Session
from timing_core.wire.framing import LINE_MAX, Fault, LineReader, request_in

LONGEST_NAP_S = 0.5
READ_MAX = 4096
FIRST_LINE_S = 5.0
"""Within this time a connection has to show by a message that a tool is at its other end."""


class Live:
    """Runs `session` at `speed` times real time, until `end` or a hand-over; 0 is a paused clock."""

    def __init__(
        self, session: Session, speed: float = 1.0, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self.session = session
        self.speed = speed
        self.ended = asyncio.Event()
        self._clock = clock
        self._begin_again()
        self._moved = asyncio.Event()
        self._changed: list[Callable[[], None]] = []
        self._to_close: list[Callable[[], object]] = []

    def on_change(self, call: Callable[[], None]) -> None:
        """Have `call` called whenever the session has moved on or been given an input."""
        self._changed.append(call)

    def catch_up(self) -> None:
        """Move the virtual clock to where the wall clock says it is."""
        passed_ms = int((self._clock() - self._began_s) * 1000 * self.speed)
        self.session.advance(self._began_ms + passed_ms)

    def set_speed(self, speed: float) -> None:
        """Go on at `speed` times real time from now on; 0 pauses the clock until the next `step`."""
        if not 0 <= speed < math.inf:
            raise ValueError(f"a speed of {speed}: give 0 (paused) or more")
        self.catch_up()
        self._begin_again()
        self.speed = speed
        self._note_move()

    def step(self, ms: int) -> None:
        """Move the virtual clock on by `ms` at once, whatever the speed."""
        if ms < 0:
            raise ValueError(f"a step of {ms} ms: time only goes on; give 0 or more")
        self.catch_up()
        self.session.advance(self.session.now_ms + ms)
        self._begin_again()
        self._note_move()

    def _begin_again(self) -> None:
        """Count from the virtual time that is reached, and from the wall's now."""
        self._began_s = self._clock()
        self._began_ms = self.session.now_ms

    def input(self, event: str, value: object = 0) -> None:
        self.catch_up()
        self.session.input(event, value)
        self._note_move()

    def _note_move(self) -> None:
        self._moved.set()
        for call in self._changed:
            call()
        if self.session.handed_over:
            self.ended.set()

    def end(self) -> None:
        self.ended.set()
        self._moved.set()

    async def run(self) -> None:
        """Let time pass until ended."""
        while not self.ended.is_set():
            await self._nap(self.session.next_ms())
            self.catch_up()
            self._note_move()

    async def _nap(self, until_ms: int) -> None:
        """Sleep until the session's `until_ms` (or an input); -1 sleeps until an input."""
        nap_s = LONGEST_NAP_S if until_ms < 0 else self._nap_s(until_ms)
        self._moved.clear()
        # Not `wait_for`: in Python 3.11 it may swallow a cancellation that comes together with the event.
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(max(0.001, nap_s)):
                await self._moved.wait()

    def _nap_s(self, until_ms: int) -> float:
        if not self.speed:
            return LONGEST_NAP_S
        return min(LONGEST_NAP_S, (until_ms - self.session.now_ms) / 1000 / self.speed)

    async def play(self, steps: Iterator[int]) -> None:
        """Play the steps of a script (see `Player`) in real time. Raises ScriptError."""
        while not self.ended.is_set():
            self.catch_up()
            at_ms = next(steps, None)
            self._note_move()
            if at_ms is None:
                return
            if at_ms == FROM_OUTSIDE:
                await self._pause()
            while at_ms > self.session.now_ms and not self.ended.is_set():
                await asyncio.sleep(self._nap_s(at_ms))
                self.catch_up()

    async def _pause(self) -> None:
        await asyncio.sleep(0.02)

    async def type(self, line: str) -> str:
        """Play one typed line; returns what was wrong with it, or ""."""
        try:
            await self.play(Player(self.session).line_steps(line))
        except ScriptError as error:
            return str(error)
        return ""

    def close(self) -> None:
        """Close every port."""
        for close in self._to_close:
            close()
        self._to_close.clear()

    # --- ports: several tools may come and go

    async def _answer(self, incoming: asyncio.StreamReader, outgoing: asyncio.StreamWriter) -> None:
        """Answer one peer to its end. Between two of its lines all others have their turn, and one that does
        not read its replies is not read from."""
        reader = LineReader()
        outgoing.transport.set_write_buffer_limits(0)
        while data := await incoming.read(READ_MAX):
            reader.feed(data)
            while (line := reader.next_line()) is not None:
                await self._take(line, outgoing)

    async def _take(self, line: bytes, outgoing: asyncio.StreamWriter) -> None:
        self.session.send = outgoing.write
        self.input("line", line)
        await outgoing.drain()
        await asyncio.sleep(0)

    async def _is_tool(self, incoming: asyncio.StreamReader, outgoing: asyncio.StreamWriter) -> bool:
        """Obey the first line with something in it, if it is a message. A browser, which any page can make
        send lines to any port of this computer, begins with one of its own, and is not heard further."""
        line = b"\n"
        try:
            async with asyncio.timeout(FIRST_LINE_S):
                while line == b"\n":
                    await asyncio.sleep(0)
                    line = await incoming.readline()
            if line[-1:] != b"\n" or request_in(line[:-1], self.session.platform) is None:
                return False
        except (Fault, TimeoutError, ValueError):  # ValueError: of a line that is too long
            return False
        await self._take(line[:-1], outgoing)
        return True

    async def open_socket(self, port: int) -> int:
        """Listen on the loopback for tools and return the port; 0 takes any. OSError if it is taken."""

        async def serve(incoming: asyncio.StreamReader, outgoing: asyncio.StreamWriter) -> None:
            # A peer may go at any time, and so may the session: there is no more to be said of it.
            with contextlib.suppress(OSError, asyncio.CancelledError):
                # Replies are small and asked for in bunches: none may wait until the one before is confirmed.
                outgoing.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                if await self._is_tool(incoming, outgoing):
                    await self._answer(incoming, outgoing)
            outgoing.close()

        server = await asyncio.start_server(serve, "127.0.0.1", port, limit=LINE_MAX - 1)
        self._to_close.append(server.close)
        return server.sockets[0].getsockname()[1]

    async def open_pty(self) -> str | None:
        """Open a pseudo-terminal that tools can use as a serial port; None where the system has none.

        No page of a browser reaches it, so that noise is put up with, as on a board.
        """
        try:
            import tty

            ours, theirs = os.openpty()
            tty.setraw(theirs)
        except (ImportError, AttributeError, OSError):
            return None
        loop = asyncio.get_running_loop()
        incoming = asyncio.StreamReader(LINE_MAX)
        reads, _ = await loop.connect_read_pipe(
            lambda: asyncio.StreamReaderProtocol(incoming), os.fdopen(ours, "rb", 0)
        )
        writes, flow = await loop.connect_write_pipe(
            lambda: asyncio.StreamReaderProtocol(asyncio.StreamReader()), os.fdopen(os.dup(ours), "wb", 0)
        )
        outgoing = asyncio.StreamWriter(writes, flow, incoming, loop)
        serves = loop.create_task(self._answer(incoming, outgoing))
        # Keeping `theirs` open lets tools come and go without a hang-up on our side.
        self._to_close += [serves.cancel, reads.close, writes.abort, lambda: os.close(theirs)]
        return os.ttyname(theirs)
