"""What a wrong call is told: one line, what, why and what to do, in this project's words and no library's."""

import pytest

from lampblack.text import wrong_call
from tests.test_cli import EXAMPLES, lampblack, one_line, server  # noqa: F401

CARD = str(EXAMPLES / "breakwater.toml")
CSV = str(EXAMPLES / "strips.csv")
GRADE = ("lab", "grade", "--record", "vc-2019")
PAPER = ("lab", "paper", "rc")
LIBRARIES = (
    "Value error",
    "Input should be",
    "Invalid value",
    "unable to parse",
    "Traceback",
    "Errno",
    "No such option",
)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        # of no kind that the option has
        ((*GRADE, "--anchor", "foo"), '--anchor: "foo" is not known. Write light tone, middle or black.'),
        (("lab", "carry", CARD, "--light", "sun"), '--light: "sun" is not known. Write diffuser or '),
        (("record", CARD, "--paper-size", "a3"), '--paper-size: "a3" is not known. Write a4 or letter.'),
        (("lab", "carry", CARD, "--pass", "x"), '--pass: "x" is no whole number. Write one, like 5.'),
        (("lab", "trays", "60 s", "--at", "x"), '--at: "x" is no number. Write one, like 5.'),
        (("lab", "trays", "60 s", "--per-degree", "x"), '--per-degree: "x" is no whole number. Write 8 to'),
        (("strip", "--base", "x"), '--base: "x" is no time in seconds. Write it like "11.3 s".'),
        (("ledger", "list", "--from", "x"), '--from: "x" is no day. Write it like 2026-11-27.'),
        (("lab", "carry", CARD, "--cell", "x"), '--cell: "x" is no offset in stops.'),
        (("lab", "carry", CARD, "--exponent", "x"), '--exponent: "x" is no exponent. Write 0.5 to 1.'),
        (("lab", "carry", CARD, "--filter", "2="), '--filter: "2=" has no new filter. Write 2=3.'),
        # out of range
        ((*GRADE, "--grade", "2", "--time", "0 s"), '--time: "0 s" is out of range. Write 0.1 s to 999.9 s.'),
        ((*PAPER, "--csv", CSV, "--patches", "99"), '--patches: "99" is out of range. Write 4 to 40.'),
        ((*PAPER, "--csv", CSV, "--seed", "-1"), '--seed: "-1" is out of range. Write 0 or more.'),
        ((*PAPER, "--strip", "2: 0.1", "--first", "0 s"), "--first: a first patch has light. "),
        (("lab", "drydown", "0 s"), 'TIME: "0 s" is out of range. Write 0.1 s to 999.9 s.'),
        (("lab", "trays", "0 s"), 'TIME: "0 s" is no tray\'s time. Write 1 s to 60 min.'),
        (("lab", "trays", "60 s", "--at", "nan"), "--at: nan °C is out of range. Write 16 to 26."),
        (("lab", "trays", "--sight", "9999 s"), '--sight: "9999 s" is no first sight. Write up to 600 s.'),
        (("lab", "carry", CARD, "--pass", "9"), "--pass: 9 is no pass of this card. Write 1."),
        (("lab", "carry", CARD, "--print-mm", "0"), '--print-mm: "0" is no length here. Write 1 to'),
        # missing, or too much
        (("lab", "grade"), "--record is missing. Give it. See lampblack lab grade --help."),
        (("lab", "drydown"), "TIME is missing. Give it. See lampblack lab drydown --help."),
        (("lab", "grade", "--record"), "--record has no value. Write one after it."),
        ((*PAPER, "--csv", CSV, "--pair", "00"), "--pair has too few values. Write 2 after it."),
        ((*PAPER, "--json=3"), "--json takes no value. Write it alone."),
        (("plan", "a", "b"), '"b" is too much. Leave it out. See lampblack plan --help.'),
        (("plan", "--colour"), "--colour is no option here. "),
        (("lab",), "No command is given. Give one. See lampblack lab --help."),
        (("zzz",), 'There is no command "zzz". Write another.'),
        (("pla",), "There is no command \"pla\". Did you mean 'plan'"),
        (PAPER, "--csv: readings come in one way. Give one of --csv, --strip, --scan and --eye."),
    ],
)  # fmt: skip
def test_it_is_one_line_in_our_words(lampblack, arguments, said):  # noqa: F811
    line = one_line(lampblack(*arguments), 2)
    assert line.startswith(said), line
    assert not [own for own in LIBRARIES if own in line]
    assert " --help." in line


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((*PAPER, "--csv", "{folder}"), "{folder}: it is a folder. Give a file."),
        ((*PAPER, "--csv", "{folder}/none"), "{folder}/none: No such file or directory. Check the name"),
        (("record", CARD, "--print", "{folder}"), "{folder}: it is a folder. Give a file."),
        (("lab", "carry", "{folder}"), "{folder}:1: this is no file. Give a card"),
        (("lab", "grade", "--record", "{folder}"), "{folder}:1: this is no file. Give a paper record"),
        (("lab", "page", "--folder", CARD), f"{CARD} is a file, and the page works in a folder."),
        (("lab", "page", "--folder", f"{CARD}/in"), f"{CARD}/in is no folder to work in: Not a directory."),
        (("shelf", "--port", "socket://localhost:1"), "socket://localhost:1 does not open: Connection ref"),
    ],
)  # fmt: skip
def test_a_file_or_a_box_that_cannot_be_had_is_one_line(lampblack, tmp_path, arguments, said):  # noqa: F811
    folder = str(tmp_path)
    line = one_line(lampblack(*(own.format(folder=folder) for own in arguments)), 1)
    assert line.startswith(said.format(folder=folder)), line
    assert not [own for own in LIBRARIES if own in line]
    assert list(tmp_path.iterdir()) == []


def test_a_fault_of_a_kind_that_is_not_known_is_told_as_it_is():
    for said in ("it rains. Go home.", "it rains.\n Go home"):
        fault = wrong_call.typer.BadParameter(said)
        assert wrong_call.told(fault) == "The call: it rains. Go home. See lampblack --help."
