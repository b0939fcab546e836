"""One sitting of a gauge study on an open bench: who loads what next, and no reading told to anybody.

    badge scanned -> the appraiser's next unit, in an order of the appraiser's own -> unit scanned
                  -> nest seen empty, loaded -> run (purpose study: no lot's statistics see it)
                  -> on record that this step has its reading
                  -> a run that gave no reading is repeated, with its remedy

Each step is on record before the next is told: a sitting may end anywhere, and the study goes on in the next one.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

from drivers.errors import InstrumentError
from drivers.stop import Stopped
from station.app.lot_units import plan_of
from station.app.plans import design_field_of
from station.app.study_desk import Desk
from station.app.study_records import note_not_taken, note_reading
from station.core.events import (
    BenchLatched,
    Event,
    MethodStarted,
    NestCool,
    NestHot,
    NextAction,
    RunDecided,
    ScanTaken,
)
from station.core.reasons import CAUSES, reason
from station.core.results import Reason, ResultStatus
from station.core.run_record import Purpose, RunRecord, UnitId
from station.core.scans import BADGE
from station.core.serials import read_serial
from station.errors import BenchError, NestBusy, RecordError, SerialError, StationError
from station.inspection import HOT_WORDS, LOAD_TIMEOUT_S, REFERENCE_LOT, Inspection, PlanInUse, Request
from station.quality.study_order import Step
from station.quality.study_state import StudyKind, StudyState
from station.records import Records

Tell = Callable[[Event], object]

_PURPOSE_CODE = reason("not_production").code
_SHOWN = 40


class HiddenReadings:
    """Passes on what the person at the nest must do, and no reading, result, decision or bin."""

    def __init__(self, tell: Tell, *, also: tuple[type[Event], ...] = ()) -> None:
        """Tell `tell`; `also`: further kinds of events that hold no reading."""
        self._tell = tell
        self._shown = (MethodStarted, BenchLatched, NestHot, NestCool, *also)
        self._ended = False

    def __call__(self, event: Event) -> None:
        """Take one event. Only kinds that are known to hold no reading go on: a new kind stays hidden."""
        if isinstance(event, ScanTaken | RunDecided):
            self._ended = isinstance(event, RunDecided)
        # After its decision a run says where the unit goes: not in a study.
        is_action = isinstance(event, NextAction) and (not self._ended or event.words == HOT_WORDS)
        if is_action or isinstance(event, self._shown):
            self._tell(event)


@dataclass(slots=True)
class StudySitting:
    """A study on an open bench, step by step. `state` is what is on record."""

    records: Records
    inspection: Inspection
    state: StudyState
    plan: PlanInUse
    load_timeout_s: float = LOAD_TIMEOUT_S
    _units: dict[str, UnitId] = field(default_factory=dict)

    def measure(self, step: Step) -> Reason | None:
        """Have the unit of a step unloaded, loaded and measured; return why there is no reading, None if there is one.

        The reason's words name the cause only: details may hold readings.

        Raises:
            NestBusy, InstrumentError, SerialError: as `Inspection.measure`; nothing was measured.
            BenchError: the drive could not be verified off, or the nest stays hot. No more units.
            Stopped: a stop was asked for.
            RecordError: the reading can't be put on record.
        """
        request = Request(
            step.appraiser,
            Purpose.STUDY,
            load_timeout_s=self.load_timeout_s,
            methods=("contact", self.state.setup.method),
        )
        record = self.inspection.measure(self.plan, self._unit_of(step.part), request)
        cause = self._cause(record)
        run_id, utc = record.opened.run_id, record.closed_utc
        if cause is None:
            self.state = note_reading(self.records, self.state, step, run_id, utc=utc)
        else:
            self.state = note_not_taken(self.records, self.state, step, run_id, cause.code, utc=utc)
        if not record.drive_off_verified:
            latched = reason("drive_not_off")
            raise BenchError(f"{latched.words}. {latched.remedy}", code=latched.code)
        if cause is not None and cause.code == "stopped":
            raise Stopped(cause.words)
        return cause

    def finish(self) -> None:
        """Have the last unit taken out. Raises NestBusy, BenchError (the nest stays hot), InstrumentError, Stopped."""
        inspection = self.inspection
        inspection.release()
        if not inspection.bench.fixture.state().loaded:
            return
        inspection.tell(NextAction(words="Unload the nest."))
        inspection.hands.unload()
        inspection.wait(loaded=False, what="the nest was not emptied", timeout_s=self.load_timeout_s)

    def _unit_of(self, serial: str) -> UnitId:
        """A reference unit is filed as one, whatever its serial looks like."""
        if serial not in self._units:
            known = self.records.unit_state(serial)
            is_reference = self.state.setup.kind is StudyKind.TYPE1 or (
                known is not None and known.unit.lot == REFERENCE_LOT
            )
            self._units[serial] = (
                UnitId(serial, REFERENCE_LOT) if is_reference else read_serial(self.plan.plan, serial)
            )
        return self._units[serial]

    def _cause(self, record: RunRecord) -> Reason | None:
        """Why a run gives no reading of all that is studied. That it is no production run is as it should be."""
        results = {each.characteristic: each for each in record.results}
        wanted = [results.get(each.name) for each in self.state.setup.characteristics]
        if all(each is not None and each.status is ResultStatus.MEASURED for each in wanted):
            return None
        found = record.reason
        if found is None or found.code == _PURPOSE_CODE:
            found = next((each.reason for each in wanted if each is not None and each.reason is not None), None)
        found = found or reason("not_measured")
        cause = CAUSES.get(found.code)
        return found if cause is None else Reason(found.code, cause.words, cause.remedy)


def appraiser_of(state: StudyState, scan: str) -> str:
    """Return the appraiser whose badge was scanned. Raises SerialError for anybody else, and who has finished."""
    badge, setup = _clean(scan), state.setup
    waiting = " or ".join(state.waiting)
    if not BADGE.fullmatch(badge):
        raise SerialError(f"'{badge[:_SHOWN]}' is no badge. Scan your badge first: {waiting}.")
    if badge not in setup.appraisers:
        raise SerialError(f"{badge} takes no part in study {setup.name}. Waiting for {waiting}.")
    if not state.left(badge):
        raise SerialError(f"{badge} has taken all readings. Waiting for {waiting}.")
    return badge


def check_unit(state: StudyState, step: Step, scan: str) -> None:
    """Raise SerialError if what was scanned is not the unit that is to be loaded."""
    found = _clean(scan)
    if found == step.part:
        return
    if not found:
        raise SerialError(f"the scan is empty. Scan {step.part}.")
    which = "another unit of this study" if found in state.setup.units else "no unit of this study"
    raise SerialError(f"'{found[:_SHOWN]}' is {which}. Put it back; the next is {step.part}.")


def open_sitting(
    records: Records,
    inspection: Inspection,
    state: StudyState,
    tell: Tell,
    *,
    load_timeout_s: float = LOAD_TIMEOUT_S,
    also: tuple[type[Event], ...] = (),
) -> StudySitting:
    """Begin a sitting of a study, its first or a later one; `tell` hears what the person at the nest must do.

    `also`: further kinds of events, without readings, that it hears.

    Raises RecordError if the bench is not the one that the study was begun on, or the plan is no longer on record.
    """
    _require_same_bench(inspection, state)
    setup = state.setup
    plan = plan_of(records, setup.plan_hash)
    if plan is None:
        raise RecordError(f"study {setup.name}: the text of its plan {setup.plan_hash[:12]} is not on record.")
    inspection.tell = HiddenReadings(tell, also=also)
    # Never production, so it does not matter whether the revision is released still.
    in_use = PlanInUse(plan, False, design_field_of(plan))
    return StudySitting(records, inspection, state, in_use, load_timeout_s)


def take_readings(sitting: StudySitting, desk: Desk) -> None:
    """Take every reading that is left, and have the last unit taken out.

    Raises:
        StationError: a unit gave no reading too many times running (the plan says how many), the bench is latched.
        InstrumentError: the bench can't be used, tried as often.
        Stopped: a stop was asked for, or the desk has gone.
    """
    appraiser = ""
    while not sitting.state.complete:
        if not appraiser or not sitting.state.left(appraiser):
            appraiser = _next_appraiser(sitting, desk)
        appraiser = _take_next(sitting, desk, appraiser)
    try:
        sitting.finish()
    except NestBusy as error:
        desk.say(str(error))


def _next_appraiser(sitting: StudySitting, desk: Desk) -> str:
    while True:
        try:
            return appraiser_of(sitting.state, desk.badge(sitting.state))
        except SerialError as error:
            desk.say(f"refused: {error}")


def _take_next(sitting: StudySitting, desk: Desk, appraiser: str) -> str:
    """Take one reading of `appraiser`, or of whoever scans a badge instead; return who measured last."""
    failed = 0
    while (step := sitting.state.next_step(appraiser)) is not None:
        scan = desk.unit(sitting.state, step)
        try:
            if BADGE.fullmatch(_clean(scan)):
                appraiser = appraiser_of(sitting.state, scan)
                continue
            check_unit(sitting.state, step, scan)
        except SerialError as error:
            desk.say(f"refused: {error}")
            continue
        words = _try(sitting, step)
        if not words:
            break
        desk.say(f"Not measured: {words}")
        failed += 1
        if failed >= sitting.plan.plan.invalid_runs_before_held:
            raise StationError(
                f"{step.part} gave no reading {failed} times running. Look at it and at the bench; then go on with the "
                "study, or begin another one without this unit."
            )
    return appraiser


def _try(sitting: StudySitting, step: Step) -> str:
    """Return why there is no reading and what to do; empty if there is one."""
    try:
        cause = sitting.measure(step)
    except (NestBusy, InstrumentError) as error:
        return str(error)
    return "" if cause is None else f"{cause.words}. {cause.remedy}".strip()


def _require_same_bench(inspection: Inspection, state: StudyState) -> None:
    setup, bench = state.setup, inspection.bench.setup
    begun = (setup.bench, setup.nest, setup.simulated)
    here = (bench.name, bench.nest, bench.simulated)
    if here != begun:
        raise RecordError(
            f"study {setup.name} was begun on {_named(*begun)}; this is {_named(*here)}. "
            "A study is of one bench: go on there, or begin another."
        )
    if inspection.fixture_identity != setup.fixture_identity:
        raise RecordError(
            f"study {setup.name} was begun with fixture {setup.fixture_identity}; this is "
            f"{inspection.fixture_identity}. A study is of one fixture: put it back, or begin another study."
        )


def _named(bench: str, nest: str, simulated: bool) -> str:
    return f"{'simulated ' if simulated else ''}bench {bench}, nest {nest}"


def _clean(scan: str) -> str:
    return scan.rstrip("\r\n").strip(" ")
