"""Text from outside is printed without anything that a terminal or a spreadsheet acts on."""

import csv
import io
import json
import tomllib
import unicodedata

import pytest

from lampblack.cards import card_file as cards
from lampblack.text import tables
from lampblack.text.printable import csv_cell, escaped, json_text, printable
from tests.portable.fakes import small_card
from tests.test_box_client import FakePort
from tests.test_finding import PICO, box, pc  # noqa: F401

NEVER = [
    chr(code)
    for code in [
        *range(0x20),
        *range(0x7F, 0xA0),
        0x061C, 0x200E, 0x200F, 0x2028, 0x2029,
        *range(0x202A, 0x202F),
        *range(0x2066, 0x206A),
        *range(0xD800, 0xE000, 0x100),
        0xDFFF,
    ]
]  # fmt: skip
HOSTILE = "a\x1b]0;gone\x07b\x9b2Jc\u202ed\u2066e\u2028f\x7fg\x85h\ri\nj"


def never_printed(text: str) -> list[str]:
    return [sign for sign in text.replace("\n", "") if sign in NEVER]


@pytest.mark.parametrize("sign", NEVER)
def test_what_is_never_printed_is_a_space(sign):
    assert printable(f"a{sign}b") == "a b"
    assert printable("Möwe ½ 写真 🌊 [red]") == "Möwe ½ 写真 🌊 [red]"
    written = escaped(f'"a{sign}b"')
    assert written in (f'"a\\u{ord(sign):04x}b"', '"a\nb"')


def test_all_controls_of_unicode_are_among_them():
    """Outside check: Python's own Unicode tables."""
    for code in range(0x110000):
        sign = chr(code)
        if unicodedata.category(sign) in ("Cc", "Zl", "Zp", "Cs") or unicodedata.bidirectional(sign) in (
            "LRE", "RLE", "PDF", "LRO", "RLO", "LRI", "RLI", "FSI", "PDI",
        ):  # fmt: skip
            assert printable(sign) == " ", hex(code)


@pytest.mark.parametrize("sign", NEVER)
def test_json_comes_back_as_it_was(sign):
    value = {f"k{sign}": [f"a{sign}b", 1, True, None]}
    written = json_text(value)
    assert never_printed(written) == []
    assert json.loads(written) == value


def test_a_card_with_turned_round_text_is_written_with_escapes_and_read_back():
    card = small_card() | {"title": "a\u202eb\u2028c"}
    text = cards.dump(card)
    assert never_printed(text) == []
    assert tomllib.loads(text)["title"] == card["title"]
    assert cards.read(text) == card


def test_tables_print_no_control(capsys):
    tables.console().print(tables.state_table({"message": HOSTILE, HOSTILE: "[red]"}))
    tables.console().print(tables.shelf_table([{"name": HOSTILE, "title": HOSTILE, "digest": HOSTILE}]))
    tables.console().print(HOSTILE)
    out = capsys.readouterr().out
    assert never_printed(out) == []
    assert out.count("\n") == 6
    assert "[red]" in out


@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r"])
def test_a_cell_is_no_formula(sign):
    """OWASP, "CSV Injection": these begin a formula, and an apostrophe before them makes it text."""
    stage = {"stage": f"{sign}1+cmd|' /C calc'!A0", "filter": "2", "light_ms": -5, "given_ms": 7}
    stage |= {"at_least": False, "strikes": 1, "lag_ms": None}
    record = {"box": "", "n": 1, "at": None, "kind": "print", "whole": True, "cut_off": "", "dry_down_pm": 0}
    record |= {"map": {"name": "mill", "title": f"{sign}x"}, "stages": [stage]}
    written = io.StringIO()
    csv.writer(written).writerows(tables.ledger_rows([record]))
    (row,) = csv.DictReader(io.StringIO(written.getvalue()))
    assert row["stage"].startswith("'")
    assert row["title"].startswith("'")
    assert (row["light_ms"], row["card"], row["whole"]) == ("-5", "mill", "yes")
    assert csv_cell("a=b") == "a=b"


# --- through the command


def hostile_box() -> FakePort:
    port = box("e66a" + HOSTILE)
    summary = port.link.box.summary()
    texts = {key: HOSTILE for key, value in summary.items() if isinstance(value, str)}
    port.link.box.summary = lambda: summary | texts
    port.link.box.crash_lines = lambda: ["Traceback", HOSTILE]
    port.link.box.damage_lines = lambda: [HOSTILE]
    return port


def test_what_a_box_says_of_itself(pc, capsys):  # noqa: F811
    from lampblack import cli

    pc.plug("/dev/ttyACM0", PICO, hostile_box(), HOSTILE)
    for arguments in (["state"], ["state", "--json"], ["ports"], ["ports", "--json"], ["doctor"]):
        cli.run(arguments)
        said = capsys.readouterr()
        assert never_printed(said.out + said.err) == []
        assert "gone" in said.out
