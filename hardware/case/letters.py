"""Capitals as polygons, so that the same words are the same solid on every machine.

What must live here: the letters that the case needs. A letter is 4 wide and 6 high, and 1.4 from the next.
"""

from __future__ import annotations

Point = tuple[float, float]

WIDE, HIGH, APART = 4.0, 6.0, 1.4

# The outline of each, then what is open in it.
LETTERS = {
    "A": ["0,0 1,0 1,2 3,2 3,0 4,0 4,5 3,6 1,6 0,5", "1,3 3,3 3,5 1,5"],
    "B": ["0,0 3.2,0 4,.8 4,2.4 3.4,3 4,3.6 4,5.2 3.2,6 0,6", "1,1 3,1 3,2.5 1,2.5", "1,3.5 3,3.5 3,5 1,5"],
    "C": ["1,0 4,0 4,1 1,1 1,5 4,5 4,6 1,6 0,5 0,1"],
    "D": ["0,0 3,0 4,1 4,5 3,6 0,6", "1,1 3,1 3,5 1,5"],
    "E": ["0,0 4,0 4,1 1,1 1,2.5 3.4,2.5 3.4,3.5 1,3.5 1,5 4,5 4,6 0,6"],
    "F": ["0,0 1,0 1,2.5 3.4,2.5 3.4,3.5 1,3.5 1,5 4,5 4,6 0,6"],
    "G": ["1,0 4,0 4,3.4 2.2,3.4 2.2,2.4 3,2.4 3,1 1,1 1,5 4,5 4,6 1,6 0,5 0,1"],
    "H": ["0,0 1,0 1,2.5 3,2.5 3,0 4,0 4,6 3,6 3,3.5 1,3.5 1,6 0,6"],
    "I": ["1.5,0 2.5,0 2.5,6 1.5,6"],
    "L": ["0,0 4,0 4,1 1,1 1,6 0,6"],
    "N": ["0,0 1,0 1,3.8 3,0 4,0 4,6 3,6 3,2.2 1,6 0,6"],
    "O": ["1,0 3,0 4,1 4,5 3,6 1,6 0,5 0,1", "1,1 3,1 3,5 1,5"],
    "P": ["0,0 1,0 1,2 3.2,2 4,2.8 4,5.2 3.2,6 0,6", "1,3 3,3 3,5 1,5"],
    "S": ["0,0 3,0 4,1 4,2.5 3,3.5 1,3.5 1,5 4,5 4,6 1,6 0,5 0,3.5 1,2.5 3,2.5 3,1 0,1"],
    "T": ["1.5,0 2.5,0 2.5,5 4,5 4,6 0,6 0,5 1.5,5"],
    "U": ["1,0 3,0 4,1 4,6 3,6 3,1 1,1 1,6 0,6 0,1"],
    "V": ["1.5,0 2.5,0 4,6 2.95,6 2,1.9 1.05,6 0,6"],
    "W": ["0.7,0 1.5,0 2,2.2 2.5,0 3.3,0 4,6 3.1,6 2.85,2.4 2.35,4.4 1.65,4.4 1.15,2.4 .9,6 0,6"],
    "Y": ["1.5,0 2.5,0 2.5,2.6 4,6 2.9,6 2,3.8 1.1,6 0,6 0,5.9 1.5,2.6"],
}


def outlines(words: str, high: float) -> list[list[list[Point]]]:
    """For each letter its outline and what is open in it, the middle of the words at 0, 0."""
    scale = high / HIGH
    pitch = WIDE + APART
    left = -(len(words) * pitch - APART) / 2
    found = []
    for number, letter in enumerate(words):
        if letter == " ":
            continue
        shapes = []
        for line in LETTERS[letter]:
            pairs = [tuple(float(part) for part in point.split(",")) for point in line.split()]
            shapes.append([((left + number * pitch + x) * scale, (y - HIGH / 2) * scale) for x, y in pairs])
        found.append(shapes)
    return found
