"""Evidence in plain words: what was seen, by how much, against what."""

import numpy as np

from station.causes.codes import speaks_of_unit
from station.causes.kinds import Cause
from station.causes.level import reference_row
from station.causes.measured_copper import unit_words
from station.causes.observables import HEIGHT, L2_L, NAMES, R20, RS2_RS, RS_R20, B, L
from station.causes.places import REGIONS, Whereabouts
from station.causes.study import Study
from station.coil.geometry import FloatArray

_WORTH_SAYING = 2.5
"""Standard deviations from which on an observable is called off."""

_NO_SEAT_M = 0.4e-3
"""A fitted offset beyond this is no seat of a unit but another field (ours)."""

_SURELY = 0.9

_ONLY_R_AND_L = (
    "by R20 and L alone, metal nearby and another part look like shorted turns; Rs or the field would tell."
)

_HIGH_LOW = {
    L: ("L", "turns are missing from the flux, or metal is near", "more turns, iron near, or another part"),
    RS_R20: (
        "Rs at the test frequency against R20",
        "the meter's two modes disagree",
        "a closed turn or metal takes up power",
    ),
    L2_L: ("L at the second frequency against the first", "a closed turn or metal shields more there", ""),
    RS2_RS: ("Rs at the second frequency against the first", "", "a closed turn or metal takes up power"),
    B: ("the field per ampere, height taken out,", "turns carry no current", "more turns, iron near, or another part"),
}
"""Observable: (name, what a low one means, what a high one means)."""


def evidence_of(study: Study, row: int) -> tuple[str, ...]:
    """Return what speaks, strongest first within each kind; says so when nothing is off."""
    seen, scores = study.seen[row], study.scores[row]
    if not np.isfinite(seen).any():
        code = study.findings.codes[row]
        return (f"no values: the run ended with {code!r}.",) if code else ("no values are on record.",)
    lines = [_resistance(study, row)] if np.isfinite(seen[R20]) else []
    if speaks_of_unit(code := study.findings.codes[row]):
        lines = [f"the run ended with {code!r}; R20 is from its curve, which no check at the end has proved.", *lines]
    other_shape = abs(np.nan_to_num(study.residual[row, HEIGHT])) > _NO_SEAT_M
    told = [each for each in _HIGH_LOW if not (other_shape and each == B)]
    lines += [_off(study, row, column) for column in told if abs(np.nan_to_num(scores[column])) >= _WORTH_SAYING]
    if other_shape:
        lines.append("the field over the heights does not follow the drawing's: other turns carry the current.")
    elif abs(np.nan_to_num(scores[HEIGHT])) >= _WORTH_SAYING:
        offset_mm = study.residual[row, HEIGHT] * 1e3
        how_far = _score(scores[HEIGHT])
        lines.append(f"the field's profile puts the sensor {offset_mm:+.2f} mm off the others ({how_far}).")
    steady = [name for name, score in zip(NAMES[1:], scores[1:], strict=True) if abs(score) < _WORTH_SAYING]
    if steady:
        lines.append(f"as {_others(study)}: {', '.join(steady)}.")
    if np.isfinite(seen[L]) and not np.isfinite(seen[[RS_R20, B]]).any():
        lines.append(_ONLY_R_AND_L)
    serial, panel = study.findings.serials[row], study.findings.panels[row]
    lines += unit_words(study.copper, serial, panel, float(seen[R20]))
    return tuple(lines + reference_words(study))


def _others(study: Study) -> str:
    return "the rest of its panel and lot" if study.baseline.from_lot else "drawn"


def _resistance(study: Study, row: int) -> str:
    """R20 against the drawing, split into what is the lot's, the panel's and the unit's own."""
    total = float(np.expm1(study.seen[row, R20]))
    base = study.baseline
    if not base.from_lot:
        return f"R20 is {total:+.1%} off the drawing (too few units for a lot's own spread)."
    lot = float(np.expm1(base.lot_centre[R20]))
    panel = float(np.expm1(base.centre[row, R20] - base.lot_centre[R20]))
    own = float(np.expm1(study.residual[row, R20]))
    score = _score(study.scores[row, R20])
    parts = f"the lot {lot:+.1%}, its panel {panel:+.1%}, the unit {own:+.1%} ({score})"
    return f"R20 is {total:+.1%} off the drawing: {parts}."


def _off(study: Study, row: int, column: int) -> str:
    name, low, high = _HIGH_LOW[column]
    change = float(np.expm1(study.residual[row, column]))
    meaning = high if change > 0 else low
    ending = f": {meaning}." if meaning else "."
    return f"{name} is {change:+.2%} off {_others(study)} ({_score(study.scores[row, column])}){ending}"


def _score(score: float) -> str:
    return f"{abs(score):.1f} standard deviations"


def reference_words(study: Study) -> list[str]:
    values, doubts = reference_row(study.reference)
    if not np.isfinite(values).any():
        return ["no reference unit's values are on record for this bench and time: drift of the bench is not excluded."]
    parts = [
        f"{name} {value:+.2%} +- {2 * doubt:.2%}"
        for name, value, doubt in zip(("R20", "L", "B"), values, doubts, strict=True)
        if np.isfinite(value)
    ]
    return [f"the reference unit on this bench, against its assigned values: {', '.join(parts)}."]


def place_words(found: Whereabouts, cause: Cause) -> str:
    """Say how many turns and where, no more than the readings tell."""
    turns = f"{found.count} turn{'s' if found.count > 1 else ''}"
    if found.fewest != found.most:
        turns = f"{found.fewest} to {found.most} turns, likeliest {found.count}"
    if cause is Cause.LAYER_SHORT:
        upper = int(np.argmax(found.layers))
        where = f"outside turn {_span(found.first_turn, found.last_turn)} of layers {upper + 1} and {upper + 2}"
        return f"{turns}, bridged {where} (turn 1 is the innermost)"
    region = int(np.argmax(found.regions))
    third = f"{REGIONS[region]} third" if found.regions[region] >= _SURELY else "place in the spiral not certain"
    layer = int(np.argmax(found.layers))
    on = f"layer {layer + 1}" if found.layers[layer] >= _SURELY else "which layer is not told apart"
    span = _span(found.first_turn, found.last_turn)
    return f"{turns}, {third}, within turns {span} (turn 1 is the innermost), {on}"


def _span(first: int, last: int) -> str:
    return str(first) if first == last else f"{first} to {last}"


def shares(probabilities: FloatArray) -> list[int]:
    """Return the places of the causes in order of probability."""
    return [int(each) for each in np.argsort(-probabilities, kind="stable")]
