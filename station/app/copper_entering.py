"""Findings on copper entered: checked against the lot and its drawing, put on record, and what they imply then."""

from collections.abc import Mapping, Sequence
from datetime import datetime

from station.app.causes import drawn_on_record
from station.app.copper import LotCopper, lot_copper
from station.app.copper_records import TEMPERATURE_UNCERTAINTY_K, record_copper
from station.app.copper_rows import CouponRow, Row, SectionRow
from station.coil.geometry import CoilGeometry
from station.errors import RecordError
from station.records import Records
from station.records.lot_findings import LotFindings, lot_findings


def copper_on_record(records: Records, lot: str) -> tuple[LotCopper, CoilGeometry]:
    """Return what a lot's findings on copper imply, and its drawing. Raises RecordError as `drawn_on_record`."""
    coil = drawn_on_record(records, lot).coil
    return lot_copper(records, lot, coil, _seen_ohm(lot_findings(records, lot, ("R20",)))), coil


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
) -> int:
    """Check rows of one kind and put them on record; return the entry's number.

    Raises RecordError for a unit, panel, place or width that lot and drawing don't have, coupons that contradict
    the formula, and as `record_copper`. Then nothing is on record.
    """
    found = lot_findings(records, lot, ("R20",))
    coil = drawn_on_record(records, lot).coil
    panels = set(found.panels)
    panel_of = dict(zip(found.serials, found.panels, strict=True))
    for row in rows:
        panel = row.panel if isinstance(row, CouponRow | SectionRow) else ""
        if panel and panel not in panels:
            raise RecordError(f"panel {panel}: not in lot {lot}. It has {', '.join(sorted(panels)[:20])}.")
        if isinstance(row, CouponRow) and row.near and panel_of.get(row.near) != row.panel:
            raise RecordError(f"coupon of panel {row.panel}: {row.near} is no unit of that panel.")
    lot_copper(
        records,
        lot,
        coil,
        _seen_ohm(found),
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


def _seen_ohm(found: LotFindings) -> Mapping[str, float]:
    return dict(zip(found.serials, found.values["R20"].tolist(), strict=True))
