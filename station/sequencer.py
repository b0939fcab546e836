"""One plan, once, on one unit: measure what is due, judge, sort; the drive is off before it returns.

Imports no records: it returns a pure `RunRecord`, and whoever called it records it. Whatever goes wrong ends
in INVALID with its reason; nothing that goes wrong leaves here as an exception.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Protocol

from drivers.errors import (
    DriveNotOff,
    InstrumentError,
    InstrumentReported,
    LinkClosed,
    LinkOpenError,
    LinkTimeout,
    ReplyError,
    WrongInstrument,
)
from drivers.instruments import FixtureState
from drivers.stop import Stopped
from station.core.bins import sort_unit
from station.core.decide import decide
from station.core.events import Event, MethodStarted, ResultReady
from station.core.limits import judge
from station.core.plan import BinFor, Characteristic, ContactStep, MethodStep, Plan
from station.core.reasons import ABOUT_THE_SEAT, reason
from station.core.results import Decision, Judgement, Reason, Result, ResultStatus
from station.core.run_record import (
    InstrumentIdentity,
    Purpose,
    RunOpened,
    RunRecord,
    Trace,
    TranscriptMessage,
)
from station.errors import BenchError, WatchdogLost
from station.methods.contact import require_contacts, require_open
from station.methods.context import Context, MethodBench, NotMeasured
from station.methods.table import carry_out

_DONE_BY_HAND = ("instrument_reported", "drive_dropped", "drive_not_as_set", "resistance_jumps")
"""Causes that may be the mark of a hand in the fixture."""

MISPLACED = frozenset({"height_offset", "lateral_error"})
"""Reasons of a field without values: the sensor did not stand where it should, or the coil is not as drawn."""

OnEvent = Callable[[Event], object]

_CODES: tuple[tuple[type[InstrumentError], str], ...] = (
    (DriveNotOff, "drive_not_off"),
    (LinkTimeout, "no_reply"),
    (LinkClosed, "link_closed"),
    (LinkOpenError, "link_not_open"),
    (ReplyError, "garbled_reply"),
    (WrongInstrument, "wrong_instrument"),
    (InstrumentReported, "instrument_reported"),
    (InstrumentError, "not_as_set"),
)


class RunBench(MethodBench, Protocol):
    """What a run needs of an open bench besides what methods use."""

    @property
    def identities(self) -> tuple[InstrumentIdentity, ...]:
        """Who measures, as identified when the bench was opened."""
        ...

    def mend(self) -> None:
        """Open lost links anew; raises `InstrumentError`, and `BenchError` if the bench is latched."""
        ...

    def begin_run(self) -> None:
        """Start a new transcript."""
        ...

    def transcript(self) -> tuple[TranscriptMessage, ...]:
        """Return all raw messages since `begin_run`."""
        ...

    def make_safe(self) -> bool:
        """Switch the drive off, verify it, open the route. Never raises; False: drive state unknown."""
        ...


@dataclass(frozen=True, slots=True)
class EarlierRun:
    """What is on record of this unit: the rules for repeats rest on it."""

    run_id: str = ""
    invalid_runs: int = 0
    """INVALID runs in a row before this one, for how the unit sat."""
    coil_open: bool = False
    """The run before read open with good contact."""
    values: tuple[tuple[str, float, float], ...] = ()
    """(characteristic, value, expanded uncertainty) of the last run that measured R20 and L."""


@dataclass(frozen=True, slots=True)
class RunRequest:
    """One run asked for. `gate` is the reason why it can't give PASS or FAIL, None if it can."""

    opened: RunOpened
    context: Context
    due: tuple[MethodStep, ...]
    gate: Reason | None
    verification_id: str = ""
    earlier: EarlierRun = EarlierRun()
    seed: int | None = None

    @property
    def plan(self) -> Plan:
        """The plan that is carried out."""
        return self.context.plan


@dataclass(frozen=True, slots=True)
class _Measured:
    results: dict[str, Result]
    traces: tuple[Trace, ...]
    failure: Reason | None


def run_unit(bench: RunBench, request: RunRequest, *, on_event: OnEvent = lambda event: None) -> RunRecord:
    """Carry out `request` on the loaded unit and return its record, whatever happens.

    `on_event` is called from here; what it raises is dropped, so that no listener can touch a run.
    """
    bench.begin_run()
    measured = _measure(bench, request, _quiet(on_event))
    safe = bench.make_safe()
    measured = _explained(bench, measured)
    if not safe:
        measured = _Measured(measured.results, measured.traces, reason("drive_not_off"))
    return _close(bench, request, measured, safe)


def reason_for(error: Exception) -> Reason:
    """Return why a run ended, for anything that its methods may raise."""
    if isinstance(error, NotMeasured):
        return error.reason
    if isinstance(error, Stopped):
        return reason("stopped", message=str(error))
    if isinstance(error, WatchdogLost):
        return reason("watchdog_gone", message=str(error))
    if isinstance(error, BenchError):
        return reason(error.code or "bench_refused", message=str(error))
    for kind, code in _CODES:
        if isinstance(error, kind):
            return reason(code, message=str(error))
    return reason("station_error", message=f"{type(error).__name__}: {error}")


def _quiet(on_event: OnEvent) -> OnEvent:
    def tell(event: Event) -> None:
        try:
            on_event(event)
        except Exception:  # a listener's failure never touches the run
            return

    return tell


def _measure(bench: RunBench, request: RunRequest, tell: OnEvent) -> _Measured:
    results: dict[str, Result] = {}
    traces: list[Trace] = []
    failure: Reason | None = None
    try:
        before = _require_ready(bench.fixture.state())
        context = replace(request.context, tell=tell)
        for index, step in enumerate(request.due, start=1):
            tell(
                MethodStarted(
                    method=step.method,
                    index=index,
                    total=len(request.due),
                    monotonic_s=bench.clock.monotonic(),
                )
            )
            _require_ready(bench.fixture.state())
            outcome = carry_out(context, step)
            traces.extend(outcome.traces)
            for result in outcome.results:
                results[result.characteristic] = result
                tell(ResultReady(result=result, monotonic_s=bench.clock.monotonic()))
        traces.extend(_require_unchanged(bench, request.context, before))
    except Exception as error:  # the one place: any failure is INVALID, and the bench is made safe next
        failure = reason_for(error)
    return _Measured(results, tuple(traces), failure)


def _explained(bench: RunBench, measured: _Measured) -> _Measured:
    """Name what a person did, where the fixture only says that it refused: guard open, hand stop pressed."""
    if measured.failure is None or measured.failure.code not in _DONE_BY_HAND:
        return measured
    try:
        _require_ready(bench.fixture.state())
    except NotMeasured as error:
        return replace(measured, failure=error.reason)
    except Exception:  # the first reason stands: this is only a better word for it
        return measured
    return measured


def _require_ready(state: FixtureState) -> FixtureState:
    if state.hand_stop:
        raise NotMeasured(reason("hand_stop"))
    if not state.guard_closed:
        raise NotMeasured(reason("guard_open"))
    if not state.loaded:
        raise NotMeasured(reason("nest_empty"))
    return state


def _require_unchanged(bench: RunBench, context: Context, before: FixtureState) -> tuple[Trace, ...]:
    """The same unit on the same contacts all along, and a meter that still sees an open route as open.

    The pads once more: contact held to the end, and the relays still switch: a source route that stuck reads
    as open to the meter, but has no pads to show. Their resistances, with the fixture's count of contacts, are
    what its life is watched by.
    """
    require_open(context)
    pads_ohm = require_contacts(context)
    after = _require_ready(bench.fixture.state())
    if after.contact_cycles != before.contact_cycles:
        raise NotMeasured(reason("unit_changed"))
    if not pads_ohm:
        return ()
    cycles = (float(after.contact_cycles),) * len(pads_ohm)
    return (Trace("contacts", (("contact_cycles", cycles), ("resistance_ohm", pads_ohm))),)


def _close(bench: RunBench, request: RunRequest, measured: _Measured, safe: bool) -> RunRecord:
    results = _complete(request, measured)
    judgements = _judge_all(bench, request, results, measured.failure)
    decision, why = _decide(request, judgements, measured)
    held, why = _hold(request, results, decision, why)
    if held and why is not None and why.code == "retest_disagrees":
        decision = Decision.INVALID
    place = sort_unit(request.plan, decision, results)
    hold_bin = request.plan.bin_for(BinFor.HOLD)
    if held and hold_bin is not None:
        place = hold_bin
    return RunRecord(
        opened=request.opened,
        closed_utc=bench.clock.utc_now(),
        results=results,
        judgements=judgements,
        decision=decision,
        reason=why,
        bin_number=place.number,
        bin_name=place.name,
        held=held,
        traces=measured.traces,
        identities=bench.identities,
        transcript=bench.transcript(),
        drive_off_verified=safe,
        verification_id=request.verification_id,
        clock_speed=getattr(bench.clock, "speed", 1.0),
        seed=request.seed,
    )


def _complete(request: RunRequest, measured: _Measured) -> tuple[Result, ...]:
    """Every characteristic of the plan has a result: measured, not due, or not measured and why.

    A run that failed has no values at all: the check at its end, which every value rests on, was not passed.
    Its raw messages and traces stay on record.
    """
    due = {each.method for each in request.due}
    failure = measured.failure or reason("not_measured")
    taken = {} if measured.failure else measured.results
    missing = [
        Result(
            each.name,
            each.unit_symbol,
            ResultStatus.NOT_MEASURED if each.method in due else ResultStatus.NOT_DUE,
            reason=failure if each.method in due else None,
        )
        for each in request.plan.characteristics
        if each.name not in taken
    ]
    return (*taken.values(), *missing)


def _judge_all(
    bench: RunBench, request: RunRequest, results: tuple[Result, ...], failure: Reason | None
) -> tuple[Judgement, ...]:
    by_name = {each.characteristic: each for each in results}
    if _is_open_coil(bench, request, failure):
        return tuple(_judge_open(each, failure) for each in request.plan.characteristics)
    return tuple(judge(each, by_name[each.name]) for each in request.plan.characteristics)


def _is_open_coil(bench: RunBench, request: RunRequest, failure: Reason | None) -> bool:
    """Open is FAIL only if the plan says so, contact was proved, and another seating said the same."""
    if failure is None or failure.code != "coil_open" or not request.earlier.coil_open:
        return False
    steps = [each for each in request.due if isinstance(each, ContactStep)]
    return bench.setup.fixture.kelvin_check and any(each.open_is_fail for each in steps)


def _judge_open(characteristic: Characteristic, failure: Reason | None) -> Judgement:
    decision = Decision.FAIL if characteristic.name == "R20" else None
    return Judgement(characteristic.name, decision, reason=failure)


def _decide(
    request: RunRequest, judgements: tuple[Judgement, ...], measured: _Measured
) -> tuple[Decision, Reason | None]:
    """A failure of ours outweighs any limit, and a closed gate outweighs both PASS and FAIL."""
    decision, why = decide(judgements)
    misplaced = _misplaced(measured)
    if misplaced is not None:
        decision, why = _decide_misplaced(judgements, misplaced)
    open_coil = decision is Decision.FAIL and why is not None and why.code == "coil_open"
    if measured.failure is not None and not open_coil:
        decision, why = Decision.INVALID, measured.failure
    closed = request.gate or _not_asked(request)
    if closed is not None and (measured.failure is None or open_coil):
        decision, why = Decision.INVALID, closed
    return decision, why


def _not_asked(request: RunRequest) -> Reason | None:
    """Whoever asked no gates still passes nothing without a verification to stand on, nor outside production."""
    if request.opened.purpose is not Purpose.PRODUCTION:
        return reason("not_production", purpose=request.opened.purpose.value)
    return None if request.verification_id else reason("not_verified")


def _misplaced(measured: _Measured) -> Reason | None:
    """Return why the field has no values although the run went through, or None."""
    if measured.failure is not None:
        return None
    reasons = (each.reason for each in measured.results.values())
    return next((each for each in reasons if each is not None and each.code in MISPLACED), None)


def _decide_misplaced(
    judgements: tuple[Judgement, ...], misplaced: Reason
) -> tuple[Decision, Reason | None]:
    """INVALID, unless something that does not rest on the sensor's place fails beyond doubt by itself.

    A bridge between turns changes the profile: seating such a coil again would never help.
    """
    others = [each for each in judgements if each.reason is None or each.reason.code not in MISPLACED]
    decision, why = decide(others)
    beyond_doubt = any(each.decision is Decision.FAIL and not each.conditional for each in others)
    if decision is Decision.FAIL and beyond_doubt:
        return decision, why
    return Decision.INVALID, misplaced


def _hold(
    request: RunRequest, results: tuple[Result, ...], decision: Decision, why: Reason | None
) -> tuple[bool, Reason | None]:
    if request.gate is not None:
        return False, why
    if decision is Decision.INVALID:
        about_unit = why is not None and why.code in ABOUT_THE_SEAT
        too_many = request.earlier.invalid_runs + 1 >= request.plan.invalid_runs_before_held
        return about_unit and too_many, why
    disagreeing = _disagreeing(request, results)
    if disagreeing:
        return True, reason("retest_disagrees", message=", ".join(disagreeing))
    return False, why


def _disagreeing(request: RunRequest, results: tuple[Result, ...]) -> list[str]:
    by_name = {each.characteristic: each for each in results}
    said = []
    for name, earlier, earlier_uncertainty in request.earlier.values:
        now = by_name.get(name)
        if now is None or now.value is None or now.expanded_uncertainty is None:
            continue
        allowed = request.plan.retest_agreement_fraction * abs(earlier)
        allowed += (now.expanded_uncertainty**2 + earlier_uncertainty**2) ** 0.5
        if abs(now.value - earlier) > allowed:
            said.append(f"{name} {now.value:.5g} {now.unit_symbol}, earlier {earlier:.5g}")
    return said
