"""Hostile lines on the wire: noise, halves, splices, flipped bits, valid lines of any method and any values.

What must live here: how such lines are made, and what must hold whatever comes: no light, nothing changed but
by a whole line with a right check, an answer to each line in one line or none, the lamp's end where it was.
"""

from __future__ import annotations

import json
import random
from collections import Counter
from typing import Any
from zlib import crc32

from host_sim.box.platform import desk_platform
from tests.box_model import a_card, card_lines, keys, load, new_session, wait, wire_line
from timing_core.wire.methods import METHODS

KIT = desk_platform()
LINES = 400
CARD = a_card(("face", -60), ("sky", 40), base_ms=60_000)
VALUES: list[Any] = [
    None, True, 0, -1, 1 << 40, 1.5, "", "x" * 300, "harbour", [], [1], {}, {"a": 1}, "\x00", "é", "lag_ms",
]  # fmt: skip
KEYS = (
    "name",
    "part",
    "of",
    "data",
    "digest",
    "values",
    "after",
    "n",
    "on",
    "day",
    "second",
    "kind",
    "picture",
)
STATES = ("browse", "exposing", "held", "viewing")


def valid_lines(chance: random.Random) -> bytes:
    method = chance.choice([own for own in METHODS if own != "handover"])
    if chance.random() < 0.3:
        method, params = chance.choice(card_lines(CARD))
    else:
        params = {chance.choice(KEYS): chance.choice(VALUES) for _ in range(chance.randrange(4))}
    return wire_line(KIT, method, params, chance.choice((1, "a", None, [1], 1 << 60)))


def spoiled(chance: random.Random, line: bytes) -> bytes:
    """A line that is not what was sent any more, or is no line at all."""
    match chance.randrange(7):
        case 0:
            return bytes(chance.randrange(256) for _ in range(chance.randrange(300)))
        case 1:
            return line[: chance.randrange(len(line))]
        case 2:
            at = chance.randrange(len(line))
            return line[:at] + bytes([line[at] ^ (1 << chance.randrange(8))]) + line[at + 1 :]
        case 3:
            return line + line
        case 4:
            return line * chance.choice((10, 40))
        case 5:  # a right check over what is no request
            payload = chance.choice(
                (b"{}", b"[]", b"1", b'"x"', b"[" * 200, b'{"jsonrpc":"2.0"}', b"\xff\xfe")
            )
            return payload + b" %08x" % crc32(payload)
        case _:
            return line[chance.randrange(len(line)) :] + line


def play(chance: random.Random, count: Counter[str]) -> None:
    session = new_session()
    load(session, CARD)
    state = chance.choice(STATES)
    if state == "viewing":
        keys(session, "lamp")
    elif state != "browse":
        keys(session, "expose", "expose")
        if state == "held":
            wait(session, 2000)
            keys(session, "expose")
    box = session.box
    ends_ms, map_text, run_at = session.lamp.ends_ms, box.work.map.text(), box.run.at
    replies: list[bytes] = []
    session.send = replies.append
    for _ in range(LINES):
        line = valid_lines(chance)
        is_whole = chance.random() < 0.4
        if not is_whole:
            line = spoiled(chance, line)
        replies.clear()
        shelf = {name: box.shelf.digest(name) for name in box.shelf.names()}
        bench = box.bench.to_dict()
        session.input("line", line.replace(b"\n", b""))
        count["hostile lines" if not is_whole else "valid lines"] += 1
        assert session.lamp.ends_ms == ends_ms, "a line has changed the light"
        assert box.work.map.text() == map_text, "a line has changed the map at work"
        assert box.run.at == run_at, "a line has moved the run"
        assert len(replies) <= 1, "two answers to one line"
        result = None
        if replies:
            payload, check = replies[0][:-10], replies[0][-9:-1]
            assert b"%08x" % crc32(payload) == check, "an answer with a wrong check"
            answer = json.loads(payload)
            result = answer.get("result")
            assert answer.get("error", {}).get("code") != -32603, answer
        if not is_whole:
            assert result is None, "a line is taken that is not whole"
            assert {name: box.shelf.digest(name) for name in box.shelf.names()} == shelf
            assert box.bench.to_dict() == bench
        if box.state == "counting":
            session.input("line", wire_line(KIT, "accept.count", {"on": 0}))
    count["lit"] += session.lamp.lit
