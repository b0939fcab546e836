"""A station process for tests: opens a bench, switches the drive on, and then behaves as it is told.

Usage: `python -m tests.station.station_child ACT HOME ADDRESSES`, where ACT is `sleep` (a long soak), `hang` (computes
without end and looks at nothing) or `open` (opens, says so, waits for a stop). It says `watchdog PID`, `driving`,
`opened`, `raised NAME` and `closed`, a line each.
"""

import json
import sys
from pathlib import Path

from drivers.instruments import Route
from station.bench import OpenBench
from tests.station.benches import GENTLE, bench_setup


def say(line: str) -> None:
    """Say what happens to the test that watches."""
    print(line, flush=True)


def hang() -> None:
    """Compute without end."""
    while True:
        pass


def main(act: str, home: str, addresses: str) -> None:
    """Carry out `act`."""
    setup = bench_setup(json.loads(addresses))
    try:
        with OpenBench(setup, home=Path(home), where="station_child", lock_folder=Path(home) / "locks") as bench:
            say(f"watchdog {bench.watchdog_pid}")
            say(f"opened {bench.latched}")
            if act == "open":
                bench.clock.sleep(60.0)
            with bench.drive(GENTLE, route=Route.SOURCE_FORWARD):
                say("driving")
                if act == "hang":
                    hang()
                bench.clock.sleep(60.0)
    except Exception as error:
        say(f"raised {type(error).__name__} {error}")
    say("closed")


if __name__ == "__main__":
    main(*sys.argv[1:])
