"""`python -m tests.attack.mutation`: do the tests see a core that is wrong?

What must live here: which tests are played to a mutant, and what became of it. How mutants are made is in
`mutants`. First the core's tests are played once to it as it is, and which of its functions each calls is kept in `build/mutation/reached.json` (made anew with --map). Then to each mutant of the sample those tests are
played that reach what was changed, the fastest first, until one fails. What became of it is kept by its key,
so that a run which was ended goes on where it was.

Each mutant is tried in a process of its own, in a copy of the tree, so that tests which start programs see it
too. A test that takes ten times as long as it did, and 5 s besides, counts as failed: it would hang.
"""

from __future__ import annotations

import argparse
import ast
import contextlib
import importlib
import json
import os
import random
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue
from typing import Any, NoReturn

import pytest

from tests.attack.mutants import CORE, ROOT, Mutant, all_mutants, named_mutants

KEPT = ROOT / "build" / "mutation"
REACHED = KEPT / "reached.json"
VERDICTS = KEPT / "verdicts.jsonl"
LOADED = ("hypothesis.stateful", "numpy", "PIL.Image", "littlefs", "platformdirs", "rich.console", "typer")
"""Loaded once, for all the processes that try mutants."""
TESTS = [
    "tests/portable",
    *(
        f"tests/test_{name}.py"
        for name in (
            "another_map bench_settings box box_client box_laws carrying cell_tests clock counting flash_stage guided "
            "kept_flash legible light_cell light_cell_screen link no_allocation paper paper_rows papers printing_map "
            "recovery run screens session start_delay stops store_power_cut strip ticks trace transitions trays "
            "trays_screen watch"
        ).split()
    ),
    "tests/attack/test_campaign.py",
]
"""Those about the core. Others play it too, but for the darkroom around it, a page or a command."""
TOO_LONG = "test_box_laws.py::TestBox"
"""Left out: a minute and more for each mutant that lives."""
FIRST = 30
"""Of the tests that reach a change so many are played before the others of their files are even loaded."""
MEMORY_BYTES = 3 << 30


class Reached:
    """Plays along with pytest, and notes which functions of the core each test calls, and its seconds."""

    def __init__(self) -> None:
        self.tests: dict[str, dict[str, Any]] = {}
        self.called: set[Any] = set()

    def trace(self, frame: Any, event: str, argument: Any) -> None:
        self.called.add(frame.f_code)

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        self.called.clear()
        began_s = time.process_time()
        sys.settrace(self.trace)
        yield
        sys.settrace(None)
        taken_s = time.process_time() - began_s
        core = f"{CORE}/"
        names = {
            f"{code.co_filename.removeprefix(core)}:{code.co_qualname.replace('.<locals>', '')}"
            for code in self.called
            if code.co_filename.startswith(core)
        }
        if names:
            self.tests[item.nodeid] = {"s": round(taken_s, 3), "calls": sorted(names)}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.tests.pop(report.nodeid, None)
            print(f"does not pass by itself, and is left out: {report.nodeid}")


def make_map() -> None:
    """Play all tests to the core as it is, and keep which reach what."""
    reached = Reached()
    pytest.main(
        [*TESTS, "-p", "no:cacheprovider", "-v", f"--deselect=tests/{TOO_LONG}"],
        plugins=[reached],
    )
    KEPT.mkdir(parents=True, exist_ok=True)
    REACHED.write_text(json.dumps(reached.tests))


class Choice:
    """Which tests reach what."""

    def __init__(self, tests: dict[str, dict[str, Any]]) -> None:
        self.tests = tests
        self.by_function: dict[str, set[str]] = defaultdict(set)
        self.by_module: dict[str, set[str]] = defaultdict(set)
        for test, own in tests.items():
            for call in own["calls"]:
                self.by_function[call].add(test)
                self.by_module[call.partition(":")[0]].add(test)
        self.users = _users()

    def for_mutant(self, mutant: Mutant) -> list[str]:
        """The tests that reach its change, the fastest first."""
        if mutant.inside:
            found = self.by_function[f"{mutant.module}:{mutant.inside}"]
        else:
            # What a file sets when it is loaded reaches whoever names it.
            found = set().union(*(self.by_function[user] for user in self.users[mutant.sets]))
        found = found or self.by_module[mutant.module]
        return sorted(found, key=lambda test: (self.tests[test]["s"], test))


def _users() -> dict[str, set[str]]:
    """Name -> functions of the core in which it stands, those that use what is set by it included."""
    users: dict[str, set[str]] = defaultdict(set)
    sets: dict[str, set[str]] = defaultdict(set)

    def look(module: str, node: ast.AST, inside: list[str], setting: str) -> None:
        for child in ast.iter_child_nodes(node):
            own, set_here = inside, setting
            if isinstance(child, ast.FunctionDef | ast.ClassDef):
                own = [*inside, child.name]
            elif isinstance(child, ast.Assign) and not inside and isinstance(child.targets[0], ast.Name):
                set_here = child.targets[0].id
            elif isinstance(child, ast.Name | ast.Attribute):
                name = child.id if isinstance(child, ast.Name) else child.attr
                if own:
                    users[name].add(f"{module}:{'.'.join(own)}")
                elif set_here and set_here != name:
                    sets[name].add(set_here)
            look(module, child, own, set_here)

    for path in CORE.rglob("*.py"):
        look(path.relative_to(CORE).as_posix(), ast.parse(path.read_text()), [], "")
    for name, others in sets.items():
        for other in others:
            users[name] |= users[other]
    return users


# --- one mutant


class Played:
    """In the process of one mutant: the tests chosen, in their order, each with its limit of time."""

    def __init__(self, order: list[str], seconds: dict[str, float]) -> None:
        self.order = {test: at for at, test in enumerate(order)}
        self.seconds = seconds
        self.count = 0
        self.test = self.failed = ""

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted(
            (item for item in items if item.nodeid in self.order), key=lambda item: self.order[item.nodeid]
        )

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        self.test = item.nodeid
        self.count += 1
        signal.alarm(int(5 + 10 * self.seconds[item.nodeid]))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.failed:
            self.failed = report.nodeid

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed and not self.failed:
            self.failed = f"{report.nodeid}, which does not load"


def _try(mutant: Mutant, tree: Path, tests: list[str], seconds: dict[str, float], tell: int) -> NoReturn:
    """In a process of its own: play the tests, write what failed to `tell`, and end."""
    os.setsid()
    nothing = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(nothing, stream)
    os.chdir(tree)
    os.environ.update(CI="true", PYTHONDONTWRITEBYTECODE="1")
    sys.dont_write_bytecode = True
    paths = [str(tree), str(tree / "firmware"), str(tree / "tools")]
    os.environ["PYTHONPATH"] = os.pathsep.join(paths)
    sys.path[:0] = paths
    for name in [own for own in sys.modules if own == "tests" or own.startswith("tests.")]:
        del sys.modules[name]
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    played = Played(tests, seconds)

    def say(failed: str) -> NoReturn:
        os.write(tell, json.dumps({"by": failed, "tests": played.count}).encode())
        os.killpg(0, signal.SIGKILL)
        raise AssertionError

    def too_long(*_: object) -> None:
        say(f"{played.test}, which takes too long")

    signal.signal(signal.SIGALRM, too_long)
    for part in (tests[:FIRST], tests[FIRST:]):
        files = sorted({test.partition("::")[0] for test in part})
        if part and not played.failed:
            signal.alarm(120)  # to load them
            played.order = {test: at for at, test in enumerate(part)}
            pytest.main(
                ["-x", "-p", "no:cacheprovider", "-p", "no:xdist", "--tb=no", *files], plugins=[played]
            )
    say(played.failed)


def _try_apart(mutant: Mutant, tree: Path, tests: list[str], seconds: dict[str, float]) -> dict[str, Any]:
    """Try it in a copy of the tree, in a process of its own."""
    place = tree / "firmware" / "timing_core" / mutant.module
    was = place.read_text()
    place.write_text(mutant.source)
    read, write = os.pipe()
    began_s = time.monotonic()
    try:
        pid = os.fork()
        if not pid:
            with contextlib.suppress(BaseException):
                _try(mutant, tree, tests, seconds, write)
            os._exit(1)
        os.close(write)
        said = os.read(read, 65536)
        os.waitpid(pid, 0)
    finally:
        os.close(read)
        place.write_text(was)
    told = json.loads(said) if said else {"by": "the end of the process", "tests": 0}
    return {**told, "s": round(time.monotonic() - began_s, 1)}


def _copy() -> Path:
    tree = Path(tempfile.mkdtemp(prefix="mutants-")) / "tree"
    shutil.copytree(ROOT, tree, ignore=shutil.ignore_patterns(".git", ".venv", "build", ".*_cache"))
    for cache in tree.rglob("__pycache__"):
        shutil.rmtree(cache)  # a mutant of the same second and length would be taken for what was compiled
    return tree


# --- the sample


def _within(tests: list[str], seconds: dict[str, float], limit_s: float) -> list[str]:
    """The first of them, as many as take `limit_s` together."""
    chosen, taken_s = [], 0.0
    for test in tests:
        taken_s += seconds[test]
        if chosen and taken_s > limit_s:
            break
        chosen.append(test)
    return chosen


def sample_of(number: int, seed: int) -> list[Mutant]:
    """The named ones, and so many others by chance."""
    named = named_mutants()
    keys = {mutant.key for mutant in named}
    others = [mutant for mutant in all_mutants() if mutant.key not in keys]
    return named + random.Random(seed).sample(others, max(0, number - len(named)))


def known_verdicts() -> dict[str, dict[str, Any]]:
    found = {}
    if VERDICTS.exists():
        for line in VERDICTS.read_text().splitlines():
            own = json.loads(line)
            found[own["key"]] = own
    return found


def play(sample: Iterable[Mutant], choice: Choice, jobs: int, limit_s: float) -> None:
    """Try each, and keep what became of it."""
    seconds = {test: own["s"] for test, own in choice.tests.items()}
    for name in LOADED:
        importlib.import_module(name)
    trees: Queue[Path] = Queue()
    for _ in range(jobs):
        trees.put(_copy())

    def one(mutant: Mutant) -> None:
        tree = trees.get()
        try:
            tests = _within(choice.for_mutant(mutant), seconds, limit_s)
            told = _try_apart(mutant, tree, tests, seconds)
        finally:
            trees.put(tree)
        own = {
            "key": mutant.key,
            "where": f"{mutant.module}:{mutant.line}",
            "what": mutant.what,
            "of": len(tests),
            **told,
        }
        with VERDICTS.open("a") as file:
            file.write(json.dumps(own) + "\n")
        became = f"killed by {own['by']}" if own["by"] else "survived"
        print(f"{own['where']} {own['what']}: {became}, {own['s']} s", flush=True)

    try:
        with ThreadPoolExecutor(jobs) as pool:
            list(pool.map(one, sample))
    finally:
        while not trees.empty():
            shutil.rmtree(trees.get().parent)


def report(sample: list[Mutant]) -> bool:
    """Print what became of each; False if more than a tenth have survived."""
    verdicts = known_verdicts()
    tried = [(mutant, verdicts[mutant.key]) for mutant in sample if mutant.key in verdicts]
    survivors = [(mutant, own) for mutant, own in tried if not own["by"]]
    for mutant, own in survivors:
        print(f"\nsurvived {own['tests']} of {own['of']} tests: {mutant.module}:{mutant.line} {mutant.what}")
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
    parser.add_argument("--limit", type=float, default=60, help="seconds of tests to a mutant (%(default)s)")
    parser.add_argument("--map", action="store_true", help="find anew which tests reach what")
    parser.add_argument("--again", action="store_true", help="try once more what has survived")
    parser.add_argument("--report", action="store_true", help="what is known, and try nothing")
    given = parser.parse_args(arguments)
    sample = sample_of(given.sample, given.seed)
    if not given.report:
        if given.map or not REACHED.exists():
            make_map()
        known = known_verdicts()
        left = [own for own in sample if own.key not in known or (given.again and not known[own.key]["by"])]
        play(left, Choice(json.loads(REACHED.read_text())), given.jobs, given.limit)
    return 0 if report(sample) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
