"""What the run of a reference unit shows: does a good one agree, does a known-defect one fail as it must.

A result agrees if it is no further from the assigned value than both uncertainties together allow:
|x - x_ref| <= sqrt(U^2 + U_ref^2), the E_n number of ISO 13528:2015, 9.7, being 1 at most. Pure.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date

from station.core.characteristics import yields
from station.core.plan import FieldStep, HeatingStep, Plan
from station.core.results import Decision, Judgement, Result
from station.core.run_record import RunRecord
from station.core.verification import AssignedValue, ReferenceKind, ReferenceUnit, VerificationValue

FEWEST_GOOD = 2
"""Good reference units that a verification needs: one near each end of the range."""

_CODES = {"below": "below_lower", "above": "above_upper", "open": "coil_open"}


def check_reference(
    reference: ReferenceUnit, record: RunRecord, plan: Plan
) -> tuple[VerificationValue, ...]:
    """Return what the run of a reference unit shows: a value for each thing that it must show."""
    if reference.kind != ReferenceKind.GOOD:
        return check_failures(reference, record)
    compared = compare(reference, record.results, run_id=record.opened.run_id)
    return (*compared, *_field_sensor(compared), *_sensor_place(reference.serial, record, plan))


def _field_sensor(compared: Sequence[VerificationValue]) -> Iterator[VerificationValue]:
    """The field sensor's gain, over all heights; of the wrong sign there is no value, and none agrees."""
    fields = [each for each in compared if each.characteristic.startswith("B@") and each.assigned]
    known = [each for each in fields if each.value is not None and each.allowed is not None]
    if not known:
        return
    ratios = [each.value / each.assigned for each in known if each.value is not None and each.assigned]
    # A gain is common to all heights, so what the heights allow does not shrink with their number.
    allowed = max(each.allowed / abs(each.assigned) for each in known if each.allowed and each.assigned)
    gain = sum(ratios) / len(ratios)
    yield _bounded(known[0], "field gain", "1", gain, 1.0 - allowed, 1.0 + allowed)


def _sensor_place(serial: str, record: RunRecord, plan: Plan) -> Iterator[VerificationValue]:
    """Height and axis of the sensor, as the field's profile tells them."""
    step = next((each for each in plan.steps if isinstance(each, FieldStep)), None)
    results = {each.characteristic: each for each in record.results}
    if step is None:
        return
    limits = {"height_offset": step.height_offset_limit_m, "lateral_error": step.lateral_limit_m}
    for name, limit in limits.items():
        found = results.get(name)
        if found is None or found.value is None:
            continue
        like = VerificationValue(serial, name, "m", None, False, run_id=record.opened.run_id)
        yield _bounded(like, name.replace("_", " "), "m", found.value, -limit, limit)


def _bounded(
    like: VerificationValue, name: str, unit_symbol: str, value: float, lower: float, upper: float
) -> VerificationValue:
    agrees = lower <= value <= upper
    return VerificationValue(
        subject=like.subject,
        characteristic=name,
        unit_symbol=unit_symbol,
        value=value,
        agrees=agrees,
        words="" if agrees else f"{value:.5g}; must lie from {lower:.5g} to {upper:.5g}",
        lower=lower,
        upper=upper,
        run_id=like.run_id,
    )


def compare(
    reference: ReferenceUnit, results: Iterable[Result], *, run_id: str = ""
) -> tuple[VerificationValue, ...]:
    """Return how results compare with the assigned values; one not measured does not agree."""
    by_name = {each.characteristic: each for each in results}
    return tuple(
        _compare(reference.serial, each, by_name.get(each.characteristic), run_id) for each in reference.values
    )


def _compare(serial: str, assigned: AssignedValue, result: Result | None, run_id: str) -> VerificationValue:
    measured = result is not None and result.value is not None and result.expanded_uncertainty is not None
    found = VerificationValue(
        subject=serial,
        characteristic=assigned.characteristic,
        unit_symbol=assigned.unit_symbol,
        value=result.value if result is not None and measured else None,
        agrees=False,
        expanded_uncertainty=result.expanded_uncertainty if result is not None and measured else None,
        assigned=assigned.value,
        assigned_uncertainty=assigned.expanded_uncertainty,
        run_id=run_id,
    )
    return _with_verdict(found, result)


def _with_verdict(found: VerificationValue, result: Result | None) -> VerificationValue:
    if found.value is None or found.en is None or found.assigned is None:
        why = "" if result is None or result.reason is None else f": {result.reason.words}"
        return replace(found, words=f"not measured{why}")
    # NaN agrees with nothing.
    if abs(found.en) <= 1.0:
        return replace(found, agrees=True)
    return replace(found, words=f"{found.value:.6g}, assigned {found.assigned:.6g} (E_n {found.en:+.2f})")


def check_failures(reference: ReferenceUnit, record: RunRecord) -> tuple[VerificationValue, ...]:
    """Return whether a known-defect unit fails for the right reason: at each limit that it must, at no other.

    Judged before the gate: the run itself is INVALID, since only production gives FAIL.
    """
    judged = {each.characteristic: each for each in record.judgements}
    results = {each.characteristic: each for each in record.results}
    must = dict(reference.fails)
    wanted = (
        _must_fail(reference.serial, name, side, judged.get(name), results.get(name), record)
        for name, side in must.items()
    )
    other = (
        _must_not_fail(reference.serial, each, results.get(each.characteristic), record)
        for each in record.judgements
        if each.decision is Decision.FAIL and each.characteristic not in must
    )
    return (*wanted, *other)


def _must_fail(
    serial: str, name: str, side: str, judged: Judgement | None, result: Result | None, record: RunRecord
) -> VerificationValue:
    failed = judged is not None and judged.decision is Decision.FAIL
    reason = judged.reason if judged is not None and failed else None
    if side == "open":
        # Contact was proved, and the meter read open: on the first seating that is no FAIL yet.
        reason = record.reason if reason is None else reason
        if reason is None or reason.code != _CODES[side]:
            reason = None if result is None else result.reason
    right = reason is not None and reason.code == _CODES[side]
    said = "fails for nothing" if reason is None else reason.words
    return _defect_value(
        serial, name, result, record, agrees=right, words="" if right else f"must fail {side}; {said}"
    )


def _must_not_fail(
    serial: str, judged: Judgement, result: Result | None, record: RunRecord
) -> VerificationValue:
    said = "" if judged.reason is None else judged.reason.words
    words = f"fails for another reason than its own: {said}"
    return _defect_value(serial, judged.characteristic, result, record, agrees=False, words=words)


def _defect_value(
    serial: str, name: str, result: Result | None, record: RunRecord, *, agrees: bool, words: str
) -> VerificationValue:
    return VerificationValue(
        subject=serial,
        characteristic=name,
        unit_symbol="" if result is None else result.unit_symbol,
        value=None if result is None else result.value,
        agrees=agrees,
        words=words,
        expanded_uncertainty=None if result is None else result.expanded_uncertainty,
        run_id=record.opened.run_id,
    )


def for_plan(plan: Plan, references: Sequence[ReferenceUnit]) -> tuple[ReferenceUnit, ...]:
    """Return what a plan can use of its part's reference units: values that it measures, limits that it judges.

    A known-defect unit whose limits the plan does not judge is left out: it could not fail for its reason.
    """
    measured = {name for step in plan.steps for name, _ in yields(step)}
    judged = {each.name for each in plan.characteristics}
    found = (
        replace(
            each,
            values=tuple(value for value in each.values if value.characteristic in measured),
            fails=tuple(limit for limit in each.fails if limit[0] in judged),
        )
        for each in references
    )
    return tuple(each for each in found if each.fails or each.kind == ReferenceKind.GOOD)


def missing_references(plan: Plan, references: Sequence[ReferenceUnit], today: date) -> tuple[str, ...]:
    """Return what a set of reference units lacks to prove a bench for `plan`, in words; empty if nothing.

    Needed: good ones at both ends of R20's limits, an assigned value of every characteristic that the plan
    judges (so one with an assigned rise where it heats), one known-defect unit at least, all in date.
    """
    good = [each for each in references if each.kind == ReferenceKind.GOOD and each.values]
    return (
            *_too_few(plan, good),
            *_not_covered(plan, good),
            *_no_defect(references),
            *_out_of_date(references, today),
        )


def _too_few(plan: Plan, good: Sequence[ReferenceUnit]) -> Iterator[str]:
    if len(good) < FEWEST_GOOD:
        yield f"{len(good)} good reference units with assigned values; {FEWEST_GOOD} are needed"
        return
    r20 = plan.characteristic("R20")
    if r20 is None or r20.lower is None or r20.upper is None:
        return
    middle = (r20.lower + r20.upper) / 2.0
    values = [found.value for each in good if (found := each.assigned("R20")) is not None]
    if not values or not min(values) < middle < max(values):
        yield f"no good reference units of R20 on both sides of {middle:.4g} ohm, the middle of its limits"


def _not_covered(plan: Plan, good: Sequence[ReferenceUnit]) -> Iterator[str]:
    known = {value.characteristic for each in good for value in each.values}
    lacking = [each.name for each in plan.characteristics if each.name not in known]
    if lacking:
        yield f"no good reference unit has an assigned value of {', '.join(lacking)}"


def _no_defect(references: Sequence[ReferenceUnit]) -> Iterator[str]:
    if all(each.kind == ReferenceKind.GOOD for each in references):
        yield "no known-defect reference unit: that this bench fails what must fail is not shown"


def _out_of_date(references: Sequence[ReferenceUnit], today: date) -> Iterator[str]:
    for each in references:
        for value in each.values:
            if value.valid_until is not None and value.valid_until < today:
                what = "certificate" if value.certificate else "assigned value"
                yield f"{each.serial} {value.characteristic}: its {what} ended on {value.valid_until}"


def worn_references(references: Sequence[ReferenceUnit], uses: Mapping[str, int]) -> tuple[str, ...]:
    """Return which reference units have been used as often as they may be, in words."""
    return tuple(
        f"{each.serial}: used {uses.get(each.serial, 0)} times, its limit; put a new one in its place"
        for each in references
        if each.use_limit is not None and uses.get(each.serial, 0) >= each.use_limit
    )


def methods_for(plan: Plan, reference: ReferenceUnit) -> tuple[str, ...]:
    """Return the methods that a reference unit is run with: heating only where a rise is assigned."""
    heated = {name for step in plan.steps if isinstance(step, HeatingStep) for name, _ in yields(step)}
    heats = any(each.characteristic in heated for each in reference.values)
    return tuple(each.method for each in plan.steps if heats or not isinstance(each, HeatingStep))
