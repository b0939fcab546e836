"""From a data sheet's accuracy lines to the half width of a reading's error."""

from collections.abc import Iterable

from station.core.equipment import Accuracy
from station.core.results import Shape
from station.errors import BenchError

_COOL_DEGC = 18.0
_WARM_DEGC = 28.0
"""Data sheets hold within 23 degC +-5 K (common practice, no source)."""


def half_width(
    accuracies: Iterable[Accuracy],
    quantity: str,
    value: float,
    *,
    frequency_hz: float | None = None,
    temperature_degc: float | None = None,
    full_scale: float | None = None,
) -> tuple[float, Shape]:
    """Return (a, shape): the error of a reading `value` lies within +-a, in the unit of the quantity.

    Of several lines that cover the reading the widest one counts, unless `full_scale` says which range was
    used. Raises BenchError, naming quantity and value, if no line covers it: an accuracy is never guessed.

    Args:
        accuracies: the lines of one instrument.
        quantity: a reading's quantity, such as `dc_resistance_ohm`.
        value: the reading, SI.
        frequency_hz: test frequency; a line with frequency bounds covers nothing without it.
        temperature_degc: of the instrument; the line's temperature coefficient acts outside 18 to 28 degC.
        full_scale: of the range in use, SI.
    """
    # A temperature's zero is a point like any other; of all else only the size counts.
    size = value if quantity.endswith("_degc") else abs(value)
    covering = [
        each
        for each in accuracies
        if each.quantity == quantity
        and each.lower <= size <= each.upper
        and (full_scale is None or each.full_scale == full_scale)
        and _covers_frequency(each, frequency_hz)
    ]
    if not covering:
        at = "" if frequency_hz is None else f" at {frequency_hz:g} Hz"
        raise BenchError(
            f"no accuracy line of the bench file covers {quantity} = {value:g}{at}; "
            "add one to the instrument: [[instrument.accuracy]]",
            code="not_covered",
        )
    return max((_width(each, abs(value), temperature_degc), Shape(each.shape)) for each in covering)


def _covers_frequency(line: Accuracy, frequency_hz: float | None) -> bool:
    lower, upper = line.frequency_lower_hz, line.frequency_upper_hz
    if lower is None and upper is None:
        return True
    if frequency_hz is None:
        return False
    return (lower is None or lower <= frequency_hz) and (upper is None or frequency_hz <= upper)


def _width(line: Accuracy, size: float, temperature_degc: float | None) -> float:
    width = (
        line.reading_fraction * size + line.range_fraction * line.full_scale + line.counts * line.resolution
    )
    if temperature_degc is None:
        return width
    outside_k = max(_COOL_DEGC - temperature_degc, temperature_degc - _WARM_DEGC, 0.0)
    return width + line.temperature_per_k * size * outside_k
