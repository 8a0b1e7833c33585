"""What was found of what is kept: damage, what was converted, and what is known of a run that was cut off.

What must live here: these lines, and how many of them are said at once. It may not know how a record is read.
"""


class Findings:
    """`damage` has a line for each thing kept that is damaged, `notes` one for each that was converted or
    mended at this start, `known` what is known of the run that was cut off."""

    def __init__(self, ledger) -> None:
        self.ledger = ledger
        self.damage: list = []
        self.notes: list = []
        self.known = ""

    def told(self) -> str:
        """The first of the things that are damaged, converted or mended, and whether there are more."""
        lines = self.damage + self.notes
        if not lines:
            return ""
        return lines[0] + (" And more: run lampblack doctor." if lines[1:] else "")

    def told_of_run(self, can_go_on: bool) -> str:
        """What is known of the run that was cut off; below it there is room for one more line."""
        lines = self.damage + self.notes
        if not lines:
            return self.known
        return self.known + " " + (lines[0] if len(lines) == 1 and can_go_on else "Run lampblack doctor.")

    def find_damage(self, shelves) -> list:
        """Look through cards, paper records and ledger; a line for each thing that is damaged."""
        lines = []
        for shelf in shelves:
            shelf.names()
            lines += shelf.damage()
        self.ledger.check()
        lines += [
            "Ledger record %d is damaged; its number is not used again." % n for n in self.ledger.damaged
        ]
        return lines

    def damage_lines(self, shelves) -> list:
        """A line for each thing kept that is damaged, cards and paper records as they are found now, and for
        each that was converted at this start."""
        lines = [line for line in self.damage if not line.endswith("Push it again.")]
        for shelf in shelves:
            lines += shelf.damage()
        return lines + self.notes

    def settings_set(self) -> None:
        """The settings are kept anew, which mends them."""
        self.damage = [line for line in self.damage if not line.startswith("The settings")]
