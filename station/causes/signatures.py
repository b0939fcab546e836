"""What each cause does to the observables, by the coil model: a table of cases, each with its share of the prior."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from station.causes.kinds import ABOUT, CAUSES, Cause
from station.causes.observables import HEIGHT, L2_L, NAMES, R20, RS2_RS, RS_R20, B, Drawn, L
from station.causes.winding_faults import fault_cases
from station.coil import CoilGeometry, GeometryError, predict
from station.coil.geometry import FloatArray
from station.coil.inductance import inductance_h

MODEL_ERROR = 0.05
"""Of each predicted shift: what the grid of contacts and counts, and the model, leave."""

_COPPER_SD = 0.15
"""ln R20: a damaged coil may have odd copper besides, widths within +-20 % and more."""
_COPPER_SHARE = 0.2
_COPPER_SCALE, _COPPER_TAIL = 0.2, 0.1
"""ln R20 of odd copper falls off with this scale, less a tail of necks and poor vias (ours)."""
_COPPER_GRID = np.arange(0.03, 0.72, 0.03)


@dataclass(frozen=True, slots=True)
class Place:
    """Where a bridge is. `count` neighbouring turns of `layer` from turn `first` (0 innermost) outward; for a short
    between layers `first` turns of each of `layer` and the next lie inside it, and `count` turns are bridged."""

    layer: int
    first: int
    count: int
    contact_ohm: float


@dataclass(frozen=True, eq=False)
class Signatures:
    """J cases. cause: index into CAUSES (J,). log_share: ln of prior times the case's share of its cause (J,).

    shift, extra_sd: of each observable, shape (J, 7). per_copper: change of each shift with ln R of the unit's own
    copper, which is what its R20 is off the drawing less the case's shift of it, (J, 7). places: of each case, None
    where a cause has none.
    """

    cause: np.ndarray
    log_share: FloatArray
    shift: FloatArray
    extra_sd: FloatArray
    per_copper: FloatArray
    places: tuple[Place | None, ...]


@dataclass(frozen=True, eq=False)
class _Cases:
    cause: Cause
    shift: FloatArray
    share: FloatArray
    extra_sd: FloatArray
    places: tuple[Place | None, ...] = ()
    per_copper: FloatArray | None = None


@lru_cache(maxsize=8)
def signatures_of(drawn: Drawn) -> Signatures:
    """Return all cases of a drawing. About half a second for a coil of 2 x 35 turns, then kept."""
    tables = [
        _still(Cause.NOTHING),
        *_copper(drawn),
        *_bridges(drawn),
        _contact(),
        _warm(drawn),
        *_metal(drawn),
        _wide_open(Cause.SENSOR_POSITION, {HEIGHT: 0.25e-3, B: 0.01}),
        _wide_open(Cause.WRONG_PART, {R20: 0.7, L: 0.7, L2_L: 0.005, B: 0.4, HEIGHT: 0.5e-3}),
        _wide_open(
            Cause.NONE_OF_THESE, {R20: 1.0, L: 1.0, RS_R20: 0.3, L2_L: 0.2, RS2_RS: 0.3, B: 0.5, HEIGHT: 1e-3}
        ),
        # An open coil has no values: only the reason code speaks for it.
        _still(Cause.OPEN),
        _still(Cause.NOT_MEASURED),
    ]
    return _joined(tables)


def _joined(tables: list[_Cases]) -> Signatures:
    causes, shares = [], []
    places: list[Place | None] = []
    for each in tables:
        causes.append(np.full(len(each.share), CAUSES.index(each.cause)))
        shares.append(np.log(ABOUT[each.cause].prior * each.share))
        places.extend(each.places or (None,) * len(each.share))
    shift = np.vstack([each.shift for each in tables])
    extra = np.vstack([each.extra_sd for each in tables])
    slopes = [np.zeros_like(each.shift) if each.per_copper is None else each.per_copper for each in tables]
    return Signatures(
        np.concatenate(causes), np.concatenate(shares), shift, extra, np.vstack(slopes), tuple(places)
    )


def _still(cause: Cause) -> _Cases:
    return _wide_open(cause, {})


def _wide_open(cause: Cause, extra: dict[int, float]) -> _Cases:
    """One case without a shift, but with room in some observables."""
    extra_sd = np.zeros((1, len(NAMES)))
    for column, value in extra.items():
        extra_sd[0, column] = value
    return _Cases(cause, np.zeros((1, len(NAMES))), np.ones(1), extra_sd)


def _shifted(cause: Cause, columns: dict[int, FloatArray], share: FloatArray, *, grid: float = 0.0) -> _Cases:
    """Cases with these shifts; `grid` is the distance of their ln R20, which its extra spread fills."""
    shift = np.zeros((len(share), len(NAMES)))
    for column, values in columns.items():
        shift[:, column] = values
    extra_sd = MODEL_ERROR * np.abs(shift)
    extra_sd[:, R20] = np.hypot(extra_sd[:, R20], grid / 12**0.5)
    return _Cases(cause, shift, share / share.sum(), extra_sd)


def _copper(drawn: Drawn) -> list[_Cases]:
    """Narrow or thin, wide or thick: R by 1/(w t), L by the full model."""
    found = []
    for cause, sign in ((Cause.NARROW, 1.0), (Cause.WIDE, -1.0)):
        steps = sign * _COPPER_GRID
        for inductance in (_by_width(drawn.coil, steps), _by_thickness(drawn.coil, steps)):
            possible = np.isfinite(inductance)
            share = (np.exp(-np.abs(steps) / _COPPER_SCALE) + _COPPER_TAIL)[possible]
            if len(share):
                columns = {R20: steps[possible], L: inductance[possible]}
                cases = _shifted(cause, columns, share, grid=0.03)
                found.append(_Cases(cause, cases.shift, 0.5 * cases.share, cases.extra_sd))
    return found


def _by_width(coil: CoilGeometry, steps: FloatArray) -> FloatArray:
    undercut = coil.track_width_m - coil.mean_width_m
    changes = coil.mean_width_m * np.exp(-steps) + undercut - coil.track_width_m
    return np.array([_inductance_change(coil, width_m=float(each)) for each in changes])


def _by_thickness(coil: CoilGeometry, steps: FloatArray) -> FloatArray:
    changes = coil.copper_m * (np.exp(-steps) - 1)
    return np.array([_inductance_change(coil, copper_m=float(each)) for each in changes])


def _inductance_change(coil: CoilGeometry, *, width_m: float = 0.0, copper_m: float = 0.0) -> float:
    """ln L against the drawing's; NaN where there is no such coil."""
    try:
        changed = coil.with_width_change(width_m) if width_m else replace(coil, copper_m=coil.copper_m + copper_m)
    except GeometryError:
        return float("nan")
    return float(np.log(inductance_h(changed) / inductance_h(coil)))


def _bridges(drawn: Drawn) -> list[_Cases]:
    """Shorted turns and shorts between layers, on copper like the lot's and on odd copper."""
    found = []
    for cause, table in fault_cases(drawn).items():
        places = tuple(Place(*each) for each in table.places)
        extra_sd = MODEL_ERROR * np.abs(table.shift)
        odd = extra_sd.copy()
        odd[:, R20] = np.hypot(odd[:, R20], _COPPER_SD)
        usual_share = (1 - _COPPER_SHARE) * table.share
        found.append(_Cases(cause, table.shift, usual_share, extra_sd, places, table.per_copper))
        found.append(_Cases(cause, table.shift, _COPPER_SHARE * table.share, odd, places, table.per_copper))
    return found


def _contact() -> _Cases:
    """A resistance in series raises R20 and Rs alike and leaves L."""
    steps = np.arange(0.02, 1.0, 0.04)
    share = np.exp(-steps / 0.3)
    return _shifted(Cause.POOR_CONTACT, {R20: steps}, share, grid=0.04)


def _warm(drawn: Drawn) -> _Cases:
    """A coil warmer than the thermometer near it: R20 and Rs high alike."""
    warmer_k = np.arange(2.0, 21.0, 2.0)
    return _shifted(
        Cause.WARM, {R20: np.log1p(drawn.alpha20_per_k * warmer_k)}, np.exp(-warmer_k / 6.0), grid=0.008
    )


def _metal(drawn: Drawn) -> list[_Cases]:
    """Metal as one closed loop coupled with the coil: Z = R + jwL + w2 k2 L L'/(R' + jwL'), and iron, which adds to L.

    k2 is the square of the coupling, d = w L'/R' of the loop: L falls by k2 d2/(1 + d2), Rs rises by
    w L k2 d/(1 + d2). Direct current and its field do not see copper or aluminium; iron adds to both fields.
    """
    coupling, loop = (each.ravel() for each in np.meshgrid(np.geomspace(0.01, 0.6, 9), np.geomspace(0.1, 30.0, 7)))
    quality = predict(drawn.coil, frequency_hz=drawn.frequencies_hz[0]).quality or 1.0
    inductance, resistance = _coupled(coupling, loop, quality)
    columns = {L: inductance, RS_R20: resistance}
    if len(drawn.frequencies_hz) > 1:
        ratio = drawn.frequencies_hz[1] / drawn.frequencies_hz[0]
        higher_l, higher_r = _coupled(coupling, loop * ratio, quality * ratio)
        columns |= {L2_L: higher_l - inductance, RS2_RS: higher_r - resistance}
    metal = _shifted(Cause.METAL, columns, np.ones(len(coupling)))
    # A sheet is many loops: between two frequencies it follows none of them closely.
    metal.extra_sd[:, L2_L] += 0.2 * np.abs(inductance)
    metal.extra_sd[:, RS2_RS] += 0.7 * np.abs(resistance)
    added = np.geomspace(0.01, 0.6, 9)
    iron = _shifted(Cause.METAL, {L: np.log1p(added), B: np.log1p(added)}, np.ones(len(added)))
    room = iron.extra_sd + np.abs(iron.shift) * 0.5
    room[:, RS_R20] = 0.02
    return [
        _Cases(Cause.METAL, metal.shift, 0.7 * metal.share, metal.extra_sd + np.abs(metal.shift) * 0.1),
        _Cases(Cause.METAL, iron.shift, 0.3 * iron.share, room),
    ]


def _coupled(coupling: FloatArray, loop: FloatArray, quality: float) -> tuple[FloatArray, FloatArray]:
    share = coupling / (1 + loop**2)
    return np.log1p(-share * loop**2), np.log1p(quality * share * loop)
