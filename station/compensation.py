"""Open and short correction of the LCR meter, each only after the meter has read what it is to correct for.

A correction taken with a coil in the nest would be taken off every coil after it: so the nest must read open
before the open correction, and as good as shorted before the short one. What is left afterwards must be within
what the bench file claims of the contacts, since that is what the budget of every result rests on.
"""

import math
from collections.abc import Callable, Sequence

from drivers.errors import InstrumentError
from drivers.instruments import LcrSetup, Route
from drivers.readings import Quantity
from station.core.plan import InductanceStep, Plan, ResistanceStep
from station.core.verification import VerificationValue
from station.methods.ranges import impedance_range, resistance_range
from station.sequencer import RunBench

SHORTING_PIECE = "SHORT"
"""What the hands are asked to load."""

LEAST_OPEN_OHM = 1e5
"""An empty nest has some picofarads: above this at 100 kHz, if the meter reads anything at all."""

LARGEST_SHORT_OHM = 0.1
"""More than this before the correction is no shorting piece in sound contacts (common practice, no source)."""

SHARE_OF_REACTANCE = 1e-3
"""What may be left of the short's reactance, as a share of the smallest reactance that the plan judges."""


def correct_open(bench: RunBench, plan: Plan) -> tuple[VerificationValue, ...]:
    """Take the open correction with the nest empty and return what was found."""
    return _guarded("open impedance", lambda: _open(bench, plan))


def correct_short(bench: RunBench, plan: Plan) -> tuple[VerificationValue, ...]:
    """Take the short correction with the shorting piece in the nest; return the readings before and after."""
    return _guarded("short before correction", lambda: _short(bench, plan))


def _guarded(
    name: str, measure: Callable[[], Sequence[VerificationValue]]
) -> tuple[VerificationValue, ...]:
    try:
        return tuple(measure())
    except InstrumentError as error:
        return (VerificationValue("", name, "ohm", None, False, f"{name}: {error}"),)


def _open(bench: RunBench, plan: Plan) -> list[VerificationValue]:
    before = _impedance(bench, plan)
    found = _value("open impedance", "ohm", before, lower=LEAST_OPEN_OHM, open_is_right=True)
    if not found.agrees:
        return [found]
    bench.lcr.correct_open()
    after = _impedance(bench, plan)
    return [_value("open impedance", "ohm", after, lower=LEAST_OPEN_OHM, open_is_right=True)]


def _short(bench: RunBench, plan: Plan) -> list[VerificationValue]:
    before = _impedance(bench, plan)
    found = _value("short before correction", "ohm", before, upper=LARGEST_SHORT_OHM)
    if not found.agrees:
        return [found]
    bench.lcr.correct_short()
    return [found, *_left_over(bench, plan)]


def _left_over(bench: RunBench, plan: Plan) -> list[VerificationValue]:
    contacts_ohm = bench.setup.fixture.contact_half_width_ohm
    left: list[VerificationValue] = []
    for step in plan.steps:
        if isinstance(step, ResistanceStep):
            bench.lcr.configure(_direct(plan, step))
            (reading,) = bench.lcr.measure()
            left.append(_within("short DC resistance", reading.value, contacts_ohm))
    for inductance in _inductance_steps(plan):
        bench.lcr.configure(_alternating(plan, inductance))
        series, resistance = bench.lcr.measure()
        omega = 2.0 * math.pi * inductance.test_frequency_hz
        allowed = max(contacts_ohm, SHARE_OF_REACTANCE * omega * _least_inductance_h(plan))
        reactance = None if series.value is None else omega * series.value
        left.append(_within(f"short resistance{inductance.suffix}", resistance.value, contacts_ohm))
        left.append(_within(f"short reactance{inductance.suffix}", reactance, allowed))
    return left


def _impedance(bench: RunBench, plan: Plan) -> float | None:
    """|Z| in ohm at the plan's first frequency, or the direct resistance; None: the meter shows no number."""
    bench.fixture.set_route(Route.LCR)
    step = next(iter(_inductance_steps(plan)), None)
    if step is None:
        resistance = next((each for each in plan.steps if isinstance(each, ResistanceStep)), None)
        if resistance is None:
            raise InstrumentError(f"{bench.lcr.name}: plan {plan.part} measures neither R nor L: nothing to correct")
        bench.lcr.configure(_direct(plan, resistance))
        (reading,) = bench.lcr.measure()
        return None if reading.value is None else abs(reading.value)
    bench.lcr.configure(_alternating(plan, step))
    series, resistance_reading = bench.lcr.measure()
    if series.value is None or resistance_reading.value is None:
        return None
    return math.hypot(2.0 * math.pi * step.test_frequency_hz * series.value, resistance_reading.value)


def _inductance_steps(plan: Plan) -> tuple[InductanceStep, ...]:
    return tuple(each for each in plan.steps if isinstance(each, InductanceStep))


def _direct(plan: Plan, step: ResistanceStep) -> LcrSetup:
    quantities = (Quantity.DC_RESISTANCE,)
    return LcrSetup(quantities, 0.0, step.level_v, step.averaging, resistance_range(plan, step))


def _alternating(plan: Plan, step: InductanceStep) -> LcrSetup:
    quantities = (Quantity.SERIES_INDUCTANCE, Quantity.SERIES_RESISTANCE)
    frequency_hz = step.test_frequency_hz
    return LcrSetup(quantities, frequency_hz, step.level_v, step.averaging, impedance_range(plan, step))


def _least_inductance_h(plan: Plan) -> float:
    found = plan.characteristic("L")
    return 0.0 if found is None or found.lower is None else found.lower


def _within(name: str, value: float | None, allowed: float) -> VerificationValue:
    return _value(name, "ohm", value, lower=-allowed, upper=allowed)


def _value(
    name: str,
    unit_symbol: str,
    value: float | None,
    *,
    lower: float | None = None,
    upper: float | None = None,
    open_is_right: bool = False,
) -> VerificationValue:
    agrees = is_within(value, lower, upper) if value is not None else open_is_right
    return VerificationValue(
        subject="",
        characteristic=name,
        unit_symbol=unit_symbol,
        value=value,
        agrees=agrees,
        words="" if agrees else f"{name}: {_said(value)}; {_ADVICE[open_is_right]}",
        lower=lower,
        upper=upper,
    )


_ADVICE = {
    True: "the nest must be empty and its needles apart",
    False: "put the clean shorting piece in and look at the needles",
}


def _said(value: float | None) -> str:
    return "no reading" if value is None else f"{value:.4g} ohm"


def is_within(value: float, lower: float | None, upper: float | None) -> bool:
    """Tell whether a value lies between its bounds, ends included; NaN never does."""
    return (lower is None or value >= lower) and (upper is None or value <= upper) and not math.isnan(value)
