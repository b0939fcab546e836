"""Yield, variance components, panel maps, outliers and trends."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.quality.components import nested_components
from station.quality.outliers import robust_outliers
from station.quality.panel import panel_map
from station.quality.readings import StudyDataError
from station.quality.sample import sample_of
from station.quality.trend import lag_one, trend_of
from station.quality.yields import pareto, wilson_interval, yield_of
from tests.quality.published_process import MICHELSON, NORRIS, SIRSTV


@given(st.integers(1, 5000), st.floats(0, 1))
def test_yield_intervals_are_those_of_scipy(of: int, share: float) -> None:
    """Clopper-Pearson and Wilson as `scipy.stats.binomtest` has them."""
    passed = round(share * of)
    found = yield_of(passed, of, population="made")
    test = stats.binomtest(passed, of)
    exact, wilson = test.proportion_ci(method="exact"), test.proportion_ci(method="wilson")

    assert (exact.low, exact.high) == pytest.approx(found.exact, abs=1e-9)
    assert (wilson.low, wilson.high) == pytest.approx(found.wilson, abs=1e-9)


def test_yield_without_failures_is_not_a_promise_of_none() -> None:
    """59 of 59 pass: the yield may still be 93.9 % (two-sided; the rule of three gives 94.9 % for one side)."""
    found = yield_of(59, 59, population="made")

    assert (0.025 ** (1 / 59), 1.0) == pytest.approx(found.exact)
    assert 1.0 == wilson_interval(59, 59)[1]


def test_impossible_counts_are_refused() -> None:
    """More passed than there are."""
    with pytest.raises(StudyDataError, match="7 of 6"):
        yield_of(7, 6, population="made")


def test_pareto_puts_the_costliest_first_and_sums_to_one() -> None:
    """Ties go by name, so that the order is the same every time; reasons without units are left out."""
    bars = pareto({"R20 high": 5, "open": 12, "L low": 5, "none": 0})

    assert ("open", "L low", "R20 high") == tuple(bar.reason for bar in bars)
    assert 1.0 == pytest.approx(bars[-1].cumulative)


def test_one_way_analysis_is_certified() -> None:
    """NIST StRD SiRstv: sums of squares, F, to nine digits."""
    values = np.array(SIRSTV)
    found = nested_components(
        sample_of(values.ravel(), population="25 readings"), {"instrument": np.repeat(np.arange(5), 5)}
    )
    between, within = found.parts

    assert (4, 20) == (between.degrees_of_freedom, within.degrees_of_freedom)
    assert (0.0511462616, 0.0127865654, 1.18046237440255) == pytest.approx(
        (between.sum_of_squares, between.mean_square, between.f), rel=1e-9
    )
    assert (0.21663656, 0.104076068334656) == pytest.approx((within.sum_of_squares, within.deviation), rel=1e-9)
    assert (0.0127865654 - 0.010831828) / 5 == pytest.approx(between.variance, rel=1e-8)


def test_balanced_nested_components_are_the_textbook_formulas() -> None:
    """Lots, panels in lots, units: (MS of a source - MS of the next) / values in one of its groups."""
    generator = np.random.default_rng(17)
    lots, panels = np.repeat(np.arange(4), 15), np.tile(np.repeat(np.arange(3), 5), 4)
    values = generator.normal(0, 3, 4)[lots] + generator.normal(0, 2, 12)[lots * 3 + panels] + generator.normal(size=60)
    lot, panel, unit = nested_components(sample_of(values, population="made"), {"lot": lots, "panel": panels}).parts
    cube = values.reshape(4, 3, 5)
    squares = (
        15 * cube.mean(axis=(1, 2)).var(ddof=1),
        5 * ((cube.mean(axis=2) - cube.mean(axis=(1, 2))[:, None]) ** 2).sum() / 8,
        cube.var(axis=2, ddof=1).mean(),
    )

    assert squares == pytest.approx((lot.mean_square, panel.mean_square, unit.mean_square))
    assert ((squares[0] - squares[1]) / 15, (squares[1] - squares[2]) / 5, squares[2]) == pytest.approx(
        (lot.variance, panel.variance, unit.variance)
    )


def test_unbalanced_components_have_no_bias() -> None:
    """1,500 simulated unbalanced studies: mean estimates within four standard errors of the truth."""
    generator = np.random.default_rng(18)
    lots = np.repeat(np.arange(6), [4, 9, 14, 20, 7, 6])
    panels = np.concatenate([np.arange(n) % (2 + n % 3) for n in (4, 9, 14, 20, 7, 6)])
    found = []
    for _ in range(1500):
        # Lots far apart, so that no estimate is cut off at 0.
        values = (
            generator.normal(0, 6, 6)[lots]
            + generator.normal(0, 3, (6, 4))[lots, panels]
            + generator.normal(0, 1, lots.size)
        )
        parts = nested_components(sample_of(values, population="made"), {"lot": lots, "panel": panels}).parts
        found.append([part.variance for part in parts])
    means, errors = np.mean(found, axis=0), np.std(found, axis=0) / 1500**0.5

    assert (np.abs(means - (36.0, 9.0, 1.0)) < 4 * errors).all()


def test_known_gauge_variance_is_taken_off_what_is_left() -> None:
    """Units and gauge share what is within the panel; shares add up to one."""
    values = np.array(SIRSTV)
    found = nested_components(
        sample_of(values.ravel(), population="made"),
        {"panel": np.repeat(np.arange(5), 5)},
        within="within panel",
        gauge_variance=0.004,
    )

    assert ("panel", "within panel", "gauge") == tuple(part.source for part in found.parts)
    assert (0.010831828 - 0.004, 0.004) == pytest.approx((found.parts[1].variance, found.parts[2].variance))
    assert 1.0 == pytest.approx(sum(part.share for part in found.parts))


def test_level_with_one_group_each_is_refused() -> None:
    """One panel a lot: what is the lot's and what the panel's can't be told apart."""
    lots = np.repeat([0, 1], 5)

    with pytest.raises(StudyDataError, match="only one"):
        nested_components(sample_of(np.arange(10.0), population="made"), {"lot": lots, "panel": lots})


def test_panel_map_finds_the_plane_and_its_errors() -> None:
    """Known gradient with noise: within four standard errors; places sort by number, not by text."""
    generator = np.random.default_rng(19)
    rows = tuple(r for r in "ABCDEFGH" for _ in range(12))
    columns = tuple(str(c) for _ in range(8) for c in range(1, 13))
    truth = np.array([0.02 * "ABCDEFGH".index(r) - 0.01 * int(c) for r, c in zip(rows, columns, strict=True)])
    found = panel_map(sample_of(8.0 + truth + generator.normal(0, 0.02, 96), population="made"), rows, columns)

    assert ("1", "2", "12") == (found.columns[0], found.columns[1], found.columns[-1])
    assert (8, 12) == found.means.shape
    assert 0.02 == pytest.approx(found.per_row, abs=4 * found.per_row_error)
    assert -0.01 == pytest.approx(found.per_column, abs=4 * found.per_column_error)
    assert found.p < 1e-9
    assert 0.02 * 7 + 0.01 * 11 == pytest.approx(found.across, rel=0.1)


def test_panel_map_of_one_line_is_refused() -> None:
    """A plane needs two directions."""
    with pytest.raises(StudyDataError, match="two rows and two columns"):
        panel_map(sample_of([1.0, 2.0, 3.0, 5.0], population="made"), ("A",) * 4, ("1", "2", "3", "4"))


def test_outlier_does_not_hide_itself() -> None:
    """One value of a hundred far off moves mean and standard deviation, but not median and MAD."""
    generator = np.random.default_rng(20)
    values = np.append(generator.normal(8, 0.1, 99), 80.0)
    found = robust_outliers(sample_of(values, population="made"))

    assert 99 == found.indices[0]
    assert stats.median_abs_deviation(values, scale="normal") == pytest.approx(found.deviation)


def test_outliers_are_found_when_most_values_are_equal() -> None:
    """A MAD of zero must not divide."""
    found = robust_outliers(sample_of([5.0] * 20 + [5.1, 9.0], population="made"))

    assert 21 == found.indices[0]


@given(st.lists(st.floats(-100, 100), min_size=5, max_size=60, unique=True), st.floats(0.01, 100))
def test_outliers_are_the_same_in_any_unit(values: list[float], scale: float) -> None:
    """Ohm or milliohm: the same units stand out (scores of unlike size only, for rounding)."""
    one = robust_outliers(sample_of(values, population="made"))
    other = robust_outliers(sample_of([scale * each for each in values], population="made"))

    assert one.scores == pytest.approx(other.scores, rel=1e-6, abs=1e-6)


def test_trend_is_certified() -> None:
    """NIST StRD Norris: slope and intercept to nine digits, deviation about the line."""
    y, x = np.array(NORRIS).T
    found = trend_of(sample_of(y, population="made"), x)

    assert (1.00211681802045, -0.262323073774029, 0.884796396144373) == pytest.approx(
        (found.slope, found.intercept, found.deviation_about_line), rel=1e-9
    )
    # Neighbours in x are not alike here, so that the standard errors are the certified ones or wider.
    assert found.slope_error >= 0.000429796848199937 * (1 - 1e-9)


def test_autocorrelation_is_certified() -> None:
    """NIST StRD Michelso: mean, standard deviation and lag-1 autocorrelation."""
    values = np.array(MICHELSON)

    assert (299.8524, 0.0790105478190518) == pytest.approx((values.mean(), values.std(ddof=1)), rel=1e-12)
    assert 0.535199668621283 == pytest.approx(lag_one(values), rel=1e-9)


def test_drift_is_claimed_seldom_where_there_is_none() -> None:
    """400 series whose neighbours resemble each other: plain least squares would cry wolf in a third of them."""
    generator = np.random.default_rng(21)
    claimed = 0
    for _ in range(400):
        values = np.zeros(200)
        noise = generator.normal(size=200)
        for i in range(1, 200):
            values[i] = 0.6 * values[i - 1] + noise[i]
        claimed += trend_of(sample_of(values, population="made"), np.arange(200.0)).p < 0.05

    assert claimed / 400 < 0.12


def test_drift_that_is_there_is_found() -> None:
    """A drift of one standard deviation over 200 units."""
    values = np.random.default_rng(22).normal(size=200) + np.arange(200) / 200 * 1.5
    found = trend_of(sample_of(values, population="made"), np.arange(200.0))

    assert found.drifts
    assert 1.5 == pytest.approx(found.change, abs=4 * found.slope_error * 200)
