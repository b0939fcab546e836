"""Which range the meter is set to: autoranging is off in production, so the plan's limits choose it."""

import math

from station.core.plan import InductanceStep, Plan, ResistanceStep

_HEADROOM = 1.05


def decade_range(largest_ohm: float) -> float:
    """Return the smallest decade (1, 10, 100 ... ohm) that holds `largest_ohm` with 5 % to spare."""
    return 10.0 ** max(0, math.ceil(math.log10(largest_ohm * _HEADROOM)))


def resistance_range(plan: Plan, step: ResistanceStep) -> float:
    """Return the range for DC resistance in ohm: the plan's own, or the decade above R20's upper limit."""
    if step.range_ohm is not None:
        return step.range_ohm
    return decade_range(_upper(plan, "R20", 1_000.0))


def impedance_range(plan: Plan, step: InductanceStep) -> float:
    """Return the range for |Z| in ohm at the step's frequency, from the upper limits of L and R20."""
    if step.range_ohm is not None:
        return step.range_ohm
    reactance_ohm = 2 * math.pi * step.test_frequency_hz * _upper(plan, "L", 1e-3)
    return decade_range(math.hypot(reactance_ohm, 1.2 * _upper(plan, "R20", 1_000.0)))


def _upper(plan: Plan, name: str, otherwise: float) -> float:
    characteristic = plan.characteristic(name)
    if characteristic is None or characteristic.upper is None:
        return otherwise
    return characteristic.upper
