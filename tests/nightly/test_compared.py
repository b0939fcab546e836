"""What counts as worse: bounds of each night, tolerances against the accepted one, and how it is told."""

from dataclasses import replace
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest

from station.errors import RecordError
from station.nightly.compared import Measured, Worse, beyond_bounds, measured, worse_than_accepted
from station.nightly.figures import figures_of
from station.nightly.junit import junit_text
from station.nightly.kept import Night, accept_last, accepted, keep_last
from station.nightly.scenario import BenchSetup, LotSetup, Scenario
from station.nightly.tally import Counting, Tally
from tests.records.makers import START

SCENARIO = Scenario("day", "A day", LotSetup(10), BenchSetup(), at_most={"escapes": 0.0}, at_least={"verified": 1.0})


def _night(seed: int = 1, *, escapes: int = 0, invalid: int = 0, verified: int = 2) -> Tally:
    counting = Counting("day", seed)
    for name, times in {"units": 10, "runs": 10, "invalid_runs": invalid, "verifications": 2}.items():
        counting.count(name, times=times)
    counting.count("verified", times=verified)
    for _ in range(escapes):
        counting.fault("escapes", "L2641-01-A01 passed")
    counting.result("R20", value=8.01, truth=8.0, expanded_uncertainty=0.02)
    counting.result("R20", value=8.05, truth=8.0, expanded_uncertainty=0.02)
    return counting.tally(simulated_s=200.0, real_s=1.0)


def test_figures_are_counts_shares_bias_and_coverage() -> None:
    """Shares are of what they say they are of; errors are relative to the truth."""
    found = figures_of(_night(invalid=2, verified=1))

    assert (0.2, 0.5, 20.0) == (found["invalid_runs"], found["verified"], found["simulated_s"])
    assert (pytest.approx(0.00375), 0.5, 1) == (found["bias.R20"], found["coverage.R20"], found["gross_errors"])


def test_night_beyond_its_bounds_names_figure_seed_and_first_case() -> None:
    """Each bound that does not hold is told with what replays it."""
    worse = beyond_bounds(SCENARIO, _night(3, escapes=1, verified=1))

    assert ["escapes", "verified"] == [each.figure for each in worse]
    assert "day: escapes is 1, at most 0 is allowed. First: seed 3: escapes: L2641-01-A01 passed." in str(worse[0])
    assert str(worse[0]).endswith("Replay: coilgate nightly replay day 3")


def test_worse_than_accepted_by_more_than_the_tolerance() -> None:
    """A figure may get better, or worse within its tolerance; beyond it the worst seed is named."""
    accepted_figures = measured([_night(1, invalid=1), _night(2, invalid=1)])["day"]
    now = [_night(1, invalid=1), _night(2, invalid=3)]
    wide = replace(SCENARIO, tolerance={"invalid_runs": 0.1})

    assert [("invalid_runs", 2)] == [(e.figure, e.seed) for e in worse_than_accepted(SCENARIO, now, accepted_figures)]
    assert [] == worse_than_accepted(wide, now, accepted_figures)
    assert [] == worse_than_accepted(SCENARIO, [_night(1), _night(2)], accepted_figures)


def test_other_seeds_are_not_compared() -> None:
    """A night of more seeds than the accepted one proves nothing either way."""
    assert [] == worse_than_accepted(SCENARIO, [_night(1, invalid=9)], measured([_night(1), _night(2)])["day"])


def test_figure_that_vanished_is_worse() -> None:
    """A figure that was counted on the accepted night and is not any more is told."""
    before = Measured((1,), 10, {"cause_accuracy": 0.9})
    (worse,) = worse_than_accepted(SCENARIO, [_night()], before)

    assert ("cause_accuracy", 1) == (worse.figure, worse.seed)


def test_accepted_night_is_kept_with_who_and_why(tmp_path: Path) -> None:
    """What is accepted is the last night; scenarios that it did not have stay as accepted before."""
    keep_last(tmp_path, Night(START, "1", {"a": Measured((1,), 1, {"escapes": 0.0})}))
    accept_last(tmp_path, who="EN-02", why="first")
    last = Night(START, "2", {"b": Measured((1, 2), 2, {"escapes": 1.0})})
    keep_last(tmp_path, last)
    accept_last(tmp_path, who="EN-02", why="second")
    found = accepted(tmp_path)

    assert found is not None
    assert ("EN-02", "second", ["a", "b"]) == (found.who, found.why, sorted(found.scenarios))
    assert last.scenarios["b"] == found.scenarios["b"]
    assert 2 == len((tmp_path / "nightly" / "history.jsonl").read_text("utf-8").splitlines())


@pytest.mark.parametrize(("who", "why"), [("", "why"), ("EN-02", " ")])
def test_night_is_accepted_by_a_person_with_a_reason(tmp_path: Path, who: str, why: str) -> None:
    """Neither may be left empty."""
    keep_last(tmp_path, Night(START, "1", {}))

    with pytest.raises(RecordError, match="give both"):
        accept_last(tmp_path, who=who, why=why)


def test_junit_has_a_case_a_night_and_names_what_failed() -> None:
    """Any XML reader finds counts and words, whatever bytes are in them."""
    worse = Worse("day", 2, "escapes", "escapes is 1\x00 <&>")
    root = fromstring(junit_text([_night(1), _night(2)], [worse], []))
    suite = root[0]

    assert ("day", "3", "1") == (suite.get("name"), suite.get("tests"), suite.get("failures"))
    assert [None, "escapes is 1? <&>", None] == [
        None if (failure := case.find("failure")) is None else failure.get("message") for case in suite
    ]
