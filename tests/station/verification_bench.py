"""A bench in memory with its reference units on the shelf, for tests of verification."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import timedelta
from pathlib import Path

from sim.errors import LCR_RANGES_OHM, BenchErrors, LcrError
from sim.lot import truth_near
from sim.truth import CoilTruth
from station.app.doubt import VerificationReport
from station.app.files import read_plan
from station.app.simulated import MemoryPlace, Simulation, in_memory, reference_truth
from station.app.station import Station
from station.core.equipment import Bench
from station.core.results import Decision
from station.core.run_record import RunRecord
from station.data import data_path
from station.inspection import Hands, Inspection, Request

PART = "IS-20"
OPERATOR = "OP-07"
GOOD = truth_near("L2641-01-A01", resistance_20_ohm=7.9, inductance_h=11.6e-6)
"""A unit that any sound bench passes."""

REFERENCES = Station.shipped_references(PART)
EXACT = BenchErrors()


def lcr_off_by(gain: float) -> BenchErrors:
    """A bench whose meter reads everything `gain` too high (relative), in every range; otherwise exact."""
    return BenchErrors(lcr=dict.fromkeys(LCR_RANGES_OHM, LcrError(gain=gain, dc_gain=gain)))


@dataclass(slots=True)
class VerificationBench:
    """One open bench of a station with plan IS-20 released."""

    station: Station
    inspection: Inspection
    place: MemoryPlace

    def verify(self) -> VerificationReport:
        """Verify it with the shipped reference units."""
        return self.station.verify(self.inspection, OPERATOR)

    def measure(self, serial: str = GOOD.serial, *, repeat: bool = True) -> RunRecord:
        """Take a unit through, in production."""
        return self.inspection.inspect(serial, Request(OPERATOR, repeat=repeat))

    def passes(self, serial: str = GOOD.serial) -> bool:
        """Tell whether the bench passes a unit now."""
        return self.measure(serial).decision is Decision.PASS

    def set_errors(self, errors: BenchErrors) -> None:
        """From now on the instruments are wrong like this."""
        self.place.bench.world.errors = errors

    def wait(self, span: timedelta) -> None:
        """Let time go by."""
        self.place.clock.sleep(span.total_seconds())


@contextmanager
def verification_bench(
    home: Path,
    *,
    errors: BenchErrors = EXACT,
    units: Sequence[CoilTruth] = (GOOD,),
    truths: Sequence[CoilTruth] = (),
    hands: Callable[[MemoryPlace], Hands] = lambda place: place.hands,
    setup: Callable[[Bench], Bench] = lambda bench: bench,
) -> Iterator[VerificationBench]:
    """Open a bench; `truths` say what reference units of these serials really are, where not as assigned."""
    stated = {each.serial: each for each in map(reference_truth, REFERENCES)} | {each.serial: each for each in truths}
    with Station.open(home) as station:
        plan = read_plan(data_path(f"plans/{PART}.toml"))
        if station.records.plan_revision(plan.text_hash) is None:
            station.records.release_plan(plan, who="EN-01", why="tests", utc=station.clock.utc_now())
        simulation = Simulation(seed=11, units=(*units, *stated.values()), errors=errors)
        place = in_memory(simulation, station.stop)
        place = replace(place, setup=setup(place.setup))
        with station.inspecting(
            place.setup, where="a test", hands=hands(place), links=place.links, clock=place.clock
        ) as inspection:
            yield VerificationBench(station, inspection, place)
