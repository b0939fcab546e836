"""Prove that a bench still measures right: reference units against their assigned values.

A result agrees if it is no further from the assigned value than both uncertainties together allow:
|x - x_ref| <= sqrt(U^2 + U_ref^2), the E_n number of ISO 13528:2015, 9.7, being 1 at most.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta

from station.core.results import Result
from station.core.run_record import Purpose, RunRecord, UnitId
from station.core.verification import AssignedValue, ReferenceUnit, Verification
from station.inspection import Inspection, PlanInUse, Request

REFERENCE_LOT = "reference"
"""Where reference units are filed; no lot's statistics see it."""

VALID_FOR = timedelta(hours=10)
"""How long a verification holds: a shift and its ends."""

UNIT_LIMIT = 1_000
"""How many units may be judged on it."""

FEWEST_GOOD = 2
"""Good reference units that a verification needs: one near each end of the range."""


@dataclass(frozen=True, slots=True)
class Comparison:
    """One result of one reference unit. `en` is the E_n number; None: not measured."""

    serial: str
    characteristic: str
    assigned: float
    value: float | None
    en: float | None

    @property
    def agrees(self) -> bool:
        """Tell whether the result agrees with the assigned value."""
        return self.en is not None and abs(self.en) <= 1.0


def compare(reference: ReferenceUnit, results: Iterable[Result]) -> tuple[Comparison, ...]:
    """Return how a run's results compare with the assigned values; one not measured does not agree."""
    by_name = {each.characteristic: each for each in results}
    return tuple(
        _compare(reference.serial, each, by_name.get(each.characteristic)) for each in reference.values
    )


def verify(
    inspection: Inspection,
    plan: PlanInUse,
    references: Sequence[ReferenceUnit],
    *,
    operator: str,
    valid_for: timedelta = VALID_FOR,
    unit_limit: int = UNIT_LIMIT,
) -> tuple[Verification, tuple[Comparison, ...]]:
    """Measure each reference unit and return what that proves; the caller records it.

    Raises what `Inspection.measure` raises before a run is open; whatever fails later is "not verified".
    """
    request = Request(operator, Purpose.VERIFICATION)
    records: list[RunRecord] = []
    comparisons: list[Comparison] = []
    for reference in references:
        record = inspection.measure(plan, UnitId(reference.serial, REFERENCE_LOT), request)
        records.append(record)
        comparisons.extend(compare(reference, record.results))
    words = _verdict(references, records, comparisons)
    now_utc = inspection.bench.clock.utc_now()
    setup = inspection.bench.setup
    verification = Verification(
        verification_id=inspection.new_id(),
        bench=setup.name,
        nest=setup.nest,
        fixture_identity=inspection.fixture_identity,
        part=plan.plan.part,
        done_utc=now_utc,
        verified=not words,
        verified_until_utc=now_utc + valid_for,
        unit_limit=unit_limit,
        operator=operator,
        words=words or f"{len(comparisons)} values of {len(references)} reference units agree",
        run_ids=tuple(each.opened.run_id for each in records),
    )
    return verification, tuple(comparisons)


def _compare(serial: str, assigned: AssignedValue, result: Result | None) -> Comparison:
    if result is None or result.value is None or result.expanded_uncertainty is None:
        return Comparison(serial, assigned.characteristic, assigned.value, None, None)
    allowed = (result.expanded_uncertainty**2 + assigned.expanded_uncertainty**2) ** 0.5
    en = (result.value - assigned.value) / allowed
    return Comparison(serial, assigned.characteristic, assigned.value, result.value, en)


def _verdict(
    references: Sequence[ReferenceUnit], records: Sequence[RunRecord], comparisons: Sequence[Comparison]
) -> str:
    """Return what speaks against the bench; empty if nothing does."""
    good = [each for each in references if each.kind == "good" and each.values]
    if len(good) < FEWEST_GOOD:
        return f"{len(good)} good reference units with assigned values; {FEWEST_GOOD} are needed"
    for record in records:
        if not record.drive_off_verified:
            return f"{record.opened.unit.serial}: the drive could not be verified off"
    wrong = [each for each in comparisons if not each.agrees]
    return "; ".join(_say(each) for each in wrong)


def _say(comparison: Comparison) -> str:
    where = f"{comparison.serial} {comparison.characteristic}"
    if comparison.value is None or comparison.en is None:
        return f"{where}: not measured"
    return f"{where}: {comparison.value:.6g}, assigned {comparison.assigned:.6g} (E_n {comparison.en:+.2f})"
