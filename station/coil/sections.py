"""Mean distances between rectangular conductor sections.

Uniform current over a section acts, to the order of (section / distance to the rest)^2, like a filament at
the geometric mean distance (Maxwell, Treatise, art. 691-692; Grover, Inductance Calculations, ch. 3).
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from station.coil.geometry import FloatArray

ComplexArray = NDArray[np.complex128]


def log_self_distance(width_m: ArrayLike, thickness_m: ArrayLike) -> FloatArray:
    """ln of the geometric mean distance of a rectangle from itself (m), exact: Grover eq. (124), Maxwell art. 692.

    About ln(0.2235 (width + thickness)), within 0.2 % of the distance for every ratio. Broadcasts.
    """
    a = np.asarray(width_m, dtype=float)
    b = np.asarray(thickness_m, dtype=float)
    ratio = b / a
    square = ratio**2
    return (
        0.5 * np.log(a**2 + b**2)
        - np.log1p(square) / (12 * square)
        - square * np.log1p(1 / square) / 12
        + (2 / 3) * (np.arctan(ratio) / ratio + ratio * np.arctan(1 / ratio))
        - 25 / 12
    )


def log_mutual_distance(
    across_m: ArrayLike,
    up_m: ArrayLike,
    width_m: ArrayLike,
    thickness_m: ArrayLike,
    *,
    drift_m: float = 0.0,
) -> FloatArray:
    """ln of the geometric mean distance (m) of two equal rectangles, `across_m` and `up_m` centre to centre.

    With `drift_m` the tracks slide past one another on their way, from -drift to +drift about `across_m`, as
    two layers of opposite growth do; the logarithm is then averaged over the slide as well.

    Exact over the width and the slide, two Gauss points over each thickness (error below 1e-4 of the distance
    as long as the sections are flat and do not overlap). Where the sections coincide use
    `log_self_distance`. Broadcasts.
    """
    x = np.abs(np.asarray(across_m, dtype=float))
    z = np.asarray(up_m, dtype=float)
    step = np.asarray(thickness_m, dtype=float) / np.sqrt(3.0)
    return 0.5 * _log_tapes(x, z, width_m, drift_m) + 0.25 * (
        _log_tapes(x, z + step, width_m, drift_m) + _log_tapes(x, z - step, width_m, drift_m)
    )


def _log_tapes(x: FloatArray, z: FloatArray, width_m: ArrayLike, drift_m: float) -> FloatArray:
    """Mean of ln(distance) between two flat tapes: differences of the twice (thrice) integrated logarithm."""
    w = np.asarray(width_m, dtype=float)
    zeta = x + 1j * np.abs(z)

    def second_difference(at: ComplexArray, times: int) -> FloatArray:
        integrated = _integrated_log(at + w, times) - 2 * _integrated_log(at, times) + _integrated_log(at - w, times)
        return integrated / w**2

    if drift_m == 0:
        return second_difference(zeta, 2)
    return (second_difference(zeta + drift_m, 3) - second_difference(zeta - drift_m, 3)) / (2 * drift_m)


def _integrated_log(zeta: ComplexArray, times: int) -> FloatArray:
    # ln sqrt(x2 + z2) is the real part of ln(zeta), and zeta^n/n! (ln zeta - (1 + 1/2 + .. + 1/n)) its n-fold
    # integral. The tiny number makes the product at the origin the 0 that it is.
    log = np.log(zeta + 1e-300)
    if times == 2:
        return (zeta * zeta * (log - 1.5)).real / 2
    return (zeta * zeta * zeta * (log - 11 / 6)).real / 6


def mean_self_distance_m(width_m: ArrayLike, thickness_m: ArrayLike) -> FloatArray:
    """Arithmetic mean distance (m) of a rectangle from itself, exact; a third of the width for a thin tape.

    Source: B. Ghosh, Bull. Calcutta Math. Soc. 43 (1951) 17 (mean distance of two points in a rectangle).
    """
    a = np.asarray(width_m, dtype=float)
    b = np.asarray(thickness_m, dtype=float)
    d = np.hypot(a, b)
    return (
        a**3 / b**2
        + b**3 / a**2
        + d * (3 - a**2 / b**2 - b**2 / a**2)
        + 2.5 * (b**2 / a * np.log((a + d) / b) + a**2 / b * np.log((b + d) / a))
    ) / 15
