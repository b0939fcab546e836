"""A guard band as a plan writes it: a multiple of U95, or a largest consumer's risk (JCGM 106)."""

import math
import re

from station.core.plan import Guard
from station.core.quantity import Dimension, QuantityError, format_quantity, parse_quantity

LARGEST_FACTOR = 5.0
LEAST_RISK, LARGEST_RISK = 1e-6, 0.5
"""At 50 % a specific risk is simple acceptance; more would accept readings outside the limit."""

_FACTOR = re.compile(r"(?:([0-9]+(?:\.[0-9]+)?)\s*)?U95")
_SPECIFIC = re.compile(r"specific risk (.+)")
_GLOBAL = re.compile(r"global risk ([^,]+),\s*mean ([^,]+),\s*standard deviation (.+)")


def parse_guard(text: str, unit_symbol: str) -> Guard:
    """Return the guard band that `text` states; quantities of the process are in `unit_symbol`.

    Raises ValueError, saying what would be right.

    >>> parse_guard("0.5 U95", "ohm").factor
    0.5
    >>> parse_guard("specific risk 2.5 %", "ohm").specific_risk
    0.025
    """
    text = text.strip()
    if text == "none":
        return Guard(0.0)
    specific, whole = _SPECIFIC.fullmatch(text), _GLOBAL.fullmatch(text)
    if specific:
        return Guard(0.0, specific_risk=_risk(specific.group(1)))
    if whole:
        mean, deviation = (_quantity(whole.group(i), unit_symbol, word) for i, word in ((2, "mean"), (3, "spread")))
        if not deviation > 0.0:
            raise ValueError(f"needs a standard deviation above 0; got {whole.group(3)!r}")
        return Guard(0.0, global_risk=_risk(whole.group(1)), process_mean=mean, process_deviation=deviation)
    match = _FACTOR.fullmatch(text)
    factor = float(match.group(1) or 1.0) if match else math.nan
    if not 0.0 < factor <= LARGEST_FACTOR:
        raise ValueError(
            "must be 'U95', a multiple such as '0.5 U95' (at most 5), 'specific risk 2.5 %', "
            f"'global risk 0.1 %, mean Q, standard deviation Q', or 'none'; got {text[:60]!r}"
        )
    return Guard(factor)


def _risk(text: str) -> float:
    try:
        risk = parse_quantity(text.strip(), Dimension.FRACTION)
    except QuantityError as error:
        raise ValueError(f"states a risk that {error}") from error
    if not LEAST_RISK <= risk <= LARGEST_RISK:
        raise ValueError(f"states a risk that must be from 0.0001 % to 50 %; got {text.strip()!r}")
    return risk


def _quantity(text: str, unit_symbol: str, word: str) -> float:
    try:
        return parse_quantity(text.strip(), unit_symbol)
    except QuantityError as error:
        raise ValueError(f"states a {word} of the process that {error}") from error


def guard_text(guard: Guard, unit_symbol: str) -> str:
    """Return a guard band as text that gives the same numbers back."""
    if guard.specific_risk is not None:
        return f"specific risk {_percent(guard.specific_risk)}"
    if guard.global_risk is not None:
        mean, deviation = (
            format_quantity(each, unit_symbol, digits=None) for each in (guard.process_mean, guard.process_deviation)
        )
        return f"global risk {_percent(guard.global_risk)}, mean {mean}, standard deviation {deviation}"
    return "none" if guard.factor == 0 else "U95" if guard.factor == 1 else f"{guard.factor!r} U95"


def _percent(risk: float) -> str:
    return format_quantity(risk, Dimension.FRACTION, digits=None)
