"""Guided tests: what a darkroom learns of its lamp, its paper and its safelight.

What must live here: for each test its settings, the stages of its run, its questions, and what the answers
make of them. A test is plain data: {"test": its key, and what it was made with}. It is worked through like a
print (see `run`). Most end in something to be read when it is developed; the last two need no paper, since
the light cell reads them (see `cell_doses`).

Where two bands of one piece are compared, the left half is the first of them.
"""

from timing_core.light.bench import Bench
from timing_core.light.lamp_metering import DRIFT_MS, LONG_STRIKE_MS, REPEATS, STRIKE_MS, UNITS
from timing_core.light.plan import (
    COVER,
    FRESH,
    NEGATIVE,
    PULSES,
    WAIT,
    WHOLE,
    Stage,
    check_light,
    filter_text,
    fit,
)
from timing_core.light.printing_map import Flash, PrintingMap
from timing_core.light.stops import clock_text, per_cent_text, per_mille_less, scale, seconds_text
from timing_core.platform import const
from timing_core.refusal import Refusal

TESTS = ("lag", "shortest", "drydown", "safelight", "flash", "paper", "cell_lag", "drift")
LAG, SHORTEST, DRY_DOWN, SAFELIGHT, FLASHES, PAPER, CELL_LAG, DRIFT = TESTS
OF_THE_CELL = (CELL_LAG, DRIFT)
HEADINGS = {
    LAG: "Lamp lag",
    SHORTEST: "Shortest light",
    DRY_DOWN: "Dry-down",
    SAFELIGHT: "Safelight",
    FLASHES: "Flash",
    PAPER: "Paper strip",
    CELL_LAG: "Lag by light cell",
    DRIFT: "Drift by light cell",
}

# What a setting of a test is
CHOICE, TIME, FILTER = 1, 2, 3
_LAG_STRIPS = ("to 150 ms", "to 300 ms", "fine")
_DRY_STRIPS = ("0 to 20 %", "fine")
_LIGHTS = ("safelight", "display", "both")
_LADDERS = ("to 7 min", "to 28 min")
_RANGES = ("up to R 60", "up to R 110", "up to R 160", "up to R 180")
SETTINGS = {
    LAG: (("strip", "Strip", CHOICE, _LAG_STRIPS), ("filter", "Filter", FILTER, -1)),
    SHORTEST: (("filter", "Filter", FILTER, -1),),
    DRY_DOWN: (("strip", "Strip", CHOICE, _DRY_STRIPS),),
    SAFELIGHT: (
        ("light", "Try", CHOICE, _LIGHTS),
        ("ladder", "Times", CHOICE, _LADDERS),
        ("grey_ms", "Grey", TIME, 0),
        ("filter", "Filter", FILTER, 0),
    ),
    FLASHES: (("first_ms", "First patch", TIME, 1000), ("filter", "Filter", FILTER, 0)),
    PAPER: (
        ("range", "Range", CHOICE, _RANGES),
        ("first_ms", "First patch", TIME, 0),
        ("filter", "Filter", FILTER, 0),
    ),
    CELL_LAG: (),
    DRIFT: (),
}
"""By test: each setting's key, label and kind, and its choices, its time at first in ms (0: the print's
base; of a paper strip, by its range), or which filter of the drawer it is at first."""

# Lamp lag: N strikes of one light on the left half, K patches of fewer strikes on the right
_STRIKES = const(16)
_STRIKE_MS = const(500)
_PATCHES = const(7)
_LAG_STEPS_MS = (25, 50, 8)
_LAG_ZERO_AT = (7, 7, 4)
"""The patch that stands for no lag, or in the fine strip for the lag as it is."""
_LAG_LEAST_MS = const(40)
"""Of a strike on the right half. Short ones have less lag than long ones (some 10 ms of 120, by calculation),
which moves the answer by a tenth of that."""
_LAG_PM_MS = (8, 10, 7)
"""What the answer may be off by, 1 sigma: reading between half places, with what the eye, the lamp's drift,
its warm filament and the paper add (7 ms together, by calculation)."""

# Shortest light: the same light in one strike, and in many short ones
_SHORT_MS = (80, 100, 125, 200, 250, 400, 500)
_SHORT_WHOLE_MS = const(2000)

_DRY_STEPS_PM = (40, 15)
_DRY_PIECES = (6, 5)
_DRY_FINE_PM = const(30)

_LADDERS_MIN = ((1, 3, 7), (4, 12, 28))
_DISPLAY = const(1)
_UNSAFE, _BETWEEN, _LEAST = 0, 1, 2
_QUARTERS = ("Cover 1/4", "Cover half", "Cover 3/4")

_FLASH_PATCHES = const(9)
_FLASH_STEP = const(40)

_PAPER_PATCHES = const(11)
_PAPER_STEPS = (40, 60, 80, 90)
_PAPER_FIRST_MS = (1000, 1000, 500, 370)
_PAPER_LONGEST_MS = const(70000)
"""Above it paper answers long times with less than their light."""
_BLACK_TIMES = const(8)
_BLACK_MAX_MS = const(120000)

_CELL_PM_MS = const(3)
"""What a lag by the cell may be off by even if all its repeats agree: between two conversions there is a gap
that nobody has measured."""
_PAPER_LAG_STEP_MS = const(5)
_PAPER_LAG_PLACES = const(5)
_PAPER_LAG_PM_MS = const(7)
"""The lag for paper is longer than that for the cell by 0 to 20 ms: a filament is red while it rises and
falls (7 to 19 ms, by calculation)."""


def proposed(key: str, kept: dict, map: PrintingMap, bench: Bench) -> dict:
    """The test as it would be given now: its settings as they were `kept`, or at first, and what of bench and
    map it is made with."""
    test: dict = {"test": key}
    filters = bench.get("filters")
    for name, _, kind, first in SETTINGS[key]:
        if name in kept:
            test[name] = kept[name]
        elif kind == CHOICE:
            test[name] = 0
        elif kind == FILTER:
            test[name] = filters[first]
        elif key == PAPER:
            test[name] = _PAPER_FIRST_MS[test["range"]]
        else:
            test[name] = first or map.base_ms(0)
    if key == LAG:
        test["lag_ms"] = bench.get("lag_ms")
    elif key == DRY_DOWN:
        test["base_ms"], test["filter"] = map.base_ms(0), map.passes[0].filter
        test["pm"] = max(_DRY_FINE_PM, map.dry_down_pm)
    elif key in OF_THE_CELL:
        test["filter"] = ""  # the cell sees one colour of light always
    return test


def compile_test(test: dict, bench: Bench) -> list:
    """The stages of a test. Refusal if it cannot be given."""
    stages: list = []
    fit(stages, test["filter"])
    _COMPILE[test["test"]](test, stages)
    if test["test"] not in (LAG, SHORTEST, CELL_LAG, DRIFT):
        for stage in stages:
            if not stage.is_dark:
                check_light(stage, bench)
    return stages


def _add(test: dict, stages: list, kind: str, area: str, light_ms: int, task: str = "") -> Stage:
    stage = Stage(kind, area, test["filter"], light_ms, light_ms)
    if task:
        stage.task = task
    stages.append(stage)
    return stage


def _lag_at(test: dict, place: int) -> int:
    """The lag that a place of the ladder stands for, in ms."""
    strip = test["strip"]
    from_zero = 2 * (_LAG_ZERO_AT[strip] - 1) - place
    return (test["lag_ms"] if strip == 2 else 0) + from_zero * _LAG_STEPS_MS[strip] // 2


def _compile_lag(test: dict, stages: list) -> None:
    """A patch of k strikes whose light is the left half's if the lag is what the patch stands for. The times
    are the lamp's: nothing is allowed for a lag."""
    whole_ms = _STRIKES * _STRIKE_MS
    _add(test, stages, PULSES, "Pulses", whole_ms, "Cover right").pulse_ms = _STRIKE_MS
    given_ms = 0
    for patch in range(1, _PATCHES + 1):
        total_ms = whole_ms - (_STRIKES - patch) * _lag_at(test, 2 * patch - 2)
        if total_ms - given_ms < _LAG_LEAST_MS:
            raise Refusal(
                "No fine strip here",
                "a lag of %d ms leaves too little for it" % test["lag_ms"],
                "Set a lag first",
            )
        _add(test, stages, COVER, str(patch), total_ms - given_ms, "" if patch > 1 else "Cover left")
        given_ms = total_ms


def _compile_shortest(test: dict, stages: list) -> None:
    _add(test, stages, WHOLE, "Left half", _SHORT_WHOLE_MS, "Cover right")
    for patch in range(len(_SHORT_MS)):
        name = "Patch %d" % (patch + 1)
        stage = _add(test, stages, PULSES, name, _SHORT_WHOLE_MS, "Open only %d" % (patch + 1))
        stage.pulse_ms = _SHORT_MS[patch]


def _dry_pm(test: dict, place: int) -> int:
    """By how much the light of a place is cut, in per mille."""
    fine = test["strip"]
    return (test["pm"] - _DRY_FINE_PM if fine else 0) + place * _DRY_STEPS_PM[fine] // 2


def _compile_drydown(test: dict, stages: list) -> None:
    pieces = _DRY_PIECES[test["strip"]]
    for piece in range(pieces):
        light_ms = per_mille_less(test["base_ms"], _dry_pm(test, 2 * piece))
        _add(test, stages, FRESH, str(piece + 1), light_ms)
    _add(test, stages, FRESH, str(pieces + 1), test["base_ms"], "Wet piece")


def _compile_safelight(test: dict, stages: list) -> None:
    """A sheet that gets its grey before the safelight, and one that gets it after."""
    for name in ("A", "B"):
        at = len(stages)
        if name == "A":
            _add(test, stages, WHOLE, "Grey A", test["grey_ms"], "Cover edge")
        before_min = 0
        for until_min, task in zip(_LADDERS_MIN[test["ladder"]], _QUARTERS):
            stage = _add(
                test, stages, WAIT, "%s %d min" % (name, until_min), 60000 * (until_min - before_min), task
            )
            stage.safelight = test["light"] != _DISPLAY
            before_min = until_min
        if name == "B":
            _add(test, stages, WHOLE, "Grey B", test["grey_ms"], "Cover edge")
        stages[at].fresh = True


def _flash_ms(test: dict, patch: int) -> int:
    """The whole light of a patch of the flash's strip, from 0 on."""
    return scale(test["first_ms"], patch * _FLASH_STEP)


def _compile_flash(test: dict, stages: list) -> None:
    stages.append(Stage(NEGATIVE, "out", test["filter"]))
    given_ms = 0
    for patch in range(_FLASH_PATCHES):
        _add(test, stages, COVER, str(patch + 1), _flash_ms(test, patch) - given_ms)
        given_ms = _flash_ms(test, patch)


def _compile_paper(test: dict, stages: list) -> None:
    given_ms = 0
    for patch in range(_PAPER_PATCHES):
        total_ms = scale(test["first_ms"], patch * _PAPER_STEPS[test["range"]])
        _add(test, stages, COVER, str(patch + 1), total_ms - given_ms, "" if patch else "Cover white")
        given_ms = total_ms
    if given_ms > _PAPER_LONGEST_MS:
        raise Refusal(
            "The strip is too long",
            "its last patch takes %s" % seconds_text(given_ms),
            "Open the aperture, or begin with less than %s" % seconds_text(test["first_ms"]),
        )
    black_ms = min(_BLACK_TIMES * given_ms, _BLACK_MAX_MS)
    _add(test, stages, WHOLE, "Black", black_ms - given_ms, "Cover up to %d" % _PAPER_PATCHES)


def _compile_cell_lag(test: dict, stages: list) -> None:
    """One more strike at the end: when the last is over, the cell has not read all of it."""
    for name, ms, strikes in (
        ("Lag, long", LONG_STRIKE_MS, REPEATS),
        ("Lag, short", STRIKE_MS, REPEATS + 1),
    ):
        _add(test, stages, PULSES, name, strikes * ms, "Cell in light").pulse_ms = ms


def _compile_drift(test: dict, stages: list) -> None:
    _add(test, stages, WHOLE, "Drift", DRIFT_MS, "Cell in light")


_COMPILE = {
    LAG: _compile_lag,
    SHORTEST: _compile_shortest,
    DRY_DOWN: _compile_drydown,
    SAFELIGHT: _compile_safelight,
    FLASHES: _compile_flash,
    PAPER: _compile_paper,
    CELL_LAG: _compile_cell_lag,
    DRIFT: _compile_drift,
}

QUESTIONS = {
    LAG: ("Border gone at",),
    SHORTEST: ("First as dark",),
    DRY_DOWN: ("Dry like wet",),
    SAFELIGHT: ("Sheet A darker", "Sheet B darker", "Edge darker"),
    FLASHES: ("Last without tone",),
    CELL_LAG: ("Set lag",),
}
"""What is to be read when the test has come out of the trays, or is to be set by what the cell has read. Of
the tests without a question the paper strip is read at the PC, and drift says what there is to say."""


def places(test: dict) -> int:
    """How many answers there are; half patches are among those of a ladder."""
    key = test["test"]
    if key == SAFELIGHT:
        return 1 + len(_LADDERS_MIN[0])
    if key == SHORTEST:
        return len(_SHORT_MS) + 1
    if key == FLASHES:
        return _FLASH_PATCHES + 1
    if key == CELL_LAG:
        return _PAPER_LAG_PLACES
    return 2 * (_PATCHES if key == LAG else _DRY_PIECES[test["strip"]]) - 1


def answer_text(test: dict, place: int) -> str:
    """An answer: the patch, and what it stands for."""
    key = test["test"]
    if key == SAFELIGHT:
        return "from %d min" % _LADDERS_MIN[test["ladder"]][-place] if place else "nowhere"
    if key == SHORTEST:
        return "none" if place == len(_SHORT_MS) else "%d, %d ms" % (place + 1, _SHORT_MS[place])
    if key == FLASHES:
        return "%d, %s" % (place, seconds_text(_flash_ms(test, place - 1))) if place else "none"
    if key == CELL_LAG:
        ms = test["lag_ms"] + place * _PAPER_LAG_STEP_MS
        return "%d ms, paper +%d" % (ms, place * _PAPER_LAG_STEP_MS) if place else "%d ms" % ms
    of = "%d ms" % _lag_at(test, place) if key == LAG else per_cent_text(_dry_pm(test, place))
    return "%d%s, %s" % (place // 2 + 1, "½" if place % 2 else "", of)


def settle(test: dict, answers: list, map: PrintingMap, bench: Bench) -> list:
    """Set what the answers say. Returns what is kept of it, in numbers: see `told`. Refusal if nothing can be
    set by them."""
    key, place = test["test"], answers[0]
    if key == LAG:
        lag_ms = _lag_at(test, place)
        bench.set("lag_ms", lag_ms)
        return [lag_ms, _LAG_PM_MS[test["strip"]]]
    if key == CELL_LAG:
        found = settle_lag(test, place)
        bench.set("lag_ms", found[0])
        return found
    if key == SHORTEST:
        bench.set("least_ms", _SHORT_MS[place] if place < len(_SHORT_MS) else 0)
        return [bench.least_light_ms]
    if key == DRY_DOWN:
        cut_pm = _dry_pm(test, place)
        map.dry_down_pm, map.dry_down = cut_pm, cut_pm > 0
        bench.set("new_dry_down_pm", cut_pm)
        return [cut_pm]
    if key == FLASHES:
        if not place:
            raise Refusal("No flash", "the first patch has a tone already", "Begin with less, or stop down")
        after = map.flash is not None and map.flash.after
        map.flash = Flash(_flash_ms(test, place - 1), test["filter"], after)
        return [map.flash.light_ms()]
    times = _LADDERS_MIN[test["ladder"]]
    found = min([_safe(times, each) for each in answers])
    if test["light"] != _DISPLAY:
        bench.set("safelight_safe_s", found[0])
    return found


def settle_lag(test: dict, place: int) -> list:
    """The lag by the cell with what paper sees more, and what it may be off by, in ms."""
    pm_ms = _CELL_PM_MS + (test["spread_ms"] + 1) // 2
    return [test["lag_ms"] + place * _PAPER_LAG_STEP_MS, max(pm_ms, _PAPER_LAG_PM_MS) if place else pm_ms]


def told(test: dict, found: list) -> str:
    """The message of what `settle` has set."""
    key, number = test["test"], found[0]
    if key in (LAG, CELL_LAG):
        parts = (_part_of_stop(1000, found[1]), _part_of_stop(250, found[1]))
        return "Lag %d ms, +/-%d: 1 s of light is right to 1/%d stop, 0.25 s to 1/%d." % (
            number,
            found[1],
            parts[0],
            parts[1],
        )
    if key == SHORTEST:
        return "The shortest light is %d ms." % number
    if key == DRIFT:
        if number:
            return "The light is steady from %s on: under 1/240 stop a minute." % clock_text(1000 * number)
        part = "1/%d" % (UNITS // abs(found[1])) if abs(found[1]) * 2 <= UNITS else "over 1/2"
        return "Not steady in 2 minutes: %s stop a minute at last. Warm the lamp for longer." % part
    if key == DRY_DOWN:
        return "Dry-down is %s here and for new prints." % per_cent_text(number)
    if key == FLASHES:
        return "This print has a flash of %s now, %s." % (seconds_text(number), filter_text(test["filter"]))
    light = "display" if test["light"] == _DISPLAY else "safelight"
    if found[1] == _UNSAFE:
        return "Not safe: the %s fogs within %s. Change it, and test again." % (
            light,
            clock_text(2000 * number),
        )
    if found[1] == _LEAST:
        return "The %s is safe for %s or more." % (light, clock_text(1000 * number))
    return "The %s is safe for %s." % (light, clock_text(1000 * number))


def _part_of_stop(light_ms: int, pm_ms: int) -> int:
    """Which part of a stop `pm_ms` is of `light_ms`: 1 in so many, to two figures."""
    part = (693 * light_ms // pm_ms + 500) // 1000
    return (part + 5) // 10 * 10 if part > 50 else part


def _safe(times: tuple, place: int) -> list:
    """How long is safe, in s, and how it was found: half of the geometric mean of the last time without a
    change and the first with one (ANSI/NAPM IT2.26); half of the longest or shortest where nothing or
    everything has changed."""
    if place == 0:
        return [times[-1] * 60 // 2, _LEAST]
    first_s = 60 * times[-place]
    if place == len(times):
        return [first_s // 2, _UNSAFE]
    return [safe_s(first_s, 60 * times[-place - 1]), _BETWEEN]


def safe_s(first_s: int, last_s: int) -> int:
    """Half the geometric mean of the first time with a change and the last without."""
    return isqrt(first_s * last_s) // 2


def isqrt(number: int) -> int:
    """The whole part of the square root of a number not below zero, by Newton's steps."""
    root = number
    while root * root > number:
        root = (root + number // root) // 2
    return root


def duration_ms(stages: list, between_ms: int) -> int:
    """How long lights and counted dark times of a test take together."""
    whole_ms = 0
    for stage in stages:
        whole_ms += stage.light_ms
        if stage.pulse_ms:
            whole_ms += between_ms * (stage.light_ms // stage.pulse_ms - 1)
    return whole_ms
