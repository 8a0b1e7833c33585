"""Fixtures of the rig: an emulated Pico with its panel, keys and cable."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import pytest

from tests.rig.box import PicoBox
from tests.rig.circuit import Circuit
from tests.rig.faults import disk_with
from tests.rig.image import find_uf2
from tests.rig.pico import MS, Pico


@pytest.fixture(scope="session")
def uf2() -> Path:
    """MicroPython's image; tests that need it are skipped, with the reason, where there is none."""
    path, reason = find_uf2()
    if path is None:
        pytest.skip(reason)
    return path


@pytest.fixture
def boot(uf2: Path) -> Callable[..., Pico]:
    """`boot(program, files={}, watch=(), mend_pio=True)`: a Pico that has run `program` up to its
    first word on the wire. The program is a main.py; it says "ready" when it has set itself up.
    """

    def made(
        program: str,
        files: Mapping[str, bytes] | None = None,
        watch: Iterable[int] = (),
        mend_pio: bool = True,
    ) -> Pico:
        pico = Pico(uf2, {"main.py": program.encode(), **(files or {})}, watch, mend_pio)
        pico.start()
        pico.wait_for("ready", 3000 * MS)
        return pico

    return made


@pytest.fixture(scope="module")
def in_circuit(request: pytest.FixtureRequest, uf2: Path) -> tuple[PicoBox, Circuit]:
    """A box with everything fitted, that has started, and the circuit around it. Its base is the PRINT_MS of
    the tests."""
    files = disk_with(request.module.PRINT_MS, read_backs=True, second_contact=True)
    box = PicoBox(uf2, probe=True, files=files, start=False)
    circuit = Circuit(box)
    box.pico.start()
    box.wait_for_panel()
    box.wait_for_rest()
    return box, circuit


@pytest.fixture
def played(in_circuit: tuple[PicoBox, Circuit]) -> Callable[[Callable[[PicoBox, Circuit], Any]], Any]:
    """Plays a scenario, given box and circuit, on a copy of both."""
    box, circuit = in_circuit
    return lambda scenario: box.forked(lambda own: scenario(own, circuit))
