"""The portable tests on real MicroPython, each module in a process of its own with a small heap."""

import pytest

from tests import micropython


@pytest.mark.parametrize("name", micropython.portable_tests())
def test_the_portable_tests_pass(compiled, name):
    done = micropython.run(["-m", "tests.portable.run", f"tests.portable.{name}"], compiled)
    assert done.returncode == 0, done.stdout + done.stderr
    written = (micropython.PORTABLE / f"{name}.py").read_text(encoding="utf-8").count("\ndef test_")
    assert done.stdout.splitlines()[-1] == f"{written} ran, 0 failed"


def test_the_portable_tests_are_found():
    assert {"test_stops", "test_map", "test_run"} <= set(micropython.portable_tests())


@pytest.mark.parametrize(
    ("source", "says"),
    [
        ("def test_a():\n    assert 1 == 2\n\n\ndef test_b():\n    pass\n", "2 ran, 1 failed"),
        ("def test_a():\n    raise ValueError('odd')\n", "ValueError: odd"),
        ("def test_a():\n    bytearray(1_000_000)\n", "MemoryError"),
        ("def helper():\n    pass\n", "there is no test in it"),
    ],
)
def test_the_runner_tells_a_failure(compiled, tmp_path, source, says):
    (tmp_path / "broken.py").write_text(source)
    done = micropython.run(["-m", "tests.portable.run", "broken"], compiled, at=tmp_path)
    assert done.returncode == 1
    assert says in done.stdout
    assert "FAILED broken" in done.stdout


def test_a_module_that_cannot_be_imported_is_a_failure(compiled, tmp_path):
    (tmp_path / "broken.py").write_text("import dataclasses\n")
    done = micropython.run(["-m", "tests.portable.run", "broken"], compiled, at=tmp_path)
    assert done.returncode != 0
    assert "ImportError" in done.stdout + done.stderr
