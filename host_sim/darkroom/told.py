"""What the page is told of box and darkroom, as plain data: once what stays as it is, and over and over, so
cheaply, what changes.

What must live here: reading the parts of a room and naming what is read. Nothing here moves or decides
anything.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from host_sim.box.view import InTray
from host_sim.darkroom.checks import FAR, NEAR
from host_sim.darkroom.development import no_verdict
from host_sim.darkroom.exercises import EXERCISES
from host_sim.darkroom.hands import SHADES, SIZE_MAX, SIZE_MIN
from host_sim.darkroom.pictures import AS_PLANNED, DISPLAY_GAMMA, PER_STOP
from host_sim.darkroom.timeline import SMALL_SOUNDS, STEPS_S
from host_sim.optics.lamp_house import APERTURES
from host_sim.optics.lamps import LAMPS
from host_sim.optics.paper import PAPER_NAMES
from host_sim.optics.pixels import HEIGHT_PX, WIDTH_PX
from host_sim.optics.shades import CONTACT, PENUMBRA

if TYPE_CHECKING:
    from host_sim.darkroom.room import Room

CONTROLS = ("expose", "lamp", "back", "dial", "press")


def told_once() -> dict[str, Any]:
    """Sizes, limits and kinds that the page draws and works by."""
    return {
        "sheet_px": [WIDTH_PX, HEIGHT_PX],
        "shades": {shape: kind._asdict() for shape, kind in SHADES.items()},
        "shade_place": [NEAR, FAR],
        "shade_size": [SIZE_MIN, SIZE_MAX],
        "soft_edge": PENUMBRA,
        "contact_edge": CONTACT,
        "gamma": DISPLAY_GAMMA,
        "errors": {"as_planned": AS_PLANNED, "per_stop": PER_STOP},
        "steps_s": list(STEPS_S),
        "small_sounds": list(SMALL_SOUNDS),
    }


def told(room: Room) -> dict[str, Any]:
    box = room.box
    return {
        "now_ms": room.session.now_ms,
        "message": box.message,
        "says": {control: box.says(control) for control in CONTROLS},
        "volume": box.volume,
        "marked": box.marked,
        "shaded": _shaded(room),
        "box": {
            "state": box.state,
            "lit": room.session.lamp.lit,
            "safelight": box.safelight,
            "stage": _stage(room),
            "left_ms": _left_ms(room),
        },
        **_light(room),
        "test": room.guided.told(),
        "places": box.places,
        "trays": [_in_tray(sheet) for sheet in room.box.sheets()],
        "negative": room.films.negative.name,
        "negatives": room.films.titles(),
        "negative_out": room.films.is_out,
        "moves_negative": _moves_negative(room),
        "areas": room.films.areas(box.marked),
        "hands": {
            hand: {**vars(shade), "lifted": lifted} for hand, (shade, lifted) in room.hands.held.items()
        },
        "pictures": room.pictures.numbers,
        "verdict": room.verdict,
        "exercise": room.practice.name,
        "exercises": [[name, one.title, one.says] for name, one in EXERCISES.items()],
        "note": room.easel.note,
    }


def _in_tray(sheet: InTray) -> dict[str, Any]:
    """A sheet in the trays. The page counts from `began_ms`, or down to `ends_ms` and past it."""
    if not sheet.tray:
        says = "take it out now"
    elif sheet.ends_ms is None:
        says = "until the image is seen"
    else:
        says = "then " + (sheet.following or "out")
    return {
        "place": sheet.place,
        "in": bool(sheet.tray),
        "tray": sheet.tray or "out",
        "says": says,
        "began_ms": sheet.began_ms,
        "ends_ms": sheet.ends_ms,
        "told_ms": sheet.told_ms,
    }


def _light(room: Room) -> dict[str, Any]:
    """Lamp, filter and paper, and what the sheet has had of them."""
    house, easel = room.house, room.easel
    now_us = room.session.now_ms * 1000
    settle_us = house.light.settle_us
    lit_lux_s = 0.0
    if easel.sheet:
        lit_lux_s = easel.lit_lux_s + house.dose(easel.settled_us, now_us, room.hands.filter)
    return {
        "light": house.seen_by_eye(),
        "settled": settle_us is not None and now_us >= settle_us,
        "filter": room.hands.filter,
        "filters": room.house.paper.takes,
        "asks": _asks(room),
        "no_data": _no_data(room),
        "paper": house.paper.name,
        "papers": list(PAPER_NAMES),
        "lamp": house.lamp_name,
        "lamps": list(LAMPS),
        "lag_ms": house.lag_ms,
        "aperture": house.aperture,
        "apertures": list(APERTURES),
        "sheet": {
            "number": easel.sheets,
            "in": easel.sheet is not None,
            "lit_ms": round(lit_lux_s / house.lux * 1000),
            "safelight_ms": round(easel.safelight_ms(now_us)),
        },
    }


def _stage(room: Room) -> dict[str, Any] | None:
    stage = room.box.stage
    if stage is None:
        return None
    return {
        "kind": stage.kind,
        "area": stage.area,
        "filter": stage.filter,
        "index": room.box.at,
        "of": len(room.box.stages),
    }


def _shaded(room: Room) -> list[str]:
    """The areas that a shade is to be over now."""
    stage = room.box.exposing
    if stage is None:
        return []
    so_far_ms = stage.light_ms - room.session.left_ms()
    return [window.area for window in stage.windows if window.open_ms <= so_far_ms < window.close_ms]


def _left_ms(room: Room) -> int:
    session = room.session
    if room.box.state == "viewing":
        return session.lamp.ends_ms - session.now_ms
    if room.box.state == "delaying":
        return session.light_in_ms()
    return session.left_ms() if room.box.in_run else 0


def _asks(room: Room) -> str | None:
    """The filter to fit; None where it is in, or the paper takes no such filter."""
    stage = room.box.next_stage()
    if stage is None or stage.filter == room.hands.filter or stage.filter not in room.house.paper.takes:
        return None
    return stage.filter


def _moves_negative(room: Room) -> str | None:
    """Where the box wants the negative, "in" or "out"; None where it is there, or the box does not say."""
    where = room.box.negative_wanted
    return where if where and room.films.is_out != (where == "out") else None


def _no_data(room: Room) -> str:
    """A line where the run asks for filters that the paper has no data for."""
    paper = room.house.paper
    asked = dict.fromkeys(stage.filter for stage in room.box.run())
    return no_verdict(paper, [name for name in asked if paper.lacks(name)])
