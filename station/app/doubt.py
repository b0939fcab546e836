"""Which units are in doubt after a verification that failed."""

from collections.abc import Mapping
from dataclasses import dataclass

from station.core.verification import ReferenceUnit, Verification, VerificationValue
from station.records import Records
from station.verifying import Proof


@dataclass(frozen=True, slots=True)
class VerificationReport:
    """A verification on record."""

    verification: Verification
    values: tuple[VerificationValue, ...]
    held: tuple[str, ...]
    """Units judged since the last good verification that are held now: an engineer decides."""
    uses: Mapping[str, int]
    """How often each reference unit had been used before."""
    references: tuple[ReferenceUnit, ...] = ()
    warnings: tuple[str, ...] = ()
    """What drifts, though it agrees still."""


def units_in_doubt(records: Records, proof: Proof, done: Verification) -> tuple[str, ...]:
    """Return the serials judged since the last good verification of this nest, if the bench has measured wrong.

    `done` is the proof's verification, or what a drift made of it: one that is beyond its uncertainty by now
    may have been so for a while. A bench that could not be checked (a plug pulled, a reference unit not seated)
    is not verified either, but says nothing of what it measured before.
    """
    drifted = proof.verification.verified and not done.verified
    if done.verified or not (proof.suspect or drifted):
        return ()
    good = [each for each in records.verifications(done.bench) if each.nest == done.nest and each.verified]
    return records.units_since(good[-1]) if good else ()
