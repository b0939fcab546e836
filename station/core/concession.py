"""Deviation permits and concessions (ISO 9000:2015, 3.12.6 and 3.12.5): what may be used though it doesn't conform.

A deviation permit is given before a lot is made, a concession after. Both widen the limits of one characteristic, for
a lot or a quantity, until a day. Pure: nothing here gives PASS. A unit that is accepted stays FAIL, with the number of
its permit or concession beside the decision, and goes into a bin of its own.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from station.core.limits import judge
from station.core.plan import Characteristic, Plan
from station.core.quantity import format_quantity
from station.core.results import Decision, Judgement, Result
from station.errors import StationError


class ConcessionError(StationError):
    """A deviation permit or concession can't be given or used; the message says why and what would be right."""


class ConcessionKind(StrEnum):
    """Given before making, or after."""

    DEVIATION_PERMIT = "deviation permit"
    CONCESSION = "concession"


PREFIX = {ConcessionKind.DEVIATION_PERMIT: "DP-", ConcessionKind.CONCESSION: "CN-"}


class Standing(StrEnum):
    """Whether it may be used now. Only the first one lets a unit through; none of the others ever turns back."""

    IN_FORCE = "in force"
    USED_UP = "used up"
    EXPIRED = "expired"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class Concession:
    """One permit or concession as it was granted; it never changes. Limits SI, unscaled; None: no limit there."""

    number: str
    """Given by the records; empty until then."""
    kind: ConcessionKind
    part: str
    characteristic: str
    unit_symbol: str
    lower: float | None
    upper: float | None
    lot: str
    """Empty: any lot of the part, up to the quantity."""
    quantity: int | None
    """Units at most; None: every unit of the lot that fits."""
    expires_utc: datetime
    customer_reference: str
    why: str
    who: str
    granted_utc: datetime
    bin_number: int
    bin_name: str

    @property
    def limits_words(self) -> str:
        """The widened limits, as people write them."""
        ends = [format_quantity(each, self.unit_symbol) for each in (self.lower, self.upper) if each is not None]
        if self.lower is None:
            return f"{self.characteristic} up to {ends[0]}"
        if self.upper is None:
            return f"{self.characteristic} from {ends[0]}"
        return f"{self.characteristic} from {ends[0]} to {ends[1]}"

    @property
    def extent_words(self) -> str:
        """What it is for: a lot, a quantity, or both."""
        lot = f"lot {self.lot}" if self.lot else f"any lot of {self.part}"
        return lot if self.quantity is None else f"{lot}, {self.quantity} units at most"


def standing(found: Concession, *, used: int, ended: str, latest_utc: datetime) -> Standing:
    """Return whether a concession may be used.

    Args:
        used: units that were accepted by it.
        ended: what the record of its end says (a `Standing`); empty: none.
        latest_utc: the latest time that anybody has seen: the clock's, or on record if that is later. So a clock
            that was set back revives nothing.
    """
    if ended:
        return Standing(ended)
    if latest_utc >= found.expires_utc:
        return Standing.EXPIRED
    if found.quantity is not None and used >= found.quantity:
        return Standing.USED_UP
    return Standing.IN_FORCE


def require_grantable(wanted: Concession, plan: Plan, *, latest_utc: datetime) -> None:
    """Raise `ConcessionError` for what can't be granted: not wider, without an end, into a bin that is taken."""
    if not wanted.lot and wanted.quantity is None:
        raise ConcessionError(f"a {wanted.kind} is for a lot or a quantity, or both: say which.")
    if wanted.quantity is not None and wanted.quantity < 1:
        raise ConcessionError(f"a quantity is 1 or more; got {wanted.quantity}.")
    if wanted.expires_utc <= latest_utc:
        raise ConcessionError(
            f"it must end later than now ({latest_utc:%Y-%m-%d %H:%M} UTC, or what is on record if that is later); got "
            f"{wanted.expires_utc:%Y-%m-%d %H:%M} UTC."
        )
    if not wanted.why.strip() or not wanted.customer_reference.strip():
        raise ConcessionError(f"a {wanted.kind} needs a reason and the customer's reference.")
    _require_wider(wanted, plan)
    taken = next((each for each in plan.bins if each.number == wanted.bin_number), None)
    if taken is not None:
        raise ConcessionError(
            f"bin {wanted.bin_number} ({taken.name}) of plan {plan.part} takes {taken.takes}. Units that are accepted "
            "by concession never lie among others: choose a bin of its own."
        )


def _require_wider(wanted: Concession, plan: Plan) -> None:
    found = plan.characteristic(wanted.characteristic)
    if found is None:
        known = ", ".join(each.name for each in plan.characteristics)
        raise ConcessionError(f"plan {plan.part} has no limits of {wanted.characteristic[:40]}; it has: {known}.")
    sides = ((found.lower, wanted.lower, -1.0, "lower"), (found.upper, wanted.upper, 1.0, "upper"))
    wider = False
    for limit, new, sign, name in sides:
        if (limit is None) != (new is None):
            has = "no" if limit is None else "a"
            raise ConcessionError(f"{found.name} has {has} {name} limit in the plan; the widened limits must be alike.")
        if limit is not None and new is not None:
            if sign * (new - limit) < 0.0:
                raise ConcessionError(
                    f"the {name} limit of {found.name} is {format_quantity(limit, found.unit_symbol)}; a {wanted.kind} "
                    f"widens it, and {format_quantity(new, found.unit_symbol)} is narrower."
                )
            wider = wider or new != limit
    if not wider:
        raise ConcessionError(f"these are the limits of {found.name} in the plan; a {wanted.kind} widens one of them.")


def widened(characteristic: Characteristic, found: Concession) -> Characteristic:
    """Return the characteristic with the widened limits; its guard band stays."""
    return replace(characteristic, lower=found.lower, upper=found.upper)


def refusal(
    found: Concession, plan: Plan, *, decision: Decision, reason_code: str, results: Iterable[Result]
) -> str:
    """Return why a unit can't be accepted by a concession; empty if it can.

    It can if it is FAIL by this one characteristic alone and lies within the widened limits by the plan's guard band. A
    unit that was not measured can't, nor one that is open, whatever the limits: nothing is known of it.
    """
    if decision is Decision.INVALID:
        return "it was not measured; what is not known is never accepted"
    if decision is Decision.PASS:
        return "it passes and needs none"
    if reason_code == "coil_open":
        return "its coil is open"
    by_name = {each.characteristic: each for each in results}
    judged = {
        each.name: judge(each, by_name[each.name]) for each in plan.characteristics if each.name in by_name
    }
    silent = [name for name, each in judged.items() if each.decision is Decision.INVALID]
    # Judged again under a plan that limits more than its run measured: nothing is known of the rest.
    silent += [each.name for each in plan.characteristics if each.name not in by_name]
    failing = [name for name, each in judged.items() if each.decision is Decision.FAIL]
    if silent:
        return f"{', '.join(silent)} was not measured"
    if found.characteristic not in failing:
        return f"it does not fail by {found.characteristic}"
    if len(failing) > 1:
        return f"it fails by {', '.join(each for each in failing if each != found.characteristic)} too"
    return _outside(found, plan, by_name[found.characteristic])


def _outside(found: Concession, plan: Plan, result: Result) -> str:
    characteristic = plan.characteristic(found.characteristic)
    if characteristic is None:
        return f"its plan has no limits of {found.characteristic}"
    if judge(widened(characteristic, found), result).decision is not Decision.PASS:
        value = format_quantity(result.value, result.unit_symbol, digits=5)
        return f"{found.characteristic} = {value} is not within the widened limits by the guard band"
    return ""


def judgements_under(plan: Plan, results: Iterable[Result]) -> tuple[Judgement, ...]:
    """Return what the plan says of each result: a concession changes none of it."""
    by_name = {each.characteristic: each for each in results}
    return tuple(judge(each, by_name[each.name]) for each in plan.characteristics if each.name in by_name)
