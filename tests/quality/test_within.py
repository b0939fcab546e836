"""Standard deviations within subgroups."""

from collections.abc import Callable

import numpy as np
import pytest

from station.quality.readings import StudyDataError
from station.quality.within import (
    Subgroups,
    WithinDeviation,
    c4,
    equal_subgroups,
    subgroups_of,
    within_by_deviations,
    within_by_moving_range,
    within_by_ranges,
)
from tests.quality.published_process import PISTON_RINGS


def test_ranges_of_piston_rings_give_printed_sigma() -> None:
    """Montgomery: sigma = 0.02276 / 2.326 = 0.00979."""
    within = within_by_ranges(subgroups_of(np.array(PISTON_RINGS).ravel(), equal_subgroups(125, 5)))

    assert 0.00979 == pytest.approx(within.deviation, abs=5e-6)
    assert ("mean range / d2", 25) == (within.convention, within.subgroups)


def test_subgroups_follow_first_appearance_and_two_pass_variance() -> None:
    """NIST StRD numacc3 in miniature: 1000000.2 +- 0.1 keeps its digits; groups come in order of appearance."""
    values = np.array([1000000.1, 1000000.3, 5.0, 1000000.2, 7.0])
    parts = subgroups_of(values, np.array(["b", "b", "a", "b", "a"]))

    assert (3, 2) == tuple(parts.sizes)
    assert (0.1, 2**0.5) == pytest.approx(tuple(parts.deviations), rel=1e-8)
    assert (0.2, 2.0) == pytest.approx(tuple(parts.ranges), rel=1e-8)


@pytest.mark.parametrize("estimate", [within_by_ranges, within_by_deviations])
def test_unequal_subgroups_give_sigma_without_bias(estimate: Callable[[Subgroups], WithinDeviation]) -> None:
    """Mean of 2,000 simulated estimates within 4 standard errors of sigma; spread as the degrees of freedom say."""
    generator = np.random.default_rng(11)
    groups = np.repeat(np.arange(9), [2, 3, 5, 8, 2, 4, 6, 3, 7])
    found = [estimate(subgroups_of(generator.normal(0, 2.0, 40), groups)) for _ in range(2000)]
    deviations = np.array([each.deviation for each in found])

    assert 2.0 == pytest.approx(deviations.mean(), abs=4 * deviations.std() / 2000**0.5)
    # Relative variance 1 / (2 nu); its own estimate from 2,000 is good to 3 %, three times that here.
    assert 1.0 / (2 * found[0].degrees_of_freedom) == pytest.approx((deviations.std() / 2.0) ** 2, rel=0.1)


def test_moving_range_has_stated_degrees_of_freedom() -> None:
    """Cryer and Ryan 1990: relative variance (0.826 n - 1.082)/(n - 1)^2."""
    within = within_by_moving_range(np.random.default_rng(2).normal(0, 1, 50))

    assert (0.8265 * 50 - 1.0821) / 49**2 == pytest.approx(1 / (2 * within.degrees_of_freedom), rel=1e-3)


def test_large_subgroups_are_refused_for_ranges() -> None:
    """The message names what serves instead."""
    with pytest.raises(StudyDataError, match="standard deviations"):
        within_by_ranges(subgroups_of(np.arange(32.0), equal_subgroups(32, 16)))


def test_values_without_variation_within_are_refused() -> None:
    """A sigma of 0 would make every index infinite: a wrong pass."""
    with pytest.raises(StudyDataError, match="don't vary"):
        within_by_moving_range(np.ones(10))
    with pytest.raises(StudyDataError, match="don't vary"):
        within_by_deviations(subgroups_of(np.array([1.0, 1.0, 2.0, 2.0]), np.array([0, 0, 1, 1])))


def test_c4_needs_two_values() -> None:
    """There is no standard deviation of one."""
    with pytest.raises(ValueError, match="two values"):
        c4(1)
