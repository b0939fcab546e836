"""The table of speed goals."""

from tests.benchmarks.ratios import Timed
from tests.benchmarks.table import Line, format_table, ratio_line


def test_ratio_above_its_goal_is_missed() -> None:
    """The goal itself is still met."""

    assert ratio_line("a query", Timed("ours", 2e-5, 2.0), "bare socket", 2.0).met
    assert not ratio_line("a query", Timed("ours", 2e-5, 2.01), "bare socket", 2.0).met


def test_table_tells_goal_measured_and_verdict() -> None:
    """One line a goal, in columns."""
    text = format_table([Line("a query", "2.50 x", "at most 2 x", False), Line("help", "0.1 s", "0.3 s", True)])

    assert ["what", "measured", "goal"] == text.splitlines()[0].split()
    assert text.splitlines()[1].endswith("at most 2 x  MISSED")
    assert text.splitlines()[2].split()[-1] == "met"
