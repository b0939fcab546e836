"""What a drawing should read on the bench, in one call."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.coil.capacitance import Resonance, apparent_series, self_resonance
from station.coil.circuit import network_of, solve_impedance
from station.coil.eddy import limit_frequency_hz
from station.coil.field import axis_flux_density_t_per_a
from station.coil.geometry import CoilGeometry
from station.coil.inductance import track_inductance_h
from station.coil.polyline import PolylineCoil, polyline_segments
from station.coil.resistance import resistance_20_ohm, track_length_m


@dataclass(frozen=True)
class FieldPoint:
    """Axial flux density on the axis for 1 A at a height above the outer surface of the top copper."""

    height_m: float
    flux_density_t_per_a: float


@dataclass(frozen=True)
class Prediction:
    """What the healthy coil reads.

    track_length_m, resistance_20_ohm (direct current, 20 degC), inductance_h (below resonance): always.
    At `frequency_hz`, 20 degC (None for a drawn polyline, whose turns are not known): series_resistance_ohm
    with eddy losses, quality, apparent_resistance_ohm and apparent_inductance_h with the coil's own estimated
    capacitance across it, limit_frequency_hz above which the eddy model no longer holds, resonance.
    """

    track_length_m: float
    resistance_20_ohm: float
    inductance_h: float
    field: tuple[FieldPoint, ...]
    frequency_hz: float
    series_resistance_ohm: float | None = None
    quality: float | None = None
    apparent_resistance_ohm: float | None = None
    apparent_inductance_h: float | None = None
    limit_frequency_hz: float | None = None
    resonance: Resonance | None = None


def predict(
    coil: CoilGeometry | PolylineCoil, *, frequency_hz: float = 100e3, heights_m: Sequence[float] = ()
) -> Prediction:
    """Predict resistance, inductance and field of a coil. About 2 ms for a circular coil of 2 x 35 turns.

    Raises:
        ValueError: for a frequency or a height that is not above 0.
    """
    if not 0 < frequency_hz < np.inf:
        raise ValueError(f"frequency must be above 0 Hz; got {frequency_hz:g} Hz")
    for height in heights_m:
        if not 0 <= height < np.inf:
            raise ValueError(f"height must be 0 or above (from the top copper's outer surface); got {height:g} m")
    heights = np.asarray(heights_m, dtype=float)
    flux = axis_flux_density_t_per_a(coil, heights) if len(heights) else heights
    points = tuple(FieldPoint(float(h), float(b)) for h, b in zip(heights, flux, strict=True))
    length, resistance = track_length_m(coil), resistance_20_ohm(coil)
    if isinstance(coil, PolylineCoil):
        inductance = float(track_inductance_h(polyline_segments(coil)).sum())
        return Prediction(length, resistance, inductance, points, frequency_hz)
    seen = solve_impedance(network_of(coil), frequency_hz)
    series, inductance = float(seen.resistance_ohm[0]), float(seen.inductance_h[0])
    resonance = self_resonance(coil)
    apparent_r, apparent_l = apparent_series(series, inductance, resonance.capacitance_f, frequency_hz)
    return Prediction(
        length,
        resistance,
        inductance,
        points,
        frequency_hz,
        series_resistance_ohm=series,
        quality=float(seen.quality[0]),
        apparent_resistance_ohm=float(apparent_r),
        apparent_inductance_h=float(apparent_l),
        limit_frequency_hz=limit_frequency_hz(coil),
        resonance=resonance,
    )
