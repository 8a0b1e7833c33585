"""Files that are hardly cards: each is refused at once, in one plain line, and the longest card is not."""

import os
import time
import tomllib
from pathlib import Path

import pytest

from lampblack import cli
from lampblack.cards import card_file as cards
from lampblack.cards import toml_file
from lampblack.cards.toml_file import FAULTS_MOST, SIZE_MAX, FileError
from tests.portable.fakes import large_card

EXAMPLES = Path(cards.__file__).parent.parent / "examples"
TOP = 'name = "a"\n'
PASS = '[[pass]]\nbase = "9 s"\n'
MARK = '[[pass.mark]]\narea = "a"\nstops = "+1"\n'
SOON_S = 1.0
"""Each takes a tenth of it at most. On a busy machine it is more, and no more than that."""

HARD = {
    "a hexadecimal number": TOP + "dry_down = 0x" + "f" * 4300 + "\n" + PASS,
    "a long number": TOP + "dry_down = " + "9" * 5000 + "\n" + PASS,
    "a number past all floats": TOP + "dry_down = 1e999\n" + PASS,
    "a key of many parts": TOP + ".".join("a" * 8000) + " = 1\n" + PASS,
    "a key of many parts and spaces": TOP + " . ".join("a" * 5000) + " = 1\n",
    "a key of many quoted parts": TOP + ".".join(['"a"'] * 7000) + " = 1\n",
    "a heading of many parts": TOP + "[" + ".".join("a" * 8000) + "]\n",
    "deep lists": TOP + "x = " + "[" * 5000 + "]" * 5000 + "\n" + PASS,
    "lists too deep for a card alone": TOP + "title = " + "[" * 300 + "]" * 300 + "\n" + PASS,
    "deep tables": TOP + "title = " + "{a = " * 3000 + "1" + "}" * 3000 + "\n" + PASS,
    "deep tables of keys of parts": TOP + "title = " + "{a.b.c.d = " * 150 + "1" + "}" * 150 + "\n" + PASS,
    "many passes": TOP + PASS * 1400,
    "many marks": TOP + PASS + MARK * 800,
    "100,000 marks": TOP + PASS + MARK * 100_000,
    "a long list": TOP + "notes = [\n" + "1,\n" * 10_000 + "]\n" + PASS,
    "a text of many lines": TOP + 'title = """' + "a\n" * 15_000 + '"""\n' + PASS,
    "a long key": TOP + "k" * 30_000 + " = 1\n" + PASS,
    "empty lines": "\n" * 32_000 + "x",
    "no text": "\0" * 100,
}


@pytest.fixture
def refused(capsys):
    """What the command says of a file that is no card: one line, and at once."""

    def call(path: Path, lines: int = 1) -> str:
        began = time.process_time()
        code = cli.run(["plan", str(path)])
        assert time.process_time() - began < SOON_S
        said = capsys.readouterr()
        assert (code, said.out, said.err.count("\n")) == (1, "", lines)
        for line in said.err.splitlines():
            assert line.startswith(f"{path}:")
            assert line.endswith((".", "?"))
            assert len(line) < len(str(path)) + 300
        return said.err

    return call


@pytest.mark.parametrize("what", HARD)
def test_a_file_that_is_hardly_a_card_is_refused_at_once(what, refused, tmp_path):
    path = tmp_path / "hard.toml"
    path.write_text(HARD[what], encoding="utf-8")
    refused(path)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (TOP + PASS * 1400, ":10: pass: there are 1400. Write 1 to 4 of them."),
        (TOP + PASS + MARK * 800, ":52: mark: there are 800. Write 0 to 16 of them."),
        (HARD["a long list"], ':2: "notes" is no key of '),
        (HARD["a text of many lines"], ":2: title: "),
        (HARD["a key of many parts"], ":2: "),
    ],
)
def test_the_line_is_told_all_the_same(text, says, refused, tmp_path):
    path = tmp_path / "hard.toml"
    path.write_text(text, encoding="utf-8")
    assert says in refused(path)


@pytest.mark.parametrize(
    "text", [TOP + "".join(f"k{n} = 1\n" for n in range(3000)) + PASS, "[[pass]]\n" * 3600]
)
def test_of_many_faults_the_first_are_told(text, refused, tmp_path):
    path = tmp_path / "hard.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FileError) as caught:
        cards.load(path)
    assert len(caught.value.faults) <= FAULTS_MOST + 1
    refused(path, len(caught.value.faults))


def test_what_is_no_file(refused, tmp_path):
    assert "this is no file" in refused(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "fifo")
        assert "this is no file" in refused(tmp_path / "fifo")


def test_a_file_of_100_mb_is_not_read(refused, tmp_path):
    path = tmp_path / "large.toml"
    with path.open("wb") as file:
        file.truncate(100 << 20)
    assert f"over {SIZE_MAX} bytes" in refused(path)


def test_a_file_that_is_not_utf_8(refused, tmp_path):
    path = tmp_path / "latin.toml"
    path.write_bytes(TOP.encode() + 'title = "Möwe"\n'.encode("latin-1"))
    assert ":2: this is not UTF-8 text." in refused(path)


@pytest.mark.parametrize("sign", ["e", "\u5199", '"'])
def test_the_longest_card_is_read(sign, tmp_path):
    path = tmp_path / "long.toml"
    for text in (cards.dump(large_card(sign)), written_in_escapes(cards.dump(large_card(sign)))):
        path.write_text(text, encoding="utf-8")
        assert cards.load(path) == large_card(sign)


def written_in_escapes(text: str) -> str:
    """The same TOML, with what is not ASCII in the longest way to write it."""
    return "".join(sign if sign.isascii() else f"\\U{ord(sign):08x}" for sign in text)


# --- the lines of faults, against a slower way to find them


def slow_lines(text: str) -> dict:
    """Of every key, table and row the line at which the parser, given all down to it, first sees it."""
    found = {(): 1}
    lines = text.split("\n")
    begins = 1
    for count in range(1, len(lines) + 1):
        for end in ("", "\n]", "\n]}", "\n]}\n]"):
            try:
                ways = list(toml_file._ways(tomllib.loads("\n".join(lines[:count]) + end), ()))
            except tomllib.TOMLDecodeError:
                continue
            for way in ways:
                found.setdefault(way, begins)
            begins = count + 1
            break
    return found


WRITTEN = {
    "in other ways": (
        'name = "a" # [[pass]]\n\nfacts.paper = "x"\nfacts . "lens" = "y"\n'
        'pass = [\n  {base = "9 s", mark = [\n    {area = "a", stops = "+1"},\n'
        '    {area = "b", stops = "-1"},\n  ]},\n\n  {base = "1 s"}]\n'
    ),
    "with tables of tables": (
        'name = """\na"""\n[facts]\nnotes = """one\n[facts]\nthree"""\n\n'
        "  [[pass]] # first\nbase = '9 s'\n[[ pass . mark ]]\narea = \"a\"\n[[pass.mark]]\n"
        '[[pass]]\n[[pass.mark]]\nx.y.z = [\n[1,\n2],\n[3]]\n[pass.mark.deep]\nq = 1\n["odd.key"]\nr = {}\n'
    ),
    "nothing": "",
}


@pytest.mark.parametrize("what", [*WRITTEN, *sorted(path.name for path in EXAMPLES.glob("*.toml"))])
def test_lines_are_those_of_the_slower_way(what):
    text = WRITTEN[what] if what in WRITTEN else (EXAMPLES / what).read_text(encoding="utf-8")
    raw = tomllib.loads(text)
    wanted = set(toml_file._ways(raw, ()))
    lines = toml_file._lines(text, raw, wanted)
    slow = slow_lines(text)
    assert {way: toml_file._line_of(way, lines) for way in wanted} == {way: slow[way] for way in wanted}
