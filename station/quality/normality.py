"""Are the values normal? Anderson and Darling's test, mean and standard deviation from the values."""

import math
from dataclasses import dataclass

import numpy as np

from station.quality.sample import Sample

LEAST_VALUES = 8


@dataclass(frozen=True, slots=True)
class Normality:
    """Result of the test. A large `p` proves nothing with few values: then nearly anything looks normal."""

    statistic: float
    """A^2."""
    adjusted: float
    """A^2 (1 + 0.75/n + 2.25/n^2)."""
    p: float
    significance: float
    population: str

    @property
    def accepted(self) -> bool:
        """Whether the test does not speak against a normal distribution."""
        return self.p >= self.significance


def normality_test(sample: Sample, *, significance: float = 0.05) -> Normality:
    """Return the Anderson-Darling test of normality (Stephens, in D'Agostino and Stephens 1986, table 4.9).

    Raises StudyDataError below 8 values, or if all are the same.
    """
    from scipy.special import log_ndtr

    sample.need(LEAST_VALUES, "a test of normality")
    z = np.sort(sample.values - sample.values.mean()) / sample.values.std(ddof=1)
    statistic = float(anderson_darling(log_ndtr(z), log_ndtr(-z)))
    n = sample.size
    adjusted = statistic * (1.0 + 0.75 / n + 2.25 / n**2)
    return Normality(statistic, adjusted, normality_p(adjusted), significance, sample.population)


def anderson_darling(log_below: np.ndarray, log_above: np.ndarray) -> np.ndarray:
    """Return A^2 from ln F and ln (1 - F) of ascending values, shape (..., N) to (...)."""
    n = log_below.shape[-1]
    weights = 2.0 * np.arange(1, n + 1) - 1.0
    return -n - ((log_below + log_above[..., ::-1]) @ weights) / n


def normality_p(adjusted: float) -> float:
    """Return p of the adjusted statistic (D'Agostino and Stephens 1986, table 4.9): 0.752 is 5 %."""
    a = adjusted
    if a < 0.2:
        return 1.0 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)
    if a < 0.34:
        return 1.0 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    if a < 0.6:
        return math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    # The parabola turns up again beyond its range (13): there is nothing left to tell.
    return math.exp(1.2937 - 5.709 * a + 0.0186 * a * a) if a < 13.0 else 0.0
