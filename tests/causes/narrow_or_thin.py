"""Narrow or thin, held against simulated panels of known etch and plating: `python -m tests.causes.narrow_or_thin`.

Coupons of two widths stand beside a panel's corner coil and have its copper, so they miss how plating varies over the
panel; read at 0.1 %, thermometer off by 0.3 K (standard). Once it is said beside which coil they stand, once it is not.
"""

from collections import Counter

import numpy as np

from sim.design import IS_20
from sim.lot import NO_DEFECTS, Lot
from station.causes.copper import CopperFinding
from station.causes.copper_findings import coupon_finding
from station.causes.explain import explain_panels
from station.causes.kinds import Cause
from station.causes.study import study_of
from station.coil.constants import COPPER_RESISTIVITY_OHM_M
from station.coil.coupons import CouponTrack, etch_and_sheet
from tests.causes.makers import DRAWN, lot_units, measure

ODD = 0.06
"""ln R20 against the drawing from which on a panel is asked about."""

_WIDTHS_M, _LENGTH_M = (0.1e-3, 0.4e-3), 50e-3


def panels_called(lots: int, *, near: bool, apart: float = 0.0) -> Counter[tuple[Cause, Cause]]:
    """Return (true larger part, likeliest cause) of the odd panels of so many lots of four panels.

    apart: by how much of ln R20 the two parts must differ for a panel to count.
    """
    counts: Counter[tuple[Cause, Cause]] = Counter()
    for seed in range(1, lots + 1):
        lot = Lot(seed, panels=4, rates=NO_DEFECTS)
        findings = measure(lot_units(lot), seed=seed)
        generator = np.random.default_rng(seed)
        names = [f"{number:02d}" for number in range(1, 5)]
        copper = tuple(_coupons(lot, each, generator, near=near) for each in names)
        study = study_of(findings, DRAWN, copper=copper)
        true = {each: _truth(lot, each) for each in names}
        for found in explain_panels(study):
            resistance = study.copper.panel_resistance[found.panel]
            # Those as drawn, or not known to be copper, are not asked which.
            cause, difference = true[found.panel]
            if abs(resistance) > ODD and difference >= apart:
                counts[cause, found.causes[0].cause] += 1
    return counts


def _truth(lot: Lot, panel: str) -> tuple[Cause, float]:
    """The larger part, by the mean over the panel, and by how much it is the larger one."""
    made = [lot.made(serial) for serial in lot.serials() if serial[6:8] == panel]
    width = -np.log1p(made[0].change_m[0] / IS_20.track_width_m)
    thickness = -np.mean([np.log1p(each.change_m[2] / IS_20.copper_m) for each in made])
    necks = np.mean([np.log(each.necks) for each in made])
    apart = float(abs(width - thickness))
    if width + thickness + necks > 0:
        return Cause.NARROW_TRACK if width > thickness else Cause.THIN_COPPER, apart
    return Cause.WIDE_TRACK if width < thickness else Cause.THICK_COPPER, apart


def _coupons(lot: Lot, panel: str, generator: np.random.Generator, *, near: bool) -> CopperFinding:
    serial = f"L2641-{panel}-A01"
    made = lot.made(serial)
    loss_m, copper_m = -made.change_m[0], IS_20.copper_m + made.change_m[2]
    warmer_k, tracks = 0.3 * generator.standard_normal(), []
    for width_m in _WIDTHS_M:
        at_20 = COPPER_RESISTIVITY_OHM_M * _LENGTH_M / (copper_m * (width_m - loss_m))
        read = at_20 * (1 + (3 + warmer_k) / 254.5) * (1 + 1e-3 * generator.standard_normal())
        tracks.append(CouponTrack(width_m, _LENGTH_M, read, 23.0, 1e-3 * at_20))
    found = etch_and_sheet(tracks, temperature_uncertainty_k=0.3)
    return coupon_finding(panel, IS_20, found, near=serial if near else "")


if __name__ == "__main__":
    for near in (False, True):
        print("beside a named coil" if near else "somewhere on the panel")
        for (true, called), panels in sorted(panels_called(60, near=near).items()):
            print(f"{true.value:<16} {called.value:<26} {panels}")
