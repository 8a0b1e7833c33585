"""The printing map: every pass and mark of one print, with the facts of its card.

What must live here: bases, ties, marks and their limits. The map knows stops and milliseconds; it does not
know lamps, lag or stages (see `run`). Cards, the store and the wire carry its plain form, `to_dict`.

A base is kept as the time that the printer last set (`level_ms`) and the stops by which it was moved since
(`shift`), so that turning the dial back gives the same milliseconds again. Tied passes take the level and
shift of the pass that was set last (`lead`), times the ratio of their anchors, rounded once: the ratio
cannot drift, however often either is changed.
"""

from timing_core.canonical import encode, quoted
from timing_core.light.bench import AREA_MAX, DRY_DOWN_MAX_PM, FILTER_MAX
from timing_core.light.plain_form import (
    WrongForm,
    flag_in,
    name_in,
    number_in,
    only_keys,
    text_in,
    value_in,
)
from timing_core.light.stops import (
    BASE_MAX_MS,
    BASE_MIN_MS,
    BASES,
    FURTHEST,
    mark_ms,
    no_base_text,
    offset_between,
    plain_step,
    scale,
)
from timing_core.refusal import Refusal

PASSES_MAX = 4
MARKS_MAX = 16
MARK_FURTHEST = 600
TITLE_MAX = 40

FACTS = (
    ("negative", 60),
    ("paper", 60),
    ("developer", 60),
    ("height", 24),
    ("lens", 40),
    ("aperture", 16),
    ("notes", 400),
)
"""The facts that a card may have, all text, with their greatest length in characters."""

LENGTH_MIN_MM10 = 10
LENGTH_MAX_MM10 = 30000
SHEET_MIN_MM = 50
SHEET_MAX_MM = 2000
APERTURE_MAX = 66
SPOT_MAX = 10000000
MEASURES = (
    ("aperture", 0, APERTURE_MAX),
    ("negative_mm10", LENGTH_MIN_MM10, LENGTH_MAX_MM10),
    ("print_mm10", LENGTH_MIN_MM10, LENGTH_MAX_MM10),
    ("sheet_high_mm", SHEET_MIN_MM, SHEET_MAX_MM),
    ("sheet_wide_mm", SHEET_MIN_MM, SHEET_MAX_MM),
    ("spot", 1, SPOT_MAX),
)
"""The measures that a card may have, with their range: the aperture in sixths of a stop from f/1, and the
length of one detail on negative and print in 0.1 mm, with which a print is carried over (see `carrying`);
the sheet, which has both of its sides or neither; and what the light cell read at the first spot when the
bases were set, in counts (see `machine.light_cell`)."""
SHEET = ("sheet_wide_mm", "sheet_high_mm")

CARRIED = ("aperture", "paper", "size")
"""What a print may have been carried over to another of."""


class Mark:
    """A named area with an offset from its pass's base: below 0 a dodge, above 0 a burn, 0 neither.

    `filter` is "" for the pass's own; only a burn may name another. `with_previous` means something only
    while there is a dodge to open with (see `Pass.partner`).
    """

    def __init__(self, area: str, stops120: int, filter: str = "", with_previous: bool = False) -> None:
        self.area = area
        self.stops120 = stops120
        self.filter = filter
        self.with_previous = with_previous


class Pass:
    """One filtered exposure of the whole sheet, and its marks."""

    def __init__(self, filter: str, base_ms: int) -> None:
        self.filter = filter
        self.marks: list[Mark] = []
        self.level_ms = base_ms
        self.shift = 0
        self.anchor_ms = base_ms

    def partner(self, number: int):
        """The dodge that mark `number` may be given with: the nearest one before it. None if there is none,
        if the mark is no dodge itself, or if both are of one area, which takes no second shade."""
        mark = self.marks[number]
        if mark.stops120 < 0:
            for at in range(number - 1, -1, -1):
                if self.marks[at].stops120 < 0:
                    return self.marks[at] if self.marks[at].area != mark.area else None
        return None


class Flash:
    """Light on the paper without a negative, to lift it just under its first tone, through `filter` ("" for
    none): before the print's other light, or `after` it. Like a base it is kept as the time that was set
    and the stops by which it was moved since."""

    def __init__(self, ms: int, filter: str = "", after: bool = False) -> None:
        self.filter = filter
        self.after = after
        self.level_ms = ms
        self.shift = 0

    def light_ms(self) -> int:
        """Its light. Dry-down does not cut it: it is found for the paper, on a dry strip, and paper without a
        tone does not get darker as it dries."""
        return scale(self.level_ms, self.shift)

    def moved(self, stops120: int) -> "Flash":
        """A copy that is moved by `stops120`. Refusal if that is out of range."""
        other = Flash(self.level_ms, self.filter, self.after)
        other.shift = self.shift + stops120
        if not -FURTHEST <= other.shift <= FURTHEST:
            raise _no_flash("it moves more than 10 stops")
        if not BASE_MIN_MS <= other.light_ms() <= BASE_MAX_MS:
            raise _no_flash("it would be " + no_base_text(other.light_ms()))
        return other

    def to_dict(self) -> dict:
        plain: dict = {"light_ms": self.light_ms()}
        if self.filter:
            plain["filter"] = self.filter
        if self.after:
            plain["after"] = True
        return plain


class PrintingMap:
    """One print. Create with `new` or `from_dict`."""

    def __init__(self) -> None:
        self.name = ""
        self.title = ""
        self.tied = False
        self.dry_down = False
        self.dry_down_pm = 0
        self.facts: dict = {}
        self.measures: dict = {}
        self.carried: dict = {}
        self.record = ""
        self.flash: Flash | None = None
        self.passes: list[Pass] = []
        self._lead = 0

    @staticmethod
    def new(base_ms: int, filter: str, dry_down_pm: int) -> "PrintingMap":
        """A print with one pass and no marks; dry-down is off."""
        fresh = PrintingMap()
        fresh.name = "new-print"
        fresh.dry_down_pm = dry_down_pm
        fresh.passes.append(Pass(filter, base_ms))
        return fresh

    def copy(self) -> "PrintingMap":
        """An independent copy, ties and shifts included."""
        other = PrintingMap()
        other.name, other.title = self.name, self.title
        other.tied, other._lead = self.tied, self._lead
        other.dry_down, other.dry_down_pm = self.dry_down, self.dry_down_pm
        other.facts = dict(self.facts)
        other.measures, other.carried = dict(self.measures), dict(self.carried)
        other.record = self.record
        other.flash = self.flash.moved(0) if self.flash else None
        for own in self.passes:
            twin = Pass(own.filter, own.level_ms)
            twin.shift, twin.anchor_ms = own.shift, own.anchor_ms
            for mark in own.marks:
                twin.marks.append(Mark(mark.area, mark.stops120, mark.filter, mark.with_previous))
            other.passes.append(twin)
        return other

    # --- bases and ties

    def base_ms(self, index: int) -> int:
        """The base of pass `index`, in ms of shown time."""
        own = self.passes[index]
        if not self.tied or index == self._lead:
            return scale(own.level_ms, own.shift)
        lead = self.passes[self._lead]
        return scale(lead.level_ms, lead.shift, own.anchor_ms, lead.anchor_ms)

    def set_tied(self, tied: bool) -> None:
        """Tie or free the passes. No base is changed."""
        self._settle()
        self.tied = tied

    def set_base(self, index: int, ms: int, shift: int = 0) -> None:
        """Set a base to `ms` moved by `shift`/120 stop; tied passes follow. A Refusal changes nothing."""
        before = self._bases_state()
        own = self.passes[index]
        own.level_ms, own.shift = ms, shift
        self._lead = index
        self._keep_if_in_range(before)

    def set_base_alone(self, index: int, ms: int, shift: int = 0) -> None:
        """Set one base and leave the others: a tie gets its new ratio. A Refusal changes nothing."""
        if not self.tied:
            self.set_base(index, ms, shift)
            return
        if not -FURTHEST <= shift <= FURTHEST:
            raise _no_base("it moves more than 10 stops")
        base_ms = scale(ms, shift)
        if not BASE_MIN_MS <= base_ms <= BASE_MAX_MS:
            raise _no_base("pass %d would be %s" % (index + 1, no_base_text(base_ms)))
        self._settle()
        own = self.passes[index]
        own.level_ms = own.anchor_ms = base_ms

    def set_bases(self, bases_ms: list) -> None:
        """Set every base; a tie gets its new ratio. A Refusal changes nothing."""
        for index in range(len(bases_ms)):
            if not BASE_MIN_MS <= bases_ms[index] <= BASE_MAX_MS:
                raise _no_base("pass %d would be %s" % (index + 1, no_base_text(bases_ms[index])))
        for own, base_ms in zip(self.passes, bases_ms):
            own.level_ms = own.anchor_ms = base_ms
            own.shift = 0
        self._lead = 0

    def step_base(self, index: int, step_stops120: int, steps: int) -> None:
        """Move a base by `steps` of `step_stops120`, or of plain seconds where that is 0; ties follow."""
        if step_stops120 == 0:
            self.set_base(index, plain_step(self.base_ms(index), steps))
            return
        moved = self.passes[self._lead if self.tied else index]
        before = self._bases_state()
        moved.shift += step_stops120 * steps
        self._keep_if_in_range(before)

    def carry(self, what: str, stops120: int) -> None:
        """Move all bases by `stops120`, and note that in `carried` under `what`, one of CARRIED. A Refusal
        changes nothing.

        The flash moves with them: it comes through the same lens from the same height, so that another size
        or aperture dims it as it dims the print, and the paper is to get the light it had.
        """
        before = self._bases_state()
        flash = self.flash.moved(stops120) if self.flash else None
        for own in [self.passes[self._lead]] if self.tied else self.passes:
            own.shift += stops120
        self._keep_if_in_range(before)
        if stops120 and what != "paper":
            self.measures.pop("spot", 0)  # it was read before the lens or the size was another
        self.flash = flash
        whole = self.carried.pop(what, 0) + stops120
        if whole:
            self.carried[what] = whole

    def _bases_state(self) -> list:
        return [self._lead] + [(p.level_ms, p.shift) for p in self.passes]

    def _keep_if_in_range(self, before: list) -> None:
        bad = ""
        # All shifts first: tied bases are worked out from that of the lead, whichever pass it is.
        for own in self.passes:
            if not -FURTHEST <= own.shift <= FURTHEST:
                bad = "it moves more than 10 stops"
        for index in range(len(self.passes)):
            if not bad and not BASE_MIN_MS <= self.base_ms(index) <= BASE_MAX_MS:
                bad = "pass %d would be %s" % (index + 1, no_base_text(self.base_ms(index)))
        if bad:
            self._lead = before[0]
            for own, (level_ms, shift) in zip(self.passes, before[1:]):
                own.level_ms, own.shift = level_ms, shift
            raise _no_base(bad)

    def _settle(self) -> None:
        """Make the present bases the new anchors, from which the ratio is taken."""
        self.set_bases([self.base_ms(index) for index in range(len(self.passes))])

    # --- passes and marks

    def set_pass_count(self, count: int) -> None:
        """Keep the first `count` passes (1..PASSES_MAX). A new one is a copy of the last, without marks."""
        self._settle()
        while len(self.passes) > count:
            self.passes.pop()
        while len(self.passes) < count:
            last = self.passes[-1]
            self.passes.append(Pass(last.filter, last.level_ms))

    def split(self, soft: str, hard: str) -> None:
        """Make two tied passes of one: the same light in all, half of it through each filter. A Refusal
        changes nothing."""
        half_ms = scale(self.base_ms(0), -120)
        if half_ms < BASE_MIN_MS:
            raise _no_base("half of it is too short")
        self.set_base(0, half_ms)
        self.set_pass_count(2)
        self.tied = True
        self.passes[0].filter, self.passes[1].filter = soft, hard

    def mark_ms(self, index: int, mark: Mark) -> int:
        """Light the mark adds (positive) or takes away (negative), in ms of shown time."""
        return mark_ms(self.base_ms(index), mark.stops120)

    def step_mark(self, index: int, mark: Mark, step_stops120: int, steps: int) -> None:
        """Move a mark by `steps`. With plain seconds, it goes to the 1/120 stop nearest to the stepped
        time."""
        if step_stops120:
            offset = mark.stops120 + step_stops120 * steps
        else:
            base_ms = self.base_ms(index)
            now_ms = self.mark_ms(index, mark)
            stepped = plain_step(now_ms, steps) if now_ms >= 0 else -plain_step(-now_ms, -steps)
            offset = offset_between(base_ms, max(base_ms + stepped, 1))
            if steps > 0:
                offset = max(offset, mark.stops120 + 1)
            elif steps < 0:
                offset = min(offset, mark.stops120 - 1)
        mark.stops120 = max(-MARK_FURTHEST, min(MARK_FURTHEST, offset))

    def add_mark(self, index: int, mark: Mark) -> None:
        if len(self.passes[index].marks) >= MARKS_MAX:
            raise Refusal("No more marks", "a pass holds %d" % MARKS_MAX, "Take one away first")
        self.passes[index].marks.append(mark)

    def filters(self) -> list:
        """Every filter that the print needs, each once, in the order of passes and marks, the flash's last;
        "" is no filter."""
        found: list = []
        for own in self.passes:
            for name in [own.filter] + [mark.filter or own.filter for mark in own.marks]:
                if name not in found:
                    found.append(name)
        if self.flash and self.flash.filter not in found:
            found.append(self.flash.filter)
        return found

    # --- plain form

    def to_dict(self) -> dict:
        """The card as JSON-ready data: integers in ms, 1/120 stop and per mille; text for the rest."""
        passes = []
        for index in range(len(self.passes)):
            own = self.passes[index]
            marks = []
            for mark in own.marks:
                plain = {"area": mark.area, "stops120": mark.stops120}
                if mark.filter:
                    plain["filter"] = mark.filter
                if mark.with_previous:
                    plain["with_previous"] = True
                marks.append(plain)
            passes.append({"filter": own.filter, "base_ms": self.base_ms(index), "marks": marks})
        plain = {
            "name": self.name,
            "title": self.title,
            "tied": self.tied,
            "dry_down": self.dry_down,
            "dry_down_pm": self.dry_down_pm,
            "facts": dict(self.facts),
            "passes": passes,
        }
        if self.measures:
            plain["measures"] = dict(self.measures)
        if self.carried:
            plain["carried"] = dict(self.carried)
        if self.record:
            plain["record"] = self.record
        if self.flash:
            plain["flash"] = self.flash.to_dict()
        return plain

    def text(self) -> bytes:
        """`canonical.encode(self.to_dict())`, but many times quicker, since a board writes it after every
        change."""
        passes = []
        for index in range(len(self.passes)):
            own = self.passes[index]
            marks = []
            for mark in own.marks:
                through = '"filter":%s,' % quoted(mark.filter) if mark.filter else ""
                last = ',"with_previous":true' if mark.with_previous else ""
                own_text = (quoted(mark.area), through, mark.stops120, last)
                marks.append('{"area":%s,%s"stops120":%d%s}' % own_text)
            head = (self.base_ms(index), quoted(own.filter), ",".join(marks))
            passes.append('{"base_ms":%d,"filter":%s,"marks":[%s]}' % head)
        facts = ",".join(['"%s":%s' % (key, quoted(self.facts[key])) for key in sorted(self.facts)])
        carried, measures = _numbers_text("carried", self.carried), _numbers_text("measures", self.measures)
        flash = '"flash":%s,' % str(encode(self.flash.to_dict()), "utf-8") if self.flash else ""
        dry_down = ("true" if self.dry_down else "false", self.dry_down_pm)
        tied = "true" if self.tied else "false"
        record = '"record":%s,' % quoted(self.record) if self.record else ""
        rest = (quoted(self.name), ",".join(passes), record, tied, quoted(self.title))
        return (
            "{%s" % carried
            + '"dry_down":%s,"dry_down_pm":%d,' % dry_down
            + '"facts":{%s},%s%s' % (facts, flash, measures)
            + '"name":%s,"passes":[%s],%s"tied":%s,"title":%s}' % rest
        ).encode()

    @staticmethod
    def from_dict(card: object) -> "PrintingMap":
        """The map that `to_dict` wrote. Anything missing, unknown or out of range is a Refusal."""
        try:
            return _map_from(card)
        except WrongForm as wrong:
            raise wrong.as_refusal("The card is not taken", "the card") from None


def _numbers_text(key: str, numbers: dict) -> str:
    """A key with numbers for its value, as `PrintingMap.text` writes it; nothing where there are none."""
    if not numbers:
        return ""
    return '"%s":{%s},' % (key, ",".join(['"%s":%d' % (name, numbers[name]) for name in sorted(numbers)]))


def _no_flash(why: str) -> Refusal:
    return Refusal("The flash is not changed", why, "It goes from " + BASES)


def _no_base(why: str) -> Refusal:
    return Refusal("Base is not changed", why, "Bases go from " + BASES)


# --- reading the plain form


_MAP_KEYS = ("name", "title", "tied", "dry_down", "dry_down_pm", "facts", "passes")
_MAP_MAY_HAVE = ("measures", "carried", "record", "flash")
_PASS_KEYS = ("filter", "base_ms", "marks")
_FLASH_KEYS = ("light_ms", "filter", "after")
_MARK_KEYS = ("area", "stops120", "filter", "with_previous")


def _map_from(card) -> PrintingMap:
    only_keys(card, _MAP_KEYS, _MAP_MAY_HAVE)
    built = PrintingMap()
    built.name = name_in(card, "name")
    built.title = text_in(card, "title", 0, TITLE_MAX)
    built.tied = flag_in(card, "tied")
    built.dry_down = flag_in(card, "dry_down")
    built.dry_down_pm = number_in(card, "dry_down_pm", 0, DRY_DOWN_MAX_PM)
    facts = value_in(card, "facts")
    try:
        only_keys(facts, (), tuple(key for key, _ in FACTS))
        for key, longest in FACTS:
            if key in facts:
                built.facts[key] = text_in(facts, key, 1, longest)
    except WrongForm as wrong:
        raise wrong.inside("facts", ".") from None
    if "measures" in card:
        built.measures = measures = _numbers(card, "measures", MEASURES)
        if (SHEET[0] in measures) != (SHEET[1] in measures):
            raise WrongForm("measures", "a sheet has two sides")
    if "carried" in card:
        built.carried = _numbers(card, "carried", tuple([(key, -FURTHEST, FURTHEST) for key in CARRIED]))
    if "record" in card:
        built.record = name_in(card, "record")
    if "flash" in card:
        try:
            built.flash = _flash_from(card["flash"])
        except WrongForm as wrong:
            raise wrong.inside("flash", ".") from None
    passes = value_in(card, "passes")
    if not isinstance(passes, list) or not 1 <= len(passes) <= PASSES_MAX:
        raise WrongForm("passes", "a print has 1 to %d of them" % PASSES_MAX)
    for index in range(len(passes)):
        try:
            built.passes.append(_pass_from(passes[index]))
        except WrongForm as wrong:
            raise wrong.inside("pass %d" % (index + 1)) from None
    return built


def _flash_from(plain) -> Flash:
    only_keys(plain, (), _FLASH_KEYS)
    flash = Flash(number_in(plain, "light_ms", BASE_MIN_MS, BASE_MAX_MS))
    if "filter" in plain:
        flash.filter = text_in(plain, "filter", 1, FILTER_MAX)
    if "after" in plain:
        flash.after = flag_in(plain, "after")
        if not flash.after:
            raise WrongForm("after", "it is true, or left out")
    return flash


def _pass_from(plain) -> Pass:
    only_keys(plain, _PASS_KEYS)
    own = Pass(
        text_in(plain, "filter", 0, FILTER_MAX),
        number_in(plain, "base_ms", BASE_MIN_MS, BASE_MAX_MS),
    )
    marks = value_in(plain, "marks")
    if not isinstance(marks, list) or len(marks) > MARKS_MAX:
        raise WrongForm("marks", "a pass has up to %d of them" % MARKS_MAX)
    for number in range(len(marks)):
        try:
            own.marks.append(_mark_from(marks[number]))
        except WrongForm as wrong:
            raise wrong.inside("mark %d" % (number + 1)) from None
    return own


def _mark_from(plain) -> Mark:
    only_keys(plain, (), _MARK_KEYS)
    mark = Mark(
        text_in(plain, "area", 1, AREA_MAX),
        number_in(plain, "stops120", -MARK_FURTHEST, MARK_FURTHEST),
    )
    if "filter" in plain:
        mark.filter = text_in(plain, "filter", 1, FILTER_MAX)
        if mark.stops120 < 0:
            raise WrongForm("filter", "a dodge is made inside its pass's own exposure")
    if "with_previous" in plain:
        mark.with_previous = flag_in(plain, "with_previous")
        if not mark.with_previous:
            raise WrongForm("with_previous", "it is true, or left out")
    return mark


def _numbers(card, key: str, known: tuple) -> dict:
    """Some of the `known` numbers, each with its range; at least one."""
    plain, found = card[key], {}
    try:
        only_keys(plain, (), tuple([name for name, _, _ in known]))
        for name, low, high in known:
            if name in plain:
                found[name] = number_in(plain, name, low, high)
    except WrongForm as wrong:
        raise wrong.inside(key, ".") from None
    if not found:
        raise WrongForm(key, "it has something in it, or is left out")
    return found
