"""The operator's shift: each unit scanned and seated until it is decided, with the day's mishaps."""

from dataclasses import dataclass, field

from drivers.errors import InstrumentError
from drivers.stop import Stopped
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
from station.nightly.mishaps import MIDWAY, SPACER_OFF_M, ScriptedHands, acts_on
from station.nightly.scenario import Scenario
from station.nightly.tally import Counting
from station.nightly.truth import true_values

MOST_SEATINGS = 3
"""How often the operator seats a unit that was not measured, as the remedies say."""

PAUSE_S = 10.0
"""What the operator takes to read the screen after something went wrong: by then hands and late replies are through."""

REQUEST = Request("OP-07", load_timeout_s=20.0)


@dataclass(slots=True)
class Shift:
    """What happened, in order: each acknowledged run with the coil that really lay in the nest at its end."""

    station: Station
    place: MemoryPlace
    scenario: Scenario
    units: tuple[CoilTruth, ...]
    plan: Plan
    hands: ScriptedHands
    counting: Counting
    acknowledged: list[tuple[RunRecord, CoilTruth | None]] = field(default_factory=list)
    _mishaps_seen: int = 0

    def measure(self, inspection: Inspection) -> None:
        """Take every unit through."""
        for index, unit in enumerate(self.units):
            self._wander(index)
            self._take_unit(inspection, index, unit)

    def _wander(self, index: int) -> None:
        wander_k = self.scenario.bench.ambient_wander_k
        if wander_k:
            share = 2.0 * uniform(key("nightly ambient", self.place.setup.seed or 0, index)) - 1.0
            self.place.hands.say(f"AMBIENT {self.scenario.bench.ambient_degc + wander_k * share:.3f}")

    def _take_unit(self, inspection: Inspection, index: int, unit: CoilTruth) -> None:
        acts = acts_on(self.scenario.every, index)
        for seating in range(MOST_SEATINGS):
            now = acts if seating == 0 else frozenset()
            record = self._take(inspection, index, unit, now)
            if record is not None and record.decision is not Decision.INVALID:
                break
            self.place.clock.sleep(PAUSE_S)
            if record is not None and record.held:
                return
        if "double_scan" in acts and record is not None and record.decision is not Decision.INVALID:
            self._scan_again(inspection, unit)

    def _take(
        self, inspection: Inspection, index: int, unit: CoilTruth, acts: frozenset[str]
    ) -> RunRecord | None:
        other = self.units[(index + 1) % len(self.units)].serial
        self._prepare(acts, other)
        inspection.tell = _Midway(self, acts, other)
        try:
            record = inspection.inspect(unit.serial, REQUEST)
        except (StationError, InstrumentError, Stopped) as error:
            self.counting.count("refused")
            self.counting.count(f"refused: {type(error).__name__}")
            record = None
        finally:
            self.station.stop.clear()
            inspection.tell = _nothing
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
        self.acknowledged.append((record, coil))
        self.counting.count("runs")
        self.counting.count("invalid_runs", times=int(record.decision is Decision.INVALID))
        if coil is None:
            return
        truth = true_values(self.plan, coil)
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
    """Hears the run's events; acts once, when the method `MIDWAY` starts."""

    shift: Shift
    acts: frozenset[str]
    other: str

    def __call__(self, event: Event) -> None:
        if not isinstance(event, MethodStarted) or event.method != MIDWAY:
            return
        shift = self.shift
        if "swap" in self.acts:
            shift.hands.swap(self.other)
        if "guard_open" in self.acts:
            shift.place.hands.say("GUARD OPEN")
        if "hand_stop" in self.acts:
            shift.place.hands.say("HANDSTOP ON")
        if "stop" in self.acts:
            shift.station.stop.set("asked for by the operator")


def _nothing(event: Event) -> None:
    return
