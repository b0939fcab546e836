"""Etch loss and sheet resistance from coupon tracks of two or more widths: width told from thickness.

A track of drawn width w and length L has R = rho L/(t (w - d)): etching takes d, the etch loss, from every width alike
and the copper's sheet resistance is rho/t. So L/R = (t/rho)(w - d) is a straight line in w. Two widths give it in
closed form, more by weighted least squares. A common gain error of the meter tilts the line and leaves d alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.coil.constants import WINDING_CONSTANT_DEGC
from station.coil.geometry import FloatArray
from station.coil.resistance import to_20_degc


@dataclass(frozen=True, slots=True)
class CouponTrack:
    """One coupon track as drawn (width, length) and as read: four-wire resistance with its standard uncertainty."""

    width_m: float
    length_m: float
    resistance_ohm: float
    temperature_degc: float
    standard_uncertainty_ohm: float


@dataclass(frozen=True, eq=False)
class SheetAndEtch:
    """What a panel's coupons say. covariance: of (etch_loss_m, ln sheet resistance), shape (2, 2).

    tracks: how many went in. freedom: tracks less two. scatter: root of chi squared over freedom, 1 where it is what
    the readings' uncertainties lead one to expect; 0 without freedom. Above 1 the covariance was widened by its square
    (Birge 1932).
    """

    etch_loss_m: float
    sheet_ohm: float
    covariance: FloatArray
    tracks: int
    freedom: int
    scatter: float

    @property
    def etch_loss_uncertainty_m(self) -> float:
        """Standard uncertainty of the etch loss."""
        return float(self.covariance[0, 0] ** 0.5)

    @property
    def relative_sheet_uncertainty(self) -> float:
        """Standard uncertainty of the sheet resistance over its value."""
        return float(self.covariance[1, 1] ** 0.5)

    def thickness_m(self, resistivity_ohm_m: float) -> float:
        """Thickness of copper of this resistivity with this sheet resistance."""
        return resistivity_ohm_m / self.sheet_ohm


def etch_and_sheet(
    tracks: Sequence[CouponTrack],
    *,
    temperature_uncertainty_k: float = 0.0,
    winding_constant_degc: float = WINDING_CONSTANT_DEGC,
) -> SheetAndEtch:
    """Return etch loss and sheet resistance at 20 degC of one panel's coupons.

    Two tracks: t/rho = (L1/R1 - L2/R2)/(w1 - w2), d = w1 - (L1/R1)/(t/rho). More: weighted straight line. Uncertainty
    by the law of propagation (JCGM 100:2008, 5.2.2): readings are independent, the temperature's error is common to all
    tracks, so that it is in the sheet resistance alone.

    Raises:
        ValueError: fewer than two widths, a value that is none, an etch loss that leaves no copper.
    """
    width = np.array([each.width_m for each in tracks], dtype=float)
    if len(set(width.tolist())) < 2:
        raise ValueError("coupon tracks of two widths at least tell width from thickness; got one width")
    values = [(each.width_m, each.length_m, each.resistance_ohm, each.standard_uncertainty_ohm) for each in tracks]
    if not all(np.isfinite(row).all() and min(row) > 0 for row in values):
        raise ValueError("width, length, resistance and uncertainty of a coupon track must all be above 0")
    at_20 = np.array(
        [
            float(to_20_degc(each.resistance_ohm, each.temperature_degc, winding_constant_degc=winding_constant_degc))
            for each in tracks
        ]
    )
    line = np.array([each.length_m for each in tracks]) / at_20
    doubt = line * np.array([each.standard_uncertainty_ohm / each.resistance_ohm for each in tracks])
    per_k = 1.0 / (winding_constant_degc + float(np.mean([each.temperature_degc for each in tracks])))
    return _line(width, line, doubt, temperature_uncertainty_k * per_k)


def _line(width: FloatArray, line: FloatArray, doubt: FloatArray, common: float) -> SheetAndEtch:
    design = np.column_stack([width, np.ones_like(width)])
    scale = np.array([1.0 / np.ptp(width), 1.0])  # keeps the normal equations well conditioned
    weighted = design * scale / doubt[:, None]
    inverse = np.linalg.inv(weighted.T @ weighted)
    slope, intercept = scale * (inverse @ (weighted.T @ (line / doubt)))
    if not slope > 0:
        raise ValueError("L/R must rise with the drawn width; are widths or resistances interchanged?")
    loss = -intercept / slope
    if not loss < width.min():
        raise ValueError(f"an etch loss of {loss * 1e6:.3g} um leaves no copper of the narrowest track")
    freedom = len(width) - 2
    left = (line - slope * width - intercept) / doubt
    scatter = float(np.sqrt(left @ left / freedom)) if freedom else 0.0
    covariance = inverse * np.outer(scale, scale) * max(1.0, scatter) ** 2
    # d = -b/g, ln(rho/t) = -ln g
    jacobian = np.array([[-loss / slope, -1.0 / slope], [-1.0 / slope, 0.0]])
    found = jacobian @ covariance @ jacobian.T
    found[1, 1] += common**2
    return SheetAndEtch(float(loss), float(1.0 / slope), found, len(width), freedom, scatter)
