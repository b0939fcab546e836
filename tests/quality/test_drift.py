"""Verification values over time: what is warned of, and what is not."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.quality.drift import BASELINE, LEAST_BASELINE, WARNING_SHARE, find_drift
from station.quality.readings import StudyDataError

STEADY = [0.02, -0.03, 0.01, 0.0, 0.03, -0.02, 0.01, -0.01, 0.02, 0.0]


def drift_of(shares: list[float], **options: np.ndarray):  # noqa: ANN201
    """The drift of shares taken once a day."""
    values = np.array(shares)
    return find_drift(values, np.arange(values.size, dtype=float), **options)


def test_steady_values_give_no_warning() -> None:
    """Nothing is said of noise far below what is allowed."""
    assert () == drift_of(STEADY).warnings


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_step_is_warned_of_at_once(sign: float) -> None:
    """A single value outside of its usual range, long before two thirds are used up."""
    found = drift_of([*STEADY, sign * 0.3])

    assert any("the value has left its usual range" in each for each in found.warnings)


def test_slow_drift_is_warned_of_by_the_moving_average_first() -> None:
    """A hundredth of what is allowed a day: the average sees it while each value is still usual."""
    rising = [*STEADY, *(0.01 * day for day in range(1, 15))]
    seen = [drift_of(rising[:count]).warnings for count in range(len(STEADY) + 1, len(rising) + 1)]
    first = next(each for each in seen if each)

    assert ("the moving average has left its usual range",) == tuple(each.partition(" (")[0] for each in first)


def test_large_share_is_warned_of_without_any_history() -> None:
    """The very first value may use up too much; the charts need more values."""
    found = drift_of([0.7])

    assert (("70% of what is allowed is used up",), None) == (found.warnings, found.singles)
    assert () == drift_of([0.66]).warnings


def test_charts_begin_when_there_is_a_baseline() -> None:
    """Six values before the newest one."""
    assert drift_of(STEADY[:LEAST_BASELINE]).singles is None
    assert drift_of(STEADY[: LEAST_BASELINE + 1]).singles is not None


def test_baseline_takes_no_value_that_had_left_its_range() -> None:
    """Else a drift would widen the very range that should show it."""
    found = drift_of([*STEADY, 0.3, 0.4, 0.5])

    assert len(STEADY) == found.baseline


def test_baseline_ends() -> None:
    """The first twenty stay what all later values are held against."""
    assert BASELINE == drift_of(STEADY * 4).baseline


def test_value_that_did_not_agree_is_in_no_estimate() -> None:
    """It has been acted on; the charts go on as if it had not been, and it is warned of itself."""
    broken = np.array([*STEADY, 3.0])
    days = np.arange(broken.size, dtype=float)
    after = find_drift(np.append(broken, 0.01), np.append(days, 11.0))

    assert ("beyond what is allowed: +3.00 of it",) == find_drift(broken, days).warnings
    assert () == after.warnings


def test_days_left_follow_the_newest_rate() -> None:
    """From 0.3 on, at 0.1 a day, seven days are left."""
    found = drift_of([*STEADY, 0.1, 0.2, 0.3])

    assert 7.0 == pytest.approx(found.days_left, rel=1e-9)


def test_value_that_comes_back_has_no_end_in_sight() -> None:
    """Large, but moving to the middle."""
    assert drift_of([0.9, 0.8, 0.7]).days_left is None


@given(shares=st.lists(st.floats(-1.0, 1.0), min_size=1, max_size=40))
def test_newest_value_above_two_thirds_is_always_warned_of(shares: list[float]) -> None:
    """Whatever came before it."""
    assert drift_of([*shares, WARNING_SHARE + 0.01]).warnings


@pytest.mark.parametrize(("shares", "days"), [([], []), ([0.1], [0.0, 1.0]), ([float("nan")], [0.0])])
def test_values_that_make_no_series_are_refused(shares: list[float], days: list[float]) -> None:
    """None, unequal lengths, not a number."""
    with pytest.raises(StudyDataError):
        find_drift(np.array(shares), np.array(days))


@pytest.mark.slow
def test_false_alarms_of_a_steady_bench_are_few() -> None:
    """Normal shares of 0.1: about 2 alarms in 100 verifications, the doubt of the baseline included."""
    generator = np.random.default_rng(3)
    alarms = total = 0
    for _ in range(40):
        shares = generator.normal(0.0, 0.1, 60)
        for count in range(BASELINE + 1, shares.size + 1):
            alarms += bool(drift_of(shares[:count].tolist()).warnings)
            total += 1

    assert alarms / total < 0.03
