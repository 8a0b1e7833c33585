"""What the documents take from the code: pictures of the panel, the state diagram, the table of settings.

What must live here: how each is made. `make diagram` writes them all; tests/test_docs.py makes them
again and compares. A made piece of a page stands between `<!-- made: NAME -->` and `<!-- end of NAME -->`.
"""

import re
from pathlib import Path

from host_sim.desk import desk_kit
from host_sim.disks import MemoryDisk
from host_sim.picture import png_bytes
from host_sim.script import Player
from host_sim.session import Session
from lampblack import cards, diagram
from lampblack.settings import setting_text
from timing_core.bench import SETTINGS
from timing_core.printing_map import PrintingMap

DOCS = Path(__file__).parent
IMAGES = DOCS / "images"
EXAMPLES = Path(cards.__file__).parent / "examples"
SCALE = 4
LAG_MS = 124

# Sessions at the simulated panel, in the words of its scripts and one more: `picture NAME` takes one.
PRINTING = """
back
picture sheets
dial 2
press
picture shelf
press
dial 1
picture print
press
+1 dial 2
picture change
back
expose
picture ready
expose
wait until left 9.8
picture exposing
expose
picture held
lamp
picture paper
expose
wait until left 2
reset
picture power
"""
STRIP = """
back
dial 1
press
picture strip
expose
expose
wait until ready
expose
wait until ready
picture patch
expose
wait until ready
expose
wait until ready
expose
wait until ready
expose
wait until ready
expose
wait until choose
dial -5
picture choose
press
lamp
lamp
wait 3
picture viewing
"""
REFUSED = """
back
dial 2
press
press
dial 1
press
+1 dial -9
press
expose
picture refused
"""


def pictures() -> dict[str, bytes]:
    """Every picture as a PNG file, by name."""
    found: dict[str, bytes] = {}
    for script in (PRINTING, STRIP, REFUSED):
        session = Session(MemoryDisk(), desk_kit(), panel_ms=100)
        session.power_up()
        session.box.set_bench({"lag_ms": LAG_MS})
        for path in sorted(EXAMPLES.glob("*.toml")):
            session.box.shelf.keep(PrintingMap.from_dict(cards.load(path)))
        player = Player(session)
        for line in script.split("\n"):
            if line.startswith("picture "):
                found[line.split()[1]] = png_bytes(bytes(session.frame()), SCALE)
            else:
                player.play(line)
    return found


def blocks() -> dict[str, str]:
    """Every made piece of a page, by name."""
    return {"states": _states(), "settings": _settings()}


def _states() -> str:
    return "\n".join(["```mermaid", *diagram.lines(), "```"])


def _settings() -> str:
    rows = [
        "| key | on the panel | takes | at first | what it is |",
        "| --- | --- | --- | --- | --- |",
    ]
    for key, label, kind, default, limits, meaning in SETTINGS:
        first = setting_text(key, default) or "nothing"
        rows.append(f"| `{key}` | {label} | {_takes(key, kind, limits)} | {first} | {meaning} |")
    return "\n".join(rows)


def _takes(key: str, kind: str, limits: tuple) -> str:
    if kind == "choice":
        return ", ".join(limits)
    if kind == "filters":
        return f"{limits[0]} to {limits[1]} names, with commas"
    if kind in ("filter", "text"):
        return f"up to {limits[1]} characters"
    return f"{setting_text(key, limits[0])} to {setting_text(key, limits[1])}"


def with_blocks(page: str) -> str:
    """`page` with every made piece as it is made today. KeyError for one that nobody makes."""
    made = blocks()

    def today(match: re.Match[str]) -> str:
        return f"{match[1]}\n{made[match[2]]}\n{match[3]}"

    return re.sub(r"(<!-- made: (\w+) -->)\n.*?(<!-- end of \2 -->)", today, page, flags=re.DOTALL)


def main() -> None:
    for name, png in pictures().items():
        (IMAGES / f"{name}.png").write_bytes(png)
    for path in DOCS.glob("*.md"):
        page = path.read_text(encoding="utf-8")
        if with_blocks(page) != page:
            path.write_text(with_blocks(page), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
