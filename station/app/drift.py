"""Verification values of a bench over time, from the records, with what is to be warned of."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from station.core.verification import VerificationValue
from station.errors import RecordError
from station.records import PastValue, Records

if TYPE_CHECKING:
    from station.quality.drift import Drift


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
    found = tuple(_series(bench, records.verification_history(bench, characteristic=characteristic, nest=nest)))
    if not found:
        of = "" if characteristic is None else f" of {characteristic}"
        raise RecordError(
            f"{bench}: no verification values{of} in {records.where}. Look at the name, or run: "
            "coilgate bench verify"
        )
    return found


def drift_warnings(records: Records, bench: str, nest: str) -> tuple[str, ...]:
    """Return what is to be warned of after the newest verification, in words; empty if nothing."""
    past = records.verification_history(bench, nest=nest)
    newest = past[-1].verification_id if past else ""
    now = (each for each in _series(bench, past) if each.values[-1].verification_id == newest)
    return tuple(words_of(each) for each in now if each.drift.warnings)


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
        if share_of(each.found) is not None:
            grouped.setdefault((each.nest, each.found.subject, each.found.characteristic), []).append(each)
    for (nest, subject, characteristic), values in grouped.items():
        shares = np.array([share_of(each.found) for each in values], dtype=float)
        days = np.array([each.done_utc.timestamp() / 86_400.0 for each in values])
        agreed = np.array([each.found.agrees for each in values])
        drift = find_drift(shares, days, agreed=agreed)
        yield Series(bench, nest, subject, characteristic, tuple(values), drift)
