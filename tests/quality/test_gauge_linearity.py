"""Linearity and bias over the measuring range."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.quality.gauge_linearity import Linearity, linearity_study
from station.quality.readings import StudyDataError
from tests.quality.published import AIAG_LINEARITY


def aiag() -> Linearity:
    """AIAG's study."""
    references = [reference for reference, values in AIAG_LINEARITY.items() for _ in values]
    return linearity_study(references, [value for values in AIAG_LINEARITY.values() for value in values])


def drawn(seed: int, slope: float, offset: float, spread: float) -> tuple[list[float], list[float]]:
    """Readings of five parts, ten each, with a linear bias."""
    rng = np.random.default_rng(seed)
    references = np.repeat([2.0, 4.0, 6.0, 8.0, 10.0], 10)
    values = references + offset + slope * references + rng.normal(0.0, spread, 50)
    return references.tolist(), values.tolist()


def test_aiag_linearity_has_every_printed_digit() -> None:
    """AIAG MSA, 4th edition, Table III-B 5 and Figure III-B 3."""
    study = aiag()

    assert (-0.131667, 0.736667) == (round(study.slope, 6), round(study.intercept, 6))
    assert (0.714, 12.043, 10.158) == (
        round(study.r_squared, 3),
        round(abs(study.slope_t), 3),
        round(study.intercept_t, 3),
    )
    assert (58, 2.00172) == (study.degrees_of_freedom, round(study.t_critical, 5))
    assert 0.24 == round(study.deviation_about_line, 2)
    assert [0.491667, 0.125, 0.025, -0.291667, -0.616667] == [
        round(bias, 6) for bias in study.bias_by_reference.values()
    ]
    assert not study.zero_within_band


def test_aiag_biases_are_tested_one_by_one() -> None:
    """Each reference value has its own t test of bias."""
    biases = aiag().biases

    assert [2.0, 4.0, 6.0, 8.0, 10.0] == [bias.reference for bias in biases]
    assert [True, False, False, True, True] == [bias.significant for bias in biases]


def test_line_is_scipys() -> None:
    """Slope, intercept, their errors and p as scipy's regression has them."""
    references, values = drawn(4, 0.03, -0.1, 0.2)
    study = linearity_study(references, values)
    expected = stats.linregress(references, np.array(values) - np.array(references))

    assert (expected.slope, expected.intercept, expected.stderr, expected.intercept_stderr) == pytest.approx(
        (study.slope, study.intercept, study.slope_error, study.intercept_error), rel=1e-9
    )
    assert (expected.pvalue, expected.rvalue**2) == pytest.approx((study.slope_p, study.r_squared), rel=1e-9)


@pytest.mark.slow
@given(st.integers(0, 999), st.floats(-0.05, 0.05), st.floats(-0.3, 0.3))
def test_zero_is_within_the_band_as_a_fine_grid_says(seed: int, slope: float, offset: float) -> None:
    """The closed form agrees with looking at 2,001 places, but for zero that only just touches the band."""
    study = linearity_study(*drawn(seed, slope, offset, 0.2))
    line, half = study.band(np.linspace(2.0, 10.0, 2001))
    margin = float((half - np.abs(line)).min())

    if abs(margin) > 1e-6:
        assert (margin > 0.0) == study.zero_within_band


def test_band_at_the_references_is_the_band() -> None:
    """Two ways to the same numbers."""
    study = aiag()
    line, half = study.band(study.references)

    np.testing.assert_allclose(study.band_low, line - half)
    np.testing.assert_allclose(study.band_high, line + half)


@pytest.mark.parametrize(
    ("references", "values", "words"),
    [
        ([1.0] * 5 + [2.0] * 5, [float(i) for i in range(10)], "3 reference values"),
        ([1.0, 1.0, 2.0, 2.0, 3.0], [1.0, 1.1, 2.0, 2.1, 3.0], "2 readings each"),
        ([1.0, 1.0, 2.0, 2.0, 3.0, 3.0], [1.5, 1.5, 2.5, 2.5, 3.5, 3.5], "scatter"),
    ],
)
def test_readings_without_a_study_are_refused(references: list[float], values: list[float], words: str) -> None:
    """Too few, or computed ones."""
    with pytest.raises(StudyDataError, match=words):
        linearity_study(references, values)
