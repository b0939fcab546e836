"""What the findings on a lot's copper imply: resistance of measured widths, etch and sheet resistance of coupons."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from station.app.copper_records import CopperEntry, copper_entries
from station.app.copper_rows import CouponRow, Row, SectionRow, WidthRow
from station.causes.copper import CopperFinding
from station.causes.copper_findings import coupon_finding, thickness_finding, width_finding
from station.coil.coupons import CouponTrack, SheetAndEtch, etch_and_sheet
from station.coil.geometry import CoilGeometry
from station.coil.track_widths import ImpliedResistance, TrackWidth, implied_resistance, mean_width_m
from station.core.uncertainty import student_factor
from station.errors import RecordError
from station.records import Records

_95 = 1.96


@dataclass(frozen=True, slots=True, eq=False)
class UnitCopper:
    """A unit whose copper was looked at. seen_ohm: its R20, NaN where it has none. implied: by its widths, if any.

    left, left_uncertainty: R20 over that less 1: what is left for thickness, resistivity and vias; standard.
    thickness_m, thickness_uncertainty_m: mean of its sections, NaN without; standard, of the method.
    """

    serial: str
    seen_ohm: float
    implied: ImpliedResistance | None
    thickness_m: float
    thickness_uncertainty_m: float

    @property
    def left(self) -> float:
        """R20 over what widths imply, less 1; NaN without either."""
        return self.seen_ohm / self.implied.resistance_ohm - 1.0 if self.implied else float("nan")

    @property
    def left_uncertainty(self) -> float:
        """Standard uncertainty of `left`; the meter's own is a hundred times smaller."""
        return self.implied.relative_uncertainty * (1.0 + self.left) if self.implied else float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class PanelCopper:
    """A panel with coupons (`coupons` None with one width only), or a section beside its units. near: the unit that the
    coupons stand beside, empty if nobody said; coupons at several places of a panel are several of these. factor: for
    95 %."""

    panel: str
    near: str
    coupons: SheetAndEtch | None
    factor: float
    thickness_m: float
    thickness_uncertainty_m: float

    def resistivity_ohm_m(self) -> float:
        """rho/t times t: of copper whose coupons and section are both known; NaN otherwise."""
        return self.coupons.sheet_ohm * self.thickness_m if self.coupons else float("nan")


@dataclass(frozen=True, slots=True, eq=False)
class LotCopper:
    """All that stands of a lot's findings on copper, and the entries that it comes from."""

    entries: tuple[CopperEntry, ...]
    units: tuple[UnitCopper, ...]
    panels: tuple[PanelCopper, ...]
    findings: tuple[CopperFinding, ...]


def lot_copper(
    records: Records,
    lot: str,
    coil: CoilGeometry,
    seen_ohm: Mapping[str, float],
    *,
    besides: Sequence[Row] = (),
    instead_of: Sequence[int] = (),
    temperature_uncertainty_k: float = 0.5,
) -> LotCopper:
    """Return what a lot's findings imply. coil: the drawing. seen_ohm: R20 of each unit of the lot, NaN where none.

    besides, instead_of: rows that are not on record yet, and entries whose place they would take: to check them.
    Raises RecordError for a finding that the drawing can't have, or of a unit or panel that the lot doesn't have.
    """
    entries = copper_entries(records, lot)
    standing = [each for each in entries if each.stands and each.number not in instead_of]
    rows = [row for each in standing for row in each.rows] + list(besides)
    doubts_k = [each.temperature_uncertainty_k for each in standing if any(isinstance(r, CouponRow) for r in each.rows)]
    if any(isinstance(row, CouponRow) for row in besides):
        doubts_k.append(temperature_uncertainty_k)
    units = _grouped(rows, lambda row: (row.serial, "") if isinstance(row, WidthRow | SectionRow) else ("", ""))
    panels = _grouped(
        rows, lambda row: (row.panel, _near(row)) if isinstance(row, CouponRow | SectionRow) else ("", "")
    )
    of_units = [_unit(serial, found, coil, seen_ohm) for (serial, _), found in sorted(units.items())]
    doubt_k = max(doubts_k, default=0.0)
    of_panels = [_panel(panel, near, found, coil, doubt_k) for (panel, near), found in sorted(panels.items())]
    findings = [each for _, some in (*of_units, *of_panels) for each in some]
    return LotCopper(
        entries, tuple(each for each, _ in of_units), tuple(each for each, _ in of_panels), tuple(findings)
    )


def _near(row: Row) -> str:
    return row.near if isinstance(row, CouponRow) else ""


def _grouped(rows: Sequence[Row], key: Callable[[Row], tuple[str, str]]) -> dict[tuple[str, str], list[Row]]:
    groups: dict[tuple[str, str], list[Row]] = {}
    for row in rows:
        name = key(row)
        if name[0]:
            groups.setdefault(name, []).append(row)
    return groups


def _unit(
    serial: str, rows: Sequence[Row], coil: CoilGeometry, seen_ohm: Mapping[str, float]
) -> tuple[UnitCopper, list[CopperFinding]]:
    if serial not in seen_ohm:
        raise RecordError(f"{serial}: no such unit in this lot. Look at the serial.")
    seen = float(seen_ohm[serial])
    findings: list[CopperFinding] = []
    implied = None
    widths = _widths(rows, coil)
    thicknesses, doubt_m = _thicknesses(rows)
    try:
        if widths:
            implied = implied_resistance(coil, widths)
            findings.append(width_finding(serial, coil, implied, seen_ohm=seen))
    except ValueError as error:
        raise RecordError(f"{serial}: {error}.") from error
    if thicknesses:
        findings.append(thickness_finding(serial, coil, thicknesses, doubt_m, of_unit=True))
    return UnitCopper(serial, seen, implied, _mean(thicknesses), doubt_m), findings


def _panel(
    panel: str, near: str, rows: Sequence[Row], coil: CoilGeometry, temperature_uncertainty_k: float
) -> tuple[PanelCopper, list[CopperFinding]]:
    tracks = [
        CouponTrack(row.width_m, row.length_m, row.resistance_ohm, row.temperature_degc, row.u_ohm)
        for row in rows
        if isinstance(row, CouponRow)
    ]
    findings: list[CopperFinding] = []
    coupons, factor = None, _95
    if len({each.width_m for each in tracks}) > 1:
        try:
            coupons = etch_and_sheet(
                tracks,
                temperature_uncertainty_k=temperature_uncertainty_k,
                winding_constant_degc=coil.conductor.winding_constant_degc,
            )
            factor = student_factor(coupons.freedom) if coupons.scatter > 1.0 else _95
            findings.append(coupon_finding(panel, coil, coupons, near=near, factor=factor))
        except ValueError as error:
            raise RecordError(f"coupons of panel {panel}: {error}.") from error
    thicknesses, doubt_m = _thicknesses(rows)
    if thicknesses:
        findings.append(thickness_finding(panel, coil, thicknesses, doubt_m, of_unit=False))
    return PanelCopper(panel, near, coupons, factor, _mean(thicknesses), doubt_m), findings


def _widths(rows: Sequence[Row], coil: CoilGeometry) -> list[TrackWidth]:
    found = []
    for row in rows:
        if isinstance(row, WidthRow) and row.width_m is not None:
            found.append(TrackWidth(row.layer, row.turn, row.width_m, row.u_m, row.pitch_m))
        elif isinstance(row, CouponRow) or (row.top_m is None and row.foot_m is None):
            continue
        elif row.layer is not None and row.turn is not None:
            width_m, edge_m = mean_width_m(top_m=row.top_m, foot_m=row.foot_m, thickness_m=coil.thickness_m)
            pitch_m = row.pitch_m if isinstance(row, WidthRow) else None
            found.append(TrackWidth(row.layer, row.turn, width_m, float(np.hypot(row.u_m, edge_m)), pitch_m))
    return found


def _thicknesses(rows: Sequence[Row]) -> tuple[list[float], float]:
    sections = [row for row in rows if isinstance(row, SectionRow)]
    return [each.thickness_m for each in sections], max((each.u_m for each in sections), default=float("nan"))


def _mean(values: Sequence[float]) -> float:
    return float(np.mean(values)) if values else float("nan")
