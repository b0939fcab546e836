"""How long the commands on a large lot take, as a user starts them, and what a lot's page reads among a million units.

    python -m tests.benchmarks.bench_lots

Times are of the processor (user and system, of the whole command with its start), the shortest of five: they hold on a
busy computer too, and are what the command takes on an idle one. Goals for the two-core machine that they were set for.
"""

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from station.app.lot_life import lot_now
from station.app.lot_units import lot_units, plan_of
from station.records import Records
from station.records.imports import BENCH
from tests.benchmarks.large_lots import USUAL, copy_lots, make_lot
from tests.benchmarks.table import Line, format_table

LARGE = 100_000
MILLION = 1_000_000
_LARGE_LOT, _USUAL_LOT = "L9001", "L3000"
_CALLS = 5
_PROGRAM = [sys.executable, "-m", "station.cli"]
_COMMANDS: tuple[tuple[str, tuple[str, ...], float], ...] = (
    ("lot show", ("lot", "show", _LARGE_LOT), 5.0),
    ("lot capability", ("lot", "capability", _LARGE_LOT), 5.0),
    ("lot explain", ("lot", "explain", _LARGE_LOT), 5.0),
    ("sets make, one tolerance", ("sets", "make", _LARGE_LOT, "--size", "3", "--tolerance", "R20=1 %"), 5.0),
    (
        "sets make, two tolerances",
        ("sets", "make", _LARGE_LOT, "--size", "4", "--tolerance", "R20=1 %", "--tolerance", "B@2mm=1 %"),
        5.0,
    ),
)
_USUAL_COMMANDS: tuple[tuple[str, tuple[str, ...], float], ...] = (
    ("sets make, k = 4", ("sets", "make", _USUAL_LOT, "--size", "4", "--tolerance", "R20=1 %"), 1.0),
    ("lot report, PDF", ("lot", "report", _USUAL_LOT, "--to", "{home}/report.pdf"), 3.0),
)
_IMPORT_GOAL_S = 60.0
_PAGE_GOAL_S = 0.1


def lines() -> list[Line]:
    """Return the lines of the table."""
    found = []
    with tempfile.TemporaryDirectory(prefix="coilgate-bench-") as folder:
        home = Path(folder) / "large"
        with Records.open(home) as records:
            make_lot(records, _LARGE_LOT, LARGE)
            make_lot(records, _USUAL_LOT, USUAL)
        found += [_command(home, f"{LARGE:,} units: {name}", words, goal) for name, words, goal in _COMMANDS]
        found += [_command(home, f"{USUAL:,} units: {name}", words, goal) for name, words, goal in _USUAL_COMMANDS]
        found.append(_import(home))
        found.append(_page(Path(folder) / "million"))
    return found


def _command(home: Path, name: str, words: tuple[str, ...], goal_s: float) -> Line:
    took_s = min(_processor_s(home, words) for _ in range(_CALLS))
    return Line(name, f"{took_s:.2f} s", f"at most {goal_s:g} s", took_s <= goal_s)


def _import(home: Path) -> Line:
    """A file of 100,000 rows, once: it can't be imported twice."""
    file = home / "readings.csv"
    with Records.open(home) as records, file.open("w", encoding="utf-8") as stream:
        stream.write("SN,R_ohm\n")
        values = records.lot_values(_LARGE_LOT, "R20")
        for serial, value in zip(values.serials, values.values.tolist(), strict=True):
            stream.write(f"{serial.replace(_LARGE_LOT, 'L9002')},{value:.4f}\n")
    maps = ("--map", "SN=serial", "--map", "R_ohm=R20", "--source", BENCH, "--simulated", "--who", "EN-02")
    took_s = _processor_s(home, ("lot", "import", str(file), "--lot", "L9002", *maps))
    what = f"lot import, {len(values.serials):,} rows"
    return Line(what, f"{took_s:.1f} s", f"at most {_IMPORT_GOAL_S:g} s", took_s <= _IMPORT_GOAL_S)


def _page(home: Path) -> Line:
    """What the page of a lot of 2,650 reads, with a million units on record."""
    with Records.open(home) as records:
        make_lot(records, _USUAL_LOT, USUAL)
    others = [f"L{int(_USUAL_LOT[1:]) + number}" for number in range(1, MILLION // USUAL + 1)]
    copy_lots(home / "records.sqlite3", _USUAL_LOT, others)
    lot = others[len(others) // 2]
    with Records.open(home) as records:

        def read() -> None:
            records.lot_summary(lot)
            lot_now(records, lot)
            plan_of(records, lot_units(records, lot)[-1].plan_hash)

        took_s = min(_own_s(read) for _ in range(15))
    return Line(
        f"{USUAL * (len(others) + 1):,} units on record: a lot's page data",
        f"{took_s * 1e3:.0f} ms",
        f"at most {_PAGE_GOAL_S * 1e3:g} ms",
        took_s <= _PAGE_GOAL_S,
    )


def _processor_s(home: Path, words: tuple[str, ...]) -> float:
    command = [*_PROGRAM, "--home", str(home), *(each.replace("{home}", str(home)) for each in words)]
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def _own_s(work: Callable[[], None]) -> float:
    start_s = time.process_time()
    work()
    return time.process_time() - start_s


if __name__ == "__main__":
    print(format_table(lines()))
