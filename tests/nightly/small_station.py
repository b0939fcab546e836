"""A whole station on one home in as few lines as it takes: what crash and disk tests measure units on."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from drivers.clock import Clock, ManualClock, RealClock
from drivers.link import Link
from drivers.stop import StopToken
from sim.lot import truth_near
from station.app.files import read_plan
from station.app.simulated import MemoryPlace, Simulation, in_memory
from station.app.station import Station
from station.core.equipment import InstrumentSetup
from station.core.run_record import RunRecord
from station.data import data_path
from station.inspection import Inspection, Request
from station.records import Records
from station.stop import NestStop
from tests.end_to_end.shop import WatchedLink, state_verified

BENCH = "bench-1"
START_UTC = ManualClock().utc_now()


def new_home(home: Path) -> None:
    """Make records in `home` with the shipped plan released."""
    with Records.open(home) as records:
        plan = read_plan(data_path("plans/IS-20.toml"))
        records.release_plan(plan, who="EN-01", why="tests", utc=RealClock().utc_now())


@dataclass(frozen=True, slots=True)
class SmallStation:
    """An open station, its bench in memory, and what is on its record."""

    station: Station
    inspection: Inspection
    place: MemoryPlace

    @property
    def records(self) -> Records:
        """What the station keeps."""
        return self.station.records

    def measure(self, scan: str) -> RunRecord:
        """Take one unit through; raises what `Inspection.inspect` raises."""
        return self.inspection.inspect(scan, Request("OP-07"))


class ShiftedClock:
    """A bench's clock whose time of day was set to another: seconds go on as before."""

    def __init__(self, clock: Clock, shift: timedelta) -> None:
        self.speed = float("inf")
        self.shift = shift
        self._clock = clock

    def monotonic(self) -> float:
        """Pass on."""
        return self._clock.monotonic()

    def sleep(self, seconds: float) -> None:
        """Pass on."""
        self._clock.sleep(seconds)

    def utc_now(self) -> datetime:
        """Return the time of day that the machine now believes."""
        return self._clock.utc_now() + self.shift


@contextmanager
def opened(
    home: Path,
    serials: Sequence[str],
    *,
    wait_s: float = 10.0,
    hook: Callable[[str], None] | None = None,
    at_message: Callable[[], None] | None = None,
    shift: timedelta | None = None,
    verify: bool = True,
) -> Iterator[SmallStation]:
    """Open the station on `home` with these units at hand.

    `hook` is called at the points of each write, `at_message` at each message to an instrument; `shift` is how
    far the time of day is off.
    """
    stop = NestStop()
    place = in_memory(Simulation(seed=7, units=tuple(map(truth_near, serials))), stop)
    clock: Clock = place.clock if shift is None else ShiftedClock(place.clock, shift)

    def links(instrument: InstrumentSetup, stop: StopToken) -> Link:
        link = place.links(instrument, stop)
        return link if at_message is None else WatchedLink(link, at_message)

    with (
        Station(Records.open(home, wait_s=wait_s, hook=hook), home, clock=RealClock(), stop=stop) as station,
        station.inspecting(place.setup, where="a test", hands=place.hands, links=links, clock=clock) as found,
    ):
        if verify:
            state_verified(station.records, found, unit_limit=1_000)
        yield SmallStation(station, found, place)
