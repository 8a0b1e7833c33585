"""The numbers that a card may have beside its passes, as Hypothesis draws them: each key may be left out."""

from hypothesis import strategies as st

from timing_core.light.printing_map import CARRIED, MEASURES
from timing_core.light.stops import FURTHEST


def _some_of(numbers: dict) -> st.SearchStrategy[dict]:
    return st.fixed_dictionaries({}, optional=numbers).filter(bool)


card_numbers = {
    "measures": _some_of({key: st.integers(low, high) for key, low, high in MEASURES}),
    "carried": _some_of({key: st.integers(-FURTHEST, FURTHEST) for key in CARRIED}),
}
