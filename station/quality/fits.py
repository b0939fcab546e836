"""Distributions fitted to values by their probability plots: shape, location and scale.

The shape is the one whose plot is straightest (Filliben, Technometrics 17, 1975), location and scale are the line's.
That minds the tails, which capability is about, has an answer for every sample (the likelihood of a shifted
distribution may have none), and fits thousands of resamples with one matrix product. Anderson and Darling's statistic
chooses the family, and says how well the choice fits.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from station.quality.normality import anderson_darling
from station.quality.sample import Sample

LEAST_SKEWNESS = 0.02
"""Of a skewed family: it is the normal distribution then, and keeps its digits."""

_TINY = 1e-300
_FLOOR = 1e-6
"""Of a share in A^2: a value just beyond the end of a fitted distribution is a bad fit, not an infinitely bad one."""
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
    shapes: tuple[float, ...]
    """Ascending: where shapes are looked for; between them a parabola decides."""


@dataclass(frozen=True, slots=True, eq=False)
class Estimates:
    """Fits of many rows of values by one family; arrays of shape (rows,)."""

    mean: np.ndarray
    deviation: np.ndarray
    shape: np.ndarray


def fit_all(sample: Sample) -> tuple[Fit, ...]:
    """Return the fits of all families, best first; `p` is worked out for the first only.

    Raises StudyDataError below 8 values, or if all are the same.
    """
    sample.need(8, "a distribution fit")
    ordered = np.sort(sample.values)[None, :]
    best, *others = sorted((_fit(name, ordered, sample.population) for name in FAMILIES), key=lambda f: f.statistic)
    return (_with_p(best, sample.size), *others)


def estimates(family: str, ordered: np.ndarray) -> Estimates:
    """Return the fits by `family` of rows of ascending values (rows, N)."""
    member = FAMILIES[family]
    places, shapes = _plot_places(family, ordered.shape[1]), np.array(member.shapes)
    middle = places.mean(axis=1, keepdims=True)
    centred = places - middle
    squares = (centred**2).sum(axis=1)
    products = (ordered - ordered.mean(axis=1, keepdims=True)) @ centred.T
    straight = products / np.sqrt(squares)
    best, rest = _peak(straight)
    slopes = products / squares
    offsets = ordered.mean(axis=1, keepdims=True) - slopes * middle[:, 0]

    def at(table: np.ndarray) -> np.ndarray:
        rows = np.arange(len(table))
        near = np.clip(best + np.sign(rest).astype(int), 0, table.shape[1] - 1)
        return table[rows, best] + np.abs(rest) * (table[rows, near] - table[rows, best])

    return Estimates(at(offsets), at(slopes), at(np.broadcast_to(shapes, straight.shape)))


def fitted_quantiles(family: str, ordered: np.ndarray, shares: Sequence[float]) -> np.ndarray:
    """Return quantiles at `shares` of the fits by `family` of rows of ascending values (rows, N): (rows, shares)."""
    found = estimates(family, ordered)
    standard = [FAMILIES[family].quantile(np.array(share), found.shape) for share in shares]
    return found.mean[:, None] + found.deviation[:, None] * np.stack(standard, axis=1)


@lru_cache(maxsize=12)
def _plot_places(family: str, size: int) -> np.ndarray:
    """Quantiles at the medians of the order statistics (i - 0.3175)/(n + 0.365), shape (shapes, N)."""
    member = FAMILIES[family]
    share = (np.arange(1, size + 1) - 0.3175) / (size + 0.365)
    return np.stack([member.quantile(share, np.array(shape)) for shape in member.shapes])


def _peak(straight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Index of the largest of each row, and the way to the top of the parabola through it: -0.5 to 0.5 steps."""
    best = straight.argmax(axis=1)
    last = straight.shape[1] - 1
    inner = (best > 0) & (best < last)
    rows, at = np.arange(len(best)), np.clip(best, 1, max(1, last - 1))
    if last < 2:
        return best, np.zeros(len(best))
    before, top, after = straight[rows, at - 1], straight[rows, at], straight[rows, at + 1]
    bend = before - 2.0 * top + after
    rest = np.where(inner & (bend < 0.0), (before - after) / np.where(bend < 0.0, 2.0 * bend, 1.0), 0.0)
    return best, np.clip(rest, -0.5, 0.5)


def _fit(name: str, ordered: np.ndarray, population: str) -> Fit:
    found = estimates(name, ordered)
    mean, deviation, shape = float(found.mean[0]), float(found.deviation[0]), float(found.shape[0])
    return Fit(name, mean, deviation, shape, float(_statistics(name, ordered, found)[0]), None, population)


def _statistics(name: str, ordered: np.ndarray, found: Estimates) -> np.ndarray:
    z = (ordered - found.mean[:, None]) / found.deviation[:, None]
    below = FAMILIES[name].share(z, found.shape[:, None])
    return anderson_darling(np.log(np.maximum(below, _FLOOR)), np.log(np.maximum(1.0 - below, _FLOOR)))


def _with_p(fit: Fit, size: int) -> Fit:
    """A^2 with fitted parameters hardly depends on n above 100, so large samples are simulated at 500."""
    n = min(size, _SIMULATED_SIZE)
    uniform = np.random.default_rng(_SEED).random((_SIMULATIONS, n))
    drawn = np.sort(FAMILIES[fit.family].quantile(uniform, np.array(fit.shape)), axis=1)
    statistics = _statistics(fit.family, drawn, estimates(fit.family, drawn))
    p = (1 + int((statistics >= fit.statistic).sum())) / (1 + _SIMULATIONS)
    return replace(fit, p=p)


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


_SKEWED = tuple(float(each) for each in np.geomspace(LEAST_SKEWNESS, 8.0, 32))
_BOTH_WAYS = (*(-each for each in _SKEWED[::-1]), *_SKEWED)

FAMILIES = {
    "normal": Family(_normal_share, _normal_quantile, (0.0,)),
    "shifted lognormal": Family(_mirrored(_lognormal_share), _mirrored_quantile(_lognormal_quantile), _BOTH_WAYS),
    "shifted gamma": Family(_mirrored(_gamma_share), _mirrored_quantile(_gamma_quantile), _BOTH_WAYS),
    "shifted Weibull": Family(_weibull_share, _weibull_quantile, tuple(map(float, np.linspace(-0.95, 5.0, 60)))),
    "Student t": Family(_student_share, _student_quantile, tuple(map(float, np.geomspace(2.2, 100.0, 40)))),
}
"""By name; the skewed ones take either sign, the Weibull one by its own shape."""
