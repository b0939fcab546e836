"""A station that dies while it heats: real processes, real ports; off within 1 s, and the nest still known as hot."""

import signal
from pathlib import Path

import pytest

from sim.world import World
from station.heat_memory import HeatOnDisk
from tests.methods.oven import coil
from tests.station.benches import PortBench, StationProcess, port_bench, send, wait_until

OFF_WITHIN_S = 1.0
HEATED_K = 0.5
"""So warm the coil is when it happens: the ladder is on its way."""

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    ("whom", "number"),
    [("station", signal.SIGKILL), ("station", signal.SIGSTOP), ("watchdog", signal.SIGKILL)],
    ids=["killed", "stopped", "watchdog killed"],
)
def test_station_that_dies_while_heating_leaves_the_drive_off(
    tmp_path: Path, whom: str, number: signal.Signals
) -> None:
    """Off within 1 s, whoever dies; and the next program finds the nest marked as hot."""
    with port_bench() as bench:
        world: World = bench.sim.world
        bench.host.ask(lambda: world.load(coil(8.0)))
        with StationProcess(bench.addresses, tmp_path, act="heat") as station:
            station.watchdog_pid = int(station.wait_for("watchdog"))
            wait_until(lambda: _heating(bench), "the coil to be heated")
            sent_s = send(station.pid if whom == "station" else station.watchdog_pid, number)
            took_s = bench.switched_off_s() - sent_s
            station.wait_until_ended()

        assert took_s <= OFF_WITHIN_S
        assert HeatOnDisk(tmp_path, "bench-1", "A").hot() is not None


def _heating(bench: PortBench) -> bool:
    return bench.host.ask(lambda: bench.sim.world.drive.on and bench.sim.world.rise_k > HEATED_K)
