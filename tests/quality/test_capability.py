"""Capability and performance: published figures, routes, bounds that hold what they say."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.quality.capability import (
    LEAST_FOR_BOUNDS,
    LEAST_FOR_PERCENTILES,
    Route,
    capability,
    index_interval,
    minimum_index_interval,
)
from station.quality.readings import StudyDataError
from station.quality.risk import Tolerance
from station.quality.sample import Sample, sample_of
from station.quality.within import equal_subgroups, subgroups_of, within_by_ranges
from tests.quality.published_process import PISTON_RINGS


def _with_moments(mean: float, deviation: float, size: int) -> Sample:
    """Normal scores, scaled so that mean and standard deviation are exact."""
    z = stats.norm.ppf((np.arange(size) + 0.5) / size)
    return sample_of(mean + deviation * z / z.std(ddof=1), population="normal scores")


def test_indices_are_nists() -> None:
    """NIST e-Handbook 6.1.6 (from memory): limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk 0.6667."""
    found = capability(_with_moments(16.0, 2.0, 200), Tolerance(8.0, 20.0))

    assert found.pp is not None
    assert found.ppk is not None
    assert (1.0, 0.6667) == pytest.approx((found.pp.value, found.ppk.value), abs=5e-5)
    assert Route.NORMAL is found.route
    assert "normal scores" == found.population


def test_piston_rings_have_printed_capability() -> None:
    """Montgomery, limits 73.95 and 74.05: Cp 1.70, Cpk 1.66, sigma from the mean range."""
    values = np.array(PISTON_RINGS).ravel()
    within = within_by_ranges(subgroups_of(values, equal_subgroups(125, 5)))
    found = capability(sample_of(values, population="rings"), Tolerance(73.95, 74.05), within=within)

    assert found.cp is not None
    assert found.cpk is not None
    assert (1.70, 1.66) == pytest.approx((found.cp.value, found.cpk.value), abs=0.005)


def test_interval_of_cp_is_the_textbooks() -> None:
    """Montgomery: limits 38 and 62, s = 1.75, n = 20: 1.57 to 3.01 (unrounded figures computed with scipy)."""
    index = index_interval(24.0 / (6 * 1.75), 19)

    assert (2.29, 1.5649450045377398, 3.0055794297420433) == pytest.approx(
        (round(index.value, 2), index.low, index.high), rel=1e-9
    )


def test_interval_of_cpk_has_the_factor_cpk() -> None:
    """Bissell 1990. A widely copied example prints 0.99 to 1.67 here: it forgot the factor Cpk."""
    index = minimum_index_interval(1.33, 20, 19)

    assert (0.8826060504544115, 1.7773939495455886) == pytest.approx((index.low, index.high), abs=1e-4)


@pytest.mark.parametrize(
    ("index", "ppm"), [(0.5, 133614.4), (1.0, 2699.796), (1.33, 66.07330), (1.5, 6.795346), (2.0, 0.00197318)]
)
def test_share_beyond_is_the_capability_table(index: float, ppm: float) -> None:
    """Common capability table of a centred normal process, computed anew with scipy."""
    found = capability(_with_moments(0.0, 1.0, 500), Tolerance(-3 * index, 3 * index))

    assert ppm * 1e-6 == pytest.approx(found.expected_beyond, rel=1e-5)


def test_one_limit_gives_no_pp_and_ppk_of_that_side() -> None:
    """ISO 22514-2: Pp needs both limits."""
    found = capability(_with_moments(10.0, 1.0, 100), Tolerance(None, 16.0))

    assert found.pp is None
    assert found.ppk is not None
    assert 2.0 == pytest.approx(found.ppk.value)


@pytest.mark.slow
def test_skewed_values_take_a_fitted_distribution_and_say_so() -> None:
    """20 lots of lognormal values: 95 % bounds miss the true Ppk in 1 of 20, 4 at most (four standard errors)."""
    shape = stats.lognorm(0.3)
    generator = np.random.default_rng(4)
    upper = float(shape.ppf(0.99865) * 1.5)
    truth = (upper - shape.median()) / (shape.ppf(0.99865) - shape.median())
    missed = 0
    for _ in range(20):
        values = shape.rvs(1500, random_state=generator)
        found = capability(sample_of(values, population="made"), Tolerance(None, upper))
        assert Route.FITTED is found.route
        assert "not normal" in found.why
        assert (None, None) == (found.cp, found.cpk)
        assert found.ppk is not None
        assert found.ppk.low is not None
        assert found.ppk.high is not None
        missed += not found.ppk.low <= truth <= found.ppk.high

    assert missed <= 4


@pytest.mark.slow
def test_two_humps_take_the_values_themselves() -> None:
    """No family fits a mixed lot; with enough values their own percentiles serve, with bounds."""
    generator = np.random.default_rng(5)
    values = np.concatenate([generator.normal(7.5, 0.1, 2000), generator.normal(8.5, 0.1, 2000)])
    found = capability(sample_of(values, population="made"), Tolerance(6.8, 9.2))

    assert Route.VALUES is found.route
    assert found.pp is not None
    assert found.pp.low is not None
    assert found.pp.high is not None
    assert found.pp.low < found.pp.value < found.pp.high


def test_few_odd_values_get_no_index() -> None:
    """Too few for percentiles and no fit: no index is better than a good-looking one."""
    generator = np.random.default_rng(5)
    values = np.concatenate([generator.normal(7.5, 0.05, 100), generator.normal(8.5, 0.05, 100)])
    found = capability(sample_of(values, population="made"), Tolerance(6.8, 9.2))

    assert Route.NONE is found.route
    assert (None, None, None, None) == (found.pp, found.ppk, found.cp, found.cpk)
    assert str(LEAST_FOR_PERCENTILES) in found.why


def test_bounds_are_left_out_where_the_extremes_are_all_there_is() -> None:
    """Below 2,731 values the smallest may lie above the 0.135 % percentile."""
    generator = np.random.default_rng(6)
    values = np.concatenate([generator.normal(7.5, 0.1, 500), generator.normal(8.5, 0.1, 500)])
    found = capability(sample_of(values, population="made"), Tolerance(6.8, 9.2))

    assert found.ppk is not None
    assert (None, None) == (found.ppk.low, found.ppk.high)
    assert str(LEAST_FOR_BOUNDS) in found.why
    assert 1 - (1 - 0.00135) ** LEAST_FOR_BOUNDS == pytest.approx(0.975, abs=1e-4)


@pytest.mark.slow
def test_percentile_bounds_hold_the_truth_as_often_as_they_say() -> None:
    """60 lots of uniform values: 95 % bounds miss the true Ppk in 3 of 60, 9 at most (four standard errors)."""
    generator = np.random.default_rng(7)
    truth = (1.3 - 0.5) / (0.99865 - 0.5)
    missed = 0
    for _ in range(60):
        found = capability(sample_of(generator.random(10_500), population="made"), Tolerance(-0.5, 1.3))
        assert Route.VALUES is found.route
        assert found.ppk is not None
        assert found.ppk.low is not None
        assert found.ppk.high is not None
        missed += not found.ppk.low <= truth <= found.ppk.high

    assert missed <= 9


def test_counts_beyond_limits_are_counted() -> None:
    """What was measured outside is told beside what is expected: 1000 Phi(-2) = 22.8, 1000 Phi(-1) = 158.7."""
    found = capability(_with_moments(0.0, 1.0, 1000), Tolerance(-2.0, 1.0))

    assert (23, 159) == (found.below, found.above)


@given(st.floats(0.1, 3.0), st.floats(-2.0, 2.0), st.integers(20, 400))
def test_ppk_never_beats_pp(width: float, shift: float, size: int) -> None:
    """Off centre or not: the smaller side can't be better than both together, on the normal route."""
    found = capability(_with_moments(shift, 1.0, size), Tolerance(-3 * width, 3 * width))

    assert found.pp is not None
    assert found.ppk is not None
    assert found.ppk.value <= found.pp.value + 1e-12
    assert found.pp.value - abs(shift) / 3 == pytest.approx(found.ppk.value, abs=1e-9)


def test_values_all_the_same_are_refused() -> None:
    """An infinite index would be a wrong pass."""
    with pytest.raises(StudyDataError, match="nothing varies"):
        capability(sample_of([8.0] * 20, population="made"), Tolerance(7.0, 9.0))


def test_not_a_number_is_refused() -> None:
    """NaN would slip through every comparison."""
    with pytest.raises(StudyDataError, match="finite"):
        sample_of([1.0, math.nan], population="made")


def test_sample_without_population_is_refused() -> None:
    """Every statistic names its population."""
    with pytest.raises(StudyDataError, match="population"):
        sample_of([1.0, 2.0], population=" ")


def test_coarse_values_are_refused_where_their_percentiles_coincide() -> None:
    """Nearly all values the same: an index would divide by nothing."""
    values = np.full(20_000, 8.0)
    values[:10] = 7.9
    values[10:20] = 8.1

    with pytest.raises(StudyDataError, match="record more digits"):
        capability(sample_of(values, population="made"), Tolerance(7.0, 9.0))
