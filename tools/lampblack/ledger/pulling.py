"""What a box has exposed, taken into the ledger's home.

What must live here: how far a box is read before its records are kept, and what becomes of a cable that is
pulled meanwhile. It may not know the terminal.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from lampblack.ledger.entries import Record
from lampblack.wire.box_client import BoxClient, BoxError

if TYPE_CHECKING:
    from lampblack.ledger.home import Home, Put


def pull(box: BoxClient, home: Home, pulled_at: str) -> tuple[Put, BoxError | None]:
    """Keep every record of the box in `home`, as of `pulled_at` (ISO 8601, UTC), and say what was new.

    All of them are asked for each time: a number tells nothing, since the box gives one again whose record it
    lost. Where the box is lost on the way, what came before is kept, and the BoxError comes beside.
    """
    records: list[Record] = []
    lost: BoxError | None = None
    try:
        # One by one, so that those before a fault are there.
        for record in box.ledger():
            records.append(record)
    except BoxError as fault:
        lost = fault
    return home.put(records, box.about["identity"], pulled_at), lost
