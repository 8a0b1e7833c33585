"""Where the ledger and the backups of this user are, and what is said where their libraries are missing."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from lampblack.errors import CommandError

LIBRARIES = ("alembic", "platformdirs", "sqlalchemy")


@contextmanager
def libraries() -> Iterator[None]:
    """Around an import of what is in the extra `lab` alone. CommandError where it is not installed."""
    try:
        yield
    except ModuleNotFoundError as fault:
        if fault.name not in LIBRARIES:
            raise
        raise CommandError(
            f"This command needs {fault.name}, which is not installed. Install it: pip install "
            "'lampblack[lab]'."
        ) from None


def data_folder() -> Path:
    """This user's own: the ledger's database is in it, and `boxes` with their backups."""
    with libraries():
        import platformdirs
    return platformdirs.user_data_path("lampblack", appauthor=False)
