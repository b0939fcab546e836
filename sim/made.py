"""What the board maker made of a drawing at one place of a panel, and what a bridge does to it."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from sim.design import design_values, ring_field
from sim.truth import CoilTruth
from station.coil import CoilGeometry
from station.coil.circuit import ImpedanceResult, Short, network_of, solve_impedance
from station.coil.spread import response_surface, varied

BRIDGE_OHM = 5e-3
"""Resistance of a copper bridge between tracks (stated for the simulation)."""

_DIRECT_HZ = 1.0
"""Low enough to stand for direct current: inductance plays no part."""

_STATED_HZ = 100e3


@dataclass(frozen=True, slots=True)
class Drawn:
    """A drawing, and by how much (m) width, gap, copper and layer gap came out otherwise.

    `necks` is the mean of 1/w over the track, relative to 1/mean width: narrow places only ever raise R.
    """

    design: CoilGeometry
    change_m: tuple[float, float, float, float]
    necks: float = 1.0

    def geometry(self) -> CoilGeometry:
        """Return the coil as it came out."""
        return varied(self.design, *self.change_m)

    def resistance_20_ohm(self) -> float:
        """Return R at 20 degC. Etching keeps the centre line, so R goes with 1/(w t) exactly."""
        width = 1.0 + self.change_m[0] / self.design.track_width_m
        copper = 1.0 + self.change_m[2] / self.design.copper_m
        return design_values(self.design).resistance_20_ohm * self.necks / (width * copper)

    def inductance_h(self) -> float:
        """Return L by the coil model's response surface around the drawing."""
        return float(response_surface(self.design, ()).evaluate(np.array([self.change_m]))[0, 0])


@dataclass(frozen=True, slots=True)
class BridgedWinding:
    """Impedance of a winding with a bridge, by the coupled circuit of its turns."""

    drawn: Drawn
    short: Short
    winding_constant_k: float = 234.5

    def __call__(self, frequency_hz: float, temperature_degc: float) -> complex:
        """Return the impedance in ohm at a frequency in Hz and a temperature in degC."""
        warmth = (self.winding_constant_k + temperature_degc) / (self.winding_constant_k + 20.0)
        return _impedance(self.drawn, self.short, frequency_hz, round(warmth, 5))


def bridged(coil: CoilTruth, drawn: Drawn, short: Short, defect: str) -> CoilTruth:
    """Return `coil` with a bridge: R for direct current, L at 100 kHz, and the field of what each turn carries."""
    direct = _solve(drawn, short, _DIRECT_HZ, 1.0)
    stated = _solve(drawn, short, _STATED_HZ, 1.0)
    currents = tuple(float(each) for each in direct.turn_currents[0].real)
    return replace(
        coil,
        resistance_20_ohm=float(direct.resistance_ohm[0]),
        inductance_h=float(stated.inductance_h[0]),
        field_per_ampere=ring_field(drawn.design, currents),
        winding_impedance=BridgedWinding(drawn, short),
        defect=defect,
    )


@lru_cache(maxsize=4096)
def _impedance(drawn: Drawn, short: Short, frequency_hz: float, warmth: float) -> complex:
    solved = _solve(drawn, short, frequency_hz, warmth)
    return complex(solved.resistance_ohm[0], 2.0 * np.pi * frequency_hz * solved.inductance_h[0])


def _solve(drawn: Drawn, short: Short, frequency_hz: float, warmth: float) -> ImpedanceResult:
    network = network_of(drawn.geometry())
    return solve_impedance(network, frequency_hz, faults=[short], resistance_factor=warmth * drawn.necks)
