"""What a method is given, and what it gives back."""

import math
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field, replace
from typing import Protocol

from drivers.clock import Clock
from drivers.instruments import Fixture, LcrMeter, Route, Source, SourceSetup, Thermometer
from drivers.readings import Quantity, Reading, ReadingStatus
from station.core.accuracy import half_width
from station.core.equipment import Bench
from station.core.events import Event
from station.core.plan import Plan
from station.core.reasons import reason
from station.core.results import Reason, Result, ResultStatus, Shape, Term
from station.core.run_record import Trace
from station.core.uncertainty import combine, expanded_uncertainty
from station.errors import StationError
from station.heat_memory import HeatInMemory, HeatMemory


class NotMeasured(StationError):
    """A method could not get a number that can be believed. Ends in INVALID, never in a value."""

    def __init__(self, why: Reason) -> None:
        super().__init__(f"{why.words} {why.remedy}".strip())
        self.reason = why


class MethodBench(Protocol):
    """The part of an open bench that methods use."""

    clock: Clock
    setup: Bench

    @property
    def lcr(self) -> LcrMeter:
        """The LCR meter."""
        ...

    @property
    def source(self) -> Source:
        """The source; its output goes on by `drive` only."""
        ...

    @property
    def fixture(self) -> Fixture:
        """The fixture."""
        ...

    @property
    def thermometer(self) -> Thermometer:
        """The thermometer."""
        ...

    @property
    def watched(self) -> bool:
        """True if a watchdog of its own process looks after the drive."""
        ...

    def drive(self, setup: SourceSetup, *, route: Route | None = None) -> AbstractContextManager[Source]:
        """The only way to have the output on, over `route`; off and verified on every way out."""
        ...

    def message_count(self) -> int:
        """Return how many messages the run's transcript holds so far."""
        ...


def _untold(_event: Event) -> None:
    """Nobody listens."""


def _no_spacer(height_m: float) -> None:
    raise NotMeasured(reason("spacer_missing", height_mm=f"{height_m * 1e3:g}"))


@dataclass(frozen=True, slots=True)
class Context:
    """One unit on one bench under one plan.

    `design_field(height_m, lateral_m)` is the drawing's flux density per ampere, in T/A, at a height over the
    top copper and a distance off the axis. `place_spacer(height_m)` asks the operator, for a fixture without
    a stage. `heat` keeps what must outlive the run: a hot nest, audits of early stops. `tell` takes events for
    whoever looks on; it neither blocks nor raises.
    """

    bench: MethodBench
    plan: Plan
    design_field: Callable[[float, float], float] | None = None
    place_spacer: Callable[[float], None] = field(default=_no_spacer)
    heat: HeatMemory = field(default_factory=HeatInMemory)
    tell: Callable[[Event], object] = _untold


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a method measured."""

    results: tuple[Result, ...]
    traces: tuple[Trace, ...] = ()


def good_value(reading: Reading) -> float:
    """Return the reading's value, or raise `NotMeasured` with the cause that its status names."""
    if reading.value is not None and reading.status is ReadingStatus.GOOD and math.isfinite(reading.value):
        return reading.value
    code = "sensor_open" if reading.status is ReadingStatus.SENSOR_OPEN else "overload"
    raise NotMeasured(reason(code, instrument=reading.instrument, quantity=reading.quantity.value))


def accuracy_term(
    context: Context,
    kind: str,
    quantity: Quantity,
    value: float,
    *,
    name: str,
    sensitivity: float = 1.0,
    frequency_hz: float | None = None,
) -> Term:
    """Return the bench file's accuracy of a reading as an uncertainty term (GUM 4.3.7: a / sqrt 3).

    Args:
        kind: which instrument, such as `lcr`.
        value: the reading, SI.
        sensitivity: change of the result per change of the reading (GUM 5.1.3).

    Raises:
        BenchError: no accuracy entry covers the value.
    """
    instrument = context.bench.setup.instrument(kind)
    accuracies = () if instrument is None else instrument.accuracies
    width, shape = half_width(accuracies, quantity.value, value, frequency_hz=frequency_hz)
    return width_term(name, width * sensitivity, shape=Shape(shape))


def width_term(name: str, half_width_value: float, *, shape: Shape = Shape.RECTANGULAR) -> Term:
    """Return a term from a half width: a / sqrt 3 if rectangular, a / 2 if a is two standard deviations.

    Its sign says where the result goes if the cause is at its upper end: negative for down.
    """
    divisor = math.sqrt(3.0) if shape is Shape.RECTANGULAR else 2.0
    return Term(name, abs(half_width_value) / divisor, math.inf, shape, 1 if half_width_value >= 0.0 else -1)


def scaled(term: Term, factor: float, *, name: str | None = None) -> Term:
    """Return a term times a sensitivity, sign and all; under another name if one is given."""
    sign = term.sign if factor >= 0.0 else -term.sign
    return replace(
        term, name=name or term.name, standard_uncertainty=term.standard_uncertainty * abs(factor), sign=sign
    )


def require_agreement(values: Sequence[float], *, within: float, instrument: str, what: str) -> None:
    """Raise `NotMeasured` if readings of one thing differ by more than `within`, in their own unit.

    A single reading that is wrong (a bad contact for a moment, a damaged reply that still reads as a number)
    would move the mean, and hide in a large uncertainty.
    """
    if max(values) - min(values) > within:
        raise NotMeasured(reason("readings_jump", instrument=instrument, quantity=what))


def spread_term(name: str, values: list[float]) -> Term:
    """Return the type A term of a mean of `values`: s / sqrt n with n - 1 degrees of freedom (GUM 4.2.3)."""
    count = len(values)
    mean = sum(values) / count
    variance = sum((each - mean) ** 2 for each in values) / (count - 1)
    return Term(name, math.sqrt(variance / count), count - 1)


def measured(
    characteristic: str,
    unit_symbol: str,
    value: float,
    terms: tuple[Term, ...],
    *,
    messages: tuple[int, int] | None = None,
) -> Result:
    """Return a MEASURED result with its combined and expanded (95 %) uncertainty."""
    standard_uncertainty, degrees_of_freedom = combine(terms)
    return Result(
        characteristic,
        unit_symbol,
        ResultStatus.MEASURED,
        value=value,
        standard_uncertainty=standard_uncertainty,
        degrees_of_freedom=degrees_of_freedom,
        expanded_uncertainty=expanded_uncertainty(terms),
        terms=terms,
        messages=messages,
    )
