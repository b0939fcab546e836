"""The program as a user starts it: how long its help takes, and how much memory the demo.

    python -m tests.benchmarks.bench_program
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks.table import Line, format_table

HELP_GOAL_S = 0.3
MEMORY_GOAL_MB = 250.0
STARTS = 15
_LOOK_EVERY_S = 0.05
_PROGRAM = [sys.executable, "-m", "station.cli"]


def help_s() -> float:
    """Return the shortest of 15 starts of `coilgate --help`, in s."""
    return min(_timed([*_PROGRAM, "--help"]) for _ in range(STARTS))


def demo_memory_mb() -> tuple[float, float]:
    """Return the largest resident memory of the demo with all its processes, in MB, and its time in s.

    Read from `/proc`, pages shared between processes counted once each; where there is no `/proc`, 0.
    """
    largest_kb = 0
    with tempfile.TemporaryDirectory(prefix="coilgate-bench-") as home:
        start_s = time.perf_counter()
        process = subprocess.Popen(
            [*_PROGRAM, "--home", f"{home}/demo", "demo"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
        )
        while process.poll() is None:
            largest_kb = max(largest_kb, sum(_resident_kb(pid) for pid in _family(process.pid)))
            time.sleep(_LOOK_EVERY_S)
        took_s = time.perf_counter() - start_s
    if process.returncode:
        raise RuntimeError(f"the demo ended with exit {process.returncode}")
    return largest_kb / 1024.0, took_s


def lines() -> list[Line]:
    """Return the lines of the table."""
    start_s = help_s()
    memory_mb, took_s = demo_memory_mb()
    return [
        Line("coilgate --help", f"{start_s:.2f} s", f"at most {HELP_GOAL_S:g} s", start_s <= HELP_GOAL_S),
        Line(
            "memory of the demo, all processes",
            f"{memory_mb:.0f} MB (took {took_s:.0f} s)",
            f"at most {MEMORY_GOAL_MB:.0f} MB",
            0.0 < memory_mb <= MEMORY_GOAL_MB,
        ),
    ]


def _timed(command: list[str]) -> float:
    start_s = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return time.perf_counter() - start_s


def _family(pid: int) -> list[int]:
    """Return a process and all its descendants."""
    found = [pid]
    try:
        for file in Path(f"/proc/{pid}/task").glob("*/children"):
            for child in file.read_text().split():
                found += _family(int(child))
    except OSError:
        # It has ended meanwhile.
        return found
    return found


def _resident_kb(pid: int) -> int:
    try:
        text = Path(f"/proc/{pid}/smaps_rollup").read_text()
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in text.splitlines() if line.startswith("Pss:")), 0)


if __name__ == "__main__":
    print(format_table(lines()))
