"""Differences of a millisecond count that wraps at 2**30 (12.4 days), as MicroPython's does.

No intermediate exceeds 30 bits: on a board a larger integer would be allocated on the heap.
"""

HALF = 1 << 29
MASK = (1 << 30) - 1


def since(now_ms: int, then_ms: int) -> int:
    """Signed ms from `then_ms` to `now_ms`; correct while they are less than 6.2 days apart."""
    apart = (now_ms - then_ms) & MASK
    return apart if apart < HALF else (apart - HALF) - HALF


def later(now_ms: int, ms: int) -> int:
    """The count `ms` (0 .. 2**29) after `now_ms`."""
    if now_ms >= HALF:
        # now - HALF - HALF + ms stays within 30 bits where now + ms would not
        return ((now_ms - HALF) - HALF + ms) & MASK
    return now_ms + ms
