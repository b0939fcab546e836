"""Independent calculations that the coil tests compare with: slower, from first principles, other formulas."""

import numpy as np
from numpy.typing import NDArray
from scipy import special

from station.coil import CoilGeometry
from station.coil.windings import turns_of

MU0 = 1.25663706127e-6
FloatArray = NDArray[np.float64]


def two_by_35() -> CoilGeometry:
    """2 x 35 turns, centre line from 1.0 mm, pitch 0.2 mm, 0.1 mm track, 18 um copper, 0.1 mm between mid-planes."""
    return CoilGeometry(
        layers=2,
        turns_per_layer=35,
        inner_diameter_m=1.9e-3,
        track_width_m=0.1e-3,
        track_gap_m=0.1e-3,
        copper_m=18e-6,
        layer_gaps_m=(82e-6,),
    )


def ten_turns() -> CoilGeometry:
    """One layer of 10 turns, centre line from 2 to 7 mm, 0.3 mm track, 35 um copper."""
    return CoilGeometry(
        layers=1,
        turns_per_layer=10,
        inner_diameter_m=3.7e-3,
        track_width_m=0.3e-3,
        track_gap_m=0.2e-3,
        copper_m=35e-6,
    )


def mutual_by_elliptic_integrals(a: FloatArray, b: FloatArray, d: FloatArray) -> FloatArray:
    """Maxwell's mutual inductance (H) of coaxial circles by scipy's K and E."""
    modulus = 4 * a * b / ((a + b) ** 2 + d**2)
    k = np.sqrt(modulus)
    return MU0 * np.sqrt(a * b) * ((2 / k - k) * special.ellipkm1(1 - modulus) - 2 / k * special.ellipe(modulus))


def impedance_of_split_rings(coil: CoilGeometry, frequency_hz: float, pieces: int) -> complex:
    """Impedance of a circular coil whose every turn is split into `pieces` rings across its width.

    Each ring carries its own current; the pieces of a turn are in parallel, the turns in series. Skin and
    proximity effect come out of the circuit, without a formula for either.
    """
    turns = turns_of(coil)
    width = coil.track_width_m / pieces
    offset = ((np.arange(pieces) + 0.5) / pieces - 0.5) * coil.track_width_m
    radius = (turns.radius_m[:, None] + offset).ravel()
    height = np.repeat(turns.height_m, pieces)
    own = 0.2235 * (width + coil.thickness_m)
    up = np.abs(height[:, None] - height[None, :])
    same = np.eye(len(radius), dtype=bool)
    inductance = mutual_by_elliptic_integrals(radius[:, None], radius[None, :], np.where(same, own, up))
    resistance = coil.conductor.resistivity_ohm_m * 2 * np.pi * radius / (width * coil.thickness_m)
    admittance = np.linalg.inv(np.diag(resistance) + 2j * np.pi * frequency_hz * inductance)
    member = np.repeat(np.eye(len(turns.radius_m)), pieces, axis=0)
    return complex(np.linalg.inv(member.T @ admittance @ member).sum())


def spiral_inductance_by_neumann(coil: CoilGeometry, *, filaments: int, pieces_per_turn: int) -> float:
    """Partial inductance (H) of the drawn spiral: Neumann's double integral over filaments across the width.

    Nothing is replaced by rings. Straight pieces, integrated exactly over the source and by three Gauss
    points over the receiver; each filament sees itself at the geometric mean distance of its own section.
    """
    starts, ends, owner = _filament_lines(coil, filaments, pieces_per_turn)
    length = np.linalg.norm(ends - starts, axis=1)
    direction = (ends - starts) / length[:, None]
    own = 0.2235 * (coil.track_width_m / filaments + coil.thickness_m)
    nodes, weights = np.polynomial.legendre.leggauss(3)
    total = 0.0
    for first in range(0, len(starts), 200):
        block = slice(first, first + 200)
        softened = np.where(owner[block, None] == owner[None, :], own**2, 0.0)
        for node, weight in zip(nodes, weights, strict=True):
            point = starts[block] + (0.5 + node / 2) * (ends - starts)[block]
            away = point[:, None] - starts[None]
            along = np.einsum("psc,sc->ps", away, direction)
            distance = np.sqrt(np.maximum(np.einsum("psc,psc->ps", away, away) - along**2, 0) + softened)
            potential = np.arcsinh((length - along) / distance) + np.arcsinh(along / distance)
            aligned = direction[block] @ direction.T
            total += weight / 2 * float((potential * aligned * length[block, None]).sum())
    return MU0 / (4 * np.pi) * total / filaments**2


def _filament_lines(coil: CoilGeometry, filaments: int, per_turn: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    angle = np.linspace(0, 2 * np.pi * coil.turns_per_layer, round(per_turn * coil.turns_per_layer) + 1)
    starts, ends, owner = [], [], []
    # Chords are short of the arc by (step)^2/24; the radius makes up for it.
    stretch = 1 + (angle[1] - angle[0]) ** 2 / 24
    for layer, height in enumerate(coil.layer_heights_m()):
        for number in range(filaments):
            offset = ((number + 0.5) / filaments - 0.5) * coil.track_width_m
            radius = (coil.inner_radius_m + offset + coil.pitch_m * angle / (2 * np.pi)) * stretch
            line = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), np.full(len(angle), height)])
            if layer % 2 == 0:
                line = line[::-1] * np.array([1.0, -1.0, 1.0])
            starts.append(line[:-1])
            ends.append(line[1:])
            owner.append(np.full(len(angle) - 1, layer * filaments + number))
    return np.vstack(starts), np.vstack(ends), np.concatenate(owner)
