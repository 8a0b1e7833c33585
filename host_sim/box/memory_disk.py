"""Where a box keeps its records if nobody gives it a place: in memory. See `timing_core.records.store`.

Portable: CPython and MicroPython. What fails, fills up or counts derives from it.
"""


class MemoryDisk:
    """Forgotten when the simulator ends, kept over a reset."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}

    def names(self) -> list[str]:
        return list(self.files)

    def read(self, name: str) -> bytes | None:
        return self.files.get(name)

    def write(self, name: str, data: bytes) -> None:
        self.files[name] = data

    def remove(self, name: str) -> None:
        self.files.pop(name, None)
