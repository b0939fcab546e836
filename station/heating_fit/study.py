"""How early a stop is right: the estimator against curves whose truth is known.

Curves are drawn with resistance feedback from families of one and two time constants, noise added, and each
rule stops where it would. Pure: seeds, clock and workers belong to whoever calls.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from station.coil.heating import Drive, steady_state
from station.heating_fit.estimator import ThermalEstimator
from station.heating_fit.responses import FloatArray
from station.heating_fit.rule import ConfidenceRule, Target
from station.heating_fit.settled import plateau_stop_s

SAMPLE_S = 0.2
LOOK_EVERY = 5
NOISE_K = 0.1
LONGEST_S = 120.0
AMBIENT_DEGC = 23.0
COVERAGE_FACTOR = 1.96
_SUBSTEPS = 4
_WINDING_CONSTANT = 234.5


@dataclass(frozen=True, slots=True)
class Family:
    """How curves are drawn. Time constants are multiples of the main one, which is 15 s within -30 to +40 %.

    `second` and `hidden` are (share from, to, time constant from, to); `drift_k_per_min` is the ambient's, its
    sign drawn; `reference` says whether the ambient is subtracted.
    """

    name: str
    second: tuple[float, float, float, float] | None = None
    hidden: tuple[float, float, float, float] | None = None
    drift_k_per_min: float = 0.0
    reference: bool = True


FAST_SECOND = (0.1, 0.4, 0.05, 0.10)

FAMILIES = (
    Family("one time constant"),
    Family("two time constants", second=FAST_SECOND),
    Family("two, slow second term", second=(0.1, 0.4, 0.20, 0.35)),
)
DRIFT_UNSEEN = Family("drift 0.5 K/min, no reference", drift_k_per_min=0.5, reference=False)
DRIFT_REMOVED = Family("drift 0.5 K/min, subtracted", drift_k_per_min=0.5)
HIDDEN = Family("hidden third term, 2.5 to 5 min", second=FAST_SECOND, hidden=(0.06, 0.12, 10.0, 20.0))

REFERENCE_NOISE_K = 0.05
"""Noise of one reading of the ambient's reference thermometer (stated for the study)."""

TARGETS = (("0.5 K", Target(absolute_k=0.5)), ("1 %", Target(fraction=0.01)))


@dataclass(frozen=True, slots=True)
class Curves:
    """Drawn curves: times (n,), true rises (m, n); per curve the rest, shape (m,)."""

    times_s: FloatArray
    rises_k: FloatArray
    drift_k: FloatArray
    resistance_20_ohm: FloatArray
    voltage_v: FloatArray
    steady_k: FloatArray
    main_s: FloatArray


@dataclass(frozen=True, slots=True)
class Stop:
    """Where a rule stopped on one curve: its result, the truth, and what it cost."""

    family: str
    rule: str
    stop_s: float
    main_s: float
    error_k: float
    allowed_k: float
    standard_uncertainty_k: float
    met: bool
    fit_s: float = 0.0
    samples: int = 0


def draw_curves(family: Family, count: int, rng: np.random.Generator, *, longest_s: float = LONGEST_S) -> Curves:
    """Draw `count` curves at constant voltage: rise 15 to 40 K, cold resistance 6 to 25 ohm."""
    times_s = np.arange(0.0, longest_s + 1e-9, SAMPLE_S)
    resistance_20 = rng.uniform(6.0, 25.0, count)
    steady_k = rng.uniform(15.0, 40.0, count)
    main_s = 15.0 * rng.uniform(0.7, 1.4, count)
    shares, taus = _terms(family, main_s, rng)
    alpha = 1.0 / (_WINDING_CONSTANT + 20.0)
    cold = resistance_20 * (1.0 + alpha * (AMBIENT_DEGC - 20.0))
    thermal_k_per_w = rng.uniform(40.0, 100.0, count)
    voltage_v = np.sqrt(steady_k / thermal_k_per_w * (cold + alpha * resistance_20 * steady_k))

    def target(rises: FloatArray) -> FloatArray:
        power = voltage_v**2 / (cold + alpha * resistance_20 * rises.sum(axis=1))
        return np.asarray((power * thermal_k_per_w)[:, None] * shares)

    step_s = SAMPLE_S / _SUBSTEPS
    whole, half = np.exp(-step_s / taus), np.exp(-0.5 * step_s / taus)
    state = np.zeros_like(taus)
    rises = np.zeros((count, len(times_s)))
    for index in range(1, len(times_s)):
        for _ in range(_SUBSTEPS):
            goal = target(state)
            goal = target(goal + (state - goal) * half)
            state = goal + (state - goal) * whole
        rises[:, index] = state.sum(axis=1)
    drift_k = rng.choice([-1.0, 1.0], count)[:, None] * family.drift_k_per_min / 60.0 * times_s
    return Curves(times_s, rises, drift_k, resistance_20, voltage_v, steady_k, main_s)


def _terms(family: Family, main_s: FloatArray, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    shares, taus = [np.ones_like(main_s)], [main_s]
    for extra in (family.second, family.hidden):
        if extra is not None:
            share = rng.uniform(extra[0], extra[1], len(main_s))
            shares = [each * (1.0 - share) for each in shares] + [share]
            taus = [*taus, main_s * rng.uniform(extra[2], extra[3], len(main_s))]
    return np.stack(shares, axis=1), np.stack(taus, axis=1)


def study_chunk(family: Family, count: int, seed: tuple[int, ...], stopwatch: Callable[[], float]) -> list[Stop]:
    """Let every rule stop on `count` fresh curves. `stopwatch` counts the processor's seconds."""
    rng = np.random.default_rng(seed)
    curves = draw_curves(family, count, rng)
    stops: list[Stop] = []
    for index in range(count):
        seen_k = observed(family, curves, index, rng)
        stops.append(_plateau(family, curves, index, seen_k))
        stops.extend(_early(family, curves, index, seen_k, stopwatch))
    return stops


def observed(family: Family, curves: Curves, index: int, rng: np.random.Generator) -> FloatArray:
    """Return the rises over ambient as a bench would see them, noise and drift included, in K; shape (n,)."""
    size = len(curves.times_s)
    seen = curves.rises_k[index] + NOISE_K * rng.standard_normal(size)
    if not family.drift_k_per_min:
        return np.asarray(seen)
    seen = seen + curves.drift_k[index]
    if family.reference:
        seen = seen - curves.drift_k[index] - REFERENCE_NOISE_K * rng.standard_normal(size)
    return np.asarray(seen)


def _plateau(family: Family, curves: Curves, index: int, seen_k: FloatArray) -> Stop:
    stop_s = plateau_stop_s(curves.times_s, seen_k)
    last = (curves.times_s > stop_s - 2.0) & (curves.times_s <= stop_s)
    error = float(seen_k[last].mean() - curves.steady_k[index])
    return Stop(family.name, "plateau", stop_s, float(curves.main_s[index]), error, 0.5, 0.0, True)


def predict(
    estimator: ThermalEstimator, resistance_20_ohm: float, drive: Drive, ambient_degc: float
) -> tuple[float, float] | None:
    """Return the steady rise that the samples so far foretell, with its standard uncertainty, in K."""
    estimate = estimator.estimate()
    if estimate is None:
        return None
    if not np.isfinite(estimate.standard_uncertainty_k_per_w):
        return 0.0, np.inf
    low, high = estimate.thermal_resistance_k_per_w, estimate.standard_uncertainty_k_per_w
    rise = steady_state(resistance_20_ohm, drive, low, ambient_degc).rise_k
    above = steady_state(resistance_20_ohm, drive, low + high, ambient_degc).rise_k
    return rise, above - rise


def _early(
    family: Family, curves: Curves, index: int, seen_k: FloatArray, stopwatch: Callable[[], float]
) -> list[Stop]:
    """Both targets on one pass over the curve."""
    resistance_20 = float(curves.resistance_20_ohm[index])
    drive = Drive(voltage_v=float(curves.voltage_v[index]))
    ratio = (_WINDING_CONSTANT + AMBIENT_DEGC + seen_k) / (_WINDING_CONSTANT + 20.0)
    power_w = drive.power_w(resistance_20 * ratio)
    estimator = ThermalEstimator()
    rules = {name: ConfidenceRule(target) for name, target in TARGETS}
    found: dict[str, tuple[float, float, float, int]] = {}
    started = stopwatch()
    prediction: tuple[float, float] | None = None
    for sample, time_s in enumerate(curves.times_s.tolist()):
        estimator.add(time_s, float(power_w[sample]), float(seen_k[sample]))
        if sample % LOOK_EVERY:
            continue
        prediction = predict(estimator, resistance_20, drive, AMBIENT_DEGC)
        if prediction is None:
            continue
        for name, rule in rules.items():
            if name not in found and rule.satisfied(time_s, *prediction):
                found[name] = (time_s, *prediction, sample + 1)
        if len(found) == len(rules):
            break
    cost_s = (stopwatch() - started) / (sample + 1)
    last = (time_s, *(prediction or (0.0, np.inf)), sample + 1)
    return [
        _stop(family, curves, index, name, found.get(name, last), name in found, cost_s) for name, _ in TARGETS
    ]


def _stop(
    family: Family,
    curves: Curves,
    index: int,
    rule: str,
    found: tuple[float, float, float, int],
    met: bool,
    cost_s: float,
) -> Stop:
    stop_s, rise_k, uncertainty_k, samples = found
    truth_k = float(curves.steady_k[index])
    allowed_k = dict(TARGETS)[rule].allowed_k(truth_k)
    return Stop(
        family.name,
        rule,
        stop_s,
        float(curves.main_s[index]),
        rise_k - truth_k,
        allowed_k,
        uncertainty_k,
        met,
        cost_s * samples,
        samples,
    )
