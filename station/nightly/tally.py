"""Counts of a night: of one scenario and seed, or of several added up."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

NOTES_KEPT = 8
"""Of what went wrong, in words: the first ones of a night name what to replay."""


@dataclass(frozen=True, slots=True)
class Moments:
    """Sums over the results of one characteristic, each against its truth."""

    count: int = 0
    covered: int = 0
    """Errors within the stated expanded uncertainty."""
    gross: int = 0
    """Errors beyond twice of it."""
    relative_error: float = 0.0
    """Sum of error / truth."""

    def __add__(self, other: "Moments") -> "Moments":
        return Moments(
            self.count + other.count,
            self.covered + other.covered,
            self.gross + other.gross,
            self.relative_error + other.relative_error,
        )


@dataclass(frozen=True, slots=True)
class Tally:
    """What was counted. Two nights of the same seeds are equal, whatever machine and however many cores.

    `counts` has the names of `station.nightly.figures`; `moments` is by characteristic.
    """

    scenario: str
    seeds: tuple[int, ...]
    counts: Mapping[str, int]
    moments: Mapping[str, Moments]
    simulated_s: float
    longest: Mapping[str, float] = field(default_factory=dict)
    """Largest values, by figure: over several nights the largest of them."""
    notes: tuple[str, ...] = ()
    real_s: float = field(default=0.0, compare=False)

    def __add__(self, other: "Tally") -> "Tally":
        moments = dict(self.moments)
        for name, each in other.moments.items():
            moments[name] = moments.get(name, Moments()) + each
        longest = dict(self.longest)
        for name, value in other.longest.items():
            longest[name] = max(longest.get(name, value), value)
        return Tally(
            self.scenario,
            self.seeds + other.seeds,
            Counter(self.counts) + Counter(other.counts),
            moments,
            self.simulated_s + other.simulated_s,
            longest,
            (self.notes + other.notes)[:NOTES_KEPT],
            self.real_s + other.real_s,
        )


def add_up(tallies: Iterable[Tally]) -> dict[str, Tally]:
    """Return one tally a scenario, in the order in which scenarios come first."""
    found: dict[str, Tally] = {}
    for each in tallies:
        found[each.scenario] = found[each.scenario] + each if each.scenario in found else each
    return found


class Counting:
    """Counts while a night runs."""

    def __init__(self, scenario: str, seed: int) -> None:
        self._scenario = scenario
        self._seed = seed
        self._counts: Counter[str] = Counter()
        self._moments: dict[str, Moments] = {}
        self._notes: list[str] = []
        self._longest: dict[str, float] = {}

    def count(self, name: str, *, times: int = 1) -> None:
        """Count something that is no fault by itself."""
        if times:
            self._counts[name] += times

    def fault(self, name: str, words: str) -> None:
        """Count something that should not be, and say what it was."""
        self._counts[name] += 1
        self._notes.append(f"seed {self._seed}: {name}: {words}")

    def longest(self, name: str, value: float) -> None:
        """Keep the largest value of a figure."""
        self._longest[name] = max(self._longest.get(name, value), value)

    def result(self, characteristic: str, *, value: float, truth: float, expanded_uncertainty: float) -> None:
        """Count one result against its truth."""
        error = abs(value - truth)
        self._moments[characteristic] = self._moments.get(characteristic, Moments()) + Moments(
            1,
            int(error <= expanded_uncertainty),
            int(error > 2.0 * expanded_uncertainty),
            (value - truth) / truth,
        )

    def tally(self, *, simulated_s: float, real_s: float) -> Tally:
        """Return what was counted."""
        return Tally(
            self._scenario,
            (self._seed,),
            dict(self._counts),
            dict(self._moments),
            simulated_s,
            dict(self._longest),
            tuple(self._notes[:NOTES_KEPT]),
            real_s,
        )
