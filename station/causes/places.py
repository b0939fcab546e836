"""Where in the winding a bridge is, as far as the readings tell."""

from dataclasses import dataclass

import numpy as np

from station.causes.kinds import CAUSES, Cause
from station.causes.signatures import Place, Signatures
from station.coil import CoilGeometry
from station.coil.geometry import FloatArray

REGIONS = ("inner", "middle", "outer")
_CREDIBLE = 0.95


@dataclass(frozen=True, slots=True)
class Whereabouts:
    """A bridge's probable place. Ranges hold 95 % of the probability; turns are numbered from 1, the innermost.

    count, fewest, most: bridged turns. first_turn, last_turn: where they are. likeliest: the single best case.
    regions: probability of inner, middle, outer third. layers: probability of each layer, top first (of the upper one
    of a short between layers).
    """

    count: int
    fewest: int
    most: int
    first_turn: int
    last_turn: int
    likeliest: Place
    regions: tuple[float, float, float]
    layers: tuple[float, ...]


def whereabouts(coil: CoilGeometry, table: Signatures, cases: FloatArray, cause: Cause) -> Whereabouts | None:
    """Return where a bridge of kind `cause` is, from the probabilities of all cases (J,); None without any."""
    chosen = np.flatnonzero(table.cause == CAUSES.index(cause))
    places = [place for place in (table.places[each] for each in chosen) if place is not None]
    if not places or cases[chosen].sum() <= 0:
        return None
    weight = cases[chosen] / cases[chosen].sum()
    counts = np.array([each.count for each in places])
    # Of a short between layers `first` turns of each layer are bridged, from the innermost on; the bridge is outside.
    between = cause is Cause.LAYER_SHORT
    first = np.array([each.first if between else each.first + 1 for each in places])
    last = first if between else first + counts - 1
    fewest, most = _range(counts, weight)
    per_layer = len(coil.turn_fractions())
    third = np.minimum(((first + last - 1) / 2 / per_layer * 3).astype(int), 2)
    layer = np.array([each.layer for each in places])
    totals = {int(each): float(weight[counts == each].sum()) for each in np.unique(counts)}
    return Whereabouts(
        max(totals, key=lambda each: totals[each]),
        fewest,
        most,
        _range(first, weight)[0],
        _range(last, weight)[1],
        places[int(weight.argmax())],
        tuple(float(weight[third == each].sum()) for each in range(3)),  # type: ignore[arg-type]
        tuple(float(weight[layer == each].sum()) for each in range(coil.layers)),
    )


def _range(values: np.ndarray, weight: FloatArray) -> tuple[int, int]:
    order = np.argsort(values, kind="stable")
    total = np.cumsum(weight[order])
    edge = (1 - _CREDIBLE) / 2
    low, high = np.searchsorted(total, [edge, 1 - edge])
    return int(values[order[low]]), int(values[order[min(int(high), len(values) - 1)]])
