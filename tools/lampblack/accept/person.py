"""The person at the box, by way of the terminal.

What must live here: what is said, asked, and waited for. It may not know what a step is about.
"""

from __future__ import annotations

import queue
import sys
import textwrap
import threading
import time
from collections.abc import Callable
from typing import TextIO

from lampblack.errors import CommandError
from lampblack.text.printable import printable

LOOK_S = 0.25
"""How often what is waited for is looked at."""


WIDTH = 100


class Skip(Exception):
    """The person passes this step over; `str()` is why."""


Look = Callable[[], tuple[str, bool]]
"""What there is to see now, in words, and whether that is all that was waited for."""


class Person:
    """Reads lines typed at `typed` and writes to `told`."""

    def __init__(self, typed: TextIO | None = None, told: TextIO | None = None) -> None:
        self._typed = typed or sys.stdin
        self._told = told or sys.stdout
        self._lines: queue.SimpleQueue[str] = queue.SimpleQueue()
        self._reads = False

    def say(self, text: str = "") -> None:
        self._write(f"{_filled(text)}\n")

    def type(self, prompt: str) -> str:
        """A line; Skip if the step is to be passed over."""
        self._write(f"{_filled(prompt)} ")
        return self._taken(self._line())

    def is_yes(self, question: str) -> bool:
        while True:
            answer = self.type(f"{question} (y/n)").lower()
            if answer in ("y", "yes"):
                return True
            if answer in ("n", "no"):
                return False
            self.say("  Type y for yes, n for no, or skip to pass this step over.")

    def wait(self, prompt: str, look: Look) -> None:
        """Show what there is to see until it is all that was waited for, or Enter is pressed."""
        self.say(f"{prompt} (Enter ends the wait.)")
        shown = ""
        while True:
            words, is_done = look()
            if words != shown:
                self._show(words)
                shown = words
            if is_done or self._has_line():
                break
            self.sleep(LOOK_S)
        if self._is_terminal:
            self._write("\n")

    def sleep(self, seconds: float) -> None:
        time.sleep(seconds)

    # --- the terminal

    @property
    def _is_terminal(self) -> bool:
        return self._told.isatty()

    def _write(self, text: str) -> None:
        self._told.write(text)
        self._told.flush()

    def _show(self, words: str) -> None:
        """In place of what was shown before; where that cannot be, below it."""
        self._write(f"\r  {printable(words)}\x1b[K" if self._is_terminal else f"  {printable(words)}\n")

    def _begin_to_read(self) -> None:
        """In a thread, since what is waited for goes on meanwhile, and a line can be waited for on no system
        but so."""
        if not self._reads:
            self._reads = True
            threading.Thread(target=self._read, daemon=True).start()

    def _read(self) -> None:
        for line in self._typed:
            self._lines.put(line)
        self._lines.put("")

    def _line(self) -> str:
        self._begin_to_read()
        while True:
            try:
                line = self._lines.get(timeout=0.1)  # a lock that waits for good would not hear Ctrl-C
            except queue.Empty:
                continue
            return self._whole(line)

    def _has_line(self) -> bool:
        self._begin_to_read()
        try:
            line = self._lines.get_nowait()
        except queue.Empty:
            return False
        self._taken(self._whole(line))
        return True

    def _whole(self, line: str) -> str:
        if not line:
            raise CommandError(
                "The test has stopped: there is nobody to answer. What was done is kept; run it again in a "
                "terminal."
            )
        return line.strip()

    def _taken(self, line: str) -> str:
        if line.lower() != "skip":
            return line
        self._write("Why is this step passed over? ")
        raise Skip(self._line() or "no reason given")


def _filled(text: str) -> str:
    """Wrapped, with its indent kept."""
    indent = " " * (len(text) - len(text.lstrip(" ")))
    return textwrap.fill(printable(text), WIDTH, subsequent_indent=indent, break_on_hyphens=False)
