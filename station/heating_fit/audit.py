"""The full-soak audit: what no fit can see is found by soaking every so-many-th unit out.

A slow third time constant, or anything else that the model lacks, makes an early stop wrong without making it
uncertain. So stopping early is a right that a full soak grants, renews and revokes. Pure: whoever calls keeps
the state, per plan, mounting and nest.
"""

from dataclasses import dataclass, replace

AGREEING_TO_REGAIN = 5
"""Full soaks in a row that must agree before a revoked right is given back."""


@dataclass(frozen=True, slots=True)
class Rise:
    """A steady rise in K with its expanded uncertainty (95 %)."""

    rise_k: float
    expanded_uncertainty_k: float


@dataclass(frozen=True, slots=True)
class AuditState:
    """What earlier units have shown.

    `agreeing` full soaks in a row agreed with what the short rule would have said; `short_since` units were
    stopped early since the last agreeing one; `doubtful` were, before a soak that disagreed.
    """

    agreeing: int = 0
    revoked: bool = False
    short_since: int = 0
    doubtful: int = 0
    words: str = "no full soak yet"

    @property
    def granted(self) -> bool:
        """Tell whether a unit may be stopped early at all."""
        return self.agreeing >= (AGREEING_TO_REGAIN if self.revoked else 1)


def soak_due(state: AuditState, every: int) -> bool:
    """Tell whether the next unit is soaked out, `every` units one."""
    return not state.granted or state.short_since >= every - 1


def after_early_stop(state: AuditState) -> AuditState:
    """Return the state after a unit that was stopped early."""
    return replace(state, short_since=state.short_since + 1)


def after_full_soak(
    state: AuditState, predicted: Rise | None, soaked: Rise, *, allowed_k: float
) -> AuditState:
    """Return the state after a unit that was soaked out.

    Args:
        predicted: what the short rule would have said; None if it would not have stopped: no evidence.
        soaked: what came of the full soak.
        allowed_k: what the plan allows a result to be wrong by.
    """
    if predicted is None:
        return replace(state, words="the short rule would not have stopped")
    difference_k = predicted.rise_k - soaked.rise_k
    limit_k = allowed_k + soaked.expanded_uncertainty_k
    words = f"early {predicted.rise_k:.2f} K, soaked {soaked.rise_k:.2f} K, {limit_k:.2f} K allowed"
    if abs(difference_k) <= limit_k:
        granted = state.agreeing + 1
        regained = state.revoked and granted >= AGREEING_TO_REGAIN
        return AuditState(granted, state.revoked and not regained, 0, 0 if regained else state.doubtful, words)
    return AuditState(0, True, 0, state.doubtful + state.short_since, words)
