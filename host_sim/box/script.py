"""Scripts of inputs: plain text, one input a line, that play a whole session.

    # a comment
    2.5 press            at 2.5 s after power-up
    +0.3 dial -2         0.3 s after the line before
    expose               at once (also: pedal, lamp, back, press)
    back_down            BACK is held down from now on, until back_up
    wait 1.5             let time pass
    wait until held      until the box is in that state; also: dark, lit, stage N, left SECONDS, card NAME
    line {"jsonrpc":…}   one message from the wire (its checksum is added)
    reset                pull the plug and put it back

What must live here: the words and their meaning. The same words are typed at the simulator's
prompt. It runs on CPython and MicroPython alike.
"""

from timing_core.machine.transitions import STATES
from timing_core.wire.framing import LINE_MAX, frame

KEYS = ("expose", "pedal", "lamp", "back", "back_down", "back_up", "press")
"""What a key gives the box. All but two are presses: only of BACK it is asked how long it is held."""
PATIENCE_MS = 3600 * 1000
"""A wait that takes longer than this is a fault in the script."""

LONGEST_S = 86400
"""A time of more than a day is a slip of the hand, and would be long in playing."""
DETENTS_MAX = 100
"""Of one turn, in a script and on the page."""
STAGES_MAX = 999
"""No run has so many: to wait for a later one would be to wait for ever."""
MESSAGE_MAX = 2 * LINE_MAX
"""Bytes: more than the wire takes, so that a script can try what comes of that."""
_SHOWN_MAX = 36
"""Characters of a script that a fault shows."""

FROM_OUTSIDE = -1
"""Yielded when nothing will happen by itself: only an input from elsewhere can go on."""


class ScriptError(Exception):
    """A line that cannot be played; the text says which, why and what to do."""


def _is_digits(word: str) -> bool:
    """0 to 9 and nothing else: `isdigit` takes more, and not the same everywhere."""
    return bool(word) and all(ch in "0123456789" for ch in word)


def _number(digits: str, most: int) -> int:
    """At most `most` + 1, however many digits there are: thousands of them are slow to read, or a fault."""
    digits = digits.lstrip("0") or "0"
    return min(int(digits), most + 1) if len(digits) <= len(str(most)) else most + 1


def _shown(words: str) -> str:
    return words if len(words) <= _SHOWN_MAX else words[:_SHOWN_MAX] + "..."


def _seconds(word: str, where: str) -> int:
    """Seconds with up to three decimals, in integer ms."""
    whole, _, rest = word.partition(".")
    digits = (rest + "000")[:3]
    if not _is_digits(whole) or len(rest) > 3 or not _is_digits(digits):
        raise ScriptError("%s: '%s' is not a time. Write seconds, such as 2.5" % (where, _shown(word)))
    ms = _number(whole, LONGEST_S) * 1000 + int(digits)
    if ms > LONGEST_S * 1000:
        raise ScriptError(
            "%s: %s s are too long. Write a day (%d) at most" % (where, _shown(word), LONGEST_S)
        )
    return ms


class Player:
    """Plays lines into a session.

    `steps` and `line_steps` yield the time, in ms of the session, that must come next; whoever drives
    them lets that time pass and goes on. `play` drives them on the virtual clock alone.
    """

    def __init__(self, session) -> None:
        self.session = session

    def play(self, text: str, name: str = "script") -> None:
        """Play a whole script as fast as it goes. ScriptError names the line that cannot be played."""
        for at_ms in self.steps(text, name):
            if at_ms == FROM_OUTSIDE:
                raise ScriptError(
                    "%s: what it waits for will not come by itself: the box is '%s'. Press something first"
                    % (self.where, self.session.box.state)
                )
            self.session.advance(at_ms)

    def steps(self, text: str, name: str = "script"):
        for number, line in enumerate(text.split("\n")):
            self.where = "%s:%d" % (name, number + 1)
            yield from self.line_steps(line, self.where)

    def line_steps(self, line: str, where: str = "input"):
        """Play one line; an empty one or a comment does nothing."""
        line = line.strip()
        if not line or line[0] == "#":
            return
        session = self.session
        words = line.split()
        if words[0][0] == "+" or _is_digits(words[0][0]):
            yield self._time(words[0], where)
            line = line[len(words[0]) :].strip()
            words = words[1:]
            if not words:
                raise ScriptError("%s: a time without an input. Write: 2.5 expose" % where)
        word = words[0]
        if word in KEYS and len(words) == 1:
            session.input(word)
        elif word == "dial" and len(words) == 2:
            session.input("dial", self._detents(words[1], where))
        elif word == "wait" and len(words) == 2:
            yield session.now_ms + _seconds(words[1], where)
        elif word == "wait" and len(words) > 2 and words[1] == "until":
            yield from self._wait_until(words[2:], where)
        elif word == "line" and len(words) > 1:
            session.input("line", self._framed(line[5:].encode(), where))
        elif word == "reset" and len(words) == 1:
            session.reset()
        else:
            raise ScriptError(
                "%s: '%s' is no input. Use: %s, dial N, wait S, wait until STATE, line JSON, reset"
                % (where, _shown(line), ", ".join(KEYS))
            )

    def _framed(self, message: bytes, where: str) -> bytes:
        if len(message) > MESSAGE_MAX:
            raise ScriptError(
                "%s: this message has %d bytes. Write %d at most" % (where, len(message), MESSAGE_MAX)
            )
        return frame(message, self.session.platform.crc32)[:-1]

    def _time(self, word: str, where: str) -> int:
        now_ms = self.session.now_ms
        if word[0] == "+":
            return now_ms + _seconds(word[1:], where)
        at_ms = _seconds(word, where)
        if at_ms < now_ms:
            raise ScriptError(
                "%s: %s s is past, it is %d.%03d s. Write +SECONDS"
                % (where, word, now_ms // 1000, now_ms % 1000)
            )
        return at_ms

    def _detents(self, word: str, where: str) -> int:
        digits = word[1:] if word[0] in "+-" else word
        if not _is_digits(digits):
            raise ScriptError(
                "%s: '%s' is no number of detents. Write: dial 3 or dial -3" % (where, _shown(word))
            )
        count = _number(digits, DETENTS_MAX)
        if count > DETENTS_MAX:
            raise ScriptError(
                "%s: %s detents are too many for one go. Write: dial %d, at most"
                % (where, _shown(digits), DETENTS_MAX)
            )
        return -count if word[0] == "-" else count

    def _wait_until(self, words: list, where: str):
        session = self.session
        limit_ms = session.now_ms + PATIENCE_MS
        while not self._holds(words, where):
            next_ms = session.next_ms()
            if words[0] == "left" and session.box.state == "exposing":
                next_ms = session.now_ms + session.left_ms() - _seconds(words[1], where)
            if next_ms > limit_ms:
                raise ScriptError("%s: nothing came of it in an hour" % where)
            yield next_ms

    def _holds(self, words: list, where: str) -> bool:
        box = self.session.box
        what = words[0]
        if what == "left" and len(words) == 2:
            if box.state in ("delaying", "arming"):
                return False
            if box.state != "exposing":
                raise ScriptError("%s: no stage is under light. Press expose first" % where)
            return self.session.left_ms() <= _seconds(words[1], where)
        if what == "stage" and len(words) == 2 and _is_digits(words[1]):
            stage = _number(words[1], STAGES_MAX)
            if stage <= STAGES_MAX:
                return bool(box.run.stages) and box.run.at + 1 == stage
        if what == "card" and len(words) == 2:
            return words[1] in box.shelf.names()
        if len(words) == 1:
            if what == "dark":
                return not box.lit
            if what == "lit":
                return self.session.lamp.lit
            if what in [name for name, _ in STATES]:
                return box.state == what
        raise ScriptError(
            "%s: cannot wait until '%s'. Use a state, dark, lit, stage N, left S, card NAME"
            % (where, _shown(" ".join(words)))
        )
