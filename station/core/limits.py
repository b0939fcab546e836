"""Judges a result against its limits, less the guard band (JCGM 106:2012, 8.3.2).

Guarded acceptance: a value passes only between the acceptance limits, each the guard band w inside its tolerance
limit: a multiple of U95, or as wide as a largest consumer's risk asks for. A value that is no finite number never
passes and never fails: it is INVALID.
"""

import math

from station.core.guard_band import Doubt, guard_band
from station.core.guard_text import guard_text
from station.core.plan import Characteristic
from station.core.quantity import format_quantity
from station.core.reasons import reason
from station.core.results import Decision, Judgement, Reason, Result, ResultStatus


def acceptance_limits(
    characteristic: Characteristic,
    expanded_uncertainty: float,
    *,
    standard_uncertainty: float | None = None,
    degrees_of_freedom: float | None = None,
) -> tuple[float | None, float | None]:
    """Return the acceptance limits (lower, upper), SI; None where there is no limit.

    A_L = T_L + w, A_U = T_U - w (JCGM 106:2012, equations 12 and 13; figure 9), w as `guard_band` says. With a wide
    w the lower one can lie above the upper one: then nothing is accepted. Raises ValueError for an uncertainty that
    is negative or not finite, and for u and degrees of freedom that a stated risk needs and that are not known.
    """
    guard = guard_band(characteristic, Doubt(expanded_uncertainty, standard_uncertainty, degrees_of_freedom))
    return _inside(characteristic, guard)


def _inside(characteristic: Characteristic, guard: float) -> tuple[float | None, float | None]:
    lower, upper = characteristic.lower, characteristic.upper
    return None if lower is None else lower + guard, None if upper is None else upper - guard


def judge(characteristic: Characteristic, result: Result) -> Judgement:
    """Return the decision on one result.

    - not due: no decision.
    - no value, no uncertainty, or one that is not finite: INVALID; so it is without u and its degrees of freedom
      if the plan states a risk.
    - between the acceptance limits: PASS, else FAIL. The ends count as the plan says.
    - `conditional`: within the guard band of a limit, on either side of it (as in ILAC-G8).
    - acceptance limits that leave nothing between them: INVALID, unless the value is a guard band or more
      outside its limits: that the bench can't tell is not the unit's fault.

    Raises ValueError if the result is of another characteristic or in another unit.
    """
    name = characteristic.name
    if (result.characteristic, result.unit_symbol) != (name, characteristic.unit_symbol):
        raise ValueError(
            f"characteristic {name!r} in {characteristic.unit_symbol} can't judge a result of "
            f"{result.characteristic!r} in {result.unit_symbol}"
        )
    if result.status is ResultStatus.NOT_DUE:
        return Judgement(name, None)
    value, uncertainty = result.value, result.expanded_uncertainty
    if result.status is not ResultStatus.MEASURED or not _is_number(value) or not _is_number(uncertainty):
        return Judgement(name, Decision.INVALID, reason=result.reason or reason("not_measured", of=name))
    if value is None or uncertainty is None or uncertainty < 0.0:
        return Judgement(name, Decision.INVALID, reason=reason("not_measured", of=name))
    doubt = Doubt(uncertainty, result.standard_uncertainty, result.degrees_of_freedom)
    if characteristic.guard.by_risk and not doubt.known:
        return Judgement(name, Decision.INVALID, reason=reason("not_measured", of=name))
    return _judge_value(characteristic, value, guard_band(characteristic, doubt))


def _is_number(value: float | None) -> bool:
    return value is not None and math.isfinite(value)


def _judge_value(characteristic: Characteristic, value: float, guard: float) -> Judgement:
    lower, upper = _inside(characteristic, guard)
    conditional = guard > 0.0 and any(
        limit is not None and abs(value - limit) < guard
        for limit in (characteristic.lower, characteristic.upper)
    )
    why = _why_not(characteristic, value, lower, upper)
    decision = Decision.PASS if why is None else Decision.FAIL
    if (
        lower is not None
        and upper is not None
        and lower > upper
        and _may_be_inside(characteristic, value, guard)
    ):
        decision, why = (
            Decision.INVALID,
            reason("uncertainty_too_large", message=_words(characteristic, value)),
        )
    return Judgement(characteristic.name, decision, conditional, lower, upper, why)


def _may_be_inside(characteristic: Characteristic, value: float, guard: float) -> bool:
    lower, upper = characteristic.lower, characteristic.upper
    return (lower is None or value > lower - guard) and (upper is None or value < upper + guard)


def _why_not(
    characteristic: Characteristic, value: float, lower: float | None, upper: float | None
) -> Reason | None:
    if lower is not None and (value < lower or (value == lower and not characteristic.lower_included)):
        return _limit_reason("below_lower", characteristic, value, characteristic.lower, lower)
    if upper is not None and (value > upper or (value == upper and not characteristic.upper_included)):
        return _limit_reason("above_upper", characteristic, value, characteristic.upper, upper)
    return None


def _words(characteristic: Characteristic, value: float) -> str:
    return f"{characteristic.name} = {format_quantity(value, characteristic.unit_symbol, digits=5)}"


def _limit_reason(
    code: str, characteristic: Characteristic, value: float, limit: float | None, acceptance: float
) -> Reason:
    unit = characteristic.unit_symbol
    words = f"{_words(characteristic, value)}, limit {format_quantity(limit, unit, digits=5)}"
    if acceptance != limit:
        words += f", with guard band {format_quantity(acceptance, unit, digits=5)}"
        if characteristic.guard.by_risk:
            words += f" ({guard_text(characteristic.guard, unit)})"
    return reason(code, message=words)
