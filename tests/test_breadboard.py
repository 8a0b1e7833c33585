"""The picture of the breadboard build, followed wire by wire as a builder would, joins what the pins say."""

import re
import xml.etree.ElementTree as ET
from collections import Counter
from dataclasses import replace

import pytest

from hardware import breadboard
from hardware.breadboard import (
    LEFT_OUT,
    MODULES,
    PICTURE,
    RAIL_HOLES,
    hole_of,
    legs,
    picture,
    place,
    wires,
)
from hardware.circuit import HERE, Circuit
from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.script import Player
from host_sim.box.session import Session, Watcher

SVG = "{http://www.w3.org/2000/svg}"

JOINED_INSIDE = {
    "100 ohm one": "100 ohm other",
    "lamp's 1k one": "lamp's 1k other",
    "safelight's 1k one": "safelight's 1k other",
    **{f"Pico {pin}": "Pico 3" for pin in (8, 13, 18, 23, 28, 33, 38)},
}
"""Resistors, since a signal goes through; and all grounds of a Pico."""

AT_A_PIN = {
    "lamp": {"lamp's 1k one", "lamp's 1k other", "lamp's LED long leg"},
    "safelight": {"safelight's 1k one", "safelight's 1k other", "safelight's LED long leg"},
    "expose": {"EXPOSE key g47"},
    "lamp_key": {"LAMP key g41"},
    "back": {"BACK key g35"},
    "dial_a": {"dial CLK"},
    "dial_b": {"dial DT"},
    "dial_press": {"dial SW"},
    "piezo": {"100 ohm one", "100 ohm other", "piezo one"},
    "display_sda": {"display SDA"},
    "display_scl": {"display SCL"},
}
"""What each pin that is used has to reach, and nothing else."""

AT_GROUND = {
    "lamp's LED short leg",
    "safelight's LED short leg",
    "piezo other",
    "BACK key d37",
    "LAMP key d43",
    "EXPOSE key d49",
    "dial GND",
    "display GND",
}
AT_3V3 = {"dial +", "display VCC"}


def pieces(svg: str) -> list[set[str]]:
    """The legs and module pins that are joined, as drawn: by a strip of holes, a wire or a resistor."""
    root = ET.fromstring(svg)
    strips: dict[tuple[str, str], str] = {}
    parent: dict[str, str] = {}

    def find(node: str) -> str:
        parent.setdefault(node, node)
        while parent[node] != node:
            node = parent[node]
        return node

    found: list[str] = []
    for circle in root.iter(f"{SVG}circle"):
        at = (circle.attrib["cx"], circle.attrib["cy"])
        if "data-strip" in circle.attrib:
            strips[at] = circle.attrib["data-strip"]
    for circle in root.iter(f"{SVG}circle"):
        at = (circle.attrib["cx"], circle.attrib["cy"])
        leg = circle.attrib.get("data-leg")
        if leg:
            found.append(leg)
            # A module's pin is in no hole: it is a place of its own.
            node = strips.setdefault(at, f"beside the board: {leg}")
            parent[find(leg)] = find(node)
    for path in root.iter(f"{SVG}path"):
        if "data-wire" in path.attrib:
            ends = [tuple(point.split(" ")) for point in re.findall(r"[-\d.]+ [-\d.]+", path.attrib["d"])]
            one, other = (strips[end] for end in (ends[0], ends[-1]))
            parent[find(one)] = find(other)
    for one, other in JOINED_INSIDE.items():
        parent[find(one)] = find(other)
    grouped: dict[str, set[str]] = {}
    for leg in found:
        grouped.setdefault(find(leg), set()).add(leg)
    return list(grouped.values())


def faults(svg: str, circuit: Circuit) -> list[str]:
    """What a builder who follows the picture would have wired otherwise than pins.toml has it."""
    lines = []
    at = {leg: piece for piece in pieces(svg) for leg in piece}
    for name, reached in AT_A_PIN.items():
        pin = f"Pico {circuit.pins[name].pin}"
        if at[pin] != {pin} | reached:
            lines.append(f"{name}: at {pin} there is {sorted(at[pin])}")
    pads = circuit.parts["U1"].pads
    for what, pin, reached in (("GND", "38", AT_GROUND), ("3V3", "36", AT_3V3)):
        piece = at[f"Pico {pin}"]
        strays = {leg for leg in piece if leg.startswith("Pico ") and pads[leg.split()[1]] != what}
        if {leg for leg in piece if not leg.startswith("Pico ")} != reached or strays:
            lines.append(f"{what}: there is {sorted(piece)}")
    used = {circuit.pins[name].pin for name in AT_A_PIN}
    for pin in range(1, 41):
        if pin not in used and pads.get(str(pin)) not in ("GND", "3V3") and len(at[f"Pico {pin}"]) > 1:
            lines.append(f"something is at pin {pin}")
    return lines


def test_every_wire_goes_where_the_pins_say(circuit):
    assert faults(PICTURE.read_text("utf-8"), circuit) == []


def test_every_pin_is_wired_or_left_out_for_a_reason(circuit):
    assert set(AT_A_PIN) | set(LEFT_OUT) == set(circuit.pins)
    assert not set(AT_A_PIN) & set(LEFT_OUT)


def test_the_committed_picture_is_made_again(circuit):
    assert PICTURE.read_text("utf-8") == picture(circuit)


@pytest.mark.parametrize("number", range(1, 27))
def test_a_wire_left_out_or_put_one_hole_further_is_found(circuit, monkeypatch, number):
    whole = wires(circuit)
    assert len(whole) == 26
    wire = whole[number - 1]
    monkeypatch.setattr(breadboard, "wires", lambda _: [other for other in whole if other is not wire])
    assert faults(picture(circuit), circuit), f"nobody misses wire {number}"
    if wire.one[1:].isdigit():
        beside = replace(wire, one=f"{wire.one[0]}{int(wire.one[1:]) + 1}")
        monkeypatch.setattr(breadboard, "wires", lambda _: [beside if w is wire else w for w in whole])
        assert faults(picture(circuit), circuit), f"nobody sees wire {number} one hole further"


def test_a_pin_that_moves_takes_its_wire_along(circuit):
    """And the picture that is committed would be found wrong."""
    moved = replace(circuit.pins["back"], gpio=4, pin=6)
    other = replace(circuit, pins=circuit.pins | {"back": moved})
    assert any(line.startswith("back: at Pico 6") for line in faults(PICTURE.read_text("utf-8"), other))
    (wire,) = [wire for wire in wires(other) if wire.what == "BACK key" and wire.one.startswith("j")]
    assert wire.one == hole_of(6) == "j6"


def test_ground_and_supply_come_from_such_pins(circuit):
    pads = circuit.parts["U1"].pads
    for wire in wires(circuit)[:3]:
        pin = next(pin for pin in range(1, 41) if hole_of(pin) == wire.one)
        assert pads[str(pin)] == {"ground": "GND", "3.3 V": "3V3"}[wire.what]


def test_nothing_shares_a_hole(circuit):
    taken = Counter(leg.hole for leg in legs(circuit))
    taken.update(end for wire in wires(circuit) for end in (wire.one, wire.other))
    assert [hole for hole, count in taken.items() if count > 1] == []


def test_no_wire_ends_under_a_part(circuit):
    """The Pico covers rows c to h, a key four columns and three rows more than the gap has."""
    for wire in wires(circuit):
        for end in (wire.one, wire.other):
            if end in MODULES or end.startswith(("top", "bottom")):
                continue
            assert end[0] in "aj", end


def test_a_keys_other_corners_are_free(circuit):
    """Two corners of a key are always joined inside, and which two is another matter."""
    at = {leg: piece for piece in pieces(PICTURE.read_text("utf-8")) for leg in piece}
    for key, column in (("BACK", 35), ("LAMP", 41), ("EXPOSE", 47)):
        for free in (f"{key} key d{column}", f"{key} key g{column + 2}"):
            assert at[free] == {free}


def test_both_ends_of_every_wire_are_named_in_the_picture(circuit):
    texts = [text.text for text in ET.fromstring(PICTURE.read_text("utf-8")).iter(f"{SVG}text")]
    for wire in wires(circuit):
        named = [text for text in texts if text and " to " in text and text.endswith(f": {wire.what}")]
        ends = [breadboard.words(end, circuit) for end in (wire.one, wire.other)]
        assert any(text.startswith(f"{ends[0]}  to  {ends[1]}") for text in named), wire
        assert texts.count(str(wire.number)) >= 2


def test_every_signal_has_a_colour_of_its_own(circuit):
    colours = Counter(wire.colour for wire in wires(circuit))
    assert {colour for colour, count in colours.items() if count > 1} == {"black", "red"}


def test_a_rail_has_holes_where_wires_end():
    assert len(RAIL_HOLES) == 50
    with pytest.raises(ValueError, match="32"):
        place("top - 32")


def test_the_page_asks_for_as_many_parts_and_wires_as_there_are(circuit):
    text = (HERE / "breadboard.md").read_text("utf-8")
    to_modules = [wire for wire in wires(circuit) if {wire.one, wire.other} & set(MODULES)]
    others = len(wires(circuit)) - len(to_modules)
    assert f"| {len(to_modules)} | jumper wire, pin to socket |" in text
    assert f"| {others} | jumper wire, pin to pin |" in text
    parts = Counter(re.sub(r"^.* (1k|LED|key)$", r"\1", part) for part in {leg.part for leg in legs(circuit)})
    assert f"| {parts['1k']} | resistor 1k |" in text
    assert f"| {parts['key']} | tactile key" in text
    assert parts["LED"] == 2
    assert text.count("| 1 | red LED") == text.count("| 1 | amber LED") == 1


def test_the_page_says_what_it_is_not():
    text = (HERE / "breadboard.md").read_text("utf-8")
    for needed in (
        "**No prototype has been built or measured yet.**",
        "**It never switches mains.**",
        "(../docs/safety.md)",
        "lampblack install",
    ):
        assert needed in text


def test_what_a_wire_is_called_in_the_text_is_what_it_is(circuit):
    """The text beside the tables names wires by their numbers."""
    numbers = {(wire.colour, wire.what): wire.number for wire in wires(circuit)}
    halves = [wire.number for wire in wires(circuit) if wire.what == "joins its halves"]
    text = (HERE / "breadboard.md").read_text("utf-8")
    assert f"Wires {halves[0]} and {halves[1]} join the halves" in text
    display = [wire.number for wire in wires(circuit) if wire.other.startswith("display")]
    assert f"check wires {display[0]} to {display[-1]}." in text
    gnd, vcc = (numbers[what] for what in (("black", "display, ground"), ("red", "display, 3.3 V")))
    assert f"Wires {gnd} and {vcc} go where GND and VCC are printed" in text
    a, b = (numbers[what] for what in (("grey", "dial, contact A"), ("brown", "dial, contact B")))
    assert f"swap wires {a} and {b}" in text
    assert f"*Volume* on the Bench; wire {numbers['black', 'piezo']} |" in text


class Leds(Watcher):
    """The two LEDs, as the outputs drive them."""

    def __init__(self) -> None:
        self.red = self.amber = False

    def lamp(self, now_ms, on):
        self.red = on

    def output(self, now_ms, kind, value):
        if kind == "safelight":
            self.amber = bool(value)


def test_first_light_is_as_the_page_tells_it():
    session = Session(MemoryDisk(), desk_platform(), panel_ms=100)
    leds = Leds()
    session.watchers.append(leds)
    session.power_up()
    player = Player(session)

    def after(script: str) -> tuple[bool, bool]:
        player.play(script)
        return leds.red, leds.amber

    assert after("wait 1") == (False, True)
    assert after("lamp") == (True, False)
    assert after("lamp") == (False, True)
    assert after("wait 1\nexpose") == (False, True)
    assert after("expose") == (False, True), "the settling time"
    assert after("wait 0.7\nexpose") == (True, True)
    lit_at = session.now_ms
    assert after("wait until dark") == (False, True)
    assert session.now_ms - lit_at == 10000
    assert after("wait 1\nexpose\nwait 1\nexpose\nwait 3")[0]
    assert not after("expose")[0]
    assert after("wait 1\nexpose")[0]
    assert not after("back")[0]
    assert after("wait 1\nexpose\nwait 1")[0]
    assert not after("reset\nwait 1")[0]
