"""Type-1 study: one reference part, measured again and again (ISO 22514-7; VDA volume 5, 2nd edition, 5.2.2.1).

Two conventions are in use for Cg and Cgk: a share of the tolerance (20 % usually) over 4 or over 6 standard
deviations. Both are parameters, and the result says which.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.quality.factors import deviation_interval, t_factor, t_probability
from station.quality.readings import StudyDataError

LEAST_READINGS = 10
USUAL_READINGS = 50
LEAST_INDEX = 1.33
"""Cg and Cgk that are asked for: common practice."""


@dataclass(frozen=True, slots=True)
class Bias:
    """Mean of the readings less the reference value, and a t test of it against zero (AIAG MSA, Table III-B 2)."""

    readings: int
    reference: float
    mean: float
    bias: float
    standard_deviation: float
    standard_error: float
    degrees_of_freedom: int
    t: float
    p: float
    t_critical: float
    interval: tuple[float, float]
    """Of the bias, at the level asked for; without 0 in it, the bias is significant."""

    @property
    def significant(self) -> bool:
        """Whether the interval leaves out 0."""
        return not self.interval[0] <= 0.0 <= self.interval[1]


@dataclass(frozen=True, slots=True)
class Type1:
    """Cg = share x T / (k s), Cgk = (share / 2 x T - |bias|) / (k / 2 x s); intervals from that of s."""

    bias: Bias
    tolerance: float
    deviations: float
    share: float
    cg: float
    cgk: float
    cg_interval: tuple[float, float]
    resolution_percent: float | None
    """Resolution as a per cent of the tolerance; ISO 22514-7 asks for 5 at most."""


@dataclass(frozen=True, slots=True)
class SystemUncertainty:
    """Uncertainty of the measuring system from a type-1 study (ISO 22514-7, VDA 5), in the readings' unit."""

    u_cal: float
    u_evr: float
    u_bi: float
    u_re: float
    u_ms: float
    expanded: float
    q_ms_percent: float | None
    least_tolerance: float
    """The smallest tolerance that the measuring system is capable of."""


def bias_study(readings: Sequence[float], reference: float, *, level: float = 0.95) -> Bias:
    """Return the bias of `readings` of one part whose value is `reference`.

    Raises StudyDataError for fewer than 10 readings, or readings that are all the same.
    """
    if not math.isfinite(reference):
        raise StudyDataError(f"the reference value must be a finite number; got {reference}")
    values = np.asarray(readings, dtype=float)
    if values.size < LEAST_READINGS:
        raise StudyDataError(
            f"a study of one reference part needs {LEAST_READINGS} readings or more "
            f"({USUAL_READINGS} are usual); got {values.size}"
        )
    if np.ptp(values) == 0.0:
        raise StudyDataError(
            f"all {values.size} readings are the same ({values[0]:g}): the resolution is too coarse, or readings "
            "were copied; record more digits"
        )
    # About the reference first, so that digits common to all readings don't cancel.
    deviations = values - reference
    bias, s = float(deviations.mean()), float(deviations.std(ddof=1))
    freedom, error = values.size - 1, s / math.sqrt(values.size)
    factor = t_factor(freedom, level=level)
    t = bias / error
    return Bias(
        values.size,
        reference,
        reference + bias,
        bias,
        s,
        error,
        freedom,
        t,
        t_probability(t, freedom),
        factor,
        (bias - factor * error, bias + factor * error),
    )


def type1_study(
    readings: Sequence[float],
    reference: float,
    tolerance: float,
    *,
    deviations: float = 4.0,
    share: float = 0.2,
    resolution: float | None = None,
    level: float = 0.95,
) -> Type1:
    """Return Cg and Cgk of `readings`, with `deviations` (4 or 6) standard deviations and `share` of the tolerance.

    Raises StudyDataError as `bias_study` does, and ValueError for a tolerance, share or number that is not above 0.
    """
    for name, value in (("tolerance", tolerance), ("share", share), ("number of deviations", deviations)):
        if not (value > 0.0 and math.isfinite(value)):
            raise ValueError(f"the {name} must be finite and above 0; got {value}")
    bias = bias_study(readings, reference, level=level)
    s = bias.standard_deviation
    low, high = deviation_interval(s, bias.degrees_of_freedom, level=level)
    budget = share * tolerance / deviations
    return Type1(
        bias,
        tolerance,
        deviations,
        share,
        budget / s,
        (share / 2.0 * tolerance - abs(bias.bias)) / (deviations / 2.0 * s),
        (budget / high, budget / low),
        None if resolution is None else 100.0 * resolution / tolerance,
    )


def system_uncertainty(
    bias: Bias,
    *,
    u_cal: float,
    resolution: float = 0.0,
    tolerance: float | None = None,
    coverage_factor: float = 2.0,
    capable_percent: float = 15.0,
) -> SystemUncertainty:
    """Return the measuring system's uncertainty: u_MS^2 = u_CAL^2 + max(u_EVR, u_RE)^2 + u_BI^2.

    u_EVR = s, u_RE = resolution / (2 sqrt 3), u_BI = |bias| / sqrt 3, Q_MS = 2 U_MS / T; capable up to 15 %.
    """
    u_re = resolution / (2.0 * math.sqrt(3.0))
    u_bi = abs(bias.bias) / math.sqrt(3.0)
    u_evr = bias.standard_deviation
    u_ms = math.hypot(u_cal, max(u_evr, u_re), u_bi)
    expanded = coverage_factor * u_ms
    q = None if tolerance is None else 100.0 * 2.0 * expanded / tolerance
    return SystemUncertainty(u_cal, u_evr, u_bi, u_re, u_ms, expanded, q, 2.0 * expanded * 100.0 / capable_percent)


def true_capability(observed: float, q_mp: float) -> float | None:
    """Return the process capability behind an `observed` one when the measurement takes `q_mp` of the tolerance.

    C = (1 / C_obs^2 - 2.25 Q^2)^(-1/2) (ISO 22514-7:2012, 10.1); `q_mp` is a fraction. None: no real value, the
    measurement alone explains the whole spread.
    """
    left = 1.0 / (observed * observed) - 2.25 * q_mp * q_mp
    return None if left <= 0.0 else left**-0.5
