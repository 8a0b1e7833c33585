"""Boxes that answer wrongly: newer, broken or hostile ones. Nothing they say is more than one line.

The true replies are a simulated box's. Each is spoiled in every place, and every command that reads it is
run.
"""

import copy
import hashlib
import json
from binascii import crc32
from pathlib import Path
from typing import Any

import pytest

from lampblack import cli
from lampblack.board import doctor, install
from lampblack.cards import card_file as cards
from lampblack.errors import CommandError
from lampblack.wire import box_client, replies
from lampblack.wire.asking import BoxError
from lampblack.wire.box_client import BoxClient
from tests.box_model import new_session
from tests.portable.fakes import board_health, crash_log, small_card
from tests.portable.papers import VC_2019
from tests.test_box_client import FakePort
from timing_core.canonical import encode
from timing_core.light.printing_map import PrintingMap
from timing_core.light.tray_sequence import default_sequence
from timing_core.wire.framing import LineReader, frame, unframe
from timing_core.wire.methods import METHODS

EXAMPLES = Path(cards.__file__).parent.parent / "examples"
CARD = EXAMPLES / "workroom.toml"


class TrueBox:
    """A simulated box with a card, a paper record, a tray sequence and two ledger records; gives its true
    result of any request, always the same."""

    def __init__(self) -> None:
        self.session = session = new_session(panel_ms=0)
        session.box.crash_lines = crash_log
        session.box.damage_lines = lambda: ["The settings are damaged: defaults are in force, lag 0 ms."]
        session.box.health = board_health
        session.box.shelf.keep_text("mill", PrintingMap.from_dict(small_card("mill")).text())
        session.box.papers.keep_text("vc-2019", encode(VC_2019))
        session.box.sequences.keep_text("rc", default_sequence("rc").text())
        long = small_card("long")
        long["passes"][0]["marks"] = [{"area": f"a stone, no. {n}", "stops120": 60 + n} for n in range(16)]
        long["passes"] *= 2
        for card in (small_card(), long):
            session.box.work.map = PrintingMap.from_dict(card)
            session.input("expose")
            while session.box.run.stages:
                session.input("expose")
                session.advance(session.now_ms + 60000)
        self._known: dict[str, dict] = {}

    def reply(self, method: str, params: dict) -> dict:
        key = method if method == "clock.set" else json.dumps([method, params])
        if key not in self._known:
            changed = {
                # What changes the box is answered as it would, so that the box stays as it is.
                "card.part": {"missing": []},
                "card.commit": {"name": "workroom", "digest": params.get("digest")},
                "card.remove": {"removed": True},
                "handover": {"ok": True},
            }
            if method in changed:
                self._known[key] = {"result": changed[method]}
            else:
                sent: list[bytes] = []
                self.session.send = sent.append
                message = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
                self.session.input("line", frame(encode(message), crc32)[:-1])
                self._known[key] = json.loads(unframe(sent[-1][:-1], crc32))
        return self._known[key]


TRUE = TrueBox()


class SpoiledPort:
    """A port to the true box; `spoil(method, reply)` gives what arrives of a reply's result or error."""

    def __init__(self, spoil) -> None:
        self._spoil = spoil
        self._reader = LineReader()
        self._in_pc = b""
        self.asked: list[tuple[str, dict]] = []
        self.timeout = None

    def write(self, data: bytes) -> None:
        self._reader.feed(data)
        while (line := self._reader.next_line()) is not None:
            if line:
                request = json.loads(unframe(line, crc32))
                method, params = request["method"], request["params"]
                self.asked.append((method, params))
                reply = self._spoil(method, copy.deepcopy(TRUE.reply(method, params)))
                answer = {"id": request["id"], "jsonrpc": "2.0"}
                answer |= {key: reply[key] for key in ("result", "error") if key in reply}
                self._in_pc += frame(json.dumps(answer).encode(), crc32)
        assert len(self.asked) < 5000, "it asks without end"

    @property
    def in_waiting(self) -> int:
        return len(self._in_pc)

    def read(self, size: int) -> bytes:
        data, self._in_pc = self._in_pc[:size], self._in_pc[size:]
        return data

    def close(self) -> None:
        pass


@pytest.fixture
def run(monkeypatch, capsys):
    """Runs a command at a port whose replies are spoiled: exit code, stdout, stderr."""
    monkeypatch.delenv("LAMPBLACK_PORT", raising=False)

    class NoBoard:
        def __init__(self, *_: object, **__: object) -> None:
            raise CommandError("Nothing is installed: this is no board. Use one.")

    monkeypatch.setattr(install, "Prompt", NoBoard)
    monkeypatch.setattr(install, "firmware_files", dict)

    def call(arguments: list[str], spoil) -> tuple[int, str, str]:
        port = SpoiledPort(spoil)
        for module in (box_client, doctor):
            monkeypatch.setattr(module, "open_port", lambda *_: port)
        code = cli.run([*arguments, "--port", "a port"])
        return (code, *capsys.readouterr())

    return call


COMMANDS = {
    "hello": [["state"], ["doctor"], ["install"]],
    "clock.set": [["shelf"]],
    "state": [["state"], ["doctor"], ["install"]],
    "health": [["doctor"], ["install"]],
    "card.list": [["shelf"], ["push", str(CARD)], ["drop", "mill"], ["paper", "list"], ["trays", "list"]],
    "card.part": [["push", str(CARD)]],
    "card.commit": [["push", str(CARD)]],
    "card.fetch": [["pull", "mill"], ["paper", "pull", "vc-2019"], ["trays", "pull", "rc"]],
    "card.remove": [["drop", "mill"], ["paper", "remove", "vc-2019"]],
    "bench.get": [["bench", "get"], ["plan", str(CARD)]],
    "bench.set": [["bench", "set", "lag_ms=120", "filters=1, 2"]],
    "ledger.read": [["ledger", "box"], ["ledger", "box", "--csv"], ["ledger", "pull"]],
    "ledger.fetch": [["ledger", "box"]],
    "crash.read": [["doctor"]],
    "damage.read": [["doctor"]],
    "handover": [["install"]],
}  # fmt: skip
WRONG = [
    None, True, 1.5, "\ud800\x1b[2J\n\u202e", {}, "x" * 600, -1, 10**30, [None], {"x": 1},
]  # fmt: skip
FEW = 5
"""So many of them are tried with a second command that reads the same reply, and with a third."""
GONE = object()
MAY_BE_NULL = {"at", "up_s", "map", "strip", "lag_ms"}
MAY_BE_GONE = {"papers_max", "sequences_max", "kept", "fault", "faults", *board_health()}


def test_every_method_that_a_tool_uses_is_spoiled():
    # `accept` asks a person between any two of its messages: tests/test_accept.py has it told wrong things.
    by_accept = {"fitted.get", "fitted.set", "accept.count", "accept.show", "accept.read"}
    no_command = {"card.verify"} | by_accept
    assert set(COMMANDS) | no_command == set(METHODS) == set(replies.REPLIES)


def places(value: Any, way: tuple = ()) -> list[tuple]:
    found = [way]
    rows = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for step, inner in rows:
        found += places(inner, (*way, step))
    return found


def at(value: Any, way: tuple) -> Any:
    for step in way:
        value = value[step]
    return value


def put(value: Any, way: tuple, new: object) -> Any:
    if not way:
        return new
    inner = at(value, way[:-1])
    if new is GONE:
        del inner[way[-1]]
    else:
        inner[way[-1]] = new
    return value


def says_it_is_wrong(arguments: list[str], outcome: tuple[int, str, str], method: str) -> bool:
    code, out, err = outcome
    said = out if arguments == ["doctor"] else err
    return code == 1 and f"The box at a port answers {method} wrongly: " in said


def check_it_is_quiet(arguments: list[str], outcome: tuple[int, str, str]) -> None:
    """No control reaches a terminal, and what is wrong is one line. No exception has come so far."""
    code, out, err = outcome
    assert code in (0, 1)
    assert not [sign for sign in out + err if sign != "\n" and not (sign.isprintable() or sign == "\xa0")]
    if code == 1 and arguments != ["doctor"]:
        assert err.count("\n") == 1, err
        assert err.rstrip().endswith((".", "?"))


def true_results(arguments: list[str], method: str, run) -> list[dict]:
    """What the box truly answers to `method` where the command is run."""
    seen: list[dict] = []

    def look(own: str, reply: dict) -> dict:
        if own == method and reply["result"] not in seen:
            seen.append(copy.deepcopy(reply["result"]))
        return reply

    run(arguments, look)
    return seen


@pytest.mark.parametrize("method", COMMANDS)
def test_a_reply_that_is_wrong_in_one_place_is_one_line(method, run):
    """Every key removed, and every value replaced by each of WRONG, in every reply that a command reads."""
    spoiled = 0
    for count, arguments in enumerate(COMMANDS[method]):
        wrong = WRONG[:FEW] if count else WRONG
        for true in true_results(arguments, method, run):
            for way in places(true):
                # A place in a list is tried in its first row alone.
                if any(isinstance(step, int) and step for step in way):
                    continue
                is_key = way and isinstance(way[-1], str)
                for new in [*wrong, *([GONE] if is_key else [])]:

                    def spoil(own, reply, true=true, way=way, new=new):
                        if own == method and reply["result"] == true:
                            return {"result": put(reply["result"], way, new)}
                        return reply

                    outcome = run(arguments, spoil)
                    check_it_is_quiet(arguments, outcome)
                    spoiled += 1
                    if is_wrong_for_certain(method, at(true, way), way, new):
                        assert says_it_is_wrong(arguments, outcome, method), (way, new, outcome)
    assert spoiled > 10


def is_wrong_for_certain(method: str, true: object, way: tuple, new: object) -> bool:
    """A value of another type is wrong, and so is a key that is gone, but for those that may be."""
    key = way[-1] if way else ""
    if new is GONE:
        # A card may lack any of its facts, and an older box a setting.
        return key not in MAY_BE_GONE and not {"facts", "values"} & set(way[:-1])
    if new is None and key in MAY_BE_NULL:
        return False
    return type(new) is not type(true) and true is not None


def test_the_true_replies_are_taken(run):
    for method, calls in COMMANDS.items():
        for arguments in calls:
            code, out, err = run(arguments, lambda own, reply: reply)
            assert code == (1 if arguments[0] in ("doctor", "install") else 0), (method, arguments, err)
            assert "wrongly" not in out + err


def test_a_record_of_any_run_is_taken():
    """Records have nulls where a strip follows the map, or is for no area, and where no time was told."""
    session = new_session(panel_ms=0)
    box = session.box
    box.work.map = PrintingMap.from_dict(small_card())
    box.clock.tell(20000, 1)
    for area, origin_ms in ((None, None), (0, None), (None, 4000), (0, 4000)):
        box.work.strip.mark_index, box.work.strip.origin_ms = area, origin_ms
        box.work.changed()
        box.panel.show("strip")
        session.input("expose")
        while box.run.stages:
            session.input("expose")
            session.advance(session.now_ms + 60000)
        session.input("back")
    records = box.ledger.read()
    assert [record["kind"] for record in records] == ["strip"] * 4
    assert [replies.RECORD(record) for record in records] == records
    assert replies.checked("state", box.summary()) == box.summary()


def test_a_newer_box_may_say_more(run):
    """Keys that this version does not know are passed over, wherever they are, and whatever they hold."""

    def more(value: Any) -> Any:
        if isinstance(value, list):
            return [more(inner) for inner in value]
        if isinstance(value, dict):
            own = {key: inner if key == "map" else more(inner) for key, inner in value.items()}
            return own | {"new": [[[{"deep": 1.5}]]]}
        return value

    def spoil(method: str, reply: dict) -> dict:
        return reply if method == "ledger.read" else {"result": more(reply["result"])}

    for calls in COMMANDS.values():
        for arguments in calls:
            code, out, err = run(arguments, spoil)
            assert code == (1 if arguments[0] in ("doctor", "install") else 0), (arguments, err)
            assert "wrongly" not in out + err
            assert "deep" not in out


# --- lists that do not end


def listing(key: str, item) -> Any:
    """A list that always has more: `item(count)` is the next."""
    count = 0

    def spoil(method: str, reply: dict) -> dict:
        nonlocal count
        if key not in reply["result"]:
            return reply
        count += 1
        return {"result": reply["result"] | {key: item(count), "more": True}}

    return spoil


DIGEST = "0" * 64
RECORD = {
    "form": 2, "box": "", "kind": "print", "map": None, "strip": None, "whole": True, "cut_off": "",
    "up_s": None, "at": None, "dry_down_pm": 0, "stages": [],
}  # fmt: skip


@pytest.mark.parametrize(
    ("arguments", "key", "item"),
    [
        (["shelf"], "cards", lambda count: []),
        (["shelf"], "cards", lambda count: [{"name": "mill", "title": "", "digest": DIGEST}]),
        (["shelf"], "cards", lambda count: [{"name": f"z{-count % 90:02}", "title": "", "digest": DIGEST}]),
        (["shelf"], "cards", lambda count: [{"name": f"z{count:09}", "title": "", "digest": DIGEST}]),
        (["ledger", "box"], "records", lambda count: []),
        (["ledger", "box"], "records", lambda count: [RECORD | {"n": 1}]),
        (["ledger", "box"], "records", lambda count: [RECORD | {"n": count}]),
        (["ledger", "box"], "records", lambda count: [{"n": 7, "of": 10**9}]),
        (["doctor"], "lines", lambda count: []),
        (["doctor"], "lines", lambda count: ["and on"]),
    ],
)
def test_a_list_without_an_end_is_given_up(arguments, key, item, run):
    code, out, err = run(arguments, listing(key, item))
    assert code == 1
    assert " wrongly: " in (out if arguments == ["doctor"] else err)


# --- texts in pieces


@pytest.mark.parametrize(
    "text",
    ["", "null", "[" * 1700, "9" * 1500, "{}", '{"name":"mill"}', "\ud800", '"\\ud800"', "NaN", "1e999"],
)
@pytest.mark.parametrize("method", ["card.fetch", "ledger.fetch"])
def test_a_text_that_is_no_card_and_no_record(method, text, run):
    def spoil(own: str, reply: dict) -> dict:
        if own != method:
            return reply
        digest = {"digest": hashlib.sha256(text.encode(errors="replace")).hexdigest()}
        return {"result": reply["result"] | {"text": text} | (digest if method == "card.fetch" else {})}

    arguments = COMMANDS[method][0]
    code, out, err = run(arguments, spoil)
    assert (code, out, err.count("\n")) == (1, "", 1)


def test_a_card_passes_the_core_before_it_is_written(run, tmp_path):
    card = small_card("mill")
    ways = [way for way in places(card) if way]
    out = tmp_path / "mill.toml"
    for way in ways:
        for new in [*WRONG, *([GONE] if isinstance(way[-1], str) else [])]:
            text = json.dumps(put(copy.deepcopy(card), way, new))

            def spoil(own: str, reply: dict, text=text) -> dict:
                if own != "card.fetch":
                    return reply
                digest = hashlib.sha256(text.encode()).hexdigest()
                return {"result": {"of": 1, "part": 0, "text": text, "digest": digest}}

            outcome = run(["pull", "mill", "--force", "--out", str(out)], spoil)
            check_it_is_quiet(["pull"], outcome)
            if outcome[0] == 0:
                assert cards.load(out)["name"] == "mill"
            else:
                assert "The box at a port answers card.fetch wrongly: " in outcome[2]


# --- errors, and the message round them


@pytest.mark.parametrize(
    "error",
    [*WRONG, {"code": "2", "message": "No."}, {"code": 2}, {"message": "No."}, {"code": True, "message": ""},
     {"code": 2, "message": ["No."]}],
)  # fmt: skip
def test_an_error_of_the_wrong_shape(error, run):
    outcome = run(["shelf"], lambda own, reply: {"error": error} if own == "card.list" else reply)
    check_it_is_quiet(["shelf"], outcome)
    assert says_it_is_wrong(["shelf"], outcome, "card.list")


def test_a_hostile_message_is_printed_as_one_plain_line(run):
    error = {"code": 2, "message": "No\n\x1b]0;x\x07\x9b2J\u202e this."}
    code, out, err = run(["shelf"], lambda own, reply: {"error": error} if own == "card.list" else reply)
    assert (code, out, err) == (1, "", "No  ]0;x  2J  this.\n")


@pytest.mark.parametrize("id", [None, True, 1.0, "1", [1], {"id": 1}, -1, 10**30])
def test_a_reply_to_nothing_that_was_asked_is_noise(id):
    """`True` and `1.0` equal 1 in Python; neither is the id 1."""

    class Noisy(FakePort):
        def write(self, data):
            super().write(data)
            line = {"jsonrpc": "2.0", "id": id, "result": {"box": "no box"}}
            self._in_pc = frame(json.dumps(line).encode(), crc32) + self._in_pc

    port = Noisy(TRUE.session.box)
    with BoxClient("a box", 2.0, transport=port, clock=port.clock) as client:
        assert client.about["box"] == "lampblack"


def test_an_identity_of_a_megabyte_is_no_answer():
    port = FakePort(TRUE.session.box)
    port.link.box.identity, kept = "x" * (1 << 20), port.link.box.identity
    try:
        with pytest.raises(BoxError) as caught:
            BoxClient("a box", 2.0, transport=port, clock=port.clock)
    finally:
        port.link.box.identity = kept
    assert "\n" not in str(caught.value)


def test_another_wire_may_have_other_shapes():
    """Only hello and handover are the same in all: `lampblack install` must reach such a box."""
    port = SpoiledPort(
        lambda own, reply: {"result": reply["result"] | {"wire": 2}} if own == "hello" else {"result": {}}
    )
    with BoxClient("a box", 2.0, transport=port, any_wire=True) as client:
        assert client.state() == {}
        assert ("clock.set" in [method for method, _ in port.asked]) is False
