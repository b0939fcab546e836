"""Eight writers of two stations on one database, at once; on both databases."""

import subprocess
import sys
from pathlib import Path

import pytest

from station.core.results import Decision
from station.records import Records
from tests.records.makers import make_opened, make_record

WRITERS = 8
RUNS = 12

# Each says what it has on record for sure. Two write on each of four benches: one chain, two writers.
_WRITER = """
import sys
from pathlib import Path
from station.records import Records
from tests.records.makers import make_opened, make_record

home, url, writer, runs = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]), int(sys.argv[4])
with Records.open(home, url=url, wait_s=60.0) as records:
    sys.stdin.readline()
    for number in range(runs):
        serial = f"W{writer}-{number}"
        record = make_record(make_opened(serial, run_id=f"run-{serial}", bench=f"bench-{writer % 4}"))
        records.open_run(record.opened)
        records.close_run(record)
        records.hold(serial, reason_code="odd", who="EN-01", why="tests", utc=record.closed_utc)
        print(serial, flush=True)
"""


@pytest.mark.slow
def test_eight_writers_lose_nothing(records_url: str, tmp_path: Path) -> None:
    """Every run and hold that was acknowledged is on record whole, each chain is sound, and none waits in vain."""
    Records.open(tmp_path, url=records_url).close()
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(tmp_path), records_url, str(each), str(RUNS)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        for each in range(WRITERS)
    ]
    for each in writers:
        assert each.stdin is not None
        each.stdin.write("go\n")
        each.stdin.flush()
    said = [each.communicate() for each in writers]
    serials = [line for out, _ in said for line in out.splitlines()]
    with Records.open(tmp_path, url=records_url) as records:
        wrong = [each for each in serials if not _is_whole(records, each)]
        report = records.check()

    assert [""] * WRITERS == [error for _, error in said]
    assert (WRITERS * RUNS, []) == (len(serials), wrong)
    assert ((), 4 + 1) == (report.faults, len(report.heads))  # four benches, and the holds


def _is_whole(records: Records, serial: str) -> bool:
    run = records.run(f"run-{serial}")
    same = make_record(make_opened(serial, run_id=run.opened.run_id, bench=run.opened.bench))
    return (run.decision, run.results, records.is_held(serial)) == (Decision.PASS, same.results, True)
