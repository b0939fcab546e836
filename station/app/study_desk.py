"""Whoever scans badges and units in a gauge study: people at a terminal or a page, or the simulated operator."""

from collections.abc import Callable
from typing import Protocol

from station.quality.study_order import Step
from station.quality.study_state import StudyState, StudyTurn


class Desk(Protocol):
    """Where a study asks for scans. Each call waits for a person, and raises Stopped if a stop is asked for."""

    def badge(self, state: StudyState) -> str:
        """Return the badge of who measures now."""
        ...

    def unit(self, state: StudyState, step: Step) -> str:
        """Ask for the unit of `step` and return what was scanned: its serial, or another appraiser's badge."""
        ...

    def say(self, words: str) -> None:
        """Tell something."""
        ...


class SimulatedDesk:
    """Scans the right badge and the right unit by itself: for simulated benches, with nobody there."""

    def __init__(self, say: Callable[[str], None]) -> None:
        self.say = say

    def badge(self, state: StudyState) -> str:
        """Return the first badge that has readings to take."""
        self.say(f"Simulated operator: badge {state.waiting[0]}.")
        return state.waiting[0]

    def unit(self, state: StudyState, step: Step) -> str:
        """Return the serial that is asked for."""
        self.say(place_of(state, step))
        return step.part


def place_of(state: StudyState, step: Step) -> str:
    """Return which of an appraiser's readings a step is, and of which unit."""
    total = sum(each.appraiser == step.appraiser for each in state.steps)
    return f"{step.appraiser}, {total - state.left(step.appraiser) + 1} of {total}: {step.part}"


def words_of_turn(turn: StudyTurn) -> str:
    """Return what is asked of the people at the bench: a badge, or the next unit."""
    if turn.step is None:
        return f"Scan your badge: {' or '.join(turn.state.waiting)}."
    return f"{place_of(turn.state, turn.step)} is next. Scan it."
