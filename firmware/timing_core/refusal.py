"""The one way to say no: what, why, and what to do, in one line.

A refusal loses nothing that the printer has set: code that raises one has changed nothing.
"""


class Refusal(Exception):
    """A request that cannot be met. `str()` gives "What: why. What to do."."""

    def __init__(self, what: str, why: str, todo: str) -> None:
        super().__init__("%s: %s. %s." % (what, why, todo))
        self.what = what
        self.why = why
        self.todo = todo

    @property
    def line(self) -> str:
        return "%s: %s. %s." % (self.what, self.why, self.todo)
