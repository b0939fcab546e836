"""The operator's shift: each unit scanned and seated until it is decided, with the day's mishaps."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from drivers.errors import InstrumentError
from drivers.stop import Stopped
from sim.bench import FIXTURE
from sim.faults import SENDING_FAULTS, Fault, FaultKind
from sim.noise import key, uniform
from sim.truth import CoilTruth
from station.app.simulated import MemoryPlace
from station.app.station import Station
from station.bench import OpenBench
from station.core.events import Event, MethodStarted
from station.core.plan import Plan
from station.core.results import Decision
from station.core.run_record import RunRecord
from station.errors import SerialError, StationError
from station.inspection import Inspection, Request
from station.nightly.commits import CommitWatch
from station.nightly.drive_watch import DriveWatch
from station.nightly.mishaps import SPACER_OFF_M, ScriptedHands
from station.nightly.scenario import DRIVEN, SWEPT, Scenario
from station.nightly.script import UNPLUG, Mishap, Script
from station.nightly.tally import Counting
from station.nightly.truth import bins_claiming, true_values

MOST_SEATINGS = 3
"""How often the operator seats a unit that was not measured, as the remedies say."""

PAUSE_S = 10.0
"""What the operator takes to read the screen after something went wrong: by then hands and late replies are through."""

MOST_DRIVEN = 60
"""Acts with the drive on come before one of so many messages: field legs, and the first seconds of a heating."""

REQUEST = Request("OP-07", load_timeout_s=20.0)


@dataclass(frozen=True, slots=True)
class Acknowledged:
    """What was shown of a run, without its messages: a night of a thousand heated units must stay small."""

    run_id: str
    serial: str
    decision: Decision
    coil: CoilTruth | None
    """What really lay in the nest at its end."""
    words: str
    """What was measured, for people."""


@dataclass(slots=True)
class Shift:
    """What happened, in order: each acknowledged run with the coil that really lay in the nest at its end."""

    station: Station
    place: MemoryPlace
    scenario: Scenario
    script: Script
    units: tuple[CoilTruth, ...]
    plan: Plan
    hands: ScriptedHands
    watch: DriveWatch
    commits: CommitWatch
    counting: Counting
    acknowledged: list[Acknowledged] = field(default_factory=list)
    _mishaps_seen: int = 0
    _acts: Mapping[int, frozenset[str]] = field(init=False)
    _strikes: Mapping[int, Mishap] = field(init=False)
    _messages: dict[str, tuple[int, int]] = field(default_factory=dict)
    """What a whole run told each instrument and heard from it, by name."""

    def __post_init__(self) -> None:
        self._acts, self._strikes = self.script.acts(), self.script.strikes()

    def measure(self, inspection: Inspection) -> None:
        """Take every unit through."""
        for index, unit in enumerate(self.units):
            if self.station.stop.ended:
                return
            self._wander(index)
            self._take_unit(inspection, index, unit)

    def _wander(self, index: int) -> None:
        wander_k = self.scenario.bench.ambient_wander_k
        if wander_k:
            share = 2.0 * uniform(key("nightly ambient", self.place.setup.seed or 0, index)) - 1.0
            self.place.hands.say(f"AMBIENT {self.scenario.bench.ambient_degc + wander_k * share:.3f}")

    def _take_unit(self, inspection: Inspection, index: int, unit: CoilTruth) -> None:
        acts = self._acts.get(index, frozenset())
        for seating in range(MOST_SEATINGS):
            now = acts if seating == 0 else frozenset()
            record = self._take_struck(inspection, index, unit, now, first=seating == 0)
            if record is not None and record.decision is not Decision.INVALID:
                break
            self.place.clock.sleep(PAUSE_S)
            if record is not None and record.held:
                return
        if "double_scan" in acts and record is not None and record.decision is not Decision.INVALID:
            self._scan_again(inspection, unit)

    def _take_struck(
        self, inspection: Inspection, index: int, unit: CoilTruth, acts: frozenset[str], *, first: bool
    ) -> RunRecord | None:
        """Take the unit once; the fault that is scripted for it strikes the first time and is put right then."""
        strike = self._strikes.get(index) if first else None
        if strike is not None:
            self._arm(strike)
        if index == 0 and first and self._strikes:
            return self._take_counting(inspection, unit, acts)
        record = self._take(inspection, index, unit, acts)
        if strike is not None:
            self._put_right(inspection)
        return record

    def _take_counting(self, inspection: Inspection, unit: CoilTruth, acts: frozenset[str]) -> RunRecord | None:
        """Take the first unit and count the messages of its run: strikes of later ones have their place in them."""
        before = self._told_and_sent()
        record = self._take(inspection, 0, unit, acts)
        now = self._told_and_sent()
        self._messages = {
            name: (told - before[name][0], sent - before[name][1]) for name, (told, sent) in now.items()
        }
        return record

    def _told_and_sent(self) -> dict[str, tuple[int, int]]:
        wrappers = self.place.bench.wrappers
        return {name: (wrappers[name].told, wrappers[name].sent) for name in SWEPT}

    def _arm(self, strike: Mishap) -> None:
        fault = strike.fault
        assert fault is not None
        told, sent = self._messages.get(fault.instrument, (1, 1))
        count = sent if fault.kind in SENDING_FAULTS or not told else told
        self.place.bench.wrappers[fault.instrument].arm(replace(fault, nth=int(strike.place * max(1, count))))

    def _put_right(self, inspection: Inspection) -> None:
        """Somebody mends the instruments, sees that the drive is off, and clears the latch."""
        for name in SWEPT:
            self.place.bench.wrappers[name].mend()
        bench = inspection.bench
        if not isinstance(bench, OpenBench) or not bench.latched:
            return
        self.counting.count("latches_cleared")
        try:
            bench.clear_latch(who="EN-02", why="looked at the source: it is off")
        except (StationError, InstrumentError) as error:
            self.counting.fault("bench_refused", f"the latch could not be cleared: {error}")

    def _take(
        self, inspection: Inspection, index: int, unit: CoilTruth, acts: frozenset[str]
    ) -> RunRecord | None:
        other = self.units[(index + 1) % len(self.units)].serial
        self._prepare(acts, other)
        midway = _Midway(self, acts, other, index)
        if self.scenario.moment == DRIVEN and acts:
            self.watch.interfere(midway.act, at=1 + int(MOST_DRIVEN * midway.share), ends=acts != {UNPLUG})
        else:
            inspection.tell = midway
        try:
            record = inspection.inspect(unit.serial, REQUEST)
        except (StationError, InstrumentError, Stopped) as error:
            self.counting.count("refused")
            self.counting.count(f"refused: {type(error).__name__}")
            record = None
        finally:
            self.station.stop.clear()
            inspection.tell = _nothing
            self.watch.interfere(None)
        if record is not None:
            self._count(record)
        self._look_at_world(inspection, unit.serial)
        self.hands.put_right()
        return record

    def _prepare(self, acts: frozenset[str], other: str) -> None:
        self.hands.loads = other if "misload" in acts else ""
        self.hands.idle = "not_changed" in acts
        self.hands.spacer_off_m = SPACER_OFF_M if "wrong_spacer" in acts else 0.0
        if "warm" in acts:
            self.place.hands.warm(self.scenario.warm_k)

    def _scan_again(self, inspection: Inspection, unit: CoilTruth) -> None:
        """A unit that is judged already must be refused, aloud."""
        try:
            inspection.inspect(unit.serial, REQUEST)
        except SerialError:
            self.counting.count("double_scans_refused")
            return
        except (StationError, InstrumentError):
            return
        self.counting.fault("double_scans_taken", f"{unit.serial} was measured a second time")

    def _count(self, record: RunRecord) -> None:
        coil = self.place.bench.world.coil
        opened = record.opened
        self.acknowledged.append(
            Acknowledged(opened.run_id, opened.unit.serial, record.decision, coil, _values(record))
        )
        self._look_at_record(record)
        self.counting.count("runs")
        invalid = record.decision is Decision.INVALID
        self.counting.count("invalid_runs", times=int(invalid))
        if invalid and record.reason is not None:
            self.counting.count(f"invalid: {record.reason.code}")
        # An instrument that fails may keep its state; the run is INVALID for that, and the drive is looked at below.
        if self.commits.words and not invalid and not self._relays_stuck():
            self.counting.fault("recorded_early", f"{record.opened.unit.serial}: {self.commits.words}")
        if coil is None:
            return
        truth = true_values(self.plan, coil, ambient_degc=self.place.bench.world.ambient_degc)
        for result in record.results:
            wanted = truth.get(result.characteristic)
            if result.value is None or wanted is None or result.expanded_uncertainty is None:
                continue
            self.counting.result(
                result.characteristic,
                value=result.value,
                truth=wanted,
                expanded_uncertainty=result.expanded_uncertainty,
            )

    def _relays_stuck(self) -> bool:
        """A relay that sticks after the last measurement shows at the next one; nobody can see it before."""
        return self.place.bench.plain[FIXTURE].impairments.stuck

    def _look_at_record(self, record: RunRecord) -> None:
        """What was shown must be on record, whole. That it stays so, the chain's digests say in the morning."""
        run_id = record.opened.run_id
        try:
            same = self.station.records.run(run_id) == record
        except StationError as error:
            self.counting.fault("lost_runs", f"run {run_id}: {error}")
            return
        if not same:
            self.counting.fault("lost_runs", f"run {run_id} is not on record as it was shown")
        if record.decision is Decision.PASS and not record.held:
            self._look_at_bin(record)

    def _look_at_bin(self, record: RunRecord) -> None:
        claiming = bins_claiming(self.plan, {each.characteristic: each.value for each in record.results})
        if [record.bin_number] == claiming:
            return
        claimed = " and ".join(map(str, claiming)) or "none"
        words = f"{record.opened.unit.serial} went into bin {record.bin_number}; its values belong into {claimed}"
        self.counting.fault("wrong_bin", f"{words}: {_values(record)}")

    def _look_at_world(self, inspection: Inspection, serial: str) -> None:
        world = self.place.bench.world
        latched = isinstance(inspection.bench, OpenBench) and bool(inspection.bench.latched)
        if world.drive.on and not latched:
            self.counting.fault("drive_on", f"after {serial} the source's output is on")
        new, self._mishaps_seen = world.mishaps[self._mishaps_seen :], len(world.mishaps)
        for each in new:
            if not latched:
                self.counting.fault("mishaps", f"{serial}: {each.kind}: {each.words}")


@dataclass(slots=True)
class _Midway:
    """Acts once within a run: hears its events, or is called by whoever watches the drive."""

    shift: Shift
    acts: frozenset[str]
    other: str
    index: int

    def __call__(self, event: Event) -> None:
        """Take an event of the run."""
        if isinstance(event, MethodStarted) and event.method == self.shift.scenario.moment:
            self.act()

    @property
    def share(self) -> float:
        """Return a number in (0, 1) of seed and unit."""
        return uniform(key("nightly moment", self.shift.place.setup.seed or 0, self.index))

    def act(self) -> None:
        """Do what the operator does wrong in the middle of this run."""
        shift = self.shift
        if "swap" in self.acts:
            shift.hands.swap(self.other)
        if "guard_open" in self.acts:
            shift.place.hands.say("GUARD OPEN")
        if "hand_stop" in self.acts:
            shift.place.hands.say("HANDSTOP ON")
        if UNPLUG in self.acts:
            name = SWEPT[int(self.share * 1e3) % len(SWEPT)]
            shift.place.bench.wrappers[name].arm(Fault(name, FaultKind.HANG_UP_BEFORE))
        if "stop" in self.acts:
            shift.station.stop.set("asked for by the operator")


def _values(record: RunRecord) -> str:
    measured = [each for each in record.results if each.value is not None]
    return ", ".join(f"{each.characteristic} {each.value:.6g} {each.unit_symbol}" for each in measured)


def _nothing(event: Event) -> None:
    return
