"""Where a simulated box keeps its records for another day: a directory. See `timing_core.records.store`."""

from __future__ import annotations

import os
from pathlib import Path


class DirectoryDisk:
    """One file a record. OSError where the directory cannot be used; what is kept survives a power cut."""

    def __init__(self, path: Path) -> None:
        path.mkdir(parents=True, exist_ok=True)
        self._path = path

    def names(self) -> list[str]:
        return [entry.name for entry in self._path.iterdir() if entry.is_file()]

    def read(self, name: str) -> bytes | None:
        try:
            return (self._path / name).read_bytes()
        except FileNotFoundError:
            return None

    def write(self, name: str, data: bytes) -> None:
        with (self._path / name).open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())

    def remove(self, name: str) -> None:
        (self._path / name).unlink(missing_ok=True)
