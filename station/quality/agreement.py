"""Do two benches, or we and the board maker, read the same units alike (Bland and Altman 1986, Lancet 327, 307-310)?

Difference = second - first, unit by unit: its mean is the bias, and mean +- 1.96 s are the limits of agreement. A
temperature that is known only within limits shifts all resistances of that side together by alpha R dT: it widens the
uncertainty of the bias, and no number of units takes it away.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.core.results import Shape, Term
from station.core.uncertainty import combine, expanded_uncertainty
from station.quality.factors import t_factor, t_probability
from station.quality.readings import StudyDataError

COPPER_ALPHA20_PER_K = 1.0 / 254.5
"""0.39 %/K: 1 / (234.5 + 20), IEEE Std 118."""


@dataclass(frozen=True, slots=True)
class Side:
    """What is known of one side's readings: how well its temperature, and its own standard uncertainty.

    `temperature_half_width_k`: the units were within +- so many kelvin of the temperature that the readings are
    stated for; 0 if measured and corrected. `systematic_u`: standard uncertainty common to all its readings.
    """

    name: str
    temperature_half_width_k: float = 0.0
    systematic_u: float = 0.0


@dataclass(frozen=True, slots=True)
class Agreement:
    """Bias with its uncertainty, and limits of agreement with their intervals; in the readings' unit."""

    first: Side
    second: Side
    units: int
    bias: float
    standard_deviation: float
    bias_interval: tuple[float, float]
    """From the scatter of the units alone."""
    lower: float
    upper: float
    lower_interval: tuple[float, float]
    upper_interval: tuple[float, float]
    slope: float
    """Of the difference on the mean of both: a bias that grows with the value."""
    slope_p: float
    terms: tuple[Term, ...]
    bias_u: float
    bias_expanded: float

    @property
    def explained(self) -> bool:
        """Whether the stated uncertainties explain the bias: |bias| <= U(bias)."""
        return abs(self.bias) <= self.bias_expanded


def agreement(
    first: Sequence[float],
    second: Sequence[float],
    *,
    sides: tuple[Side, Side] = (Side("first"), Side("second")),
    factor: float = 1.96,
    level: float = 0.95,
    alpha_per_k: float = COPPER_ALPHA20_PER_K,
) -> Agreement:
    """Return how readings of the same units agree: one reading (or mean) a unit and side, in the same order.

    Intervals of the limits are exact for normal differences (noncentral t: Carkeet 2015, Optom. Vis. Sci. 92).
    Raises StudyDataError for fewer than 3 units or differences that are all the same.
    """
    x, y = np.asarray(first, dtype=float), np.asarray(second, dtype=float)
    if x.shape != y.shape or x.size < 3:
        raise StudyDataError(f"agreement needs 3 units or more, read by both (30 are usual); got {x.size}, {y.size}")
    difference = y - x
    if np.ptp(difference) <= 1e-12 * float(np.abs(x).max()):
        raise StudyDataError("the two sides differ by the same amount for every unit: was one computed from the other?")
    n = x.size
    bias, s = float(difference.mean()), float(difference.std(ddof=1))
    error = s / math.sqrt(n)
    half = t_factor(n - 1, level=level) * error
    near, far = _limit_reach(n, factor, level)
    slope, slope_p = _slope((x + y) / 2.0, difference)
    terms = (Term("scatter of the units", error, n - 1.0), *_side_terms(sides, (x, y), alpha_per_k))
    return Agreement(
        sides[0],
        sides[1],
        n,
        bias,
        s,
        (bias - half, bias + half),
        bias - factor * s,
        bias + factor * s,
        (bias - far * s, bias - near * s),
        (bias + near * s, bias + far * s),
        slope,
        slope_p,
        terms,
        combine(terms)[0],
        expanded_uncertainty(terms),
    )


def _limit_reach(n: int, factor: float, level: float) -> tuple[float, float]:
    """Ends of the interval of mean + factor x sigma, in s above the mean."""
    from scipy.special import nctdtrit

    root, tail = math.sqrt(n), (1.0 - level) / 2.0
    near, far = (float(nctdtrit(n - 1, factor * root, p)) / root for p in (tail, 1.0 - tail))
    return near, far


def _slope(mean: np.ndarray, difference: np.ndarray) -> tuple[float, float]:
    centred = mean - mean.mean()
    square = float(centred @ centred)
    if square == 0.0:
        return 0.0, 1.0
    slope = float(centred @ difference) / square
    rest = difference - difference.mean() - slope * centred
    error = math.sqrt(float(rest @ rest) / (mean.size - 2) / square)
    return slope, t_probability(slope / error, mean.size - 2) if error > 0.0 else 0.0


def _side_terms(sides: tuple[Side, Side], values: tuple[np.ndarray, np.ndarray], alpha: float) -> list[Term]:
    terms = []
    for side, readings in zip(sides, values, strict=True):
        if side.temperature_half_width_k > 0.0:
            # Rectangular, u = a / sqrt(3) (GUM 4.3.7), and common to all units.
            u = alpha * abs(float(readings.mean())) * side.temperature_half_width_k / math.sqrt(3.0)
            terms.append(Term(f"temperature of {side.name}", u, shape=Shape.RECTANGULAR))
        if side.systematic_u > 0.0:
            terms.append(Term(f"calibration of {side.name}", side.systematic_u))
    return terms
