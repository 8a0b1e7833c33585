"""What the pages of the build take from the source: the parts list, and tables in other pages.

What must live here: how the source is put in words for a person who buys and solders. It may not know how a
board or a drawing is made.
"""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from pathlib import Path

from hardware import breadboard, probes, wiring
from hardware.checks import ohms, power
from hardware.checks.faults import read_table
from hardware.circuit import HERE, Circuit, Part, read_circuit
from hardware.drawings import practice


def parts_lists(circuit: Circuit) -> str:
    """What is on the board, a list for each step of the build."""
    text = "\n\n"
    for step, title in circuit.steps.items():
        kinds: dict[tuple[str, str], list[Part]] = defaultdict(list)
        for part in circuit.parts.values():
            if part.step == step and part.fitted and part.kind != "test-point":
                kinds[part.kind, part.value].append(part)
        if not kinds:
            continue
        text += f"### {step}. {title}\n\n| how many | value | what | which |\n| --- | --- | --- | --- |\n"
        for (_, value), parts in kinds.items():
            refs = ", ".join(part.ref for part in parts)
            text += f"| {len(parts)} | {value} | {parts[0].what} | {refs} |\n"
        text += "\n" + _advice(kinds)
    empty = ", ".join(part.ref for part in circuit.parts.values() if not part.fitted)
    text += f"### Places that stay empty\n\nFor a second lamp channel, which nothing drives yet: {empty}.\n\n"
    return text


def bought_table(circuit: Circuit) -> list[str]:
    """What is bought and not on the board: what goes with any box, then what is of the case, by its steps."""
    rows = ["| how many | what | for |", "| --- | --- | --- |"]
    for thing in sorted(circuit.bought, key=lambda thing: thing.step):
        step = f"case, step {thing.step}" if thing.step else "any box"
        words = thing.what
        words += f". In its place: {thing.substitutes}" if thing.substitutes else ""
        words += f". **Never**: {thing.never}" if thing.never else ""
        rows.append(f"| {thing.count} | {words} | {step} |")
    return rows


def _advice(kinds: dict[tuple[str, str], list[Part]]) -> str:
    """What else will do, and what will not, once a class."""
    lines: dict[str, None] = {}
    for parts in kinds.values():
        part = parts[0]
        name = part.what.split(",")[0]
        place = f" In its place: {part.substitutes}." if part.substitutes else ""
        never = f" **Never**: {part.never}." if part.never else ""
        if place or never:
            lines[f"- {name[0].upper()}{name[1:]}.{place}{never}"] = None
    return "\n".join(lines) + "\n\n" if lines else ""


def made_pages() -> dict[Path, str]:
    """Every page that has something made in it, as it should be. A made piece stands between
    `<!-- made: NAME -->` and `<!-- end of NAME -->`."""
    circuit = read_circuit()
    pages: dict[Path, str] = {}
    pieces = {
        ("parts.md", "bought"): "\n".join(["", *bought_table(circuit), ""]),
        ("parts.md", "lists"): parts_lists(circuit),
        ("acceptance.md", "places"): "\n".join(["", *probes.table(circuit), ""]),
        ("acceptance.md", "readings"): "\n".join(["", *ohms.table(), ""]),
        ("README.md", "power"): "\n".join(["", *power.table(circuit), ""]),
        ("README.md", "faults"): _faults_in_words(),
        ("breadboard.md", "parts"): "\n".join(["", *breadboard.part_table(circuit), ""]),
        ("breadboard.md", "wires"): "\n".join(["", *breadboard.wire_table(circuit), ""]),
        ("wiring.md", "practice plug"): "\n".join(["", *practice.parts_table(), ""]),
        ("breadboard.md", "left out"): "\n".join(["", *breadboard.left_out_table(circuit), ""]),
    }
    for part in wiring.connectors(circuit):
        pieces["wiring.md", part.ref] = "\n".join(["", *wiring.table(part), ""])
    for (name, piece), text in pieces.items():
        page = HERE / name
        pages[page] = _with_piece(pages.get(page) or page.read_text("utf-8"), piece, text)
    return pages


def _with_piece(page: str, name: str, text: str) -> str:
    pattern = rf"(<!-- made: {name} -->).*?(<!-- end of {name} -->)"
    return re.sub(pattern, lambda found: f"{found[1]}{text}{found[2]}", page, flags=re.S)


def _faults_in_words() -> str:
    """In one line, for a cell of a table."""
    count = Counter(row[1] for row in read_table())
    parts = ", ".join(f"{number} {does}" for does, number in count.most_common())
    return f"{count.total()}: {parts}; none lights the lamp with no second line, none is lost and not found"


def main() -> None:
    for page, text in made_pages().items():
        page.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
