"""From a plan's drawing to the coil model: geometry and field."""

from collections.abc import Callable
from functools import cache

from station.coil.geometry import CoilGeometry, uniform_gaps
from station.core.plan import CoilDesign


def geometry_of(design: CoilDesign) -> CoilGeometry:
    """Return the drawing as the coil model wants it; raises `GeometryError` for an impossible one."""
    return CoilGeometry(
        shape=design.shape,  # type: ignore[arg-type]
        sides=design.sides,
        layers=design.layers,
        turns_per_layer=design.turns_per_layer,
        inner_diameter_m=design.inner_diameter_m,
        track_width_m=design.track_width_m,
        track_gap_m=design.track_gap_m,
        copper_m=design.copper_m,
        layer_gaps_m=uniform_gaps(design.layers, design.layer_gap_m),
        lead_resistance_ohm=design.lead_resistance_ohm,
    )


def axial_field(design: CoilDesign) -> Callable[[float, float], float]:
    """Return the drawing's axial flux density per ampere, T/A, as a function of (height_m, lateral_m).

    Height over the top copper, distance off the axis. Values are kept: a plan asks for the same few heights
    for every unit.
    """
    import numpy as np

    from station.coil.field import flux_density_t_per_a

    geometry = geometry_of(design)

    @cache
    def field(height_m: float, lateral_m: float) -> float:
        point = np.array([[lateral_m, 0.0, height_m]])
        return float(flux_density_t_per_a(geometry, point)[0, 2].real)

    return field
