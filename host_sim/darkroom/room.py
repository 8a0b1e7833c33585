"""The darkroom round the box: what is in the lamp house and the easel, what the hands hold, and what comes of
it on paper.

What must live here: everything that a page about the darkroom decides. It knows no browser and no wall
clock. The box it reads, and works only as somebody in the room could: it pulls the plug, presses what puts
the light out when everybody has left, and sends a card over the wire. All times are ms of the session's
clock; whoever moves that clock moves it to now before telling the room of a move of the hands.
"""

from __future__ import annotations

import io
import json
import math
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from PIL import Image

from host_sim.box.session import Session, Watcher
from host_sim.darkroom import verdict as result
from host_sim.darkroom.planned_light import sheet_of_run, what_runs
from host_sim.darkroom.practice import EXERCISES
from host_sim.darkroom.verdict import Run, run_of
from host_sim.optics import negatives
from host_sim.optics.lamp_house import LampHouse
from host_sim.optics.lamps import LAMPS
from host_sim.optics.negatives import NEGATIVES, OWN, Negative, NegativeError, Outline
from host_sim.optics.paper import PAPER_NAMES, Paper
from host_sim.optics.sheet import SHAPES, WIDTH_PX, Beam, Cast, Pixels, Sheet, Tool, band, cast_of
from timing_core.canonical import encode
from timing_core.light.plan import FRESH, Stage
from timing_core.light.printing_map import PrintingMap
from timing_core.records.store import Store
from timing_core.refusal import Refusal
from timing_core.wire.methods import frame, unframe

SAFELIGHT_LUX = 0.00013
"""What the safelight does to paper, as lux of lamp light through the softest filter. Set so that some 10 min
of it change a light grey by a density of 0.02, which is what can just be seen; no source."""
BASE_DENSITY = 0.05
"""Of paper without an image; common practice, no source."""
DISPLAY_GAMMA = 2.2
CONTROLS = ("expose", "lamp", "back", "dial", "press")
_FOGGING = "The viewing light has fallen on this sheet."
_SET_UP = "The card is on the shelf: load it there with the dial."


class RoomError(Exception):
    """One line: what is refused, why, and what to do."""


Pack = Callable[[dict[str, Any]], list[tuple[str, dict[str, Any]]]]


class Room(Watcher):
    """A darkroom round `session`, which it joins as a watcher, under the lamp of `house`. `negative` is a
    name of NEGATIVES; RoomError for others. `pack(card)` gives the messages, (method, params) pairs, that put
    a card on a box's shelf. `sheet` is the one in the easel, if there is one, with its light up to the last
    change of anything in its way."""

    def __init__(self, session: Session, house: LampHouse, pack: Pack, negative: str = "breakwater") -> None:
        self.session = session
        self.house = house
        self._pack = pack
        self.note = ""
        self._sheets = 0
        self.sheet: Sheet | None = None
        self._run: Run | None = None
        self._under: tuple[int, bool] | None = None
        self._counts = False
        self._tool = Tool()
        self._cast: Cast | None = None
        self._filter = ""
        self._patch = (0, 1)
        self._safelight = session.box.exposing.safelight
        self.settled_us = session.now_ms * 1000
        self._exercise = ""
        self._result: dict[str, Any] | None = None
        self._own: Negative | None = None
        self._placed: dict[str, dict[str, Outline]] = {}
        self._pictures: dict[str, tuple[int, bytes | None]] = {}
        self._counted = 0
        self._use_negative(negative)
        house.readers.append(self)
        session.watchers.append(self)

    # --- what a person does

    def do(self, message: dict[str, Any]) -> None:
        """One command: {"do": what, …}. RoomError says what is refused, why and what to do."""
        commands = {
            "tool": self._do_tool,
            "fit": self._do_fit,
            "paper": self._do_paper,
            "lamp": self._do_lamp,
            "negative": self._do_negative,
            "sheet": self._do_sheet,
            "develop": self._do_develop,
            "area": self._do_area,
            "practice": self._do_practice,
            "unplug": self._do_unplug,
        }
        command = commands.get(str(message.get("do")))
        if command is None:
            raise RoomError(
                f"Nothing is done: there is no {message.get('do')!r} here. Use {', '.join(commands)}."
            )
        command(message)

    def _do_tool(self, message: dict[str, Any]) -> None:
        shape = _one_of(message.get("shape"), "tool", SHAPES)
        now = self._tool
        tool = Tool(
            shape,
            _number(message, "x", -2, 3, now.x),
            _number(message, "y", -2, 3, now.y),
            _number(message, "size", 0.02, 1, now.size),
            _number(message, "angle", -3600, 3600, now.angle) % 360,
        )
        if tool != now:
            self.settle()
            self._tool, self._cast = tool, None

    def _do_fit(self, message: dict[str, Any]) -> None:
        name = _one_of(message.get("filter"), "filter", self._filters())
        self.settle()
        self._filter = name

    def _do_paper(self, message: dict[str, Any]) -> None:
        self.settle()
        if self.sheet and self.sheet.lit:
            raise RoomError("The paper stays: the sheet in the easel has had light. Develop it first.")
        self._use_paper(message.get("name"))
        if self.sheet:
            self._new_sheet()  # an unexposed one goes back into its box

    def _do_lamp(self, message: dict[str, Any]) -> None:
        self._refuse_lit("The lamp stays")
        self.house.put_in_lamp(_one_of(message.get("name"), "lamp", LAMPS))

    def _do_negative(self, message: dict[str, Any]) -> None:
        self._refuse_lit("The negative stays")
        self.settle()
        self._use_negative(message.get("name"))

    def _do_sheet(self, message: dict[str, Any]) -> None:
        if self.sheet:
            raise RoomError("No sheet is put in: one is in the easel. Develop it first.")
        if self.session.box.state == "exposing":
            raise RoomError("No sheet is put in: an exposure is under way. Hold it with EXPOSE, or wait.")
        self._new_sheet()

    def _do_develop(self, message: dict[str, Any]) -> None:
        if not self.sheet:
            raise RoomError("Nothing is developed: there is no sheet in the easel. Put one in.")
        self._refuse_lit("The sheet is not developed")
        self.settle()
        note, self.note = self.note, ""
        self._develop(self.sheet, bool(message.get("dry")), note)
        self.sheet = None

    def _do_area(self, message: dict[str, Any]) -> None:
        name, points = message.get("name"), message.get("points")
        if not isinstance(name, str) or not name:
            raise RoomError("No area is placed: it has no name. Name one of the card's areas.")
        if not isinstance(points, list) or not 3 <= len(points) <= 500:
            raise RoomError(
                f"{name} is not placed: its outline is no list of 3 to 500 points. Draw it again."
            )
        try:
            outline = [(_finite(x), _finite(y)) for x, y in points]
        except (TypeError, ValueError):
            raise RoomError(
                f"{name} is not placed: a point of it is no pair of numbers. Draw it again."
            ) from None
        self._placed.setdefault(self._negative.name, {})[name] = outline

    def _do_practice(self, message: dict[str, Any]) -> None:
        name = _one_of(message.get("name"), "exercise", EXERCISES)
        self._refuse_lit("The exercise is not set up")
        exercise = EXERCISES[name]
        self._push(exercise.card)
        self.settle()
        self._use_negative(exercise.negative)
        self._use_paper(exercise.paper)
        self._new_sheet()
        self.note = _SET_UP
        self._exercise = name
        self._result = None

    def _do_unplug(self, message: dict[str, Any]) -> None:
        self.session.reset()

    def _refuse_lit(self, what: str) -> None:
        if self.session.lamp.lit:
            raise RoomError(f"{what}: the lamp is lit. Wait until it is dark.")

    def close_light(self) -> None:
        """Nobody looks any more: hold an exposure, put the viewing light out."""
        if self.session.lamp.lit:
            self.session.input("lamp" if self.session.box.state == "viewing" else "expose")

    def make_ready(self, message: dict[str, Any]) -> None:
        """Make the film that `message` will ask for. The first time it takes a second: for a thread apart."""
        if self.session.lamp.lit:
            return  # it will be refused
        name = message.get("name")
        if message.get("do") == "practice" and name in EXERCISES:
            name = EXERCISES[name].negative
        if name in NEGATIVES:
            negatives.negative(name)

    @staticmethod
    def film_from(data: bytes, name: str, is_negative: bool) -> Negative:
        """A negative made of a picture file, which takes a while too. RoomError for what cannot be used."""
        try:
            return negatives.from_picture(data, name, is_negative)
        except NegativeError as error:
            raise RoomError(str(error)) from None

    def set_own_negative(self, own: Negative) -> None:
        """Put a negative from `film_from` in the easel. RoomError where that may not be now."""
        self._refuse_lit("The negative stays")
        self.settle()
        if self.sheet and any(beam.negative == OWN for beam in self.sheet.layers):
            raise RoomError(
                "The negative stays: the sheet in the easel has light of the one before. Develop it first."
            )
        self._own = own
        self._placed.pop(OWN, None)
        self._use_negative(OWN)

    # --- what is where

    def _use_paper(self, name: object) -> None:
        self.house.put_in_paper(_one_of(name, "paper", PAPER_NAMES))
        if self._filter not in self._filters():
            self._filter = ""

    def _filters(self) -> list[str]:
        return ["", *(name for name in self.house.paper.filters if name != "none")]

    def _use_negative(self, name: object) -> None:
        known = [*NEGATIVES, *([OWN] if self._own else [])]
        self._negative = self._film(_one_of(name, "negative", known))
        self._note_picture("negative")

    def _new_sheet(self) -> None:
        self._sheets += 1
        self.settle()
        self.sheet = Sheet(self._sheets, self.house.paper)
        self._run = None
        self._under = None
        self._counts = False
        self.note = _FOGGING if self.session.lamp.lit else ""
        if self._tool.shape == "cover" and self._tool.x > 0:
            # Left over the sheet before.
            self._tool, self._cast = Tool(), None

    # --- light

    def lamp(self, now_ms: int, on: bool) -> None:
        self.settle()
        if on:
            self._strike()

    def _strike(self) -> None:
        box = self.session.box
        self._patch = (0, 1)
        if not self.sheet:
            if box.state == "exposing":
                self.note = "There is no sheet in the easel: this light falls on nothing."
            return
        if box.state != "exposing":
            self.note = _FOGGING
            return
        map, strip = what_runs(box)
        under = sheet_of_run(box)
        if self._run is None:
            self._run = run_of(box)
            if self.note == _SET_UP:
                self.note = ""
            self._counts = strip is None and self._is_exercise(map)
        elif self._under != under:
            self.note = "This sheet had light of an earlier run."
        self._under = under
        stage = box.run.stages[box.run.at]
        if strip and stage.kind == FRESH:
            self._patch = (int(stage.area), strip.patches)

    def _is_exercise(self, map: PrintingMap) -> bool:
        """True where the print that begins is of the exercise's own card on its own negative."""
        exercise = EXERCISES.get(self._exercise)
        if exercise is None:
            return False
        return map.text() == encode(exercise.card) and self._negative.name == exercise.negative

    def output(self, now_ms: int, kind: str, value: object) -> None:
        if kind == "safelight":
            self.settle()
            self._safelight = bool(value)

    def reset(self, now_ms: int) -> None:
        self.settle()
        self._safelight = False

    def settle(self) -> None:
        """Let the light since the last change fall on the sheet, as everything stood until now."""
        now_us = self.session.now_ms * 1000
        if now_us <= self.settled_us:
            return
        from_us, self.settled_us = self.settled_us, now_us
        lux_s = self.house.dose(from_us, now_us, self._filter)
        self.house.forget()
        if not self.sheet:
            return
        if self._safelight:
            self.sheet.safelight_lux_s += SAFELIGHT_LUX * (now_us - from_us) / 1_000_000
        if lux_s > 0:
            if self._cast is None:
                self._cast = cast_of(self._tool)
            self.sheet.gather(Beam(self._negative.name, self._filter, *self._patch), lux_s, self._cast)

    # --- development

    def _projection(self, beam: Beam) -> Pixels:
        film = self._film(beam.negative).transmittance
        if not beam.patch:
            return film
        # Every piece of a fresh strip lies in one place: under the middle of the picture.
        own = band(beam.patch, beam.patches, WIDTH_PX)
        middle = (WIDTH_PX - (own.stop - own.start)) // 2
        return np.roll(film, own.start - middle, axis=1)

    def _film(self, name: str) -> Negative:
        return self._own if name == OWN and self._own else negatives.negative(name)

    def _develop(self, sheet: Sheet, dry: bool, note: str) -> None:
        run = self._run or Run("no run", {}, [], self.session.box.work.map.dry_down_pm / 10)
        lacking = [name for name in run.filters if sheet.paper.lacks(name)]
        if lacking:
            note = f"{no_verdict(sheet.paper, lacking)} {note}".strip()
        if lacking and sheet.paper.is_graded:
            run = run.without_filters()
        if self._exercise and self._run and not self._counts:
            note = f"{note} This was not the exercise's card on its negative, so it does not count.".strip()
        density = sheet.develop(self._projection, run.dry_down_percent if dry else 0.0)
        reflectance = 10 ** -(density + np.float32(BASE_DENSITY))
        self._note_picture("print", _png(reflectance ** np.float32(1 / DISPLAY_GAMMA)))
        masks = result.masks_of(run, self._outline, sheet.shape)
        rows = result.rows(run, masks, sheet, density, self.house.lux)
        if lacking:
            for row in rows:
                row["error_stops"] = None
        worst = result.worst_stops(rows)
        self._pictures.pop("map", None)
        if run.plan and not lacking:
            off = result.light_map(run, masks, sheet, self.house.lux)
            self._note_picture("map", _png((128 + 127 * np.clip(off, -1, 1)) / 255))
        self._result = {
            "title": run.title,
            "rows": rows,
            "patches": result.patches(run, masks, density),
            "worst_stops": worst,
            "best_stops": self._keep_best(worst),
            "exercise": self._exercise if self._counts else "",
            "note": note,
        }

    def _keep_best(self, worst: float | None) -> float | None:
        """The best run of the exercise so far, in stops; kept where the box's own records are."""
        if not self._counts or worst is None:
            return None
        store = Store(self.session.disk, self.session.kit.crc32)
        try:
            best = json.loads(store.get("practice") or b"{}")
        except ValueError:
            best = None
        if not isinstance(best, dict):
            best = {}
        mine = round(worst * 1e6)
        kept = best.get(self._exercise)
        if not isinstance(kept, int) or mine < kept:
            best[self._exercise] = kept = mine
            try:
                store.put("practice", encode(best))
            except Refusal as refusal:
                self.note = refusal.line
        return kept / 1e6

    # --- areas

    def _outline(self, name: str) -> Outline | None:
        placed = self._placed.get(self._negative.name, {})
        return placed.get(name, self._negative.outlines.get(name))

    def _area_names(self) -> list[str]:
        marks = [mark.area for own in self.session.box.work.map.passes for mark in own.marks]
        placed = self._placed.get(self._negative.name, {})
        return list(dict.fromkeys([*marks, *self._negative.outlines, *placed]))

    # --- the wire

    def _push(self, card: dict[str, Any]) -> None:
        """Put a card on the box's shelf, as a PC would."""
        for method, params in self._pack(card):
            self._ask(method, params)

    def _ask(self, method: str, params: dict[str, Any]) -> None:
        kit, session = self.session.kit, self.session
        replies: list[bytes] = []
        before, session.send = session.send, replies.append  # type: ignore[assignment]
        try:
            request = {"jsonrpc": "2.0", "id": 1, "method": method, "params": params}
            session.input("line", frame(encode(request), kit.crc32)[:-1])
        finally:
            session.send = before
        reply = json.loads(unframe(replies[0][:-1], kit.crc32))
        if "error" in reply:
            raise RoomError(f"The card is not on the shelf: {reply['error']['message']}")

    # --- what a page shows

    def state(self) -> dict[str, Any]:
        """Everything small, as plain data; cheap."""
        session, box = self.session, self.session.box
        now_us = session.now_ms * 1000
        settle_us = self.house.bench.settle_us
        return {
            "now_ms": session.now_ms,
            "message": box.message,
            "says": {control: box.machine.says(control) for control in CONTROLS},
            "volume": box.bench.get("volume"),
            "marked": [mark.area for own in box.work.map.passes for mark in own.marks],
            "shaded": self._shaded(),
            "box": {
                "state": box.state,
                "lit": session.lamp.lit,
                "safelight": box.exposing.safelight,
                "stage": self._stage(),
                "left_ms": self._left_ms(),
            },
            "light": self.house.seen_by_eye(),
            "settled": settle_us is not None and now_us >= settle_us,
            "filter": self._filter,
            "filters": self._filters(),
            "asks": self._asks(),
            "no_data": self._no_data(),
            "paper": self.house.paper.name,
            "papers": list(PAPER_NAMES),
            "lamp": self.house.lamp_name,
            "lamps": list(LAMPS),
            "lag_ms": self.house.lag_ms,
            "negative": self._negative.name,
            "negatives": [
                *map(list, NEGATIVES.items()),
                *([[OWN, self._own.title]] if self._own else []),
            ],
            "sheet": {"number": self._sheets, "in": self.sheet is not None, **self._sheet_light()},
            "tool": dict(vars(self._tool)),
            "pictures": {kind: self._number_of(kind) for kind in ("negative", "print", "map")},
            "areas": {name: self._outline(name) for name in self._area_names()},
            "result": self._result,
            "exercise": self._exercise,
            "exercises": [[name, one.title, one.says] for name, one in EXERCISES.items()],
            "note": self.note,
        }

    def _stage(self) -> dict[str, Any] | None:
        box = self.session.box
        if not box.in_run:
            return None
        stage = box.run.stages[box.run.at]
        return {
            "kind": stage.kind,
            "area": stage.area,
            "filter": stage.filter,
            "index": box.run.at,
            "of": len(box.run.stages),
        }

    def _shaded(self) -> list[str]:
        """The areas that a shade is to be over now."""
        box = self.session.box
        if box.state != "exposing":
            return []
        stage = box.run.stages[box.run.at]
        so_far_ms = stage.light_ms - self.session.left_ms()
        return [window.area for window in stage.windows if window.open_ms <= so_far_ms < window.close_ms]

    def _left_ms(self) -> int:
        session = self.session
        if session.box.state == "viewing":
            return session.lamp.ends_ms - session.now_ms
        return session.left_ms() if session.box.in_run else 0

    def _ahead(self) -> list[Stage]:
        """The stages of the run that is under way, or that EXPOSE would take up."""
        box = self.session.box
        if box.in_run:
            return box.run.stages
        return (
            box.plan()
            if box.state in ("browse", "ask") and box.panel.screen.key in ("print", "strip")
            else []
        )

    def _asks(self) -> str | None:
        """The filter to fit; None where it is in, or the paper takes no such filter."""
        stages = self._ahead()
        if not stages:
            return None
        wanted = stages[self.session.box.run.at if self.session.box.in_run else 0].filter
        return None if wanted == self._filter or wanted not in self._filters() else wanted

    def _no_data(self) -> str:
        """A line where the run asks for filters that the paper has no data for."""
        paper = self.house.paper
        asked = dict.fromkeys(stage.filter for stage in self._ahead())
        lacking = [name for name in asked if paper.lacks(name)]
        return no_verdict(paper, lacking) if lacking else ""

    def _sheet_light(self) -> dict[str, int]:
        if not self.sheet:
            return {"lit_ms": 0, "safelight_ms": 0}
        now_us = self.session.now_ms * 1000
        lux_s = sum(layer.even for layer in self.sheet.layers.values())
        lux_s += self.house.dose(self.settled_us, now_us, self._filter)
        safe_ms = self.sheet.safelight_lux_s / SAFELIGHT_LUX * 1000
        if self._safelight:
            safe_ms += (now_us - self.settled_us) / 1000
        return {"lit_ms": round(lux_s / self.house.lux * 1000), "safelight_ms": round(safe_ms)}

    # --- pictures

    def picture(self, kind: str) -> bytes:
        """A PNG, 8 bit grey: "negative", "print" or "map". RoomError where there is none yet."""
        number, png = self._pictures.get(kind, (0, None))
        if not number:
            raise RoomError(f"No picture {kind!r}: there is none yet. Develop a sheet first.")
        if png is None:
            png = _png(self._negative.transmittance ** np.float32(1 / DISPLAY_GAMMA))
            self._pictures[kind] = (number, png)
        return png

    def _note_picture(self, kind: str, png: bytes | None = None) -> None:
        self._counted += 1
        self._pictures[kind] = (self._counted, png)

    def _number_of(self, kind: str) -> int:
        return self._pictures.get(kind, (0, None))[0]


def no_verdict(paper: Paper, filters: list[str]) -> str:
    """Why there is no verdict on light through filters that the paper has no data for, and what is shown."""
    names = " and ".join(filters)
    shown = "without a filter" if paper.is_graded else "through the filters that were fitted"
    return (
        f"No verdict: {paper.name} has no data for filter {names}. The print shows the light given {shown}."
    )


def _png(grey: Pixels) -> bytes:
    """A picture of values 0..1."""
    levels = np.clip(grey * 255 + 0.5, 0, 255).astype(np.uint8)
    file = io.BytesIO()
    Image.fromarray(levels).save(file, "PNG", compress_level=1)
    return file.getvalue()


def _one_of(name: object, what: str, known: Iterable[str]) -> str:
    if isinstance(name, str) and name in known:
        return name
    # What stands for none has no letters.
    names = ", ".join(one or "none at all" for one in known)
    raise RoomError(f"No {what} {name!r}: there are {names}. Take one of these.")


def _finite(value: Any) -> float:
    number = float(value)
    if not math.isfinite(number):
        raise ValueError
    return number


def _number(message: dict[str, Any], key: str, low: float, high: float, before: float) -> float:
    """The number under `key`, held to its range; as it was before where it is left out."""
    try:
        return max(low, min(high, _finite(message.get(key, before))))
    except (TypeError, ValueError):
        raise RoomError(f"The tool stays: its {key} is no number. Give {low:g} to {high:g}.") from None
