"""`coilgate plan draft` and `plan accept`: from a part, from a lot, to a release."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from station.cli.main import cli
from station.data import data_path
from station.errors import PlanError
from tests.app.judged_lot import record_lot


def run(home: Path, *words: str) -> Result:
    """Run a command on a home."""
    return CliRunner().invoke(cli, ["--home", str(home), "plan", *words])


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A lot of 40 units."""
    record_lot(tmp_path, [float(each) for each in np.random.default_rng(3).normal(8.0, 0.1, 40)])
    return tmp_path


@pytest.mark.parametrize(
    "words", [("--from", "IS-20", "--part", "IS-21"), ("--from-lot", "L2641", "--units", "40", "--part", "IS-21")]
)
def test_draft_is_released_only_when_accepted(home: Path, words: tuple[str, ...]) -> None:
    """Written, refused, shown, accepted, released."""
    file = str(home / "draft.toml")
    release = ("release", file, "--who", "EN-02", "--why", "looked at")
    made = json.loads(run(home, "draft", *words, "--to", file, "--json").stdout)
    refused = run(home, *release)
    shown = run(home, "accept", file)
    line = str(made["proposed"][0]["line"])
    one = json.loads(run(home, "accept", file, "--line", line, "--who", "EN-02", "--json").stdout)
    rest = run(home, "accept", file, "--who", "EN-02")
    released = run(home, *release)

    assert isinstance(refused.exception, PlanError)
    assert all(each["text"] in shown.stdout for each in made["proposed"])
    assert (1, len(made["proposed"]) - 1) == (one["accepted"], len(one["proposed"]))
    assert "0 left" in rest.stdout
    assert 0 == released.exit_code


def test_draft_overwrites_nothing_and_says_what_is_missing(home: Path) -> None:
    """A file that is there, no source, a lot without a number of units."""
    (home / "draft.toml").write_text("mine", encoding="utf-8")
    to = ("--to", str(home / "draft.toml"))
    sources = (("--from", "IS-20"), (), ("--from-lot", "L2641"))
    answers = [run(home, "draft", *source, *to) for source in sources]

    assert [2, 2, 2] == [each.exit_code for each in answers]
    assert "is there already" in answers[0].output
    assert "mine" == (home / "draft.toml").read_text(encoding="utf-8")


def test_line_without_a_mark_is_refused(home: Path) -> None:
    """Nothing is accepted by mistake."""
    file = str(home / "draft.toml")
    run(home, "draft", "--from", "IS-20", "--to", file)

    assert "has no proposed number" in run(home, "accept", file, "--line", "1", "--who", "EN-02").output


def test_accept_without_marks_says_so(home: Path) -> None:
    """An empty table would leave the reader guessing."""
    shown = run(home, "accept", str(data_path("plans/IS-20.toml")))

    assert "no number is marked as proposed" in shown.stdout


def test_check_tells_proposed_numbers_and_limits_that_the_drawing_misses(home: Path) -> None:
    """A sound plan may still fail every coil: what the drawing should read is held against each limit."""
    text = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
    file = home / "own.toml"
    changed = text.replace("turns_per_layer = 20\n", "turns_per_layer = 14   # proposed: guess\n")
    file.write_text(changed, encoding="utf-8")
    told = run(home, "check", str(file)).stdout
    sound = run(home, "check", str(data_path("plans/IS-20.toml"))).stdout

    assert "look: R20 of the drawing should read" in told
    assert "1 lines are only proposed" in told
    assert "look:" not in sound


def test_limits_that_the_drawing_misses_are_told_at_the_release_which_is_not_refused(home: Path) -> None:
    """By `check --json` as a list, by `release` beside its answer."""
    text = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
    file = home / "own.toml"
    file.write_text(text.replace("turns_per_layer = 20", "turns_per_layer = 14"), encoding="utf-8")
    fact = json.loads(run(home, "check", str(file), "--json").stdout)
    released = run(home, "release", str(file), "--who", "EN-02", "--why", "a try")

    assert any(each.startswith("R20 of the drawing should read") for each in fact["look"])
    assert "look: R20 of the drawing should read" in released.stderr
    assert "is released" in released.stdout
