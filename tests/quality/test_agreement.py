"""Agreement of two sides' readings of the same units."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from station.quality.agreement import COPPER_ALPHA20_PER_K, Side, agreement
from station.quality.readings import StudyDataError
from tests.quality.published import PEAK_FLOW_LARGE, PEAK_FLOW_MINI


def drawn(seed: int, *, bias: float = 0.0, count: int = 30) -> tuple[list[float], list[float]]:
    """Resistances of units near 8 ohm, read by two benches."""
    rng = np.random.default_rng(seed)
    true = rng.normal(8.0, 0.3, count)
    return (true + rng.normal(0.0, 0.01, count)).tolist(), (true + bias + rng.normal(0.0, 0.01, count)).tolist()


def test_peak_flow_meters_have_the_printed_limits() -> None:
    """Bland and Altman 1986: mean difference -2.1, s = 38.8, limits -79.7 and 75.5 l/min with 2 s (all printed)."""
    study = agreement(PEAK_FLOW_MINI, PEAK_FLOW_LARGE, factor=2.0)

    assert (-2.1, 38.8) == (round(study.bias, 1), round(study.standard_deviation, 1))
    assert (-79.7, 75.5) == pytest.approx((study.lower, study.upper), abs=0.1)


def test_peak_flow_bias_has_the_printed_interval() -> None:
    """Bland and Altman 1986: -22.0 to 17.8 l/min."""
    study = agreement(PEAK_FLOW_MINI, PEAK_FLOW_LARGE)

    assert (-22.0, 17.8) == pytest.approx(study.bias_interval, abs=0.1)


def test_intervals_of_limits_are_near_bland_and_altmans() -> None:
    """Their standard error sqrt(3 s2 / n) is for large n: with 400 units within 4 % of the exact width."""
    study = agreement(*drawn(2, count=400))
    half = stats.t.ppf(0.975, 399) * (3.0 / 400.0) ** 0.5 * study.standard_deviation
    low, high = study.upper_interval

    assert 2.0 * half == pytest.approx(high - low, rel=0.04)


def test_intervals_of_limits_cover_what_they_say() -> None:
    """2,000 samples of 10 units: the 95 % interval holds the true limit in 93 to 97 % (four standard errors)."""
    rng = np.random.default_rng(11)
    factor = agreement(*drawn(1, count=10))
    near, far = ((end - factor.bias) / factor.standard_deviation for end in factor.upper_interval)
    samples = rng.normal(0.0, 1.0, (2000, 10))
    mean, s = samples.mean(axis=1), samples.std(axis=1, ddof=1)
    held = np.mean((mean + near * s <= 1.96) & (mean + far * s >= 1.96))

    assert 0.95 == pytest.approx(held, abs=0.02)


def test_unknown_temperature_widens_the_bias_by_copper() -> None:
    """+-3 K of 8 ohm is 0.39 %/K x 3 K x 8 ohm / sqrt(3), the same for every unit: no count of units averages it."""
    first, second = drawn(3, bias=0.05, count=200)
    study = agreement(first, second, sides=(Side("bench-1"), Side("maker", temperature_half_width_k=3.0)))
    term = study.terms[-1]

    assert "temperature of maker" == term.name
    assert 0.0039 * 3.0 * 8.0 / 3.0**0.5 == pytest.approx(term.standard_uncertainty, rel=0.02)
    assert study.explained
    assert not agreement(first, second).explained


def test_copper_is_0_39_percent_a_kelvin() -> None:
    """IEEE Std 118: 1 / (234.5 + 20)."""
    assert 0.00393 == round(COPPER_ALPHA20_PER_K, 5)


@pytest.mark.slow
@given(st.integers(0, 99), st.floats(0.0, 10.0), st.floats(0.0, 10.0))
def test_wider_temperature_never_narrows_the_uncertainty(seed: int, one: float, more: float) -> None:
    """U(bias) grows with what is unknown."""
    narrow, wide = (
        agreement(*drawn(seed), sides=(Side("a"), Side("b", temperature_half_width_k=width))).bias_expanded
        for width in (one, one + more)
    )

    assert narrow <= wide * (1.0 + 1e-9)


@given(st.integers(0, 99))
def test_swapping_the_sides_mirrors_the_study(seed: int) -> None:
    """The difference changes its sign, nothing else."""
    first, second = drawn(seed, bias=0.02)
    one, other = agreement(first, second), agreement(second, first)

    assert (one.bias, one.lower, one.upper) == pytest.approx((-other.bias, -other.upper, -other.lower))
    assert one.upper_interval == pytest.approx((-other.lower_interval[1], -other.lower_interval[0]))


def test_bias_that_grows_with_the_value_is_seen() -> None:
    """A gain error of 1 % shows as slope, not only as bias."""
    first, _ = drawn(5)
    second = [1.01 * value for value in first]
    study = agreement(first, second)

    assert 0.01 == pytest.approx(study.slope, rel=0.01)
    assert study.slope_p < 1e-6


@pytest.mark.parametrize(
    ("first", "second", "words"),
    [
        ([1.0, 2.0], [1.0, 2.1], "3 units"),
        ([1.0, 2.0, 3.0], [1.0, 2.0], "read by both"),
        ([1.0, 2.0, 3.0], [1.5, 2.5, 3.5], "same amount"),
    ],
)
def test_readings_without_a_study_are_refused(first: list[float], second: list[float], words: str) -> None:
    """Too few, unpaired, or computed from each other."""
    with pytest.raises(StudyDataError, match=words):
        agreement(first, second)


def test_calibration_of_a_side_widens_the_bias() -> None:
    """In root sum of squares with the scatter."""
    first, second = drawn(6)
    plain = agreement(first, second)
    found = agreement(first, second, sides=(Side("bench-1", systematic_u=0.02), Side("bench-2")))

    assert (plain.bias_u**2 + 0.02**2) ** 0.5 == pytest.approx(found.bias_u)
    assert "calibration of bench-1" == found.terms[-1].name


def test_units_that_are_all_alike_have_no_slope() -> None:
    """Nothing to draw a line through."""
    study = agreement([8.0, 8.1, 7.9], [8.0, 7.9, 8.1])

    assert (0.0, 1.0) == (study.slope, study.slope_p)
