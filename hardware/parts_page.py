"""The parts page: the board in a browser, with every part's place, its step and boxes to tick.

What must live here: how the page of InteractiveHtmlBom (MIT) is made the same every time, and which parts it
lists. It runs under the Python that KiCad came with, with interactivehtmlbom installed: `make parts-page`.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET
from importlib.metadata import files
from pathlib import Path
from typing import Any

from hardware.circuit import HERE, Circuit, read_circuit

BOARD = HERE / "made" / "board" / "lampblack.kicad_pcb"
PAGE = HERE / "made" / "parts.html"
FIELDS = ("Step", "Value", "What")
DATA = re.compile(r"^var pcbdata = (\{.*\})$", re.M)
OPTIONS = (
    *("--no-browser", "--no-compression", "--include-nets", "--highlight-pin1", "all"),
    *("--checkboxes", "Got,In", "--mark-when-checked", "In"),
    *("--show-fields", ",".join(FIELDS), "--group-fields", ",".join(FIELDS)),
)


class PageError(Exception):
    """The page was not made: one line."""


def listed(circuit: Circuit) -> list[str]:
    """What is bought and soldered."""
    return [part.ref for part in circuit.parts.values() if part.fitted and part.kind != "test-point"]


def made(circuit: Circuit, tool: Path) -> str:
    """PageError where the tool does not make it."""
    left_out = [ref for ref in circuit.parts if ref not in listed(circuit)]
    left_out += [f"H{number + 1}" for number in range(len(circuit.board["holes"]))]
    with tempfile.TemporaryDirectory() as folder:
        board, fields = Path(folder) / "lampblack.kicad_pcb", Path(folder) / "fields.xml"
        shutil.copyfile(BOARD, board)
        _write_fields(circuit, fields)
        # Told by its time whether it is older than the board.
        os.utime(board, (0, 0))
        command = [str(tool), *OPTIONS, "--blacklist", ",".join(left_out), "--extra-data-file", str(fields)]
        command += ["--dest-dir", folder, "--name-format", "page", str(board)]
        done = subprocess.run(
            command,
            capture_output=True,
            text=True,
            env={**os.environ, "INTERACTIVE_HTML_BOM_NO_DISPLAY": "1"},
        )
        page = Path(folder) / "page.html"
        if done.returncode or not page.exists():
            raise PageError(f"The parts page was not made: {done.stderr.strip().splitlines()[-1:]}")
        return _steady(page.read_text("utf-8"), circuit)


def _write_fields(circuit: Circuit, file: Path) -> None:
    """What the board's file does not say of a part, as KiCad's schematics say it."""
    root = ET.Element("export", version="D")
    components = ET.SubElement(root, "components")
    for part in circuit.parts.values():
        component = ET.SubElement(components, "comp", ref=part.ref)
        ET.SubElement(component, "value").text = part.value
        fields = ET.SubElement(component, "fields")
        for name, value in (("Step", f"{part.step}"), ("What", part.what)):
            ET.SubElement(fields, "field", name=name).text = value
    ET.ElementTree(root).write(file, encoding="utf-8", xml_declaration=True)


def _steady(page: str, circuit: Circuit) -> str:
    """With no date, in the order of the build, and without drawings that nobody needs here."""
    found = DATA.search(page)
    if not found:
        raise PageError("The parts page was not made: its data are not where they were.")
    data: dict[str, Any] = json.loads(found[1])
    data["metadata"] |= {
        "title": circuit.board["name"],
        "revision": circuit.board["version"],
        "date": "",
    }
    data["drawings"]["fabrication"] = {"F": [], "B": []}
    for side in ("both", "F", "B"):
        data["bom"][side].sort(key=lambda row: min(circuit.parts[ref].step for ref, _ in row))
    text = json.dumps(data, separators=(",", ":"), sort_keys=True)
    page = page[: found.start(1)] + text + page[found.end(1) :]
    head, html, rest = page.partition("<html")
    return f"{head}<!-- Made with InteractiveHtmlBom.\n{_licence()}-->\n{html}{rest}"


def _licence() -> str:
    """Of the tool, whose program is in the page."""
    found = [file for file in files("InteractiveHtmlBom") or [] if file.name == "LICENSE"]
    if not found:
        raise PageError("The parts page was not made: interactivehtmlbom has no licence with it.")
    return found[0].read_text("utf-8")


def main() -> int:
    tool = Path(sys.executable).with_name("generate_interactive_bom")
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else PAGE
    try:
        target.write_text(made(read_circuit(), tool), "utf-8")
    except (PageError, OSError) as fault:
        print(fault, file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
