"""The machine: one input and what it causes, the state the box is in, and the row of the table that fires.

What must live here: looking up, and collecting outputs. What the names of the table call is handed in.
"""

from timing_core.platform import const
from timing_core.refusal import Refusal


def _at_once(act):
    return act()


class Exchange:
    """The input being handled (`now_ms` when it came, `amount` its value), and what the box answers: `count`
    outputs of `kind` and `value`, and `message`, the line that the panel shows in place of its rows.

    `sounded_ms` is when the last sound began, where a tick of a second is none: `ticked` tells of that.
    `inputs` counts inputs, and `undisturbed` calls a function with them kept out: for what is worked out
    while one may cut in. One for the life of a box: it never grows.
    """

    ROOM = 32
    MOST_SOUNDS = 20
    """If more sounds are due in one call, the rest wait for the next, so that ROOM is never used up."""

    def __init__(self, has_panel: bool) -> None:
        self.undisturbed = _at_once  # set from outside by what the box runs on, where keys could cut in
        self.inputs = 0
        self.now_ms = 0
        self.amount = 0
        self.sounded_ms = 0
        self.ticked = False
        self.kind = [""] * self.ROOM
        self.value: list = [0] * self.ROOM
        self.count = 0
        self.message = ""
        self._has_panel = has_panel

    def begin(self, now_ms: int, amount: int) -> None:
        """Take a new input: no output is given yet."""
        self.inputs = (self.inputs + 1) & 0xFFFF
        self.count = 0
        self.ticked = False
        self.now_ms = now_ms
        self.amount = amount

    def put(self, kind: str, value=0) -> None:
        self.kind[self.count] = kind  # IndexError past ROOM, so that no output is lost in silence
        self.value[self.count] = value
        self.count += 1
        if kind == "sound":
            if value == "tick":
                self.ticked = True
            else:
                self.sounded_ms = self.now_ms

    def picture(self) -> None:
        """Ask for a new picture, where there is a panel."""
        if self._has_panel:
            self.put("screen")

    def say(self, text: str) -> None:
        """Show `text` in place of the rows until a control is used."""
        self.message = text
        self.picture()

    def has_message(self) -> bool:
        return self.message != ""

    def refuse(self, text: str) -> None:
        self.say(text)
        self.put("sound", "refuse")


NO_ROW = const(-1)
_WIDTH = const(6)
_NO_EVENT = b"\xff"
_PASSING = ("viewing", "arming", "delaying")


class Machine:
    """`state` is one of `transitions.STATES`, `before` the one from which the viewing light was lit, the
    second contact closed, or the start delay begun. A row is named by where it stands in `_rows`, NO_ROW
    being none.

    `parts` are objects, and `when` and `do` say for a name of the table which part's function it is: name ->
    (number of the part, function). `about` says for the function of a `do` what "@" in its words stands for.
    """

    def __init__(self, parts: tuple, when: dict, do: dict, about: dict) -> None:
        self.state = "off"
        self.before = "browse"
        self._parts = parts
        self._about = about
        self._events: dict = {}
        self._asked: dict = {}
        self._starts: dict = {}
        self._rows = b""
        self._words: tuple = ()
        self._calls: tuple = ()
        self._bind(when, do)

    def _bind(self, when: dict, do: dict) -> None:
        """The table with its names looked up, in a fifth of the memory that tuples would take.

        `_asked` has the events of each state's rows, a byte for each as `_events` numbers them, those of one
        event together: to find the first there takes a fraction of the time of a loop. `_rows` has six
        numbers for each row: of `_calls`, what is asked and what is done; of `_words`, the state that follows
        ("" where it stays) and what is said; the parts of the two calls; and whether another row of the same
        event follows. `_starts` says where a state's first row is.
        """
        # Imported here, so that a board can let go of the text once it is bound.
        from timing_core.machine.transitions import STATES, transitions

        nothing = (0, None)
        words = [""]
        calls = [None]
        found: dict = {}
        for name, _ in STATES:
            self._asked[name] = b""
            found[name] = bytearray()
        for state, event, asked, done, then, says in transitions():
            when_part, asks = when[asked] if asked else nothing
            do_part, does = do[done] if done else nothing
            number = self._events.setdefault(event, bytes([len(self._events)]))
            others, own = self._asked[state], found[state]
            at = others.rfind(number) + 1
            if at:
                own[_WIDTH * at - 1] = 1
            else:
                at = len(others)
            row = bytearray()
            for call in (asks, does):
                row.append(_number_in(calls, call))
            for word in ("" if then == state else then, says):
                row.append(_number_in(words, word))
            row.append(16 * when_part + do_part)
            row.append(0)
            self._asked[state] = others[:at] + number + others[at:]
            found[state] = own[: _WIDTH * at] + row + own[_WIDTH * at :]
        rows = bytearray()
        for state, own in found.items():
            self._starts[state] = len(rows)
            rows += own
        self._rows = bytes(rows)
        self._words = tuple(words)
        self._calls = tuple(calls)

    def rows(self, state: str) -> list:
        """The rows of a state, those of each event in their order."""
        return [self._starts[state] + _WIDTH * at for at in range(len(self._asked[state]))]

    def row(self, event: str) -> int:
        """The row that `event` fires now."""
        row = self._asked[self.state].find(self._events.get(event, _NO_EVENT))
        if row < 0:
            return NO_ROW
        row = self._starts[self.state] + _WIDTH * row
        rows, calls = self._rows, self._calls
        while True:
            asks = calls[rows[row]]
            if asks is None or asks(self._parts[rows[row + 4] >> 4]):
                return row
            if not rows[row + 5]:
                return NO_ROW
            row += _WIDTH

    def does(self, row: int) -> None:
        """Call what the row says. It may raise Refusal."""
        act = self._calls[self._rows[row + 1]]
        if act is not None:
            act(self._parts[self._rows[row + 4] & 15])

    def tries(self, row: int) -> str:
        """The same, for what may be refused: then the line that says so, else ""."""
        act = self._calls[self._rows[row + 1]]
        try:
            if act is not None:
                act(self._parts[self._rows[row + 4] & 15])
        except Refusal as refusal:
            return refusal.line
        return ""

    def then(self, row: int) -> str:
        """The state that the row leads to; "" if that stays."""
        return self._words[self._rows[row + 2]]

    def moves(self, then: str) -> None:
        """Go to the state that a row leads to."""
        if then == "before":
            self.state = self.before
        else:
            if then in _PASSING and self.state not in _PASSING:
                self.before = self.state
            self.state = then

    def says(self, event: str) -> str:
        """The words for what a control will do now; "" for nothing."""
        row = self.row(event)
        if row == NO_ROW:
            return ""
        words = self._words[self._rows[row + 3]]
        if "@" in words:
            does = self._calls[self._rows[row + 1]]
            words = words.replace("@", self._about[does](self._parts[self._rows[row + 4] & 15]))
        return words

    def promises(self, state: str) -> list:
        """All that `says` may say of any control in `state`, whatever it is about left open."""
        said = [self._words[self._rows[row + 3]] for row in self.rows(state)]
        return [words for words in said if words]

    def has(self, event: str) -> bool:
        """True if the event can do something in this state."""
        return self._asked[self.state].find(self._events.get(event, _NO_EVENT)) >= 0


def _number_in(found: list, what) -> int:
    """The place of `what` in `found`, in which it is put if it is not there."""
    if what not in found:
        found.append(what)
    return found.index(what)
