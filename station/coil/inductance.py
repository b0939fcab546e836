"""Inductance: the turn-by-turn partial-inductance matrix, and closed forms for a quick answer.

Matrix for circles: Maxwell's mutual inductance of coaxial circles of the spiral's mean radii, with each
pair at the geometric mean distance of its rectangular sections. For polygons and drawn tracks: straight
partial inductances (see `filaments`). The coil's inductance is the sum over the matrix. Leads and the way
back between the terminals are not part of it.
"""

from functools import lru_cache

import numpy as np

from station.coil import loops, sections
from station.coil.constants import MU0_H_PER_M
from station.coil.corners import bend_angles_rad, corner_inductance_h
from station.coil.filaments import Segments, partial_inductance_h
from station.coil.geometry import CoilGeometry, FloatArray
from station.coil.windings import Turns, layer_growth, polygon_segments, turns_of

# Mohan, del Mar Hershenson, Boyd, Lee, IEEE J. Solid-State Circuits 34 (1999) 1419, tables I and II.
CURRENT_SHEET = {
    "square": (1.27, 2.07, 0.18, 0.13),
    "hexagon": (1.09, 2.23, 0.0, 0.17),
    "octagon": (1.07, 2.29, 0.0, 0.19),
    "circle": (1.0, 2.46, 0.0, 0.20),
}
MODIFIED_WHEELER = {"square": (2.34, 2.75), "hexagon": (2.33, 3.82), "octagon": (2.25, 3.55)}


def current_sheet_h(shape: str, turns: float, inner_diameter_m: float, outer_diameter_m: float) -> float:
    """Inductance (H) of one layer by the current-sheet form; a few per cent, typically 1 to 2.

    Diameters are to the copper edges, of the turns at their mean radii (see `closed_form_diameters_m`).
    Source: Mohan et al. 1999, eq. (3) and table II.

    Raises:
        KeyError: for a shape that the paper has no row for (it has square, hexagon, octagon, circle).
    """
    c1, c2, c3, c4 = CURRENT_SHEET[shape]
    mean = (outer_diameter_m + inner_diameter_m) / 2
    fill = (outer_diameter_m - inner_diameter_m) / (outer_diameter_m + inner_diameter_m)
    return float(MU0_H_PER_M * turns**2 * mean * c1 / 2 * (np.log(c2 / fill) + c3 * fill + c4 * fill**2))


def modified_wheeler_h(shape: str, turns: float, inner_diameter_m: float, outer_diameter_m: float) -> float:
    """Inductance (H) of one layer by the modified Wheeler form; a few per cent. Source: Mohan et al. 1999, table I.

    Raises:
        KeyError: for a shape that the paper has no row for (it has square, hexagon, octagon; no circle).
    """
    k1, k2 = MODIFIED_WHEELER[shape]
    mean = (outer_diameter_m + inner_diameter_m) / 2
    fill = (outer_diameter_m - inner_diameter_m) / (outer_diameter_m + inner_diameter_m)
    return k1 * MU0_H_PER_M * turns**2 * mean / (1 + k2 * fill)


def wheeler_flat_spiral_h(turns: float, inner_radius_m: float, outer_radius_m: float) -> float:
    """Inductance (H) of a flat circular spiral, 31.33 mu0 n^2 a^2/(8 a + 11 c); a few per cent.

    Source: Wheeler, Proc. IRE 16 (1928) 1398.
    """
    mean = (inner_radius_m + outer_radius_m) / 2
    return 31.33 * MU0_H_PER_M * turns**2 * mean**2 / (8 * mean + 11 * (outer_radius_m - inner_radius_m))


def closed_form_diameters_m(coil: CoilGeometry) -> tuple[float, float]:
    """Inner and outer diameter for the closed forms: copper edges of the first and last turn at their mean radii.

    The copper's extreme edges instead would put an Archimedean spiral of few turns several per cent low.
    """
    radii = coil.turn_radii_m()
    return 2 * float(radii[0]) - coil.track_width_m, 2 * float(radii[-1]) + coil.track_width_m


def turn_inductance_h(coil: CoilGeometry) -> FloatArray:
    """Partial-inductance matrix (H) of the turns in the order of the current, shape (turns, turns).

    Circles: known error below 0.01 % of the sum against a 25 um voxel solver for many turns, 0.3 % for a
    coarse 10-turn layer. The array is shared and read-only.
    """
    return _turn_inductance(coil)


@lru_cache(maxsize=64)
def _turn_inductance(coil: CoilGeometry) -> FloatArray:
    if coil.side_count == 0:
        matrix = _ring_matrix(coil)
    else:
        fill = coil.mean_width_m / coil.pitch_m
        matrix = track_inductance_h(polygon_segments(coil), fill=fill, turns_beside=coil.turns_per_layer)
    matrix.flags.writeable = False
    return matrix


def inductance_h(coil: CoilGeometry) -> float:
    """Low-frequency inductance (H) of the healthy coil: the sum over the turn matrix."""
    return float(_turn_inductance(coil).sum())


def track_inductance_h(segments: Segments, *, fill: float = 0.0, turns_beside: float = 1.0) -> FloatArray:
    """Partial-inductance matrix (H) of whole turns of straight tracks, bends corrected, shape (turns, turns).

    Segments of the same turn carry the same current. `fill` and `turns_beside` as for `corner_inductance_h`.
    Known error: within 0.05 % of finite-volume solutions of square spirals; low by 0.1 % for 6 and 8 sides and
    by up to 0.5 % for 20 and more, whose neighbouring sides are no longer parallel.
    """
    matrix = partial_inductance_h(segments)
    angles = bend_angles_rad(segments.start_m, segments.end_m)
    width = (segments.width_m[1:] + segments.width_m[:-1]) / 2
    bend = corner_inductance_h(angles, width, segments.thickness_m, fill=fill, turns_beside=turns_beside)
    bend[angles == 0] = 0.0
    before = np.arange(len(bend))
    matrix[before, before + 1] += bend / 2
    matrix[before + 1, before] += bend / 2
    count = int(segments.turn.max()) + 1
    member = np.zeros((len(segments.turn), count))
    member[np.arange(len(segments.turn)), segments.turn] = 1.0
    return member.T @ matrix @ member


def _ring_matrix(coil: CoilGeometry) -> FloatArray:
    turns = turns_of(coil)
    radii = coil.turn_radii_m()
    heights = coil.layer_heights_m()
    separations = np.abs(heights[:, None] - heights[None, :])
    matrix = np.empty((len(turns.layer), len(turns.layer)))
    growth = layer_growth(coil)
    known: dict[tuple[float, float], FloatArray] = {}
    for i in range(coil.layers):
        for j in range(coil.layers):
            drift = coil.pitch_m if growth[i] != growth[j] else 0.0
            key = (round(float(separations[i, j]), 12), drift)
            if key not in known:
                known[key] = layer_pair_h(radii, key[0], coil.mean_width_m, coil.thickness_m, drift_m=drift)
            rows, columns = turns.layer == i, turns.layer == j
            matrix[np.ix_(rows, columns)] = known[key][np.ix_(turns.index[rows], turns.index[columns])]
    part = turns.fraction * turns.sense
    matrix *= part[:, None] * part[None, :]
    _correct_incomplete_turns(matrix, turns, coil)
    return matrix


def layer_pair_h(
    radii_m: FloatArray, up_m: float, width_m: float, thickness_m: float, *, drift_m: float = 0.0
) -> FloatArray:
    """Mutual inductance (H) of full coaxial rings in two layers `up_m` apart (0: the same), shape (rings, rings).

    The filament between centres, corrected to the geometric mean distance of the two sections: near the
    conductor the mutual inductance goes as -mu0 a ln(distance). On the diagonal of one layer this is the
    self inductance mu0 a (ln(8 a/g) - 2) of a ring (Grover, ch. 16).

    `drift_m` is the pitch where one layer grows while the other shrinks: their tracks then cross instead of
    lying on top of one another, which lowers the inductance of few turns close together by per cents.
    """
    i, j = np.triu_indices(len(radii_m))
    mutual = _ring_pair_h(
        radii_m[i], radii_m[j], np.full(len(i), up_m), width_m=width_m, thickness_m=thickness_m, drift_m=drift_m
    )
    matrix = np.empty((len(radii_m), len(radii_m)))
    matrix[i, j] = mutual
    matrix[j, i] = mutual
    return matrix


def _ring_pair_h(
    a: FloatArray | float, b: FloatArray, up_m: FloatArray, *, width_m: float, thickness_m: float, drift_m: float
) -> FloatArray:
    across = np.abs(a - b)
    own = (across == 0) & (up_m == 0)
    self_log = float(sections.log_self_distance(width_m, thickness_m))
    apart = np.where(own, width_m, across)
    log_mutual = sections.log_mutual_distance(apart, up_m, width_m, thickness_m, drift_m=drift_m)
    log_mean = np.where(own, self_log, log_mutual)
    # The own term is that of two equal filaments, g apart along the axis.
    up = np.where(own, np.exp(self_log), up_m)
    log_distance = np.where(own, self_log, np.log(np.hypot(across, up)))
    mutual = loops.mutual_inductance_h(a, b, up)
    return mutual + MU0_H_PER_M * np.sqrt(a * b) * (log_distance - log_mean)


def _correct_incomplete_turns(matrix: FloatArray, turns: Turns, coil: CoilGeometry) -> None:
    """Replace the rows of turns that end early: an arc lies beside a part of the other turns, not their mean.

    Beside a full turn it counts by its fraction, at that turn's radius where the arc runs; two arcs see one
    another by Neumann's integral.
    """
    incomplete = np.flatnonzero(turns.fraction < 1 - 1e-9)
    full = turns.fraction >= 1 - 1e-9
    growth = layer_growth(coil)[turns.layer]
    for i in incomplete:
        fraction = turns.fraction[i]
        for crossing in (False, True):
            others = np.flatnonzero(full & ((growth != growth[i]) == crossing))
            if len(others) == 0:
                continue
            mutual = _ring_pair_h(
                turns.radius_m[i],
                _radius_beside_m(turns, coil, int(i), others),
                np.abs(turns.height_m[others] - turns.height_m[i]),
                width_m=coil.mean_width_m,
                thickness_m=coil.thickness_m,
                drift_m=coil.pitch_m * fraction if crossing else 0.0,
            )
            mutual *= fraction * turns.sense[i] * turns.sense[others]
            matrix[i, others] = mutual
            matrix[others, i] = mutual
        for j in incomplete:
            matrix[i, j] = turns.sense[i] * turns.sense[j] * _arc_pair_h(turns, coil, int(i), int(j))


def _radius_beside_m(turns: Turns, coil: CoilGeometry, arc: int, full: np.ndarray) -> FloatArray:
    """Mean radius of each full turn over the angles that the arc spans."""
    angles = turns.start_rad[arc] + 2 * np.pi * turns.fraction[arc] * (np.arange(32) + 0.5) / 32
    along = angles[None, :] - turns.start_rad[full, None]
    part = np.mod(along / (2 * np.pi), 1.0).mean(axis=1)
    return turns.radius_m[full] + coil.pitch_m * layer_growth(coil)[turns.layer[full]] * (part - 0.5)


def _arc_pair_h(turns: Turns, coil: CoilGeometry, i: int, j: int) -> float:
    """Neumann's integral for two arcs of the same radius, folded to one over the difference of angle."""
    radius = float(turns.radius_m[i])
    up = abs(float(turns.height_m[i] - turns.height_m[j]))
    width, thickness = coil.mean_width_m, coil.thickness_m
    growth = layer_growth(coil)
    crosses = growth[turns.layer[i]] != growth[turns.layer[j]]
    drift = coil.pitch_m * max(2 * float(turns.fraction[i]) - 1, 0.0) if crosses else 0.0
    log_distance = (
        sections.log_self_distance(width, thickness)
        if up == 0
        else sections.log_mutual_distance(0.0, up, width, thickness, drift_m=drift)
    )
    distance = float(np.exp(log_distance))
    span = 2 * np.pi * float(turns.fraction[i])
    shift = float(turns.start_rad[j] - turns.start_rad[i])
    centre = (shift + np.pi) % (2 * np.pi) - np.pi
    return float(MU0_H_PER_M * radius**2 / (4 * np.pi) * _folded(centre, span, radius, distance))


def _folded(centre: float, span: float, radius: float, distance: float) -> float:
    # Overlap weight of the difference psi is a triangle of half-width span around the shift of the arcs; the
    # kernel repeats with the revolution, and its peak of width distance/radius at 0 sets the panels.
    edges = np.unique(
        np.concatenate([[centre - span, centre, centre + span], *_panels(centre, span, distance / radius)])
    )
    edges = edges[(edges >= centre - span) & (edges <= centre + span)]
    nodes, weights = np.polynomial.legendre.leggauss(12)
    middle, half = (edges[1:] + edges[:-1]) / 2, (edges[1:] - edges[:-1]) / 2
    psi = middle[:, None] + half[:, None] * nodes
    overlap = span - np.abs(psi - centre)
    kernel = np.cos(psi) / np.sqrt((2 * radius * np.sin(psi / 2)) ** 2 + distance**2)
    return float(np.sum(half[:, None] * weights * overlap * kernel))


def _panels(centre: float, span: float, peak: float) -> list[FloatArray]:
    grading = peak * 2.0 ** np.arange(0, 40)
    grading = grading[grading < np.pi]
    peaks = [2 * np.pi * k for k in (-2, -1, 0, 1, 2) if abs(2 * np.pi * k - centre) < span + np.pi]
    return [peak_at + np.concatenate((-grading[::-1], [0.0], grading, [-np.pi, np.pi])) for peak_at in peaks]
