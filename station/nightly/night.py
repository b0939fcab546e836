"""One scenario with one seed: an empty home, a verified bench, a lot through it, a last verification; then the tally.

Ids and times come from the manual clock and a counter, the database is its own: the same seed gives the same night.
"""

import time
from collections.abc import Callable
from itertools import count
from pathlib import Path
from tempfile import TemporaryDirectory

from drivers.clock import ManualClock
from drivers.errors import InstrumentError
from drivers.link import Link
from drivers.stop import Stopped, StopToken
from drivers.traced import TracedLink, Transcript
from sim.truth import CoilTruth
from station.app.files import read_plan
from station.app.simulated import MemoryPlace, in_memory
from station.app.station import Station
from station.bench import OpenBench
from station.core.equipment import InstrumentSetup
from station.core.ids import uuid7
from station.core.plan import Plan
from station.data import data_path
from station.errors import StationError
from station.inspection import Inspection
from station.nightly.aftermath import look_at_causes, look_at_records, look_at_units
from station.nightly.making import simulation
from station.nightly.mishaps import ScriptedHands
from station.nightly.scenario import Scenario
from station.nightly.shift import Shift
from station.nightly.tally import Counting, Tally

PART = "IS-20"
OPERATOR = "OP-07"
ENGINEER = "EN-02"


def run_night(scenario: Scenario, seed: int, *, transcript: Transcript | None = None) -> Tally:
    """Carry out a scenario with a seed and return what was counted.

    `transcript` gets every message of every link. It leaves nothing on disk.
    """
    started_s = time.perf_counter()
    counting = Counting(scenario.name, seed)
    with TemporaryDirectory(prefix="coilgate-nightly-") as home, Station.open(Path(home)) as station:
        plan = read_plan(data_path(f"plans/{PART}.toml"))
        simulated = simulation(scenario, seed, plan)
        place = in_memory(simulated, station.stop)
        utc = place.clock.utc_now()
        station.records.release_plan(plan, who=ENGINEER, why="the nightly", utc=utc)
        shift = _measure(station, place, scenario, simulated.units, plan, counting, transcript)
        look_at_records(station, shift, counting)
        look_at_units(station, shift, plan, counting)
        if scenario.causes:
            look_at_causes(station, shift, counting)
        simulated_s = place.clock.monotonic()
    return counting.tally(simulated_s=simulated_s, real_s=time.perf_counter() - started_s)


def _measure(
    station: Station,
    place: MemoryPlace,
    scenario: Scenario,
    units: tuple[CoilTruth, ...],
    plan: Plan,
    counting: Counting,
    transcript: Transcript | None,
) -> Shift:
    hands = ScriptedHands(place.hands)
    shift = Shift(station, place, scenario, units, plan, hands, counting)
    try:
        with station.inspecting(
            place.setup,
            where="coilgate nightly",
            hands=hands,
            links=_links(place, transcript),
            clock=place.clock,
            new_id=_ids(place.clock),
        ) as inspection:
            _verify(station, inspection, counting)
            shift.measure(inspection)
            _verify(station, inspection, counting)
            if isinstance(inspection.bench, OpenBench) and inspection.bench.latched:
                counting.count("latched")
    except InstrumentError as error:
        # Opening or closing: only the bench itself can stand against that.
        counting.fault("bench_refused", f"{type(error).__name__}: {error}")
    return shift


def _verify(station: Station, inspection: Inspection, counting: Counting) -> None:
    counting.count("verifications")
    try:
        verified = station.verify(inspection, OPERATOR).verification.verified
    except (StationError, InstrumentError, Stopped):
        verified = False
    counting.count("verified", times=int(verified))


def _ids(clock: ManualClock) -> Callable[[], str]:
    numbers = count(1)
    return lambda: uuid7(int(clock.utc_now().timestamp() * 1000), next(numbers))


def _links(place: MemoryPlace, transcript: Transcript | None) -> Callable[[InstrumentSetup, StopToken], Link]:
    if transcript is None:
        return place.links

    def traced(instrument: InstrumentSetup, stop: StopToken) -> Link:
        link = place.links(instrument, stop)
        return TracedLink(link, transcript, clock=place.clock, instrument=instrument.name)

    return traced
