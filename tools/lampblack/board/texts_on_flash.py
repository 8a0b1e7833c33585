"""Texts that a board keeps on flash: a sentence takes 50 to 120 bytes of its memory, and most are never said.

What must live here: which texts these are, the file that they are kept in, and putting a call of
`board.texts.text_at` where the text was. It changes nothing else of a source.
"""

import ast
from collections.abc import Callable, Container, Mapping
from typing import TypeGuard

from lampblack.board.syntax_trees import Transformer, walk

READER = "board.texts"
CALLED = "text_at"
SHORTEST = 16
"""In characters: a call takes some 8 bytes, and a text of this length 40."""

KEPT_IN_MEMORY = (
    # What is said while the lamp may be lit: a file takes 2 ms to read.
    "timing_core.panel.drawing",
    # What a board has before anything else, and what it lets go of when it has started
    "board.chip",
    "board.crash",
    "board.pulse",
    "board.scratch",
    "board.watchdog",
    READER,
    "timing_core.machine.recovery",
    "timing_core.machine.transitions",
)
"""Modules whose texts stay where they are."""


def on_flash(sources: Mapping[str, str]) -> tuple[dict[str, str], bytes]:
    """`sources` (module -> source) without most sentences of their functions, and these in one file.
    ValueError if one has another use for the name CALLED."""
    texts: dict[str, int] = {}
    kept = bytearray()

    def place(text: str) -> int:
        if text not in texts:
            texts[text] = _call(len(kept), text)
            kept.extend(text.encode("ascii"))
        return texts[text]

    found = {}
    for module, source in sources.items():
        found[module] = source
        if module not in KEPT_IN_MEMORY:
            tree = ast.parse(source)
            putting = _Putting(place, _lists(tree))
            tree = putting.visit(tree)
            if CALLED in source:
                raise ValueError(
                    f"{CALLED} would be two things in {module} on the board. Rename one of them."
                )
            if putting.is_changed:
                found[module] = ast.unparse(_importing(tree))
    return found, bytes(kept)


def _call(at: int, text: str) -> int:
    """Where a text is, as `board.texts.text_at` takes it."""
    return at << 11 | len(text) << 3 | text.count("%")


def _lists(tree: ast.Module) -> set[str]:
    """The names of a module for tuples of sentences, of which it takes one at a time."""
    found = {name for node in tree.body for name in (_list(node)[0],) if name}
    if not found:
        return found
    nodes = walk(tree)
    used = [node.id for node in nodes if isinstance(node, ast.Name)]
    taken = [_taken_of(node) for node in nodes]
    return {name for name in found if used.count(name) == 1 + taken.count(name)}


def _list(node: ast.AST) -> tuple[str, list[str]]:
    """The name that a statement gives to a tuple of sentences, and these; "" for none."""
    match node:
        case ast.Assign(targets=[ast.Name(id=name)], value=ast.Tuple(elts=elts)):
            texts = [
                each.value for each in elts if isinstance(each, ast.Constant) and _is_sentence(each.value)
            ]
            if len(texts) == len(elts):
                return name, texts
    return "", []


def _taken_of(node: ast.AST) -> str:
    """The name of what an expression takes one of."""
    match node:
        case ast.Subscript(value=ast.Name(id=name)):
            return name
    return ""


def _is_sentence(text: object) -> TypeGuard[str]:
    """What a person reads: it has words. Patterns of JSON and alphabets have none, and are wanted quickly."""
    return (
        isinstance(text, str)
        and SHORTEST <= len(text) < 256
        and " " in text
        and text.isascii()
        and "%%" not in text
    )


def _importing(tree: ast.Module) -> ast.Module:
    # After a docstring, which a board's copy leaves out anyway.
    tree.body.insert(0, ast.ImportFrom(READER, [ast.alias(CALLED)], 0))
    return tree


class _Putting(Transformer):
    """Puts calls in place of texts, and numbers in those of `lists`. What else a module or a class makes when
    it is loaded stays, since it would be in memory anyway."""

    def __init__(self, place: Callable[[str], int], lists: Container[str]) -> None:
        self._place = place
        self._lists = lists
        self._depth = 0
        self.is_changed = False

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        self._depth += 1
        node.body = [self.visit(statement) for statement in node.body]
        self._depth -= 1
        return node

    def visit_Expr(self, node: ast.Expr) -> ast.AST:
        return node if isinstance(node.value, ast.Constant) else self.generic_visit(node)

    def visit_Assign(self, node: ast.Assign) -> ast.AST:
        name, texts = _list(node)
        if name not in self._lists:
            return self.generic_visit(node)
        node.value = ast.Tuple([ast.Constant(self._place(text)) for text in texts])
        return node

    def visit_Subscript(self, node: ast.Subscript) -> ast.AST:
        self.generic_visit(node)
        return self._call(node) if _taken_of(node) in self._lists else node

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        if not self._depth or not _is_sentence(node.value):
            return node
        return self._call(ast.Constant(self._place(node.value)))

    def _call(self, place: ast.expr) -> ast.AST:
        self.is_changed = True
        return ast.Call(ast.Name(CALLED), [place], [])
