"""Two samples beside each other, against scipy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.quality.compare import compare_samples
from station.quality.readings import StudyDataError
from station.quality.sample import sample_of

FIRST = sample_of(np.random.default_rng(1).normal(8.0, 0.2, 60), population="lot A")
SECOND = sample_of(np.random.default_rng(2).normal(8.1, 0.3, 40), population="lot B")


def test_difference_is_welchs() -> None:
    """p, interval and degrees of freedom of scipy's t test with unequal variances."""
    found = compare_samples(FIRST, SECOND)
    expected = stats.ttest_ind(SECOND.values, FIRST.values, equal_var=False)
    interval = expected.confidence_interval(0.95)

    assert (expected.pvalue, expected.df) == pytest.approx((found.p, found.degrees_of_freedom))
    assert (interval.low, interval.high) == pytest.approx((found.low, found.high))
    assert ("lot A", "lot B") == (found.first, found.second)


def test_ratio_of_spreads_is_that_of_the_f_distribution() -> None:
    """Interval by quantiles of F; both ends turn over if the lots change places."""
    found, turned = compare_samples(FIRST, SECOND), compare_samples(SECOND, FIRST)
    ratio = SECOND.values.var(ddof=1) / FIRST.values.var(ddof=1)
    low, high = (np.sqrt(ratio / stats.f(39, 59).ppf(q)) for q in (0.975, 0.025))

    assert (np.sqrt(ratio), low, high) == pytest.approx((found.spread_ratio, found.spread_low, found.spread_high))
    assert (1 / low, 1 / high) == pytest.approx((turned.spread_high, turned.spread_low))
    assert 2 * min(stats.f(39, 59).sf(ratio), stats.f(39, 59).cdf(ratio)) == pytest.approx(found.spread_p)


@given(st.floats(0.1, 10.0), st.floats(-5.0, 5.0))
def test_comparison_does_not_depend_on_the_unit(scale: float, shift: float) -> None:
    """p, and the ratio of spreads, are the same in any unit and from any zero."""
    one = compare_samples(FIRST, SECOND)
    other = compare_samples(
        *(sample_of(scale * each.values + shift, population=each.population) for each in (FIRST, SECOND))
    )

    assert (one.p, one.spread_ratio) == pytest.approx((other.p, other.spread_ratio), rel=1e-6)


def test_lot_without_variation_is_refused() -> None:
    """Its spread has no ratio."""
    with pytest.raises(StudyDataError, match="nothing varies"):
        compare_samples(FIRST, sample_of([8.0] * 5, population="made"))
