"""Sorts a decided unit into its bin."""

from collections.abc import Iterable, Mapping

from station.core.intervals import contains
from station.core.plan import Bin, BinFor, Interval, Plan
from station.core.results import Decision, Result, ResultStatus


def takes_unit(place: Bin, results: Mapping[str, Result]) -> bool:
    """Tell whether a bin's needs are met. A characteristic without a value meets no interval."""
    return all(_met(results.get(name), interval) for name, interval in place.needs)


def _met(result: Result | None, interval: Interval | None) -> bool:
    if interval is None:
        return result is None or result.status is ResultStatus.NOT_DUE
    if result is None or result.status is not ResultStatus.MEASURED or result.value is None:
        return False
    return contains(interval, result.value)


def sort_unit(plan: Plan, decision: Decision, results: Iterable[Result]) -> Bin:
    """Return the bin of a unit: the first of the plan that takes its decision and whose needs are met.

    INVALID goes to the HOLD bin, and so does whatever no other bin takes. A plan that `parse_plan` accepted
    has exactly one bin for every unit that passes, and one for any that fails. Raises ValueError for a plan
    made by hand without a HOLD bin.
    """
    by_name = {each.characteristic: each for each in results}
    if decision is not Decision.INVALID:
        wanted = BinFor.PASS if decision is Decision.PASS else BinFor.FAIL
        for place in plan.bins:
            if place.takes is wanted and takes_unit(place, by_name):
                return place
    hold = plan.bin_for(BinFor.HOLD)
    if hold is None:
        raise ValueError(f"plan {plan.part} has no HOLD bin")
    return hold
