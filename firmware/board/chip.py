"""Which chip this is, and where its registers lie. tests/test_main.py holds this to the PC's table of chips.

Made once, when this is loaded: working an address out later would take memory.
"""

import sys

_IS_RP2350 = "RP2350" in getattr(sys.implementation, "_machine", "")

WATCHDOG_AT = 0x400D8000 if _IS_RP2350 else 0x40058000
WATCHDOG_CLEAR_AT = WATCHDOG_AT + 0x3000
SCRATCH0_AT = WATCHDOG_AT + 0x0C
SCRATCH1_AT = WATCHDOG_AT + 0x10
SCRATCH2_AT = WATCHDOG_AT + 0x14
SCRATCH3_AT = WATCHDOG_AT + 0x18
