"""`make hardware` makes all targets, each after what it needs, and says what a missing tool leaves out."""

import re
import subprocess
from types import SimpleNamespace

import pytest

from hardware import make_all
from hardware.make_all import KICAD, NGSPICE, TARGETS
from tests.micropython import ROOT


@pytest.fixture
def called(monkeypatch) -> list[str]:
    """The targets that were called; `drawings` fails."""
    names: list[str] = []

    def run(command, **_):
        if command[0] != "make":
            return SimpleNamespace(returncode=0, stdout="6.0.11\n")
        names.append(command[2])
        return SimpleNamespace(returncode=command[2] == "drawings")

    monkeypatch.setattr(subprocess, "run", run)
    return names


def test_what_needs_another_comes_after_it():
    names = [target.name for target in TARGETS]
    assert len(set(names)) == len(names)
    for first, second in (
        ("pins", "board"),
        ("board", "parts-page"),
        ("board", "guides"),
        ("faults", "guides"),
    ):
        assert names.index(first) < names.index(second)


def test_every_target_is_in_the_makefile():
    makefile = (ROOT / "Makefile").read_text("utf-8")
    for target in TARGETS:
        assert re.search(rf"^{target.name}:", makefile, re.M), target.name


@pytest.mark.parametrize(
    ("tool", "left_out", "how"),
    [
        (NGSPICE, {"faults"}, "apt-get install ngspice"),
        (KICAD, {"board", "parts-page"}, "apt-get install kicad kicad-footprints"),
    ],
)
def test_a_missing_tool_leaves_out_what_needs_it_and_is_said(called, monkeypatch, tool, left_out, how):
    monkeypatch.setattr(make_all, "is_there", lambda asked, _: asked != tool)
    lost = make_all.make("python3")
    assert called == [target.name for target in TARGETS if target.name not in left_out]
    assert len(lost) == len(left_out) + 1
    assert sum(how in line for line in lost) == len(left_out)
    assert any("`make drawings` failed" in line for line in lost)


def test_a_tool_is_looked_for_where_it_would_be(called, monkeypatch):
    monkeypatch.setattr(make_all.shutil, "which", lambda name: "/bin/" + name if name == "python3" else None)
    assert not make_all.is_there(NGSPICE, "python3")
    assert make_all.is_there(KICAD, "python3")
    assert not make_all.is_there(KICAD, "nowhere")
    assert make_all.is_there("", "nowhere")


def test_it_fails_where_anything_was_not_made(called, monkeypatch, capsys):
    monkeypatch.setattr(make_all, "is_there", lambda *_: True)
    monkeypatch.setattr(make_all.sys, "argv", ["make_all", "python3"])
    assert make_all.main() == 1
    assert capsys.readouterr().err == "Not made: the schematic. `make drawings` failed, see above.\n"
