"""How wide the guard band of one result is: a multiple of its U, or what holds a largest consumer's risk (JCGM 106).

*Specific* risk: of a unit whose reading lies on an acceptance limit, no process known. w is the quantile of the error
that is passed with that probability: of Student's t at the result's effective degrees of freedom (GUM G.4, truncated
to an integer), times u.

*Global* risk: the share of all units that are out of tolerance and accepted, for a normal process of true values
that the plan states (JCGM 106:2012, 9.5.2). w differs from result to result with its u: each is taken as if all units
were measured that well. Whatever mixture of good and bad results comes, each part of it holds the stated risk, so
the mixture does.

Both err on the safe side where a rectangular term shapes the error (U is below what Student's t makes of u): it has
wider shoulders than a normal distribution and shorter tails, and the wider of the two counts at each place.
No library but `math`: it is asked for every result.
"""

import math
from dataclasses import dataclass
from statistics import NormalDist

from station.core.plan import Characteristic, Guard
from station.core.uncertainty import student_factor

_NORMAL = NormalDist()
_ROOT_2 = math.sqrt(2.0)
_ROOT_3 = math.sqrt(3.0)
_USUAL_COVERAGE = _NORMAL.inv_cdf(0.975)
_SHOULDERS = 0.9995
"""U below this share of what Student's t gives: a rectangular term shapes the error."""
_BETWEEN = 1.005
"""Where the quantiles of a normal and a rectangular error meet, that of their sum is above both, by 0.33 % at most."""
_NEGLIGIBLE = 1e-4
"""Share of the stated risk that the far limit may add unseen: it moves w by less than a result's digits."""
_PANELS = 48
_STEPS = 20
"""Enough to know w within 1e-5 u, always on the safe side."""
_FAR = 6.5
"""Standard deviations beyond which nothing comes that a risk of 1e-6 would notice: 4e-11."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """How sure a result is: U (95 %), u and the effective degrees of freedom; None where these are not known."""

    expanded_uncertainty: float
    standard_uncertainty: float | None = None
    degrees_of_freedom: float | None = None

    @property
    def known(self) -> bool:
        """Tell whether all that a stated risk needs is there, finite, not negative, u above 0 if U is."""
        u, freedom = self.standard_uncertainty, self.degrees_of_freedom
        if u is None or freedom is None or not math.isfinite(u):
            return False
        return freedom >= 1.0 and (u > 0.0 or u == self.expanded_uncertainty == 0.0)


def guard_band(characteristic: Characteristic, doubt: Doubt) -> float:
    """Return w, the width of the guard band of a result, in its unit; 0 or more.

    Raises ValueError for an uncertainty that is negative, not finite or, where the plan states a risk, not known.
    A w above half the tolerance means that nothing can be accepted.
    """
    expanded = doubt.expanded_uncertainty
    if not (math.isfinite(expanded) and expanded >= 0.0):
        raise ValueError(f"an expanded uncertainty must be finite and not negative; got {expanded}")
    guard = characteristic.guard
    if not guard.by_risk:
        return guard.factor * expanded
    if not doubt.known:
        raise ValueError(f"a guard band by risk needs u and its degrees of freedom; got {doubt}")
    if doubt.standard_uncertainty == 0.0:
        return 0.0
    if guard.specific_risk is not None:
        return _for_specific(characteristic, doubt, guard.specific_risk)
    return _for_global(characteristic, doubt)


def _width(characteristic: Characteristic) -> float:
    lower, upper = characteristic.lower, characteristic.upper
    return math.inf if lower is None or upper is None else upper - lower


def _for_specific(characteristic: Characteristic, doubt: Doubt, risk: float) -> float:
    near = _passed_with(doubt, risk)
    if near + _passed_with(doubt, risk * _NEGLIGIBLE) <= _width(characteristic):
        return near
    # Both limits are near: half of the risk for each is never too little, as the far one is the farther one.
    return _passed_with(doubt, risk / 2.0)


def _passed_with(doubt: Doubt, risk: float) -> float:
    """Return what the error passes with the probability `risk`, on one side."""
    if risk >= 0.5:
        return 0.0
    u = doubt.standard_uncertainty or 0.0
    factor = _student(doubt, risk)
    return u * (_BETWEEN * max(factor, _ROOT_3 * (1.0 - 2.0 * risk)) if _has_shoulders(doubt) else factor)


def _student(doubt: Doubt, risk: float) -> float:
    freedom = doubt.degrees_of_freedom or 1.0
    if math.isinf(freedom):
        return -_NORMAL.inv_cdf(risk)
    return student_factor(math.floor(freedom * (1 + 1e-9)), coverage=1.0 - 2.0 * risk)


def _has_shoulders(doubt: Doubt) -> bool:
    usual = _student(doubt, 0.025) * (doubt.standard_uncertainty or 0.0)
    return doubt.expanded_uncertainty < _SHOULDERS * usual


def _for_global(characteristic: Characteristic, doubt: Doubt) -> float:
    """The least w by bisection, from the safe side. What passes the far limit too is not taken off: a result so
    coarse would otherwise seem safe for accepting next to nothing."""
    guard = characteristic.guard
    risk = guard.global_risk or 0.0
    if _consumers_risk(characteristic, doubt, 0.0) <= risk:
        return 0.0
    low, high = 0.0, min(_width(characteristic) / 2.0, _FAR * _spread(doubt))
    if _consumers_risk(characteristic, doubt, high) > risk:
        return high * (1.0 + 1e-9)
    for _ in range(_STEPS):
        middle = (low + high) / 2.0
        low, high = (low, middle) if _consumers_risk(characteristic, doubt, middle) <= risk else (middle, high)
    return high


def _spread(doubt: Doubt) -> float:
    """u, or what it must be at least for U to be 1.96 of it: few degrees of freedom know u badly."""
    return max(doubt.standard_uncertainty or 0.0, doubt.expanded_uncertainty / _USUAL_COVERAGE)


def _consumers_risk(characteristic: Characteristic, doubt: Doubt, w: float) -> float:
    guard = characteristic.guard
    beyond = (
        None if characteristic.lower is None else (guard.process_mean or 0.0) - characteristic.lower,
        None if characteristic.upper is None else characteristic.upper - (guard.process_mean or 0.0),
    )
    return sum(_beyond(each, guard, doubt, w) for each in beyond if each is not None)


def _beyond(distance: float, guard: Guard, doubt: Doubt, w: float) -> float:
    """Share of units beyond a limit, `distance` from the process mean, and accepted: by Simpson's rule outward."""
    deviation, spread, u = guard.process_deviation or 0.0, _spread(doubt), doubt.standard_uncertainty or 0.0
    end = min(_FAR * spread - w, _FAR * deviation - distance)
    if end <= 0.0:
        return 0.0
    shoulders = _has_shoulders(doubt)
    step = end / _PANELS
    total = 0.0
    for i in range(_PANELS + 1):
        z = (i * step + distance) / deviation
        weight = 1.0 if i in (0, _PANELS) else 4.0 if i % 2 else 2.0
        total += weight * math.exp(-0.5 * z * z) * _tail(i * step + w, spread, u, shoulders)
    return total * step / 3.0 / (deviation * math.sqrt(2.0 * math.pi))


def _tail(x: float, spread: float, u: float, shoulders: bool) -> float:
    """Probability that the error passes x."""
    normal = 0.5 * math.erfc(x / (spread * _ROOT_2))
    return max(normal, 0.5 - x / (2.0 * _ROOT_3 * u)) if shoulders else normal
