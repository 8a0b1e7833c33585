"""Fixtures of the rig: an emulated Pico with its panel, keys and cable."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import pytest

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
