"""What is told where the extra `lab` is not installed.

What must live here: nothing that needs it.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from lampblack.errors import CommandError


@contextmanager
def extra() -> Iterator[None]:
    """Around imports of what needs the extra. CommandError, with how to get it, where it is not there."""
    try:
        yield
    except ModuleNotFoundError as fault:
        library = str(fault.name).partition(".")[0]
        raise CommandError(
            f"This needs {library}, which is not installed. Get it with: pip install 'lampblack[lab]'"
        ) from None
