"""Which port has the box: first by its USB id, then by its answer to `hello`.

What must live here: which ports may be opened without having been named, and which of them is meant. A port
that is not a Raspberry Pi board's is never opened: what hangs on it may act on what it hears.

Source of the ids: github.com/raspberrypi/usb-pid, "Raspberry Pi USB product ID list".
"""

from typing import NamedTuple

from lampblack.wire.box_client import BoxClient, BoxError, NoAnswer, Port, ports

RASPBERRY_PI = 0x2E8A
"""The vendor of every board that a box can be. Other makers' boards with its chip have it too."""
MICROPYTHON = 0x0005
"""The product that a Pico is while it runs MicroPython: a box, or one that could be made a box."""

ASK_S = 1.0
"""How long a port may take to answer. A box answers in some tens of ms."""


class Todo(NamedTuple):
    """What whoever asks for the box can do: where none is found, where several are, where one is silent."""

    none: str
    several: str
    silent: str


_BY_NAME = "name a port with --port; a simulator is named by --port socket://…"
AT_COMMAND = Todo(
    f"Plug the box in with a data cable, or {_BY_NAME}.",
    "Name one of them with --port.",
    f"See `lampblack doctor --port {{}}`, or {_BY_NAME}.",
)
IN_BROWSER = Todo(
    "Plug the box in with a data cable, and press again.",
    "Unplug all but one, and press again.",
    "Unplug it, plug it in again, and press again.",
)


class Seen(NamedTuple):
    """A port, and what is there. `box` is what a box says of itself; None where none answers or none was
    asked. `fault` is why an asked port gave no answer."""

    port: Port
    box: dict | None = None
    fault: BoxError | None = None

    @property
    def is_pico(self) -> bool:
        """It may be a box, or be made one."""
        return self.port.usb == (RASPBERRY_PI, MICROPYTHON)


def look() -> list[Seen]:
    """Every port of this PC. Those of Raspberry Pi boards are asked for their boxes."""
    return [_ask(port) if port.usb and port.usb[0] == RASPBERRY_PI else Seen(port) for port in ports()]


def _ask(port: Port) -> Seen:
    try:
        with BoxClient(port.url, ASK_S, only_hello=True) as box:
            return Seen(port, box.about)
    except BoxError as fault:
        return Seen(port, fault=fault)


def the_box(url: str | None, *, or_pico: bool = False, todo: Todo = AT_COMMAND) -> str:
    """The port to use: `url` if one is named, or else that of the only box. With `or_pico` a Pico on which no
    box answers counts as one. BoxError, with what is `todo`, if there is none, or more than one."""
    if url is not None:
        return url
    asked = [seen for seen in look() if seen.box or seen.fault]
    found = [seen for seen in asked if seen.box or (or_pico and seen.is_pico)]
    if len(found) == 1:
        return found[0].port.url
    if found:
        raise BoxError(f"More than one could be meant: {', '.join(map(_told, found))}. {todo.several}")
    if not asked:
        raise BoxError(
            f"No box is found: no serial port has the USB id of a Raspberry Pi board (2E8A). {todo.none}"
        )
    (first, *others) = asked
    if first.fault and not others and not isinstance(first.fault, NoAnswer):
        raise first.fault
    where = ", ".join(seen.port.url for seen in asked)
    raise BoxError(
        f"No box is found: what is at {where} has the USB id of a Raspberry Pi board and does not answer as "
        f"a box. {todo.silent.format(first.port.url)}"
    )


def _told(seen: Seen) -> str:
    return f"box {seen.box['identity']} at {seen.port.url}" if seen.box else f"a Pico at {seen.port.url}"
