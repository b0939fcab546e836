"""The invented part IS-20 and what its design says: the values around which a lot spreads."""

from dataclasses import dataclass
from functools import lru_cache
from math import log, pi, sqrt

from sim.field import MU0, LoopStackField

COPPER_OHM_M = 1.0 / 58e6
"""Resistivity of annealed copper at 20 degC: 1/58 ohm mm^2/m, IEC 60028."""


@dataclass(frozen=True, slots=True)
class SpiralDesign:
    """A circular spiral in equal layers in series, all turning the same way."""

    part: str
    layers: int
    turns_per_layer: int
    inner_diameter_m: float
    track_width_m: float
    track_gap_m: float
    copper_m: float
    layer_gap_m: float

    def radii_m(self) -> tuple[float, ...]:
        """Return each turn's mean radius: d_in/2 + w/2 + (i + 1/2)(w + s)."""
        start_m = 0.5 * (self.inner_diameter_m + self.track_width_m)
        pitch_m = self.track_width_m + self.track_gap_m
        return tuple(start_m + (turn + 0.5) * pitch_m for turn in range(self.turns_per_layer))

    def layer_distance_m(self) -> float:
        """Return the distance of two neighbouring layers, centre to centre."""
        return self.layer_gap_m + self.copper_m


@dataclass(frozen=True, slots=True)
class DesignValues:
    """What the design says of one coil without any variation."""

    resistance_20_ohm: float
    inductance_h: float
    field_per_ampere: LoopStackField
    length_m: float


IS_20 = SpiralDesign(
    part="IS-20",
    layers=2,
    turns_per_layer=20,
    inner_diameter_m=3.0e-3,
    track_width_m=0.12e-3,
    track_gap_m=0.12e-3,
    copper_m=18e-6,
    layer_gap_m=50e-6,
)


@lru_cache(maxsize=16)
def design_values(design: SpiralDesign) -> DesignValues:
    """Return R at 20 degC, L and the field of a design. The one place that numbers of a coil come from."""
    radii_m = design.radii_m()
    length_m = design.layers * sum(2.0 * pi * radius_m for radius_m in radii_m)
    depths_m = [0.5 * design.copper_m + layer * design.layer_distance_m() for layer in range(design.layers)]
    return DesignValues(
        resistance_20_ohm=COPPER_OHM_M * length_m / (design.track_width_m * design.copper_m),
        inductance_h=_inductance_h(design, radii_m),
        field_per_ampere=LoopStackField(
            radii_m=radii_m * design.layers,
            depths_m=tuple(depth_m for depth_m in depths_m for _ in radii_m),
        ),
        length_m=length_m,
    )


def _inductance_h(design: SpiralDesign, radii_m: tuple[float, ...]) -> float:
    """Return the sum over all pairs of turns: self terms mu0 a (ln(8a/g) - 2), mutuals by Maxwell.

    g = 0.2235 (w + t) is the mean distance of a rectangular section from itself.
    """
    mean_distance_m = 0.2235 * (design.track_width_m + design.copper_m)
    one_layer = sum(MU0 * a_m * (log(8.0 * a_m / mean_distance_m) - 2.0) for a_m in radii_m)
    for first, a_m in enumerate(radii_m):
        one_layer += 2.0 * sum(mutual_h(a_m, b_m, 0.0) for b_m in radii_m[first + 1 :])
    total = design.layers * one_layer
    for steps in range(1, design.layers):
        distance_m = steps * design.layer_distance_m()
        between = sum(mutual_h(a_m, b_m, distance_m) for a_m in radii_m for b_m in radii_m)
        total += 2.0 * (design.layers - steps) * between
    return total


def mutual_h(a_m: float, b_m: float, distance_m: float) -> float:
    """Return the mutual inductance of two coaxial loops in H (Maxwell, Treatise, art. 701).

    M = mu0 sqrt(ab) ((2/k - k) K - (2/k) E), k^2 = 4ab / ((a + b)^2 + d^2), with K and E by the
    arithmetic-geometric mean.
    """
    k2 = 4.0 * a_m * b_m / ((a_m + b_m) ** 2 + distance_m**2)
    k = sqrt(k2)
    complete_k, complete_e = _elliptic(k2)
    return MU0 * sqrt(a_m * b_m) * ((2.0 / k - k) * complete_k - 2.0 / k * complete_e)


def _elliptic(k2: float) -> tuple[float, float]:
    a, b, c2 = 1.0, sqrt(1.0 - k2), k2
    total, weight = 0.5 * c2, 0.5
    while c2 > 1e-16:
        a, b, c = 0.5 * (a + b), sqrt(a * b), 0.5 * (a - b)
        c2 = c * c
        weight *= 2.0
        total += weight * c2
    complete_k = pi / (2.0 * a)
    return complete_k, complete_k * (1.0 - total)
