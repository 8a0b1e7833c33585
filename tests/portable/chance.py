"""Numbers that look like chance and are the same everywhere. Portable: CPython and MicroPython."""


def numbers(seed: int):
    """MINSTD of Park and Miller, CACM 31 (1988), from `seed` (1 .. 2**31 - 2)."""
    while True:
        seed = seed * 16807 % 2147483647
        yield seed
