"""The memory host: time that jumps. (The link contract runs on it in tests/contracts.)"""

from threading import Thread

import pytest

from drivers.clock import ManualClock
from drivers.errors import LinkClosed, LinkError, LinkOpenError
from drivers.stop import Stopped, StopToken
from sim.bench import LCR, SOURCE, THERMOMETER, BenchOptions, SimulatedBench
from sim.hosts.memory import MemoryHost


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
