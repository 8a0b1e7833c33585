"""Names on the board: where the firmware has a name of its own, the board's copy has one that MicroPython
keeps in ROM anyway, because a name of its own takes some 15 bytes of a board's memory, 12 KB in all. When
there are no more of them, it has one of two characters: names that are only wanted later go last.

What must live here: which names are the firmware's own, which stand for them, and how to put them back into
what a board says. It changes nothing else of a source.

`rom_names.txt` has the names in ROM, of MicroPython 1.22.2 for the Pico. On another version, one that is
missing takes memory as any name does.
"""

import ast
import builtins
import re
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from string import ascii_lowercase, digits

from lampblack.board.syntax_trees import Transformer, children, walk

ROM_NAMES = frozenset((Path(__file__).parent / "rom_names.txt").read_text().split())
BUILTINS = frozenset(dir(builtins))

SHORT_NAMES = frozenset(first + second for first in ascii_lowercase for second in digits)

FIELDS = ("id", "attr", "arg", "name", "asname", "module")
"""Of a syntax tree: what may hold a name."""


class BorrowedNames:
    """Names for `sources`, the whole firmware: module ("timing_core.box") -> source. Names that occur in
    `kept`, which is source too, stay as they are. The modules of `late` are loaded when they are asked for.

    One name stands for one everywhere, and never for two. A name stays if it is in a string too, if it is a
    module, or if MicroPython may have a meaning for it.
    """

    def __init__(self, sources: Mapping[str, str], kept: str = "", late: Iterable[str] = ()) -> None:
        own: set[str] = set()
        at_once: set[str] = set()
        late = set(late)
        trees = [walk(ast.parse(text)) for text in (kept, *sources.values())]
        self.shared = _shared_among_classes(trees)
        self._called_by = {name for nodes in trees for name in _keywords(nodes)}
        used = set(_used(trees[0]))
        stays = set(used)
        for module, source in sources.items():
            tree = self.by_place(source)
            own |= set(_own(tree))
            nodes = walk(tree)
            used |= set(_used(nodes))
            if module not in late:
                at_once |= set(_used(nodes))
            stays |= {*module.split("."), *_texts(nodes)}
        borrowers = [
            name
            for name in own - stays - ROM_NAMES - BUILTINS
            if not name.startswith("__") and name.isidentifier()
        ]
        # The longest first: there are more of them than names to borrow.
        borrowers.sort(key=lambda name: (name not in at_once, -len(name), name))
        lent = sorted(ROM_NAMES - BUILTINS - used - stays)
        short = sorted(SHORT_NAMES - ROM_NAMES - own - used - stays)
        self.borrowed = dict(zip(borrowers, lent, strict=False))
        self.borrowed |= zip([name for name in borrowers[len(lent) :] if len(name) > 2], short, strict=False)
        self._lenders = {rom: name for name, rom in self.borrowed.items()}

    def in_source(self, source: str) -> str:
        """`source` as the board has it. SyntaxError if it is no Python."""
        tree = _WordsAmongNames().visit(self.by_place(source))
        return _without_tuples(ast.unparse(_Borrower(self.borrowed).visit(tree)))

    def by_place(self, source: str) -> ast.AST:
        """`source` with its arguments named by their places, where no call names them, and with the names
        that classes share."""
        tree = _ByPlace(self._called_by).visit(ast.parse(source))
        for node in walk(tree):
            if isinstance(node, ast.Attribute):
                node.attr = self.shared.get(node.attr, node.attr)
        return tree

    def put_back(self, traceback: str) -> str:
        """A traceback from the board, with the functions' own names."""
        return re.sub(
            r"(?m)^(  File .*, in )(\w+)$",
            lambda found: found[1] + self._lenders.get(found[2], found[2]),
            traceback,
        )


def _without_tuples(source: str) -> str:
    """`a, b = (c, d)` as `a, b = c, d`: MicroPython makes no tuple of that, which would take memory. A
    statement is a line of `source`, as `ast.unparse` writes it."""
    lines = source.split("\n")
    for node in walk(ast.parse(source)):
        match node:
            case ast.Assign(targets=[ast.Tuple()], value=ast.Tuple() as value):
                line = lines[value.lineno - 1]
                start, end = value.col_offset, value.end_col_offset
                lines[value.lineno - 1] = line[:start] + line[start + 1 : (end or 0) - 1] + line[end:]
    return "\n".join(lines)


def _own(node: ast.AST, local: bool = False) -> Iterator[str]:
    """The names that the firmware makes and a board knows by name. Of local variables it does not."""
    match node:
        case ast.FunctionDef(name=name) | ast.ClassDef(name=name) | ast.arg(arg=name):
            yield name
        case ast.Attribute(attr=name, ctx=ast.Store()):
            yield name
        case ast.Name(id=name, ctx=ast.Store()) if not local:
            yield name
    local = isinstance(node, ast.FunctionDef | ast.Lambda) or (local and not isinstance(node, ast.ClassDef))
    for child in children(node):
        yield from _own(child, local)


def _used(nodes: Iterable[ast.AST]) -> Iterator[str]:
    """All names that stand in a source."""
    for node in nodes:
        yield from _named(node)


def _named(node: ast.AST) -> Iterator[str]:
    for field in FIELDS:
        name = getattr(node, field, None)
        if isinstance(name, str):
            yield from name.split(".")


def _texts(nodes: Iterable[ast.AST]) -> Iterator[str]:
    for node in nodes:
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _shared_among_classes(trees: list[list[ast.AST]]) -> dict[str, str]:
    """Which name stands for a private attribute that holds data: one for several, no two of which are in one
    class or in classes of one line. `trees` are the nodes of each source, the outer ones first."""
    places: dict[str, set[str]] = {}
    others: set[str] = set()
    lines: dict[str, str] = {}
    classes: list[list[ast.ClassDef]] = []
    for nodes in trees:
        # Functions keep their own, for tracebacks; what is no attribute has no class.
        for node in nodes:
            if not isinstance(node, ast.Attribute):
                others |= set(_named(node))
        others |= set(_texts(nodes))
        classes.append([node for node in nodes if isinstance(node, ast.ClassDef)])
        for made in classes[-1]:
            line = made.name
            for base in made.bases:
                if isinstance(base, ast.Name):
                    line = lines.get(base.id, base.id)
            lines[made.name] = line
    for nodes, of_tree in zip(trees, classes):
        inside: set[int] = set()
        for made in of_tree:
            for node in walk(made):
                inside.add(id(node))
                if isinstance(node, ast.Attribute) and node.attr.startswith("_"):
                    places.setdefault(node.attr, set()).add(lines[made.name])
        # One that is used outside of every class has its name to itself.
        others |= {node.attr for node in nodes if isinstance(node, ast.Attribute) and id(node) not in inside}
    taken: list[set[str]] = []
    shared: dict[str, str] = {}
    for name in sorted(places):
        if name.startswith("__") or name in others:
            continue
        free = [number for number, used in enumerate(taken) if not used & places[name]]
        if not free:
            free = [len(taken)]
            taken.append(set())
        taken[free[0]] |= places[name]
        shared[name] = f"_{free[0]}"
    return shared


def _keywords(nodes: Iterable[ast.AST]) -> Iterator[str]:
    """The names by which arguments are given."""
    for node in nodes:
        if isinstance(node, ast.keyword) and node.arg:
            yield node.arg


class _ByPlace(Transformer):
    """Names an argument by its place, if it is given by place only: a board knows arguments by name, too.

    Places are counted on within a function that is in another, which may use the arguments of both.
    """

    def __init__(self, called_by: set[str]) -> None:
        self._called_by = called_by
        self._new: dict[str, str] = {}
        self._count = 0

    def visit_Name(self, node: ast.Name) -> ast.AST:
        node.id = self._new.get(node.id, node.id)
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        node.body = self._within(node.args, node.body)
        return node

    def visit_Lambda(self, node: ast.Lambda) -> ast.AST:
        (node.body,) = self._within(node.args, [node.body])
        return node

    def _within(self, args: ast.arguments, body: list) -> list:
        args.defaults = [self.visit(value) for value in args.defaults]
        around = self._new, self._count
        bound = {arg.arg for arg in [*args.args, *args.kwonlyargs]} | {
            name for part in body for name in _assigned(part)
        }
        self._new = {name: new for name, new in self._new.items() if name not in bound}
        for arg in args.args:
            if arg.arg not in self._called_by:
                self._new[arg.arg] = arg.arg = f"a{self._count}"
            self._count += 1
        body = [self.visit(part) for part in body]
        self._new, self._count = around
        return body


def _assigned(node: ast.AST) -> Iterator[str]:
    """The names that `node` gives a value to, but for those of a function in it."""
    if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
        yield node.id
    if not isinstance(node, ast.FunctionDef | ast.Lambda):
        for child in children(node):
            yield from _assigned(child)


class _Borrower(Transformer):
    def __init__(self, borrowed: Mapping[str, str]) -> None:
        self._borrowed = borrowed

    def _new(self, name: str) -> str:
        return self._borrowed.get(name, name)

    def generic_visit(self, node: ast.AST) -> ast.AST:
        for field in FIELDS:
            name = getattr(node, field, None)
            if isinstance(name, str):
                setattr(node, field, self._new(name))
        if isinstance(node, ast.Global | ast.Nonlocal):
            node.names = [self._new(name) for name in node.names]
        return super().generic_visit(node)


class _WordsAmongNames(Transformer):
    """Has a table of words made when its module is loaded. In a constant one MicroPython keeps each word
    apart, in 32 bytes, though most are names too."""

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        return node  # it would make the table at each call

    def visit_Call(self, node: ast.Call) -> ast.AST:
        is_const = isinstance(node.func, ast.Name) and node.func.id == "const"
        return node if is_const else self.generic_visit(node)

    def visit_Tuple(self, node: ast.Tuple) -> ast.AST:
        self.generic_visit(node)
        if any(isinstance(part, ast.Constant) and isinstance(part.value, str) for part in node.elts):
            return ast.Call(ast.Name("tuple", ast.Load()), [ast.List(node.elts, ast.Load())], [])
        return node
