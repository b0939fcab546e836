"""Intervals as ISO 80000-2 writes them (items 2-7.7 to 2-7.15): "[6.8 ohm, 7.6 ohm)", "(-inf, 3 V]"."""

import re

from station.core.plan import Interval
from station.core.quantity import Dimension, QuantityError, format_quantity, parse_quantity

_FORM = re.compile(r"\s*([\[(])([^,\[\]()]*),([^,\[\]()]*)([\])])\s*")
_UNBOUNDED = {"-": ("-inf", "-\N{INFINITY}"), "+": ("inf", "+inf", "\N{INFINITY}", "+\N{INFINITY}")}


def parse_interval(text: str, unit_symbol: str) -> Interval:
    """Return the interval, its ends in SI. Raises ValueError, saying what would be right.

    >>> parse_interval("[6.8 ohm, 7.6 ohm)", "ohm")
    Interval(lower=6.8, upper=7.6, lower_included=True, upper_included=False)
    """
    match = _FORM.fullmatch(text) if len(text) <= 120 else None
    if match is None:
        raise QuantityError(
            f"must be an interval such as '[6.8 ohm, 7.6 ohm)' or '[3 ohm, inf)'; got {text[:60]!r}"
        )
    opening, low, high, closing = match.groups()
    lower = _end(low, unit_symbol, "-")
    upper = _end(high, unit_symbol, "+")
    interval = Interval(
        lower, upper, opening == "[" and lower is not None, closing == "]" and upper is not None
    )
    if lower is not None and upper is not None and not _holds_something(interval):
        raise QuantityError(f"must have its lower end below its upper end; got {text!r}")
    return interval


def _end(text: str, unit_symbol: str, side: str) -> float | None:
    if text.strip() in _UNBOUNDED[side]:
        return None
    return parse_quantity(text, Dimension(unit_symbol))


def _holds_something(interval: Interval) -> bool:
    if interval.lower is None or interval.upper is None or interval.lower < interval.upper:
        return True
    return interval.lower == interval.upper and interval.lower_included and interval.upper_included


def format_interval(interval: Interval, unit_symbol: str) -> str:
    """Return the interval as people write it, every digit kept; a single point as {7.6 ohm}."""
    low, high = (format_quantity(each, unit_symbol, digits=None) for each in (interval.lower, interval.upper))
    if interval.lower is not None and interval.lower == interval.upper:
        return f"{{{low}}}"
    opening = "[" if interval.lower_included and interval.lower is not None else "("
    closing = "]" if interval.upper_included and interval.upper is not None else ")"
    low, high = "-inf" if interval.lower is None else low, "inf" if interval.upper is None else high
    return f"{opening}{low}, {high}{closing}"


def contains(interval: Interval, value: float) -> bool:
    """Tell whether `value` lies in the interval; NaN lies in none."""
    lower, upper = interval.lower, interval.upper
    above = lower is None or value > lower or (interval.lower_included and value == lower)
    below = upper is None or value < upper or (interval.upper_included and value == upper)
    return above and below and value == value
