"""Files of people that are not what they seem: cards, records, readings, scans, pictures, scripts, backups.

What must live here: how a file is spoiled, and what a command may do with it. It does its job, or it refuses:
each line says in words what is wrong, its exit code is not 0, and no file is there that
was not before, or is another than it was. It never ends in a traceback or a warning of some library.
"""

from __future__ import annotations

import contextlib
import io
import os
import random
import re
import struct
import tempfile
import warnings
import zlib
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple
from unittest.mock import patch

from lampblack import cli
from lampblack.wire import box_client
from tests.micropython import ROOT
from tests.test_hostile_box import SpoiledPort

TOOLS = ROOT / "tools" / "lampblack"
LINES_MOST = 25
"""Of a file with many faults no more are told."""
AREAS = b'[[outline]]\npass = 1\narea = "stool"\ncorners = [[0, 0], [1, 0], [0.5, 0.25]]\n'


class Job(NamedTuple):
    """`files` are there; `run` is what is typed, and what is to be made is the last word of it behind -o or
    --trace."""

    files: dict[str, bytes]
    run: list[str]

    @property
    def made(self) -> str:
        return self.run[-1] if self.run[-2] in ("-o", "--trace") else ""


SCAN = [
    "lab",
    "paper",
    "mine",
    "--scan",
    "strips.png",
    "--tablet",
    "tablet.txt",
    "--row",
    "tablet",
    "--row",
    "00",
    "--row",
    "5",
    "--first",
    "0.37s",
    "--step",
    "3/4",
    "--first",
    "1s",
    "--step",
    "1/3",
]


@cache
def jobs() -> dict[str, Job]:
    example, paper = TOOLS / "examples", (TOOLS / "papers" / "vc-2019.toml").read_bytes()
    card, trays = (example / "workroom.toml").read_bytes(), (TOOLS / "trays" / "rc.toml").read_bytes()
    strips = {name: (example / name).read_bytes() for name in ("strips.png", "tablet.txt")}
    scripts = [path.read_bytes() for path in sorted((ROOT / "tests" / "scripts").glob("*.txt"))]
    script = next(text for text in scripts if b"settling" not in text and len(text) < 4000)
    port = ["--port", "a port"]
    found = {
        "plan": Job({"card.toml": card}, ["plan", "card.toml"]),
        "plan as data": Job(
            {"card.toml": card, "p.toml": paper}, ["plan", "card.toml", "--record", "p.toml", "--json"]
        ),
        "push": Job({"card.toml": card}, ["push", "card.toml", *port]),
        "push of a record": Job({"p.toml": paper}, ["paper", "push", "p.toml", *port]),
        "push of trays": Job({"t.toml": trays}, ["trays", "push", "t.toml", *port]),
        "carry": Job(
            {"card.toml": card}, ["lab", "carry", "card.toml", "--aperture", "f/8", "-o", "new.toml"]
        ),
        "carry to a paper": Job(
            {"card.toml": card, "p.toml": paper},
            ["lab", "carry", "card.toml", "--record", "p.toml", "--paper", "p.toml", "-o", "new.toml"],
        ),
        "readings": Job(
            {"r.csv": (example / "strips.csv").read_bytes()},
            ["lab", "paper", "mine", "--csv", "r.csv", "-o", "mine.toml"],
        ),
        "scan": Job(strips, [*SCAN, "-o", "mine.toml"]),
        "script": Job({"s.txt": script}, ["sim", "--port", "0", "--script", "s.txt", "--trace", "t.jsonl"]),
        "printing record": Job(
            {"card.toml": card, "card.areas.toml": AREAS, "t.toml": trays, "p.png": strips["strips.png"]},
            ["record", "card.toml", "--print", "p.png", "--trays", "t.toml", "-o", "card.svg"],
        ),
    }
    with _folder({}) as folder:
        code, _, said = run(["sim", "--port", "0", "--script", "s.txt", "--keep", "kept"], {"s.txt": script})
        assert code == 0, said
        kept = {
            f"kept/{path.name}": path.read_bytes() for path in (folder / "kept").iterdir() if path.is_file()
        }
        code, _, said = run(["backup", "saved", *port], {})
        assert code == 0, said
        saved = {
            path.relative_to(folder).as_posix(): path.read_bytes()
            for path in (folder / "saved").rglob("*")
            if path.is_file()
        }
    found["kept box"] = Job(
        {**kept, "s.txt": b"+1 press\n"},
        ["sim", "--port", "0", "--keep", "kept", "--script", "s.txt", "--trace", "t.jsonl"],
    )
    found["restore"] = Job(saved, ["restore", "saved", "--yes", *port])
    return found


# --- a command, in a folder of its own


@contextlib.contextmanager
def _folder(files: dict[str, bytes]) -> Iterator[Path]:
    before = Path.cwd()
    with tempfile.TemporaryDirectory() as name:
        os.chdir(name)
        try:
            for file, data in files.items():
                Path(file).parent.mkdir(parents=True, exist_ok=True)
                Path(file).write_bytes(data)
            yield Path(name)
        finally:
            os.chdir(before)


def run(arguments: list[str], files: dict[str, bytes]) -> tuple[int, str, str]:
    """Exit code and what was printed, of a command in this folder. Its port leads to a true box."""
    for file, data in files.items():
        Path(file).write_bytes(data)
    out, err = io.StringIO(), io.StringIO()
    port = SpoiledPort(lambda method, reply: reply)
    with (
        patch.object(box_client, "open_port", lambda *_: port),
        patch.dict(os.environ, {"XDG_DATA_HOME": "data"}),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        warnings.catch_warnings(record=True) as warned,
    ):
        warnings.simplefilter("default")
        warnings.simplefilter("ignore", DeprecationWarning)
        code = cli.run(arguments)
    assert not warned, f"a warning of a library: {warned[0].message}"
    return code, out.getvalue(), err.getvalue()


# --- what is done to a file

NUMBERS = (
    b"-1",
    b"0",
    b"1e999",
    b"9" * 400,
    b"0x" + b"f" * 900,
    b"nan",
    b"-inf",
    b"0.0000001",
    b"1_000_000_000_000",
)
VALUES = (
    b'"x"',
    b"1",
    b"true",
    b"[]",
    b"{}",
    b"1979-05-27T07:32:00Z",
    b"[[[[1]]]]",
    b'"\\u0000"',
    b"'''\n'''",
    b"{a=1}",
)


def spoiled(chance: random.Random, data: bytes, name: str) -> bytes:
    """The file with something done to it that happens, or that somebody means to happen."""
    is_text = not name.endswith((".png", ".db"))
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        acts = [_flip, _flip, _cut, _repeat, _noise]
        data = chance.choice([*acts, *TEXT] if is_text else [*acts, *PICTURE])(chance, data)
    return data


def _at(chance: random.Random, data: bytes) -> int:
    return chance.randrange(len(data) + 1)


def _flip(chance: random.Random, data: bytes) -> bytes:
    at = _at(chance, data)
    return data[:at] + bytes(byte ^ 1 << chance.randrange(8) for byte in data[at : at + 1]) + data[at + 1 :]


def _cut(chance: random.Random, data: bytes) -> bytes:
    return data[: chance.choice((0, 1, _at(chance, data), max(0, len(data) - 1)))]


def _repeat(chance: random.Random, data: bytes) -> bytes:
    a, b = sorted((_at(chance, data), _at(chance, data)))
    return data[:b] + data[a:b] * chance.choice((1, 1, 40)) + data[b:]


def _noise(chance: random.Random, data: bytes) -> bytes:
    at = _at(chance, data)
    return data[:at] + chance.randbytes(chance.choice((1, 16, 4000))) + data[at:]


def _number(chance: random.Random, data: bytes) -> bytes:
    return _one_of(chance, data, rb"[0-9.]+", chance.choice(NUMBERS))


def _value(chance: random.Random, data: bytes) -> bytes:
    return _one_of(chance, data, rb"(?<=[=:,])\s*[^\n,]+", chance.choice(VALUES))


def _key(chance: random.Random, data: bytes) -> bytes:
    return _one_of(
        chance, data, rb"[a-z_]+", chance.choice((b"name", b"k" * 5000, b"a.b.c", b'"\x1b[2J"', b"__class__"))
    )


def _without_line(chance: random.Random, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    del lines[chance.randrange(len(lines) or 1) :][:1]
    if lines:
        lines.pop(chance.randrange(len(lines)))
    return b"".join(lines)


def _lines_swapped(chance: random.Random, data: bytes) -> bytes:
    lines = data.splitlines(keepends=True)
    chance.shuffle(lines)
    return b"".join(lines)


def _encoded(chance: random.Random, data: bytes) -> bytes:
    text = data.decode("latin-1")
    return text.encode(chance.choice(("utf-16", "utf-32", "utf-8-sig", "utf-7")))


def _nested(chance: random.Random, data: bytes) -> bytes:
    deep = chance.choice((60, 400, 9000))
    opening, closing = chance.choice(((b"[", b"]"), (b"{a=", b"}"), (b'{"a":', b"}")))
    return _one_of(chance, data, rb"(?<=[=:])\s*[^\n,]+", opening * deep + b"1" + closing * deep)


def _one_of(chance: random.Random, data: bytes, pattern: bytes, other: bytes) -> bytes:
    found = list(re.finditer(pattern, data))
    if not found:
        return data + other
    place = chance.choice(found)
    return data[: place.start()] + other + data[place.end() :]


TEXT = [_number, _number, _value, _value, _key, _without_line, _lines_swapped, _encoded, _nested]


def png(
    width: int, height: int, depth: int = 8, colour: int = 0, rows: bytes = b"", more: bytes = b""
) -> bytes:
    """A PNG that says it has this size, whatever `rows` it has."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + more + chunk(b"IDAT", zlib.compress(rows, 9)) + chunk(b"IEND", b"")


def _bomb(chance: random.Random, data: bytes) -> bytes:
    """A small file that says it is a huge picture, or has a text that unpacks to a huge one."""
    if chance.random() < 0.3:
        packed = b"Comment\x00\x00" + zlib.compress(bytes(1 << 26), 9)
        text = (
            struct.pack(">I", len(packed))
            + b"zTXt"
            + packed
            + struct.pack(">I", zlib.crc32(b"zTXt" + packed))
        )
        return png(64, 64, rows=bytes(65 * 64), more=text)
    side = chance.choice((20_000, 60_000, (1 << 31) - 1))
    return png(side, side, chance.choice((1, 8, 16)), rows=bytes(1000))


def _odd_picture(chance: random.Random, data: bytes) -> bytes:
    return chance.choice((
        png(1, 1, rows=b"\x00\x00"),
        png(0, 0),
        png(3, 2, 16, rows=bytes(14)),
        png(64, 64, 8, 2, rows=bytes(64 * 193)),
        png(64, 64, 16, rows=b"".join(b"\x00" + chance.randbytes(128) for _ in range(64))),
        b"GIF89a\x01\x00\x01\x00\x80\x00\x00\x00\x00\x00\xff\xff\xff,\x00\x00\x00\x00\x01\x00\x01\x00\x00\x02\x02D\x01\x00;",
        b"%PDF-1.4\n%%EOF",
        b"II*\x00\xff\xff\xff\xff" + bytes(100),
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        b"8BPS" + bytes(40),
    ))  # fmt: skip


PICTURE = [_bomb, _odd_picture, _odd_picture]


def a_job(chance: random.Random) -> str:
    # What makes pictures takes a second.
    names = [name for name in sorted(jobs()) if name not in ("scan", "printing record")]
    return chance.choice(("scan", "printing record")) if chance.random() < 0.06 else chance.choice(names)


def play(chance: random.Random, count: Counter[str]) -> None:
    name = a_job(chance)
    job = jobs()[name]
    files = dict(job.files)
    which = chance.choice(sorted(files))
    files[which] = spoiled(chance, files[which], which)
    if job.made and chance.random() < 0.3:
        files[job.made] = b"mine"
    with _folder(files) as folder:
        try:
            code, _, told = run(job.run, {})
        except Exception as fault:
            raise AssertionError(f"{name} with another {which}: {type(fault).__name__}: {fault}") from fault
        after = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
        after = {file: path for file, path in after.items() if not file.startswith(("data/", "kept/"))}
        is_there = files.get(job.made)
        for file, data in files.items():
            if not file.startswith("kept/"):
                assert after[file].read_bytes() == data, f"{name}: {file} is written over"
        more = set(after) - set(files)
        if code == 0:
            count["done"] += 1
            assert told == "" or job.made, f"{name}: done, and told {told!r}"
            assert is_there is None, f"{name}: done, and {job.made} is as it was"
            return
        count["refusals"] += 1
        # A trace goes as far as the script was played, and where patches were found is kept to be mended.
        more -= {"t.jsonl", "strips.patches.png", "strips.patches.csv"}
        assert not more, f"{name} leaves {more}"
        lines = told.splitlines()
        assert 1 <= len(lines) <= LINES_MOST, f"{name} with another {which}: {len(lines)} lines: {told!r}"
        for line in lines:
            is_plain = line.isprintable() and "Traceback" not in line and "Error:" not in line
            assert is_plain, f"{name} with another {which}: {line!r}"
            assert len(line) < 1000, f"{name} with another {which}: a line of {len(line)} characters"
