"""Units for a gauge study: spread as the lot is."""

from statistics import NormalDist, stdev

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.quality.study_units import units_over_spread


def test_ten_of_a_hundred_stand_in_the_middle_of_each_tenth() -> None:
    """Ranks 5, 15, ... 95 of 0 to 99, wherever they stand."""
    values = [float(each * 37 % 100) for each in range(100)]

    assert [5.0, 15.0, 25.0, 35.0, 45.0, 55.0, 65.0, 75.0, 85.0, 95.0] == [
        values[each] for each in units_over_spread(values, 10)
    ]


def test_chosen_units_spread_as_a_normal_lot_does() -> None:
    """Their standard deviation is the lot's within 5 %: that of the normal quantiles themselves (closed form)."""
    normal = NormalDist(7.9, 0.3)
    values = [normal.inv_cdf((i + 0.5) / 1_000) for i in range(1_000)]
    chosen = [values[each] for each in units_over_spread(values, 10)]

    assert stdev(chosen) == pytest.approx(0.3, rel=0.05)


@given(values=st.lists(st.floats(-1e3, 1e3), min_size=2, max_size=200), data=st.data())
def test_no_unit_is_chosen_twice(values: list[float], data: st.DataObject) -> None:
    """As many different ones as asked for, in order of value, ties or none."""
    count = data.draw(st.integers(2, len(values)))
    chosen = units_over_spread(values, count)

    assert count == len(set(chosen))
    assert sorted(values[each] for each in chosen) == [values[each] for each in chosen]


@pytest.mark.parametrize(("size", "count"), [(9, 10), (0, 2), (5, 1)])
def test_too_few_units_are_refused(size: int, count: int) -> None:
    """In words."""
    with pytest.raises(ValueError, match="units are to be chosen"):
        units_over_spread([1.0] * size, count)
