"""Figures of what is modelled, checked.

What must live here: refusing what cannot be. It may not know what the figures are of.
"""

from __future__ import annotations


def refuse_negative(owner: object, *names: str) -> None:
    for name in names:
        if getattr(owner, name) < 0:
            raise ValueError(f"{name} is {getattr(owner, name)}: it cannot be negative; give 0 or more")
