"""A coil as the field and inductance sums want it: rings for circles, straight segments for everything else.

Turns are in the order of the current everywhere: from the outer terminal of the top layer inward, then
outward on the next layer, and so on.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from station.coil.filaments import Segments
from station.coil.geometry import CoilGeometry, FloatArray


@dataclass(frozen=True, eq=False)
class Turns:
    """The turns of a spiral coil, in the order of the current. Every array has shape (turns,).

    layer: 0 at the top. index: 0 innermost. radius_m: mean radius (apothem). height_m: mid-plane, below 0.
    fraction: part of a revolution, below 1 on an outermost turn that ends early. sense: +1 or -1.
    start_rad: angle where an incomplete turn begins, counted counter-clockwise.
    """

    layer: np.ndarray
    index: np.ndarray
    radius_m: FloatArray
    height_m: FloatArray
    fraction: FloatArray
    sense: np.ndarray
    start_rad: FloatArray


@lru_cache(maxsize=64)
def turns_of(coil: CoilGeometry) -> Turns:
    """Turns of a spiral coil in the order of the current."""
    radii, fractions = coil.turn_radii_m(), coil.turn_fractions()
    heights = coil.layer_heights_m()
    count = len(radii)
    columns: list[tuple[np.ndarray, ...]] = []
    angle = 0.0  # of the point that the current has reached
    for layer, sense in enumerate(coil.senses):
        order = np.arange(count)[::-1] if layer % 2 == 0 else np.arange(count)
        turning = sense * 2 * np.pi * fractions[order]
        begins = angle + np.concatenate(([0.0], np.cumsum(turning)[:-1]))
        start = begins if sense > 0 else begins + turning
        angle += sense * 2 * np.pi * coil.turns_per_layer
        ones = np.ones(count)
        columns.append(
            (layer * ones, order, radii[order], heights[layer] * ones, fractions[order], sense * ones, start)
        )
    layer_a, index, radius, height, fraction, sense_a, start_a = (np.concatenate(c) for c in zip(*columns, strict=True))
    return Turns(layer_a.astype(int), index.astype(int), radius, height, fraction, sense_a, start_a)


def layer_growth(coil: CoilGeometry) -> np.ndarray:
    """+1 for each layer whose radius grows with the angle (counter-clockwise), -1 where it shrinks."""
    outward = np.where(np.arange(coil.layers) % 2 == 1, 1, -1)
    return outward * np.array(coil.senses)


def layer_centre_line_m(coil: CoilGeometry, layer: int) -> FloatArray:
    """Corners of one layer's centre line in the order of the current, x y z, shape (corners, 3). Polygons only.

    Side j (0 innermost) lies at the apothem where the Archimedean spiral is at its middle, so that the mean
    over each turn is that of the geometry; the last side ends early for a fractional turn.
    """
    sides = coil.side_count
    total = coil.turns_per_layer * sides
    whole = int(np.floor(total + 1e-9))
    apothem = coil.inner_radius_m + (np.arange(-1, whole + 1) + 0.5) * coil.pitch_m / sides
    normal = (np.arange(-1, whole + 1) + 0.5) * 2 * np.pi / sides
    corners = _crossings(apothem, normal)
    rest = total - whole
    if rest > 1e-9:
        beyond = _crossings(
            coil.inner_radius_m + (whole + np.array([0.5, 1.5])) * coil.pitch_m / sides,
            (whole + np.array([0.5, 1.5])) * 2 * np.pi / sides,
        )
        corners = np.vstack([corners, corners[-1] + rest * (beyond[0] - corners[-1])])
    if layer % 2 == 0:  # inward: the mirror image, run through backwards, turns the same way
        corners = corners[::-1] * np.array([1.0, -1.0])
    corners = _rotated(corners, _layer_rotation_rad(coil, layer))
    if coil.senses[layer] < 0:
        corners = corners * np.array([1.0, -1.0])
    return np.column_stack([corners, np.full(len(corners), coil.layer_heights_m()[layer])])


def _layer_rotation_rad(coil: CoilGeometry, layer: int) -> float:
    """Turn of the drawing that lets an outer via meet both layers, to the nearest side."""
    steps = round(2 * coil.turns_per_layer * coil.side_count) * (layer // 2)
    return 2 * np.pi * steps / coil.side_count


def _crossings(apothem: FloatArray, normal: FloatArray) -> FloatArray:
    """Points where each line (apothem, direction of its normal) meets the next, shape (lines - 1, 2)."""
    step = np.diff(normal)
    tangential = (apothem[1:] - apothem[:-1] * np.cos(step)) / np.sin(step)
    first, angle = apothem[:-1], normal[:-1]
    return np.column_stack(
        [
            first * np.cos(angle) - tangential * np.sin(angle),
            first * np.sin(angle) + tangential * np.cos(angle),
        ]
    )


def _rotated(points: FloatArray, angle_rad: float) -> FloatArray:
    cosine, sine = np.cos(angle_rad), np.sin(angle_rad)
    return points @ np.array([[cosine, sine], [-sine, cosine]])


@lru_cache(maxsize=16)
def polygon_segments(coil: CoilGeometry) -> Segments:
    """Straight tracks of a polygon spiral in the order of the current, numbered by turn."""
    starts, ends, turns = [], [], []
    per_layer = len(coil.turn_fractions())
    for layer in range(coil.layers):
        corners = layer_centre_line_m(coil, layer)
        starts.append(corners[:-1])
        ends.append(corners[1:])
        outward = np.minimum(np.arange(len(corners) - 1) // coil.side_count, per_layer - 1)
        turns.append(layer * per_layer + (per_layer - 1 - outward[::-1] if layer % 2 == 0 else outward))
    start = np.vstack(starts)
    return Segments(
        start, np.vstack(ends), np.full(len(start), coil.mean_width_m), coil.thickness_m, np.concatenate(turns)
    )
