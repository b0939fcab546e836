"""What a coil's drawing says without any model: how large it is and about what resistance it has.

Only good enough to find slips in a plan. The physics is in `station.coil`.
"""

import math

from station.core.plan import CoilDesign

COPPER_OHM_M = 1.7241e-8
"""Resistivity of annealed copper at 20 degC: 1/58 ohm mm2/m (IEC 60028:1925)."""


def outer_diameter_m(coil: CoilDesign) -> float:
    """Return the diameter over the outer copper edge, in m: mean radius of the last turn and half a track."""
    pitch = coil.track_width_m + coil.track_gap_m
    return coil.inner_diameter_m + 2.0 * (coil.turns_per_layer * pitch) - 2.0 * coil.track_gap_m


def estimate_resistance_ohm(coil: CoilDesign) -> float:
    """Return the DC resistance at 20 degC, in ohm, from track length and cross-section; leads included.

    Archimedean spiral of mean radius d_in/2 + w/2 + n (w + s)/2; polygons of n sides are longer by
    (n/pi) tan(pi/n). Corners and vias are not counted: good for about 5 %.
    """
    pitch = coil.track_width_m + coil.track_gap_m
    mean_radius = coil.inner_diameter_m / 2.0 + coil.track_width_m / 2.0 + coil.turns_per_layer * pitch / 2.0
    sides = {"square": 4, "polygon": coil.sides}.get(coil.shape, 0)
    longer = sides / math.pi * math.tan(math.pi / sides) if sides >= 3 else 1.0
    length_m = 2.0 * math.pi * mean_radius * coil.turns_per_layer * coil.layers * longer
    return COPPER_OHM_M * length_m / (coil.track_width_m * coil.copper_m) + coil.lead_resistance_ohm
