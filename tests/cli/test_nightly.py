"""`coilgate nightly`: run, accept, replay."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from station.cli.main import cli

RUN = ("run", "--scenario", "field-offset", "--seeds", "1", "--cores", "1")


def _nightly(home: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), "nightly", *words])


@pytest.mark.slow
def test_night_run_accepted_and_run_again_is_compared_and_not_worse(tmp_path: Path) -> None:
    """The first night is compared with nothing, the second with the accepted one: equal, so exit 0."""
    first = _nightly(tmp_path, *RUN, "--junit", str(tmp_path / "n.xml"))
    accept = _nightly(tmp_path, "accept", "--who", "EN-02", "--why", "first night")
    second = _nightly(tmp_path, *RUN, "--json")
    facts = [json.loads(line) for line in second.stdout.splitlines()]

    assert (0, 0, 0) == (first.exit_code, accept.exit_code, second.exit_code)
    assert "Nothing got worse." in first.stdout
    assert "Compared with the accepted night: 1 of 1" in second.stderr
    assert ("field-offset", 24, 0) == (facts[0]["scenario"], facts[0]["units"], facts[0]["figures"]["escapes"])
    assert {"worse": []} == facts[1]
    assert (tmp_path / "n.xml").read_text("utf-8").startswith("<?xml")


@pytest.mark.slow
def test_worse_than_accepted_is_exit_1_and_names_the_replay(tmp_path: Path) -> None:
    """A figure that was better on the accepted night is told."""
    _nightly(tmp_path, *RUN)
    _nightly(tmp_path, "accept", "--who", "EN-02", "--why", "first night")
    kept = tmp_path / "nightly" / "accepted.json"
    night = json.loads(kept.read_text("utf-8"))
    night["scenarios"]["field-offset"]["figures"]["simulated_s"] -= 1.0
    kept.write_text(json.dumps(night), encoding="utf-8")
    result = _nightly(tmp_path, *RUN)

    assert 1 == result.exit_code
    assert "WORSE field-offset: simulated_s is" in result.stdout
    assert "Replay: coilgate nightly replay field-offset 1" in result.stdout


@pytest.mark.slow
def test_replay_writes_every_message(tmp_path: Path) -> None:
    """Messages of all links go to standard output, the table to standard error."""
    result = _nightly(tmp_path, "replay", "field-offset", "1")
    names = {line.split()[1] for line in result.stdout.splitlines()}

    assert (0, {"lcr-1", "source-1", "fixture-1", "thermometer-1"}) == (result.exit_code, names)
    assert "Nothing got worse." in result.stderr


def test_accept_without_a_night_says_what_to_do(tmp_path: Path) -> None:
    """Nothing to accept: an error with the line to type."""
    result = _nightly(tmp_path, "accept", "--who", "EN-02", "--why", "no night yet")

    assert "coilgate nightly run" in str(result.exception)
