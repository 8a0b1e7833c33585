"""The mutants, and that one is told from a core that is right."""

import shutil

import pytest

from tests.attack.mutants import CORE, NAMED, Mutant
from tests.attack.mutation import copy_of_tree, sample_of, try_apart

SECONDS = {"tests/test_ticks.py::test_since_tells_what_has_passed_and_stays_small": 0.1}


def test_the_sample_has_all_named_mutants_and_is_the_same_each_time():
    sample = sample_of(60, 1)
    assert [mutant.what for mutant in sample[: len(NAMED)]] == [what for what, *_ in NAMED]
    assert len({mutant.key for mutant in sample}) == 60
    assert sample_of(60, 1) == sample
    assert sample_of(61, 1)[:60] == sample
    assert sample_of(60, 2) != sample


def test_each_mutant_is_a_file_that_can_be_loaded_and_is_another():
    for mutant in sample_of(60, 3):
        compile(mutant.source, mutant.module, "exec")
        assert mutant.source != (CORE / mutant.module).read_text()
        assert mutant.diff()


@pytest.fixture(scope="module")
def tree():
    made = copy_of_tree()
    yield made
    shutil.rmtree(made.parent)


@pytest.mark.parametrize(
    ("was", "other", "by"),
    [("", "", ""), ("- HALF) - HALF", "- HALF)", "test_since")],
)
def test_a_wrong_core_is_told_from_a_right_one(tree, was, other, by):
    source = (CORE / "ticks.py").read_text()
    mutant = Mutant("ticks.py", 1, "", source.replace(was, other, 1), "")
    told = try_apart(mutant, tree, list(SECONDS), SECONDS)
    assert by in told["by"]
    assert bool(told["by"]) == bool(by)
    assert told["tests"] == 1
