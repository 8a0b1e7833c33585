"""Files that the command writes: whole or not at all, and nothing over another file unasked."""

import contextlib
import errno
import os
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from lampblack import cli, files
from lampblack.errors import CommandError
from lampblack.files import NewFile, write_file
from tests.test_cli import ONE_PASS, lampblack, one_line, server  # noqa: F401

posix = pytest.mark.skipif(os.name == "nt", reason="this is of POSIX alone")


@pytest.fixture
def path(tmp_path) -> Path:
    """A file that is there."""
    made = tmp_path / "mine.toml"
    made.write_bytes(b"mine")
    return made


def refused(act) -> str:
    with pytest.raises(CommandError) as caught:
        act()
    line = str(caught.value)
    assert "\n" not in line
    assert ": " in line or ". " in line
    assert line.endswith(".")
    return line


def is_untouched(path: Path) -> bool:
    return path.read_bytes() == b"mine" and list(path.parent.iterdir()) == [path]


def test_a_file_is_written_and_nothing_lies_beside_it(tmp_path, path):
    write_file(tmp_path / "new", b"new", force=False)
    write_file(path, b"newer", force=True)
    assert (path.read_bytes(), (tmp_path / "new").read_bytes()) == (b"newer", b"new")
    assert len(list(tmp_path.iterdir())) == 2


def test_nothing_is_written_over_a_file_unasked(path):
    assert "--force" in refused(lambda: write_file(path, b"new", force=False))
    assert is_untouched(path)


def test_nor_over_one_that_came_meanwhile(tmp_path):
    path = tmp_path / "mine.toml"

    def act():
        with NewFile(path, force=False) as file:
            file.write(b"new")
            path.write_bytes(b"mine")

    assert "--force" in refused(act)
    assert is_untouched(path)


FULL = OSError(errno.ENOSPC, "No space left on device")


class FullDisk:
    """A file on a disk that fills up: when it is written, or only when its buffer goes out."""

    def __init__(self, file, when) -> None:
        self._file = file
        self._when = when

    def __getattr__(self, name):
        if name == self._when:
            raise FULL
        return getattr(self._file, name)


@pytest.mark.parametrize("when", ["write", "flush", "close"])
def test_a_disk_that_fills_up_leaves_the_old_file(path, monkeypatch, when):
    true_open = Path.open
    monkeypatch.setattr(Path, "open", lambda self, *a, **more: FullDisk(true_open(self, *a, **more), when))
    line = refused(lambda: write_file(path, b"new", force=True))
    assert line.startswith(f"{path} is not written: No space left on device. What was there is as it was")
    monkeypatch.undo()
    assert is_untouched(path)


def test_a_rename_that_fails_leaves_the_old_file(path, monkeypatch):
    def fail(*_):
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(files.Path, "replace", fail)
    assert "Input/output error" in refused(lambda: write_file(path, b"new", force=True))
    assert is_untouched(path)


@posix
@pytest.mark.skipif(hasattr(os, "geteuid") and os.geteuid() == 0, reason="root may write anywhere")
def test_a_folder_that_may_not_be_written(path):
    path.parent.chmod(0o555)
    try:
        assert "Permission denied" in refused(lambda: write_file(path, b"new", force=True))
    finally:
        path.parent.chmod(0o755)
    assert is_untouched(path)


def test_a_file_that_may_not_be_made(path, monkeypatch):
    def fail(*_, **__):
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(Path, "open", fail)
    assert "Permission denied" in refused(lambda: write_file(path, b"new", force=True))
    monkeypatch.undo()
    assert is_untouched(path)


@posix
def test_no_folder_and_a_folder(tmp_path):
    assert "No such file" in refused(lambda: write_file(tmp_path / "no" / "x", b"", force=True))
    assert "Is a directory" in refused(lambda: write_file(tmp_path, b"", force=True))
    assert list(tmp_path.iterdir()) == []


@posix
def test_links_and_rights_stay(path):
    path.chmod(0o640)
    link = path.with_name("link")
    link.symlink_to(path)
    write_file(link, b"new", force=True)
    assert link.is_symlink()
    assert (path.read_bytes(), stat.S_IMODE(path.stat().st_mode)) == (b"new", 0o640)


@posix
def test_what_is_no_regular_file_is_written_to(tmp_path):
    made = subprocess.run(
        [sys.executable, "-c", f"import sys; sys.path[:] = {sys.path!r}\n"
         "from pathlib import Path\nfrom lampblack.files import write_file\n"
         "write_file(Path('/dev/stdout'), b'new', force=False)"],
        stdout=subprocess.PIPE, check=True, timeout=60,
    )  # fmt: skip
    assert made.stdout == b"new"
    if Path("/dev/full").exists():
        assert "No space left" in refused(lambda: write_file(Path("/dev/full"), b"new", force=False))
        assert Path("/dev/full").is_char_device()


def test_a_part_is_kept_only_where_that_is_wanted(tmp_path):
    path = tmp_path / "trace"
    for keeps_part in (False, True):
        with contextlib.suppress(KeyboardInterrupt), NewFile(path, False) as file:
            file.keeps_part = keeps_part
            file.write(b"so far\n")
            raise KeyboardInterrupt
        assert path.exists() == keeps_part
    assert path.read_bytes() == b"so far\n"
    assert list(tmp_path.iterdir()) == [path]


# --- the commands


def test_a_pull_that_fails_loses_nothing(lampblack, server, path, monkeypatch):  # noqa: F811
    assert lampblack("push", ONE_PASS, "--port", server.port).code == 0
    true_open = Path.open
    monkeypatch.setattr(Path, "open", lambda self, *a, **more: FullDisk(true_open(self, *a, **more), "flush"))
    said = one_line(lampblack("pull", "breakwater", "-o", path, "--force", "--port", server.port), 1)
    assert said.startswith(f"{path} is not written: No space left on device.")
    monkeypatch.undo()
    assert is_untouched(path)


SCRIPT = "1 expose\n+1 expose\n"


def test_a_trace_is_never_written_over_unasked(path, tmp_path, capsys):
    script, keep = tmp_path.parent / "script.txt", tmp_path.parent / "keep"
    script.write_text(SCRIPT)
    command = ["sim", "--script", str(script), "--trace", str(path), "--keep", str(keep)]
    assert cli.run(command) == 1
    assert capsys.readouterr().err == (
        f"{path} is there already. Give another name, or --force to write over it.\n"
    )
    assert is_untouched(path)
    # It is refused before the session begins.
    assert not keep.exists()
    assert cli.run([*command, "--force"]) == 0
    assert path.read_bytes().startswith(b'{"in":"power_up"')


def test_what_was_traced_until_an_error_is_kept(tmp_path, capsys):
    script, trace = tmp_path / "script.txt", tmp_path / "trace"
    script.write_text(SCRIPT + "nonsense\n")
    assert cli.run(["sim", "--script", str(script), "--trace", str(trace)]) == 1
    assert capsys.readouterr().err.count("\n") == 1
    assert b'"in":"expose"' in trace.read_bytes()
    assert sorted(tmp_path.iterdir()) == [script, trace]


@posix
def test_a_trace_on_a_full_disk_is_one_line(tmp_path, capsys):
    script = tmp_path / "script.txt"
    script.write_text("+1 expose\n" * 800)
    assert cli.run(["sim", "--script", str(script), "--trace", "/dev/full"]) == 1
    said = capsys.readouterr().err
    assert said.startswith("/dev/full is not written: No space left on device.")
    assert said.count("\n") == 1
