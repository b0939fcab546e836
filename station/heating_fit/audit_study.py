"""What the full-soak audit does when a slow time constant hides: unit after unit, as a bench would meet them."""

from dataclasses import dataclass

import numpy as np

from station.coil.heating import Drive
from station.heating_fit.audit import AuditState, Rise, after_early_stop, after_full_soak, soak_due
from station.heating_fit.estimator import ThermalEstimator
from station.heating_fit.responses import FloatArray
from station.heating_fit.rule import ConfidenceRule
from station.heating_fit.settled import end_of_soak
from station.heating_fit.study import (
    AMBIENT_DEGC,
    FAMILIES,
    HIDDEN,
    LONGEST_S,
    LOOK_EVERY,
    TARGETS,
    Curves,
    draw_curves,
    observed,
    predict,
)

AUDIT_EVERY = 25
SOAK_S = 600.0
SLOWEST_S = 180.0
_RULE, _TARGET = TARGETS[0]


@dataclass(frozen=True, slots=True)
class AuditRow:
    """`wrong` early stops are those whose result is outside the target; `revoked_at` is the unit, from 1."""

    name: str
    units: int
    early: int
    wrong: int
    wrong_without_audit: int
    revoked_at: int | None


def audit_row(name: str, sound_units: int, hidden_units: int, seed: tuple[int, ...]) -> AuditRow:
    """Measure `sound_units` of two time constants, then `hidden_units` with a slow third; 1 in 25 soaked out."""
    rng = np.random.default_rng(seed)
    state = AuditState()
    early = wrong = without = 0
    revoked_at: int | None = None
    number = 0
    for family, count in ((FAMILIES[1], sound_units), (HIDDEN, hidden_units)):
        if not count:
            continue
        curves = draw_curves(family, count, rng, longest_s=SOAK_S)
        for index in range(count):
            number += 1
            seen_k = observed(family, curves, index, rng)
            predicted = _early(curves, index, seen_k)
            off = predicted is not None and abs(predicted.rise_k - float(curves.steady_k[index])) > _TARGET.absolute_k
            without += off
            if predicted is not None and not soak_due(state, AUDIT_EVERY):
                early += 1
                wrong += off
                state = after_early_stop(state)
            else:
                state = after_full_soak(state, predicted, _soaked(curves, seen_k), allowed_k=_TARGET.absolute_k)
                if state.revoked and revoked_at is None:
                    revoked_at = number
    return AuditRow(name, number, early, wrong, without, revoked_at)


def _soaked(curves: Curves, seen_k: FloatArray) -> Rise:
    end = end_of_soak(curves.times_s, seen_k, slowest_s=SLOWEST_S)
    return Rise(end.rise_k, 2 * end.standard_uncertainty_k + end.still_k)


def _early(curves: Curves, index: int, seen_k: FloatArray) -> Rise | None:
    resistance_20 = float(curves.resistance_20_ohm[index])
    drive = Drive(voltage_v=float(curves.voltage_v[index]))
    power_w = drive.power_w(resistance_20 * (234.5 + AMBIENT_DEGC + seen_k) / 254.5)
    estimator, rule = ThermalEstimator(), ConfidenceRule(_TARGET)
    for sample, time_s in enumerate(curves.times_s[curves.times_s <= LONGEST_S].tolist()):
        estimator.add(time_s, float(power_w[sample]), float(seen_k[sample]))
        if sample % LOOK_EVERY:
            continue
        prediction = predict(estimator, resistance_20, drive, AMBIENT_DEGC)
        if prediction is not None and rule.satisfied(time_s, *prediction):
            return Rise(prediction[0], 2 * prediction[1])
    return None
