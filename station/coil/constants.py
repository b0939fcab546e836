"""Constants of nature and of copper that the coil model rests on."""

from dataclasses import dataclass

MU0_H_PER_M = 1.25663706127e-6
"""Magnetic constant, CODATA 2022; 1.3e-10 (relative) below 4 pi 1e-7, which older tables are printed with."""

EPSILON0_F_PER_M = 8.8541878188e-12
"""Electric constant, CODATA 2022."""

COPPER_RESISTIVITY_OHM_M = 1e-6 / 58.0
"""Annealed copper at 20 degC, IEC 60028: 1/58 ohm mm2/m. Plated copper runs a few per cent above it."""

WINDING_CONSTANT_DEGC = 234.5
"""Inferred zero-resistance temperature of copper, negated (IEEE Std 118, UL); IEC 60034-1 uses 235."""


@dataclass(frozen=True)
class Conductor:
    """What the track is made of: resistivity at 20 degC and the one winding constant that governs temperature.

    The temperature coefficient follows from the winding constant, alpha20 = 1/(k + 20), so that a
    resistance corrected to 20 degC and a rise found from two resistances never disagree.
    """

    resistivity_ohm_m: float = COPPER_RESISTIVITY_OHM_M
    winding_constant_degc: float = WINDING_CONSTANT_DEGC

    @property
    def alpha20_per_k(self) -> float:
        """Temperature coefficient of resistance at 20 degC, 1/K (0.003929 for k = 234.5)."""
        return 1.0 / (self.winding_constant_degc + 20.0)
