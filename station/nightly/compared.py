"""What got worse: each night against what its scenario allows, each scenario against the accepted night."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from station.nightly.figures import Better, figure, figures_of
from station.nightly.scenario import Scenario
from station.nightly.tally import Tally, add_up

SMALLEST = 1e-12
"""Differences below this are none: sums of floating-point numbers."""


@dataclass(frozen=True, slots=True)
class Measured:
    """A scenario's figures over its seeds, as they are kept."""

    seeds: tuple[int, ...]
    units: int
    figures: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Worse:
    """One figure that is worse than it may be. `seed` is the night to replay."""

    scenario: str
    seed: int
    figure: str
    words: str

    def __str__(self) -> str:
        return f"{self.scenario}: {self.words} Replay: coilgate nightly replay {self.scenario} {self.seed}"


def measured(tallies: Sequence[Tally]) -> dict[str, Measured]:
    """Return the figures of each scenario over all its seeds."""
    return {
        name: Measured(each.seeds, each.counts.get("units", 0), figures_of(each))
        for name, each in add_up(tallies).items()
    }


def beyond_bounds(scenario: Scenario, night: Tally) -> list[Worse]:
    """Return which figures of one night are beyond `at_most` and `at_least` of its scenario.

    A night that broke off is beyond any. A bound on a figure that nothing was counted for says nothing.
    """
    seed = night.seeds[0]
    if night.counts.get("night_failed"):
        return [Worse(scenario.name, seed, "night_failed", f"broke off. {'; '.join(night.notes)}.")]
    found = figures_of(night)
    worse = []
    for name, most in scenario.at_most.items():
        if found.get(name, most) > most + SMALLEST:
            worse.append((name, f"{name} is {found[name]:.4g}, at most {most:g} is allowed."))
    for name, least in scenario.at_least.items():
        if found.get(name, least) < least - SMALLEST:
            worse.append((name, f"{name} is {found[name]:.4g}, at least {least:g} is wanted."))
    return [Worse(scenario.name, seed, name, words + _note(night, name)) for name, words in worse]


def worse_than_accepted(scenario: Scenario, nights: Sequence[Tally], accepted: Measured | None) -> list[Worse]:
    """Return which figures of a scenario are worse than on the accepted night, by more than its tolerances.

    Nothing is compared with a night of other seeds or another number of units.
    """
    own = [each for each in nights if each.scenario == scenario.name]
    now = measured(own).get(scenario.name)
    if accepted is None or now is None or not comparable(now, accepted):
        return []
    worse = []
    for name, before in accepted.figures.items():
        allowed = scenario.tolerance.get(name, 0.0) + SMALLEST
        value = now.figures.get(name)
        if value is None:
            words = f"{name} was {before:.4g} on the accepted night; nothing was counted for it now."
            worse.append(Worse(scenario.name, own[0].seeds[0], name, words))
        elif _worsening(name, before, value) > allowed:
            words = f"{name} is {value:.6g}; on the accepted night {before:.6g}, tolerance {allowed - SMALLEST:g}."
            worse.append(Worse(scenario.name, _worst_seed(name, own), name, words))
    return worse


def comparable(now: Measured, accepted: Measured) -> bool:
    """Tell whether two nights are of the same seeds and as many units."""
    return (now.seeds, now.units) == (accepted.seeds, accepted.units)


def _worsening(name: str, before: float, now: float) -> float:
    try:
        better = figure(name).better
    except KeyError:  # a figure of an older release
        return 0.0
    return {Better.LOW: now - before, Better.HIGH: before - now, Better.NONE: 0.0}[better]


def _worst_seed(name: str, nights: Sequence[Tally]) -> int:
    sign = -1.0 if figure(name).better is Better.HIGH else 1.0
    values = [(sign * figures_of(each).get(name, float("-inf")), -each.seeds[0]) for each in nights]
    return -max(values)[1]


def _note(night: Tally, name: str) -> str:
    own = [each for each in night.notes if f": {name}: " in each]
    return f" First: {own[0]}." if own else ""
