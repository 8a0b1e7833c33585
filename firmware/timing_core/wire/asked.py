"""What the wire has asked for: settings, cards, the time, the prompt, and the acceptance test's counting.

What must live here: changing what the wire may change, whole or not at all, and what is left of that for the
"wire" input that follows. It may not know lines or messages, nor what a box does with an input.

On a board a key may come while a change is worked out. So each is made in one step with inputs kept out.
"""

from timing_core.canonical import encode
from timing_core.light.bench import Bench


class Asked:
    """`changed` is true while there is something new to show at the next "wire" input."""

    def __init__(self, io, store, clock, findings, panel, ledger, fitted) -> None:
        self.io = io
        self.store = store
        self.clock = clock
        self.findings = findings
        self.panel = panel
        self.ledger = ledger
        self.fitted = fitted
        self.changed = False
        self._event = ""
        self._told_time: tuple | None = None

    def set_bench(self, values: dict) -> bool:
        """Set and keep all of `values`, or none. A Refusal changes nothing. False if an input came in while
        they were worked out, which takes a board tens of ms: nothing is changed, and it may be tried again.

        What the printer is just turning is not kept by this, and undo does not take back what the wire has
        set.
        """
        inputs = self.io.inputs
        bench = Bench(self.panel.settings_to_keep())
        bench.set_all(values)
        kept = bench.kept()
        text = encode(kept)
        changed = {key: kept[key] for key in values}
        is_kept = self.store.look("bench") == (text, "")
        return self.io.undisturbed(
            lambda: inputs == self.io.inputs and self._set_bench(changed, text, is_kept)
        )

    def _set_bench(self, values: dict, text: bytes, is_kept: bool) -> bool:
        if not is_kept:
            self.store.put("bench", text)
        self.panel.settings_changed_by_wire(values)
        self.findings.settings_set()
        self.changed = True
        return True

    def set_fitted(self, values: dict) -> None:
        """Keep what is fitted for the next start. A Refusal changes nothing."""
        self.io.undisturbed(lambda: self.fitted.set(values))

    def push_card(self, shelf, name: str, text: bytes) -> None:
        """Keep a card, or a paper record, that came over the wire. A Refusal changes nothing."""
        self.io.undisturbed(lambda: self._change_shelf(shelf, name, text))

    def remove_card(self, shelf, name: str) -> bool:
        """Take a card off the shelf, or a paper record out, for the wire; True if it was there."""
        return self.io.undisturbed(lambda: self._change_shelf(shelf, name, None))

    def _change_shelf(self, shelf, name: str, text) -> bool:
        panel = self.panel
        here = panel.row()
        was = panel.value(here) if panel.is_open else ""
        if text is not None:
            shelf.keep_text(name, text)
        elif not shelf.drop(name):
            return False
        panel.card_changed_by_wire(shelf, name, here, was)
        if text is None:
            self.ledger.write_waiting_or_say()
        self.changed = True
        return True

    def write_waiting(self) -> None:
        """Try to write the records that wait, before a PC reads the ledger. Only to be called in the dark."""
        if self.ledger.waiting:
            self.io.undisturbed(self.ledger.write_waiting_or_say)

    def tell_time(self, day: int, second: int) -> None:
        """Take the date from the wire. It counts from the "wire" input that follows."""
        self._told_time = (day, second)

    def hand_over(self) -> None:
        """Leave to the prompt as soon as the link is done, if it is dark then."""
        self.raise_event("handover")

    def raise_event(self, event: str) -> None:
        """Have the box take `event` as soon as the link is done, if it means something then."""
        self._event = event
        self.changed = True

    def settle(self):
        """Take up what was asked for. Returns the event that it leads to, "" for none, or None if there is
        nothing new to show."""
        if self._told_time is not None:
            day, second = self._told_time
            self._told_time = None
            self.clock.count(self.io.now_ms)
            self.clock.tell(day, second)
        if not self.changed:
            return None
        self.changed = False
        self.panel.tell_levels()
        event = self._event
        self._event = ""
        return event
