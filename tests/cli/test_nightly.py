"""`coilgate nightly`: run, accept, replay, shrink, trends."""

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

    assert (0, {"lcr-1", "source-1", "fixture-1", "thermometer-1", "operator"}) == (result.exit_code, names)
    assert "Nothing got worse." in result.stderr


def test_accept_without_a_night_says_what_to_do(tmp_path: Path) -> None:
    """Nothing to accept: an error with the line to type."""
    result = _nightly(tmp_path, "accept", "--who", "EN-02", "--why", "no night yet")

    assert "coilgate nightly run" in str(result.exception)


@pytest.mark.slow
def test_run_in_brief_is_a_line_a_scenario_and_keeps_a_page_of_trends(tmp_path: Path) -> None:
    """One line, and a page in the home; `trends` writes it again and says where."""
    run = _nightly(tmp_path, "run", "--scenario", "bin-ends", "--seeds", "1", "--cores", "1", "--units", "2", "--brief")
    again = _nightly(tmp_path, "trends")
    page = tmp_path / "nightly" / "trends.html"

    assert (0, 0) == (run.exit_code, again.exit_code)
    assert ["ok    bin-ends: 2 units, 1 seeds"] == [line.rsplit(",", 1)[0] for line in run.stdout.splitlines()]
    assert f"{page}\n" == again.stdout
    assert "bin-ends" in page.read_text("utf-8")


@pytest.mark.slow
def test_night_beyond_its_bounds_is_shrunk(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Judged units taken again: the run ends with the one double scan that it needs, and `shrink` finds the same."""
    monkeypatch.setattr("station.inspection._require_free", lambda unit, state, request: None)
    few = ("--scenario", "operators", "--seeds", "1", "--cores", "1", "--units", "8")
    run = _nightly(tmp_path, "run", *few, "--brief")
    shrunk = _nightly(tmp_path, "shrink", "operators", "1", "--json")
    (fact,) = [json.loads(line) for line in shrunk.stdout.splitlines()]

    assert (1, 1) == (run.exit_code, shrunk.exit_code)
    assert "double_scans_taken needs 1 of " in run.stderr
    assert ["double_scan with unit"] == [each["words"].rsplit(" ", 1)[0] for each in fact["shrunk"]["mishaps"]]


@pytest.mark.slow
def test_replay_of_only_some_mishaps(tmp_path: Path) -> None:
    """With none of its mishaps a night of interrupted units has no INVALID run; a word that is no number is refused."""
    bare = _nightly(tmp_path, "replay", "hand-warmed", "1", "--only", "0", "--json")
    wrong = _nightly(tmp_path, "replay", "hand-warmed", "1", "--only", "one")
    tally = json.loads(bare.stdout.splitlines()[-1])

    assert (0, 2) == (bare.exit_code, wrong.exit_code)
    assert 0 == tally["counts"].get("invalid_runs", 0)
    assert "must be numbers with commas between" in wrong.stderr
