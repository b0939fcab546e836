"""Crossed studies by average and range, and the range factors."""

import pytest

from station.quality.gauge_average_range import average_range
from station.quality.ranges import range_factor, range_moments
from station.quality.readings import CrossedReadings
from station.quality.variation import (
    categories,
    distinct_categories,
    percent_of_study_variation,
    standard_deviations,
)
from tests.quality.published import aiag_readings


def test_aiag_report_agrees_unrounded() -> None:
    """AIAG MSA, 4th edition, report form, without rounding between steps: recomputed with numpy, to 1e-9."""
    form = average_range(aiag_readings())
    deviations = standard_deviations(form.variation)

    assert 0.2018566666666667 == pytest.approx(deviations["repeatability"], rel=1e-9)
    assert 0.22966702910320377 == pytest.approx(deviations["appraiser"], rel=1e-9)
    assert 0.3057663456544386 == pytest.approx(deviations["repeatability_and_reproducibility"], rel=1e-9)
    assert 1.1045955555555556 == pytest.approx(deviations["part"], rel=1e-9)
    assert 1.1461345468521382 == pytest.approx(deviations["total"], rel=1e-9)
    assert 5.093692472923481 == pytest.approx(categories(form.variation), rel=1e-9)


def test_aiag_report_has_its_printed_inputs_and_per_cents() -> None:
    """R, X_diff and R_p have every printed digit; per cents agree to 0.02, as the form rounds R to 0.3417 first."""
    form = average_range(aiag_readings())
    shares = percent_of_study_variation(form.variation)
    printed = {
        "repeatability": 17.62,
        "appraiser": 20.04,
        "repeatability_and_reproducibility": 26.68,
        "part": 96.38,
    }

    assert (0.3417, 0.4447, 3.511) == (
        round(form.mean_range, 4),
        round(form.appraiser_difference, 4),
        round(form.part_range, 3),
    )
    assert (0.5908, 0.5231, 0.3146) == (form.k1, form.k2, form.k3)
    assert printed == pytest.approx({name: shares[name] for name in printed}, abs=0.02)
    assert 5 == distinct_categories(categories(form.variation))


def test_aiag_rounding_between_steps_explains_the_printed_last_digits() -> None:
    """EV and AV as printed, 0.20188 and 0.22963, come of R = 0.3417 and X_diff = 0.4447 rounded first."""
    form = average_range(aiag_readings())
    repeatability = round(form.mean_range, 4) * form.k1
    appraiser = ((round(form.appraiser_difference, 4) * (form.k2 or 0.0)) ** 2 - repeatability**2 / 30.0) ** 0.5

    assert 0.20188 == round(repeatability, 5)
    assert 0.22963 == pytest.approx(appraiser, abs=6e-5)


def test_one_appraiser_has_no_reproducibility() -> None:
    """Nothing to compare, so nothing is claimed."""
    readings = aiag_readings()
    form = average_range(CrossedReadings(readings.parts, ("A",), readings.values[:, :1, :]))

    assert (None, 0.0) == (form.k2, form.variation.reproducibility)


@pytest.mark.parametrize(("trials", "printed"), [(2, 0.8862), (3, 0.5908)])
def test_k1_is_the_printed_one(trials: int, printed: float) -> None:
    """AIAG MSA, 4th edition, report form (K1 of 2 trials from memory)."""
    assert printed == range_factor(trials, 30)


@pytest.mark.parametrize(
    ("size", "printed"),
    [
        (2, 0.7071),
        (3, 0.5231),
        (4, 0.4467),
        (5, 0.4030),
        (6, 0.3742),
        (7, 0.3534),
        (8, 0.3375),
        (9, 0.3249),
        (10, 0.3146),
    ],
)
def test_k2_and_k3_are_the_printed_ones(size: int, printed: float) -> None:
    """AIAG MSA, 4th edition, report form (K2(3) and K3(10) seen, the rest from memory)."""
    assert printed == range_factor(size, 1)


@pytest.mark.parametrize(("size", "d2", "d3"), [(2, 1.1284, 0.8525), (5, 2.3259, 0.8641), (10, 3.0775, 0.7971)])
def test_range_moments_are_the_printed_ones(size: int, d2: float, d3: float) -> None:
    """ASTM E2587, Table 1, to four decimals."""
    assert (d2, d3) == tuple(round(each, 4) for each in range_moments(size))


def test_range_moments_of_two_have_a_closed_form() -> None:
    """d2 = 2 / sqrt(pi), d3^2 = 2 - 4 / pi."""
    mean, deviation = range_moments(2)

    assert (2.0 / 3.141592653589793**0.5, (2.0 - 4.0 / 3.141592653589793) ** 0.5) == pytest.approx(
        (mean, deviation), abs=1e-9
    )


def test_range_of_one_value_is_refused() -> None:
    """There is none."""
    with pytest.raises(ValueError, match="two values"):
        range_moments(1)
