"""What the command cannot do, in one line."""


class CommandError(Exception):
    """`str()` is one line: what, why, what to do."""


def in_words(fault: OSError) -> str:
    """What the system says of a file, as one line: what, why, what to do."""
    what = f"{fault.filename}: " if fault.filename else ""
    if isinstance(fault, IsADirectoryError):
        return f"{what}it is a folder. Give a file."
    return f"{what}{fault.strerror or fault}. Check the name and its folder."
