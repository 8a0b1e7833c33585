"""The acceptance test's place in the box.

What must live here: what has to be there before the test is asked for. The rest is `counting`, which a board
has no memory to spare for until then.
"""


def _no_edges() -> dict:
    return {}


class Acceptance:
    """`contacts`, set from outside, tells how many edges the contact of each key has given."""

    def __init__(self, box) -> None:
        self.contacts = _no_edges
        self._box = box
        self._counting: object = None

    @property
    def counting(self):
        if self._counting is None:
            from timing_core.panel.counting import Counting

            self._counting = Counting(self._box, self.contacts)
        return self._counting

    def begin(self) -> None:
        self.counting.begin()

    def is_forsaken(self) -> bool:
        return self.counting.is_forsaken()

    def end(self) -> None:
        """For the settling time no press lights the lamp: it may have been meant to be counted."""
        self._box.lamp.settle()
        self._box.panel.tell_levels(anew=True)
