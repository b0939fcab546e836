"""What a datasheet may state: intervals, uncertainty, limits, and how often the promise is kept."""

import numpy as np
import pytest

from station.quality.risk import Tolerance
from station.quality.sample import Sample, sample_of
from station.quality.stated import stated_range

NAMES = np.array(["L2641"] * 60)


def _sample(values: np.ndarray) -> Sample:
    return sample_of(values, population="units of lot L2641", unit_symbol="ohm")


def _normal(seed: int, size: int = 60) -> Sample:
    return _sample(np.random.default_rng(seed).normal(8.0, 0.1, size))


def test_one_normal_lot_has_mean_and_k_standard_deviations() -> None:
    """k2 of n = 60 for 99 % with 95 %: 3.066 (Howe's approximation, which is good to 0.2 % here)."""
    sample = _normal(1)
    found = stated_range(sample, NAMES)
    mean, s = sample.values.mean(), sample.values.std(ddof=1)

    assert (mean - 3.066 * s, mean, mean + 3.066 * s) == pytest.approx(
        (found.minimum, found.typical, found.maximum), rel=1e-3
    )
    assert found.provisional


def test_uncertainty_moves_both_ends_out() -> None:
    """What is common to all units of a bench shows in no spread."""
    plain, wide = stated_range(_normal(1), NAMES), stated_range(_normal(1), NAMES, uncertainty=0.05)

    assert plain.minimum is not None
    assert plain.maximum is not None
    assert (plain.minimum - 0.05, plain.maximum + 0.05) == pytest.approx((wide.minimum, wide.maximum))


def test_end_beyond_a_limit_that_units_are_judged_against_is_the_limit() -> None:
    """Units between limit and interval were not delivered; the other end stays."""
    sample = _normal(1)
    low = float(sample.values.min()) - 0.0005
    found = stated_range(sample, NAMES, judged=Tolerance(low, 9.0))

    assert (low, True) == (found.minimum, found.minimum_is_limit)
    assert not found.maximum_is_limit
    assert found.maximum is not None
    assert found.maximum < 9.0


def test_limit_that_a_unit_has_passed_is_no_promise() -> None:
    """By concession, or under older limits: the limit is not stated as if it held."""
    sample = _normal(1)
    low = float(sample.values.min()) + 0.01
    found = stated_range(sample, NAMES, judged=Tolerance(low, None))

    assert not found.minimum_is_limit
    assert found.minimum is not None
    assert found.minimum < low


def test_few_values_that_are_not_normal_state_nothing_and_say_why() -> None:
    """A distribution-free interval of 99 % with 95 % needs 473 values (Wilks 1941)."""
    found = stated_range(_sample(np.random.default_rng(2).lognormal(0.0, 1.0, 60)), NAMES)

    assert (None, None) == (found.minimum, found.maximum)
    assert "needs 473 values or more" in found.why


def test_five_lots_are_no_longer_provisional() -> None:
    """The lot is a random effect: its number counts."""
    lots = np.repeat(np.array(list("abcde")), 12)

    assert not stated_range(_normal(3), lots).provisional
    assert "lot as a random effect, normal" == stated_range(_normal(3), lots).method


def test_lots_that_are_not_normal_within_are_doubted() -> None:
    """The interval over lots takes normal values; two kinds of units in each lot are none."""
    generator, lots = np.random.default_rng(4), np.repeat(np.arange(5), 40)
    plain = generator.normal(8.0, 0.01, 200)
    mixed = plain + np.tile([0.0, 0.2], 100)

    assert "" == stated_range(_sample(plain), lots).doubt
    assert "not normal within lots" in stated_range(_sample(mixed), lots).doubt


@pytest.mark.slow
def test_promise_is_kept_by_the_next_lots() -> None:
    """Of 100 processes of six lots, 99 % of the units lie inside for 95 %, less four standard errors."""
    from scipy.stats import norm

    generator = np.random.default_rng(5)
    lots, kept = np.repeat(np.arange(6), 20), 0
    for _ in range(100):
        values = 8.0 + np.repeat(generator.normal(0.0, 0.1, 6), 20) + generator.normal(0.0, 0.1, 120)
        found = stated_range(_sample(values), lots)
        assert found.minimum is not None
        assert found.maximum is not None
        inside = np.diff(norm.cdf([found.minimum, found.maximum], 8.0, np.hypot(0.1, 0.1)))
        kept += bool(inside[0] >= 0.99)

    assert kept >= 100 * (0.95 - 4 * (0.95 * 0.05 / 100) ** 0.5)
