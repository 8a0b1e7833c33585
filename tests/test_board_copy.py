"""The board's copy of the firmware does what its sources do: the files it is put in, and the names in it."""

import ast
import builtins
import re
from collections import Counter
from pathlib import Path

import pytest

from lampblack.board.borrowed_names import ROM_NAMES, BorrowedNames
from lampblack.board.firmware_files import names_on_board, sources_on_board, texts_on_board
from lampblack.board.folded_numbers import folded
from lampblack.board.merged_groups import APART, AT_HAND, CORE, EARLY, NAMES_MAX, file_of, in_files, merged
from lampblack.board.syntax_trees import children, walk
from lampblack.board.texts_on_flash import on_flash
from tests import micropython
from tests.stand_ins import Clock, board_module, clockwork
from tests.test_trace import SCRIPTS, TICKS_MS, differences, trace_of
from timing_core.box import DO, WHEN

FIRMWARE = micropython.ROOT / "firmware"
PATHS = {
    ".".join(path.relative_to(FIRMWARE).with_suffix("").parts): path
    for path in FIRMWARE.rglob("*.py")
    if any(not isinstance(statement, ast.Expr) for statement in ast.parse(path.read_text("utf-8")).body)
}


def names_in(tree):
    return {
        name
        for node in ast.walk(tree)
        for field in ("id", "attr", "arg", "name", "asname")
        if isinstance(name := getattr(node, field, None), str)
    }


def test_a_tree_is_gone_through_as_python_goes_through_it():
    for path in PATHS.values():
        tree = ast.parse(path.read_text("utf-8"))
        assert walk(tree) == list(ast.walk(tree))
        assert children(tree) == list(ast.iter_child_nodes(tree))


# --- names


def test_a_name_that_is_lent_has_no_other_use():
    borrowed = names_on_board().borrowed
    assert len(borrowed) > 900
    lent = set(borrowed.values())
    assert lent <= ROM_NAMES - set(dir(builtins))
    by_place = names_on_board().by_place
    in_use = set().union(*(names_in(by_place(path.read_text("utf-8"))) for path in PATHS.values()))
    assert not in_use & lent
    # What MicroPython may have a meaning for keeps its name.
    assert not set(borrowed) & (set(dir(builtins)) | ROM_NAMES)
    for start in ("boot", "main"):
        assert not names_in(ast.parse(PATHS[start].read_text("utf-8"))) & set(borrowed)


def of_class(made):
    """The nodes that name what a class has."""
    return [
        node
        for statement in made.body
        for node in [statement, *getattr(statement, "targets", [getattr(statement, "target", statement)])]
        if isinstance(node, ast.FunctionDef | ast.Name)
    ]


def meeting_in(files):
    """Sets of names, each of which has to have a name to itself among them."""
    nodes = {file: list(ast.walk(tree)) for file, tree in files.items()}
    classes = [node for found in nodes.values() for node in found if isinstance(node, ast.ClassDef)]
    has = {
        made.name: {node.attr for node in ast.walk(made) if isinstance(node, ast.Attribute)}
        | {getattr(node, "name", "") or node.id for node in of_class(made)}
        for made in classes
    }
    for made in classes:
        yield "class " + made.name, has[made.name].union(*(has.get(base.id, ()) for base in made.bases))
    in_class = {id(node) for made in classes for node in of_class(made)}
    for file, found in nodes.items():
        yield (
            "functions of " + file,
            {node.name for node in found if isinstance(node, ast.FunctionDef | ast.ClassDef)},
        )
        yield (
            "file " + file,
            {
                name
                for node in found
                if id(node) not in in_class
                for field in ("id", "arg", "name", "asname")
                if isinstance(name := getattr(node, field, None), str)
            },
        )
    attributes = {node.attr for found in nodes.values() for node in found if isinstance(node, ast.Attribute)}
    yield "public", {name for name in attributes if not name.startswith("_")}


def test_no_two_names_that_meet_are_one_on_a_board():
    names = names_on_board()
    sources = {module: path.read_text("utf-8") for module, path in PATHS.items() if "." in module}
    files = {file: names.by_place(source) for file, source in merged(folded(sources)).items()}
    shared = 0
    for where, met in meeting_in(files):
        own_names = {}
        for name in met:
            own_names.setdefault(names.borrowed.get(name, name), []).append(name)
        assert all(len(own) == 1 for own in own_names.values()), (
            where,
            [own for own in own_names.values() if len(own) > 1],
        )
        shared += len(own_names)
    assert shared > 1000
    assert Counter(names.borrowed.values()).most_common(1)[0][1] > 10


SOURCE = """
WORDS = ("left", "right", 3)
LIMIT = const(("never", 2))
counted = 0

class Meter:
    scale = 2

    def __init__(self, zero, *, unit="lx"):
        self._zero = zero
        self.unit = unit

    def reading(self, raw):
        global counted
        counted += 1
        shift = lambda value: value - self._zero
        return [self.scale * shift(one) for one in raw]

def pick(word):
    return getattr(Meter(3), "reading")([word in ("left", "up")])
"""


def run_copy(names, source):
    """What a program has made, by the name that it has in the source."""
    space = {"const": lambda value: value}
    exec(names.in_source(source), space)
    return lambda name: space[names.borrowed.get(name, name)]


def test_a_source_does_the_same_in_borrowed_names():
    names = BorrowedNames({"meters": SOURCE}, kept="import meters")
    assert {"Meter", "unit", "scale", "counted", "pick", "WORDS", "_zero"} <= names.borrowed.keys()
    # It is also a text, by which it may be looked up.
    assert "reading" not in names.borrowed
    # A local variable has no name on a board, and an argument that is given by place has one with all others.
    assert not {"shift", "one", "raw", "value", "word"} & names.borrowed.keys()
    copy = run_copy(names, SOURCE)
    meter = copy("Meter")(3, **{names.borrowed["unit"]: "s"})
    assert meter.reading([3, 5]) == [0, 4]
    assert copy("counted") == 1
    assert copy("pick")("left") == [-4]
    assert (copy("WORDS"), copy("LIMIT")) == (("left", "right", 3), ("never", 2))


CLOSURES = """
def adder(first, *, scale=1):
    def inner(second, first_too=first):
        total = first + second
        return lambda third: (first_too, (total + third) * scale)
    return inner

def shadowed(value):
    def other():
        def deeper():
            value = 5
            return value
        return value + deeper()
    return other() + sum(value for value in [value, 1])

def default(low, high=3):
    return [low, high]
"""


def test_an_argument_is_named_by_its_place():
    names = BorrowedNames({"closures": CLOSURES})
    copy = run_copy(names, CLOSURES)
    assert copy("adder")(1, **{names.borrowed["scale"]: 10})(2)(4) == (1, 70)
    assert copy("shadowed")(7) == 7 + 5 + 7 + 1
    assert copy("default")(2) == [2, 3]
    text = names.in_source(CLOSURES)
    named = {node.arg for node in ast.walk(ast.parse(text)) if isinstance(node, ast.arg)}
    assert named == {names.borrowed[name] for name in ("a0", "a1", "a2", "a3", "scale")}


CLASSES = """
class Base:
    def __init__(self):
        self._of_base = 1

class Child(Base):
    limit = 5
    _kept = 6

    def __init__(self):
        super().__init__()
        self._own = 2
        self._turned = 0

    def _turn(self):
        self._turned += self._own + self._of_base + self._kept
        return self._turned

class Other:
    def __init__(self, child):
        self._child = child
        self._last = 0

    def turn(self):
        self._last = self._child._turn() + self._child._own
        return self._last

def peek(other):
    return other._last
"""


def test_classes_share_names_of_what_is_private():
    names = BorrowedNames({"classes": CLASSES})
    new = names.borrowed
    # In one class or in one line of them each has its own, and so has what is used outside.
    assert (
        len({new[name] for name in ("_of_base", "_own", "_turned", "_turn", "_kept", "_last", "_child")}) == 6
    )
    assert new["_child"] in {new[name] for name in ("_of_base", "_turned", "_kept")}
    copy = run_copy(names, CLASSES)
    other = copy("Other")(copy("Child")())
    turn = getattr(other, names.borrowed.get("turn", "turn"))
    assert [turn(), turn()] == [11, 20]
    assert copy("peek")(other) == 20


FILES = {
    "first": """
def _inner():
    return 1 // 0

def outer():
    return _inner()
""",
    "second": """
from first import outer

def _other():
    return outer()

class Made:
    def _third(self):
        return _other()

    def fourth(self):
        return self._third()
""",
}


def test_files_share_names_of_what_is_private():
    names = BorrowedNames(FILES)
    new = names.borrowed
    assert new["_inner"] in (new["_other"], new["_third"])
    # What one file imports from another is one name in both. Functions of a file are apart, for tracebacks.
    assert new["outer"] not in (new["_inner"], new["_other"])
    assert len({new[name] for name in ("_other", "_third", "fourth")}) == 3


def test_two_names_are_set_without_a_tuple():
    """Of `a, b = (c, d)` MicroPython makes a tuple, of `a, b = c, d` it makes none."""
    source = "def swap(a, b):\n    a, b = b, (a, 1)\n    return (a, b)\n"
    assert "\n    a0, a1 = a1, (a0, 1)\n" in BorrowedNames({}).in_source(source)
    pairs = 0
    for text in sources_on_board().values():
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Tuple):
                pairs += isinstance(node.value, ast.Tuple)
                assert text.split("\n")[node.value.lineno - 1][node.value.col_offset] != "("
    assert pairs > 5


def test_words_of_a_table_are_among_the_names():
    text = BorrowedNames({"meters": SOURCE}).in_source(SOURCE)
    assert "tuple(['left', 'right', 3])" in text
    # A function would make it at each call, and `const` wants it as it is.
    assert "in ('left', 'up')" in text
    assert "const(('never', 2))" in text


TABLE = """
class Machine:
    def opens(self):
        return "opened"
    def rings(self):
        return "rung"

def _never(machine):
    return False

WHEN = {"barred": _never}
DO = {"opens": Machine.opens, "bolt_first": Machine.rings}
TRANSITIONS = '''
# opens
shut knock barred bolt_first shut says bolt_first
shut barred - opens bolt_first'''

def done():
    rows = [line.split() for line in TRANSITIONS.split("\\n") if line and line[0] != "#"]
    return [(row, WHEN.get(row[2]), DO[row[3]](Machine())) for row in rows]
"""


def test_words_that_call_are_names_in_the_table_too():
    names = BorrowedNames({"machine": TABLE})
    new = names.borrowed
    copy = run_copy(names, TABLE)
    asked = copy("_never")
    assert copy("done")() == [
        (["shut", "knock", new["barred"], new["bolt_first"], "shut", "says", "bolt_first"], asked, "rung"),
        (["shut", "barred", "-", new["opens"], "bolt_first"], None, "opened"),
    ]


def test_the_words_of_the_box_that_call_take_no_memory_on_a_board():
    assert len({word for word in (*WHEN, *DO) if word not in names_on_board().borrowed}) < 15


def test_a_traceback_has_the_functions_own_names():
    """As it is told by file and name, no two functions of a file have one name."""
    names = BorrowedNames(FILES)
    new = names.borrowed
    functions = [
        ("second", new["fourth"]),
        ("second", new["_third"]),
        ("second", new["_other"]),
        ("first", new["outer"]),
        ("first", new["_inner"]),
        ("main.py", new["outer"]),
        ("first", "<lambda>"),
    ]
    board = "".join(f'  File "{file}", line 1, in {name}\n' for file, name in functions)
    own = names.put_back(board + f"ValueError: {new['outer']}")
    assert re.findall(r", in (.*)", own) == [
        "fourth", "_third", "_other", "outer", "_inner", new["outer"], "<lambda>"
    ]  # fmt: skip
    assert own.endswith(f"ValueError: {new['outer']}")


# --- numbers

LENGTHS = """
FOOT = 12
YARD: int = 3 * FOOT
_INCH = const(-1 << 2)
NAME = "yard"
TURNED = 1
ONE, _TWO = 1, 2
LEFT, RIGHT = range(2)
FIRST, SECOND = NAME, 5

def turn():
    global TURNED
    TURNED = 2
"""
MEASURE = """
from lengths import FOOT, NAME, YARD
from kinds import lengths
HALF = YARD // 2
FAR = "far", HALF
measured = HALF + lengths.YARD + lengths.TURNED
sides = lengths.LEFT, lengths.RIGHT, lengths._TWO, lengths.SECOND
"""


def test_a_number_stands_in_place_of_its_name():
    files = folded({"lengths": LENGTHS, "kinds.lengths": LENGTHS, "measure": MEASURE}, "import lengths")
    assert files["measure"].splitlines() == [
        "from lengths import NAME",
        "from kinds import lengths",
        "FAR = ('far', 18)",
        "measured = 18 + 36 + lengths.TURNED",
        "sides = (0, 1, 2, lengths.SECOND)",
    ]
    assert "FIRST, SECOND = (NAME, 5)" in files["lengths"]
    assert "FOOT" not in files["lengths"]
    assert "YARD" not in files["lengths"]
    for name in ("_INCH", "ONE", "_TWO", "LEFT", "RIGHT"):
        assert name not in files["lengths"]
    assert "TURNED = 1" in files["lengths"]


def test_a_number_keeps_its_name_where_a_source_that_stays_asks_for_it():
    for kept in ("from kinds.lengths import YARD", "from kinds import lengths\nlengths.YARD"):
        files = folded({"kinds.lengths": LENGTHS}, kept)
        assert "YARD: int = 3 * 12" in files["kinds.lengths"]
        assert "FOOT" not in files["kinds.lengths"]


def test_no_number_of_the_firmware_has_a_name_on_a_board():
    """But for the pins that boot.py and main.py ask for."""
    named = [
        (module, node.targets[0].id)
        for module, source in sources_on_board().items()
        for node in ast.parse(source).body
        if isinstance(node, ast.Assign)
        and isinstance(node.value, ast.Constant)
        and type(node.value.value) is int
        and isinstance(node.targets[0], ast.Name)
    ]
    assert {module for module, _ in named} <= {"board.pins"}


# --- texts

SIGNS = '''"""What a sign says."""
LONG = "a text that is made when the module is loaded"
KINDS = ("a sign that is made of wood", "a sign that is made of tin")
ALL = ("a sign that is on a wall", "a sign that is on a door")

def kind(at):
    return KINDS[at], len(ALL)

def told(name, at=("as good as the text of a module",)):
    """Its docstring says more than sixteen characters."""
    if name == "pattern%s,without:%s,any:%s,space":
        return "short"
    return lambda: "%s has a sign, and so has %s." % (name, "the next one, too"), "the next one, too"
'''


def test_the_sentences_of_functions_are_on_flash():
    found, texts = on_flash({"signs": SIGNS, "board.crash": SIGNS})
    assert found["board.crash"] == SIGNS
    signs = b"a sign that is made of wooda sign that is made of tin"
    assert texts == signs + b"%s has a sign, and so has %s.the next one, too"
    own = found["signs"]
    for kept in (
        "made when the module",
        "good as the text",
        "its docstring",
        "pattern%s,",
        "'short'",
        "on a wall",
    ):
        assert kept in own or kept.capitalize() in own
    assert own.count("text_at(") == 4
    assert "the next one" not in own


@pytest.fixture
def reader(tmp_path):
    """`board.texts`, and a path for its file."""
    module = board_module("texts", clockwork(Clock()))
    module.FILE = str(tmp_path / "texts")
    return module, tmp_path / "texts"


def test_each_text_is_read_as_it_was(reader):
    module, file = reader
    found, texts = on_flash({"signs": SIGNS})
    file.write_bytes(texts)
    scope = {"text_at": module.text_at}
    exec(found["signs"].replace("from board.texts import text_at", ""), scope)
    now = scope["told"]("A wall")
    assert [scope["kind"](at)[0] for at in (1, 0)] == [
        "a sign that is made of tin",
        "a sign that is made of wood",
    ]
    assert (now[0](), now[1]) == ("A wall has a sign, and so has the next one, too.", "the next one, too")


@pytest.mark.parametrize("left", [None, b"", b"\xff" * 200, b"%s has a sign, and so"])
def test_a_text_that_is_lost_takes_its_values_all_the_same(reader, left):
    module, file = reader
    found, _ = on_flash({"signs": SIGNS})
    if left is not None:
        file.write_bytes(left)
    scope = {"text_at": module.text_at}
    exec(found["signs"].replace("from board.texts import text_at", ""), scope)
    said = scope["told"]("A wall")[0]()
    assert said.startswith("These words are lost: install the firmware again. A wall ")


# --- files


def test_each_module_is_in_one_file():
    modules = [module for module in PATHS if "." in module]
    assert set(APART) <= set(modules)
    files = sources_on_board()
    assert set(files) == {file_of(module) for module in modules}
    names_in_file = {file: names_in(ast.parse(source)) for file, source in files.items()}
    for module in modules:
        made = {
            node.name for node in ast.parse(PATHS[module].read_text("utf-8")).body if hasattr(node, "name")
        }
        there = names_in_file[file_of(module)]
        assert {names_on_board().borrowed.get(name, name) for name in made} <= there, module


def test_what_comes_first_on_the_board_comes_without_the_core():
    """boot.py and main.py put the relays out before anything of the core is loaded."""
    for module in PATHS:
        if module.startswith("board.") and (module in APART or file_of(module) == EARLY):
            assert "timing_core" not in PATHS[module].read_text("utf-8"), module


LIGHT_B = '''"""B."""
import gc
from timing_core import VERSION
from timing_core.light.a import A
from timing_core.panel.glyphs import t, u
B = A
'''
LIGHT_A = '''"""A."""
import gc
from timing_core.panel.glyphs import t
A = 1
"""What A is."""
'''


def test_modules_of_a_package_are_put_together():
    files = merged(
        {
            "timing_core.light.b": LIGHT_B,
            "timing_core.light.a": LIGHT_A,
            "timing_core.__init__": "VERSION = 1\n",
            "timing_core.panel.glyphs": "t = u = 0\n",
            "timing_core.box": "from timing_core.light.b import B\nC = B\n",
            "board.runner": "from timing_core.light.b import B\nfrom timing_core.box import C\n",
        }
    )
    glyphs = "from timing_core.panel.glyphs import "
    below = "VERSION = 1", "import gc", glyphs + "t", "A = 1", glyphs + "u", "B = A"
    assert files == {
        "timing_core.records.ledger": "\n".join(below),
        "timing_core.box": "from timing_core.records.ledger import B\nC = B",
        "timing_core.panel.glyphs": "t = u = 0",
        "board.assembly": "from timing_core.records.ledger import B\nfrom timing_core.box import C",
    }


def test_the_core_has_pythons_own_names_at_hand():
    """A board whose core looked for them among Python's lit the lamp 0.1 ms later."""
    for file in CORE:
        first = ast.parse(sources_on_board()[file]).body[: len(AT_HAND)]
        assert [ast.unparse(node) for node in first] == [f"{name} = {name}" for name in AT_HAND]


def test_no_file_has_more_names_than_are_quickly_found():
    """A board whose core was one file with 314 names lit the lamp 1 ms later."""
    for file, source in sources_on_board().items():
        space = set()
        for node in ast.parse(source).body:
            match node:
                case ast.ImportFrom(names=names) | ast.Import(names=names):
                    space |= {name.asname or name.name for name in names}
                case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
                    space.add(name)
                case ast.Assign(targets=[ast.Name(id=name)]) | ast.AnnAssign(target=ast.Name(id=name)):
                    space.add(name)
        assert len(space) <= NAMES_MAX, file


@pytest.mark.parametrize(
    "other",
    ["def made(): pass", "class made: pass", "made = 2", "from timing_core.light.b import made"],
)
def test_one_name_is_not_two_things_in_a_file(other):
    sources = {"timing_core.panel.a": "made = 1\n", "timing_core.panel.b": other + "\n"}
    with pytest.raises(ValueError, match="made would be two things in "):
        merged({**sources, "timing_core.light.b": "made = 3\n"})


# --- what it does


@pytest.fixture(scope="module")
def copy(tmp_path_factory) -> Path:
    """The core as a board has it, and what plays a script to it, compiled for MicroPython."""
    folder = tmp_path_factory.mktemp("copy")
    names = names_on_board()
    player = {
        str(place): path.read_text("utf-8")
        for path, place in micropython.desk_programs().items()
        if "figures" not in place.parts and "rig" not in place.parts
    }
    core = {module: path.read_text("utf-8") for module, path in PATHS.items()}
    player = {place: source for place, source in folded(core | player).items() if place in player}
    sources = {
        Path(*module.split(".")).with_suffix(".py"): source
        for module, source in sources_on_board().items()
        if module.startswith("timing_core")
    } | {Path(place): names.in_source(in_files(source)) for place, source in player.items()}
    for place, source in sources.items():
        target = folder / place
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(source, "utf-8")
        micropython.compile_file(target, target, str(place))
        target.unlink()
    (folder / "board").mkdir()
    (folder / "board" / "file").write_bytes(texts_on_board())
    reader = PATHS["board.texts"].read_text("utf-8").replace('"/board/texts"', f'"{folder}/board/file"')
    (folder / "board" / "start.py").write_text(names.in_source(reader + SEEN), "utf-8")
    (folder / "seen.py").write_text(names.in_source(SEER), "utf-8")
    return folder


SEEN = """
lit = False
asked = []
read = text_at

def text_at(at):
    asked.append(at)
    if lit:
        print("under light: " + read(at))
    return read(at)
"""

SEER = """
import sys
from board import start as texts
from host_sim.box.session import Watcher
from tests.portable.trace import play

class Seer(Watcher):
    lit = False

    def input(self, now_ms, event, value):
        texts.asked.clear()
        # A reply to the wire may take longer, as no key waits for it.
        texts.lit = self.lit and event != "line"

    def lamp(self, now_ms, on):
        if on and texts.asked:
            print("before light: " + texts.read(texts.asked[0]))
        texts.lit = self.lit = on

play(sys.argv[1], print, int(sys.argv[2]), 100, lambda session: session.watchers.append(Seer()))
"""


@pytest.mark.parametrize("script", SCRIPTS, ids=[script.stem for script in SCRIPTS])
def test_it_plays_every_script_as_the_sources_do(copy, script):
    """And no text is read from flash on the way to light, nor under it."""
    done = micropython.run(["-m", "seen", str(script), str(TICKS_MS)], copy)
    assert done.returncode == 0, names_on_board().put_back(done.stderr + done.stdout[-2000:])
    assert differences(trace_of(script, ticks_ms=TICKS_MS), done.stdout.splitlines()) == []
