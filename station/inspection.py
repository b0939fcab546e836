"""A unit's way: scan, load, run, record, next action. The same for commands, pages and the nightly.

    scan -> serial -> held or judged already? -> plan revision -> bench verified?
         -> nest seen empty -> loaded -> run opened on record -> run -> recorded -> told

A scan is refused with `SerialError` before anything is touched. Once a run is open it always ends on record.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from importlib.metadata import version
from typing import Protocol

from drivers.stop import Stopped
from station.core.events import (
    BenchLatched,
    Event,
    NextAction,
    RunDecided,
    RunStarted,
    ScanEnded,
    ScanTaken,
)
from station.core.fixture_life import FixtureLife, ServiceState, fixture_life
from station.core.frequency import is_due
from station.core.gates import gate
from station.core.lot_life import LotLife, refusal
from station.core.places import NOWHERE, Place
from station.core.plan import MethodStep, Plan
from station.core.reasons import reason
from station.core.results import Decision, Reason
from station.core.run_record import Purpose, RunOpened, RunRecord, UnitId
from station.core.serials import read_serial
from station.core.verification import Verification
from station.errors import BenchError, NestBusy, SerialError
from station.heat_memory import HeatInMemory, HeatMemory
from station.methods.context import Context
from station.methods.cooling import wait_until_cool
from station.records.views import UnitState
from station.sequencer import EarlierRun, RunBench, RunRequest, run_unit

POLL_S = 0.2
"""How often the nest is looked at while a unit is being loaded."""

LOAD_TIMEOUT_S = 300.0
"""How long a scanned unit may take to reach the nest."""

REFERENCE_LOT = "reference"
"""Where reference units are filed; no lot's statistics see it."""

HOT_WORDS = "Do not touch: the nest is hot. Wait until it is released."


class Hands(Protocol):
    """Whoever loads and unloads: an operator who is told, or the simulated one."""

    def unload(self) -> None:
        """The nest is to be emptied."""
        ...

    def load(self, serial: str) -> None:
        """The unit is to be put into the empty nest."""
        ...

    def place_spacer(self, height_m: float) -> None:
        """The spacer of this height is to be placed (fixtures without a stage)."""
        ...


class InspectionRecords(Protocol):
    """The part of the records that a unit's way needs."""

    def unit_state(self, serial: str) -> UnitState | None:
        """Return what is on record of a unit, None if nothing."""
        ...

    def positions(self, lot: str, panel: str, *, serial: str = "") -> tuple[int, int]:
        """Return how many units of the lot, and of the panel, were decided before this one."""
        ...

    def lot_life(self, lot: str) -> LotLife:
        """Return what has happened to a lot: held, closed, units scrapped."""
        ...

    def latest_verification(self, bench: str, nest: str) -> Verification | None:
        """Return the last verification of a bench and nest, whether it succeeded or not."""
        ...

    def count_since(self, verification: Verification) -> int:
        """Return how many units have been judged on it."""
        ...

    def service_state(
        self, bench: str, nest: str, fixture_identity: str, *, verification_id: str = ""
    ) -> ServiceState:
        """Return what the cleaning log says of a fixture."""
        ...

    def open_run(self, opened: RunOpened) -> None:
        """Commit that a run begins."""
        ...

    def close_run(self, record: RunRecord) -> int:
        """Commit a whole run; only then may its decision be shown."""
        ...


@dataclass(frozen=True, slots=True)
class PlanInUse:
    """A plan, and whether it is a released revision."""

    plan: Plan
    released: bool
    design_field: Callable[[float, float], float] | None = None
    """The drawing's field, T/A at (height_m, lateral_m)."""


@dataclass(frozen=True, slots=True)
class Request:
    """Who asks for runs, why, and what else is fixed for a sitting."""

    operator: str
    purpose: Purpose = Purpose.PRODUCTION
    lot: str = ""
    """Only units of this lot are taken; empty: any."""
    repeat: bool = False
    """Measure units again that are judged already."""
    load_timeout_s: float = LOAD_TIMEOUT_S
    methods: tuple[str, ...] = ()
    """Only these methods, due or not; empty: those that are due. A production run can't choose."""


@dataclass(slots=True)
class Inspection:
    """Takes scans, one after the other, on one open bench."""

    bench: RunBench
    records: InspectionRecords
    plans: tuple[PlanInUse, ...]
    hands: Hands
    new_id: Callable[[], str]
    tell: Callable[[Event], object] = field(default=lambda event: None)
    fixture_identity: str = ""
    calibration_overdue: tuple[str, ...] = ()
    heat: HeatMemory = field(default_factory=HeatInMemory)
    place: Callable[[RunRecord, Plan], Place] = field(default=lambda record, plan: NOWHERE)
    """Gives a decided unit a pocket of a tray. Must not raise: the run is on record already."""

    def inspect(self, scan: str, request: Request) -> RunRecord:
        """Take one scan through to its record.

        Raises:
            SerialError: the scan is refused; the message says what it is and what to do.
            NestBusy: the unit did not reach the nest in time.
            RecordError: the run can't be put on record; its decision is not shown then.
            BenchError: the bench is latched: no run until a person clears it; or the nest stays hot.
            InstrumentError: an instrument is still unplugged, or the fixture failed before a run was open.
            Stopped: a stop came before a run was open.
        """
        plan, unit = self._recognise(scan, request)
        return self.measure(plan, unit, request)

    def measure(self, plan: PlanInUse, unit: UnitId, request: Request) -> RunRecord:
        """Take a known unit (a reference unit has no lot's serial) from the scan on; raises as `inspect`."""
        self._admitted(unit, request)
        self.tell(ScanTaken(serial=unit.serial))
        self.bench.mend()
        self.release()
        self._wait_for_unit(unit, request)
        try:
            # Loading may take minutes: it may be held, or judged on another bench, meanwhile.
            state = self._admitted(unit, request)
        except SerialError:
            self.tell(ScanEnded(words=""))
            raise
        opened = self._opening(plan.plan, unit, request, state)
        run_request = self._run_request(plan, opened, state, request)
        self.records.open_run(opened)
        self.tell(RunStarted(serial=unit.serial, run_id=opened.run_id))
        record = run_unit(self.bench, run_request, on_event=self.tell)
        self.records.close_run(record)
        place = self.place(record, plan.plan)
        self._tell_decision(record, place)
        self._release_after(record, place)
        return record

    def _admitted(self, unit: UnitId, request: Request) -> UnitState | None:
        """Return what is on record of a unit that may be measured now; raises SerialError for any other."""
        state = self.records.unit_state(unit.serial)
        if request.purpose is Purpose.PRODUCTION and (why := refusal(self.records.lot_life(unit.lot), unit.serial)):
            raise SerialError(why)
        _require_free(unit, state, request)
        return state

    def release(self) -> None:
        """Wait until the nest is cool enough to touch, also after a restart; at once if it is not marked as hot.

        Raises:
            BenchError: it reads hot long after it should have cooled.
            Stopped: asked to stop; the nest stays marked as hot.
        """
        if self.heat.hot() is None:
            return
        self.tell(NextAction(words=HOT_WORDS))
        wait_until_cool(self.bench, self.heat, tell=self.tell)

    def _release_after(self, record: RunRecord, place: Place) -> None:
        if self.heat.hot() is None or not record.drive_off_verified:
            return
        try:
            self.release()
        except Stopped:
            # The run is on record. The nest stays marked as hot: whoever comes next waits for it.
            return
        except BenchError as error:
            self.tell(NextAction(words=str(error)))
            return
        self.tell(NextAction(words=next_action(record, place=place)))

    def _recognise(self, scan: str, request: Request) -> tuple[PlanInUse, UnitId]:
        refusals: list[str] = []
        for each in self.plans:
            try:
                unit = read_serial(each.plan, scan)
            except SerialError as error:
                refusals.append(str(error))
                continue
            if request.lot and unit.lot != request.lot:
                raise SerialError(
                    f"{unit.serial} is of lot {unit.lot}, but this is lot {request.lot}. "
                    "Put it back to its own lot, or ask for that lot."
                )
            return each, unit
        if not refusals:
            raise SerialError("no plan is released yet. Release one: coilgate plan release FILE --who --why")
        raise SerialError(refusals[0])

    def _wait_for_unit(self, unit: UnitId, request: Request) -> None:
        """Empty first, then loaded: what lies in the nest from before is not this unit."""
        if self.bench.fixture.state().loaded:
            self.tell(NextAction(words="Unload the nest."))
            self.hands.unload()
            self.wait(
                loaded=False,
                what=f"the nest was not emptied for {unit.serial}",
                timeout_s=request.load_timeout_s,
            )
        self.tell(NextAction(words=f"Load {unit.serial}."))
        self.hands.load(unit.serial)
        self.wait(loaded=True, what=f"{unit.serial} was not loaded", timeout_s=request.load_timeout_s)

    def wait(self, *, loaded: bool, what: str, timeout_s: float) -> None:
        """Wait until the nest reads loaded, or empty; `NestBusy`, saying `what`, if it takes too long."""
        clock = self.bench.clock
        start_s = clock.monotonic()
        while self.bench.fixture.state().loaded != loaded:
            if clock.monotonic() - start_s > timeout_s:
                raise NestBusy(f"{what} within {timeout_s:g} s. Nothing was measured; scan it again.")
            clock.sleep(POLL_S)

    def _opening(self, plan: Plan, unit: UnitId, request: Request, state: UnitState | None) -> RunOpened:
        setup = self.bench.setup
        return RunOpened(
            run_id=self.new_id(),
            unit=unit,
            part=plan.part,
            plan_hash=plan.text_hash,
            bench=setup.name,
            nest=setup.nest,
            operator=request.operator,
            purpose=request.purpose,
            simulated=setup.simulated,
            opened_utc=self.bench.clock.utc_now(),
            software_version=_software_version(),
            repeats_run_id="" if state is None else state.run_id,
        )

    def _run_request(
        self, plan: PlanInUse, opened: RunOpened, state: UnitState | None, request: Request
    ) -> RunRequest:
        verification = self.records.latest_verification(opened.bench, opened.nest)
        return RunRequest(
            opened=opened,
            context=Context(self.bench, plan.plan, plan.design_field, self.hands.place_spacer, self.heat),
            due=self._due(plan.plan, opened.unit, request),
            gate=self._gate(plan, opened, verification),
            verification_id="" if verification is None else verification.verification_id,
            earlier=_earlier(state),
            seed=self.bench.setup.seed,
        )

    def _gate(
        self, plan: PlanInUse, opened: RunOpened, verification: Verification | None
    ) -> Reason | None:
        return gate(
            opened.purpose,
            verification=verification,
            now_utc=opened.opened_utc,
            units_since_verification=0 if verification is None else self.records.count_since(verification),
            plan_released=plan.released,
            part=plan.plan.part,
            fixture_identity=self.fixture_identity,
            calibration_overdue=self.calibration_overdue,
            fixture_required=plan.plan.fixture,
            plan_hash=plan.plan.text_hash,
            life=self.fixture_life("" if verification is None else verification.verification_id),
        )

    def fixture_life(self, verification_id: str) -> FixtureLife:
        """Return how long the fixture's probes have served now."""
        setup = self.bench.setup
        service = self.records.service_state(
            setup.name, setup.nest, self.fixture_identity, verification_id=verification_id
        )
        cycles = 0
        if setup.fixture.clean_at_cycles is not None or setup.fixture.replace_at_cycles is not None:
            cycles = self.bench.fixture.state().contact_cycles
        return fixture_life(setup.fixture, service, cycles)

    def _due(self, plan: Plan, unit: UnitId, request: Request) -> tuple[MethodStep, ...]:
        if request.methods and request.purpose is not Purpose.PRODUCTION:
            return tuple(each for each in plan.steps if each.method in request.methods)
        in_lot, in_panel = self.records.positions(unit.lot, unit.panel, serial=unit.serial)
        return tuple(
            each
            for each in plan.steps
            if is_due(each.frequency, position_in_lot=in_lot + 1, position_in_panel=in_panel + 1)
        )

    def _tell_decision(self, record: RunRecord, place: Place) -> None:
        if not record.drive_off_verified:
            latched = reason("drive_not_off")
            self.tell(BenchLatched(words=f"{latched.words}. {latched.remedy}"))
        self.tell(
            RunDecided(
                serial=record.opened.unit.serial,
                run_id=record.opened.run_id,
                decision=record.decision,
                bin_number=record.bin_number,
                bin_name=record.bin_name,
                reason=record.reason,
                held=record.held,
                next_action=next_action(record, place=place) if self.heat.hot() is None else HOT_WORDS,
            )
        )


def next_action(record: RunRecord, *, place: Place = NOWHERE) -> str:
    """Return the one thing the operator does after this run; `place`: the pocket that the unit has got."""
    if not record.drive_off_verified and record.reason is not None:
        return record.reason.remedy
    where = f"bin {record.bin_number} ({record.bin_name})" + (f", {place.words}" if place.words else "")
    trouble = f" No pocket: {place.trouble.rstrip('.')}." if place.trouble else ""
    if record.held:
        return f"Held: put it into {where} for the engineer.{trouble}"
    if record.decision is Decision.INVALID and record.reason is not None and record.reason.remedy:
        return record.reason.remedy
    return f"Put it into {where}.{trouble}"


@cache
def _software_version() -> str:
    return version("coilgate")  # reads the distribution's metadata: once is enough


def _require_free(unit: UnitId, state: UnitState | None, request: Request) -> None:
    _require_own_serial(unit, state)
    if state is None or request.purpose is not Purpose.PRODUCTION:
        return
    if state.held:
        raise SerialError(
            f"{unit.serial} is held: {state.reason.words if state.reason else 'an engineer must decide'}. "
            f"An engineer releases it: coilgate unit release {unit.serial}"
        )
    if state.decided is not None and not request.repeat:
        said = f"accepted by concession {state.concession}" if state.concession else state.decided.value
        raise SerialError(
            f"{unit.serial} is judged already: {said}, "
            f"bin {state.bin_number} ({state.bin_name}). "
            "Put it there; to measure it again on purpose, ask for a repeat (--repeat)."
        )


def _require_own_serial(unit: UnitId, state: UnitState | None) -> None:
    """A reference unit is never a unit of a lot, nor the other way: statistics would mix them."""
    if state is None or (state.unit.lot == REFERENCE_LOT) == (unit.lot == REFERENCE_LOT):
        return
    if unit.lot == REFERENCE_LOT:
        raise SerialError(
            f"{unit.serial} is on record as a unit of lot {state.unit.lot}. "
            "Reference units have serials of their own: give it another, in its file too."
        )
    raise SerialError(f"{unit.serial} is a reference unit. Put it back; it is run by: coilgate bench verify")


def _earlier(state: UnitState | None) -> EarlierRun:
    if state is None:
        return EarlierRun()
    return EarlierRun(
        run_id=state.run_id,
        invalid_runs=state.invalid_runs,
        coil_open=state.reason is not None and state.reason.code == "coil_open",
        values=tuple(
            (each.characteristic, each.value, each.expanded_uncertainty)
            for each in state.measured
            if each.expanded_uncertainty is not None
        ),
    )
