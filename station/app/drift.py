"""Verification values of a bench over time, from the records, with what is to be warned of."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from station.core.verification import Verification, VerificationValue
from station.errors import RecordError
from station.records import PastValue, Records
from station.verifying import Proof

if TYPE_CHECKING:
    from station.quality.drift import Drift


NEW_BASELINE = "new baseline"
"""A value of this name begins every series of its nest anew: an instrument was adjusted or exchanged."""


@dataclass(frozen=True, slots=True)
class Series:
    """One characteristic of one reference unit, or of the bench itself (no subject), in one nest."""

    bench: str
    nest: str
    subject: str
    characteristic: str
    values: tuple[PastValue, ...]
    """Only those that have a value and something to hold it against."""
    drift: "Drift"

    @property
    def name(self) -> str:
        """Whose it is, for people."""
        return f"{self.subject or 'bench'} {self.characteristic}"

    @property
    def newest(self) -> VerificationValue:
        """The last value."""
        return self.values[-1].found

    @property
    def times(self) -> tuple[datetime, ...]:
        """When each verification was done."""
        return tuple(each.done_utc for each in self.values)


def share_of(found: VerificationValue) -> float | None:
    """Return how far a value is off, over how far it may be; None if nothing says how far."""
    if found.value is None:
        return None
    if found.assigned is not None:
        return found.en
    if found.lower is None or found.upper is None or not found.lower < found.upper:
        return None
    middle, half = (found.lower + found.upper) / 2.0, (found.upper - found.lower) / 2.0
    return (found.value - middle) / half


def series_of(
    records: Records, bench: str, *, nest: str | None = None, characteristic: str | None = None
) -> tuple[Series, ...]:
    """Return every series of a bench, of one characteristic or nest if given.

    Raises:
        RecordError: nothing of it is on record.
    """
    every = _series(bench, records.verification_history(bench, nest=nest))
    found = tuple(each for each in every if characteristic in (None, each.characteristic))
    if not found:
        of = "" if characteristic is None else f" of {characteristic}"
        raise RecordError(
            f"{bench}: no verification values{of} in {records.where}. Look at the name, or run: "
            "coilgate bench verify"
        )
    return found


def series_with(records: Records, proof: Proof) -> tuple[Series, ...]:
    """Return each series of a verification that is not on record yet, its own values last."""
    done = proof.verification
    past = records.verification_history(done.bench, nest=done.nest)
    now = tuple(PastValue(done.verification_id, done.done_utc, done.nest, each) for each in proof.values)
    found = _series(done.bench, (*past, *now))
    return tuple(each for each in found if each.values[-1].verification_id == done.verification_id)


def limited_by_drift(done: Verification, series: Iterable[Series]) -> Verification:
    """Return a verification that holds no longer than a drift leaves the stated uncertainties true.

    Guard bands are as wide as a result's own uncertainty, and what a reference unit may be off is wider by its
    assigned one: a bench that drifts would pass wrong units for a while before it fails a verification. So
    where the charts say that it drifts, the verification ends when the error reaches the result's uncertainty
    at the present rate; at once, if it has.
    """
    if not done.verified:
        return done
    ends = [(end, each) for each in series if (end := _end(done, each)) is not None]
    if not ends:
        return done
    end, first = min(ends, key=lambda pair: pair[0])
    if end <= done.done_utc:
        words = f"{first.name} drifts, and may be off by more than its uncertainty: {'; '.join(first.drift.warnings)}"
        return replace(done, verified=False, words=words)
    if end >= done.verified_until_utc:
        return done
    return replace(done, verified_until_utc=end, words=f"{done.words}; shorter than usual, since {first.name} drifts")


def _end(done: Verification, series: Series) -> datetime | None:
    found = series.newest
    if not series.drift.drifts or found.expanded_uncertainty is None or not found.allowed:
        return None
    days = series.drift.days_until(found.expanded_uncertainty / found.allowed)
    return None if days is None else done.done_utc + timedelta(days=min(days, 365.0))


def words_of(series: Series) -> str:
    """Return the warning of one series, with how long there is left."""
    words = f"{series.name}: {'; '.join(series.drift.warnings)}"
    left = series.drift.days_left
    return words if left is None else f"{words}; at this rate the limit is reached in {left:.1f} days"


def _series(bench: str, past: Iterable[PastValue]) -> Iterator[Series]:
    import numpy as np

    from station.quality.drift import find_drift

    grouped: dict[tuple[str, str, str], list[PastValue]] = {}
    for each in past:
        if each.found.characteristic == NEW_BASELINE:
            grouped = {key: values for key, values in grouped.items() if key[0] != each.nest}
        if share_of(each.found) is not None:
            grouped.setdefault((each.nest, each.found.subject, each.found.characteristic), []).append(each)
    for (nest, subject, characteristic), values in grouped.items():
        shares = np.array([share_of(each.found) for each in values], dtype=float)
        days = np.array([each.done_utc.timestamp() / 86_400.0 for each in values])
        agreed = np.array([each.found.agrees for each in values])
        drift = find_drift(shares, days, agreed=agreed)
        yield Series(bench, nest, subject, characteristic, tuple(values), drift)
