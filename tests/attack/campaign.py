"""The campaign: which attackers there are, how one is replayed, and what was tried.

What must live here: rounds, seeds and counts. What an attacker does in a round, and what must hold, is its
own module's. A round is made from the seed and its number alone: `python -m tests.attack NAME --seed S
--round N` plays it again, whatever came before it.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from typing import NamedTuple


class Attacker(NamedTuple):
    """`play(chance, count)` is one round: it draws all from `chance`, counts what it tries in `count`, and
    raises AssertionError where something is violated. `about` says in a few words what it does. Where all
    attackers play, one plays so many times fewer rounds as it `costs` more than the others."""

    name: str
    about: str
    play: Callable[[random.Random, Counter[str]], None]
    costs: int = 1


class Violation(AssertionError):
    """A round that broke a law; says how to play it again."""


def round_of(attacker: Attacker, seed: int, number: int, count: Counter[str]) -> None:
    """Play one round. Violation where a law is broken."""
    try:
        attacker.play(random.Random(f"{attacker.name} {seed} {number}"), count)
    except Exception as fault:
        replay = f"python -m tests.attack {attacker.name} --seed {seed} --round {number}"
        raise Violation(f"{type(fault).__name__}: {fault}\nTo play it again: {replay}") from fault
    count["rounds"] += 1


def attack(attacker: Attacker, seed: int, rounds: int) -> Counter[str]:
    """Play so many rounds; what was tried."""
    count: Counter[str] = Counter()
    for number in range(rounds):
        round_of(attacker, seed, number, count)
    return count
