"""DC resistance, four-wire, reduced to 20 degC once it has held still.

A film that was held in a hand is a few kelvin above the nest and reads 0.39 %/K high. The thermometer can't
see that, the resistance can: it is still moving. A straight line through readings before and after an interval
says how fast; what may still be to come is that slope times the coil's longest time constant in the nest. Only
a slope that is lost in its own doubt counts as still, and its doubt is a term of the budget.
"""

from dataclasses import dataclass

from drivers.instruments import LcrSetup, Route
from drivers.readings import Quantity, Reading, ReadingStatus
from station.core.events import ReadingTaken
from station.core.plan import ResistanceStep
from station.core.reasons import reason
from station.core.results import Term
from station.core.run_record import Trace
from station.methods.context import (
    Context,
    NotMeasured,
    Outcome,
    accuracy_term,
    measured,
    require_agreement,
    spread_term,
    width_term,
)
from station.methods.ranges import resistance_range
from station.methods.temperature import coil_temperature, temperature_terms

WINDOW = 6
"""Readings that the result rests on: one before the interval, the others right after it."""

SLOPE_FACTOR = 3.0
"""A slope beyond so many of its standard uncertainties is a coil that is still cooling or warming."""

AGREEMENT = 5e-3
"""What readings that have held still may differ among themselves, relative: far above their noise, and far
below what a reading of something else would show."""


@dataclass(frozen=True, slots=True)
class _Sample:
    time_s: float
    resistance_ohm: float
    temperature_degc: float
    at_20_ohm: float


def reduce_to_20(resistance_ohm: float, temperature_degc: float, *, k: float) -> float:
    """Return copper's resistance at 20 degC: R (k + 20) / (k + T), IEC 60034-1, 8.6.2; k in degC."""
    return resistance_ohm * (k + 20.0) / (k + temperature_degc)


def measure_resistance(context: Context, step: ResistanceStep) -> Outcome:
    """Measure `R20` in ohm.

    Raises:
        NotMeasured: the coil reads open (`coil_open`), or does not hold still in time (`not_still`).
    """
    bench = context.bench
    first_message = bench.message_count()
    samples = _hold_still(context, step)
    still = samples[-WINDOW:]
    value = sum(each.at_20_ohm for each in still) / len(still)
    require_agreement(
        [each.at_20_ohm for each in still],
        within=AGREEMENT * value,
        instrument=bench.lcr.name,
        what=Quantity.DC_RESISTANCE.value,
    )
    terms = _terms(context, step, still, value)
    messages = (first_message, bench.message_count())
    return Outcome((measured("R20", "ohm", value, terms, messages=messages),), (_trace(samples),))


def wait_until_still(context: Context, step: ResistanceStep) -> float:
    """Wait until the winding's temperature holds still; return what may be left of its warmth, in K.

    That is the standard uncertainty of the slope times the longest time constant, as in the budget of `R20`.

    Raises:
        NotMeasured: as `measure_resistance`.
    """
    still = _hold_still(context, step)[-WINDOW:]
    last = still[-1]
    kelvins = context.plan.winding_constant_k + last.temperature_degc
    return kelvins * _slope(still)[1] * step.still_time_constant_s / last.resistance_ohm


def _hold_still(context: Context, step: ResistanceStep) -> list[_Sample]:
    """Connect the meter and take samples until the last `WINDOW` of them hold still."""
    bench = context.bench
    bench.fixture.set_route(Route.LCR)
    bench.lcr.configure(
        LcrSetup(
            (Quantity.DC_RESISTANCE,),
            0.0,
            level_v=step.level_v,
            averaging=step.averaging,
            range_ohm=resistance_range(context.plan, step),
        )
    )
    clock = bench.clock
    samples = _samples(context, 1)
    while True:
        _tell(context, samples[-1])
        clock.sleep(step.still_interval_s)
        samples.extend(_samples(context, WINDOW - 1))
        if _is_still(samples[-WINDOW:], step):
            return samples
        if samples[-1].time_s - samples[0].time_s > step.still_timeout_s:
            raise NotMeasured(reason("not_still", seconds=f"{step.still_timeout_s:g}"))


def _tell(context: Context, sample: _Sample) -> None:
    context.tell(ReadingTaken(characteristic="R20", unit_symbol="ohm", value=sample.at_20_ohm))


def _is_still(window: list[_Sample], step: ResistanceStep) -> bool:
    """Tell whether the step across the interval is small, and the slope not more than its own doubt."""
    before, after = window[0].resistance_ohm, window[1].resistance_ohm
    slope, doubt = _slope(window)
    return abs(after - before) <= step.still_fraction * after and abs(slope) <= SLOPE_FACTOR * doubt


def _slope(window: list[_Sample]) -> tuple[float, float]:
    """Return slope and its standard uncertainty, ohm/s, of the least-squares line (GUM H.3.3)."""
    count = len(window)
    mean_s = sum(each.time_s for each in window) / count
    mean_ohm = sum(each.resistance_ohm for each in window) / count
    spread = sum((each.time_s - mean_s) ** 2 for each in window)
    slope = sum((each.time_s - mean_s) * (each.resistance_ohm - mean_ohm) for each in window) / spread
    rest = sum((each.resistance_ohm - mean_ohm - slope * (each.time_s - mean_s)) ** 2 for each in window)
    return slope, (rest / (count - 2) / spread) ** 0.5


def _samples(context: Context, count: int) -> list[_Sample]:
    """Take resistance and temperature in turn, `count` of each; they count together or not at all."""
    resistances, temperatures = context.bench.lcr.group(), context.bench.thermometer.group()
    for _ in range(count):
        resistances.take()
        temperatures.take()
    pairs = zip(resistances.hand_out(), temperatures.hand_out(), strict=True)
    return [_sample(context, resistance, temperature) for (resistance,), temperature in pairs]


def _sample(context: Context, reading: Reading, temperature: tuple[Reading, Reading]) -> _Sample:
    if reading.status is ReadingStatus.OVERLOAD:
        raise NotMeasured(reason("coil_open"))
    if reading.value is None or not reading.value > 0:
        raise NotMeasured(reason("overload", instrument=reading.instrument, quantity=reading.quantity.value))
    temperature_degc = coil_temperature(temperature)
    at_20_ohm = reduce_to_20(reading.value, temperature_degc, k=context.plan.winding_constant_k)
    return _Sample(reading.monotonic_s, reading.value, temperature_degc, at_20_ohm)


def _terms(
    context: Context, step: ResistanceStep, still: list[_Sample], value: float
) -> tuple[Term, ...]:
    last = still[-1]
    per_ohm = value / last.resistance_ohm
    # A winding taken for too warm is reduced too far: R20 comes out low.
    per_kelvin = -value / (context.plan.winding_constant_k + last.temperature_degc)
    return (
        accuracy_term(
            context,
            "lcr",
            Quantity.DC_RESISTANCE,
            last.resistance_ohm,
            name="meter",
            sensitivity=per_ohm,
        ),
        width_term("contacts", per_ohm * context.bench.setup.fixture.contact_half_width_ohm),
        *temperature_terms(context, last.temperature_degc, per_kelvin),
        Term("still warm", per_ohm * _slope(still)[1] * step.still_time_constant_s, len(still) - 2.0),
        spread_term("repeatability", [each.at_20_ohm for each in still]),
    )


def _trace(samples: list[_Sample]) -> Trace:
    return Trace(
        "holding_still",
        (
            ("time_s", tuple(each.time_s for each in samples)),
            ("resistance_ohm", tuple(each.resistance_ohm for each in samples)),
            ("temperature_degc", tuple(each.temperature_degc for each in samples)),
        ),
    )
