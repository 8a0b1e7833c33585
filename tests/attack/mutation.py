"""`python -m tests.attack.mutation`: do the tests see a core that is wrong?

What must live here: which tests are played to a mutant, and what became of it. How mutants are made is in
`mutants`. To each are played the tests of TESTS that are about its file, those that take least first, until
one fails. What became of it is kept by its key in `build/mutation`, so that a run which was ended goes on.

Each mutant is tried in a process of its own, in a copy of the tree. A test that takes TEST_S of a processor
counts as failed: it would hang. One that has survived LIMIT_S of tests counts as survived.
"""

from __future__ import annotations

import argparse
import contextlib
import hashlib
import importlib
import json
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue
from typing import Any, NoReturn

import pytest

from tests.attack.mutants import ROOT, Mutant, all_mutants, named_mutants

VERDICTS = ROOT / "build" / "mutation" / "verdicts.jsonl"
LOADED = (
    "hypothesis.stateful",
    "numpy",
    "PIL.Image",
    "platformdirs",
    "rich.console",
    "typer",
    "hardware.layout",
)
"""Loaded once, for all the processes that try mutants."""
TEST_S = 40
LIMIT_S = 120
HANGS_S = 900
MEMORY_BYTES = 3 << 30

TESTS = {
    "light/bench": "main bench_settings run strip recovery box",
    "light/carrying": "carrying flash_stage box screens",
    "light/guided": "guided cell_tests guided_paper screens transitions",
    "light/lamp_metering": "portable/metering portable/cell_doses cell_tests guided",
    "light/metering": "portable/metering light_cell_screen",
    "light/paper_record": "portable/paper_record portable/metering paper_rows carrying papers",
    "light/plain_form": "portable/map printing_map screens cards",
    "light/plan": "portable/run run strip guided flash_stage recovery trace",
    "light/printing_map": "portable/map printing_map run strip flash_stage carrying box cards",
    "light/stops": "portable/stops main portable/map printing_map run stops",
    "light/strip": "portable/map strip run flash_stage recovery",
    "light/tray_sequence": "trays_screen tray_files screens",
    "light/tray_times": "portable/tray_times trays_screen tray_files",
    "light/work": "run strip guided box recovery",
    "machine/cell_doses": "portable/cell_doses cell_tests screens",
    "machine/cell_strips": "light_cell_screen light_cell lying_cell",
    "machine/clock": "clock recovery box",
    "machine/dark_time": "guided cell_tests",
    "machine/exposing": "run start_delay watch guided trays box recovery trace box_laws",
    "machine/findings": "recovery watch box store_power_cut",
    "machine/guided_run": "guided cell_tests guided_paper start_delay box recovery",
    "machine/lamp": "watch start_delay clock trays guided box run recovery trace box_laws",
    "machine/light_cell": "light_cell light_cell_screen cell_tests",
    "machine/machine": "watch start_delay box transitions recovery trace",
    "machine/recovery": "recovery watch start_delay kept_flash guided trays",
    "machine/run": "run recovery guided start_delay box trace",
    "machine/sheet_time": "guided trays box screens",
    "machine/strike": "watch start_delay run trays guided box trace box_laws",
    "machine/transitions": "watch start_delay transitions run recovery guided box trays screens",
    "machine/tray_setup": "trays_screen trays tray_files",
    "machine/trays": "trays trays_screen recovery box_laws",
    "machine/watch": "watch start_delay main counting screens box_laws",
    "panel/": "strip box transitions screens legible docs",
    "panel/counting": "counting watch accept",
    "panel/acceptance": "counting watch accept",
    "panel/letters": "portable/font font_folding legible screens docs",
    "panel/paper_rows": "paper_rows screens",
    "panel/light_cell_screen": "light_cell_screen screens",
    "panel/trays_screen": "trays_screen trays screens",
    "panel/ledger_screen": "portable/ledger_screen another_map screens",
    "panel/tests_screen": "guided cell_tests guided_paper screens",
    "panel/sounds": "piezo run box trays page",
    "panel/drawing": "portable/font no_allocation box screens legible recovery docs",
    "records/": "portable/store store_power_cut recovery kept_flash portable/link watch box",
    "wire/": "portable/link link bench_settings counting clock box_client hostile_box docs",
    "box": "watch start_delay run clock box transitions recovery trays guided trace link screens box_laws",
    "canonical": "portable/map portable/link bench_settings printing_map",
    "platform": "no_allocation portable/link",
    "refusal": "printing_map box",
    "ticks": "ticks clock trace",
}  # fmt: skip
"""Core file, or the beginning of its name: the tests about it, of tests/test_NAME.py."""
LAST = ("attack/campaign",)
"""What is played to all, at the end."""
LEFT_OUT = "tests/test_box_laws.py::TestBox"
"""A minute and more for each mutant that lives."""


def files_for(mutant: Mutant) -> list[str]:
    """The files of tests to play, in order."""
    name = mutant.module.removesuffix(".py")
    found = max((own for own in TESTS if name.startswith(own)), key=len, default="box")
    names = [*TESTS[found].split(), *LAST]
    return [
        f"tests/{own.rpartition('/')[0]}/test_{own.rpartition('/')[2]}.py".replace("//", "/") for own in names
    ]


class Played:
    """In the process of one mutant: the tests of `files`, in that order, each with its limit."""

    def __init__(self, files: list[str]) -> None:
        self.files = files
        self.count = 0
        self.is_all = True
        self.test = self.failed = ""

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items.sort(key=lambda item: self.files.index(item.nodeid.partition("::")[0]))

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        self.test = item.nodeid
        self.count += 1
        if time.process_time() > LIMIT_S:
            self.is_all = False
            item.session.shouldstop = "the limit of tests to a mutant"  # type: ignore[attr-defined]
        signal.setitimer(signal.ITIMER_PROF, TEST_S)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.failed:
            self.failed = report.nodeid

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed and not self.failed:
            self.failed = f"{report.nodeid}, which does not load"


def _play_in(tree: Path, files: list[str], tell: int) -> NoReturn:
    """In a process of its own: play the tests, write what failed to `tell`, and end."""
    os.setsid()
    nothing = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(nothing, stream)
    os.chdir(tree)
    paths = [str(tree), str(tree / "firmware"), str(tree / "tools")]
    os.environ.update(CI="true", PYTHONDONTWRITEBYTECODE="1", PYTHONPATH=os.pathsep.join(paths))
    sys.dont_write_bytecode = True
    sys.path[:0] = paths
    for name in [own for own in sys.modules if own == "tests" or own.startswith("tests.")]:
        del sys.modules[name]
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    played = Played(files)

    def say(failed: str) -> NoReturn:
        told = {"by": failed, "tests": played.count, "all": played.is_all, "s": round(time.process_time(), 1)}
        os.write(tell, json.dumps(told).encode())
        os.killpg(0, signal.SIGKILL)
        raise AssertionError

    def hangs(*_: object) -> None:
        say(f"{played.test}, which does not end")

    signal.signal(signal.SIGPROF, hangs)
    signal.signal(signal.SIGALRM, hangs)
    signal.alarm(HANGS_S)
    signal.setitimer(signal.ITIMER_PROF, TEST_S)
    # The tests about the file are loaded by parts: most mutants do not live to see the second.
    for part in (files[:1], files[1:3], files[3:]):
        if part and not played.failed:
            options = [
                "-x",
                "-p",
                "no:cacheprovider",
                "-p",
                "no:xdist",
                "--assert=plain",
                f"--deselect={LEFT_OUT}",
            ]
            pytest.main([*options, *part], plugins=[played])
    say(played.failed)


def try_apart(mutant: Mutant, tree: Path, files: list[str]) -> dict[str, Any]:
    """Try it in a copy of the tree, in a process of its own: what has failed ("by", "" for nothing), how many
    tests it took, and whether all were played."""
    place = tree / "firmware" / "timing_core" / mutant.module
    was = place.read_text()
    place.write_text(mutant.source)
    read, write = os.pipe()
    try:
        pid = os.fork()
        if not pid:
            with contextlib.suppress(BaseException):
                _play_in(tree, files, write)
            os._exit(1)
        os.close(write)
        said = os.read(read, 65536)
        os.waitpid(pid, 0)
    finally:
        os.close(read)
        place.write_text(was)
    if not said:
        raise RuntimeError(f"the process of {mutant.module}:{mutant.line}, {mutant.what}, has died")
    return json.loads(said)


def copy_of_tree() -> Path:
    tree = Path(tempfile.mkdtemp(prefix="mutants-")) / "tree"
    # No compiled file: a mutant of the same second and length would be taken for what was compiled.
    left_out = shutil.ignore_patterns(".git", ".venv", "build", ".*_cache", ".hypothesis", "__pycache__")
    shutil.copytree(ROOT, tree, ignore=left_out)
    return tree


def sample_of(number: int, seed: int) -> list[Mutant]:
    """The named ones, and so many others by lot: which, does not hang on what else there is."""
    named = named_mutants()
    keys = {mutant.key for mutant in named}
    others = [mutant for mutant in all_mutants() if mutant.key not in keys]
    others.sort(key=lambda mutant: hashlib.sha256(f"{seed} {mutant.change}".encode()).digest())
    return named + others[: max(0, number - len(named))]


def known_verdicts() -> dict[str, dict[str, Any]]:
    if not VERDICTS.exists():
        return {}
    told = [json.loads(line) for line in VERDICTS.read_text().splitlines()]
    return {own["key"]: own for own in told}


def play(sample: Iterable[Mutant], jobs: int) -> None:
    """Try each, and keep what became of it."""
    for name in LOADED:
        importlib.import_module(name)
    VERDICTS.parent.mkdir(parents=True, exist_ok=True)
    trees: Queue[Path] = Queue()
    for _ in range(jobs):
        trees.put(copy_of_tree())

    def one(mutant: Mutant) -> None:
        tree = trees.get()
        try:
            told = try_apart(mutant, tree, files_for(mutant))
        finally:
            trees.put(tree)
        own = {"key": mutant.key, "where": f"{mutant.module}:{mutant.line}", "what": mutant.what, **told}
        with VERDICTS.open("a") as file:
            file.write(json.dumps(own) + "\n")
        became = f"killed by {own['by']}" if own["by"] else "survived"
        print(f"{own['where']} {own['what']}: {became}; {own['tests']} tests, {own['s']} s", flush=True)

    try:
        with ThreadPoolExecutor(jobs) as pool:
            list(pool.map(one, sample))
    finally:
        while not trees.empty():
            shutil.rmtree(trees.get().parent)


def report(sample: list[Mutant]) -> bool:
    """Print what became of each; False if a tenth or more have survived."""
    verdicts = known_verdicts()
    tried = [(mutant, verdicts[mutant.key]) for mutant in sample if mutant.key in verdicts]
    survivors = [(mutant, own) for mutant, own in tried if not own["by"]]
    for mutant, own in survivors:
        of = "all" if own["all"] else "the first"
        print(f"\n{mutant.module}:{mutant.line} {mutant.what}: survived {of} {own['tests']} tests")
        print(mutant.diff())
    killed = len(tried) - len(survivors)
    share = 100 * killed / max(1, len(tried))
    print(f"\n{len(tried)} of {len(sample)} mutants tried, {killed} killed ({share:.1f} %)")
    return share > 90


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.attack.mutation", description="Mutate the core.")
    parser.add_argument("--sample", type=int, default=300, help="mutants, the named ones among them")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--again", action="store_true", help="try once more what has survived")
    parser.add_argument("--report", action="store_true", help="what is known, and try nothing")
    given = parser.parse_args(arguments)
    sample = sample_of(given.sample, given.seed)
    if not given.report:
        known = known_verdicts()
        left = [own for own in sample if own.key not in known or (given.again and not known[own.key]["by"])]
        play(left, given.jobs)
    return 0 if report(sample) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
