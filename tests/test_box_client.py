"""The PC's end of the wire: on a port that loses, spoils and doubles lines, and on real ports."""

import os
import random
import socket
import threading
from binascii import crc32

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lampblack.wire import box_client
from lampblack.wire.asking import WINDOW
from lampblack.wire.box_client import BoxClient, BoxError, ports
from lampblack.wire.push import requests_for
from tests.portable.fakes import crash_log, documented_box, large_card, platform, scrambled, small_card
from timing_core.canonical import encode
from timing_core.wire import methods as link
from timing_core.wire.framing import LineReader, frame
from timing_core.wire.methods import Link

TIMEOUT_S = 2.0


class FakePort:
    """A port with a box on its other end. `spoil(count, line)` gives what arrives of line number `count`,
    counted over both directions. Reading when there is nothing takes 50 ms of the port's own clock.
    """

    def __init__(self, box, spoil=lambda count, line: line):
        self.link = Link(box, platform)
        self.spoil = spoil
        self.now_s = 0.0
        self.count = 0
        self.closed = False
        self._in_box = LineReader()
        self._in_pc = b""

    def clock(self):
        return self.now_s

    def _carried(self, line):
        self.count += 1
        return self.spoil(self.count - 1, line)

    def write(self, data):
        for line in data.splitlines(keepends=True):
            self._in_box.feed(line if line == b"\n" else self._carried(line))
            while (whole := self._in_box.next_line()) is not None:
                reply = self.link.take(whole)
                if reply is not None:
                    self._in_pc += self._carried(reply)

    @property
    def in_waiting(self):
        return len(self._in_pc)

    def read(self, size):
        if not self._in_pc:
            self.now_s += 0.05
        data, self._in_pc = self._in_pc[:size], self._in_pc[size:]
        return data

    def close(self):
        self.closed = True


def client_of(port):
    return BoxClient("a box", TIMEOUT_S, transport=port, clock=port.clock)


def error_of(act):
    """The one plain line of the BoxError that `act` raises."""
    with pytest.raises(BoxError) as caught:
        act()
    line = str(caught.value)
    assert "\n" not in line
    assert ": " in line
    assert line.endswith(".")
    return caught.value


# --- the whole job


def use_large_card(box, client):
    """A card in many parts, there and back; what was given back."""
    return [client.push(large_card()), client.pull("n" * 24) == large_card()]


def check_large_card(box, given_back):
    check_pushed(box, large_card(), given_back[0])
    assert given_back[1] is True


def use_small_card(box, client):
    """Every method for cards, but for removal, and what tells boxes apart."""
    return [
        client.push(small_card()),
        [card["name"] for card in client.cards()] == box.shelf.names(),
        client.pull("harbour") == small_card(),
        client.hello() == client.about,
    ]


def check_small_card(box, given_back):
    check_pushed(box, small_card(), given_back[0])
    assert given_back[1:] == [True, True, True]


def check_pushed(box, card, made):
    assert made == {"name": card["name"], "digest": box.shelf.digest(card["name"])}
    assert box.shelf.card(card["name"]) == card


def use_ledger(box, client):
    return [
        [(record["n"], len(record["stages"])) for record in client.ledger()],
        [record["n"] for record in client.ledger(after=1)],
    ]


def check_ledger(box, given_back):
    assert given_back == [[(1, 1), (2, 23)], [2]]


def use_the_rest(box, client):
    """Every other method once."""
    return [
        client.bench_set({"lag_ms": 150})["lag_ms"],
        client.bench_get() == box.bench.to_dict(),
        client.crashes(),
        client.state()["state"],
        client.hello() == client.about,
    ]


def check_the_rest(box, given_back):
    assert given_back == [150, True, crash_log(), "browse", True]


WORK = {
    "a large card": (use_large_card, check_large_card, 1),
    "a small card": (use_small_card, check_small_card, 1),
    "the ledger": (use_ledger, check_ledger, 0),
    "the rest": (use_the_rest, check_the_rest, 0),
}
"""What is used, what must have come of it, and how often the box writes. None knows of another."""


def use_everything(box, client):
    return [use(box, client) for use, _, _ in WORK.values()]


def check_everything(box, given_back):
    for (_, check, _), found in zip(WORK.values(), given_back, strict=True):
        check(box, found)
    assert box.shelf.names() == ["harbour", "mill", "n" * 24]


def test_every_method_does_what_it_says():
    box = documented_box()
    port = FakePort(box)
    with client_of(port) as client:
        check_everything(box, use_everything(box, client))
        assert client.remove("mill") is True
        assert client.remove("mill") is False
        client.handover()
    assert box.handed_over == 1
    assert box.shelf.names() == ["harbour", "n" * 24]
    assert port.closed
    assert port.now_s == 0


# --- a bad wire

SPOILS = {
    "lost": lambda line: b"",
    "spoiled": lambda line: line[:9] + b"?" + line[10:],
    "cut in half": lambda line: line[: len(line) // 2],
    "without its newline": lambda line: line[:-1],
    "twice": lambda line: line * 2,
    "after chatter": lambda line: b"MPY: soft reboot\r\n>>> \n" + line,
    "stuck to chatter": lambda line: b">>> " + line,
    "after 100 KB of noise": lambda line: b"\x55" * 100_000 + b"\n" + line,
}


@pytest.mark.parametrize("how", SPOILS)
@pytest.mark.parametrize("work", WORK)
def test_any_one_line_may_go_wrong(work, how):
    """In each part of the work by itself, so that what is done over for every line is little."""
    use, check, writes = WORK[work]
    counting = FakePort(documented_box())
    with client_of(counting) as client:
        use(counting.link.box, client)
    assert counting.count > 10
    for spoiled in range(counting.count):
        box = documented_box()
        port = FakePort(box, lambda count, line, at=spoiled: SPOILS[how](line) if count == at else line)
        before = box.disk.writes
        with client_of(port) as client:
            check(box, use(box, client))
        assert box.disk.writes == before + writes


@settings(deadline=None, max_examples=60)
@given(st.lists(st.sampled_from(["right"] * 3 + sorted(SPOILS)), min_size=1, max_size=80))
def test_many_lines_may_go_wrong_and_nothing_is_half_done(how):
    ways = {"right": lambda line: line, **SPOILS}
    box = documented_box()
    port = FakePort(box, lambda count, line: ways[how[count % len(how)]](line))
    given_up = ""
    try:
        with client_of(port) as client:
            client.push(large_card())
            assert client.pull("n" * 24) == large_card()
    except BoxError as error:
        given_up = str(error)
    assert given_up == "" or given_up.startswith("No answer from a box: ")
    assert box.shelf.names() in (["mill"], ["mill", "n" * 24])
    assert box.shelf.card("n" * 24) in (None, large_card())


def test_a_late_reply_is_not_taken_for_another():
    late = []

    def hold_back(count, line):
        # The first reply to anything but hello is kept until the next line comes by.
        if b'"result"' in line and b'"box"' not in line and not late:
            late.append(line)
            return b""
        return line if len(late) != 1 or late.append(b"") else line + late[0]

    box = documented_box()
    with client_of(FakePort(box, hold_back)) as client:
        assert client.state()["state"] == "browse"
        assert [card["name"] for card in client.cards()] == ["mill"]
        assert client.bench_get() == box.bench.to_dict()


def test_a_silent_port_is_given_up_in_time():
    port = FakePort(documented_box(), lambda count, line: b"")
    error = error_of(lambda: client_of(port))
    assert str(error).startswith("No answer from a box: ")
    assert TIMEOUT_S <= port.now_s < TIMEOUT_S + 1
    assert port.closed


def test_a_port_that_only_chatters_is_given_up_in_time():
    port = FakePort(documented_box(), lambda count, line: b"")
    read = port.read

    def chatter(size):
        read(0)
        return b"ets Jul 29 rst:0x1\r\n"

    port.read = chatter
    assert str(error_of(lambda: client_of(port))).startswith("No answer from a box: ")
    assert port.now_s < TIMEOUT_S + 1


def test_a_lost_connection_is_one_line():
    port = FakePort(documented_box())
    client = client_of(port)

    def pulled(*_):
        raise OSError(5, "Input/output error")

    for broken in ("read", "write"):
        setattr(port, broken, pulled)
        assert str(error_of(client.state)) == (
            "The connection to a box is lost: Input/output error. Check the cable and try again."
        )
        del port.__dict__[broken]


# --- refusals


def test_a_lit_box_asks_for_patience():
    box = documented_box()
    client = client_of(FakePort(box))
    box.lit = True
    error = error_of(lambda: client.push(small_card()))
    assert (error.code, error.retry) == (1, True)
    assert str(error) == "Nothing is changed: light is on, or about to be. Try again when dark."
    box.lit = False
    assert client.push(small_card())["name"] == "harbour"


def test_refusals_of_the_box_are_passed_on():
    box = documented_box()
    client = client_of(FakePort(box))
    for act in (
        lambda: client.pull("nowhere"),
        lambda: client.bench_set({"lag_ms": 99999}),
        lambda: client.bench_set({"nothing": 1}),
    ):
        error = error_of(act)
        assert (error.code, error.retry) == (2, False)
    box.disk.room = 0
    assert error_of(lambda: client.push(small_card())).code == 3
    assert box.shelf.names() == ["mill"]


def test_what_cannot_be_sent_is_not():
    port = FakePort(documented_box())
    client = client_of(port)
    before = port.count
    card = small_card()
    card["passes"] = []
    assert "passes" in str(error_of(lambda: client.push(card)))
    assert "takes 21" in str(error_of(lambda: client.bench_set({"lamp": "x" * 2080})))
    assert port.count == before


def test_another_version_of_the_wire_is_not_used(monkeypatch):
    monkeypatch.setattr(link, "WIRE", 2)
    port = FakePort(documented_box())
    assert str(error_of(lambda: client_of(port))) == (
        "The box at a box is not used: it speaks wire 2 and this tool wire 1. "
        "Give box and PC the same version."
    )
    assert port.closed


def test_another_version_of_the_wire_may_be_asked_for(monkeypatch):
    monkeypatch.setattr(link, "WIRE", 2)
    box = documented_box()
    port = FakePort(box)
    with BoxClient("a box", TIMEOUT_S, transport=port, clock=port.clock, any_wire=True) as client:
        assert client.about["wire"] == 2
        client.handover()
    assert box.handed_over == 1


def test_a_long_crash_log_comes_in_pages():
    box = documented_box()
    box.crash_lines = lambda: ["line %d " % number + "é" * 200 for number in range(40)]
    assert client_of(FakePort(box)).crashes() == box.crash_lines()


def test_a_card_that_changes_while_it_is_pulled_is_not_mixed():
    box = documented_box()
    client = client_of(FakePort(box))
    client.push(large_card())

    def change(done, of):
        if done == 1:
            changed = large_card()
            changed["title"] = "f" * 40
            client_of(FakePort(box)).push(changed)

    assert "it changed meanwhile" in str(error_of(lambda: client.pull("n" * 24, change)))


# --- several tools on one box


class Turns:
    """Virtual time for threads: of those that wait, the one whose time comes first goes on, alone."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self._waiting: dict[int, float] = {}
        self._turn = threading.Condition()
        self._whose = -1

    def wait(self, who: int, seconds: float) -> None:
        with self._turn:
            self._waiting[who] = self.now_s + seconds
            self._next()
            while self._whose != who:
                assert self._turn.wait(60), "nobody goes on"

    def _next(self) -> None:
        if self._waiting:
            self._whose = min(self._waiting, key=lambda who: (self._waiting[who], who))
            self.now_s = self._waiting.pop(self._whose)
            self._turn.notify_all()

    def run(self, tasks) -> list:
        """What each task gives, or raises; a task is called with its own `wait(seconds)`."""
        results: list = [None] * len(tasks)
        self._waiting = dict.fromkeys(range(len(tasks)), 0.0)

        def go(who: int) -> None:
            with self._turn:
                while self._whose != who:
                    assert self._turn.wait(60), "nobody begins"
            try:
                results[who] = tasks[who](lambda seconds: self.wait(who, seconds))
            except BoxError as error:
                results[who] = error
            with self._turn:
                self._next()

        threads = [threading.Thread(target=go, args=(who,)) for who in range(len(tasks))]
        for thread in threads:
            thread.start()
        with self._turn:
            self._next()
        for thread in threads:
            thread.join()
        return results


def test_many_pushes_at_once_all_arrive():
    """In the worst order: after each line of a tool, every other one sends a line."""
    random.seed(1)
    box = documented_box()
    shared, turns = Link(box, platform), Turns()
    signs = "".join(map(chr, range(0x4E00, 0x9FFF)))
    cards = [scrambled(large_card(), signs) | {"name": f"card-{n}"} for n in range(6)]
    cards += [small_card(f"small-{n}") for n in range(30)]

    def pushing(card):
        def push(wait):
            port = FakePort(box)
            port.link = shared
            write = port.write

            def in_turn(data):
                write(data)
                wait(0.01)

            port.write = in_turn
            with BoxClient("a box", 60.0, transport=port, clock=lambda: turns.now_s, sleep=wait) as client:
                return client.push(card)["name"]

        return push

    assert turns.run([pushing(card) for card in cards]) == [card["name"] for card in cards]
    for card in cards:
        assert box.shelf.card(card["name"]) == card


def test_a_push_that_never_comes_through_is_given_up():
    box = documented_box()
    slept = []

    def other_first(count, line):
        if b'"card.commit"' in line and b'"id"' in line:
            port.link.take(frame(encode(part_of_another), crc32)[:-1])
        return line

    another = requests_for(small_card("mill"))[0]
    part_of_another = {"jsonrpc": "2.0", "id": 1, "method": another[0], "params": another[1]}
    port = FakePort(box, other_first)
    client = BoxClient("a box", TIMEOUT_S, transport=port, clock=port.clock, sleep=slept.append)
    line = str(error_of(lambda: client.push(small_card())))
    assert line == (
        "harbour is not pushed: other tools push to a box all the time, and a box takes one card at a time. "
        "Try again when they have done."
    )
    assert len(slept) == box_client.PUSH_TRIES
    assert max(slept) <= box_client.PUSH_WAIT_MAX_S
    port.spoil = lambda count, line: line
    assert client.push(small_card())["name"] == "harbour"


def test_progress_goes_to_its_end():
    client = client_of(FakePort(documented_box()))
    told = []
    card = scrambled(large_card(), "".join(map(chr, range(0x4E00, 0x9FFF))))
    client.push(card, lambda done, of: told.append((done, of)))
    assert told == sorted(told)
    assert told[-1][0] == told[-1][1] > WINDOW + 2
    assert len({of for _, of in told}) == 1
    told.clear()
    assert client.pull("n" * 24, lambda done, of: told.append((done, of))) == card
    of = told[-1][1]
    assert (told[0], told[-1]) == ((1, of), (of, of))


# --- real ports


def serve(box, receive, send):
    """A box on a stream of bytes, until the other end goes away. `receive(n)` waits for up to n bytes."""
    end = Link(box, platform)
    reader = LineReader()
    while True:
        try:
            data = receive(4096)
        except OSError:
            return
        if not data:
            return
        reader.feed(data)
        while (line := reader.next_line()) is not None:
            reply = end.take(line)
            if reply is not None:
                send(reply)


@pytest.fixture
def box_on_a_socket():
    """(box, URL): a box that one tool after another may talk to."""
    box = documented_box()
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def accept():
            while True:
                try:
                    connection = listener.accept()[0]
                except OSError:
                    return
                serve(box, connection.recv, connection.sendall)
                connection.close()

        thread = threading.Thread(target=accept, daemon=True)
        thread.start()
        yield box, "socket://127.0.0.1:%d" % listener.getsockname()[1]
        listener.shutdown(socket.SHUT_RDWR)
    thread.join(5)


def test_tools_come_and_go_on_a_socket(box_on_a_socket):
    box, url = box_on_a_socket
    with BoxClient(url) as client:
        check_everything(box, use_everything(box, client))
    with BoxClient(url) as client:
        assert client.remove("mill") is True


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="this system has no pseudo terminals")
def test_a_terminal_is_a_port_and_is_not_shared():
    import tty

    box = documented_box()
    box_end, pc_end = os.openpty()
    tty.setraw(pc_end)
    url = os.ttyname(pc_end)
    thread = threading.Thread(
        target=serve,
        args=(box, lambda size: os.read(box_end, size), lambda data: os.write(box_end, data)),
        daemon=True,
    )
    thread.start()
    try:
        with BoxClient(url) as client:
            assert str(error_of(lambda: BoxClient(url))).startswith(f"{url} does not open: ")
            check_everything(box, use_everything(box, client))
    finally:
        os.close(pc_end)
        thread.join(5)
        os.close(box_end)


@pytest.mark.parametrize(
    "url", ["/dev/no-such-port", "COM999x", "socket://127.0.0.1:1", "nonsense://box", ""]
)
def test_a_port_that_is_not_there_is_one_line(url):
    line = str(error_of(lambda: BoxClient(url)))
    assert line.startswith(f"{url} does not open: ")
    assert "lampblack ports" in line


def test_ports_are_told_by_name(monkeypatch):
    class Found:
        def __init__(self, device, description, vid=None, pid=None):
            self.device, self.description, self.vid, self.pid = device, description, vid, pid

    found = [
        Found("/dev/ttyS0", "n/a"),
        Found("/dev/ttyACM0", "Board in FS mode", 0x2E8A, 0x0005),
        Found("/dev/ttyS1", None),
    ]
    monkeypatch.setattr(box_client.list_ports, "comports", lambda: found)
    assert ports() == [
        ("/dev/ttyACM0", "Board in FS mode", (0x2E8A, 0x0005)),
        ("/dev/ttyS0", "unknown", None),
        ("/dev/ttyS1", "unknown", None),
    ]
    monkeypatch.undo()
    assert all(isinstance(port.url, str) for port in ports())
