"""The box's sounds, as tones for a piezo, a loudspeaker or a page to play.

What must live here: one row for each sound, as pairs of (hertz, ms); 0 hertz is a rest. A printer with both
hands in the light works by ear, so the sounds that call for a move of the hands differ in pitch and in
rhythm: rising for "shade in", falling for "shade out", an octave lower for every second shade (see
`light.plan.OPENS`), and three tones in place of two for both at once. None is longer than the 500 ms between
lead-in pips. What the trays tell stays on one pitch, in a rhythm that no cue has, and each is no longer than
`machine.trays.TONE_MS`.
"""

from timing_core.light.plan import CUE_LENGTH_MS
from timing_core.machine.strike import PIP_LENGTH_MS

SOUNDS = {
    "tick": ((2000, 8),),
    "pip": ((2600, PIP_LENGTH_MS - 10),),
    "open": ((1800, 80), (2700, CUE_LENGTH_MS - 90)),
    "close": ((2700, 80), (1800, CUE_LENGTH_MS - 90)),
    "open2": ((900, 80), (1350, CUE_LENGTH_MS - 90)),
    "close2": ((1350, 80), (900, CUE_LENGTH_MS - 90)),
    "open_both": ((1200, 80), (1800, 80), (2700, CUE_LENGTH_MS - 170)),
    "close_both": ((2025, 80), (1350, 80), (900, CUE_LENGTH_MS - 170)),
    "start": ((2200, 120),),
    "hold": ((1500, 90), (0, 50), (1500, 90)),
    "end": ((1500, 320),),
    "fit": ((1200, 120), (0, 60), (1200, 120), (0, 60), (1600, 120)),
    "refuse": ((700, 220),),
    "tray": ((1000, 150), (0, 50), (1000, 50), (0, 50), (1000, 150)),
    "drain": ((1000, 50), (0, 50), (1000, 50), (0, 50), (1000, 200)),
    "agitate": ((1000, 30), (0, 50), (1000, 30)),
}
