"""Quick ways through a syntax tree. The board's copy goes through each of its sources many times, and with
those of Python itself that took most of the time of an installation.

What must live here: going through a tree, whatever is looked for there. Both ways give what `ast` gives.
"""

import ast


def walk(tree: ast.AST) -> list[ast.AST]:
    """Every node of the tree, the outer ones first."""
    nodes = [tree]
    for node in nodes:  # which grows on the way
        for value in node.__dict__.values():
            if value.__class__ is list:
                nodes += [one for one in value if isinstance(one, ast.AST)]
            elif isinstance(value, ast.AST):
                nodes.append(value)
    return nodes


def children(node: ast.AST) -> list[ast.AST]:
    """The nodes right below this one."""
    found: list[ast.AST] = []
    for value in node.__dict__.values():
        if value.__class__ is list:
            found += [one for one in value if isinstance(one, ast.AST)]
        elif isinstance(value, ast.AST):
            found.append(value)
    return found


class Transformer(ast.NodeTransformer):
    """As its base, but what has no fields, such as an operator, is not visited outside of a list."""

    def generic_visit(self, node: ast.AST) -> ast.AST:
        values = node.__dict__
        for name in node._fields:
            value = values.get(name)
            if value.__class__ is list:
                changed: list[object] = []
                for one in value:
                    new = self.visit(one) if isinstance(one, ast.AST) else one
                    if isinstance(new, list):
                        changed += new
                    elif new is not None or one is None:
                        changed.append(new)
                value[:] = changed
            elif isinstance(value, ast.AST) and value._fields:
                new = self.visit(value)
                if new is None:
                    delattr(node, name)
                else:
                    values[name] = new
        return node
