"""A night that a signal ends counts nothing: half a night is no night."""

import os
import signal

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
