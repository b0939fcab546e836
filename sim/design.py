"""The invented part IS-20 and what the coil model says of a design: the values around which a lot spreads."""

from dataclasses import dataclass
from functools import lru_cache
from math import pi, sqrt

from sim.field import LoopStackField
from station.coil import CoilGeometry, uniform_gaps
from station.coil.capacitance import self_resonance
from station.coil.eddy import eddy_resistance_s2_ohm
from station.coil.inductance import inductance_h
from station.coil.resistance import resistance_20_ohm, track_length_m
from station.coil.windings import turns_of

IS_20 = CoilGeometry(
    layers=2,
    turns_per_layer=20,
    inner_diameter_m=3.0e-3,
    track_width_m=0.12e-3,
    track_gap_m=0.12e-3,
    copper_m=18e-6,
    layer_gaps_m=uniform_gaps(2, 50e-6),
)


@dataclass(frozen=True, slots=True)
class DesignValues:
    """What the coil model says of one coil without any variation."""

    resistance_20_ohm: float
    inductance_h: float
    field_per_ampere: LoopStackField
    length_m: float
    skin_corner_hz: float
    """Rs/Rdc = 1 + (f / corner)^2 well below it: skin and proximity effect."""
    capacitance_f: float


@lru_cache(maxsize=16)
def design_values(coil: CoilGeometry) -> DesignValues:
    """Return R at 20 degC, L, field and the rest of a drawn coil, from `station.coil`."""
    resistance_ohm = resistance_20_ohm(coil)
    eddy_s2_ohm = float(eddy_resistance_s2_ohm(coil).sum())
    return DesignValues(
        resistance_20_ohm=resistance_ohm,
        inductance_h=inductance_h(coil),
        field_per_ampere=ring_field(coil),
        length_m=track_length_m(coil),
        skin_corner_hz=sqrt(resistance_ohm / eddy_s2_ohm) / (2.0 * pi),
        capacitance_f=self_resonance(coil).capacitance_f,
    )


def ring_field(coil: CoilGeometry, turn_currents: tuple[float, ...] = ()) -> LoopStackField:
    """Return the field of the coil's turns as rings: not the closed form that the station reckons with.

    `turn_currents`: current of each turn for 1 A at the pads, in the order of the current; empty: all 1.
    """
    turns = turns_of(coil)
    currents = turn_currents or (1.0,) * len(turns.radius_m)
    return LoopStackField(
        radii_m=tuple(turns.radius_m.tolist()),
        depths_m=tuple((-turns.height_m).tolist()),
        currents=tuple(
            float(sense * fraction * current)
            for sense, fraction, current in zip(turns.sense, turns.fraction, currents, strict=True)
        ),
    )
