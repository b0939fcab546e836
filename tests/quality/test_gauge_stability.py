"""Stability over occasions."""

import numpy as np
import pytest

from station.quality.gauge_stability import stability_study
from station.quality.readings import StudyDataError
from tests.quality.published import FLOW_RATES
from tests.quality.published_process import PISTON_RINGS


def test_piston_rings_have_the_printed_limits() -> None:
    """Montgomery, piston rings, 25 samples of 5; limits as printed by an independent program."""
    study = stability_study(np.array(PISTON_RINGS))

    assert 74.00118 == round(study.centre, 5)
    assert 0.02276 == pytest.approx(study.mean_range, abs=6e-6)
    assert (73.98805, 74.0143) == pytest.approx((study.lower, study.upper), abs=6e-5)
    assert () == study.outside


def test_flow_rates_have_the_printed_limits() -> None:
    """NIST/SEMATECH e-Handbook, 6.3.2.2: one reading an occasion, d2 = 1.128."""
    study = stability_study(np.array(FLOW_RATES)[:, None])

    assert (50.81, 1.8778) == (round(study.centre, 4), round(study.mean_range, 4))
    assert (45.8159, 55.8041) == (round(study.lower, 4), round(study.upper, 4))


def test_jump_lies_outside() -> None:
    """One occasion far off is named."""
    values = np.array(PISTON_RINGS)
    values[7] += 0.05

    assert (7,) == stability_study(values).outside


def test_drift_is_found() -> None:
    """A slope of 0.01 an occasion under noise of 0.02, in 25 occasions, is beyond chance."""
    noise = np.random.default_rng(6).normal(0.0, 0.02, (25, 3))
    study = stability_study(noise + 0.01 * np.arange(25)[:, None])

    assert 0.01 == pytest.approx(study.drift_per_occasion, abs=0.002)
    assert study.drift_p < 1e-6


@pytest.mark.parametrize(("values", "words"), [(np.ones((9, 2)), "10 occasions"), (np.ones((12, 3)), "don't vary")])
def test_readings_without_a_study_are_refused(values: np.ndarray, words: str) -> None:
    """Too few, or without variation."""
    with pytest.raises(StudyDataError, match=words):
        stability_study(values)
