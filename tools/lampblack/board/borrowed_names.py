"""Names on the board: where the firmware has a name of its own, the board's copy has one that MicroPython
keeps in ROM anyway, because a name of its own takes some 15 bytes of a board's memory, 15 KB in all. There
are fewer of these than the firmware has names, so one stands for several that never meet.

What must live here: which names are the firmware's own, which stand for them, and how to put them back into
what a board says. It changes nothing else of a source.

`rom_names.txt` has the names in ROM, of MicroPython 1.22.2 for the Pico. On another version, one that is
missing takes memory as any name does.
"""

import ast
import builtins
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path

from lampblack.board.syntax_trees import Transformer, children, walk

ROM_NAMES = frozenset((Path(__file__).parent / "rom_names.txt").read_text().split())
BUILTINS = frozenset(dir(builtins))

CALLED_BY_WORDS = ("WHEN", "DO")
"""Tables of `timing_core.box`. Their words are names too, and stand in the columns CALLS of TRANSITIONS, a
text of `timing_core.machine.transitions`."""

TRANSITIONS = "TRANSITIONS"
CALLS = slice(2, 4)

FIELDS = ("id", "attr", "arg", "name", "asname", "module")
"""Of a syntax tree: what may hold a name."""


class BorrowedNames:
    """Names for `sources`, the whole firmware: file ("timing_core.box") -> source. Names that occur in
    `kept`, which is source too, stay as they are.

    A name has one that stands for it everywhere. A name stays if it is in a string too (but for the words of
    CALLED_BY_WORDS), if it is a module, or if MicroPython may have a meaning for it.
    """

    def __init__(self, sources: Mapping[str, str], kept: str = "") -> None:
        parsed = [ast.parse(source) for source in (kept, *sources.values())]
        self._called_by = {name for tree in parsed for name in _keywords(walk(tree))}
        trees = {file: self.by_place(source) for file, source in sources.items()}
        own: set[str] = set()
        stays = used = set(_used(walk(parsed[0])))
        for file, tree in trees.items():
            nodes = walk(tree)
            words = [word for node in nodes for word in _words_called_by(node)]
            own |= {*_own(tree), *(str(word.value) for word in words)}
            used = used | set(_used(nodes))
            stays = stays | {*file.split("."), *_texts(node for node in nodes if node not in words)}
        borrowers = [
            name
            for name in own - stays - ROM_NAMES - BUILTINS
            if not name.startswith("__") and name.isidentifier()
        ]
        places = _Places(trees).of
        self.borrowed: dict[str, str] = {}
        lent = sorted(ROM_NAMES - BUILTINS - used - stays)
        for rom, names in zip(lent, _apart({name: places[name] for name in borrowers}), strict=False):
            self.borrowed |= dict.fromkeys(names, rom)
        self._functions = {
            (file, rom): name
            for name, rom in self.borrowed.items()
            for kind, file in places[name]
            if kind == TRACED
        }

    def in_source(self, source: str) -> str:
        """`source` as the board has it. SyntaxError if it is no Python."""
        tree = _WordsAmongNames().visit(self.by_place(source))
        return _without_tuples(ast.unparse(_Borrower(self.borrowed).visit(tree)))

    def by_place(self, source: str) -> ast.AST:
        """`source` with its arguments named by their places, where no call names them."""
        return _ByPlace(self._called_by).visit(ast.parse(source))

    def put_back(self, traceback: str) -> str:
        """A traceback from the board, with the functions' own names."""
        return re.sub(
            r'(?m)^(  File "(.*)", .*, in )(\w+)$',
            lambda found: found[1] + self._functions.get((found[2], found[3]), found[3]),
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


Place = tuple[str, str]
OBJECTS = "of objects"
FILE = "in a file"
TRACED = "in tracebacks from a file"
ANY = "any"


class _Places:
    """Where each name of `trees` (file -> syntax tree) is known: names of one place are not to be mixed up.

    An attribute is known among objects: a private one in the lines of classes that use it, all others in each
    line. What is no attribute is known in the files that use it, and if it is not private in each file.
    A function or class is known in tracebacks from its file too.
    """

    def __init__(self, trees: Mapping[str, ast.AST]) -> None:
        self.of: dict[str, set[Place]] = {}
        self._line_of = _lines([node for tree in trees.values() for node in walk(tree)])
        self._all_objects = {(OBJECTS, line) for line in (ANY, *self._line_of.values())}
        self._all_files = {(FILE, file) for file in trees}
        for file, tree in trees.items():
            self._file = file
            self._look(tree, within="", line="")

    def _is_attribute(self, name: str, line: str) -> None:
        private = line and name.startswith("_")
        self._is_at(name, {(OBJECTS, line)} if private else self._all_objects)

    def _is_at(self, name: str, places: Iterable[Place]) -> None:
        self.of.setdefault(name, set()).update(places)

    def _is_made(self, name: str, within: str, line: str) -> None:
        """`within` is what makes it: "" for a file, "class", or "function"."""
        if within == "class":
            self._is_attribute(name, line)
        elif within == "" and not name.startswith("_"):
            self._is_at(name, self._all_files)
        else:
            self._is_at(name, {(FILE, self._file)})

    def _look(self, node: ast.AST, within: str, line: str) -> None:
        inner = within
        body: Sequence[ast.AST] = ()
        match node:
            case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
                self._is_made(name, within, line)
                self._is_at(name, {(TRACED, self._file)})
                body = node.body
            case ast.Lambda():
                body = [node.body]
            case ast.Attribute(attr=name):
                self._is_attribute(name, line)
            case ast.Name(id=name, ctx=ast.Store()):
                self._is_made(name, within, line)
            case ast.Name(id=name):
                self._is_at(name, {(FILE, self._file)})
                if within == "class":  # it may be one of the class or of the file
                    self._is_at(name, self._all_objects)
            case ast.keyword(arg=str(name)):
                self._is_at(name, self._all_files)
            case ast.Assign():
                for word in _words_called_by(node):
                    self._is_at(str(word.value), self._all_objects)
            case _:
                for name in _named(node):
                    self._is_at(name, {(FILE, self._file)})
        for child in children(node):
            if child not in body:
                self._look(child, within, line)
        if isinstance(node, ast.ClassDef):
            inner, line = "class", self._line_of[node.name]
        elif body:
            inner = "function"
        for child in body:
            self._look(child, inner, line)


def _lines(nodes: Iterable[ast.AST]) -> dict[str, str]:
    """The line of each class: the name of the one that it comes from in the end."""
    base_of = {}
    for node in nodes:
        if isinstance(node, ast.ClassDef):
            bases = [base.id for base in node.bases if isinstance(base, ast.Name)]
            base_of[node.name] = bases[0] if bases else ""
    line_of = {}
    for name in base_of:
        line = name
        while base_of.get(line):
            line = base_of[line]
        line_of[name] = line
    return line_of


def _apart(places: Mapping[str, set[Place]]) -> list[list[str]]:
    """Names in as few groups as come easily, no two of a group known in one place. The largest come first."""
    groups: list[tuple[set[Place], list[str]]] = []
    for name in sorted(places, key=lambda name: (-len(places[name]), name)):
        group = next((group for group in groups if not group[0] & places[name]), None)
        if group is None:
            group = set(), []
            groups.append(group)
        group[0].update(places[name])
        group[1].append(name)
    return [names for _, names in sorted(groups, key=lambda group: -len(group[1]))]


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


def _words_called_by(node: ast.AST) -> list[ast.Constant]:
    match node:
        case ast.Assign(targets=[ast.Name(id=name)], value=ast.Dict(keys=keys)) if name in CALLED_BY_WORDS:
            return [key for key in keys if isinstance(key, ast.Constant)]
    return []


class _Borrower(Transformer):
    def __init__(self, borrowed: Mapping[str, str]) -> None:
        self._borrowed = borrowed

    def _new(self, name: str) -> str:
        return self._borrowed.get(name, name)

    def visit_Assign(self, node: ast.Assign) -> ast.AST:
        for word in _words_called_by(node):
            word.value = self._new(str(word.value))
        match node:
            case ast.Assign(targets=[ast.Name(id=name)], value=ast.Constant(value=str(text)) as value):
                if name == TRANSITIONS:
                    value.value = "\n".join(map(self._row, text.split("\n")))
        return self.generic_visit(node)

    def _row(self, line: str) -> str:
        words = line.split(None, 5)
        words[CALLS] = map(self._new, words[CALLS])
        return "" if line.startswith("#") else " ".join(words)

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
