"""Every single fault of the circuit, by simulation: what it does, and what finds it.

What must live here: which faults there are, and how each is judged. A fault is a pad that is open, two pads
of a part that are joined (a connector's wires too), or two neighbouring pins of the Pico or the counter that
are bridged. `python -m hardware.checks.faults` judges all of them and writes the table.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

from hardware.checks.simulation import OUTPUTS, PINS, STATES, Fault, Volts, period_s, volts
from hardware.circuit import EDGE_PINS, HERE, Circuit, Part, cutoff_period_s, read_circuit, side_by_side
from lampblack.board.chips import RP2350

TABLE = HERE / "made" / "faults.csv"

LIT_V = 2.5
"""An input of 3 to 30 V DC is on from here, at the latest; all outputs of a good circuit are over 4 V."""
DARK_V = 1.0
"""Below this no such input is on. Between the two nothing is promised, and it counts as the worse."""
HIGH_V = 2.0
LOW_V = 0.8
"""RP2040 data sheet, 5.2: inputs at 3.3 V."""
RESET_LOW_V, RESET_HIGH_V = 0.99, 2.31
"""74HC4060 data sheet: low below 30 % of its supply, high above 70 %."""
PIN_MOST_V = 3.6
"""RP2040 data sheet, 5.2: a pin, at most 0.3 V over its supply."""
PIN_LOADED_V = 2.62
"""The same: a high output, at least, at its rated current."""
SUPPLY_MORE_MA = 25.0
"""More than this over what a good circuit draws shows on a USB meter."""


def faults_of(circuit: Circuit) -> Iterator[Fault]:
    """Every single fault of what is fitted."""
    for part in circuit.parts.values():
        if not part.fitted or part.kind == "test-point":
            continue
        pads = list(part.pads)
        for pad in pads:
            yield Fault(part.ref, "open", (pad,))
        if part.kind in ("pico", "counter"):
            yield from (Fault(part.ref, "joined", pair) for pair in _neighbours(part))
        else:
            for pair in combinations(pads, 2):
                if part.pads[pair[0]] != part.pads[pair[1]]:
                    yield Fault(part.ref, "joined", pair)


def _neighbours(part: Part) -> Iterator[tuple[str, str]]:
    """Pins side by side. A pin that nothing is connected to is a neighbour to none: it joins nothing."""
    for one, other in side_by_side(EDGE_PINS if part.kind == "pico" else 16):
        pair = (str(one), str(other))
        if all(pad in part.pads for pad in pair) and part.pads[pair[0]] != part.pads[pair[1]]:
            yield pair


@dataclass(frozen=True)
class Judgement:
    """`does`: what the fault does; `lost`: the protections it takes away; `lines`: for a lamp that is lit
    unasked, what else keeps it dark or puts it out; `found`: what finds it, the soonest first."""

    fault: Fault
    does: str
    lost: tuple[str, ...]
    lines: tuple[str, ...]
    found: tuple[str, ...]


LIGHTS = "lights the lamp unasked"
DEAD = "the lamp does not light"
HIDDEN = "takes a protection away"
OTHER = "shows at once"
HARMLESS = "changes nothing"

SENSE = "read-back: lamp sense"
TICK = "read-back: cut-off tick"
FEEDBACK = "read-back: feedback of the second contact"
STEP = "acceptance step %d"

_UNASKED = ("boot", "rest", "rest, safelight off", "rest, BACK", "armed", "armed, BACK")


def judged(circuit: Circuit, fault: Fault, good: Volts) -> Judgement:
    """RuntimeError where ngspice finds no answer."""
    at = volts(circuit, fault)
    part = circuit.parts[fault.ref]
    lost: list[str] = []
    lines: list[str] = []
    found: list[str] = []
    does = ""
    shows = False

    # The lamp.
    unasked = [state for state in _UNASKED if at[state]["LAMP_INPUT"] >= DARK_V]
    if unasked:
        does = LIGHTS
        worst = "armed" if at["armed"]["LAMP_INPUT"] >= DARK_V else unasked[0]
        if all(at[state]["LAMP_SENSE"] >= HIGH_V for state in unasked):
            lines.append("sense")
        if all(at[state]["ARM_INPUT"] < DARK_V for state in unasked if not state.startswith("armed")):
            lines.append("second contact")
        if max(at["rest, BACK"]["LAMP_INPUT"], at["armed, BACK"]["LAMP_INPUT"]) < DARK_V:
            lines.append("BACK")
        counts = all(at[state]["CUT_RESET"] < RESET_LOW_V for state in ("rest", worst))
        if counts and max(at["rest, time up"]["LAMP_INPUT"], at["armed, time up"]["LAMP_INPUT"]) < DARK_V:
            lines.append("cut-off")
        found += [SENSE] if "sense" in lines else []
    elif at["lit"]["LAMP_INPUT"] < LIT_V or at["lit, no second contact"]["LAMP_INPUT"] < LIT_V:
        does = DEAD
        found.append(SENSE if at["lit"]["LAMP_SENSE"] < LOW_V else STEP % 8)
    is_dead = does == DEAD

    # The second contact.
    if any(
        at[state]["ARM_INPUT"] >= DARK_V
        for state in ("boot", "rest", "rest, safelight off", "lit, no second contact")
    ):
        lost.append("second contact closed at rest")
        found.append(FEEDBACK if at["rest"]["FEEDBACK"] >= LOW_V else STEP % 12)
    if at["lit"]["ARM_INPUT"] < LIT_V or at["armed"]["ARM_INPUT"] < LIT_V:
        does = does or DEAD
        found.append(FEEDBACK if at["armed"]["FEEDBACK"] < HIGH_V else STEP % 8)

    # BACK, without a processor.
    if not is_dead and at["lit, BACK"]["LAMP_INPUT"] >= DARK_V:
        lost.append("BACK puts the lamp out without a processor")
        found.append(STEP % 9)
    if at["lit, BACK"]["ARM_INPUT"] >= DARK_V:
        lost.append("BACK opens the second contact without a processor")
        found.append(STEP % 9)

    # The cut-off.
    if not is_dead:
        normal_s = cutoff_period_s(circuit)
        is_clocks = _touches_clock(part)
        clock_s = period_s(circuit, fault) if is_clocks else normal_s
        stays = is_clocks and period_s(circuit, fault, time_up=True) > 0
        counts = at["lit"]["CUT_RESET"] < RESET_LOW_V and clock_s > 0
        seen = at["lit, tick"]["CUTOFF_TICK"] >= HIGH_V and at["lit"]["CUTOFF_TICK"] < LOW_V
        if not counts or at["lit, time up"]["LAMP_INPUT"] >= DARK_V or clock_s > 2 * normal_s:
            lost.append("the cut-off ends a light")
            found.append(TICK if not (counts and seen) else STEP % 10)
        elif clock_s < normal_s / 2:
            shows = True
            found.append(STEP % 10)
        if at["lit, time up"]["ARM_INPUT"] >= DARK_V:
            lost.append("the cut-off opens the second contact")
            found.append(STEP % 10)
        if stays:
            lost.append("the cut-off stays")
            found.append(STEP % 10)
        if not seen:
            lost.append("cut-off tick")
            found.append(TICK)
        if at["rest"]["CUT_RESET"] < RESET_HIGH_V and not unasked:
            lost.append("the count starts with the light")
            found.append(STEP % 10)

    # The read-backs.
    if (
        not unasked
        and not is_dead
        and any(
            (row["LAMP_SENSE"] >= LOW_V) != (row["LAMP_INPUT"] >= DARK_V)
            or (LOW_V <= row["LAMP_SENSE"] < HIGH_V)
            for row in at.values()
        )
    ):
        lost.append("lamp sense")
        found.append(SENSE)
    wrong = [
        state
        for state, row in at.items()
        if state != "boot"
        and (row["FEEDBACK"] >= LOW_V) != (row["ARM_INPUT"] >= DARK_V or bool(STATES[state].welded))
    ]
    if wrong:
        lost.append("feedback of the second contact")
        found.append(FEEDBACK if {"rest", "armed", "lit"} & set(wrong) else STEP % 12)

    # Safelight and the key as the firmware sees it.
    if any(
        (row["SAFE_INPUT"] >= DARK_V) != (good[state]["SAFE_INPUT"] >= DARK_V) for state, row in at.items()
    ):
        shows = True
        found.append(STEP % 8)
    if any((row["BACK"] >= HIGH_V) != (good[state]["BACK"] >= HIGH_V) for state, row in at.items()):
        shows = True
        found.append(STEP % 4)

    # What parts can bear.
    if (
        any(
            row[pin] > PIN_MOST_V
            or (pin in OUTPUTS and row[pin] < PIN_LOADED_V and good[state][pin] > PIN_LOADED_V)
            for state, row in at.items()
            for pin in PINS
        )
        and not is_dead
    ):
        lost.append("a pin of the Pico is spared")
        found.append(STEP % 1)
    if any(
        at[state]["SUPPLY_MA"] > good[state]["SUPPLY_MA"] + SUPPLY_MORE_MA
        for state in ("rest", "armed", "lit")
    ):
        shows = True
        found.append(STEP % 8)

    # A Pico 2 at its start.
    if _holds_low(part):
        boot = volts(circuit, fault, RP2350.pin_leak_a)["boot"]
        if max(boot["LAMP_INPUT"], boot["ARM_INPUT"]) >= DARK_V:
            lost.append("dark while a Pico 2 starts")
            found.append(STEP % 1)

    told = _told_by_hand(circuit, fault)
    if told:
        why, step = told
        if why:
            lost.append(why)
        if why or not found:
            shows = shows or not why
            found.append(STEP % step)
    does = does or (HIDDEN if lost else OTHER if shows else HARMLESS)
    return Judgement(fault, does, tuple(dict.fromkeys(lost)), tuple(lines), tuple(dict.fromkeys(found)))


def _touches_clock(part: Part) -> bool:
    return any(net.startswith("OSC_") or net == "CUT" for net in part.pads.values())


def _holds_low(part: Part) -> bool:
    return part.kind == "resistor" and "GND" in part.pads.values()


STEP_OF_NETS = (
    ({"K_BACK", "K_LAMP", "K_EXPOSE", "K_PEDAL", "BACK", "LAMP_KEY", "EXPOSE", "PEDAL"}, 4),
    ({"K_A", "K_B", "K_PRESS", "DIAL_A", "DIAL_B", "DIAL_PRESS"}, 5),
    ({"D_1", "D_2", "D_RES", "DISPLAY_SDA", "DISPLAY_SCL", "BACKLIGHT", "Q12B", "BL_A", "BL_K"}, 6),
    ({"PIEZO", "BZ"}, 7),
    ({"C_3V3", "C_SDA", "C_SCL", "CELL_SDA", "CELL_SCL"}, 13),
)
"""What has no part in the lamp's circuit, and the step that tries every key, detent, pixel, tone and bus."""


def _told_by_hand(circuit: Circuit, fault: Fault) -> tuple[str, int] | None:
    """What a sum of volts at rest does not show: what is lost, or "" where it shows at once; and the step."""
    part = circuit.parts[fault.ref]
    if part.kind == "suppressor" and fault.kind == "open":
        return "a cable's spark does not reach the pin", 1
    if part.kind == "switching-diode" and "GND" in part.pads.values() and fault.kind == "open":
        return "a relay coil's kick is taken", 1
    if fault.kind == "joined" and {part.pads[pad] for pad in fault.pads} <= {"GND", "3V3", "VSYS", "V5S"}:
        if part.kind != "fuse":
            return "", 1
    if (fault.ref, fault.pads) == ("U2", ("12",)):
        return "the count starts with the light", 10
    if part.kind == "resistor" and fault.kind == "joined" and part.does.startswith("keeps"):
        return part.does, 1
    if part.kind == "fuse" and fault.kind == "joined":
        return "the outputs are fused", 1
    nets = (
        {part.pads[pad] for pad in fault.pads}
        if part.kind in ("pico", "counter")
        else set(part.pads.values())
    )
    for group, step in STEP_OF_NETS:
        if nets & group:
            return "", step
    return None


def all_judged(circuit: Circuit, faults: Iterable[Fault] | None = None) -> list[Judgement]:
    good = volts(circuit)
    chosen = list(faults_of(circuit) if faults is None else faults)
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(lambda fault: judged(circuit, fault, good), chosen))


def broken_promises(judgements: Iterable[Judgement]) -> list[str]:
    """A line for each fault that may not be: one that lights the lamp with no second line, and one that takes
    a protection away and that nothing finds."""
    said = []
    for judgement in judgements:
        if judgement.does == LIGHTS and not judgement.lines:
            said.append(f"{judgement.fault} lights the lamp, and nothing else keeps it dark")
        if (judgement.lost or judgement.does != HARMLESS) and not judgement.found:
            said.append(
                f"{judgement.fault}: nothing finds it ({judgement.does}; {', '.join(judgement.lost)})"
            )
    return said


# --- the table

COLUMNS = ("fault", "what it does", "protections lost", "what else puts the lamp out", "found by")


def row_of(judgement: Judgement) -> tuple[str, ...]:
    return (
        str(judgement.fault),
        judgement.does,
        "; ".join(judgement.lost),
        "; ".join(judgement.lines),
        "; ".join(judgement.found),
    )


def read_table(path: Path = TABLE) -> list[tuple[str, ...]]:
    """Its rows, without the heading."""
    with path.open(encoding="utf-8", newline="") as file:
        return [tuple(row) for row in csv.reader(file)][1:]


def main() -> int:
    """Judge every fault, write the table, and say what came out. 1 where a promise is broken."""
    judgements = all_judged(read_circuit())
    TABLE.parent.mkdir(exist_ok=True)
    with TABLE.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        writer.writerows(map(row_of, judgements))
    print(f"{len(judgements)} single faults:")
    for does in (LIGHTS, DEAD, HIDDEN, OTHER, HARMLESS):
        print(f"  {sum(judgement.does == does for judgement in judgements):4}  {does}")
    broken = broken_promises(judgements)
    print(
        "\n".join(broken)
        or "None lights the lamp with no second line, and none that takes a protection away is unfound."
    )
    return 1 if broken else 0


if __name__ == "__main__":
    raise SystemExit(main())
