"""Flux density of a coil per ampere: on its axis, anywhere else, and as a sensor of finite size sees it.

Points are (x, y, z) in metres in the coil's frame: z up from the outer surface of the top copper, so z is
the height. Tracks are filaments at their centre lines and mid-planes; known error of that off the copper:
(width/distance)^2/24 at most, 0.004 % for widths of 0.05 to 0.15 mm at 1 mm.
"""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, log

import numpy as np
from numpy.typing import ArrayLike, NDArray

from station.coil import loops
from station.coil.constants import MU0_H_PER_M
from station.coil.filaments import Segments, segment_flux_density_t_per_a
from station.coil.geometry import CoilGeometry, FloatArray
from station.coil.polyline import PolylineCoil, polyline_segments
from station.coil.windings import polygon_segments, turns_of

_NODES_MAXIMUM = 40
_DIGITS_NEPER = 25.0  # ln of the precision asked for, 1e-11

TurnCurrents = NDArray[np.float64] | NDArray[np.complex128]


@dataclass(frozen=True)
class Sensor:
    """A flux sensor: where it is, how it is turned and how large its active area is.

    Args:
        x_m, y_m: distance from the axis. height_m: above the outer surface of the top copper.
        tilt_rad: angle between its sensing direction and the axis; tilt_direction_rad: towards where.
        active_diameter_m: diameter of the round area that it averages over; 0 for a point.
    """

    height_m: float
    x_m: float = 0.0
    y_m: float = 0.0
    tilt_rad: float = 0.0
    tilt_direction_rad: float = 0.0
    active_diameter_m: float = 0.0

    def direction(self) -> FloatArray:
        """Unit vector that it senses along, shape (3,)."""
        across = np.sin(self.tilt_rad)
        return np.array(
            [
                across * np.cos(self.tilt_direction_rad),
                across * np.sin(self.tilt_direction_rad),
                np.cos(self.tilt_rad),
            ]
        )


def axis_flux_density_t_per_a(coil: CoilGeometry | PolylineCoil, heights_m: ArrayLike) -> FloatArray:
    """Axial flux density (T/A) on the axis at each height, shape of `heights_m`. Positive for winding sense +1.

    Circles: closed form of the true spiral, mu0/(2 pitch) [arsinh(r/h) - r/sqrt(r2 + h2)] between its ends
    (integral of the law of Biot and Savart with r linear in the angle; exact, also for fractional turns).
    """
    heights = np.asarray(heights_m, dtype=float)
    if isinstance(coil, PolylineCoil) or coil.side_count:
        points = np.zeros((heights.size, 3))
        points[:, 2] = heights.ravel()
        return flux_density_t_per_a(coil, points)[:, 2].real.reshape(heights.shape)
    depth, sense = _layers(coil)
    above = heights[..., None] - depth
    square = above * above
    inner, outer = coil.inner_radius_m, coil.outer_radius_m
    near, far = np.sqrt(square + inner * inner), np.sqrt(square + outer * outer)
    each = np.log((outer + far) / (inner + near)) - outer / far + inner / near
    return (each @ sense) * (MU0_H_PER_M / (2 * coil.pitch_m))


@lru_cache(maxsize=64)
def _layers(coil: CoilGeometry) -> tuple[FloatArray, FloatArray]:
    return coil.layer_heights_m(), np.array(coil.senses, dtype=float)


def flux_density_t_per_a(
    coil: CoilGeometry | PolylineCoil,
    points_m: FloatArray,
    *,
    turn_currents: TurnCurrents | None = None,
    as_drawn: bool = False,
) -> NDArray[np.complex128] | FloatArray:
    """Flux density (T/A) at points anywhere off the copper, shape (points, 3).

    Args:
        points_m: shape (points, 3).
        turn_currents: current of each turn for 1 A at the terminals (`circuit.solve_impedance`), real or
            complex; the field is complex then, relative to the terminal current. None: 1 in every turn.
        as_drawn: circles by the spiral line itself instead of its mean over all angles; slower, and includes
            what the line has and its mean has not (a field across the axis; 1e-3 of B for pitch 0.2 mm at 1 mm).
    """
    points = np.asarray(points_m, dtype=float)
    if isinstance(coil, CoilGeometry) and coil.side_count == 0 and not as_drawn:
        return _ring_field(coil, points, turn_currents)
    if isinstance(coil, PolylineCoil):
        segments = polyline_segments(coil)
    else:
        segments = polygon_segments(coil) if coil.side_count else spiral_segments(coil)
    weight = np.ones(len(segments.turn)) if turn_currents is None else np.asarray(turn_currents)[segments.turn]
    rows = max(1, 200_000 // len(segments.turn))
    parts = [
        np.einsum("psc,s->pc", segment_flux_density_t_per_a(segments, points[first : first + rows]), weight)
        for first in range(0, len(points), rows)
    ]
    return np.concatenate(parts) if parts else np.zeros((0, 3))


def _ring_field(
    coil: CoilGeometry, points: FloatArray, turn_currents: TurnCurrents | None
) -> NDArray[np.complex128] | FloatArray:
    x, y, z = points.T
    distance = np.sqrt(x * x + y * y)
    if len(points) == 0:
        return np.zeros((0, 3))
    nodes = _nodes_needed(coil, distance, z)
    if nodes:
        outward, axial = _sheet_field(coil, distance, z, nodes)
    if turn_currents is not None or not nodes:
        # Rings add what the turns carry beyond the common current, or everything close above the copper.
        turns = turns_of(coil)
        carried = 1.0 if turn_currents is None else turn_currents
        weight = turns.fraction * turns.sense * (carried - (1.0 if nodes else 0.0))
        each_outward, each_axial = loops.loop_flux_density_t_per_a(
            turns.radius_m, distance[:, None], z[:, None] - turns.height_m
        )
        ring_outward, ring_axial = each_outward @ weight, each_axial @ weight
        outward = ring_outward + outward if nodes else ring_outward
        axial = ring_axial + axial if nodes else ring_axial
    out = np.empty((len(points), 3), dtype=outward.dtype)
    outward = outward / np.maximum(distance, 1e-300)
    out[:, 0] = outward * x
    out[:, 1] = outward * y
    out[:, 2] = axial
    return out


def _nodes_needed(coil: CoilGeometry, distance: FloatArray, z: FloatArray) -> int:
    """Nodes for `_sheet_field` to reach 1e-11, even; 0 where rings are the better way (close above the copper).

    The integrand is analytic but for the sheet itself; seen from the path its nearest point lies on the
    Bernstein ellipse whose parameter, to the power of twice the nodes, is the error.
    """
    rho, above = max(float(distance.max()), 1e-12), float(z.min()) + coil.thickness_m / 2
    if above <= 0:
        return 0
    nearest = complex(min(max(rho, coil.inner_radius_m), coil.outer_radius_m), above) / rho
    parameter = abs(nearest + (nearest * nearest - 1) ** 0.5)
    nodes = 2 * ceil(_DIGITS_NEPER / (4 * log(max(parameter, 1.0001))))
    return nodes if nodes <= _NODES_MAXIMUM else 0


def _sheet_field(coil: CoilGeometry, distance: FloatArray, z: FloatArray, nodes: int) -> tuple[FloatArray, FloatArray]:
    """Field off the axis from the closed form on it, continued to complex height (Whittaker and Watson, 18.3).

    B_z(rho, z) = 1/pi integral B_axis(z + i rho cos phi), B_rho likewise with i cos phi: exact for the mean
    over the angle of a spiral's field, since a spiral seen at all angles is a sheet of uniform current.
    """
    depth, sense = _layers(coil)
    cosine = _half_nodes(nodes)
    height = (z[:, None] - depth)[:, :, None] + (1j * distance)[:, None, None] * cosine
    square = height * height
    inner, outer = coil.inner_radius_m, coil.outer_radius_m
    near, far = np.sqrt(square + inner * inner), np.sqrt(square + outer * outer)
    each = np.log((far + outer) / (near + inner))
    each -= outer / far
    each += inner / near
    scale = sense * (MU0_H_PER_M / (coil.pitch_m * nodes))
    return -((each.imag @ cosine) @ scale), each.real.sum(axis=2) @ scale


@lru_cache(maxsize=_NODES_MAXIMUM)
def _half_nodes(nodes: int) -> FloatArray:
    # The other half gives the complex conjugates.
    return np.cos((np.arange(nodes // 2) + 0.5) * np.pi / nodes)


@lru_cache(maxsize=16)
def spiral_segments(coil: CoilGeometry, *, per_turn: int = 180) -> Segments:
    """A circular spiral as straight pieces, numbered by turn; chords of 2 degrees are 0.005 % short."""
    turns = turns_of(coil)
    starts, ends, owners = [], [], []
    for turn in range(len(turns.index)):
        steps = max(2, round(per_turn * turns.fraction[turn]))
        part = np.linspace(0.0, 1.0, steps + 1)
        outward = turns.layer[turn] % 2 == 1
        grown = (part if outward else 1 - part) - 0.5
        radius = turns.radius_m[turn] + grown * turns.fraction[turn] * coil.pitch_m
        sweep = 2 * np.pi * turns.fraction[turn]
        ahead = part if turns.sense[turn] > 0 else 1 - part
        angle = turns.start_rad[turn] + ahead * sweep
        line = np.column_stack(
            [radius * np.cos(angle), radius * np.sin(angle), np.full(steps + 1, turns.height_m[turn])]
        )
        starts.append(line[:-1])
        ends.append(line[1:])
        owners.append(np.full(steps, turn))
    start = np.vstack(starts)
    width = np.full(len(start), coil.mean_width_m)
    return Segments(start, np.vstack(ends), width, coil.thickness_m, np.concatenate(owners))


def sensed_flux_density_t_per_a(
    coil: CoilGeometry | PolylineCoil,
    sensor: Sensor,
    *,
    turn_currents: TurnCurrents | None = None,
    as_drawn: bool = False,
) -> complex | float:
    """Flux density (T/A) along the sensor's direction, averaged over its active area.

    The area is covered by 5 rings of 12 points (Gauss in the square of the radius): exact for fields that
    vary as the ninth power across it, so to rounding for a sensor smaller than its distance to the copper.
    """
    points, weights = _area_points(sensor)
    field = flux_density_t_per_a(coil, points, turn_currents=turn_currents, as_drawn=as_drawn)
    return (weights @ (field @ sensor.direction())).item()


def _area_points(sensor: Sensor) -> tuple[FloatArray, FloatArray]:
    centre = np.array([sensor.x_m, sensor.y_m, sensor.height_m])
    if sensor.active_diameter_m == 0:
        return centre[None, :], np.ones(1)
    nodes, weights = np.polynomial.legendre.leggauss(5)
    radius = sensor.active_diameter_m / 2 * np.sqrt((nodes + 1) / 2)
    angle = 2 * np.pi * np.arange(12) / 12
    normal = sensor.direction()
    along = np.cross([-np.sin(sensor.tilt_direction_rad), np.cos(sensor.tilt_direction_rad), 0.0], normal)
    across = np.cross(normal, along)
    plane = radius[:, None, None] * (np.cos(angle)[None, :, None] * along + np.sin(angle)[None, :, None] * across)
    return centre + plane.reshape(-1, 3), np.repeat(weights / 2, 12) / 12
