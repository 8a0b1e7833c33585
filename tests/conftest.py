"""What all tests share: one Hypothesis profile, the modules that MicroPython runs, the circuit and its board.

The profile has no time limits, since machines differ, and prints a blob to replay by. Where `CI` is set it
tries the same examples each time, so that a change is judged and not the draw; elsewhere it looks on.
"""

import gc
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import platformdirs
import pytest
from hypothesis import settings

from hardware.circuit import Circuit, read_circuit
from hardware.layout import Layout, read_layout
from tests.micropython import compile_all
from timing_core.box import DO, WHEN
from timing_core.machine.machine import Machine

settings.register_profile("lampblack", deadline=None, print_blob=True, derandomize="CI" in os.environ)
settings.load_profile("lampblack")


BOUND = ("_events", "_asked", "_starts", "_rows", "_words", "_calls")
"""What a machine keeps of the table of transitions."""


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One more than there are processors: the tests of the page wait most of their time."""
    return (os.cpu_count() or 1) + 1


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The longest test first: begun last, it would run on alone."""
    items.sort(key=lambda item: not item.nodeid.endswith("::TestBox::runTest"))


def pytest_collection_finish() -> None:
    """What is there by now stays to the end: no collection of garbage needs to look through it again. And
    the garbage of tests is little, so that looking less often is enough."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


@pytest.fixture(scope="session", autouse=True)
def _own_data(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """The data folder of whoever runs the tests is left alone, by what they start as well."""
    folder = tmp_path_factory.mktemp("data")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(folder))
        patch.delenv("LAMPBLACK_DATABASE", raising=False)
        patch.setattr(platformdirs, "user_data_path", lambda name, **_: folder / name)
        yield


@pytest.fixture(scope="session", autouse=True)
def _table_bound_once() -> Iterator[None]:
    """Every box looks up the names of the same table, which takes most of the time that making it takes: the
    first does, and each that comes after has what that one found."""
    bind = Machine._bind
    bound: dict[str, Any] = {}

    def bind_once(machine: Machine, when: dict, do: dict) -> None:
        if when is not WHEN or do is not DO:
            bind(machine, when, do)
        elif bound:
            vars(machine).update(bound)
        else:
            bind(machine, when, do)
            bound.update({name: vars(machine)[name] for name in BOUND})

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Machine, "_bind", bind_once)
        yield


@pytest.fixture(scope="session")
def compiled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of all that runs under MicroPython, compiled once. Nothing else is put there."""
    return compile_all(tmp_path_factory.mktemp("mpy"))


@pytest.fixture(scope="session")
def circuit() -> Circuit:
    """As the parts file has it. No test changes it."""
    return read_circuit()


@pytest.fixture(scope="session")
def layout() -> Layout:
    """Of the finished board. No test changes it."""
    return read_layout()
