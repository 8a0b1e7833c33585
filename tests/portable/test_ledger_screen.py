"""The Ledger screen: the words of a record, and the way back to its map."""

import gc

from host_sim.box.memory_disk import MemoryDisk
from tests.portable.fakes import platform, small_card
from timing_core.box import Box
from timing_core.canonical import encode
from timing_core.light.printing_map import PrintingMap
from timing_core.records.ledger import stage_record
from timing_core.records.store import Store


class CountingDisk(MemoryDisk):
    """Counts the records of the ledger that are read."""

    def __init__(self):
        super().__init__()
        self.reads = 0

    def read(self, name):
        self.reads += name.startswith("ledger-") and name.endswith(".0")
        return super().read(name)


def a_box():
    gc.collect()  # a small heap has room for one box
    box = Box(Store(CountingDisk(), platform.crc32), platform)
    box.handle("power_up", 0)
    return box


def record(kind="print", map=None, stages=None, whole=True):
    base = stage_record("Base, pass 1", "2", 14720, 14720, 1, 0, False)
    found = {"form": 2, "kind": kind, "map": map, "strip": None, "whole": whole, "cut_off": ""}
    found.update({"up_s": 71, "at": None, "dry_down_pm": 0, "stages": stages or [base]})
    return found


def press(box, key, amount=0):
    box.handle(key, 10_000, amount)


def open_ledger(box):
    while box.panel.screen.key != "screens":
        press(box, "back")
    press(box, "dial", 100)
    press(box, "press")
    assert box.panel.screen.key == "ledger"


def words(box):
    return [(row.label, box.panel.value(row)) for row in box.panel.rows()]


def print_again(box):
    press(box, "dial", -100)
    press(box, "dial", 1)
    press(box, "press")


def undo(box):
    while box.panel.screen.key != "screens":
        press(box, "back")
    press(box, "dial", -100)
    press(box, "press")


def everything(box):
    """What may not change by looking, printing again and undoing."""
    work = box.work
    return (
        work.map.text(),
        work.prints,
        work.strip.to_dict(),
        work.strip_gave,
        work.bench.to_dict(),
        box.shelf.names(),
        [box.store.get(key) for key in box.store.keys("ledger-")],
    )


def test_an_empty_ledger_says_so():
    box = a_box()
    open_ledger(box)
    assert words(box) == [("No run has given light yet", "")]


def test_a_record_is_told_stage_by_stage():
    box = a_box()
    stages = [
        stage_record("Base, pass 1", "2", 14720, 9000, 1, 0, False),
        stage_record("Burn sky", "2", 5000, 5000, 2, 0, False),
        stage_record("Burn door", "", 5000, 1200, 4, None, True),
    ]
    given = record("print", small_card(), stages, False)
    given["cut_off"], given["dry_down_pm"] = "Burn door", 80
    box.ledger.append(given)
    open_ledger(box)
    assert box.panel.screen.about(box.panel) == "Harbour, morning"
    assert words(box) == [
        ("Record", "1, print"),
        ("Print this again", ""),
        ("Incomplete", ""),
        ("Cut off in", ""),
        ("  Burn door", ""),
        ("Dry-down", "-0.12  8.0 %"),
        ("Filter", "2"),
        ("Base, pass 1", "9.0 s"),
        ("  incomplete", "of 14.7 s"),
        ("  dodge boats", "-1/3"),
        ("Burn sky", "5.0 s"),
        ("  held", "once"),
        ("Filter", "none"),
        ("Burn door", "1.2 s"),
        ("  or more: cut off", ""),
        ("  held", "3 times"),
    ]


def test_the_ten_newest_are_there_newest_first_and_each_is_read_once():
    box = a_box()
    for number in range(12):
        box.ledger.append(record("strip" if number == 10 else "print"))
    box.store._disk.reads = 0
    open_ledger(box)
    assert words(box)[0] == ("Record", "12, print")
    words(box)
    assert box.store._disk.reads == 1
    press(box, "press")
    press(box, "dial", 1)
    assert (box.state, words(box)[0]) == ("edit", ("Record", "11, strip"))
    press(box, "dial", 100)
    assert words(box)[0] == ("Record", "3, print")
    press(box, "press")
    assert (box.state, words(box)[0]) == ("browse", ("Record", "3, print"))
    press(box, "press")
    press(box, "dial", -100)
    press(box, "back")
    assert words(box)[0] == ("Record", "3, print")
    assert len(box.panel.undo) == 0


def test_a_record_that_waits_is_there_too():
    box = a_box()
    box.ledger.append(record())
    waiting = dict(record("strip"), n=2)
    box.ledger._waiting.append(waiting)
    open_ledger(box)
    assert words(box)[0] == ("Record", "2, strip")
    assert ("Not kept so far", "") in words(box)


def test_nothing_here_gives_light():
    box = a_box()
    for _ in range(2):
        box.ledger.append(record("print", small_card()))
    open_ledger(box)
    for _ in range(len(words(box))):
        press(box, "expose")
        assert (box.state, box.run.is_kept) == ("browse", False)
        press(box, "dial", 1)
    press(box, "dial", -100)
    press(box, "press")
    press(box, "expose")
    assert (box.state, box.run.is_kept) == ("edit", False)


def check_again_and_undone(box, kind):
    n = box.ledger.append(record(kind, small_card()))
    box.work.prints, box.work.strip_gave = 3, [1, 2]
    before = everything(box)
    open_ledger(box)
    print_again(box)
    assert box.work.map.to_dict() == PrintingMap.from_dict(small_card()).to_dict()
    assert (box.panel.screen.key, box.work.prints) == ("print", 0)
    assert box.message == "This is the map of record %d. Undo brings new-print back." % n
    assert everything(box)[4:] == before[4:]
    undo(box)
    assert everything(box) == before
    assert box.message == "Undone: Map of record %d." % n


def test_print_this_again_sets_the_map_and_undo_takes_that_back():
    box = a_box()
    for kind in ("print", "strip"):
        check_again_and_undone(box, kind)


def test_a_filter_that_the_drawer_lacks_is_told_of():
    box = a_box()
    card = small_card()
    card["passes"][0]["filter"] = "cyan"
    box.ledger.append(record("print", card))
    open_ledger(box)
    print_again(box)
    assert box.message == "Undo brings new-print back. The drawer lacks a filter of this map."


def test_dodges_that_were_given_together_are_told_so():
    card = small_card()
    marks = [("face", -40, True), ("hand", -20, True), ("sky", 40, True), ("sky", -10, False)]
    marks += [("sky", -10, True), ("wall", -10, True)]
    card["passes"][0]["marks"] = [
        {"area": area, "stops120": stops120, "with_previous": True}
        if given_with
        else {"area": area, "stops120": stops120}
        for area, stops120, given_with in marks
    ]
    box = a_box()
    box.ledger.append(record("print", card))
    open_ledger(box)
    assert [label for label, _ in words(box)[4:]] == [
        "  dodge face",
        "  and hand",
        "  dodge sky",
        "  dodge sky",
        "  and wall",
    ]


def test_the_same_map_is_no_change():
    box = a_box()
    box.ledger.append(record("print", box.work.map.to_dict()))
    box.work.prints = 3
    open_ledger(box)
    print_again(box)
    assert box.message == "Nothing to load: this is the map of record 1 already."
    assert (box.work.prints, len(box.panel.undo)) == (3, 0)


def check_changes_nothing(box, map, why):
    n = box.ledger.append(record("strip", map))
    before = everything(box)
    open_ledger(box)
    print_again(box)
    line = "Nothing is changed: record %d %s. Turn to another record." % (n, why)
    assert box.message == line, box.message
    assert everything(box) == before
    assert not len(box.panel.undo)


def test_a_record_without_a_good_map_changes_nothing():
    no_passes = small_card()
    no_passes["passes"] = []
    box = a_box()
    for map, why in ((None, "has no map"), (no_passes, "is damaged"), (7, "is damaged")):
        check_changes_nothing(box, map, why)


def test_a_record_of_form_1_has_no_map():
    box = a_box()
    stage = {"stage": "Base, pass 1", "filter": "2", "light_ms": 9000, "given_ms": 9000, "strikes": 1}
    old = {"n": 1, "kind": "print", "card": "mill", "title": "Mill, winter", "whole": True, "cut_off": ""}
    old.update({"lag_ms": 0, "dry_down_pm": 0, "stages": [stage]})
    box.store.put("ledger-000001", encode(old))
    open_ledger(box)
    assert words(box)[2:] == [("Filter", "2"), ("Base, pass 1", "9.0 s")]
    assert box.panel.screen.about(box.panel) == "Mill, winter"
    print_again(box)
    assert box.message == "Nothing is changed: record 1 has no map. Turn to another record."


def check_damaged(box, spoil):
    """`spoil` takes the place of what is in record 1; None tears it."""
    if spoil is None:
        files = box.store._disk.files
        for name in [name for name in files if name.startswith("ledger-000001")]:
            files[name] = files[name][:-1]
    else:
        box.store.put("ledger-000001", spoil)
    before = everything(box)
    open_ledger(box)
    assert words(box)[0] == ("Record", "2, print")
    press(box, "press")
    press(box, "dial", 1)
    press(box, "press")
    shown = [("Record", "1, damaged"), ("Print this again", ""), ("It cannot be read", "")]
    assert words(box) == shown, (spoil, words(box))
    print_again(box)
    assert box.message == "Nothing is changed: record 1 is damaged. Turn to another record."
    assert everything(box) == before


def test_a_damaged_record_is_told_of_and_the_others_are_whole():
    box = a_box()
    for _ in range(2):
        box.ledger.append(record("print", small_card()))
    for spoil in (None, b"[]", b"7", b"{}", b'{"form":2,"n":1}', b"\xff"):
        check_damaged(box, spoil)


def test_what_was_read_is_let_go_of():
    box = a_box()
    let_go: list = []
    box.panel.let_go = let_go.append
    box.ledger.append(record("print", small_card()))
    open_ledger(box)
    assert len(words(box)) > 2
    assert let_go == []
    press(box, "back")
    assert box.panel.screen.key == "screens"
    assert let_go == ["ledger_screen"]


def test_a_screen_that_cannot_be_loaded_changes_nothing():
    box = a_box()
    (ledger,) = [screen for screen in box.panel.screens if screen.key == "ledger"]
    failures: list = [ImportError(), OSError(5), ValueError("incompatible .mpy file"), MemoryError()]

    def fails():
        raise failures.pop()

    made, ledger._make = ledger._make, fails
    press(box, "back")
    press(box, "dial", 100)
    while failures:
        press(box, "press")
        assert box.panel.screen.key == "screens"
        assert box.message.startswith("Ledger is not opened: it cannot be loaded.")
    ledger._make = made
    press(box, "press")
    assert box.panel.screen.key == "ledger"
