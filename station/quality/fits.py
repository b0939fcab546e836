"""Distributions fitted to values: by mean, standard deviation, and skewness or mean absolute deviation.

Moments, not likelihood: a shifted distribution's likelihood has no maximum for some samples, and bounds need
thousands of fits. The Anderson-Darling statistic, which minds the tails, chooses, and says how well the choice fits.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from station.quality.normality import anderson_darling
from station.quality.sample import Sample

LEAST_SKEWNESS = 0.02
"""Below, a skewed family is taken with this skewness: it is the normal distribution then, and keeps its digits."""

_TINY = 1e-300
_SIMULATED_SIZE = 500
_SIMULATIONS = 400
_SEED = 2641


@dataclass(frozen=True, slots=True)
class Fit:
    """A fitted distribution."""

    family: str
    mean: float
    deviation: float
    shape: float
    """Skewness, or the degrees of freedom of `Student t`; 0 for `normal`."""
    statistic: float
    """Anderson-Darling A^2 of the values against it; small is good."""
    p: float | None
    """Share of samples from the fit itself that fit worse, by simulation; None where it was not asked for."""
    population: str

    def quantile(self, share: float) -> float:
        """Return the value below which `share` of the distribution lies."""
        standard = FAMILIES[self.family].quantile(np.array([share]), np.array([self.shape]))
        return self.mean + self.deviation * float(standard.item())

    def share_below(self, value: float) -> float:
        """Return the share of the distribution below `value`."""
        z = np.array([[(value - self.mean) / self.deviation]])
        return float(FAMILIES[self.family].share(z, np.array([[self.shape]])).item())


@dataclass(frozen=True, slots=True)
class Family:
    """A family of standardised distributions (mean 0, standard deviation 1) with one shape. Functions broadcast."""

    share: Callable[[np.ndarray, np.ndarray], np.ndarray]
    quantile: Callable[[np.ndarray, np.ndarray], np.ndarray]
    shape: Callable[[np.ndarray], np.ndarray]
    """From standardised values (..., N) to the shape (...); NaN where the family can't have it."""


def fit_all(sample: Sample) -> tuple[Fit, ...]:
    """Return the fits of all families, best first; `p` is worked out for the first only.

    Raises StudyDataError below 8 values, or if all are the same.
    """
    sample.need(8, "a distribution fit")
    ordered = np.sort(sample.values)
    fits = [fit for name in FAMILIES if (fit := _fit(name, ordered, sample.population)) is not None]
    best, *others = sorted(fits, key=lambda fit: fit.statistic)
    return (_with_p(best, sample.size), *others)


def standard_quantiles(family: str, values: np.ndarray, share: float) -> np.ndarray:
    """Return quantile estimates at `share` of rows of values (rows, N) fitted by `family`: shape (rows,)."""
    mean, deviation = values.mean(axis=-1), values.std(axis=-1, ddof=1)
    z = (values - mean[:, None]) / deviation[:, None]
    member = FAMILIES[family]
    return mean + deviation * member.quantile(np.array(share), member.shape(z))


def _fit(name: str, ordered: np.ndarray, population: str) -> Fit | None:
    mean, deviation = float(ordered.mean()), float(ordered.std(ddof=1))
    z = (ordered - mean) / deviation
    shape = float(FAMILIES[name].shape(z))
    if math.isnan(shape):
        return None
    return Fit(name, mean, deviation, shape, float(_statistic(name, z, np.array(shape))), None, population)


def _statistic(name: str, z: np.ndarray, shape: np.ndarray) -> np.ndarray:
    below = FAMILIES[name].share(z, shape[..., None])
    return anderson_darling(np.log(np.maximum(below, _TINY)), np.log(np.maximum(1.0 - below, _TINY)))


def _with_p(fit: Fit, size: int) -> Fit:
    """A^2 with fitted parameters hardly depends on n above 100, so large samples are simulated at 500."""
    member = FAMILIES[fit.family]
    n = min(size, _SIMULATED_SIZE)
    uniform = np.random.default_rng(_SEED).random((_SIMULATIONS, n))
    drawn = np.sort(member.quantile(uniform, np.array(fit.shape)), axis=1)
    z = (drawn - drawn.mean(axis=1, keepdims=True)) / drawn.std(axis=1, ddof=1, keepdims=True)
    shape = member.shape(z)
    usable = ~np.isnan(shape)
    statistics = _statistic(fit.family, z[usable], shape[usable])
    p = (1 + int((statistics >= fit.statistic).sum())) / (1 + int(usable.sum()))
    return Fit(fit.family, fit.mean, fit.deviation, fit.shape, fit.statistic, p, fit.population)


def _no_shape(z: np.ndarray) -> np.ndarray:
    return np.zeros(z.shape[:-1])


def _skewness(z: np.ndarray) -> np.ndarray:
    skewness = (z**3).mean(axis=-1)
    return np.where(np.abs(skewness) < LEAST_SKEWNESS, LEAST_SKEWNESS, skewness)


@lru_cache(maxsize=1)
def _student_table() -> tuple[np.ndarray, np.ndarray]:
    """Mean absolute value, rising, of standardised Student t distributions against ln of the degrees of freedom."""
    from scipy.special import beta

    log_freedom = np.linspace(math.log(2.2), math.log(200.0), 4000)
    freedom = np.exp(log_freedom)
    absolute = 2.0 * np.sqrt(freedom) / ((freedom - 1.0) * beta(freedom / 2.0, 0.5))
    return absolute / np.sqrt(freedom / (freedom - 2.0)), log_freedom


def _freedom(z: np.ndarray) -> np.ndarray:
    """From the mean absolute deviation, for the fourth moment is not there below 5 degrees of freedom."""
    absolute = np.abs(z).mean(axis=-1)
    rising, log_freedom = _student_table()
    usable = (absolute > rising[0]) & (absolute < rising[-1])
    return np.where(usable, np.exp(np.interp(absolute, rising, log_freedom)), np.nan)


def _normal_share(z: np.ndarray, _shape: np.ndarray) -> np.ndarray:
    from scipy.special import ndtr

    return ndtr(z)


def _normal_quantile(share: np.ndarray, shape: np.ndarray) -> np.ndarray:
    from scipy.special import ndtri

    return ndtri(share) + 0.0 * shape


def _mirrored(
    share: Callable[[np.ndarray, np.ndarray], np.ndarray],
) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    """A family of positive skewness, turned round for negative."""

    def both(z: np.ndarray, skewness: np.ndarray) -> np.ndarray:
        below = share(np.where(skewness > 0.0, z, -z), np.abs(skewness))
        return np.where(skewness > 0.0, below, 1.0 - below)

    return both


def _mirrored_quantile(
    quantile: Callable[[np.ndarray, np.ndarray], np.ndarray],
) -> Callable[[np.ndarray, np.ndarray], np.ndarray]:
    def both(share: np.ndarray, skewness: np.ndarray) -> np.ndarray:
        upright = quantile(np.where(skewness > 0.0, share, 1.0 - share), np.abs(skewness))
        return np.where(skewness > 0.0, upright, -upright)

    return both


def _omega(skewness: np.ndarray) -> np.ndarray:
    """exp(sigma^2) of a lognormal with this skewness: the real root of (w + 2)^2 (w - 1) = skewness^2."""
    square = skewness**2
    root = np.cbrt((2.0 + square + np.sqrt(square * square + 4.0 * square)) / 2.0)
    return root + 1.0 / root - 1.0


def _lognormal_share(z: np.ndarray, skewness: np.ndarray) -> np.ndarray:
    from scipy.special import ndtr

    omega = _omega(skewness)
    inner = np.sqrt(omega) + z * np.sqrt(omega * (omega - 1.0))
    return np.where(inner > 0.0, ndtr(np.log(np.maximum(inner, _TINY)) / np.sqrt(np.log(omega))), 0.0)


def _lognormal_quantile(share: np.ndarray, skewness: np.ndarray) -> np.ndarray:
    from scipy.special import ndtri

    omega = _omega(skewness)
    return (np.exp(ndtri(share) * np.sqrt(np.log(omega))) - np.sqrt(omega)) / np.sqrt(omega * (omega - 1.0))


def _gamma_share(z: np.ndarray, skewness: np.ndarray) -> np.ndarray:
    from scipy.special import gammainc

    a = 4.0 / skewness**2
    return gammainc(a, np.maximum(0.0, a + z * np.sqrt(a)))


def _gamma_quantile(share: np.ndarray, skewness: np.ndarray) -> np.ndarray:
    from scipy.special import gammaincinv

    a = 4.0 / skewness**2
    return (gammaincinv(a, share) - a) / np.sqrt(a)


@lru_cache(maxsize=1)
def _weibull_table() -> tuple[np.ndarray, np.ndarray]:
    """Skewness, rising, against ln c of the Weibull distribution, c from 0.6 to 60."""
    from scipy.special import gamma

    log_c = np.linspace(math.log(60.0), math.log(0.6), 4000)
    c = np.exp(log_c)
    g1, g2, g3 = (gamma(1.0 + k / c) for k in (1, 2, 3))
    return (g3 - 3.0 * g1 * g2 + 2.0 * g1**3) / (g2 - g1**2) ** 1.5, log_c


def _weibull(skewness: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """c, mean and standard deviation of the Weibull distribution of scale 1 with this skewness."""
    from scipy.special import gamma

    c = np.exp(np.interp(skewness, *_weibull_table()))
    mean = gamma(1.0 + 1.0 / c)
    return c, mean, np.sqrt(gamma(1.0 + 2.0 / c) - mean**2)


def _weibull_shape(z: np.ndarray) -> np.ndarray:
    skewness = (z**3).mean(axis=-1)
    table = _weibull_table()[0]
    return np.where((skewness > table[0]) & (skewness < table[-1]), skewness, np.nan)


def _weibull_share(z: np.ndarray, skewness: np.ndarray) -> np.ndarray:
    c, mean, deviation = _weibull(skewness)
    return -np.expm1(-(np.maximum(0.0, mean + z * deviation) ** c))


def _weibull_quantile(share: np.ndarray, skewness: np.ndarray) -> np.ndarray:
    c, mean, deviation = _weibull(skewness)
    return ((-np.log1p(-share)) ** (1.0 / c) - mean) / deviation


def _student_share(z: np.ndarray, freedom: np.ndarray) -> np.ndarray:
    from scipy.special import stdtr

    return stdtr(freedom, z * np.sqrt(freedom / (freedom - 2.0)))


def _student_quantile(share: np.ndarray, freedom: np.ndarray) -> np.ndarray:
    from scipy.special import stdtrit

    return stdtrit(freedom, share) / np.sqrt(freedom / (freedom - 2.0))


FAMILIES = {
    "normal": Family(_normal_share, _normal_quantile, _no_shape),
    "shifted lognormal": Family(_mirrored(_lognormal_share), _mirrored_quantile(_lognormal_quantile), _skewness),
    "shifted gamma": Family(_mirrored(_gamma_share), _mirrored_quantile(_gamma_quantile), _skewness),
    "shifted Weibull": Family(_weibull_share, _weibull_quantile, _weibull_shape),
    "Student t": Family(_student_share, _student_quantile, _freedom),
}
"""By name; the skewed ones take either sign, the Weibull one by its own shape."""
