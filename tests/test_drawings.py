"""The schematic: every drawing agrees with the parts and can be read, and what is drawn wrong is found."""

from copy import copy
from dataclasses import replace
from itertools import pairwise

import pytest

from hardware.circuit import Circuit, Part
from hardware.drawings import MADE, MODULES, drawn, faults_of, pictures
from hardware.drawings.drawing import Drawing, Name, nets_of, part_faults


@pytest.fixture(scope="module")
def as_drawn(circuit: Circuit) -> list[Drawing]:
    return drawn(circuit)


@pytest.fixture(scope="module")
def made(as_drawn: list[Drawing], circuit: Circuit) -> dict[str, str]:
    return pictures(as_drawn, circuit)


@pytest.fixture
def drawings(as_drawn: list[Drawing]) -> list[Drawing]:
    """To be spoilt: what is changed in their lists stays in the test."""
    copies = [copy(drawing) for drawing in as_drawn]
    for drawing in copies:
        vars(drawing).update(
            {name: list(value) for name, value in vars(drawing).items() if type(value) is list}
        )
    return copies


@pytest.fixture
def lamp(drawings: list[Drawing]) -> Drawing:
    return drawings[1]


def with_pads(circuit: Circuit, ref: str, **pads: str) -> Circuit:
    part = circuit.parts[ref]
    changed = replace(part, pads=part.pads | {pad.removeprefix("p"): net for pad, net in pads.items()})
    return replace(circuit, parts=circuit.parts | {ref: changed})


def test_every_drawing_agrees_with_the_parts_and_can_be_read(drawings, circuit):
    assert faults_of(drawings, circuit) == []


def test_every_part_is_on_exactly_one_drawing(drawings, circuit):
    assert sorted(ref for drawing in drawings for ref in drawing.drawn) == sorted(circuit.parts)


def test_the_committed_pictures_are_made_again(made):
    assert {path.name: path.read_text("utf-8") for path in MADE.iterdir()} == made


def test_a_picture_is_the_same_each_time(made, circuit):
    assert pictures(drawn(circuit), circuit) == made


def test_a_picture_is_a_page_of_a4_with_every_part_of_its_drawing(drawings, made):
    for drawing, picture in zip(drawings, made.values()):
        assert 'width="297mm" height="210mm"' in picture or 'height="210mm" width="297mm"' in picture
        for ref in drawing.drawn:
            assert f">{ref}" in picture


# --- what is drawn wrong

each_drawing = pytest.mark.parametrize("number", range(len(MODULES)))


@each_drawing
def test_every_wire_that_is_left_out_is_found(drawings, number):
    drawing = drawings[number]
    whole = list(drawing.wires)
    for wire in whole:
        drawing.wires = [other for other in whole if other is not wire]
        assert drawing.faults(), f"nobody misses the wire {wire}"


@each_drawing
def test_every_wire_whose_end_is_moved_is_found(drawings, number):
    drawing = drawings[number]
    whole = list(drawing.wires)
    for at, (one, other) in enumerate(whole):
        for x in (0.3, -0.3):
            drawing.wires = list(whole)
            drawing.wires[at] = (one, (other[0] + x, other[1] + 0.3))
            assert drawing.faults(), f"nobody sees that the wire {whole[at]} has moved"


@each_drawing
def test_every_name_that_is_left_out_is_found(drawings, number):
    drawing = drawings[number]
    whole = list(drawing.names)
    for name in whole:
        drawing.names = [other for other in whole if other is not name]
        assert drawing.faults(), f"nobody misses {name}"


@each_drawing
def test_every_name_that_is_another_is_found(drawings, number):
    drawing = drawings[number]
    whole = list(drawing.names)
    for at, name in enumerate(whole):
        drawing.names = list(whole)
        drawing.names[at] = replace(name, net="TICK" if name.net != "TICK" else "CUT")
        assert any("drawn as one" in line for line in drawing.faults()), name


def test_every_pair_of_pads_that_is_swapped_is_found(drawings, circuit):
    """In the parts, under the drawing; where that changes anything."""
    of = {ref: drawing for drawing in drawings for ref in drawing.drawn}
    tried = 0
    for ref, part in circuit.parts.items():
        for one, other in pairwise(part.pads):
            if part.pads[one] == part.pads[other]:
                continue
            swapped = part.pads | {one: part.pads[other], other: part.pads[one]}
            of[ref].circuit = replace(circuit, parts=circuit.parts | {ref: replace(part, pads=swapped)})
            assert of[ref].faults(), f"{ref}: nobody sees that {one} and {other} are swapped"
            of[ref].circuit = circuit
            tried += 1
    assert tried > 150


def test_a_wire_that_joins_two_nets_is_found(lamp):
    ends = {(ref, pad): at for ref, pad, at in lamp.pads}
    (x0, y0), (x1, y1) = ends["R19", "1"], ends["R26", "1"]
    lamp.wire((x0, y0), (x0, y1), (x1, y1))
    assert any(line.startswith("drawn as one") for line in lamp.faults())


def test_wires_that_only_cross_are_not_joined(lamp):
    before = lamp.pieces()
    lamp.wires.append(((0.1, 13.3), (26.9, 13.3)))
    assert len(lamp.pieces()) == len(before) + 1


def test_a_net_that_goes_on_elsewhere_needs_its_name(lamp):
    lamp.names = [name for name in lamp.names if name.net != "LAMP_OUT"]
    assert [line for line in lamp.faults() if line.startswith("LAMP_OUT")] == [
        "LAMP_OUT is drawn in part, and goes on elsewhere, without its name at D2.1, Q3.1, R12.1, TP5.1"
    ]


def test_a_slanting_wire_and_a_name_at_nothing_are_found(lamp):
    lamp.wires.append(((1.0, 1.0), (2.0, 3.0)))
    lamp.names.append(Name("LAMP", (1.0, 1.0), "left"))
    faults = "\n".join(lamp.faults())
    assert "is neither horizontal nor vertical" in faults
    assert "no part is on a wire with the names ['LAMP']" in faults
    assert "ends at nothing" in faults


def test_a_part_drawn_twice_or_nowhere_is_found(drawings, circuit):
    drawings[2].drawn.append("R1")
    drawings[0].drawn.remove("F1")
    faults = part_faults(drawings, circuit)
    assert faults == ["F1 is on no drawing", "R1 is on the drawings [2, 3]"]
    drawings[1].drawn.append("R2")
    assert "R2 is drawn twice" in drawings[1].faults()


def test_a_pad_that_is_not_drawn_and_one_that_the_part_lacks_are_found(lamp, circuit):
    lamp.circuit = with_pads(circuit, "R1", p3="GND")
    assert "R1 has no pad 3 here" in lamp.faults()
    resistor = circuit.parts["R1"]
    lamp.circuit = replace(circuit, parts=circuit.parts | {"R1": replace(resistor, pads={"1": "LAMP"})})
    assert any(line.startswith("nothing is connected to one of") for line in lamp.faults())


def test_a_new_part_has_to_be_drawn(drawings, circuit):
    new = replace(circuit.parts["R1"], ref="R99")
    assert isinstance(new, Part)
    grown = replace(circuit, parts=circuit.parts | {"R99": new})
    assert part_faults(drawings, grown) == ["R99 is on no drawing"]


def test_what_cannot_be_read_is_found(drawings, circuit):
    where = nets_of(drawings, circuit)
    lamp = drawings[1]
    at = {(ref, pad): point for ref, pad, point in lamp.pads}
    x, y = at["R1", "2"]
    lamp.text("over a line", (x, y))
    lamp.text("over a text", (x, y))
    lamp.text("out of the frame", (26.5, 17.0))
    lamp.wire((x - 0.9, y - 1.0), (x - 0.9, y + 0.2))
    faults = "\n".join(lamp.crowded(where))
    for found in (
        "text 'over a line'| over the line",
        "text 'over a line'| over text 'over a text'|",
        "text 'out of the frame'| is out of the frame",
        "runs through R1",
    ):
        assert found in faults


def test_flags_say_on_which_drawings_a_net_goes_on(drawings, circuit, made):
    where = nets_of(drawings, circuit)
    assert where["LX"] == [2, 3]
    assert where["PERMIT"] == [2, 4]
    assert where["Q4C"] == [2, 5]
    assert "LX /3" in made["2-lamp.svg"]


def test_what_is_not_fitted_is_dashed(drawings, circuit, made):
    dashed = {name for name, picture in made.items() if "stroke-dasharray:7.4,3.2" in picture}
    with_places = {
        name
        for drawing, name in zip(drawings, made)
        if any(not circuit.parts[r].fitted for r in drawing.drawn)
    }
    assert dashed == with_places == {"5-safelight.svg"}
