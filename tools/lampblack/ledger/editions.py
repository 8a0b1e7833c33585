"""Editions: which prints are of one card, which of them of the same map, and what has drifted between them.

What must live here: comparing prints. It may not know a database, a port or a table.

Prints are of one edition if their card has the same name and the same negative. A card that nobody has named
says nothing of that: its prints are of one edition only while they are of the same map. Two maps are the same
if the sheet is to get the same light.
"""

import json
from collections import Counter
from collections.abc import Iterable
from typing import Any, NamedTuple

from lampblack.ledger.entries import Entry, Record, card_of
from lampblack.text.units import percent_exact, seconds_exact
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import BASE_MIN_MS, STOP, offset_between, stops_text

UNNAMED = PrintingMap.new(BASE_MIN_MS, "", 0).name
"""What the box calls a print that nobody has named."""


class Print(NamedTuple):
    """A print of an edition. `map` is the same letter for prints of the same map; `number` counts, from 1,
    the whole ones of `of` such, and is 0 for one that is not whole. `first` is the record of the edition's
    first whole print, which it is compared with."""

    entry: Entry
    map: str
    number: int
    of: int
    first: Record

    @property
    def changes(self) -> list[str]:
        """What of its map is another, in words."""
        return map_changes(self.first["map"], self.entry.record["map"])

    @property
    def drift(self) -> list[str]:
        """By stage, what of the light given is another, in words."""
        return light_drift(self.first["stages"], self.entry.record["stages"])


class Edition(NamedTuple):
    """The prints of one card, in the order of time."""

    name: str
    title: str
    negative: str
    prints: list[Print]

    @property
    def whole(self) -> list[Print]:
        return [own for own in self.prints if own.number]


def editions(entries: Iterable[Entry]) -> list[Edition]:
    """The editions of these entries, which are in the order of time; strips and tests are passed over."""
    groups: dict[tuple[str, ...], list[Entry]] = {}
    for entry in entries:
        if entry.record["kind"] == "print":
            groups.setdefault(_edition_of(entry.record), []).append(entry)
    return [_edition(group) for group in groups.values()]


def _edition_of(record: Record) -> tuple[str, ...]:
    name, _, negative, _ = card_of(record)
    return (name, negative, _light_of(record)) if name == UNNAMED else (name, negative)


def _edition(entries: list[Entry]) -> Edition:
    first = next((entry for entry in entries if entry.record["whole"]), entries[0]).record
    lights = [_light_of(entry.record) for entry in entries]
    letters = {light: _letter(count) for count, light in enumerate(dict.fromkeys(lights))}
    of = Counter(light for light, entry in zip(lights, entries) if entry.record["whole"])
    so_far: Counter[str] = Counter()
    prints = []
    for light, entry in zip(lights, entries):
        is_whole = entry.record["whole"]
        so_far[light] += is_whole
        number = so_far[light] if is_whole else 0
        prints.append(Print(entry, letters[light], number, of[light], first))
    name, title, negative, _ = card_of(entries[-1].record)
    return Edition(name, title, negative, prints)


def _letter(count: int) -> str:
    """A, B and on to Z, AA, AB."""
    return (_letter(count // 26 - 1) if count >= 26 else "") + chr(ord("A") + count % 26)


def _light_of(record: Record) -> str:
    """What the sheet is to get, as a text that is equal for equal light. The first form of a record has only
    the light of its stages."""
    map = record["map"]
    if map is None:
        planned: Any = [[own["stage"], own["filter"], own["light_ms"]] for own in record["stages"]]
    else:
        passes = [
            [
                own["filter"],
                own["base_ms"],
                [[mark["area"], mark["stops120"], mark.get("filter", "")] for mark in own["marks"]],
            ]
            for own in map["passes"]
        ]
        planned = {"passes": passes, "dry_down_pm": _dry_down_pm(map), "flash": map.get("flash", {})}
    return json.dumps(planned, sort_keys=True)


def _dry_down_pm(map: dict[str, Any]) -> int:
    return map["dry_down_pm"] if map["dry_down"] else 0


# --- in words


def map_changes(first: dict[str, Any] | None, now: dict[str, Any] | None) -> list[str]:
    """What of the light differs from one map to another."""
    if first is None or now is None:
        return []
    changes = []
    one = max(len(first["passes"]), len(now["passes"])) == 1
    for count in range(max(len(first["passes"]), len(now["passes"]))):
        of = "" if one else f" of pass {count + 1}"
        before = first["passes"][count] if count < len(first["passes"]) else None
        after = now["passes"][count] if count < len(now["passes"]) else None
        if before is None or after is None:
            changes.append(f"pass {count + 1} {'new' if before is None else 'gone'}")
        else:
            changes += _pass_changes(before, after, of)
    cuts = [percent_exact(_dry_down_pm(map)) if _dry_down_pm(map) else "off" for map in (first, now)]
    changes += _change("dry-down", *cuts)
    changes += _change("flash", *(_flash(map) for map in (first, now)))
    return changes


def _pass_changes(before: dict[str, Any], after: dict[str, Any], of: str) -> list[str]:
    changes = _change(f"filter{of}", *(own["filter"] or "none" for own in (before, after)))
    if before["base_ms"] != after["base_ms"]:
        stops120 = offset_between(before["base_ms"], after["base_ms"])
        times = f"{seconds_exact(before['base_ms'])} to {seconds_exact(after['base_ms'])}"
        changes.append(f"base{of} {stops_text(stops120)}" if stops120 else f"base{of} {times}")
    marks = [_marks(own) for own in (before, after)]
    for area in dict.fromkeys([*marks[0], *marks[1]]):
        changes += _change(f"{area}{of}", *(own.get(area, "none") for own in marks))
    return changes


def _marks(own: dict[str, Any]) -> dict[str, str]:
    """By area, what it gets; an area may have several marks."""
    found: dict[str, list[str]] = {}
    for mark in own["marks"]:
        filter = f" through {mark['filter']}" if mark.get("filter") else ""
        found.setdefault(mark["area"], []).append(f"{stops_text(mark['stops120'])}{filter}")
    return {area: " and ".join(marks) for area, marks in found.items()}


def _flash(map: dict[str, Any]) -> str:
    own = map.get("flash")
    if not own:
        return "none"
    filter = f" through {own['filter']}" if own.get("filter") else ""
    return f"{seconds_exact(own['light_ms'])}{filter}{' at the end' if own.get('after') else ''}"


def _change(what: str, before: str, after: str) -> list[str]:
    return [] if before == after else [f"{what} {before} to {after}"]


def light_drift(first: list[dict[str, Any]], now: list[dict[str, Any]]) -> list[str]:
    """By stage, the light given in stops against the first print's, where that is 1/240 stop or more."""
    before, after = _given(first), _given(now)
    drift = []
    for stage in dict.fromkeys([*before, *after]):
        own, other = before.get(stage, 0), after.get(stage, 0)
        if own > 0 and other > 0:
            if stops120 := offset_between(own, other):
                drift.append(f"{stage} {stops120 / STOP:+.2f}")
        elif own > 0 or other > 0:
            drift.append(f"{stage} {'not given' if own else 'new'}")
    return drift


def _given(stages: list[dict[str, Any]]) -> dict[str, int]:
    """By stage, the light given in ms; the same stage may come more than once."""
    given: Counter[str] = Counter()
    for own in stages:
        given[own["stage"]] += own["given_ms"]
    return dict(given)
