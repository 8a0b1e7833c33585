"""Writes firmware/board/pins.py from pins.toml, the one source of pins. `make pins` runs it."""

import tomllib
from pathlib import Path

HERE = Path(__file__).parent
TARGET = HERE.parent / "firmware" / "board" / "pins.py"


def pins_text() -> str:
    """The module's text. KeyError for a pin without its GPIO."""
    pins = tomllib.loads((HERE / "pins.toml").read_text(encoding="utf-8"))
    lines = [f"{name.upper()} = {pin['gpio']}" for name, pin in pins.items() if pin["kind"] != "kept-free"]
    head = '"""Which GPIO does what. Generated from hardware/pins.toml by `make pins`: change it there."""'
    return "\n".join([head, "", *lines, ""])


if __name__ == "__main__":
    TARGET.write_text(pins_text(), encoding="utf-8")
