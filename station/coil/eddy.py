"""Skin and proximity effect of flat tracks, and the frequency above which this model no longer holds.

Below the skin-depth limit the current stays uniform and the vector potential varies across each track; the
eddy currents that it drives cost power in proportion to the square of the frequency. Per turn, with B the
flux density of everything else at its centre line and w, t, l the track's width, thickness and length:

    R(f) = R(0) + (2 pi f)^2 t w l / resistivity * ( B_normal^2 w^2/12 + B_lateral^2 t^2/12 + V (mu0/4 pi)^2 )

The first two terms are the classic flat-strip eddy loss in a uniform field (Lammeraner and Stafl, Eddy
Currents, 1966, ch. 2); V is the variance over the width of (1-u) ln(1-u) + (1+u) ln(1+u), the track's own
vector potential as a thin tape. Known error: within a few per cent of the increase up to the limit
frequency (tested against tracks split into filaments).
"""

from functools import lru_cache

import numpy as np

from station.coil import loops, sections
from station.coil.constants import MU0_H_PER_M
from station.coil.filaments import segment_flux_density_t_per_a
from station.coil.geometry import CoilGeometry, FloatArray
from station.coil.resistance import turn_lengths_m
from station.coil.windings import polygon_segments, turns_of

_OWN_VARIANCE = 0.1400875
"""Variance over u in (-1, 1) of (1-u) ln(1-u) + (1+u) ln(1+u); recomputed by quadrature in the tests."""

_POINTS_A_SIDE = 3


def skin_depth_m(frequency_hz: float, resistivity_ohm_m: float) -> float:
    """Skin depth (m), sqrt(resistivity/(pi f mu0)). Source: Jackson, Classical Electrodynamics, eq. 5.165."""
    return float(np.sqrt(resistivity_ohm_m / (np.pi * frequency_hz * MU0_H_PER_M)))


def limit_frequency_hz(coil: CoilGeometry) -> float:
    """Frequency (Hz) up to which `eddy_resistance_s2_ohm` holds: skin depth^2 = width x thickness.

    There the eddy currents begin to screen the field that drives them, and the current no longer fills the
    track; the resistance then rises more slowly than the square of the frequency, and inductance falls.
    """
    area = coil.mean_width_m * coil.thickness_m
    return float(coil.conductor.resistivity_ohm_m / (np.pi * MU0_H_PER_M * area))


def eddy_resistance_s2_ohm(coil: CoilGeometry) -> FloatArray:
    """Coefficient (ohm s2) of each turn: multiply by (2 pi f)^2 and add to its resistance. Healthy coil, 20 degC.

    In the order of the current, shape (turns,); shared and read-only.
    """
    return _eddy(coil)


@lru_cache(maxsize=64)
def _eddy(coil: CoilGeometry) -> FloatArray:
    width, thickness = coil.mean_width_m, coil.thickness_m
    mean_square = _polygon_mean_square(coil) if coil.side_count else _ring_mean_square(coil)
    own = _OWN_VARIANCE * (MU0_H_PER_M / (4 * np.pi)) ** 2
    per_metre = thickness * width / coil.conductor.resistivity_ohm_m * (mean_square + own)
    out = per_metre * turn_lengths_m(coil)
    out.flags.writeable = False
    return out


def _ring_mean_square(coil: CoilGeometry) -> FloatArray:
    turns = turns_of(coil)
    count = len(turns.radius_m)
    up = turns.height_m[:, None] - turns.height_m[None, :]
    # Beside itself a ring has no filament field; a dummy distance keeps the diagonal finite until it is replaced.
    here = np.where(np.eye(count, dtype=bool), 0.5, 1.0) * turns.radius_m[:, None]
    radial, axial = loops.loop_flux_density_t_per_a(turns.radius_m[None, :], here, up)
    radial, axial = radial.copy(), axial.copy()
    section = np.exp(sections.log_self_distance(coil.mean_width_m, coil.thickness_m))
    diagonal = np.diag_indices(count)
    radial[diagonal] = 0.0
    # Field of a ring at its own section: the derivative of its inductance with respect to the radius.
    axial[diagonal] = MU0_H_PER_M / (4 * np.pi * turns.radius_m) * (np.log(8 * turns.radius_m / section) - 1)
    part = turns.fraction * turns.sense
    return ((axial @ part) * coil.mean_width_m) ** 2 / 12 + ((radial @ part) * coil.thickness_m) ** 2 / 12


def _polygon_mean_square(coil: CoilGeometry) -> FloatArray:
    segments = polygon_segments(coil)
    length = segments.length_m
    direction = (segments.end_m - segments.start_m) / length[:, None]
    square = np.zeros(len(length))
    rows = max(1, 100_000 // len(length))
    nodes, weights = np.polynomial.legendre.leggauss(_POINTS_A_SIDE)
    for node, weight in zip(nodes, weights, strict=True):
        point = segments.start_m + (0.5 + node / 2) * (segments.end_m - segments.start_m)
        for first in range(0, len(length), rows):  # in blocks: the whole table is large for many turns
            block = np.arange(first, min(first + rows, len(length)))
            with np.errstate(divide="ignore", invalid="ignore"):
                each = segment_flux_density_t_per_a(segments, point[block])
            each[np.arange(len(block)), block] = 0.0  # a straight track has no field at its own centre line
            field = each.sum(axis=1)
            lateral = field[:, 0] * direction[block, 1] - field[:, 1] * direction[block, 0]
            across = (field[:, 2] * coil.mean_width_m) ** 2 + (lateral * coil.thickness_m) ** 2
            square[block] += weight / 2 * across / 12
    weighted = np.bincount(segments.turn, weights=square * length)
    return weighted / np.bincount(segments.turn, weights=length)
