"""Do the board maker's readings and ours agree, unit by unit? Imported values of a lot against those measured here."""

from dataclasses import dataclass

import numpy as np

from station.core.run_record import Purpose
from station.errors import RecordError
from station.quality.agreement import Agreement, Side, agreement
from station.records import LotValues, Records

_COVERAGE = 1.96
"""What a 95 % uncertainty on record is divided by for its standard one."""


@dataclass(frozen=True, slots=True, eq=False)
class LotAgreement:
    """Units that have both values, in order of serial; `ours` and `theirs` in `unit_symbol`."""

    found: Agreement
    unit_symbol: str
    serials: tuple[str, ...]
    ours: np.ndarray
    theirs: np.ndarray
    population: str


def lot_agreement(records: Records, lot: str, characteristic: str, *, level: float = 0.95) -> LotAgreement:
    """Return how imported values agree with ours: difference = theirs - ours.

    Each side's uncertainty is the median of what is on record, taken as common to all its units: most of it is (the
    meter's calibration, a temperature that nobody knew), and a bias is not averaged away then.

    Raises RecordError for an unknown lot or one without both values of any unit, StudyDataError for fewer than three.
    """
    ours, theirs = (
        records.lot_values(lot, characteristic, purpose=each) for each in (Purpose.PRODUCTION, Purpose.IMPORTED)
    )
    mine, other = (dict(zip(each.serials, each.values.tolist(), strict=True)) for each in (ours, theirs))
    both = sorted(mine.keys() & other.keys())
    if not both:
        raise RecordError(
            f"lot {lot}: no unit has {characteristic} both measured here ({len(mine)} units) and imported "
            f"({len(other)} units). Measure some, or import readings: coilgate lot import"
        )
    if ours.unit_symbol != theirs.unit_symbol:
        raise RecordError(f"{characteristic}: ours is in {ours.unit_symbol}, theirs in {theirs.unit_symbol}.")
    sides = (Side("measured here", systematic_u=_common(ours)), Side("imported", systematic_u=_common(theirs)))
    first, second = np.array([mine[each] for each in both]), np.array([other[each] for each in both])
    return LotAgreement(
        agreement(first.tolist(), second.tolist(), sides=sides, level=level),
        ours.unit_symbol,
        tuple(both),
        first,
        second,
        f"units of lot {lot} with {characteristic} both measured here and imported, each by its latest run of either",
    )


def _common(values: LotValues) -> float:
    known = values.expanded_uncertainties[np.isfinite(values.expanded_uncertainties)]
    return float(np.median(known)) / _COVERAGE if known.size else 0.0
