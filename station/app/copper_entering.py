"""Findings on copper entered: checked against the lot and its drawing, put on record, and what they imply then."""

from collections.abc import Sequence
from datetime import datetime

from station.app.copper import LotCopper, lot_copper
from station.app.copper_lot import copper_lot
from station.app.copper_records import TEMPERATURE_UNCERTAINTY_K, record_copper
from station.app.copper_rows import CouponRow, Row, SectionRow
from station.coil.geometry import CoilGeometry
from station.records import Records


def copper_on_record(records: Records, lot: str, *, part: str = "") -> tuple[LotCopper, CoilGeometry]:
    """Return what a lot's findings on copper imply, and its drawing. Raises RecordError as `copper_lot`."""
    known = copper_lot(records, lot, part=part)
    return lot_copper(records, lot, known.coil, known.seen_ohm), known.coil


def enter_copper(
    records: Records,
    lot: str,
    rows: Sequence[Row],
    *,
    who: str,
    why: str,
    utc: datetime,
    method: str = "",
    instead_of: Sequence[int] = (),
    temperature_uncertainty_k: float = TEMPERATURE_UNCERTAINTY_K,
    part: str = "",
) -> int:
    """Check rows of one kind and put them on record; return the entry's number.

    Raises RecordError for a unit, panel, place or width that lot and drawing don't have, coupons that contradict
    the formula, and as `copper_lot` (which has `part`) and `record_copper`. Then nothing is on record.
    """
    known = copper_lot(records, lot, part=part)
    for row in rows:
        panel = row.panel if isinstance(row, CouponRow | SectionRow) else ""
        if panel:
            known.require_panel(panel)
        if isinstance(row, CouponRow) and row.near:
            known.require_near(row.panel, row.near)
    lot_copper(
        records,
        lot,
        known.coil,
        known.seen_ohm,
        besides=rows,
        instead_of=instead_of,
        temperature_uncertainty_k=temperature_uncertainty_k,
    )
    return record_copper(
        records,
        lot,
        rows,
        who=who,
        why=why,
        utc=utc,
        method=method,
        instead_of=instead_of,
        temperature_uncertainty_k=temperature_uncertainty_k,
    )
