"""A PostgreSQL of the tests' own: in a folder of its own, on a socket in it, gone afterwards.

It refuses to run as root, so there it runs as `nobody`.
"""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

WANTED = "needs PostgreSQL: apt-get install postgresql"


def programs() -> Path | None:
    """The folder of PostgreSQL's own programs, which Debian does not put on PATH; None if there is none."""
    found = [Path(own).resolve().parent] if (own := shutil.which("initdb")) else []
    found += sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda own: int(own.parent.name))[::-1]
    return next((own for own in found if all((own / name).exists() for name in ("initdb", "pg_ctl"))), None)


@contextmanager
def cluster() -> Iterator[str]:
    """The URL of an empty database."""
    bin = programs()
    assert bin, WANTED
    folder = Path(tempfile.mkdtemp(prefix="lampblack-"))
    who: dict[str, object] = {}
    if os.geteuid() == 0:
        nobody = pwd.getpwnam("nobody")
        os.chown(folder, nobody.pw_uid, nobody.pw_gid)
        who = {"user": nobody.pw_uid, "group": nobody.pw_gid, "extra_groups": []}

    def run(program: str, *arguments: str) -> None:
        # To a file: a server that is left running would keep a pipe open.
        with (folder / "said").open("wb") as said:
            done = subprocess.run([bin / program, *arguments], stdout=said, stderr=said, cwd=folder, **who)  # type: ignore[call-overload]
        assert done.returncode == 0, (folder / "said").read_text(errors="replace")

    data = str(folder / "data")
    settings = f"-k {folder} -c listen_addresses= -c fsync=off -c shared_buffers=16MB -c max_connections=20"
    try:
        run("initdb", "-D", data, "-A", "trust", "-U", "lab", "--no-sync", "-E", "UTF8", "--locale=C")
        run("pg_ctl", "-D", data, "-w", "-l", str(folder / "log"), "-o", settings, "start")
        try:
            yield f"postgresql://lab@/postgres?host={folder}"
        finally:
            run("pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder)
