"""Shrinks a night that fails to the shortest script of mishaps that still fails the same way.

Delta debugging: A. Zeller, R. Hildebrandt, "Simplifying and isolating failure-inducing input", IEEE Transactions on
Software Engineering 28 (2002) 183-200, algorithm ddmin. A night is the same each time, so every trial counts once; the
number of nights is bounded, and what was found until then is told.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from station.nightly.compared import beyond_bounds
from station.nightly.pool import Job, carry_out
from station.nightly.scenario import Scenario
from station.nightly.script import Mishap, script_of

MOST_NIGHTS = 60
"""Nights that one shrinking may cost."""

Fails = Callable[[tuple[int, ...]], bool]


@dataclass(frozen=True, slots=True)
class Shrunk:
    """The shortest script found: it fails, and without any one of its mishaps it does not, if `minimal`."""

    scenario: str
    seed: int
    figure: str
    mishaps: tuple[Mishap, ...]
    of: int
    """Mishaps of the whole night."""
    nights: int
    minimal: bool

    def __str__(self) -> str:
        if not self.mishaps:
            return f"{self.scenario} seed {self.seed}: {self.figure} is beyond its bound without any mishap."
        numbers = ",".join(str(each.number) for each in self.mishaps)
        how = "none of which can be left out" if self.minimal else f"as far as {self.nights} nights could tell"
        lines = [
            f"{self.scenario} seed {self.seed}: {self.figure} needs {len(self.mishaps)} of {self.of} mishaps, {how}:",
            *(f"  {each.number}. {each.words}" for each in self.mishaps),
            f"  Replay: coilgate nightly replay {self.scenario} {self.seed} --only {numbers}",
        ]
        return "\n".join(lines)


def shrink(scenario: Scenario, seed: int, figure: str, *, most_nights: int = MOST_NIGHTS) -> Shrunk | None:
    """Return the shortest script with which `figure` of a night is beyond its bound; None if it is not at all."""
    script = script_of(scenario, seed)

    def fails(numbers: tuple[int, ...]) -> bool:
        night = carry_out(Job(scenario, seed, numbers))
        return figure in {each.figure for each in beyond_bounds(scenario, night)}

    everything = tuple(each.number for each in script.mishaps)
    trials = _Trials(fails, most_nights)
    if not trials(everything):
        return None
    numbers = shortest(everything, trials)
    mishaps = script.only(numbers).mishaps
    return Shrunk(scenario.name, seed, figure, mishaps, len(everything), trials.nights, not trials.over)


def shortest(items: Sequence[int], fails: Fails) -> tuple[int, ...]:
    """Return a part of `items` that fails and of which no single item can be left out; `items` itself must fail."""
    now = tuple(items)
    if now and fails(()):
        return ()
    pieces = 2
    while len(now) >= 2:
        smaller = next((each for each in _candidates(now, pieces) if fails(each)), None)
        if smaller is not None:
            pieces = 2 if len(smaller) <= len(now) // pieces + 1 else max(pieces - 1, 2)
            now = smaller
        elif pieces >= len(now):
            return now
        else:
            pieces = min(2 * pieces, len(now))
    return now


def _candidates(items: tuple[int, ...], pieces: int) -> list[tuple[int, ...]]:
    """Each piece alone, then everything but each piece."""
    bounds = [round(index * len(items) / pieces) for index in range(pieces + 1)]
    parts = [(bounds[index], bounds[index + 1]) for index in range(pieces)]
    return [items[low:high] for low, high in parts] + [items[:low] + items[high:] for low, high in parts if pieces > 2]


@dataclass(slots=True)
class _Trials:
    """Tries each script once; when there were enough nights, nothing more fails."""

    fails: Fails
    most: int
    nights: int = 0
    over: bool = False
    _known: dict[tuple[int, ...], bool] = field(default_factory=dict)

    def __call__(self, numbers: tuple[int, ...]) -> bool:
        if numbers not in self._known:
            if self.nights >= self.most:
                self.over = True
                return False
            self.nights += 1
            self._known[numbers] = self.fails(numbers)
        return self._known[numbers]
