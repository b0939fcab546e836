"""Straight horizontal conductors: partial mutual inductance and field of every pair at once.

All tracks of a printed coil lie in planes of constant z, which keeps the general formula for two straight
filaments short: either they are parallel, or their common perpendicular is vertical.
"""

from dataclasses import dataclass

import numpy as np

from station.coil import sections
from station.coil.constants import MU0_H_PER_M
from station.coil.geometry import FloatArray

_BLOCK_ELEMENTS = 200_000
_PARALLEL_SINE = 1e-6


@dataclass(frozen=True, eq=False)
class Segments:
    """Straight tracks, each from `start_m` to `end_m` in the direction of the current.

    start_m, end_m: shape (segments, 3). width_m: shape (segments,). thickness_m: one for all.
    turn: index of the turn that each segment belongs to, in the order of the current, shape (segments,).
    """

    start_m: FloatArray
    end_m: FloatArray
    width_m: FloatArray
    thickness_m: float
    turn: np.ndarray

    @property
    def length_m(self) -> FloatArray:
        """Length of each segment, shape (segments,)."""
        return np.linalg.norm(self.end_m - self.start_m, axis=1)


def partial_inductance_h(segments: Segments) -> FloatArray:
    """Partial inductance matrix (H) of horizontal straight tracks, shape (segments, segments).

    Diagonal: rectangular bar, Ruehli, IBM J. Res. Dev. 16 (1972) 470 by geometric and arithmetic mean
    distance. Off it: filaments at the geometric mean distance for parallel tracks, centre-line filaments
    for others (Grover, Inductance Calculations, ch. 6 and 7). Known error: corners are taken as the meeting
    point of centre lines; against voxel solvers of square spirals the whole comes out within 0.1 %.
    """
    length = segments.length_m
    direction = (segments.end_m - segments.start_m) / length[:, None]
    count = len(length)
    matrix = np.empty((count, count))
    rows = max(1, _BLOCK_ELEMENTS // count)
    along = _Along(np.concatenate(([0.0], np.cumsum(length)[:-1])), length)
    for first in range(0, count, rows):
        block = slice(first, min(first + rows, count))
        matrix[block] = _block(segments, direction, along, block)
    matrix = 0.5 * (matrix + matrix.T)
    matrix[np.diag_indices(count)] = _self_inductance(length, segments.width_m, segments.thickness_m)
    return matrix


def _self_inductance(length: FloatArray, width: FloatArray, thickness: float) -> FloatArray:
    distance = np.exp(sections.log_self_distance(width, thickness))
    mean = sections.mean_self_distance_m(width, thickness)
    log_term = length * np.arcsinh(length / distance)
    return MU0_H_PER_M / (2 * np.pi) * (log_term - np.sqrt(length**2 + mean**2) + mean)


@dataclass(frozen=True, eq=False)
class _Along:
    """Where each segment begins on the way of the current, and how long it is."""

    begin: FloatArray
    length: FloatArray


def _block(segments: Segments, direction: FloatArray, along: _Along, block: slice) -> FloatArray:
    start, length = segments.start_m, along.length
    own, other = direction[block, None, :2], direction[None, :, :2]
    cosine = own[..., 0] * other[..., 0] + own[..., 1] * other[..., 1]
    sine = own[..., 0] * other[..., 1] - own[..., 1] * other[..., 0]
    offset = start[None, :, :] - start[block, None, :]
    parallel = np.abs(sine) < _PARALLEL_SINE
    out = np.zeros(cosine.shape)
    i, j = np.nonzero(parallel)
    out[i, j] = _parallel(segments, direction[block][i], offset[i, j], length[block][i], length[j], cosine[i, j], j)
    i, j = np.nonzero(~parallel & (np.abs(cosine) > 1e-12))
    apart = _apart(segments, along, block, offset)[i, j]
    out[i, j] = _inclined(
        offset[i, j], direction[block][i], direction[j], length[block][i], length[j], cosine[i, j], sine[i, j], apart
    )
    return out


def _apart(segments: Segments, along: _Along, block: slice, offset: FloatArray) -> FloatArray:
    """Vertical distance of each pair; for neighbours on one track the mean distance of its section.

    A bend drawn in short pieces is one conductor: its pieces see one another as a section, not as filaments
    that touch.
    """
    begin, end = along.begin, along.begin + along.length
    gap = np.maximum(begin[None, :] - end[block, None], begin[block, None] - end[None, :])
    up = np.abs(offset[..., 2])
    width = np.maximum(segments.width_m[block, None], segments.width_m[None, :])
    section = np.exp(sections.log_self_distance(segments.width_m, segments.thickness_m))
    return np.where((up == 0) & (gap < 3 * width), section[None, :], up)


def _parallel(
    segments: Segments,
    direction: FloatArray,
    offset: FloatArray,
    own_length: FloatArray,
    other_length: FloatArray,
    cosine: FloatArray,
    other: np.ndarray,
) -> FloatArray:
    along = offset[:, 0] * direction[:, 0] + offset[:, 1] * direction[:, 1]
    across = offset[:, 1] * direction[:, 0] - offset[:, 0] * direction[:, 1]
    sign = np.where(cosine > 0, 1.0, -1.0)
    width = segments.width_m[other]
    thickness = segments.thickness_m
    coincident = np.hypot(across, offset[:, 2]) < 1e-9
    # In line with one another (a straight track drawn in pieces): the section's own mean distance.
    away = np.where(coincident, width, across)
    log_distance = np.where(
        coincident,
        sections.log_self_distance(width, thickness),
        sections.log_mutual_distance(away, offset[:, 2], width, thickness),
    )
    distance = np.exp(log_distance)
    begin, end = along, along + sign * other_length

    def primitive(x: FloatArray) -> FloatArray:
        return x * np.arcsinh(x / distance) - np.sqrt(x**2 + distance**2)

    total = primitive(end) - primitive(begin) - primitive(end - own_length) + primitive(begin - own_length)
    return MU0_H_PER_M / (4 * np.pi) * total


def _inclined(
    offset: FloatArray,
    own_direction: FloatArray,
    other_direction: FloatArray,
    own_length: FloatArray,
    other_length: FloatArray,
    cosine: FloatArray,
    sine: FloatArray,
    apart: FloatArray,
) -> FloatArray:
    """Grover's general formula (ch. 7, eq. 52) with the start points mu and nu from the common perpendicular."""
    ox, oy = offset[:, 0], offset[:, 1]
    # Positions of both starts, counted along each line from where the two cross in plan.
    mu = -(ox * other_direction[:, 1] - oy * other_direction[:, 0]) / sine
    nu = -(ox * own_direction[:, 1] - oy * own_direction[:, 0]) / sine
    d = apart
    l, m = own_length, other_length  # noqa: E741  the source's letters

    def between(s: FloatArray, t: FloatArray) -> FloatArray:
        return np.sqrt(np.maximum(d**2 + s**2 + t**2 - 2 * s * t * cosine, 0.0))

    r1, r2, r3, r4 = between(mu + l, nu + m), between(mu + l, nu), between(mu, nu), between(mu, nu + m)

    def weighted(weight: FloatArray, side: FloatArray, near: FloatArray, far: FloatArray) -> FloatArray:
        # weight * artanh(side / (near + far)); where the end points meet the weight is 0 and so is the product.
        ratio = side / np.maximum(near + far, 1e-300)
        return np.where(np.abs(weight) < 1e-12, 0.0, weight * np.arctanh(np.minimum(ratio, 1 - 1e-16)))

    total = 2 * (
        weighted(mu + l, m, r1, r2) + weighted(nu + m, l, r1, r4) - weighted(mu, m, r3, r4) - weighted(nu, l, r2, r3)
    )
    s = np.abs(sine)
    with np.errstate(divide="ignore", invalid="ignore"):
        angle = (
            np.arctan((d**2 * cosine + (mu + l) * (nu + m) * s**2) / (d * r1 * s))
            - np.arctan((d**2 * cosine + (mu + l) * nu * s**2) / (d * r2 * s))
            + np.arctan((d**2 * cosine + mu * nu * s**2) / (d * r3 * s))
            - np.arctan((d**2 * cosine + mu * (nu + m) * s**2) / (d * r4 * s))
        )
        skew = np.where(d > 0, angle * d / s, 0.0)
    return MU0_H_PER_M / (4 * np.pi) * cosine * (total - skew)


def segment_flux_density_t_per_a(segments: Segments, points_m: FloatArray) -> FloatArray:
    """Flux density (T/A) of each segment's centre-line filament at each point, shape (points, segments, 3).

    Infinite on the filament. Source: Hanson and Hirshman, Phys. Plasmas 9 (2002) 4410, compact form of the
    law of Biot and Savart for a straight segment.
    """
    to_start = points_m[:, None, :] - segments.start_m[None]
    to_end = points_m[:, None, :] - segments.end_m[None]
    near, far = np.linalg.norm(to_start, axis=2), np.linalg.norm(to_end, axis=2)
    product = near * far
    dot = np.einsum("psc,psc->ps", to_start, to_end)
    factor = (near + far) / (product * (product + dot))
    return MU0_H_PER_M / (4 * np.pi) * factor[..., None] * np.cross(to_start, to_end)
