"""From the levels of a heating to results: rises, thermal resistance, time constant, largest drive, the curve."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from drivers.readings import Quantity
from station.core.characteristics import (
    TIME_CONSTANT_NAME,
    largest_drive_name,
    rise_name,
    surface_rise_name,
    thermal_resistance_name,
)
from station.core.limits import judge
from station.core.plan import HeatingStep
from station.core.reasons import reason
from station.core.results import Decision, Result, ResultStatus, Term
from station.core.run_record import Trace
from station.core.uncertainty import combine
from station.heating_fit.audit import Rise
from station.heating_fit.candidates import NODE_RATIO
from station.heating_fit.estimator import Estimate
from station.heating_fit.settled import SettledRise
from station.methods.context import Context, accuracy_term, measured, scaled, width_term
from station.methods.heating_budget import bench_terms, power_terms
from station.methods.heating_samples import Cold, Sample

SURFACE_WINDOW_S = 5.0
"""The surface's share of the winding's rise is taken over the last so many seconds of a level."""


@dataclass(frozen=True, slots=True)
class Level:
    """One drive level: `early` is where the short rule would have stopped, `settled` the end of a full soak."""

    drive: float
    samples: tuple[Sample, ...]
    early: Rise | None
    settled: SettledRise | None
    estimate: Estimate
    foretold: tuple[float, float]
    """Rise and its standard uncertainty by the last fit, in K."""
    own_heat_k: float = 0.0
    """What the cold look may have warmed the coil by."""

    @property
    def rise_k(self) -> float:
        """The steady rise: soaked out if it was, else foretold."""
        return self.foretold[0] if self.settled is None else self.settled.rise_k


def heating_results(
    context: Context,
    step: HeatingStep,
    cold: Cold,
    levels: Sequence[Level],
    left_out: str,
    messages: tuple[int, int],
) -> tuple[Result, ...]:
    """Return all results of a ladder; `left_out` says why levels were, if any was."""
    of = step.drive_quantity
    results: list[Result] = []
    for level in levels:
        terms = _rise_terms(context, cold, level)
        rise = measured(rise_name(level.drive, of), "K", level.rise_k, terms, messages=messages)
        results += [rise, _surface(context, step, cold, level, rise, messages)]
    results += _left_out(context, step, levels, left_out, results)
    return (*results, *_model(context, step, cold, levels[-1], messages))


def _rise_terms(context: Context, cold: Cold, level: Level) -> tuple[Term, ...]:
    own: tuple[Term, ...]
    if level.settled is None:
        own = (Term("fit", level.foretold[1], max(1.0, level.estimate.samples - 4.0)),)
    else:
        own = (
            Term("noise", level.settled.standard_uncertainty_k),
            width_term("still climbing", level.settled.still_k),
            Term("cold reading", level.estimate.offset_uncertainty_k, sign=-1),
        )
    return (*own, width_term("heat of the cold look", -level.own_heat_k), *bench_terms(context, cold, level.rise_k))


def _surface(
    context: Context, step: HeatingStep, cold: Cold, level: Level, rise: Result, messages: tuple[int, int]
) -> Result:
    """The surface's steady rise: its share of the winding's over the last seconds, times the winding's."""
    end_s = level.samples[-1].time_s
    last = [each for each in level.samples if each.time_s > end_s - SURFACE_WINDOW_S]
    zero_k = cold.surface_degc - cold.ambient_degc
    shares = [(each.surface_degc - each.ambient_degc - zero_k) / max(each.rise_k, 0.1) for each in last]
    share = sum(shares) / len(shares)
    spread = math.sqrt(sum((each - share) ** 2 for each in shares) / max(1, len(shares) - 1) / len(shares))
    terms = (
        Term("winding's rise", abs(share) * (rise.standard_uncertainty or 0.0), sign=1),
        Term("share", spread * level.rise_k, max(1.0, len(shares) - 1.0)),
        accuracy_term(
            context, "thermometer", Quantity.TEMPERATURE_COIL, last[-1].surface_degc, name="coil thermometer"
        ),
        accuracy_term(
            context,
            "thermometer",
            Quantity.TEMPERATURE_AMBIENT,
            last[-1].ambient_degc,
            name="ambient thermometer",
            sensitivity=-1.0,
        ),
    )
    name = surface_rise_name(level.drive, step.drive_quantity)
    return measured(name, "K", share * level.rise_k, terms, messages=messages)


def _left_out(
    context: Context, step: HeatingStep, levels: Sequence[Level], why: str, taken: Sequence[Result]
) -> list[Result]:
    """Levels that were not climbed have no value.

    A plan that limits one of them can't be met by what was measured below: not measured, so never PASS; unless
    a level below has failed already, then that decides.
    """
    if not why:
        return []
    found = []
    failed = _fails(context, taken)
    for drive in step.drives[len(levels) :]:
        name = rise_name(drive, step.drive_quantity)
        limited = context.plan.characteristic(name) is not None and not failed
        status = ResultStatus.NOT_MEASURED if limited else ResultStatus.NOT_DUE
        found.append(Result(name, "K", status, reason=reason("level_above_limit", message=why)))
    return found


def _fails(context: Context, taken: Sequence[Result]) -> bool:
    for each in taken:
        characteristic = context.plan.characteristic(each.characteristic)
        if characteristic is not None and judge(characteristic, each).decision is Decision.FAIL:
            return True
    return False


def _model(
    context: Context, step: HeatingStep, cold: Cold, top: Level, messages: tuple[int, int]
) -> tuple[Result, ...]:
    """Thermal resistance with its mounting, time constant, largest drive: from the highest level."""
    last = top.samples[-1]
    ratio = combine(_rise_terms(context, cold, top))[0] / max(top.rise_k, 0.1)
    relative = (Term("rise", ratio, sign=1), *power_terms(context, last.voltage_v, last.current_a))
    thermal = top.estimate.thermal_resistance_k_per_w
    if top.settled is not None:
        thermal = top.settled.rise_k / last.power_w
    estimate = top.estimate
    tau_terms = (
        Term("fit", estimate.time_constant_uncertainty_s, max(1.0, estimate.samples - 4.0)),
        # Time constants are tried node by node; between two of them lies what the fit can't resolve.
        width_term("nodes of the fit", (NODE_RATIO - 1.0) / 2.0 * estimate.time_constant_s),
    )
    results = [
        measured(TIME_CONSTANT_NAME, "s", estimate.time_constant_s, tau_terms, messages=messages),
        _largest_drive(context, step, cold, thermal, relative, messages),
    ]
    if step.mounting:
        name = thermal_resistance_name(step.mounting)
        terms = tuple(scaled(each, thermal) for each in relative)
        results.insert(0, measured(name, "K/W", thermal, terms, messages=messages))
    return tuple(results)


def _largest_drive(
    context: Context,
    step: HeatingStep,
    cold: Cold,
    thermal_k_per_w: float,
    relative: tuple[Term, ...],
    messages: tuple[int, int],
) -> Result:
    """The drive at which the winding settles at the limit, at the plan's ambient: P Rth = Tlim - Ta, R hot."""
    k = context.plan.winding_constant_k
    power_w = (step.temperature_limit_degc - step.ambient_degc) / thermal_k_per_w
    hot_ohm = cold.resistance_ohm * (k + step.temperature_limit_degc) / (k + cold.ambient_degc)
    by_voltage = step.drive_quantity == "voltage_v"
    drive = math.sqrt(power_w * hot_ohm) if by_voltage else math.sqrt(power_w / hot_ohm)
    # Power and resistance enter by their roots; the source's gains are in both, so half is never too little. A coil
    # that seems to be cooled worse may be driven less: against the sign of the thermal resistance.
    terms = tuple(scaled(each, -drive) for each in relative)
    return measured(largest_drive_name(step), "V" if by_voltage else "A", drive, terms, messages=messages)


def heating_trace(samples: Sequence[Sample], foretold: Sequence[tuple[float, float]]) -> Trace:
    """Return the curve with what the fit foretold at each sample (0 before it could)."""
    start_s = samples[0].time_s
    return Trace(
        "heating",
        (
            ("time_s", tuple(each.time_s - start_s for each in samples)),
            ("level", tuple(float(each.level) for each in samples)),
            ("voltage_v", tuple(each.voltage_v for each in samples)),
            ("current_a", tuple(each.current_a for each in samples)),
            ("winding_rise_k", tuple(each.rise_k for each in samples)),
            ("surface_degc", tuple(each.surface_degc for each in samples)),
            ("ambient_degc", tuple(each.ambient_degc for each in samples)),
            ("foretold_rise_k", tuple(each[0] for each in foretold)),
            ("foretold_uncertainty_k", tuple(each[1] for each in foretold)),
        ),
    )
