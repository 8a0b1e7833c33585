"""Few files: on the board the core is two modules and the board's own code two more, because each file takes
some 150 bytes of a board's memory and 10 ms of its start, and each name that one imports from another 10
bytes more.

The core is not one module, because MicroPython finds a name among a module's names by eight bits of a hash.
One module had 314 of them, and each global took up to 0.1 ms to find: EXPOSE lit the lamp 1 ms later.

What must live here: which modules are put together, and how. It changes nothing else of a source.
"""

import ast
import re
from collections.abc import Iterable, Mapping

from lampblack.board.syntax_trees import walk

APART = (
    # What the board has before anything else
    "board.crash",
    "board.pins",
    # What is loaded when it is asked for
    "board.light_cell",
    "timing_core.light.paper_record",
    "timing_core.panel.bench_screen",
    "timing_core.panel.carry_screen",
    "timing_core.panel.counting",
    "timing_core.panel.flash_rows",
    "timing_core.panel.ledger_screen",
    "timing_core.panel.light_cell_screen",
    "timing_core.panel.listen_screen",
    "timing_core.panel.paper_rows",
    "timing_core.panel.shelf_screen",
    "timing_core.panel.strip_screen",
    "timing_core.panel.tests_screen",
    "timing_core.panel.trays_screen",
    # What it lets go of when it has started
    "timing_core.machine.recovery",
    "timing_core.machine.transitions",
    "timing_core.panel.glyphs",
)
"""Modules that are files of their own on the board."""

EARLY = "board.start"
"""A file for what else the board has before anything of the core."""

TOP = {
    "board": "board.assembly",
    **dict.fromkeys(
        ("board.chip", "board.pulse", "board.scratch", "board.texts", "board.watchdog"),
        EARLY,
    ),
    "timing_core.light.carrying": "timing_core.panel.carry_screen",
    "timing_core.light.guided": "timing_core.panel.tests_screen",
    "timing_core.light.lamp_metering": "timing_core.panel.tests_screen",
    "timing_core.machine.cell_doses": "timing_core.panel.tests_screen",
    "timing_core.light.tray_sequence": "timing_core.panel.trays_screen",
    "timing_core.light.metering": "timing_core.panel.light_cell_screen",
    "timing_core.machine.cell_strips": "timing_core.panel.light_cell_screen",
    "timing_core.machine.light_cell": "timing_core.panel.light_cell_screen",
    "timing_core.light.tray_times": "timing_core.panel.trays_screen",
    "timing_core.machine.tray_setup": "timing_core.panel.trays_screen",
    "timing_core": "timing_core.box",
    **dict.fromkeys(
        (
            "timing_core.__init__",
            "timing_core.canonical",
            "timing_core.light",
            "timing_core.platform",
            "timing_core.records",
            "timing_core.refusal",
            "timing_core.ticks",
        ),
        "timing_core.records.ledger",
    ),
}
"""Where a module, or a folder, or a package, goes: to a module that none of the others with it imports."""

NAMES_MAX = 250
"""In a file, what it imports among them."""

CORE = ("timing_core.box", "timing_core.records.ledger")
AT_HAND = ("len", "max", "min")
"""Python's own names that the files of CORE have among theirs, where they use them. Python's are looked for
last, and to find that a file of so many names has none such takes a board 0.05 ms."""


def merged(sources: Mapping[str, str]) -> dict[str, str]:
    """`sources` (module -> source) with the modules of each package as one, in the order in which they import
    each other. ValueError if two modules of a package make the same name."""
    trees = {module: ast.parse(source) for module, source in sources.items()}
    homes = {module.removesuffix(".__init__"): file_of(module) for module in trees}
    for tree in trees.values():
        for node in walk(tree):
            if isinstance(node, ast.ImportFrom) and node.module in homes:
                node.module = homes[node.module]
    found: dict[str, list[ast.stmt]] = {}
    for module in _in_order(sources):
        found.setdefault(file_of(module), []).extend(trees[module].body)
    for home in CORE:
        if home in found:
            found[home][:0] = _at_hand(found[home])
    return {home: ast.unparse(_one(home, body)) for home, body in found.items()}


def file_of(module: str) -> str:
    """The module that `module` is part of on the board, which is a file there. Packages stay what they are,
    and so do MicroPython's own modules."""
    package, _, name = module.partition(".")
    if not name or module in APART:
        return module
    folder = f"{package}.{name.partition('.')[0]}"
    return TOP.get(module) or TOP.get(folder) or TOP.get(package, module)


def in_files(source: str) -> str:
    """A program for these modules as one for the files that they are part of."""
    return re.sub(
        r"(?<=from )(?:board|timing_core)\.[.\w]+(?= import)", lambda found: file_of(found[0]), source
    )


def _in_order(sources: Mapping[str, str]) -> list[str]:
    """The modules, each after those it imports."""
    order: list[str] = []

    def put(module: str) -> None:
        if module in sources and module not in order:
            for node in ast.parse(sources[module]).body:
                if isinstance(node, ast.ImportFrom):
                    put(f"{node.module}.__init__")
                    put(node.module or "")
            order.append(module)

    for module in sources:
        put(module)
    return order


def _at_hand(body: list[ast.stmt]) -> list[ast.stmt]:
    used = {node.id for statement in body for node in walk(statement) if isinstance(node, ast.Name)}
    return [statement for name in AT_HAND if name in used for statement in ast.parse(f"{name} = {name}").body]


def _one(home: str, body: Iterable[ast.stmt]) -> ast.Module:
    """A module of all these statements, each import once, and none from itself."""
    kept: list[ast.stmt] = []
    made: dict[str, object] = {}

    def is_new(name: str, source: object) -> bool:
        if name not in made:
            made[name] = source
            return True
        if made[name] != source:
            raise ValueError(f"{name} would be two things in {home} on the board. Rename one of them.")
        return False

    for statement in body:
        match statement:
            case ast.Expr(value=ast.Constant()):
                continue  # the docstring of a module
            case ast.Import(names=[ast.alias(name=name, asname=None)]):
                if not is_new(name, name):
                    continue
            case ast.ImportFrom(module=str(source)):
                if source == home:
                    continue
                statement.names = [name for name in statement.names if is_new(name.name, source)]
                if not statement.names:
                    continue
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
                is_new(name, statement)
            case ast.Assign(targets=[ast.Name(id=name)]) | ast.AnnAssign(target=ast.Name(id=name)):
                is_new(name, statement)
        kept.append(statement)
    return ast.Module(kept, [])
