"""The printers that say what light cell and paper record save: each does what is written of them, and what
comes out follows from eye, paper and what they have."""

import math
import random
from dataclasses import replace
from statistics import median

import pytest

from lampblack.lab.paper import record_of
from tests.figures import measured_paper, savings
from tests.figures.comparison import Figure
from tests.micropython import ROOT
from timing_core.light.paper_record import PaperRecord

PLAIN, STOPS, RECORD, CELL = savings.PRINTERS
FEW = 8


class Unerring(random.Random):
    """Chance in whose hands no eye and no reading errs."""

    def gauss(self, mu=0.0, sigma=1.0):
        return mu


@pytest.fixture(scope="module")
def own():
    return measured_paper.in_halves("vc-2019")


@pytest.fixture(scope="module")
def measured(own):
    plain, strips = measured_paper.record_from_strips(own, Unerring(1))
    return PaperRecord.from_dict(plain), strips


def work(own, measured, printer, densities=(1.35, 0.35), start=None, chance=None):
    tones = tuple(10**-density for density in densities)
    start = start or savings.Start()
    return savings.Work(own, measured[0], printer, tones, start, chance or Unerring(1))


# --- the paper and its record


def test_filters_in_halves_are_between_those_that_are_published(own):
    assert savings.grade_number("4 1/2") == 4.5
    assert len(measured_paper.filters_of(own)) == 12
    assert own.filters["1 1/2"].iso_range == 120
    assert own.filters["3 1/2"].iso_speed == 200
    assert savings.grade_for(own, savings.span_of(own, {"2 1/2": 1.0})) == pytest.approx(2.5)


def test_a_record_without_an_error_of_reading_is_the_paper_s(own, measured):
    record, strips = measured
    assert strips >= 12
    for name, r10, *offsets in record.filters:
        assert abs(r10 / 10 - own.filters[name].iso_range) < 5, name
        for offset, density in zip(offsets, (0.10, 0.60, 0.9 * own.dmax), strict=True):
            true = 120 * math.log2(own.exposure(density, name) / own.exposure(0.60, "2"))
            assert abs(offset - true) < 14, name


def test_errors_of_reading_are_in_the_record(own, measured):
    noisy, _ = measured_paper.record_from_strips(own, random.Random(3))
    assert noisy["filters"] != measured[0].filters


def test_a_strip_that_the_laboratory_refuses_is_given_again_and_counted(own):
    wedge = measured_paper._Wedge(own, "4", Unerring(1))
    wedge.give_until_taken()
    assert wedge.count == 2
    assert record_of([wedge.strip], "a")


# --- how a printer works


def test_the_first_strips_are_in_seconds_and_in_stops(own, measured):
    plain, stops = (work(own, measured, printer) for printer in (PLAIN, STOPS))
    assert [plain._laid_out().total_ms(plain.map, 2 * patch) for patch in range(7)] == [
        *range(5000, 35001, 5000)
    ]
    strip = stops._laid_out()
    assert strip.total_ms(stops.map, 6) == pytest.approx(15000, abs=1)
    assert strip.step_stops120 == 60


@pytest.mark.parametrize(
    ("base_ms", "wanted", "step_ms"),
    [(30000, savings.SIXTH, 2000), (41000, savings.SIXTH, 5000), (9000, savings.SIXTH, 1000),
     (9000, savings.THIRD, 2000), (20000, savings.THIRD, 5000), (2000, savings.SIXTH, 1000)],
)  # fmt: skip
def test_closer_strips_take_the_largest_seconds_that_are_no_more_than_is_wanted(
    own, measured, base_ms, wanted, step_ms
):
    printer = work(own, measured, PLAIN, start=savings.Start("2", base_ms))
    printer.next_step = wanted
    assert printer._step_ms() == step_ms


@pytest.mark.parametrize("printer", savings.PRINTERS, ids=lambda printer: printer.name)
@pytest.mark.parametrize("on_strips", [True, False])
@pytest.mark.parametrize("densities", [(1.35, 0.35), (0.9, 0.3), (1.85, 0.45), (2.3, 1.2)])
def test_an_eye_that_does_not_err_comes_to_a_print_that_is_right_but_for_half_places(
    own, measured, printer, on_strips, densities
):
    """Also where the first strip misses the tone. A place is off by a quarter of a step, 1/12 stop, and
    seconds by a little more; after a change of filter by a record its error comes on top. Of a shadow that is
    black throughout nobody sees by how much, so that it takes some prints."""
    done = work(own, measured, replace(printer, on_strips=on_strips), densities).done()
    assert abs(done.base) < 1 / 8
    assert abs(done.grade) < 0.5
    assert done.strips <= 6
    assert done.prints <= 4


def test_who_judges_contrast_on_strips_needs_fewer_prints(own, measured):
    negative = (1.75, 0.35)  # far from filter 2
    for printer in (PLAIN, STOPS, RECORD):
        seen, unseen = (
            work(own, measured, replace(printer, on_strips=on_strips), negative).done()
            for on_strips in (True, False)
        )
        assert seen.prints < unseen.prints


def test_a_record_spares_the_strip_after_a_change_of_filter(own, measured):
    known, unknown = (
        work(own, measured, replace(printer, on_strips=False), (1.75, 0.35)).done()
        for printer in (RECORD, STOPS)
    )
    assert known.strips == 2 < unknown.strips
    assert known.prints <= unknown.prints


def test_a_metered_start_spares_all_strips_but_one(own, measured):
    found = work(own, measured, RECORD).done()
    span = savings.grade_for(own, math.log2(10))
    start = savings.Start("2", 10_000, 52.0)
    done = work(own, measured, CELL, start=start).done()
    assert done.strips == 1
    assert done.seconds < found.seconds
    assert done.grade == pytest.approx(2 - span) or done.prints > 1


def test_a_strip_is_a_quarter_of_a_sheet_and_time_is_of_both(own, measured):
    done = savings.Printed(3, 2, 0.0, 1 / 13, -0.3)
    assert done.sheets == 2.75
    assert not done.is_right
    assert replace(done, grade=0.2).is_right
    one = work(own, measured, CELL, start=savings.Start("2", 15_000, 52.0))
    one._give_print()
    assert one.seconds == 52 + 30 + 15 + savings.TRAYS_S + 30
    assert savings.TRAYS_S == 60 + 10 + 10 + 5 + 60 + 10


# --- the figures


def test_the_figures_are_taken_and_come_again():
    rows = savings.figures(FEW)
    assert len(rows) == (2 * 4 + 1) * 4 + 1
    bounds = [row for row in rows if row.budget is not None]
    assert [row.unit for row in bounds] == ["stop", "grade", "sheets", "stop", "grade"]
    # On strips the paper is told beside its rival, and is no budget.
    on_strips, on_prints, at_once = (row for row in rows if "Print by light cell" in row.what)
    assert on_strips.rival == on_prints.rival == at_once.rival == PLAIN.name
    assert (on_strips.budget, at_once.budget) == (None, None)
    assert "judged on prints" in on_prints.what
    assert on_prints.budget == pytest.approx(on_prints.rival_value / 2)
    for on_strips in savings.HABITS:
        sheets = {
            printer.name: median(
                one.sheets for one in savings.printed(replace(printer, on_strips=on_strips), FEW)
            )
            for printer in savings.PRINTERS
        }
        assert sheets[CELL.name] < sheets[PLAIN.name]
        assert sheets[CELL.name] >= 1.25
    before = savings.printed(PLAIN, FEW)
    savings.printed.cache_clear()
    assert savings.printed(PLAIN, FEW) == before
    assert savings.printed(replace(PLAIN, on_strips=False), FEW) != before


@pytest.mark.parametrize("printer", [PLAIN, CELL], ids=lambda printer: printer.name)
def test_a_worse_eye_makes_worse_prints(monkeypatch, printer):
    def off():
        savings.printed.cache_clear()
        return median(abs(one.base) for one in savings.printed(printer, FEW))

    before = off()
    monkeypatch.setattr(savings, "EYE_D", 4 * savings.EYE_D)
    assert off() > 1.5 * before
    savings.printed.cache_clear()


@pytest.mark.parametrize(("cell", "kept"), [(1.0, True), (1.25, False)])
def test_half_the_paper_is_kept_and_more_is_not(monkeypatch, cell, kept):
    def as_told(printer, count=FEW):
        sheets = 4 * (cell if printer.has_cell else 2.0)
        return [savings.Printed(int(sheets), 0, 60.0, 0.01, 0.1)]

    monkeypatch.setattr(savings, "printed", as_told)
    monkeypatch.setattr(savings, "learning_sheets", lambda count: [4.0])
    rows = savings.figures(FEW)
    paper: list[Figure] = [row for row in rows if row.budget is not None and row.unit == "sheets"]
    assert [row.kept for row in paper] == [kept]
    assert ("MISSED" in savings.verdicts()) is not kept
    assert "MISSED" not in savings.beside_the_budget()
    assert "kept" not in savings.beside_the_budget()


def test_one_strip_and_one_print_are_half_of_two_and_a_half_sheets(monkeypatch):
    """Why contrast judged on strips is told and is no budget: a printer with a cell takes no less."""
    one = savings.Printed(1, 1, 60.0, 0.0, 0.0)
    monkeypatch.setattr(savings, "printed", lambda printer, count=FEW: [one])
    said = savings.beside_the_budget()
    assert "one strip and one print are 1.25 sheets" in said
    assert "half only where plain-second strips need 2.50" in said
    assert "100 % of first prints content" in said


def test_without_a_strip_a_print_comes_first(own, measured):
    done = work(own, measured, savings.AT_ONCE, start=savings.Start("2", 15_000, 52.0)).done()
    assert done.strips == 0
    assert done.prints >= 1


def test_who_remembers_does_not_go_back_to_a_filter(own, measured):
    """A shadow that looks too light and too dark by turns sends who forgets to and fro."""
    for remembers, filters in ((False, ["2", "2 1/2"]), (True, ["2", "2 1/2", "3", "3 1/2"])):
        one = work(own, measured, replace(RECORD, remembers=remembers))
        seen = [one.filter]
        for shadow in (1.5, 2.06) * 3:
            one._match_contrast(0.10, shadow)
            seen.append(one.filter)
        assert list(dict.fromkeys(seen)) == filters
        changes = [name for before, name in zip(["", *seen], seen, strict=False) if name != before]
        assert (len(changes) == len(set(changes))) is remembers


def test_how_far_a_part_is_chance_is_told_from_the_negatives_themselves(monkeypatch):
    """With the cell 11 of 20 need one print and 9 need two: near half, so that some samples have the more."""

    def as_told(printer, count=FEW):
        more = [1] * 11 + [2] * 9 if printer.has_cell else [3] * 20
        return [savings.Printed(0, prints, 60.0, 0.0, 0.0) for prints in more]

    monkeypatch.setattr(savings, "printed", as_told)
    said = savings.chances()
    assert "the part is 0.33 to 0.67 with" in said
    assert "55 % of first prints content" in said


@pytest.mark.long
def test_the_page_has_the_table_that_is_taken():
    page = (ROOT / "docs" / "measurements.md").read_text(encoding="utf-8")
    for row in savings.table_rows():
        assert "| " + " | ".join(str(cell) for cell in row) + " |" in page
    told = savings.verdicts(), savings.beside_the_budget(), savings.chances(), savings.parts(remembers=True)
    for said in told:
        assert said in " ".join(page.split())
