"""The laboratory's sums without a box, and grades of split-grade times, each against figures from outside."""

import contextlib
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from host_sim.optics.paper import paper
from lampblack.cards.paper_file import dump
from lampblack.errors import CommandError
from lampblack.lab import sums
from lampblack.lab.burns import effect_of, effects_of, grade_of_passes
from lampblack.lab.grades import half_grades, offset_at, r10_of_grade, split_for, split_of
from lampblack.lab.records import load_record
from lampblack.sim.published_papers import exposure, tones_of
from tests.test_cli import SPLIT, lampblack, one_line  # noqa: F401
from tests.test_papers import records
from timing_core.light import guided
from timing_core.light.bench import Bench
from timing_core.light.lamp_metering import lag_ms
from timing_core.light.paper_record import ANCHORS, PaperRecord
from timing_core.light.plan import compile_print
from timing_core.light.printing_map import Mark, PrintingMap
from timing_core.refusal import Refusal

EDITIONS = ("vc-2019", "vc-2020")
RECORDS = {name: load_record(name) for name in EDITIONS}


# --- grades


@pytest.mark.parametrize(
    ("edition", "share", "iso_range"), [("vc-2019", 0.2195, 114.9), ("vc-2020", 0.340, 95.6)]
)
def test_the_grade_of_two_times(edition, share, iso_range):
    """S1, S2 (computed): 16 s and 9 s are grade 1 3/4 on both editions."""
    split = split_of(RECORDS[edition], 16000, 9000)
    assert split.share / 4096 == pytest.approx(share, abs=0.0005)
    assert split.r10 / 10 == pytest.approx(iso_range, abs=1)
    assert RECORDS[edition].grade_text(split.quarters) == "1 3/4"


def test_two_times_for_a_range_hold_a_light_tone():
    """S3 (computed): R 105 and density 0.10 at 0.1787 lux are 8.08 + 6.37 s; tables that are read on straight
    lines leave 0.06 s. Held against the model of the paper itself."""
    own = paper("vc-2019")
    single_s = own.exposure(0.10, "2") / 0.1787
    assert single_s == pytest.approx(10.80, abs=0.01)
    split = split_for(RECORDS["vc-2019"], 1050, "2", round(1000 * single_s), "light tone")
    assert split.soft_ms / 1000 == pytest.approx(8.08, abs=0.06)
    assert split.hard_ms / 1000 == pytest.approx(6.37, abs=0.06)
    light = {"00": 0.1787 * split.soft_ms / 1000, "5": 0.1787 * split.hard_ms / 1000}
    assert own.density(light) == pytest.approx(0.10, abs=0.003)


def test_a_metered_middle_tone_is_iso_speed():
    """M2: P 200 and 0.5 lux are 10.0 s to density 0.60 (ISO 6846: P is 1000 over lux s)."""
    record = RECORDS["vc-2019"]
    own = paper("vc-2019")
    assert record.speed == 200
    assert own.density({"2": 0.5 * 10.0}) == pytest.approx(0.60, abs=1e-6)


@given(
    st.sampled_from(EDITIONS),
    st.integers(200, 300_000),
    st.sampled_from(ANCHORS),
    st.integers(0, 20),
    st.sampled_from(["00", "1", "2", "4", "5"]),
)
def test_times_for_a_grade_make_that_grade_and_hold_their_tone(edition, light_ms, anchor, quarters, filter):
    record, own = RECORDS[edition], paper(edition)
    split = split_for(record, r10_of_grade(record, quarters), filter, light_ms, anchor)
    if light_ms > 5000:
        assert split.quarters == quarters
        assert split_of(record, split.soft_ms, split.hard_ms).quarters in (quarters, None)
        tone = tones_of(own)[ANCHORS.index(anchor)]
        both = {"00": float(split.soft_ms), "5": float(split.hard_ms)}
        stops = math.log2(exposure(own, both, tone) / exposure(own, {filter: float(light_ms)}, tone))
        assert abs(stops) < 0.085


def test_the_table_of_half_grades_is_the_published_sheet_s():
    """The exposure tables of both editions, grade by grade, for a middle tone (computed from the sheets; 10 s
    through filter 2). The light of a light tone is that of the middle one, moved by the record's table."""
    known = {
        "vc-2019": {
            "0": (9.64, 0.78),
            "1": (8.67, 2.85),
            "2": (7.62, 5.07),
            "3": (6.17, 8.10),
            "4": (3.25, 13.75),
        },
        "vc-2020": {
            "0": (9.01, 1.19),
            "1": (7.89, 2.52),
            "2": (6.25, 4.37),
            "3": (4.04, 6.72),
            "4": (2.67, 8.13),
        },
    }
    for edition, rows in known.items():
        record = RECORDS[edition]
        table = {row["grade"]: row for row in half_grades(record, "2", 10000)}
        assert list(table)[:4] == ["00", "0", "1/2", "1"]
        for grade, times in rows.items():
            # Those are the exact sum's, the record's the sum rule's: 0.037 stop lie between them.
            for found, wanted in zip(table[grade]["middle"], times, strict=True):
                assert abs(math.log2(found / 1000 / wanted)) < 0.05 or abs(found / 1000 - wanted) < 0.03
            soft_ms, hard_ms = table[grade]["light tone"]
            share = split_of(record, soft_ms, hard_ms).share
            moved = offset_at(record, share, "light tone") - record.offset("2", "light tone")
            ratio = math.log2(sum(table[grade]["light tone"][:1]) / table[grade]["middle"][0])
            assert ratio == pytest.approx(moved / 120, abs=0.01)


def test_what_a_record_cannot_tell_is_refused():
    record = RECORDS["vc-2019"]
    bare = PaperRecord.from_dict({"name": "a", "edition": "", "filters": [["", 1100, -160, 0, 240]]})
    for call, said in (
        (lambda: split_of(record, 0, 0), "No light makes no grade. Give the times of both passes."),
        (lambda: split_of(bare, 1, 1), "The record a has no pair for split grade."),
        (lambda: split_for(record, 300, "2", 1000, "middle"), "The pair makes R 180 to 40, and no 30."),
        (lambda: split_for(record, 1000, "9", 1000, "middle"), "The record has no filter 9."),
        (lambda: r10_of_grade(record, 21), "The record's grades go from 00 to 5. Ask for one between."),
        (lambda: r10_of_grade(bare, 8), "The record has fewer than two filters"),
    ):
        with pytest.raises(CommandError) as caught:
            call()
        assert str(caught.value).startswith(said)
    assert half_grades(bare, "", 10000) == []


# --- burns through other filters, and the plan

BASES = ({"2": 10.0}, {"00": 8.0, "5": 5.0}, {"3": 10.0}, {"1": 7.0}, {"00": 1.0, "5": 5.0})


@pytest.mark.parametrize("edition", EDITIONS)
def test_a_burn_through_another_filter_does_what_the_paper_does(edition):
    """To 0.1 stop in a light tone, 0.3 in a middle one, 0.2 in a dark one, for burns of up to a stop."""
    own, record = paper(edition), RECORDS[edition]
    most = [0.0, 0.0, 0.0]
    for base in BASES:
        for filter in ("00", "2", "5"):
            for stops in (1 / 3, 2 / 3, 1):
                burn_s = sum(base.values()) * (2**stops - 1)
                lights = [(name, round(1000 * s)) for name, s in base.items()]
                found = effect_of(record, lights, (filter, round(1000 * burn_s)))
                assert found is not None
                for at, tone in enumerate(tones_of(own)):
                    by = exposure(own, base, tone)
                    light = {name: s * by for name, s in base.items()}
                    light[filter] = light.get(filter, 0.0) + burn_s * by
                    true = math.log2(exposure(own, base, own.density(light)) / by)
                    most[at] = max(most[at], abs(found[at] - true))
    assert most[0] < 0.1
    assert most[1] < 0.3
    assert most[2] < 0.2


def test_a_burn_through_the_same_filter_is_what_the_card_says():
    for tone in effect_of(RECORDS["vc-2019"], [("2", 10000)], ("2", 4142)):
        assert tone == pytest.approx(0.5, abs=0.001)


@given(records(), st.integers(100, 999900), st.integers(1, 999900))
def test_any_record_that_a_box_takes_answers_or_refuses(plain, ms, other_ms):
    for own, name in zip(plain["filters"], ("00", "2", "5")):
        own[0] = name
    if "pair" in plain:
        plain["pair"] = ["00", "2"]
    try:
        record = PaperRecord.from_dict(plain)
    except Refusal:
        return  # a name is there twice now
    names = [own[0] for own in record.filters]
    tones = effect_of(record, [(names[0], ms)], (names[-1], other_ms))
    assert tones is None or all(math.isfinite(tone) for tone in tones)
    for call in (
        lambda: split_of(record, ms, other_ms),
        lambda: half_grades(record, names[0], ms),
        lambda: split_for(record, r10_of_grade(record, 8), names[0], ms, "light tone"),
    ):
        with contextlib.suppress(CommandError):
            call()


def test_a_burn_without_data_says_nothing():
    assert effect_of(RECORDS["vc-2019"], [("2", 10000)], ("4 1/2", 1000)) is None


def test_a_plan_says_the_grade_and_what_a_burn_does(lampblack, tmp_path):  # noqa: F811
    """+2/3 through 5 over a base through 2 is +0.16 stop in a light tone by the paper's own curve
    (computed)."""
    card = tmp_path / "a.toml"
    card.write_text(
        'name = "a"\nrecord = "vc-2019"\n[[pass]]\nfilter = "2"\nbase = "10 s"\n'
        '[[pass.mark]]\narea = "sky"\nstops = "+2/3"\nfilter = "5"\n',
        encoding="utf-8",
    )
    done = lampblack("plan", card)
    assert done.code == 0
    assert done.out.rstrip().split("\n")[-1] == (
        "sky, +2/3 through 5: +0.18 stop in a light tone, +0.48 in a middle one, +0.90 in a dark one."
    )
    split = lampblack("plan", SPLIT, "--record", "vc-2019")
    assert "By vc-2019: about grade 3, R 91." in split.out
    plain = lampblack("plan", SPLIT, "--record", "vc-2019", "--json").json
    assert plain["grade"] == {"quarters": 12, "r10": 913}
    assert [own["area"] for own in plain["burns"]] == ["window"]
    assert "burns" not in lampblack("plan", SPLIT, "--json").json
    card.write_text(card.read_text(encoding="utf-8").replace("vc-2019", "own"), encoding="utf-8")
    told = lampblack("plan", card)
    assert told.code == 0
    assert (
        told.out.rstrip().split("\n")[-1].startswith("Note: There is no paper record own: no own.toml beside")
    )
    assert told.out.split("\n")[:-2] == done.out.split("\n")[:-2]
    assert "There is no paper record nn" in one_line(lampblack("plan", card, "--record", "nn"), 1)
    beside = RECORDS["vc-2019"].to_dict() | {"name": "own"}
    (tmp_path / "own.toml").write_text(dump(beside), encoding="utf-8")
    assert lampblack("plan", card).out == done.out
    card.write_text('name = "a"\n[[pass]]\nfilter = "2"\nbase = "10 s"\n', encoding="utf-8")
    told = lampblack("plan", card, "--record", "vc-2019").out.rstrip().split("\n")[-1]
    assert told.startswith("Note: vc-2019 says nothing of this card: its passes are not the record's pair")
    alone = {key: value for key, value in beside.items() if key not in ("pair", "r10", "qa", "qs")}
    (tmp_path / "own.toml").write_text(dump(alone), encoding="utf-8")
    told = lampblack("plan", card, "--record", tmp_path / "own.toml").out.rstrip().split("\n")[-1]
    assert told == "Note: own says nothing of this card: the record has no pair of filters."


def test_passes_of_other_filters_have_no_grade():
    map = PrintingMap.new(10000, "2", 0)
    map.passes[0].marks.append(Mark("sky", 60, "5"))
    stages = compile_print(map, Bench())
    assert grade_of_passes(RECORDS["vc-2019"], map) is None
    assert len(effects_of(RECORDS["vc-2019"], map, stages)) == 1


# --- guided tests


def test_the_ladder_of_the_pulse_strip():
    """L2: 16 strikes of 0.5 s beside seven patches, 25 ms apart (computed)."""
    pulses, *patches = sums.lag_ladder()
    assert (pulses["strikes"], pulses["lamp_ms"]) == (16, 500)
    assert [row["lamp_ms"] for row in patches] == [5750, 500, 450, 400, 350, 300, 250]
    assert [row["stands_for"] for row in patches] == [f"{ms} ms" for ms in range(150, -1, -25)]


def test_a_lag_from_two_doses():
    """L3: 0.41 E of 0.5 s and 3.91 E of 4 s are a lag of 90 ms."""
    found = sums.lag_of([(500, 0.41), (4000, 3.91)])
    assert found.lag_ms == pytest.approx(90, abs=1)
    assert found.lag_ms == pytest.approx(lag_ms(500, 410000, 4000, 3910000), abs=0.5)


@given(st.floats(0, 150), st.floats(0.01, 1e6), st.lists(st.integers(300, 5000), min_size=2, max_size=9))
def test_a_lag_is_found_whatever_the_unit(lag, light, times):
    doses = [(ms, light * (ms - lag)) for ms in times]
    if len(set(times)) < 2:
        with pytest.raises(CommandError, match="One length of strike"):
            sums.lag_of(doses)
        return
    found = sums.lag_of(doses)
    assert found.lag_ms == pytest.approx(lag, abs=0.1)
    assert found.spread_ms < 0.1
    assert found.shortest_ms == (min(times) if len(set(times)) > 2 else None)


@pytest.mark.parametrize(
    "doses",
    [
        [(500, 9.0), (1000, 1.0), (4000, 5.0)],
        [(500, 0.41), (1000, 91.0), (4000, 391.0)],
        [(5000, 0.41), (10_000, 5.41)],
        [(500, 3.0), (1000, 3.5)],
    ],
)
def test_doses_on_no_line_are_no_lag(doses):
    """A strike that was read with another's dose, a lag of 4.6 s, and one of -2.5 s: no bench takes these."""
    with pytest.raises(CommandError, match="agree on no lag"):
        sums.lag_of(doses)


def test_a_strike_that_is_too_short_is_not_the_shortest_light():
    doses = [(ms, ms - 60.0) for ms in (500, 1000, 2000, 4000)]
    found = sums.lag_of([(100, 30.0), *doses])
    assert (found.lag_ms, found.shortest_ms) == (pytest.approx(60), 500)


def test_trays_at_other_temperatures():
    """T1 (computed). T2: from 65 to 55 F a published pair is x 1.5 (Glover 1924 in Clerc, read), k 12 gives
    1.47."""
    rows = {row["half_degrees"] // 2: row["ms"] / 1000 for row in sums.tray_times_of(60000, 12)}
    for degrees, seconds in {16: 79.2, 18: 68.9, 20: 60.0, 22: 52.2, 24: 45.5}.items():
        assert rows[degrees] == pytest.approx(seconds, abs=0.1)
    ten_fahrenheit = 2 ** (12 * (10 / 1.8) / 120)
    assert ten_fahrenheit == pytest.approx(1.47, abs=0.005)
    assert ten_fahrenheit == pytest.approx(1.5, rel=0.03)
    assert rows[18] / rows[23] == pytest.approx(2 ** (12 * 5 / 120), rel=0.001)


def test_the_pieces_of_a_dry_down_test():
    """D1: cuts of 0 to 200 per mille are 0, -7, -14, -22, -30, -39 /120 stop. They are those of the box."""
    ladder = sums.dry_down_ladder(10000)
    assert [row["stops120"] for row in ladder] == [0, -7, -14, -22, -30, -39]
    test = {"test": guided.DRY_DOWN, "strip": 0, "base_ms": 10000, "filter": "", "pm": 30}
    lights = [stage.light_ms for stage in guided.compile_test(test, Bench()) if stage.light_ms]
    assert [row["light_ms"] for row in ladder] == lights[:-1]


def test_a_safelight_s_time():
    """F1: changes from 9 min on, none at 4: 3.0 min (IT2.26's half geometric mean)."""
    assert sums.safe_s(540, 240) == 180
    assert sums.safe_s(60, 0) == 0
    with pytest.raises(CommandError, match="is not before the first"):
        sums.safe_s(240, 540)


def test_the_commands_of_tests(lampblack):  # noqa: F811
    assert lampblack("lab", "lag", "0.5 s=0.41", "4 s=3.91").out == "Lag 90 ms.\n"
    spread = lampblack("lab", "lag", "0.5 s=0.41", "1 s=0.91", "4 s=3.91").out
    assert (
        spread == "Lag 90 ms, the strikes agree to 0.0 ms.\nStrikes from 0.5 s on give their light to 2 %.\n"
    )
    ladder = lampblack("lab", "lag").out.split("\n")
    assert ladder[2].split() == ["1", "1", "5.75", "150", "ms"]
    assert ladder[-3].startswith("Pulses are for the left half")
    assert lampblack("lab", "safelight", "--first", "9 min", "--last", "240 s").out == "Safe for 3:00.\n"
    assert lampblack("lab", "safelight", "--first", "60 s", "--last", "0 s").out.startswith("Not safe")
    assert lampblack("lab", "drydown", "10 s").out.split("\n")[3].split() == ["3", "8", "%", "-0.12", "9.20"]
    assert lampblack("lab", "trays", "60 s").out.split("\n")[3] == "18.0 °C  68.9 s"
    assert lampblack("lab", "trays", "--sight", "20 s", "--factor", "12").out.startswith("240.0 s ")
    assert lampblack("lab", "grade", "--record", "vc-2019", "--soft", "16 s", "--hard", "9 s").out == (
        "16 s through 00 and 9 s through 5: R 115, about grade 1 3/4.\n"
    )
    made = lampblack(
        "lab", "grade", "--record", "vc-2019", "--grade", "2 1/4", "--time", "10.8 s", "--filter", "2"
    )
    assert made.out.endswith(": R 105, about grade 2 1/4.\n")
    heading, _, first = lampblack("lab", "grade", "--record", "vc-2019").out.split("\n")[:3]
    assert heading == "Split grade, seconds through 00 and 5, that leave what 10 s through 2 do:"
    assert first.split() == ["00", "180", "10.00", "+", "0.00", "8.46", "+", "0.00"]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("lag", "0.5 s"), 2, "has no dose. Write 0.5 s=DOSE."),
        (("lag", "0.5 s=0.4"), 1, "One length of strike says nothing of a lag."),
        (("lag", "0.5 s=3", "4 s=1"), 1, "A longer strike has not the greater dose."),
        (("lag", "0.5 s=0", "4 s=1"), 1, "A strike or a dose of 0 says nothing."),
        (("lag", "0.5 s=-1", "4 s=1"), 2, '"-1" is no number.'),
        (("safelight", "--first", "2 min", "--last", "4 min"), 1, "is not before the first with one"),
        (
            ("safelight", "--first", "2", "--last", "4 min"),
            2,
            '"2" is no time. Write it like "90 s" or "1.5 min".',
        ),
        (("trays", "6 minutes"), 2, '"6 minutes" is no time. Write it like "90 s" or "1.5 min".'),
        (("trays", "60 s", "--sight", "20 s"), 2, "TIME: --sight makes the time, whatever the temperature."),
        (("trays", "--sight", "20 s", "--at", "20"), 2, "--at: --sight makes the time"),
        (("trays", "--sight", "20 s", "--per-degree", "12"), 2, "--per-degree: --sight makes the time"),
        (("trays", "60 s", "--factor", "6"), 2, "--factor: it goes with --sight. Give both."),
        (("drydown", "10"), 2, 'has no unit. Write "10 s"'),
        (
            ("drydown", "0.1 s"),
            2,
            'TIME: "0.1 s" is too short: a lamp gives its pieces alike. Write 1 s or more.',
        ),
        (("trays",), 2, "TIME: it is missing."),
        (("trays", "60 s", "--at", "200"), 2, "out of range. Write 16 to 26."),
        (("trays", "60 s", "--at", "nan"), 2, "out of range. Write 16 to 26."),
        (("trays", "--sight", "20 s", "--factor", "nan"), 2, "is no number of times"),
        (("trays", "--sight", "2 s"), 1, "First sight is not taken: no image is seen within 3 s."),
        (("grade", "--record", "vc-2019", "--grade", "7", "--time", "1 s"), 2, '"7" is no grade.'),
        (("grade", "--record", "vc-2019", "--grade", "2"), 2, "--time: it is missing"),
        (("grade", "--record", "vc-2019", "--grade", "2", "--soft", "1 s"), 2, "Leave out --soft and --hard"),
        (
            ("grade", "--record", "vc-2019", "--time", "2 s", "--hard", "1 s"),
            2,
            "Leave out --soft and --hard",
        ),
        (
            ("grade", "--record", "vc-2019", "--soft", "2 s"),
            2,
            "--hard: it is missing: two times make a grade.",
        ),
        (
            ("grade", "--record", "vc-2019", "--hard", "2 s"),
            2,
            "--soft: it is missing: two times make a grade.",
        ),
        (
            ("grade", "--record", "vc-2019", "--soft", "2 s", "--hard", "2 s", "--filter", "2"),
            2,
            "--filter: two times make a grade, or a grade makes two.",
        ),
        (("grade", "--record", "vc-2019", "--anchor", "black"), 2, "--anchor: it goes with --grade"),
        (("grade", "--record", "nothing"), 1, "There is no paper record nothing"),
        (("grade", "--record", "no.toml"), 1, "no.toml: No such file or directory."),
    ],
)
def test_a_wrong_call_is_one_line(lampblack, arguments, code, said):  # noqa: F811
    assert said in one_line(lampblack("lab", *arguments), code)
