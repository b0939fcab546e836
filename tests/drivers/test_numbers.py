"""Response numbers: what is one, what is a status, what is neither."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.errors import ReplyError
from drivers.numbers import format_number, parse_integer, parse_number, parse_value, shown
from drivers.readings import ReadingStatus

LARGEST = 9.7e37


@pytest.mark.parametrize(
    ("field", "value"),
    [
        (b"+123", 123.0),
        (b"-7", -7.0),
        (b"0", 0.0),
        (b"12.34", 12.34),
        (b"-0.001", -0.001),
        (b"+1.0", 1.0),
        (b"+1.23456E-06", 1.23456e-6),
        (b"1.0E3", 1000.0),
        (b"1E+3", 1000.0),
    ],
)
def test_number_in_standard_form_has_value(field: bytes, value: float) -> None:
    """NR1, NR2 and NR3 are numbers: examples of IEEE 488.2-1992, 8.7.2 to 8.7.4, and two liberties."""

    assert (value, ReadingStatus.GOOD) == parse_number(field)


@pytest.mark.parametrize(
    ("field", "status"),
    [
        (b"9.91E37", ReadingStatus.NOT_A_NUMBER),
        (b"+9.91000E+37", ReadingStatus.NOT_A_NUMBER),
        (b"9.9E37", ReadingStatus.OVERLOAD),
        (b"+9.90000E+37", ReadingStatus.OVERLOAD),
        (b"-9.9E37", ReadingStatus.OVERLOAD),
        (b"99000000000000000000000000000000000000", ReadingStatus.OVERLOAD),
    ],
)
def test_special_number_is_status_without_value(field: bytes, status: ReadingStatus) -> None:
    """Infinity and not-a-number of SCPI-1999 vol. 1, 7.2.1.4 and 7.2.1.5 never become values."""

    assert (None, status) == parse_number(field)


LENIENT = (
    *(b"nan", b"NaN", b"inf", b"-inf", b"1_0", b"1.5,", b"", b" ", b" 1", b"1 ", b"1\r", b"1\n", b"\xb21"),
    *(b"0x10", b"1.", b".5", b"1E", b"E5", b"++1", b"+-1", b"1,5", b"1.5e3", "\u0663".encode()),
    *(b"1E400", b"-9.91E37", b"9.8E37", b"1" * 41),
)


@pytest.mark.parametrize("field", LENIENT)
def test_lenient_number_is_refused(field: bytes) -> None:
    """What lenient parsers accept is a reply error that carries the bytes."""
    with pytest.raises(ReplyError) as caught:
        parse_number(field)

    assert field == caught.value.received


@given(st.floats(min_value=-LARGEST, max_value=LARGEST))
def test_formatted_number_parses_to_itself(value: float) -> None:
    """What we write as a setting we would read as the same number, to seven digits."""
    parsed, status = parse_number(format_number(value).encode())

    assert ReadingStatus.GOOD is status
    assert parsed is not None
    assert math.isclose(value, parsed, rel_tol=1e-6, abs_tol=1e-300)


@given(st.floats(min_value=-LARGEST, max_value=LARGEST), st.integers(min_value=0, max_value=16))
def test_nr3_of_any_length_parses_to_itself(value: float, digits: int) -> None:
    """A number that an instrument writes with so many digits is read as written."""
    text = f"{value:+.{digits}E}"

    assert (float(text), ReadingStatus.GOOD) == parse_number(text.encode())


@given(st.integers(min_value=-(10**9), max_value=10**9))
def test_integer_parses_to_itself(value: int) -> None:
    """NR1 round trip, with a sign."""

    assert value == parse_integer(f"{value:+d}".encode())


@given(st.binary(max_size=50))
def test_any_bytes_give_finite_value_status_or_reply_error(field: bytes) -> None:
    """No bytes whatever give an infinite value, another exception, or a value with a status."""
    try:
        value, status = parse_number(field)
    except ReplyError:
        return

    assert (value is not None) == (status is ReadingStatus.GOOD)
    assert value is None or math.isfinite(value)


@pytest.mark.parametrize("field", [b"1.0", b"1E3", b"", b"x", b"1_0", b"9" * 41])
def test_integer_in_other_form_is_refused(field: bytes) -> None:
    """An integer is NR1 and nothing else."""
    with pytest.raises(ReplyError):
        parse_integer(field)


def test_value_of_special_number_is_refused() -> None:
    """A setting read back as overload is an error."""
    with pytest.raises(ReplyError, match="overload"):
        parse_value(b"9.9E37")


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 9.9e37])
def test_setting_that_is_no_number_is_refused(value: float) -> None:
    """Nothing but finite numbers goes into a program message."""
    with pytest.raises(ValueError, match="finite"):
        format_number(value)


def test_long_bytes_are_shown_cut() -> None:
    """A message never carries a screenful."""

    assert len(shown(b"7" * 100_000)) < 100
