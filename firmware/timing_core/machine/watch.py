"""The watch over the lamp output: what its read-backs tell, the second contact, and which fault stands.

What must live here: what was seen of a light, and what is wrong. It lights nothing, and may know neither runs
nor screens. Where nothing is fitted it sees no fault, and counts all light as seen.

- Lamp sense is high just while the lamp's pin is. What is otherwise for _SENSE_MS is a fault: under light the
  lamp is put out, in the dark none is given until the output is dark.
- The second contact is closed just while ARM is high, as its mirror contact (feedback) tells. What is
  otherwise for CONTACT_MS is a fault, and ARM falls.
- In a light over GUARD_MS the cut-off is seen to count. If it is not, the light still ends as planned: a
  sheet is worth more than the third of three guards. But no other so long is given until it was seen to
  count, or a person has confirmed.

`sensed`, `felt` and `counted` come at any time, on a board in an interrupt. They take no memory and cause
nothing: what follows is found by the next `look`, for which `due_ms` asks. What they tell of the last light
is kept for the acceptance test, which has limits for it.

Law: while the lamp is lit nothing here allocates.
"""

from timing_core.machine.machine import Exchange
from timing_core.platform import const
from timing_core.ticks import later, since

_SENSE_MS = const(50)
"""BACK's own contact darkens the lamp before its press is taken: it bounces for up to 20 ms, and the press
may have to wait for a picture to be drawn. What lasts longer is no press of BACK."""
CONTACT_MS = 100
"""A contactor opens and closes in less."""
GUARD_MS = 3000
"""The counter's output changes every 1.2 s, and 15 % later at the most."""
_SLACK_MS = const(2)
"""Both edges are taken in whole ms."""
_UNKNOWN = const(1)
_LIVE = const(2)
_WELDED = const(4)
_APART = const(8)
_UNLIT = const(16)
_UNCOUNTED = const(32)

FAULTS = ("unknown", "live", "welded", "apart", "unlit", "uncounted")
LINES = (
    "No light: what is fitted is not known. See Confirm in Screens.",
    "No light: the lamp output is on unasked. Pull the plug.",
    "No light: the second contact has not opened. Pull the plug.",
    "No light: the second contact has not closed. Check its wires.",
    "Light is not counted: the lamp output was dark. Let BACK go, or check the box.",
    "No light over 3 s: the cut-off does not count. See Confirm in Screens.",
)


class Watch:
    """`armed` is true while ARM is high, `unseen` once the light under way was not seen, `uncounted` while
    the cut-off is known not to count. `news` has the faults that are still to be told of, each as a bit in
    the order of FAULTS.

    Since power-up: `edges` of lamp sense, feedback and the cut-off's tick (its rises alone). Of the last
    light: `lamp_ms` wanted, `lit_ms` given and `seen_ms` of it seen, how many `ticks` and from the first to
    the last of them `ticking_ms`, how long after ARM fell and rose the contact came to rest (`moved_ms`), and
    whether lamp sense `fell_first`: with the lamp's pin still high and BACK not yet seen to be down."""

    def __init__(self, io: Exchange, fitted, ledger) -> None:
        self.io = io
        self.fitted = fitted
        self.ledger = ledger
        self.has_sense = self.has_contact = self.armed = self.unseen = self.uncounted = False
        self.sense = self.feedback = self.news = 0
        self._pin = self._is_under_way = self._confirmed = self.fell_first = False
        self.edges = [0, 0, 0]
        self.moved_ms = [0, 0]
        self.ticks = self.ticking_ms = self.lit_ms = self._ticked_ms = self._driven_ms = 0
        self._told = 0  # of the faults that stand
        self._changed_ms = self._contact_ms = self._struck_ms = self.lamp_ms = self.seen_ms = 0

    def start(self) -> None:
        self.has_sense = self.fitted.in_force["read_backs"]
        self.has_contact = self.fitted.in_force["second_contact"]
        self._changed_ms = self._contact_ms = self.io.now_ms
        self.edges = [0, 0, 0]
        self.news = self._standing() & _UNKNOWN

    # --- what the circuit tells

    def sensed(self, level: int, now_ms: int, first: bool = False) -> None:
        self._count(now_ms)
        self.sense = level
        self.fell_first = first and not level

    def felt(self, level: int, now_ms: int) -> None:
        self._count(now_ms)
        self.feedback = level
        self._contact_ms = now_ms
        if level == self.armed:
            self.moved_ms[level] = since(now_ms, self._driven_ms)

    def counted(self, now_ms: int) -> None:
        if self._is_under_way:
            if not self.ticks:
                self._ticked_ms = now_ms
            self.ticks += 1
            self.ticking_ms = since(now_ms, self._ticked_ms)
        self.uncounted = self._confirmed = False

    def is_unlit(self):
        """The lamp has no voltage, so far as can be seen."""
        return (self.has_sense and not self.sense) or (self.has_contact and not self.feedback)

    def _count(self, now_ms: int) -> None:
        """Something changes: what was seen up to now counts."""
        if self._is_under_way and not self.is_unlit():
            self.seen_ms += since(now_ms, self._changed_ms)
        self._changed_ms = now_ms

    # --- a light

    def begin(self, lamp_ms: int) -> None:
        self.lamp_ms = lamp_ms
        self._struck_ms = self._changed_ms = self.io.now_ms
        self.seen_ms = 0
        self.ticks = self.ticking_ms = self.lit_ms = 0
        self.unseen = self.fell_first = False
        self._pin = self._is_under_way = True

    def put_out(self) -> None:
        """The pin is to fall. Until it has, what is seen counts."""
        self._count(self.io.now_ms)
        self._pin = False

    def end(self, lit_ms: int) -> int:
        """The lamp was lit for `lit_ms`. Returns how much of it was seen."""
        self.put_out()
        self._is_under_way = False
        self.lit_ms = lit_ms
        if not (self.has_sense or self.has_contact):
            return lit_ms
        lit_ms = min(lit_ms, self.lamp_ms)
        if lit_ms - self.seen_ms > _SLACK_MS:
            lit_ms = self.seen_ms
            if not self.unseen:
                self.news |= _UNLIT if self.has_sense else _APART
        if self.has_sense and lit_ms > GUARD_MS and not (self.ticks or self._confirmed):
            self.uncounted = True
            self.news |= _UNCOUNTED
        return lit_ms

    def dark_ms(self, now_ms: int) -> int:
        """How long the lamp has been dark in the light under way, up to now."""
        return since(now_ms, self._changed_ms) if self._pin and self.is_unlit() else 0

    # --- what follows

    def _odd(self) -> int:
        """What is otherwise than it should be, and was not told of: each may be so for a while."""
        found = self._standing() & ~self._told & (_LIVE | _WELDED)
        if self._pin and not self.unseen and self.is_unlit():
            # Not because the light was over.
            if since(self._changed_ms, self._struck_ms) < self.lamp_ms:
                found |= _UNLIT
        if self.armed and not self.feedback:
            found |= _APART
        return found

    def look(self) -> None:
        """Find the faults there are by now. Under light only at a tick: BACK may have darkened the lamp, and
        tells of it now."""
        if not (self.has_sense or self.has_contact):
            return  # nothing tells of any: each press looks
        self._told &= self._standing()
        found = self._odd()
        if since(self.io.now_ms, self._changed_ms) < _SENSE_MS:
            found &= ~(_LIVE | _UNLIT)
        if since(self.io.now_ms, self._contact_ms) < CONTACT_MS:
            found &= ~(_WELDED | _APART)
        if found:
            if found & _UNLIT:
                self.unseen = True
                if not (self.has_sense and not self.sense):
                    found = _APART
            self._told |= found & (_LIVE | _WELDED)
            self.news |= found
            self.open()

    def due_ms(self, arming: bool, due):
        """When a `look` is wanted, or `due` if that is sooner; None if not before another input."""
        if not (arming or self.has_sense or self.has_contact):
            return due  # nothing tells of any
        found = self._odd()
        if found & (_LIVE | _UNLIT):
            look = later(self._changed_ms, _SENSE_MS)
        elif arming or found:
            look = later(self._contact_ms, CONTACT_MS)
        else:
            return due
        return look if due is None or since(due, look) > 0 else due

    # --- what forbids light

    def _standing(self) -> int:
        """The faults for which no light at all is given."""
        found = _UNKNOWN if self.fitted.doubt else 0
        if self.has_sense and self.sense and not self._pin:
            found |= _LIVE
        if self.has_contact and self.feedback and not self.armed:
            found |= _WELDED
        return found

    def forbids(self, lamp_ms: int = 0) -> int:
        """The faults for which no light of so much lamp time is given; 0 for none."""
        if not (self.has_sense or self.has_contact or self.fitted.doubt):
            return 0
        return self._standing() | (_UNCOUNTED if self.uncounted and lamp_ms > GUARD_MS else 0)

    def forbids_long(self) -> int:
        return self.forbids(GUARD_MS + 1)

    def has_news(self) -> int:
        return self.news

    def was_unseen(self) -> bool:
        return self.unseen

    def tell(self) -> None:
        self.io.refuse(LINES[_numbers(self.forbids_long())[0]])

    def faults(self) -> list:
        """A line for each fault that stands now."""
        return [LINES[at] for at in _numbers(self.forbids_long())]

    def tell_news(self, before: str) -> None:
        """Say which faults were found, behind the words `before`, and put them on record: both take memory,
        and so the dark."""
        found = _numbers(self.news)
        self.news = 0
        self.io.say(before + LINES[found[0]])
        self.io.put("sound", "hold")
        self.ledger.note_faults([FAULTS[at] for at in found])

    def to_confirm(self) -> str:
        """What a person may confirm, in words; "" for nothing."""
        return "what is fitted" if self.fitted.doubt else "no cut-off" if self.uncounted else ""

    def confirm(self) -> None:
        if self.fitted.doubt:
            self.fitted.confirm()
        else:
            self.uncounted = False
            self._confirmed = True

    # --- the second contact

    def close(self) -> None:
        """Close it, if that is safe; once it is closed, light may follow."""
        if self.has_contact and not self.armed and not self._standing():
            self._drive(True)

    def open(self) -> None:
        if self.armed:
            self._drive(False)

    def _drive(self, closed: bool) -> None:
        self.armed = closed
        self._contact_ms = self._driven_ms = self.io.now_ms
        self.io.put("arm", 1 if closed else 0)

    def driven(self, now_ms: int) -> None:
        """ARM has changed only now: at the end of a run the records were written first."""
        self._contact_ms = self._driven_ms = now_ms

    def must_arm(self) -> bool:
        return self.has_contact and not self.is_closed()

    def is_closed(self):
        return self.armed and self.feedback and since(self.io.now_ms, self._contact_ms) >= CONTACT_MS

    def contact_fails(self) -> bool:
        return not self.armed


def _numbers(faults: int) -> list:
    """Which of FAULTS these are."""
    return [at for at in range(len(FAULTS)) if faults >> at & 1]
