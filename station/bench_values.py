"""What a bench must show with its nest empty before a reference unit is worth loading."""

from collections.abc import Iterator
from datetime import date

from drivers.errors import InstrumentError
from drivers.readings import Quantity
from station.checking import COLD_DEGC, STILL_FIELD_T, WARM_DEGC, check_empty
from station.compensation import is_within
from station.core.verification import VerificationValue
from station.methods.temperature import DISAGREE_K
from station.sequencer import RunBench


def check_empty_bench(bench: RunBench, today: date) -> tuple[VerificationValue, ...]:
    """Return identities and due dates, the empty nest, both temperatures and the field sensor's zero."""
    checks = tuple(
        VerificationValue("", each.name, "", None, each.sound, "" if each.sound else f"{each.name}: {each.words}")
        for each in check_empty(bench, None, today)
    )
    try:
        return (*checks, *_temperatures(bench), _field_zero(bench))
    except InstrumentError as error:
        return (*checks, VerificationValue("", "readings at rest", "", None, False, str(error)))


def _temperatures(bench: RunBench) -> Iterator[VerificationValue]:
    near, ambient = bench.thermometer.measure()
    yield _value("coil temperature", "degC", near.value, COLD_DEGC, WARM_DEGC)
    yield _value("ambient temperature", "degC", ambient.value, COLD_DEGC, WARM_DEGC)
    apart = None if near.value is None or ambient.value is None else near.value - ambient.value
    yield _value("coil against ambient", "K", apart, -DISAGREE_K, DISAGREE_K)


def _field_zero(bench: RunBench) -> VerificationValue:
    reading = bench.fixture.measure_field(mains_cycles=2)
    name = "field zero" if reading.quantity is Quantity.FLUX_DENSITY else reading.quantity.value
    return _value(name, "T", reading.value, -STILL_FIELD_T, STILL_FIELD_T)


def _value(
    name: str, unit_symbol: str, value: float | None, lower: float, upper: float
) -> VerificationValue:
    agrees = value is not None and is_within(value, lower, upper)
    said = "no reading" if value is None else f"{value:.4g} {unit_symbol}"
    words = "" if agrees else f"{name}: {said}; {lower:g} to {upper:g} {unit_symbol} is plausible"
    return VerificationValue(
        "", name, unit_symbol, value, agrees, words, lower=lower, upper=upper
    )
