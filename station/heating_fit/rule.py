"""When a prediction may be believed: its uncertainty small enough, and that for a while."""

from dataclasses import dataclass

FACTOR = 2.6
"""So many standard uncertainties must lie within the target (99 % of a normal distribution)."""

HOLD_ABSOLUTE_S = 3.0
HOLD_FRACTION_S = 1.0
"""So long, in s: a moment's luck is no reason to stop. A target in K is held longer: there, what is left to
the false stops is less (`coilgate bench soak-table` shows what each holds)."""


_EDGE_S = 1e-6


@dataclass(frozen=True, slots=True)
class Target:
    """How exactly a steady rise is wanted: `absolute_k`, or `fraction` of the rise. Exactly one is above 0.

    Raises:
        ValueError: both or neither.
    """

    absolute_k: float = 0.0
    fraction: float = 0.0

    def __post_init__(self) -> None:
        if (self.absolute_k > 0) == (self.fraction > 0):
            raise ValueError("a target is either in K or a fraction of the rise, above 0; give exactly one")

    def allowed_k(self, rise_k: float) -> float:
        """Return what a result of `rise_k` may be wrong by, in K."""
        return self.absolute_k or self.fraction * abs(rise_k)

    @property
    def hold_s(self) -> float:
        """For how long the uncertainty must stay within the target, in s."""
        return HOLD_ABSOLUTE_S if self.absolute_k else HOLD_FRACTION_S


class ConfidenceRule:
    """Says yes once `FACTOR` standard uncertainties have stayed within the target for its hold."""

    def __init__(self, target: Target) -> None:
        """Begin anew for one curve."""
        self._target = target
        self._since_s: float | None = None

    def satisfied(self, time_s: float, rise_k: float, standard_uncertainty_k: float) -> bool:
        """Take the prediction made at `time_s`; tell whether it may be believed."""
        # Not "if above": an uncertainty that is no number must not count as small.
        if not FACTOR * standard_uncertainty_k < self._target.allowed_k(rise_k):
            self._since_s = None
            return False
        if self._since_s is None:
            self._since_s = time_s
        return time_s - self._since_s >= self._target.hold_s - _EDGE_S
