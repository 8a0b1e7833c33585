"""The real littlefs under the board's own file calls, cut at every program and erase of what a person does.

What must live here: what is done to a box, and what must be known after a cut. By the laws of the design:

- the file system can be mounted after any cut, and each file is as it was or as the write that was cut would
  have it; one that is new may be empty;
- each card, paper record, setting and map is the old or the new one, no record of the ledger is lost or
  changed, and nothing is lit;
- the box that wakes up is the one that would wake up on an ideal disk with these files, so that all that the
  other attackers find on one holds here too;
- what was cut can be done again, and is then as if it had never been cut.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from functools import partial
from typing import Any

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.session import Session
from tests.attack.flash_chip import CUTS, DISK_VERSIONS, Chip, Files, flash_disk, littlefs_on
from tests.box_model import (
    PowerCut,
    a_card,
    a_pass,
    ask,
    card_lines,
    keys,
    set_row,
    snapshot,
    to_screen,
    until_dark,
)
from tests.kept_flash import BLOCKS
from tests.portable.papers import VC_2019

SMALL_BLOCKS = 40
"""Of which the folders take 34: a chip that is soon full."""
BEFORE = 5
"""So many things are done before, some of them cut off too."""
CARDS = [
    a_card(("face", -60), base_ms=2000, name="harbour"),
    a_card(("sky", 40), base_ms=4000, name="harbour"),
    a_card(base_ms=3000, name="door"),
    {**a_card(name="long", base_ms=2000), "facts": {"notes": "n" * 400}},
]
CARDS[3]["passes"].append(a_pass(("wall", 20, "2"), base_ms=4000, filter="5"))

PLATFORM = desk_platform()
Act = Callable[[Session], None]


class NotedDisk:
    """The board's disk, and beside it what it must hold: `files`, but for the one that is `doing`: its name,
    what it was and what it is to be; None where it is not there."""

    def __init__(self, chip: Chip, version: int) -> None:
        self.chip = chip
        self.flash = flash_disk(Files(chip, littlefs_on(chip, version)))
        self.files = self.read_all()
        self.doing: tuple[str, bytes | None, bytes | None] | None = None

    def read_all(self) -> dict[str, bytes]:
        return {name: self.flash.read(name) for name in self.flash.names()}

    def names(self) -> list[str]:
        return self.flash.names()

    def read(self, name: str) -> bytes | None:
        return self.flash.read(name)

    def write(self, name: str, data: bytes) -> None:
        self._do(name, bytes(data), partial(self.flash.write, name, data))

    def remove(self, name: str) -> None:
        self._do(name, None, partial(self.flash.remove, name))

    def _do(self, name: str, data: bytes | None, act: Callable[[], None]) -> None:
        was = self.files.get(name)
        self.doing = name, was, data
        try:
            act()
        except OSError:
            # There is no room: the file is as it was, or empty if it is new.
            data = self.flash.read(name)
            assert data in (was, b"" if was is None else was), f"{name} is half written on a full disk"
            raise
        finally:
            if not self.chip.is_dead:
                self.doing = None
                if data is None:
                    self.files.pop(name, None)
                else:
                    self.files[name] = data


# --- what a person does


def push_card(card: dict, session: Session) -> None:
    for method, params in card_lines(card):
        ask(session, method, **params)


def remove_card(name: str, session: Session) -> None:
    ask(session, "card.remove", name=name)


def set_bench(values: dict, session: Session) -> None:
    ask(session, "bench.set", values=values)


def load_card(session: Session) -> None:
    if session.box.state != "browse" or not session.box.shelf.names():
        return
    to_screen(session, "shelf")
    session.input("dial", -1000)
    session.input("dial", 1)
    session.input("press")


def change_map(session: Session) -> None:
    if session.box.state == "browse":
        to_screen(session, "print")
        set_row(session, "Base", 2)


def give(stages: int, hold: bool, session: Session) -> None:
    """Begin a run, or go on with the one that is kept, and give light."""
    box = session.box
    for _ in range(12 * stages):
        if box.state in ("notice", "ask"):
            session.input("press")
        elif box.state == "browse" and box.run.is_kept:
            session.input("back")
            box.panel.cursor_on_key("go on")
            session.input("press")
            if box.state == "browse":
                end_run(session)
                return
        elif box.state == "browse":
            to_screen(session, "print")
            keys(session, "expose")
            if box.state == "browse":
                return
        elif box.state in ("ready", "held"):
            keys(session, "expose")
            if not session.lamp.lit:
                continue
            stages -= 1
            if hold and not stages:
                session.advance(session.now_ms + 700)
                session.input("back")
                session.advance(session.now_ms + 10)
            else:
                until_dark(session)
            if not stages:
                return
        else:
            session.advance(session.now_ms + 100)


def end_run(session: Session) -> None:
    box = session.box
    if box.state == "notice":
        session.input("press")
    if not box.run.stages and not box.run.is_kept:
        return
    if box.state != "browse":
        session.input("back")
    box.panel.show("screens")
    box.panel.cursor_on_key("end")
    session.input("press")


def make_folders(session: Session) -> None:
    while session.disk.flash.make_ready():
        pass


def any_act(chance: random.Random) -> Act:
    acts: list[Act] = [
        partial(push_card, chance.choice(CARDS)),
        partial(push_card, chance.choice(CARDS)),
        partial(push_card, VC_2019),
        partial(remove_card, chance.choice(("harbour", "door", "long"))),
        partial(set_bench, {"lag_ms": chance.choice((0, 150)), "volume": chance.randrange(6)}),
        load_card,
        change_map,
        partial(give, chance.choice((1, 1, 2, 4)), chance.random() < 0.5),
        partial(give, chance.choice((1, 3)), chance.random() < 0.5),
        end_run,
        make_folders,
    ]
    return chance.choice(acts)


# --- what must be known


def known(session: Session) -> dict[str, Any]:
    """Each thing by its name: what is kept, as the box has it."""
    box = session.box
    shelves = {f"{shelf.kind} {name}": shelf.digest(name) for shelf in box.shelves for name in shelf.names()}
    records = {f"record {record['n']}": record for record in box.ledger.read(0, 1000)}
    return {"map": box.work.map.to_dict(), "bench": box.bench.to_dict(), **shelves, **records}


def woken(session: Session) -> dict:
    session.power_up()
    found = snapshot(session)
    found.pop("files")
    return found


def on_ideal_disk(files: dict[str, bytes]) -> dict:
    disk = MemoryDisk()
    disk.files.update(files)
    return woken(Session(disk, PLATFORM, 100))


class Box:
    """A chip, from one image of it to the next."""

    def __init__(self, chance: random.Random, count: Counter[str]) -> None:
        self.chance, self.count = chance, count
        self.version = chance.choice(DISK_VERSIONS)
        self.chip = Chip(chance.choice((BLOCKS, BLOCKS, SMALL_BLOCKS)), chance)
        littlefs_on(self.chip, self.version, is_new=True)

    def image(self) -> bytes:
        return bytes(self.chip.buffer)

    def session_on(self, image: bytes) -> Session:
        """A box on a chip as in `image`, without power."""
        chip = self.chip = Chip(self.chip.blocks, self.chance)
        chip.buffer[:] = image
        disk = NotedDisk(chip, self.version)
        disk.flash._lit = lambda: session.lamp.lit
        session = Session(disk, PLATFORM, 100)
        return session

    def begin(self, image: bytes) -> Session:
        session = self.session_on(image)
        session.power_up()
        return session

    def done(self, image: bytes, act: Act) -> tuple[Session, int]:
        """Do it whole; the session, and how many operations it took."""
        session = self.begin(image)
        before = self.chip.operations
        act(session)
        return session, self.chip.operations - before

    def cut(self, image: bytes, act: Act, fuse: int) -> None:
        """Do it up to operation `fuse`, in which the power is cut; then look at the files."""
        session = self.begin(image)
        disk: Any = session.disk
        self.chip.fuse, self.chip.cut = fuse, self.chance.choice(CUTS)
        try:
            act(session)
        except PowerCut:
            self.count["cuts"] += 1
        else:
            raise AssertionError("the same again takes fewer operations")
        assert not session.lamp.lit, "something is written while the lamp is lit"
        found = NotedDisk(self.chip_again(), self.version).files
        for name in {*found, *disk.files}:
            may_be = [disk.files.get(name)]
            if disk.doing and disk.doing[0] == name:
                _, was, new = disk.doing
                may_be = [was, new, b"" if was is None else was]
            assert found.get(name) in may_be, f"the file {name} is neither old nor new"

    def chip_again(self) -> Chip:
        """With power."""
        image, self.chip = self.image(), Chip(self.chip.blocks, self.chance)
        self.chip.buffer[:] = image
        return self.chip

    def wake(self) -> Session:
        """Power comes back, and may go again at any write of the start; the box that is up at last."""
        self.count["wakings"] += 1
        session = self.session_on(self.image())
        files = dict(session.disk.files)
        self.chip.fuse = self.chance.choice((None, None, 0, 1, 3))
        try:
            found = woken(session)
        except PowerCut:
            self.count["second cuts"] += 1
            session = self.begin(self.image())
        else:
            assert found == on_ideal_disk(files), "it wakes up otherwise than on an ideal disk"
        self.chip.fuse = None
        assert not session.lamp.lit, "lit by a reset"
        return session


def play(chance: random.Random, count: Counter[str]) -> None:
    box = Box(chance, count)
    for _ in range(chance.randrange(BEFORE)):
        box.done(box.image(), any_act(chance))
        count["acts"] += 1
    image, operations = box.image(), 0
    before = known(box.begin(image))
    while not operations:
        act = any_act(chance)
        session, operations = box.done(image, act)
    after = known(session)
    count["operations"] += operations
    for fuse in range(operations):
        box.cut(image, act, fuse)
        now = known(box.wake())
        for thing in {*before, *after, *now}:
            may_be = before.get(thing), after.get(thing)
            assert now.get(thing) in may_be, f"{thing} is neither old nor new after a cut"
            assert thing in now or thing not in before or thing not in after, f"{thing} is lost"
    # The last of them, done again, is as if it had not been cut. What is turned or given is more than before.
    if isinstance(act, partial) and act.func is not give:
        again = known(box.done(box.image(), act)[0])
        assert again == after, "done again it is another"
