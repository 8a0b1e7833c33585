"""The clock that follows the wall, and the ports that let tools in. The wall's clock here is a number."""

import asyncio
import contextlib
import http.client
import json
import math
import os
import socket
import struct
import sys
from binascii import crc32
from collections.abc import AsyncIterator, Awaitable, Callable

import hypothesis.strategies as st
import pytest
from hypothesis import given

from host_sim.box import live as live_module
from host_sim.box.live import LONGEST_NAP_S, Live
from host_sim.box.script import Player
from host_sim.box.session import Watcher
from tests.box_model import a_card, keys, load, new_session, push
from timing_core.canonical import encode
from timing_core.wire.framing import LINE_MAX, frame


class Wall:
    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


def started(speed: float = 1.0) -> tuple[Live, Wall]:
    wall = Wall()
    return Live(new_session(), speed, wall), wall


def test_a_new_speed_counts_from_now_on():
    live, wall = started()
    wall.now_s += 2
    live.set_speed(10)
    assert live.session.now_ms == 2000
    wall.now_s += 1
    live.catch_up()
    assert live.session.now_ms == 12_000
    live.set_speed(0.5)
    wall.now_s += 2
    live.catch_up()
    assert live.session.now_ms == 13_000


def test_a_clock_that_stands_takes_inputs_and_goes_on_where_it_stood():
    live, wall = started()
    load(live.session, a_card(base_ms=4000))
    keys(live.session, "expose")
    live.set_speed(0)
    wall.now_s += 60
    live.input("expose")
    assert live.session.now_ms == 0
    assert live.session.lamp.lit
    live.set_speed(1)
    wall.now_s += 3.999
    live.catch_up()
    assert live.session.lamp.lit
    wall.now_s += 0.001
    live.catch_up()
    assert not live.session.lamp.lit


def test_a_step_moves_the_clock_at_once():
    live, wall = started(0)
    changes: list[int] = []
    live.on_change(lambda: changes.append(live.session.now_ms))
    live.step(250)
    assert live.session.now_ms == 250
    assert changes == [250]
    wall.now_s += 9
    live.step(0)
    assert live.session.now_ms == 250
    live.set_speed(2)
    wall.now_s += 1
    live.step(100)
    assert live.session.now_ms == 2350
    wall.now_s += 1
    live.catch_up()
    assert live.session.now_ms == 4350


@given(
    st.lists(
        st.one_of(
            st.tuples(st.just("pass"), st.integers(0, 5000)),
            st.tuples(st.just("speed"), st.sampled_from((0, 1, 10))),
            st.tuples(st.just("step"), st.integers(0, 1000)),
        ),
        max_size=20,
    )
)
def test_virtual_time_is_the_sum_of_its_stretches(acts):
    live, wall = started()
    expected_ms, speed = 0.0, 1
    for what, value in acts:
        if what == "pass":
            wall.now_s += value / 1000
            expected_ms += value * speed
        elif what == "speed":
            live.set_speed(value)
            speed = value
        else:
            live.step(value)
            expected_ms += value
    before_ms = live.session.now_ms
    live.catch_up()
    # Each change of speed may leave less than a ms behind: time is whole ms.
    assert expected_ms - len(acts) - 1 <= live.session.now_ms <= expected_ms
    assert live.session.now_ms >= before_ms


@pytest.mark.parametrize("speed", [-1, math.nan, math.inf])
def test_no_clock_goes_so(speed):
    live, _ = started()
    with pytest.raises(ValueError, match="a speed of"):
        live.set_speed(speed)
    assert live.speed == 1


def test_time_only_goes_on():
    live, _ = started()
    with pytest.raises(ValueError, match="time only goes on"):
        live.step(-1)


def test_a_standing_clock_runs_until_it_is_stopped():
    async def stand() -> int:
        live, _ = started(0)
        load(live.session, a_card(base_ms=4000))
        keys(live.session, "expose", "expose")
        runs = asyncio.create_task(live.run())
        await asyncio.sleep(0)
        live.end()
        await runs
        return live.session.now_ms

    assert asyncio.run(stand()) == 0


def test_a_change_of_speed_wakes_a_nap():
    async def wake() -> int:
        live, wall = started(0)
        runs = asyncio.create_task(live.run())
        await asyncio.sleep(0)
        live.set_speed(1)
        wall.now_s += 3
        live.end()
        await runs
        return live.session.now_ms

    assert asyncio.run(wake()) == 3000


def test_a_script_waits_while_the_clock_stands():
    live, _ = started(0)
    steps = Player(live.session).steps("wait 5", "script")
    assert next(steps) == 5000
    # What `play` sleeps for then is bounded, so that a new speed is noticed.
    assert live._nap_s(5000) == LONGEST_NAP_S


# --- ports


def line_of(live: Live, method: str, id: int = 1, **params) -> bytes:
    request = {"jsonrpc": "2.0", "id": id, "method": method, "params": params}
    return frame(encode(request), live.session.platform.crc32)


def served(act: Callable[[Live, int], Awaitable[None]]) -> Live:
    """Act on a box that listens on a port."""
    live, _ = started()

    async def serve() -> None:
        port = await live.open_socket(0)
        try:
            async with asyncio.timeout(20):
                await act(live, port)
        finally:
            live.close()

    asyncio.run(serve())
    return live


def is_untouched(live: Live) -> bool:
    return live.session.box.bench.get("lag_ms") != 99 and live.session.box.shelf.names() == ["kept"]


@contextlib.asynccontextmanager
async def peer(port: int) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    incoming, outgoing = await asyncio.open_connection("127.0.0.1", port)
    try:
        yield incoming, outgoing
    finally:
        outgoing.transport.abort()
        with contextlib.suppress(OSError):
            await outgoing.wait_closed()


async def told_all(live: Live, port: int, sent: bytes) -> bytes:
    """What a peer is told that sends this and waits for the end."""
    async with peer(port) as (incoming, outgoing):
        with contextlib.suppress(ConnectionError):
            outgoing.write(sent)
            await outgoing.drain()
            return await incoming.read()
    return b""


async def ask(live: Live, incoming, outgoing, method: str, id: int = 1, **params) -> dict:
    outgoing.write(line_of(live, method, id, **params))
    return json.loads((await incoming.readline())[:-10])


def commands(live: Live) -> bytes:
    """What changes a box and takes its card, each a message in order."""
    push(live.session, a_card(name="kept"))
    assert is_untouched(live)
    return line_of(live, "bench.set", values={"lag_ms": 99}) + line_of(live, "card.remove", 2, name="kept")


def test_a_web_page_cannot_work_the_box():
    """A page may post to any port of this computer; the lines of its text come after those of HTTP."""

    def post(port: int, text: bytes) -> None:
        asked = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        with contextlib.suppress(ConnectionError, http.client.RemoteDisconnected):
            asked.request("POST", "/", text, {"Content-Type": "text/plain", "Origin": "http://a.example"})
            pytest.fail(f"it was answered: {asked.getresponse().read()!r}")

    async def act(live: Live, port: int) -> None:
        text = commands(live)
        await asyncio.to_thread(post, port, text)
        await asyncio.to_thread(post, port, b"\n\n" + text)
        assert is_untouched(live)

    served(act)


@pytest.mark.parametrize(
    "first",
    [b"GET / HTTP/1.1\r\n", b"\n\n\r\n", b"x\n", b"{}\n", b"\x16\x03\x01\x02\x00\n", b" \n",
     b"y" * LINE_MAX + b"\n",
     frame(b"[]", crc32), frame(b'{"jsonrpc":"2.0","method":"hello"}', crc32),
     frame(b'{"jsonrpc":"2.0","id":1,"result":{}}', crc32)],
)  # fmt: skip
def test_who_does_not_begin_with_a_message_is_shown_the_door(first):
    async def act(live: Live, port: int) -> None:
        text = commands(live)
        assert await told_all(live, port, first + text) == b""
        assert is_untouched(live)

    served(act)


def test_a_first_line_without_an_end_is_not_waited_for(monkeypatch):
    async def act(live: Live, port: int) -> None:
        commands(live)
        assert await told_all(live, port, b"x" * (LINE_MAX + 1)) == b""
        monkeypatch.setattr(live_module, "FIRST_LINE_S", 0.05)
        for sent in (b"", b"\n", line_of(live, "hello")[:-1]):
            assert await told_all(live, port, sent) == b""
        assert is_untouched(live)

    served(act)


def test_a_tool_begins_with_an_empty_line_and_may_then_send_what_it_will(monkeypatch):
    async def act(live: Live, port: int) -> None:
        monkeypatch.setattr(live_module, "FIRST_LINE_S", 0.05)
        async with peer(port) as (incoming, outgoing):
            outgoing.write(b"\n")
            assert "result" in await ask(live, incoming, outgoing, "hello")
            await asyncio.sleep(0.1)
            outgoing.write(b"noise\n" + b"y" * 3 * LINE_MAX + b"\n")
            assert b"does not match" in await incoming.readline()
            assert b"over 2048 bytes" in await incoming.readline()
            assert "result" in await ask(live, incoming, outgoing, "state")

    served(act)


def inputs_of(live: Live) -> list[object]:
    """Every line that the box is given from now on."""
    seen: list[object] = []

    class Lines(Watcher):
        def input(self, now_ms: int, event: str, value: object) -> None:
            if event == "line":
                seen.append(value)

    live.session.watchers.append(Lines())
    return seen


NOTHING = frame(b'{"jsonrpc":"2.0","method":"hello"}', crc32)
"""A notification: it is not replied to, so that nothing but its turn holds up who sends it."""


def test_a_peer_that_floods_takes_no_others_turn():
    async def act(live: Live, port: int) -> None:
        async with peer(port) as (_, flood), peer(port) as (incoming, outgoing):
            await ask(live, incoming, outgoing, "hello")
            taken = inputs_of(live)
            flood.write(line_of(live, "hello") + NOTHING * 5000)
            while not taken:
                await asyncio.sleep(0)
            for id in range(20):
                before = len(taken)
                assert (await ask(live, incoming, outgoing, "state", id))["id"] == id
                assert len(taken) - before < 15
            assert len(taken) < 5000

    served(act)


def test_the_clock_has_its_turn_between_the_lines_of_a_flood():
    async def act(live: Live, port: int) -> None:
        taken = inputs_of(live)
        async with peer(port) as (_, flood):
            flood.write(line_of(live, "hello") + NOTHING * 3000)
            most = 0
            while len(taken) < 3000:
                before = len(taken)
                await asyncio.sleep(0)
                most = max(most, len(taken) - before)
            assert most == 1

    served(act)


def test_a_peer_that_does_not_read_is_not_read_from_and_others_are_answered():
    async def act(live: Live, port: int) -> None:
        taken = inputs_of(live)
        text = line_of(live, "hello") * 100
        with socket.socket() as deaf:
            deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            deaf.connect(("127.0.0.1", port))
            deaf.setblocking(False)
            sent = stood = 0
            while stood < 200:  # until nothing more is taken of it
                before = len(taken)
                with contextlib.suppress(BlockingIOError):
                    sent += deaf.send(text)
                await asyncio.sleep(0)
                stood = stood + 1 if len(taken) == before else 0
            assert 0 < len(taken) < sent / len(text) * 100
            async with peer(port) as (incoming, outgoing):
                assert "result" in await ask(live, incoming, outgoing, "hello")

    served(act)


def leave(port: int, live: Live, how: str) -> None:
    """Ask a lot, and go before a reply is read; `how` is "close" or "reset"."""
    with socket.create_connection(("127.0.0.1", port)) as tool:
        tool.sendall(line_of(live, "hello") * 400)
        if how == "reset":
            tool.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))


@pytest.mark.parametrize("how", ["close", "reset"])
def test_a_tool_that_leaves_early_leaves_nothing_behind(caplog, how):
    async def act(live: Live, port: int) -> None:
        faults: list[object] = []
        asyncio.get_running_loop().set_exception_handler(lambda _, context: faults.append(context))
        for _ in range(5):
            await asyncio.to_thread(leave, port, live, how)
        async with peer(port) as (incoming, outgoing):
            assert "result" in await ask(live, incoming, outgoing, "hello")
        await asyncio.sleep(0.05)
        assert faults == []

    served(act)
    assert caplog.records == []


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
def test_a_tool_that_leaves_a_serial_port_early_leaves_it_to_the_next(caplog):
    async def act(live: Live, port: int) -> None:
        path = await live.open_pty()
        assert path

        def tool() -> int:
            import tty

            mine = os.open(path, os.O_RDWR | os.O_NOCTTY)
            tty.setraw(mine)
            return mine

        early = await asyncio.to_thread(tool)
        os.set_blocking(early, False)
        with contextlib.suppress(BlockingIOError):
            for _ in range(400):
                os.write(early, line_of(live, "hello"))
                await asyncio.sleep(0)
        os.close(early)
        late = await asyncio.to_thread(tool)

        def asked() -> bytes:
            os.write(late, b"\n" + line_of(live, "state", 12345))
            found = b""
            while b'"id":12345' not in found:
                found += os.read(late, 4096)
            return found

        assert b"hello" in await asyncio.to_thread(asked)
        os.close(late)

    served(act)
    assert caplog.records == []


def test_noise_on_a_serial_port_is_put_up_with():
    async def act(live: Live, port: int) -> None:
        path = await live.open_pty()
        assert path
        tool = os.open(path, os.O_RDWR | os.O_NOCTTY)
        os.write(tool, b"AT+GMM\r\n\x00\x01" + b"y" * 3000 + b"\n" + line_of(live, "hello", 77))
        found = b""
        while b'"id":77' not in found:
            found += await asyncio.to_thread(os.read, tool, 4096)
        os.close(tool)

    served(act)
