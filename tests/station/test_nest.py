"""One thread, one piece of work at a time, and a way out that always closes the bench."""

import threading
from pathlib import Path

import pytest

from drivers.clock import ManualClock
from drivers.instruments import Route
from drivers.stop import Stopped
from sim.bench import SimulatedBench
from sim.hosts.memory import MemoryHost
from station.bench import OpenBench
from station.errors import NestBusy, StationError
from station.nest import Nest
from station.stop import NestStop
from tests.station.benches import DEADLINE_S, GENTLE, bench_setup


class MemoryNest:
    """A nest with a simulated bench in its own thread."""

    def __init__(self, home: Path, *, missing: str = "") -> None:
        self.sim = SimulatedBench()
        self.nest = Nest(self._make)
        self._home = home
        self._missing = missing

    def _make(self, stop: NestStop) -> OpenBench:
        clock = ManualClock(stop=stop)
        instruments = {name: each for name, each in self.sim.instruments.items() if name != self._missing}
        host = MemoryHost(instruments, clock, stop=stop)
        return OpenBench(
            bench_setup(),
            home=self._home,
            where="a test",
            clock=clock,
            stop=stop,
            links=lambda instrument, stop: host.link(instrument.name),
        )


def test_work_is_done_in_the_nests_thread(tmp_path: Path) -> None:
    """Work gets the open bench, in another thread than the caller's, and its outcome comes back."""
    with MemoryNest(tmp_path).nest as nest:
        bench_name, thread = nest.run(lambda bench: (bench.setup.name, threading.get_ident()), what="a look")

    assert bench_name == "bench-1"
    assert thread != threading.get_ident()


def test_second_work_is_refused_with_what_is_under_way(tmp_path: Path) -> None:
    """While one run is under way a second is refused, never queued; afterwards there is room again."""
    go_on = threading.Event()
    with MemoryNest(tmp_path).nest as nest:
        first = nest.submit(lambda bench: go_on.wait(DEADLINE_S), what="unit L2641-01-A01")
        with pytest.raises(NestBusy, match="unit L2641-01-A01 since 2"):
            nest.run(lambda bench: None, what="unit L2641-01-A02")
        go_on.set()
        first.result(DEADLINE_S)

        assert nest.run(lambda bench: 2, what="unit L2641-01-A02") == 2


def test_error_of_work_comes_back_and_nest_goes_on(tmp_path: Path) -> None:
    """What work raises is raised to whoever asked, and the nest serves the next."""
    with MemoryNest(tmp_path).nest as nest:
        with pytest.raises(TimeoutError, match="own"):
            nest.run(lambda bench: _raise(TimeoutError("own")), what="x")

        assert nest.run(lambda bench: 1, what="y") == 1


def test_requested_stop_ends_the_drive_and_is_forgotten(tmp_path: Path) -> None:
    """The page's Stop drive ends the run under way with the drive off; the next run is free of it."""
    memory = MemoryNest(tmp_path)
    driving = threading.Event()

    def soak(bench: OpenBench) -> None:
        with bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
            driving.set()
            while True:
                bench.clock.sleep(0.1)

    with memory.nest as nest:
        outcome = nest.submit(soak, what="a soak")
        assert driving.wait(DEADLINE_S)
        nest.request_stop("stopped by OP-07")
        with pytest.raises(Stopped, match="stopped by OP-07"):
            outcome.result(DEADLINE_S)
        assert not memory.sim.world.drive.on
        nest.run(lambda bench: bench.clock.sleep(1.0), what="the next")


def test_ended_session_takes_no_work(tmp_path: Path) -> None:
    """After a signal nothing new is begun."""
    with MemoryNest(tmp_path).nest as nest:
        nest.stop.end("stopped by signal SIGTERM")
        with pytest.raises(StationError, match="SIGTERM"):
            nest.run(lambda bench: None, what="x")


def test_leaving_stops_work_and_closes_the_bench(tmp_path: Path) -> None:
    """Leaving the nest doesn't wait for a soak to end by itself, and the drive is off."""
    memory = MemoryNest(tmp_path)
    driving = threading.Event()

    def soak(bench: OpenBench) -> None:
        with bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
            driving.set()
            while True:
                bench.clock.sleep(0.1)

    with memory.nest as nest:
        outcome = nest.submit(soak, what="a soak")
        assert driving.wait(DEADLINE_S)

    with pytest.raises(Stopped):
        outcome.result(0.0)
    assert not memory.sim.world.drive.on


def test_bench_that_does_not_open_is_told_on_entering(tmp_path: Path) -> None:
    """What opening raises comes up where the nest is entered, and no thread stays behind."""
    before = threading.active_count()
    with pytest.raises(OSError, match="no such instrument"):
        MemoryNest(tmp_path, missing="lcr-1").nest.__enter__()

    assert threading.active_count() == before


def _raise(error: Exception) -> None:
    raise error
