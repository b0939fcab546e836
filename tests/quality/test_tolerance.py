"""Statistical tolerance intervals against tables, and promises across lots against simulated ones."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.quality.promise import promise_across_lots
from station.quality.readings import StudyDataError
from station.quality.sample import sample_of
from station.quality.tolerance import (
    distribution_free_interval,
    howe_factor,
    normal_interval,
    one_sided_factor,
    range_confidence,
    two_sided_factor,
    values_needed,
)
from tests.quality.published_process import TOLERANCE_FACTORS


@pytest.mark.parametrize("row", TOLERANCE_FACTORS)
def test_factors_are_those_of_the_table(row: tuple[float, ...]) -> None:
    """ISO 16269-6:2014 and Hahn and Meeker, six decimals."""
    size, coverage, confidence = int(row[0]), row[1], row[2]
    found = [
        factor(size, coverage=coverage, confidence=confidence)
        for factor in (one_sided_factor, two_sided_factor, howe_factor)
    ]

    assert row[3:] == pytest.approx(found, abs=2e-6)


def test_two_sided_factor_is_nists_and_isos() -> None:
    """NIST e-Handbook 7.2.6.3 (2.217 by Howe, 2.222825 exact); ISO 16269-6 annex F (1.9906, rounded up)."""
    assert 2.2173158966536297 == pytest.approx(howe_factor(43, coverage=0.9, confidence=0.99), rel=1e-8)
    assert 2.222825173791133 == pytest.approx(two_sided_factor(43, coverage=0.9, confidence=0.99), abs=1e-8)
    assert 1.9905321305884602 == pytest.approx(two_sided_factor(35, coverage=0.9, confidence=0.9), abs=1e-8)


def test_one_sided_factor_is_nists() -> None:
    """NIST e-Handbook 7.2.6.3, non-central t: 1.8740 for 43, 4.4111 for 6."""
    found = [one_sided_factor(n, coverage=0.9, confidence=0.99) for n in (43, 6)]

    assert (1.8740, 4.4111) == pytest.approx(found, abs=6e-5)


@pytest.mark.parametrize(
    ("coverage", "confidence", "two_sided", "one_sided"),
    [(0.95, 0.95, 93, 59), (0.9, 0.95, 46, 29), (0.99, 0.95, 473, 299), (0.9, 0.9, 38, 22)],
)
def test_values_needed_are_wilks(coverage: float, confidence: float, two_sided: int, one_sided: int) -> None:
    """Wilks 1941; NIST e-Handbook 7.2.6.4."""
    assert two_sided == values_needed(coverage=coverage, confidence=confidence, two_sided=True)
    assert one_sided == values_needed(coverage=coverage, confidence=confidence, two_sided=False)


def test_confidence_of_a_range_is_nists() -> None:
    """NIST e-Handbook 7.2.6.4: 25 values."""
    found = [range_confidence(25, coverage=p) for p in (0.75, 0.95, 0.99)]

    assert (0.993, 0.358, 0.026) == pytest.approx(found, abs=6e-4)


@given(st.integers(93, 3000), st.sampled_from(["both", "lower", "upper"]))
def test_distribution_free_interval_keeps_promise_and_wastes_no_rank(size: int, side: str) -> None:
    """The binomial law of the ranks themselves: enough confidence, and one more value left out would not do."""
    interval = distribution_free_interval(
        sample_of(np.arange(float(size)), population="ranks"), coverage=0.95, confidence=0.95, side=side
    )
    low, high = np.clip(interval.ends, 0.0, size - 1.0)
    ends = 2 if side == "both" else 1
    left_out = int(low + (size - 1 - high)) + ends

    assert interval.confidence == pytest.approx(stats.binom.cdf(size - left_out, size, 0.95))
    assert interval.confidence >= 0.95
    assert stats.binom.cdf(size - left_out - ends, size, 0.95) < 0.95


def test_too_few_values_are_refused_with_how_many_are_needed() -> None:
    """The message says what to do."""
    with pytest.raises(StudyDataError, match="473 values or more"):
        distribution_free_interval(sample_of(np.arange(400.0), population="made"), coverage=0.99, confidence=0.95)


def test_normal_interval_keeps_promise_as_often_as_it_says() -> None:
    """4,000 samples of 10: 90 % of the units held in 95 % of them, within four standard errors (1.4 %)."""
    generator = np.random.default_rng(12)
    kept = 0
    for row in generator.normal(size=(4000, 10)):
        interval = normal_interval(sample_of(row, population="made"), coverage=0.9, confidence=0.95)
        kept += stats.norm.cdf(interval.upper) - stats.norm.cdf(interval.lower) >= 0.9

    assert 0.95 == pytest.approx(kept / 4000, abs=0.014)


@pytest.mark.slow
@pytest.mark.parametrize(("side", "times"), [("both", 60), ("upper", 300)])
def test_promise_across_lots_keeps_as_often_as_it_says(side: str, times: int) -> None:
    """Five lots of unequal size, lots spread as wide as units: kept in 95 %, less four standard errors at most."""
    generator = np.random.default_rng(13)
    lots = np.repeat(np.arange(5), [5, 10, 20, 10, 5])
    total = stats.norm(0.0, 2.0**0.5)
    kept = 0
    for _ in range(times):
        values = generator.normal(size=5)[lots] + generator.normal(size=50)
        interval = promise_across_lots(
            sample_of(values, population="made"), lots, coverage=0.9, confidence=0.95, side=side
        ).interval
        low = 0.0 if interval.lower is None else total.cdf(interval.lower)
        kept += total.cdf(interval.upper) - low >= 0.9

    assert kept / times >= 0.95 - 4 * (0.95 * 0.05 / times) ** 0.5


def test_promise_of_many_equal_lots_is_that_of_one_big_sample() -> None:
    """Without differences between lots nearly the exact factor of all values comes out."""
    values = np.random.default_rng(14).normal(size=2000)
    promise = promise_across_lots(
        sample_of(values, population="made"), np.repeat(np.arange(200), 10), coverage=0.95, confidence=0.95
    )
    factor = two_sided_factor(2000, coverage=0.95, confidence=0.95)

    assert factor * values.std(ddof=1) == pytest.approx(promise.interval.ends[1] - promise.mean, rel=0.02)


def test_lots_that_differ_widen_the_promise_and_few_lots_are_provisional() -> None:
    """Pooling three lots as one sample would promise too much."""
    generator = np.random.default_rng(15)
    lots = np.repeat(["L2641", "L2642", "L2643"], 100)
    values = np.repeat([7.8, 8.0, 8.2], 100) + generator.normal(0, 0.05, 300)
    sample = sample_of(values, population="made")
    promise = promise_across_lots(sample, lots)
    pooled = normal_interval(sample)

    assert promise.provisional
    assert 0.2 == pytest.approx(promise.between_deviation, rel=0.05)
    assert np.ptp(promise.interval.ends) > 3 * np.ptp(pooled.ends)


def test_one_lot_promises_nothing_about_the_next() -> None:
    """The spread between lots can't be seen in one."""
    with pytest.raises(StudyDataError, match="two lots"):
        promise_across_lots(sample_of(np.arange(10.0), population="made"), np.zeros(10))
