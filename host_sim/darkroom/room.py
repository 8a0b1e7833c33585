"""The darkroom round the box: what a person does in it, and what follows from that.

What must live here: the order of things, such as that light falls as everything stood before anything moves.
What is in the room owns its own state: `hands`, `films`, `easel`, `guided`, `practice`, `pictures`. It knows
no browser and no wall clock. The box it reads, and works only as somebody in the room could: it pulls the
plug, presses what puts the light out when everybody has left, and sends a card over the wire. All times are
ms of the session's clock; whoever moves that clock moves it to now before telling the room of a move of the
hands.
"""

from __future__ import annotations

from typing import Any

from host_sim.box.session import Session, Watcher
from host_sim.box.view import BoxView
from host_sim.darkroom.checks import RoomError, one_of, outline, shown
from host_sim.darkroom.development import density_of, develop
from host_sim.darkroom.easel import WHOLE, Easel
from host_sim.darkroom.exercises import EXERCISES
from host_sim.darkroom.films import Films, make_ready
from host_sim.darkroom.guided_paper import OF_A_TEST, GuidedPaper
from host_sim.darkroom.hands import Hands
from host_sim.darkroom.lying_cell import LyingCell
from host_sim.darkroom.pictures import Pictures
from host_sim.darkroom.practice import Practice
from host_sim.darkroom.pushing import Pack, push
from host_sim.darkroom.scores import Scores
from host_sim.darkroom.told import told
from host_sim.darkroom.verdict import Run, run_of
from host_sim.optics.lamp_house import APERTURES, LampHouse
from host_sim.optics.lamps import LAMPS
from host_sim.optics.negatives import OWN, Negative
from host_sim.optics.paper import PAPER_NAMES
from host_sim.optics.shades import NO_SHADOW, both
from host_sim.optics.sheet import Beam
from timing_core.light.plan import FLASH, FRESH

_THROUGH_FILM = "No verdict: the flash came through the negative."
_WITHOUT_FILM = "No verdict: light of the print came without the negative."
_FOGGING = "The viewing light has fallen on this sheet."
_ON_NO_PAPER = "This light falls on no paper."
_SET_UP = "The card is on the shelf: load it there with the dial."


class Room(Watcher):
    """A darkroom round `session`, which it joins as a watcher, under the lamp of `house`. `pack` packs a card
    for the wire. `negative` is a name of NEGATIVES; RoomError for others. `scores` are forgotten unless they
    are given."""

    def __init__(
        self,
        session: Session,
        house: LampHouse,
        pack: Pack,
        negative: str = "breakwater",
        scores: Scores | None = None,
    ) -> None:
        self.session = session
        self.box = BoxView(session)
        self.house = house
        self._pack = pack
        self.hands = Hands()
        self.films = Films(negative)
        self.easel = Easel(session.now_ms * 1000, self.box.safelight)
        self.guided = GuidedPaper(self.box)
        self.practice = Practice(scores or Scores())
        self.pictures = Pictures()
        self.pictures.show_negative(self.films.negative.transmittance)
        self.verdict: dict[str, Any] | None = None
        house.readers.append(self)
        self.cell = LyingCell(session, house, self.films, self.hands, lambda: self.easel.safelight)
        session.watchers.append(self)

    # --- what a person does

    def do(self, message: dict[str, Any]) -> None:
        """One command: {"do": what, …}. RoomError says what is refused, why and what to do."""
        commands = {
            "shade": self._do_shade,
            "fit": self._do_fit,
            "paper": self._do_paper,
            "lamp": self._do_lamp,
            "lens": self._do_lens,
            "negative": self._do_negative,
            "move_negative": self._do_move_negative,
            "sheet": self._do_sheet,
            "develop": self._do_develop,
            "area": self._do_area,
            "practice": self._do_practice,
            "unplug": lambda _: self.session.reset(),
        }
        what = message.get("do")
        command = commands.get(what) if isinstance(what, str) else None
        if command is None:
            raise RoomError(f"Nothing is done: there is no {shown(what)} here. Use {', '.join(commands)}.")
        command(message)

    def _do_shade(self, message: dict[str, Any]) -> None:
        hand, held = self.hands.asked(message)
        if held != self.hands.held[hand]:
            self.settle()
            self.hands.take(hand, held)

    def _do_fit(self, message: dict[str, Any]) -> None:
        name = one_of(message.get("filter"), "filter", self.house.paper.takes)
        self.settle()
        self.hands.filter = name

    def _do_paper(self, message: dict[str, Any]) -> None:
        self.settle()
        sheet = self.easel.sheet
        if sheet and sheet.lit:
            raise RoomError("The paper stays: the sheet in the easel has had light. Develop it first.")
        self._use_paper(message.get("name"))
        if sheet:
            self._new_sheet()  # an unexposed one goes back into its box

    def _do_lamp(self, message: dict[str, Any]) -> None:
        self._refuse_lit("The lamp stays")
        self.house.put_in_lamp(one_of(message.get("name"), "lamp", LAMPS))

    def _do_lens(self, message: dict[str, Any]) -> None:
        aperture = one_of(message.get("name"), "aperture", APERTURES)
        self._refuse_lit("The lens stays")
        sheet = self.easel.sheet
        if sheet and sheet.lit:
            # The verdict is on light in parts of full light, which is one for a sheet.
            raise RoomError("The lens stays: the sheet in the easel has had light. Develop it first.")
        self.house.stop_down(aperture)

    def _do_negative(self, message: dict[str, Any]) -> None:
        self._refuse_lit("The negative stays")
        self.settle()
        self._use_negative(message.get("name"))

    def _do_move_negative(self, message: dict[str, Any]) -> None:
        self._refuse_lit("The negative stays")
        self.settle()
        self.films.is_out = message.get("out") is True

    def _do_sheet(self, message: dict[str, Any]) -> None:
        if self.easel.sheet:
            raise RoomError("No sheet is put in: one is in the easel. Develop it first.")
        if self.box.exposing:
            raise RoomError("No sheet is put in: an exposure is under way. Hold it with EXPOSE, or wait.")
        self._new_sheet()

    def _do_develop(self, message: dict[str, Any]) -> None:
        if not self.easel.sheet:
            raise RoomError("Nothing is developed: there is no sheet in the easel. Put one in.")
        self._refuse_lit("The sheet is not developed")
        self.settle()
        self._develop(bool(message.get("dry")))

    def _do_area(self, message: dict[str, Any]) -> None:
        self.films.place(*outline(message))

    def _do_practice(self, message: dict[str, Any]) -> None:
        name = one_of(message.get("name"), "exercise", EXERCISES)
        self._refuse_lit("The exercise is not set up")
        push(self.session, self._pack, EXERCISES[name].card)
        exercise = self.practice.set_up(name)
        self.settle()
        self._use_negative(exercise.negative)
        self._use_paper(exercise.paper)
        self._new_sheet()
        self.easel.tell(_SET_UP, until_a_run=True)
        self.verdict = None

    def _refuse_lit(self, what: str) -> None:
        if self.session.lamp.lit:
            raise RoomError(f"{what}: the lamp is lit. Wait until it is dark.")

    def set_own_negative(self, own: Negative) -> None:
        """Put a negative from `film_from` into the lamp house. RoomError where that may not be now."""
        self._refuse_lit("The negative stays")
        self.settle()
        sheet = self.easel.sheet
        if sheet and any(beam.negative == OWN for beam in sheet.layers):
            raise RoomError(
                "The negative stays: the sheet in the easel has light of the one before. Develop it first."
            )
        self.films.put_in_own(own)
        self.pictures.show_negative(own.transmittance)

    def make_ready(self, message: dict[str, Any]) -> None:
        """Make the film that `message` will ask for. The first time it takes a second: for a thread apart."""
        if self.session.lamp.lit:
            return  # it will be refused
        name = message.get("name")
        if message.get("do") == "practice" and name in EXERCISES:
            name = EXERCISES[name].negative
        make_ready(name)

    def close_light(self) -> None:
        """Nobody looks any more: hold an exposure, let none come by itself, put the viewing light out."""
        if self.session.lamp.lit or self.box.state == "delaying":
            self.session.input("lamp" if self.box.state == "viewing" else "expose")

    # --- what is where

    def _use_paper(self, name: object) -> None:
        self.house.put_in_paper(one_of(name, "paper", PAPER_NAMES))
        if self.hands.filter not in self.house.paper.takes:
            self.hands.filter = ""

    def _use_negative(self, name: object) -> None:
        self.films.put_in(name)
        self.pictures.show_negative(self.films.negative.transmittance)

    def _new_sheet(self) -> None:
        self.settle()
        self.easel.put_in(self.house.paper)
        self.guided.put_in_a_sheet()
        self.practice.counts = False
        if self.session.lamp.lit:
            self.easel.tell(_FOGGING)
        self.hands.take_the_cover_off()

    def _develop(self, dry: bool) -> None:
        sheet, run = self.easel.sheet, self.easel.run
        assert sheet is not None
        note = self.easel.take_out()
        spoilt = self.easel.spoilt or (OF_A_TEST if self.guided.is_on_the_sheet else "")
        made = develop(sheet, run or Run("no run", {}, []), self.films, self.house.lux, dry, spoilt)
        density = made.density
        if self.guided.is_on_the_sheet:
            wet, dried = (density_of(sheet, self.films, is_dry) for is_dry in (False, True))
            density = self.guided.lay_together(wet, dried, dry)
        self.pictures.show_print(density)
        self.pictures.show_errors(made.errors_stops)
        notes = [made.no_verdict, *self.guided.notes(list(sheet.layers)), note]
        if self.practice.name and run and not self.practice.counts:
            notes.append("This was not the exercise's card on its negative, so it does not count.")
        self.verdict = {
            **made.verdict,
            "fields": self.guided.fields(),
            "best_stops": self.practice.best_stops(made.verdict["worst_stops"], self.easel.tell),
            "exercise": self.practice.name if self.practice.counts else "",
            "note": " ".join(filter(None, notes)),
        }

    # --- light

    def lamp(self, now_ms: int, on: bool) -> None:
        self.settle()
        if on:
            self._strike()

    def _strike(self) -> None:
        easel, stage = self.easel, self.box.exposing
        easel.patch, easel.cover = WHOLE, NO_SHADOW
        easel.viewing = stage is None
        if stage is None:
            if easel.sheet:
                easel.tell(_FOGGING)
        elif self.box.in_test:
            self._strike_of_a_test()
        elif easel.sheet is None:
            easel.tell(_ON_NO_PAPER)
        else:
            map, strip = self.box.began_with()
            begins = easel.begin(self.box.sheet_key, run_of(map, strip))
            if begins and strip is None:
                self.practice.begin(map, self.films.negative.name)
            if self.films.is_out != (stage.kind == FLASH):
                easel.spoilt = _WITHOUT_FILM if self.films.is_out else _THROUGH_FILM
            if strip and stage.kind == FRESH:
                easel.patch = (int(stage.area), strip.patches)

    def _strike_of_a_test(self) -> None:
        easel = self.easel
        self.guided.look()
        if easel.sheet:
            easel.begin(self.box.sheet_key, Run("guided test", {}, []))
            easel.spoilt = OF_A_TEST
            easel.cover = self.guided.cover(self.box.at)
        elif self.guided.layout:
            easel.tell(_ON_NO_PAPER)

    def output(self, now_ms: int, kind: str, value: object) -> None:
        if self.guided.look():
            self.settle()
            self.easel.dark_cover = self.guided.cover_while_waiting()
        if kind == "cell":
            self.cell.begin()
        if kind == "safelight":
            self.settle()
            self.easel.safelight = bool(value)

    def reset(self, now_ms: int) -> None:
        self.settle()
        self.easel.safelight = False

    @property
    def settled_us(self) -> int:
        return self.easel.settled_us

    def settle(self) -> None:
        """Let the light since the last change fall on the sheet, as everything stood until now."""
        self.cell.settle()
        from_us, now_us = self.easel.settled_us, self.session.now_ms * 1000
        if now_us <= from_us:
            return
        self.easel.let_pass(now_us)
        lux_s = self.house.dose(from_us, now_us, self.hands.filter)
        self.house.forget()
        if self.easel.sheet and lux_s > 0:
            beam = Beam(self.films.projected, self.hands.filter, *self.easel.patch, self.easel.viewing)
            self.easel.sheet.gather(beam, lux_s, both(self.hands.cast, self.easel.cover))

    # --- what a page shows

    def state(self) -> dict[str, Any]:
        """Everything small, as plain data; cheap."""
        return told(self)

    def picture(self, kind: str) -> bytes:
        """One of PICTURES, as a PNG of 8 bit grey. RoomError where there is none yet."""
        return self.pictures.picture(kind)
