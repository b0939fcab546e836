"""How well a datasheet's figures are known, against the truth of simulated processes."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from station.quality.figure_intervals import Known, figure_intervals, interval_of_change
from station.quality.sample import Sample

ONE_LOT = np.array(["L2641"] * 60)


def _sample(values: np.ndarray) -> Sample:
    return Sample(values, "units", "ohm")


@pytest.mark.slow
def test_interval_holds_the_true_percentile_and_mean_as_often_as_it_says() -> None:
    """Of 300 normal samples of 60: 95 %, within what 300 draws allow for (5 standard deviations: 6.3 %)."""
    generator, percentile = np.random.default_rng(1), float(norm.ppf(0.005, 8.0, 0.1))
    ends, means = [], []
    for _ in range(300):
        found = figure_intervals(_sample(generator.normal(8.0, 0.1, 60)), ONE_LOT, coverage=0.99)
        if found.minimum is not None:  # the few that don't look normal are too few without a distribution
            ends.append(found.minimum.low <= percentile <= found.minimum.high)
        if found.typical is not None:
            means.append(found.typical.low <= 8.0 <= found.typical.high)

    assert 280 <= len(ends)
    assert 0.95 == pytest.approx(np.mean(ends), abs=0.063)
    assert 0.95 == pytest.approx(np.mean(means), abs=0.063)


def test_lots_that_differ_are_known_by_their_number() -> None:
    """The mean of six lots is known by how the lots spread, however many units each has."""
    generator = np.random.default_rng(2)
    lots = np.repeat(list("abcdef"), 50)
    values = generator.normal(8.0, 0.05, 300) + np.repeat(generator.normal(0.0, 0.2, 6), 50)
    found = figure_intervals(_sample(values), lots, coverage=0.99).typical
    means = np.array([values[lots == each].mean() for each in "abcdef"])

    assert found is not None
    # Student's t of 5 degrees of freedom, 97.5 %: 2.5706 (any table).
    assert 2.5706 * means.std(ddof=1) / math.sqrt(6) == pytest.approx(found.high - found.estimate, rel=1e-4)


def test_few_values_that_are_not_normal_say_nothing_of_the_ends() -> None:
    """Distribution-free bounds of a percentile of 0.5 % need hundreds of units."""
    found = figure_intervals(_sample(np.random.default_rng(3).exponential(1.0, 60)), ONE_LOT, coverage=0.99)

    assert (None, None) == (found.minimum, found.maximum)
    assert found.typical is not None


def test_values_that_do_not_vary_say_nothing_of_the_ends() -> None:
    """Where nothing varies there is no distribution to speak of."""
    found = figure_intervals(_sample(np.full(60, 8.0)), ONE_LOT, coverage=0.99)

    assert (None, Known(8.0, 8.0, 8.0), None) == (found.minimum, found.typical, found.maximum)


def test_change_of_even_intervals_adds_in_squares() -> None:
    """3 and 4 make 5."""
    assert (-4.0, 6.0) == pytest.approx(interval_of_change(Known(10.0, 7.0, 13.0), Known(11.0, 7.0, 15.0)))


def test_change_of_lopsided_intervals_takes_the_sides_that_face() -> None:
    """Upwards: the new one's upper and the old one's lower side."""
    before, after = Known(10.0, 10.0 - 3.0, 10.0 + 0.3), Known(12.0, 12.0 - 0.4, 12.0 + 4.0)

    assert (2.0 - 0.5, 2.0 + 5.0) == pytest.approx(interval_of_change(before, after))


def test_change_from_or_to_the_unknown_has_no_interval() -> None:
    """Nothing is made up."""
    assert interval_of_change(None, Known(1.0, 0.0, 2.0)) is None
    assert interval_of_change(Known(1.0, 0.0, 2.0), None) is None


@pytest.mark.slow
def test_unchanged_process_is_seldom_said_to_have_changed() -> None:
    """5 % of 300 pairs, and a shift of one standard deviation is always seen in the mean of 60."""
    generator = np.random.default_rng(4)
    false, seen = 0, 0
    for _ in range(300):
        first, second = (
            figure_intervals(_sample(generator.normal(8.0, 0.1, 60)), ONE_LOT, coverage=0.99) for _ in range(2)
        )
        shifted = figure_intervals(_sample(generator.normal(8.1, 0.1, 60)), ONE_LOT, coverage=0.99)
        same, other = (interval_of_change(first.typical, each.typical) for each in (second, shifted))
        assert same is not None
        assert other is not None
        false += not same[0] <= 0.0 <= same[1]
        seen += other[0] > 0.0

    assert 0.05 == pytest.approx(false / 300, abs=0.063)
    assert 295 <= seen
