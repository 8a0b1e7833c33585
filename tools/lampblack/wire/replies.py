"""What a box may answer: the shape of every reply, declared.

What must live here: the shapes, and what is wrong with a reply that has another. On the other end of a port
may be a newer box, a broken one or something that only looks like a box. So what is not declared here goes no
further: keys that are more are left out, and all else that is wrong makes a reply wrong as a whole.
"""

import re
from collections.abc import Callable
from datetime import datetime
from typing import Any

from timing_core.light.bench import check, setting
from timing_core.light.paper_record import PaperRecord
from timing_core.light.plain_form import is_name
from timing_core.light.printing_map import PrintingMap
from timing_core.light.tray_sequence import TraySequence
from timing_core.panel.counting import KEYS
from timing_core.records.fitted import NOTHING_FITTED, check_fitted
from timing_core.refusal import Refusal
from timing_core.wire.framing import LINE_MAX

Shape = Callable[[Any], Any]
"""Gives back what is declared of a value, or raises Wrong."""

PIECES_MOST = 100
"""Of a card or a record. The longest have some 20."""


class Wrong(Exception):
    """A reply of the wrong shape. `str()` says where and why."""


def checked(method: str, result: object) -> dict:
    """The declared part of a reply to `method`. Raises Wrong."""
    return REPLIES[method](result)


def checked_error(error: object) -> dict:
    """The declared part of a refusal. Raises Wrong."""
    return _keys(code=_number(-(1 << 31)), message=_text(LINE_MAX))(error)


# --- the kinds of value


def _text(most: int) -> Shape:
    def shape(value: Any) -> str:
        if not isinstance(value, str) or len(value) > most:
            raise Wrong(f"it is no text of up to {most} characters")
        return value

    return shape


def _number(low: int = 0, high: int = 1 << 31) -> Shape:
    def shape(value: Any) -> int:
        # JSON's true is no number, though Python's is.
        if type(value) is not int or not low <= value <= high:
            raise Wrong(f"it is no whole number from {low} to {high}")
        return value

    return shape


def _flag(value: Any) -> bool:
    if not isinstance(value, bool):
        raise Wrong("it is not true or false")
    return value


def _fitting(pattern: str, words: str) -> Shape:
    def shape(value: Any) -> str:
        if not isinstance(value, str) or not re.fullmatch(pattern, value, flags=re.ASCII):
            raise Wrong(f"it is no {words}")
        return value

    return shape


def _null_or(inner: Shape) -> Shape:
    return lambda value: None if value is None else inner(value)


def _rows(inner: Shape) -> Shape:
    def shape(value: Any) -> list:
        if not isinstance(value, list):
            raise Wrong("it is no list")
        return [_inside(str(count), inner, row) for count, row in enumerate(value)]

    return shape


def _keys(optional: dict[str, Shape] | None = None, **required: Shape) -> Shape:
    shapes = {**required, **(optional or {})}

    def shape(value: Any) -> dict:
        if not isinstance(value, dict):
            raise Wrong("it is no object")
        for key in required:
            if key not in value:
                raise Wrong(f"{key} is missing")
        return {key: _inside(key, inner, value[key]) for key, inner in shapes.items() if key in value}

    return shape


def _inside(key: str, inner: Shape, value: Any) -> Any:
    try:
        return inner(value)
    except Wrong as wrong:
        raise Wrong(f"{key}: {wrong}") from None


def _by_the_core(does: Callable[[Any], Any]) -> Shape:
    """What the core itself takes; its words say why not."""

    def shape(value: Any) -> Any:
        try:
            return does(value)
        except Refusal as refusal:
            raise Wrong(refusal.why) from None

    return shape


def _setting(key: str) -> Shape:
    def shape(value: Any) -> Any:
        check(key, value)
        return value

    return _by_the_core(shape)


def _settings(value: Any) -> dict:
    """The settings that this version knows, each within its range."""
    if not isinstance(value, dict):
        raise Wrong("it is no object")
    return {key: _inside(key, _setting(key), value[key]) for key in filter(_is_known, value)}


def _is_known(key: str) -> bool:
    try:
        setting(key)
    except Refusal:
        return False
    return True


def _moment(value: Any) -> str:
    text = _fitting("20[0-9]{2}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z", "date and time")(value)
    try:
        datetime.fromisoformat(text)
    except ValueError:
        raise Wrong("there is no such date and time") from None
    return text


def _name(value: Any) -> str:
    if not is_name(value):
        raise Wrong("it is no name on the shelf")
    return value


# --- every reply

_WORDS = _text(400)
_DIGEST = _fitting("[0-9a-f]{64}", "SHA-256 in hex")
_MS = _number(-(1 << 31))
_ASCII = _fitting(r"[ -~]*", "text in ASCII")
_PIECE: dict[str, Any] = {"of": _number(1, PIECES_MOST), "part": _number(), "text": _ASCII}
_LINES = _keys(lines=_rows(_text(LINE_MAX)), more=_flag)
_DONE = _keys(ok=_flag)
_BENCH = _keys(values=_settings)


def _fitted(key: str) -> Shape:
    def shape(value: Any) -> Any:
        return check_fitted(key, value)

    return _by_the_core(shape)


_FITTED = _keys(values=_keys({key: _fitted(key) for key in NOTHING_FITTED}), in_force=_flag)

CARD: Shape = _by_the_core(lambda plain: PrintingMap.from_dict(plain).to_dict())
SEQUENCE: Shape = _by_the_core(lambda plain: TraySequence.from_dict(plain).to_dict())
PAPER: Shape = _by_the_core(lambda plain: PaperRecord.from_dict(plain).to_dict())

_STRIP = _keys(
    kind=_WORDS,
    patches=_number(),
    step_stops120=_MS,
    step_ms=_MS,
    centred=_flag,
    origin_ms=_null_or(_MS),
    pass_index=_number(),
    mark_index=_null_or(_number()),
    over_earlier=_flag,
)
_STAGE = _keys(
    stage=_WORDS,
    filter=_WORDS,
    light_ms=_MS,
    given_ms=_MS,
    strikes=_number(),
    lag_ms=_null_or(_MS),
    at_least=_flag,
)
_TEST = _keys(
    test=_WORDS,
    filter=_WORDS,
    optional=dict.fromkeys(("lag_ms", "base_ms", "grey_ms", "first_ms"), _MS)
    | {key: _number() for key in ("strip", "pm", "light", "ladder", "range")},
)
RECORD: Shape = _keys(
    form=_number(),
    n=_number(1),
    box=_WORDS,
    kind=_WORDS,
    map=_null_or(CARD),
    strip=_null_or(_STRIP),
    whole=_flag,
    cut_off=_WORDS,
    up_s=_null_or(_number()),
    at=_null_or(_moment),
    dry_down_pm=_number(),
    stages=_rows(_STAGE),
    optional={"kept": _flag, "card": _WORDS, "title": _WORDS, "faults": _rows(_WORDS), "test": _TEST},
)
_RECORD_IN_PIECES = _keys(n=_number(1), of=_number(1, PIECES_MOST))


def _record(value: Any) -> dict:
    """A record, or where it is too long for a line, its number and the count of its pieces."""
    return (_RECORD_IN_PIECES if isinstance(value, dict) and "of" in value else RECORD)(value)


_COUNT = _number()
_KEYS_COUNTED: dict[str, Any] = dict.fromkeys(KEYS, _COUNT)
_COUNTS = _keys(None, right=_COUNT, left=_COUNT, **_KEYS_COUNTED)
_CELL = _keys(
    {"dark": _COUNT, "light": _COUNT, "lag_ms": _null_or(_COUNT), "spread_ms": _null_or(_COUNT)},
    now=_text(20),
)
_READ = _keys(
    cell=_null_or(_CELL),
    counts=_null_or(_COUNTS),
    edges=_keys(_KEYS_COUNTED),
    armed=_flag,
    sense=_number(0, 1),
    sense_edges=_COUNT,
    feedback=_number(0, 1),
    feedback_edges=_COUNT,
    ticks=_COUNT,
    light=_keys(
        lamp_ms=_MS,
        lit_ms=_MS,
        seen_ms=_MS,
        ticks=_COUNT,
        ticking_ms=_MS,
        opened_ms=_MS,
        closed_ms=_MS,
        fell_first=_flag,
    ),
)

REPLIES: dict[str, Shape] = {
    "hello": _keys(
        box=_fitting("lampblack", "box of this kind"),
        identity=_text(64),
        version=_text(32),
        wire=_number(),
        line_max=_number(),
        cards_max=_number(),
        piece=_number(),
        pieces_max=_number(),
        methods=_rows(_text(64)),
        optional={"papers_max": _number(), "sequences_max": _number()},
    ),
    "state": _keys(
        state=_WORDS,
        screen=_WORDS,
        card=_WORDS,
        lit=_flag,
        safelight=_flag,
        run=_WORDS,
        stage=_number(),
        stages=_number(),
        name=_WORDS,
        left_ms=_MS,
        expose=_WORDS,
        message=_WORDS,
        kept=_WORDS,
        optional={"fault": _WORDS},
    ),
    "health": _keys({
        "board": _WORDS,
        "micropython": _WORDS,
        "restarts": _number(),
        "display": _keys(answers=_flag, sda=_number(), scl=_number()),
        "free_bytes": _number(),
        "faults": _rows(_WORDS),
    }),
    "card.list": _keys(cards=_rows(_keys(name=_name, title=_WORDS, digest=_DIGEST)), more=_flag),
    "card.part": _keys(missing=_rows(_number())),
    "card.verify": _keys(digest=_DIGEST),
    "card.commit": _keys(name=_name, digest=_DIGEST),
    "card.fetch": _keys(**_PIECE, digest=_DIGEST),
    "card.remove": _keys(removed=_flag),
    "bench.get": _BENCH,
    "bench.set": _BENCH,
    "fitted.get": _FITTED,
    "fitted.set": _FITTED,
    "ledger.read": _keys(records=_rows(_record), more=_flag, last=_number()),
    "ledger.fetch": _keys(**_PIECE, n=_number(1)),
    "clock.set": _DONE,
    "crash.read": _LINES,
    "damage.read": _LINES,
    "handover": _DONE,
    "accept.count": _DONE,
    "accept.show": _DONE,
    "accept.read": _READ,
}  # fmt: skip
