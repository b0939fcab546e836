"""One scenario with one seed: an empty home, a verified bench, a lot through it, a last verification; then the tally.

Ids and times come from the manual clock and a counter, the database is its own: the same seed gives the same night.
"""

import time
from collections.abc import Callable, Collection
from functools import partial
from itertools import count
from pathlib import Path

from drivers.clock import ManualClock, RealClock
from drivers.errors import InstrumentError
from drivers.link import Link
from drivers.stop import Stopped, StopToken
from drivers.traced import TracedLink, Transcript
from station.app.files import read_plan
from station.app.simulated import MemoryPlace, in_memory
from station.app.station import Station
from station.bench import OpenBench
from station.core.equipment import InstrumentSetup
from station.core.ids import uuid7
from station.errors import StationError
from station.inspection import Inspection
from station.nightly.aftermath import look_at_causes, look_at_records, look_at_units
from station.nightly.commits import CommitWatch
from station.nightly.drive_watch import DriveWatch, WatchedLink
from station.nightly.making import simulation
from station.nightly.mishaps import ScriptedHands
from station.nightly.scenario import Scenario, plan_path
from station.nightly.script import script_of
from station.nightly.shift import Shift
from station.nightly.tally import Counting, Tally
from station.nightly.throwaway import throwaway
from station.records import Records
from station.stop import NestStop

OPERATOR = "OP-07"
OPERATOR_LINK = "operator"
"""How the simulated hands' link is called in a transcript."""

ENGINEER = "EN-02"


def run_night(
    scenario: Scenario, seed: int, *, transcript: Transcript | None = None, only: Collection[int] | None = None
) -> Tally:
    """Carry out a scenario with a seed and return what was counted. It leaves nothing on disk.

    Args:
        transcript: gets every message of every link, the simulated operator's too.
        only: the numbers of the mishaps (`station.nightly.script`) that happen; None: all.

    Raises:
        Stopped: a signal asked this program to end.
    """
    started_s = time.perf_counter()
    counting = Counting(scenario.name, seed)
    script = script_of(scenario, seed)
    if only is not None:
        script = script.only(only)
    commits = CommitWatch()
    with throwaway() as home, _station(Path(home), commits) as station:
        plan = read_plan(plan_path(scenario.plan))
        simulated = simulation(scenario, seed, plan, faults=script.faults if script.needs_wrappers else None)
        place = in_memory(simulated, station.stop)
        commits.look_at(place.bench.world, place.clock)
        utc = place.clock.utc_now()
        station.records.release_plan(plan, who=ENGINEER, why="the nightly", utc=utc)
        watch = DriveWatch(place.bench.world, place.clock)
        if transcript is not None:
            place.hands.trace(partial(TracedLink, transcript=transcript, clock=place.clock, instrument=OPERATOR_LINK))
        hands = ScriptedHands(place.hands)
        shift = Shift(
            station, place, scenario, script, simulated.units, plan, hands, watch, commits, counting
        )
        _measure(shift, transcript)
        look_at_records(station, shift, counting)
        look_at_units(station, shift, plan, counting)
        if scenario.causes:
            look_at_causes(station, shift, counting)
        simulated_s = place.clock.monotonic()
    return counting.tally(simulated_s=simulated_s, real_s=time.perf_counter() - started_s)


def _station(home: Path, commits: CommitWatch) -> Station:
    stop = NestStop()
    return Station(Records.open(home, hook=commits), home, clock=RealClock(stop=stop), stop=stop)


def _measure(shift: Shift, transcript: Transcript | None) -> None:
    station, place, counting = shift.station, shift.place, shift.counting
    try:
        with station.inspecting(
            place.setup,
            where="coilgate nightly",
            hands=shift.hands,
            links=_links(place, shift.watch, transcript),
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
    if station.stop.ended:  # a signal: what was counted until then is no night
        raise Stopped(station.stop.reason or "stop asked for")
    shift.watch.look()
    counting.longest("drive_off_s", shift.watch.longest_off_s)


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


def _links(
    place: MemoryPlace, watch: DriveWatch, transcript: Transcript | None
) -> Callable[[InstrumentSetup, StopToken], Link]:
    def opened(instrument: InstrumentSetup, stop: StopToken) -> Link:
        link = WatchedLink(place.links(instrument, stop), watch)
        if transcript is None:
            return link
        return TracedLink(link, transcript, clock=place.clock, instrument=instrument.name)

    return opened
