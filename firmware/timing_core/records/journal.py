"""The journal: where the run under way stands, so that a reset in its middle is known of.

What must live here: the form of the journal and of the text that its run is made from. The journal is
written in one write and is true at any moment. It has a digest of the run's text, so that it is never taken
for a run of another map.
"""

from timing_core.canonical import digest_of_text, quoted
from timing_core.light.plan import stage_name
from timing_core.platform import const
from timing_core.records.ledger import FORM

_DIGEST = const(16)
"""How many hex digits of the digest the journal has."""


class Journal:
    """The journal in `store`."""

    def __init__(self, store, platform) -> None:
        self.store = store
        self.platform = platform

    def write(self, run, over: bool = False) -> None:
        """Note where `run` (a `machine.run.Run`) stands and what is known to have been given; `over`: it has
        ended, and its record is still to be written. Refusal if the disk will not keep it."""
        stage = run.stages[run.at]
        # Canonical JSON as `encode` gives it, in a tenth of the time: each end of a light waits for it.
        where = (quoted(stage_name(stage)), len(run.stages), "true" if over else "false", run.at)
        text = (
            '{"done":"%s","form":%d,"given_ms":%d,' % (run.done_text, FORM, run.given_ms)
            + '"kind":%s,"light":%s,' % (quoted(run.kind), "false" if stage.is_dark else "true")
            + '"map":"%s","n":%d,' % (self._digest(run.text), run.number)
            + '"name":%s,"of":%d,"over":%s,"stage":%d}' % where
        )
        self.store.put("journal", text.encode())

    def close(self) -> None:
        """No run is under way."""
        self.store.drop("journal")

    def keep_text(self, text: bytes) -> None:
        """Keep what the run is made from."""
        self.store.put("run", text)

    def text_of(self, journal: dict) -> tuple:
        """What the journal's run is made from, and what is wrong with that record; None if it is not kept."""
        text, damage = self.store.look("run")
        if text is None or self._digest(text) != journal.get("map"):
            return None, damage
        return text, ""

    def _digest(self, text: bytes) -> str:
        return digest_of_text(self.platform, text)[:_DIGEST]
