"""Keyed noise."""

from itertools import pairwise
from statistics import fmean, stdev

from sim.noise import NoiseSource, key, normal, uniform


def test_normal_has_zero_mean_and_unit_deviation() -> None:
    """10,000 numbers of one key look standard normal, within four standard errors."""
    numbers = [normal(key("a"), index) for index in range(10_000)]

    assert abs(fmean(numbers)) < 0.04
    assert abs(stdev(numbers) - 1.0) < 0.03


def test_neighbouring_indices_are_uncorrelated() -> None:
    """The lag-one correlation of 10,000 numbers is within four standard errors of none."""
    numbers = [normal(key("b"), index) for index in range(10_000)]

    assert abs(fmean(x * y for x, y in pairwise(numbers))) < 0.04


def test_uniform_stays_inside_the_open_interval() -> None:
    """No number is 0 or 1, so its normal quantile is finite."""
    numbers = [uniform(key("c", index)) for index in range(1_000)]

    assert 0.0 < min(numbers) <= max(numbers) < 1.0


def test_other_channels_do_not_move_a_channel() -> None:
    """A channel gives the same numbers whatever else was asked for in between."""
    alone = NoiseSource(1)
    expected = [alone.next("U1", "x") for _ in range(3)]
    mixed = NoiseSource(1)
    actual = []
    for _ in range(3):
        mixed.next("U1", "y")
        mixed.next("U2", "x")
        actual.append(mixed.next("U1", "x"))

    assert expected == actual


def test_seed_changes_the_numbers() -> None:
    """Another seed is another draw."""

    assert NoiseSource(1).next("U1", "x") != NoiseSource(2).next("U1", "x")
