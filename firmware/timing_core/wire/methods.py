"""The methods of the wire: what a PC may ask, and what answers it. docs/wire.md is their page for people.

What must live here: the messages. It may not know a port or a clock, and no message lights the lamp, presses
a key or changes the map being printed.

Faults tolerated, and why:
- a lost or repeated message: asking anything again leads to the same state, and nothing is written twice;
- a wrong message with a right CRC: all of it is checked before anything is done, and it is refused in one
  line.
"""

from timing_core import VERSION
from timing_core.canonical import digest_of_text, encode
from timing_core.machine.clock import DAY_S
from timing_core.platform import const
from timing_core.records.shelf import CARDS_MAX, PAPERS_MAX, SEQUENCES_MAX
from timing_core.records.store import StoreFault
from timing_core.refusal import Refusal
from timing_core.wire.framing import (
    BAD_PARAMS,
    BUSY,
    LINE_MAX,
    NO_METHOD,
    NOT_ALL_SENT,
    PIECE,
    PIECES_MAX,
    REFUSED,
    STORAGE,
    Fault,
    Page,
    error_of,
    frame,
    params_of,
    piece,
    request_in,
    short,
)

WIRE = 1
_BROKEN = const(-32603)
_CHUNK = const(256)
_CRASH_LINE = const(280)
"""Characters of a line of the crash log. A reply has room for them even if every one is escaped."""

DAYS_MAX = 47481
"""2099-12-31, in days since 1970-01-01."""


def _is_lit() -> Fault:
    return Fault(BUSY, "Nothing is changed: light is on, or about to be. Try again when dark.")


class Link:
    """Answers messages for `box`, which has `lit`, `shelves`, `ledger`, `bench`, `fitted`,
    `identity`, `summary() -> dict`, `crash_lines() -> list`, `damage_lines() -> list`,
    `health() -> dict`, `watch` with `faults() -> list`, `acceptance` with `counting`, which answers the
    acceptance test, and `asked` with `set_bench(values) -> bool`, `set_fitted(values)`,
    `push_card(shelf, name, text)`, `remove_card(shelf, name) -> bool`, `write_waiting()`,
    `tell_time(day, second)` and `hand_over()`.
    A card whose parts are coming is in memory only. A paper record or a tray sequence is kept and sent as a
    card is.
    """

    def __init__(self, box, platform) -> None:
        self.box = box
        self.platform = platform
        # The card that is coming: its parts as they come, and once all are checked, its name and text.
        self._digest = ""
        self._of = 0
        self._parts: dict = {}
        self._shelf = box.shelves[0]
        self._name = ""
        self._text = b""

    def take(self, line: bytes):
        """The reply to one line from `LineReader`, or None if none is due. Never raises."""
        if not line:
            return None
        id = None
        try:
            request = request_in(line, self.platform)
            if request is None:
                return None
            id = request["id"]
            reply = self._framed(id, "result", self._result(request))
            if len(reply) > LINE_MAX:
                raise ValueError("the answer is too long for a line")
            return reply
        except Fault as fault:
            error = error_of(fault.code, fault)
        except StoreFault as fault:
            # A key that has come since it was dark may have lit the lamp, under which nothing is written.
            error = error_of(BUSY, _is_lit()) if self.box.lit else error_of(STORAGE, fault)
        except Refusal as refusal:
            error = error_of(REFUSED, refusal)
        except OSError as fault:
            error = error_of(STORAGE, "The memory failed: %s. Try again, then reset the box." % fault)
        except Exception as fault:  # whatever fault a message has found, the box goes on
            error = error_of(_BROKEN, "The box is at fault: %r. Report it with what was sent." % fault)
        return self._framed(id, "error", error)

    def _framed(self, id, key: str, value: dict) -> bytes:
        return frame(encode({"jsonrpc": "2.0", "id": id, key: value}), self.platform.crc32)

    def _result(self, request: dict):
        method = request["method"]
        if method not in METHODS:
            raise Fault(NO_METHOD, "No method %s: this box has not got it. hello lists them." % method)
        writes, wanted, answer = METHODS[method]
        values = params_of(request.get("params", {}), wanted)
        if writes and self.box.lit:
            raise _is_lit()
        return answer(self, *values)

    # --- the box

    def _hello(self) -> dict:
        return {
            "box": "lampblack",
            "identity": self.box.identity,
            "version": VERSION,
            "wire": WIRE,
            "line_max": LINE_MAX,
            "cards_max": CARDS_MAX,
            "papers_max": PAPERS_MAX,
            "sequences_max": SEQUENCES_MAX,
            "piece": PIECE,
            "pieces_max": PIECES_MAX,
            "methods": sorted(METHODS),
        }

    def _state(self) -> dict:
        return self.box.summary()

    def _health(self) -> dict:
        told = self.box.health()
        faults = self.box.watch.faults()
        if faults:
            told["faults"] = faults
        return told

    def _bench_get(self) -> dict:
        return {"values": self.box.bench.to_dict()}

    def _bench_set(self, values: dict) -> dict:
        while not self.box.asked.set_bench(values):
            # A key has come in between. If it has lit the lamp, the end of that light must not wait for this.
            if self.box.lit:
                raise _is_lit()
        return self._bench_get()

    def _fitted_get(self) -> dict:
        fitted = self.box.fitted
        return {"values": fitted.kept, "in_force": fitted.in_force == fitted.kept and not fitted.doubt}

    def _fitted_set(self, values: dict) -> dict:
        self.box.asked.set_fitted(values)
        return self._fitted_get()

    def _clock_set(self, day: int, second: int) -> dict:
        if second >= DAY_S or day > DAYS_MAX:
            raise Fault(
                BAD_PARAMS,
                "The time is not taken: it is no day since 1970-01-01 and second of it. Send it so.",
            )
        self.box.asked.tell_time(day, second)
        return {"ok": True}

    def _handover(self) -> dict:
        self.box.asked.hand_over()
        return {"ok": True}

    def _accept_count(self, on: int) -> dict:
        return self.box.acceptance.counting.ask(on)

    def _accept_show(self, picture: str, level: int, sound: str, volume: int) -> dict:
        return self.box.acceptance.counting.ask_to_show(picture, level, sound, volume)

    def _accept_read(self) -> dict:
        return self.box.acceptance.counting.read()

    # --- cards

    def _shelf_of(self, kind: str):
        for shelf in self.box.shelves:
            if shelf.kind == (kind or "card"):
                return shelf
        raise Fault(BAD_PARAMS, "Message is not taken: kind is not card, paper or sequence. Send it so.")

    def _card_list(self, after: str, kind: str) -> dict:
        shelf = self._shelf_of(kind)
        page = Page()
        for name in shelf.names():
            # A card that turns out to be damaged is left out; damage.read tells of it. Its text is read once,
            # and from here: a key may cut in while flash is read, and a board's stack is short.
            text = shelf.text(name) if name > after else None
            if text is None:
                continue
            card = shelf.card(name, text)
            if card is not None:
                digest = digest_of_text(self.platform, text)
                title = card[shelf.title_key]
                if not page.takes({"name": name, "title": title, "digest": digest}):
                    return {"cards": page.items, "more": True}
        return {"cards": page.items, "more": False}

    def _card_part(self, digest: str, of: int, part: int, packed: str) -> dict:
        if not (part < of <= PIECES_MAX and len(packed) <= PIECE):
            raise Fault(
                BAD_PARAMS,
                "Part is not taken: a card has up to %d of up to %d characters. Send it so."
                % (PIECES_MAX, PIECE),
            )
        if digest != self._digest or of != self._of:
            self._clear()
            self._digest, self._of = digest, of
        if not self._name and part not in self._parts:
            self._parts[part] = packed
        return {"missing": self._missing()}

    def _card_verify(self, digest: str) -> dict:
        if not self._kept(digest):
            self._check(digest)
        return {"digest": digest}

    def _card_commit(self, digest: str) -> dict:
        name = self._kept(digest)
        if not name:
            self._check(digest)
            name = self._name
            self.box.asked.push_card(self._shelf, name, self._text)
            self._clear()
        return {"name": name, "digest": digest}

    def _card_fetch(self, name: str, part: int, kind: str) -> dict:
        shelf = self._shelf_of(kind)
        text = shelf.text(name)
        if text is None:
            what = {
                "card": "No card %s",
                "paper": "No paper record %s",
                "sequence": "No tray sequence %s",
            }[shelf.kind]
            raise Refusal(what % name, "the shelf has not got it", "card.list gives the names")
        reply = piece(text, part)
        reply["digest"] = shelf.digest(name)
        return reply

    def _card_remove(self, name: str, kind: str) -> dict:
        return {"removed": self.box.asked.remove_card(self._shelf_of(kind), name)}

    # --- a card that is coming

    def _clear(self) -> None:
        self._digest = ""
        self._of = 0
        self._parts = {}
        self._name = ""
        self._text = b""

    def _missing(self) -> list:
        """The parts still to come; none once the card is checked."""
        return [] if self._name else [part for part in range(self._of) if part not in self._parts]

    def _kept(self, digest: str) -> str:
        """The name of the card on the shelf that has this digest, "" if there is none. If there is one, it
        may be that its commit was answered and the reply was lost. A card that is coming is still to be
        committed."""
        if digest != self._digest or self._missing():
            for shelf in self.box.shelves:
                for name in shelf.names():
                    if shelf.digest(name) == digest:
                        return name
        return ""

    def _check(self, digest: str) -> None:
        """Make the card's name and canonical text from its parts. Parts that make no card are thrown away.

        The digest is taken of what was understood, and that is what will be kept.
        """
        what = "The card is not taken"
        if digest != self._digest:
            raise Fault(
                NOT_ALL_SENT, what + ": nothing with this digest has been sent. Send its parts first."
            )
        if self._missing():
            raise Fault(NOT_ALL_SENT, what + ": parts of it are missing. Send all its parts.")
        if self._name:
            return
        parts, of = self._parts, self._of
        self._clear()
        try:
            card = self._unpacked("".join([parts[part] for part in range(of)]))
        except Exception:  # whatever the reader raises
            raise Refusal(what, "its parts make no JSON", "Send its parts again") from None
        self._shelf = self.box.shelves[0]
        if isinstance(card, dict) and "passes" not in card:
            self._shelf = self._shelf_of(
                "paper" if "filters" in card else "sequence" if "trays" in card else ""
            )
        made = self._shelf.made(card)
        del parts, card  # a small heap has no room for them beside the card written out again
        text = made.text()
        if digest_of_text(self.platform, text) != digest:
            raise Refusal(what, "its digest does not match", "Send its parts again")
        self._digest, self._of, self._name, self._text = digest, of, made.name, text

    def _unpacked(self, packed: str):
        """The plain data in `packed`, read from a stream, so that its text is never in memory as a whole."""
        # A few bytes may unpack to millions, so they are counted first.
        stream = self.platform.unpacked(packed)
        room = PIECE * PIECES_MAX
        while True:
            size = len(stream.read(_CHUNK))
            room -= size
            if room < 0:
                raise ValueError("no card is so long")
            if not size:
                return self.platform.json_load(self.platform.unpacked(packed))

    # --- ledger and crash log

    def _ledger_read(self, after: int) -> dict:
        ledger = self.box.ledger
        if not self.box.lit:
            self.box.asked.write_waiting()
        page = Page()
        for record in ledger.read(after):
            if not page.takes(short(record)):
                break
        records, last = page.items, ledger.last()
        return {"records": records, "more": bool(records) and records[-1]["n"] < last, "last": last}

    def _ledger_fetch(self, n: int, part: int) -> dict:
        for record in self.box.ledger.read(n - 1, 1):
            if record["n"] == n:
                reply = piece(encode(record), part)
                reply["n"] = n
                return reply
        raise Refusal("No record %d" % n, "the ledger has not got it", "ledger.read gives the numbers")

    def _crash_read(self, after: int) -> dict:
        """The lines of the crash log from number `after` on, as many as fit the reply."""
        return _lines(self.box.crash_lines(), after)

    def _damage_read(self, after: int) -> dict:
        """A line for each thing kept in the box that is damaged, with what is in force in its place."""
        return _lines(self.box.damage_lines(), after)


# method: (whether it writes, its params with their types, what answers it). "after" and "kind" may be left
# out.
METHODS: dict = {
    "hello": (False, (), Link._hello),
    "state": (False, (), Link._state),
    "card.list": (False, (("after", str), ("kind", str)), Link._card_list),
    "card.part": (True, (("digest", str), ("of", int), ("part", int), ("packed", str)), Link._card_part),
    "card.verify": (False, (("digest", str),), Link._card_verify),
    "card.commit": (True, (("digest", str),), Link._card_commit),
    "card.fetch": (False, (("name", str), ("part", int), ("kind", str)), Link._card_fetch),
    "card.remove": (True, (("name", str), ("kind", str)), Link._card_remove),
    "bench.get": (False, (), Link._bench_get),
    "bench.set": (True, (("values", dict),), Link._bench_set),
    "fitted.get": (False, (), Link._fitted_get),
    "fitted.set": (True, (("values", dict),), Link._fitted_set),
    "ledger.read": (False, (("after", int),), Link._ledger_read),
    "ledger.fetch": (False, (("n", int), ("part", int)), Link._ledger_fetch),
    "clock.set": (False, (("day", int), ("second", int)), Link._clock_set),
    "crash.read": (False, (("after", int),), Link._crash_read),
    "damage.read": (False, (("after", int),), Link._damage_read),
    "health": (False, (), Link._health),
    "handover": (True, (), Link._handover),
    "accept.count": (True, (("on", int),), Link._accept_count),
    "accept.show": (
        True,
        (("picture", str), ("level", int), ("sound", str), ("volume", int)),
        Link._accept_show,
    ),
    "accept.read": (False, (), Link._accept_read),
}


def _lines(lines: list, after: int) -> dict:
    page = Page()
    for line in lines[after:]:
        if not page.takes(line[:_CRASH_LINE]):
            return {"lines": page.items, "more": True}
    return {"lines": page.items, "more": False}
