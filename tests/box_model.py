"""What a box should do with light, said a second time and more simply, and a desk to try a box on.

What must live here: a plan worked out from a card's plain data in real numbers, a meter that watches the
lamp's edges, and a disk that notices when it is written. No arithmetic, no stage and no state of the core
is used for what should come out: a check against this file is a check against another opinion.
"""

import copyreg
import io
import json
import math
import pickle
from collections.abc import Callable
from functools import cache
from itertools import pairwise

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session, Watcher
from lampblack.wire.push import requests_for
from tests.portable.papers import VC_2019
from timing_core.canonical import encode
from timing_core.light.bench import BENCH_FORM
from timing_core.light.guided import HEADINGS
from timing_core.light.printing_map import PrintingMap
from timing_core.machine.cell_doses import DOSES
from timing_core.machine.cell_strips import CellStrip
from timing_core.machine.light_cell import BRIGHT, GONE, OVER, RATIO_HUNDREDTHS
from timing_core.records.store import Store
from timing_core.refusal import Refusal
from timing_core.wire.framing import frame

LIT_STATES = ("exposing", "viewing", "stopping")
"""Written out again, so that a state added to the core's list by mistake is noticed."""
ABOUT_TO_BE_LIT = ("arming", "delaying", "between")
"""These are in that list too, and are dark: light is about to come."""


# --- the plan


def to_ms(ms: float) -> int:
    """To the nearest ms, halves up."""
    return math.floor(ms + 0.5)


def stops(ms: float, stops120: float) -> int:
    """`ms` moved by so many 1/120 stop."""
    return to_ms(ms * 2 ** (stops120 / 120))


def planned_print(card: dict) -> list[tuple]:
    """Every step at the easel as (what, area, filter, ms of light), "fit" and "negative" steps with no
    light."""
    flash = card.get("flash", {})
    kept = 1 - card["dry_down_pm"] / 1000 if card["dry_down"] else 1
    burns = []
    for own in card["passes"]:
        for mark in own["marks"]:
            if mark["stops120"] > 0:
                light = to_ms(round((stops(own["base_ms"], mark["stops120"]) - own["base_ms"]) * kept, 6))
                burns.append(("burn", mark["area"], mark.get("filter") or own["filter"], light))
    steps: list[tuple] = []
    if flash.get("after"):
        _fit(steps, card["passes"][0]["filter"])
        steps.append(("negative", "in", steps[-1][2], 0))
    elif flash:
        _flash(steps, flash)
        steps.append(("negative", "in", steps[-1][2], 0))
    for own in card["passes"]:
        _fit(steps, own["filter"])
        steps.append(("base", "", own["filter"], to_ms(round(own["base_ms"] * kept, 6))))
        steps += [burn for burn in burns if burn[2] == own["filter"]]
        burns = [burn for burn in burns if burn[2] != own["filter"]]
    for filter in dict.fromkeys(burn[2] for burn in burns):
        _fit(steps, filter)
        steps += [burn for burn in burns if burn[2] == filter]
    if flash.get("after"):
        _flash(steps, flash)
    return steps


def _flash(steps: list[tuple], flash: dict) -> None:
    filter = flash.get("filter", "")
    _fit(steps, filter)
    steps += [("negative", "out", filter, 0), ("flash", "", filter, flash["light_ms"])]


def _fit(steps: list[tuple], filter: str) -> None:
    if not steps or steps[-1][2] != filter:
        steps.append(("fit", "", filter, 0))


def patch_totals(card: dict, strip) -> list[int]:
    """Whole light of every patch, in ms. `strip` is what the Strip screen is set to."""
    own = card["passes"][strip.pass_index]
    around = own["base_ms"]
    if strip.mark_index is not None:
        mark = own["marks"][strip.mark_index]
        around = stops(around, mark["stops120"])
        if mark.get("filter", own["filter"]) != own["filter"]:
            around -= own["base_ms"]
    if strip.origin_ms is not None:
        around = strip.origin_ms
    from_middle = (strip.patches - 1) / 2 if strip.centred else 0
    if strip.step_stops120:
        return [stops(around, (n - from_middle) * strip.step_stops120) for n in range(strip.patches)]
    return [to_ms(around + (n - from_middle) * strip.step_ms) for n in range(strip.patches)]


def planned_strip(card: dict, strip) -> list[tuple]:
    """Every step of a strip, as in `planned_print`."""
    passes = card["passes"]
    own = passes[strip.pass_index]
    filter = own["filter"]
    first = passes[: strip.pass_index] if strip.over_earlier else []
    if strip.mark_index is not None:
        filter = own["marks"][strip.mark_index].get("filter", filter)
        if filter != own["filter"]:
            first = [*first, own]
    steps: list[tuple] = []
    if "flash" in card:
        _flash(steps, card["flash"])
        steps.append(("negative", "in", steps[-1][2], 0))
    for under in first:
        _fit(steps, under["filter"])
        steps.append(("base", "", under["filter"], under["base_ms"]))
    _fit(steps, filter)
    before = 0
    for number, total in enumerate(patch_totals(card, strip)):
        steps.append((strip.kind, str(number + 1), filter, total - before))
        before = total if strip.kind == "cover" else 0
    return steps


def planned_test(test: dict) -> list[tuple]:
    """Every step of a guided test, as in `planned_print`; the light of a "wait" is its time."""
    filter = test["filter"]
    steps: list[tuple] = [("fit", "", filter, 0)]

    def add(what: str, area: str, ms: int) -> None:
        steps.append((what, area, filter, ms))

    def cover(totals: list[int]) -> None:
        for number, (before, total) in enumerate(pairwise([0, *totals])):
            add("cover", str(number + 1), total - before)

    match test["test"]:
        case "lag":
            step, zero_at, around = ((25, 7, 0), (50, 7, 0), (8, 4, test["lag_ms"]))[test["strip"]]
            add("pulses", "Pulses", 8000)
            cover([8000 - (16 - k) * (around + (zero_at - k) * step) for k in range(1, 8)])
        case "shortest":
            add("whole", "Left half", 2000)
            for patch in range(1, 8):
                add("pulses", f"Patch {patch}", 2000)
        case "drydown":
            cuts = [test["pm"] - 30 + 15 * n for n in range(5)] if test["strip"] else range(0, 201, 40)
            for number, cut in enumerate([*cuts, 0]):
                add("fresh", str(number + 1), to_ms(test["base_ms"] * (1000 - cut) / 1000))
        case "safelight":
            ladder = ((0, 1, 3, 7), (0, 4, 12, 28))[test["ladder"]]
            waits = [
                ("wait", f"{{}} {until} min", 60_000 * (until - before)) for before, until in pairwise(ladder)
            ]
            for sheet in "AB":
                grey = ("whole", f"Grey {sheet}", test["grey_ms"])
                for what, area, ms in [grey, *waits] if sheet == "A" else [*waits, grey]:
                    add(what, area.format(sheet), ms)
        case "flash":
            steps.append(("negative", "out", filter, 0))
            cover([stops(test["first_ms"], 40 * n) for n in range(9)])
        case "paper":
            totals = [stops(test["first_ms"], (40, 60, 80, 90)[test["range"]] * n) for n in range(11)]
            cover(totals)
            add("whole", "Black", min(8 * totals[-1], 120_000) - totals[-1])
        case "cell_lag":
            add("pulses", "Lag, long", 3 * 4000)
            add("pulses", "Lag, short", 4 * 500)
        case "drift":
            add("whole", "Drift", 120_000)
    return steps


# --- the meter


def in_the_dark(box) -> bool:
    """A test of what safelight or display do is on the panel, and no wait under the safelight is counted."""
    test = box.run.test
    if not test or test["test"] != "safelight" or not box.in_run:
        return False
    return box.state != "waiting" or test["light"] == 1


def cell_reads(box) -> bool:
    """A screen is open for which the light cell reads, and the safelight is out."""
    if box.panel.screen.key == "test":
        return box.work.test["test"] in ("cell_lag", "drift") and box.state != "away"
    return box.panel.screen.key == "light_cell" and box.state != "away"


class LightMeter(Watcher):
    """Watches the lamp's edges and the safelight, and counts the light of the stage under way.

    Light of a strike is its lamp time less the lag, never below nothing: that is what lag means.
    What it finds wrong by itself is in `faults`. Where read-backs are `fitted`, light is what the lamp had
    its voltage for; then the circuit is changed by `circuit_changes`.
    """

    def __init__(self, session: Session, fitted: dict | None = None) -> None:
        self.session = session
        self.fitted = fitted or {}
        self._seen_ms = self._from_ms = 0
        self._bright = True
        self.faults: list[str] = []
        self.safelight: int | None = None
        self.lights_asked = 0
        self._asked_ms = 0
        self._on_ms: int | None = None
        self._viewing = False
        self.off_ms = self.off_ms_before = -(1 << 30)
        self.anew()

    def anew(self) -> None:
        """A stage begins: nothing of it is given yet."""
        self.light_ms = 0
        self.strikes = 0

    @property
    def to_come_ms(self) -> int:
        """Light that the strike under way will have given when it ends by itself."""
        return max(0, self._asked_ms - self.lag_ms) if self.session.lamp.lit else 0

    @property
    def lag_ms(self) -> int:
        """What each strike lacks: nothing where the lamp's own time is what is planned."""
        test = self.session.box.run.test
        return 0 if test and test["test"] == "lag" else self.session.box.bench.get("lag_ms")

    def _check(self, holds: bool, fault: str) -> None:
        if not holds:
            self.faults.append(fault)

    def seen_ms(self) -> int:
        """How long the lamp has had its voltage in the strike under way."""
        return self._seen_ms + (self.session.now_ms - self._from_ms if self._bright else 0)

    def circuit_changes(self, change: Callable[[], None]) -> None:
        """Make a `change` of the circuit."""
        self._seen_ms, self._from_ms = self.seen_ms(), self.session.now_ms
        change()
        self._look()

    def _look(self) -> None:
        circuit = self.session.circuit
        dark = self.fitted.get("read_backs") and not circuit.is_live
        self._bright = not (dark or (self.fitted.get("second_contact") and not circuit.is_closed))

    def lamp(self, now_ms: int, on: bool) -> None:
        box = self.session.box
        viewing = box.state == "viewing"
        if on:
            self._seen_ms, self._from_ms = 0, now_ms
            self._look()
            self._check(self._on_ms is None, "lit while lit")
            self._check(box.state in ("exposing", "viewing"), f"lit in {box.state}")
            dark_room = viewing or box.bench.get("safelight") == "exposing" or in_the_dark(box)
            dark_room = dark_room or cell_reads(box)
            self._check(
                self.safelight == (0 if dark_room else 1), f"safelight is {self.safelight} at a strike"
            )
            self._on_ms, self._viewing = now_ms, viewing
            self.strikes += not viewing
            return
        assert self._on_ms is not None
        lit_ms = now_ms - self._on_ms
        self._check(lit_ms <= self._asked_ms, f"lit for {lit_ms} ms of {self._asked_ms}")
        self._on_ms = None
        self.off_ms = now_ms
        if not self._viewing:
            self.light_ms += max(0, self.seen_ms() - self.lag_ms)

    def output(self, now_ms: int, kind: str, value) -> None:
        if kind == "safelight":
            self.safelight = value
        elif kind == "light":
            self.lights_asked += 1
            self._check(value > 0, f"light of {value} ms")
            self._asked_ms = value


# --- a desk to try a box on


class PowerCut(BaseException):
    """The plug was pulled in the middle of a write. No handler in the box may catch it."""


class GuardedDisk(MemoryDisk):
    """Memory that notes a write under light, can be full, and can have the power cut at a write.

    `fuse` is how many writes and removals are still done; the one after that is torn after `torn` bytes.
    """

    def __init__(self) -> None:
        super().__init__()
        self.session: Session | None = None
        self.written_while_lit: list[str] = []
        self.writes = 0
        self.full = False
        self.fuse: int | None = None
        self.torn = 0

    def _before(self, name: str) -> None:
        self.writes += 1
        if self.session and self.session.lamp.lit:
            self.written_while_lit.append(name)

    def _blows(self) -> bool:
        if self.fuse is None:
            return False
        self.fuse -= 1
        return self.fuse < 0

    def write(self, name: str, data: bytes) -> None:
        self._before(name)
        if self._blows():
            self.files[name] = bytes(data[: self.torn])
            raise PowerCut
        if self.full:
            raise OSError(28, "No space left on device")
        super().write(name, data)

    def remove(self, name: str) -> None:
        self._before(name)
        if self._blows():
            raise PowerCut
        super().remove(name)


class PickyDisk(MemoryDisk):
    """Has no room for records whose names begin with `refuses`."""

    refuses = "nothing"

    def write(self, name: str, data: bytes) -> None:
        if name.startswith(self.refuses):
            raise OSError(28, "No space left on device")
        super().write(name, data)


class Listener(Watcher):
    """Keeps what the box asked for, as (kind, value), and the sounds among it with their times."""

    def __init__(self) -> None:
        self.heard: list[tuple] = []
        self.times: list[tuple[int, str]] = []
        self.sounds: list[tuple[int, str]] = []

    def output(self, now_ms: int, kind: str, value) -> None:
        self.heard.append((kind, value))
        self.times.append((now_ms, kind))
        if kind == "sound":
            self.sounds.append((now_ms, value))


def new_session(
    disk: MemoryDisk | None = None,
    panel_ms: int = 100,
    ticks_ms: int = 0,
    settle_ms: int = 0,
    latency_ms: int = 0,
    make: Callable[..., Session] = Session,
    fitted: dict | None = None,
) -> Session:
    """A powered-up box on a desk. A GuardedDisk is told of the session that it serves.

    Unless it is told otherwise the box has no settling time, so that a test may press key after key.
    """
    disk = MemoryDisk() if disk is None else disk
    platform = desk_platform()
    if not any(name.startswith("bench.") for name in disk.names()):
        Store(disk, platform.crc32).put("bench", encode({"settle_ms": settle_ms, "form": BENCH_FORM}))
    if fitted:
        Store(disk, platform.crc32).put("fitted", encode(fitted))
    session = make(disk, platform, panel_ms, ticks_ms, latency_ms)
    session.undrawn = _raise
    if isinstance(disk, GuardedDisk):
        disk.session = session
    session.power_up()
    return session


def _raise(fault: Exception) -> None:
    raise fault


def a_card(*marks: tuple, base_ms: int = 16000, filter: str = "2", name: str = "harbour", **more) -> dict:
    """A card of one pass in plain data; a mark is (area, stops120) or (area, stops120, filter)."""
    return {
        "name": name,
        "title": "",
        "tied": False,
        "dry_down": False,
        "dry_down_pm": 0,
        "facts": {},
        "passes": [a_pass(*marks, base_ms=base_ms, filter=filter)],
        **more,
    }


def a_pass(*marks: tuple, base_ms: int = 16000, filter: str = "2") -> dict:
    plain = [dict(zip(("area", "stops120", "filter"), mark)) for mark in marks]
    return {"filter": filter, "base_ms": base_ms, "marks": plain}


def load(session: Session, card: dict) -> None:
    """Push the card over the wire and load it with the panel, as a printer does."""
    push(session, card)
    to_screen(session, "shelf")
    to_row(session, card["name"])
    session.input("press")
    assert session.box.work.map.to_dict() == card


def to_screen(session: Session, name: str) -> None:
    """From any row of any screen to the top of another screen."""
    box = session.box
    while box.panel.screen.key != "screens":
        session.input("back")
    to_row(session, next(screen.heading for screen in box.panel.screens if screen.key == name))
    session.input("press")


def to_row(session: Session, label: str, nth: int = 1) -> None:
    """Move to the `nth` row with this label on the screen the box is on; "Base" is that of the nth pass."""
    box = session.box
    session.input("dial", -1000)
    while True:
        row = box.panel.row()
        nth -= row.key == "base" if label == "Base" else row.label.split(",")[0] == label.split(",")[0]
        if not nth:
            return
        before = box.panel.cursor.at
        session.input("dial", 1)
        assert box.panel.cursor.at > before, f"no row {label!r}"


def set_row(session: Session, label: str, detents: int, nth: int = 1) -> None:
    """Open a row, turn it slowly, take it."""
    to_row(session, label, nth)
    session.input("press")
    turn_slowly(session, detents)
    session.input("press")


def turn_slowly(session: Session, detents: int) -> None:
    """Detents so far apart that none takes a larger step."""
    for _ in range(abs(detents)):
        wait(session, 200)
        session.input("dial", 1 if detents > 0 else -1)


# --- the wire


def wire_line(platform, method: str, params: dict, id: object = 1) -> bytes:
    """One request, as it arrives: without its newline."""
    request = {"jsonrpc": "2.0", "id": id, "method": method, "params": params}
    return frame(json.dumps(request).encode(), platform.crc32)[:-1]


def ask(session: Session, method: str, **params) -> dict:
    """The whole reply to one request."""
    replies: list[bytes] = []
    session.send = replies.append
    session.input("line", wire_line(session.platform, method, params))
    (reply,) = replies
    return json.loads(reply[:-10])


def card_lines(card: dict) -> list[tuple[str, dict]]:
    """The requests that put a card on the shelf, or a paper record or a tray sequence into the box."""
    *parts, commit = requests_for(PrintingMap.from_dict(card).to_dict() if "passes" in card else card)
    return [*parts, ("card.verify", commit[1]), commit]


def push(session: Session, card: dict) -> None:
    for method, params in card_lines(card):
        reply = ask(session, method, **params)
        assert "result" in reply, reply


# --- situations: one way into every state, as a printer gets there


def snapshot(session: Session) -> dict:
    """All that an input could change, but the clock."""
    box = session.box
    return {
        "state": box.state,
        "message": box.message,
        "cursor": (
            box.panel.screen.key,
            box.panel.cursor.at,
            box.panel.cursor.pick,
            box.panel.cursor.place,
            box.work.prints,
        ),
        "undo": [vars(change) for change in box.panel.undo._changes],
        "redo": [vars(change) for change in box.panel.undo._undone],
        "work": box.work.map.to_dict(),
        "strip": dict(vars(box.work.strip), given=box.work.strip_given),
        "bench": box.bench.to_dict(),
        "shelf": {name: box.shelf.digest(name) for name in box.shelf.names()},
        "run": (
            box.run.kind,
            box.run.at,
            box.run.given_ms,
            box.run.strikes,
            box.run.is_kept,
            [vars(stage) for stage in box.run.stages],
            box.run.holds,
        ),
        "ledger": box.ledger.last(),
        "lamp": (session.lamp.lit, session.lamp.ends_ms),
        "safelight": box.lamp.safelight,
        "due": box.next_deadline(),
        "files": dict(session.disk.files),
    }


def last_record(box) -> dict | None:
    """The newest record of the ledger; None before the first."""
    found = box.ledger.read(box.ledger.last() - 1, 1)
    return found[0] if found else None


def keys(session: Session, *events: str) -> None:
    """Press them one after another, each as soon as the box listens to it."""
    for event in events:
        if event in ("expose", "pedal", "lamp") and not session.box.lit:
            listen(session)
        session.input(event)


def listen(session: Session) -> None:
    """Let the settling time pass, if it is on."""
    while session.box.lamp.is_settling() and session.next_ms() >= 0:
        session.advance(session.next_ms())


def wait(session: Session, ms: int) -> None:
    session.advance(session.now_ms + ms)


def until_dark(session: Session) -> None:
    session.advance(session.lamp.ends_ms)


def worked_card() -> dict:
    """A card with everything on it: two passes, dodges, burns, one of them through a third filter."""
    card = a_card(("face", -40), ("hands", -20), ("sky", 80), filter="2")
    card["passes"].append(a_pass(("door", 60, "00"), base_ms=9000, filter="5"))
    return card


def together(card: dict) -> dict:
    """The same with every second dodge of a pass given with the one before it."""
    for own in card["passes"]:
        for mark in [mark for mark in own["marks"] if mark["stops120"] < 0][1::2]:
            mark["with_previous"] = True
    return card


def _ready(session: Session, card: dict) -> None:
    load(session, card)
    keys(session, "expose")


def _exposing(session: Session, card: dict) -> None:
    _ready(session, card)
    keys(session, "expose")
    wait(session, 4000)


def _held(session: Session, card: dict) -> None:
    _exposing(session, card)
    keys(session, "expose")


def _held_soon(session: Session, card: dict) -> None:
    """In the second stage of a run."""
    _ready(session, card)
    keys(session, "expose", "expose")
    wait(session, 4000)


def _flashed_patch(session: Session, card: dict) -> None:
    load(session, card)
    _at_patch(session, card)


def _at_burn(session: Session, card: dict) -> None:
    _ready(session, card)
    keys(session, "expose")
    until_dark(session)


def _at_fit(session: Session, card: dict) -> None:
    _at_burn(session, card)
    keys(session, "expose")
    until_dark(session)


def _printed(session: Session, card: dict) -> None:
    _at_fit(session, card)
    while session.box.state in ("ready", "exposing"):
        keys(session, "expose")
        if session.lamp.lit:
            until_dark(session)


def _ledger(session: Session, card: dict) -> None:
    _printed(session, card)
    to_screen(session, "ledger")


def _ledger_of_two(session: Session, card: dict) -> None:
    _printed(session, card)
    _ledger(session, card)


def _ledger_of_cut_off(session: Session, card: dict) -> None:
    _exposing(session, card)
    session.reset()
    keys(session, "back")
    to_row(session, "End this run")
    keys(session, "press")
    to_screen(session, "ledger")


def _ledger_printed_again(session: Session, card: dict) -> None:
    _ledger(session, card)
    to_row(session, "Print this again")
    keys(session, "press")


def _ledger_damaged(session: Session, card: dict) -> None:
    _printed(session, card)
    for name in [name for name in session.disk.files if name.startswith("ledger-")]:
        session.disk.files[name] = session.disk.files[name][:-1]
    to_screen(session, "ledger")
    to_row(session, "Print this again")
    keys(session, "press")


def _at_patch(session: Session, card: dict) -> None:
    to_screen(session, "strip")
    keys(session, "expose")


def _strip_given(session: Session, card: dict) -> None:
    _at_patch(session, card)
    while session.box.state == "ready":
        keys(session, "expose")
        until_dark(session)


def _flashed(enter, after: bool = False, ms: int = 1200):
    """There with a flash through the last pass's filter."""

    def more(session: Session, card: dict) -> None:
        flash = {"light_ms": ms, "filter": card["passes"][-1]["filter"]}
        enter(session, {**card, "flash": {**flash, "after": True} if after else flash})

    return more


def _changed(session: Session, card: dict) -> None:
    load(session, card)
    set_row(session, "Dial step", 1)


def _stopping(session: Session, card: dict) -> None:
    """Put out, and the lamp has not yet reported: what the box asks for is not performed."""
    _exposing(session, card)
    session.box.handle("back", session.now_ms)


def _stopping_view(session: Session, card: dict) -> None:
    keys(session, "lamp")
    session.box.handle("back", session.now_ms)


def _late(session: Session, card: dict) -> None:
    _exposing(session, card)
    session.advance(session.lamp.ends_ms - 50)
    keys(session, "tick")  # the box tells the time by its inputs


def _viewed(session: Session, card: dict) -> None:
    keys(session, "lamp")
    until_dark(session)


def _refused(session: Session, card: dict) -> None:
    dodges = [{"area": mark["area"], "stops120": -240} for mark in card["passes"][0]["marks"]]
    load(session, {**card, "passes": [{**card["passes"][0], "base_ms": 4000, "marks": dodges}]})
    keys(session, "expose")


def _arming(session: Session, card: dict) -> None:
    """A second contact is there, and has to close first."""
    _held(session, card)
    session.box.watch.has_contact = True
    keys(session, "expose")


def _arming_to_view(session: Session, card: dict) -> None:
    session.box.watch.has_contact = True
    keys(session, "lamp")


def _with_delay(enter, *events: str):
    """There with a start delay of 5 s."""

    def more(session: Session, card: dict) -> None:
        ask(session, "bench.set", values={"start_delay_s": 5})
        enter(session, card)
        keys(session, *events)

    return more


def _held_burn(session: Session, card: dict) -> None:
    _at_burn(session, card)
    keys(session, "expose")
    wait(session, 5000 + 2000)
    keys(session, "expose")


def _late_in_delay(session: Session, card: dict) -> None:
    _with_delay(_at_patch, "expose")(session, card)
    wait(session, 4700)


def _away(session: Session, card: dict) -> None:
    ask(session, "handover")


def _counting(session: Session, card: dict) -> None:
    ask(session, "accept.count", on=1)


def _counting_beside_a_run(session: Session, card: dict) -> None:
    _exposing(session, card)
    keys(session, "back", "back")
    _counting(session, card)


def _on(name: str):
    def enter(session: Session, card: dict) -> None:
        load(session, card)
        to_screen(session, name)

    return enter


def _opened(label: str, screen: str = "print"):
    def enter(session: Session, card: dict) -> None:
        _on(screen)(session, card)
        to_row(session, label.replace("AREA", card["passes"][0]["marks"][2]["area"]))
        keys(session, "press")
        session.input("dial", 1)

    return enter


def _then(enter, *events: str):
    def more(session: Session, card: dict) -> None:
        enter(session, card)
        keys(session, *events)

    return more


def _cut_off(enter):
    def more(session: Session, card: dict) -> None:
        enter(session, card)
        session.reset()

    return more


def _nothing(session: Session, card: dict) -> None:
    pass


def _undone(session: Session, card: dict) -> None:
    _changed(session, card)
    keys(session, "back")
    to_row(session, "Undo")
    keys(session, "press")


def _listening_late(enter, *events: str):
    """There with a settling time, and keys pressed within it."""

    def more(session: Session, card: dict) -> None:
        ask(session, "bench.set", values={"settle_ms": 700})
        enter(session, card)
        for event in events:
            session.input(event)

    return more


def _asked(session: Session, card: dict) -> None:
    _exposing(session, card)
    keys(session, "back", "back")
    to_screen(session, "print")
    keys(session, "expose")


def undo(session: Session) -> None:
    """Take the newest change back, as a printer does: on the list of screens."""
    box = session.box
    while box.panel.screen.key != "screens":
        session.input("back")
    to_row(session, "Undo")
    session.input("press")


def _listening(session: Session, card: dict) -> None:
    _on("bench")(session, card)
    to_row(session, "Listen")
    session.input("press")


def _silent(session: Session, card: dict) -> None:
    session.box.asked.set_bench({"volume": 0})
    _listening(session, card)


def _in_trays(session: Session, card: dict) -> None:
    """A sheet in the fix, one whose image is to be seen, and a free place."""
    _on("trays")(session, card)
    keys(session, "press")
    wait(session, 75_000)
    session.input("dial", 5)
    keys(session, "press")
    session.input("dial", 9)
    keys(session, "press")
    session.input("dial", -9)
    session.input("dial", 1)
    keys(session, "press")
    wait(session, 8000)


class PlainCell(Watcher):
    """A light cell without noise. `counts` is what a conversion of 600 ms counts under the lamp, `dark` what
    any does in the dark. For doses it gathers the light of the lamp's whole time, less `lag_ms` a strike."""

    def __init__(self, session: Session, lag_ms: int = 0) -> None:
        self.session = session
        self.counts, self.dark = 30000, 3
        self.lag_ms = lag_ms
        self.is_plugged = True
        self._on_ms = self._off_ms = -1
        session.read_cell = self.read
        session.watchers.append(self)

    def lamp(self, now_ms: int, on: bool) -> None:
        if on:
            self._on_ms = now_ms + self.lag_ms
        else:
            self._off_ms = now_ms

    def read(self, range: int, from_ms: int, to_ms: int) -> int:
        if not self.is_plugged:
            return GONE
        if range == DOSES:
            off_ms = to_ms if self.session.lamp.lit else min(to_ms, self._off_ms)
            counts = self.dark + self.counts * max(0, off_ms - max(from_ms, self._on_ms)) // 600
            return OVER if counts > 58000 else counts
        counts = self.dark + (self.counts if self.session.lamp.lit else 0)
        if range == BRIGHT:
            counts = counts * 100 // RATIO_HUNDREDTHS
        return OVER if counts > 58000 else counts


CELL_READ_MS = 4300
"""The lamp and two conversions that are passed over, and four."""


def _cell(session: Session, card: dict, strip: bool = True) -> PlainCell:
    """On the Light cell screen, with a paper record at work, and a strip for it."""
    session.box.papers.keep_text("vc-2019", encode(VC_2019))
    card = {**card, "passes": card["passes"][:1], "record": "vc-2019"}
    card["passes"][0]["filter"] = "2"
    load(session, card)
    cell = PlainCell(session)
    to_screen(session, "light_cell")
    if strip:
        totals = [2000 << patch for patch in range(6)]
        session.box.panel.screen._strips.keep(CellStrip("vc-2019", "2", 120_000, 5, totals))
    wait(session, CELL_READ_MS)
    return cell


def _with_cell(session: Session, card: dict) -> None:
    _cell(session, card)


def _filter_in(session: Session, card: dict) -> None:
    _cell(session, card)
    session.box.run.filter_in = "2"
    keys(session, "lamp")
    wait(session, CELL_READ_MS)


def _without_strip(session: Session, card: dict) -> None:
    _cell(session, card, strip=False)


def _without_cell(session: Session, card: dict) -> None:
    _cell(session, card).is_plugged = False
    wait(session, 2000)


def _at_spot(*counts: int, strip: bool = True):
    """Under the lamp, with a spot taken at all of `counts` but the last."""

    def enter(session: Session, card: dict) -> None:
        cell = _cell(session, card, strip)
        keys(session, "lamp")
        for each in counts:
            cell.counts = each
            wait(session, CELL_READ_MS)
            if each != counts[-1]:
                keys(session, "press")

    return enter


def _spots_taken(session: Session, card: dict) -> None:
    _at_spot(1787, 20047, 20000)(session, card)
    keys(session, "lamp")
    wait(session, CELL_READ_MS)


def _of_spots(label: str, *events: str):
    def enter(session: Session, card: dict) -> None:
        _spots_taken(session, card)
        to_row(session, label)
        keys(session, *events)

    return enter


def _with_sheets(enter):
    """There with sheets on their way."""

    def more(session: Session, card: dict) -> None:
        _in_trays(session, card)
        enter(session, card)

    return more


def _full_trays(session: Session, card: dict) -> None:
    _in_trays(session, card)
    session.input("dial", 1)
    keys(session, "press")
    wait(session, 4000)


def _on_test(key: str, *events: str):
    """The screen of a guided test, and then these keys."""

    def enter(session: Session, card: dict) -> None:
        load(session, card)
        to_screen(session, "tests")
        to_row(session, HEADINGS[key])
        session.input("press")
        keys(session, *events)

    return enter


def _after(enter, ms: int, *events: str):
    """After `enter` and so many ms these keys."""

    def late(session: Session, card: dict) -> None:
        enter(session, card)
        wait(session, ms)
        keys(session, *events)

    return late


def _on_cell_test(key: str, *events: str):
    """The screen of a test of the light cell with the dark read, and then these keys."""

    def enter(session: Session, card: dict) -> None:
        PlainCell(session, lag_ms=50)
        _on_test(key)(session, card)
        wait(session, 3000)
        keys(session, *events)

    return enter


def _cut_off_cell_test(session: Session, card: dict) -> None:
    _on_cell_test("cell_lag", "expose", "expose")(session, card)
    wait(session, 5000)
    session.reset()
    keys(session, "press")


def _test_given(key: str, *events: str):
    """A guided test that is given to its end, and then these keys."""

    def enter(session: Session, card: dict) -> None:
        _on_test(key, "expose")(session, card)
        while session.box.in_run:
            if session.box.state == "ready":
                keys(session, "expose")
            else:
                session.advance(session.next_ms())
        keys(session, *events)

    return enter


SITUATIONS = {
    "screens": _then(_nothing, "back"),
    "new print": _nothing,
    "print screen": _on("print"),
    "print screen, a change to undo": _changed,
    "screens, a change to undo": _then(_changed, "back"),
    "screens, a change undone": _undone,
    "print screen, run refused": _refused,
    "print screen, print done": _printed,
    "strip screen": _on("strip"),
    "strip screen, strip given": _then(_strip_given, "back"),
    "shelf, no card": lambda session, card: to_screen(session, "shelf"),
    "shelf, cards": _on("shelf"),
    "trays, no sheet": _on("trays"),
    "trays, a sheet to be seen": _in_trays,
    "trays, three sheets": _full_trays,
    "trays, pressed too soon": _then(_in_trays, "press", "press"),
    "print screen, sheets in the trays": _with_sheets(_on("print")),
    "ready, sheets in the trays": _with_sheets(_ready),
    "exposing, sheets in the trays": _with_sheets(_exposing),
    "choose, sheets in the trays": _with_sheets(_strip_given),
    "tests": _on("tests"),
    "a test's screen": _on_test("safelight"),
    "a test's screen, to be read": _test_given("lag"),
    "a test's screen, read": _test_given("lag", "press", "press"),
    "tests, one read": _test_given("lag", "press", "press", "back"),
    "edit an answer": _test_given("safelight", "press"),
    "a cell's test, no cell": _on_test("cell_lag"),
    "a cell's test, dark is read": _on_cell_test("cell_lag"),
    "a cell's test, viewing": _after(_on_cell_test("cell_lag", "lamp"), 1000),
    "a cell's test, ready": _on_cell_test("cell_lag", "expose"),
    "a cell's test, exposing": _on_cell_test("cell_lag", "expose", "expose"),
    "a cell's test, between": _after(_on_cell_test("cell_lag", "expose", "expose"), 5000),
    "a cell's test, cut off": _cut_off_cell_test,
    "drift, exposing": _after(_on_cell_test("drift", "expose", "expose"), 5000),
    "drift, held": _after(_on_cell_test("drift", "expose", "expose"), 5000, "expose"),
    "a paper strip, given": _test_given("paper"),
    "edit a test's filter": _after(_on_test("shortest"), 0, "press"),
    "ready, pulses": _on_test("lag", "expose"),
    "exposing pulses": _after(_on_test("lag", "expose", "expose"), 100),
    "between two pulses": _after(_on_test("lag", "expose", "expose"), 1500),
    "held between two pulses": _after(_on_test("lag", "expose", "expose"), 1500, "back"),
    "holding after a pulse": _after(_on_test("lag", "expose", "expose"), 100, "expose"),
    "held in a pulse": _after(_on_test("lag", "expose", "expose"), 100, "back"),
    "ready, to wait": _after(_on_test("safelight", "expose", "expose"), 999_900),
    "waiting": _after(_after(_on_test("safelight", "expose", "expose"), 999_900, "expose"), 5000),
    "light cell, none": _without_cell,
    "light cell, dark": _with_cell,
    "light cell, no strip": _without_strip,
    "light cell, two spots": _spots_taken,
    "viewing, a filter is in": _filter_in,
    "viewing for the first spot": _at_spot(1787),
    "viewing for the second spot": _at_spot(1787, 20047),
    "viewing too little": _at_spot(20),
    "viewing without a strip": _at_spot(1787, strip=False),
    "edit tone of the first spot": _of_spots("First spot as", "press"),
    "edit base by spots": _of_spots("Base", "press"),
    "base by spots": _of_spots("Base", "press", "press"),
    "edit filter by spots": _of_spots("Filter", "press"),
    "edit split grade by spots": _of_spots("Split grade", "press"),
    "edit size by spots": _of_spots("To this size", "press"),
    "size by spots": _of_spots("To this size", "press", "press"),
    "edit temperature": _opened("Temperature", "trays"),
    "bench": _on("bench"),
    "listen": _listening,
    "listen, sound off": _then(_silent, "press"),
    "ledger, no record": lambda session, card: to_screen(session, "ledger"),
    "ledger": _ledger,
    "ledger, a record of light cut off": _ledger_of_cut_off,
    "ledger, a damaged record": _ledger_damaged,
    "ledger, the record is the map": _ledger_printed_again,
    "edit record": _then(_ledger_of_two, "press"),
    "edit base": _opened("Base"),
    "edit filter": _opened("Filter"),
    "edit mark": _opened("Burn AREA"),
    "edit burn filter": _opened("  through"),
    "edit passes": _opened("Passes"),
    "edit mark to remove": _opened("Remove mark"),
    "edit place on shelf": _opened("Keep on shelf"),
    "edit dry-down": _opened("Dry-down"),
    "edit flash": _opened("Flash"),
    "edit a flash that is on": _flashed(_opened("Flash")),
    "edit when a flash is given": _flashed(_opened("  given")),
    "edit strip's area": _opened("Strip for", "strip"),
    "edit brightness": _opened("Brightness", "bench"),
    "edit lag": _opened("Lamp lag", "bench"),
    "edit step": _opened("Dial step", "bench"),
    "edit card to remove": _opened("Remove a card", "shelf"),
    "viewing": _then(_nothing, "lamp"),
    "viewing, ran out": _viewed,
    "ready, burn with a delay": _with_delay(_at_burn),
    "held in a burn with a delay": _with_delay(_held_burn),
    "delaying a burn": _with_delay(_at_burn, "expose"),
    "delaying a patch, late": _late_in_delay,
    "delaying the rest of a burn": _with_delay(_held_burn, "expose"),
    "ready, base": _ready,
    "ready, burn": _at_burn,
    "ready, filter": _at_fit,
    "ready, patch": _at_patch,
    "ready, paper at risk": _then(_at_burn, "lamp"),
    "exposing": _exposing,
    "exposing, too late to hold": _late,
    "exposing a burn": _then(_at_burn, "expose"),
    "exposing a patch": _then(_at_patch, "expose"),
    "held": _held,
    "viewing from held": _then(_held, "lamp", "lamp"),
    "stopping": _stopping,
    "stopping the viewing light": _stopping_view,
    "kept before light": _then(_ready, "back"),
    "kept before a filter": _then(_at_fit, "back"),
    "kept in mid-stage": _then(_exposing, "back", "back"),
    "ready, gone on with": _then(_at_burn, "back", "press"),
    "ready, negative to take out": _flashed(_ready),
    "ready, flash": _flashed(_then(_ready, "expose")),
    "exposing a flash": _flashed(_then(_ready, "expose", "expose")),
    "held in a flash": _flashed(_then(_held_soon, "expose"), ms=999_900),
    "ready, negative to put in": _flashed(_ready, after=True),
    "kept before the negative is moved": _flashed(_then(_ready, "back")),
    "strip, negative to take out": _flashed(_flashed_patch),
    "held, gone on with": _then(_exposing, "back", "back", "press"),
    "asked to end a run": _asked,
    "print screen, too early": _listening_late(_viewed, "expose"),
    "ready, settling": _listening_late(_ready),
    "held, too early": _listening_late(_held, "expose"),
    "choose": _strip_given,
    "notice, print": _cut_off(_exposing),
    "notice, strip": _cut_off(_at_patch),
    "notice, before a filter": _cut_off(_at_fit),
    "notice, flash": _cut_off(_flashed(_then(_ready, "expose", "expose"))),
    "notice, before the negative is moved": _cut_off(_flashed(_ready)),
    "notice, after viewing": _then(_cut_off(_exposing), "lamp", "lamp", "lamp"),
    "away": _away,
    "counting": _counting,
    "counting, a run kept": _counting_beside_a_run,
    "arming": _arming,
    "arming to view": _arming_to_view,
}
"""Name: what brings a powered-up session there. Between them they stand in every state but "off"."""


def situation(
    name: str,
    card: dict | None = None,
    make: Callable[..., Session] | None = None,
    panel_ms: int = 1000,
) -> Session:
    """A session in a situation; `card` is printed there, with two passes and marks as `worked_card`.

    It asks to be drawn once a second, not ten times as a box does: bases of 999.9 s are given on the way. Who
    wants to see the way there says how to `make` the session; for all others it is gone once, and each gets a
    copy of the session at its end.
    """
    card = worked_card() if card is None else card
    if make:
        return _brought_to(name, card, make, panel_ms)
    return pickle.loads(_kept_in(name, json.dumps(card), panel_ms))


def _brought_to(name: str, card: dict, make: Callable[..., Session], panel_ms: int) -> Session:
    session = new_session(panel_ms=panel_ms, make=make)
    SITUATIONS[name](session, card)
    return session


@cache
def _kept_in(name: str, card: str, panel_ms: int) -> bytes:
    kept = io.BytesIO()
    _Keeper(kept, pickle.HIGHEST_PROTOCOL).dump(_brought_to(name, json.loads(card), Session, panel_ms))
    return kept.getvalue()


class _Keeper(pickle.Pickler):
    """Keeps a refusal too, which is made of three words and not of its line."""

    def reducer_override(self, what):
        if isinstance(what, Refusal):
            return copyreg.__newobj__, (type(what), *what.args), vars(what)
        return NotImplemented
