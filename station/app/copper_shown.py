"""Findings on copper gathered for paper: numbers that a report sets, without the records behind them."""

import math

from station.app.copper import PanelCopper, UnitCopper
from station.app.copper_entering import copper_on_record
from station.app.copper_records import copper_entries
from station.coil.geometry import CoilGeometry
from station.records import Records
from station.reports.copper_blocks import CopperShown, PanelShown, UnitShown

_NONE = float("nan")


def copper_shown(records: Records, lot: str) -> CopperShown | None:
    """Return what a report shows of a lot's copper; None if nobody looked. Raises RecordError for an unknown lot."""
    if not copper_entries(records, lot):
        return None
    found, coil = copper_on_record(records, lot)
    if not found.units and not found.panels:
        return None
    return CopperShown(
        coil.mean_width_m,
        coil.thickness_m,
        coil.conductor.resistivity_ohm_m,
        tuple(_panel(each, coil) for each in found.panels),
        tuple(_unit(each) for each in found.units),
        sum(not each.stands for each in found.entries),
    )


def _panel(panel: PanelCopper, coil: CoilGeometry) -> PanelShown:
    coupons = panel.coupons
    return PanelShown(
        f"{panel.panel}, beside {panel.near}" if panel.near else panel.panel,
        coupons.etch_loss_m if coupons else _NONE,
        coupons.etch_loss_uncertainty_m if coupons else _NONE,
        1.0 - coupons.etch_loss_m / coil.mean_width_m if coupons else _NONE,
        coupons.sheet_ohm if coupons else _NONE,
        coupons.relative_sheet_uncertainty if coupons else _NONE,
        panel.factor,
        panel.thickness_m,
        panel.thickness_uncertainty_m,
        panel.resistivity_ohm_m(),
    )


def _unit(unit: UnitCopper) -> UnitShown:
    implied = unit.implied
    return UnitShown(
        unit.serial,
        implied.places if implied else 0,
        implied.width_m if implied else _NONE,
        implied.resistance_ohm if implied else _NONE,
        unit.seen_ohm if math.isfinite(unit.seen_ohm) else _NONE,
        unit.left,
        unit.left_uncertainty,
        unit.thickness_m,
        unit.thickness_uncertainty_m,
    )
