"""The whole station killed at any point: nothing shown is lost, nothing is torn, the next unit runs."""

import json
import os
import subprocess
import sys

import pytest

from tests.nightly.crashes import POINTS

KILLS = 500 if os.environ.get("COILGATE_NIGHTLY") else 28


@pytest.mark.slow
def test_nothing_shown_is_lost_however_often_the_station_is_killed() -> None:
    """Kills on one home, four and more at each point: shown runs whole, open ones closed as INVALID, chains sound."""
    script = (sys.executable, "-m", "tests.nightly.crashes", "--json")
    command = [*script, "--kills", str(KILLS), "--whole-every", str(KILLS // 28)]
    done = subprocess.run(command, capture_output=True, text=True)
    kills = [json.loads(line) for line in done.stdout.splitlines()]
    wrong = [each for each in kills if each["wrong"]]

    assert ([], KILLS, "") == (wrong, len(kills), done.stderr)
    assert set(POINTS) == {each["point"] for each in kills}
    assert sum(each["acknowledged"] for each in kills) > KILLS // 2
    assert sum(each["left_open"] for each in kills) > KILLS // 7
