"""What is told where the extra `lab` is not installed.

What must live here: nothing that needs it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec

from lampblack.errors import CommandError

LIBRARIES = ("alembic", "matplotlib", "platformdirs", "scipy", "sqlalchemy")


@contextmanager
def extra() -> Iterator[None]:
    """Around imports of what needs the extra. CommandError, with how to get it, where it is not there."""
    try:
        yield
    except ModuleNotFoundError as fault:
        library = str(fault.name).partition(".")[0]
        if library not in LIBRARIES:
            raise
        raise CommandError(
            f"This needs {library}, which is not installed. Install it with: pip install 'lampblack[lab]'."
        ) from None


def has_extra() -> bool:
    """True where all of it is installed; nothing is loaded."""
    return all(find_spec(name) for name in LIBRARIES)
