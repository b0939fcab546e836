"""A verification: proof, for a time or a number of units, that a bench still measures right (VIM 2.44)."""

from dataclasses import dataclass
from datetime import datetime


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
    """Bench or certificate."""


@dataclass(frozen=True, slots=True)
class ReferenceUnit:
    """A unit of assigned values, run to show that the bench still measures right; never in lot statistics."""

    serial: str
    part: str
    kind: str
    """`good`, or the defect that it must fail for: `open`, `shorted_turn`, `out_of_limit`."""
    values: tuple[AssignedValue, ...]
