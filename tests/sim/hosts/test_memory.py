"""The memory host: the link contract, and time that jumps."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Thread

import pytest

from drivers.clock import ManualClock
from drivers.contracts.links import LINK_CHECKS, LinkUnderTest
from drivers.errors import LinkClosed, LinkError, LinkOpenError
from drivers.stop import Stopped, StopToken
from sim.bench import LCR, SOURCE, THERMOMETER, BenchOptions, SimulatedBench
from sim.hosts.memory import MemoryHost
from sim.instrument import Emission


class ScriptedInstrument:
    """Sends what the test says, when it says so."""

    name = "lcr-1"

    def __init__(self, clock: ManualClock) -> None:
        self._clock = clock
        self._came = b""
        self._due: list[Emission] = []

    def connect(self, now_s: float) -> None:
        """Start afresh."""
        self._came = b""

    def receive(self, data: bytes, now_s: float) -> None:
        """Keep what comes."""
        self._came += data

    def advance(self, now_s: float) -> list[Emission]:
        """Return what is due."""
        due = [emission for emission in self._due if emission.time_s <= now_s]
        self._due = [emission for emission in self._due if emission.time_s > now_s]
        return due

    def next_due(self) -> float | None:
        """Return when the next bytes leave."""
        return min((emission.time_s for emission in self._due), default=None)

    def disconnect(self, now_s: float) -> None:
        """Forget what was not sent."""
        self._due = []

    def send(self, data: bytes) -> None:
        """Send now."""
        self.send_later(0.0, data)

    def send_later(self, seconds: float, data: bytes) -> None:
        """Send in so many seconds."""
        self._due.append(Emission(self._clock.monotonic() + seconds, data))

    def received(self, size: int) -> bytes:
        """Return what has come: in memory that is at once."""
        return self._came

    def hang_up(self) -> None:
        """Close the line."""
        self._due.append(Emission(self._clock.monotonic(), b"", hang_up=True))

    def stop_taking(self) -> None:
        """Memory always takes what is written."""


@contextmanager
def _opened() -> Iterator[LinkUnderTest]:
    stop = StopToken()
    clock = ManualClock(stop=stop)
    peer = ScriptedInstrument(clock)
    link = MemoryHost({peer.name: peer}, clock, stop=stop).link(peer.name)
    yield LinkUnderTest(link, peer, stop, clock.monotonic, real_time=False)
    link.close()


@pytest.mark.parametrize("check", LINK_CHECKS, ids=lambda check: check.__name__)
def test_memory_link_keeps_contract(check: Callable[[LinkUnderTest], None]) -> None:
    """The contract of every link, on simulated time."""
    with _opened() as made:
        check(made)


def test_waiting_jumps_to_the_reply_and_no_further() -> None:
    """A measurement of 20 ms takes 20 ms, whatever the time allowed."""
    clock = ManualClock()
    link = MemoryHost(SimulatedBench().instruments, clock).link(SOURCE)
    link.write(b"MEAS:VOLT?\n")
    link.read_until(b"\n", timeout=60.0)

    assert 0.020 == pytest.approx(clock.monotonic())


def test_what_streams_during_a_sleep_is_there_afterwards() -> None:
    """Five lines a second for ten seconds."""
    clock = ManualClock()
    host = MemoryHost(SimulatedBench(options=BenchOptions(thermometer_model="TH-S")).instruments, clock)
    link = host.link(THERMOMETER)
    clock.sleep(10.05)

    assert 50 == link.discard_input(quiet=0.0).count(b"\r\n")


def test_line_has_one_client_at_a_time() -> None:
    """A second link is refused until the first is closed."""
    host = MemoryHost(SimulatedBench().instruments, ManualClock())
    first = host.link(LCR)
    with pytest.raises(LinkOpenError, match="open already"):
        host.link(LCR)
    first.close()

    assert host.link(LCR).name == "lcr-1 (memory)"


def test_unknown_instrument_cannot_be_opened() -> None:
    """The message names those that there are."""
    with pytest.raises(LinkOpenError, match="There are fixture-1, lcr-1"):
        MemoryHost(SimulatedBench().instruments, ManualClock()).link("lcr-2")


def test_closed_link_does_not_disturb_its_successor() -> None:
    """Closing an old link again leaves the new one open."""
    host = MemoryHost(SimulatedBench().instruments, ManualClock())
    first = host.link(LCR)
    first.close()
    second = host.link(LCR)
    first.close()
    second.write(b"*OPC?\n")

    assert b"1" == second.read_until(b"\n", timeout=1.0)
    with pytest.raises(LinkClosed):
        first.write(b"*OPC?\n")


def test_stop_ends_every_call() -> None:
    """A set token is noticed before any byte moves."""
    stop = StopToken()
    link = MemoryHost(SimulatedBench().instruments, ManualClock(stop=stop), stop=stop).link(LCR)
    stop.set("hand stop")
    with pytest.raises(Stopped):
        link.write(b"*RST\n")


def test_second_thread_is_refused() -> None:
    """A link and its manual clock belong to one thread."""
    link = MemoryHost(SimulatedBench().instruments, ManualClock()).link(LCR)
    caught: list[Exception] = []

    def write() -> None:
        try:
            link.write(b"*RST\n")
        except LinkError as error:
            caught.append(error)

    thread = Thread(target=write)
    thread.start()
    thread.join()

    assert 1 == len(caught)
