"""Thermal resistance of a coil from the first part of its heating curve."""

from dataclasses import dataclass

import numpy as np

from station.heating_fit.candidates import Candidates, candidates
from station.heating_fit.posterior import Posterior, normal_equations, posterior
from station.heating_fit.responses import FloatArray, ResponseBank

FEWEST_SAMPLES = 25
"""Below this nothing is estimated: noise and model could not be told apart."""

FULL_SURVEY_EVERY = 12
"""Every so many estimates all candidates are looked at again; between, those that had any weight."""

WIDENING = 1.04
"""What standard uncertainties are widened by, so that stated intervals cover 95 % over the families of the soak
table: there the posterior has a longer tail on one side than a normal distribution (found by trial)."""

_WITHOUT_WEIGHT = -14.0
"""Logarithmic weight below which a candidate is left out until the next full survey."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """What the curve so far says.

    `thermal_resistance_k_per_w` is that of the steady state, with its standard uncertainty;
    `time_constant_s` is the mean of the terms' time constants, weighted with their shares, with its standard
    uncertainty; `offset_k` is what the rises were off by from the start (0 if their zero was known);
    `noise_k` is the standard deviation of one rise, from the residuals; `noise_factor` is by what its square
    counts more because residuals hang together.
    """

    thermal_resistance_k_per_w: float
    standard_uncertainty_k_per_w: float
    time_constant_s: float
    time_constant_uncertainty_s: float
    offset_k: float
    offset_uncertainty_k: float
    noise_k: float
    noise_factor: float
    samples: int


class ThermalEstimator:
    """Takes power and rise sample by sample; estimates when asked, cheaply. About once a second is enough."""

    def __init__(
        self, *, shortest_s: float = 0.5, longest_s: float = 30.0, offset_uncertainty_k: float = 0.0
    ) -> None:
        """Prepare for a coil that starts in equilibrium.

        Args:
            shortest_s: shortest time constant thought possible, in s.
            longest_s: longest one, in s. What is slower can't be seen by an early stop: audits find it.
            offset_uncertainty_k: standard uncertainty of the rises' zero, in K; 0: known.
        """
        self._candidates: Candidates = candidates(shortest_s, longest_s)
        self._bank = ResponseBank(self._candidates.time_constants_s)
        self._offset_uncertainty_k = offset_uncertainty_k
        self._active: np.ndarray = np.arange(len(self._candidates.first))
        self._surveys = 0
        self._noise_factor = 1.0
        self._variance_k2 = 0.0

    def add(self, time_s: float, power_w: float, rise_k: float) -> None:
        """Take one sample; the first is the moment of switching on. Raises `ValueError` if time stands still."""
        self._bank.add(time_s, power_w, rise_k)

    def switch_power(self, time_s: float, power_w: float) -> None:
        """Note that the power was as before up to `time_s`, and is `power_w` from then on."""
        self._bank.switch_power(time_s, power_w)

    def next_level(self, time_s: float, power_w: float, *, offset_uncertainty_k: float) -> None:
        """Begin a further drive level at `time_s`, the coil being as warm as the levels before left it.

        The readings of earlier levels are forgotten: what cools the coil changes with its temperature.
        """
        self._bank.switch_power(time_s, power_w)
        self._bank.forget_rises()
        self._offset_uncertainty_k = offset_uncertainty_k
        self._surveys, self._noise_factor, self._variance_k2 = 0, 1.0, 0.0

    def estimate(self) -> Estimate | None:
        """Return what the samples so far say; None before there are enough."""
        self._bank.settle_accounts()
        if self._bank.count < FEWEST_SAMPLES:
            return None
        if self._surveys % FULL_SURVEY_EVERY == 0:
            self._active = np.arange(len(self._candidates.first))
        self._surveys += 1
        found = self._survey()
        self._variance_k2 = found.variance_k2
        residuals = self._residuals(found)
        self._noise_factor = noise_factor(residuals)
        self._active = self._active[found.log_weight > _WITHOUT_WEIGHT]
        return Estimate(
            found.mean_k_per_w,
            WIDENING * float(np.sqrt(found.variance_k2_per_w2)),
            found.time_constant_s,
            WIDENING * float(np.sqrt(found.time_constant_variance_s2)),
            found.offset_k,
            WIDENING * float(np.sqrt(found.offset_variance_k2)),
            float(np.sqrt(found.variance_k2 / self._noise_factor)),
            self._noise_factor,
            self._bank.count,
        )

    def _survey(self) -> Posterior:
        chosen = self._active
        pool = self._candidates
        first, second = pool.first[chosen], pool.second[chosen]
        return posterior(
            normal_equations(self._bank, first, second, self._offset_weight()),
            pool.log_prior[chosen],
            pool.time_constants_s[first],
            pool.time_constants_s[second],
            count=self._bank.count,
            noise_factor=self._noise_factor,
        )

    def _residuals(self, found: Posterior) -> FloatArray:
        index = self._active[found.best]
        pool = self._candidates
        return self._bank.residuals(int(pool.first[index]), int(pool.second[index]), found.best_weights)

    def _offset_weight(self) -> float:
        if not self._offset_uncertainty_k:
            return 0.0
        return 1.0 / (self._bank.count + self._variance_k2 / self._offset_uncertainty_k**2)


def noise_factor(residuals: FloatArray) -> float:
    """Return by what the variance of a mean is larger than for independent residuals: (1 + r) / (1 - r).

    r is the correlation of neighbours, counted only where it is beyond chance (2 / sqrt n). Source: a
    first-order autoregressive process (Box and Jenkins, Time Series Analysis); common practice.
    """
    centred = residuals - residuals.mean()
    power = float(centred @ centred)
    if power <= 0.0:
        return 1.0
    correlation = float(centred[1:] @ centred[:-1]) / power
    if correlation <= 2.0 / np.sqrt(len(residuals)):
        return 1.0
    bounded = min(correlation, 0.95)
    return (1.0 + bounded) / (1.0 - bounded)
