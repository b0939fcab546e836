"""A verification: proof, for a time or a number of units, that a bench still measures right (VIM 2.44)."""

import math
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class Verification:
    """One verification of one bench and nest with one fixture, against reference units.

    `verified` False is on record too: it ends what an earlier one promised.
    """

    verification_id: str
    bench: str
    nest: str
    fixture_identity: str
    part: str
    """The part whose plan the reference units were measured with."""
    done_utc: datetime
    verified: bool
    verified_until_utc: datetime
    unit_limit: int
    """Units that may be judged before the next verification."""
    operator: str
    words: str
    run_ids: tuple[str, ...] = ()
    """The runs of the reference units (purpose verification)."""
    plan_hash: str = ""
    """Of the plan that they were measured with; empty: on record from before it was kept."""


@dataclass(frozen=True, slots=True)
class VerificationValue:
    """One value that a verification rests on, to be drawn over time.

    `subject` is the reference unit's serial; empty: the bench itself. A good reference unit's value stands
    against an assigned one, any other between `lower` and `upper`. SI, unscaled.
    """

    subject: str
    characteristic: str
    unit_symbol: str
    value: float | None
    """None: not measured."""
    agrees: bool
    words: str = ""
    """What speaks against it; empty if it agrees."""
    expanded_uncertainty: float | None = None
    assigned: float | None = None
    assigned_uncertainty: float | None = None
    """Expanded, 95 %."""
    lower: float | None = None
    upper: float | None = None
    run_id: str = ""

    @property
    def allowed(self) -> float | None:
        """How far the value may be from the assigned one: both expanded uncertainties together."""
        if self.expanded_uncertainty is None or self.assigned_uncertainty is None:
            return None
        return math.hypot(self.expanded_uncertainty, self.assigned_uncertainty)

    @property
    def en(self) -> float | None:
        """The E_n number (ISO 13528:2015, 9.7); None if not measured, or nothing is assigned."""
        if self.value is None or self.assigned is None or not self.allowed:
            return None
        return (self.value - self.assigned) / self.allowed


class ReferenceKind(StrEnum):
    """What a reference unit is for: `good` ones must agree, the others must FAIL for their own reason."""

    GOOD = "good"
    OPEN = "open"
    SHORTED_TURN = "shorted_turn"
    OUT_OF_LIMIT = "out_of_limit"


@dataclass(frozen=True, slots=True)
class AssignedValue:
    """What a reference unit is known to have. `expanded_uncertainty` is for 95 %."""

    characteristic: str
    unit_symbol: str
    value: float
    expanded_uncertainty: float
    assigned_on: str
    """Date, ISO 8601."""
    assigned_by: str
    """Which bench, or which laboratory."""
    certificate: str = ""
    """Its number. Without one a value is assigned, and never called certified."""
    valid_until: date | None = None
    """Last day on which the value may be used."""

    @property
    def origin(self) -> str:
        """Where the value comes from, in words: certified only with a certificate."""
        if self.certificate:
            return f"certified by {self.assigned_by}, certificate {self.certificate}"
        return f"assigned by {self.assigned_by}"


@dataclass(frozen=True, slots=True)
class ReferenceUnit:
    """A unit of assigned values, run to show that the bench still measures right; never in lot statistics."""

    serial: str
    part: str
    kind: str
    """A `ReferenceKind`."""
    values: tuple[AssignedValue, ...]
    fails: tuple[tuple[str, str], ...] = ()
    """A known-defect one: (characteristic, `below`, `above` or `open`) for each limit that it must fail."""
    use_limit: int | None = None
    """Uses (each touch of its pads wears them) after which another one takes its place."""

    def assigned(self, characteristic: str) -> AssignedValue | None:
        """Return what is assigned to a characteristic, or None."""
        return next((each for each in self.values if each.characteristic == characteristic), None)
