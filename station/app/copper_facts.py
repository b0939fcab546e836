"""Findings on copper as plain dictionaries: what `--json` prints."""

import math

from station.app.copper import LotCopper, PanelCopper, UnitCopper
from station.app.copper_records import CopperEntry
from station.app.copper_rows import as_entry
from station.app.facts import Fact
from station.coil.geometry import CoilGeometry


def copper_fact(lot: str, found: LotCopper, coil: CoilGeometry) -> Fact:
    """Return all entries of a lot and what those that stand imply. Lengths in m, resistances in ohm, shares of 1."""
    return {
        "lot": lot,
        "drawn": {
            "track_width_m": coil.track_width_m,
            "copper_m": coil.thickness_m,
            "resistivity_ohm_m": coil.conductor.resistivity_ohm_m,
        },
        "units": [unit_fact(each) for each in found.units],
        "panels": [_panel(each, coil) for each in found.panels],
        "words": [each.words for each in found.findings],
        "entries": [entry_fact(each) for each in found.entries],
    }


def unit_fact(unit: UnitCopper) -> Fact:
    """Return what one unit's findings imply."""
    implied = unit.implied
    return {
        "serial": unit.serial,
        "r20_ohm": _number(unit.seen_ohm),
        "widths": None
        if implied is None
        else {
            "places": implied.places,
            "layers_seen": implied.layers_seen,
            "mean_width_m": implied.width_m,
            "relative_spread": implied.relative_spread,
            "pitch_over_drawn": implied.scale,
            "implied_r20_ohm": implied.resistance_ohm,
            "relative_standard_uncertainty": implied.relative_uncertainty,
            "drawn_r20_ohm": implied.drawn_ohm,
        },
        "left_for_thickness": _number(unit.left),
        "left_standard_uncertainty": _number(unit.left_uncertainty),
        "thickness_m": _number(unit.thickness_m),
        "thickness_standard_uncertainty_m": _number(unit.thickness_uncertainty_m),
    }


def entry_fact(entry: CopperEntry) -> Fact:
    """Return one entry as it was recorded."""
    return {
        "number": entry.number,
        "utc": entry.utc.isoformat(),
        "who": entry.who,
        "why": entry.why,
        "kind": entry.kind.value,
        "method": entry.method,
        "instead_of": list(entry.instead_of),
        "replaced_by": entry.replaced_by or None,
        "rows": [as_entry(each) for each in entry.rows],
    }


def _panel(panel: PanelCopper, coil: CoilGeometry) -> Fact:
    coupons = panel.coupons
    return {
        "panel": panel.panel,
        "near": panel.near or None,
        "coupons": None
        if coupons is None
        else {
            "tracks": coupons.tracks,
            "etch_loss_m": coupons.etch_loss_m,
            "etch_loss_standard_uncertainty_m": coupons.etch_loss_uncertainty_m,
            "sheet_ohm": coupons.sheet_ohm,
            "sheet_relative_standard_uncertainty": coupons.relative_sheet_uncertainty,
            "thickness_at_drawn_resistivity_m": coupons.thickness_m(coil.conductor.resistivity_ohm_m),
            "coverage_factor_95": panel.factor,
            "scatter": coupons.scatter,
        },
        "thickness_m": _number(panel.thickness_m),
        "thickness_standard_uncertainty_m": _number(panel.thickness_uncertainty_m),
        "resistivity_ohm_m": _number(panel.resistivity_ohm_m()),
    }


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
