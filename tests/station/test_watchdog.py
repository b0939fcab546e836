"""The drive goes off when the station dies, hangs, or loses its watchdog: real processes, real ports.

The documented figure is 1 s from the event to output off; the lease is made for 0.6 to 0.75 s.
"""

import os
import signal
import socket
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from drivers.source import OFF_ATTEMPTS
from drivers.stop import StopToken
from sim.bench import SOURCE
from sim.faults import Fault, FaultKind
from sim.world import Route
from station.data import data_path
from station.drive_state import DriveState
from station.errors import WatchdogLost
from station.watchdog import LEASE_S, Order, start_watchdog
from tests.station.benches import DEADLINE_S, PortBench, StationProcess, port_bench, send, wait_until

OFF_WITHIN_S = 1.0

pytestmark = pytest.mark.slow


def order_for(bench: PortBench, home: Path, *, give_up_s: float = 5.0, lease_s: float = LEASE_S) -> Order:
    """Return a watchdog's order for the source of `bench`."""
    return Order(
        bench="bench-1",
        name=SOURCE,
        address=bench.addresses[SOURCE],
        via="auto",
        baud=9600,
        dialect_name="source-scpi",
        dialect_text=data_path("dialects/source-scpi.toml").read_text(),
        station_pid=os.getpid(),
        home=str(home),
        lease_s=lease_s,
        give_up_s=give_up_s,
    )


def switch_on(bench: PortBench) -> None:
    """Switch the output on by hand, and go."""
    with socket.create_connection(("127.0.0.1", bench.source_port), timeout=DEADLINE_S) as line:
        line.sendall(b"VOLT 1\nCURR 0.1\nOUTP 1\nOUTP?\n")
        assert line.recv(100) == b"1\n"


def test_killed_station_leaves_drive_off_within_1_s(tmp_path: Path) -> None:
    """A station that is killed outright with the drive on is followed by off within 1 s."""
    with port_bench() as bench, StationProcess(bench.addresses, tmp_path, act="sleep") as station:
        station.wait_until_driving()
        assert bench.drive_is_on()
        killed_s = send(station.pid, signal.SIGKILL)
        took_s = bench.switched_off_s() - killed_s
        station.wait_until_ended()

        assert took_s <= OFF_WITHIN_S


def test_stopped_station_is_killed_and_drive_off_within_1_s(tmp_path: Path) -> None:
    """A station that is stopped with the drive on does not renew: it is killed, and the drive goes off."""
    with port_bench() as bench, StationProcess(bench.addresses, tmp_path, act="sleep") as station:
        station.wait_until_driving()
        stopped_s = send(station.pid, signal.SIGSTOP)
        took_s = bench.switched_off_s() - stopped_s

        assert took_s <= OFF_WITHIN_S
        assert station.wait_until_ended() == -signal.SIGKILL


def test_hanging_station_is_killed_and_drive_goes_off(tmp_path: Path) -> None:
    """A station that computes without end with the drive on is killed, and the drive goes off."""
    with port_bench() as bench, StationProcess(bench.addresses, tmp_path, act="hang") as station:
        station.wait_until_driving()
        bench.switched_off_s()

        assert station.wait_until_ended() == -signal.SIGKILL


def test_long_waits_with_drive_on_keep_the_lease(tmp_path: Path) -> None:
    """A station that waits for an instrument, or soaks, longer than the lease is not taken for hanging."""
    with port_bench() as bench, StationProcess(bench.addresses, tmp_path, act="wait") as station:
        station.wait_until_driving()
        station.wait_for("lived")
        station.wait_for("closed")

        assert station.wait_until_ended() == 0
        assert not bench.drive_is_on()
        assert DriveState(tmp_path, "bench-1").history() == []


def test_dead_watchdog_makes_station_switch_off_within_1_s(tmp_path: Path) -> None:
    """A station whose watchdog dies notices at the next renewal, switches off and says why."""
    with port_bench() as bench, StationProcess(bench.addresses, tmp_path, act="sleep") as station:
        station.wait_until_driving()
        killed_s = send(station.watchdog_pid, signal.SIGKILL)
        took_s = bench.switched_off_s() - killed_s

        assert station.wait_for("raised").startswith(WatchdogLost.__name__)
        assert took_s <= OFF_WITHIN_S
        assert station.wait_until_ended() == 0


def test_both_dead_leaves_route_opened_by_dead_man(tmp_path: Path) -> None:
    """With station and watchdog gone the fixture's dead-man opens the route by itself."""
    with port_bench() as bench, StationProcess(bench.addresses, tmp_path, act="sleep") as station:
        station.wait_until_driving()
        send(station.watchdog_pid, signal.SIGSTOP)
        send(station.pid, signal.SIGKILL)
        send(station.watchdog_pid, signal.SIGKILL)
        world = bench.sim.world

        wait_until(lambda: bench.host.ask(lambda: world.route is Route.OPEN), "the dead-man")
        assert bench.drive_is_on()


def test_terminal_signals_do_not_end_watchdog(tmp_path: Path) -> None:
    """Ctrl-C, a closed terminal and `kill` leave the watchdog at its post."""
    with port_bench() as bench:
        watchdog = start_watchdog(order_for(bench, tmp_path), stop=StopToken())
        for number in (signal.SIGINT, signal.SIGHUP, signal.SIGTERM, signal.SIGTSTP):
            send(watchdog.pid, number)
        watchdog.arm()
        watchdog.disarm()
        watchdog.close()

        assert DriveState(tmp_path, "bench-1").history() == []


def test_watchdog_retries_lost_off(tmp_path: Path) -> None:
    """The watchdog orders off again when the order was lost."""
    lost = Fault(SOURCE, FaultKind.COMMAND_LOST, matching="OUTP 0", times=1)
    with port_bench(faults=[lost]) as bench:
        watchdog = start_watchdog(order_for(bench, tmp_path), stop=StopToken())
        switch_on(bench)

        assert watchdog.hand_over()
        assert not bench.drive_is_on()
        assert not DriveState(tmp_path, "bench-1").latched()


def test_watchdog_goes_on_where_the_station_gave_up(tmp_path: Path) -> None:
    """A station that could not verify off leaves it to the watchdog; the bench stays latched all the same."""
    deaf = Fault(SOURCE, FaultKind.COMMAND_LOST, matching="OUTP 0", nth=1, times=OFF_ATTEMPTS + 1)
    with port_bench(faults=[deaf]) as bench:
        with StationProcess(bench.addresses, tmp_path, act="sleep") as station:
            station.wait_until_driving()
            send(station.pid, signal.SIGINT)
            said = station.wait_for("raised")
            station.wait_until_ended()
        state = DriveState(tmp_path, "bench-1")

        assert said.startswith("DriveNotOff")
        assert not bench.drive_is_on()
        assert [each["what"] for each in state.history()] == ["latched", "watchdog"]
        assert state.history()[1]["outcome"] == "drive off, verified"
        assert state.latched()


def test_watchdog_switches_off_on_a_full_disk(tmp_path: Path) -> None:
    """Where no word can be left, the drive goes off all the same and the process ends."""
    (tmp_path / "home").touch()  # a file: nothing can be written below it
    with port_bench() as bench:
        watchdog = start_watchdog(order_for(bench, tmp_path / "home"), stop=StopToken())
        switch_on(bench)

        assert watchdog.hand_over()
        assert not bench.drive_is_on()


def test_watchdog_latches_bench_when_output_is_stuck(tmp_path: Path) -> None:
    """What the watchdog could not verify is kept for the next start as drive state unknown."""
    stuck = Fault(SOURCE, FaultKind.STUCK, matching="OUTP?")
    with port_bench(faults=[stuck]) as bench:
        watchdog = start_watchdog(order_for(bench, tmp_path, give_up_s=0.3), stop=StopToken())
        bench.sim.world.drive.voltage_v = 1.0
        switch_on(bench)
        verified = watchdog.hand_over()

        # The current of a stuck output without a coil is zero too: only what the world shows is sure.
        assert verified == (not DriveState(tmp_path, "bench-1").latched())


def test_watchdog_latches_bench_when_source_is_gone(tmp_path: Path) -> None:
    """A source that cannot be reached leaves the bench latched, with why."""
    with port_bench() as bench:
        order = order_for(bench, tmp_path, give_up_s=0.3)
    watchdog = start_watchdog(order, stop=StopToken())

    assert not watchdog.hand_over()
    assert DriveState(tmp_path, "bench-1").latched().startswith("drive state unknown: the station ended")


def test_watchdog_with_wrong_dialect_does_not_start(tmp_path: Path) -> None:
    """A watchdog that would not know what to send refuses its post, in words."""
    with port_bench() as bench:
        order = order_for(bench, tmp_path)
    broken = replace(order, dialect_text="kind = 'source'")

    with pytest.raises(WatchdogLost, match="did not start"):
        start_watchdog(broken, stop=StopToken())


def test_watchdog_starts_without_order_and_ends_with_its_parent() -> None:
    """A watchdog whose station ends before the order is out ends too: nothing was open yet."""
    run = subprocess.run([sys.executable, "-m", "station.watchdog_process"], input=b"", timeout=20.0)

    assert run.returncode == 0


def test_stopped_watchdog_is_noticed(tmp_path: Path) -> None:
    """A watchdog that does not answer is no watchdog, even if it lives."""
    with port_bench() as bench:
        watchdog = start_watchdog(order_for(bench, tmp_path), stop=StopToken())
        send(watchdog.pid, signal.SIGSTOP)
        started_s = time.monotonic()

        with pytest.raises(WatchdogLost, match="has not answered"):
            watchdog.arm()
        assert time.monotonic() - started_s < 10.0
        watchdog.close()
