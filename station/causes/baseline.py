"""What is usual in a lot: centre by panel, spread of the lot, by medians that the odd units can't move.

Robust standard deviation 1.4826 MAD (Iglewicz and Hoaglin 1993); where the tails are wider than a normal one's, the
90 % range counts instead (at most twice the former), so that a skewed lot does not fill with imagined damage.
"""

from dataclasses import dataclass

import numpy as np

from station.causes.observables import HEIGHT, NAMES
from station.coil.geometry import FloatArray

FEWEST_UNITS = 8
"""With fewer measured units the lot says nothing of its own: the drawing is the centre, the spread is assumed."""

FEWEST_IN_PANEL = 24
"""With fewer the lot's centre stands for the panel's."""

ASSUMED_SD = np.array([0.05, 0.01, 0.01, 0.005, 0.01, 0.015, 60e-6])
"""Without a lot, of a sound coil against its drawing: an ordinary board maker, and the model's own error (ours)."""

FLOOR_SD = np.array([2e-3, 3e-4, 5e-4, 3e-4, 5e-4, 5e-4, 3e-6])
"""No lot is believed to be tighter than this: what noise a bench of 0.05 % leaves."""

_MAD_TO_SD = 1.482602218505602
_RANGE_UNITS = 200
_NORMAL_90 = 3.289707253902945
"""5 to 95 % of a normal distribution, in standard deviations."""
_CALM = 4.0
_WORTH = 3.0
"""Units' worth of the assumed spread in that of a small lot."""


@dataclass(frozen=True, eq=False)
class Baseline:
    """Centre of each unit's panel (N, 7), of the lot (7,), and the spread about the panels (7,), as observables.

    from_lot: False when the drawing and an assumed spread stand in.
    units: measured units that each observable's centre and spread rest on (7,).
    """

    centre: FloatArray
    lot_centre: FloatArray
    spread: FloatArray
    from_lot: bool
    units: np.ndarray


def baseline_of(seen: FloatArray, panels: tuple[str, ...]) -> Baseline:
    """Return what is usual among the units whose observables (N, 7) these are."""
    units = np.isfinite(seen).sum(axis=0)
    lot_centre = np.zeros(len(NAMES))
    centre = np.zeros_like(seen)
    spread = ASSUMED_SD.copy()
    names, panel_of = np.unique(np.array(panels, dtype=str), return_inverse=True)
    order = np.argsort(panel_of, kind="stable")
    pieces = np.split(order, np.searchsorted(panel_of[order], np.arange(1, len(names))))
    for column in range(len(NAMES)):
        if units[column] < FEWEST_UNITS:
            continue
        values = seen[:, column]
        lot_centre[column] = np.nanmedian(values)
        centre[:, column] = lot_centre[column]
        for piece in pieces:
            if np.isfinite(values[piece]).sum() >= FEWEST_IN_PANEL:
                centre[piece, column] = np.nanmedian(values[piece])
        spread[column] = _spread(values - centre[:, column], column)
    if units[HEIGHT] >= FEWEST_UNITS:
        spread[HEIGHT] = _height_spread(seen - centre, spread)
    return Baseline(centre, lot_centre, spread, bool(units[0] >= FEWEST_UNITS), units)


def _height_spread(residual: FloatArray, spread: FloatArray) -> float:
    """Of the units that are usual in all else: a bridge bends the field's profile, which reads as another height, so
    that some per cent of damage would double the spread and hide bad seats."""
    others = np.nan_to_num(np.abs(residual / spread))
    others[:, HEIGHT] = 0.0
    calm = (others.max(axis=1) < _CALM) & np.isfinite(residual[:, HEIGHT])
    if calm.sum() < FEWEST_UNITS:
        return float(spread[HEIGHT])
    return min(float(spread[HEIGHT]), _spread(residual[calm, HEIGHT], HEIGHT))


def _spread(residual: FloatArray, column: int) -> float:
    values = residual[np.isfinite(residual)]
    deviation = _MAD_TO_SD * float(np.median(np.abs(values - np.median(values))))
    if len(values) >= _RANGE_UNITS:
        low, high = np.quantile(values, [0.05, 0.95])
        deviation = min(max(deviation, (high - low) / _NORMAL_90), 2 * deviation)
    else:
        known = len(values) * deviation**2 + _WORTH * ASSUMED_SD[column] ** 2
        deviation = (known / (len(values) + _WORTH)) ** 0.5
    return float(max(deviation, FLOOR_SD[column]))
