"""The state diagram of the box, drawn from its transition table as Mermaid text."""

from collections.abc import Iterator

from timing_core.machine.transitions import STATES, transitions

CONTROLS = {"expose": "EXPOSE", "lamp": "LAMP", "back": "BACK", "dial": "turn", "press": "press"}
BEFORE = "where it was lit from"


def diagram() -> None:
    """Print the box's states and what leads from one to another, as Mermaid text."""
    print("\n".join(lines()))


def lines() -> Iterator[str]:
    yield "stateDiagram-v2"
    for name, about in STATES:
        yield f"    {name}: {name}<br/>{about}"
    yield f"    before: {BEFORE}"
    arrows: dict[tuple[str, str], list[str]] = {}
    for state, event, when, _, then, says in transitions():
        if state != then:
            label = CONTROLS.get(event, event.replace("_", " "))
            label += f" ({when.replace('_', ' ')})" if when else ""
            label += f" {says.replace('@', '…')}" if says else ""
            arrows.setdefault((state, then), []).append(label)
    yield "    [*] --> off"
    for (state, then), labels in arrows.items():
        yield f"    {state} --> {then}: {'<br/>'.join(labels)}"
