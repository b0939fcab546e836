"""Layer capacitance and self-resonance: an estimate, with its doubt stated.

Two layers of tracks face one another as gratings; at potentials that vary slowly from turn to turn they act
as full plates, further apart by (pitch/2 pi) ln(1/sin(pi fill/2)) each (Love 1923; the usual correction of a
wire or strip grid). Neighbouring turns of one layer add the capacitance of coplanar strips. Each pair counts
with the square of its share of the voltage, which follows the flux that the turns enclose.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from station.coil import loops
from station.coil.constants import EPSILON0_F_PER_M
from station.coil.geometry import CoilGeometry, FloatArray
from station.coil.inductance import turn_inductance_h
from station.coil.resistance import turn_lengths_m
from station.coil.windings import turns_of

FILM_PERMITTIVITY = 3.4
"""Relative permittivity of polyimide film, common practice, no source; woven glass and epoxy has about 4.3."""

RESONANCE_DOUBT = 0.3
"""Relative half-width that the estimated resonance frequency is good for: film, adhesive, fringes, leads, fixture."""


@dataclass(frozen=True)
class Resonance:
    """Estimated parallel capacitance and self-resonance; the frequency is good to about +-`doubt` of itself."""

    capacitance_f: float
    frequency_hz: float
    doubt: float = RESONANCE_DOUBT


def self_resonance(coil: CoilGeometry, *, relative_permittivity: float = FILM_PERMITTIVITY) -> Resonance:
    """Estimate the self-resonance of the bare coil; leads, meter and fixture add their own capacitance."""
    capacitance = _capacitance(coil, relative_permittivity)
    inductance = float(turn_inductance_h(coil).sum())
    return Resonance(capacitance, float(1 / (2 * np.pi * np.sqrt(inductance * capacitance))))


@lru_cache(maxsize=64)
def _capacitance(coil: CoilGeometry, permittivity: float) -> float:
    turns = turns_of(coil)
    enclosed = turn_inductance_h(coil).sum(axis=1)
    share = enclosed / enclosed.sum()
    middle = np.cumsum(share) - share / 2  # potential of each turn, 0 to 1 along the coil
    length = turn_lengths_m(coil)
    fill = coil.track_width_m / coil.pitch_m
    grating = coil.pitch_m / (2 * np.pi) * np.log(1 / np.sin(np.pi * fill / 2))
    coplanar = _coplanar_f_per_m(coil, permittivity)
    total = 0.0
    for layer in range(coil.layers):
        own = _by_index(middle, turns.layer == layer, turns.index)
        own_length = _by_index(length, turns.layer == layer, turns.index)
        total += float(np.sum(coplanar * own_length[1:] * np.diff(own) ** 2))
        if layer + 1 < coil.layers:
            below = _by_index(middle, turns.layer == layer + 1, turns.index)
            plate = EPSILON0_F_PER_M * permittivity * coil.pitch_m / (coil.layer_gaps_m[layer] + 2 * grating)
            total += float(np.sum(plate * own_length * (own - below) ** 2))
    # One turn of one layer has no pair; its own stray field still closes the circuit.
    return max(total, float(coplanar * length.sum() * 1e-3))


def _by_index(values: FloatArray, chosen: np.ndarray, index: np.ndarray) -> FloatArray:
    return values[chosen][np.argsort(index[chosen])]


def _coplanar_f_per_m(coil: CoilGeometry, permittivity: float) -> float:
    """Two coplanar strips on a film: (1 + permittivity)/2 of the value in air, K(k')/K(k) with k = s/(s + 2 w)."""
    modulus = coil.track_gap_m / (coil.track_gap_m + 2 * coil.track_width_m)
    first, _ = loops.elliptic_terms(np.array([1 - modulus**2, modulus**2]))
    return float(EPSILON0_F_PER_M * (1 + permittivity) / 2 * first[1] / first[0])


def apparent_series(
    resistance_ohm: ArrayLike, inductance_h: ArrayLike, capacitance_f: float, frequency_hz: ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Series resistance (ohm) and inductance (H) that a meter reads with `capacitance_f` across the coil.

    Well below resonance both rise by (f/f0)^2 twice and once. Broadcasts. Above resonance L is negative.
    """
    omega = 2 * np.pi * np.asarray(frequency_hz, dtype=float)
    impedance = np.asarray(resistance_ohm) + 1j * omega * np.asarray(inductance_h)
    seen = impedance / (1 + 1j * omega * capacitance_f * impedance)
    return seen.real, seen.imag / omega
