"""The machine: one input and what it causes, the state the box is in, and the row of the table that fires.

What must live here: looking up, and collecting outputs. What the names of the table call is handed in.
"""


def _at_once(act):
    return act()


class Exchange:
    """The input being handled (`now_ms` when it came, `amount` its value), and what the box answers: `count`
    outputs of `kind` and `value`, and `message`, the line that the panel shows in place of its rows.

    `inputs` counts them, and `undisturbed` calls a function with inputs kept out: for what is worked out
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
        self.kind = [""] * self.ROOM
        self.value: list = [0] * self.ROOM
        self.count = 0
        self.message = ""
        self._has_panel = has_panel

    def begin(self, now_ms: int, amount: int) -> None:
        """Take a new input: no output is given yet."""
        self.inputs = (self.inputs + 1) & 0xFFFF
        self.count = 0
        self.now_ms = now_ms
        self.amount = amount

    def put(self, kind: str, value=0) -> None:
        self.kind[self.count] = kind  # IndexError past ROOM, so that no output is lost in silence
        self.value[self.count] = value
        self.count += 1

    def picture(self) -> None:
        """Ask for a new picture, where there is a panel."""
        if self._has_panel:
            self.put("screen")

    def say(self, text: str) -> None:
        """Show `text` in place of the rows until a control is used."""
        self.message = text
        self.picture()

    def refuse(self, text: str) -> None:
        self.say(text)
        self.put("sound", "refuse")


class Machine:
    """`state` is one of `transitions.STATES`, `before` the one from which the viewing light was lit, or the
    second contact closed.

    `parts` are objects, and `when` and `do` say for a name of the table which part's function it is: name ->
    (number of the part, function). `about` says for the function of a `do` what "@" in its words stands for.
    """

    def __init__(self, parts: tuple, when: dict, do: dict, about: dict) -> None:
        self.state = "off"
        self.before = "browse"
        self._parts = parts
        self._about = dict(about)
        self.table = self._bind(when, do)

    def _bind(self, when: dict, do: dict) -> dict:
        """The table with its names looked up: state -> rows of (event, when, do, then, says, parts).

        `then` is empty where the state stays, and `parts` numbers the parts of `when` and `do`. A bound
        method would take 16 bytes each.
        """
        # Imported here, so that a board can let go of the text once it is bound.
        from timing_core.machine.transitions import STATES, transitions

        # Words and rows that are alike are shared, to spare memory.
        words: dict = {}
        rows: dict = {}
        nothing = (0, None)

        def shared(word: str) -> str:
            return words.setdefault(word, word)

        found: dict = {shared(name): [] for name, _ in STATES}
        for state, event, asked, done, then, says in transitions():
            then = "" if then == state else then
            alike = (event, asked, done, then, says)
            if alike not in rows:
                when_part, asks = when[asked] if asked else nothing
                do_part, does = do[done] if done else nothing
                numbers = 8 * when_part + do_part
                rows[alike] = (shared(event), asks, does, shared(then), shared(says), numbers)
            found[state].append(rows[alike])
        for state in found:
            found[state] = tuple(found[state])
        return found

    def row(self, event: str):
        """The row that `event` fires now, None if there is none."""
        for row in self.table[self.state]:
            if row[0] == event and (row[1] is None or row[1](self._parts[row[5] >> 3])):
                return row
        return None

    def does(self, row: tuple) -> None:
        """Call what the row says. It may raise Refusal."""
        if row[2] is not None:
            row[2](self._parts[row[5] & 7])

    def moves(self, row: tuple) -> None:
        """Go to the state that the row leads to."""
        then = row[3]
        if then == "before":
            self.state = self.before
        elif then:
            if then == "arming" or (then == "viewing" and self.state != "arming"):
                self.before = self.state
            self.state = then

    def says(self, event: str) -> str:
        """The words for what a control will do now; "" for nothing."""
        row = self.row(event)
        if row is None:
            return ""
        words = row[4]
        if "@" in words:
            words = words.replace("@", self._about[row[2]](self._parts[row[5] & 7]))
        return words

    def promises(self, state: str) -> list:
        """All that `says` may say of any control in `state`, whatever it is about left open."""
        return [row[4] for row in self.table[state] if row[4]]

    def has(self, event: str) -> bool:
        """True if the event can do something in this state."""
        # No generator: it would take memory under light.
        for row in self.table[self.state]:  # noqa: SIM110
            if row[0] == event:
                return True
        return False
