"""How `ledger-1.sqlite` was made: a ledger of version 1 of the schema, as that version wrote it.

What must live here: what two boxes had exposed, and when it was pulled. It is kept to show where the file
comes from; run it in a checkout of the commit that added it, from its root:

    PYTHONPATH=.:firmware:tools .venv/bin/python -m tests.kept.make_ledger_1 FOLDER

Beside the file a JSON has the same in plain words: of each entry its name, its box, when it was pulled and
its record.
"""

import json
import sys
from pathlib import Path

from lampblack.ledger.home import Home
from tests.portable.fakes import large_card, small_card
from tests.test_ledger_home import BOXES, Darkroom, _first_form, pull_from
from timing_core.records.ledger import stage_record


def main(folder: Path) -> None:
    first, second = (Darkroom(identity) for identity in BOXES)
    with Home(f"sqlite:///{folder / 'ledger-1.sqlite'}") as home:
        home.put(_first_form(), BOXES[1], "2026-10-01T18:00:00Z")
        first.expose(60, at="2026-11-26T18:26:10Z")
        first.expose(120, small_card("mill"), whole=False, cut_off="Burn sky", at="2026-11-26T18:40:00Z")
        first.disk.room = 0
        first.expose(180, large_card(), faults=["live"])
        pull_from(first, home, at="2026-11-26T19:00:00Z")
        first.switch_off()
        first.disk.room = 1 << 20
        first.expose(75, stages=[stage_record("Burn Möwe", "", 4000, 3000, 2, None, True)])
        first.expose(90, kind="test", test={"test": "lag", "filter": "5", "lag_ms": 62}, stages=[])
        second.expose(60)
        for darkroom in (first, second):
            pull_from(darkroom, home, at="2026-11-27T20:00:00Z")
        told = [[str(own.name), own.box, own.pulled_at, own.record] for own in home.find()]
    (folder / "ledger-1.json").write_text(json.dumps(told, indent=1, ensure_ascii=True) + "\n")


main(Path(sys.argv[1]))
