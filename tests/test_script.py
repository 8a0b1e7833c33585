"""Scripts of inputs: what every word does, and the one line that each fault gets."""

import pytest

from host_sim.box.memory_disk import MemoryDisk
from host_sim.box.platform import desk_platform
from host_sim.box.script import FROM_OUTSIDE, Player, ScriptError
from host_sim.box.session import Session, Watcher
from tests.box_model import a_card, ask, card_lines, load, new_session


class Inputs(Watcher):
    def __init__(self) -> None:
        self.seen: list[tuple] = []

    def input(self, now_ms: int, event: str, value) -> None:
        if event not in ("tick", "lamp_end"):
            self.seen.append((now_ms, event, value))


def played(script: str, session: Session | None = None) -> tuple[list[tuple], Session]:
    session = session or new_session()
    inputs = Inputs()
    session.watchers.append(inputs)
    Player(session).play(script)
    return inputs.seen, session


# --- words


def test_every_key_and_the_dial():
    seen, _ = played("expose\npedal\nlamp\nback\nback_up\npress\ndial 3\ndial -2\ndial +1")
    keys = [(0, key, 0) for key in ("expose", "pedal", "lamp", "back", "back_up", "press")]
    assert seen == [*keys, (0, "dial", 3), (0, "dial", -2), (0, "dial", 1)]


def test_times_are_from_power_up_or_from_the_line_before():
    script = "2.5 press\n+0.3 dial -2\n+1 press\n3.8 press\n3.801 back\nwait 1.25\nback"
    seen, session = played(script)
    assert [at_ms for at_ms, _, _ in seen] == [2500, 2800, 3800, 3800, 3801, 5051]
    assert session.now_ms == 5051


@pytest.mark.parametrize(
    ("word", "ms"),
    [("0", 0), ("2", 2000), ("2.5", 2500), ("0.001", 1), ("007.25", 7250), ("3.", 3000), ("1.050", 1050)],
)
def test_seconds_are_read_to_the_ms(word, ms):
    _, session = played(f"wait {word}")
    assert session.now_ms == ms


def test_comments_and_empty_lines_do_nothing():
    seen, _ = played("# a comment\n\n   \n\t# another\n  press  \n\r\n")
    assert [event for _, event, _ in seen] == ["press"]


def test_a_reset_is_a_new_box_on_the_old_store():
    _, session = played("expose\nexpose\n+2 reset")
    assert session.box.state == "notice"
    assert not session.lamp.lit


def test_a_line_goes_to_the_wire_with_its_checksum():
    replies: list[bytes] = []
    session = new_session()
    session.send = replies.append
    played('line {"jsonrpc":"2.0","id":7,"method":"state","params":{}}', session)
    assert b'"id":7' in replies[0]
    assert b'"result"' in replies[0]
    assert int(replies[0][-9:-1], 16) == session.platform.crc32(replies[0][:-10])


def test_a_line_may_have_a_time_and_keeps_its_spaces():
    seen, _ = played('1.5 line {"a":  "b  c"}')
    ((at_ms, event, line),) = seen
    assert (at_ms, event, line[:-9]) == (1500, "line", b'{"a":  "b  c"}')


# --- waiting


@pytest.mark.parametrize(
    ("script", "now_ms", "state"),
    [
        ("expose\nexpose\nwait until dark", 10_000, "browse"),
        ("expose\nexpose\nwait until browse", 10_000, "browse"),
        ("expose\nexpose\nwait until lit", 0, "exposing"),
        ("expose\nexpose\nwait until left 4", 6000, "exposing"),
        ("expose\nexpose\nwait until left 4.25\nexpose", 5750, "held"),
        ("expose\nexpose\nwait until left 99", 0, "exposing"),
        ("expose\nwait until ready", 0, "ready"),
        ("expose\nwait until stage 2", 0, "ready"),
        ("lamp\nwait until browse", 300_000, "browse"),
    ],
)
def test_waiting_ends_when_what_is_waited_for_has_come(script, now_ms, state):
    _, session = played(script)
    assert (session.now_ms, session.box.state) == (now_ms, state)


def test_light_that_is_left_is_counted_through_lag_and_holds():
    session = new_session()
    session.box.asked.set_bench({"lag_ms": 200})
    played("expose\nexpose\nwait until left 6\nexpose", session)
    assert (session.now_ms, session.box.exposing.left_ms()) == (4200, 6000)
    played("+1 expose\nwait until left 5\nexpose", session)
    assert (session.now_ms, session.box.exposing.left_ms()) == (4200 + 1000 + 1200, 5000)


@pytest.mark.parametrize("wanted", ["lit", "exposing", "left 4"])
def test_light_that_comes_by_itself_is_waited_for(wanted):
    session = new_session()
    load(session, a_card(("sky", 120), base_ms=4000))
    session.box.asked.set_bench({"start_delay_s": 5})
    played(f"expose\nexpose\nwait until dark\nexpose\nwait until {wanted}", session)
    assert (session.now_ms, session.lamp.lit) == (4000 + 5000, True)


def test_waiting_for_the_next_stage():
    session = new_session()
    load(session, a_card(("sky", 60), base_ms=4000))
    played("expose\nexpose\nwait until stage 3", session)
    assert session.now_ms == 4000


def test_a_card_can_be_waited_for():
    session = new_session()
    player = Player(session)
    steps = player.steps("wait until card harbour\npress")
    assert next(steps) == FROM_OUTSIDE
    assert next(steps) == FROM_OUTSIDE
    for method, params in card_lines(a_card()):
        ask(session, method, **params)
    assert next(steps, None) is None
    assert session.box.state == "edit", "the press was played once the card had come"


def test_whoever_drives_the_steps_decides_on_time():
    session = new_session()
    steps = Player(session).steps("press\nwait 2\npress")
    assert next(steps) == 2000
    assert session.now_ms == 0
    session.advance(2500)
    assert next(steps, None) is None
    assert session.now_ms == 2500


# --- faults

FAULTS = {
    "exposes": "script:1: 'exposes' is no input. Use: expose, pedal, lamp, back, back_down, back_up, press, "
    "dial N, wait S, wait until STATE, line JSON, reset",
    "expose twice": "script:1: 'expose twice' is no input.",
    "reset now": "script:1: 'reset now' is no input.",
    "wait": "script:1: 'wait' is no input.",
    "wait 1 2": "script:1: 'wait 1 2' is no input.",
    "line": "script:1: 'line' is no input.",
    "dial": "script:1: 'dial' is no input.",
    "-1 press": "script:1: '-1 press' is no input.",
    ".5 press": "script:1: '.5 press' is no input.",
    "2.5": "script:1: a time without an input. Write: 2.5 expose",
    "+1": "script:1: a time without an input. Write: 2.5 expose",
    "wait soon": "script:1: 'soon' is not a time. Write seconds, such as 2.5",
    "wait 1.2345": "script:1: '1.2345' is not a time. Write seconds, such as 2.5",
    "wait 1.2.3": "script:1: '1.2.3' is not a time. Write seconds, such as 2.5",
    "wait -1": "script:1: '-1' is not a time. Write seconds, such as 2.5",
    "wait \u00b2": "script:1: '\u00b2' is not a time. Write seconds, such as 2.5",
    "wait \u0664": "script:1: '\u0664' is not a time. Write seconds, such as 2.5",
    "+x press": "script:1: 'x' is not a time. Write seconds, such as 2.5",
    "+ press": "script:1: '' is not a time. Write seconds, such as 2.5",
    "1x press": "script:1: '1x' is not a time. Write seconds, such as 2.5",
    "dial fast": "script:1: 'fast' is no number of detents. Write: dial 3 or dial -3",
    "dial 1.5": "script:1: '1.5' is no number of detents. Write: dial 3 or dial -3",
    "dial --1": "script:1: '--1' is no number of detents. Write: dial 3 or dial -3",
    "dial -": "script:1: '-' is no number of detents. Write: dial 3 or dial -3",
    "dial \u00b2": "script:1: '\u00b2' is no number of detents. Write: dial 3 or dial -3",
    "press\n\n2 press\n# and\n1.5 press": "script:5: 1.5 s is past, it is 2.000 s. Write +SECONDS",
    "wait until noon": "script:1: cannot wait until 'noon'. Use a state, dark, lit, stage N, left S, "
    "card NAME",
    "wait until stage two": "script:1: cannot wait until 'stage two'.",
    "wait until stage": "script:1: cannot wait until 'stage'.",
    "wait until card": "script:1: cannot wait until 'card'.",
    "wait until left": "script:1: cannot wait until 'left'.",
    "wait until left 2": "script:1: no stage is under light. Press expose first",
    "wait until until dark": "script:1: cannot wait until 'until dark'.",
    "wait until lit": "script:1: what it waits for will not come by itself: the box is 'browse'. "
    "Press something first",
    "expose\nwait until held": "script:2: what it waits for will not come by itself: the box is 'ready'.",
    "wait until card harbour": "script:1: what it waits for will not come by itself: the box is 'browse'.",
    "dial 1000000000": "script:1: 1000000000 detents are too many for one go. Write: dial 100, at most",
    "dial -101": "script:1: 101 detents are too many for one go. Write: dial 100, at most",
    "dial "
    + "9" * 5000: "script:1: 999999999999999999999999999999999999... detents are too many for one go.",
    "wait 86401": "script:1: 86401 s are too long. Write a day (86400) at most",
    "wait 99999999999999": "script:1: 99999999999999 s are too long. Write a day (86400) at most",
    "wait " + "9" * 5000: "script:1: 999999999999999999999999999999999999... s are too long.",
    "9" * 5000 + " expose": "script:1: 999999999999999999999999999999999999... s are too long.",
    "+" + "9" * 5000 + " expose": "script:1: 999999999999999999999999999999999999... s are too long.",
    "wait 1." + "9" * 5000: "script:1: '1.9999999999999999999999999999999999...' is not a time.",
    "line " + "x" * 4097: "script:1: this message has 4097 bytes. Write 4096 at most",
    "line " + "\u00e9" * 2049: "script:1: this message has 4098 bytes. Write 4096 at most",
    "x" * 1000: "script:1: 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx...' is no input. Use",
    "wait until " + "x" * 1000: "script:1: cannot wait until 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx...'. Use",
    "wait until stage "
    + "9" * 5000: "script:1: cannot wait until 'stage 999999999999999999999999999999...'. Use",
    "expose\nexpose\nwait until left "
    + "9" * 5000: "script:3: 999999999999999999999999999999999999... s are",
    "expose\nexpose\nwait until left x": "script:3: 'x' is not a time. Write seconds, such as 2.5",
}


@pytest.mark.parametrize("script", FAULTS)
def test_a_line_that_cannot_be_played_gets_one_line(script):
    with pytest.raises(ScriptError) as error:
        played(script)
    text = str(error.value)
    assert text.startswith(FAULTS[script])
    assert "\n" not in text


def test_what_is_just_within_its_bounds_is_played():
    _, session = played("wait 86400\ndial 100\ndial -100\nline " + "x" * 4096 + "\nwait 000000000001")
    assert session.now_ms == 86_401_000


def test_a_fault_names_the_file_and_leaves_what_was_played():
    session = new_session()
    with pytest.raises(ScriptError, match=r"^evening\.txt:2: "):
        Player(session).play("press\nprss\npress", "evening.txt")
    assert session.box.state == "edit"


def test_a_wait_of_an_hour_is_a_fault():
    # No light lasts that long, so somebody strikes it again whenever it has gone out.
    session = new_session()

    def wait_for_ever() -> None:
        for at_ms in Player(session).steps("wait until held"):
            if at_ms == FROM_OUTSIDE:
                session.input("lamp")
            else:
                session.advance(at_ms)

    with pytest.raises(ScriptError, match=r"^script:1: nothing came of it in an hour$"):
        wait_for_ever()
    assert 3600_000 - 1000 <= session.now_ms <= 3600_000


def test_words_are_typed_one_line_at_a_time():
    session = Session(MemoryDisk(), desk_platform())
    session.power_up()
    player = Player(session)
    for line in ("+1 expose", "+1 expose", "wait 2", "expose"):
        for at_ms in player.line_steps(line):
            session.advance(at_ms)
    assert session.box.state == "held"
    with pytest.raises(ScriptError, match=r"^input: 'expos' is no input"):
        list(player.line_steps("expos"))
