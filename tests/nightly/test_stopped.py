"""A night that a signal ends counts nothing: half a night is no night."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from drivers.stop import Stopped
from sim.instruments.operator import Operator
from station.nightly.pool import Job, run_jobs
from tests.nightly.nights import short


@pytest.mark.slow
@pytest.mark.parametrize("asked", [signal.SIGTERM, signal.SIGINT])
def test_signal_ends_the_night_and_all_that_were_to_follow(
    monkeypatch: pytest.MonkeyPatch, asked: signal.Signals
) -> None:
    """It comes when the third thing is done by hand; no later night begins."""
    done: list[bytes] = []
    execute = Operator.execute

    def counted(self: Operator, line: bytes, now_s: float) -> object:
        done.append(line)
        if len(done) == 12:
            os.kill(os.getpid(), asked)
        return execute(self, line, now_s)

    monkeypatch.setattr(Operator, "execute", counted)
    scenario = short("healthy", 8)
    told: list[object] = []

    with pytest.raises(Stopped):
        run_jobs([Job(scenario, 1), Job(scenario, 2)], cores=1, tell=told.append)

    assert [] == told
    assert len(done) < 40


@pytest.mark.slow
def test_workers_end_when_the_program_is_killed(tmp_path: Path) -> None:
    """SIGKILL after the first night of five hundred: whoever still held the output would keep it open for ever."""
    words = ("nightly", "run", "--scenario", "bin-ends", "--units", "1", "--seeds", "500", "--cores", "2")
    command = [sys.executable, "-m", "station.cli", "--home", str(tmp_path), *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as program:
        assert program.stdout is not None
        first = program.stdout.readline()
        program.kill()
        rest, _ = program.communicate(timeout=60.0)

    assert first.startswith("1/500 ")
    assert "500/500" not in rest
