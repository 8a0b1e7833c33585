"""What the command cannot do, in one line."""


class CommandError(Exception):
    """`str()` is one line: what, why, what to do."""
