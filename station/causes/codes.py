"""What a run's reason code says about causes: how likely each code is under each cause."""

import numpy as np

from station.causes.kinds import CAUSES, Cause
from station.coil.geometry import FloatArray

_RARELY = 1e-5
"""Of any code under a cause that does not bring it (ours)."""

_NEVER = 1e-12

_CHECKED_CONTACT = 0.01
"""How much rarer a value rests on a poor contact when each run proves its contacts (ours)."""

_LIKELIHOOD: dict[str, dict[Cause, float]] = {
    "contact_open": {Cause.POOR_CONTACT: 0.5},
    "contact_poor": {Cause.POOR_CONTACT: 0.5},
    "contact_changed": {Cause.POOR_CONTACT: 0.5},
    "contact_not_checked": {Cause.POOR_CONTACT: 0.3, Cause.OPEN: 0.9},
    # A resistance beyond the meter's range reads open too.
    "coil_open": {Cause.OPEN: 0.9, Cause.NARROW: 0.003},
    "overload": {Cause.OPEN: 0.9, Cause.POOR_CONTACT: 0.01},
    "not_still": {Cause.WARM: 0.9},
    "thermometers_disagree": {Cause.WARM: 0.3},
    "height_offset": {Cause.SENSOR_POSITION: 0.5, Cause.LAYER_SHORT: 0.5, Cause.SHORTED_TURNS: 0.02},
    "lateral_error": {Cause.SENSOR_POSITION: 0.5, Cause.LAYER_SHORT: 0.1, Cause.SHORTED_TURNS: 0.02},
    "polarity_reversed": {Cause.SENSOR_POSITION: 0.05, Cause.WRONG_PART: 0.05},
    "profile_poor": {Cause.METAL: 0.5, Cause.LAYER_SHORT: 0.1, Cause.SENSOR_POSITION: 0.01, Cause.NONE_OF_THESE: 0.05},
}
"""Of the codes about the unit and its seat (`station.core.reasons`); ours. Another code than these is the bench's."""

_WITH_VALUES = frozenset({"", "below_lower", "above_upper", "retest_disagrees", "nothing_judged"})
"""Runs with these have values, and those speak."""


def code_log_likelihood(codes: tuple[str, ...], measured: np.ndarray, *, contact_checked: bool) -> FloatArray:
    """Return ln of how likely each unit's code is under each cause, shape (N, causes).

    measured: whether the unit has any value (N,); one with neither value nor code counts as not measured.
    """
    rows: dict[tuple[str, bool], FloatArray] = {}
    out = np.empty((len(codes), len(CAUSES)))
    for number, key in enumerate(zip(codes, measured.tolist(), strict=True)):
        row = rows.get(key)
        if row is None:
            row = rows[key] = _row(*key, contact_checked)
        out[number] = row
    return out


def speaks_of_unit(code: str) -> bool:
    """Tell whether a code is one that a cause in the unit or its seat brings."""
    return code in _LIKELIHOOD


def _row(code: str, measured: bool, contact_checked: bool) -> FloatArray:
    if code in _LIKELIHOOD:
        likely = _LIKELIHOOD[code]
        return np.log([likely.get(each, _NEVER if each is Cause.NOT_MEASURED else _RARELY) for each in CAUSES])
    if measured and code in _WITH_VALUES:
        likely = {Cause.OPEN: _NEVER, Cause.NOT_MEASURED: _NEVER}
        likely[Cause.POOR_CONTACT] = _CHECKED_CONTACT if contact_checked else 1.0
        return np.log([likely.get(each, 1.0) for each in CAUSES])
    return np.log([1.0 if each is Cause.NOT_MEASURED else _NEVER for each in CAUSES])
