"""Carrying a print over: to another size, aperture or paper without starting again.

What must live here: what a length, an aperture or a paper record means in stops. By size and aperture all
bases move by one offset, and to another paper each by its own filter's; marks stay, since they are in stops,
but for a burn through a filter of its own. Lengths are in 0.1 mm; apertures in sixths of a stop from f/1, so
that thirds and halves are whole numbers.
"""

from timing_core.light.printing_map import (
    APERTURE_MAX,
    LENGTH_MAX_MM10,
    LENGTH_MIN_MM10,
    MARK_FURTHEST,
    SHEET,
    PrintingMap,
)
from timing_core.light.stops import (
    BASE_MAX_MS,
    BASE_MIN_MS,
    FURTHEST,
    STOP,
    offset_between,
    scale,
    stops_text,
)
from timing_core.refusal import Refusal

SIXTH = STOP // 6

# ISO 517:2008 and older lenses' scales, as markings; from memory. Three to a stop, from f/1 to f/45.
_THIRDS = (
    "1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22 25 29 32 36"
    " 40 45"
)


def size_offset(print_mm10: int, new_mm10: int, negative_mm10: int) -> int:
    """Offset in 1/120 stop from a print on which a detail is `print_mm10` long to one with `new_mm10`;
    on the negative it is `negative_mm10` long (all in 0.1 mm, above 0).

    Light falls with the square of m + 1, m the magnification (R. Kingslake, Optics in Photography, from
    memory). True for a diffused light; a condenser's lies up to half a stop from it.
    """
    old, new = print_mm10 + negative_mm10, new_mm10 + negative_mm10
    return offset_between(old * old, new * new)


def aperture_offset(sixths: int, new_sixths: int) -> int:
    """Offset in 1/120 stop from one aperture to another, both in sixths of a stop from f/1."""
    return SIXTH * (new_sixths - sixths)


def aperture_text(sixths: int) -> str:
    """The marking of an aperture, which is rounded; what lies between is added: "f/8 +1/2"."""
    whole, rest = divmod(sixths, 6)
    markings = _THIRDS.split(" ")
    if rest % 2:
        return "f/%s %s" % (markings[3 * whole], stops_text(SIXTH * rest))
    return "f/" + markings[sixths // 2]


def following_aperture(sixths: int, steps: int) -> int:
    """The aperture `steps` further on a scale of thirds and halves: 0, 2, 3, 4 and 6 sixths of a stop."""
    for _ in range(abs(steps)):
        sixths += 1 if steps > 0 else -1
        if sixths % 6 in (1, 5):
            sixths += 1 if steps > 0 else -1
    return max(0, min(APERTURE_MAX, sixths))


def following_length(mm10: int, steps: int) -> int:
    """A length moved by `steps` of 0.5 mm below 100 mm, of 1 mm from there, of 2 mm from 400 mm: never more
    than 1/60 stop."""
    for _ in range(abs(steps)):
        below = mm10 if steps > 0 else mm10 - 1
        size = 5 if below < 1000 else 10 if below < 4000 else 20
        mm10 = (mm10 // size + 1) * size if steps > 0 else (-(-mm10 // size) - 1) * size
    return max(LENGTH_MIN_MM10, min(LENGTH_MAX_MM10, mm10))


def length_text(mm10: int) -> str:
    return "%d.%d mm" % (mm10 // 10, mm10 % 10)


def to_size(map: PrintingMap, new_mm10: int) -> int:
    """Carry the map over to a print on which the measured detail is `new_mm10` long. Returns the offset in
    1/120 stop. A Refusal changes nothing, and says which aperture would do."""
    measures = map.measures
    offset = size_offset(measures["print_mm10"], new_mm10, measures["negative_mm10"])
    try:
        map.carry("size", offset)
    except Refusal as refusal:
        raise _with_aperture(map, offset, refusal) from None  # what the lens can do for it
    if new_mm10 != measures["print_mm10"]:
        measures["print_mm10"] = new_mm10
        # Which sheet the other size is printed on is not known.
        for side in SHEET:
            measures.pop(side, 0)
    return offset


def to_aperture(map: PrintingMap, new_sixths: int) -> int:
    """Carry the map over to another aperture. Returns the offset in 1/120 stop. A Refusal changes nothing."""
    measures = map.measures
    offset = aperture_offset(measures["aperture"], new_sixths)
    map.carry("aperture", offset)
    measures["aperture"] = new_sixths
    return offset


def paper_offset(old, new, filter: str, anchor: str) -> int:
    """Offset in 1/120 stop from one paper to another, both PaperRecords, that leaves the tone `anchor` as it
    is through `filter`. Refusal if one of them has not measured that."""
    for record in (old, new):
        if not record.speed:
            raise Refusal(
                "Not carried over", "%s has no speed" % record.name, "Make a strip, or push a record with it"
            )
        if record.offset(filter, anchor) is None:
            raise Refusal(
                "Not carried over",
                "%s has not this filter" % record.name,
                "Take one that both have, on Print",
            )
    # P is 1000 by the light for a middle tone through the reference filter, so less of it wants more light.
    return offset_between(new.speed, old.speed) + new.offset(filter, anchor) - old.offset(filter, anchor)


def to_paper(map: PrintingMap, old, new, anchor: str) -> list:
    """Carry the map over to another paper, each pass and burn by its own filter; `old` and `new` are
    PaperRecords. Returns the offset of each pass in 1/120 stop. A Refusal changes nothing.

    The filters of two papers differ by more than the papers do: moved alike, the hard pass of a pair may be
    a stop off.
    """
    offsets = [paper_offset(old, new, own.filter, anchor) for own in map.passes]
    bases = [scale(map.base_ms(index), offsets[index]) for index in range(len(offsets))]
    burns = []
    for index in range(len(offsets)):
        own = map.passes[index]
        for mark in own.marks:
            offset = _offset_or(offsets[index], old, new, mark.filter or own.filter, anchor)
            if offset != offsets[index]:
                light_ms = scale(map.mark_ms(index, mark), offset)
                burns.append((mark, burn_stops120(mark.area, bases[index], light_ms)))
    if offsets.count(offsets[0]) == len(offsets):
        map.carry("paper", offsets[0])
    else:
        flash = map.flash
        if flash:
            flash = flash.moved(_offset_or(offsets[0], old, new, flash.filter, anchor))
        map.set_bases(bases)
        map.flash = flash
    for mark, stops120 in burns:
        mark.stops120 = stops120
    map.record = new.name
    return offsets


def burn_stops120(area: str, base_ms: int, light_ms: int) -> int:
    """The offset in 1/120 stop of a burn of `light_ms` over a base. Refusal if a mark has no such one."""
    stops120 = offset_between(base_ms, base_ms + light_ms)
    if not 0 < stops120 <= MARK_FURTHEST:
        why = "the burn of %s would be %s" % (area, stops_text(stops120))
        raise Refusal("Not carried over", why, "Change it on Print first")
    return stops120


def _offset_or(offset: int, old, new, filter: str, anchor: str) -> int:
    """The offset between two papers through `filter`, or `offset` where one of them has not measured it."""
    if old.offset(filter, anchor) is None or new.offset(filter, anchor) is None:
        return offset
    return paper_offset(old, new, filter, anchor)


def nearest_filter(old, new, filter: str) -> str:
    """The filter of `new` whose range is nearest to that of `filter` on `old`; the same one where another is
    no nearer."""
    ranges = {own[0]: own[1] for own in old.filters}
    found = [(abs(own[1] - ranges[filter]), own[0] != filter, own[0]) for own in new.filters]
    return min(found)[2]


def _with_aperture(map: PrintingMap, offset: int, refusal: Refusal) -> Refusal:
    """The refusal of a size, with what the lens would have to do first."""
    bases = [map.base_ms(index) for index in range(len(map.passes))]
    if map.flash:
        bases.append(map.flash.light_ms())
    for sign, worst, limit in ((1, max(bases), BASE_MAX_MS), (-1, min(bases), BASE_MIN_MS)):
        if -FURTHEST <= offset <= FURTHEST and sign * scale(worst, offset) > sign * limit:
            thirds = -(-sign * offset_between(limit, scale(worst, offset)) // (2 * SIXTH)) or 1
            by = stops_text(2 * SIXTH * thirds)[1:]
            wanted = map.measures.get("aperture", -1) - sign * 2 * thirds
            stop = "stop" if thirds <= 3 else "stops"
            todo = "%s the lens by %s %s first" % ("Open" if sign > 0 else "Close", by, stop)
            if 0 <= wanted <= APERTURE_MAX and "aperture" in map.measures:
                todo += ", to " + aperture_text(wanted)
            return Refusal(refusal.what, refusal.why, todo)
    return refusal
