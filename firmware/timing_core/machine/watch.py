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
nothing: what follows is found by the next `look`, for which `due_ms` asks.

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

FAULTS = (
    ("unknown", "No light: it is not known what is fitted. Choose Confirm in the list of screens."),
    ("live", "No light: the lamp output is on unasked. Pull the plug."),
    ("welded", "No light: the second contact has not opened. Pull the plug."),
    ("apart", "No light: the second contact has not closed. Check its wires."),
    ("unlit", "Light is not counted: the lamp output was dark. Let BACK go, or check the box."),
    ("uncounted", "No light over 3 s: the cut-off does not count. Choose Confirm in the list of screens."),
)


class Watch:
    """`armed` is true while ARM is high, `unseen` once the light under way was not seen. `news` has the
    faults that are still to be told of, each as a bit in the order of FAULTS."""

    def __init__(self, io: Exchange, fitted, ledger) -> None:
        self.io = io
        self.fitted = fitted
        self.ledger = ledger
        self.has_sense = self.has_contact = False
        self.sense = self.feedback = 0
        self.armed = self.unseen = False
        self.uncounted = False
        self.news = 0
        self._pin = False
        self._changed_ms = 0
        self._contact_ms = 0
        self._struck_ms = 0
        self._lamp_ms = 0
        self._seen_ms = 0
        self._has_counted = False
        self._confirmed = False
        self._told = 0  # of the faults that stand

    def start(self) -> None:
        self.has_sense = self.fitted.in_force["read_backs"]
        self.has_contact = self.fitted.in_force["second_contact"]
        self._changed_ms = self._contact_ms = self.io.now_ms
        if self.fitted.damage:
            self.news = _UNKNOWN

    # --- what the circuit tells

    def sensed(self, level: int, now_ms: int) -> None:
        self._count(now_ms)
        self.sense = level

    def felt(self, level: int, now_ms: int) -> None:
        self._count(now_ms)
        self.feedback = level
        self._contact_ms = now_ms

    def counted(self) -> None:
        self._has_counted = True
        self.uncounted = self._confirmed = False

    def _is_bright(self) -> bool:
        """The lamp has its voltage, so far as can be seen."""
        return bool((self.sense or not self.has_sense) and (self.feedback or not self.has_contact))

    def _count(self, now_ms: int) -> None:
        """Something changes: what was seen up to now counts."""
        if self._pin and self._is_bright():
            self._seen_ms += since(now_ms, self._changed_ms)
        self._changed_ms = now_ms

    # --- a light

    def begin(self, lamp_ms: int) -> None:
        self._lamp_ms = lamp_ms
        self._struck_ms = self._changed_ms = self.io.now_ms
        self._seen_ms = 0
        self._has_counted = self.unseen = False
        self._pin = True

    def put_out(self) -> None:
        """The pin falls here."""
        self._count(self.io.now_ms)
        self._pin = False

    def end(self, lit_ms: int) -> int:
        """The lamp was lit for `lit_ms`. Returns how much of it was seen."""
        if self._pin:
            self.put_out()
        if not (self.has_sense or self.has_contact):
            return lit_ms
        lit_ms = min(lit_ms, self._lamp_ms)
        seen_ms = min(lit_ms, self._seen_ms)
        if lit_ms - seen_ms <= _SLACK_MS:
            seen_ms = lit_ms
        elif not self.unseen:
            self.news |= _UNLIT if self.has_sense else _APART
        if self.has_sense and seen_ms > GUARD_MS and not (self._has_counted or self._confirmed):
            self.uncounted = True
            self.news |= _UNCOUNTED
        return seen_ms

    def dark_ms(self, now_ms: int) -> int:
        """How long the lamp has been dark in the light under way, up to now."""
        return since(now_ms, self._changed_ms) if self._pin and not self._is_bright() else 0

    # --- what follows

    def look(self) -> None:
        """Find the faults there are by now."""
        now_ms = self.io.now_ms
        if not self._is_live():
            self._told &= ~_LIVE
        if not self._is_welded():
            self._told &= ~_WELDED
        odd = since(now_ms, self._changed_ms) >= _SENSE_MS
        if self._pin:
            if odd and not self.unseen and self._is_cut():
                self.unseen = True
                self.news |= _UNLIT if self.has_sense and not self.sense else _APART
        elif odd and self._is_live():
            self._stand(_LIVE)
        if self.has_contact and self.feedback != self.armed and self._has_settled(now_ms):
            if self.armed:
                self.news |= _APART
                self.open()
            else:
                self._stand(_WELDED)

    def _is_cut(self) -> bool:
        """Dark under light, and not because the light was over."""
        return not self._is_bright() and since(self._changed_ms, self._struck_ms) < self._lamp_ms

    def _has_settled(self, now_ms: int) -> bool:
        return since(now_ms, self._contact_ms) >= CONTACT_MS

    def _stand(self, fault: int) -> None:
        """A fault that forbids light: it is told of once."""
        if not self._told & fault:
            self._told |= fault
            self.news |= fault
            self.open()

    def due_ms(self, arming: bool):
        """When a `look` is wanted; None if not before another input."""
        due = None
        if (self._pin and not self.unseen and self._is_cut()) or (self._is_live() and not self._told & _LIVE):
            due = later(self._changed_ms, _SENSE_MS)
        if self.has_contact and (
            arming or (not self.feedback if self.armed else self.feedback and not self._told & _WELDED)
        ):
            contact_ms = later(self._contact_ms, CONTACT_MS)
            if due is None or since(due, contact_ms) > 0:
                due = contact_ms
        return due

    # --- what forbids light

    def _standing(self) -> int:
        """The faults for which no light at all is given."""
        found = _UNKNOWN if self.fitted.damage else 0
        if self._is_live():
            found |= _LIVE
        return found | _WELDED if self._is_welded() else found

    def _is_live(self) -> bool:
        return bool(self.has_sense and self.sense and not self._pin)

    def _is_welded(self) -> bool:
        return bool(self.has_contact and self.feedback and not self.armed)

    def forbids(self, lamp_ms: int = 0) -> int:
        """The faults for which no light of so much lamp time is given; 0 for none."""
        found = self._standing()
        return found | _UNCOUNTED if self.uncounted and lamp_ms > GUARD_MS else found

    def is_faulty(self) -> bool:
        return self._standing() != 0

    def was_unseen(self) -> bool:
        return self.unseen

    def tell(self) -> None:
        self.io.refuse(_named(self.forbids(GUARD_MS + 1))[0][1])

    def faults(self) -> list:
        """A line for each fault that stands now."""
        return [line for _, line in _named(self.forbids(GUARD_MS + 1))]

    def tell_news(self, known: str) -> None:
        """Say which faults were found, after what else is known, and put them on record: both take memory,
        and so the dark."""
        found = _named(self.news)
        self.news = 0
        self.io.say(known + " " + found[0][1] if known else found[0][1])
        self.io.put("sound", "hold")
        for name, _ in found:
            self.ledger.note_fault(name)

    @property
    def to_confirm(self) -> str:
        """What a person may confirm, in words."""
        if self.fitted.damage:
            return "what is fitted"
        return "no cut-off" if self.uncounted else ""

    def confirm(self) -> None:
        if self.fitted.damage:
            self.fitted.confirm()
        else:
            self.uncounted = False
            self._confirmed = True

    # --- the second contact

    def close(self) -> None:
        """Close it, if that is safe; once it is closed, light may follow."""
        if self.has_contact and not self.armed and not self._standing():
            self.armed = True
            self._contact_ms = self.io.now_ms
            self.io.put("arm", 1)

    def open(self) -> None:
        if self.armed:
            self.armed = False
            self._contact_ms = self.io.now_ms
            self.io.put("arm", 0)

    def must_arm(self) -> bool:
        return self.has_contact and not self.is_closed()

    def is_closed(self) -> bool:
        return bool(self.armed and self.feedback and self._has_settled(self.io.now_ms))

    def contact_fails(self) -> bool:
        return not self.armed


def _named(faults: int) -> list:
    """Name and line of each."""
    return [FAULTS[at] for at in range(len(FAULTS)) if faults >> at & 1]
