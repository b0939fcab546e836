"""Prove that a bench still measures right: itself first, then reference units.

In this order, and no further than the first thing that is wrong: what the reference units must be, identities
and due dates, the empty nest, temperatures and field at rest, open and short correction, good reference units
against their assigned values, known-defect ones that must fail for their own reason.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta

from station.bench_values import check_empty_bench
from station.compensation import SHORTING_PIECE, correct_open, correct_short
from station.core.events import NextAction
from station.core.reference_check import (
    check_reference,
    for_plan,
    methods_for,
    missing_references,
    worn_references,
)
from station.core.run_record import Purpose, RunRecord, UnitId
from station.core.verification import ReferenceKind, ReferenceUnit, Verification, VerificationValue
from station.inspection import LOAD_TIMEOUT_S, REFERENCE_LOT, Inspection, PlanInUse, Request

BEGUN = "begun and not finished"
"""Said of a verification until its end is on record: whoever breaks it off has no verified bench."""


ENTER = "coilgate bench cleaned"
"""How a service of the fixture is entered."""


@dataclass(frozen=True, slots=True)
class Proof:
    """A finished verification and what it rests on."""

    verification: Verification
    values: tuple[VerificationValue, ...]

    @property
    def suspect(self) -> bool:
        """Tell whether the bench has measured wrong, so that what it measured before is in doubt too.

        A thing that could not be measured at all (a unit not seated, a plug pulled) says nothing of that.
        """
        return any(not each.agrees and each.value is not None for each in self.values)


def begin(inspection: Inspection, plan: PlanInUse, *, operator: str) -> Verification:
    """Return what goes on record before the first contact: the earlier promise ends here."""
    return _verification(inspection, plan, operator, BEGUN)


def verify(
    inspection: Inspection,
    plan: PlanInUse,
    references: Sequence[ReferenceUnit],
    *,
    operator: str,
    uses: Mapping[str, int] | None = None,
) -> Proof:
    """Check the bench, measure each reference unit and return what that proves; the caller records it.

    Args:
        uses: how often each reference unit was used before, by serial.

    Raises what `Inspection.measure` raises before a run is open; whatever fails later is "not verified".
    """
    sitting = _Sitting(inspection, plan, operator)
    today = inspection.bench.clock.utc_now().date()
    references = for_plan(plan.plan, references)
    wrong = list(missing_references(plan.plan, references, today))
    wrong.extend(worn_references(references, uses or {}))
    if not wrong:
        wrong = sitting.check_bench() or sitting.check_references(references)
    words = "; ".join(wrong) or _good_words(references, sitting)
    done, setup = _verification(inspection, plan, operator, words), inspection.bench.setup
    verification = replace(
        done,
        verified=not wrong,
        verified_until_utc=done.done_utc + timedelta(seconds=setup.verified_for_s),
        unit_limit=setup.verified_units,
        run_ids=tuple(sitting.run_ids),
    )
    return Proof(verification, tuple(sitting.values))


def _verification(inspection: Inspection, plan: PlanInUse, operator: str, words: str) -> Verification:
    """One that is good for nothing yet."""
    now_utc = inspection.bench.clock.utc_now()
    setup = inspection.bench.setup
    return Verification(
        verification_id=inspection.new_id(),
        bench=setup.name,
        nest=setup.nest,
        fixture_identity=inspection.fixture_identity,
        part=plan.plan.part,
        done_utc=now_utc,
        verified=False,
        verified_until_utc=now_utc,
        unit_limit=0,
        operator=operator,
        words=words,
        plan_hash=plan.plan.text_hash,
    )


def _good_words(references: Sequence[ReferenceUnit], sitting: "_Sitting") -> str:
    compared = sum(each.assigned is not None for each in sitting.values)
    good = sum(each.kind == ReferenceKind.GOOD for each in references)
    words = f"{compared} values of {good} good reference units agree"
    words += f", {len(references) - good} known-defect ones fail as they must"
    return words + "".join(f"; {each} on its second seating" for each in sitting.repeated)


@dataclass(slots=True)
class _Sitting:
    """One verification as it goes on: its values, its runs. Each `check_` returns what is wrong, in words."""

    inspection: Inspection
    plan: PlanInUse
    operator: str
    values: list[VerificationValue] = field(default_factory=list)
    run_ids: list[str] = field(default_factory=list)
    repeated: list[str] = field(default_factory=list)

    def check_bench(self) -> list[str]:
        """Check the empty bench and correct the meter; no more once something is wrong."""
        inspection, plan = self.inspection, self.plan.plan
        bench = inspection.bench
        bench.mend()
        bench.begin_run()
        self._unload()
        wrong = self._keep((*self._fixture_life(), *check_empty_bench(bench, bench.clock.utc_now().date())))
        wrong = wrong or self._keep(correct_open(bench, plan))
        if wrong:
            return wrong
        self._load(SHORTING_PIECE, "Put the shorting piece into the nest.")
        wrong = self._keep(correct_short(bench, plan))
        if not bench.make_safe():
            wrong.append("the drive could not be verified off")
        self._unload()
        return wrong

    def _fixture_life(self) -> tuple[VerificationValue, ...]:
        """What is due on the fixture is no wrong measurement: such a value puts no unit in doubt."""
        cycles = self.inspection.bench.fixture.state().contact_cycles
        life, required = self.inspection.fixture_life(""), self.plan.plan.fixture
        wrong = []
        if life.clean_due:
            since = f"{life.cycles_since_cleaning} contacts since the last cleaning"
            wrong.append(f"{since}; clean the probes, then: {ENTER}")
        if life.replace_due:
            wrong.append(f"{life.probe_cycles} contacts of these probes; change them, then: {ENTER} --probes-changed")
        if not self.inspection.fixture_identity.startswith(required):
            wrong.append(f"the plan needs fixture {required}; this one is {self.inspection.fixture_identity}")
        return (
            VerificationValue("", "contact cycles", "1", float(cycles), True),
            VerificationValue("", "fixture", "", None, not wrong, "; ".join(wrong)),
        )

    def check_references(self, references: Sequence[ReferenceUnit]) -> list[str]:
        """Measure the good ones, then the known-defect ones; the first that stays wrong is the last."""
        for reference in sorted(references, key=lambda each: each.kind != ReferenceKind.GOOD):
            wrong = self._check(reference)
            if wrong:
                return wrong
        return []

    def _check(self, reference: ReferenceUnit) -> list[str]:
        record, found = self._measure(reference)
        if record.drive_off_verified and _may_be_repeated(reference, found):
            words = f"{reference.serial} does not read as it should. Clean its pads; it is seated once more."
            self.inspection.tell(NextAction(words=words))
            record, found = self._measure(reference)
            self.repeated.append(reference.serial)
        wrong = self._keep(found)
        if not record.drive_off_verified:
            wrong.append(f"{reference.serial}: the drive could not be verified off")
        return wrong

    def _measure(self, reference: ReferenceUnit) -> tuple[RunRecord, tuple[VerificationValue, ...]]:
        methods = methods_for(self.plan.plan, reference)
        request = Request(self.operator, Purpose.VERIFICATION, methods=methods)
        record = self.inspection.measure(self.plan, UnitId(reference.serial, REFERENCE_LOT), request)
        self.run_ids.append(record.opened.run_id)
        return record, check_reference(reference, record, self.plan.plan)

    def _keep(self, found: Sequence[VerificationValue]) -> list[str]:
        self.values.extend(found)
        return [_said(each) for each in found if not each.agrees]

    def _unload(self) -> None:
        self.inspection.tell(NextAction(words="Empty the nest."))
        self.inspection.hands.unload()
        self.inspection.wait(loaded=False, what="the nest was not emptied", timeout_s=LOAD_TIMEOUT_S)

    def _load(self, serial: str, words: str) -> None:
        self.inspection.tell(NextAction(words=words))
        self.inspection.hands.load(serial)
        self.inspection.wait(loaded=True, what=f"{serial} was not loaded", timeout_s=LOAD_TIMEOUT_S)


def _may_be_repeated(reference: ReferenceUnit, found: Sequence[VerificationValue]) -> bool:
    """A good one is seated once more; a known-defect one only if it was not measured: a pass is a pass."""
    wrong = [each for each in found if not each.agrees]
    if reference.kind == ReferenceKind.GOOD:
        return bool(wrong)
    return bool(wrong) and all(each.value is None for each in found)


def _said(found: VerificationValue) -> str:
    if not found.subject:
        return found.words
    return f"{found.subject} {found.characteristic}: {found.words}"
