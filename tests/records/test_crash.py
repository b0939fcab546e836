"""A writer killed at any point: what was acknowledged is whole, half a run does not exist."""

import subprocess
import sys
from pathlib import Path

import pytest

from station.records import Records
from tests.records.makers import START, make_opened, make_record

# Writes runs, printing the id of each acknowledged one; at the third visit to a point it kills itself.
_WRITER = """
import os, signal, sys
from pathlib import Path
from station.records import Records
from tests.records.makers import make_opened, make_record

home, point, visits = Path(sys.argv[1]), sys.argv[2], 0

def hook(name):
    global visits
    visits += name == point
    if visits == 3:
        os.kill(os.getpid(), signal.SIGKILL)

with Records.open(home, hook=hook) as records:
    records.close_unfinished("bench-1", closed_utc=make_opened().opened_utc)
    for number in range(5):
        record = make_record(make_opened(f"K{number}", run_id=f"run-{number}"))
        records.open_run(record.opened)
        print("opened", number, flush=True)
        records.close_run(record)
        print("closed", number, flush=True)
"""


@pytest.mark.slow
@pytest.mark.parametrize(
    ("point", "last", "unfinished"),
    [
        ("open_run.written", "closed 1", []),
        ("open_run.committed", "closed 1", ["run-2"]),
        ("close_run.begun", "opened 2", ["run-2"]),
        ("close_run.written", "opened 2", ["run-2"]),
        ("close_run.committed", "opened 2", []),
    ],
)
def test_nothing_is_lost_or_torn_when_killed(tmp_path: Path, point: str, last: str, unfinished: list[str]) -> None:
    """Killed before, within and after each commit: acknowledged runs are whole, open ones become INVALID."""
    done = subprocess.run([sys.executable, "-c", _WRITER, str(tmp_path), point], capture_output=True, text=True)
    told = done.stdout.splitlines()
    with Records.open(tmp_path) as records:
        closed = records.close_unfinished("bench-1", closed_utc=START)
        runs = {line.split()[1]: records.run(f"run-{line.split()[1]}") for line in told if line.startswith("closed")}
        sound = records.check().sound
        whole = all(make_record(run.opened) == run for run in runs.values())
        record = make_record(make_opened("after", run_id="after"))
        records.open_run(record.opened)
        records.close_run(record)

    assert (-9, "") == (done.returncode, done.stderr)
    assert (last, unfinished, True, True) == (told[-1], closed, sound, whole)


@pytest.mark.slow
def test_acknowledged_run_is_there_when_killed_after_the_commit(tmp_path: Path) -> None:
    """A run whose commit went through is whole, even if nobody was told."""
    command = [sys.executable, "-c", _WRITER, str(tmp_path), "close_run.committed"]
    subprocess.run(command, capture_output=True, text=True)
    with Records.open(tmp_path) as records:
        run = records.run("run-2")

    assert make_record(run.opened) == run
