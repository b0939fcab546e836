"""The estimator: exact without noise, honest with it, and awake to residuals that hang together."""

import numpy as np
import pytest

from station.coil.heating import Drive, ThermalModel, heating_curve_k, steady_state
from station.heating_fit.estimator import ThermalEstimator, noise_factor
from station.heating_fit.study import predict

AMBIENT_DEGC = 23.0
R20_OHM = 16.5
DRIVE = Drive(voltage_v=2.5)
ONE = ThermalModel((70.0,), (15.0,))
TWO = ThermalModel((20.0, 50.0), (1.4, 15.0))


def _fed(
    model: ThermalModel, *, until_s: float, noise_k: float = 0.0, offset_k: float = 0.0, offset_known: bool = True
) -> ThermalEstimator:
    times = np.arange(0.0, until_s, 0.2)
    rises = heating_curve_k(times, R20_OHM, DRIVE, model, AMBIENT_DEGC)
    power = DRIVE.power_w(R20_OHM * (234.5 + AMBIENT_DEGC + rises) / 254.5)
    noise = noise_k * np.random.default_rng(7).standard_normal(len(times))
    estimator = ThermalEstimator(offset_uncertainty_k=0.0 if offset_known else 1.0)
    for time, watts, rise in zip(times, power, rises + noise + offset_k, strict=True):
        estimator.add(float(time), float(watts), float(rise))
    return estimator


@pytest.mark.parametrize("model", [ONE, TWO])
def test_estimate_without_noise_gives_the_thermal_resistance(model: ThermalModel) -> None:
    """Two time constants in, 70 K/W out; the tolerance is what the grid of time constants costs."""
    estimate = _fed(model, until_s=30.0).estimate()

    assert estimate is not None
    assert 70.0 == pytest.approx(estimate.thermal_resistance_k_per_w, rel=3e-3)


@pytest.mark.parametrize("model", [ONE, TWO])
def test_prediction_covers_the_steady_rise(model: ThermalModel) -> None:
    """With 0.1 K of noise the truth lies within three stated standard uncertainties."""
    truth_k = steady_state(R20_OHM, DRIVE, 70.0, AMBIENT_DEGC).rise_k
    prediction = predict(_fed(model, until_s=26.0, noise_k=0.1), R20_OHM, DRIVE, AMBIENT_DEGC)

    assert prediction is not None
    assert abs(prediction[0] - truth_k) < 3 * prediction[1]


def test_estimate_states_the_noise_of_the_data() -> None:
    """Nobody tells the estimator the noise level; it reads it off the residuals, within 20 %."""
    estimate = _fed(ONE, until_s=30.0, noise_k=0.25).estimate()

    assert estimate is not None
    assert 0.25 == pytest.approx(estimate.noise_k, rel=0.2)


def test_estimate_names_the_time_constant() -> None:
    """Shares times time constants: 15 s for one term."""
    estimate = _fed(ONE, until_s=40.0, noise_k=0.05).estimate()

    assert estimate is not None
    assert 15.0 == pytest.approx(estimate.time_constant_s, rel=0.03)


def test_estimate_with_unknown_zero_is_not_shifted_by_it() -> None:
    """A cold reading that was 0.5 K wrong moves no result when its uncertainty is stated."""
    estimate = _fed(ONE, until_s=40.0, offset_k=0.5, offset_known=False).estimate()

    assert estimate is not None
    assert 70.0 == pytest.approx(estimate.thermal_resistance_k_per_w, rel=5e-3)


def test_estimate_finds_the_zero_that_was_wrong() -> None:
    """The cold reading, extrapolated back to switching on: 0.5 K, within three stated standard uncertainties."""
    estimate = _fed(ONE, until_s=40.0, noise_k=0.05, offset_k=0.5, offset_known=False).estimate()

    assert estimate is not None
    assert abs(estimate.offset_k - 0.5) < 3 * estimate.offset_uncertainty_k
    assert estimate.offset_uncertainty_k < 0.2


@pytest.mark.parametrize("slope", [0.0, -0.1])
def test_coil_that_does_not_heat_is_never_foretold(slope: float) -> None:
    """Readings that stand still or fall under power fit no thermal resistance: infinitely uncertain, not sure."""
    estimator = ThermalEstimator()
    for sample in range(200):
        estimator.add(0.2 * sample, 0.3, slope * sample)
    estimate = estimator.estimate()
    prediction = predict(estimator, R20_OHM, DRIVE, AMBIENT_DEGC)

    assert estimate is not None
    assert np.isinf(estimate.standard_uncertainty_k_per_w)
    assert prediction is not None
    assert not np.isfinite(prediction[1])


def test_uncertainty_falls_as_the_curve_climbs() -> None:
    """Later is surer."""
    early, late = (_fed(TWO, until_s=until_s, noise_k=0.1).estimate() for until_s in (15.0, 30.0))

    assert early is not None
    assert late is not None
    assert early.standard_uncertainty_k_per_w > 3 * late.standard_uncertainty_k_per_w


def test_estimate_waits_for_enough_samples() -> None:
    """Two dozen samples are no curve."""

    assert _fed(ONE, until_s=4.0).estimate() is None


def test_add_refuses_time_that_stands_still() -> None:
    """A stalled clock must not look like a coil at rest."""
    estimator = ThermalEstimator()
    estimator.add(1.0, 0.2, 0.0)

    with pytest.raises(ValueError, match="ascend"):
        estimator.add(1.0, 0.2, 0.1)


def test_noise_factor_of_independent_residuals_is_one() -> None:
    """What is within chance counts as none."""

    assert 1.0 == noise_factor(np.random.default_rng(1).standard_normal(400))


def test_noise_factor_of_autoregressive_residuals() -> None:
    """(1 + r) / (1 - r) with r = 0.6 is 4: Box and Jenkins; within what 4000 samples tell."""
    shocks = np.random.default_rng(2).standard_normal(4000)
    chain = np.zeros(4000)
    for index in range(1, 4000):
        chain[index] = 0.6 * chain[index - 1] + shocks[index]

    assert 4.0 == pytest.approx(noise_factor(chain), rel=0.15)
