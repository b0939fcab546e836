"""A station process for tests: opens a bench, switches the drive on, and then behaves as it is told.

Usage: `python -m tests.station.station_child ACT HOME ADDRESSES`, where ACT is
`sleep` (a long soak), `bare` (the same, with no signal handlers but the bench's own), `hang` (computes without
end and looks at nothing), `wait` (waits and soaks a little longer than the lease, then leaves in order) or `heat`
(measures the heating of the loaded coil). It says `watchdog PID`, `driving`, `lived`, `raised NAME ...` and
`closed`, a line each.
"""

import json
import os
import signal
import sys
from contextlib import nullcontext
from pathlib import Path

from drivers.instruments import Route
from station.bench import OpenBench
from station.signals import stop_on_signals
from station.stop import NestStop
from station.watchdog import LEASE_S
from tests.methods.heating_child import heat
from tests.station.benches import GENTLE, bench_setup


def say(line: str) -> None:
    """Say what happens to the test that watches."""
    print(line, flush=True)


def hang() -> None:
    """Compute without end."""
    while True:
        pass


def drive(act: str, home: Path, addresses: str, stop: NestStop) -> None:
    """Open the bench, switch the drive on, and carry out `act`."""
    setup = bench_setup(json.loads(addresses))
    with OpenBench(setup, home=home, where="a test", stop=stop, lock_folder=home / "locks") as bench:
        say(f"watchdog {bench.watchdog_pid}")
        if act == "heat":
            heat(bench, home)
            return
        with bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
            say("driving")
            if act == "hang":
                hang()
            bench.stop.wait(2 * LEASE_S)
            bench.clock.sleep(2 * LEASE_S if act == "wait" else 60.0)
            say("lived")


def main(act: str, home: str, addresses: str) -> None:
    """Carry out `act` and say how it ended."""
    stop = NestStop()
    signal.signal(signal.SIGHUP, signal.SIG_DFL)  # the tests may run under `nohup`
    with nullcontext() if act == "bare" else stop_on_signals(stop):
        try:
            drive(act, Path(home), addresses, stop)
        except Exception as error:
            say(f"raised {type(error).__name__} {error}")
        say("closed")
        # Within the handlers: the test's last signal may come late.
        os._exit(0)


if __name__ == "__main__":
    main(*sys.argv[1:])
