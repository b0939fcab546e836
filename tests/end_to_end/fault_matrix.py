"""Each fault on each instrument at each message of a run: what is done, and what must hold afterwards.

One point of the matrix is a bench of its own: a unit that goes well (so that there is a last reading to be
mistaken for a new one), one with the fault, and the next one at once on the same open bench. Where a reply is
seconds late, or a fault strikes only then, that next one may come to nothing: then a further one, after 10 s,
must go well. The messages are counted once on a bench without a fault; runs take the same number each time.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from drivers.errors import InstrumentError
from sim.bench import FIXTURE, LCR, OPERATOR, SOURCE, THERMOMETER
from sim.faults import SENDING_FAULTS, Fault, FaultKind
from station.app.simulated import Simulation
from station.core.results import Decision
from station.errors import StationError
from tests.end_to_end.shop import EVEN_NOISE, SEED, OpenShop, Shop

INSTRUMENTS = (LCR, SOURCE, FIXTURE, THERMOMETER, OPERATOR)
SPOILT, NEXT, AFTER = 1, 2, 3
"""Which unit of a bench gets the fault, which is measured at once after it, and which when 10 s have passed."""

WAIT_S = 10.0

BENCHES: Mapping[str, Simulation] = {
    "A": Simulation(seed=SEED, noise=EVEN_NOISE),
    "B": Simulation(seed=SEED, noise=EVEN_NOISE, lcr_model="LCR-B", thermometer_model="TH-S"),
}
"""Both dialects of the LCR meter, and the polled and the streaming thermometer."""


class Last(StrEnum):
    """Whether a fault is over when the run is."""

    ONCE = "once"
    LASTS = "lasts"


@dataclass(frozen=True, slots=True)
class Variant:
    """A fault kind with its numbers. `only` names the instruments that it makes sense on; empty: all."""

    name: str
    kind: FaultKind
    last: Last = Last.ONCE
    times: int = 1
    seconds: float = 0.0
    amount: float = 0.0
    data: bytes = b""
    for_good: bool = False
    dangerous: bool = False
    """Worth trying at every message in every run of the tests."""
    only: tuple[str, ...] = ()
    may_latch: tuple[str, ...] = ()
    """Instruments on which the drive's state can't be known any more."""
    temperature_off_k: float = 0.0
    """By how much the thermometer may be wrong without anybody's knowledge until the next verification."""
    may_pass_next: bool = True
    """A lasting fault that cannot go unnoticed: the next unit must not PASS."""

    @property
    def counts_sent(self) -> bool:
        """Tell whether its index counts the messages that a commanded instrument sends."""
        return self.kind in SENDING_FAULTS


VARIANTS = (
    Variant("late, in time", FaultKind.LATE, seconds=0.2),
    Variant("late", FaultKind.LATE, seconds=3.0, dangerous=True),
    Variant("late by the quiet", FaultKind.LATE, seconds=1.25),
    Variant("late by half a second", FaultKind.LATE, seconds=0.58, dangerous=True),
    Variant("split, in time", FaultKind.SPLIT, seconds=0.2),
    Variant("split", FaultKind.SPLIT, seconds=3.0),
    Variant("split by half a second", FaultKind.SPLIT, seconds=0.58),
    Variant("cut", FaultKind.CUT),
    Variant("lost reply", FaultKind.LOST_REPLY),
    Variant(
        "replies lost for good",
        FaultKind.LOST_REPLY,
        Last.LASTS,
        times=0,
        may_latch=(SOURCE,),
        may_pass_next=False,
    ),
    Variant("doubled at once", FaultKind.DOUBLED, dangerous=True),
    Variant("doubled later", FaultKind.DOUBLED, seconds=0.005, dangerous=True),
    Variant("doubled much later", FaultKind.DOUBLED, seconds=2.5),
    Variant("garbled", FaultKind.GARBLED),
    Variant("not ASCII", FaultKind.NON_ASCII),
    Variant("replaced by nan", FaultKind.REPLACED, data=b"nan\n"),
    Variant("replaced by 9.91E37", FaultKind.REPLACED, data=b"+9.91000E+37\n"),
    Variant("replaced by a number", FaultKind.REPLACED, data=b"+1.23456E+00\n"),
    Variant("replaced by nothing", FaultKind.REPLACED, data=b"\n"),
    Variant("another coil's reading", FaultKind.REPLACED, data=b"+8.80000E+00,+0.00000E+00,+0\n", only=(LCR,)),
    Variant("babble", FaultKind.BABBLE, amount=5_000),
    Variant("drip", FaultKind.DRIP, seconds=0.01, amount=300),
    Variant("hang-up before", FaultKind.HANG_UP_BEFORE),
    Variant("hang-up half way", FaultKind.HANG_UP_HALF_WAY),
    Variant("hang-up after", FaultKind.HANG_UP_AFTER),
    Variant(
        "unplugged",
        FaultKind.HANG_UP_BEFORE,
        Last.LASTS,
        for_good=True,
        may_latch=(SOURCE,),
        may_pass_next=False,
    ),
    Variant("command lost", FaultKind.COMMAND_LOST, dangerous=True),
    Variant("silent", FaultKind.SILENT, Last.LASTS, may_latch=(SOURCE,), may_pass_next=False),
    Variant("wrong identity", FaultKind.WRONG_IDENTITY, Last.LASTS, data=b"INVENTED,LCR-Z,9,9"),
    Variant("overload", FaultKind.OVERLOAD),
    Variant("error in the queue", FaultKind.ERROR_ENTRY),
    # A thermometer that freezes while the coil is still warm from its drive: about a kelvin.
    Variant("frozen", FaultKind.FROZEN, Last.LASTS, may_latch=(SOURCE,), temperature_off_k=1.5),
    Variant("drift of 1 % an hour", FaultKind.DRIFT, Last.LASTS, amount=0.01),
    Variant("stuck", FaultKind.STUCK, Last.LASTS, only=(SOURCE, FIXTURE), may_latch=(SOURCE,)),
)


@dataclass(frozen=True, slots=True)
class Point:
    """One place of the matrix."""

    bench: str
    variant: Variant
    instrument: str
    index: int
    """Of the messages of the spoilt unit's way, from 0, its loading included."""

    def __str__(self) -> str:
        return f"{self.bench}: {self.variant.name} on {self.instrument} at message {self.index}"


@dataclass(slots=True)
class Outcome:
    """What came of one point: PASS, INVALID, or refused before a run was open. `wrong` must stay empty."""

    point: Point
    spoilt: str = ""
    next: str = ""
    after: str = ""
    """Empty if the next unit passed, or the bench was latched."""
    latched: bool = False
    wrong: list[str] = field(default_factory=list)


_OVER_AT_ONCE = frozenset(
    {
        FaultKind.CUT,
        FaultKind.LOST_REPLY,
        FaultKind.DOUBLED,
        FaultKind.GARBLED,
        FaultKind.NON_ASCII,
        FaultKind.REPLACED,
        FaultKind.HANG_UP_BEFORE,
        FaultKind.HANG_UP_HALF_WAY,
        FaultKind.HANG_UP_AFTER,
        FaultKind.COMMAND_LOST,
    }
)
"""Faults that leave nothing on its way: the very next unit must come out right."""

_ABOUT_COMMANDS = (FaultKind.COMMAND_LOST, FaultKind.SILENT)


@dataclass(frozen=True, slots=True)
class Span:
    """The messages of the spoilt unit's way on a good bench, of one instrument: first and one past last."""

    told: tuple[int, int]
    sent: tuple[int, int]

    def of(self, variant: Variant) -> tuple[int, int]:
        """Return the messages that `variant` counts.

        An instrument that talks by itself counts what it sends also for what befalls itself; it has no
        commands to lose or to be deaf to.
        """
        unasked = self.told[0] == self.told[1]
        if variant.counts_sent or (unasked and variant.kind not in _ABOUT_COMMANDS):
            return self.sent
        return self.told


def message_spans(shop: Shop, bench: str) -> dict[str, Span]:
    """Return where the messages of the spoilt unit's way are, on a bench without a fault."""
    with shop.opened(simulation=BENCHES[bench]) as opened:
        decisions = [opened.measure(index).decision for index in range(SPOILT)]
        before = opened.counts()
        decisions.append(opened.measure(SPOILT).decision)
        after = opened.counts()
    if any(each is not Decision.PASS for each in decisions):
        raise AssertionError(f"units were {decisions} on a good bench")
    return {name: Span((before[name][0], after[name][0]), (before[name][1], after[name][1])) for name in before}


def points(
    spans: Mapping[str, Span], bench: str, variant: Variant, instrument: str, *, every: int = 1
) -> Iterator[Point]:
    """Yield the points of a fault on an instrument, each `every`-th; kinds start at different messages."""
    if variant.only and instrument not in variant.only:
        return
    first, end = spans[instrument].of(variant)
    start = VARIANTS.index(variant) % every
    for index in range(start, end - first, every):
        yield Point(bench, variant, instrument, index)


def run_point(shop: Shop, spans: Mapping[str, Span], point: Point) -> Outcome:
    """Put the fault in place, take three units through, and say what is wrong with what came of it."""
    outcome = Outcome(point)
    variant = point.variant
    fault = Fault(
        instrument=point.instrument,
        kind=variant.kind,
        nth=spans[point.instrument].of(variant)[0] + point.index,
        times=variant.times,
        seconds=variant.seconds,
        amount=variant.amount,
        data=variant.data,
        for_good=variant.for_good,
    )
    try:
        with shop.opened(simulation=BENCHES[point.bench], faults=(fault,)) as opened:
            _run(opened, fault, outcome)
    except InstrumentError as error:
        # Closing the bench: only a drive that can't be verified off may speak up once more.
        if not outcome.latched:
            outcome.wrong.append(f"closing: {type(error).__name__}: {error}")
    return outcome


def _run(opened: OpenShop, fault: Fault, outcome: Outcome) -> None:
    for index in range(SPOILT):
        first = _take(opened, index, outcome)
        if first != "PASS":
            outcome.wrong.append(f"the unit before: {first}")
    outcome.spoilt = _take(opened, SPOILT, outcome)
    outcome.latched = bool(opened.bench.latched)
    if fault not in opened.sim.wrappers[fault.instrument].struck:
        outcome.wrong.append("the fault never came true")
    outcome.next = _take(opened, NEXT, outcome)
    if outcome.next != "PASS" and not opened.bench.latched:
        opened.place.clock.sleep(WAIT_S)
        outcome.after = _take(opened, AFTER, outcome)
    _judge(opened, outcome)


def _take(opened: OpenShop, index: int, outcome: Outcome) -> str:
    """Take a unit through; note what may not be, and return `PASS`, `INVALID` or `refused`."""
    try:
        record = opened.measure(index)
        said = record.decision.value
        allowed_k = outcome.point.variant.temperature_off_k if outcome.point.instrument == THERMOMETER else 0.0
        wrong = opened.wrong_values(record, temperature_off_k=allowed_k)
        outcome.wrong.extend(f"unit {index}: {each}" for each in wrong)
        if record.decision is Decision.FAIL:
            outcome.wrong.append(f"unit {index}: FAIL of a good unit, {record.reason}")
        if record.decision is Decision.INVALID and (record.reason is None or not record.reason.remedy):
            outcome.wrong.append(f"unit {index}: INVALID without a remedy")
        if record.reason is not None and record.reason.code == "station_error":
            outcome.wrong.append(f"unit {index}: {record.reason.words}")
    except (StationError, InstrumentError):
        said = "refused"
    except Exception as error:  # whatever it is, it is this point's finding
        said = "raised"
        outcome.wrong.append(f"unit {index}: {type(error).__name__}: {error}")
    _look_at_world(opened, index, outcome)
    _look_at_records(opened, index, outcome)
    return said


def _look_at_world(opened: OpenShop, index: int, outcome: Outcome) -> None:
    world, latched = opened.sim.world, bool(opened.bench.latched)
    if world.drive.on and not latched:
        outcome.wrong.append(f"unit {index}: the drive is on and the bench is not latched")
    if world.coil_current_a:
        outcome.wrong.append(f"unit {index}: the coil carries current")
    excused = {"hot_switching"} if latched else set()
    for mishap in world.mishaps:
        if mishap.kind not in excused:
            outcome.wrong.append(f"unit {index}: {mishap.kind}: {mishap.words}")


def _look_at_records(opened: OpenShop, index: int, outcome: Outcome) -> None:
    for run in opened.station.records.runs_of(opened.units[index].serial):
        if run.decision is None:
            outcome.wrong.append(f"unit {index}: its run was left open")


def _judge(opened: OpenShop, outcome: Outcome) -> None:
    variant, instrument = outcome.point.variant, outcome.point.instrument
    if outcome.latched and instrument not in variant.may_latch:
        outcome.wrong.append(f"latched: {opened.bench.latched}")
    if outcome.latched and outcome.next != "refused":
        outcome.wrong.append(f"latched, and the next unit was {outcome.next}")
    over = variant.last is Last.ONCE and not _hands_gone(variant, instrument)
    if over and not outcome.latched and "PASS" not in (outcome.next, outcome.after):
        outcome.wrong.append(f"the fault is over, and units were {outcome.next}, then {outcome.after}")
    at_once = over and variant.kind in _OVER_AT_ONCE and variant.seconds < 0.1
    if at_once and not outcome.latched and outcome.spoilt != "refused" and outcome.next != "PASS":
        outcome.wrong.append(f"nothing is on its way any more, and the next unit was {outcome.next}")
    if not variant.may_pass_next and instrument != OPERATOR and "PASS" in (outcome.next, outcome.after):
        outcome.wrong.append("the fault lasts, and the next unit was PASS")


def _hands_gone(variant: Variant, instrument: str) -> bool:
    """The simulated operator who has hung up does not come back: nobody loads the next unit."""
    return instrument == OPERATOR and variant.kind in (
        FaultKind.HANG_UP_BEFORE,
        FaultKind.HANG_UP_HALF_WAY,
        FaultKind.HANG_UP_AFTER,
    )
