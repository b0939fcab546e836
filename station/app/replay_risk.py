"""Consumer's and producer's risk of a plan's limits now and as proposed, for the spread of the chosen lots."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.core.guard_band import Doubt, guard_band
from station.core.plan import Characteristic, Plan
from station.quality.process import NormalProcess, process_of_measured
from station.quality.risk import Risk, Tolerance, global_risk
from station.records import Records

COVERAGE = 1.96
"""U95 over u, where only U is on record."""


@dataclass(frozen=True, slots=True)
class RiskRow:
    """Risks of one characteristic before and after, as shares of all units; None where there are no limits.

    `why_not`: why there are none; then the rest is empty.
    """

    characteristic: str
    units: int
    mean: float | None
    deviation: float | None
    """Of the process: the measurement's own variance is taken off."""
    unit_symbol: str
    before: Risk | None
    after: Risk | None
    why_not: str = ""


def risk_rows(records: Records, lots: Sequence[str], before: Plan | None, after: Plan) -> tuple[RiskRow, ...]:
    """Return the risks of each limited characteristic, in the plan's order.

    The process is taken as normal with the mean and standard deviation of all measured units of the lots, fails
    included (JCGM 106:2012, 9.5.2); u is their median. Both plans are asked about the same process.
    """
    former = {each.name: each for each in before.characteristics} if before else {}
    return tuple(_row(records, lots, former.get(each.name), each) for each in after.characteristics)


def _row(
    records: Records, lots: Sequence[str], before: Characteristic | None, after: Characteristic
) -> RiskRow:
    found = [records.lot_values(lot, after.name) for lot in lots]
    values = np.concatenate([each.values for each in found]) if found else np.array([])
    known = np.concatenate([each.expanded_uncertainties for each in found]) if found else np.array([])
    known = known[np.isfinite(known)]
    empty = RiskRow(after.name, int(values.size), None, None, after.unit_symbol, None, None)
    if not known.size:
        return _without(empty, "no measured unit has an uncertainty")
    expanded = float(np.median(known))
    u = expanded / COVERAGE
    try:
        process = process_of_measured([float(each) for each in values], u)
        return RiskRow(
            after.name,
            int(values.size),
            process.mean,
            process.deviation,
            after.unit_symbol,
            None if before is None else risk_of(before, process, u, expanded),
            risk_of(after, process, u, expanded),
        )
    except ValueError:
        words = "fewer than 30 units" if values.size < 30 else "the uncertainty explains the whole spread"
        return _without(empty, f"{words}: nothing to reckon a risk with")


def _without(row: RiskRow, why: str) -> RiskRow:
    return RiskRow(row.characteristic, row.units, None, None, row.unit_symbol, None, None, why)


def risk_of(characteristic: Characteristic, process: NormalProcess, u: float, expanded: float) -> Risk:
    """Return the global risks of a characteristic's limits and guard band. Raises ValueError without u above 0."""
    width = guard_band(characteristic, Doubt(expanded, u, float("inf")))
    return global_risk(Tolerance(characteristic.lower, characteristic.upper), process, u, guard_band=width)
