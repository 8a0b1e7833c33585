"""What has changed since an earlier acceptance test: figures side by side.

What must live here: the comparison, and its words.
"""

from __future__ import annotations

from dataclasses import dataclass

from lampblack.accept.limits import FIGURES, OPEN
from lampblack.accept.report import Measured, Report


@dataclass(frozen=True)
class Change:
    now: Measured
    then: Measured

    @property
    def is_new_fail(self) -> bool:
        return self.then.passed and not self.now.passed

    @property
    def drift(self) -> str:
        """In words; "" for none."""
        now, then = self.now.value, self.then.value
        if now == then:
            return ""
        if isinstance(now, bool) or isinstance(then, bool) or OPEN in (now, then):
            return "changed"
        change = FIGURES[self.now.key].with_unit(now - then) if self.now.key in FIGURES else f"{now - then:g}"
        sign = "+" if now > then else ""
        return f"{sign}{change}" + (f" ({sign}{100 * (now - then) / then:.1f} %)" if then else "")

    def line(self) -> str:
        """For the terminal."""
        mark = "NEW FAIL " if self.is_new_fail else ""
        drift = f", {self.drift}" if self.drift else ", the same"
        return f"{mark}{self.now.key} {self.now.what}: was {self.then.told()}, is {self.now.told()}{drift}"


def changes(now: Report, then: Report) -> list[Change]:
    """Every figure that both have; new fails first, then what has drifted, then what is the same."""
    found = [Change(own, then.figures[key]) for key, own in now.figures.items() if key in then.figures]
    return sorted(found, key=lambda change: (not change.is_new_fail, change.drift == ""))
