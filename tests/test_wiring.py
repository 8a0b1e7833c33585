"""Every connector has its place on the wiring page, drawn as the board has it; what is wrong is found."""

import re
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace

import pytest

from hardware import wiring
from hardware.circuit import HERE, CircuitError
from hardware.drawings import practice

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def made(circuit, layout) -> dict[str, str]:
    return wiring.pictures(circuit, layout)


@pytest.fixture(scope="module")
def sections() -> dict[str, str]:
    pieces = re.split(r"^#+ (.+)$", (HERE / "wiring.md").read_text("utf-8"), flags=re.M)
    return dict(zip(pieces[1::2], pieces[2::2], strict=True))


def test_the_committed_pictures_are_made_again(made, circuit, layout):
    assert {path.name: path.read_text("utf-8") for path in wiring.MADE.iterdir()} == made, (
        "Run `make guides`."
    )
    assert wiring.pictures(circuit, layout) == made


def test_every_connector_has_one_section_with_its_contacts_and_its_picture(circuit, sections):
    headings = Counter(re.findall(r"^J\d+ .+", "\n".join(sections), re.M))
    fitted = [part for part in circuit.parts.values() if re.fullmatch(r"J\d+", part.ref) and part.fitted]
    assert headings == {f"{part.ref} {part.value}": 1 for part in fitted}
    for part in fitted:
        text = sections[f"{part.ref} {part.value}"]
        assert f"(made/wiring/{part.ref}.svg)" in text
        rows = re.findall(r"^\| (\d+) \| ([^|]+) \| (\w+) \|", text, re.M)
        assert rows == [
            (number, name, net) for (number, net), name in zip(part.pads.items(), part.contacts, strict=True)
        ]


def test_a_cable_is_told_of_every_connector(circuit, sections):
    rows = re.findall(r"^\| (J\d+ [^|]+) \|", sections["Cables and plugs"], re.M)
    assert Counter(rows) == {f"{part.ref} {part.value}": 1 for part in wiring.connectors(circuit)}


def test_no_supply_leaves_for_the_lamp_and_no_two_cables_share_a_wire_but_ground(circuit):
    seen: Counter[str] = Counter()
    for part in wiring.connectors(circuit):
        nets = set(part.pads.values())
        seen.update(nets - {"GND"})
        if part.ref in ("J2", "J5"):
            assert not nets & {"3V3", "C_3V3", "V5S", "VSYS"}
    assert set(seen.values()) == {1}


def test_plugs_are_of_different_sizes(sections):
    plugs = re.findall(r"^\| J\d+ .*\| ([^|]+) \|$", sections["Cables and plugs"], re.M)
    sizes = [re.search(r"[\d.]+ mm", plug)[0] for plug in plugs if plug != "none"]
    assert len(sizes) == len(set(sizes)) == 4


def wires(svg: str) -> list[tuple[float, float, str, str]]:
    """Where each wire begins, its contact and its net."""
    found = []
    for path in ET.fromstring(svg).iter(f"{SVG}path"):
        if "data-contact" in path.attrib:
            x, y = map(float, re.match(r"M([\d.]+) ([\d.]+)", path.attrib["d"]).groups())
            found.append((x, y, path.attrib["data-contact"], path.attrib["data-net"]))
    return found


def test_a_connector_is_drawn_as_the_board_has_it(made, circuit, layout):
    for part in wiring.connectors(circuit):
        drawn = {contact: (x, y, net) for x, y, contact, net in wires(made[f"{part.ref}.svg"])}
        assert {contact: net for contact, (_, _, net) in drawn.items()} == part.pads
        x0, y0, _ = drawn["1"]
        first = layout.footprints[part.ref].pad("1").at
        for contact, (x, y, _) in drawn.items():
            at = layout.footprints[part.ref].pad(contact).at
            # A terminal is seen from its wires' side, the board turned over and then round: left stays left.
            assert (x - x0) / wiring.SCALE == pytest.approx(at[0] - first[0], abs=0.05)
            if part.side == "front":
                assert (y - y0) / wiring.SCALE == pytest.approx(at[1] - first[1], abs=0.05)


def test_wires_come_out_at_the_edge_of_the_board(circuit, layout):
    """The side of a terminal that the footprint has for its wires is the one at the board's upper edge."""
    for part in wiring.connectors(circuit):
        if part.side == "back":
            bottom = wiring.LOOKS[part.kind].box[3]
            _, y = layout.footprints[part.ref].placed(0, bottom)
            assert 0 < y < 1, part.ref


def test_a_net_that_nobody_speaks_of_or_a_plug_with_another_pole_is_said(circuit):
    part = circuit.parts["J2"]
    with pytest.raises(CircuitError, match="nobody says what VSYS carries"):
        wiring.contacts(replace(part, pads={**part.pads, "1": "VSYS"}))
    with pytest.raises(CircuitError, match="J2's plug has"):
        wiring.contacts(replace(part, contacts=("SUPPLY", "GND", "ARM", "FEEDBACK")))


def test_the_practice_plug_agrees_with_its_parts_and_with_the_cable(circuit):
    parts = practice.circuit()
    drawing = practice.draw(parts)
    assert drawing.faults() == []
    assert drawing.crowded({}) == []
    assert sorted(drawing.drawn) == sorted(parts.parts)
    assert set(practice.POLES.values()) == set(circuit.parts["J2"].contacts)


@pytest.mark.parametrize("ref", ["P1", "K1", "LED1", "R2", "K2.1"])
def test_a_practice_plug_that_is_drawn_wrong_is_found(ref):
    parts = practice.circuit()
    pads = parts.parts[ref].pads
    swapped = dict(zip(pads, [*list(pads.values())[1:], next(iter(pads.values()))], strict=True))
    changed = replace(parts, parts=parts.parts | {ref: replace(parts.parts[ref], pads=swapped)})
    assert practice.draw(changed).faults()
