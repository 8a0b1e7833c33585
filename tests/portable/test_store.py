"""Plain text, store, shelf and ledger on a disk that works. One that fails: tests/test_store_power_cut.py."""

from host_sim.box.memory_disk import MemoryDisk
from tests.portable.fakes import TightDisk, keep, large_card, platform, small_card
from tests.portable.papers import VC_2019, VC_2020
from timing_core.canonical import digest_of_text, encode
from timing_core.light.printing_map import PrintingMap
from timing_core.records.ledger import RECORDS_MAX, WAITING_MAX, Ledger
from timing_core.records.shelf import CARDS_MAX, PAPERS_MAX, Shelf
from timing_core.records.store import LOST, OLDER, Store, StoreFault
from timing_core.refusal import Refusal


def refused(act, *details):
    """The line of the Refusal that `act` raises."""
    try:
        act(*details)
    except Refusal as refusal:
        return refusal.line
    raise AssertionError("not refused")


def a_map(name):
    return PrintingMap.from_dict(small_card(name))


# --- plain text


def test_plain_text_has_one_form():
    # Escapes as in RFC 8259, section 7; its own example of a surrogate pair is U+1D11E.
    assert encode({"b": [1, -2, True, None], "a": {}, "": ()}) == b'{"":[],"a":{},"b":[1,-2,true,null]}'
    assert encode("\U0001d11e") == b'"\\ud834\\udd1e"'
    assert encode("a\"b\\c\n\r\t\f\b'/\x00\x1f\x7f") == b'"a\\"b\\\\c\\n\\r\\t\\f\\b\'/\\u0000\\u001f\\u007f"'
    assert encode("caf\u00e9 \u20ac 1/3") == b'"caf\\u00e9 \\u20ac 1/3"'
    assert encode([1 << 70, -(1 << 70)]) == b"[1180591620717411303424,-1180591620717411303424]"


def test_plain_text_of_many_keys_is_sorted():
    many = {}
    for n in range(50, 0, -1):
        many["k%02d" % n] = n
    keys = ",".join(['"k%02d":%d' % (n, n) for n in range(1, 51)])
    assert encode(many) == ("{" + keys + "}").encode()


def test_what_is_not_plain_is_a_type_error():
    for value in (1.5, b"x", {1: 2}, [object()], {"a": {2.0: 1}}):
        try:
            encode(value)
        except TypeError:
            continue
        raise AssertionError(value)


def test_digest_is_sha_256_of_the_text():
    # SHA-256 of "abc" is the example of FIPS 180-2, appendix B.1; here without the JSON around it.
    sha = platform.sha256()
    sha.update(b"abc")
    assert sha.digest()[:4] == b"\xba\x78\x16\xbf"
    sha = platform.sha256()
    sha.update(encode(small_card()))
    assert digest_of_text(platform, encode(small_card())) == "".join(["%02x" % byte for byte in sha.digest()])


# --- store


def test_crc_32_is_the_published_one():
    # CRC-32/ISO-HDLC, check value of "123456789" in the CRC RevEng catalogue.
    assert platform.crc32(b"123456789") == 0xCBF43926


def test_a_record_is_kept_and_goes_from_slot_to_slot():
    disk = TightDisk()
    store = Store(disk, platform.crc32)
    assert store.get("work") is None
    for data in (b"one", b"", b"three" * 400, b"\x00" * 40):
        store.put("work", data)
        assert store.get("work") == data
        assert Store(disk, platform.crc32).get("work") == data
    assert sorted(disk.names()) == ["work.0", "work.1"]
    assert disk.writes == 4


def test_the_same_data_again_writes_nothing():
    disk = TightDisk()
    store = Store(disk, platform.crc32)
    store.put("bench", b"x")
    store.put("bench", b"x")
    assert disk.writes == 1


def test_keys_are_those_that_files_are_there_for():
    disk = MemoryDisk()
    store = Store(disk, platform.crc32)
    for key in ("card-b", "card-a", "bench", "card-a-2"):
        store.put(key, key.encode())
    disk.files["card-torn.0"] = b"00000001 0000"
    disk.files["README.txt"] = b"not ours"
    disk.files["card-c.2"] = disk.files["card-b.0"]
    assert store.keys("card-") == ["card-a", "card-a-2", "card-b", "card-torn"]
    assert store.keys() == ["bench", "card-a", "card-a-2", "card-b", "card-torn"]
    assert [key for key in sorted(store.keys()) if store.look(key)[1]] == ["card-torn"]
    assert store.drop("card-a") is True
    assert store.drop("card-a") is False
    assert store.keys("card-") == ["card-a-2", "card-b", "card-torn"]


def test_damage_is_told_apart_and_mended_by_the_next_put():
    disk = TightDisk()
    store = Store(disk, platform.crc32)
    assert store.look("work")[1] == ""
    store.put("work", b"first")
    assert store.look("work")[1] == ""
    store.put("work", b"second")
    disk.files["work.1"] = disk.files["work.1"][:-1] + b"?"
    assert (store.look("work")[1], store.get("work")) == (OLDER, b"first")
    disk.files["work.0"] = b""
    assert (store.look("work")[1], store.get("work")) == (LOST, None)
    store.put("work", b"third")
    store.put("work", b"third")
    assert (store.look("work")[1], store.get("work")) == ("", b"third")
    writes = disk.writes
    store.put("work", b"third")
    assert disk.writes == writes


def test_damage_anywhere_is_seen():
    disk = MemoryDisk()
    store = Store(disk, platform.crc32)
    store.put("work", b"old")
    store.put("work", b"new data")
    whole = disk.files["work.1"]
    for at in range(len(whole)):
        for bit in (1, 0x80):
            disk.files["work.1"] = whole[:at] + bytes([whole[at] ^ bit]) + whole[at + 1 :]
            assert store.get("work") == b"old"
        disk.files["work.1"] = whole[:at]
        assert store.get("work") == b"old"
    for bad in (whole + b"x", whole + bytes(1), bytes(len(whole)), b"\xff" * len(whole), whole[1:]):
        disk.files["work.1"] = bad
        assert store.get("work") == b"old"


def test_a_record_of_another_name_is_no_record():
    disk = MemoryDisk()
    store = Store(disk, platform.crc32)
    store.put("card-a", b"a")
    disk.files["card-b.0"] = disk.files["card-a.0"]
    assert store.get("card-b") is None


def test_a_full_disk_is_refused_and_the_record_stays():
    disk = TightDisk(100)
    store = Store(disk, platform.crc32)
    store.put("work", b"small")
    store.put("work", b"smaller")
    line = refused(store.put, "work", b"x" * 100)
    assert line.startswith("It is not kept: ")
    assert line.endswith("Remove a card and try again.")
    assert store.get("work") == b"smaller"
    store.put("work", b"fits")
    assert store.get("work") == b"fits"


def test_keys_cannot_leave_the_disk():
    store = Store(MemoryDisk(), platform.crc32)
    for key in ("", "../x", "a.0", "A", "a/b", "a b", "\u00e9"):
        for act, details in ((store.get, ()), (store.put, (b"x",)), (store.drop, ())):
            try:
                act(key, *details)
            except ValueError:
                continue
            raise AssertionError(key)


# --- shelf


def test_the_shelf_keeps_cards_by_name():
    disk = MemoryDisk()
    shelf = Shelf(Store(disk, platform.crc32), platform)
    keep(shelf, a_map("mill"))
    keep(shelf, a_map("harbour"))
    again = Shelf(Store(disk, platform.crc32), platform)
    for one in (shelf, again):
        assert one.names() == ["harbour", "mill"]
        assert one.card("mill") == small_card("mill")
        assert one.get("mill").to_dict() == small_card("mill")
        assert one.digest("mill") == digest_of_text(platform, encode(small_card("mill")))
    assert shelf.drop("mill") is True
    assert shelf.drop("mill") is False
    assert Shelf(Store(disk, platform.crc32), platform).names() == ["harbour"]


def test_a_name_that_is_not_there_is_none_whatever_it_is():
    shelf = Shelf(Store(MemoryDisk(), platform.crc32), platform)
    for name in ("mill", "", "../card", "\u00e9", "x" * 3000):
        assert shelf.text(name) is None
        assert shelf.card(name) is None
        assert shelf.get(name) is None
        assert shelf.digest(name) is None
        assert shelf.drop(name) is False


def test_a_card_with_everything_in_it_is_kept_whole():
    shelf = Shelf(Store(MemoryDisk(), platform.crc32), platform)
    keep(shelf, PrintingMap.from_dict(large_card()))
    assert shelf.card("n" * 24) == large_card()


def test_a_full_shelf_refuses_a_new_card_and_takes_a_new_version():
    shelf = Shelf(Store(MemoryDisk(), platform.crc32), platform)
    for n in range(CARDS_MAX):
        keep(shelf, a_map("card-%d" % n))
    assert "the shelf holds 64" in refused(keep, shelf, a_map("one-more"))
    other = a_map("card-7")
    other.title = "Second version"
    keep(shelf, other)
    assert shelf.card("card-7")["title"] == "Second version"
    assert len(shelf.names()) == CARDS_MAX


def test_paper_records_are_kept_as_cards_are_and_apart_from_them():
    disk = MemoryDisk()
    store = Store(disk, platform.crc32)
    shelf, papers = Shelf(store, platform), Shelf(store, platform, "paper")
    let_go = []
    papers.let_go = lambda: let_go.append(len(let_go))
    keep(shelf, a_map("vc-2019"))
    assert papers.get("vc-2019") is None
    papers.keep_text("vc-2019", encode(VC_2019))
    assert papers.get("vc-2019").to_dict() == VC_2019
    assert let_go == [0]
    assert papers.text("vc-2019") == papers.made(VC_2019).text() == encode(VC_2019)
    assert shelf.card("vc-2019") == small_card("vc-2019")
    again = Shelf(store, platform, "paper")
    assert again.names() == ["vc-2019"]
    changes = papers.changes
    assert papers.drop("vc-2019") is True
    assert papers.drop("vc-2019") is False
    assert papers.changes == changes + 1
    assert shelf.names() == ["vc-2019"]


def test_a_full_box_refuses_a_new_paper_record_and_takes_a_new_edition():
    papers = Shelf(Store(MemoryDisk(), platform.crc32), platform, "paper")
    for n in range(PAPERS_MAX):
        papers.keep_text("paper-%d" % n, encode(VC_2019))
    assert PAPERS_MAX == 16
    assert refused(papers.keep_text, "other", encode(VC_2019)) == (
        "The paper record is not kept: the box holds 16. Remove one first."
    )
    papers.keep_text("paper-7", encode(VC_2020))
    assert papers.card("paper-7") == VC_2020
    assert len(papers.names()) == PAPERS_MAX


def test_a_paper_record_that_has_gone_bad_is_told_and_hides_none():
    store = Store(MemoryDisk(), platform.crc32)
    papers = Shelf(store, platform, "paper")
    for name, text in (("a", b"{}"), ("b", encode(VC_2019)), ("c", b'{"edition":"","name":"c"}')):
        papers.keep_text(name, text)
    assert [papers.get(name) is None for name in ("a", "b", "c")] == [True, False, True]
    assert papers.names() == ["b"]
    assert papers.damage() == [
        "Paper record a is damaged. Push it again.",
        "Paper record c is damaged. Push it again.",
    ]


def test_a_full_disk_leaves_the_shelf_as_it_was():
    disk = TightDisk(500)
    shelf = Shelf(Store(disk, platform.crc32), platform)
    keep(shelf, a_map("harbour"))
    assert "memory is full" in refused(keep, shelf, a_map("mill"))
    assert shelf.names() == ["harbour"]
    assert Shelf(Store(disk, platform.crc32), platform).names() == ["harbour"]


def test_free_names():
    shelf = Shelf(Store(MemoryDisk(), platform.crc32), platform)
    assert shelf.free_name("harbour") == "harbour"
    keep(shelf, a_map("harbour"))
    assert shelf.free_name("harbour") == "harbour-2"
    keep(shelf, a_map("harbour-2"))
    assert shelf.free_name("harbour") == "harbour-3"
    keep(shelf, a_map("n" * 24))
    assert shelf.free_name("n" * 24) == "n" * 22 + "-2"


# --- ledger


def test_numbers_go_on_and_the_newest_stay():
    disk = MemoryDisk()
    ledger = Ledger(Store(disk, platform.crc32), platform)
    assert ledger.last() == 0
    assert ledger.read(0) == []
    assert ledger.read() == []
    for n in range(1, RECORDS_MAX + 11):
        assert ledger.append({"form": 2, "card": "harbour", "n": 999}) == n
    again = Ledger(Store(disk, platform.crc32), platform)
    for one in (ledger, again):
        assert one.last() == RECORDS_MAX + 10
        assert one.read(one.last() - 1)[0] == {
            "form": 2,
            "card": "harbour",
            "n": RECORDS_MAX + 10,
            "box": "",
            "kept": True,
        }
        assert [record["n"] for record in one.read(0, 3)] == [11, 12, 13]
        assert [record["n"] for record in one.read(70)] == [71, 72, 73, 74]
        assert len(one.read(0, 1000)) == RECORDS_MAX
    assert again.append({}) == RECORDS_MAX + 11
    assert len(disk.names()) == RECORDS_MAX


def test_holes_are_passed_over():
    disk = MemoryDisk()
    ledger = Ledger(Store(disk, platform.crc32), platform)
    for _ in range(5):
        ledger.append({"form": 2})
    disk.files["ledger-000002.0"] = b"spoiled"
    del disk.files["ledger-000003.0"]
    for one in (ledger, Ledger(Store(disk, platform.crc32), platform)):
        assert [record["n"] for record in one.read()] == [1, 4, 5]
    assert ledger.append({"form": 2}) == 6


def test_a_damaged_record_keeps_its_number_and_hides_no_other():
    disk = MemoryDisk()
    ledger = Ledger(Store(disk, platform.crc32), platform)
    for _ in range(3):
        ledger.append({"form": 2})
    data = disk.files["ledger-000003.0"]
    disk.files["ledger-000003.0"] = data[:-1] + bytes([data[-1] ^ 1])
    again = Ledger(Store(disk, platform.crc32), platform)
    again.check()
    assert again.damaged == [3]
    assert [record["n"] for record in again.read()] == [1, 2]
    assert again.append({"form": 2}) == 4
    assert not again.has(3)
    assert again.has(4)


def test_a_record_that_the_disk_refuses_waits_and_is_written_when_there_is_room():
    disk = TightDisk(100)
    ledger = Ledger(Store(disk, platform.crc32), platform)
    assert ledger.append({"form": 2}) == 1
    refused(ledger.append, {"form": 2, "much": "x" * 100})
    assert (ledger.last(), ledger.waiting) == (2, 1)
    assert [record["n"] for record in ledger.read()] == [1, 2]
    refused(ledger.append, {"form": 2, "much": "y" * 100})
    disk.room = 1000
    ledger.write_waiting()
    assert ledger.waiting == 0
    assert ledger.append({"form": 2}) == 4
    again = Ledger(Store(disk, platform.crc32), platform)
    assert [record.get("much", "")[:1] for record in again.read()] == ["", "x", "y", ""]


def test_no_more_wait_than_memory_has_room_for():
    ledger = Ledger(Store(TightDisk(0), platform.crc32), platform)
    for _ in range(WAITING_MAX + 2):
        refused(ledger.append, {"form": 2})
    assert [record["n"] for record in ledger.read()] == [3, 4, 5, 6]


def test_a_record_of_the_first_form_has_todays_keys():
    stage = {"stage": "Base, pass 1", "filter": "2", "light_ms": 9, "given_ms": 8, "strikes": 1}
    old = {"n": 7, "kind": "print", "card": "harbour", "title": "Harbour", "whole": False, "cut_off": ""}
    old = dict(old, lag_ms=120, dry_down_pm=80, stages=[stage])
    store = Store(MemoryDisk(), platform.crc32)
    store.put("ledger-000007", encode(old))
    (record,) = Ledger(store, platform).read()
    assert (record["form"], record["map"], record["box"], record["at"]) == (1, None, "", None)
    assert (record["card"], record["title"], record["dry_down_pm"]) == ("harbour", "Harbour", 80)
    assert record["stages"] == [dict(stage, lag_ms=120, at_least=False)]


def test_a_store_fault_is_a_refusal():
    assert issubclass(StoreFault, Refusal)
