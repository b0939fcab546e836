"""Crossed studies by analysis of variance."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.quality.gauge_anova import AnovaTable, anova_table, may_pool, pooled_table, variation_of
from station.quality.gauge_crossed import crossed_study
from station.quality.readings import CrossedReadings, StudyDataError
from station.quality.variation import (
    categories,
    distinct_categories,
    percent_of_study_variation,
    percent_of_tolerance,
    percent_of_variance,
    standard_deviations,
)
from tests.quality.published import aiag_readings


def crossed(values: np.ndarray) -> CrossedReadings:
    """Readings with names made up."""
    parts, appraisers, _ = values.shape
    return CrossedReadings(tuple(map(str, range(parts))), tuple(map(str, range(appraisers))), values)


def drawn(seed: int, parts: int, appraisers: int, trials: int) -> np.ndarray:
    """Readings of a model with all four sources."""
    rng = np.random.default_rng(seed)
    return (
        10.0
        + rng.normal(0.0, 2.0, (parts, 1, 1))
        + rng.normal(0.0, 0.5, (1, appraisers, 1))
        + rng.normal(0.0, 0.3, (parts, appraisers, 1))
        + rng.normal(0.0, 0.4, (parts, appraisers, trials))
    )


def squares(table: AnovaTable) -> dict[str, float]:
    """Sums of squares by source."""
    return {line.source: line.sum_of_squares for line in table.lines}


def test_aiag_table_has_every_printed_digit() -> None:
    """AIAG MSA, 4th edition, Table III-B 7: sums of squares to four decimals, F against equipment.

    The F of appraiser and part are from memory; the rest was seen.
    """
    table = anova_table(aiag_readings())
    printed = {source: round(each, 4) for source, each in squares(table).items()}
    f = {line.source: line.f_against_repeatability for line in table.lines}

    assert {"part": 88.3619, "appraiser": 3.1673, "interaction": 0.359, "repeatability": 2.7589} == printed
    assert 94.6471 == round(table.total_sum_of_squares, 4)
    assert [9, 2, 18, 60] == [line.degrees_of_freedom for line in table.lines]
    assert 89 == table.total_degrees_of_freedom
    assert (213.52, 34.44, 0.434) == (
        round(f["part"] or 0, 2),
        round(f["appraiser"] or 0, 2),
        round(f["interaction"] or 0, 3),
    )


def test_aiag_results_have_every_printed_digit() -> None:
    """AIAG MSA, 4th edition, Tables III-B 8 to 10: standard deviations to six decimals, per cents to one, ndc 4."""
    study = crossed_study(aiag_readings())
    variation = study.model.variation
    deviations = standard_deviations(variation)
    shares = percent_of_study_variation(variation)
    names = ("repeatability", "appraiser", "interaction", "repeatability_and_reproducibility", "part")

    assert study.pooled
    assert [0.199933, 0.226838, 0.0, 0.302372, 1.042327] == [round(deviations[name], 6) for name in names]
    assert 1.085 == round(deviations["total"], 3)
    assert [18.4, 20.9, 0.0, 27.9, 96.0] == [round(shares[name], 1) for name in names]
    assert 4 == distinct_categories(categories(variation))


def test_aiag_variances_agree_unrounded() -> None:
    """The pooled model against an independent computation with numpy, to 1e-9."""
    table = pooled_table(anova_table(aiag_readings()))
    variation = variation_of(table)
    interaction = anova_table(aiag_readings()).line("interaction")

    assert 0.039973276353276355 == pytest.approx(variation.repeatability, rel=1e-9)
    assert 0.05145526115859449 == pytest.approx(variation.appraiser, rel=1e-9)
    assert 1.0864466044106784 == pytest.approx(variation.part, rel=1e-9)
    assert 4.860516476621583 == pytest.approx(categories(variation), rel=1e-9)
    assert interaction is not None
    assert 0.43372103013510294 == pytest.approx(interaction.f, rel=1e-9)
    assert 0.9741064043290462 == pytest.approx(interaction.p, rel=1e-9)


def test_aiag_variances_agree_with_interaction_kept() -> None:
    """Expected mean squares of Montgomery and Runger (1993); the interaction's negative estimate counts as 0."""
    variation = variation_of(anova_table(aiag_readings()))

    assert 0.04598222222222223 == pytest.approx(variation.repeatability, rel=1e-9)
    assert 0.0 == variation.interaction
    assert 0.05212292181069958 == pytest.approx(variation.appraiser, rel=1e-9)
    assert 1.0886721399176953 == pytest.approx(variation.part, rel=1e-9)


def test_table_agrees_with_least_squares() -> None:
    """Sums of squares are what each set of columns of a regression takes off: another way to the same table."""
    values = drawn(3, 6, 4, 3)
    index = np.indices(values.shape).reshape(3, -1)
    y = values.reshape(-1)
    part = np.eye(6)[index[0]]
    appraiser = np.eye(4)[index[1]]
    cell = np.eye(24)[index[0] * 4 + index[1]]
    one = np.ones((y.size, 1))

    def rest(*columns: np.ndarray) -> float:
        matrix = np.hstack(columns)
        left = y - matrix @ np.linalg.lstsq(matrix, y, rcond=None)[0]
        return float(left @ left)

    expected = {
        "part": rest(one) - rest(one, part),
        "appraiser": rest(one) - rest(one, appraiser),
        "interaction": rest(one, part, appraiser) - rest(cell),
        "repeatability": rest(cell),
    }

    assert expected == pytest.approx(squares(anova_table(crossed(values))), rel=1e-9)


def test_one_appraiser_gives_the_one_way_table() -> None:
    """An automatic bench has no reproducibility; F is scipy's one-way F."""
    values = drawn(5, 8, 1, 4)
    table = anova_table(crossed(values))
    part = table.line("part")
    expected = stats.f_oneway(*values[:, 0, :])

    assert ["part", "repeatability"] == [line.source for line in table.lines]
    assert part is not None
    assert (expected.statistic, expected.pvalue) == pytest.approx((part.f, part.p), rel=1e-9)
    assert 0.0 == variation_of(table).reproducibility
    assert not may_pool(table)


def test_interaction_is_kept_when_significant() -> None:
    """Readings in which one appraiser reverses the parts must not be pooled."""
    values = drawn(1, 8, 3, 3)
    values[:, 2, :] = 20.0 - values[:, 2, :]

    assert not crossed_study(crossed(values)).pooled


def test_pooling_follows_its_significance() -> None:
    """Pooled is what has a p above the significance, and not what equals it."""
    table = anova_table(crossed(drawn(4, 8, 3, 3)))
    line = table.line("interaction")

    assert line is not None
    assert line.p is not None
    assert not may_pool(table, significance=line.p)
    assert may_pool(table, significance=line.p * 0.999)


def test_digits_common_to_all_readings_do_not_cancel() -> None:
    """A million added to every reading leaves the sums of squares to nine digits."""
    values = np.round(drawn(2, 5, 3, 3), 3)
    plain, shifted = anova_table(crossed(values)), anova_table(crossed(values + 1e6))

    assert squares(plain) == pytest.approx(squares(shifted), rel=1e-7)


SIZES = st.tuples(st.integers(0, 999), st.integers(2, 6), st.integers(1, 4), st.integers(2, 4))


@pytest.mark.slow
@given(SIZES)
def test_sums_of_squares_and_freedom_add_up(size: tuple[int, int, int, int]) -> None:
    """The lines make up the total, pooled or not."""
    table = anova_table(crossed(drawn(*size)))
    for each in (table, pooled_table(table)):
        assert each.total_sum_of_squares == pytest.approx(sum(squares(each).values()), rel=1e-9)
        assert each.total_degrees_of_freedom == sum(line.degrees_of_freedom for line in each.lines)


@pytest.mark.slow
@given(SIZES, st.floats(0.01, 100.0))
def test_deviations_scale_with_the_readings(size: tuple[int, int, int, int], scale: float) -> None:
    """Another unit of measurement changes no per cent and no number of categories."""
    values = drawn(*size)
    one, other = (variation_of(anova_table(crossed(each))) for each in (values, values * scale))

    assert one.gauge * scale**2 == pytest.approx(other.gauge, rel=1e-9)
    assert percent_of_study_variation(one) == pytest.approx(percent_of_study_variation(other), abs=1e-6)


@given(SIZES)
def test_order_of_parts_and_appraisers_does_not_matter(size: tuple[int, int, int, int]) -> None:
    """Reversing both leaves the variances."""
    values = drawn(*size)
    one, other = (variation_of(anova_table(crossed(each))) for each in (values, values[::-1, ::-1, ::-1]))

    assert one.gauge == pytest.approx(other.gauge, rel=1e-9)
    assert one.part == pytest.approx(other.part, rel=1e-9)


@given(SIZES)
def test_shares_of_variance_add_up_to_a_hundred(size: tuple[int, int, int, int]) -> None:
    """By variance the parts add up; by standard deviation they don't."""
    shares = percent_of_variance(variation_of(anova_table(crossed(drawn(*size)))))

    assert 100.0 == pytest.approx(shares["repeatability"] + shares["reproducibility"] + shares["part"])


def test_percent_of_tolerance_is_six_deviations() -> None:
    """AIAG, 4th edition: 100 x 6 GRR / tolerance."""
    variation = crossed_study(aiag_readings()).model.variation
    share = percent_of_tolerance(variation, 8.0)["repeatability_and_reproducibility"]

    assert 100.0 * 6.0 * 0.30237152232290465 / 8.0 == pytest.approx(share, rel=1e-9)


@pytest.mark.parametrize("tolerance", [0.0, -1.0, float("nan"), float("inf")])
def test_tolerance_that_is_no_width_is_refused(tolerance: float) -> None:
    """Nothing is divided by it."""
    with pytest.raises(ValueError, match="width above 0"):
        crossed_study(aiag_readings(), tolerance=tolerance)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        (np.ones((5, 3, 3)), "all 45 readings are the same"),
        (np.repeat(np.arange(15.0).reshape(5, 3, 1), 3, axis=2), "resolution is too coarse"),
        (np.zeros((1, 3, 3)), "2 parts"),
        (np.zeros((5, 3, 1)), "2 trials"),
        (np.full((5, 3, 3), np.nan), "finite"),
        (np.arange(45.0).reshape(5, 3, 3) * 1e-200, "too little to square"),
    ],
)
def test_readings_without_a_study_are_refused(values: np.ndarray, words: str) -> None:
    """Too few, without variation, or not numbers: the message says which."""
    with pytest.raises(StudyDataError, match=words):
        crossed(values)


def test_parts_that_are_all_alike_are_one_category() -> None:
    """Where parts don't differ the gauge tells one category."""
    values = np.random.default_rng(8).normal(0.0, 1.0, (5, 2, 3))
    values -= values.mean(axis=(1, 2), keepdims=True)

    assert 1 == distinct_categories(categories(variation_of(anova_table(crossed(values)))))


def test_names_that_do_not_fit_the_values_are_refused() -> None:
    """Three names for five parts."""
    with pytest.raises(StudyDataError, match="shape"):
        CrossedReadings(("1", "2", "3"), ("A",), np.arange(10.0).reshape(5, 1, 2))


@pytest.mark.parametrize("tolerance", [0.0, -1.0, float("inf")])
def test_percent_of_no_tolerance_is_refused(tolerance: float) -> None:
    """A width above 0, and finite."""
    with pytest.raises(ValueError, match="width above 0"):
        percent_of_tolerance(variation_of(anova_table(aiag_readings())), tolerance)
