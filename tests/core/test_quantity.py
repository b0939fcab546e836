"""Quantities as text."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.core.quantity import Dimension, QuantityError, format_quantity, parse_quantity

finite = st.floats(allow_nan=False, allow_infinity=False)


@pytest.mark.parametrize(
    ("text", "dimension", "expected"),
    [
        ("7.8 ohm", "ohm", 7.8),
        ("7.8ohm", "ohm", 7.8),
        ("2 mohm", "ohm", 2e-3),
        ("1 Mohm", "ohm", 1e6),
        ("7.8 \N{OHM SIGN}", "ohm", 7.8),
        ("7.8 k\N{GREEK CAPITAL LETTER OMEGA}", "ohm", 7800.0),
        ("28 uH", "H", 28e-6),
        ("28 \N{MICRO SIGN}H", "H", 28e-6),
        ("28 \N{GREEK SMALL LETTER MU}H", "H", 28e-6),
        ("0.12 mm", "m", 0.12e-3),
        ("3 m", "m", 3.0),
        ("1.5 cm", "m", 0.015),
        ("100 mA", "A", 0.1),
        ("1e-1 A", "A", 0.1),
        ("-3 V", "V", -3.0),
        ("1.2 mT", "T", 1.2e-3),
        ("8 mT/A", "T/A", 8e-3),
        ("45 K", "K", 45.0),
        ("-5.5 degC", "degC", -5.5),
        ("23 \N{DEGREE SIGN}C", "degC", 23.0),
        ("100 kHz", "Hz", 1e5),
        ("50 ms", "s", 0.05),
        ("2 min", "s", 120.0),
        ("0.5 W", "W", 0.5),
        ("0.05 %", "%", 5e-4),
        ("200 ppm", "%", 2e-4),
        ("12.5", "1", 12.5),
        (".5 V", "V", 0.5),
        (" 5. V ", "V", 5.0),
    ],
)
def test_parse_gives_the_same_float_as_the_literal(text: str, dimension: str, expected: float) -> None:
    """A quantity is exact: no product of two rounded numbers."""
    assert expected == parse_quantity(text, dimension)


@pytest.mark.parametrize(
    ("text", "dimension", "words"),
    [
        ("7.8", "ohm", "needs its unit in the text, such as '7.8 ohm'; got '7.8'"),
        ("0.05", "%", "needs its unit in the text, such as '0.05 %'"),
        ("7.8 V", "ohm", "must be in ohm and not in V"),
        ("7.8 Ohm", "ohm", "did you mean 'ohm'"),
        ("28 UH", "H", "did you mean"),
        ("7,8 ohm", "ohm", "must be a number with its unit"),
        ("1_0 ohm", "ohm", "must be"),
        ("nan ohm", "ohm", "must be"),
        ("inf ohm", "ohm", "must be"),
        ("1e999 V", "V", "must be a finite number"),
        ("5 mK/V", "K", "unknown unit"),
        ("3 mdegC", "degC", "unknown unit"),
        ("\N{ARABIC-INDIC DIGIT ONE} V", "V", "must be"),
        ("", "V", "must be"),
        ("1 V" + " " * 100, "V", "must be"),
        ("0x10 V", "V", "must be a number"),
    ],
)
def test_parse_refuses_and_says_what_would_be_right(text: str, dimension: str, words: str) -> None:
    """Whatever is no quantity of that dimension is refused with an example."""
    with pytest.raises(QuantityError) as caught:
        parse_quantity(text, dimension)

    assert words in str(caught.value)


@given(value=finite, dimension=st.sampled_from(Dimension))
def test_parse_gives_back_what_format_wrote_in_full(value: float, dimension: Dimension) -> None:
    """With every digit written, the same float comes back."""
    assert value == parse_quantity(format_quantity(value, dimension, digits=None), dimension)


@given(
    value=st.floats(1e-12, 1e9) | st.floats(-1e9, -1e-12),
    dimension=st.sampled_from(Dimension),
    digits=st.integers(2, 9),
)
def test_parse_gives_back_what_format_rounded(value: float, dimension: Dimension, digits: int) -> None:
    """With n significant digits, half a digit at most is lost."""
    back = parse_quantity(format_quantity(value, dimension, digits=digits), dimension)

    assert math.isclose(value, back, rel_tol=0.51 * 10.0 ** (1 - digits))


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (7.8, "ohm", "7.800 ohm"),
        (2.87654e-05, "H", "28.77 uH"),
        (0.99999, "V", "1.000 V"),
        (999.96, "ohm", "1.000 kohm"),
        (5e-4, "%", "0.05000 %"),
        (23.456, "degC", "23.46 degC"),
        (12.34567, "1", "12.35"),
        (0.0, "V", "0 V"),
        (-1.5e-3, "A", "-1.500 mA"),
        (None, "V", "no value"),
        (math.nan, "V", "no value"),
        (math.inf, "V", "no value"),
        (3.0, "furlong", "3.000 furlong"),
    ],
)
def test_format_for_people(value: float | None, unit: str, expected: str) -> None:
    """A prefix that leaves one to three digits before the point, and no number where there is none."""
    assert expected == format_quantity(value, unit)


@given(st.text(max_size=80))
def test_parse_raises_nothing_else(text: str) -> None:
    """Any text gives a finite number or a QuantityError."""
    try:
        value = parse_quantity(text, Dimension.VOLTAGE)
    except QuantityError:
        return

    assert math.isfinite(value)
