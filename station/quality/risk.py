"""Consumer's and producer's risk of a decision rule (JCGM 106:2012, clause 9).

Consumer's risk: a unit out of tolerance is accepted. Producer's risk: one within tolerance is rejected. *Global* risks
are shares of all units made, for a process distribution; the *specific* risk is that of one unit with its reading. The
measurement is normal with standard uncertainty u, the same for all units. Acceptance is guarded: between T_L + w and
T_U - w (8.3.2). w is never negative: no rule here accepts a reading outside the tolerance.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from station.quality.process import NormalProcess, Process
from station.quality.solve import bisect

_REACH = 9.0
"""Standard uncertainties beyond which a reading never comes: 1e-19."""

_TAIL = 1e-15
"""Share of the process that is left out at each end of the integrals."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(16)


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Lower and upper tolerance limit; None where there is none, one of them at least is given."""

    lower: float | None
    upper: float | None

    def __post_init__(self) -> None:
        """Refuse limits that are no tolerance: raises ValueError."""
        given = [each for each in (self.lower, self.upper) if each is not None]
        if not given or not all(math.isfinite(each) for each in given):
            raise ValueError(f"a tolerance needs a finite limit; got {self.lower} to {self.upper}")
        if len(given) == 2 and not given[0] < given[1]:
            raise ValueError(f"the lower limit must be below the upper one; got {self.lower} and {self.upper}")

    @property
    def ends(self) -> tuple[float, float]:
        """Both limits, infinite where there is none."""
        return (
            -math.inf if self.lower is None else self.lower,
            math.inf if self.upper is None else self.upper,
        )


@dataclass(frozen=True, slots=True)
class Risk:
    """Global risks of one rule, as shares of all units; the last one as a share of the accepted units."""

    guard_band: float
    consumer: float
    producer: float
    accepted: float
    nonconforming_among_accepted: float
    """0 where nothing is accepted."""


def guard_band(factor: float, expanded_uncertainty: float) -> float:
    """Return w = r U (JCGM 106, 8.3.2.2; ILAC-G8:09/2019, Table 1). Raises ValueError for a negative one."""
    if not (factor >= 0.0 and expanded_uncertainty >= 0.0 and math.isfinite(factor * expanded_uncertainty)):
        raise ValueError(f"a guard band needs r and U of 0 or more; got {factor} and {expanded_uncertainty}")
    return factor * expanded_uncertainty


def conformance_probability(
    tolerance: Tolerance, reading: float, u: float, *, process: NormalProcess | None = None
) -> float:
    """Return the probability that a unit read as `reading` is within tolerance (JCGM 106, 7.4).

    With a normal process the reading is first weighed against it (JCGM 106, 6.2 and 7.2): the best estimate moves
    towards the process mean, the more the larger u is. 1 less this is the specific consumer's risk (9.3.2).
    """
    _check_u(u)
    lower, upper = tolerance.ends
    if process is not None:
        own, common = 1.0 / (u * u), 1.0 / process.deviation**2
        reading = (reading * own + process.mean * common) / (own + common)
        u = 1.0 / math.sqrt(own + common)
    return _phi((upper - reading) / u) - _phi((lower - reading) / u)


def global_risk(tolerance: Tolerance, process: Process, u: float, *, guard_band: float = 0.0) -> Risk:
    """Return the risks of accepting between the limits less `guard_band` (JCGM 106, 9.5.2, equations 17 to 20).

    Numerically to 1e-10. Where the guard bands meet nothing is accepted.
    """
    _check_u(u)
    if not (guard_band >= 0.0 and math.isfinite(guard_band)):
        raise ValueError(f"a guard band must be finite and 0 or more; got {guard_band}")
    lower, upper = tolerance.ends
    low, high = lower + guard_band, upper - guard_band
    conforming = _share_between(process, lower, upper)
    if low >= high:
        return Risk(guard_band, 0.0, conforming, 0.0, 0.0)

    def accept(x: np.ndarray) -> np.ndarray:
        return _normal_share(low, high, x, u)

    def reject(x: np.ndarray) -> np.ndarray:
        return _normal_share(-math.inf, low, x, u) + _normal_share(high, math.inf, x, u)

    reach = _REACH * u
    outside = [(low - reach, lower), (upper, high + reach)]
    inside = [(lower, min(upper, low + reach)), (max(lower, high - reach), upper)]
    if inside[0][1] >= inside[1][0]:
        inside = [(lower, upper)]
    consumer = sum(_integral(process, u, accept, a, b) for a, b in outside)
    producer = sum(_integral(process, u, reject, a, b) for a, b in inside)
    accepted = min(1.0, max(0.0, conforming - producer) + consumer)
    among = consumer / accepted if accepted > 0.0 else 0.0
    return Risk(guard_band, consumer, producer, accepted, among)


def risk_table(tolerance: Tolerance, process: Process, u: float, guard_bands: Sequence[float]) -> tuple[Risk, ...]:
    """Return the risks for each guard band, in the order given: rows of a table, points of a plot."""
    return tuple(global_risk(tolerance, process, u, guard_band=each) for each in guard_bands)


def guard_band_for_specific_risk(
    tolerance: Tolerance, u: float, largest: float, *, process: NormalProcess | None = None
) -> float | None:
    """Return the least w at which no accepted reading leaves more than `largest` risk that its unit is out.

    1 - p_c is `largest` at the worse acceptance limit (JCGM 106, 9.3); both tolerance limits count. 0 if simple
    acceptance is safe enough, None if no reading is. `largest` is above 0 and below 1 (ValueError).
    """
    _check_u(u)
    _check_largest(largest)
    lower, upper = tolerance.ends

    def safe(w: float) -> bool:
        ends = [end for end in (lower + w, upper - w) if math.isfinite(end)]
        return all(1.0 - conformance_probability(tolerance, end, u, process=process) <= largest for end in ends)

    if safe(0.0):
        return 0.0
    return _least(safe, _widest(tolerance, u))


def guard_band_for_global_risk(tolerance: Tolerance, process: Process, u: float, largest: float) -> float | None:
    """Return the least w at which the global consumer's risk is `largest` or less (JCGM 106, 9.5.4).

    0 if simple acceptance is safe enough; None if only accepting nothing is. ValueError as the specific one.
    """
    _check_u(u)
    _check_largest(largest)

    def safe(w: float) -> bool:
        return global_risk(tolerance, process, u, guard_band=w).consumer <= largest

    if safe(0.0):
        return 0.0
    return _least(safe, _widest(tolerance, u))


def _widest(tolerance: Tolerance, u: float) -> float:
    """The widest w to look at: short of the middle, where the bands meet and nothing is left to accept."""
    lower, upper = tolerance.ends
    return (upper - lower) / 2.0 * (1.0 - 1e-12) if math.isfinite(upper - lower) else 1e3 * u


def _least(safe: Callable[[float], bool], widest: float) -> float | None:
    return bisect(safe, 0.0, widest, steps=60)[1] if safe(widest) else None


def _check_u(u: float) -> None:
    if not (u > 0.0 and math.isfinite(u)):
        raise ValueError(f"a standard uncertainty must be finite and above 0; got {u}")


def _check_largest(largest: float) -> None:
    if not 0.0 < largest < 1.0:
        raise ValueError(f"a largest risk must be above 0 and below 1; got {largest}")


def _phi(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))


def _normal_share(low: float, high: float, x: np.ndarray, u: float) -> np.ndarray:
    """Probability of a reading between `low` and `high` of units whose values are `x`."""
    from scipy.special import ndtr

    a, b = (low - x) / u, (high - x) / u
    # From the nearer tail, so that small shares keep their digits.
    return np.where(a > 0.0, ndtr(-a) - ndtr(-b), ndtr(b) - ndtr(a))


def _share_between(process: Process, low: float, high: float) -> float:
    below = 0.0 if math.isinf(low) else float(process.cdf(low))
    return (1.0 if math.isinf(high) else float(process.cdf(high))) - below


def _integral(process: Process, u: float, kernel: Callable[[np.ndarray], np.ndarray], low: float, high: float) -> float:
    """Integral of density times `kernel`, by 16-point panels no wider than the narrower of process and reading."""
    low, high = max(low, process.ppf(_TAIL)), min(high, process.ppf(1.0 - _TAIL))
    if not low < high:
        return 0.0
    width = min(u, (process.ppf(0.75) - process.ppf(0.25)) / 2.0)
    panels = math.ceil((high - low) / width)
    edges = np.linspace(low, high, panels + 1)
    half = (edges[1:] - edges[:-1]) / 2.0
    x = (edges[:-1] + half)[:, None] + half[:, None] * _NODES
    return float(((process.pdf(x) * kernel(x)) @ _WEIGHTS) @ half)
