"""What the acceptance test needs of a box: contacts counted, test pictures and tones, and what was read back.

What must live here: what the state `counting` counts, shows and sounds. Nothing here can light the lamp or
change what the printer has set. A board loads this when it is first asked for.
"""

from timing_core.panel.letters import in_letters
from timing_core.panel.sounds import SOUNDS
from timing_core.platform import const
from timing_core.refusal import Refusal
from timing_core.ticks import later, since

KEYS = ("expose", "lamp", "back", "pedal", "press")
_NAMES = ("EXPOSE", "LAMP", "BACK", "pedal", "press")
PICTURES = ("", "all", "chequer", "inverse")
"""What is shown: the counts, every pixel, every second one, and the others."""
LEVELS = 5
SILENCE_MS = 60000
"""Without a message to this part for so long the box takes the tool to be gone, and goes back to its work."""
_RIGHT_COLUMN = const(64)


class Counting:
    """`presses` of the KEYS, and detents of the dial to the `right` and to the `left`. `picture` is one of
    PICTURES."""

    def __init__(self, box, contacts) -> None:
        self._box = box
        self._contacts = contacts
        self._heard_ms = 0
        self.begin()

    def begin(self) -> None:
        self.presses = [0] * len(KEYS)
        self.right = self.left = 0
        self.picture = self._sound = ""
        self._level = self._volume = -1
        self._is_asked = False
        self._heard_ms = self._box.io.now_ms

    # --- what the wire asks

    def ask(self, on: int) -> dict:
        """Begin counting (1), or end it (0), as soon as the link is done."""
        box = self._box
        if on > 1:
            raise Refusal("Nothing is counted", "on is neither 1 nor 0", "Send 1 to begin, 0 to end")
        if on != self._is_on():
            if on and not box.machine.has("count"):
                raise Refusal(
                    "Nothing is counted",
                    "the box is in the middle of something",
                    "Press BACK until the list of screens is there",
                )
            box.asked.raise_event("count" if on else "end_count")
        self._is_asked = True
        return {"ok": True}

    def ask_to_show(self, picture: str, level: int, sound: str, volume: int) -> dict:
        what = "Nothing is shown"
        if not self._is_on():
            raise Refusal(what, "contacts are not counted now", "Begin with accept.count")
        if picture not in PICTURES or not 1 <= level <= LEVELS or volume > LEVELS:
            raise Refusal(what, "there is no such picture, level or volume", "See docs/wire.md")
        if sound and sound not in SOUNDS:
            raise Refusal(what, "there is no such sound", "Send one of " + ", ".join(sorted(SOUNDS)))
        self.picture, self._level, self._sound, self._volume = picture, level, sound, volume
        self._box.asked.changed = self._is_asked = True
        return {"ok": True}

    def read(self) -> dict:
        """All that was counted and read back, in plain data."""
        watch = self._box.watch
        self._is_asked = True
        counts = None
        if self._is_on():
            counts = {KEYS[at]: self.presses[at] for at in range(len(KEYS))}
            counts["right"], counts["left"] = self.right, self.left
        sense_edges, feedback_edges, ticks = watch.edges
        screen = self._box.panel.screen
        return {
            "counts": counts,
            "edges": self._contacts(),
            "armed": bool(watch.armed),
            "sense": watch.sense,
            "sense_edges": sense_edges,
            "feedback": watch.feedback,
            "feedback_edges": feedback_edges,
            "ticks": ticks,
            "cell": screen.cell_told(self._box.panel) if screen.meters else None,
            "light": {
                "lamp_ms": watch.lamp_ms,
                "lit_ms": watch.lit_ms,
                "seen_ms": watch.seen_ms,
                "ticks": watch.ticks,
                "ticking_ms": watch.ticking_ms,
                "opened_ms": watch.moved_ms[0],
                "closed_ms": watch.moved_ms[1],
                "fell_first": bool(watch.fell_first),
            },
        }

    def _is_on(self) -> bool:
        return self._box.state == "counting"

    # --- what the box gives it

    def take(self, event: str, amount: int) -> None:
        """Count an input of a control. A message ("wire") is obeyed."""
        if event == "wire":
            self._heard()
        elif event in KEYS:
            self.presses[KEYS.index(event)] += 1
        elif event == "dial":
            self.right += max(0, amount)
            self.left += max(0, -amount)

    def _heard(self) -> None:
        io = self._box.io
        if self._is_asked:
            self._is_asked = False
            self._heard_ms = io.now_ms
        if self._level > 0:
            io.put("level", self._level)
            io.put("volume", self._volume)
            if self._sound:
                io.put("sound", self._sound)
            self._level = -1

    def is_forsaken(self) -> bool:
        return since(self._box.io.now_ms, self._heard_ms) >= SILENCE_MS

    def due_ms(self) -> int:
        """When a tick is wanted."""
        return self._box.watch.due_ms(False, later(self._heard_ms, SILENCE_MS))

    # --- what is on the panel

    def draw(self, buffer: bytearray, fb, pen) -> str:
        """Draw into the frame; returns what it is headed by, "" for a test picture."""
        if self.picture:
            even, odd = {"all": (255, 255), "chequer": (0x55, 0xAA), "inverse": (0xAA, 0x55)}[self.picture]
            for at in range(0, len(buffer), 2):
                buffer[at] = even
                buffer[at + 1] = odd
            return ""
        cells = [(_NAMES[at], self.presses[at]) for at in range(len(KEYS))]
        # The dial's turns stand side by side.
        cells += [("", 0), ("left", self.left), ("right", self.right)]
        for at in range(len(cells)):
            if cells[at][0]:
                word = in_letters("%s %d" % cells[at])
                pen.text(fb, word, _RIGHT_COLUMN * (at % 2), 8 + 8 * (at // 2))
        return "Keys are counted. No light."
