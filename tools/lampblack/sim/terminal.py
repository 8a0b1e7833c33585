"""The simulated box in a terminal: its picture, lamp and safelight, and a prompt for inputs.

What must live here: what the terminal shows and which keys stand for which control. The words typed
are those of scripts (`host_sim.box.script`); nothing here decides what the box does.
"""

import asyncio
import contextlib
import shutil
from collections import deque

from prompt_toolkit.application import Application
from prompt_toolkit.formatted_text import FormattedText
from prompt_toolkit.key_binding import KeyBindings, KeyPressEvent
from prompt_toolkit.layout import FormattedTextControl, HSplit, Layout, Window
from prompt_toolkit.styles import Style
from prompt_toolkit.widgets import TextArea

from host_sim.box.frame_pictures import GROUND, INK, braille, half_blocks
from host_sim.box.live import Live
from host_sim.box.session import Watcher
from host_sim.box.view import BoxView

STYLE = Style.from_dict(
    {
        "frame": f"{INK} bg:{GROUND}",
        "lit": f"{GROUND} bg:#ffd080",
        "safe": f"{GROUND} bg:{INK}",
        "dim": "#808080",
    }
)
KEYS = {"f1": "expose", "f2": "lamp", "f3": "back", "f4": "press"}
HELP = (
    "F1 EXPOSE  F2 LAMP  F3 BACK  up/down turn  F4 press dial  or type: expose, dial 2, wait until held, quit"
)
FULL_COLUMNS, FULL_LINES = 128, 37


class _Sounds(Watcher):
    """The last few sounds, as words."""

    def __init__(self) -> None:
        self.last: deque[str] = deque(maxlen=6)

    def output(self, now_ms: int, kind: str, value: object) -> None:
        if kind == "sound":
            self.last.append(str(value))


class Panel:
    """Shows `live` until the person quits; `addresses` are printed as the ways in."""

    def __init__(self, live: Live, addresses: str) -> None:
        self._live = live
        self._addresses = addresses
        self._sounds = _Sounds()
        live.session.watchers.append(self._sounds)
        self._wrong = ""
        self._input = TextArea(height=1, prompt="> ", multiline=False, accept_handler=self._typed)
        self._typing: set[asyncio.Task[None]] = set()
        rows: list[Window | TextArea] = [
            Window(FormattedTextControl(self._picture), dont_extend_height=True, style="class:frame"),
            Window(FormattedTextControl(self._state), wrap_lines=True, dont_extend_height=True),
            self._input,
            Window(FormattedTextControl(self._below), wrap_lines=True, style="class:dim"),
        ]
        self._app: Application[None] = Application(
            Layout(HSplit(rows), focused_element=self._input),
            key_bindings=self._bindings(),
            style=STYLE,
            full_screen=True,
        )
        self._shown: object = None
        live.on_change(self._draw_what_changed)

    def _draw_what_changed(self) -> None:
        """A picture takes some ms: none is drawn that would be the same."""
        shown = self._live.session.frame(), self._state()
        if shown != self._shown:
            self._shown = bytes(shown[0]), shown[1]
            self._app.invalidate()

    async def run(self) -> None:
        """Until quit, hand-over or Ctrl-C."""
        time_passes = asyncio.create_task(self._live.run())
        closes = asyncio.create_task(self._close_when_ended())
        try:
            await self._app.run_async()
        finally:
            self._live.end()
            closes.cancel()
            await time_passes

    async def _close_when_ended(self) -> None:
        await self._live.ended.wait()
        with contextlib.suppress(Exception):
            self._app.exit()

    def _bindings(self) -> KeyBindings:
        bindings = KeyBindings()

        def press(event: str, value: int = 0) -> None:
            self._wrong = ""
            self._live.input(event, value)

        for key, word in KEYS.items():

            @bindings.add(key)
            def _(_: KeyPressEvent, word: str = word) -> None:
                press(word)  # a terminal does not tell how long a key is held

        @bindings.add("up")
        def _(_: KeyPressEvent) -> None:
            press("dial", -1)

        @bindings.add("down")
        def _(_: KeyPressEvent) -> None:
            press("dial", 1)

        @bindings.add("c-c")
        @bindings.add("c-d")
        def _(event: KeyPressEvent) -> None:
            event.app.exit()

        return bindings

    def _typed(self, buffer: object) -> bool:
        line = self._input.text.strip()
        if line in ("quit", "exit"):
            self._app.exit()
            return False
        task = asyncio.get_running_loop().create_task(self._play(line))
        self._typing.add(task)
        task.add_done_callback(self._typing.discard)
        return False

    async def _play(self, line: str) -> None:
        self._wrong = await self._live.type(line)
        self._app.invalidate()

    def _picture(self) -> FormattedText:
        columns, lines = shutil.get_terminal_size()
        draw = half_blocks if columns >= FULL_COLUMNS and lines >= FULL_LINES else braille
        return FormattedText([("", "\n".join(draw(bytes(self._live.session.frame()))))])

    def _state(self) -> FormattedText:
        session = self._live.session
        box = BoxView(session)
        lamp = ("class:lit", " LAMP LIT ") if session.lamp.lit else ("class:dim", " lamp dark ")
        safe = ("class:safe", " safelight on ") if box.safelight else ("class:dim", " safelight off ")
        time = f"{session.now_ms / 1000:8.1f}" if session.lamp.lit else f"{session.now_ms // 1000:6}  "
        clock = f"  {time} s  {box.state:9} "
        return FormattedText(
            [
                lamp,
                ("", " "),
                safe,
                ("", clock),
                ("class:dim", " ".join(self._sounds.last)),
                ("", "\n"),
                ("", self._wrong),
            ]
        )

    def _below(self) -> str:
        return f"{HELP}\n{self._addresses}"
