"""The steps of the acceptance test: what the person does, and what is measured of it.

What must live here: the steps. Limits are in `limits`; how a figure is kept is `trial`'s.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from lampblack.accept.limits import (
    CHOICES,
    CUT_OFF_TICKS,
    DETENTS,
    KEYS,
    PRESSES,
    READINGS,
    STRIKES,
    WITH_BACK_HELD,
    reading_key,
)
from lampblack.accept.trial import Trial
from lampblack.errors import CommandError
from timing_core.machine.watch import FAULTS, LINES
from timing_core.panel.counting import LEVELS
from timing_core.records.fitted import COLUMN_OFFSET_MAX, DISPLAYS

PRACTICE_PLUG = (
    "You need a multimeter with a diode range, a USB meter, and the practice plug on J2: a 5 V reed relay "
    "of 10 mA "
    "from LAMP to GND with a red LED and 1k beside it, the same again from ARM to GND, and the second "
    "relay's "
    "contact that is closed at rest from FEEDBACK to GND. There is no mains anywhere until step 16. "
    "The board is out of its case until step 15: JP2 and the display's plug are on its front.",
    "At any question, type skip to pass the step over. Ctrl-C stops; run the command again to go on.",
)

AGAIN = " (again, if it warns of a sheet)"
NAMES = {**dict(KEYS), "press": "dial pressed", "right": "dial right", "left": "dial left"}
BASE_MS = 10_000
QUIET_LOOKS = 6
"""So often nothing more must be seen after what was wanted."""
TICKING_LEAST_MS = 25_000
"""Of a light of 30 s, as a person counts it."""
LATCH_LEAST_MS = 25_000
DARK_LOOKS = 20
SAME_MS = 2
"""Two times of one edge, in whole ms."""

FAULT = dict(zip(FAULTS, LINES, strict=True))


def step_1(trial: Trial) -> None:
    trial.say(
        "Nothing is plugged in: no Pico, no counter, no cable. The red probe comes first; wait until a "
        "reading stands "
        "still. Figures may be typed as 3.5k; OL where the meter shows that it is open."
    )
    for red, black, kind, _, _ in READINGS:
        held = ", BACK held down" if (red, black) == WITH_BACK_HELD else ""
        trial.type(reading_key(red, black), f"{red} to {black}, {kind} range{held}")
    trial.ask(
        "1.connectors",
        "Does no contact of one connector (J1 to J6) read under 500 ohm to one of another, but GND to GND?",
    )


def step_2(trial: Trial) -> None:
    trial.ask(
        "2.cool",
        "The Pico into its sockets; no counter, no display, no cable. USB in, and touch every part. USB out, "
        "the counter into its socket, USB in, and touch again. Is nothing warm?",
    )
    trial.until_it_answers(
        "USB out. The practice plug's cable to J2, and the display in, its jumpers first. USB in, and put "
        "the firmware on: drag the image onto a new Pico, or run `lampblack install` in another window."
    )
    _fit(trial)
    found = [finding for finding in trial.findings() if not finding.ok]
    for finding in found:
        trial.say(f"  WRONG {finding.about}: {finding.line}")
    trial.note("2.doctor", len(found))


def _fit(trial: Trial) -> None:
    """Set what is fitted, as the person says it; it holds from the next start on."""
    trial.say("What is fitted is never guessed. Say what this box has:")
    wanted = {
        "display": _display(trial),
        "column_offset": _column_offset(trial),
        "read_backs": trial.person.is_yes(
            "Are lamp sense and the cut-off's tick wired to the Pico, as on the board?"
        ),
        "second_contact": trial.person.is_yes("Is there a second contact (the practice plug has one)?"),
    }
    told = trial.box.call("fitted.get")
    if told["values"] != wanted:
        told = trial.box.call("fitted.set", values=wanted)
    if not told["in_force"]:
        trial.until_it_answers(
            "The box takes it at its next start. Pull the plug and put it back.",
            lambda box: box.call("fitted.get")["in_force"],
        )
    trial.report.fitted = wanted
    trial.report.write()


def _display(trial: Trial) -> str:
    while True:
        answer = trial.person.type(f"Which controller does the display have? ({', '.join(DISPLAYS)})").lower()
        if answer in DISPLAYS:
            return answer
        trial.say("  It stands in the display's papers. Type one of these words.")


def _column_offset(trial: Trial) -> int:
    while True:
        value = trial.number(
            f"At which column does its picture begin? (0 to {COLUMN_OFFSET_MAX}; 2 for most sh1106)"
        )
        if value in range(COLUMN_OFFSET_MAX + 1):
            return int(value)
        trial.say(f"  Type a whole number from 0 to {COLUMN_OFFSET_MAX}.")


def step_3(trial: Trial) -> None:
    _needs_read_backs(trial)
    trial.type("3.bootsel", "Plug USB in with BOOTSEL held. LAMP OUT (TP5) then")
    trial.type("3.run", "Power up, then hold RUN (TP7) at GND for 5 s. LAMP OUT (TP5) meanwhile")
    trial.ask("3.flash", "Power up 20 times and look at both LEDs. Has neither flashed, ever?")
    trial.until_it_answers("Leave the plug in.")
    told = trial.read()
    trial.note("3.sense", told["sense_edges"] + told["sense"])
    trial.note("3.ticks", told["ticks"])


def step_4(trial: Trial) -> None:
    for key, name in KEYS:
        if all(trial.has_kept(f"4.{key}{part}") for part in ("", ".others")):
            continue
        own, others, edges = _pressed(trial, key, name, PRESSES, "quick and slow")
        trial.note(f"4.{key}", own)
        trial.note(f"4.{key}.others", others)
        if own and edges is not None:
            trial.note(f"4.{key}.edges", edges / own)


def step_5(trial: Trial) -> None:
    wrong = anything = 0
    for way, against in (("right", "left"), ("left", "right")):
        counts = _counted(trial, f"Turn the dial two whole turns to the {way}.", way, DETENTS)
        trial.note(f"5.{way}", counts[way])
        wrong += counts[against]
        anything += sum(counts.values()) - counts[way] - counts[against]
    own, others, _ = _pressed(trial, "press", "the dial", CHOICES, "as to choose")
    trial.note("5.press", own)
    trial.note("5.back", wrong)
    trial.note("5.others", anything + others)


def _pressed(trial: Trial, key: str, name: str, wanted: int, how: str) -> tuple[int, int, int | None]:
    """Presses of a key, all else that was counted meanwhile, and the edges of its contact if they are "
    "told."""
    before = trial.read()["edges"].get(key)
    counts = _counted(trial, f"Press {name} {wanted} times, {how}.", key, wanted)
    after = trial.read()["edges"].get(key)
    edges = None if before is None or after is None else after - before
    return counts[key], sum(counts.values()) - counts[key], edges


def _counted(trial: Trial, prompt: str, key: str, wanted: int) -> dict[str, int]:
    """What was counted until there was as much as is wanted and no more came. Whoever has counted wrongly may
    do it again."""
    while True:
        with trial.counting():
            quiet = 0
            last: dict[str, int] = {}

            def look() -> tuple[str, bool]:
                nonlocal quiet, last
                counts = trial.read()["counts"] or {}
                quiet = quiet + 1 if counts == last else 0
                last = counts
                others = sum(counts.values()) - counts.get(key, 0)
                words = f"{counts.get(key, 0)} of {wanted}" + (f", and {others} of others" if others else "")
                return words, counts.get(key, 0) >= wanted and quiet >= QUIET_LOOKS

            trial.wait(prompt, look)
            counts = trial.read()["counts"] or dict.fromkeys(
                (*(name for name, _ in KEYS), "press", "right", "left"), 0
            )
        if counts[key] == wanted == sum(counts.values()):
            return counts
        told = ", ".join(f"{NAMES[name]} {count}" for name, count in counts.items() if count) or "nothing"
        if trial.person.is_yes(f"  The box has counted: {told}. Was it {wanted}, and nothing else?"):
            return counts


def step_6(trial: Trial) -> None:
    def show(picture: str, level: int) -> None:
        trial.box.call("accept.show", picture=picture, level=level, sound="", volume=0)

    health = trial.box.call("health")
    if "display" in health:
        trial.note("6.answers", health["display"]["answers"])
    with trial.counting():
        show("all", LEVELS)
        trial.ask("6.all", "Every dot is to be lit, at the brightest setting. Is none missing?")
        for picture in ("chequer", "inverse"):
            show(picture, LEVELS)
            if picture == "chequer":
                trial.person.type("A chequer of single dots. Look at it, then press Enter for its inverse.")
        trial.ask("6.chequer", "Were both even, with no line or dot missing or added?")
        for level in range(1, LEVELS + 1):
            show("all", level)
            trial.person.type(f"Level {level} of {LEVELS}. Press Enter to go on.")
        trial.ask("6.levels", "Was each brighter than the one before (of an LCD: its backlight)?")


def step_7(trial: Trial) -> None:
    level = trial.box.bench_get()["brightness"]
    with trial.counting():
        for volume in range(LEVELS, -1, -1):
            trial.box.call("accept.show", picture="", level=level, sound="fit", volume=volume)
            trial.person.type(
                f"Volume {volume}{' (silent)' if not volume else ''} was played. Press Enter to go on."
            )
    trial.ask("7.loud", "Is the loudest heard at 2 m?")
    trial.ask("7.steps", "Was each quieter than the one before?")
    trial.ask("7.silent", "Was the last one silent?")


# --- light


def step_8(trial: Trial) -> None:
    _needs_read_backs(trial)
    trial.say(
        "At the box, go to the Print screen and set one pass with a base of 10.0 s, no marks and no "
        "dry-down: New print "
        "has that. Each time: EXPOSE takes the run up, EXPOSE again lights; after some seconds EXPOSE "
        "holds; two seconds "
        "later EXPOSE goes on."
    )
    for turn in range(1, STRIKES + 1):
        if all(trial.has_kept(f"8.{turn}.{what}") for what in ("light", "strikes")):
            continue
        seen_ms, strikes = _exposure(trial, f"Light {turn} of {STRIKES}, with a hold.")
        trial.note(f"8.{turn}.light", seen_ms / 1000)
        trial.note(f"8.{turn}.strikes", strikes)
    if trial.has("second_contact"):
        trial.note("8.closed_ms", trial.light()["closed_ms"])
    trial.ask("8.safelight", "Does the safelight's output go as its rule says (see Bench on the panel)?")
    if not trial.has_kept("8.more_ma"):
        rest_ma = trial.number("The USB meter at rest, in mA:")
        trial.note("8.more_ma", trial.number("The USB meter while the light is on, in mA:") - rest_ma)
    trial.type(
        "8.bare_ma",
        "USB out, the display's plug out, USB in. Press LAMP (twice, if it stays dark). The USB meter while "
        "the light is on, with the display unplugged",
    )
    trial.until_it_answers("USB out, the display's plug in, USB in.")


def _exposure(trial: Trial, prompt: str) -> tuple[int, int]:
    """Light that lamp sense saw of a print of 10.0 s, without the lag, and its strikes."""
    while True:
        last = trial.box.call("ledger.read", after=0)["last"]
        strikes = _strikes(trial, prompt, last)
        record = next(iter(trial.box.ledger(last)), None)
        stages = record["stages"] if record else []
        if len(stages) != 1 or stages[0]["light_ms"] != BASE_MS:
            why = f"That was no print of a single base of 10.0 s.{_why_dark(trial)}"
        elif len(strikes) != stages[0]["strikes"]:
            why = "That went too fast to be read: hold for two seconds at least."
        elif len(strikes) < 2:
            why = "There was no hold."
        else:
            return sum(own["seen_ms"] - stages[0]["lag_ms"] for own in strikes), len(strikes)
        if not trial.person.is_yes(f"  {why} Try again?"):
            return sum(own["seen_ms"] for own in strikes), len(strikes)


def _strikes(trial: Trial, prompt: str, last: int) -> list[dict[str, Any]]:
    """What is told of each light until there is a new record."""
    strikes: list[dict[str, Any]] = []
    known = trial.light()
    was_lit = False

    def look() -> tuple[str, bool]:
        nonlocal known, was_lit
        light = trial.light()
        is_lit = light["lamp_ms"] > 0 and not light["lit_ms"]
        if not is_lit and (was_lit or _given(light) != _given(known)):
            strikes.append(light)
            known = light
        was_lit = is_lit
        seen_s = sum(own["seen_ms"] for own in strikes) / 1000
        if is_lit:
            return f"lit, {seen_s:.2f} s before", False
        is_over = trial.box.call("ledger.read", after=last)["last"] > last
        return f"dark, {seen_s:.2f} s so far", is_over

    trial.wait(prompt, look)
    return strikes


def _given(light: dict[str, Any]) -> tuple[int, int, int]:
    """What tells one light from another: the second contact moves before it, too."""
    return light["lamp_ms"], light["lit_ms"], light["seen_ms"]


def _light(trial: Trial, prompt: str) -> dict[str, Any]:
    """What is told of the next light once it is over."""
    known = trial.light()
    began = False
    light = known

    def look() -> tuple[str, bool]:
        nonlocal began, light
        light = trial.light()
        is_lit = light["lamp_ms"] > 0 and not light["lit_ms"]
        began = began or is_lit or _given(light) != _given(known)
        ticks = f", {light['ticks']} ticks" if light["ticks"] else ""
        return ("lit" if is_lit else "dark") + (ticks if began else ""), began and not is_lit

    while True:
        trial.wait(prompt, look)
        if began and light["lit_ms"]:
            return light
        if began:
            prompt = "Put the light out with LAMP."
        elif not trial.person.is_yes(f"  There was no light.{_why_dark(trial)} Try again?"):
            return dict.fromkeys(light, 0)


def _why_dark(trial: Trial) -> str:
    """What the box says of it."""
    said = trial.state()["message"]
    return f" The box says: {said}" if said else ""


def step_9(trial: Trial) -> None:
    _needs_read_backs(trial)
    while True:
        light = _light(trial, f"Press LAMP{AGAIN}, and two seconds later hold BACK down.")
        if light["fell_first"] or not light["lamp_ms"]:
            break
        if trial.person.is_yes("  Was it BACK that put it out?"):
            break
    trial.note("9.first", light["fell_first"])
    trial.note("9.apart_ms", light["lit_ms"] - light["seen_ms"])
    trial.type("9.lamp", "Press LAMP, then hold BACK down. LAMP OUT (TP5) meanwhile")
    trial.type("9.arm", "ARM (J2) meanwhile")
    trial.type("9.up", "Let go of BACK, and pull USB. PERMIT to GND, diode range")
    trial.type("9.held", "BACK held down: PERMIT to GND, diode range")
    trial.until_it_answers("Let go of BACK, and plug USB in.")


def step_10(trial: Trial) -> None:
    _needs_read_backs(trial)
    limit_s = trial.box.bench_get()["viewing_limit_s"]
    if limit_s < 60:
        trial.say(
            f"The viewing light's limit is {limit_s} s, too short for this step: set it to 60 s or more "
            f"first."
        )
    while True:
        light = _light(
            trial, f"Put jumper JP2 on. Press LAMP{AGAIN}, and touch nothing until the light is out."
        )
        # The box puts it out some time after the cut-off; a key does so at once.
        if light["lit_ms"] - light["seen_ms"] > SAME_MS or light["lit_ms"] >= TICKING_LEAST_MS:
            break
        if not light["lamp_ms"]:
            break
        if not trial.person.is_yes("  A key has put it out. Try again?"):
            break
    if not trial.note("10.quick_s", light["seen_ms"] / 1000):
        return
    _latch(trial)
    before = trial.read()["ticks"]
    looks = 0

    def look() -> tuple[str, bool]:
        nonlocal looks
        looks += 1
        return "dark", looks >= DARK_LOOKS

    trial.wait("Leave it in the dark for five seconds.", look)
    trial.note("10.dark_ticks", trial.read()["ticks"] - before)
    while True:
        light = _light(trial, "Take jumper JP2 off. Press LAMP, and LAMP again after 30 s.")
        if not 0 < light["lit_ms"] < TICKING_LEAST_MS or not trial.person.is_yes(
            "  That was under 25 s. Try again?"
        ):
            break
    tick_s = light["ticking_ms"] / 1000 / (light["ticks"] - 1) if light["ticks"] > 1 else 0
    trial.note("10.tick_s", tick_s)
    trial.note("10.cut_off_s", tick_s * CUT_OFF_TICKS)


def _latch(trial: Trial) -> None:
    """Once the cut-off has acted it stays so. Lamp sense is held by hand, or the box would put the light "
    "out."""
    while True:
        light = _light(
            trial,
            "Press LAMP, and within 8 s join LAMP_SENSE (on the front, R12's left leg) to 3V3 (R44's right "
            "leg, beside it) by a wire: so the box goes on wanting light. When the LED has gone out wait for "
            "30 s more. Then press LAMP, and take the wire off.",
        )
        if not 0 < light["lit_ms"] < LATCH_LEAST_MS or not trial.person.is_yes(
            "  The wire came too late. Try again?"
        ):
            break
    trial.note("10.wanted_s", light["lit_ms"] / 1000)
    trial.note("10.latched_s", light["ticking_ms"] / 1000)
    trial.ask("10.dark", "Did the LED stay dark once it had gone out?")


def step_11(trial: Trial) -> None:
    for key, how in (("plug", "pull USB"), ("run", "hold RUN (TP7) at GND for a second")):
        told = "go on with the run that is kept" if key == "run" else "begin a print of 10 s or more"
        trial.ask(f"11.{key}", f"At the box, {told}, and while it is lit, {how}. Was it dark at once?")
        trial.until_it_answers("Put the plug in again, or let RUN go.")
        state, read = trial.state(), trial.read()
        is_told = state["state"] == "notice" and bool(state["message"])
        trial.say(f"  the box says: {state['message']}")
        trial.note(f"11.{key}_told", is_told and not state["lit"] and not read["sense"] + read["sense_edges"])


def step_12(trial: Trial) -> None:
    if not trial.has("second_contact"):
        raise NotFitted("no second contact is fitted")
    _needs_read_backs(trial)

    def look_for(line: str) -> Callable[[], tuple[str, bool]]:
        def look() -> tuple[str, bool]:
            state = trial.state()
            is_told = line == state.get("fault") or line in state["message"]
            return state["message"] or "the box says nothing yet", is_told

        return look

    def waits_for(key: str, line: str, prompt: str) -> None:
        look = look_for(line)
        trial.wait(prompt, look)
        trial.note(key, look()[1])

    def stays_dark(key: str, before: int) -> None:
        trial.note(key, trial.read()["sense_edges"] == before)

    waits_for("12.open", FAULT["welded"], "Take FEEDBACK's wire off J2.")
    before = trial.read()["sense_edges"]
    trial.person.type("Press LAMP: the LED has to stay dark. Then press Enter.")
    stays_dark("12.open_dark", before)
    waits_for("12.ground", FAULT["apart"], f"Join FEEDBACK to GND by a wire. Then press LAMP{AGAIN}.")
    stays_dark("12.ground_dark", before)
    light = _light(trial, "Give FEEDBACK its own wire back. Press LAMP, and LAMP again two seconds later.")
    trial.note("12.back", "fault" not in trial.state() and light["lit_ms"] > 0 and light["seen_ms"] > 0)
    # It opens after the light.
    light = trial.light()
    trial.note("12.closed_ms", light["closed_ms"])
    trial.note("12.opened_ms", light["opened_ms"])


def step_13(trial: Trial) -> None:
    if not trial.person.is_yes("Is there a light cell?"):
        raise NotFitted("there is no light cell")

    def waits_for(prompt: str, *words: str) -> bool:
        """Until the box has one of these words for the cell."""
        now = ""

        def look() -> tuple[str, bool]:
            nonlocal now
            now = _cell(trial).get("now", "")
            return now or "Light cell is not open on the box", now in words

        trial.wait(prompt, look)
        return now in words

    is_read = waits_for(
        "Plug the light cell in, and lay it some 10 cm from LAMP's LED, both under a dark cloth. Press BACK "
        "on the box, and open Light cell.",
        "press LAMP",
    )
    is_read = is_read and waits_for(
        f"Press LAMP{AGAIN}, and touch nothing. If it is too bright or too faint, move the cell.", "steady"
    )
    told = _cell(trial)
    if not is_read:
        raise CommandError(
            "The light cell is not read: the box says "
            f"{told.get('now', 'nothing of it')!r}. Look at its cable, and run this again with --step 13."
        )
    trial.note("13.dark", 100 * told["dark"] / told["light"])
    trial.note(
        "13.out", waits_for("Press LAMP: the LED goes out. Then take the light cell's plug out.", "no cell")
    )
    trial.note("13.in", waits_for("Put it in again.", "press LAMP", "wait, dark", "other light"))
    trial.ask("13.display", "Turn the dial. Does the display go on as before, and did it meanwhile?")


def _cell(trial: Trial) -> dict[str, Any]:
    """What the box tells of its light cell while a screen is open that reads it."""
    return trial.read().get("cell") or {}


def step_14(trial: Trial) -> None:
    limit_s = trial.box.bench_get()["viewing_limit_s"]
    while True:
        light = _light(trial, f"Press LAMP{AGAIN}, and leave it on: its limit is {limit_s} s.")
        if light["lit_ms"] >= light["lamp_ms"] or not trial.person.is_yes(
            "  A key has put it out. Try again?"
        ):
            break
    seen_ms = light["seen_ms"] if trial.has("read_backs") else light["lit_ms"]
    trial.note("14.apart_s", seen_ms / 1000 - limit_s)


# --- by hand


def step_15(trial: Trial) -> None:
    trial.ask(
        "15.leaks",
        "In a dark room, after ten minutes, look at the box from all sides. No light but the window's?",
    )
    trial.ask(
        "15.paper",
        "Paper pre-flashed to a light grey, half covered, twice as long as your longest session at "
        "working distance, "
        "developed. Is there no edge to be seen?",
    )


def step_16(trial: Trial) -> None:
    trial.say("By a qualified person, with the switching unit. The plug is within reach.")
    trial.type("16.earth", "Protective earth")
    trial.ask("16.insulation", "Is the insulation as the rules of the place ask for it?")
    trial.ask("16.trips", "Does the residual-current device trip?")
    if not trial.person.is_yes("Is there a light cell?"):
        return
    told: dict[str, Any] = {}

    def look() -> tuple[str, bool]:
        nonlocal told
        told = _cell(trial)
        lag_ms = told.get("lag_ms")
        is_there = lag_ms is not None and not trial.state()["run"]
        return told.get("now") or "Lag by light cell is not open on the box", is_there

    trial.wait(
        "Connect the lamp. No paper, no negative, the light cell under the lens. On the box open Tests, and "
        "Lag by light cell; LAMP tells whether there is light enough. Then EXPOSE, and again for each stage; "
        "if the box asks about a run that is kept, end that one.",
        look,
    )
    if told.get("spread_ms") is None:
        raise CommandError(
            "The lag is not read. The box says why when its test is over: mend that, and run this again with "
            "--step 16."
        )
    trial.note("16.lag_ms", told["lag_ms"])
    trial.note("16.spread_ms", told["spread_ms"])


class NotFitted(Exception):
    """The step is about a part that this box has not got; `str()` says which."""


def _needs_read_backs(trial: Trial) -> None:
    if not trial.has("read_backs"):
        raise CommandError(
            "Nothing can be measured here: the box goes by it that no read-backs are fitted. Say what is "
            "fitted "
            "in step 2: run this with --step 2."
        )


DOES: dict[int, Callable[[Trial], None]] = {
    1: step_1,
    2: step_2,
    3: step_3,
    4: step_4,
    5: step_5,
    6: step_6,
    7: step_7,
    8: step_8,
    9: step_9,
    10: step_10,
    11: step_11,
    12: step_12,
    13: step_13,
    14: step_14,
    15: step_15,
    16: step_16,
}
