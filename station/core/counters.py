"""How a shift goes: done, yield, the last ten, units per hour and what limits it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from station.core.results import Decision

LAST = 10
PACE_RUNS = 30
"""Units per hour is reckoned over so many runs: a coffee break an hour ago says nothing about now."""
FEWEST_FOR_PACE = 3


@dataclass(frozen=True, slots=True)
class Done:
    """One closed production run."""

    serial: str
    decision: Decision
    bin_number: int
    bin_name: str
    opened_utc: datetime
    closed_utc: datetime


@dataclass(frozen=True, slots=True)
class Counters:
    """Counts of one shift at one bench."""

    done: int = 0
    """Units, each by its last run."""
    passed: int = 0
    failed: int = 0
    invalid: int = 0
    last: tuple[Done, ...] = ()
    """The last ten runs, newest first."""
    units_per_hour: float | None = None
    measuring_fraction: float | None = None
    """Of the time, how much was measuring; the rest is scanning, loading and waiting."""

    @property
    def yield_fraction(self) -> float | None:
        """passed / (passed + failed); None if none is decided."""
        judged = self.passed + self.failed
        return self.passed / judged if judged else None

    @property
    def limited_by(self) -> str:
        """What limits the pace, in words; empty if that can't be told yet."""
        if self.measuring_fraction is None:
            return ""
        return "measuring" if self.measuring_fraction >= 0.5 else "scanning and loading"


def count(runs: Sequence[Done], *, speed: float = 1.0) -> Counters:
    """Return the counts of `runs`, oldest first. A unit that was measured again counts once, by its last run.

    `speed`: of a simulated bench's clock, so that its pace is told in the time that a real one would take.
    """
    newest = {each.serial: each.decision for each in runs}
    counts = {each: list(newest.values()).count(each) for each in Decision}
    pace, measuring = _pace(runs[-PACE_RUNS:])
    if pace is not None:
        pace /= speed
    return Counters(
        done=len(newest),
        passed=counts[Decision.PASS],
        failed=counts[Decision.FAIL],
        invalid=counts[Decision.INVALID],
        last=tuple(reversed(runs[-LAST:])),
        units_per_hour=pace,
        measuring_fraction=measuring,
    )


def _pace(runs: Sequence[Done]) -> tuple[float | None, float | None]:
    """Return units per hour and the fraction of time spent measuring, from first close to last close."""
    if len(runs) < FEWEST_FOR_PACE:
        return None, None
    span_s = (runs[-1].closed_utc - runs[0].closed_utc).total_seconds()
    if span_s <= 0.0:
        return None, None
    measuring_s = sum((each.closed_utc - each.opened_utc).total_seconds() for each in runs[1:])
    return 3600.0 * (len(runs) - 1) / span_s, min(1.0, measuring_s / span_s)
