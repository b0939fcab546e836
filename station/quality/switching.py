"""Switching between normal, tightened and reduced inspection (ISO 2859-1:1999, 9.3 and 9.4; from memory).

A pure step: state and one lot's outcome in, next state out. Lots are counted on original inspection only.
"""

from dataclasses import dataclass, replace

from station.quality.sampling_tables import Severity

SCORE_FOR_REDUCED = 30
LOTS_BACK_TO_NORMAL = 5
NOT_ACCEPTED_TO_STOP = 5


@dataclass(frozen=True, slots=True)
class SwitchingState:
    """Where a series of lots stands. `stopped`: inspection is discontinued until the maker has improved."""

    severity: Severity = Severity.NORMAL
    score: int = 0
    """Switching score, under normal inspection."""
    recent: tuple[bool, ...] = ()
    """Of up to 4 last lots since the last switch: accepted or not."""
    not_accepted_on_tightened: int = 0
    stopped: bool = False


@dataclass(frozen=True, slots=True)
class LotOutcome:
    """One lot on original inspection."""

    accepted: bool
    acceptance_number: int
    accepted_one_aql_tighter: bool = False
    """Whether the plan of the next smaller AQL would have accepted it too; matters from acceptance number 2 on."""
    may_reduce: bool = False
    """Production is steady and the responsible authority wants reduced inspection."""
    irregular: bool = False
    """Production has become irregular, or other conditions ask for normal inspection."""


def next_state(state: SwitchingState, lot: LotOutcome) -> SwitchingState:
    """Return the state for the next lot. Raises ValueError once inspection is stopped."""
    if state.stopped:
        raise ValueError("inspection is discontinued: restart with tightened inspection after the maker has improved")
    if state.severity is Severity.NORMAL:
        return _from_normal(state, lot)
    if state.severity is Severity.TIGHTENED:
        return _from_tightened(state, lot)
    if not lot.accepted or lot.irregular:
        return SwitchingState()
    return state


def _from_normal(state: SwitchingState, lot: LotOutcome) -> SwitchingState:
    seen = (*state.recent, lot.accepted)[-5:]
    if seen.count(False) >= 2:
        return SwitchingState(Severity.TIGHTENED)
    score = _score(state.score, lot)
    if score >= SCORE_FOR_REDUCED and lot.may_reduce and not lot.irregular:
        return SwitchingState(Severity.REDUCED)
    return replace(state, score=score, recent=seen[-4:])


def _score(score: int, lot: LotOutcome) -> int:
    """9.3.3.2: acceptance number 2 or more: +3 if one AQL tighter would accept too; below: +2 if accepted; else 0."""
    if lot.acceptance_number >= 2:
        return score + 3 if lot.accepted and lot.accepted_one_aql_tighter else 0
    return score + 2 if lot.accepted else 0


def _from_tightened(state: SwitchingState, lot: LotOutcome) -> SwitchingState:
    seen = (*state.recent, lot.accepted)[-LOTS_BACK_TO_NORMAL:]
    if len(seen) == LOTS_BACK_TO_NORMAL and all(seen):
        return SwitchingState()
    missed = state.not_accepted_on_tightened + (not lot.accepted)
    stopped = missed >= NOT_ACCEPTED_TO_STOP
    return replace(state, recent=seen, not_accepted_on_tightened=missed, stopped=stopped)
