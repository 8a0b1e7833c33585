"""Where the ledger and the backups of this user are."""

from pathlib import Path

from lampblack.extra import extra


def data_folder() -> Path:
    """This user's own: the ledger's database is in it, and `boxes` with their backups."""
    with extra():
        import platformdirs
    return platformdirs.user_data_path("lampblack", appauthor=False)
