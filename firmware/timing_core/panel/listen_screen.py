"""The Listen screen: the box's sounds, each to be heard by a press."""

from timing_core.panel.rows import ACTS, KEEPS, Row, Screen, named, setting_row
from timing_core.refusal import Refusal

SOUND_NAMES = (
    ("tick", "Each second"),
    ("pip", "Lead-in, start delay"),
    ("open", "First shade in"),
    ("close", "First shade out"),
    ("open2", "Second shade in"),
    ("close2", "Second shade out"),
    ("open_both", "Both shades in"),
    ("close_both", "Both shades out"),
    ("start", "Light begins"),
    ("hold", "Held"),
    ("end", "Light ends"),
    ("fit", "Fit a filter"),
    ("refuse", "Refused"),
    ("tray", "Into the next tray"),
    ("drain", "Drain a sheet"),
    ("agitate", "Agitate a tray"),
)
"""What each of `sounds.SOUNDS` tells, in words."""


class ListenScreen(Screen):
    key = "listen"
    heading = "Listen"
    over = "bench"

    def rows(self, panel) -> list:
        found = [setting_row("volume")]
        return found + [named("sound", name, label, ACTS | KEEPS, "play it") for name, label in SOUND_NAMES]

    def home(self, panel) -> int:
        return 1

    def act(self, panel, row: Row) -> None:
        if not panel.work.bench.get("volume"):
            raise Refusal("The sound is off", "the volume is 0", "Turn Volume up, above")
        panel.io.put("sound", row.name)
