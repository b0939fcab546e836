"""Process performance and capability (ISO 22514-2, ISO 22514-4): Pp, Ppk, Cp, Cpk with confidence bounds.

Conventions, said once: Pp and Ppk stand on the overall standard deviation (n - 1) or on overall percentiles; Cp and
Cpk on the standard deviation within subgroups, as the result names it. All are of the population that the sample
names. Only normal values have Cp and Cpk here: within-subgroup percentiles of another distribution are not known.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from station.quality.fits import Fit, fit_all, fitted_quantiles
from station.quality.normality import Normality, normality_test
from station.quality.readings import StudyDataError
from station.quality.risk import Tolerance
from station.quality.sample import Sample
from station.quality.within import WithinDeviation

LOW_SHARE, HIGH_SHARE = 0.00135, 0.99865
"""The reference interval holds 99.73 % (ISO 22514-4), what 6 sigma hold of a normal process."""

LEAST_FOR_PERCENTILES = 741
"""Fewer values have no 0.135 % percentile: it would be beyond the smallest one (1 / 0.00135)."""

LEAST_FOR_FAMILY = 1_000
"""The bounds take the fitted family as known. In simulations of strongly skewed and heavy-tailed values, 95 % bounds
missed the true Ppk in about 5 % of the samples from 2,500 values on, in 10 to 15 % at 1,000, in 25 to 50 % at 100."""

MOST_FOR_FITS = 10_000
"""Above, the values' own percentiles are sharp, and no family fits so many values closely anyway."""

LEAST_FOR_BOUNDS = 2731
"""From here the smallest value is below the 0.135 % percentile with 97.5 %: 1 - (1 - 0.00135)^n."""

_SEED = 20641
_RESAMPLES = 400
_DRAWS = 2000


class Route(StrEnum):
    """How the reference interval was found."""

    NORMAL = "normal"
    FITTED = "percentiles of a fitted distribution"
    VALUES = "percentiles of the values themselves"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Index:
    """An index with its two-sided confidence bounds; None where there are none."""

    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class ReferenceInterval:
    """X0.135 %, the median (the mean on the normal route) and X99.865 %, in the values' unit."""

    low: float
    middle: float
    high: float


@dataclass(frozen=True, slots=True)
class Capability:
    """What the process holds against a tolerance. An index is None where it can't be stated; `why` says so."""

    population: str
    unit_symbol: str
    units: int
    tolerance: Tolerance
    mean: float
    overall_deviation: float
    within: WithinDeviation | None
    normality: Normality
    route: Route
    why: str
    fit: Fit | None
    reference: ReferenceInterval | None
    pp: Index | None
    ppk: Index | None
    cp: Index | None
    cpk: Index | None
    below: int
    """Values below the lower limit; counted, not estimated."""
    above: int
    expected_beyond: float | None
    """Share outside the tolerance by the fitted distribution; None without one."""
    level: float
    """Of the confidence bounds."""


def capability(
    sample: Sample,
    tolerance: Tolerance,
    *,
    within: WithinDeviation | None = None,
    level: float = 0.95,
    significance: float = 0.05,
) -> Capability:
    """Return the indices of `sample`, by the normal route if the Anderson-Darling test does not speak against it.

    Otherwise by percentiles (ISO 22514-4): of the best fitted distribution if it fits, or of the values themselves
    if there are 741 or more; else there is no index, and `why` says so. Raises StudyDataError below 8 values or if
    all are the same.
    """
    normality = normality_test(sample, significance=significance)
    if normality.accepted:
        return _normal(sample, tolerance, within, normality, level)
    why = f"not normal (p = {normality.p:.2g})"
    if sample.size > MOST_FOR_FITS:
        why += f"; with over {MOST_FOR_FITS} values their own percentiles are the best there are"
        return _by_percentiles(sample, tolerance, within, normality, level, Route.VALUES, why, None)
    best = fit_all(sample)[0]
    if best.p is not None and best.p >= significance:
        why += f"; a {best.family} distribution fits (p = {best.p:.2g})"
        if sample.size < LEAST_FOR_FAMILY:
            why += ", but so few values hardly show which one: take the bounds as too narrow"
        return _by_percentiles(sample, tolerance, within, normality, level, Route.FITTED, why, best)
    why += " and no fitted distribution holds"
    if sample.size >= LEAST_FOR_PERCENTILES:
        return _by_percentiles(sample, tolerance, within, normality, level, Route.VALUES, why, None)
    why += (
        f": an index needs {LEAST_FOR_PERCENTILES} values or more then; got {sample.size}. "
        "Look at the histogram for two lots in one, a sorted lot, odd units"
    )
    return _made(sample, tolerance, within, normality, level, Route.NONE, why, None, None, {})


def index_interval(index: float, freedom: float, *, level: float = 0.95) -> Index:
    """Return Cp (or Pp) with its chi-square bounds, `freedom` of the standard deviation (ISO 22514-2, annex)."""
    from scipy.special import chdtri

    tail = (1.0 - level) / 2.0
    low, high = (float(index * math.sqrt(chdtri(freedom, p) / freedom)) for p in (1.0 - tail, tail))
    return Index(index, low, high)


def minimum_index_interval(index: float, units: int, freedom: float, *, level: float = 0.95) -> Index:
    """Return Cpk (or Ppk) with Bissell's bounds: +- z sqrt(1/(9n) + Cpk^2/(2 nu)) (Applied Statistics 39, 1990).

    An approximation, good from some 30 units on.
    """
    from scipy.special import ndtri

    half = float(ndtri(0.5 + level / 2.0)) * math.sqrt(1.0 / (9.0 * units) + index * index / (2.0 * freedom))
    return Index(index, index - half, index + half)


def _normal(
    sample: Sample, tolerance: Tolerance, within: WithinDeviation | None, normality: Normality, level: float
) -> Capability:
    n, mean, s = sample.size, float(sample.values.mean()), float(sample.values.std(ddof=1))
    indices: dict[str, Index | None] = {}
    for prefix, deviation, freedom in (
        ("p", s, n - 1.0),
        *([("c", within.deviation, within.degrees_of_freedom)] if within else []),
    ):
        whole, least = _indices(tolerance, ReferenceInterval(mean - 3 * deviation, mean, mean + 3 * deviation))
        indices[f"{prefix}p"] = None if whole is None else index_interval(whole, freedom, level=level)
        indices[f"{prefix}pk"] = minimum_index_interval(least, n, freedom, level=level)
    fit = Fit("normal", mean, s, 0.0, normality.statistic, normality.p, sample.population)
    why = f"a test of normality does not speak against it (Anderson-Darling, p = {normality.p:.2g})"
    reference = ReferenceInterval(mean - 3 * s, mean, mean + 3 * s)
    return _made(sample, tolerance, within, normality, level, Route.NORMAL, why, fit, reference, indices)


def _by_percentiles(
    sample: Sample,
    tolerance: Tolerance,
    within: WithinDeviation | None,
    normality: Normality,
    level: float,
    route: Route,
    why: str,
    fit: Fit | None,
) -> Capability:
    shares = (LOW_SHARE, 0.5, HIGH_SHARE)
    if fit is None:
        reference = ReferenceInterval(*map(float, np.quantile(sample.values, shares, method="median_unbiased")))
        draws = _drawn_percentiles(sample.values) if sample.size >= LEAST_FOR_BOUNDS else None
        if draws is None:
            why += f"; bounds need {LEAST_FOR_BOUNDS} values or more"
    else:
        reference = ReferenceInterval(*(fit.quantile(share) for share in shares))
        draws = _refitted_percentiles(sample.values, fit.family)
    if not reference.low < reference.middle < reference.high:
        raise StudyDataError(
            f"the percentiles {reference.low:g}, {reference.middle:g}, {reference.high:g} are not apart: most "
            "values are the same; record more digits"
        )
    whole, least = _indices(tolerance, reference)
    indices = {
        "pp": None if whole is None else _bounded(whole, draws, (tolerance,), level),
        "ppk": _bounded(least, draws, _one_sided(tolerance), level),
    }
    return _made(sample, tolerance, within, normality, level, route, why, fit, reference, indices)


def _one_sided(tolerance: Tolerance) -> tuple[Tolerance, ...]:
    lower, upper = tolerance.lower, tolerance.upper
    sides = (None if lower is None else Tolerance(lower, None)), (None if upper is None else Tolerance(None, upper))
    return tuple(each for each in sides if each is not None)


def _indices(tolerance: Tolerance, reference: ReferenceInterval) -> tuple[float | None, float]:
    """(U - L) / (X_high - X_low), None for one limit, and the smaller of the one-sided ones."""
    sides = []
    if tolerance.lower is not None:
        sides.append((reference.middle - tolerance.lower) / (reference.middle - reference.low))
    if tolerance.upper is not None:
        sides.append((tolerance.upper - reference.middle) / (reference.high - reference.middle))
    if tolerance.lower is None or tolerance.upper is None:
        return None, min(sides)
    return (tolerance.upper - tolerance.lower) / (reference.high - reference.low), min(sides)


def _bounded(value: float, draws: np.ndarray | None, tolerances: tuple[Tolerance, ...], level: float) -> Index:
    """Bounds by percentiles of the draws; of the smaller of two sides, the smaller of the two sides' bounds.

    The draws of the smaller side itself would lie too low for a centred process: a minimum is drawn downwards.
    """
    if draws is None:
        return Index(value, None, None)
    tails = ((1.0 - level) / 2.0, (1.0 + level) / 2.0)
    # A resample of coarse values may have percentiles that coincide: its index is infinite.
    with np.errstate(divide="ignore"):
        bounds = [np.quantile(_drawn(each, draws), tails) for each in tolerances]
    low, high = np.min(bounds, axis=0)
    return Index(value, float(low), float(high))


def _drawn(tolerance: Tolerance, draws: np.ndarray) -> np.ndarray:
    low, middle, high = draws.T
    if tolerance.lower is None and tolerance.upper is not None:
        return (tolerance.upper - middle) / (high - middle)
    if tolerance.upper is None and tolerance.lower is not None:
        return (middle - tolerance.lower) / (middle - low)
    lower, upper = tolerance.ends
    return (upper - lower) / (high - low)


def _refitted_percentiles(values: np.ndarray, family: str) -> np.ndarray:
    """Percentiles of the family fitted to resampled values, shape (resamples, 3) (bootstrap, Efron 1979)."""
    generator = np.random.default_rng(_SEED)
    shares = (LOW_SHARE, 0.5, HIGH_SHARE)
    rows = []
    # A block holds some two million numbers: memory stays flat for large samples.
    block = max(1, min(_RESAMPLES, 2_000_000 // values.size))
    for start in range(0, _RESAMPLES, block):
        picked = np.sort(values[generator.integers(0, values.size, (min(block, _RESAMPLES - start), values.size))])
        rows.append(fitted_quantiles(family, picked, shares))
    return np.concatenate(rows)


def _drawn_percentiles(values: np.ndarray) -> np.ndarray:
    """Percentiles of resampled values, shape (draws, 3), by the known law of order statistics.

    The ranks of three order statistics of uniform values are sums of exponential ones (David and Nagaraja 2003,
    2.5), so that a resample costs three numbers and not n.
    """
    n = values.size
    ranks = np.array([LOW_SHARE, 0.5, HIGH_SHARE]) * (n + 1)
    steps = np.diff(np.concatenate(([0.0], ranks, [n + 1.0])))
    spacings = np.random.default_rng(_SEED).gamma(steps, size=(_DRAWS, 4))
    places = np.cumsum(spacings, axis=1)[:, :3] / spacings.sum(axis=1, keepdims=True)
    return np.quantile(values, places, method="median_unbiased")


def _made(
    sample: Sample,
    tolerance: Tolerance,
    within: WithinDeviation | None,
    normality: Normality,
    level: float,
    route: Route,
    why: str,
    fit: Fit | None,
    reference: ReferenceInterval | None,
    indices: dict[str, Index | None],
) -> Capability:
    low, high = tolerance.ends
    beyond = None if fit is None else _beyond(fit, tolerance)
    return Capability(
        population=sample.population,
        unit_symbol=sample.unit_symbol,
        units=sample.size,
        tolerance=tolerance,
        mean=float(sample.values.mean()),
        overall_deviation=float(sample.values.std(ddof=1)),
        within=within,
        normality=normality,
        route=route,
        why=why,
        fit=fit,
        reference=reference,
        pp=indices.get("pp"),
        ppk=indices.get("ppk"),
        cp=indices.get("cp"),
        cpk=indices.get("cpk"),
        below=int((sample.values < low).sum()),
        above=int((sample.values > high).sum()),
        expected_beyond=beyond,
        level=level,
    )


def _beyond(fit: Fit, tolerance: Tolerance) -> float:
    below = 0.0 if tolerance.lower is None else fit.share_below(tolerance.lower)
    above = 0.0 if tolerance.upper is None else 1.0 - fit.share_below(tolerance.upper)
    return below + above
