"""The figures that a card may have beside its passes, as Hypothesis draws them: each key may be left out."""

from hypothesis import strategies as st

from timing_core.light.printing_map import CARRIED, MEASURES, SHEET
from timing_core.light.stops import BASE_MAX_MS, BASE_MIN_MS, FURTHEST


def _some_of(numbers: dict) -> st.SearchStrategy[dict]:
    return st.fixed_dictionaries({}, optional=numbers).filter(bool)


card_numbers = {
    "measures": _some_of({key: st.integers(low, high) for key, low, high in MEASURES}).filter(
        lambda measures: len(set(SHEET) & set(measures)) != 1
    ),
    "carried": _some_of({key: st.integers(-FURTHEST, FURTHEST) for key in CARRIED}),
    "flash": st.fixed_dictionaries(
        {"light_ms": st.integers(BASE_MIN_MS, BASE_MAX_MS)},
        optional={"filter": st.sampled_from(["00", "2 soft", "é"]), "after": st.just(True)},
    ),
}
