"""Coaxial circular loops: mutual inductance and field, by the arithmetic-geometric mean.

Complete elliptic integrals come from library routines as K and E, and both results then lose digits as
differences of nearly equal numbers (far loops, points near the axis). The arithmetic-geometric mean yields
the small differences themselves (NIST DLMF 19.8.5-19.8.6), costs a handful of vector operations and needs
no heavy import. Tests hold it against scipy's integrals and against magpylib.
"""

from math import sqrt

import numpy as np
from numpy.typing import ArrayLike

from station.coil.constants import MU0_H_PER_M
from station.coil.geometry import FloatArray

_SETTLED = 4e-8  # once the two means differ by this, one closed correction leaves an error of its square


def elliptic_terms(complement: FloatArray) -> tuple[FloatArray, FloatArray]:
    """K(m), and tau with E(m) = K(m) (1 - m/2 - m^2 tau), for the complementary parameter 1 - m in (0, 1].

    Both are free of cancellation down to m = 0 (K = pi/2, tau = 1/16). Shape of the argument; not empty.
    Source: NIST DLMF 19.8.5 (K) and 19.8.6 (E), with c[n+1] = c[n]^2 / (4 a[n+1]).
    """
    # In place throughout: this is the inner loop of every field map, and allocation is half its cost.
    geometric = np.sqrt(complement)
    arithmetic = geometric + 1.0
    arithmetic *= 0.5
    np.sqrt(geometric, out=geometric)
    scaled = 0.25 / arithmetic  # c1/m
    difference = 1.0 - complement
    difference *= scaled  # c1
    tau = scaled * scaled
    rounds = _rounds_needed(float(complement.min()))
    for done in range(rounds):
        product = arithmetic * geometric
        arithmetic += geometric
        arithmetic *= 0.5
        ratio = difference / arithmetic
        ratio *= 0.25
        scaled *= ratio
        tau += (2.0 ** (done + 1) * scaled) * scaled
        difference *= ratio
        if done + 1 < rounds:
            geometric = np.sqrt(product, out=product)
    difference *= difference
    difference /= arithmetic
    difference *= 0.25
    arithmetic -= difference
    return (0.5 * np.pi) / arithmetic, tau


def _rounds_needed(smallest_complement: float) -> int:
    """Means until the slowest element has settled: the smallest complement converges last."""
    geometric = sqrt(max(smallest_complement, 1e-300))
    arithmetic, geometric = 0.5 * (1.0 + geometric), sqrt(geometric)
    rounds = 0
    while arithmetic - geometric > _SETTLED:
        arithmetic, geometric = 0.5 * (arithmetic + geometric), sqrt(arithmetic * geometric)
        rounds += 1
    return rounds


def mutual_inductance_h(radius_a_m: ArrayLike, radius_b_m: ArrayLike, distance_m: ArrayLike) -> FloatArray:
    """Mutual inductance (H) of two coaxial circular filaments, `distance_m` apart along the axis. Broadcasts.

    Infinite for coinciding filaments. Source: Maxwell, Treatise, art. 701; NIST DLMF 19.34.
    """
    a = np.asarray(radius_a_m, dtype=float)
    b = np.asarray(radius_b_m, dtype=float)
    d2 = np.square(np.asarray(distance_m, dtype=float))
    far = np.square(a + b) + d2
    near = np.square(a - b) + d2
    product = a * b
    modulus = 4.0 * product / far
    first, tau = elliptic_terms(np.maximum(np.atleast_1d(near / far), 1e-300))
    mutual = (2.0 * MU0_H_PER_M) * np.sqrt(product) * modulus * np.sqrt(modulus) * (tau * first).reshape(far.shape)
    return np.where(near > 0, mutual, np.inf)


def loop_flux_density_t_per_a(
    radius_m: ArrayLike, distance_m: ArrayLike, height_m: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Radial and axial flux density (T/A) of circular filaments; arguments broadcast.

    Args:
        radius_m: radius of each loop.
        distance_m: distance of the field point from the axis, 0 or above.
        height_m: height of the field point above the plane of the loop.

    Infinite or undefined on the filament itself. Source: Smythe, Static and Dynamic Electricity, 7.10; the
    same expressions in Simpson et al., NASA TM-2013-217919.
    """
    a = np.asarray(radius_m, dtype=float)
    rho = np.asarray(distance_m, dtype=float)
    z = np.asarray(height_m, dtype=float)
    z2 = z * z
    reach = a + rho
    inverse_far = 1.0 / (reach * reach + z2)
    reach = a - rho
    near = reach * reach + z2
    complement = near * inverse_far
    first, tau = elliptic_terms(complement)
    modulus = 1.0 - complement
    scale = np.sqrt(inverse_far)
    scale /= near
    scale *= first
    scale *= MU0_H_PER_M / (2.0 * np.pi)
    half = 1.0 - 0.5 * modulus
    modulus *= modulus
    modulus *= tau
    axial = half - modulus  # E/K
    axial *= (a * a - rho * rho) - z2
    axial += near
    axial *= scale
    half *= tau
    radial = 0.25 - half
    radial *= (16.0 * a * a * rho) * z
    radial *= inverse_far
    radial *= scale
    return radial, axial
