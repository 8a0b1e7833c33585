"""The run: its stages, where it stands, and what was given. It is kept from its beginning to its end.

What must live here: what is known of a run, and nothing of who gives its light or where it is written.
"""

from timing_core.light.plan import FIT, FLASH, FRESH, NEGATIVE, WAIT, Stage, light_of, stage_name
from timing_core.records.ledger import FORM, stage_record

_OF_THE_CELL = ("cell_lag", "drift")


class Run:
    """A run under way or kept.

    `stages` is empty if there is none, or if it cannot go on; then `why_not` says why. `at` is the present
    stage, with `given_ms` of light in `strikes` strikes, at least so much if `at_least` (a reset cut it off).
    `done` has a list for each stage left behind: its number, given ms, strikes, lag in ms, 1 for at least;
    `done_text` is the same for the journal. `text` is what the run is made from (see `light.work`), `number`
    its number in the ledger, `kind` "print", "strip" or "test", `test` what a
    guided test is made with; `begun` counts runs, so that one is told from the next. `cut_at` names the stage
    that a reset cut off. `is_again` is true from going on until the next strike. `is_bare`: what its stages
    have is the lamp's time, and nothing is allowed for a lag; `any_length`: they may be shorter than the
    shortest light; `has_paper`: there is some in the easel. `dims`: the display is to give as little light as
    it can. `goal_ms` is the light to which the strike under way brings its stage, and `holds` is true if none
    is to follow it. `filter_in` is the filter that was given or confirmed last; None from power-up until a
    run begins, which takes its first to be in.
    """

    def __init__(self) -> None:
        self.begun = 0
        self.number = 0
        self.kind = "print"
        self.gives: list = []
        self.filter_in: str | None = None
        self.clear()

    def clear(self) -> None:
        self.stages: list[Stage] = []
        self.at = 0
        self.text = b""
        self.was_cut_off = False
        self.cut_at = ""
        self.name = ""
        self.why_not = ""
        self.done: list = []
        self.done_text = ""
        self.is_again = False
        self.test: dict | None = None
        self.is_bare = self.any_length = self.dims = False
        self.has_paper = True
        self.goal_ms = 0
        self.reset_stage()

    def begin(self, kind: str, stages: list, gives: list, number: int, text: bytes) -> None:
        self.clear()
        self.begun += 1
        self.stages = list(stages)
        if self.filter_in is None:
            self.filter_in = stages[0].filter
        self.kind = kind
        self.gives = gives
        self.number = number
        self.text = text

    def take_test(self, test: dict | None) -> None:
        """The run is this guided test; None if it is none."""
        self.test = test
        if test is not None:
            self.has_paper = test["test"] not in _OF_THE_CELL
            self.is_bare = test["test"] == "lag" or not self.has_paper
            self.any_length = self.is_bare or test["test"] == "shortest"

    def reset_stage(self) -> None:
        self.holds = False
        self.given_ms = 0
        self.strikes = 0
        self.at_least = False

    # --- questions

    @property
    def is_kept(self) -> bool:
        """True from the beginning of a run to its end, even while the printer is on another screen."""
        return bool(self.stages) or self.was_cut_off

    @property
    def can_go_on(self) -> bool:
        return bool(self.stages)

    @property
    def has_had_light(self) -> bool:
        return bool(self.given_ms or self.done or self.at_least)

    @property
    def stage(self) -> Stage:
        """The present stage. IndexError if there is no run that can go on."""
        return self.stages[self.at]

    @property
    def is_in_mid_light(self) -> bool:
        """Some of the present stage's light is given. A wait has none, however long it has lasted."""
        return self.given_ms > 0 and self.stages[self.at].kind != WAIT

    @property
    def is_fit(self) -> bool:
        """Hands fit a filter or move the negative, and a press says that it is done."""
        kind = self.stages[self.at].kind
        return kind == FIT or kind == NEGATIVE  # in a tuple they would take memory, and each press asks

    @property
    def is_last(self) -> bool:
        return self.at == len(self.stages) - 1

    @property
    def stage_is_whole(self) -> bool:
        return self.given_ms >= self.stages[self.at].light_ms

    @property
    def sheet(self) -> str:
        """Which paper the stage wants in the easel; "" where nobody knows whether it has had light."""
        if not self.has_paper:
            return "No paper"
        if self.stages[-1].kind == FRESH:
            flash_comes = FLASH in [stage.kind for stage in self.stages[self.at :]]
            return "All pieces" if flash_comes else "Fresh piece"
        if self.stages[self.at].fresh:
            return "Fresh piece"
        if self.given_ms or any(done[1] for done in self.done):
            return "Same sheet"
        return "" if self.has_had_light else "Paper in"

    def lag_ms(self, bench) -> int:
        """What each strike is given for the lamp's lag."""
        return 0 if self.is_bare else bench.get("lag_ms")

    def shown_ms(self, left_ms: int) -> int:
        """So much light left of the stage, as the printer sees it: without dry-down."""
        stage = self.stages[self.at]
        if left_ms == stage.light_ms:
            return stage.shown_ms
        # In coarser units the product stays a small integer, since this is called while the lamp is lit.
        bits = 0
        while stage.shown_ms >> bits > 32767:
            bits += 1
        return (left_ms >> bits) * (stage.shown_ms >> bits) // (stage.light_ms >> bits) << bits

    # --- changes

    def account(self, lit_ms: int, lamp_ms: int, lag_ms: int) -> None:
        """Count the light of a strike of `lamp_ms` that ended after `lit_ms` of lamp time."""
        if lit_ms >= lamp_ms:
            self.given_ms = self.goal_ms
        else:
            self.given_ms = min(self.goal_ms, self.given_ms + light_of(lit_ms, lag_ms))

    def aim(self, stage: Stage) -> int:
        """Begin a strike of the present `stage` of PULSES: how much light it is to give, in ms. What a hold
        has left of one comes first."""
        self.goal_ms = min(stage.light_ms, (self.given_ms // stage.pulse_ms + 1) * stage.pulse_ms)
        self.holds = False
        return self.goal_ms - self.given_ms

    def note_stage(self, lag_ms: int) -> None:
        """Leave the present stage behind, with what is known of it."""
        done = [self.at, self.given_ms, self.strikes, lag_ms, 1 if self.at_least else 0]
        self.done.append(done)
        # As one text it takes no time to put into the journal, however long the run has become.
        self.done_text += "%d %d %d %d %d;" % tuple(done)

    def record(self, source: dict, clock) -> dict:
        """The run as the ledger keeps it. `source` is what `text` says, or {} if there is none."""
        map: dict = source.get("map") or {}
        # Strips are given without dry-down.
        dries = bool(map) and map["dry_down"] and self.kind == "print"
        stages = self.stages
        lit = [index for index in range(len(stages)) if not stages[index].is_dark]
        given = []
        for at, given_ms, strikes, lag_ms, at_least in self.done:
            if at < len(stages):
                name, filter, light_ms = stage_name(stages[at]), stages[at].filter, stages[at].light_ms
            else:  # the run can no longer be compiled, and all that is known is in the journal
                name, filter, light_ms = (self.cut_at if at == self.at else "Stage %d" % (at + 1)), "", 0
            given.append(stage_record(name, filter, light_ms, given_ms, strikes, lag_ms, bool(at_least)))
        record = {
            "form": FORM,
            "kind": self.kind,
            "map": map or None,
            "strip": source.get("strip"),
            "whole": bool(lit)
            and not any(done[4] for done in self.done)
            and [done[0] for done in self.done if done[1] >= stages[done[0]].light_ms] == lit,
            "cut_off": self.cut_at,
            "up_s": clock.up_s,
            "at": clock.text(),
            "dry_down_pm": map["dry_down_pm"] if dries else 0,
            "stages": given,
        }
        if source.get("test"):
            record["test"] = source["test"]
        return record
