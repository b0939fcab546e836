"""Patterns on a control chart that chance seldom makes (ISO 7870-2, clause 8; zone tests of 1956).

Each rule works on points in units of their own standard deviation from the centre line and marks the point that
completes the pattern. Each adds false alarms: about 1 in 370 points for the limits alone, 1 in 92 for the first four
(Champ and Woodall 1987), so the last four are for looking closer, not for every day.
"""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

import numpy as np


class RunRule(StrEnum):
    """A pattern; the value is its words."""

    BEYOND_LIMITS = "one point beyond the limits"
    TWO_OF_THREE = "two of three beyond 2 sigma on one side"
    FOUR_OF_FIVE = "four of five beyond 1 sigma on one side"
    ONE_SIDE = "eight in a row on one side"
    STEADY = "six in a row rising or falling"
    HUGGING = "fifteen in a row within 1 sigma"
    AVOIDING = "eight in a row beyond 1 sigma, either side"
    ALTERNATING = "fourteen in a row up and down in turn"


EVERYDAY = (RunRule.BEYOND_LIMITS, RunRule.TWO_OF_THREE, RunRule.FOUR_OF_FIVE, RunRule.ONE_SIDE)


@dataclass(frozen=True, slots=True)
class Signal:
    """A pattern completed at `index`, counted from 0."""

    index: int
    rule: RunRule


def run_signals(z: np.ndarray, *, rules: tuple[RunRule, ...] = EVERYDAY) -> tuple[Signal, ...]:
    """Return every signal in points `z`, shape (N,), standard deviations from the centre; in order of index.

    Limits are strict: a point on the 3-sigma line is not beyond it.
    """
    found = [Signal(int(i), rule) for rule in rules for i in np.flatnonzero(_TESTS[rule](np.asarray(z, dtype=float)))]
    return tuple(sorted(found, key=lambda signal: (signal.index, list(RunRule).index(signal.rule))))


def _last(flags: np.ndarray, window: int) -> np.ndarray:
    """How many of the last `window` points, this one included, are flagged."""
    total = np.concatenate(([0], np.cumsum(flags)))
    start = np.maximum(0, np.arange(flags.size) + 1 - window)
    return total[1:] - total[start]


def _several(count: int, window: int, beyond: float) -> Callable[[np.ndarray], np.ndarray]:
    def test(z: np.ndarray) -> np.ndarray:
        hits = np.zeros(z.size, dtype=bool)
        for side in (z, -z):
            flags = side > beyond
            # The point itself must be out: else one excursion would be told twice.
            hits |= flags & (_last(flags, window) >= count)
        return hits

    return test


def _all_of(window: int, flagged: Callable[[np.ndarray], np.ndarray]) -> Callable[[np.ndarray], np.ndarray]:
    return lambda z: _last(flagged(z), window) >= window


def _one_side(z: np.ndarray) -> np.ndarray:
    return (_last(z > 0.0, 8) >= 8) | (_last(z < 0.0, 8) >= 8)


def _steady(z: np.ndarray) -> np.ndarray:
    """Six points are five steps."""
    step = np.diff(z, prepend=z[:1])
    return (_last(step > 0.0, 5) >= 5) | (_last(step < 0.0, 5) >= 5)


def _alternating(z: np.ndarray) -> np.ndarray:
    """Fourteen points are thirteen steps, and twelve turns between them."""
    step = np.sign(np.diff(z, prepend=z[:1]))
    turn = np.concatenate(([False, False], step[2:] * step[1:-1] < 0.0))[: z.size]
    return _last(turn, 12) >= 12


_TESTS: dict[RunRule, Callable[[np.ndarray], np.ndarray]] = {
    RunRule.BEYOND_LIMITS: lambda z: np.abs(z) > 3.0,
    RunRule.TWO_OF_THREE: _several(2, 3, 2.0),
    RunRule.FOUR_OF_FIVE: _several(4, 5, 1.0),
    RunRule.ONE_SIDE: _one_side,
    RunRule.STEADY: _steady,
    RunRule.HUGGING: _all_of(15, lambda z: np.abs(z) < 1.0),
    RunRule.AVOIDING: _all_of(8, lambda z: np.abs(z) > 1.0),
    RunRule.ALTERNATING: _alternating,
}
