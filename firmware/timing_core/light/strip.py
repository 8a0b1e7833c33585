"""Test strips: which light each patch gets, and what choosing a patch sets.

What must live here: the patches of one strip and its stages. A strip is worked through like a print (see
`run`). Strips are given without dry-down, since a printer judges the wet strip, and with
the flash of the map: in light tones it is a good part of the light.
"""

from timing_core.light.bench import Bench
from timing_core.light.plan import BASE, COVER, FRESH, Stage, check_light, fit, flash_first
from timing_core.light.printing_map import MARK_FURTHEST, Mark, PrintingMap
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, BASES, no_base_text, offset_between, scale
from timing_core.refusal import Refusal

PATCHES_MIN = 3
PATCHES_MAX = 11
STEP_MAX_STOPS120 = 120
STEP_MIN_MS = 100
STEP_MAX_MS = 60000

STEP_CHOICES = (
    ("1/12 stop", 10, 0),
    ("1/6 stop", 20, 0),
    ("1/4 stop", 30, 0),
    ("1/3 stop", 40, 0),
    ("1/2 stop", 60, 0),
    ("1 stop", 120, 0),
    ("1 second", 0, 1000),
    ("2 seconds", 0, 2000),
    ("5 seconds", 0, 5000),
)
"""What the panel offers: name, step in 1/120 stop, step in ms (one of the two is 0)."""


class Strip:
    """A strip for a pass's base or, with `mark_index`, for that mark's area.

    `kind` is COVER (patches are covered one after another; exposures add up) or FRESH (each patch gets its
    own whole exposure). `step_stops120` is 1..120, or 0 for plain steps of `step_ms`. `origin_ms` is the
    time of the middle of the strip if `centred`, else of its first patch; None follows the map.
    `over_earlier` gives the earlier passes' bases to the whole strip first, for split grade.

    A *place* counts half patches: 0, 2, 4 … are patches, the odd ones lie between two.
    """

    def __init__(self) -> None:
        self.kind = COVER
        self.patches = 5
        self.step_stops120 = 40
        self.step_ms = 0
        self.centred = True
        self.origin_ms: int | None = None
        self.pass_index = 0
        self.mark_index: int | None = None
        self.over_earlier = False

    def copy(self) -> "Strip":
        return Strip.from_dict(self.to_dict())

    def to_dict(self) -> dict:
        """The settings as plain data, for a record."""
        return {
            "kind": self.kind,
            "patches": self.patches,
            "step_stops120": self.step_stops120,
            "step_ms": self.step_ms,
            "centred": self.centred,
            "origin_ms": self.origin_ms,
            "pass_index": self.pass_index,
            "mark_index": self.mark_index,
            "over_earlier": self.over_earlier,
        }

    @staticmethod
    def from_dict(plain: dict) -> "Strip":
        """The strip that `to_dict` wrote, from a record whose checksum was right."""
        strip = Strip()
        strip.kind, strip.patches = plain["kind"], plain["patches"]
        strip.step_stops120, strip.step_ms = plain["step_stops120"], plain["step_ms"]
        strip.centred, strip.origin_ms = plain["centred"], plain["origin_ms"]
        strip.pass_index, strip.mark_index = plain["pass_index"], plain["mark_index"]
        strip.over_earlier = plain["over_earlier"]
        return strip

    def settle(self, map: PrintingMap) -> None:
        """Point at something that the map has: at its first pass if the former target is gone."""
        if self.pass_index >= len(map.passes):
            self.pass_index, self.mark_index = 0, None
        marks = map.passes[self.pass_index].marks
        if self.mark_index is not None and self.mark_index >= len(marks):
            self.mark_index = None

    @property
    def last_place(self) -> int:
        return 2 * (self.patches - 1)

    def mark(self, map: PrintingMap) -> Mark | None:
        return None if self.mark_index is None else map.passes[self.pass_index].marks[self.mark_index]

    def filter(self, map: PrintingMap) -> str:
        """The filter through which the patches are given."""
        mark = self.mark(map)
        return (mark.filter if mark else "") or map.passes[self.pass_index].filter

    def _adds_through_another(self, map: PrintingMap) -> bool:
        return self.filter(map) != map.passes[self.pass_index].filter

    def origin(self, map: PrintingMap) -> int:
        """The time that the strip is built on: as set, or the whole light of its pass or area in the map.

        For a burn through another filter it is the burn alone, since the base is given first.
        """
        if self.origin_ms is not None:
            return self.origin_ms
        mark = self.mark(map)
        base_ms = map.base_ms(self.pass_index)
        if mark is None:
            return base_ms
        if self._adds_through_another(map):
            return map.mark_ms(self.pass_index, mark)
        return scale(base_ms, mark.stops120)

    def shift(self, place: int) -> int:
        """Offset of a place from the origin, in 1/120 stop; between two patches it rounds down."""
        middle = self.step_stops120 * (self.patches - 1) // 2 if self.centred else 0
        return place * self.step_stops120 // 2 - middle

    def total_ms(self, map: PrintingMap, place: int) -> int:
        """Whole light of a place, to the nearest ms. Plain steps may reach zero or less."""
        return self._total_ms(self.origin(map), place)

    def _total_ms(self, origin_ms: int, place: int) -> int:
        if self.step_stops120:
            return scale(origin_ms, self.shift(place))
        halves = place - (self.patches - 1 if self.centred else 0)
        return origin_ms + (halves * self.step_ms + 1) // 2

    def gives(self, map: PrintingMap) -> list:
        """What the strip is for and what each patch gets. While this is unchanged, a patch can be chosen."""
        mark = self.mark(map)
        found = [self.pass_index, mark.area if mark else None, self.filter(map)]
        origin_ms = self.origin(map)
        for patch in range(self.patches):
            found.append(self._total_ms(origin_ms, 2 * patch))
        if map.flash:
            found += [map.flash.light_ms(), map.flash.filter]
        return found

    def compile(self, map: PrintingMap, bench: Bench) -> list[Stage]:
        """The stages of the strip. Refusal if it cannot be given."""
        if self.origin(map) <= 0:
            raise Refusal(
                "No strip here", "the burn is at 0", "Give it some light first, or set the middle yourself"
            )
        if self.total_ms(map, 0) <= 0:
            raise Refusal(
                "The strip begins below zero",
                "its first patch would get no light",
                "Use smaller steps or fewer patches",
            )
        ground = list(range(self.pass_index)) if self.over_earlier else []
        if self._adds_through_another(map):
            ground.append(self.pass_index)
        if ground and self.kind == FRESH:
            raise Refusal(
                "No fresh strip here",
                "each patch would need the other light first",
                "Use a cover strip",
            )
        stages: list[Stage] = []
        if map.flash:
            # First, also where the print has it last: paper adds up light in any order.
            flash_first(stages, map.flash, bench)
        for index in ground:
            fit(stages, map.passes[index].filter)
            base_ms = map.base_ms(index)
            stage = Stage(BASE, "", map.passes[index].filter, base_ms, base_ms)
            stage.pass_index = index
            stages.append(stage)
        fit(stages, self.filter(map))
        given_ms = 0
        for patch in range(self.patches):
            total_ms = self.total_ms(map, 2 * patch)
            light_ms = total_ms - given_ms
            stage = Stage(self.kind, str(patch + 1), self.filter(map), light_ms, light_ms)
            stage.pass_index = self.pass_index
            stages.append(stage)
            if self.kind == COVER:
                given_ms = total_ms
        for stage in stages:
            if stage.light_ms or stage.kind in (COVER, FRESH):
                check_light(stage, bench)
        return stages

    def offset(self, map: PrintingMap, place: int) -> int:
        """What choosing a place sets, in 1/120 stop: how far the base moves, or the area's mark from its
        base."""
        mark = self.mark(map)
        base_ms = map.base_ms(self.pass_index)
        if self._adds_through_another(map):
            return offset_between(base_ms, base_ms + self.total_ms(map, place))
        if self.step_stops120 and self.origin_ms is None:
            return (mark.stops120 if mark else 0) + self.shift(place)
        return offset_between(base_ms, self.total_ms(map, place))

    def choose(self, map: PrintingMap, place: int) -> None:
        """Set the base, or the area's mark, to what `place` got. A Refusal changes nothing.

        Nothing else is changed: a base is set alone, and tied passes keep the new ratio.
        """
        mark = self.mark(map)
        if mark is None:
            total_ms = self.total_ms(map, place)
            if not BASE_MIN_MS <= total_ms <= BASE_MAX_MS:
                raise Refusal("Not taken", "%s is no base" % no_base_text(total_ms), "Choose " + BASES)
            if self.step_stops120:
                map.set_base_alone(self.pass_index, self.origin(map), self.shift(place))
            else:
                map.set_base_alone(self.pass_index, total_ms)
            return
        offset = self.offset(map, place)
        if not -MARK_FURTHEST <= offset <= MARK_FURTHEST:
            raise Refusal("Not taken", "it is over 5 stops from the base", "Choose a nearer patch")
        mark.stops120 = offset
        if offset < 0:
            mark.filter = ""
