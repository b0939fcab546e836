"""Values of one characteristic of a lot, from the records or from a CSV file, as the statistics take them."""

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import compress

import numpy as np

from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.run_record import Purpose
from station.errors import Mistake, RecordError, StudyError
from station.quality.csv_columns import numbers, read_columns, refuse
from station.quality.risk import Tolerance
from station.quality.sample import Sample
from station.records import Records
from station.records.lot_findings import lot_plan_hash
from station.records.standing import LotStanding, ReasonCount, lot_reasons, lot_standing

MEASURED, PASSED, IMPORTED = "measured", "passed", "imported"
"""Populations: every unit that has a value of ours; those of them that are PASS now and not held; every unit that has a
value from a file of somebody else's readings. Values of ours and theirs are never in one sample."""

_PLACES = ("serial", "panel", "row", "column")


@dataclass(frozen=True, slots=True, eq=False)
class LotSample:
    """A sample with the units it comes from; all tuples have the sample's length, or are empty where unknown."""

    source: str
    """`lot L2641` or the file's name."""
    characteristic: str
    sample: Sample
    serials: tuple[str, ...]
    panels: tuple[str, ...]
    rows: tuple[str, ...]
    columns: tuple[str, ...]
    simulated: bool


def lot_sample(
    records: Records, standing: LotStanding, characteristic: str, *, population: str = MEASURED
) -> LotSample:
    """Return the last measured values of a lot's units in order of first run.

    Raises RecordError if no unit of the population has a value.
    """
    imported = population == IMPORTED
    purpose = Purpose.IMPORTED if imported else Purpose.PRODUCTION
    found = records.lot_values(standing.lot, characteristic, purpose=purpose)
    wanted = np.ones(len(found.serials), dtype=bool)
    if population == PASSED:
        wanted = np.array([serial in standing.passed for serial in found.serials], dtype=bool)
    if not wanted.any():
        theirs = not imported and len(records.lot_values(standing.lot, characteristic, purpose=Purpose.IMPORTED).values)
        raise RecordError(
            f"lot {standing.lot}: no unit that is {population} has a value of {characteristic}. "
            + (
                f"It has imported readings of {theirs} units: --population imported."
                if theirs
                else "Look at the characteristic's name (`coilgate plan show`), or measure first."
            )
        )
    words = f"units of lot {standing.lot} with {'an imported' if imported else 'a measured'} {characteristic}"
    if imported:
        words += " (readings from a file, not measured here)"
    if population == PASSED:
        words += " that pass and are not held"
    kept = wanted.tolist()

    def of(labels: tuple[str, ...]) -> tuple[str, ...]:
        return labels if wanted.all() else tuple(compress(labels, kept))

    return LotSample(
        source=f"lot {standing.lot}",
        characteristic=characteristic,
        sample=Sample(found.values[wanted], words, found.unit_symbol),
        serials=of(found.serials),
        panels=of(found.panels),
        rows=of(found.rows),
        columns=of(found.columns),
        simulated=standing.simulated,
    )


def file_sample(text: str, file: str, *, header: str = "value") -> LotSample:
    """Return the values of a CSV: column `header`; columns serial, panel, row, column where there are such.

    A file of one column needs no particular header. Raises StudyError with every mistake.
    """
    first = next((line for line in text.lstrip("\ufeff").splitlines() if line.strip()), "")
    if not any(each in first for each in ",;\t"):
        header = first.strip()
    columns = read_columns(text, file, {"value": header, **{name: name for name in _PLACES}}, optional=_PLACES)
    values, mistakes = numbers(columns, "value")
    refuse(mistakes)
    fields: Mapping[str, tuple[str, ...]] = columns.fields
    if not values:
        raise StudyError([Mistake(file, 1, header, "no values follow the header line")])
    return LotSample(
        source=file,
        characteristic=header,
        sample=Sample(np.array(values), f"all {len(values)} values of column {header!r} of {file}", "1"),
        serials=fields.get("serial", ()),
        panels=fields.get("panel", ()),
        rows=fields.get("row", ()),
        columns=fields.get("column", ()),
        simulated=False,
    )


def plan_of(records: Records, standing: LotStanding) -> Plan | None:
    """Return the plan of the lot's latest run (production, else imported), or None if its text is not on record."""
    plan_hash = standing.plan_hash or lot_plan_hash(records, standing.lot)
    text = records.plan_text(plan_hash) if plan_hash else None
    return None if text is None else parse_plan(text, f"plan {plan_hash[:12]}")


def limits_in(plan: Plan | None, characteristic: str) -> Tolerance | None:
    """Return the tolerance limits of a characteristic in a plan; None without."""
    found = None if plan is None else plan.characteristic(characteristic)
    if found is None or (found.lower is None and found.upper is None):
        return None
    return Tolerance(found.lower, found.upper)


__all__ = [
    "MEASURED",
    "PASSED",
    "LotSample",
    "LotStanding",
    "ReasonCount",
    "file_sample",
    "limits_in",
    "lot_reasons",
    "lot_sample",
    "lot_standing",
    "plan_of",
]
