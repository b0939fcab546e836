"""Resistance of printed tracks: from the drawing to 20 degC, to temperature and back."""

import numpy as np
from numpy.typing import ArrayLike

from station.coil.constants import WINDING_CONSTANT_DEGC
from station.coil.corners import bend_angles_rad, corner_squares
from station.coil.filaments import Segments
from station.coil.geometry import CoilGeometry, FloatArray
from station.coil.polyline import PolylineCoil, polyline_segments
from station.coil.windings import polygon_segments, turns_of


def track_resistance_ohm(length_m: float, width_m: ArrayLike, thickness_m: float, resistivity_ohm_m: float) -> float:
    """Resistance (ohm) of a track whose width varies along it: resistivity length/thickness times the mean of 1/w.

    `width_m` is one number or widths at equal steps along the track. The mean of 1/w, not 1/mean: a neck
    costs more than an equal widening gains.

    Raises:
        ValueError: if a width is not above 0.
    """
    width = np.asarray(width_m, dtype=float)
    if not np.all(width > 0):
        raise ValueError(f"track width must be above 0 everywhere; got a smallest width of {width.min():g} m")
    return float(resistivity_ohm_m * length_m / thickness_m * np.mean(1.0 / width))


def spiral_length_m(start_radius_m: ArrayLike, pitch_m: float, turns: ArrayLike) -> FloatArray:
    """Arc length (m) of an Archimedean spiral from `start_radius_m` over `turns`, exact. Broadcasts.

    Source: any table of integrals; with b = pitch/(2 pi), half of r sqrt(r2 + b2)/b + b arsinh(r/b).
    """
    b = pitch_m / (2 * np.pi)
    inner = np.asarray(start_radius_m, dtype=float)
    outer = inner + pitch_m * np.asarray(turns, dtype=float)

    def primitive(r: FloatArray) -> FloatArray:
        return 0.5 * (r * np.sqrt(r**2 + b**2) / b + b * np.arcsinh(r / b))

    return primitive(outer) - primitive(inner)


def turn_lengths_m(coil: CoilGeometry) -> FloatArray:
    """Centre-line length (m) of each turn in the order of the current, shape (turns,)."""
    turns = turns_of(coil)
    if coil.side_count:
        segments = polygon_segments(coil)
        lengths = np.bincount(segments.turn, weights=segments.length_m, minlength=len(turns.index))
        return np.asarray(lengths, dtype=float)
    start = turns.radius_m - turns.fraction / 2 * coil.pitch_m
    return spiral_length_m(start, coil.pitch_m, turns.fraction)


def turn_resistances_ohm(coil: CoilGeometry, *, turn_widths_m: ArrayLike | None = None) -> FloatArray:
    """Resistance (ohm, 20 degC) of each turn in the order of the current; vias and leads not included.

    Args:
        turn_widths_m: mean width of each turn's upright cross-section where it differs from the drawing
            (necks, gradients), shape (turns,). A width that varies within a turn enters as its harmonic mean.

    Corners of polygons count by `corner_squares`. The current's crowding at the inside of a circular turn is
    left out: it lowers a turn by (width/radius)^2/12, less than 0.1 % from a radius of 3 widths on.
    """
    width = np.asarray(coil.mean_width_m if turn_widths_m is None else turn_widths_m, dtype=float)
    if not np.all(width > 0):
        raise ValueError(f"track width must be above 0 everywhere; got a smallest width of {width.min():g} m")
    sheet = coil.conductor.resistivity_ohm_m / coil.thickness_m
    squares = turn_lengths_m(coil) / width
    if coil.side_count:
        segments = polygon_segments(coil)
        squares = squares + np.bincount(segments.turn[:-1], weights=_bend_squares(segments), minlength=len(squares))
    return sheet * squares


def _bend_squares(segments: Segments) -> FloatArray:
    angles = bend_angles_rad(segments.start_m, segments.end_m)
    return np.where(angles > 0, corner_squares(angles), 0.0)


def track_length_m(coil: CoilGeometry | PolylineCoil) -> float:
    """Centre-line length (m) of all tracks in series, without leads and vias."""
    if isinstance(coil, PolylineCoil):
        return float(polyline_segments(coil).length_m.sum())
    return float(turn_lengths_m(coil).sum())


def resistance_20_ohm(coil: CoilGeometry | PolylineCoil) -> float:
    """Resistance (ohm) at 20 degC between the terminals: tracks, vias and leads."""
    if isinstance(coil, PolylineCoil):
        segments = polyline_segments(coil)
        squares = float(np.sum(segments.length_m / segments.width_m) + np.sum(_bend_squares(segments)))
        track = coil.conductor.resistivity_ohm_m / coil.thickness_m * squares
        return track + coil.via_count * coil.via_resistance_ohm + coil.lead_resistance_ohm
    return float(turn_resistances_ohm(coil).sum()) + connection_resistance_ohm(coil)


def connection_resistance_ohm(coil: CoilGeometry) -> float:
    """Vias and leads (ohm, 20 degC)."""
    return (coil.layers - 1) * coil.via_resistance_ohm + coil.lead_resistance_ohm


def at_temperature(
    resistance_20_ohm: ArrayLike, temperature_degc: ArrayLike, *, winding_constant_degc: float = WINDING_CONSTANT_DEGC
) -> FloatArray:
    """Resistance (ohm) at a temperature from the one at 20 degC: R20 (k + T)/(k + 20). Broadcasts.

    Source: IEC 60034-1, 8.6.2. Copper from -50 to 200 degC.

    Raises:
        ValueError: below -k, where the straight line crosses zero.
    """
    temperature = np.asarray(temperature_degc, dtype=float)
    _check_temperature(temperature, winding_constant_degc)
    return np.asarray(resistance_20_ohm) * (winding_constant_degc + temperature) / (winding_constant_degc + 20.0)


def to_20_degc(
    resistance_ohm: ArrayLike, temperature_degc: ArrayLike, *, winding_constant_degc: float = WINDING_CONSTANT_DEGC
) -> FloatArray:
    """Resistance (ohm) at 20 degC from the one read at a temperature; the inverse of `at_temperature`."""
    temperature = np.asarray(temperature_degc, dtype=float)
    _check_temperature(temperature, winding_constant_degc)
    return np.asarray(resistance_ohm) * (winding_constant_degc + 20.0) / (winding_constant_degc + temperature)


def _check_temperature(temperature: FloatArray, winding_constant_degc: float) -> None:
    if not np.all(temperature > -winding_constant_degc):
        raise ValueError(
            f"temperature must be above -{winding_constant_degc:g} degC, where copper's straight line reaches zero; "
            f"got {np.min(temperature):g} degC"
        )
