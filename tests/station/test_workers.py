"""Worker processes: one numerical thread each, and none that outlives the program that started it."""

import os
import subprocess
import sys

import pytest

from station.workers import worker_pool

# Two workers wait for ever; the program is killed while they do.
_PROGRAM = """
import os, signal
from station.workers import worker_pool

if __name__ == "__main__":
    pool = worker_pool(2)
    print(len({pool.submit(os.getpid).result() for _ in range(3)}), flush=True)
    for _ in range(2):
        pool.submit(signal.pause)
    signal.pause()
"""


@pytest.mark.slow
def test_workers_end_when_the_program_that_started_them_is_killed() -> None:
    """Whoever still held the output would keep it open for ever."""
    with subprocess.Popen([sys.executable, "-c", _PROGRAM], stdout=subprocess.PIPE, text=True) as program:
        assert program.stdout is not None
        first = program.stdout.readline()
        program.kill()
        rest, _ = program.communicate(timeout=60.0)

    assert first.strip() in ("1", "2")
    assert "" == rest


@pytest.mark.slow
def test_each_worker_has_one_numerical_thread() -> None:
    """They would fight over the cores otherwise."""
    with worker_pool(1) as pool:
        found = pool.submit(os.getenv, "OPENBLAS_NUM_THREADS").result()

    assert "1" == found
