"""What was kept, read at power-up: settings, map, and a run that a reset cut off.

What must live here: how records that are whole, damaged or of an earlier form become what is at work. It
decides nothing about light. A board lets go of it once it is done.
"""

from timing_core.light.bench import Bench, is_int
from timing_core.light.plan import compile_print
from timing_core.light.printing_map import PrintingMap
from timing_core.light.stops import seconds_down
from timing_core.light.strip import Strip
from timing_core.light.work import Work, text_of_run
from timing_core.machine.run import Run
from timing_core.records.store import LOST
from timing_core.refusal import Refusal

_RUN_DAMAGED = "The note of a run is damaged: a sheet may have had light."


class Recovery:
    """Reads what is kept; what is to be said of it goes to `findings`."""

    def __init__(self, store, platform, journal, ledger, findings) -> None:
        self.store = store
        self.platform = platform
        self.journal = journal
        self.ledger = ledger
        self.findings = findings

    def load(self, work: Work, run: Run, known_ms: int) -> str:
        """Read bench, map and journal into `work` and `run`. What is damaged is replaced by what is whole.

        `known_ms` is light that the stage cut off is known to have got (0: power was lost; -1: the board was
        reset, and nothing is known). Returns a line if the run is over and only its record is missing: then
        put that on record.
        """
        bench, lost = self._read("bench")
        if bench is not None:
            converted = work.bench.take_kept(bench)
            if converted:
                self.findings.notes.append(converted)
        if lost:
            self.findings.damage.append(
                "The settings are damaged: %s in force, lag %d ms."
                % ("defaults are" if lost == LOST else "older ones are", work.bench.get("lag_ms"))
            )
        work.new()
        journal, lost = self._read("journal")
        if lost:
            self.findings.damage.append(_RUN_DAMAGED)
        if journal or work.bench.get("power_up") == "as left":
            map, lost = self._read("work")
            try:
                work.take(PrintingMap.from_dict(map))
            except Refusal:
                lost = LOST if map is not None else lost
            if lost:
                self.findings.damage.append(
                    "The map is damaged: %s is here." % ("a new print" if lost == LOST else "an older one")
                )
        if journal is not None and is_int(journal.get("stage")):
            try:
                return self._find(journal, work, run, known_ms)
            except (ValueError, TypeError, KeyError, IndexError):
                # Whole, and of no form that there ever was.
                run.clear()
                self.findings.damage.append(_RUN_DAMAGED)
        return ""

    def _read(self, key: str) -> tuple:
        """A record as a dict, None if there is none or it is none, and what is wrong with it: see
        `Store.damage`."""
        data, damage = self.store.look(key)
        if data is None:
            return None, damage
        try:
            plain = self.platform.json_loads(data.decode())
        except ValueError:
            plain = None
        return (plain, damage) if isinstance(plain, dict) else (None, LOST)

    def _find(self, journal: dict, work: Work, run: Run, known_ms: int) -> str:
        """Make the kept run from its journal. A run that is in the ledger already is over."""
        number = _read_number(journal, "n")
        if number and self.ledger.has(number):
            try:
                self.journal.close()
            except Refusal:
                pass  # it is found again, and is over then too
            return ""
        lag_ms = work.bench.get("lag_ms")
        run.was_cut_off = True
        run.begun += 1
        run.kind = str(journal.get("kind"))
        run.at = journal["stage"]
        run.name = str(journal.get("name"))
        run.number = number or self.ledger.last() + 1
        done = str(journal.get("done", "")).split(";")
        run.done = [[int(word) for word in stage.split()] for stage in done if stage]
        old = "form" not in journal
        for stage in run.done:
            if len(stage) != (3 if old else 5) or not 0 <= stage[0] < _read_number(journal, "of"):
                raise ValueError("no such stage")
        if old:
            # Form 1 had no lag in it, and its run was of the map at work.
            for stage in run.done:
                stage += [lag_ms, 0]
            run.text = text_of_run(work.map, None, work.bench.get("lead_ms"))
            if run.kind == "strip":
                run.why_not = "its strip is not kept"
        else:
            text, damage = self.journal.text_of(journal)
            if text is None:
                run.why_not = "its map is damaged" if damage else "its map is not kept"
                if damage:
                    self.findings.damage.append("The map of the run that was cut off is damaged.")
            else:
                run.text = text
        run.done_text = "".join(["%d %d %d %d %d;" % tuple(stage) for stage in run.done])
        if run.text and not run.why_not:
            self._compile(run, work, journal.get("of"))
        if journal.get("over"):
            return "The run before the reset is in the ledger now."
        return self._tell(journal, run, known_ms, lag_ms)

    def _compile(self, run: Run, work: Work, count) -> None:
        """Compile the run from its text; no stages if they cannot be given as they were."""
        try:
            source = self.platform.json_loads(str(run.text, "utf-8"))
            map = PrintingMap.from_dict(source["map"])
            # Its windows are where they were when it began, whatever the lead-in is now.
            bench = Bench()
            bench.take(work.bench.to_dict())
            bench.set("lead_ms", source["lead_ms"])
            if source.get("test"):
                from timing_core.light.guided import compile_test

                work.test = source["test"]
                run.take_test(work.test)
                stages = compile_test(source["test"], bench)
            elif source["strip"] is None:
                stages = compile_print(map, bench)
            else:
                strip = Strip.from_dict(source["strip"])
                stages = strip.compile(map, work.bench)
                run.gives = strip.gives(map)
                work.strip = strip
                strip.settle(work.map)  # the map may be another by now
        except Refusal:
            run.why_not = "the bench has changed"
            return
        if len(stages) != count or not 0 <= run.at < count:
            run.why_not = "its stages have changed"
            return
        run.stages = stages

    def _tell(self, journal: dict, run: Run, known_ms: int, lag_ms: int) -> str:
        """Put into words what is known of the stage that was cut off. Returns a line if the run was whole."""
        cause = "The box was reset." if known_ms else "Power was lost."
        self.findings.known = "Power was lost before: %s." % run.name
        if known_ms:
            self.findings.known = "The box was reset before: %s." % run.name
        if journal.get("light"):
            run.given_ms = max(known_ms, _read_number(journal, "given_ms"))
            run.cut_at = run.name
            run.at_least = True
            run.strikes = 1 if run.given_ms else 0
            self.findings.known = "%s %s may be partly exposed." % (cause, run.name)
            if run.given_ms:
                self.findings.known = "%s %s had %s or more." % (cause, run.name, seconds_down(run.given_ms))
        if run.stages and 0 < run.stage.light_ms <= run.given_ms:
            # All of its light is known to have been given.
            run.given_ms = run.stage.light_ms
            run.at_least = False
            run.note_stage(0 if run.is_bare else lag_ms)
            run.at += 1
            run.given_ms = run.strikes = 0
            self.findings.known = "%s %s had all of its light." % (cause, run.name)
            if run.at == len(run.stages):
                run.cut_at = ""
                return "The run before the reset was whole. It is in the ledger."
        if run.why_not:
            self.findings.known += " It cannot go on: %s." % run.why_not
        return ""


def _read_number(plain: dict, key: str) -> int:
    """A number from a record; 0 if there is none."""
    value = plain.get(key)
    return value if isinstance(value, int) and is_int(value) else 0
