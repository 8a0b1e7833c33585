"""Mutants of the core: small wrong changes, each of which some test ought to see.

What must live here: how they are made, and those that every sample has. It runs nothing.

A mutant is one change in one file: another comparison or sum, a constant that is one off, a condition turned
round, nothing returned, a statement left out, `min` for `max`, a row of the transition table left out or
without its condition. Left alone is what cannot be wrong in this way: words, pictures of letters, long tables
of numbers (a test works them out again), imports and annotations.
"""

from __future__ import annotations

import ast
import difflib
import hashlib
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parent.parent.parent
CORE = ROOT / "firmware" / "timing_core"
PICTURES = ("glyphs.py", "stop_table.py")
TABLE_LENGTH = 12
"""A tuple or list of more numbers is a table."""

COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
RECKONED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.FloorDiv,
    ast.FloorDiv: ast.Mult,
    ast.Div: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitOr,
}

_CEILING = "return max(BASE_MAX_MS + lag_ms, 1000 * viewing_s)"
_SETTLED = "since(self.io.now_ms, self._settling_from_ms) >= self._settle_ms()"
_SETTLE_MS = "return max(settle_ms, CONTACT_MS) if self.watch.has_contact else settle_ms"
_STRUCK = "return since(now_ms, self._struck_ms) >= self.lamp_ms + _OVERDUE_MS"
_STOPPED = "return since(now_ms, self._stopped_ms) >= _OVERDUE_MS"


def _of_number(file: str, text: str, number: int, is_const: bool = True) -> list[tuple[str, str, str, str]]:
    """A named number, one more and one less."""
    made = [
        f"{text} = const({own})" if is_const else f"{text} = {own}"
        for own in (number, number + 1, number - 1)
    ]
    return [
        (f"{text} is one {more}", file, made[0], other) for more, other in zip(("more", "less"), made[1:])
    ]


NAMED: list[tuple[str, str, str, str]] = [
    ("the safety ceiling is lower", "light/bench.py", _CEILING, f"{_CEILING} - 1"),
    ("the safety ceiling is higher", "light/bench.py", _CEILING, f"{_CEILING} + 1"),
    *_of_number("light/stops.py", "BASE_MAX_MS", 999900, False),
    *_of_number("machine/strike.py", "_OVERDUE_MS", 250),
    ("overdue a ms later", "machine/strike.py", _STRUCK, _STRUCK.replace(">=", ">")),
    ("put out, overdue a ms later", "machine/strike.py", _STOPPED, _STOPPED.replace(">=", ">")),
    ("no settling time as delivered", "light/bench.py", "|ms|700|0,2000,50", "|ms|0|0,2000,50"),
    ("the settling time is a ms longer", "machine/lamp.py", _SETTLED, _SETTLED.replace(">=", ">")),
    ("the settling time is a ms shorter", "machine/lamp.py", _SETTLED, _SETTLED.replace(" >=", " + 1 >=")),
    ("no settling time for a second contact", "machine/lamp.py", _SETTLE_MS, "return settle_ms"),
    *_of_number("machine/exposing.py", "HOLD_MARGIN_MS", 10, False),
    (
        "the hold has no margin",
        "machine/exposing.py",
        "is_too_short(self.left_ms() - HOLD_MARGIN_MS,",
        "is_too_short(self.left_ms(),",
    ),
    *_of_number("machine/watch.py", "_SENSE_MS", 50),
    *_of_number("machine/watch.py", "CONTACT_MS", 100, False),
    *_of_number("machine/watch.py", "GUARD_MS", 3000, False),
    *_of_number("machine/watch.py", "_SLACK_MS", 2),
]
"""What it is, file, text and other text: the ceiling, what is overdue, the settling time, and the margins."""


class Mutant(NamedTuple):
    """One change: `source` is the whole file with it, and `change` what was changed, and into what. `inside`
    is the function that has it; "" for none, and then `sets` is the name that is set by it."""

    module: str
    line: int
    what: str
    source: str
    change: str
    inside: str = ""
    sets: str = ""

    @property
    def key(self) -> str:
        """The same for the same change of the same file alone."""
        return hashlib.sha256(f"{self.module}\n{self.source}".encode()).hexdigest()[:12]

    def diff(self) -> str:
        was = (CORE / self.module).read_text().splitlines()
        told = difflib.unified_diff(was, self.source.splitlines(), self.module, self.what, "", "", 1, "")
        return "\n".join(told)


class Finder(ast.NodeVisitor):
    """Finds what can be changed in a file, with the text that takes its place."""

    def __init__(self, module: str, source: str) -> None:
        self.module, self.source = module, source
        self.lines = source.encode().splitlines(keepends=True)
        self.found: list[Mutant] = []
        self.inside: list[str] = []
        self.sets = ""

    # --- where

    def visit_FunctionDef(self, node: ast.FunctionDef) -> None:
        for default in node.args.defaults:
            self.visit(default)
        self.inside.append(node.name)
        body = node.body[1:] if ast.get_docstring(node) is not None else node.body
        for statement in body:
            self.visit(statement)
        self.inside.pop()

    def visit_ClassDef(self, node: ast.ClassDef) -> None:
        self.inside.append(node.name)
        for statement in node.body:
            self.visit(statement)
        self.inside.pop()

    def visit_Import(self, node: ast.Import) -> None: ...
    def visit_ImportFrom(self, node: ast.ImportFrom) -> None: ...

    def visit_AnnAssign(self, node: ast.AnnAssign) -> None:
        if node.value is not None:
            self.visit(node.value)

    # --- what

    def change(self, node: ast.expr | ast.stmt, text: str, what: str) -> None:
        before = b"".join(self.lines[: node.lineno - 1]) + self.lines[node.lineno - 1][: node.col_offset]
        assert node.end_lineno is not None
        after = self.lines[node.end_lineno - 1][node.end_col_offset :] + b"".join(
            self.lines[node.end_lineno :]
        )
        source = (before + text.encode() + after).decode()
        inside = ".".join(self.inside)
        change = f"{self.module} {inside}: {ast.unparse(node)} -> {text}"
        self.found.append(Mutant(self.module, node.lineno, what, source, change, inside, self.sets))

    def put(self, node: ast.expr, other: ast.expr, what: str) -> None:
        self.change(node, f"({ast.unparse(other)})", what)

    def visit_Compare(self, node: ast.Compare) -> None:
        for at, own in enumerate(node.ops):
            for other in COMPARED[type(own)]:
                ops = [*node.ops[:at], other(), *node.ops[at + 1 :]]
                self.put(
                    node,
                    ast.Compare(node.left, ops, node.comparators),
                    f"{type(own).__name__} to {other.__name__}",
                )
        self.generic_visit(node)

    def visit_BinOp(self, node: ast.BinOp) -> None:
        other = RECKONED.get(type(node.op))
        if other is not None and not _is_text(node):
            what = f"{type(node.op).__name__} to {other.__name__}"
            self.put(node, ast.BinOp(node.left, other(), node.right), what)
        self.generic_visit(node)

    def visit_AugAssign(self, node: ast.AugAssign) -> None:
        other = RECKONED.get(type(node.op))
        if other is not None and not _is_text(node.value):
            text = ast.unparse(ast.AugAssign(node.target, other(), node.value))
            self.change(node, text, f"{type(node.op).__name__} to {other.__name__}")
        self.change(node, "pass", "left out")
        self.visit(node.value)

    def visit_Assign(self, node: ast.Assign) -> None:
        if self.inside and any(isinstance(target, ast.Attribute) for target in node.targets):
            self.change(node, "pass", "left out")
        if not self.inside and isinstance(node.targets[0], ast.Name):
            self.sets = node.targets[0].id
        self.visit(node.value)
        self.sets = ""

    def visit_Expr(self, node: ast.Expr) -> None:
        if isinstance(node.value, ast.Constant):
            return  # words about what stands above
        if self.inside:
            self.change(node, "pass", "left out")
        self.visit(node.value)

    def visit_Raise(self, node: ast.Raise) -> None:
        self.change(node, "pass", "left out")

    def visit_BoolOp(self, node: ast.BoolOp) -> None:
        other = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        self.put(node, ast.BoolOp(other, node.values), "and for or")
        self.generic_visit(node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> None:
        if isinstance(node.op, ast.Not):
            self.put(node, ast.Call(ast.Name("bool"), [node.operand], []), "turned round")
        elif isinstance(node.op, ast.USub):
            self.put(node, node.operand, "sign")
        self.visit(node.operand)

    def visit_If(self, node: ast.If) -> None:
        self.turn_round(node.test)
        self.generic_visit(node)

    def visit_While(self, node: ast.While) -> None:
        self.turn_round(node.test)
        self.generic_visit(node)

    def visit_IfExp(self, node: ast.IfExp) -> None:
        self.turn_round(node.test)
        self.generic_visit(node)

    def turn_round(self, test: ast.expr) -> None:
        if isinstance(test, ast.Name | ast.Attribute | ast.Call | ast.BoolOp):
            self.put(test, ast.UnaryOp(ast.Not(), test), "turned round")

    def visit_Return(self, node: ast.Return) -> None:
        if node.value is None:
            return
        if not (isinstance(node.value, ast.Constant) and node.value.value is None):
            self.change(node, "return None", "returns None")
        self.visit(node.value)

    def visit_Constant(self, node: ast.Constant) -> None:
        value = node.value
        if isinstance(value, bool):
            self.put(node, ast.Constant(not value), "another truth")
        elif isinstance(value, int | float):
            self.put(node, ast.Constant(value + 1), "one more")
            self.put(node, ast.Constant(value - 1), "one less")

    def visit_Call(self, node: ast.Call) -> None:
        if isinstance(node.func, ast.Name) and node.func.id in ("min", "max"):
            other = "max" if node.func.id == "min" else "min"
            self.change(node.func, other, f"{node.func.id} to {other}")
        self.generic_visit(node)

    def visit_Tuple(self, node: ast.Tuple) -> None:
        self.visit_row(node)

    def visit_List(self, node: ast.List) -> None:
        self.visit_row(node)

    def visit_row(self, node: ast.Tuple | ast.List) -> None:
        if len(node.elts) <= TABLE_LENGTH:
            self.generic_visit(node)


def _is_text(node: ast.expr) -> bool:
    """Words or lists are put together: another sign would be no change that anybody makes."""
    return any(
        isinstance(own, ast.List | ast.Tuple | ast.JoinedStr)
        or (isinstance(own, ast.Constant) and isinstance(own.value, str | bytes))
        for own in ast.walk(node)
    )


def of_table(module: str, source: str) -> Iterator[Mutant]:
    """Rows of the transition table: each left out, and each without its condition."""
    lines = source.splitlines(keepends=True)
    begins = next(at for at, line in enumerate(lines) if line.startswith("TRANSITIONS = "))
    for at in range(begins + 1, len(lines)):
        line = lines[at]
        if line.startswith('"""'):
            return
        if line.startswith("#") or not line.strip():
            continue
        rest = lines[at + 1 :]
        yield Mutant(
            module,
            at + 1,
            "row left out",
            "".join([*lines[:at], *rest]),
            f"without {line}",
            "",
            "TRANSITIONS",
        )
        when = line.split()[2]
        if when != "-":
            always = line.replace(f" {when} ", " - ", 1)
            source = "".join([*lines[:at], always, *rest])
            yield Mutant(module, at + 1, "row always", source, f"always {line}", "", "TRANSITIONS")


def named_mutants() -> list[Mutant]:
    """Those that every sample has."""
    made = []
    for what, module, text, other in NAMED:
        source = (CORE / module).read_text()
        assert source.count(text) == 1, f"{module} has changed: {text}"
        at = source.index(text)
        line = source.count("\n", 0, at) + 1
        name, equals, _ = text.partition(" = ")
        is_outside = module == "light/bench.py" or (bool(equals) and name.isupper())
        inside = "" if is_outside else _function_at(source, line)
        sets = "" if inside else name if equals else "longest_light_ms" if "max(" in text else "TABLE"
        made.append(Mutant(module, line, what, source.replace(text, other), what, inside, sets))
    return made


def _function_at(source: str, line: int) -> str:
    found = ""

    def look(node: ast.AST, names: list[str]) -> None:
        nonlocal found
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.FunctionDef | ast.ClassDef):
                own = [*names, child.name]
                if child.lineno <= line <= (child.end_lineno or 0):
                    if isinstance(child, ast.FunctionDef):
                        found = ".".join(own)
                    look(child, own)

    look(ast.parse(source), [])
    return found


@cache
def all_mutants() -> list[Mutant]:
    """Every mutant of the core, in order, none of them twice."""
    found: dict[str, Mutant] = {}
    for path in sorted(CORE.rglob("*.py")):
        module = path.relative_to(CORE).as_posix()
        if path.name in PICTURES:
            continue
        source = path.read_text()
        finder = Finder(module, source)
        finder.visit(ast.parse(source))
        made = [*finder.found, *(of_table(module, source) if path.name == "transitions.py" else ())]
        for mutant in made:
            found.setdefault(mutant.key, mutant)
    return list(found.values())
