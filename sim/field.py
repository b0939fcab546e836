"""Flux density per ampere above a stack of coaxial loops."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import pi
from typing import Protocol

MU0 = 4e-7 * pi
"""Magnetic constant in H/m (the value before 2019; today's differs by less than 1e-9 of it)."""


class FieldPerAmpere(Protocol):
    """Axial flux density per ampere, in T/A, at a height over the top copper and a distance off the axis."""

    def __call__(self, height_m: float, lateral_m: float) -> float:
        """Return the flux density per ampere in T/A."""
        ...


@dataclass(frozen=True, slots=True)
class LoopStackField:
    """Field of circular loops: `radii_m`, each `depths_m` below the top copper's surface, `currents` in each for
    1 A at the pads (1 where none are given).

    On the axis exact: B = mu0 a^2 / (2 (a^2 + z^2)^(3/2)) a loop (any text on electromagnetism). Off the axis
    the series that Laplace's equation gives, B(r, z) = B(z) - r^2/4 B''(z) + r^4/64 B''''(z) - ..., is cut
    after the fourth derivative: within 2e-5 of B for r up to a fifth of the smallest radius.
    """

    radii_m: tuple[float, ...]
    depths_m: tuple[float, ...]
    currents: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if not self.currents:
            object.__setattr__(self, "currents", (1.0,) * len(self.radii_m))
        if not len(self.radii_m) == len(self.depths_m) == len(self.currents) or not self.radii_m:
            raise ValueError("radii_m, depths_m and currents must have the same length, at least 1")

    def __call__(self, height_m: float, lateral_m: float) -> float:
        """Return the axial flux density per ampere in T/A."""
        flux = 0.0
        second = 0.0
        fourth = 0.0
        for radius_m, depth_m, current in zip(self.radii_m, self.depths_m, self.currents):
            z2 = (height_m + depth_m) ** 2
            a2 = radius_m * radius_m
            s = a2 + z2
            loop = current * a2 / (s * s**0.5)
            flux += loop
            # Second derivative of (a^2 + z^2)^(-3/2): 3 (4 z^2 - a^2) / (a^2 + z^2)^(7/2).
            second += loop * 3.0 * (4.0 * z2 - a2) / (s * s)
            # Fourth: 45 (a^4 - 12 a^2 z^2 + 8 z^4) / (a^2 + z^2)^(11/2).
            fourth += loop * 45.0 * (a2 * a2 - 12.0 * a2 * z2 + 8.0 * z2 * z2) / (s * s * s * s)
        r2 = lateral_m * lateral_m
        return 0.5 * MU0 * (flux - r2 / 4.0 * second + r2 * r2 / 64.0 * fourth)


@dataclass(frozen=True, slots=True)
class FieldTable:
    """Field stated at some heights on the axis, in T/A; linear between them, constant beyond.

    `lateral_per_m2` is the relative loss per square of the lateral offset.
    """

    heights_m: tuple[float, ...]
    flux_density_t_per_a: tuple[float, ...]
    lateral_per_m2: float = 0.0

    def __call__(self, height_m: float, lateral_m: float) -> float:
        """Return the axial flux density per ampere in T/A."""
        on_axis = _interpolate(height_m, self.heights_m, self.flux_density_t_per_a)
        return on_axis * (1.0 - self.lateral_per_m2 * lateral_m * lateral_m)


def _interpolate(x: float, xs: Sequence[float], ys: Sequence[float]) -> float:
    if x <= xs[0]:
        return ys[0]
    for x0, x1, y0, y1 in zip(xs, xs[1:], ys, ys[1:]):
        if x <= x1:
            return y0 + (y1 - y0) * (x - x0) / (x1 - x0)
    return ys[-1]
