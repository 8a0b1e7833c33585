"""A picture for each step of the build: the board as it lies before the builder, with what is put in now. And
for the tests on the way, where to hold the probes.

What must live here: which parts each picture shows, and what it says of them. How they look is
board_picture.py's. `python -m hardware.step_pictures` draws all of them.
"""

from __future__ import annotations

from hardware import probes
from hardware.board_picture import Picture, write
from hardware.circuit import HERE, Circuit, Part, read_circuit
from hardware.layout import Layout, read_layout

MADE = HERE / "made" / "steps"
PLUGGED_STEP = 11

FRONT, BACK = "front", "back"
SIDES = {
    FRONT: "the front is before you",
    BACK: "the board is turned over, left for right",
}
EMPTY = "A place with no value printed stays empty."
NOTES = {
    1: ("Read every value with the meter before it goes in.", EMPTY),
    2: ("Red: the ring. Green: D1, the only BAT85.", EMPTY),
    3: ("Either way round.",),
    4: ("Red: the network's dot at its pin 1, and the notch of the counter's socket.",),
    5: ("Red: the flat side. Black: BC337. Violet: BC327.", EMPTY),
    6: ("Red: the stripe and minus of C22.",),
    7: ("Red square: pin 1. Red ring: a test point, where nothing is put in.",),
    8: ("Either way round, if it has no mark.",),
    9: ("Flush with the board.",),
    10: ("Red: the side that the wires come to, at the board's edge. 1: contact 1; pin 1 of the Pico.",),
}


def parts_of(circuit: Circuit, step: int) -> list[Part]:
    return [part for part in circuit.parts.values() if part.fitted and part.step == step]


def pictures(circuit: Circuit, layout: Layout) -> dict[str, str]:
    """File name -> the picture."""
    found = {}
    for step in circuit.steps:
        if step == PLUGGED_STEP:
            for side, ref in ((FRONT, "U2"), (BACK, "U1")):
                found[f"{step}-{side}.svg"] = _plugged(circuit, layout, side, ref)
        else:
            found[f"{step}.svg"] = _step(circuit, layout, step)
    return found | {
        "test-rows.svg": probes.rows_picture(circuit, layout),
        "test-readings.svg": probes.picture(circuit, layout),
    }


def _step(circuit: Circuit, layout: Layout, step: int) -> str:
    new = parts_of(circuit, step)
    (side,) = {part.side for part in new}
    picture = _until(circuit, layout, side, step)
    for part in new:
        picture.strong(part, layout.footprints[part.ref])
    for part in new:
        picture.words(part, layout.footprints[part.ref], short(part))
    count = sum(part.kind != "test-point" for part in new)
    return picture.svg(f"Step {step}: {SIDES[side]}. {count} part{'' if count == 1 else 's'}", NOTES[step])


def _until(circuit: Circuit, layout: Layout, side: str, step: int) -> Picture:
    """With what was fitted before."""
    picture = Picture(layout, side == BACK)
    picture.board()
    for part in circuit.parts.values():
        if part.fitted and part.side == side and part.step < step:
            picture.grey(part, layout.footprints[part.ref])
    return picture


def _plugged(circuit: Circuit, layout: Layout, side: str, ref: str) -> str:
    picture = _until(circuit, layout, side, PLUGGED_STEP)
    picture.plugged(circuit.parts[ref], layout.footprints[ref])
    what = {
        "U2": "Red: the notch, as that of the socket.",
        "U1": "Its chip is up, its USB to the left, towards the middle of the board.",
    }
    return picture.svg(f"Step {PLUGGED_STEP}: {SIDES[side]}", [what[ref]])


def short(part: Part) -> str:
    """Its value, as it is printed on the board."""
    if part.kind in ("npn", "pnp"):
        return part.value.split("-")[0]
    if part.kind == "pico":
        return "two sockets, 20 pins each"
    return part.value.removesuffix(" hold")


def main() -> None:
    write(MADE, pictures(read_circuit(), read_layout()))


if __name__ == "__main__":
    main()
