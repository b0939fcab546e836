"""Where a lot stands against its drawing, and whether that is its copper or the bench.

The reference unit decides: a bench that has drifted shifts it by as much as the lot, a board maker does not. Without
one, L helps (etching leaves it, a meter's gain does not) and Rs against R20 (a meter's two modes drift apart).
"""

from dataclasses import dataclass

import numpy as np

from station.causes.kinds import CAUSES, Cause
from station.causes.posterior import case_log_likelihood
from station.causes.signatures import Signatures
from station.coil.geometry import FloatArray

LEVEL_NAMES = ("R20", "L", "Rs/R20", "B", "reference R20", "reference L", "reference B", "R20 beyond measured copper")
_R, _L, _RS, _B, _REF_R, _REF_L, _REF_B, _BEYOND = range(len(LEVEL_NAMES))

AS_DRAWN_SD = np.array([0.025, 0.01, 0.015, 0.015])
"""Of a lot that counts as drawn: R within +-5 % (ours), L and B within the model's and usual lamination's error, Rs
within some kelvin of room temperature."""

PRIOR: dict[Cause, float] = {
    Cause.NOTHING: 0.65,
    Cause.NARROW: 0.13,
    Cause.WIDE: 0.13,
    Cause.BENCH_DRIFT: 0.05,
    Cause.METAL: 0.01,
    Cause.SENSOR_POSITION: 0.01,
    Cause.WRONG_PART: 0.01,
    Cause.NONE_OF_THESE: 0.01,
}
"""Of a whole lot (ours; no source)."""

_REFERENCE_FLOOR = 5e-4
_UNIT_SD = 0.05
_SEEN_BY_REFERENCE = 0.9
"""Share of drifts that were there already when the reference unit was measured (ours)."""


@dataclass(frozen=True, slots=True)
class ReferenceShift:
    """What the bench found on a reference unit, against its assigned value.

    shift: ln of found over assigned. standard_uncertainty: of that, both uncertainties together.
    """

    characteristic: str
    shift: float
    standard_uncertainty: float
    words: str = ""


def reference_row(shifts: tuple[ReferenceShift, ...]) -> tuple[FloatArray, FloatArray]:
    """Return shift and standard deviation of the reference unit's R20, L and B (3,); NaN where not measured.

    Several values of one characteristic are averaged; systematic errors are common to them, so the uncertainty stays.
    """
    values, doubts = np.full(3, np.nan), np.full(3, 1.0)
    for place, name in enumerate(("R20", "L", "B@")):
        found = [each for each in shifts if each.characteristic.startswith(name)]
        if name == "L":
            found = [each for each in found if each.characteristic == "L"]
        if found:
            values[place] = np.mean([each.shift for each in found])
            doubts[place] = max(_REFERENCE_FLOOR, *(each.standard_uncertainty for each in found))
    return values, doubts


def level_probabilities(
    standing: FloatArray, reference: tuple[ReferenceShift, ...], *, beyond: tuple[float, float] | None = None
) -> FloatArray:
    """Return the probability of each cause (N, causes) from ln R20, L, Rs/R20 and B against the drawing (N, 4).

    beyond: what R20 is beyond copper that was measured, and its standard deviation; None where none was.
    """
    values, doubts = reference_row(reference)
    beyond_value, beyond_sd = (np.nan, 1.0) if beyond is None else beyond
    fixed = np.append(values, beyond_value)
    seen = np.hstack([standing, np.broadcast_to(fixed, (len(standing), len(fixed)))])
    spread = np.concatenate([AS_DRAWN_SD, doubts, [beyond_sd]])
    table = _table()
    score = case_log_likelihood(seen, spread, table) + table.log_share
    score -= score.max(axis=1, keepdims=True)
    cases = np.exp(score)
    member = (table.cause[:, None] == np.arange(len(CAUSES))).astype(float)
    return (cases / cases.sum(axis=1, keepdims=True)) @ member


def _table() -> Signatures:
    rows: list[tuple[Cause, float, dict[int, float], dict[int, float]]] = [(Cause.NOTHING, 1.0, {}, {})]
    for cause, sign in ((Cause.NARROW, 1.0), (Cause.WIDE, -1.0)):
        steps = np.arange(0.03, 0.72, 0.03)
        for step, share in zip(steps, np.exp(-steps / 0.15), strict=True):
            rows.append((cause, float(share), {_R: sign * step, _L: 0.01 * sign * step}, {_R: 0.01}))
    rows += _drifts()
    for loss in np.geomspace(0.01, 0.5, 8):
        rows.append((Cause.METAL, 1.0, {_L: -loss, _RS: 0.5 * loss, _REF_L: -loss}, {_RS: loss, _REF_L: 0.3 * loss}))
    rows.append((Cause.SENSOR_POSITION, 1.0, {}, {_B: 0.1, _REF_B: 0.1}))
    rows.append((Cause.WRONG_PART, 1.0, {}, {_R: 0.7, _L: 0.7, _B: 0.4, _BEYOND: 0.7}))
    anything = {_R: 1.0, _L: 1.0, _RS: 0.3, _B: 0.5, _REF_R: 0.1, _REF_L: 0.1, _BEYOND: 1.0}
    rows.append((Cause.NONE_OF_THESE, 1.0, {}, anything))
    return _signatures(rows)


def _drifts() -> list[tuple[Cause, float, dict[int, float], dict[int, float]]]:
    """A meter's gain in all modes; in its direct-current mode only; at its test frequency only; the field's."""
    rows: list[tuple[Cause, float, dict[int, float], dict[int, float]]] = []
    ways = (
        (0.4, (_R, _L, _BEYOND), (), (_REF_R, _REF_L)),
        (0.3, (_R, _BEYOND), (_RS,), (_REF_R,)),
        (0.2, (_L, _RS), (), (_REF_L,)),
        (0.1, (_B,), (), (_REF_B,)),
    )
    sizes = np.geomspace(0.005, 0.4, 16)
    for size in np.concatenate([sizes, -sizes]):
        for share, up, down, reference in ways:
            own = {each: float(size) for each in up} | {each: -float(size) for each in down}
            room = {each: 0.15 * abs(float(size)) for each in own}
            room[_R] = room.get(_R, 0.0) + _UNIT_SD
            seen = {each: float(size) for each in reference}
            rows.append(
                (
                    Cause.BENCH_DRIFT,
                    share * _SEEN_BY_REFERENCE,
                    own | seen,
                    room | {each: 0.15 * abs(float(size)) for each in seen},
                )
            )
            rows.append((Cause.BENCH_DRIFT, share * (1 - _SEEN_BY_REFERENCE), own, room))
    return rows


def _signatures(rows: list[tuple[Cause, float, dict[int, float], dict[int, float]]]) -> Signatures:
    width = len(LEVEL_NAMES)
    shift, extra = np.zeros((len(rows), width)), np.zeros((len(rows), width))
    totals: dict[Cause, float] = {}
    for number, (cause, share, shifts, room) in enumerate(rows):
        totals[cause] = totals.get(cause, 0.0) + share
        for column, value in shifts.items():
            shift[number, column] = value
        for column, value in room.items():
            extra[number, column] = value
    cause_index = np.array([CAUSES.index(each[0]) for each in rows])
    log_share = np.log([PRIOR[cause] * share / totals[cause] for cause, share, _, _ in rows])
    return Signatures(cause_index, log_share, shift, extra, np.zeros_like(shift), (None,) * len(rows))
