"""Paper records in integers, on CPython and MicroPython: against figures computed with a model of two
published sheets (a maker's RC paper, editions of 2019 and 2020), none of them measured."""

from tests.portable.papers import PUBLISHED, VC_2019, VC_2020
from timing_core.canonical import encode
from timing_core.light.paper_record import (
    ANCHORS,
    EDITION_MAX,
    FILTERS_MAX,
    NODES,
    OFFSET_FURTHEST,
    QUARTER,
    R10_MAX,
    R10_MIN,
    SHARE,
    SPEED_MAX,
    PaperRecord,
    grade_of,
    grade_quarters,
    grade_text,
    interp17,
    range10,
    range_of_grade,
    share4096,
    share_at,
    times_for,
)
from timing_core.light.stops import offset_between, scale
from timing_core.refusal import Refusal

LIGHT, MIDDLE, BLACK = ANCHORS
SUM_RULE_PM = 26
"""0.037 stop: how far the middle tone moves while the sum of light times speed stays (computed)."""

# Half grades on one easel at which filter 2 alone needs 10 s for density 0.60 (computed with the model):
# grade, range, soft and hard ms that hold 0.60, soft and hard ms that hold 0.10.
TIMES_2019 = (
    ("00", 180, 10000, 0, 3260, 0),
    ("0", 160, 9640, 780, 3210, 260),
    ("1/2", 145, 9230, 1650, 3160, 570),
    ("1", 130, 8670, 2850, 3090, 1020),
    ("1 1/2", 120, 8190, 3860, 3030, 1430),
    ("2", 110, 7620, 5070, 2940, 1960),
    ("2 1/2", 100, 6950, 6490, 2830, 2640),
    ("3", 90, 6170, 8100, 2680, 3520),
    ("3 1/2", 75, 4810, 10810, 2370, 5340),
    ("4", 60, 3250, 13750, 1890, 7990),
    ("4 1/2", 50, 2100, 15890, 1380, 10440),
    ("5", 40, 0, 20000, 0, 14640),
)
TIMES_2020 = (
    ("00", 160, 10000, 0, 3640, 0),
    ("0", 130, 9010, 1190, 3480, 460),
    ("1/2", 120, 8510, 1790, 3390, 710),
    ("1", 110, 7890, 2520, 3270, 1040),
    ("1 1/2", 100, 7140, 3380, 3120, 1470),
    ("2", 90, 6250, 4370, 2910, 2030),
    ("2 1/2", 80, 5210, 5490, 2630, 2760),
    ("3", 70, 4040, 6720, 2230, 3720),
    ("3 1/2", 65, 3380, 7390, 1970, 4310),
    ("4", 60, 2670, 8130, 1640, 5000),
    ("4 1/2", 55, 1820, 9020, 1180, 5840),
    ("5", 50, 0, 10910, 0, 7390),
)

# Times relative to filter 2, in hundredths, for the filters of the first line (computed with the model).
RATIO_FILTERS = ("00", "0", "1", "3", "4", "5")
RATIOS = (
    (VC_2019, LIGHT, (84, 86, 92, 113, 301, 379)),
    (VC_2019, MIDDLE, (100, 100, 100, 100, 200, 200)),
    (VC_2019, BLACK, (422, 273, 146, 71, 97, 79)),
    (VC_2020, LIGHT, (78, 83, 89, 119, 144, 159)),
    (VC_2020, MIDDLE, (100, 100, 100, 100, 109, 109)),
)


def record(plain):
    return PaperRecord.from_dict(plain)


def speed(plain, filter):
    """The speed of a filter at a middle tone, filter 2's being 65536."""
    return scale(65536, -record(plain).offset(filter, MIDDLE))


def quarters_of(text):
    for quarters in range(-QUARTER, 5 * QUARTER + 1):
        if grade_text(quarters) == text:
            return quarters
    raise ValueError(text)


def refused(plain):
    try:
        record(plain)
    except Refusal as refusal:
        return refusal.line
    return ""


# --- grades and ranges


def test_two_readings_make_a_range():
    """M1: readings of 17870 and 200470 counts are 419/120 stop, R 105.1 (computed); of the filters of 2019
    that of grade 2 has the nearest range, and 10.80 s of it leave 0.10 (model: 1.929 lux s at 0.1787 lux)."""
    stops120 = offset_between(17870, 200470)
    assert stops120 == 419
    assert range10(stops120) == 1051
    own = record(VC_2019)
    nearest = min([(abs(r10 - 1051), name) for name, r10, _, _, _ in own.filters if name])[1]
    assert nearest == "2"
    # ISO 6846: P = 1000 / H in lux s at 0.60; one count is 1e-5 lux.
    ms = scale(1000 * 1000 * 100000, own.offset("2", LIGHT), 1, own.speed * 17870)
    assert abs(ms - 10800) <= 20


def test_a_range_is_a_hundred_times_the_logarithm():
    # 120 * 10 / 3 stops120 are 10 / 3 stops; log10(2) = 0.30103.
    assert range10(400) == 1003
    assert range10(0) == 0


def test_grades_are_written_in_quarters():
    said = [grade_text(quarters) for quarters in range(-4, 9)]
    assert said[:8] == ["00", "00 1/4", "00 1/2", "00 3/4", "0", "1/4", "1/2", "3/4"]
    assert said[8:] == ["1", "1 1/4", "1 1/2", "1 3/4", "2"]


def test_filters_that_are_called_after_grades():
    names = ("00", "0", "1/2", "1", "1 1/2", "5", "", "90Y", "6", "1/3", "1/2 1/2", "1 1/3", "-1", "12")
    assert [grade_of(name) for name in names] == [-4, 0, 2, 4, 6, 20] + 8 * [None]


def test_a_grade_lies_between_the_filters_ranges():
    filters = [["00", 1800], ["", 1100], ["0", 1600], ["1", 1300], ["2", 1100]]
    assert grade_quarters(1600, filters) == 0
    assert grade_quarters(1149, filters) == 7
    assert grade_quarters(2500, filters) == -4
    assert grade_quarters(300, filters) == 8
    assert grade_quarters(1149, [["90Y", 1800], ["90M", 400], ["2", 1100]]) is None
    for quarters in range(-4, 9):
        assert grade_quarters(range_of_grade(quarters, filters), filters) == quarters


def test_two_times_make_a_grade():
    """S1 and S2: 16 s soft and 9 s hard (computed with the model of each sheet)."""
    for plain, share, r10 in ((VC_2019, 0.2195, 1149), (VC_2020, 0.340, 956)):
        found = share4096(16000, speed(plain, "00"), 9000, speed(plain, "5"))
        assert abs(found - share * SHARE) <= 3
        assert abs(interp17(plain["r10"], found) - r10) <= 10
        assert grade_text(record(plain).grade(16000, 9000)) == "1 3/4"


def test_a_range_and_a_light_tone_make_two_times():
    """S3: R 105 with 0.10 where the easel has 0.1787 lux, sheet of 2019 (computed): 8.08 and 6.37 s."""
    light = 65536 * 1000 * 1000 * 10000 // (VC_2019["speed"] * 1787)
    share = share_at(VC_2019["r10"], 1050)
    moved = interp17(VC_2019["qa"], share)
    soft_ms, hard_ms = times_for(share, light, speed(VC_2019, "00"), speed(VC_2019, "5"), moved)
    assert abs(soft_ms - 8080) <= 50
    assert abs(hard_ms - 6370) <= 50


def test_the_exposure_table_of_half_grades():
    for plain, rows in ((VC_2019, TIMES_2019), (VC_2020, TIMES_2020)):
        soft, hard = speed(plain, "00"), speed(plain, "5")
        for text, r, soft_ms, hard_ms, light_soft_ms, light_hard_ms in rows:
            assert range_of_grade(quarters_of(text), plain["filters"]) == 10 * r
            share = share_at(plain["r10"], 10 * r)
            light = 10000 * 65536
            found = times_for(share, light, soft, hard)
            # The table was computed with the curve, and this is the sum rule.
            for ms, table_ms in zip(found, (soft_ms, hard_ms)):
                assert abs(ms - table_ms) <= table_ms * SUM_RULE_PM // 1000 + 20, (text, found)
            found = times_for(share, light, soft, hard, interp17(plain["qa"], share))
            for ms, table_ms in zip(found, (light_soft_ms, light_hard_ms)):
                assert abs(ms - table_ms) <= 50, (text, found)


def test_the_ratios_of_filters_depend_on_the_tone():
    for plain, anchor, hundredths in RATIOS:
        own = record(plain)
        for filter, wanted in zip(RATIO_FILTERS, hundredths):
            found = scale(10000, own.change("2", filter, anchor))
            # Half of the last figure, and an offset that is rounded twice: 0.6 %.
            assert abs(found - 100 * wanted) <= 50 + found * 6 // 1000, (plain["name"], anchor, filter)


def test_from_paper_to_paper_by_speed():
    """C4: from P 500 to P 200."""
    assert offset_between(200, 500) == 159
    assert scale(10000, 0, 500, 200) == 25000


# --- a pair's grade is turned


def test_a_grade_that_is_turned_is_the_grade_that_is_told():
    for plain in PUBLISHED:
        own = record(plain)
        for anchor in ANCHORS:
            for quarters in range(-3, 5 * QUARTER):
                soft_ms, hard_ms = own.regraded(16000, 9000, quarters, anchor)
                assert own.grade(soft_ms, hard_ms) == quarters, (anchor, quarters, soft_ms, hard_ms)


def test_turned_there_and_back_the_times_are_what_they_were():
    for plain in PUBLISHED:
        own = record(plain)
        soft_ms, hard_ms = own.regraded(16000, 9000, 8, MIDDLE)
        for anchor in ANCHORS:
            other = own.regraded(soft_ms, hard_ms, 14, anchor)
            again = own.regraded(other[0], other[1], 8, anchor)
            assert abs(again[0] - soft_ms) <= soft_ms // 200
            assert abs(again[1] - hard_ms) <= hard_ms // 200


def test_the_light_tone_stays_by_the_exposure_table():
    """From grade 1 to 3 of 2019's table: 3.09 and 1.02 s become 2.68 and 3.52 s."""
    soft_ms, hard_ms = record(VC_2019).regraded(3090, 1020, 12, LIGHT)
    assert abs(soft_ms - 2680) <= 50
    assert abs(hard_ms - 3520) <= 50


def test_no_light_through_one_filter_is_the_others_grade():
    own = record(VC_2019)
    assert grade_text(own.grade(10000, 0)) == "00"
    assert grade_text(own.grade(0, 10000)) == "5"
    assert own.regraded(10000, 10000, 20, LIGHT)[0] == 0


def test_the_largest_times_are_reckoned_with():
    own = record(VC_2020)
    assert own.grade(999900, 999900) == own.grade(9999, 9999)
    assert own.regraded(999900, 999900, 8, BLACK)[0] > 100000


def test_the_pair_is_known_in_either_order():
    own = record(VC_2019)
    assert own.soft_first(["00", "5"]) is True
    assert own.soft_first(["5", "00"]) is False
    for others in (["00", "4"], ["00"], ["5", "5"], ["00", "5", "5"], []):
        assert own.soft_first(others) is None


def test_a_filter_that_is_not_in_the_record_changes_nothing():
    own = record(VC_2019)
    assert own.offset("2 1/2", LIGHT) is None
    assert own.change("2", "2 1/2", LIGHT) == own.change("2 1/2", "2", LIGHT) == 0
    assert own.change("2", "", MIDDLE) == -159


# --- tables


def test_a_table_is_straight_between_its_nodes():
    table = [100 * node for node in NODES]
    for share in range(0, SHARE + 1, 7):
        assert abs(interp17(table, share) - share * 100 * 64 / SHARE) <= 0.5
    falling = [2000 - 10 * node for node in NODES]
    for share in range(0, SHARE + 1, 64):
        assert abs(share_at(falling, interp17(falling, share)) - share) <= 4
    assert share_at(falling, 5000) == 0
    assert share_at(falling, 0) == SHARE


def test_a_table_with_a_level_stretch_is_looked_up_without_fault():
    level = [1000] * 9 + [800] * 8
    for r10 in (1200, 1000, 999, 900, 800, 700):
        assert 0 <= share_at(level, r10) <= SHARE


# --- the plain form


def test_a_record_is_what_it_was_read_from_and_short():
    for plain in PUBLISHED:
        assert record(plain).to_dict() == plain
        assert len(encode(plain)) < 1200
    least = {"name": "fibre", "edition": "", "filters": [["", 1100, 0, 120, 500]]}
    assert record(least).to_dict() == least
    assert record(least).soft_first(["00", "5"]) is None


def test_the_longest_record_is_under_its_limit():
    filters = [["\u20ac%07d" % n, R10_MAX, -600, -600, -600] for n in range(FILTERS_MAX)]
    longest = {
        "name": 24 * "n",
        "edition": EDITION_MAX * "e",
        "filters": filters,
        "pair": [filters[0][0], filters[1][0]],
        "r10": 17 * [R10_MAX],
        "qa": 17 * [-OFFSET_FURTHEST],
        "qs": 17 * [-OFFSET_FURTHEST],
        "speed": SPEED_MAX,
    }
    assert record(longest).to_dict() == longest
    assert len(encode(longest)) < 1200


def test_what_is_wrong_with_a_record_is_said_in_one_line():
    def but(**values):
        plain = dict(VC_2019)
        plain.update(values)
        return plain

    def without(key):
        plain = dict(VC_2019)
        del plain[key]
        return plain

    row = ["2", 1100, -165, 0, 243]
    for plain, why in (
        (7, "the paper record: it is not a table of keys and values"),
        (without("name"), "the paper record: name is missing"),
        (but(grade=2), "the paper record: it has no grade"),
        (but(name="VC"), "name: it is 1 to 24 characters of a-z, 0-9 and -"),
        (but(edition="a\nb"), "edition: it is plain text of 0 to 40 characters"),
        (but(filters=[]), "filters: a record has 1 to 12 of them"),
        (but(filters=13 * [row]), "filters: a record has 1 to 12 of them"),
        (but(filters=[row[:4]]), "filter 1: it is a name, a range and three offsets"),
        (but(filters=[row, row]), "filter 2: its name has up to 8 characters, and no other has it"),
        (but(filters=[["2", R10_MIN - 1, 0, 0, 0]]), "filter 1: its range is 100 to 3000"),
        (but(filters=[["2", 1100, 0, True, 0]]), "filter 1: its offsets are up to 600/120 stop"),
        (but(pair=["00"]), "pair: it is two names, of the soft and of the hard filter"),
        (but(pair=["00", "00"]), "pair: it is two names, of the soft and of the hard filter"),
        (but(pair=["00", "6"]), "pair: both are filters of the record"),
        (without("pair"), "r10: pair, r10, qa and qs come together"),
        (without("qs"), "qs: pair, r10, qa and qs come together"),
        (but(qa=16 * [0]), "qa: it has 17 numbers"),
        (but(qa=16 * [0] + [601]), "qa: its numbers are -600 to 600"),
        (but(r10=16 * [1000] + [1001]), "r10: its ranges fall from the soft filter to the hard one"),
        (but(speed=0), "speed: it is a whole number from 1 to 9999"),
    ):
        assert refused(plain) == "The paper record is not taken: %s. Mend it and send it again." % why
