"""Fingers: keys whose contacts bounce, and a dial's two contacts, at emulated times.

What must live here: when which contact opens and closes. Contacts close to ground: a level of 0 is
pressed. Everything is drawn from a seed, and only changes of level are driven, since a level
repeated is no edge.
"""

from __future__ import annotations

import random

from tests.rig.pico import MS, US, Pico

BOUNCE_US = (50, 1500)
"""Shortest and longest stay at one level while a contact bounces (common practice, no source)."""


class Contact:
    """One contact on `pin`; `bounce_ns` is how long each change of it may chatter."""

    def __init__(self, pico: Pico, pin: int, bounce_ns: int = 0, seed: int = 0) -> None:
        self.pin = pin
        self._pico = pico
        self._bounce_ns = bounce_ns
        self._random = random.Random(f"{seed}/{pin}")

    def change(self, at_ns: int, level: int) -> int:
        """Go to `level`, first edge at `at_ns`, chattering after it; returns when it is quiet."""
        end_ns = at_ns + self._bounce_ns
        self._set(at_ns, level)
        while True:
            at_ns += self._random.randint(*BOUNCE_US) * US
            back_ns = at_ns + self._random.randint(*BOUNCE_US) * US
            if back_ns >= end_ns:
                return end_ns
            self._set(at_ns, 1 - level)
            self._set(back_ns, level)
            at_ns = back_ns

    def press(self, at_ns: int, held_ns: int = 80 * MS) -> int:
        """Press at `at_ns`, let go after `held_ns`; returns when the contact is quiet again."""
        quiet_ns = self.change(at_ns, 0)
        return self.change(max(quiet_ns, at_ns + held_ns), 1)

    def _set(self, at_ns: int, level: int) -> None:
        self._pico.at(at_ns, lambda: self._pico.set_level(self.pin, level))


class Dial:
    """A dial with contacts `a` and `b`: one detent is a full cycle of both, a leading when turned right.

    A contact chatters only while the other rests, as in a real one, so bounce loses nothing if each
    change of level is decoded.
    """

    def __init__(self, pico: Pico, a: int, b: int, bounce_ns: int = 0, seed: int = 0) -> None:
        self._a = Contact(pico, a, bounce_ns, seed)
        self._b = Contact(pico, b, bounce_ns, seed)

    def turn(self, at_ns: int, detents: int, per_s: float) -> int:
        """Turn by `detents` (right is positive) at `per_s` detents a second; returns when it rests."""
        quarter_ns = round(1e9 / per_s / 4)
        first, second = (self._a, self._b) if detents > 0 else (self._b, self._a)
        for _ in range(abs(detents)):
            for contact, level in ((first, 0), (second, 0), (first, 1), (second, 1)):
                if contact.change(at_ns, level) > at_ns + quarter_ns:
                    raise ValueError("the bounce is longer than a quarter of a detent")
                at_ns += quarter_ns
        return at_ns
