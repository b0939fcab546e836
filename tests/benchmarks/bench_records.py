"""How fast a run gets on record, durably, against sqlite3 writing the very same rows.

    python -m tests.benchmarks.bench_records [--postgresql URL]

Both sides write the same number of the same rows to the same tables with the same indexes, in two commits a
unit (opened, closed), each flushed to the disk. Our side also makes the rows from a run record, deflates
the transcript, computes the digests and checks what it must. Blocks of both sides take turns; the figure is the
ratio of the two fastest. Goal: at least half the rate of raw sqlite3.
"""

import argparse
import gc
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path

from station.core.run_record import RunRecord
from station.records import Records
from tests.benchmarks.table import Line
from tests.records.makers import make_opened, make_record

GOAL = 0.5
_BLOCKS = 60
_UNITS = 30
# In the order in which a unit's rows are written; the first three go into the first commit.
_OPENING = ("unit", "run_opened", "unfinished")
_CLOSING = (
    "run", "result", "decision", "budget", "trace", "transcript", "run_identity", "unit_position", "chain",
)  # fmt: skip

_Rows = dict[str, list[tuple[object, ...]]]


def main() -> None:
    """Run the benchmark and print one line of figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--postgresql", metavar="URL", help="measure this empty database too (absolute rate only)")
    url = parser.parse_args().postgresql
    with tempfile.TemporaryDirectory(prefix="coilgate-bench-") as home:
        ours, raw = _sqlite(Path(home))
        print(f"ours {_rate(ours)}, raw sqlite3 {_rate(raw)}: ratio of rates {raw / ours:.2f} (goal {GOAL:g})")
        if url:
            with Records.open(Path(home), url=url) as records:
                blocks = [_timed(_writer(records, _records())) for _ in range(15)]
            print(f"PostgreSQL {_rate(min(blocks))}")


def lines() -> list[Line]:
    """Return the line of the table."""
    with tempfile.TemporaryDirectory(prefix="coilgate-bench-") as home:
        ours, raw = _sqlite(Path(home))
    measured = f"{raw / ours:.2f} x the rate ({ours / _UNITS * 1e3:.2f} ms)"
    return [
        Line("a durable record, against raw sqlite3", measured, f"at least {GOAL:g} x the rate", raw / ours >= GOAL)
    ]


def _sqlite(folder: Path) -> tuple[float, float]:
    """Return the seconds of the fastest block of each side."""
    (folder / "ours").mkdir()
    with Records.open(folder / "ours") as records:
        record = next(_records())
        records.open_run(record.opened)
        records.close_run(record)
        template = _rows_of_first(folder / "ours" / "records.sqlite3")
        raw = _raw_database(folder / "ours" / "records.sqlite3", folder / "raw.sqlite3")
        write_ours, write_raw = _writer(records, _records()), _raw_writer(raw, template)
        blocks = [(_timed(write_ours), _timed(write_raw)) for _ in range(_BLOCKS)]
        raw.close()
    return min(each[0] for each in blocks), min(each[1] for each in blocks)


def _records() -> Iterator[RunRecord]:
    return (make_record(make_opened(f"unit {number:06d}")) for number in count())


def _writer(records: Records, made: Iterator[RunRecord]) -> Callable[[], None]:
    """Return what writes a block of runs; making them is not measured: they are made ahead."""
    ahead = [next(made) for _ in range((_BLOCKS + 1) * _UNITS)]
    ahead.pop(0)
    left = iter(ahead)
    # A station holds one run in memory; the collector shall not walk these thousands.
    gc.collect()
    gc.freeze()

    def write() -> None:
        for _ in range(_UNITS):
            record = next(left)
            records.open_run(record.opened)
            records.close_run(record)

    return write


def _rows_of_first(path: Path) -> _Rows:
    connection = sqlite3.connect(path)
    rows = {name: connection.execute(f'SELECT * FROM "{name}"').fetchall() for name in _OPENING + _CLOSING}
    connection.close()
    # The list of unfinished runs is empty by now.
    return rows | {"unfinished": [(1,)]}


def _raw_database(source: Path, path: Path) -> sqlite3.Connection:
    """Return a copy with the same tables and indexes, written to as ours is."""
    shutil.copy(source, path)
    connection = sqlite3.connect(source)
    copy = sqlite3.connect(path, isolation_level=None)
    connection.backup(copy)
    connection.close()
    for pragma in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
        copy.execute(f"PRAGMA {pragma}")
    return copy


def _raw_writer(connection: sqlite3.Connection, template: _Rows) -> Callable[[], None]:
    numbers = count(2)
    statements = {
        name: f'INSERT INTO "{name}" VALUES ({", ".join("?" * len(rows[0]))})' for name, rows in template.items()
    }

    def write() -> None:
        for _ in range(_UNITS):
            rows = _renumbered(template, next(numbers))
            for tables in (_OPENING, _CLOSING):
                connection.execute("BEGIN IMMEDIATE")
                for name in tables:
                    connection.executemany(statements[name], rows[name])
                if tables is _CLOSING:
                    connection.execute("DELETE FROM unfinished WHERE run_key = ?", rows["unfinished"][0])
                connection.execute("COMMIT")

    return write


def _renumbered(template: _Rows, number: int) -> _Rows:
    """Return the rows of the first unit as those of unit `number`: other keys and names, the rest the same."""
    rows = {name: [(number, *row[1:]) for row in each] for name, each in template.items()}
    run_id = f"019ac000-0000-7000-9000-{number:012d}"
    rows["unit"] = [(number, f"unit {number:06d}", *template["unit"][0][2:])]
    rows["run_opened"] = [(number, run_id, number, *template["run_opened"][0][3:])]
    rows["decision"] = [(number, number, *template["decision"][0][2:])]
    rows["unit_position"] = [(number, *template["unit_position"][0][1:3], number, number)]
    first = template["chain"][0]
    rows["chain"] = [(number, first[1], number, first[3], run_id, *first[5:])]
    return rows


def _timed(write: Callable[[], None]) -> float:
    start = time.perf_counter()
    write()
    return time.perf_counter() - start


def _rate(seconds: float) -> str:
    return f"{_UNITS / seconds:.0f} units/s ({seconds / _UNITS * 1e3:.2f} ms each)"


if __name__ == "__main__":
    main()
