"""The `lampblack` command, called as a person calls it: its plans against published figures, and its
way to a box against the true box behind a socket on this machine.

Every error here is one line on stderr; stdout carries results alone.
"""

import builtins
import csv
import io
import json
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pypdf
import pytest

from lampblack import __main__ as entry
from lampblack import cli
from lampblack.cards import card_file as cards
from lampblack.cards import paper_file
from lampblack.wire import box_client, finding
from tests.box_model import new_session
from timing_core.light.bench import Bench
from timing_core.light.printing_map import PrintingMap
from timing_core.wire.framing import LineReader

EXAMPLES = Path(cards.__file__).parent.parent / "examples"
PAPERS = EXAMPLES.parent / "papers"
TRAYS = EXAMPLES.parent / "trays"
ONE_PASS = EXAMPLES / "breakwater.toml"
SPLIT = EXAMPLES / "workroom.toml"


class Result:
    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out, self.err = code, out, err

    @property
    def json(self):
        assert self.code == 0, self.err
        assert not self.err
        return json.loads(self.out)


@pytest.fixture
def lampblack(capsys, monkeypatch):
    """Calls the command with its arguments."""
    monkeypatch.delenv("LAMPBLACK_PORT", raising=False)
    monkeypatch.setattr(box_client.list_ports, "comports", list)

    def call(*arguments: object) -> Result:
        code = cli.run([str(argument) for argument in arguments])
        return Result(code, *capsys.readouterr())

    return call


class Server:
    """A box on a socket: tools come one after another, the box goes on."""

    def __init__(self) -> None:
        self.session = new_session(panel_ms=0)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = f"socket://127.0.0.1:{self._listener.getsockname()[1]}"
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()

    def _serve(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            reader = LineReader()
            self.session.send = connection.sendall
            with connection:
                while data := connection.recv(4096):
                    reader.feed(data)
                    while (line := reader.next_line()) is not None:
                        self.session.input("line", line)

    def close(self) -> None:
        self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        self._thread.join(5)

    def print_card(self, path: Path) -> None:
        """Print a card by pressing EXPOSE until the run is over."""
        session = self.session
        session.box.work.map = PrintingMap.from_dict(cards.load(path))
        session.input("expose")
        while session.box.run.stages:
            session.input("expose")
            session.advance(session.now_ms + 60000)


@pytest.fixture
def server() -> Iterator[Server]:
    made = Server()
    yield made
    made.close()


def card_file(folder: Path, *marks: tuple[str, str], base: str = "20 s", top: str = "") -> Path:
    text = f'name = "a-card"\n{top}\n[[pass]]\nfilter = "2"\nbase = "{base}"\n'
    for area, stops in marks:
        text += f'[[pass.mark]]\narea = "{area}"\nstops = "{stops}"\n'
    path = folder / "a-card.toml"
    path.write_text(text, encoding="utf-8")
    return path


def one_line(result: Result, code: int) -> str:
    assert result.code == code
    assert result.out == ""
    assert result.err.count("\n") == 1
    assert result.err.rstrip().endswith((".", "?"))
    return result.err.strip()


# --- plan


def test_dodge_and_burn_as_published(lampblack, tmp_path):
    """photrio.com, thread 209811: at 20 s a burn of 2/3 stop is 11.7 s, a dodge of 1/2 stop 5.9 s."""
    stages = lampblack("plan", card_file(tmp_path, ("sky", "+2/3"), ("face", "-1/2")), "--json").json[
        "stages"
    ]
    assert [stage["kind"] for stage in stages] == ["fit", "base", "burn"]
    assert stages[2]["light_ms"] == pytest.approx(11700, abs=50)
    (window,) = stages[1]["windows"]
    assert window["close_ms"] - window["open_ms"] == pytest.approx(5900, abs=50)


def test_burn_in_twelfths(lampblack, tmp_path):
    """Common practice, no source: 4/12 stop on 16 s is 4.16 s, on 10 s it is 2.60 s."""
    for base, burn_ms in (("16 s", 4160), ("10 s", 2600)):
        plan = lampblack("plan", card_file(tmp_path, ("sky", "+4/12"), base=base), "--json").json
        assert plan["stages"][-1]["light_ms"] == pytest.approx(burn_ms, abs=5)


def test_dry_down_as_published(lampblack, tmp_path):
    """East Midlands Monochrome Group: 10 % less light for dry-down. Shown times stay."""
    plan = lampblack("plan", card_file(tmp_path, ("sky", "+1"), top='dry_down = "10 %"'), "--json").json
    assert [stage["shown_ms"] for stage in plan["stages"]] == [0, 20000, 20000]
    assert [stage["light_ms"] for stage in plan["stages"]] == [0, 18000, 18000]


def test_lag_is_paid_once_a_strike(lampblack):
    plan = lampblack("plan", SPLIT, "--lag-ms", 150, "--json").json
    lit = [stage for stage in plan["stages"] if stage["kind"] != "fit"]
    assert all(stage["lamp_ms"] == stage["light_ms"] + 150 for stage in lit)
    assert all(stage["lamp_ms"] == 0 for stage in plan["stages"] if stage["kind"] == "fit")
    assert plan["totals"]["lamp_ms"] == plan["totals"]["light_ms"] + 150 * len(lit)
    assert plan["bench"]["lag_ms"] == 150


def test_the_plan_of_split_grade_says_when_to_change_filters(lampblack):
    plan = lampblack("plan", SPLIT, "--json").json
    assert [(stage["name"], stage["filter"]) for stage in plan["stages"]] == [
        ("Fit filter 00", "00"),
        ("Base, pass 1", "00"),
        ("Burn window", "00"),
        ("Fit filter 5", "5"),
        ("Base, pass 2", "5"),
        ("Burn ceiling", "5"),
    ]


def test_the_table_has_what_the_json_has(lampblack):
    plan = lampblack("plan", SPLIT, "--json").json
    table = lampblack("plan", SPLIT)
    assert table.out.isascii()
    rows = table.out.splitlines()
    assert "Workroom, north window: 6 stages. Default bench: lag 0 ms, lead-in 2 s." in rows[0]
    for stage, row in zip(plan["stages"], rows[2:], strict=False):
        assert row.startswith(str(stage["stage"]))
        if stage["kind"] != "fit":
            for key in ("shown_ms", "light_ms", "lamp_ms"):
                assert f"{stage[key] / 1000:.2f}" in row
        for window in stage["windows"]:
            assert f"{window['open_ms'] / 1000:.2f} to" in row
            assert window["area"] in row
    assert f"{plan['totals']['light_ms'] / 1000:.2f}" in rows[-1]


def test_names_are_printed_as_they_are_written(lampblack, tmp_path):
    path = card_file(tmp_path, ("[red]x[/red]", "+1"), (":smile:", "-1/4"))
    out = lampblack("plan", path).out
    assert "[red]x[/red]" in out
    assert ":smile:" in out


def test_dodges_that_do_not_fit_are_refused_with_the_shortfall(lampblack, tmp_path):
    said = one_line(lampblack("plan", card_file(tmp_path, ("a", "-1"), ("b", "-1"), base="8 s")), 1)
    assert said.endswith(
        "a-card.toml: Dodges do not fit in pass 1: with lead-ins 12.0 s, the base has 8.0 s. "
        "Save 4.0 s, or give two together."
    )


def test_every_fault_of_a_card_is_a_line(lampblack, tmp_path):
    path = tmp_path / "a.toml"
    path.write_text('name = "a"\n[[pass]]\nbase = "16"\nfiltre = "2"\n', encoding="utf-8")
    result = lampblack("plan", path)
    assert (result.code, result.out) == (1, "")
    assert result.err.splitlines() == [
        f'{path}:3: base: "16" has no unit. Write "16 s".',
        f'{path}:4: "filtre" is no key of [[pass]]. Did you mean "filter"?',
    ]


# --- strip


def test_geometric_strip_as_published(lampblack):
    """Paper maker's guidance, quoted by grainmag.com: 2, 4, 8, 16, 32 s; increments 2, 2, 4, 8, 16."""
    arguments = ("strip", "--base", "2 s", "--step", "1", "--patches", 5, "--from-start", "--json")
    patches = lampblack(*arguments).json["patches"]
    assert [patch["total_ms"] for patch in patches] == [2000, 4000, 8000, 16000, 32000]
    assert [patch["increment_ms"] for patch in patches] == [2000, 2000, 4000, 8000, 16000]
    assert [patch["stops120"] for patch in patches] == [0, 120, 240, 360, 480]
    fresh = lampblack(*arguments, "--kind", "fresh").json["patches"]
    assert [patch["increment_ms"] for patch in fresh] == [2000, 4000, 8000, 16000, 32000]


def test_linear_strip_as_published(lampblack):
    """NAVEDTRA 14209 figure 11-5 and US Army SS0509: 2-4-6-8-10 s."""
    strip = lampblack("strip", "--base", "6s", "--step", "2s", "--patches", 5, "--lag-ms", 150, "--json").json
    assert [patch["total_ms"] for patch in strip["patches"]] == [2000, 4000, 6000, 8000, 10000]
    assert [patch["increment_ms"] for patch in strip["patches"]] == [2000] * 5
    assert [patch["lamp_ms"] for patch in strip["patches"]] == [2150] * 5
    assert strip["totals"] == {"light_ms": 10000, "lamp_ms": 10750}


def test_third_stops_as_published(lampblack):
    """photo.stackexchange 100367: exact f-numbers by third stops, 8, 8.98, 10.08, 11.31, 12.70, 14.25, 16.

    Light goes with the square of the aperture, so these numbers are a sixth of a stop apart as times.
    """
    strip = lampblack(
        "strip", "--base", "8 s", "--step", "1/6", "--patches", "7", "--from-start", "--json"
    ).json
    wanted = [8, 8.98, 10.08, 11.31, 12.70, 14.25, 16]
    assert [patch["total_ms"] / 1000 for patch in strip["patches"]] == pytest.approx(wanted, abs=0.01)


def test_a_centred_strip_has_its_base_in_the_middle(lampblack):
    rows = lampblack("strip", "--base", "8 s").out.splitlines()
    assert [row.split()[:3] for row in rows[1:6]][2] == ["3", "0", "8.00"]
    assert rows[1].split()[1] == "-2/3"


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        (("--base", "16"), 2, '"16" has no unit. Write "16 s".'),
        (("--base", "16 s", "--step", "1/7"), 2, "is no whole 1/120 stop"),
        (("--base", "16 s", "--step", "2"), 2, "Write up to 1 stop, or 0.1 s to 60 s."),
        (("--base", "0.05 s"), 2, "Write 0.1 s to 999.9 s."),
        (("--base", "16 s", "--patches", "12"), 2, "--patches"),
        (("--base", "16 s", "--kind", "wet"), 2, "--kind"),
        (("--base", "2 s", "--step", "1 s"), 1, "The strip begins below zero"),
        (("--base", "900 s", "--kind", "fresh"), 1, "too long"),
        (("--base", "16 s", "--lag-ms", "9000"), 1, "Give -500 to 2000."),
    ],
)
def test_a_strip_that_cannot_be_is_one_line(lampblack, arguments, code, says):
    assert says in one_line(lampblack("strip", *arguments), code)


# --- the box


def test_a_pulled_card_is_the_pushed_card(lampblack, server, tmp_path):
    result = lampblack("push", ONE_PASS, SPLIT, "--port", server.port)
    assert (result.code, result.err) == (0, "")
    assert result.out == "breakwater is on the shelf.\nworkroom is on the shelf.\n"
    for path in (ONE_PASS, SPLIT):
        out = tmp_path / path.name
        assert lampblack("pull", path.stem, "--out", out, "--port", server.port).code == 0
        assert cards.load(out) == cards.load(path)
        printed = lampblack("pull", path.stem, "--port", server.port).out
        assert printed == out.read_text(encoding="utf-8")


def test_a_pull_never_writes_over_a_file_unasked(lampblack, server, tmp_path):
    lampblack("push", ONE_PASS, "--port", server.port)
    out = tmp_path / "mine.toml"
    out.write_text("mine", encoding="utf-8")
    assert "--force" in one_line(lampblack("pull", "breakwater", "-o", out, "--port", server.port), 1)
    assert out.read_text(encoding="utf-8") == "mine"
    assert "no-card" in one_line(lampblack("pull", "no-card", "-o", out, "--force", "--port", server.port), 1)
    assert out.read_text(encoding="utf-8") == "mine"
    assert lampblack("pull", "breakwater", "-o", out, "--force", "--port", server.port).code == 0
    assert cards.load(out) == cards.load(ONE_PASS)
    one_line(lampblack("pull", "breakwater", "-o", tmp_path / "no" / "x", "--port", server.port), 1)


def test_shelf_and_drop(lampblack, server):
    lampblack("push", ONE_PASS, SPLIT, "--port", server.port)
    again = lampblack("push", ONE_PASS, "--port", server.port)
    assert again.out == "breakwater replaces the one that was on the shelf.\n"
    listed = lampblack("shelf", "--json", "--port", server.port).json
    assert [card["name"] for card in listed] == ["breakwater", "workroom"]
    table = lampblack("shelf", "--port", server.port).out
    assert "Workroom, north window" in table
    said = one_line(lampblack("drop", "workroom", "breakwtaer", "--port", server.port), 1)
    assert said == "breakwtaer is not on the shelf. Did you mean breakwater?"
    assert len(lampblack("shelf", "--json", "--port", server.port).json) == 2
    assert lampblack("drop", "workroom", "breakwater", "--port", server.port).code == 0
    assert lampblack("shelf", "--json", "--port", server.port).json == []


def test_paper_records_are_pushed_listed_pulled_and_removed(lampblack, server, tmp_path):
    def paper(*arguments: object):
        return lampblack("paper", *arguments, "--port", server.port)

    files = sorted(PAPERS.glob("*.toml"))
    assert paper("push", *files).out == "vc-2019 is in the box.\nvc-2020 is in the box.\n"
    assert paper("push", files[0]).out == "vc-2019 replaces the one that was in the box.\n"
    assert lampblack("shelf", "--json", "--port", server.port).json == []
    assert [own["name"] for own in paper("list", "--json").json] == ["vc-2019", "vc-2020"]
    assert "maker's sheet of 2020" in paper("list").out
    out = tmp_path / "pulled.toml"
    assert paper("pull", "vc-2020", "-o", out).code == 0
    assert paper_file.PAPERS.load(out) == paper_file.PAPERS.load(files[1])
    assert "--force" in one_line(paper("pull", "vc-2019", "-o", out), 1)
    assert one_line(paper("pull", "vc-2021"), 1).startswith("No paper record vc-2021: ")
    said = one_line(paper("remove", "vc-2020", "vc-2091"), 1)
    assert said == "vc-2091 is not in the box. Did you mean vc-2019?"
    assert paper("remove", "vc-2020", "vc-2019").out.splitlines()[0] == "vc-2020 is no longer in the box."
    assert paper("list", "--json").json == []
    assert one_line(paper("remove", "rc"), 1) == "rc is not in the box. See lampblack paper list."


def test_tray_sequences_are_pushed_listed_pulled_and_removed(lampblack, server, tmp_path):
    def trays(*arguments: object):
        return lampblack("trays", *arguments, "--port", server.port)

    files = sorted(TRAYS.glob("*.toml"))
    assert trays("push", *files).out == "fibre is in the box.\nrc is in the box.\n"
    assert trays("push", files[0]).out == "fibre replaces the one that was in the box.\n"
    assert [own["name"] for own in trays("list", "--json").json] == ["fibre", "rc"]
    assert "fibre" in trays("list").out
    out = tmp_path / "pulled.toml"
    assert trays("pull", "rc", "-o", out).code == 0
    assert out.read_text() == files[1].read_text()
    assert one_line(trays("pull", "own"), 1).startswith("No tray sequence own: ")
    assert (
        one_line(trays("remove", "rc", "nothing"), 1)
        == "nothing is not in the box. See lampblack trays list."
    )
    assert trays("remove", "rc", "fibre").out.splitlines()[0] == "rc is no longer in the box."
    assert trays("list", "--json").json == []


def test_a_card_is_no_paper_record(lampblack, server):
    said = lampblack("paper", "push", ONE_PASS, "--port", server.port)
    assert (said.code, said.out) == (1, "")
    assert '"title" is no key of the record\'s top' in said.err
    assert lampblack("paper", "list", "--json", "--port", server.port).json == []


def test_nothing_is_pushed_unless_every_card_is_good(lampblack, server, tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text("name = 'bad'\n", encoding="utf-8")
    assert "bad.toml:1: pass is missing" in one_line(lampblack("push", SPLIT, bad, "--port", server.port), 1)
    twin = tmp_path / "twin.toml"
    twin.write_text(SPLIT.read_text(encoding="utf-8"), encoding="utf-8")
    assert "Rename one" in one_line(lampblack("push", SPLIT, twin, "--port", server.port), 1)
    assert server.session.box.shelf.names() == []


def test_writes_wait_for_the_dark(lampblack, server):
    server.session.input("lamp")
    assert server.session.box.lit
    assert "Try again when dark" in one_line(lampblack("push", SPLIT, "--port", server.port), 1)
    assert lampblack("state", "--port", server.port, "--json").json["lit"] is True
    server.session.input("lamp")
    assert lampblack("push", SPLIT, "--port", server.port).code == 0


def test_bench_settings_in_people_s_units(lampblack, server):
    port = ("--port", server.port)
    result = lampblack("bench", "set", "lag_ms=150 ms", "new_dry_down_pm=8.5 %", "filters=1, 2,3", *port)
    assert (result.code, result.err) == (0, "")
    assert "150 ms" in result.out
    kept = server.session.box.bench
    assert (kept.get("lag_ms"), kept.get("new_dry_down_pm")) == (150, 85)
    assert lampblack("bench", "get", "filters", *port).out == "1, 2, 3\n"
    assert lampblack("bench", "get", "lag_ms", "--json", *port).json == 150
    assert lampblack("bench", "get", "--json", *port).json == kept.to_dict()
    table = lampblack("bench", "get", *port).out
    assert all(key in table for key in Bench().to_dict())


@pytest.mark.parametrize(
    ("pairs", "code", "says"),
    [
        (("volume=2", "lag_ms=9 s"), 1, "Give -500 to 2000."),
        (("volume=2", "colour=red"), 1, "No bench setting colour"),
        (("volume=2", "lag_ms"), 2, "Write lag_ms=VALUE."),
    ],
)
def test_bench_settings_are_changed_together_or_not_at_all(lampblack, server, pairs, code, says):
    before = server.session.box.bench.to_dict()
    assert says in one_line(lampblack("bench", "set", *pairs, "--port", server.port), code)
    assert server.session.box.bench.to_dict() == before


def test_a_plan_with_the_bench_of_a_box(lampblack, server):
    lampblack("bench", "set", "lag_ms=120", "lead_ms=1 s", "--port", server.port)
    result = lampblack("plan", ONE_PASS, "--port", server.port)
    assert f"Bench of {server.port}: lag 120 ms, lead-in 1 s." in result.out
    plan = lampblack("plan", ONE_PASS, "--port", server.port, "--json").json
    assert plan["stages"][1]["windows"][0]["open_ms"] == 1000
    assert plan["stages"][1]["lamp_ms"] == plan["stages"][1]["light_ms"] + 120


def test_the_ledger_in_its_three_forms(lampblack, server):
    port = ("--port", server.port)
    assert lampblack("ledger", "box", "--json", *port).json == []
    server.print_card(SPLIT)
    server.print_card(ONE_PASS)
    plan = lampblack("plan", SPLIT, "--json").json
    planned = [stage["light_ms"] for stage in plan["stages"] if stage["kind"] != "fit"]

    records = lampblack("ledger", "box", "--json", *port).json
    assert [record["map"]["name"] for record in records] == ["workroom", "breakwater"]
    # Whoever asked has told the box the time by asking.
    assert all(datetime.fromisoformat(record["at"]) for record in records)
    assert [stage["given_ms"] for stage in records[0]["stages"]] == planned

    rows = list(csv.DictReader(io.StringIO(lampblack("ledger", "box", "--csv", *port).out)))
    assert len(rows) == sum(len(record["stages"]) for record in records)
    assert [int(row["given_ms"]) for row in rows if row["card"] == "workroom"] == planned

    table = lampblack("ledger", "box", *port).out.splitlines()
    assert len(table) == 3
    assert f"{sum(planned) / 1000:.2f}" in table[1]
    assert len(lampblack("ledger", "box", "--after", records[0]["n"], "--json", *port).json) == 1
    one_line(lampblack("ledger", "box", "--json", "--csv", *port), 2)


def test_the_port_may_come_from_the_environment(lampblack, server, monkeypatch):
    monkeypatch.setenv("LAMPBLACK_PORT", server.port)
    assert lampblack("state", "--json").json["state"] == "browse"
    assert "browse" in lampblack("state").out


def test_a_box_that_is_not_there_is_one_line(lampblack):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    assert "does not open" in one_line(lampblack("shelf", "--port", f"socket://127.0.0.1:{port}"), 1)


def test_ports_are_listed(lampblack, monkeypatch):
    found = [box_client.Port("/dev/ttyACM0", "Board in FS mode")]
    monkeypatch.setattr(finding, "ports", lambda: found)
    assert lampblack("ports", "--json").json == [{"url": "/dev/ttyACM0", "about": "Board in FS mode"}]
    assert lampblack("ports").out.splitlines()[1].split(None, 1) == ["/dev/ttyACM0", "Board in FS mode"]
    found.clear()
    assert "No serial port" in lampblack("ports").out


# --- the command itself


@pytest.mark.parametrize(
    ("arguments", "code", "says"),
    [
        ((), 2, "See lampblack --help."),
        (("pla",), 2, 'no command "pla"'),
        (("plan",), 2, "See lampblack plan --help."),
        (("plan", "a", "b"), 2, "See lampblack plan --help."),
        (("plan", "--colour", "a"), 2, "--colour"),
        (("shelf",), 1, "with --port"),
        (("bench",), 2, "See lampblack bench --help."),
        (("plan", "no-such-card.toml"), 1, "no-such-card.toml: No such file"),
        (("plan", str(EXAMPLES)), 1, str(EXAMPLES)),
        (("bench", "get", "colour", "--port", "x"), 1, "No bench setting colour"),
    ],
)
def test_a_wrong_call_is_one_line(lampblack, arguments, code, says):
    assert says in one_line(lampblack(*arguments), code)


def test_every_command_explains_itself(lampblack):
    page = lampblack("--help")
    assert (page.code, page.err) == (0, "")
    for name in (
        "plan",
        "strip",
        "push",
        "pull",
        "shelf",
        "drop",
        "ledger",
        "state",
        "ports",
        "backup",
        "restore",
    ):
        assert f"  {name} " in page.out
        assert lampblack(name, "--help").code == 0
    groups = dict.fromkeys(("paper", "trays"), ("push", "pull", "list", "remove"))
    groups["ledger"] = ("box", "pull", "list", "show", "again", "editions", "export")
    for group, names in groups.items():
        for name in names:
            assert f"  {name} " in lampblack(group, "--help").out
            assert lampblack(group, name, "--help").code == 0


def run_script(*arguments: str, **options) -> subprocess.CompletedProcess:
    command = [sys.executable, "-m", "lampblack", *arguments]
    return subprocess.run(command, capture_output=True, timeout=60, check=False, **options)


def test_the_script_writes_utf8_into_a_pipe(tmp_path):
    path = card_file(tmp_path, ("Möwe ½", "+1"))
    environment = {**os.environ, "PYTHONIOENCODING": "ascii", "COLUMNS": "40"}
    done = run_script("plan", str(path), env=environment)
    assert (done.returncode, done.stderr) == (0, b"")
    assert "Möwe ½" in done.stdout.decode("utf-8")
    assert b"\x1b" not in done.stdout
    assert run_script("plan", "--nonsense").returncode == 2


@pytest.mark.skipif(os.name == "nt", reason="pipes close otherwise there")
def test_the_script_is_quiet_when_its_reader_leaves():
    read_end, write_end = os.pipe()
    os.close(read_end)
    command = [sys.executable, "-m", "lampblack", "plan", str(SPLIT)]
    done = subprocess.run(command, stdout=write_end, stderr=subprocess.PIPE, timeout=60, check=False)
    os.close(write_end)
    assert (done.returncode, done.stderr) == (1, b"")


def test_the_shell_completes_commands():
    environment = {
        **os.environ,
        "_LAMPBLACK_COMPLETE": "complete_bash",
        "COMP_WORDS": "lampblack pl",
        "COMP_CWORD": "1",
    }
    assert run_script(env=environment).stdout.split() == [b"plan"]


def test_the_demo_gives_its_print_whole_and_draws_its_record(lampblack, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    told = lampblack("demo")
    assert told.code == 0, told.err
    (row,) = [line for line in told.out.partition("The ledger")[2].splitlines() if " workroom " in line]
    assert " yes " in row
    assert "No verdict" not in told.out
    assert "lampblack-demo.pdf has the sheet" in told.out
    (page,) = pypdf.PdfReader(tmp_path / "lampblack-demo.pdf").pages
    said = page.extract_text()
    for area in ("stool", "floor", "ceiling", "window"):
        assert said.count(area) >= 2, "in the run and on the picture"


def test_ctrl_c_while_the_commands_are_loaded_is_quiet(monkeypatch):
    true_import = builtins.__import__

    def interrupted(name, *more):
        if name == "lampblack.cli":
            raise KeyboardInterrupt
        return true_import(name, *more)

    monkeypatch.setattr(builtins, "__import__", interrupted)
    with pytest.raises(SystemExit) as ended:
        entry.main()
    assert ended.value.code == 130
