"""The page of trends: what is worst comes first, and the page needs nothing but itself."""

from datetime import timedelta
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest

from station.errors import RecordError
from station.nightly.compared import Measured
from station.nightly.figures import figure
from station.nightly.kept import Night, history, keep_last
from station.nightly.scenario import BenchSetup, LotSetup, Scenario
from station.nightly.trends import lines_of, trends_page
from tests.records.makers import START

SCENARIOS = {
    name: Scenario(name, name, LotSetup(10), BenchSetup(), at_most={"escapes": 0.0}, tolerance={"simulated_s": 2.0})
    for name in ("a", "b", "c")
}


def _night(day: int, **scenarios: dict[str, float]) -> Night:
    measured = {name: Measured((1,), 10, figures) for name, figures in scenarios.items()}
    return Night(START + timedelta(days=day), "1", measured, "EN-02", "first <night>")


ACCEPTED = _night(
    0,
    a={"escapes": 0.0, "overkill": 0.1, "simulated_s": 20.0},
    b={"escapes": 0.0, "overkill": 0.1, "simulated_s": 20.0},
)
LAST = _night(
    1,
    a={"escapes": 0.0, "overkill": 0.2, "simulated_s": 21.0},
    b={"escapes": 1.0, "overkill": 0.1, "simulated_s": 19.0},
    c={"escapes": 0.0, "overkill": 0.0, "simulated_s": 30.0},
)


def test_concern_tells_bound_from_worse_from_tolerated() -> None:
    """Beyond a bound above 2, worse than accepted above 1, within the tolerance below, better or new 0."""
    concerns = {
        (name, line.scenario): line.concern
        for name in ("escapes", "overkill", "simulated_s")
        for line in lines_of(figure(name), ACCEPTED, [LAST], SCENARIOS)
    }

    assert 3.0 == concerns["escapes", "b"]
    assert 1.5 == concerns["overkill", "a"]
    assert 0.5 == concerns["simulated_s", "a"]
    assert {0.0} == {each for place, each in concerns.items() if place not in _CONCERNING}


_CONCERNING = {("escapes", "b"), ("overkill", "a"), ("simulated_s", "a")}


def test_page_draws_the_worst_figure_first() -> None:
    """Escapes beyond their bound, then overkill, then what is tolerated; what got worse is in a table."""
    page = trends_page(ACCEPTED, [LAST], SCENARIOS)

    assert page.index("<h2>escapes") < page.index("<h2>overkill") < page.index("<h2>simulated_s")
    assert "2 figures worse than they may be" in page
    assert "<td>b</td><td>0</td><td>1</td><td>beyond its bound</td>" in page
    assert "first &lt;night&gt;" in page


def test_page_is_one_file_without_script_and_well_formed() -> None:
    """Nothing is fetched, nothing runs, every element is closed: an XML reader reads it."""
    nights = [_night(day, a={"escapes": 0.0, "overkill": day / 9}) for day in range(40)]
    page = trends_page(ACCEPTED, nights, SCENARIOS)
    root = fromstring(page.removeprefix("<!doctype html>"))
    points = [len(each.get("points", "").split()) for each in root.findall(".//polyline")]

    assert not any(each in page for each in ("<script", "http://", "https://", "src=", "@import", "url("))
    assert 30 + 1 == max(points)


def test_page_before_any_night_says_so() -> None:
    """An empty home: a page all the same."""

    assert "no night yet" in trends_page(None, [], SCENARIOS)


def test_history_gives_the_last_nights_from_the_oldest_on(tmp_path: Path) -> None:
    """As many as asked for; none in a new home; a line that is no night is told."""
    none = history(tmp_path, last=5)
    for day in range(4):
        keep_last(tmp_path, _night(day, a={"escapes": 0.0}))
    found = history(tmp_path, last=2)
    with (tmp_path / "nightly" / "history.jsonl").open("a", encoding="utf-8") as file:
        file.write("{")

    assert ([], [2, 3]) == (none, [(each.utc - START).days for each in found])
    with pytest.raises(RecordError, match="is no kept night"):
        history(tmp_path, last=2)
