"""The compiled run: what to do at the easel, stage by stage, each with its light.

What must live here: the working order, the layout of dodge windows, dry-down and the lamp's limits.
A stage is data; giving its light is the box's work (see `box`). Windows and cues lie on the light
axis: ms of light given in this stage, so that holds and lag do not move them.

Working order: for each pass, fit its filter, give its base with the dodge windows inside it, and then every
burn of the print that goes through the filter in place; at the end, filter by filter, the burns whose filter
no pass uses. A flash comes before all this or after it, so that the negative is moved as seldom as possible,
and not between exposures that have to lie on each other. The order of exposures does not matter to the paper,
so each filter is fitted as seldom as possible.
"""

from timing_core.light.bench import Bench
from timing_core.light.printing_map import Flash, PrintingMap
from timing_core.light.stops import BASE_MAX_MS, per_mille_less, seconds_down, seconds_up
from timing_core.platform import const
from timing_core.refusal import Refusal

FIT = "fit"
BASE = "base"
BURN = "burn"
COVER = "cover"
FRESH = "fresh"
WHOLE = "whole"
PULSES = "pulses"
WAIT = "wait"
FLASH = "flash"
NEGATIVE = "negative"

_STRIKE_MIN_MS = const(20)
"""The shortest strike of the lamp, whatever its lag."""

PIP_MS = 500
"""The time between lead-in pips."""
_PIPS = const(3)
CUE_LENGTH_MS = 250
"""Room for each of the other cues: neither a cue nor a tick cuts it off. `panel.sounds` makes them a little
shorter."""

OPENS = ("open", "open2")
CLOSES = ("close", "close2")
"""The cues for "shade in" and "shade out". The first window of a stage has the first of them, the second the
second, the third the first again, and so in turn: the ear tells two shades apart."""
BOTH = ("open_both", "close_both")
"""The same for two shades at one time."""


class Window:
    """When a shade is over `area`: from `open_ms` to `close_ms` of the stage's light."""

    def __init__(self, area: str, open_ms: int, close_ms: int) -> None:
        self.area = area
        self.open_ms = open_ms
        self.close_ms = close_ms


class Stage:
    """One press of EXPOSE, of kind FIT, BASE, BURN, COVER, FRESH, FLASH or NEGATIVE, or in a guided test
    WHOLE (light on all that is not covered), PULSES or WAIT.

    `light_ms` is the light that the paper gets; `shown_ms` is that time before dry-down, as the printer
    sees it. Of FIT and NEGATIVE it is 0: hands do something, and a press says that it is done; `area` of
    NEGATIVE is where the negative is to be, "in" or "out". `cues` are (ms of light, sound) pairs in order.

    PULSES gives its light in strikes of `pulse_ms`, with a dark time between them. WAIT gives none:
    `light_ms` is the time to wait, with the safelight on if `safelight`. `task` is what the hands have to do,
    where kind and area do not say it. `fresh`: it wants paper of its own.
    """

    task = ""
    pulse_ms = 0
    safelight = True
    fresh = False

    def __init__(self, kind: str, area: str, filter: str, shown_ms: int = 0, light_ms: int = 0) -> None:
        self.kind = kind
        self.area = area
        self.filter = filter
        self.shown_ms = shown_ms
        self.light_ms = light_ms
        self.pass_index = 0
        self.stops120 = 0
        self.windows: list[Window] = []
        self.cues: list = []

    @property
    def is_dark(self) -> bool:
        return not self.light_ms or self.kind == WAIT


def filter_text(filter: str) -> str:
    return "filter %s" % filter if filter else "no filter"


def lamp_ms(light_ms: int, lag_ms: int) -> int:
    """Lamp time of one strike that gives `light_ms`. Every strike costs the lag once."""
    return light_ms + lag_ms


def light_of(lamp_ms: int, lag_ms: int) -> int:
    """Light given by a strike that lasted `lamp_ms`; none if it was shorter than the lag."""
    return max(0, lamp_ms - lag_ms)


def compile_print(map: PrintingMap, bench: Bench) -> list[Stage]:
    """The run of a whole print, dry-down included. Refusal if it cannot be given."""
    flash = map.flash
    cut_pm = map.dry_down_pm if map.dry_down else 0
    waiting = []
    for index in range(len(map.passes)):
        for mark in map.passes[index].marks:
            if mark.stops120 > 0:
                waiting.append((index, mark, mark.filter or map.passes[index].filter))
    stages: list[Stage] = []
    if flash and flash.after:
        # The print before has left it out.
        fit(stages, map.passes[0].filter)
        _move_negative(stages, "in")
    elif flash:
        flash_first(stages, flash, bench)
    for index in range(len(map.passes)):
        own = map.passes[index]
        fit(stages, own.filter)
        stages.append(_base(map, index, cut_pm, bench))
        waiting = _burns(stages, map, waiting, own.filter, cut_pm, bench)
    while waiting:
        filter = waiting[0][2]
        fit(stages, filter)
        waiting = _burns(stages, map, waiting, filter, cut_pm, bench)
    if flash and flash.after:
        _flash(stages, flash, bench)
    return stages


def flash_first(stages: list, flash: Flash, bench: Bench) -> None:
    """Append a flash, and put the negative in for what follows."""
    _flash(stages, flash, bench)
    _move_negative(stages, "in")


def _flash(stages: list, flash: Flash, bench: Bench) -> None:
    fit(stages, flash.filter)
    _move_negative(stages, "out")
    stage = Stage(FLASH, "", flash.filter, flash.light_ms(), flash.light_ms())
    check_light(stage, bench)
    stages.append(stage)


def _move_negative(stages: list, where: str) -> None:
    stages.append(Stage(NEGATIVE, where, stages[-1].filter))


def fit(stages: list, filter: str) -> None:
    """Append a FIT stage unless `filter` is in place; a run always begins with one."""
    if not stages or stages[-1].filter != filter:
        stages.append(Stage(FIT, "", filter))


def _burns(stages: list, map: PrintingMap, waiting: list, filter: str, cut_pm: int, bench: Bench) -> list:
    """Append every burn through `filter`, whichever pass it belongs to, and return the burns still to
    come."""
    later = []
    for index, mark, needs in waiting:
        if needs != filter:
            later.append((index, mark, needs))
            continue
        shown_ms = map.mark_ms(index, mark)
        stage = Stage(BURN, mark.area, filter, shown_ms, per_mille_less(shown_ms, cut_pm))
        stage.pass_index, stage.stops120 = index, mark.stops120
        check_light(stage, bench)
        stages.append(stage)
    return later


def _base(map: PrintingMap, index: int, cut_pm: int, bench: Bench) -> Stage:
    own = map.passes[index]
    shown_ms = map.base_ms(index)
    stage = Stage(BASE, "", own.filter, shown_ms, per_mille_less(shown_ms, cut_pm))
    stage.pass_index = index
    check_light(stage, bench)
    lead_ms = bench.get("lead_ms")
    at_ms = open_ms = 0
    shades = apart = 0
    for number in range(len(own.marks)):
        mark = own.marks[number]
        if mark.stops120 < 0:
            if mark.with_previous and own.partner(number):
                shades += 1
            else:
                shades, open_ms = 1, at_ms + lead_ms
                apart += 1
            if shades > 2:
                raise Refusal(
                    "Too many shades in pass %d" % (index + 1),
                    "%s would be a third, for two hands" % mark.area,
                    "Give it by itself",
                )
            window = Window(mark.area, open_ms, open_ms + per_mille_less(-map.mark_ms(index, mark), cut_pm))
            if shades == 2:
                _refuse_near(stage, window)
            stage.windows.append(window)
            at_ms = max(at_ms, window.close_ms)
    if at_ms > stage.light_ms:
        raise Refusal(
            "Dodges do not fit in pass %d" % (index + 1),
            "with lead-ins %s, the base has %s" % (seconds_up(at_ms), seconds_down(stage.light_ms)),
            "Save %s, or give %s"
            % (seconds_up(at_ms - stage.light_ms), "two together" if apart > 1 else "more base"),
        )
    _lay_cues(stage)
    return stage


def _refuse_near(stage: Stage, other: Window) -> None:
    """Refuse a window that opens with the last of the stage if one of their tones would cut off another."""
    one = stage.windows[-1]
    first_ms, last_ms = sorted((one.close_ms, other.close_ms))
    near_ms = first_ms - one.open_ms
    if near_ms >= CUE_LENGTH_MS and first_ms < last_ms:
        near_ms = last_ms - first_ms
    if near_ms < CUE_LENGTH_MS:
        raise Refusal(
            "Dodges too near in pass %d" % (stage.pass_index + 1),
            "%d ms apart, and a tone takes %d ms" % (near_ms, CUE_LENGTH_MS),
            "Give one by itself",
        )


def _lay_cues(stage: Stage) -> None:
    """Pips before each opening and closing of a window, where they are clear of the tone before, then the
    tone for it: one for two edges at one time."""
    edges = []
    for index in range(len(stage.windows)):
        window = stage.windows[index]
        turn = index % len(OPENS)
        edges.append((window.open_ms, OPENS[turn], BOTH[0]))
        edges.append((window.close_ms, CLOSES[turn], BOTH[1]))
    edges.sort()
    clear_ms = 1
    for at in range(len(edges)):
        edge_ms, sound, of_both = edges[at]
        if at and edge_ms == edges[at - 1][0]:
            stage.cues[-1] = (edge_ms, of_both)
            continue
        for pip in range(_PIPS, 0, -1):
            at_ms = edge_ms - pip * PIP_MS
            if at_ms >= clear_ms:
                stage.cues.append((at_ms, "pip"))
        stage.cues.append((edge_ms, sound))
        clear_ms = edge_ms + CUE_LENGTH_MS


def check_light(stage: Stage, bench: Bench) -> None:
    """Refuse a stage that this lamp cannot give."""
    name = stage_name(stage)
    refuse_short(name, stage.light_ms, bench, "Give it more, or stop down")
    if stage.light_ms > BASE_MAX_MS:
        raise Refusal(
            "%s is too long" % name,
            "it takes %s, a stage has 999.9 s" % seconds_up(stage.light_ms),
            "Open the aperture",
        )


def least_ms(bench: Bench) -> int:
    """The shortest light that one strike can give, in ms."""
    # With a negative lag (afterglow that gives light) the strike is shorter than its light, but never zero.
    return max(bench.least_light_ms, _STRIKE_MIN_MS - bench.get("lag_ms"))


def is_too_short(light_ms: int, bench: Bench) -> bool:
    """True if one strike cannot give so little: the lamp is too slow, or its afterglow gives more."""
    return light_ms < least_ms(bench)


def refuse_short(what: str, light_ms: int, bench: Bench, todo: str) -> None:
    """Raise Refusal if one strike cannot give `light_ms`."""
    needed_ms = least_ms(bench)
    if light_ms < needed_ms:
        raise Refusal(
            "%s is too short" % what,
            "%d ms of light, and this lamp needs %d ms" % (light_ms, needed_ms),
            todo,
        )


def drawer_lacks(map: PrintingMap, bench: Bench) -> str:
    """A line that names the map's filters missing from the drawer; "" if none is missing."""
    lacking = [name for name in map.filters() if name and name not in bench.get("filters")]
    if not lacking:
        return ""
    more = " and %d more" % (len(lacking) - 3) if len(lacking) > 3 else ""
    return "The drawer lacks filter %s. See Filters on the Bench." % (", ".join(lacking[:3]) + more)


def stage_name(stage: Stage) -> str:
    """A stage in words: "Fit filter 2", "Base, pass 1", "Burn sky", "Patch 3", "Grey A"."""
    if stage.kind == FIT:
        return "Fit %s" % filter_text(stage.filter) if stage.filter else "Take filter out"
    if stage.kind == BASE:
        return "Base, pass %d" % (stage.pass_index + 1)
    if stage.kind == BURN:
        return "Burn %s" % stage.area
    if stage.kind == FLASH:
        return "Flash"
    if stage.kind == NEGATIVE:
        return "Negative %s" % stage.area
    return "Patch %s" % stage.area if stage.kind == COVER or stage.kind == FRESH else stage.area


def stage_task(stage: Stage) -> str:
    """What the hands have to do at this stage, in words short enough to be large."""
    if stage.task:
        return stage.task
    if stage.kind == COVER:
        return "Cover up to %d" % (int(stage.area) - 1) if stage.area != "1" else "All open"
    if stage.kind == FRESH:
        return "Fresh piece %s" % stage.area
    if stage.windows:
        shades: list = []
        open_ms = 0
        for window in stage.windows:
            if window.open_ms == open_ms:
                shades[-1] += " + " + window.area
            else:
                shades.append(window.area)
            open_ms = window.open_ms
        return "Shade " + ", ".join(shades)
    return stage_name(stage)
