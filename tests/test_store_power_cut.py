"""The store on a disk whose plug is pulled, at every operation and in every way it can go wrong.

The faults are those that the header of `timing_core.records.store` says it tolerates. Law 4 of the
design: what is kept is kept whole or not at all, and the box goes on from there.
"""

import contextlib
import itertools
import random

import hypothesis.strategies as st
import pytest
from hypothesis import settings
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from host_sim.box.memory_disk import MemoryDisk
from tests.portable.fakes import TightDisk, keep, platform, small_card
from tests.portable.papers import VC_2019
from timing_core.canonical import encode
from timing_core.light.printing_map import PrintingMap
from timing_core.records.ledger import RECORDS_MAX, Ledger
from timing_core.records.shelf import Shelf
from timing_core.records.store import Store
from timing_core.refusal import Refusal

NOISE = random.Random(1).randbytes(4096)


class PowerCut(BaseException):
    """Not an Exception: nothing on the box runs after the plug is pulled."""


# What a write of `new` over `old` may leave behind. Removals are either lost or done.
FAULTS = {
    "lost": lambda old, new: old,
    "emptied": lambda old, new: b"",
    "torn after 1 byte": lambda old, new: new[:1],
    "torn in the header": lambda old, new: new[:20],
    "torn after the header": lambda old, new: new[:27],
    "torn in the middle": lambda old, new: new[: (27 + len(new)) // 2],
    "torn before the last byte": lambda old, new: new[:-1],
    "zeros": lambda old, new: bytes(len(new)),
    "zeros after the header": lambda old, new: new[:27] + bytes(len(new) - 27),
    "erased flash": lambda old, new: b"\xff" * len(new),
    "old tail": lambda old, new: new[: len(new) // 2] + (old or b"")[len(new) // 2 :],
    "old tail past the end": lambda old, new: new + (old or b"")[len(new) :],
    "old head": lambda old, new: (old or b"")[:27] + new[27:],
    "garbage": lambda old, new: NOISE[: len(new)],
    "garbage tail": lambda old, new: new[:-1] + NOISE[:99],
    "done": lambda old, new: new,
}


class CuttingDisk(TightDisk):
    """A disk that fails in the way `fault` at its operation number `cut_at` (from 0), and then is dead."""

    def __init__(self, files=(), cut_at=-1, fault="lost"):
        super().__init__()
        self.files = dict(files)
        self.cut_at = cut_at
        self.fault = fault
        self.operations = 0

    def _cut(self):
        self.operations += 1
        return self.operations - 1 == self.cut_at

    def write(self, name, data):
        if not self._cut():
            super().write(name, data)
            return
        left = FAULTS[self.fault](self.files.get(name), data)
        if left is not None:
            self.files[name] = left
        raise PowerCut

    def remove(self, name):
        cut = self._cut()
        if not cut or self.fault == "done":
            super().remove(name)
        if cut:
            raise PowerCut


SESSION = [
    ("work", b"first"),
    ("work", b"second, and longer"),
    ("card-a", b"A" * 300),
    ("work", b"3"),
    ("card-a", b"B" * 200),
    ("bench", b""),
    ("card-a", None),
    ("card-a", None),
    ("work", b"4" * 50),
    ("card-a", b"C"),
    ("bench", b"b"),
    ("work", None),
    ("bench", None),
    ("work", b"again"),
]


def play(disk, model, steps):
    """Do `steps` on the disk; `model` is what the caller was told is kept. The step that was cut, or None."""
    store = Store(disk, platform.crc32)
    for at, (key, data) in enumerate(steps):
        try:
            if data is None:
                store.drop(key)
            else:
                store.put(key, data)
        except PowerCut:
            return at
        if data is None:
            model.pop(key, None)
        else:
            model[key] = data
    return None


def kept(disk):
    store = Store(disk, platform.crc32)
    return whole_ones(store)


def whole_ones(store):
    """Every record that there is, by its key; what is damaged is none."""
    found = {key: store.get(key) for key in store.keys("")}
    return {key: data for key, data in found.items() if data is not None}


def operations_of(steps):
    disk = CuttingDisk()
    assert play(disk, {}, steps) is None
    return disk.operations


@pytest.mark.parametrize("fault", FAULTS)
def test_a_cut_leaves_the_old_record_or_the_new_one(fault):
    cuts = 0
    for cut_at in range(operations_of(SESSION)):
        model = {}
        disk = CuttingDisk((), cut_at, fault)
        at = play(disk, model, SESSION)
        assert at is not None
        cuts += 1
        key, data = SESSION[at]
        after = {**model, key: data} if data is not None else {k: v for k, v in model.items() if k != key}
        assert kept(disk) in (model, after), (fault, cut_at)
        # The plug goes back in, and comes out again at the very next operation.
        for second in FAULTS:
            again = CuttingDisk(disk.files, 0, second)
            stopped = play(again, {}, SESSION[at:])
            if stopped is not None and stopped == 0:
                assert kept(again) in (model, after), (fault, cut_at, second)
        # It goes back in for good.
        last = CuttingDisk(disk.files)
        model = kept(disk)
        assert play(last, model, SESSION[at:]) is None
        assert kept(last) == model
    assert cuts > len(SESSION)


@pytest.mark.parametrize("fault", FAULTS)
def test_a_card_is_old_or_new_and_never_half(fault):
    old, new = small_card(), small_card()
    new["title"] = "Harbour, evening"
    new["passes"][0]["base_ms"] = 8000
    for before in (None, old):
        disk = MemoryDisk()
        if before:
            keep(Shelf(Store(disk, platform.crc32), platform), PrintingMap.from_dict(before))
        cutting = CuttingDisk(disk.files, 0, fault)
        shelf = Shelf(Store(cutting, platform.crc32), platform)
        with pytest.raises(PowerCut):
            keep(shelf, PrintingMap.from_dict(new))
        found = Shelf(Store(cutting, platform.crc32), platform)
        assert found.card("harbour") in (before, new)
        assert found.names() == (["harbour"] if found.card("harbour") else [])


@pytest.mark.parametrize("fault", FAULTS)
def test_a_paper_record_is_old_or_new_and_never_half(fault):
    new = {**VC_2019, "edition": "batch 12"}
    for before in (None, VC_2019):
        disk = MemoryDisk()
        Shelf(Store(disk, platform.crc32), platform).keep_text("vc-2019", encode(small_card("vc-2019")))
        if before:
            Shelf(Store(disk, platform.crc32), platform, "paper").keep_text("vc-2019", encode(before))
        cutting = CuttingDisk(disk.files, 0, fault)
        with pytest.raises(PowerCut):
            Shelf(Store(cutting, platform.crc32), platform, "paper").keep_text("vc-2019", encode(new))
        found = Shelf(Store(cutting, platform.crc32), platform, "paper")
        assert found.card("vc-2019") in (before, new)
        assert found.names() == (["vc-2019"] if found.card("vc-2019") else [])
        # The card of the same name is another thing.
        assert Shelf(Store(cutting, platform.crc32), platform).card("vc-2019") == small_card("vc-2019")


@pytest.mark.parametrize("fault", FAULTS)
def test_a_ledger_number_is_never_given_twice(fault):
    told = []
    disk = MemoryDisk()
    ledger = Ledger(Store(disk, platform.crc32), platform)
    for _ in range(RECORDS_MAX - 3):
        told.append(ledger.append({"form": 2}))
    files = disk.files
    for cut_at in (0, 1, 2, 3, 0, 1, 2, 5, 0, 1):
        disk = CuttingDisk(files, cut_at, fault)
        ledger = Ledger(Store(disk, platform.crc32), platform)
        with contextlib.suppress(PowerCut):
            while True:
                told.append(ledger.append({"form": 2}))
        files = disk.files
        found = Ledger(Store(disk, platform.crc32), platform)
        numbers = [record["n"] for record in found.read(0, 1000)]
        # A record that was whole when the plug was pulled counts, though nobody was told.
        assert numbers[-1] in (told[-1], told[-1] + 1)
        # One that was torn leaves a hole: its number may have been told, and is not given again.
        assert len(numbers) >= RECORDS_MAX - 14
        assert numbers == sorted(set(numbers))
        told.append(numbers[-1])
    assert told == sorted(told)
    given = [number for number, after in itertools.pairwise(told) if number != after]
    assert len(given) == len(set(given)), "never twice"


class StoreAgainstADict(RuleBasedStateMachine):
    """Puts, drops, cuts, full disks and reboots in any order, against what a dict would hold."""

    keys = st.sampled_from(["a", "b-1", "card-x"])
    # A zero length and repeats are as likely as anything else.
    data = st.one_of(st.sampled_from([b"", b"x", b"y" * 40]), st.binary(max_size=60))

    def __init__(self):
        super().__init__()
        self.disk = CuttingDisk()
        self.model = {}
        self.reboot()

    @rule()
    def reboot(self):
        self.disk = CuttingDisk(self.disk.files)
        self.store = Store(self.disk, platform.crc32)

    @rule(key=keys, data=data)
    def put(self, key, data):
        self.store.put(key, data)
        self.model[key] = data

    @rule(key=keys)
    def drop(self, key):
        assert self.store.drop(key) == (key in self.model)
        self.model.pop(key, None)

    @rule(key=keys, data=data, fault=st.sampled_from(sorted(FAULTS)))
    def put_cut(self, key, data, fault):
        self.disk.cut_at, self.disk.fault = self.disk.operations, fault
        try:
            self.store.put(key, data)
        except PowerCut:
            self.reboot()
            assert self.store.get(key) in (self.model.get(key), data)
        else:
            assert self.model[key] == data  # it was there, and nothing was written
            self.reboot()
        self._take_over(key)

    @rule(key=keys, second=st.booleans(), fault=st.sampled_from(["lost", "done"]))
    def drop_cut(self, key, second, fault):
        self.disk.cut_at, self.disk.fault = self.disk.operations + second, fault
        with pytest.raises(PowerCut):
            self.store.drop(key)
        self.reboot()
        assert self.store.get(key) in (self.model.get(key), None)
        self._take_over(key)

    def _take_over(self, key):
        """Either outcome of a cut is right; from here on it is the one that holds."""
        self.model.pop(key, None)
        found = self.store.get(key)
        if found is not None:
            self.model[key] = found

    @precondition(lambda self: self.model)
    @rule(key=keys, data=st.binary(min_size=200, max_size=250))
    def put_on_a_full_disk(self, key, data):
        self.disk.room = 0
        with pytest.raises(Refusal):
            self.store.put(key, data)
        self.disk.room = 1 << 20

    @invariant()
    def what_is_kept_is_the_model(self):
        assert whole_ones(self.store) == self.model


TestStoreAgainstADict = StoreAgainstADict.TestCase
TestStoreAgainstADict.settings = settings(max_examples=60, stateful_step_count=30, deadline=None)
