"""`lampblack` without its start: forked from a process that has loaded it, and made the first negative.

Loading takes half a second of a processor, and a second more for a simulator. What a test asks about the
start itself, or about the process, has it started `PLAINLY`.

`ready` gives the command. It is a small program that stands for `lampblack`: it hands its streams to the
process that has loaded it, passes Ctrl-C on, and ends as that ends.
"""

import atexit
import contextlib
import io
import json
import os
import select
import signal
import socket
import subprocess
import sys
import tempfile
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any, NoReturn

# A shell that runs tests in the background has its children ignore Ctrl-C.
LISTENS = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)"
PLAINLY = (sys.executable, "-c", f"{LISTENS}; from lampblack.cli import main; main()")
REQUEST_MAX = 1 << 20

STAND_IN = """
import json, os, signal, socket, sys
with socket.socket(socket.AF_UNIX) as to:
    to.connect(sys.argv[1])
    asked = {"arguments": sys.argv[2:], "environment": dict(os.environ), "at": os.getcwd()}
    socket.send_fds(to, [json.dumps(asked).encode()], [0, 1, 2])
    told = to.makefile()
    pid = int(told.readline())
    signal.signal(signal.SIGINT, lambda *_: os.kill(pid, signal.SIGINT))
    code = int(told.readline())
os._exit(code)
"""


@cache
def ready() -> tuple[str, ...]:
    """What to put before the arguments of `lampblack`."""
    if not hasattr(os, "fork"):
        return PLAINLY
    folder = tempfile.TemporaryDirectory(prefix="lampblack-")
    place = str(Path(folder.name) / "socket")
    loaded = subprocess.Popen(
        [sys.executable, "-m", "tests.forked", place],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        cwd=Path(__file__).parent.parent,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )

    def end() -> None:
        loaded.communicate()
        folder.cleanup()

    atexit.register(end)
    assert loaded.stdout
    assert loaded.stdout.readline() == b"ready\n"
    # Without what a site brings, which takes longer to load than all of this.
    return (sys.executable, "-I", "-S", "-c", STAND_IN, place)


def main(place: str) -> None:
    """Until the standard input ends."""
    from host_sim.optics.negatives import negative
    from lampblack.cli import run

    import_module("lampblack.sim.page_server")
    negative("breakwater")
    with contextlib.redirect_stdout(io.StringIO()):
        run(["sim", "--help"])  # what reads the arguments loads at its first call
    signal.signal(signal.SIGCHLD, _reap)
    with socket.socket(socket.AF_UNIX) as asked:
        asked.bind(place)
        asked.listen(20)
        print("ready", flush=True)
        while sys.stdin not in select.select([asked, sys.stdin], [], [])[0]:
            to, _ = asked.accept()
            with to:
                if not os.fork():
                    asked.close()
                    _serve(to)


def _reap(*_: object) -> None:
    with contextlib.suppress(ChildProcessError):
        while os.waitpid(-1, os.WNOHANG)[0]:
            pass


def _serve(to: socket.socket) -> NoReturn:
    """Have the command run, and tell its pid and its code."""
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    text, streams, _, _ = socket.recv_fds(to, REQUEST_MAX, 3)
    pid = os.fork()
    if not pid:
        to.close()
        _run(json.loads(text), streams)
    to.sendall(b"%d\n" % pid)
    for stream in streams:
        os.close(stream)
    _, status = os.waitpid(pid, 0)
    to.sendall(b"%d\n" % os.waitstatus_to_exitcode(status))
    os._exit(0)


def _run(asked: dict[str, Any], streams: list[int]) -> NoReturn:
    """As in a process of its own, which also ends as one does."""
    from lampblack.cli import main as lampblack

    for number, stream in enumerate(streams):
        os.dup2(stream, number)
        os.close(stream)
    os.environ.clear()
    os.environ.update(asked["environment"])
    os.chdir(asked["at"])
    sys.argv = ["lampblack", *asked["arguments"]]
    sys.stdin, sys.stdout, sys.stderr = open(0), open(1, "w"), open(2, "w")  # noqa: SIM115
    signal.signal(signal.SIGINT, signal.default_int_handler)
    lampblack()
    raise SystemExit


if __name__ == "__main__":
    main(sys.argv[1])
