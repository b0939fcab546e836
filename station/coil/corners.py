"""What a bend of a track does to resistance and inductance.

The current cuts the corner: it crowds at the inside and leaves the outside idle. So a bend counts for less
than its centre line, in resistance and in inductance.
"""

import numpy as np
from numpy.typing import ArrayLike

from station.coil import sections
from station.coil.constants import MU0_H_PER_M
from station.coil.geometry import FloatArray

# Fitted to finite-volume current distributions in square spirals of 1 to 10 turns, width/pitch 0.5 to 0.8
# (residual below 0.02 mu0 w a corner): an isolated corner, and what each neighbouring turn adds.
_CROWDING_ALONE = 0.071
_CROWDING_BESIDE = 0.026
# Mitred corner of uniform current against the straight tracks that meet in it, per (width + thickness).
_MITRE_AT_RIGHT_ANGLE = 0.0094


def corner_squares(angle_rad: ArrayLike) -> FloatArray:
    """Squares of sheet resistance that a bend by `angle_rad` adds to its centre line (negative: it takes away).

    Exact for legs longer than the width: conformal map of a bent strip, with b = angle/pi,
    tan(angle/2) - (2/pi) (psi(1/2) - psi((1 - b)/2)), psi the digamma function. A right angle gives
    -2 ln 2/pi = -0.4413, the 0.559 squares of the trade's corner rule. Broadcasts; below 180 degrees.
    """
    from scipy.special import digamma

    angle = np.abs(np.asarray(angle_rad, dtype=float))
    return np.tan(angle / 2) - (2 / np.pi) * (digamma(0.5) - digamma((1 - angle / np.pi) / 2))


def corner_inductance_h(
    angle_rad: ArrayLike, width_m: ArrayLike, thickness_m: float, *, fill: float = 0.0, turns_beside: float = 1.0
) -> FloatArray:
    """Inductance (H) that a bend adds to the straight partial inductances of its legs (negative). Broadcasts.

    Args:
        angle_rad: by how much the track turns.
        width_m, thickness_m: the section.
        fill: track width over pitch, where neighbouring turns bend alike; 0 alone.
        turns_beside: turns that bend alike.

    Known error: about a fifth of the correction, which itself is 0.1 to 1 % of a square coil's inductance.
    """
    angle = np.abs(np.asarray(angle_rad, dtype=float))
    width = np.asarray(width_m, dtype=float)
    section = np.exp(sections.log_self_distance(width, thickness_m))
    joint = (sections.mean_self_distance_m(width, thickness_m) - section) / (2 * np.pi)
    mitre = _MITRE_AT_RIGHT_ANGLE * (width + thickness_m) * (angle / (np.pi / 2)) ** 2
    crowding = _CROWDING_ALONE + _CROWDING_BESIDE * fill * np.log(max(turns_beside, 1.0))
    share = corner_squares(angle) / corner_squares(np.pi / 2)
    return -MU0_H_PER_M * (joint + mitre + crowding * width * share)


def bend_angles_rad(start_m: FloatArray, end_m: FloatArray) -> FloatArray:
    """Angle between each segment and the next one, 0 where they are not joined, shape (segments - 1,)."""
    direction = end_m - start_m
    direction = direction / np.linalg.norm(direction, axis=1)[:, None]
    joined = np.linalg.norm(start_m[1:] - end_m[:-1], axis=1) < 1e-9
    cosine = np.clip(np.sum(direction[1:] * direction[:-1], axis=1), -1.0, 1.0)
    return np.where(joined, np.arccos(cosine), 0.0)
