"""Numbers in place of their names: a whole number that a module names once and for all takes 8 bytes of a
board's memory under that name, as much in each file that imports it, and time to find.

What must live here: which names stand for a number, and putting the number where the name was. It changes
nothing else of a source.
"""

import ast
from collections import Counter
from collections.abc import Callable, Collection, Container, Mapping

from lampblack.board.syntax_trees import Transformer, walk

Numbers = Mapping[str, int]


def folded(sources: Mapping[str, str], kept: str = "") -> dict[str, str]:
    """`sources` (module -> source) without names in capitals for whole numbers. What `kept`, which is source
    too, asks for by name stays where it is made."""
    trees = {module: _apart(ast.parse(source)) for module, source in sources.items()}
    stay = _asked_of(ast.parse(kept), trees)
    found: dict[str, dict[str, int]] = {}

    def known(module: str) -> dict[str, int]:
        """What the names of a module that stand for numbers are worth there, those it imports among them."""
        if module not in found:
            own = found[module] = {}
            once = _made_once(trees[module])
            for node in trees[module].body:
                if isinstance(node, ast.ImportFrom) and node.module in trees:
                    others = known(node.module)
                    own |= {each.name: others[each.name] for each in node.names if each.name in others}
                    continue
                name, value = _made(node)
                number = _number(value, own) if name in once else None
                if number is not None:
                    own[name] = number
        return found[module]

    return {
        module: ast.unparse(_Folding(module, known, _whole(tree, trees), stay).visit(tree))
        for module, tree in trees.items()
    }


def _apart(tree: ast.Module) -> ast.Module:
    """A source whose module gives names to several numbers at once, with a statement for each."""
    body: list[ast.stmt] = []
    for node in tree.body:
        match node:
            case ast.Assign(targets=[ast.Tuple(elts=names)], value=value):
                values = _several(value)
                if len(values) == len(names):
                    body += [ast.Assign([name], each, lineno=0) for name, each in zip(names, values)]
                    continue
        body.append(node)
    tree.body = body
    return tree


def _several(node: ast.AST) -> list[ast.expr]:
    """The numbers of a tuple of such, or of a range from 0; [] of anything else."""
    match node:
        case ast.Tuple(elts=elts) if all(_number(each, {}) is not None for each in elts):
            return elts
        case ast.Call(func=ast.Name(id="range"), args=[ast.Constant(value=int(count))]):
            return [ast.Constant(number) for number in range(count)]
    return []


def _asked_of(tree: ast.Module, sources: Collection[str]) -> set[tuple[str, str]]:
    """What a source takes from others: (module, name)."""
    whole = _whole(tree, sources)
    asked = set()
    for node in walk(tree):
        match node:
            case ast.ImportFrom(module=str(module), names=names):
                asked |= {(module, each.name) for each in names}
            case ast.Attribute(value=ast.Name(id=name), attr=attr) if name in whole:
                asked.add((whole[name], attr))
    return asked


def _whole(tree: ast.Module, sources: Collection[str]) -> dict[str, str]:
    """The modules of `sources` that a source imports whole, by the name that they have there."""
    return {
        each.name: f"{node.module}.{each.name}"
        for node in walk(tree)
        if isinstance(node, ast.ImportFrom)
        for each in node.names
        if f"{node.module}.{each.name}" in sources
    }


def _made(node: ast.AST) -> tuple[str, ast.AST]:
    """The name in capitals that a statement gives, and to what; "" for none."""
    match node:
        case ast.Assign(targets=[ast.Name(id=name)], value=value) if name.isupper():
            return name, value
        case ast.AnnAssign(target=ast.Name(id=name), value=ast.expr() as value) if name.isupper():
            return name, value
    return "", node


def _number(node: ast.AST, known: Numbers) -> int | None:
    """What an expression comes to, None if it is no whole number that is known beforehand."""
    match node:
        case ast.Constant(value=int(value)) if not isinstance(value, bool):
            return value
        case ast.Name(id=name):
            return known.get(name)
        case ast.Call(func=ast.Name(id="const"), args=[inner]):
            return _number(inner, known)
        case ast.UnaryOp(op=ast.USub(), operand=inner):
            number = _number(inner, known)
            return None if number is None else -number
        case ast.BinOp(left=left, op=op, right=right):
            first, second = _number(left, known), _number(right, known)
            if first is not None and second is not None:
                sum_of = ast.Expression(ast.BinOp(ast.Constant(first), op, ast.Constant(second)))
                value = eval(compile(ast.fix_missing_locations(sum_of), "<number>", "eval"), {})
                return value if isinstance(value, int) else None
    return None


def _made_once(tree: ast.Module) -> set[str]:
    """The names that nothing else in a source has, at any depth."""
    made: Counter[str] = Counter()
    for node in walk(tree):
        match node:
            case ast.Name(id=found, ctx=ast.Store() | ast.Del()) | ast.arg(arg=found):
                made[found] += 1
    return {name for name, count in made.items() if count == 1}


class _Folding(Transformer):
    """Folds the source of `module`, which imports others `whole`. What is in `stay` is still made."""

    def __init__(
        self,
        module: str,
        known: Callable[[str], Numbers],
        whole: Mapping[str, str],
        stay: Container[tuple[str, str]],
    ) -> None:
        self._module = module
        self._known = known
        self._numbers = known(module)
        self._whole = whole
        self._stay = stay

    def visit_Name(self, node: ast.Name) -> ast.AST:
        if isinstance(node.ctx, ast.Load) and node.id in self._numbers:
            return ast.Constant(self._numbers[node.id])
        return node

    def visit_Attribute(self, node: ast.Attribute) -> ast.AST:
        match node.value:
            case ast.Name(id=name) if name in self._whole:
                numbers = self._known(self._whole[name])
                if node.attr in numbers:
                    return ast.Constant(numbers[node.attr])
        return self.generic_visit(node)

    def visit_ImportFrom(self, node: ast.ImportFrom) -> ast.AST | None:
        node.names = [each for each in node.names if each.name not in self._numbers]
        return node if node.names else None

    def visit_Assign(self, node: ast.Assign) -> ast.AST | None:
        return self._kept(node)

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST | None:
        return self._kept(node)

    def _kept(self, node: ast.Assign | ast.AnnAssign) -> ast.AST | None:
        name, _ = _made(node)
        if name in self._numbers and (self._module, name) not in self._stay:
            return None
        return self.generic_visit(node)
