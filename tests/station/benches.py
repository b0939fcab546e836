"""Benches to test on: in memory with manual time, or on real ports with a station process of its own."""

import json
import os
import selectors
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from types import TracebackType

from drivers.clock import ManualClock, RealClock
from drivers.instruments import SourceSetup
from drivers.links.open import find_route
from sim.bench import FIXTURE, LCR, SERIAL_PORTS, SOURCE, THERMOMETER, BenchOptions, SimulatedBench
from sim.faults import Fault
from sim.hosts.memory import MemoryHost
from sim.hosts.network import NetworkHost
from sim.instrument import Emission, SimulatedInstrument
from sim.world import World
from station.bench import OpenBench
from station.core.equipment import Bench, FixtureSetup, InstrumentSetup
from station.stop import NestStop

GENTLE = SourceSetup(voltage_v=1.0, current_a=0.1, over_voltage_v=5.0, over_current_a=0.5)
"""A drive that harms nothing."""

DEADLINE_S = 20.0
"""When a wait for another process is given up: far above what a busy machine needs."""

_DIALECTS = {
    LCR: ("lcr", "lcr-status-last"),
    SOURCE: ("source", "source-scpi"),
    FIXTURE: ("fixture", "fixture-line"),
    THERMOMETER: ("thermometer", "thermometer-polled"),
}


def bench_setup(addresses: dict[str, str] | None = None) -> Bench:
    """Return the set-up of the simulated bench; without addresses it is one of memory links."""
    instruments = tuple(
        InstrumentSetup(name, kind, (addresses or {}).get(name, f"memory {name}"), dialect)
        for name, (kind, dialect) in _DIALECTS.items()
    )
    return Bench("bench-1", "A", True, instruments, FixtureSetup())


class MemoryBench:
    """A simulated bench in this thread, on manual time, and the `OpenBench` of it (not entered)."""

    def __init__(self, home: Path, *, faults: Sequence[Fault] = ()) -> None:
        self.stop = NestStop()
        self.clock = ManualClock(stop=self.stop)
        self.sim = SimulatedBench(options=BenchOptions(faults=faults))
        self.world: World = self.sim.world
        host = MemoryHost(self.sim.instruments, self.clock, stop=self.stop)
        self.bench = OpenBench(
            bench_setup(),
            home=home,
            where="a test",
            clock=self.clock,
            stop=self.stop,
            links=lambda instrument, stop: host.link(instrument.name),
        )


class WatchedSource:
    """A simulated source that notes, in real time, when the world's drive goes on and off."""

    def __init__(self, instrument: SimulatedInstrument, world: World) -> None:
        self.name = instrument.name
        self.changes: list[tuple[float, bool]] = [(time.monotonic(), world.drive.on)]
        self._instrument = instrument
        self._world = world

    def connect(self, now_s: float) -> None:
        """Pass on."""
        self._instrument.connect(now_s)

    def receive(self, data: bytes, now_s: float) -> None:
        """Pass on, then look."""
        self._instrument.receive(data, now_s)
        self._look()

    def advance(self, now_s: float) -> list[Emission]:
        """Pass on, then look."""
        emissions = self._instrument.advance(now_s)
        self._look()
        return emissions

    def next_due(self) -> float | None:
        """Pass on."""
        return self._instrument.next_due()

    def disconnect(self, now_s: float) -> None:
        """Pass on."""
        self._instrument.disconnect(now_s)

    def _look(self) -> None:
        if self._world.drive.on != self.changes[-1][1]:
            self.changes.append((time.monotonic(), self._world.drive.on))


class PortBench:
    """A simulated bench on TCP ports and pseudo-terminals in real time."""

    def __init__(self, *, faults: Sequence[Fault] = ()) -> None:
        self.sim = SimulatedBench(options=BenchOptions(faults=faults))
        self.source = WatchedSource(self.sim.instruments[SOURCE], self.sim.world)
        instruments = {**self.sim.instruments, SOURCE: self.source}
        self.host = NetworkHost(instruments, RealClock(), serial=SERIAL_PORTS)
        self.addresses = dict(self.host.addresses)

    @property
    def source_port(self) -> int:
        """TCP port of the source."""
        return find_route(self.addresses[SOURCE]).port

    def drive_is_on(self) -> bool:
        """Tell whether the output is on, in truth."""
        return self.host.ask(lambda: self.source.changes[-1][1])

    def switched_off_s(self) -> float:
        """Wait until the drive is off; return the monotonic time of that."""
        wait_until(lambda: not self.drive_is_on(), "the drive to go off")
        return self.host.ask(lambda: self.source.changes[-1][0])


@contextmanager
def port_bench(*, faults: Sequence[Fault] = ()) -> Iterator[PortBench]:
    """Serve a simulated bench while open."""
    bench = PortBench(faults=faults)
    with bench.host:
        yield bench


class StationProcess:
    """A station of its own process on a `PortBench`; it says on standard output what it does."""

    def __init__(self, addresses: dict[str, str], home: Path, *, act: str) -> None:
        """Start `station_child` to do `act` with the bench at `addresses`."""
        self.said: list[str] = []
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.station.station_child", act, str(home), json.dumps(addresses)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            bufsize=0,
            cwd=Path(__file__).parents[2],
            start_new_session=True,
        )
        self.pid = self._process.pid
        self.watchdog_pid = 0

    def __enter__(self) -> "StationProcess":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        for pid in (self.pid, self.watchdog_pid):
            if pid:
                send(pid, signal.SIGKILL)
        self._process.communicate()

    def wait_for(self, word: str) -> str:
        """Wait until it has said a line that begins with `word`; return the rest of that line."""
        stream = self._process.stdout
        assert stream is not None
        with selectors.DefaultSelector() as selector:
            selector.register(stream, selectors.EVENT_READ)
            deadline_s = time.monotonic() + DEADLINE_S
            while time.monotonic() < deadline_s and selector.select(deadline_s - time.monotonic()):
                line = stream.readline().decode().strip()
                self.said.append(line)
                if line.startswith(word):
                    return line.removeprefix(word).strip()
                if not line:
                    break
        raise AssertionError(f"the station never said {word!r}, but {self.said}; {self._errors()}")

    def wait_until_driving(self) -> None:
        """Wait until it has the drive on."""
        self.watchdog_pid = int(self.wait_for("watchdog"))
        self.wait_for("driving")

    def wait_until_ended(self) -> int:
        """Return its exit code."""
        return self._process.wait(DEADLINE_S)

    def errors(self) -> str:
        """Return what it has written on standard error, once it has ended."""
        return self._errors()

    def _errors(self) -> str:
        if self._process.poll() is None or self._process.stderr is None:
            return "it is running"
        return self._process.stderr.read().decode()


def send(pid: int, number: signal.Signals) -> float:
    """Send a signal to a process of ours, if it is still there; return the monotonic time of that."""
    with suppress(ProcessLookupError):
        os.kill(pid, number)
    return time.monotonic()


def wait_until(true: Callable[[], bool], what: str) -> None:
    """Wait for a condition that another process or thread brings about."""
    deadline_s = time.monotonic() + DEADLINE_S
    while not true():
        if time.monotonic() > deadline_s:
            raise AssertionError(f"waited in vain for {what}")
        time.sleep(0.005)
