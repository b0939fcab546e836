"""What resistance a coil's measured track widths imply, with the copper's thickness as drawn.

Widths are measured at some places of some layers; R needs the mean of 1/w over the whole track. So turns between
places get theirs by interpolation, layers that were not looked at the mean of the others, and the uncertainty says so.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from station.coil.geometry import CoilGeometry, FloatArray
from station.coil.resistance import connection_resistance_ohm, resistance_20_ohm, turn_resistances_ohm
from station.coil.windings import turns_of

EDGE_SHARE = (1 / 3, 1 / 6)
"""Of a side wall's undercut over the copper's thickness, if only one edge was measured: taken, and half the range that
counts as rectangular. Etch factors from 2 to 6 (common practice, no source)."""

ASSUMED_SCATTER = 0.02
_WORTH = 3.0
"""Relative spread of widths along a track that few places can't show, and how many places' worth it counts (ours)."""

OTHER_LAYER = 0.015
"""Relative standard deviation between layers of one coil, for those that were not looked at (ours)."""

LARGEST_SCALE = 0.03
"""A pitch further off than this is no scale error but another drawing or magnification."""


@dataclass(frozen=True, slots=True)
class TrackWidth:
    """Width of the track at one place. layer: 1 on top. turn: 1 innermost; a fraction lies between turns.

    width_m: mean of the cross-section. standard_uncertainty_m: of the method, taken as common to all its places.
    pitch_m: centre to centre of neighbouring turns, where it was measured.
    """

    layer: int
    turn: float
    width_m: float
    standard_uncertainty_m: float
    pitch_m: float | None = None


@dataclass(frozen=True, slots=True)
class ImpliedResistance:
    """R20 (ohm) that measured widths imply with thickness as drawn, and its relative standard uncertainty.

    drawn_ohm: of the drawing. width_m: the mean that counts, 1 over the mean of 1/w. relative_spread: of the places'
    widths. scale: measured pitch over drawn one, 1 where none was measured; widths were divided by it. layers_seen.
    """

    resistance_ohm: float
    drawn_ohm: float
    relative_uncertainty: float
    width_m: float
    relative_spread: float
    places: int
    layers_seen: int
    scale: float


def mean_width_m(*, top_m: float | None, foot_m: float | None, thickness_m: float) -> tuple[float, float]:
    """Return mean width of a cross-section and the standard uncertainty that a missing edge brings.

    A trapezoid's mean is that of top and foot. Of one edge alone, the other is taken to lie 2/3 of the thickness
    further out or in (`EDGE_SHARE`). Raises ValueError without either.
    """
    if top_m is not None and foot_m is not None:
        return (top_m + foot_m) / 2.0, 0.0
    share, half = EDGE_SHARE
    doubt = thickness_m * half / 3**0.5
    if top_m is not None:
        return top_m + thickness_m * share, doubt
    if foot_m is not None:
        return foot_m - thickness_m * share, doubt
    raise ValueError("a width is that of the top, of the foot, or of both")


def implied_resistance(coil: CoilGeometry, widths: Sequence[TrackWidth]) -> ImpliedResistance:
    """Return what the coil model makes of measured widths.

    Pitch is set by the artwork, not by etching: one that is off shows the microscope's scale or the film's,
    and either way R follows from width over pitch. So widths are divided by the pitch's scale.

    Raises:
        ValueError: no width, a layer or turn that the drawing doesn't have, a width that is none or not below the
            pitch, a pitch more than 3 % off the drawing's.
    """
    _check(coil, widths)
    scale = _scale(coil, widths)
    width = np.array([each.width_m for each in widths]) / scale
    resistance = float(turn_resistances_ohm(coil, turn_widths_m=_by_turn(coil, widths, width)).sum())
    drawn = float(turn_resistances_ohm(coil).sum())
    extra = connection_resistance_ohm(coil)
    spread = float(np.std(width, ddof=1) / width.mean()) if len(width) > 1 else 0.0
    freedom = len(width) - 1
    sampling = np.sqrt((freedom * spread**2 + _WORTH * ASSUMED_SCATTER**2) / (freedom + _WORTH) / len(width))
    method = max(each.standard_uncertainty_m for each in widths) / float(width.mean())
    layers = len({each.layer for each in widths})
    unseen = OTHER_LAYER * (coil.layers - layers) / coil.layers
    return ImpliedResistance(
        resistance + extra,
        resistance_20_ohm(coil),
        float(np.sqrt(sampling**2 + method**2 + unseen**2)) * resistance / (resistance + extra),
        coil.mean_width_m * drawn / resistance,
        spread,
        len(width),
        layers,
        scale,
    )


def _check(coil: CoilGeometry, widths: Sequence[TrackWidth]) -> None:
    if not widths:
        raise ValueError("needs the width of at least one place")
    turns = len(coil.turn_fractions())
    for each in widths:
        if not 1 <= each.layer <= coil.layers:
            raise ValueError(f"layer must be 1 to {coil.layers}, 1 on top; got {each.layer}")
        if not 1 <= each.turn <= turns:
            raise ValueError(f"turn must be 1 (innermost) to {turns}; got {each.turn:g}")
        if not 0 < each.width_m < coil.pitch_m * (1 + LARGEST_SCALE):
            raise ValueError(
                f"a width must be above 0 and below the pitch of {coil.pitch_m * 1e6:g} um; "
                f"got {each.width_m * 1e6:g} um"
            )
        if not each.standard_uncertainty_m > 0:
            raise ValueError("a width needs a standard uncertainty above 0")


def _scale(coil: CoilGeometry, widths: Sequence[TrackWidth]) -> float:
    pitches = [each.pitch_m for each in widths if each.pitch_m is not None]
    scale = float(np.mean(pitches)) / coil.pitch_m if pitches else 1.0
    if abs(scale - 1.0) > LARGEST_SCALE:
        raise ValueError(
            f"the measured pitch is {scale - 1:+.1%} off the drawing's {coil.pitch_m * 1e6:g} um: another drawing, or "
            "a wrong magnification; pitch is centre to centre"
        )
    return scale


def _by_turn(coil: CoilGeometry, widths: Sequence[TrackWidth], width: FloatArray) -> FloatArray:
    """Width of each turn in the order of the current: means of 1/w, interpolated over the turns of a layer."""
    turns = turns_of(coil)
    inverse = np.full(len(turns.index), np.nan)
    for layer in {each.layer for each in widths}:
        at = np.array([each.turn for each in widths if each.layer == layer])
        one_over = 1.0 / width[[each.layer == layer for each in widths]]
        places = np.unique(at)
        means = np.array([one_over[at == place].mean() for place in places])
        rows = turns.layer == layer - 1
        inverse[rows] = np.interp(turns.index[rows] + 1.0, places, means)
    seen = np.isfinite(inverse)
    by_index = {int(index): float(inverse[seen & (turns.index == index)].mean()) for index in np.unique(turns.index)}
    inverse[~seen] = [by_index[int(index)] for index in turns.index[~seen]]
    return 1.0 / inverse
