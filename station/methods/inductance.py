"""Series inductance and resistance at one frequency, with the field sensor's stage out of the way.

A meter's basic accuracy A holds for pure elements. For a coil of quality factor Q the phase error leaks the
other component in: A and A / Q for Ls, A and A Q for Rs; together the A sqrt(1 + 1/Q^2) of the meters'
manuals (common practice). Gain and phase are two terms, since two rectangles add to another shape than one.
A coil of Q 0.01 at 1 kHz therefore has no L worth the name.
"""

import math

from drivers.instruments import LcrSetup, Route
from drivers.readings import Quantity, Reading
from station.core.plan import InductanceStep
from station.core.reasons import reason
from station.core.results import Result, Term
from station.methods.context import (
    Context,
    NotMeasured,
    Outcome,
    accuracy_term,
    good_value,
    measured,
    require_agreement,
    scaled,
    spread_term,
)
from station.methods.ranges import impedance_range

READINGS = 3

AGREEMENT = 5e-3
"""What the readings may differ among themselves, relative to |Z|: far above noise."""


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
    group = bench.lcr.group()
    for _ in range(READINGS):
        group.take()
    pairs = [_values(*readings) for readings in group.hand_out()]
    inductances, resistances = (list(column) for column in zip(*pairs, strict=True))
    _require_agreement(context, step, inductances, resistances)
    return Outcome(_results(context, step, inductances, resistances, (first_message, bench.message_count())))


def _values(inductance: Reading, resistance: Reading) -> tuple[float, float]:
    values = good_value(inductance), good_value(resistance)
    if not min(values) > 0.0:
        # No coil has such values: the meter shows something else.
        raise NotMeasured(
            reason("overload", instrument=inductance.instrument, quantity=inductance.quantity.value)
        )
    return values


def _require_agreement(
    context: Context, step: InductanceStep, inductances: list[float], resistances: list[float]
) -> None:
    """Both components against |Z|: a small one may well be noisy."""
    omega = 2 * math.pi * step.test_frequency_hz
    within_ohm = AGREEMENT * math.hypot(omega * inductances[0], resistances[0])
    name = context.bench.lcr.name
    for values, what in (
        ([omega * each for each in inductances], Quantity.SERIES_INDUCTANCE),
        (resistances, Quantity.SERIES_RESISTANCE),
    ):
        require_agreement(values, within=within_ohm, instrument=name, what=what.value)


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
    basic = _basic_accuracy(context, inductance_h, frequency_hz)
    noise_l = spread_term("repeatability", inductances)
    noise_r = spread_term("repeatability", resistances)
    terms_l = (_gain(basic, inductance_h), _phase(basic, inductance_h / quality), noise_l)
    # An angle read too large makes X of R: L up, R down (R + jX turned by d is R - X d + j(X + R d)).
    terms_r = (_gain(basic, resistance_ohm), _phase(basic, -resistance_ohm * quality), noise_r)
    # The gain drops out of a quotient; a phase error moves L and R in opposite senses.
    terms_q = (
        _phase(basic, 1 + quality * quality),
        scaled(noise_l, quality / inductance_h),
        scaled(noise_r, quality / resistance_ohm),
    )
    return (
        measured(f"L{step.suffix}", "H", inductance_h, terms_l, messages=messages),
        measured(f"Rs{step.suffix}", "ohm", resistance_ohm, terms_r, messages=messages),
        measured(f"Q{step.suffix}", "1", quality, terms_q, messages=messages),
    )


def _basic_accuracy(context: Context, inductance_h: float, frequency_hz: float) -> Term:
    """The meter's accuracy A for a pure element, relative."""
    return accuracy_term(
        context,
        "lcr",
        Quantity.SERIES_INDUCTANCE,
        inductance_h,
        name="basic accuracy",
        sensitivity=1.0 / inductance_h,
        frequency_hz=frequency_hz,
    )


def _gain(basic: Term, sensitivity: float) -> Term:
    return scaled(basic, sensitivity, name="meter gain")


def _phase(basic: Term, sensitivity: float) -> Term:
    return scaled(basic, sensitivity, name="meter phase")

