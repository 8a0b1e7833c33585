"""Everything that the box must show, measured on the emulated Pico: `python -m tests.rig.measure`.

What must live here: how many of each scenario, and docs/measurements.md, which this writes whole. Each
section is a function that returns its lines. One box is started; the sections work on copies of it,
as many at a time as the computer has processors.
"""

from __future__ import annotations

import argparse
import inspect
import json
import os
import sys
import tempfile
import textwrap
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cache
from pathlib import Path
from statistics import fmean
from typing import Any

from tests.figures import evenings, metering, savings
from tests.figures.comparison import Figure, number
from tests.micropython import ROOT
from tests.rig import cell_faults
from tests.rig.box import LAMP, SAFELIGHT, PicoBox, begin
from tests.rig.cell_faults import busy_box, metering_box, told_of
from tests.rig.faults import (
    CRASHES,
    HARMLESS,
    LIGHT_MS,
    RESETS,
    STRUCK_MS,
    Outcome,
    crash_log,
    disk_with,
    full_disk,
    hang_at_work,
    hang_of_the_loop,
    spoiled_picture,
    three_crashes,
    under_light,
)
from tests.rig.image import find_uf2, release_of
from tests.rig.lamp_times import LENGTHS_MS, LOADS, WAYS, errors_ns
from tests.rig.pico import MS, STACK_BYTES
from tests.rig.scenarios import (
    BENCH,
    FREE_MIN_BYTES,
    STACK_MIN_BYTES,
    bouncing_dial,
    bouncing_presses,
    copied,
    grown_by,
    heap_under_light,
    latencies,
    long_card,
    open_screens,
    print_a_card,
    pushed,
    pushed_again,
    replayed_here,
    replayed_on_micropython,
    split_grade_card,
    stack_left,
)

DOC = ROOT / "docs" / "measurements.md"
PARTS = ROOT / "build" / "measurements"
"""The sections as last measured, in a folder for each release of MicroPython: all of them take hours, and one
may be wanted anew."""

SAMPLE_MS = 1
PRESSES = 30
"""In each of the plays that the stack is measured in."""


def together(works: Sequence[Callable[[], Any]]) -> list[Any]:
    """The results of all of `works`, each in a copy of this process, in their order."""
    return list(as_they_come(works))


def as_they_come(works: Iterable[Callable[[], Any]]) -> Iterator[Any]:
    """The results of `works`, in their order, each as soon as it and those before it are there."""
    waiting: list[Callable[[], Any]] = []
    for work in works:
        if len(waiting) >= (os.cpu_count() or 1):
            yield waiting.pop(0)()
        waiting.append(begin(work))
    for wait in waiting:
        yield wait()


def table(head: Sequence[object], rows: Sequence[Sequence[object]]) -> list[str]:
    """A table; columns after the first are numbers."""
    lines = [head, ["---", *["---:"] * (len(head) - 1)], *rows]
    return ["| " + " | ".join(str(cell) for cell in line) + " |" for line in lines] + [""]


def prose(words: str) -> list[str]:
    return [*inspect.cleandoc(words).splitlines(), ""]


def percentile(values: Sequence[float], share: float) -> float:
    """The value that `share` of all are not above (nearest rank)."""
    ordered = sorted(values)
    return ordered[max(0, -(-round(len(ordered) * share * 1000) // 1000) - 1)]


def power_up(uf2: Path) -> tuple[PicoBox, list[str]]:
    """Start the box that all else is done with; its section."""
    box = PicoBox(uf2, probe=True, files=disk_with(), start=False)
    high = {LAMP: 0, SAFELIGHT: 0}
    samples = 0

    def sample() -> None:
        nonlocal samples
        samples += 1
        for pin in high:
            high[pin] += box.pico.level(pin)
        if not box.panel.lit:
            box.pico.at(box.now_ns + SAMPLE_MS * MS, sample)

    sample()
    box.pico.start()
    panel_ms = box.wait_for_panel()
    rows = [["empty", panel_ms]]
    safelight = box.pico.edges_of(SAFELIGHT)
    box.wait_for_rest()
    rows += together([lambda: _full_power_up(uf2)])
    return box, [
        *prose("""
            ## Power-up

            From power to a whole picture on the panel. Budget: 1,500 ms."""),
        *table(["flash holds", "ms"], rows),
        *prose(f"""
            The relays' pins were sampled every {SAMPLE_MS} ms until the panel was lit, {samples} times.
            The lamp's was high {high[LAMP]} times and had {len(box.pico.edges_of(LAMP))} edges; the
            safelight's was high {high[SAFELIGHT]} times and had {len(safelight)} edge: the box lights it
            at {safelight[0].ns // MS} ms."""),
    ]


def _full_power_up(uf2: Path) -> list[object]:
    box = PicoBox(uf2, files=full_disk())
    return ["64 cards in both their slots, 64 ledger records", box.wait_for_panel(10_000)]


def a_print(box: PicoBox) -> list[str]:
    """Push, print, pull, ledger; and the traces."""
    made = box.forked(print_a_card)
    with tempfile.TemporaryDirectory() as folder:
        desk = replayed_on_micropython(made, Path(folder))
    here = replayed_here(made)
    kinds = [line.split('"')[1] for line in made.trace]
    rows = []
    for stage, strikes in zip([stage for stage in made.stages if stage.light_ms], made.strikes, strict=True):
        given_ms = sum(strikes) - BENCH["lag_ms"] * len(strikes)
        name = f"{stage.kind} {stage.area}".strip()
        rows.append([name, stage.filter, stage.light_ms, f"{given_ms:.3f}", len(strikes)])
    record = made.record
    same = {True: "equal", False: "DIFFERENT"}
    whole = record["whole"] and all(row["light_ms"] == row["given_ms"] for row in record["stages"])
    return [
        *prose(f"""
            ## A print, from the PC to the ledger

            A split-grade card with a dodge in each pass, two burns (one through a third filter) and
            dry-down is pushed over USB, taken off the shelf by dial, printed by pressing pins that
            bounce, with a hold in the first base, pulled back, and its ledger record read. Lamp lag
            {BENCH["lag_ms"]} ms."""),
        *table(["stage", "filter", "planned light, ms", "measured at the pin, ms", "strikes"], rows),
        *prose(f"""
            - card pulled and card pushed: {same[made.pulled == split_grade_card().to_dict()]}
            - ledger record: {"whole, every stage given in full" if whole else "NOT WHOLE"}
            - trace of the board and the simulator's for the same inputs: {same[here == made.trace]}
            - trace of the board and that of MicroPython on a desk: {same[desk == made.trace]}

            The trace: {kinds.count("in")} inputs, {kinds.count("out")} outputs with their ms,
            {kinds.count("frame")} pictures by their CRC-32, {kinds.count("line")} lines from the wire and
            their replies."""),
    ]


def lamp_time(uf2: Path, phases: int, begun: Path) -> list[str]:
    """The one section that takes more than an hour: cut off, it goes on where it was, by the file `begun`."""
    jobs = [
        (way, load, ms, range(first, min(first + 5, phases)))
        for way in WAYS
        for load in LOADS
        for ms in LENGTHS_MS
        for first in range(0, phases, 5)
    ]
    known = [json.loads(line) for line in begun.read_text().splitlines()] if begun.exists() else []
    works = [
        lambda job=job: errors_ns(uf2, [(*job[:3], phase) for phase in job[3]]) for job in jobs[len(known) :]
    ]
    with begun.open("a") as kept:
        for errors in as_they_come(works):
            known.append(errors)
            print(json.dumps(errors), file=kept, flush=True)
    begun.unlink()
    found: dict[tuple[str, str, int], list[int]] = {}
    for job, errors in zip(jobs, known, strict=True):
        found.setdefault(job[:3], []).extend(errors)
    rows = [
        [way, load, *[_worst_us(found[way, load, ms]) for ms in LENGTHS_MS]] for way in WAYS for load in LOADS
    ]
    return [
        *prose(f"""
            ## Lamp time

            Worst error in us of the lamp's time at its pin, {phases} phases each; budget for `pulse`, the
            box's own, 50 us. The others do the same job in the same run under the same work: `timer` is a
            one-shot `machine.Timer`, `sleep` a loop of `sleep_ms`, `asyncio` a task. Work: garbage made
            and collected; frames of 1 KB to the display; files written to flash; the PC sending without a
            pause."""),
        *table(["way", "work", *[f"{ms} ms" for ms in LENGTHS_MS]], rows),
        *prose("""
            The emulator's PIO is mended (see `tests/rig/pico.py`), and a mend that works out the
            answer proves nothing by itself. `test_pico.py` holds it against the stock emulator, stepped
            instruction by instruction with a CPU that never sleeps (they agree within 1 us), and against
            the data sheet."""),
    ]


def _worst_us(errors_ns: list[int]) -> str:
    worst = max(errors_ns, key=abs) / 1000
    return f"{worst:,.2f}" if abs(worst) < 100 else f"{worst:,.0f}"


KEY_BUDGET_MS = 5
EDGES = (
    ("EXPOSE to lamp on", "expose_to_light"),
    ("BACK to lamp off", "back_to_dark"),
    ("EXPOSE to lamp off (hold)", "expose_to_dark"),
)


def timed_keys(box: PicoBox, strikes: int, also: str = "") -> list[list[object]]:
    """A row for each of EDGES."""
    copies = max(1, strikes // 30)
    each = -(-strikes // copies)
    parts = together([lambda seed=seed: latencies(box, each, seed) for seed in range(copies)])
    rows: list[list[object]] = []
    for about, name in EDGES:
        times = [us for part in parts for us in getattr(part, name)]
        figures = [percentile(times, 0.5), percentile(times, 0.99), max(times)]
        rows.append([about + also, len(times), *[f"{us / 1000:.2f}" for us in figures]])
    return rows


def keys(box: PicoBox, uf2: Path, strikes: int) -> list[str]:
    rows = timed_keys(box, strikes) + timed_keys(busy_box(uf2), strikes, ", busy")
    missed = [row[0] for row in rows if float(str(row[3])) > KEY_BUDGET_MS]
    told = f"The budget is missed: {'; '.join(map(str, missed))}." if missed else "The budget is kept."
    return [
        *prose("""
            ## Keys

            From the first edge at the key's pin to the lamp's pin, in ms, while the PC asks and sets
            without a pause and the panel is drawn anew; presses 45 to 145 ms apart, and 0.1 s more after each
            dark, when the journal is written: a write masks interrupts. (No settling time here. With the
            usual 0.7 s no key can light the lamp so soon.) Busy: three sheets are in the trays, and the light
            cell was read on its screen. Budget: 5 ms at the 99th percentile."""),
        *table(["edge", "phases", "median", "99th percentile", "worst"], rows),
        *prose(told),
        *prose("""
            BACK's interrupt puts the lamp out by itself. EXPOSE has to ask the box, and waits for a
            collection (30 ms) if one is under way: memory is collected right after a press, and in a run
            the PC is answered so seldom that it hardly ever forces one."""),
    ]


def memory(box: PicoBox, runs: int, prints: int) -> list[str]:
    def scenario(box: PicoBox) -> tuple[int, list[int], list[list[int]]]:
        box.do("import gc; gc.collect()")
        free = [int(box.ask("gc.mem_free()"))]
        taken = []
        for _ in range(runs):
            taken.append(heap_under_light(box))
            box.do("gc.collect()")
            free.append(int(box.ask("gc.mem_free()")))
        return free[0], free[1:], taken

    (start, later, taken), grown, *left = together(
        [lambda: box.forked(scenario), lambda: grown_by(prints)]
        + [
            lambda seed=seed: box.forked(lambda box: stack_left(box, PRESSES, seed))
            for seed in range(2 * runs)
        ]
    )
    rows = [["after the start", start], *[[f"after run {n + 1}", free] for n, free in enumerate(later)]]
    return [
        *prose(f"""
            ## Memory

            Free heap in bytes after a collection, with all running, and with the rig's probe and what
            watches the heap, which take some 3 KB themselves. Budget without them:
            over {FREE_MIN_BYTES:,}."""),
        *table(["when", "bytes"], rows),
        *prose(f"""
            Taken from the heap between the lamp's start and its end, the wire being quiet, in each of
            these runs: {", ".join(str(after - before) for before, after in taken)} bytes. The heap was
            locked, and nothing failed.

            The core on MicroPython for a desk made {prints:,} prints: its heap grew by {grown} bytes.

            Of the main stack's {STACK_BYTES:,} bytes {min(left):,} were never used, by loop or interrupts, in
            {len(left) * PRESSES:,} presses and turns at odd moments while the PC asked without a pause. At
            least {STACK_MIN_BYTES:,} must be left."""),
    ]


def screens(box: PicoBox) -> list[str]:
    rows = [[name, was, free, was - free] for name, was, free in box.forked(open_screens)]
    return [
        *prose("""
            ## Memory with a screen open

            Free heap in bytes after a collection, with the rig's probe, which takes some 3 KB. These screens
            are loaded when they are opened and given back when they are left, in the dark. To take them
            again: `python -m tests.rig.measure --only screens`."""),
        *table(["screen", "before", "open", "takes"], rows),
    ]


def light_cell(uf2: Path) -> list[str]:
    box, cell, _ = metering_box(uf2)
    works = [
        lambda state=state, fault=fault: box.forked(
            lambda box: told_of(box, cell, cell_faults.FAULTS[fault], cell_faults.STATES[state])
        )
        for state, fault in cell_faults.EVERY
    ]
    rows = []
    for (state, fault), told in zip(cell_faults.EVERY, as_they_come(works), strict=True):
        light = f"{told.lit_ms:.1f}" if told.lit_ms else ""
        rows.append([f"{state}: {fault}", f"{max(told.keys_ms):.2f}", light, told.says, told.back_ms])
    return [
        *prose(f"""
            ## Faults of the light cell

            The cell is read while its screen is open; elsewhere no transaction is made with it, and one fault
            is like another. In each state a fault comes; the keys that then give or end light are pressed,
            each just as a transaction begins, if one does; and the fault goes. Keys: the worst time from edge
            to lamp pin, in ms; budget as above. Light: how long the lamp was lit in all, in ms, where it was
            left to end by itself: {1000 * cell_faults.VIEWING_S:,} ms of viewing light or the
            {cell_faults.LIGHT_MS:,} ms of a stage, of which those before a hold are reckoned in whole ms.
            Told: the panel's word, where the cell is read. Back: the ms to a dark reading from the mending,
            and where the screen was left from opening it again."""),
        *table(["state: fault", "keys", "light", "told", "back"], rows),
    ]


def simulated_evenings() -> list[str]:
    return [
        *prose("""
            ## Simulated evenings

            Not on the emulated Pico: the same core in the simulator, as `make figures` plays it; what is in
            them is said at the top of `tests/figures/evenings.py` and `tests/figures/metering.py`. To take
            them again: `python -m tests.rig.measure --only simulated_evenings`."""),
        *table(
            ["what", "figure", "budget", "rival", "its figure"],
            [_figure_row(figure) for figure in (*evenings.figures(), *metering.figures())],
        ),
    ]


def _figure_row(figure: Figure) -> list[object]:
    budget = "" if figure.budget is None else f"{number(figure.budget)}{'' if figure.kept else ': MISSED'}"
    rival = "" if figure.rival_value is None else number(figure.rival_value)
    return [figure.what.strip(), f"{number(figure.value)} {figure.unit}", budget, figure.rival, rival]


def what_it_saves() -> list[str]:
    learning = savings.learning_sheets()
    return [
        *prose("""
            ## What it saves

            Not on the emulated Pico either. Simulated printers make prints of 200 negatives that they do not
            know, as `make figures` plays it too. To take them again: `python -m tests.rig.measure --only
            what_it_saves`.

            A strip is a quarter of a sheet, a print a whole one, the last one included. *Sheets*, *minutes*,
            *base* and *grade* are medians, these two of the finished print's error in stops and in grades;
            *mean* (of sheets), *strips* and *prints* are means; *right* are the prints within 1/12 stop and
            1/4 grade."""),
        *table(list(savings.COLUMNS), savings.table_rows()),
        *textwrap.wrap(
            "Budget: with light cell and paper record at most half the paper of plain-second strips, every "
            "full print counted, and errors within 1/12 stop and 1/4 grade, in the median. It is about "
            f"printers who make several full prints. Paper: {savings.verdicts()}.",
            100,
        ),
        "",
        *textwrap.wrap(f"{savings.beside_the_budget()}.", 100),
        "",
        *textwrap.wrap(f"{savings.chances()}.", 100),
        "",
        *textwrap.wrap(
            "How much of this is the printers: where contrast is judged on strips and on prints, the parts "
            f"are, by means, {savings.parts(middle=fmean)}; by medians, for who is sure at 1.5 times their "
            f"eye's error and not at twice, {savings.parts(sure=1.5)}; at 3 times, {savings.parts(sure=3)}; "
            f"for who never goes back to a filter that they have left, {savings.parts(remembers=True)}.",
            100,
        ),
        "",
        *prose(f"""
            The record has a strip for each of 12 filters. With the calibration of the light cell it took
            {min(learning):.2f} to {max(learning):.2f} sheets, once for a paper, and is not in the table."""),
        *prose("""
            How a printer is modelled was written down before any was played; in full it is at the top of
            `tests/figures/savings.py`.

            - **The right print** has a density of 0.10 in its light tone, and 90 % of black in its shadow.
              Filters go from 00 to 5 in halves, so the best of them may be a quarter of a grade off.
            - **The eye** takes a density for one that is 0.02 off, above 1.6 for one 0.04 off, anew in each
              look. At 0.10 that is about a twelfth of a stop.
            - **Printers are content** if neither tone looks wrong by more than twice that. They may be
              mistaken, as the last column says. They may also go back to a filter that they have left: a few
              prints take very long, and so means are above medians.
            - **All know** which filter a contrast calls for, as far as their eye goes. This is generous to
              those who have no record.
            - **Plain-second strips** have 7 patches in steps of 5 s; where these are more than 1/3 stop
              apart, a second one follows, in steps of 2 s or 1 s. **Stop strips** have 1/2 stop, then 1/6.
              After a change of filter comes a strip around the maker's factor.
            - **With a paper record** the light of another filter is known, and there is no such strip.
              **With the light cell** filter and base are the box's, and one strip of 1/6 stop is laid around
              them.
            - **Contrast is judged** on strips already, or on whole prints alone. Paper depends on this more
              than on anything else. On strips has a source: a navy's course (NAVEDTRA 14209, read) has the
              strip lie across highlights and shadows, and the filter changed before the first print.
            - **Also from a source**: steps of 5 s, and a new strip after a change of filter (that course);
              filter 2 to begin with (ilfordphoto.com, "Exposure testing", read); the two papers (a maker's
              sheets).
            - **Invented**: the negatives; the filters between whole numbers; all times but the trays'; what
              light cell and paper are off by beyond what the simulator has; tones that are even along a
              strip. The eye's errors are common practice and have no source."""),
    ]


def contacts(uf2: Path, presses: int, detents: int) -> list[str]:
    copies = max(1, presses // 1000)
    each = -(-presses // copies // 5)
    parts = together(
        [lambda seed=seed: bouncing_presses(uf2, each, seed) for seed in range(copies)]
        + [lambda: bouncing_dial(uf2, detents, 1)]
    )
    dial = parts.pop()
    pressed = sum(sum(pressed) for pressed, _ in parts)
    wrong = sum(abs(a - b) for pressed, counted in parts for a, b in zip([*pressed, 0], counted, strict=True))
    rows = [
        [per_s, sum(turned), abs(turned[0] - counted[0]) + abs(turned[1] - counted[1]) + counted[2]]
        for per_s, turned, counted in dial
    ]
    return [
        *prose(f"""
            ## Bounce

            Five keys, pressed at once and by turns, each bouncing for 1 to 20 ms as it closes and as it
            opens: {pressed:,} presses, {wrong} lost or doubled.

            The dial, there and back, bouncing for up to 5 ms or 4/5 of a quarter detent:"""),
        *table(["detents a second", "detents", "lost or doubled"], rows),
    ]


def link(box: PicoBox, phases: int) -> list[str]:
    starts_ms = [phase * 6.7 for phase in range(phases)]
    works: list[Callable[[], Any]] = [lambda: box.forked(copied)]
    works += [lambda at=at: box.forked(lambda box: pushed(box, at)) for at in starts_ms]
    works += [lambda at=at: box.forked(lambda box: pushed_again(box, at)) for at in starts_ms]
    (copy, copy_again, start_ms), *found = together(works)
    pushes, pulls = zip(*found[:phases], strict=True)
    columns = {
        "push, a new card": pushes,
        "push, over a version of it": found[phases:],
        "pull": pulls,
        "copy, a new file": [copy],
        "copy, over that": [copy_again],
    }
    rows = []
    medians = {}
    for name, column in columns.items():
        times = [moved.ms for moved in column]
        bare = [moved.ms - moved.flash_ms for moved in column]
        medians[name] = percentile(times, 0.5), percentile(bare, 0.5)
        rows.append(
            [name, len(times), *[f"{ms:.0f}" for ms in (medians[name][0], max(times), medians[name][1])]]
        )
    new, new_bare = [
        copied / pushed for copied, pushed in zip(medians["copy, a new file"], medians["push, a new card"])
    ]
    over, over_bare = [
        copied / pushed
        for copied, pushed in zip(medians["copy, over that"], medians["push, over a version of it"])
    ]
    whole = (copy_again.ms + start_ms) / medians["push, over a version of it"][0]
    return [
        *prose(f"""
            ## Link

            A card of 40 stages ({len(long_card().text()):,} bytes of JSON) over emulated USB, with the client
            of `lampblack`, and pulled back equal; half a second or more between two pushes. Budget of a push:
            300 ms.

            Beside it the same bytes as a file, by mpremote through MicroPython's raw prompt on the same
            board, which the box has left before. Timed there: entering the raw prompt without starting
            MicroPython anew, opening the file, 256 bytes at a time, closing it. Nobody checks such a file,
            and a cut of power may leave half of it."""),
        *table(["what, in ms", "times", "median", "worst", "median without the flash's own time"], rows),
        *prose(f"""
            Copy to push, the larger the better for the push: {new:.1f} for a new card, {over:.1f} over an old
            one; without the flash's own time {new_bare:.1f} and {over_bare:.1f}. Goal: 5. A copy needs the
            box to leave and to start again ({start_ms} ms to the panel): with that start it is
            {whole:.1f}."""),
    ]


def faults(box: PicoBox, uf2: Path) -> list[str]:
    every = [(name, fault, False) for name, fault in HARMLESS.items()]
    every += [(f"exception: {name}", fault, True) for name, fault in CRASHES.items()]
    every += [("a picture fails", spoiled_picture, False)]
    every += [("hang of the loop", hang_of_the_loop, True), ("hang while it draws", hang_at_work, True)]
    every += [(name, fault, True) for name, (fault, _) in RESETS.items()]
    outcomes = together([lambda one=one: under_light(*one[1:])(box) for one in every])
    rows = [_fault_row(name, outcome) for (name, _, _), outcome in zip(every, outcomes)]
    prompt = three_crashes(uf2)
    prompt.run_ms(4000)
    log = crash_log(prompt)
    return [
        *prose(f"""
            ## Faults

            Each comes {STRUCK_MS} ms into a light of {LIGHT_MS} ms, in the first stage of a print; a card
            is on the shelf. Lit: how long the lamp was lit in all. Restart: its cause, and the ms from
            there to a drawn panel. Known: the ms of light that the box then knows the stage has had.
            Kept: whether card, work and every other record are as they were."""),
        *table(["fault", "lit, ms", "restart", "then", "known, ms", "kept", "crash log"], rows),
        *prose(f"""
            Three crashes in a row on the way up: {len(prompt.pico.resets) - 1} restarts, then the prompt,
            with {len(prompt.pico.edges_of(LAMP))} edges of the lamp and {len(log.encode())} bytes of
            crash log; no watchdog bites there."""),
    ]


def _fault_row(name: str, found: Outcome) -> list[object]:
    restart = f"{found.reset}, {found.panel_ms}" if found.reset else "none"
    known = found.given_ms if found.reset else ""
    log = found.log.strip().splitlines()
    return [
        name,
        f"{found.lit_ms:.1f}",
        restart,
        f"{found.state}: {found.says}",
        known,
        "all" if found.kept else "NOT ALL",
        f"`{log[-1]}`" if log else "",
    ]


def page(parts: Sequence[str], release: str) -> str:
    """The whole of DOC from its sections, measured with this release of MicroPython."""
    head = prose(f"""
        # Measurements

        Taken by `make measurements` with the real firmware, on MicroPython {release} for the Raspberry
        Pi Pico, on an emulated RP2040 at 125 MHz (`tests/rig`). Written whole by
        `tests/rig/measure.py`: change that, not this page. The emulator charges nothing when
        code is not in the flash's cache, so code on silicon is somewhat slower; the lamp's time does
        not depend on code.""")
    return "\n".join([*head, *parts]).rstrip() + "\n"


TITLES = {
    "power_up": "Power-up",
    "a_print": "A print, from the PC to the ledger",
    "lamp_time": "Lamp time",
    "keys": "Keys",
    "memory": "Memory",
    "screens": "Memory with a screen open",
    "link": "Link",
    "faults": "Faults",
    "light_cell": "Faults of the light cell",
    "contacts": "Bounce",
    "simulated_evenings": "Simulated evenings",
    "what_it_saves": "What it saves",
}
"""Of the sections, in their order."""


def on_the_page(release: str) -> dict[str, str]:
    """The sections that DOC has, by their names; none if they are not of this release."""
    if not DOC.exists():
        return {}
    head, *sections = DOC.read_text().split("\n## ")
    if f"on MicroPython {release} for" not in " ".join(head.split()):
        return {}
    names = {title: name for name, title in TITLES.items()}
    return {names[section.partition("\n")[0]]: f"## {section}" for section in sections}


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--lamp-phases", type=int, default=20, help="of each lamp time (%(default)s)")
    parser.add_argument("--strikes", type=int, default=268, help="to time the keys (%(default)s)")
    parser.add_argument("--presses", type=int, default=10_000, help="that bounce (%(default)s)")
    parser.add_argument("--detents", type=int, default=1000, help="a speed that bounces (%(default)s)")
    parser.add_argument("--pushes", type=int, default=5, help="of a long card (%(default)s)")
    parser.add_argument("--runs", type=int, default=5, help="with the heap watched (%(default)s)")
    parser.add_argument("--prints", type=int, default=10_000, help="for the heap's growth (%(default)s)")
    parser.add_argument("--only", default="", help="these sections anew, the others as last measured")
    given = parser.parse_args(arguments)
    uf2, reason = find_uf2()
    if uf2 is None:
        print(reason, file=sys.stderr)
        return 2
    release = release_of(uf2)
    parts = PARTS / release
    started = cache(lambda: power_up(uf2))
    sections: dict[str, Callable[[], list[str]]] = {
        "power_up": lambda: started()[1],
        "a_print": lambda: a_print(started()[0]),
        "lamp_time": lambda: lamp_time(uf2, given.lamp_phases, parts / "lamp_time.begun"),
        "keys": lambda: keys(started()[0], uf2, given.strikes),
        "memory": lambda: memory(started()[0], given.runs, given.prints),
        "screens": lambda: screens(started()[0]),
        "link": lambda: link(started()[0], given.pushes),
        "faults": lambda: faults(started()[0], uf2),
        "light_cell": lambda: light_cell(uf2),
        "contacts": lambda: contacts(uf2, given.presses, given.detents),
        "simulated_evenings": simulated_evenings,
        "what_it_saves": what_it_saves,
    }
    assert list(sections) == list(TITLES)
    parts.mkdir(parents=True, exist_ok=True)
    for name, text in on_the_page(release).items():
        if not (parts / f"{name}.md").exists():
            (parts / f"{name}.md").write_text(text)
    for name in given.only.split(",") if given.only else sections:
        if name not in sections:
            print(f"There is no section {name}: take {', '.join(sections)}.", file=sys.stderr)
            return 2
        began = time.monotonic()
        text = "\n".join(sections[name]())
        (parts / f"{name}.md").write_text(text)
        print(f"{text}\n({name}: {time.monotonic() - began:.0f} s)\n", flush=True)
    missing = [name for name in sections if not (parts / f"{name}.md").exists()]
    if missing:
        print(
            f"{DOC.name} is not written: {', '.join(missing)} not yet measured on {release}.", file=sys.stderr
        )
        return 1
    DOC.write_text(page([(parts / f"{name}.md").read_text() for name in sections], release))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
