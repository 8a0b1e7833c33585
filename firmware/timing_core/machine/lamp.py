"""The lamp: the strike under way, the settling time after it, the safelight, and the viewing light.

What must live here: when the lamp may be lit, that it is, and that it is dark again. Only `light` lights it,
always with its end. It may not know runs, nor the screens.

Law: while the lamp is lit nothing here allocates.
"""

from timing_core.light.bench import Bench
from timing_core.machine.machine import Exchange
from timing_core.machine.sheet_time import SheetTime
from timing_core.machine.strike import Cues, Strike
from timing_core.machine.watch import CONTACT_MS, Watch
from timing_core.ticks import HALF, later, since

TOO_EARLY = "Too soon: this press may be meant for what has just ended. Press when wait is gone."
"""Said of a press that may have been meant for what has just ended."""
BACK_DOWN = "Nothing begins: BACK is down. Let it go, or check its contact."
"""Said of a press while BACK is held: its contact darkens the lamp without a processor, too."""


class Lamp:
    """`settling` is true from the end of a light until the box listens again: for the settling time no press
    lights the lamp, since it may be meant for what has just ended. `paper_out` is true from the beginning of
    a run until the viewing light was on: there may be paper in the easel. `no_report` is true if the lamp
    was put out because it did not report its end, `back_is_down` while BACK is held down; `meters` is the
    range in which the light cell reads, 0 for not at all."""

    def __init__(self, bench: Bench, io: Exchange, panel_ms: int, watch: Watch) -> None:
        self.bench = bench
        self.io = io
        self.watch = watch
        self.strike = Strike(panel_ms)
        self.settling = self.back_is_down = False
        self.meters = 0
        self.paper_out = self._keeps_dark = False
        self.no_report = False
        self._settling_from_ms = 0
        self._warned = False
        self._had_warned = False
        self.safelight = False
        self.sheet_time = SheetTime()

    # --- light

    def light(self, ms: int, axis_ms: int, viewing: bool) -> None:
        """The one place that lights the lamp: always with its end, safelight first."""
        self.strike.begin(self.io.now_ms, ms, axis_ms, viewing)
        self.set_safelight()
        self.watch.begin(ms)
        self.io.put("light", ms)

    def set_safelight(self) -> None:
        strike = self.strike
        on = not (
            self._keeps_dark
            or self.meters
            or (strike.is_lit and (strike.viewing or self.bench.get("safelight") == "exposing"))
        )
        if on != self.safelight:
            self.safelight = on
            if on:
                self.sheet_time.turn_on(self.io.now_ms)
            else:
                self.sheet_time.on = False
                self.sheet_time.off_ms = self.io.now_ms
            self.io.put("safelight", 1 if on else 0)

    def keep_dark(self, keeps: bool) -> None:
        """The safelight is to stay out from now on, or no longer."""
        self._keeps_dark = keeps

    def refresh(self) -> None:
        if self.strike.picture_is_due(self.io.now_ms):
            self.io.put("screen")

    def put_out_to_hold(self) -> None:
        self.io.put("dark")
        self.strike.put_out(self.io.now_ms)
        self.watch.put_out()

    def put_out(self) -> None:
        self.put_out_to_hold()
        self.watch.open()

    def put_out_overdue(self) -> None:
        """Dark comes first: what the light was for is put on record in a later call."""
        self.no_report = True
        self.put_out()
        self.io.put("sound", "hold")
        self.tell_overdue()

    def tell_overdue(self) -> None:
        self.io.say("The lamp did not report its end: it was put out. Check it before you go on.")

    def overdue(self) -> bool:
        return self.strike.overdue(self.io.now_ms)

    def end(self, lit_ms: int) -> int:
        """The lamp has reported. Whatever it says, it is put out before the box takes it to be out. Returns
        how much of its time was seen."""
        self.io.put("dark")
        self.settle()
        self.strike.end()
        if self.strike.viewing:
            self.watch.open()
        return self.watch.end(lit_ms)

    def gave_whole(self) -> bool:
        """The light that has just run its length is a stage's, and was not seen to be out meanwhile."""
        return not (self.strike.viewing or self.watch.seen_ms or self.watch.is_unlit())

    # --- the settling time

    def settle(self) -> None:
        """From now on, and for the settling time, no press lights the lamp."""
        self.settling = self._settle_ms() > 0
        self._settling_from_ms = self.io.now_ms

    def _settle_ms(self) -> int:
        settle_ms = self.bench.get("settle_ms")
        return max(settle_ms, CONTACT_MS) if self.watch.has_contact else settle_ms

    def settled(self) -> bool:
        """True once the settling time has passed, until the box listens."""
        return self.settling and since(self.io.now_ms, self._settling_from_ms) >= self._settle_ms()

    def is_settling(self) -> bool:
        return self.back_is_down or (self.settling and not self.settled())

    def refuse_early(self) -> None:
        self._warned = self._had_warned
        self.io.refuse(BACK_DOWN if self.back_is_down else TOO_EARLY)

    def listen(self) -> None:
        self.settling = False
        self._unsay(TOO_EARLY)

    def hold_back(self, is_down: bool) -> None:
        """BACK is held down, or let go: until it is, no press lights the lamp."""
        if is_down != self.back_is_down:
            self.back_is_down = is_down
            self._unsay(BACK_DOWN)

    def _unsay(self, line: str) -> None:
        """Show what controls do now, and no longer `line`."""
        if self.io.message == line:
            self.io.message = ""
        self.io.picture()

    def due_ms(self, cues: Cues, settles: bool, arming: bool):
        """When a tick is wanted; None if not before another input. `cues` are those of the light that is
        given, `settles`: in this state the settling time has an end to tell of, and `arming`: light is to
        follow the second contact."""
        due = None
        if self.strike.is_lit:
            due = self.strike.due_ms(cues.due_ms)
        elif settles and self.settling:
            due = later(self._settling_from_ms, self._settle_ms())
        return self.watch.due_ms(arming, due)

    def quiet_ms(self, cues: Cues) -> int:
        """For how long no sound comes by itself but the tick of a second; `cues` as above."""
        strike, now_ms = self.strike, self.io.now_ms
        if not strike.is_lit:
            return HALF - 1
        if strike.stopping:
            return 0
        left_ms = strike.left_ms(now_ms)
        return left_ms if strike.viewing else min(left_ms, cues.next_ms - strike.light_ms(now_ms))

    # --- the second contact

    def arm(self, viewing: bool) -> None:
        """Close it; light follows."""
        self.strike.viewing = viewing
        self.watch.close()

    def arm_to_view(self) -> None:
        self.arm(True)

    def closed_to_view(self) -> bool:
        return self.strike.viewing and self.watch.is_closed()

    def disarm(self) -> None:
        """Open it before its time: for the settling time it cannot close again."""
        if self.watch.armed:
            self.watch.open()
            self.settle()

    # --- the viewing light

    def press_begins(self) -> None:
        """A control is used: a warning that the last press was given holds for this one alone."""
        self._had_warned = self._warned
        self._warned = False

    def paper_at_risk(self) -> bool:
        return self.paper_out and not self._warned

    def warn_paper(self) -> None:
        self._warned = True
        self.settle()
        self.io.refuse("Viewing light would fog the sheet. Put it away, then press LAMP again.")

    def view(self, stays: bool) -> None:
        """`stays`: there will be paper again when the viewing light is out, as in mid-run."""
        self.paper_out = stays
        self.light(self.bench.get("viewing_limit_s") * 1000, 0, True)

    def view_ran_out(self) -> None:
        self.io.put("sound", "end")
        self.io.say("Viewing light has reached its limit.")

    def was_viewing(self) -> bool:
        return self.strike.viewing

    def is_giving(self) -> bool:
        return not self.strike.viewing
