"""`lampblack sim` in a process of its own, and its page without a browser."""

import http.client
import json
import re
import signal
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit

from websockets.sync.client import ClientConnection, connect

from lampblack.wire.box_client import BoxClient
from tests.forked import PLAINLY, ready

PATIENCE_S = 20
LONGEST_S = 60


class Darkroom:
    """A running simulator: the address of its page and the port for tools."""

    def __init__(self, said: str) -> None:
        self.address = _found(r"http://\S+", said)
        self.port = _found(r"socket://\S+", said)
        parts = urlsplit(self.address)
        self.host = parts.netloc
        self.path = parts.path
        self.said = ""
        """What it printed at its end."""

    @property
    def origin(self) -> str:
        return f"http://{self.host}"

    def ask(
        self, path: str, headers: dict[str, str] | None = None, body: bytes | None = None
    ) -> tuple[int, dict[str, str], bytes]:
        """GET, or POST with a `body`; the path is from the root. Status, headers and text of the answer."""
        asked = http.client.HTTPConnection(*self.host.split(":"), timeout=PATIENCE_S)  # type: ignore[arg-type]
        try:
            asked.request("GET" if body is None else "POST", path, body, headers or {})
            answer = asked.getresponse()
            return answer.status, {key.lower(): value for key, value in answer.getheaders()}, answer.read()
        finally:
            asked.close()

    def window(self, **more: Any) -> "Window":
        more.setdefault("origin", self.origin)
        return Window(f"ws://{self.host}{self.path}live", more)

    def tidy(self) -> None:
        """Leave box and room as they were at the start, but for shelf, ledger, practice and time."""
        with self.window() as window, BoxClient(self.port) as box:
            window.do("pace", speed=10)  # the box listens only when its settling time is over
            window.do("unplug")
            window.until_done()
            if box.state()["kept"]:
                window.key("back")  # to the list of screens, on "Go on"; below it is "End this run"
                window.do("dial", detents=1)
                window.key("press")
                window.until_done()
                assert not box.state()["kept"]
            box.bench_set({"power_up": "new print"})
            window.do("unplug")
            window.until_done()
            window.until(lambda told: told.state["says"]["expose"] != "wait")
            box.bench_set({"power_up": "as left"})
            if window.state["sheet"]["in"]:
                window.do("develop", dry=False)
            for hand in ("right", "left"):
                window.do("shade", hand=hand, shape="none", x=0.5, y=0.5, size=0.2, angle=0)
            window.do("fit", filter="")
            window.do("negative", name="breakwater")
            window.do("paper", name="vc-2019")
            window.do("lens", name="5.6")
            window.until(
                lambda told: (
                    told.state["box"]["state"] == "browse"
                    and not told.state["sheet"]["in"]
                    and told.state["negative"] == "breakwater"
                )
            )
            window.do("pace", speed=1)
            window.until_done()


class Window:
    """What a browser window knows: everything it was told, put together."""

    socket: ClientConnection

    def __init__(self, address: str, more: dict[str, Any]) -> None:
        self._connecting = connect(address, compression=None, **more)
        self.state: dict[str, Any] = {}
        self.frame = ""
        self.events: list[list[Any]] = []
        self.refused = ""
        self.hello: dict[str, Any] = {}

    def __enter__(self) -> "Window":
        self.socket = self._connecting.__enter__()
        self.hear()
        return self

    def __exit__(self, *failure: Any) -> None:
        self._connecting.__exit__(*failure)

    def hear_to_the_end(self, patience_s: float = PATIENCE_S) -> None:
        """All messages until none comes (TimeoutError) or the window is closed (ConnectionClosed)."""
        while True:
            self.hear(patience_s)

    def hear(self, patience_s: float = PATIENCE_S) -> dict[str, Any]:
        """The next message. TimeoutError if none comes."""
        news = json.loads(self.socket.recv(patience_s))
        self.hello = news.get("hello", self.hello)
        self.state |= news.get("state", {})
        self.frame = news.get("frame", self.frame)
        self.events += news.get("events", [])
        self.refused = news.get("refused", self.refused)
        return news

    def do(self, what: str, **more: Any) -> None:
        self.socket.send(json.dumps({"do": what, **more}))

    def key(self, name: str) -> None:
        """Press a key, and let it go."""
        self.do("key", name=name)
        if name == "back":
            self.do("key", name="back_up")

    def until(self, holds: Any) -> None:
        ends_s = time.monotonic() + LONGEST_S
        while not holds(self):
            self.hear()
            if time.monotonic() > ends_s:
                raise TimeoutError(f"not in {LONGEST_S} s; the box is {self.state['box']}")

    def until_done(self) -> None:
        """Until all that was sent is done: what comes last is refused."""
        self.refused = ""
        self.do("nothing")
        self.until(lambda told: told.refused)

    def until_awake(self) -> None:
        """After power-up, too, the box does not listen at once."""
        self.until(lambda told: told.state["says"]["lamp"] != "wait")

    def light(self, name: str = "expose") -> None:
        """Press EXPOSE or LAMP as soon as the box listens to it."""
        self.until(lambda told: told.state["says"][name] != "wait")
        self.key(name)

    def begin(self) -> None:
        """Take up the run, and give its first light."""
        self.light()
        self.until_box("ready")
        self.light()

    def until_box(self, state: str) -> None:
        self.until(lambda window: window.state["box"]["state"] == state)


SIM = ("sim", "--port", "0")


@contextmanager
def darkroom(*options: str, plainly: bool = False) -> Iterator[Darkroom]:
    """A simulator, ended with Ctrl-C: it has to go quietly. `plainly` has it start as a person starts it."""
    with subprocess.Popen(
        [*(PLAINLY if plainly else ready()), *SIM, *options],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            assert process.stdout is not None
            running = Darkroom("".join(process.stdout.readline() for _ in range(2)))
            with running.window() as window:
                window.until_awake()
            yield running
        finally:
            process.send_signal(signal.SIGINT)
            try:
                said, errors = process.communicate(timeout=PATIENCE_S)
            except subprocess.TimeoutExpired:
                process.kill()
                raise
    running.said = said
    assert (process.returncode, errors) == (0, "")


def _found(pattern: str, text: str) -> str:
    match = re.search(pattern, text)
    assert match, text
    return match[0]
