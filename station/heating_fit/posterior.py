"""How likely each candidate model is after the samples, and what thermal resistance they agree on.

For a pair of time constants the two thermal resistances enter linearly (variable projection: Golub and Pereyra,
SIAM J. Numer. Anal. 10, 1973), so their best values and covariance are closed forms. Neither can be below 0:
along the line on which the two trade against each other the normal distribution is cut off there. Models are
averaged with their evidence (Gaussian linear model, flat prior on the resistances).
"""

from dataclasses import dataclass

import numpy as np

from station.heating_fit.responses import FloatArray, ResponseBank

_ROOT_2PI = np.sqrt(2.0 * np.pi)
_LEAST_MASS = 1e-12
PARAMETERS = 4
"""Two thermal resistances and two time constants: what the fit takes off the degrees of freedom."""


@dataclass(frozen=True, slots=True)
class Normal:
    """The normal equations of all candidate pairs, an unknown common offset taken out; arrays of shape (m,)."""

    g11: FloatArray
    g12: FloatArray
    g22: FloatArray
    b1: FloatArray
    b2: FloatArray
    squares: float
    s1: FloatArray
    s2: FloatArray
    total: float
    offset_weight: float


@dataclass(frozen=True, slots=True)
class Posterior:
    """What the samples say. Thermal resistances in K/W; `log_weight` of shape (m,), its largest is 0.

    `mean_k_per_w` has an infinite variance if no candidate fits at all (nothing heats). `offset_k` is what the
    rises are off by from the start. `best` is the index of the best pair, `best_weights` its two
    resistances, `variance_k2` the noise.
    """

    mean_k_per_w: float
    variance_k2_per_w2: float
    time_constant_s: float
    time_constant_variance_s2: float
    offset_k: float
    offset_variance_k2: float
    variance_k2: float
    log_weight: FloatArray
    best: int
    best_weights: tuple[float, float]


def normal_equations(bank: ResponseBank, first: np.ndarray, second: np.ndarray, offset_weight: float) -> Normal:
    """Return the normal equations of the pairs.

    Args:
        offset_weight: 0 if the rises are known to start at 0; else 1 / (count + (noise / offset's standard
            uncertainty)^2), which takes a common offset of the rises out of sums of squares.
    """
    gram, moments, sums = bank.gram, bank.moments, bank.sums
    diagonal = gram.diagonal() - offset_weight * sums**2
    corrected = moments - offset_weight * bank.total * sums
    return Normal(
        diagonal[first],
        gram[first, second] - offset_weight * sums[first] * sums[second],
        diagonal[second],
        corrected[first],
        corrected[second],
        bank.squares - offset_weight * bank.total**2,
        sums[first],
        sums[second],
        bank.total,
        offset_weight,
    )


def posterior(
    normal: Normal,
    log_prior: FloatArray,
    first_s: FloatArray,
    second_s: FloatArray,
    *,
    count: int,
    noise_factor: float = 1.0,
) -> Posterior:
    """Return the average over all pairs.

    Args:
        log_prior: shape (m,).
        first_s: time constants of each pair's first term, in s, shape (m,); `second_s` likewise.
        count: samples; more than `PARAMETERS`.
        noise_factor: by what the variance is larger than the residuals say (they hang together in time).
    """
    g11, g12, g22, b1, b2 = normal.g11, normal.g12, normal.g22, normal.b1, normal.b2
    determinant = np.maximum(g11 * g22 - g12 * g12, 1e-300)
    r1 = (b1 * g22 - b2 * g12) / determinant
    r2 = (b2 * g11 - b1 * g12) / determinant
    total = r1 + r2
    squares = normal.squares - r1 * b1 - r2 * b2
    # Per unit of noise variance: of r1, and of the sum given r1.
    var1 = g22 / determinant
    slope = (g22 - g12) / g22
    var_rest = np.maximum((g11 + g22 - 2 * g12) / determinant - slope * (g22 - g12) / determinant, 0.0)
    # r2 = total + slope (x - r1) - x >= 0 bounds the first resistance x from above.
    highest = (total - slope * r1) / np.maximum(1.0 - slope, 1e-12)
    nearest = np.clip(r1, 0.0, np.maximum(highest, 0.0))
    bounded = squares + (nearest - r1) ** 2 / var1
    best = int(np.argmin(bounded))
    variance = max(float(bounded[best]), 1e-12) / (count - PARAMETERS) * noise_factor
    spread = np.sqrt(var1 * variance)
    mass, mean_z, var_z = _cut_normal(-r1 / spread, (highest - r1) / spread)
    possible = (mass > _LEAST_MASS) & (highest > 0.0)
    if not possible.any():
        return _nothing_fits(len(first_s), variance)
    log_weight = np.where(
        possible,
        log_prior
        - (squares - bounded[best]) / (2 * variance)
        + np.log(np.where(possible, mass, 1.0))
        - 0.5 * np.log(determinant),
        -np.inf,
    )
    log_weight -= log_weight.max()
    weight = np.exp(log_weight)
    weight /= weight.sum()
    x1 = r1 + spread * mean_z
    means = total + slope * spread * mean_z
    variances = variance * var_rest + (slope * spread) ** 2 * var_z
    mean = float(weight @ means)
    share = np.clip(x1 / np.where(means > 0, means, 1.0), 0.0, 1.0)
    taus = share * first_s + (1.0 - share) * second_s
    tau = float(weight @ taus)
    # The offset is what the mean rise is above the model's mean, shrunk by what was known of it before.
    off = normal.offset_weight
    offsets = off * (normal.total - x1 * normal.s1 - (means - x1) * normal.s2)
    offset_variances = off * variance + off**2 * (
        normal.s2**2 * variance * var_rest + ((normal.s1 + (slope - 1.0) * normal.s2) * spread) ** 2 * var_z
    )
    offset_k = float(weight @ offsets)
    return Posterior(
        mean,
        float(weight @ (variances + (means - mean) ** 2)),
        tau,
        float(weight @ (taus - tau) ** 2),
        offset_k,
        float(weight @ (offset_variances + (offsets - offset_k) ** 2)),
        variance,
        log_weight,
        best,
        (float(nearest[best]), float(total[best] + slope[best] * (nearest[best] - r1[best]) - nearest[best])),
    )


def _nothing_fits(size: int, variance: float) -> Posterior:
    """Neither term can have a positive thermal resistance: the coil cools, or its readings stand still."""
    return Posterior(0.0, np.inf, 0.0, np.inf, 0.0, np.inf, variance, np.zeros(size), 0, (0.0, 0.0))


def _cut_normal(low: FloatArray, high: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mass, mean and variance of a standard normal cut to [low, high].

    Source: Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions 1, 1994, 10.1. Where next to
    nothing is left the mean is 0 and the variance 1; whoever asks leaves those out.
    """
    from scipy.special import ndtr  # late: not every run heats

    mass = np.where(low > 0, ndtr(-low) - ndtr(-high), ndtr(high) - ndtr(low))
    kept = mass > _LEAST_MASS
    safe = np.where(kept, mass, 1.0)
    at_low = np.exp(-0.5 * low * low) / _ROOT_2PI
    at_high = np.exp(-0.5 * high * high) / _ROOT_2PI
    mean = np.where(kept, (at_low - at_high) / safe, 0.0)
    variance = np.where(kept, 1.0 + (low * at_low - high * at_high) / safe - mean * mean, 1.0)
    return mass, mean, np.clip(variance, 0.0, 1.0)
