"""The pictures of the build show every part once, where the board has it; what is drawn wrong is found."""

import re
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace
from math import cos, radians, sin

import pytest

from hardware import probes
from hardware.board_picture import LOOKS, SCALE, PictureError
from hardware.checks.ohms import READINGS
from hardware.circuit import HERE, Circuit
from hardware.layout import Layout
from hardware.step_pictures import MADE, PLUGGED_STEP, pictures

SVG = "{http://www.w3.org/2000/svg}"
NEAR_MM = 0.02
LARGEST_BYTES = 150_000
ON_THE_WAY = ("test-rows.svg", "test-readings.svg")

ALONG = {"pico": None, "encoder": (0.0, 1.0), "key": (1.0, 0.0), "test-point": None}
"""From the first pad to the next that is drawn, before the part is turned; down the row of a header."""


@pytest.fixture(scope="module")
def made(circuit, layout) -> dict[str, str]:
    return pictures(circuit, layout)


def drawn(svg: str, mark: str, side: str, layout: Layout) -> dict[str, list[tuple[str, float, float]]]:
    """Part -> its pads (number, x, y), in mm on the board seen from the front, as a picture shows them."""
    found: dict[str, list[tuple[str, float, float]]] = {}
    for group in ET.fromstring(svg).iter(f"{SVG}g"):
        ref = group.attrib.get(mark)
        if ref:
            assert ref not in found, f"{ref} is twice in one picture"
            found[ref] = []
            for circle in group.iter(f"{SVG}circle"):
                if "data-pad" in circle.attrib:
                    x, y = (float(circle.attrib[name]) / SCALE for name in ("cx", "cy"))
                    x = layout.size[0] - x if side == "back" else x
                    found[ref].append((circle.attrib["data-pad"], x, y))
    return found


def faults(made: dict[str, str], circuit: Circuit, layout: Layout) -> list[str]:
    """A line for each part that is not put in once, where the parts file has it."""
    lines = []
    times: Counter[str] = Counter()
    for name, svg in made.items():
        step = name.removesuffix(".svg")
        if not step.isdigit():
            continue
        side = "back" if "turned over" in svg else "front"
        for ref, pads in drawn(svg, "data-new", side, layout).items():
            part = circuit.parts[ref]
            times[ref] += 1
            if part.step != int(step) or part.side != side:
                lines.append(f"{ref} is put in in step {step}, on the {side}")
            lines += misplaced(ref, pads, circuit)
    for part in circuit.parts.values():
        if times[part.ref] != part.fitted:
            lines.append(f"{part.ref} is put in {times[part.ref]} times")
    return lines


def misplaced(ref: str, pads: list[tuple[str, float, float]], circuit: Circuit) -> list[str]:
    part = circuit.parts[ref]
    x, y, turn = part.place
    numbers = [number for number, _, _ in pads]
    if not set(part.pads) <= set(numbers):
        return [f"{ref} lacks pads"]
    if part.kind == "pico":
        at = (sum(pad[1] for pad in pads) / 40, sum(pad[2] for pad in pads) / 40)
    else:
        at = next((px, py) for number, px, py in pads if number in ("1", "A"))
    if abs(at[0] - x) > NEAR_MM or abs(at[1] - y) > NEAR_MM:
        return [f"{ref} is drawn at {at[0]:.2f}, {at[1]:.2f}"]
    way = ALONG.get(part.kind, (0.0, 1.0) if part.kind.startswith(("header", "counter")) else (1.0, 0.0))
    second = next(((px, py) for number, px, py in pads if number in ("2", "C")), None)
    if way is None or second is None or part.kind in ("key", "fuse"):
        return []
    # KiCad turns against the clock, and its y goes down.
    angle = radians(turn)
    to = (way[0] * cos(angle) + way[1] * sin(angle), way[1] * cos(angle) - way[0] * sin(angle))
    off = (second[0] - at[0], second[1] - at[1])
    length = (off[0] ** 2 + off[1] ** 2) ** 0.5
    if abs(off[0] / length - to[0]) > 0.01 or abs(off[1] / length - to[1]) > 0.01:
        return [f"{ref} is drawn turned"]
    return []


def test_the_committed_pictures_are_made_again(made, circuit, layout):
    assert {path.name: path.read_text("utf-8") for path in MADE.iterdir()} == made, "Run `make guides`."
    assert pictures(circuit, layout) == made


def test_a_picture_is_small(made):
    assert max(len(text.encode()) for text in made.values()) < LARGEST_BYTES


def test_every_part_is_put_in_once_where_the_parts_file_has_it(made, circuit, layout):
    assert faults(made, circuit, layout) == []


def moved(layout: Layout, ref: str, by: float = 0.0, turn: float = 0.0) -> Layout:
    """A part moved to the right, or turned about its first pad."""
    old = layout.footprints[ref]
    x0, y0 = old.pads[0].at
    angle = radians(turn)
    pads = []
    for pad in old.pads:
        dx, dy = pad.at[0] - x0, pad.at[1] - y0
        at = (x0 + by + dx * cos(angle) + dy * sin(angle), y0 + dy * cos(angle) - dx * sin(angle))
        pads.append(replace(pad, at=at))
    new = replace(old, at=(old.at[0] + by, old.at[1]), turn=old.turn + turn, pads=tuple(pads))
    return replace(layout, footprints=layout.footprints | {ref: new})


@pytest.mark.parametrize("ref", ["R19", "D1", "Q2", "U1", "U2", "SW4", "J2", "TP3"])
def test_a_part_that_is_moved_is_found(circuit, layout, ref):
    lines = faults(pictures(circuit, moved(layout, ref, by=0.1)), circuit, layout)
    assert len(lines) == 1
    assert lines[0].startswith(f"{ref} is drawn at")


@pytest.mark.parametrize("ref", ["D1", "D20", "Q2", "C22", "RN1", "JP3", "U2"])
def test_a_part_that_is_turned_is_found(circuit, layout, ref):
    lines = faults(pictures(circuit, moved(layout, ref, turn=180)), circuit, layout)
    assert lines == [f"{ref} is drawn turned"]


def test_a_part_that_is_left_out_or_drawn_in_another_step_is_found(made, circuit, layout):
    for ref in ("R19", "D1", "J5", "TP7"):
        lost = {
            name: re.sub(rf'<g data-new="{ref}">.*?</g>\n', "", svg, flags=re.S) for name, svg in made.items()
        }
        assert faults(lost, circuit, layout) == [f"{ref} is put in 0 times"]
    changed = replace(circuit, parts=circuit.parts | {"C22": replace(circuit.parts["C22"], step=3)})
    assert "C22 is put in in step 3, on the front" in faults(pictures(changed, layout), circuit, layout)


def test_reference_and_value_of_every_part_are_to_be_read(made, circuit):
    for part in circuit.parts.values():
        if part.fitted:
            words = set(re.findall(r">([^<>]+)</text>", made[f"{part.step}.svg"]))
            value = part.value.removesuffix(" hold")
            value = value.split("-")[0] if part.kind in ("npn", "pnp") else value
            if part.kind != "pico":
                assert {f"{part.ref} {value}"} <= words or {part.ref, value} <= words, part.ref


def test_words_with_no_room_are_said(circuit, layout):
    long = replace(circuit.parts["D1"], value="BAT85 " * 20)
    with pytest.raises(PictureError, match=r"no room for the words of D1\."):
        pictures(replace(circuit, parts=circuit.parts | {"D1": long}), layout)


def test_every_kind_of_part_has_a_look_that_holds_its_pads(circuit, layout):
    assert {part.kind for part in circuit.parts.values()} == set(LOOKS)
    for part in circuit.parts.values():
        footprint = layout.footprints[part.ref]
        left, top, right, bottom = LOOKS[part.kind].box
        middle = footprint.placed((left + right) / 2, (top + bottom) / 2)
        xs, ys = zip(*(pad.at for pad in footprint.pads))
        assert min(xs) - 0.01 <= middle[0] <= max(xs) + 4, part.ref
        assert min(ys) - 3 <= middle[1] <= max(ys) + 3, part.ref


def test_what_is_plugged_in_is_in_its_socket(made, circuit, layout):
    for side, ref in (("front", "U2"), ("back", "U1")):
        plugged = drawn(made[f"{PLUGGED_STEP}-{side}.svg"], "data-plugged", side, layout)
        assert list(plugged) == [ref]
        assert misplaced(ref, plugged[ref], circuit) == []


def rings(svg: str, side: str, layout: Layout) -> dict[str, list[tuple[float, float]]]:
    found: dict[str, list[tuple[float, float]]] = {}
    for circle in ET.fromstring(svg).iter(f"{SVG}circle"):
        net = circle.attrib.get("data-net")
        if net is not None:
            x, y = (float(circle.attrib[name]) / SCALE for name in ("cx", "cy"))
            found.setdefault(net, []).append((layout.size[0] - x if side == "back" else x, y))
    return found


def test_every_net_of_the_readings_has_a_place_for_the_probe(made, circuit, layout):
    drawn_rings = rings(made["test-readings.svg"], "back", layout)
    needed = {net for reading in READINGS for net in (reading.red, reading.black)}
    assert set(drawn_rings) == needed | set(probes.LATER)
    for net, ((x, y),) in drawn_rings.items():
        here = [
            (ref, pad.number)
            for ref, footprint in layout.footprints.items()
            for pad in footprint.pads
            if abs(pad.at[0] - x) < NEAR_MM and abs(pad.at[1] - y) < NEAR_MM
        ]
        assert len(here) == 1
        (ref, number) = here[0]
        assert circuit.parts[ref].pads[number] == net
        # The joint of what a reading is to find may be the fault.
        for reading in READINGS:
            if net in (reading.red, reading.black):
                assert ref not in reading.looks_for
        assert f">{net}</text>" in made["test-readings.svg"]
        said = next(line for line in probes.table(circuit) if f"| {net} |" in line)
        assert probes.words(circuit.parts[ref], number) in said
    assert "\n".join(probes.table(circuit)) in (HERE / "acceptance.md").read_text("utf-8")


def test_the_rows_of_the_pico_are_all_shown(made, circuit, layout):
    found = rings(made["test-rows.svg"], "front", layout)
    assert sum(map(len, found.values())) == 40
    for net, places in found.items():
        pads = [pad for pad, on in circuit.parts["U1"].pads.items() if on == net]
        assert len(places) == (len(pads) if net else 40 - len(circuit.parts["U1"].pads))


def marks(svg: str, side: str, layout: Layout) -> dict[str, tuple[float, float]]:
    """Part -> the middle of its red mark, in mm on the board."""
    found = {}
    for group in ET.fromstring(svg).iter(f"{SVG}g"):
        for path in group.iter(f"{SVG}path"):
            if "data-mark" in path.attrib:
                points = re.findall(r"[ML](-?[\d.]+) (-?[\d.]+)", path.attrib["d"])
                xs, ys = zip(*((float(x) / SCALE, float(y) / SCALE) for x, y in points))
                x = (min(xs) + max(xs)) / 2
                x = layout.size[0] - x if side == "back" else x
                found[group.attrib["data-new"]] = (x, (min(ys) + max(ys)) / 2)
    return found


def wrong_marks(made: dict[str, str], circuit: Circuit, layout: Layout) -> list[str]:
    """A line for each part whose red mark is not where the real part has its own."""
    lines = []
    found = {}
    for step in circuit.steps:
        if step != PLUGGED_STEP:
            side = "back" if step == 10 else "front"
            found |= marks(made[f"{step}.svg"], side, layout)
    for part in circuit.parts.values():
        if not part.fitted:
            continue
        at = {pad.number: pad.at for pad in layout.footprints[part.ref].pads}
        mark = found.get(part.ref)

        def away(place, mark=mark):
            return (place[0] - mark[0]) ** 2 + (place[1] - mark[1]) ** 2

        if part.kind in ("switching-diode", "schottky-diode", "suppressor", "electrolytic"):
            # Pad 1 is a diode's cathode, where its ring is, and an electrolytic's plus.
            near, far = ("2", "1") if part.kind == "electrolytic" else ("1", "2")
            right = mark and away(at[near]) < away(at[far])
        elif part.kind in ("npn", "pnp"):
            flats = [
                ((line.start[0] + line.end[0]) / 2, (line.start[1] + line.end[1]) / 2)
                for line in layout.printed["front"].lines
                if line.middle is None and abs(abs(line.start[0] - line.end[0]) - 3.6) < 0.1
            ]
            right = mark and any(away(flat) < 0.3**2 for flat in flats)
        elif part.kind.startswith("terminal"):
            right = mark and mark[1] < 1.2
        elif part.kind in ("network", "header-3", "header-7") or part.ref == "J6":
            right = mark and away(at["1"]) < 0.01
        else:
            right = mark is None
        if not right:
            lines.append(f"{part.ref}'s mark is at {mark}")
    return lines


def test_ring_minus_flat_side_dot_and_wires_side_are_where_the_part_has_them(made, circuit, layout):
    assert wrong_marks(made, circuit, layout) == []
    for side in ("4.svg", "11-front.svg"):
        notch = re.search(r'cx="([\d.]+)" cy="([\d.]+)"[^>]* data-notch', made[side])
        x, y = (float(number) / SCALE for number in notch.groups())
        first, last = (layout.footprints["U2"].pad(number).at for number in ("1", "16"))
        # Between pin 1 and the last, beyond the row's end.
        assert abs(x - (first[0] + last[0]) / 2) < 1.5
        assert y == pytest.approx((first[1] + last[1]) / 2)


@pytest.mark.parametrize("ref", ["D1", "D4", "D20", "C22", "Q1", "Q2", "RN1", "J1", "J2"])
def test_a_mark_on_the_wrong_side_is_found(made, circuit, layout, ref):
    """As if the part were the other way round on the board than it is drawn."""
    old = layout.footprints[ref]
    there = [pad.at for pad in old.pads]
    pads = tuple(replace(pad, at=at) for pad, at in zip(old.pads, reversed(there)))
    turned = replace(layout, footprints=layout.footprints | {ref: replace(old, pads=pads)})
    if old.ref.startswith(("Q", "J2")):
        spoilt = {
            name: re.sub(r' data-mark=""', "", svg) if f'data-new="{ref}"' in svg else svg
            for name, svg in made.items()
        }
        assert any(line.startswith(f"{ref}'s mark") for line in wrong_marks(spoilt, circuit, layout))
    else:
        lines = wrong_marks(made, circuit, turned)
        assert len(lines) == 1
        assert lines[0].startswith(f"{ref}'s mark")
