"""The box from the PC's side of the wire. docs/wire.md is its page for people.

What must live here: ports, and what a box can be asked for. It is the only file that imports `serial`. It
knows no card file and no terminal.
"""

import errno
import hashlib
import random
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Literal, NamedTuple

import serial  # type: ignore[import-untyped]
from serial.tools import list_ports  # type: ignore[import-untyped]

from lampblack.wire.asking import SLICE_S, Asking, BoxError, NoAnswer, cause_of, read_json
from lampblack.wire.push import requests_for
from lampblack.wire.replies import CARD, PAPER, RECORD, SEQUENCE, Shape, Wrong
from timing_core.wire.framing import NOT_ALL_SENT
from timing_core.wire.methods import WIRE

__all__ = ["BoxClient", "BoxError", "NoAnswer", "Port", "open_port", "ports"]

PUSH_TRIES = 12
PUSH_WAIT_S, PUSH_WAIT_MAX_S = 0.1, 3.0
"""Before a push is tried again: at most this at first, then twice as long each time, up to the second."""
ITEMS_MOST = 1000
"""Cards, records or lines of one list; a box keeps 64 of each at most. What goes on beyond is no box."""


Kind = Literal["card", "paper", "sequence"]
"""What is kept in a box and goes over the wire in parts: cards, paper records and tray sequences."""
_SHAPES: dict[Kind, Shape] = {"card": CARD, "paper": PAPER, "sequence": SEQUENCE}
_KNOWN: dict[Kind, tuple[str, str]] = {
    "paper": ("papers_max", "paper records"),
    "sequence": ("sequences_max", "tray sequences"),
}
"""The key of `hello` by which a box tells that it keeps such, and what they are called."""


class Port(NamedTuple):
    """A serial port of this PC: what to call it, what is plugged into it, and the vendor and product of its
    USB id where it has one."""

    url: str
    about: str
    usb: tuple[int, int] | None = None


def ports() -> list[Port]:
    """The serial ports of this PC, by name."""
    found = sorted(list_ports.comports(), key=lambda port: port.device)
    return [Port(port.device, _about(port.description), _usb(port.vid, port.pid)) for port in found]


def _about(description: str | None) -> str:
    return "unknown" if not description or description == "n/a" else description


def _usb(vendor: int | None, product: int | None) -> tuple[int, int] | None:
    return None if vendor is None or product is None else (vendor, product)


class BoxClient:
    """A box at a pyserial URL: `/dev/ttyACM0`, `COM5`, `socket://host:port`. Every method raises BoxError.

    `timeout_s` is how long one question may go without an answer, asking again included. `transport` stands
    in for the port: `read(n)` gives up to n bytes, or none after a short wait; `write(data)`, `in_waiting`,
    `close()`. `clock` counts seconds, `sleep` waits some, `wall_clock` counts those since 1970, which the box
    is told. A box that speaks another version of the wire is refused, unless `any_wire`: `hello` and
    `handover` are the same in all. With `only_hello` nothing else is asked by itself.
    """

    def __init__(
        self,
        url: str,
        timeout_s: float = 4.0,
        *,
        transport: Any = None,
        clock: Callable[[], float] = time.monotonic,
        wall_clock: Callable[[], float] = time.time,
        sleep: Callable[[float], None] = time.sleep,
        any_wire: bool = False,
        only_hello: bool = False,
    ) -> None:
        self.url = url
        self._wall_clock = wall_clock
        self._sleep = sleep
        port = transport if transport is not None else open_port(url, timeout_s)
        self._asking = Asking(url, port, timeout_s, clock)
        try:
            self._asking.write(b"\n")  # ends whatever half line an earlier tool left
            self.about = self.hello()
            self._asking.knows_wire = self.about["wire"] == WIRE
            if not only_hello:
                self._greet(any_wire)
        except BaseException:
            self.close()
            raise

    def _greet(self, any_wire: bool) -> None:
        if self._asking.knows_wire:
            if "clock.set" in self.about["methods"]:
                self.tell_time()
        elif not any_wire:
            raise BoxError(
                f"The box at {self.url} is not used: it speaks wire {self.about['wire']} and this tool wire "
                f"{WIRE}. Give box and PC the same version."
            )

    def __enter__(self) -> "BoxClient":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        self._asking.close()

    # --- questions

    def call(self, method: str, **params: Any) -> dict:
        """The result of one message."""
        return self._asking.ask([(method, params)])[0]

    def hello(self) -> dict:
        """What the box is and can do."""
        return self.call("hello")

    def tell_time(self) -> None:
        """Tell the box the date and time (UTC), which it has no way to know, for its ledger."""
        day, second = divmod(int(self._wall_clock()), 86400)
        self.call("clock.set", day=day, second=second)

    def damage(self) -> list[str]:
        """What is kept in the box and damaged, a line each."""
        return self._lines("damage.read")

    def state(self) -> dict:
        """What the box is doing."""
        return self.call("state")

    def cards(self, kind: Kind = "card") -> list[dict]:
        """Name, title and digest of every card on the shelf, by name; the title of a paper record is its
        edition."""

        def after(last: str, card: dict) -> str:
            if card["name"] <= last:
                raise Wrong("cards: they are not in the order of their names")
            return card["name"]

        return list(self._listed("card.list", "cards", "", after, self._of_kind(kind)))

    def push(
        self, card: dict, progress: Callable[[int, int], None] | None = None, kind: Kind = "card"
    ) -> dict:
        """Put a card on the shelf, whole or not at all, in place of one with its name; gives name and digest.

        `card` is as `to_dict` of PrintingMap or PaperRecord has it. `progress(done, of)` counts messages.
        """
        self._of_kind(kind)
        try:
            requests = requests_for(_SHAPES[kind](card))
        except Wrong as wrong:
            raise BoxError(f"{card.get('name')} is not pushed: {wrong}. Mend it and push it again.") from None
        wait_s = PUSH_WAIT_S
        for _ in range(PUSH_TRIES):
            try:
                return self._push(card["name"], requests, progress or (lambda done, of: None))
            except BoxError as fault:
                if fault.code != NOT_ALL_SENT:
                    raise
            # Another tool has pushed meanwhile. A box takes one card at a time, and which is chance.
            self._sleep(random.uniform(0, wait_s))
            wait_s = min(2 * wait_s, PUSH_WAIT_MAX_S)
        raise BoxError(
            f"{card['name']} is not pushed: other tools push to {self.url} all the time, and a box takes one "
            "card at a time. Try again when they have done.",
            NOT_ALL_SENT,
        )

    def _push(self, name: str, requests: list[tuple[str, dict]], told: Callable[[int, int], None]) -> dict:
        of = len(requests)
        self._asking.ask(requests[:-1], lambda done: told(done, of))
        # Only now: a commit that finds a part missing is refused.
        kept = self._asking.ask(requests[-1:], lambda done: told(of, of))[0]
        if kept != {"name": name, "digest": requests[-1][1]["digest"]}:
            raise self._asking.wrong("card.commit", "it has another card")
        return kept

    def pull(
        self, name: str, progress: Callable[[int, int], None] | None = None, kind: Kind = "card"
    ) -> dict:
        """A card from the shelf, as `to_dict` of PrintingMap or PaperRecord has it."""
        which = {"name": name, **self._of_kind(kind)}
        first = self.call("card.fetch", part=0, **which)
        told = progress or (lambda done, of: None)
        told(1, first["of"])
        rest = self._asking.ask(
            [("card.fetch", {**which, "part": part}) for part in range(1, first["of"])],
            lambda done: told(1 + done, first["of"]),
        )
        text = self._joined("card.fetch", [first, *rest])
        if hashlib.sha256(text.encode()).hexdigest() != first["digest"]:
            raise BoxError(f"{name} is not pulled: it changed meanwhile. Pull it again.")
        card = self._read("card.fetch", text, _SHAPES[kind])
        if card["name"] != name:
            raise self._asking.wrong("card.fetch", "it has another card")
        return card

    def remove(self, name: str, kind: Kind = "card") -> bool:
        """Take a card off the shelf; False if it is not there (or a lost reply was asked for again)."""
        return self.call("card.remove", name=name, **self._of_kind(kind))["removed"]

    def keeps(self, kind: Kind) -> bool:
        """Whether the box keeps such: one of an earlier version knows cards alone."""
        return kind == "card" or _KNOWN[kind][0] in self.about

    def most(self, kind: Kind) -> int:
        """How many of such the box keeps at most."""
        return self.about["cards_max" if kind == "card" else _KNOWN[kind][0]] if self.keeps(kind) else 0

    def _of_kind(self, kind: Kind) -> dict[str, Any]:
        """The params that say so. BoxError if it keeps none."""
        if kind == "card":
            return {}
        if not self.keeps(kind):
            raise BoxError(
                f"The box at {self.url} keeps no {_KNOWN[kind][1]}: its version is earlier. Install the "
                "firmware again."
            )
        return {"kind": kind}

    def bench_get(self) -> dict:
        """Every setting of the bench."""
        return self.call("bench.get")["values"]

    def bench_set(self, values: dict) -> dict:
        """Set all of `values` or none; gives every setting as it is then."""
        kept = self.call("bench.set", values=values)["values"]
        if lacking := [key for key in values if key not in kept]:
            raise self._asking.wrong("bench.set", f"{lacking[0]} is missing")
        return kept

    def ledger(self, after: int = 0) -> Iterator[dict]:
        """The records numbered above `after`, in order."""

        def next_after(last: int, record: dict) -> int:
            if record["n"] <= last:
                raise Wrong("records: their numbers do not rise")
            return record["n"]

        return map(self._whole, self._listed("ledger.read", "records", after, next_after))

    def _whole(self, record: dict) -> dict:
        """A record too long for a page comes as its number and its count of pieces."""
        if "of" not in record:
            return record
        asked = [("ledger.fetch", {"n": record["n"], "part": part}) for part in range(record["of"])]
        whole = self._read("ledger.fetch", self._joined("ledger.fetch", self._asking.ask(asked)), RECORD)
        if whole["n"] != record["n"]:
            raise self._asking.wrong("ledger.fetch", "it has another record")
        return whole

    def crashes(self) -> list[str]:
        """The lines of the box's crash log, oldest first; none if it never failed."""
        return self._lines("crash.read")

    def _lines(self, method: str) -> list[str]:
        return list(self._listed(method, "lines", 0, lambda count, line: count + 1))

    def _listed(
        self,
        method: str,
        key: str,
        after: Any,
        next_after: Callable[[Any, Any], Any],
        params: dict[str, Any] | None = None,
    ) -> Iterator:
        """The items of a list that comes in pages; `next_after` tells what to ask for after an item."""
        count = 0
        more = True
        while more:
            page = self.call(method, after=after, **(params or {}))
            for item in page[key]:
                try:
                    after = next_after(after, item)
                except Wrong as wrong:
                    raise self._asking.wrong(method, wrong) from None
                yield item
            count += len(page[key])
            more = page["more"]
            if more and not page[key]:
                raise self._asking.wrong(method, "there is more, and it does not come")
            if count > ITEMS_MOST:
                raise self._asking.wrong(method, f"there are over {ITEMS_MOST} {key}")

    def _joined(self, method: str, pieces: list[dict]) -> str:
        """The text that came in pieces."""
        for part, piece in enumerate(pieces):
            if (piece["part"], piece["of"]) != (part, len(pieces)):
                raise self._asking.wrong(method, "it has another part")
        return "".join(piece["text"] for piece in pieces)

    def _read(self, method: str, text: str, shape: Shape) -> dict:
        """The plain data written as `text`, which came in pieces."""
        try:
            return shape(read_json(text))
        except Wrong as wrong:
            raise self._asking.wrong(method, f"in its text {wrong}") from None

    def handover(self) -> None:
        """Make the box leave to its MicroPython prompt. It answers nothing more after this."""
        self.call("handover")


def open_port(url: str, timeout_s: float = 4.0) -> Any:
    """The port at `url`, for this program alone. Reading waits a moment, writing up to `timeout_s`."""
    try:
        return serial.serial_for_url(url, timeout=SLICE_S, write_timeout=timeout_s, exclusive=True)
    except (OSError, ValueError) as error:
        raise BoxError(f"{url} does not open: {_why_closed(url, error)}") from None


def _why_closed(url: str, error: OSError | ValueError) -> str:
    """Why a port does not open, and what to do. On Windows pyserial has the cause in its words only."""
    number = getattr(error, "errno", None)
    words = str(error)
    if number == errno.ENOENT or "FileNotFoundError" in words:
        return "nothing is there. Plug the box in with a data cable, and look at `lampblack ports`."
    if number == errno.EACCES:
        join = f"`sudo usermod -a -G {_group(url)} $USER`"
        return f"you may not use it. Join its group with {join}, then log in anew."
    if number in (errno.EBUSY, errno.EAGAIN) or "PermissionError" in words:
        return "another program has it open. Close that program and try again."
    said = re.sub(r"^could not open port .*?: (\[Errno \d+\] )?", "", cause_of(error), flags=re.IGNORECASE)
    return f"{said}. Check its name (`lampblack ports`) and that no other program has it open."


def _group(path: str) -> str:
    try:
        return Path(path).group()
    except (OSError, KeyError, NotImplementedError):
        return "dialout"
