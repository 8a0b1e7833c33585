"""The wire: framing, every message, and everything that is none. Laws 5 and 6 of the design."""

from tests.portable.fakes import FakeBox, documented_box, large_card, packed, platform, small_card
from tests.portable.papers import VC_2019, VC_2020
from timing_core.canonical import digest_of_text, encode
from timing_core.wire.framing import (
    BAD_PARAMS,
    BUSY,
    DAMAGED,
    LINE_MAX,
    NO_METHOD,
    NOT_A_REQUEST,
    NOT_ALL_SENT,
    PIECE,
    PIECES_MAX,
    REFUSED,
    STORAGE,
    TOO_LONG,
    LineReader,
    frame,
    pieces_of,
    unframe,
)
from timing_core.wire.methods import METHODS, Link

WRITES = (
    "card.part",
    "card.commit",
    "card.remove",
    "bench.set",
    "fitted.set",
    "handover",
    "accept.count",
    "accept.show",
)


def request(method, id=1, **params):
    return encode({"jsonrpc": "2.0", "id": id, "method": method, "params": params})


def framed(payload):
    """As a LineReader gives it: without the newline."""
    return frame(payload, platform.crc32)[:-1]


def reply_to(link, line):
    """The reply as plain data, after checking its form; None for none."""
    reply = link.take(line)
    if reply is None:
        return None
    assert len(reply) <= LINE_MAX
    assert reply[-1:] == b"\n"
    payload = unframe(reply[:-1], platform.crc32)
    message = platform.json_loads(str(payload, "utf-8"))
    assert encode(message) == payload
    assert message["jsonrpc"] == "2.0"
    assert ("result" in message) != ("error" in message)
    if "error" in message:
        line = message["error"]["message"]
        assert line.count(": ") >= 1, line
        assert line.count(". ") >= 1, line
        assert line.endswith("."), line
        assert "\n" not in line
        assert message["error"]["code"] != -32603, line
    return message


def ask(link, method, **params):
    message = reply_to(link, framed(request(method, **params)))
    assert message["id"] == 1
    return message.get("result", message.get("error"))


def stage(link, card, skip=()):
    """Send the parts of `card` and give its digest."""
    name = digest_of_text(platform, encode(card))
    parts = pieces_of(packed(encode(card)))
    for part in range(len(parts)):
        if part not in skip:
            ask(link, "card.part", digest=name, of=len(parts), part=part, packed=parts[part])
    return name


def lines_of(reader, chunks):
    found = []
    for chunk in chunks:
        reader.feed(chunk)
        line = reader.next_line()
        while line is not None:
            found.append(line)
            line = reader.next_line()
    return found


# --- framing


def test_a_line_is_payload_space_and_crc():
    # The check value of CRC-32/ISO-HDLC, as in the CRC RevEng catalogue.
    assert frame(b"123456789", platform.crc32) == b"123456789 cbf43926\n"
    assert unframe(b"123456789 cbf43926", platform.crc32) == b"123456789"
    assert frame(b"", platform.crc32) == b" 00000000\n"
    for bad in (
        b"123456789 cbf43927",
        b"123456789 CBF43926",
        b"123456788 cbf43926",
        b"123456789cbf43926",
        b"",
    ):
        assert unframe(bad, platform.crc32) is None
    assert unframe(b"123456789  cbf43926", platform.crc32) is None
    assert unframe(b"123456789 cbf43926\r", platform.crc32) is None


def test_lines_come_whole_however_they_arrive():
    stream = b"one\n\ntwo\n" + b"x" * 2047 + b"\n" + b"y" * 2048 + b"\nthree\nhalf"
    wanted = [b"one", b"", b"two", b"x" * 2047, TOO_LONG, b"three"]
    for size in (1, 2, 3, 7, 64, 2047, 2048, 2049, len(stream)):
        chunks = (stream[at : at + size] for at in range(0, len(stream), size))
        reader = LineReader()
        assert lines_of(reader, chunks) == wanted
        assert lines_of(reader, [b" a line\n"]) == [b"half a line"]


def test_a_line_of_100_kb_is_one_bad_line():
    reader = LineReader()
    for _ in range(100):
        assert lines_of(reader, [b"z" * 1000]) == []
    assert lines_of(reader, [b"z\nnext\n"]) == [TOO_LONG, b"next"]


def test_nothing_is_lost_by_feeding_before_taking():
    reader = LineReader()
    reader.feed(b"a\nb\n")
    assert reader.next_line() == b"a"
    reader.feed(b"c\n")
    assert [reader.next_line(), reader.next_line(), reader.next_line()] == [b"b", b"c", None]


def test_a_text_in_pieces_is_the_text():
    text = "".join([chr(33 + n % 90) for n in range(2 * PIECE + 1)])
    assert [len(piece) for piece in pieces_of(text)] == [PIECE, PIECE, 1]
    assert "".join(pieces_of(text)) == text


# --- messages


def test_hello_tells_the_limits():
    about = ask(Link(FakeBox(), platform), "hello")
    assert about["box"] == "lampblack"
    assert about["wire"] == 1
    assert about["methods"] == sorted(METHODS)
    assert (about["line_max"], about["cards_max"], about["piece"]) == (2048, 64, PIECE)


def test_no_method_lights_the_lamp_or_presses_a_key():
    assert sorted(method for method in METHODS if METHODS[method][0]) == sorted(WRITES)
    # The box of these tests has nothing that could give light, press or change the map: a message that
    # tried would be a fault of the box, which `reply_to` lets none be.
    assert not [name for name in dir(FakeBox) if name in ("handle", "work", "light", "out")]


def test_every_shelf_is_listed_page_by_page():
    box = FakeBox()
    link = Link(box, platform)
    assert ask(link, "card.list") == {"cards": [], "more": False}
    for n in range(40):
        card = small_card("card-%02d" % n)
        card["title"] = "\u20ac" * (n % 3 * 20)
        ask(link, "card.commit", digest=stage(link, card))
    found, after, pages = [], "", 0
    while True:
        page = ask(link, "card.list", after=after)
        found += page["cards"]
        pages += 1
        if not page["more"]:
            break
        after = found[-1]["name"]
    assert [card["name"] for card in found] == box.shelf.names()
    assert found[7] == {
        "name": "card-07",
        "title": "\u20ac" * 20,
        "digest": box.shelf.digest("card-07"),
    }
    assert 3 < pages < 10
    assert ask(link, "card.list", after="card-39") == {"cards": [], "more": False}


def test_a_card_is_sent_verified_and_committed():
    box = FakeBox()
    link = Link(box, platform)
    card = large_card("e", 2)
    parts = pieces_of(packed(encode(card)))
    of, name = len(parts), digest_of_text(platform, encode(card))
    assert of == 5
    missing = list(range(of))
    for part in (2, 0, 0, 4, 2, 3, 1):
        if part in missing:
            missing.remove(part)
        for text in (parts[part], "a replay of the part, spoiled"):
            assert ask(link, "card.part", digest=name, of=of, part=part, packed=text) == {"missing": missing}
    assert box.shelf.names() == []
    assert box.disk.writes == 0
    for _ in range(2):
        assert ask(link, "card.verify", digest=name) == {"digest": name}
        # A replayed part changes nothing, before the check or after it.
        assert ask(link, "card.part", digest=name, of=of, part=1, packed="else") == {"missing": []}
    for _ in range(3):
        assert ask(link, "card.commit", digest=name) == {"name": card["name"], "digest": name}
    assert box.disk.writes == 1
    assert box.shelf.card(card["name"]) == card


def test_a_paper_record_is_sent_kept_and_fetched_as_a_card_is():
    box = FakeBox()
    link = Link(box, platform)
    # A card of that name is another thing.
    ask(link, "card.commit", digest=stage(link, small_card("vc-2019")))
    for plain in (VC_2019, VC_2020):
        digest = stage(link, plain)
        assert ask(link, "card.verify", digest=digest) == {"digest": digest}
        for _ in range(2):
            assert ask(link, "card.commit", digest=digest) == {"name": plain["name"], "digest": digest}
    assert box.disk.writes == 3
    assert box.papers.card("vc-2019") == VC_2019
    assert box.shelf.names() == ["vc-2019"]
    listed = ask(link, "card.list", kind="paper")["cards"]
    assert [own["name"] for own in listed] == ["vc-2019", "vc-2020"]
    assert listed[0]["title"] == VC_2019["edition"]
    assert ask(link, "card.list", kind="card") == ask(link, "card.list")
    got = ask(link, "card.fetch", name="vc-2020", part=0, kind="paper")
    assert (got["text"].encode(), got["of"]) == (encode(VC_2020), 1)
    assert got["digest"] == listed[1]["digest"] == digest
    for removed in (True, False):
        assert ask(link, "card.remove", name="vc-2019", kind="paper") == {"removed": removed}
    assert (box.papers.names(), box.shelf.names()) == (["vc-2020"], ["vc-2019"])


def test_a_wrong_paper_record_is_refused_in_one_line():
    box = FakeBox()
    link = Link(box, platform)
    wrong = dict(VC_2019)
    wrong["pair"] = ["00", "6"]
    error = ask(link, "card.commit", digest=stage(link, wrong))
    assert error["message"] == (
        "The paper record is not taken: pair: both are filters of the record. Mend it and send it again."
    )
    assert ask(link, "card.fetch", name="vc-2019", part=0, kind="paper")["message"] == (
        "No paper record vc-2019: the shelf has not got it. card.list gives the names."
    )
    for method, params in (
        ("card.list", {}),
        ("card.fetch", {"name": "vc-2019", "part": 0}),
        ("card.remove", {"name": "vc-2019"}),
    ):
        error = ask(link, method, kind="film", **params)
        assert error["code"] == BAD_PARAMS
        assert "kind is not card, paper or sequence" in error["message"]
    assert box.disk.writes == 0


def test_no_paper_record_is_changed_while_light_is_on():
    box = FakeBox()
    link = Link(box, platform)
    digest = stage(link, VC_2019)
    box.lit = True
    assert ask(link, "card.commit", digest=digest)["code"] == BUSY
    assert ask(link, "card.remove", name="vc-2019", kind="paper")["code"] == BUSY
    box.lit = False
    assert ask(link, "card.commit", digest=digest)["name"] == "vc-2019"


def test_a_commit_is_answered_again_whatever_was_sent_since():
    box = FakeBox()
    link = Link(box, platform)
    name = stage(link, small_card())
    ask(link, "card.commit", digest=name)
    stage(link, large_card("e", 1), skip=(1,))
    assert ask(link, "card.commit", digest=name) == {"name": "harbour", "digest": name}
    # A part of the card that is kept may arrive late, too.
    ask(link, "card.part", digest=name, of=2, part=0, packed="late")
    assert ask(link, "card.commit", digest=name) == {"name": "harbour", "digest": name}
    assert ask(Link(box, platform), "card.commit", digest=name) == {"name": "harbour", "digest": name}
    assert box.disk.writes == 1


def test_the_check_is_not_to_be_got_round():
    box = FakeBox()
    link = Link(box, platform)
    name = stage(link, small_card())
    ask(link, "card.verify", digest=name)
    stage(link, large_card("e", 1), skip=(0,))
    assert ask(link, "card.commit", digest=name)["code"] == NOT_ALL_SENT
    assert box.shelf.names() == []


def test_parts_that_make_no_card_are_thrown_away():
    box = FakeBox()
    link = Link(box, platform)
    good = encode(small_card()).decode()
    name = digest_of_text(platform, encode(small_card()))
    spaced = good.replace('":', '": ')
    wrong = encode(small_card("mill")).decode()
    for text, of_text in (
        ("", ""),
        ("[" * 500, ""),
        ("not json", ""),
        ("[]", ""),
        (wrong, ""),
        (spaced, spaced),
        (good + "{}", ""),
        (good[:-1], ""),
        (good.replace("16000", "16001"), ""),
        (good.replace("16000", "16000.5"), ""),
        (good.replace("pearl", "\u00e9"), ""),
        (good.replace("-40", "-4000"), good.replace("-40", "-4000")),
    ):
        said = name
        if of_text:
            sha = platform.sha256()
            sha.update(of_text.encode())
            said = "".join(["%02x" % byte for byte in sha.digest()])
        ask(link, "card.part", digest=said, of=1, part=0, packed=packed(text.encode()))
        assert ask(link, "card.verify", digest=said)["code"] == REFUSED, text
        for method in ("card.commit", "card.verify"):
            assert ask(link, method, digest=said)["code"] == NOT_ALL_SENT, text
    assert box.disk.writes == 0
    assert ask(link, "card.commit", digest=stage(link, small_card()))["name"] == "harbour"


# Deflated by zlib: 600,000 spaces; and a good card, but for 1,100 spaces that its last "arbour" reaches over.
BOMB = "7cExAQAAAMKgKuuf0hoeQAE" + "A" * 773 + "8Gg="
FAR = (
    "7ZSxqsJAEEV/Jdx6hFUeItvaWNuKhIkZ3wtms8vsykPC/rsbBdHeMqeauXOZ8oxo9Va3/n+ATXoVeu11cLAbQzjzKUXYEYGD"
    "KCz22yoIa49MGNhJif5YG39VUDUzMzPzBYpwYpSinsOIhqPUrszLtTGTlLo+PWS0AsGxXp41VuESNp6Lsggx+RCXKwO7+DGZ"
    "Xvd4ueHth/mobkw+5iMhddLCnrmPMi2pn0S3e4qOKud16IZf5Ds="
)


def test_what_does_not_unpack_is_thrown_away():
    box = FakeBox()
    link = Link(box, platform)
    whole = packed(encode(small_card()))
    name = digest_of_text(platform, encode(small_card()))
    for text in ("*", "A", whole[:-8], "////" * 200, packed(b"")[:4], BOMB, FAR):
        ask(link, "card.part", digest=name, of=1, part=0, packed=text)
        assert ask(link, "card.commit", digest=name) == {
            "code": REFUSED,
            "message": "The card is not taken: its parts make no JSON. Send its parts again.",
        }, text
    assert box.disk.writes == 0


def test_the_canonical_text_is_kept_however_it_was_written():
    box = FakeBox()
    link = Link(box, platform)
    name = digest_of_text(platform, encode(small_card()))
    spaced = encode(small_card()).replace(b'":', b'": ')
    ask(link, "card.part", digest=name, of=1, part=0, packed=packed(spaced))
    assert ask(link, "card.commit", digest=name) == {"name": "harbour", "digest": name}
    assert box.shelf.text("harbour") == encode(small_card())


def test_missing_parts_are_asked_for():
    link = Link(FakeBox(), platform)
    name = stage(link, large_card("e", 2), skip=(3,))
    assert ask(link, "card.commit", digest=name)["code"] == NOT_ALL_SENT
    assert "parts of it are missing" in ask(link, "card.commit", digest=name)["message"]
    assert "nothing with this digest" in ask(link, "card.verify", digest="0" * 64)["message"]
    nothing = ask(Link(FakeBox(), platform), "card.verify", digest="")
    assert nothing["message"] == "The card is not taken: its parts make no JSON. Send its parts again."


def test_a_fetched_card_is_the_card_that_was_sent():
    link = Link(FakeBox(), platform)
    card = large_card("e", 2)
    name = stage(link, card)
    ask(link, "card.commit", digest=name)
    text, part, of = "", 0, 1
    while part < of:
        reply = ask(link, "card.fetch", name=card["name"], part=part)
        assert reply["digest"] == name
        assert reply["part"] == part
        text, part, of = text + reply["text"], part + 1, reply["of"]
    assert text == encode(card).decode()
    assert ask(link, "card.fetch", name=card["name"], part=of)["code"] == BAD_PARAMS
    assert ask(link, "card.fetch", name="../bench", part=0)["code"] == REFUSED


def test_a_full_shelf_or_disk_keeps_what_was_sent():
    box = FakeBox()
    link = Link(box, platform)
    box.disk.room = 100
    name = stage(link, small_card())
    assert ask(link, "card.commit", digest=name)["code"] == STORAGE
    assert box.shelf.names() == []
    box.disk.room = 1000
    assert ask(link, "card.commit", digest=name) == {"name": "harbour", "digest": name}


def test_the_bench_is_set_as_a_whole_or_not_at_all():
    box = FakeBox()
    link = Link(box, platform)
    before = box.bench.to_dict()
    assert ask(link, "bench.get") == {"values": before}
    for values in ({"lag_ms": 150, "volume": 9}, {"lag_ms": 150, "nothing": 1}, {"lag_ms": True}):
        assert ask(link, "bench.set", values=values)["code"] == REFUSED
        assert box.bench.to_dict() == before
    after = dict(before)
    after["lag_ms"] = 150
    for _ in range(2):
        assert ask(link, "bench.set", values={"lag_ms": 150}) == {"values": after}


def test_the_fullest_bench_fits_its_line():
    link = Link(FakeBox(), platform)
    sign = "\u20ac"
    filters = [chr(0x4E00 + n) * 8 for n in range(12)]
    areas = [chr(0x5E00 + n) * 5 for n in range(18)] + [sign * 16, sign * 4]
    full = {
        "lamp": sign * 24,
        "filters": filters,
        "new_filter": sign * 8,
        "new_base_ms": 999900,
        "areas": areas,
    }
    ask(link, "bench.set", values=full)
    values = ask(link, "bench.get")["values"]
    assert [values[key] for key in full] == [full[key] for key in full]


def test_the_ledger_is_read_to_its_end():
    box = FakeBox()
    link = Link(box, platform)
    assert ask(link, "ledger.read") == {"records": [], "more": False, "last": 0}
    for n in range(12):
        box.ledger.append({"form": 2, "stages": [{"light_ms": 1000 + n, "note": '"\\'}] * (n * 6)})
    found, after, pieces = [], 0, 0
    while True:
        page = ask(link, "ledger.read", after=after)
        assert page["last"] == 12
        for record in page["records"]:
            after = record["n"]
            if "stages" not in record:
                text = ""
                for part in range(record["of"]):
                    piece = ask(link, "ledger.fetch", n=after, part=part)
                    assert (piece["n"], piece["of"], piece["part"]) == (after, record["of"], part)
                    text += piece["text"]
                    pieces += 1
                record = platform.json_loads(text)
            found.append(record)
        if not page["more"]:
            break
    assert found == box.ledger.read(0, 100)
    assert len(found) == 12
    assert pieces > 4
    assert ask(link, "ledger.fetch", n=12, part=99)["code"] == BAD_PARAMS
    for n in (0, 13):
        assert ask(link, "ledger.fetch", n=n, part=0)["code"] == REFUSED


def test_the_crash_log_is_read_to_its_end():
    box = FakeBox()
    link = Link(box, platform)
    assert ask(link, "crash.read") == {"lines": [], "more": False}
    # Whatever is in a line: signs that take six bytes each, and lines longer than the wire's.
    log = ["Traceback"] + ["\x01" * 5000, "é" * 280, ""] * 9 + ["ValueError: the last"]
    box.crash_lines = lambda: log
    found = []
    while True:
        page = ask(link, "crash.read", after=len(found))
        assert page["lines"]
        found += page["lines"]
        if not page["more"]:
            break
    assert found == [line[:280] for line in log]
    assert ask(link, "crash.read", after=len(log)) == {"lines": [], "more": False}
    assert ask(link, "crash.read", after=-1)["code"] == BAD_PARAMS
    box.lit = True
    assert ask(link, "crash.read", after=28) == {"lines": ["ValueError: the last"], "more": False}


def test_handover_is_asked_of_the_box():
    box = FakeBox()
    assert ask(Link(box, platform), "handover") == {"ok": True}
    assert box.handed_over == 1


# --- while the light is on


def test_nothing_is_written_while_the_light_is_on():
    box = documented_box()
    link = Link(box, platform)
    name = stage(link, small_card())
    ask(link, "card.verify", digest=name)
    box.lit = True
    before = box.kept()
    for method, params in (
        ("card.part", {"digest": name, "of": 1, "part": 0, "packed": ""}),
        ("card.commit", {"digest": name}),
        ("card.remove", {"name": "mill"}),
        ("bench.set", {"values": {"volume": 0}}),
        ("handover", {}),
    ):
        error = ask(link, method, **params)
        assert error["code"] == BUSY
        assert error["data"] == {"retry": True}
        assert error["message"] == "Nothing is changed: light is on, or about to be. Try again when dark."
    for method, params in (
        ("hello", {}),
        ("state", {}),
        ("card.list", {}),
        ("card.verify", {"digest": name}),
        ("card.fetch", {"name": "mill", "part": 0}),
        ("bench.get", {}),
        ("ledger.read", {}),
        ("ledger.fetch", {"n": 1, "part": 0}),
    ):
        assert "code" not in ask(link, method, **params)
    assert box.kept() == before
    box.lit = False
    assert ask(link, "card.commit", digest=name)["name"] == "harbour"


# --- what is no message


def test_ids_come_back_as_they_were():
    link = Link(FakeBox(), platform)
    for id in (0, 1, -5, 1 << 30, 1 << 60, int("9" * 40), "", "a-1", "x" * 38, "\u20ac", '"'):
        assert reply_to(link, framed(request("state", id=id)))["id"] == id
    for id in (None, True, int("9" * 41), "x" * 39, "\u20ac" * 7, [1], {}):
        reply = reply_to(link, framed(request("state", id=id)))
        assert reply["id"] is None
        assert reply["error"]["code"] == NOT_A_REQUEST


def test_lines_that_are_no_request_have_their_codes():
    box = documented_box()
    link = Link(box, platform)
    before = box.kept()
    for payload, code in (
        (b"", DAMAGED),
        (b"hello", DAMAGED),
        (b'{"jsonrpc":"2.0"', DAMAGED),
        (b"\xff\xfe", DAMAGED),
        ('{"id":1,"jsonrpc":"2.0","method":"st\u00e4te"}'.encode(), DAMAGED),
        (b"[" * 2000, DAMAGED),
        (b'{"a":' * 400, DAMAGED),
        (b"null", NOT_A_REQUEST),
        (b"1", NOT_A_REQUEST),
        (b'"state"', NOT_A_REQUEST),
        (b"[]", NOT_A_REQUEST),
        (b"[" + request("state") + b"]", NOT_A_REQUEST),
        (b"[" * 1000 + b"]" * 1000, None),
        (b"{}", NOT_A_REQUEST),
        (b'{"id":1}', NOT_A_REQUEST),
        (b'{"id":1,"method":"state"}', NOT_A_REQUEST),
        (b'{"id":1,"jsonrpc":2.0,"method":"state"}', NOT_A_REQUEST),
        (b'{"id":1,"jsonrpc":"1.0","method":"state"}', NOT_A_REQUEST),
        (b'{"id":1.5,"jsonrpc":"2.0","method":"state"}', NOT_A_REQUEST),
        (b'{"id":1,"jsonrpc":"2.0","method":7}', NOT_A_REQUEST),
        (b'{"id":1,"jsonrpc":"2.0","method":"state","extra":1}', NOT_A_REQUEST),
    ):
        reply = reply_to(link, framed(payload))
        assert reply["id"] is None
        assert code is None or reply["error"]["code"] == code, payload
    for line in (b"x", b"hello world", framed(request("state"))[:-1], TOO_LONG, b"\x00" * 2000):
        reply = reply_to(link, line)
        assert (reply["id"], reply["error"]["code"]) == (None, DAMAGED)
    assert box.kept() == before


def test_wrong_params_are_named():
    box = documented_box()
    link = Link(box, platform)
    before = box.kept()
    assert "params" not in platform.json_loads('{"id":1,"jsonrpc":"2.0","method":"state"}')
    assert "result" in reply_to(link, framed(b'{"id":1,"jsonrpc":"2.0","method":"state"}'))
    for params in (b"[]", b"null", b"1", b'"x"', b"true"):
        payload = b'{"id":1,"jsonrpc":"2.0","method":"state","params":' + params + b"}"
        assert reply_to(link, framed(payload))["error"]["code"] == BAD_PARAMS
    good = {"digest": "d", "of": 2, "part": 1, "packed": "t"}
    for key, value in (
        ("digest", 5),
        ("digest", None),
        ("of", "2"),
        ("of", True),
        ("of", 0),
        ("of", PIECES_MAX + 1),
        ("part", True),
        ("part", -1),
        ("part", 2),
        ("part", 1 << 30),
        ("packed", []),
        ("packed", "x" * (PIECE + 1)),
        ("extra", 1),
    ):
        params = dict(good)
        params[key] = value
        error = ask(link, "card.part", **params)
        assert error["code"] == BAD_PARAMS, (key, value)
        assert key in error["message"] or "Part is not taken" in error["message"]
    assert ask(link, "card.remove")["code"] == BAD_PARAMS
    assert ask(link, "bench.set", values=[])["code"] == BAD_PARAMS
    # JSON-RPC 2.0 Specification, section 5.1.
    assert (DAMAGED, NOT_A_REQUEST, NO_METHOD, BAD_PARAMS) == (-32700, -32600, -32601, -32602)
    for method in ("", "lamp.on", "_clear", "take", "card_list", "x" * 1900):
        error = ask(link, method)
        assert error["code"] == NO_METHOD
        assert error["message"].endswith("hello lists them.")
    assert box.kept() == before


def test_long_and_dirty_names_in_a_refusal_stay_one_short_line():
    link = Link(FakeBox(), platform)
    for name in ("x" * 1900, "\u20ac" * 300, "\n\r\x00\x7f" * 50, '\\"' * 400):
        error = ask(link, "card.fetch", name=name, part=0)
        assert len(error["message"]) <= 403
        assert error["message"].endswith("card.list gives the names.")
        assert ask(link, "bench.set", values={name: 1})["code"] == REFUSED


def test_notifications_and_replies_do_nothing_and_get_no_reply():
    box = documented_box()
    link = Link(box, platform)
    before = box.kept()
    for method in METHODS:
        line = framed(encode({"jsonrpc": "2.0", "method": method, "params": {"name": "mill"}}))
        assert link.take(line) is None
    for line in (b"", link.take(framed(request("hello")))[:-1], link.take(b"noise")[:-1]):
        assert link.take(line) is None
    assert box.kept() == before


def test_damage_anywhere_in_a_line_changes_nothing():
    box = documented_box()
    link = Link(box, platform)
    before = box.kept()
    line = framed(request("card.remove", name="mill"))
    for at in range(len(line)):
        for bit in (1, 8, 0x40):
            assert "error" in reply_to(link, line[:at] + bytes([line[at] ^ bit]) + line[at + 1 :])
        assert at == 0 or "error" in reply_to(link, line[:at])
        assert at == 0 or "error" in reply_to(link, line[at:])
        assert "error" in reply_to(link, line[:at] + b"x" + line[at:])
    assert box.kept() == before
    assert reply_to(link, line)["result"] == {"removed": True}


def test_a_flood_of_noise_between_messages_changes_no_reply():
    """The same requests, alone and among random bytes (a fixed sequence, so that a failure returns)."""
    requests = [
        request("card.list", id=1),
        request("bench.set", id=2, values={"volume": 1}),
        request("card.remove", id=3, name="mill"),
        request("card.remove", id=4, name="mill"),
        request("bench.get", id=5),
    ]
    alone = []
    box = documented_box()
    link = Link(box, platform)
    for payload in requests:
        alone.append(link.take(framed(payload)))
    noisy_box = documented_box()
    link = Link(noisy_box, platform)
    reader = LineReader()
    seed, replies = 1, []
    for payload in requests:
        chunks = []
        for _ in range(40):
            noise = bytearray()
            for _ in range(50):
                seed = (seed * 1103515245 + 12345) & 0x3FFFFFFF
                noise.append(seed >> 16 & 0xFF)
            chunks.append(bytes(noise))
        for line in lines_of(reader, chunks + [b"\n", frame(payload, platform.crc32)]):
            reply = link.take(line)
            if reply is not None and b'"id":null' not in reply:
                replies.append(reply)
    assert replies == alone
    assert noisy_box.kept() == box.kept()
