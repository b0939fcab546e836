"""Quantities as people write them: a number and a unit in one text, such as "7.8 ohm", "28 uH", "45 K".

Table-driven and exact: "28 uH" is the same float as the literal 28e-6. In code, units are SI and unscaled.
Prefixes after the SI brochure (9th edition, table 7); `u` stands for micro as well as the sign does.
"""

import math
import re
from decimal import Decimal
from enum import StrEnum


class Dimension(StrEnum):
    """The unit symbol that a value has in code."""

    RESISTANCE = "ohm"
    INDUCTANCE = "H"
    LENGTH = "m"
    CURRENT = "A"
    VOLTAGE = "V"
    FLUX_DENSITY = "T"
    TEMPERATURE = "degC"
    TEMPERATURE_DIFFERENCE = "K"
    FREQUENCY = "Hz"
    TIME = "s"
    POWER = "W"
    FLUX_DENSITY_PER_CURRENT = "T/A"
    THERMAL_RESISTANCE = "K/W"
    FRACTION = "%"
    """A fraction of one: "0.05 %" is 0.0005."""
    NUMBER = "1"
    ANGLE = "rad"


class QuantityError(ValueError):
    """A text is no quantity of the dimension asked for; the message says what would be right."""


_PREFIXES = {"p": -12, "n": -9, "u": -6, "\N{MICRO SIGN}": -6, "\N{GREEK SMALL LETTER MU}": -6, "m": -3}
_PREFIXES |= {"": 0, "k": 3, "M": 6, "G": 9}
_FOR_PEOPLE = {-12: "p", -9: "n", -6: "u", -3: "m", 0: "", 3: "k", 6: "M", 9: "G"}

_SPELLINGS: dict[Dimension, tuple[str, ...]] = {
    Dimension.RESISTANCE: ("ohm", "\N{GREEK CAPITAL LETTER OMEGA}", "\N{OHM SIGN}"),
    Dimension.TEMPERATURE: ("degC", "\N{DEGREE SIGN}C"),
    Dimension.NUMBER: ("", "1"),
}
"""Other spellings of a unit; the first is the one that we write."""

_WITHOUT_PREFIX: dict[Dimension, dict[str, Decimal]] = {
    Dimension.LENGTH: {"cm": Decimal("0.01")},
    Dimension.TIME: {"min": Decimal(60), "h": Decimal(3600)},
    Dimension.FRACTION: {"%": Decimal("0.01"), "ppm": Decimal("1e-6")},
}
_NO_PREFIX = {Dimension.TEMPERATURE, Dimension.FRACTION, Dimension.NUMBER}

_EXAMPLES: dict[Dimension, str] = {
    Dimension.RESISTANCE: "7.8 ohm",
    Dimension.INDUCTANCE: "28 uH",
    Dimension.LENGTH: "0.12 mm",
    Dimension.CURRENT: "100 mA",
    Dimension.VOLTAGE: "3 V",
    Dimension.FLUX_DENSITY: "1.2 mT",
    Dimension.TEMPERATURE: "23 degC",
    Dimension.TEMPERATURE_DIFFERENCE: "45 K",
    Dimension.FREQUENCY: "100 kHz",
    Dimension.TIME: "2 s",
    Dimension.POWER: "0.5 W",
    Dimension.FLUX_DENSITY_PER_CURRENT: "8 mT/A",
    Dimension.THERMAL_RESISTANCE: "70 K/W",
    Dimension.FRACTION: "0.05 %",
    Dimension.NUMBER: "12.5",
    Dimension.ANGLE: "1.5 mrad",
}

_TEXT = re.compile(
    r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?)\s*([^\s0-9.+-][^\s]*|1)?\s*"
)
_LENGTH_LIMIT = 60


def _scales() -> dict[Dimension, dict[str, Decimal]]:
    table = {}
    for dimension in Dimension:
        prefixes = {"": 0} if dimension in _NO_PREFIX else _PREFIXES
        units = _SPELLINGS.get(dimension, (dimension.value,))
        scales = {prefix + unit: Decimal(1).scaleb(n) for unit in units for prefix, n in prefixes.items()}
        table[dimension] = scales | _WITHOUT_PREFIX.get(dimension, {})
    return table


_SCALES = _scales()


def parse_quantity(text: str, dimension: Dimension | str) -> float:
    """Return the value of `text` in the SI unit of `dimension` (degC for temperatures, 1 for fractions).

    Raises QuantityError, saying what would be right, for anything but a finite number with a unit of that
    dimension.

    >>> parse_quantity("28 uH", Dimension.INDUCTANCE)
    2.8e-05
    >>> parse_quantity("0.05 %", "%")
    0.0005
    """
    wanted = Dimension(dimension)
    match = _TEXT.fullmatch(text) if len(text) <= _LENGTH_LIMIT else None
    if match is None:
        raise QuantityError(
            f"must be a number with its unit, such as {_EXAMPLES[wanted]!r}; got {text[:60]!r}"
        )
    number, unit = match.group(1), match.group(2) or ""
    scale = _SCALES[wanted].get(unit)
    if scale is None:
        raise QuantityError(_unit_message(text, unit, wanted))
    value = float(Decimal(number) * scale)
    if not math.isfinite(value):
        raise QuantityError(f"must be a finite number, such as {_EXAMPLES[wanted]!r}; got {text!r}")
    return value


def _unit_message(text: str, unit: str, wanted: Dimension) -> str:
    example = f"such as {_EXAMPLES[wanted]!r}; got {text!r}"
    if not unit:
        return f"needs its unit in the text, {example}"
    other = next((each for each in Dimension if unit in _SCALES[each]), None)
    if other is not None:
        return f"must be in {wanted} and not in {unit}, {example}"
    near = next((known for known in _SCALES[wanted] if known and known.lower() == unit.lower()), "")
    hint = f" (did you mean {near!r}?)" if near else ""
    return f"has an unknown unit {unit!r}{hint}; must be in {wanted}, {example}"


def format_quantity(value: float | None, unit_symbol: Dimension | str, *, digits: int | None = 4) -> str:
    """Return `value` (SI) with a prefix and `digits` significant digits, for people.

    `digits` None writes every digit that the float has: `parse_quantity` then gives the same float back. A
    value that is None or not finite is "no value". A unit symbol that the table doesn't know gets no prefix.

    >>> format_quantity(2.87654e-05, "H")
    '28.77 uH'
    >>> format_quantity(0.0035, "m", digits=None)
    '3.5 mm'
    """
    if value is None or not math.isfinite(value):
        return "no value"
    exact = Decimal(repr(float(value)))
    if unit_symbol == Dimension.FRACTION:
        exact = exact.scaleb(2)
    rounded = exact if digits is None or exact == 0 else _round(exact, digits)
    power = _prefix_power(rounded, unit_symbol)
    mantissa = rounded.scaleb(-power)
    number = _plain(mantissa.normalize() if digits is None else mantissa)
    unit = "" if unit_symbol == Dimension.NUMBER else f" {_FOR_PEOPLE[power]}{unit_symbol}"
    return number + unit


def _round(exact: Decimal, digits: int) -> Decimal:
    rounded = exact.quantize(Decimal(1).scaleb(exact.adjusted() - digits + 1))
    if rounded.adjusted() == exact.adjusted():
        return rounded
    # 0.99999 became 1.0000: one digit too many.
    return rounded.quantize(Decimal(1).scaleb(rounded.adjusted() - digits + 1))


def _prefix_power(rounded: Decimal, unit_symbol: str) -> int:
    if rounded == 0 or unit_symbol not in _SCALES or unit_symbol in _NO_PREFIX:
        return 0
    return max(-12, min(9, rounded.adjusted() // 3 * 3))


def _plain(number: Decimal) -> str:
    if number == 0:
        return "0"
    return f"{number:f}" if -7 < number.adjusted() < 7 else f"{number:e}"
