"""Scripts of inputs: plain text, one input a line, that play a whole session.

    # a comment
    2.5 press            at 2.5 s after power-up
    +0.3 dial -2         0.3 s after the line before
    expose               at once
    wait 1.5             let time pass
    wait until held      until the box is in that state; also: dark, lit, stage N, left SECONDS
    line {"jsonrpc":…}   one message from the wire (its checksum is added)
    reset                pull the plug and put it back

What must live here: the words and their meaning. The same words are typed at the simulator's
prompt. It runs on CPython and MicroPython alike.
"""

from timing_core.link import frame
from timing_core.transitions import STATES

KEYS = ("expose", "pedal", "lamp", "back", "press")
PATIENCE_MS = 3600 * 1000
"""A wait that takes longer than this is a fault in the script."""


class ScriptError(Exception):
    """A line that cannot be played; the text says which, why and what to do."""


def _seconds(word: str, where: str) -> int:
    """Seconds with up to three decimals, in integer ms."""
    whole, _, rest = word.partition(".")
    digits = (rest + "000")[:3]
    if not whole.isdigit() or len(rest) > 3 or not digits.isdigit():
        raise ScriptError("%s: %r is not a time. Write seconds, such as 2.5" % (where, word))
    return int(whole) * 1000 + int(digits)


def _is_time(word: str) -> bool:
    return word[0] == "+" or word[0].isdigit()


class Player:
    """Plays lines into a session."""

    def __init__(self, session) -> None:
        self.session = session

    def play(self, text: str, name: str = "script") -> None:
        """Play a whole script. ScriptError names the line that cannot be played."""
        for number, line in enumerate(text.split("\n")):
            self.line(line, "%s:%d" % (name, number + 1))

    def line(self, line: str, where: str = "input") -> None:
        """Play one line; an empty one or a comment does nothing."""
        line = line.strip()
        if not line or line[0] == "#":
            return
        session = self.session
        words = line.split()
        if _is_time(words[0]):
            if words[0][0] == "+":
                at_ms = session.now_ms + _seconds(words[0][1:], where)
            else:
                at_ms = _seconds(words[0], where)
            if at_ms < session.now_ms:
                raise ScriptError(
                    "%s: %s s is past, it is %.3f s. Use +SECONDS" % (where, words[0], session.now_ms / 1000)
                )
            session.advance(at_ms)
            line = line[len(words[0]) :].strip()
            words = words[1:]
            if not words:
                raise ScriptError("%s: a time without an input. Write: 2.5 expose" % where)
        self._word(words, line, where)

    def _word(self, words: list, line: str, where: str) -> None:
        session = self.session
        word = words[0]
        if word in KEYS and len(words) == 1:
            session.input(word)
        elif word == "dial" and len(words) == 2:
            session.input("dial", self._detents(words[1], where))
        elif word == "wait" and len(words) == 2:
            session.advance(session.now_ms + _seconds(words[1], where))
        elif word == "wait" and len(words) > 2 and words[1] == "until":
            self._wait_until(words[2:], where)
        elif word == "line" and len(words) > 1:
            session.input("line", frame(line[5:].encode(), session.kit.crc32)[:-1])
        elif word == "reset" and len(words) == 1:
            session.reset()
        else:
            raise ScriptError(
                "%s: %r is no input. Use: %s, dial N, wait S, wait until STATE, line JSON, reset"
                % (where, line, ", ".join(KEYS))
            )

    def _detents(self, word: str, where: str) -> int:
        digits = word[1:] if word[0] in "+-" else word
        if not digits.isdigit():
            raise ScriptError("%s: %r is no number of detents. Write: dial 3 or dial -3" % (where, word))
        return -int(digits) if word[0] == "-" else int(digits)

    def _wait_until(self, words: list, where: str) -> None:
        session = self.session
        what = words[0]
        if what == "left" and len(words) == 2:
            self._wait_until_left(_seconds(words[1], where), where)
            return
        if what == "dark" and len(words) == 1:
            holds = lambda: not session.box.lit  # noqa: E731
        elif what == "lit" and len(words) == 1:
            holds = lambda: session.box.lit  # noqa: E731
        elif what == "stage" and len(words) == 2 and words[1].isdigit():
            holds = lambda: session.box.stages and session.box.at == int(words[1])  # noqa: E731
        elif len(words) == 1 and what in [name for name, _ in STATES]:
            holds = lambda: session.box.state == what  # noqa: E731
        else:
            raise ScriptError(
                "%s: cannot wait until %r. Use a state, dark, lit, stage N or left S"
                % (where, " ".join(words))
            )
        if not session.advance_until(holds, PATIENCE_MS):
            raise ScriptError(
                "%s: %r will not come by itself: the box is %s" % (where, " ".join(words), session.box.state)
            )

    def _wait_until_left(self, left_ms: int, where: str) -> None:
        """Until the stage under light has `left_ms` of light to give."""
        session = self.session
        while session.box.state == "exposing":
            over_ms = session.left_ms() - left_ms
            if over_ms <= 0:
                return
            session.advance(session.now_ms + over_ms)
        raise ScriptError("%s: no stage is under light. Press expose first" % where)
