"""What a wrong call of the command is told.

What must live here: the words for what Typer refuses. They are the same as everywhere: what, why, what to do.
"""

import re
import typing
from typing import Any

import typer


def told(fault: typer.TyperException) -> str:
    """One line for a call that Typer, or a command by way of BadParameter, does not take."""
    context = getattr(fault, "ctx", None)
    return f"{_said(fault)} See {context.command_path if context else 'lampblack'} --help."


def _said(fault: Any) -> str:
    kind = type(fault).__name__
    message = " ".join(fault.message.split())
    if kind == "MissingParameter":
        return f"{_name(fault)} is missing. Give it."
    if kind == "NoSuchOption":
        near = getattr(fault, "possibilities", None)
        todo = f"Did you mean {' or '.join(sorted(near))}?" if near else "Leave it out, or write another."
        return f"{fault.option_name} is no option here. {todo}"
    if isinstance(fault, typer.BadParameter):
        return f"{_name(fault)}: {_refused(fault) or _stopped(message)}"
    for pattern, words in _USAGE:
        if found := re.fullmatch(pattern, message):
            return found.expand(words)
    return _stopped(message)


def _stopped(message: str) -> str:
    return message if message.endswith((".", "?")) else f"{message}."


_USAGE = (
    (r"Missing command\.", "No command is given. Give one."),
    (r"No such command '(.*)'\.", r'There is no command "\1". Write another.'),
    (r"No such command '(.*)'\. Did you mean (.*)\?", r'There is no command "\1". Did you mean \2?'),
    (r"Got unexpected extra arguments?(?:\(s\))? \((.*)\)", r'"\1" is too much. Leave it out.'),
    (r"Option '(.*)' requires an argument\.", r"\1 has no value. Write one after it."),
    (r"Option '(.*)' requires (\d+) arguments\.", r"\1 has too few values. Write \2 after it."),
    (r"Option '(.*)' does not take a value\.", r"\1 takes no value. Write it alone."),
)


def _name(fault: Any) -> str:
    """Of the option or argument that a fault is about, as it is written."""
    if isinstance(fault.param_hint, str):
        return fault.param_hint
    if fault.param is None:
        return "The call"
    name = max(fault.param.opts, key=len)
    return name if name.startswith("-") else fault.param.metavar or name


def _refused(fault: Any) -> str:
    """Of a value that is not of its option's kind; "" where a command itself has said what is wrong."""
    errors = getattr(fault.__cause__, "errors", None)
    if errors is None or fault.param is None:
        return ""
    first = errors()[0]
    value = first["input"]
    about = fault.param.type_descriptor
    choices = _choices(about.annotation)
    if choices:
        return f'"{value}" is not known. Write {_either(choices)}.'
    if getattr(about.parameter_info, "formats", None):
        return f'"{value}" is no day. Write it like 2026-11-27.'
    kind = "whole number" if first["type"].startswith("int") else "number"
    bounds = [getattr(about.parameter_info, end, None) for end in ("min", "max")]
    if first["type"].endswith(("parsing", "type")):
        return f'"{value}" is no {kind}. Write {_between(*bounds) or "one, like 5"}.'
    return f'"{value}" is out of range. Write {_between(*bounds)}.'


def _choices(annotation: Any) -> list[str]:
    """Of a Literal, or of one that may be left out."""
    if typing.get_origin(annotation) is typing.Literal:
        return [str(each) for each in typing.get_args(annotation)]
    return [each for own in typing.get_args(annotation) for each in _choices(own)]


def _either(choices: list[str]) -> str:
    *first, last = choices
    return f"{', '.join(first)} or {last}" if first else last


def _between(low: float | None, high: float | None) -> str:
    if low is not None and high is not None:
        return f"{low:g} to {high:g}"
    if low is not None:
        return f"{low:g} or more"
    return "" if high is None else f"{high:g} or less"
