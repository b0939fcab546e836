"""Series inductance and resistance at one frequency, with the field sensor's stage out of the way.

A meter's basic accuracy A holds for pure elements. For a coil of quality factor Q the phase error leaks the
other component in: A sqrt(1 + 1/Q^2) for Ls, A sqrt(1 + Q^2) for Rs (the usual rule in LCR meter manuals;
it follows from dZ = A |Z| in any direction). A coil of Q 0.01 at 1 kHz therefore has no L worth the name.
"""

import math

from drivers.instruments import LcrSetup, Route
from drivers.readings import Quantity
from station.core.plan import InductanceStep
from station.core.results import Result, Term
from station.methods.context import (
    Context,
    Outcome,
    accuracy_term,
    good_value,
    measured,
    spread_term,
)
from station.methods.ranges import impedance_range

READINGS = 3


def measure_inductance(context: Context, step: InductanceStep) -> Outcome:
    """Measure `L` in H, and `Rs` in ohm and `Q`, at the step's frequency."""
    bench = context.bench
    first_message = bench.message_count()
    if bench.fixture.has_stage:
        bench.fixture.retract()
    bench.fixture.set_route(Route.LCR)
    bench.lcr.configure(
        LcrSetup(
            (Quantity.SERIES_INDUCTANCE, Quantity.SERIES_RESISTANCE),
            step.test_frequency_hz,
            level_v=step.level_v,
            averaging=step.averaging,
            range_ohm=impedance_range(context.plan, step),
        )
    )
    pairs = [tuple(map(good_value, bench.lcr.measure())) for _ in range(READINGS)]
    inductances, resistances = (list(column) for column in zip(*pairs, strict=True))
    return Outcome(_results(context, step, inductances, resistances, (first_message, bench.message_count())))


def _results(
    context: Context,
    step: InductanceStep,
    inductances: list[float],
    resistances: list[float],
    messages: tuple[int, int],
) -> tuple[Result, ...]:
    inductance_h = sum(inductances) / len(inductances)
    resistance_ohm = sum(resistances) / len(resistances)
    frequency_hz = step.test_frequency_hz
    quality = 2 * math.pi * frequency_hz * inductance_h / resistance_ohm
    quality_squared = max(quality * quality, 1e-12)
    meter_l = _meter(context, Quantity.SERIES_INDUCTANCE, inductance_h, 1 + 1 / quality_squared, frequency_hz)
    meter_r = _meter(context, Quantity.SERIES_RESISTANCE, resistance_ohm, 1 + quality_squared, frequency_hz)
    terms_l = (meter_l, spread_term("repeatability", inductances))
    terms_r = (meter_r, spread_term("repeatability", resistances))
    terms_q = (*_scaled(terms_l, quality / inductance_h), *_scaled(terms_r, quality / resistance_ohm))
    return (
        measured("L", "H", inductance_h, terms_l, messages=messages),
        measured("Rs", "ohm", resistance_ohm, terms_r, messages=messages),
        measured("Q", "", quality, terms_q, messages=messages),
    )


def _meter(context: Context, quantity: Quantity, value: float, growth: float, frequency_hz: float) -> Term:
    return accuracy_term(
        context,
        "lcr",
        quantity,
        value,
        name="meter",
        sensitivity=math.sqrt(growth),
        frequency_hz=frequency_hz,
    )


def _scaled(terms: tuple[Term, ...], factor: float) -> tuple[Term, ...]:
    """Terms of Q = omega L / R: relative terms of L and R carry over one to one."""
    return tuple(
        Term(each.name, each.standard_uncertainty * abs(factor), each.degrees_of_freedom, each.shape)
        for each in terms
    )
