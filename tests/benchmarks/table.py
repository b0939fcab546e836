"""Goals beside what was measured, as a table."""

from collections.abc import Iterable
from dataclasses import dataclass

from tests.benchmarks.ratios import Timed


@dataclass(frozen=True, slots=True)
class Line:
    """One goal: what, how much, how much was wanted, whether that is met."""

    what: str
    measured: str
    goal: str
    met: bool


def ratio_line(what: str, side: Timed, reference: str, goal: float) -> Line:
    """Return the line of a side that may take at most `goal` times as long as its reference."""
    measured = f"{side.ratio:.2f} x ({side.seconds * 1e6:,.0f} us)"
    return Line(f"{what}, against {reference}", measured, f"at most {goal:g} x", side.ratio <= goal)


def format_table(lines: Iterable[Line]) -> str:
    """Return the lines under each other, with `met` or `MISSED` at the end."""
    rows = [("what", "measured", "goal", "")]
    rows += [(each.what, each.measured, each.goal, "met" if each.met else "MISSED") for each in lines]
    widths = [max(len(row[place]) for row in rows) for place in range(4)]
    return "\n".join("  ".join(f"{cell:<{width}}" for cell, width in zip(row, widths)).rstrip() for row in rows)
