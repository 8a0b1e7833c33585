"""What differs by chip, in one table: the board to buy, its images, its registers, its pins.

What must live here: facts from data sheets, each with its source. The firmware has the addresses again, in
board/chip.py, since it cannot import this; a test holds the two together.
"""

from typing import NamedTuple


class Chip(NamedTuple):
    """`family` is a UF2 file's (github.com/microsoft/uf2, utils/uf2families.json). A program says what it is
    within its first `info_within` bytes. `watchdog_at` is where the watchdog's registers begin; their places
    from there are the same. `pin_leak_a` is what an input may source at the start, at most."""

    name: str
    board: str
    family: int
    info_within: int
    watchdog_at: int
    pin_leak_a: float
    tried: bool


RP2040 = Chip(
    "RP2040",
    "Raspberry Pi Pico",
    family=0xE48BFF56,
    # 256 bytes of boot code and 256 more (Pico SDK, pico/binary_info/defs.h).
    info_within=512,
    watchdog_at=0x40058000,  # RP2040 data sheet, 2.2
    pin_leak_a=1e-6,  # RP2040 data sheet, 5.2
    tried=True,
)
RP2350 = Chip(
    "RP2350",
    "Raspberry Pi Pico 2",
    family=0xE48BFF59,  # rp2350-arm-s
    info_within=1024,  # memory
    watchdog_at=0x400D8000,  # RP2350 data sheet, 2.2, memory
    pin_leak_a=120e-6,  # RP2350 data sheet, erratum E9
    tried=False,
)

CHIPS = (RP2040, RP2350)

ABSOLUTE_FAMILY = 0xE48BFF57
"""A block that an image for the RP2350 begins with, for its erratum E10. It is numbered on its own."""


def untried(chip: Chip) -> str:
    """What is said of a chip that the firmware has not been seen to run on."""
    return (
        f"Nobody has seen the firmware run on a {chip.board} ({chip.name}) yet. Trust it with no lamp before "
        "it has passed the acceptance test."
    )
