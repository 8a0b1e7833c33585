"""Backups of a box: whole whatever is cut, checked before any of it is used, and put into a new board.

Boxes are the core's own parts behind its own link, reached by the true client.
"""

import json
import shutil
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest

from lampblack import cli
from lampblack.cards import card_file, paper_file, trays_file
from lampblack.cards.toml_file import FileError
from lampblack.errors import CommandError
from lampblack.ledger import backup as backup_module
from lampblack.ledger import commands
from lampblack.ledger.backup import Backup, files_of, newest_in, read_backup, write_backup
from lampblack.ledger.home import Home
from lampblack.ledger.restore import carry_out, changes
from lampblack.wire.box_client import BoxClient, BoxError
from tests.portable.fakes import FakeBox, large_card, small_card
from tests.portable.papers import VC_2019
from tests.test_box_client import FakePort, client_of
from tests.test_ledger_home import BOXES, Cut, Darkroom, new_ledger
from timing_core.canonical import encode
from timing_core.light.printing_map import PrintingMap
from timing_core.light.tray_sequence import default_sequence
from timing_core.records.fitted import NOTHING_FITTED

MADE_AT = "2026-11-27T21:00:00Z"
LATER = "2026-11-28T09:30:00Z"


def full_box() -> FakeBox:
    """A box that was in use: two cards, a paper record, a tray sequence, settings, and three prints."""
    darkroom = Darkroom(BOXES[0])
    box = darkroom.box
    for card in (small_card(), large_card()):
        box.shelf.keep_text(card["name"], PrintingMap.from_dict(card).text())
    box.papers.keep_text("vc-2019", encode(VC_2019))
    box.sequences.keep_text("rc", default_sequence("rc").text())
    box.bench.set_all({"lag_ms": 124, "filters": ["0", "2", "a, b"], "lamp": 'a "150 W" bulb \\ März'})
    box.fitted.set({"display": "sh1106", "column_offset": 2})
    for count in range(3):
        darkroom.expose(count, at=f"2026-11-26T18:0{count}:00Z")
    return box


def small_box() -> FakeBox:
    """With less in it."""
    box = full_box()
    box.shelf.drop("n" * 24)
    return box


def new_board() -> FakeBox:
    return Darkroom(BOXES[1]).box


def kept_by(box: FakeBox) -> dict[str, Any]:
    """All of a box that a backup carries to another."""
    return {
        "cards": {name: box.shelf.card(name) for name in box.shelf.names()},
        "papers": {name: box.papers.card(name) for name in box.papers.names()},
        "sequences": {name: box.sequences.card(name) for name in box.sequences.names()},
        "bench": box.bench.to_dict(),
    }


def backed_up(box: FakeBox, into: Path, made_at: str = MADE_AT) -> Path | None:
    with client_of(FakePort(box)) as client:
        return write_backup(into, client.about["identity"], made_at, files_of(client))


def restored(saved: Path | Backup, port: FakePort) -> list[str]:
    """The names that were put in."""
    names: list[str] = []
    with client_of(port) as client:
        wanted = changes(read_backup(saved) if isinstance(saved, Path) else saved, client)
        carry_out(wanted, client, lambda kind, name: names.append(name))
    return names


def refused(act: Callable[[], object]) -> str:
    with pytest.raises((CommandError, FileError)) as caught:
        act()
    line = str(caught.value)
    assert "\n" not in line
    assert line.endswith((".", "?"))
    return line


# --- writing


def test_all_that_a_box_keeps_is_in_plain_files(tmp_path):
    box = full_box()
    made = backed_up(box, tmp_path)
    assert made == tmp_path / "2026-11-27T210000Z"
    assert card_file.load(made / "cards" / "harbour.toml") == small_card()
    assert card_file.load(made / "cards" / f"{'n' * 24}.toml") == large_card()
    assert paper_file.PAPERS.load(made / "papers" / "vc-2019.toml") == VC_2019
    assert trays_file.SEQUENCES.load(made / "trays" / "rc.toml") == default_sequence("rc").to_dict()
    assert 'lamp = "a \\"150 W\\" bulb' in (made / "bench.toml").read_text(encoding="utf-8")
    assert 'display = "sh1106"' in (made / "fitted.toml").read_text()
    records = [json.loads(line) for line in (made / "ledger.jsonl").read_text().splitlines()]
    assert [record | {"kept": True} for record in records] == box.ledger.read()
    saved = read_backup(tmp_path)
    assert (saved.box, saved.made_at, saved.bench) == (BOXES[0], MADE_AT, box.bench.to_dict())
    assert [path.name for path in tmp_path.iterdir()] == [made.name]


def test_each_backup_is_a_folder_of_its_own_unless_nothing_has_changed(tmp_path):
    box = full_box()
    first = backed_up(box, tmp_path)
    assert backed_up(box, tmp_path, LATER) is None
    box.bench.set("lag_ms", 90)
    second = backed_up(box, tmp_path, MADE_AT)
    assert second == tmp_path / "2026-11-27T210000Z-2"
    box.bench.set("lag_ms", 80)
    third = backed_up(box, tmp_path, LATER)
    assert newest_in(tmp_path) == third
    assert [read_backup(own).bench["lag_ms"] for own in (first, second, third)] == [124, 90, 80]
    assert read_backup(tmp_path).bench["lag_ms"] == 80


def test_backups_of_two_boxes_do_not_mix(tmp_path):
    backed_up(full_box(), tmp_path)
    assert f"another box, {BOXES[0]}" in refused(lambda: backed_up(new_board(), tmp_path, LATER))
    assert len(list(tmp_path.iterdir())) == 1


def test_a_damaged_newest_backup_hides_no_other_boxs(tmp_path):
    box = full_box()
    backed_up(box, tmp_path)
    box.bench.set("lag_ms", 90)
    newest = backed_up(box, tmp_path, LATER)
    (newest / "manifest.json").write_text('{"form": 1, "bo')
    assert f"another box, {BOXES[0]}" in refused(lambda: backed_up(new_board(), tmp_path, LATER))
    # Of its own box there is a new one, though nothing has changed.
    assert backed_up(box, tmp_path, LATER) == tmp_path / f"{newest.name}-2"


def test_a_backup_goes_into_no_other(tmp_path, monkeypatch):
    box = full_box()
    made = backed_up(box, tmp_path)
    before = sorted(made.rglob("*"))
    line = f"is one itself. Name the folder it is in: {tmp_path}."
    assert line in refused(lambda: backed_up(box, made, LATER))
    monkeypatch.chdir(made)
    assert line in refused(lambda: backed_up(box, Path(), LATER))
    assert sorted(made.rglob("*")) == before


def test_backups_are_in_order_of_their_dates_whatever_they_are_called(tmp_path):
    box = full_box()
    older = backed_up(box, tmp_path)
    box.bench.set("lag_ms", 90)
    newest = backed_up(box, tmp_path, LATER)
    older.rename(tmp_path / "before-the-repair")
    assert newest_in(tmp_path) == newest


@pytest.mark.parametrize("fault", [Cut(), OSError(28, "No space left on device")])
def test_a_cut_at_any_file_leaves_the_older_backup(tmp_path, monkeypatch, fault):
    """A pulled plug cleans nothing up either."""
    box = small_box()
    older = backed_up(box, tmp_path)
    box.bench.set("lag_ms", 90)
    with client_of(FakePort(box)) as client:
        files = files_of(client)
    if isinstance(fault, Cut):
        monkeypatch.setattr(backup_module.shutil, "rmtree", lambda *_, **__: None)
    steps = last = 0

    def counted(does: Callable) -> Callable:
        def step(*arguments: Any, **more: Any) -> Any:
            nonlocal steps
            steps += 1
            if steps == last:
                raise fault
            return does(*arguments, **more)

        return step

    monkeypatch.setattr(backup_module, "write_file", counted(backup_module.write_file))
    monkeypatch.setattr(backup_module, "_to_disk", counted(backup_module._to_disk))
    monkeypatch.setattr(Path, "rename", counted(Path.rename))
    while newest_in(tmp_path) == older:
        last += 1
        steps = 0
        line = ""
        try:
            write_backup(tmp_path, BOXES[0], LATER, files)
        except Cut:
            pass
        except CommandError as told:
            line = str(told)
        assert ("The older ones are as they were" in line) == bool(line)
        assert not line or not list(tmp_path.glob(".*"))
        assert read_backup(older).bench["lag_ms"] == 124
    assert last > 8
    assert read_backup(tmp_path).bench["lag_ms"] == 90


def test_a_box_that_changes_meanwhile_is_not_half_backed_up():
    box = full_box()
    port = FakePort(box)
    with client_of(port) as client:
        pull, names = client.pull, []

        def pull_and_change(name: str, **more: Any) -> dict:
            names.append(name)
            if len(names) == 3:
                box.shelf.drop("harbour")
            return pull(name, **more)

        client.pull = pull_and_change  # type: ignore[method-assign]
        with pytest.raises(BoxError):
            files_of(client)


def test_an_older_box_has_its_backup_too(tmp_path, monkeypatch):
    """It keeps cards alone, and says nothing of what is fitted."""
    hello = BoxClient.hello

    def older(client: BoxClient) -> dict:
        about = hello(client)
        methods = [name for name in about["methods"] if name not in ("fitted.get", "clock.set")]
        return {key: about[key] for key in about if not key.endswith("s_max")} | {
            "cards_max": 64,
            "methods": methods,
        }

    monkeypatch.setattr(BoxClient, "hello", older)
    made = backed_up(full_box(), tmp_path)
    assert sorted(path.name for path in made.iterdir() if path.is_file()) == [
        "bench.toml",
        "ledger.jsonl",
        "manifest.json",
    ]
    assert list((made / "papers").iterdir()) == []


# --- reading


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = backed_up(small_box(), tmp_path_factory.mktemp("backups"))
    assert made
    return made


@pytest.fixture
def made(tmp_path, written) -> Path:
    """A backup to be spoiled."""
    return Path(shutil.copytree(written, tmp_path / "backups" / written.name))


FILES = [
    "cards/harbour.toml",
    "papers/vc-2019.toml",
    "trays/rc.toml",
    "bench.toml",
    "fitted.toml",
    "ledger.jsonl",
]


@pytest.mark.parametrize("path", FILES)
def test_a_file_that_is_not_as_it_was_written_is_told(made, path):
    file = made / path
    written = file.read_bytes()
    for damaged in (written[:-1], written.replace(b"1", b"2", 1), written + b"\n", b""):
        assert damaged != written
        file.write_bytes(damaged)
        assert f"{file} is damaged: it is not as it was written" in refused(lambda: read_backup(made))
    file.unlink()
    assert f"{file} is damaged: No such file" in refused(lambda: read_backup(made))


RIGHT = {"form": 1, "box": "b", "made_at": MADE_AT, "files": {"bench.toml": "0", "ledger.jsonl": "0"}}


@pytest.mark.parametrize(
    "manifest",
    [
        "",
        "[]",
        "[" * 100_000,
        '{"form": 1}',
        json.dumps(RIGHT | {"form": True}),
        json.dumps(RIGHT | {"form": 0}),
        json.dumps(RIGHT | {"box": None}),
        json.dumps(RIGHT | {"made_at": "yesterday"}),
        json.dumps(RIGHT | {"files": {"bench.toml": "0"}}),
        json.dumps(RIGHT | {"files": RIGHT["files"] | {"bench.toml": 1}}),
        json.dumps(RIGHT | {"files": RIGHT["files"] | {"../secret": "0"}}),
        json.dumps(RIGHT | {"files": RIGHT["files"] | {"cards/../../x.toml": "0"}}),
        json.dumps(RIGHT | {"files": 7}),
    ],
    ids=range(13),
)
def test_a_list_of_files_that_is_none_is_told(made, manifest):
    (made / "manifest.json").write_text(manifest)
    assert "manifest.json is damaged: it is no list of a backup's files" in refused(lambda: read_backup(made))


def test_a_newer_backup_and_no_backup_are_told(made, tmp_path):
    manifest = json.loads((made / "manifest.json").read_text())
    (made / "manifest.json").write_text(json.dumps(manifest | {"form": 2}))
    assert "newer lampblack" in refused(lambda: read_backup(made))
    assert "has no backup" in refused(lambda: read_backup(tmp_path / "nowhere"))
    assert "has no backup" in refused(lambda: read_backup(tmp_path))


@pytest.mark.parametrize(
    ("path", "text", "says"),
    [
        ("bench.toml", "lag_ms = 9999", "bench.toml is damaged: lag_ms: it is out of range"),
        ("bench.toml", "lag_ms =", "bench.toml is damaged: it is not TOML"),
        ("ledger.jsonl", '{"n": 1}\n', "ledger.jsonl is damaged: in line 1 form is missing"),
        ("ledger.jsonl", "[\n", "ledger.jsonl is damaged: in line 1 it is no JSON"),
        ("cards/harbour.toml", 'name = "mill"\n[[pass]]\nbase = "9 s"', "it is called mill inside"),
        (
            "cards/harbour.toml",
            'name = "harbour"\n[[pass]]\nbase = "9"',
            'harbour.toml:3: base: "9" has no unit',
        ),
    ],
)
def test_a_file_that_was_written_wrongly_is_told(made, path, text, says):
    """Its digest may be right."""
    (made / path).write_text(text)
    manifest = json.loads((made / "manifest.json").read_text())
    manifest["files"][path] = backup_module._digest(text.encode())
    (made / "manifest.json").write_text(json.dumps(manifest))
    assert says in refused(lambda: read_backup(made))


# --- into a new board


def test_a_new_board_has_all_of_it(tmp_path):
    old, new = full_box(), new_board()
    made = backed_up(old, tmp_path)
    assert restored(made, FakePort(new)) == ["vc-2019", "rc", "harbour", "n" * 24]
    assert kept_by(new) == kept_by(old)
    before = new.disk.writes
    assert restored(made, FakePort(new)) == []
    assert new.disk.writes == before


def test_what_is_fitted_is_never_guessed(made):
    new = new_board()
    restored(made, FakePort(new))
    with client_of(FakePort(new)) as client:
        assert client.call("fitted.get") == {"in_force": True, "values": NOTHING_FITTED}


def test_it_goes_on_after_a_cut_at_any_line(made):
    """The cable is pulled at every line in turn, and then left alone."""
    saved, old = read_backup(made), kept_by(small_box())
    counting = FakePort(new_board())
    restored(saved, counting)
    assert counting.count > 20
    for at in range(counting.count):
        darkroom = Darkroom(BOXES[1])
        darkroom.box.shelf.keep_text("harbour", PrintingMap.from_dict(small_card() | {"title": "Old"}).text())
        with suppress(BoxError):
            restored(saved, darkroom.port(at))
        assert darkroom.box.shelf.card("harbour")["title"] in ("Old", small_card()["title"])
        assert darkroom.box.bench.to_dict() in (new_board().bench.to_dict(), old["bench"])
        restored(saved, FakePort(darkroom.box))
        assert kept_by(darkroom.box) == old


def test_what_the_box_has_beyond_it_stays(made):
    new = new_board()
    new.shelf.keep_text("mill", PrintingMap.from_dict(small_card("mill")).text())
    restored(made, FakePort(new))
    assert new.shelf.names() == ["harbour", "mill"]


def test_a_shelf_without_room_is_told_before_anything_is_changed(made):
    new = new_board()
    for count in range(64):
        card = small_card(f"card-{count}")
        new.shelf.keep_text(card["name"], PrintingMap.from_dict(card).text())
    before = new.disk.writes
    line = refused(lambda: restored(made, FakePort(new)))
    assert "there would be 65 cards, and the box has room for 64" in line
    assert new.disk.writes == before


def test_settings_that_the_box_has_not_got_are_left_out(made, monkeypatch):
    new = new_board()
    whole = BoxClient.bench_get
    monkeypatch.setattr(
        BoxClient, "bench_get", lambda box: {key: v for key, v in whole(box).items() if key != "lamp"}
    )
    with client_of(FakePort(new)) as client:
        wanted = changes(read_backup(made), client)
    assert wanted.unknown == ["lamp"]
    assert set(wanted.bench) == {"lag_ms", "filters"}


# --- the commands


@pytest.fixture
def lampblack(monkeypatch, capsys, tmp_path):
    """Calls the command at `box`: code, stdout and stderr."""
    monkeypatch.delenv("LAMPBLACK_PORT", raising=False)
    monkeypatch.setenv("LAMPBLACK_DATABASE", new_ledger(tmp_path / "ledger.sqlite"))
    monkeypatch.setattr(commands, "the_box", lambda port: port or "a port")

    def call(box: FakeBox, *arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(commands, "BoxClient", lambda _: client_of(FakePort(box)))
        code = cli.run([str(argument) for argument in arguments])
        return (code, *capsys.readouterr())

    return call


def test_backup_and_restore_as_a_person_uses_them(lampblack, tmp_path, monkeypatch):
    old, new = small_box(), new_board()
    old.damage_lines = lambda: ["Card mill is damaged: it is left out."]
    code, out, err = lampblack(old, "backup", tmp_path / "old")
    assert (code, err) == (0, "")
    assert "Card mill is damaged" in out
    assert "Nothing has changed" in lampblack(old, "backup", tmp_path / "old")[1]

    new.shelf.keep_text("harbour", PrintingMap.from_dict(small_card() | {"title": "Old"}).text())
    new.shelf.keep_text("mill", PrintingMap.from_dict(small_card("mill")).text())
    before = kept_by(new)
    code, out, err = lampblack(new, "restore", tmp_path / "old")
    assert (code, err) == (1, "Nothing is changed: there is no terminal to ask at. Give --yes.\n")
    assert "Replaced cards: harbour." in out
    assert "New paper records: vc-2019." in out
    assert "Other cards in the box, which stay: mill." in out
    assert "Bench setting lag_ms: 0 ms becomes 124 ms." in out
    monkeypatch.setattr("sys.stdin", Terminal())
    for answer, expected in ((False, 1), (True, 0)):
        assert kept_by(new) == before
        monkeypatch.setattr(commands.typer, "confirm", lambda _, answer=answer: answer)
        code, out, err = lampblack(new, "restore", tmp_path / "old")
        assert (code, err) == (expected, "")
    assert "Ledger: 3 new records of 3, in " in out
    assert "A box takes no records in" in out
    assert "lampblack accept" in out
    assert out.endswith(f"{commands.NOT_IN_IT}\n")
    assert new.shelf.card("harbour") == small_card()
    assert new.ledger.read() == []
    with Home(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as home:
        assert [str(entry.name) for entry in home.find()] == ["a52c-1", "a52c-2", "a52c-3"]


def test_a_backup_of_a_wrong_clock_is_never_taken_by_itself(lampblack, tmp_path, monkeypatch):
    box, into = small_box(), tmp_path / "old"
    now = commands.datetime(2026, 11, 27, 21, tzinfo=commands.UTC)
    monkeypatch.setattr(commands, "_now", lambda: now.replace(year=2031))
    assert lampblack(box, "backup", into)[0] == 0
    monkeypatch.setattr(commands, "_now", lambda: now)

    # Whether anything has changed goes by the others.
    ahead, made = into / "2031-11-27T210000Z", into / "2026-11-27T210000Z"
    told = f"{ahead} is dated later than now, so which is the newest cannot be told."
    for first in (f"The backup is in {made}.", f"Nothing has changed since the newest backup in {into}."):
        said = lampblack(box, "backup", into)
        assert said == (0, f"{first}\n{told} To restore, give the one backup itself.\n", "")
    new = new_board()
    said = lampblack(new, "restore", into, "--yes")
    assert said == (1, "", f"Nothing is restored: {told} Give the one backup itself.\n")
    for one in (ahead, made):
        assert lampblack(new, "restore", one, "--yes")[0] == 0


class Terminal:
    def isatty(self) -> bool:
        return True


def test_what_is_not_in_a_backup_is_said_before_it_is_made():
    page = (Path(__file__).parent.parent / "docs" / "ledger.md").read_text(encoding="utf-8")
    for words in (commands.backup.__doc__, page):
        assert " ".join(words.split()).count(commands.NOT_IN_IT) == (2 if words is page else 1)


def test_a_second_restore_asks_nothing_and_changes_nothing(lampblack, tmp_path):
    lampblack(small_box(), "backup", tmp_path / "old")
    new = new_board()
    assert lampblack(new, "restore", tmp_path / "old", "--yes")[0] == 0
    before = new.disk.writes
    code, out, err = lampblack(new, "restore", tmp_path / "old")
    assert (code, err) == (0, "")
    assert "0 new records of 3" in out
    assert new.disk.writes == before


def test_a_damaged_backup_changes_nothing_at_all(lampblack, tmp_path):
    lampblack(small_box(), "backup", tmp_path / "old")
    new = new_board()
    before = kept_by(new)
    (file,) = (tmp_path / "old").glob("*/ledger.jsonl")
    file.write_bytes(file.read_bytes()[:-2])
    code, out, err = lampblack(new, "restore", tmp_path / "old", "--yes")
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert kept_by(new) == before
    with Home(f"sqlite:///{tmp_path / 'ledger.sqlite'}") as home:
        assert home.find() == []


def test_backups_go_to_the_users_own_folder(lampblack, tmp_path, monkeypatch):
    monkeypatch.setattr(commands, "data_folder", lambda: tmp_path / "data")
    code, out, _ = lampblack(full_box(), "backup")
    assert code == 0
    (made,) = (tmp_path / "data" / "boxes" / "a52c").iterdir()
    assert str(made) in out.replace("\n", "")
    assert read_backup(made.parent).box == BOXES[0]
