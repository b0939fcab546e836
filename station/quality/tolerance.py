"""Statistical tolerance intervals: where at least `coverage` of all units lie, with `confidence` (ISO 16269-6).

Not where the mean lies, and not where the sample lies: what can be promised of units that nobody measured.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from station.quality.readings import StudyDataError
from station.quality.sample import Sample
from station.quality.solve import bisect


@dataclass(frozen=True, slots=True)
class ToleranceInterval:
    """A promise; None at an end that is open. In the values' unit."""

    population: str
    unit_symbol: str
    lower: float | None
    upper: float | None
    coverage: float
    confidence: float
    method: str
    units: int
    factor: float | None = None
    """k: the ends are mean +- k s; None where there is no such thing."""

    @property
    def ends(self) -> tuple[float, float]:
        """Both ends, infinite where it is open."""
        return (
            -math.inf if self.lower is None else self.lower,
            math.inf if self.upper is None else self.upper,
        )


def one_sided_factor(size: int, *, coverage: float, confidence: float) -> float:
    """Return k1 of a normal sample of `size`: exact, by the non-central t (ISO 16269-6, annex)."""
    from scipy.special import nctdtrit, ndtri

    _check(size, coverage, confidence)
    root = math.sqrt(size)
    return float(nctdtrit(size - 1, float(ndtri(coverage)) * root, confidence)) / root


def howe_factor(size: int, *, coverage: float, confidence: float) -> float:
    """Return k2 by Howe's approximation (J. Am. Stat. Assoc. 64, 1969): z sqrt(nu (1 + 1/n) / chi2)."""
    from scipy.special import chdtri, ndtri

    _check(size, coverage, confidence)
    z = float(ndtri(0.5 + coverage / 2.0))
    return z * math.sqrt((size - 1) * (1.0 + 1.0 / size) / float(chdtri(size - 1, confidence)))


@lru_cache(maxsize=256)
def two_sided_factor(size: int, *, coverage: float, confidence: float) -> float:
    """Return k2 of a normal sample, exact by integration over the sample mean (ISO 16269-6, annex F).

    P(coverage kept) = 2 sqrt(n / 2 pi) int_0^inf P(chi2_nu > nu r(x)^2 / k^2) exp(-n x^2 / 2) dx, where r(x) solves
    Phi(x + r) - Phi(x - r) = coverage (Odeh and Owen 1980). Good to 1e-8.
    """
    from scipy.special import gammaincc

    _check(size, coverage, confidence)
    nodes, weights = np.polynomial.legendre.leggauss(96)
    reach = 9.0 / math.sqrt(size)
    x = (nodes + 1.0) * reach / 2.0
    density = weights * reach * math.sqrt(size / (2.0 * math.pi)) * np.exp(-0.5 * size * x * x)
    r = _half_widths(x, np.ones_like(x), coverage)
    freedom = size - 1

    def kept(k: float) -> bool:
        return float(density @ gammaincc(freedom / 2.0, freedom * r * r / (2.0 * k * k))) >= confidence

    guess = howe_factor(size, coverage=coverage, confidence=confidence)
    return bisect(kept, guess * 0.5, guess * 3.0)[1]


def normal_interval(
    sample: Sample, *, coverage: float = 0.99, confidence: float = 0.95, side: str = "both"
) -> ToleranceInterval:
    """Return the interval for normal values. `side`: `both`, `lower` (at least ...), `upper` (at most ...).

    Check normality first: tails decide here. Raises StudyDataError below 2 values.
    """
    sample.need(2, "a tolerance interval")
    mean, s = float(sample.values.mean()), float(sample.values.std(ddof=1))
    factor_of = two_sided_factor if side == "both" else one_sided_factor
    k = factor_of(sample.size, coverage=coverage, confidence=confidence)
    lower, upper = _sides(side, mean - k * s, mean + k * s)
    method = "normal, exact factor" if side == "both" else "normal, non-central t"
    return ToleranceInterval(
        sample.population, sample.unit_symbol, lower, upper, coverage, confidence, method, sample.size, k
    )


def distribution_free_interval(
    sample: Sample, *, coverage: float = 0.99, confidence: float = 0.95, side: str = "both"
) -> ToleranceInterval:
    """Return the narrowest interval between order statistics, symmetric in rank, that keeps the promise (Wilks 1941).

    `confidence` of the result is what it really has, the next one above that asked for. Raises StudyDataError if
    there are too few values, naming how many are needed.
    """
    needed = values_needed(coverage=coverage, confidence=confidence, two_sided=side == "both")
    if sample.size < needed:
        raise StudyDataError(
            f"a distribution-free interval for {coverage:.4g} of all units with {confidence:.4g} confidence needs "
            f"{needed} values or more; got {sample.size}"
        )
    n = sample.size
    ends = 2 if side == "both" else 1
    trimmed = _most_trimmed(n, ends, coverage, confidence)
    ordered = np.sort(sample.values)
    lower, upper = _sides(side, float(ordered[trimmed]), float(ordered[n - 1 - trimmed]))
    kept = _rank_confidence(n, ends * (trimmed + 1), coverage)
    return ToleranceInterval(
        sample.population, sample.unit_symbol, lower, upper, coverage, kept, "distribution-free", n
    )


def values_needed(*, coverage: float, confidence: float, two_sided: bool) -> int:
    """Return the least number of values whose range (or one extreme) keeps the promise (Wilks 1941)."""
    _check(2, coverage, confidence)
    ends = 2 if two_sided else 1
    low, high = ends - 1, ends
    while _rank_confidence(high, ends, coverage) < confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _rank_confidence(middle, ends, coverage) >= confidence else (middle, high)
    return high


def range_confidence(size: int, *, coverage: float) -> float:
    """Return the confidence that the range of `size` values holds `coverage`: 1 - N p^(N-1) + (N-1) p^N."""
    return _rank_confidence(size, 2, coverage)


def _rank_confidence(size: int, left_out: int, coverage: float) -> float:
    """P(at least `coverage` lies between order statistics that leave out `left_out` of the n + 1 gaps)."""
    from scipy.special import betaincc

    if left_out > size:
        return 0.0
    return float(betaincc(size + 1 - left_out, left_out, coverage))


def _most_trimmed(size: int, ends: int, coverage: float, confidence: float) -> int:
    """The most values that may be left out at each end; 0 keeps the promise already."""
    low, high = 0, (size - 1) // 2
    while high - low > 1:
        middle = (low + high) // 2
        kept = _rank_confidence(size, ends * (middle + 1), coverage) >= confidence
        low, high = (middle, high) if kept else (low, middle)
    return low


def _half_widths(shift: np.ndarray, deviation: np.ndarray, coverage: float) -> np.ndarray:
    """h of shape (N,) so that a normal distribution about `shift` with `deviation` has `coverage` within +-h."""
    from scipy.special import ndtr

    low, high = np.zeros_like(shift), np.abs(shift) + 40.0 * deviation
    for _ in range(60):
        middle = (low + high) / 2.0
        held = ndtr((middle - shift) / deviation) - ndtr((-middle - shift) / deviation) >= coverage
        low, high = np.where(held, low, middle), np.where(held, middle, high)
    return high


def half_widths(shift: np.ndarray, deviation: np.ndarray, *, coverage: float) -> np.ndarray:
    """Return h, shape (N,), so that normal values about `shift` with `deviation` are within +-h with `coverage`."""
    return _half_widths(np.asarray(shift, dtype=float), np.asarray(deviation, dtype=float), coverage)


def _sides(side: str, lower: float, upper: float) -> tuple[float | None, float | None]:
    if side not in ("both", "lower", "upper"):
        raise StudyDataError(f"a side is both, lower or upper; got {side!r}")
    return (None if side == "upper" else lower), (None if side == "lower" else upper)


def _check(size: int, coverage: float, confidence: float) -> None:
    if size < 2 or not (0.0 < coverage < 1.0 and 0.0 < confidence < 1.0):
        raise StudyDataError(
            f"needs two values or more, coverage and confidence between 0 and 1; got {size}, {coverage}, {confidence}"
        )
