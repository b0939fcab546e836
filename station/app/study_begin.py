"""What a new study on a bench is of: everything that can be wrong with it is told before the first unit is loaded."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from station.app.files import read_reference_units
from station.app.study_records import open_study
from station.core.plan import Characteristic, Plan
from station.core.reasons import reason
from station.core.scans import BADGE
from station.core.serials import read_serial
from station.core.verification import ReferenceKind, ReferenceUnit
from station.data import data_path
from station.errors import SerialError, StationError
from station.inspection import Inspection, PlanInUse
from station.quality.study_state import Studied, StudyKind, StudySetup, StudyState, steps_of
from station.records import Records

USUAL_TRIALS = {StudyKind.CROSSED: 3, StudyKind.TYPE1: 25}
"""Common practice, no source; for a type-1 study 50 are usual too."""

USUAL_SIZE = (10, 3, 3)
"""Units, appraisers, trials of a crossed study: common practice, no source."""

MOST_READINGS = 3_000
"""Of a study, that nobody begins one by a slip that could never end: months of loading."""

_SEEDS = 2**31


@dataclass(frozen=True, slots=True)
class StudyWanted:
    """A study that somebody asks for. One unit: a reference unit, in a type-1 study; more: a crossed study."""

    units: tuple[str, ...]
    appraisers: tuple[str, ...]
    method: str = ""
    """Whose characteristics are studied, all that the plan has limits for; or name them:"""
    characteristics: tuple[str, ...] = ()
    """Of one method."""
    trials: int | None = None
    seed: int | None = None
    """Of the order; None: drawn."""
    who: str = ""
    """Badge of who opens it; empty: the first appraiser."""
    why: str = ""
    references: Path | None = None
    """Folder of the reference units' files; None: the shipped, invented ones, on simulated benches only."""

    @property
    def kind(self) -> StudyKind:
        """What is asked for, by the number of units."""
        return StudyKind.TYPE1 if len(self.units) == 1 else StudyKind.CROSSED


def begin_study(records: Records, inspection: Inspection, wanted: StudyWanted) -> StudyState:
    """Put a new study on the open bench on record; nothing is measured yet.

    Raises StationError: badges that are none, units of no plan in use or of several, characteristics of several
    methods, a study that is too small, a reference unit without a value that may be used today.
    """
    _check_badges(wanted)
    kind, bench = wanted.kind, inspection.bench
    trials = USUAL_TRIALS[kind] if wanted.trials is None else wanted.trials
    readings = len(wanted.units) * len(wanted.appraisers) * trials
    if readings > MOST_READINGS:
        raise StationError(f"a study has {MOST_READINGS} readings at most; this one would have {readings}.")
    reference = _reference(inspection, wanted) if kind is StudyKind.TYPE1 else None
    plan = _plan_of(inspection, wanted, reference).plan
    method, characteristics = studied_characteristics(plan, wanted)
    now_utc = bench.clock.utc_now()
    setup = StudySetup(
        name="",
        kind=kind,
        bench=bench.setup.name,
        nest=bench.setup.nest,
        fixture_identity=inspection.fixture_identity,
        simulated=bench.setup.simulated,
        part=plan.part,
        plan_hash=plan.text_hash,
        method=method,
        characteristics=tuple(_studied(each, reference, now_utc.date()) for each in characteristics),
        units=wanted.units,
        appraisers=wanted.appraisers,
        trials=trials,
        seed=secrets.randbelow(_SEEDS) if wanted.seed is None else wanted.seed,
        opened_utc=now_utc,
        who=wanted.who or wanted.appraisers[0],
        why=wanted.why,
        bench_state=_bench_state(records, inspection),
    )
    try:
        steps_of(setup)
    except ValueError as error:
        raise StationError(f"{error}.") from error
    records.keep_plan(plan)
    return open_study(records, setup)


def studied_characteristics(plan: Plan, wanted: StudyWanted) -> tuple[str, tuple[Characteristic, ...]]:
    """Return the method that a study runs, and the plan's characteristics that it is of.

    Raises StationError for none, for one that the plan has no limits for, and for several methods.
    """
    known = {each.name: each for each in plan.characteristics}
    listed = ", ".join(f"{each.name} ({each.method})" for each in plan.characteristics)
    if bool(wanted.method) == bool(wanted.characteristics):
        raise StationError(f"say what is studied: either a method or its characteristics. {plan.part} has {listed}.")
    if wanted.method:
        found = tuple(each for each in plan.characteristics if each.method == wanted.method)
        if not found:
            raise StationError(f"plan {plan.part} judges nothing by the method {wanted.method!r}. It has {listed}.")
        return wanted.method, found
    for name in wanted.characteristics:
        if name not in known:
            raise StationError(f"plan {plan.part} has no characteristic {name!r}. It has {listed}.")
    found = tuple(known[name] for name in dict.fromkeys(wanted.characteristics))
    methods = sorted({each.method for each in found})
    if len(methods) > 1:
        raise StationError(
            f"a study is of one method; {', '.join(each.name for each in found)} come from {' and '.join(methods)}. "
            "Make a study of each."
        )
    return methods[0], found


def _check_badges(wanted: StudyWanted) -> None:
    if not wanted.units or not wanted.appraisers:
        raise StationError("a study needs units, and the badge of one appraiser at least.")
    for badge in (*wanted.appraisers, *([wanted.who] if wanted.who else [])):
        if not BADGE.fullmatch(badge) or badge.startswith("VI"):
            raise StationError(f"badge {badge[:20]!r}: must read like OP-07 or EN-02.")


def _plan_of(inspection: Inspection, wanted: StudyWanted, reference: ReferenceUnit | None) -> PlanInUse:
    """The one plan in use whose serials these are."""
    if not inspection.plans:
        raise StationError("no plan is released yet. Release one: coilgate plan release FILE --who --why")
    if reference is not None:
        return next(each for each in inspection.plans if each.plan.part == reference.part)
    fitting, refusal = [], ""
    for each in inspection.plans:
        try:
            for serial in wanted.units:
                read_serial(each.plan, serial)
        except SerialError as error:
            refusal = refusal or str(error)
        else:
            fitting.append(each)
    if not fitting:
        raise SerialError(refusal)
    if len(fitting) > 1:
        parts = ", ".join(each.plan.part for each in fitting)
        raise StationError(f"the serials fit several plans ({parts}). Say which one: --plan FILE")
    return fitting[0]


def _reference(inspection: Inspection, wanted: StudyWanted) -> ReferenceUnit:
    setup = inspection.bench.setup
    if wanted.references is None and not setup.simulated:
        raise StationError(
            f"{setup.name}: a study of one unit needs its assigned values. Say where the files of your reference "
            "units are: --references FOLDER. The shipped ones are invented. (A crossed study: name 2 units or more.)"
        )
    folder = wanted.references or data_path("reference_units")
    known = [
        unit
        for each in inspection.plans
        for unit in read_reference_units(folder, each.plan.part)
        if unit.kind == ReferenceKind.GOOD
    ]
    found = next((each for each in known if each.serial == wanted.units[0]), None)
    if found is None:
        listed = ", ".join(each.serial for each in known) or "none"
        raise StationError(
            f"{wanted.units[0]} is no good reference unit of a plan in use; {folder} has {listed}. "
            "Another folder: --references FOLDER. For a crossed study, name 2 units or more."
        )
    return found


def _studied(found: Characteristic, reference: ReferenceUnit | None, today: date) -> Studied:
    plain = Studied(found.name, found.unit_symbol, found.lower, found.upper)
    if reference is None:
        return plain
    assigned = reference.assigned(found.name)
    if assigned is None:
        raise StationError(f"reference unit {reference.serial} has no assigned value of {found.name}. Leave it out.")
    if assigned.valid_until is not None and assigned.valid_until < today:
        raise StationError(
            f"reference unit {reference.serial}: its assigned value of {found.name} ended on {assigned.valid_until}. "
            "Have it assigned anew, or use another unit."
        )
    return Studied(
        found.name,
        found.unit_symbol,
        found.lower,
        found.upper,
        assigned.value,
        assigned.expanded_uncertainty,
        assigned.origin,
    )


def _bench_state(records: Records, inspection: Inspection) -> str:
    """A study of a bench that is not verified is allowed: it may be made to find out why. It says so."""
    setup = inspection.bench.setup
    found = records.latest_verification(setup.name, setup.nest)
    if found is None or not found.verified:
        return reason("not_verified").words if found is None else reason("verification_failed").words
    if found.verified_until_utc <= inspection.bench.clock.utc_now():
        return f"its verification has expired on {found.verified_until_utc:%Y-%m-%d %H:%M} UTC"
    return f"verified on {found.done_utc:%Y-%m-%d %H:%M} UTC"


def words_of_study(state: StudyState) -> str:
    """Return what a study is of, in a sentence."""
    setup = state.setup
    names = ", ".join(each.name for each in setup.characteristics)
    return (
        f"{_count(setup.units, 'unit')}, {_count(setup.appraisers, 'appraiser')}, {setup.trials} trials of {names} "
        f"on {setup.bench}, nest {setup.nest}{' (simulated)' if setup.simulated else ''}"
    )


def words_of_size(setup: StudySetup) -> str:
    """Return what a small study costs; empty for one of the usual size, or of type 1."""
    units, appraisers, trials = USUAL_SIZE
    if setup.kind is StudyKind.TYPE1 or (len(setup.units) >= units and len(setup.appraisers) >= appraisers):
        return ""
    return f"{units} units, {appraisers} appraisers and {trials} trials are usual: a smaller study has wide intervals."


def _count(things: Sequence[str], noun: str) -> str:
    return f"{len(things)} {noun}{'' if len(things) == 1 else 's'}"
