"""Charts, their constants and run rules against published figures."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.quality.chart_constants import chart_constants
from station.quality.charts import individuals_charts, mean_deviation_charts, mean_range_charts
from station.quality.readings import StudyDataError
from station.quality.run_rules import RunRule, Signal, run_signals
from station.quality.sample import sample_of
from station.quality.sequential import cumulative_sums, moving_average_chart
from station.quality.within import equal_subgroups
from tests.quality.published_process import (
    CHART_CONSTANTS,
    NIST_CUSUM,
    NIST_CUSUM_HIGH,
    NIST_CUSUM_LOW,
    NIST_EWMA,
    NIST_EWMA_PRINTED,
    NIST_FLOW,
    PISTON_RINGS,
)

RINGS = sample_of(np.array(PISTON_RINGS).ravel(), population="25 subgroups of 5 rings", unit_symbol="mm")
FIVES = equal_subgroups(125, 5)


@pytest.mark.parametrize("row", CHART_CONSTANTS[1:])
def test_chart_constants_are_the_printed_ones(row: tuple[float, ...]) -> None:
    """ASTM E2587 table 1 to half a digit of four decimals."""
    names = str(CHART_CONSTANTS[0]).split()[1:]
    constants = chart_constants(int(row[0]))

    assert row[1:] == pytest.approx([getattr(constants, name) for name in names], abs=6e-5)


def test_single_values_have_limits_of_nist_example() -> None:
    """NIST e-Handbook 6.3.2.2 (with d2 = 1.128 and D4 = 3.267, hence the tolerances)."""
    values, ranges = individuals_charts(sample_of(NIST_FLOW, population="ten flow rates"))

    assert (50.81, 55.8041, 45.8159) == pytest.approx(
        (values.centre[0], values.upper[0], values.lower[0]), abs=2e-3
    )
    assert (1.8778, 6.1349, 0.0) == pytest.approx((ranges.centre[0], ranges.upper[0], ranges.lower[0]), abs=2e-3)
    assert () == values.signals
    assert "ten flow rates" == values.population


def test_mean_and_range_have_limits_of_piston_rings() -> None:
    """Montgomery's example, limits as printed; UCL of R there with D4 = 2.114."""
    means, ranges = mean_range_charts(RINGS, FIVES)

    assert (74.00118, 74.0143, 73.98805) == pytest.approx(
        (means.centre[0], means.upper[0], means.lower[0]), abs=6e-5
    )
    assert (0.02276, 0.04812, 0.0) == pytest.approx((ranges.centre[0], ranges.upper[0], ranges.lower[0]), abs=1e-5)
    assert () == ranges.signals


def test_mean_and_deviation_agree_with_mean_and_range() -> None:
    """Two estimates of one sigma: limits within 5 % of each other, and s-bar limits by A3, B3, B4."""
    means, deviations = mean_deviation_charts(RINGS, FIVES)
    by_range = mean_range_charts(RINGS, FIVES)[0]
    s_bar = float(np.mean([np.std(row, ddof=1) for row in PISTON_RINGS]))
    constants = chart_constants(5)

    assert s_bar == pytest.approx(deviations.centre[0])
    assert s_bar * constants.B4 == pytest.approx(deviations.upper[0])
    assert means.centre[0] + constants.A3 * s_bar == pytest.approx(means.upper[0])
    assert by_range.upper[0] - by_range.centre[0] == pytest.approx(means.upper[0] - means.centre[0], rel=0.05)


def test_unequal_subgroups_have_limits_of_their_own() -> None:
    """A subgroup of 20 has half the width of one of 5."""
    generator = np.random.default_rng(3)
    groups = np.repeat([0, 1, 2, 3], [5, 20, 5, 20])
    means, _ = mean_deviation_charts(sample_of(generator.normal(8, 0.1, 50), population="made"), groups)
    widths = means.upper - means.lower

    assert 2.0 == pytest.approx(widths[0] / widths[1])


def test_subgroup_of_one_is_refused_with_what_is_needed() -> None:
    """A chart of subgroups can't have a spread of one value."""
    with pytest.raises(StudyDataError, match="two values or more"):
        mean_range_charts(sample_of([1.0, 2.0, 3.0], population="made"), np.array([0, 0, 1]))


def test_moving_average_is_nists() -> None:
    """NIST e-Handbook 6.3.2.4: averages, and steady limits with an unrounded root."""
    chart = moving_average_chart(
        sample_of(NIST_EWMA, population="made"), 2.0539, target=50.0, weight=0.3, width=3.0, steady=True
    )

    assert NIST_EWMA_PRINTED == pytest.approx(chart.points, abs=0.0051)
    assert (52.5884, 47.4115) == pytest.approx((chart.upper[-1], chart.lower[-1]), abs=3e-4)
    assert () == chart.signals


def test_moving_average_limits_grow_from_first_point() -> None:
    """Point 1 has the width of weight x deviation (Montgomery, 9.2); the last has the steady one."""
    chart = moving_average_chart(sample_of(NIST_EWMA, population="made"), 2.0, target=50.0, weight=0.3, width=3.0)

    assert 3.0 * 0.3 * 2.0 == pytest.approx(chart.upper[0] - 50.0)
    assert 3.0 * 2.0 * (0.3 / 1.7) ** 0.5 == pytest.approx(chart.upper[-1] - 50.0, rel=1e-5)


def test_cumulative_sums_are_nists_and_signal_at_point_14() -> None:
    """NIST e-Handbook 6.3.2.3."""
    sums = cumulative_sums(
        sample_of(NIST_CUSUM, population="made"), target=325.0, reference=0.3175, decision=4.1959
    )

    assert NIST_CUSUM_HIGH == pytest.approx(sums.upper, abs=1e-9)
    assert NIST_CUSUM_LOW == pytest.approx(sums.lower, abs=1e-9)
    assert 14 == sums.signals[0] + 1


@pytest.mark.parametrize(
    ("z", "expected"),
    [
        ((0.1, 3.2, 0.0), Signal(1, RunRule.BEYOND_LIMITS)),
        ((2.3, 0.5, 2.1), Signal(2, RunRule.TWO_OF_THREE)),
        ((1.2, 1.5, 0.4, 1.1, 1.3), Signal(4, RunRule.FOUR_OF_FIVE)),
        ((0.2, 0.3, 0.1, 0.4, 0.6, 0.2, 0.9, 0.3), Signal(7, RunRule.ONE_SIDE)),
    ],
)
def test_everyday_rules_signal_where_the_handbook_says(z: tuple[float, ...], expected: Signal) -> None:
    """Zone rules of 1956 (wording also NIST e-Handbook 6.3.2), on made-up points."""
    assert (expected,) == run_signals(np.array(z))
    assert (expected,) == run_signals(-np.array(z))


@pytest.mark.parametrize(
    ("rule", "z", "length"),
    [
        (RunRule.STEADY, [0.1 * i for i in range(6)], 6),
        (RunRule.HUGGING, [0.5, -0.5] * 7 + [0.5], 15),
        (RunRule.AVOIDING, [1.5, -1.5] * 4, 8),
        (RunRule.ALTERNATING, [0.5, -0.5] * 7, 14),
    ],
)
def test_closer_rules_signal_at_last_point_and_not_before(rule: RunRule, z: list[float], length: int) -> None:
    """ISO 7870-2, clause 8: the pattern is complete at its last point."""
    assert (Signal(length - 1, rule),) == run_signals(np.array(z), rules=(rule,))
    assert () == run_signals(np.array(z[:-1]), rules=(rule,))


def test_point_on_the_limit_is_not_beyond() -> None:
    """NIST e-Handbook 6.3.3.1: wafer 3 lies on the limit and is no signal."""
    assert () == run_signals(np.array([3.0]))


@given(st.lists(st.floats(-4, 4), min_size=1, max_size=40))
def test_signals_of_mirrored_points_are_the_same(z: list[float]) -> None:
    """No rule prefers a side."""
    every = tuple(RunRule)

    assert run_signals(np.array(z), rules=every) == run_signals(-np.array(z), rules=every)
