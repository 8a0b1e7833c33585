"""`python -m tests.attack.mutation`: do the tests see a core that is wrong?

What must live here: which tests are played to a mutant, and what became of it. How mutants are made is in
`mutants`. First the core's tests are played once to the core as it is, and which of its functions each calls
is kept in `build/mutation`. Then to each mutant those are played that reach what was changed, the fastest
first, until one fails. What became of it is kept by its key, so that a run which was ended goes on.

Each mutant is tried in a process of its own, in a copy of the tree. A test that takes ten times as long as it
does counts as failed: it would hang. What has survived LIMIT_S of tests counts as survived.
"""

from __future__ import annotations

import argparse
import ast
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
from collections import defaultdict
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from queue import Queue
from typing import Any, NoReturn

import pytest
from hypothesis import settings

from tests.attack.mutants import CORE, ROOT, Mutant, all_mutants, named_mutants

KEPT = ROOT / "build" / "mutation"
REACHED, VERDICTS = KEPT / "reached.json", KEPT / "verdicts.jsonl"
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
EXAMPLES = 12
"""So many does each Hypothesis test try here, and always the same."""
TEST_S, TIMES = 25, 10
"""A test that takes so many s of a processor, and so many times as long as it does, does not end."""
LIMIT_S = 60
LOAD_S, HANGS_S = 60, 900
"""The same for the files of tests, and by the clock for a mutant as a whole."""
FIRST = 40
"""Of the tests that reach a change so many are played before the files of the others are even loaded."""
MEMORY_BYTES = 3 << 30
TESTS = (
    "bench_settings box cards carrying cell_tests clock counting flash_stage guided guided_paper "
    "kept_flash legible light_cell light_cell_screen link main no_allocation paper_rows piezo "
    "printing_map recovery run screens start_delay stops store_power_cut strip ticks trace transitions "
    "tray_files trays trays_screen watch box_laws papers lying_cell another_map"
)
"""Those about the core, of tests/test_NAME.py, and all of tests/portable. Others play it too, but for the
darkroom around it, a page or a command."""
LEFT_OUT = "tests/test_box_laws.py::TestBox"
"""A minute and more for each mutant that lives."""
OPTIONS = ["-p", "no:cacheprovider", "-p", "no:xdist", "--assert=plain", f"--deselect={LEFT_OUT}"]


def files_of_tests() -> list[str]:
    return [
        *(path.relative_to(ROOT).as_posix() for path in sorted((ROOT / "tests/portable").glob("test_*.py"))),
        *(f"tests/test_{name}.py" for name in TESTS.split()),
        "tests/attack/test_campaign.py",
    ]


def with_few_examples(items: list[pytest.Item]) -> None:
    for item in items:
        test = getattr(item, "obj", None)
        test = getattr(test, "__func__", test)
        own = getattr(test, "_hypothesis_internal_use_settings", None)
        if own is not None and own.max_examples > EXAMPLES:
            test._hypothesis_internal_use_settings = settings(own, max_examples=EXAMPLES)


# --- which tests reach what


class Reached:
    """Plays along with pytest, and notes which functions of the core each test calls, and its seconds."""

    def __init__(self, core: str) -> None:
        self.core = core
        self.tests: dict[str, dict[str, Any]] = {}
        self.called: set[Any] = set()

    def trace(self, frame: Any, event: str, argument: Any) -> None:
        self.called.add(frame.f_code)

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        with_few_examples(items)

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Any:
        self.called.clear()
        began_s = time.process_time()
        sys.settrace(self.trace)
        yield
        sys.settrace(None)
        taken_s = time.process_time() - began_s
        names = {
            f"{code.co_filename.removeprefix(self.core)}:{code.co_qualname.replace('.<locals>', '')}"
            for code in self.called
            if code.co_filename.startswith(self.core)
        }
        if names:
            own = self.tests.setdefault(item.nodeid, {})
            own |= {"s": round(taken_s, 3), "calls": sorted(names)}

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.tests.setdefault(report.nodeid, {})["fails"] = True


def make_map(jobs: int) -> None:
    """Play all tests to the core as it is, in copies of the tree, and keep which reach what. What fails there
    is left out."""
    KEPT.mkdir(parents=True, exist_ok=True)
    children = []
    for job in range(jobs):
        tree = copy_of_tree()
        pid = os.fork()
        if not pid:
            go_into(tree)
            reached = Reached(f"{tree}/firmware/timing_core/")
            pytest.main([*OPTIONS, "-q", *files_of_tests()[job::jobs]], plugins=[reached])
            (KEPT / f"reached.{job}").write_text(json.dumps(reached.tests))
            os._exit(0)
        children.append((pid, tree))
    tests: dict[str, Any] = {}
    for job, (pid, tree) in enumerate(children):
        os.waitpid(pid, 0)
        shutil.rmtree(tree.parent)
        part = KEPT / f"reached.{job}"
        tests |= json.loads(part.read_text())
        part.unlink()
    for test in [test for test, own in tests.items() if own.get("fails")]:
        print(f"left out, since it fails by itself: {test}")
        del tests[test]
    REACHED.write_text(json.dumps(tests))


class Choice:
    """Which tests reach what."""

    def __init__(self, tests: dict[str, dict[str, Any]]) -> None:
        self.by_function: dict[str, set[str]] = defaultdict(set)
        self.by_module: dict[str, set[str]] = defaultdict(set)
        for test, own in tests.items():
            for call in own["calls"]:
                self.by_function[call].add(test)
                self.by_module[call.partition(":")[0]].add(test)
        self.seconds = {test: own["s"] for test, own in tests.items()}
        self.users = _users()

    def for_mutant(self, mutant: Mutant) -> list[str]:
        """The tests that reach its change, the fastest first."""
        if mutant.inside:
            found = self.by_function[f"{mutant.module}:{mutant.inside}"]
        else:
            # What a file sets when it is loaded reaches whoever names it.
            found = set().union(*(self.by_function[user] for user in self.users[mutant.sets]))
        found = found or self.by_module[mutant.module]
        # Of tests that differ in their parameters alone, one goes before the next of another.
        by_name: dict[str, list[str]] = defaultdict(list)
        for test in sorted(found, key=lambda test: (self.seconds[test], test)):
            by_name[test.partition("[")[0]].append(test)
        ranks = {test: rank for same in by_name.values() for rank, test in enumerate(same)}
        return sorted(found, key=lambda test: (ranks[test], self.seconds[test], test))


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
    # The tests have the table bound once for all of them: after that, who looks for a row uses it.
    users["TRANSITIONS"].add("machine/machine.py:Machine.row")
    return users


# --- one mutant


class Played:
    """In the process of one mutant: the chosen tests, in their order, each with its limit."""

    def __init__(self, seconds: dict[str, float]) -> None:
        self.seconds = seconds
        self.order: dict[str, int] = {}
        self.count = 0
        self.is_all = True
        self.test = self.failed = ""

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        items[:] = sorted(
            (item for item in items if item.nodeid in self.order), key=lambda item: self.order[item.nodeid]
        )
        with_few_examples(items)

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        self.test = item.nodeid
        self.count += 1
        if time.process_time() > LIMIT_S:
            self.is_all = False
            item.session.shouldstop = "the limit of tests to a mutant"  # type: ignore[attr-defined]
        signal.setitimer(signal.ITIMER_PROF, TEST_S + TIMES * self.seconds[item.nodeid])

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.failed:
            self.failed = report.nodeid

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed and not self.failed:
            self.failed = f"{report.nodeid}, which does not load"


def go_into(tree: Path) -> None:
    """In a process of its own: play the tests of `tree`, and say nothing."""
    os.setsid()
    nothing = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(nothing, stream)
    os.chdir(tree)
    paths = [str(tree), str(tree / "firmware"), str(tree / "tools")]
    os.environ.update(CI="true", PYTHONDONTWRITEBYTECODE="1", PYTHONPATH=os.pathsep.join(paths))
    sys.dont_write_bytecode = True
    sys.path[:0] = paths
    anew = ("tests", "timing_core", "host_sim", "lampblack", "firmware")  # not as this process has them
    for name in [own for own in sys.modules if own.partition(".")[0] in anew]:
        del sys.modules[name]
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))


def _play_in(tree: Path, tests: list[str], seconds: dict[str, float], tell: int) -> NoReturn:
    """In a process of its own: play the tests, write what failed to `tell`, and end."""
    go_into(tree)
    played = Played(seconds)

    def say(failed: str) -> NoReturn:
        told = {"by": failed, "tests": played.count, "all": played.is_all, "s": round(time.process_time(), 1)}
        os.write(tell, json.dumps(told).encode())
        os.killpg(0, signal.SIGKILL)
        raise AssertionError

    def hangs(*_: object) -> None:
        say(f"{played.test or 'loading'}, which does not end")

    signal.signal(signal.SIGPROF, hangs)
    signal.signal(signal.SIGALRM, hangs)
    signal.alarm(HANGS_S)
    signal.setitimer(signal.ITIMER_PROF, LOAD_S)
    for part in (tests[:FIRST], tests[FIRST:]):
        if part and not played.failed:
            played.order = {test: at for at, test in enumerate(part)}
            files = sorted({test.partition("::")[0] for test in part})
            pytest.main(["-x", *OPTIONS, *files], plugins=[played])
    say(played.failed)


def try_apart(mutant: Mutant, tree: Path, tests: list[str], seconds: dict[str, float]) -> dict[str, Any]:
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
                _play_in(tree, tests, seconds, write)
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


def play(sample: Iterable[Mutant], choice: Choice, jobs: int) -> None:
    """Try each, and keep what became of it."""
    trees: Queue[Path] = Queue()
    for _ in range(jobs):
        trees.put(copy_of_tree())

    def one(mutant: Mutant) -> None:
        tree = trees.get()
        try:
            told = try_apart(mutant, tree, choice.for_mutant(mutant), choice.seconds)
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
    parser.add_argument("--map", action="store_true", help="find anew which tests reach what")
    parser.add_argument("--again", action="store_true", help="try once more what has survived")
    parser.add_argument("--report", action="store_true", help="what is known, and try nothing")
    given = parser.parse_args(arguments)
    sample = sample_of(given.sample, given.seed)
    if not given.report:
        known = known_verdicts()
        left = [own for own in sample if own.key not in known or (given.again and not known[own.key]["by"])]
        for name in LOADED:
            importlib.import_module(name)
        if given.map or not REACHED.exists():
            make_map(given.jobs)
        play(left, Choice(json.loads(REACHED.read_text())), given.jobs)
    return 0 if report(sample) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
