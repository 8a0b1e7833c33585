"""A card put on the box's shelf over the wire, as a PC would.

What must live here: asking the box, line by line. How a card is packed is the tools' affair: it is handed
in.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

from host_sim.box.session import Session
from host_sim.darkroom.checks import RoomError
from timing_core.canonical import encode
from timing_core.wire.framing import frame, unframe

Pack = Callable[[dict[str, Any]], list[tuple[str, dict[str, Any]]]]
"""Gives the messages, (method, params) pairs, that put a card on a box's shelf."""


def push(session: Session, pack: Pack, card: dict[str, Any]) -> None:
    """RoomError where the box refuses it."""
    for method, params in pack(card):
        _ask(session, method, params)


def _ask(session: Session, method: str, params: dict[str, Any]) -> None:
    replies: list[bytes] = []
    before, session.send = session.send, replies.append  # type: ignore[assignment]
    try:
        request = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
        session.input("line", frame(encode(request), session.platform.crc32)[:-1])
    finally:
        session.send = before
    reply = json.loads(unframe(replies[0][:-1], session.platform.crc32))
    if "error" in reply:
        raise RoomError(f"The card is not on the shelf: {reply['error']['message']}")
