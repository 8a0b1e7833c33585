"""What the hands have put into the light: shades over the paper, one in each, and a filter.

What must live here: what is held, and where. It may not know the box, the sheet or the time: whoever moves a
hand lets the light until then fall first.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from host_sim.darkroom.checks import FAR, NEAR, number, one_of
from host_sim.optics.shades import Cast, Shade, both, cast_of


class Kind(NamedTuple):
    """A kind of shade: its name and what is said of it, and the size and angle at which it is first taken."""

    title: str
    says: str
    size: float
    angle: float


SHADES = {
    "none": Kind("Nothing", "Take a shade to keep light off the paper.", 0.2, 0),
    "disc": Kind(
        "Disc on a wire",
        "Shades what is under it. Move the pointer over the sheet; the wheel changes its size. Off the sheet "
        "it shades nothing.",
        0.2,
        90,
    ),
    "hole": Kind(
        "Hole",
        "Lets light through the hole alone: off the sheet it covers all. The wheel changes the hole's size.",
        0.24,
        90,
    ),
    "edge": Kind("Straight edge", "Covers all on one side of its edge. The wheel turns it.", 0.2, 90),
    "cover": Kind(
        "Cover",
        "Lies on the paper and covers all on its left. Drag it from patch to patch. The wheel turns it.",
        0.2,
        180,
    ),
    "cell": Kind(
        "Light cell",
        "Lies on the easel under the pointer and reads the light there: open Light cell on the box. Taken "
        "away it is pulled out.",
        0.04,
        0,
    ),
}
"""What can be held, by its shape, as `optics.sheet` casts its shadow."""
SIZE_MIN, SIZE_MAX = 0.04, 0.8
"""Of a disc or a hole, in parts of the sheet's width."""
_TURN_MAX = 3600.0
HANDS = ("right", "left")


class Held(NamedTuple):
    """What one hand holds, and whether it is `lifted` out of the light."""

    shade: Shade = Shade()
    lifted: bool = False


class Hands:
    """`held` is what each of HANDS holds, `filter` the one fitted, "" for none."""

    def __init__(self) -> None:
        self.held = dict.fromkeys(HANDS, Held())
        self.filter = ""
        self._cast: Cast | None = None

    def asked(self, message: dict[str, Any]) -> tuple[str, Held]:
        """A hand (the right one where none is named), and what it is to hold as `message` wants it, within
        what a hand can do. RoomError for what makes no sense."""
        hand = one_of(message.get("hand", HANDS[0]), "hand", HANDS)
        now = self.held[hand].shade
        shade = Shade(
            one_of(message.get("shape"), "shade", SHADES),
            number(message, "x", NEAR, FAR, now.x),
            number(message, "y", NEAR, FAR, now.y),
            number(message, "size", SIZE_MIN, SIZE_MAX, now.size),
            number(message, "angle", -_TURN_MAX, _TURN_MAX, now.angle) % 360,
        )
        return hand, Held(shade, message.get("lifted") is True)

    def take(self, hand: str, held: Held) -> None:
        self.held[hand], self._cast = held, None

    def take_the_cover_off(self) -> None:
        """One that lies over a sheet is not left over the next."""
        for hand, (shade, _) in self.held.items():
            if shade.shape == "cover" and shade.x > 0:
                self.take(hand, Held())

    @property
    def cast(self) -> Cast:
        """The shadow of what is held in the light."""
        if self._cast is None:
            self._cast = cast_of(Shade())
            for shade, lifted in self.held.values():
                if shade.shape != "none" and not lifted:
                    self._cast = both(self._cast, cast_of(shade))
        return self._cast
