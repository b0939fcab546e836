"""From what a microscope, a coupon or a section gave to a finding: logarithms against the drawing, and plain words."""

from collections.abc import Sequence

import numpy as np

from station.causes.copper import SHEET, THICKNESS, WIDTH, CopperFinding
from station.coil.coupons import SheetAndEtch
from station.coil.geometry import CoilGeometry
from station.coil.track_widths import ImpliedResistance

_TO_NEXT_COIL = np.diag([0.005**2, 0.015**2])
_TO_PANEL = np.diag([0.01**2, 0.06**2])
"""Between a coupon and the coil beside it, or the middle of its panel if nobody says where it stands: relative
variances of width and sheet resistance (ours). Coupons stand at the panel's edge, where plating is thicker (common
practice, no source)."""

_PLACE = 0.02
"""Between the copper where one section cuts and its mean over a coil, relative (ours)."""

_95 = 1.96


def width_finding(serial: str, coil: CoilGeometry, implied: ImpliedResistance, *, seen_ohm: float) -> CopperFinding:
    """Return what widths along a unit's track say. seen_ohm: its measured R20, NaN where it has none."""
    ratio = implied.width_m / coil.mean_width_m
    doubt = implied.relative_uncertainty
    words = (
        f"widths at {implied.places} places of {serial}, {implied.layers_seen} of {coil.layers} layers: the mean that "
        f"counts is {implied.width_m * 1e6:.1f} um, {ratio - 1:+.1%} of the drawing; with copper of "
        f"{coil.thickness_m * 1e6:g} um as drawn that is {implied.resistance_ohm:.4g} ohm +- {2 * doubt:.1%}"
    )
    if abs(implied.scale - 1.0) >= 5e-4:
        words += f" (widths divided by {implied.scale:.4f}, for the pitch reads so much of the drawn one)"
    if np.isfinite(seen_ohm):
        left = seen_ohm / implied.resistance_ohm - 1.0
        words += (
            f"; R20 is {seen_ohm:.4g} ohm, which leaves {left:+.1%} +- {2 * doubt:.1%} for thickness, resistivity, vias"
        )
    return CopperFinding(serial, True, (WIDTH,), np.array([np.log(ratio)]), np.array([[doubt**2]]), words + ".")


def coupon_finding(
    panel: str, coil: CoilGeometry, found: SheetAndEtch, *, near: str = "", factor: float = _95
) -> CopperFinding:
    """Return what a panel's coupons say of its coils. near: the unit beside them, if somebody said; factor: coverage
    factor of the intervals in the words.

    Raises ValueError for an etch loss that leaves nothing of the coil's track.
    """
    drawn_width_m = coil.mean_width_m
    left_m = drawn_width_m - found.etch_loss_m
    if not left_m > 0:
        raise ValueError(
            f"an etch loss of {found.etch_loss_m * 1e6:.3g} um leaves nothing of a track of {drawn_width_m * 1e6:g} um"
        )
    drawn_sheet_ohm = coil.conductor.resistivity_ohm_m / coil.thickness_m
    values = np.array([np.log(left_m / drawn_width_m), np.log(found.sheet_ohm / drawn_sheet_ohm)])
    jacobian = np.diag([-1.0 / left_m, 1.0])
    covariance = jacobian @ found.covariance @ jacobian.T + (_TO_NEXT_COIL if near else _TO_PANEL)
    thickness_m = found.thickness_m(coil.conductor.resistivity_ohm_m)
    tracks = f"{found.tracks} tracks{f', beside {near}' if near else ''}"
    words = (
        f"coupons of panel {panel} ({tracks}): etch loss {found.etch_loss_m * 1e6:.2f} um +- "
        f"{factor * found.etch_loss_uncertainty_m * 1e6:.2f} um, so tracks are {left_m / drawn_width_m - 1:+.1%} of "
        f"their drawn width; sheet resistance {found.sheet_ohm * 1e3:.4g} mohm +- "
        f"{factor * found.relative_sheet_uncertainty:.1%}, so copper is {thickness_m * 1e6:.2f} um if it is of "
        f"{coil.conductor.resistivity_ohm_m * 1e8:.3f}e-8 ohm m ({coil.thickness_m * 1e6:g} um drawn)"
    )
    if found.scatter > 2.0:
        words += "; the tracks scatter more than their readings' uncertainties, which widens the intervals"
    return CopperFinding(near or panel, bool(near), (WIDTH, SHEET), values, covariance, words + ".")


def thickness_finding(
    subject: str, coil: CoilGeometry, thicknesses_m: Sequence[float], uncertainty_m: float, *, of_unit: bool
) -> CopperFinding:
    """Return what sections say of the copper's thickness. uncertainty_m: standard, of the method, common to all."""
    thickness = np.array(thicknesses_m)
    mean_m = float(thickness.mean())
    doubt = float(np.hypot(uncertainty_m / mean_m, _PLACE / len(thickness) ** 0.5))
    where = subject if of_unit else f"panel {subject}"
    places = "one place" if len(thickness) == 1 else f"{len(thickness)} places"
    words = (
        f"section of {where}, {places}: copper {mean_m * 1e6:.2f} um +- {2 * doubt * mean_m * 1e6:.2f} um, "
        f"{mean_m / coil.thickness_m - 1:+.1%} of the drawing."
    )
    value = np.log(mean_m / coil.thickness_m)
    return CopperFinding(subject, of_unit, (THICKNESS,), np.array([value]), np.array([[doubt**2]]), words)
