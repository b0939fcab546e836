"""The comparison that the benchmarks share."""

from tests.benchmarks.ratios import Timed, compare, show


def test_compare_calls_each_side_as_often() -> None:
    """Both sides get the same number of calls, in turn; the first is the reference."""
    calls: list[str] = []
    timed = compare({"a": lambda: calls.append("a"), "b": lambda: calls.append("b")}, calls=2, blocks=3)

    assert calls == ["a", "a", "b", "b"] * 3
    assert [side.name for side in timed] == ["a", "b"]
    assert timed[0].ratio == 1.0


def test_show_tells_missed_goals() -> None:
    """A goal is told as met or missed."""
    text = show("queries", [Timed("bare", 1e-6, 1.0), Timed("link", 2e-6, 2.0)], goals={"link": 1.5})

    assert "2.00 x   goal 1.5: MISSED" in text
