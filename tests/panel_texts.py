"""What the panel can say, found in the core's source: the census that the page of messages is held to.

What must live here: reading source. It may not know a message, nor which module or function says it.

A *message* is what ends up in a Refusal (of any kind, as its first words), in the attribute `message`, or in
`_message`, which draws one. From there it is followed back: through the parameters of whatever function
hands it on, to local names, constants, attributes, tables and the returns of functions. What is filled in is
"…". A message that cannot be followed back to its words is an error, never passed over.

What is put together from whole sentences is that many messages: "Power was lost. Base, pass 1 may be partly
exposed." is two.

Fixed *words* are what else the drawing code gives to a header or a pen as it stands.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import NamedTuple

CORE = Path(__file__).parent.parent / "firmware" / "timing_core"
ROOT_REFUSAL = "Refusal"
MESSAGE = "message"
DRAWS_MESSAGE = ("Pieces", "_message")
DRAWS_WORDS = ("_head", "_name", "in_letters")

FILLED = "…"
PLACE = re.compile(r"%[-+ 0-9.]*[sdrxc]|\{[^}]*\}")
"""Where a template is filled in."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


class NotFollowed(AssertionError):
    """A message whose words are not to be found by reading."""


class Scope(NamedTuple):
    """Where an expression stands: its module, the class and the function around it."""

    module: str
    owner: str
    function: Function | None

    @property
    def parameters(self) -> list[str]:
        """Those a caller names, without `self`."""
        if self.function is None:
            return []
        names = [argument.arg for argument in (*self.function.args.args, *self.function.args.kwonlyargs)]
        return names[1:] if names[:1] == ["self"] else names


class Parameter(NamedTuple):
    """A parameter whose callers give the words: the class and name of its function, and which it is."""

    owner: str
    function: str
    at: int
    name: str


class Told(NamedTuple):
    """What an expression may be: texts, or what a caller handed in."""

    texts: frozenset[str] = frozenset()
    parameters: frozenset[Parameter] = frozenset()


class Call(NamedTuple):
    node: ast.Call
    scope: Scope


class Census:
    """The texts of `sources` (path -> source)."""

    def __init__(self, sources: Mapping[str, str]) -> None:
        self.functions: dict[str, list[Scope]] = {}
        self.values: dict[str, list[tuple[ast.expr, Scope]]] = {}
        """What names of modules and attributes of anything are set to."""
        self.calls: list[Call] = []
        self.calls_by_name: dict[str, list[Call]] = {}
        self.bases: dict[str, set[str]] = {}
        for path, source in sources.items():
            self._read(ast.parse(source), Scope(path, "", None))
        self.refusals = self._family()

    def _read(self, node: ast.AST, scope: Scope) -> None:
        for child in ast.iter_child_nodes(node):
            inner = scope
            if isinstance(child, ast.ClassDef):
                self.bases.setdefault(child.name, set()).update(_last_name(base) for base in child.bases)
                inner = scope._replace(owner=child.name)
            elif isinstance(child, Function):
                inner = scope._replace(function=child)
                self.functions.setdefault(child.name, []).append(inner)
            elif isinstance(child, ast.Call):
                self.calls.append(Call(child, scope))
                self.calls_by_name.setdefault(_last_name(child.func), []).append(self.calls[-1])
            for target, value in _assignments(child):
                if isinstance(target, ast.Attribute):
                    self.values.setdefault("." + target.attr, []).append((value, scope))
                elif isinstance(target, ast.Name) and scope.function is None:
                    self.values.setdefault(target.id, []).append((value, scope))
            self._read(child, inner)

    def _family(self) -> set[str]:
        """Refusal and every class that is one."""
        family = {ROOT_REFUSAL}
        while True:
            more = {name for name, bases in self.bases.items() if bases & family} - family
            if not more:
                return family
            family |= more

    # --- what is asked

    def messages(self) -> dict[str, set[str]]:
        """Every message, and the places that say it, as "module class"."""
        found: dict[str, set[str]] = {}
        ahead: list[Parameter] = []
        seen: set[Parameter] = set()

        def take(expression: ast.expr, scope: Scope) -> None:
            told = self._told(expression, scope, ())
            for text in told.texts:
                if text.strip():
                    found.setdefault(text.strip(), set()).add(f"{scope.module} {scope.owner}".strip())
            ahead.extend(told.parameters - seen)
            seen.update(told.parameters)

        for value, scope in self.values.get("." + MESSAGE, []):
            take(value, scope)
        for call in self.calls:
            if self._makes_refusal(call):
                take(_argument(call.node, 0, "what"), call.scope)
        for scope in self.functions.get(DRAWS_MESSAGE[1], []):
            if scope.owner == DRAWS_MESSAGE[0]:
                ahead.append(Parameter(*DRAWS_MESSAGE, 0, scope.parameters[0]))
        while ahead:
            parameter = ahead.pop()
            for call in self._calls_of(parameter.owner, parameter.function):
                take(_argument(call.node, parameter.at, parameter.name), call.scope)
        return found

    def words(self) -> set[str]:
        """Fixed words of the drawing code that are no messages."""
        drawing = {scope.module for scope in self.functions.get(DRAWS_MESSAGE[1], [])}
        found: set[str] = set()
        for call in self.calls:
            if call.scope.module in drawing and _last_name(call.node.func) in DRAWS_WORDS:
                for argument in call.node.args:
                    if ast.unparse(argument).startswith("panel.screen."):
                        continue  # a screen's own words
                    try:
                        found |= self._told(argument, call.scope, ()).texts
                    except NotFollowed:
                        continue  # a row's, a card's or a control's own words
        return {text for text in found if any(ch.isalpha() for ch in text)}

    # --- who calls what

    def _makes_refusal(self, call: Call) -> bool:
        function = call.node.func
        if _last_name(function) in self.refusals:
            return True
        # A kind of refusal that fills in its words for itself.
        own = call.scope.owner in self.refusals - {ROOT_REFUSAL}
        return own and ast.unparse(function) == "super().__init__"

    def _calls_of(self, owner: str, function: str) -> Iterator[Call]:
        if function == "__init__":
            yield from self.calls_by_name.get(owner, ())
            for call in self.calls_by_name.get(function, ()):
                from_heir = owner in self.bases.get(call.scope.owner, ())
                if from_heir and ast.unparse(call.node.func) == "super().__init__":
                    yield call
            return
        owners = {scope.owner for scope in self.functions[function]}
        for call in self.calls_by_name.get(function, ()):
            # `self.f` of a class that has an `f` is that one.
            on_self = ast.unparse(call.node.func) == "self." + function
            if not on_self or call.scope.owner == owner or call.scope.owner not in owners:
                yield call

    # --- what an expression comes to

    def _told(self, node: ast.expr, scope: Scope, path: tuple[ast.AST, ...]) -> Told:
        """What `node` may be. NotFollowed if that is not to be found by reading."""
        if node in path:
            return Told()
        path = (*path, node)

        def all_of(*nodes: ast.expr) -> Told:
            return _together(self._told(each, scope, path) for each in nodes)

        match node:
            case ast.Constant(value=str() as text):
                return Told(frozenset([_filled(text)]))
            case ast.Constant():
                return Told()
            case ast.BinOp(left=ast.Constant(value=str() as text), op=ast.Mod(), right=right):
                return self._told_of_template(text, right, scope, path)
            case ast.BinOp(left=left, op=ast.Mod()):
                return all_of(left)
            case ast.BinOp(left=left, op=ast.Add(), right=right):
                return _joined(self._piece(left, scope, path), self._piece(right, scope, path))
            case ast.ListComp(elt=item) | ast.GeneratorExp(elt=item):
                return all_of(item)
            case ast.JoinedStr(values=values):
                parts = [str(v.value) if isinstance(v, ast.Constant) else FILLED for v in values]
                return Told(frozenset(["".join(parts)]))
            case ast.IfExp(body=body, orelse=other):
                return all_of(body, other)
            case ast.BoolOp(values=values):
                return all_of(*values)
            case ast.Dict(values=values) | ast.Tuple(elts=values) | ast.List(elts=values):
                return all_of(*values)
            case ast.Subscript(value=table):
                return all_of(table)
            case ast.Call(func=ast.Name(id="str"), args=values):
                return all_of(*values)
            case ast.Call(func=ast.Attribute(value=text, attr="format" | "strip" | "get")):
                return all_of(text)
            case ast.Call(func=called) if _last_name(called) in self.functions:
                return _together(
                    self._told(value, other, path) for value, other in self._returned(_last_name(called))
                )
            case ast.Name(id=name):
                return self._named(name, node, scope, path)
            case ast.Attribute(attr="line"):
                return Told()  # of a refusal, whose words are found where it is made
            case ast.Attribute(attr=name) if "." + name in self.values:
                return _together(self._told(value, other, path) for value, other in self.values["." + name])
            case ast.Attribute(attr=name) if name in self.functions:  # a property
                return _together(self._told(value, other, path) for value, other in self._returned(name))
        raise self._lost(node, scope)

    @staticmethod
    def _lost(node: ast.expr, scope: Scope) -> NotFollowed:
        return NotFollowed(
            f"{scope.module}:{node.lineno}: what `{ast.unparse(node)}` says is not to be found by reading. "
            "Say it in words there, or teach tests/panel_texts.py to follow it."
        )

    def _piece(self, node: ast.expr, scope: Scope, path: tuple[ast.AST, ...]) -> Told:
        """A piece of a text; what cannot be followed is filled in."""
        try:
            return self._told(node, scope, path)
        except NotFollowed:
            return Told(frozenset([FILLED]))

    def _told_of_template(self, text: str, right: ast.expr, scope: Scope, path: tuple[ast.AST, ...]) -> Told:
        """A template, and what it is filled with where that is whole sentences."""
        places = list(PLACE.finditer(text.replace("%%", "  ")))
        fillings = right.elts if isinstance(right, ast.Tuple) else [right]
        found, kept, at = Told(), "", 0
        for place, filling in zip(places, fillings, strict=False):
            told = self._piece(filling, scope, path)
            kept += text[at : place.start()]
            at = place.end()
            if told.texts and all(_ends_sentence(each) for each in told.texts):
                found = _together([found, told])
            else:
                kept += place[0]
        return _together([found, Told(frozenset([_filled(kept + text[at:])]))])

    def _returned(self, name: str) -> Iterator[tuple[ast.expr, Scope]]:
        for scope in self.functions[name]:
            for node in _inside(scope.function):
                if isinstance(node, ast.Return | ast.Yield) and node.value is not None:
                    yield node.value, scope

    def _named(self, name: str, node: ast.expr, scope: Scope, path: tuple[ast.AST, ...]) -> Told:
        found = []
        if scope.function and name in scope.parameters:
            index = scope.parameters.index(name)
            key = Parameter(scope.owner, scope.function.name, index, name)
            found.append(Told(parameters=frozenset([key])))
        if name in _caught_in(scope.function):
            found.append(Told())  # a refusal that is handed on
        found += [self._told(value, scope, path) for value in _set_in(scope.function).get(name, ())]
        if not found:
            # A constant of this module or, by the same name, of one that it is imported from.
            found = [self._told(value, other, path) for value, other in self.values.get(name, [])]
        if not found:
            raise self._lost(node, scope)
        return _together(found)


@cache
def core_census() -> Census:
    """Of all that the core says."""
    return Census(
        {
            path.relative_to(CORE).as_posix(): path.read_text(encoding="utf-8")
            for path in sorted(CORE.rglob("*.py"))
        }
    )


@cache
def core_messages() -> Mapping[str, set[str]]:
    """Its messages, for whoever only reads them."""
    return core_census().messages()


@cache
def _inside(function: Function | None) -> list[ast.AST]:
    """Everything in a function, which is asked for again with each of its names."""
    return list(ast.walk(function)) if function else []


@cache
def _caught_in(function: Function | None) -> set[str | None]:
    return {node.name for node in _inside(function) if isinstance(node, ast.ExceptHandler)}


@cache
def _set_in(function: Function | None) -> dict[str, list[ast.expr]]:
    """What each local name is set to."""
    found: dict[str, list[ast.expr]] = {}
    for node in _inside(function):
        for target, value in _assignments(node):
            if isinstance(target, ast.Name):
                found.setdefault(target.id, []).append(value)
    return found


def _together(several: Iterable[Told]) -> Told:
    whole = Told()
    for told in several:
        whole = Told(whole.texts | told.texts, whole.parameters | told.parameters)
    return whole


def _ends_sentence(text: str) -> bool:
    return text.rstrip().endswith((".", "?", "!"))


def _begins_sentence(text: str) -> bool:
    return text.lstrip()[:1].isupper() or text.startswith(" " + FILLED)


def _joined(before: Told, after: Told) -> Told:
    """One text after another: as one, or where both are whole sentences, as they are."""
    if not (before.texts or before.parameters) or not (after.texts or after.parameters):
        return _together([before, after])
    said, more = [{text for text in told.texts if text.strip()} for told in (before, after)]
    if all(map(_ends_sentence, said)) and all(map(_begins_sentence, more)):
        return _together([before, after])
    starts, ends = [told.texts | ({FILLED} if told.parameters else set()) for told in (before, after)]
    return Told(frozenset(a + b for a in starts for b in ends))


def _assignments(node: ast.AST) -> Iterator[tuple[ast.expr, ast.expr]]:
    """(target, value) of what `node` itself sets or appends to. Names that are unpacked or looped over get
    the whole."""
    if isinstance(node, ast.Assign):
        for target in node.targets:
            yield from _unpacked(target, node.value)
    elif isinstance(node, ast.AnnAssign | ast.AugAssign | ast.NamedExpr) and node.value is not None:
        yield node.target, node.value
    elif isinstance(node, ast.For | ast.comprehension):
        rows = node.iter.elts if isinstance(node.iter, ast.Tuple | ast.List) else [node.iter]
        for row in rows:
            yield from _unpacked(node.target, row)
    elif isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "append":
        yield node.func.value, node.args[0]


def _unpacked(target: ast.expr, value: ast.expr) -> Iterator[tuple[ast.expr, ast.expr]]:
    if isinstance(target, ast.Tuple):
        alike = isinstance(value, ast.Tuple) and len(value.elts) == len(target.elts)
        for index, each in enumerate(target.elts):
            yield from _unpacked(each, value.elts[index] if alike else value)  # type: ignore[attr-defined]
    else:
        yield target, value


def _argument(call: ast.Call, index: int, name: str) -> ast.expr:
    for keyword in call.keywords:
        if keyword.arg == name:
            return keyword.value
    if index < len(call.args) and not any(isinstance(each, ast.Starred) for each in call.args[: index + 1]):
        return call.args[index]
    return ast.Constant(None)  # left out: its default, which a message has not got


def _last_name(node: ast.expr) -> str:
    """The name something is called by: `a.b.c` gives "c"."""
    return getattr(node, "attr", getattr(node, "id", ""))


def _filled(text: str) -> str:
    return PLACE.sub(FILLED, text).replace("%%", "%")
