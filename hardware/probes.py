"""Where a builder holds the probes of a meter: a place for each net of the readings, drawn and in words.

What must live here: which place is chosen. What is measured is `checks/ohms.py`'s.
"""

from __future__ import annotations

from hardware.board_picture import Picture
from hardware.checks.ohms import READINGS
from hardware.circuit import Circuit, Part
from hardware.layout import Layout

ORDER = ("test-point", "pico", "terminal", "key", "encoder", "counter", "film", "resistor")
"""The easiest to find and to reach first."""
LATER = ("RUN", "LX", "CUT")
"""Of the test points, what no reading needs, but later steps of the acceptance test do."""


def places(circuit: Circuit) -> dict[str, tuple[str, str]]:
    """Net -> part and pad. A part that a reading is to find is none: its own joint may be the fault."""
    found: dict[str, tuple[str, str]] = {}
    nets = [net for reading in READINGS for net in (reading.red, reading.black)]
    for net in dict.fromkeys([*nets, *LATER]):
        sought = {
            ref for reading in READINGS if net in (reading.red, reading.black) for ref in reading.looks_for
        }
        pads = [(ref, pad) for ref, pad in circuit.nets[net] if ref not in sought]
        pads = [
            (ref, pad) for ref, pad in pads if circuit.parts[ref].fitted and _rank(circuit.parts[ref]) >= 0
        ]
        found[net] = min(pads, key=lambda place: _rank(circuit.parts[place[0]]))
    return found


def _rank(part: Part) -> int:
    """-1 for what no probe is held to."""
    return next((number for number, kind in enumerate(ORDER) if part.kind.startswith(kind)), -1)


def words(part: Part, pad: str) -> str:
    """A place, as it is said to a builder."""
    if part.kind == "test-point":
        return part.ref
    if part.kind == "pico":
        return f"Pico's socket, pin {pad}"
    if part.kind == "counter":
        return f"joint of {part.ref}, pin {pad}"
    if part.contacts:
        return f"{part.ref} {part.value}, {part.contacts[list(part.pads).index(pad)]}"
    if part.kind in ("key", "encoder"):
        return f"joint of {part.ref} ({part.does}), pad {pad}"
    return f"joint of {part.ref}, pad {pad}"


def table(circuit: Circuit) -> list[str]:
    """As Markdown, two nets in a row."""
    cells = [
        f"{net} | {words(circuit.parts[ref], pad)}" for net, (ref, pad) in sorted(places(circuit).items())
    ]
    half = -(-len(cells) // 2)
    rows = [
        f"| {one} | {other} |"
        for one, other in zip(cells[:half], cells[half:] + [" | "] * (2 * half - len(cells)))
    ]
    return ["| net | where | net | where |", "| --- | --- | --- | --- |", *rows]


def picture(circuit: Circuit, layout: Layout) -> str:
    """From the back: all of them can be reached there, since every joint is."""
    seen = Picture(layout, is_back=True)
    seen.board()
    for part in circuit.parts.values():
        if part.fitted and part.side == "back":
            seen.grey(part, layout.footprints[part.ref])
    chosen = [
        (net, circuit.parts[ref], layout.footprints[ref].pad(pad))
        for net, (ref, pad) in places(circuit).items()
    ]
    for net, _, pad in chosen:
        seen.ring(pad, net)
    for upright in (True, False):
        for net, part, pad in chosen:
            if upright == (part.kind == "pico" or part.kind.startswith("terminal")):
                seen.probe(pad, net, upright)
    return seen.svg(
        "Where each net is reached: the board is turned over, left for right",
        [
            "Sockets and screws from above, all else at its joint. A probe is too thick for a socket:",
            "put a leg that was cut off into it, and hold the probe to that.",
        ],
    )


def rows_picture(circuit: Circuit, layout: Layout) -> str:
    """The Pico's rows from the front, before anything hides them: no two neighbours may be joined."""
    seen = Picture(layout, is_back=False)
    seen.board()
    for part in circuit.parts.values():
        if part.fitted and part.side == "front" and part.step <= 2:
            seen.grey(part, layout.footprints[part.ref])
    pads = layout.footprints["U1"].pads
    for pad in pads:
        seen.ring(pad, pad.net)
    for pad in pads:
        net = "" if pad.net == circuit.pins["second_lamp"].net else pad.net.removeprefix("DISPLAY_")
        seen.probe(pad, f"{pad.number} {net}".strip(), upright=True)
    return seen.svg(
        "After step 2: the Pico's rows, the front before you",
        ["Each two neighbours in a row: over 500 ohm. A pin with no name is connected to nothing."],
    )
