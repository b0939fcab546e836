"""Response numbers: strict where the standard library is lenient.

`float()` takes `nan`, `inf`, `1_0` and blanks; an instrument that sends one of them is broken, and its
number must not reach a limit. Forms: IEEE 488.2-1992, 8.7.2 to 8.7.4 (NR1, NR2, NR3), with the two
liberties that real instruments take (`1.0E3`, `1E+3`). Special numbers: SCPI-1999 vol. 1, 7.2.1.4 and
7.2.1.5.
"""

import re

from drivers.errors import ReplyError
from drivers.readings import ReadingStatus

INFINITY = 9.9e37
"""SCPI's infinity, either sign: overload."""
NOT_A_NUMBER = 9.91e37
"""SCPI's not-a-number."""

_NUMBER = re.compile(rb"[+-]?\d+(?:\.\d+)?(?:E[+-]?\d+)?")
_INTEGER = re.compile(rb"[+-]?\d+")
_SPECIAL_RELATIVE = 1e-6  # the two special numbers differ by 0.1 %
_LARGEST = 9.8e37  # SCPI keeps everything from here on for special numbers
_LONGEST_FIELD = 40  # bytes; the longest sensible NR3 has 24


def parse_number(field: bytes) -> tuple[float | None, ReadingStatus]:
    """Return (value, GOOD), or (None, why not) for SCPI's special numbers.

    Args:
        field: one response field, without separators or terminator.

    Raises:
        ReplyError: anything but NR1, NR2 or NR3, or larger than SCPI allows (also -9.91E37, which it does
            not define).
    """
    if len(field) > _LONGEST_FIELD or _NUMBER.fullmatch(field) is None:
        raise ReplyError(f"a number (NR1, NR2 or NR3) was expected; received {shown(field)}", received=field)
    value = float(field)
    if -_LARGEST < value < _LARGEST:
        return value, ReadingStatus.GOOD
    if _near(abs(value), INFINITY):
        return None, ReadingStatus.OVERLOAD
    if _near(value, NOT_A_NUMBER):
        return None, ReadingStatus.NOT_A_NUMBER
    raise ReplyError(f"a number below 9.8E37 was expected; received {shown(field)}", received=field)


def parse_value(field: bytes) -> float:
    """Return the value of a field that has to have one (a setting read back).

    Raises:
        ReplyError: as `parse_number`, and for the special numbers.
    """
    value, status = parse_number(field)
    if value is None:
        raise ReplyError(f"a value was expected; received {shown(field)} ({status.value})", received=field)
    return value


def parse_integer(field: bytes) -> int:
    """Return the value of an NR1 field; raises `ReplyError` for anything else."""
    if len(field) > _LONGEST_FIELD or _INTEGER.fullmatch(field) is None:
        raise ReplyError(f"an integer (NR1) was expected; received {shown(field)}", received=field)
    return int(field)


def format_number(value: float) -> str:
    """Return `value` as NR3 with seven digits, as it goes into a program message.

    Raises:
        ValueError: `value` is not finite, or as large as SCPI's special numbers.
    """
    if not -_LARGEST < value < _LARGEST:
        raise ValueError(f"a setting must be a finite number below 9.8E37; got {value!r}")
    return f"{value:.6E}"


def shown(data: bytes, *, longest: int = 60) -> str:
    """Return bytes as they are put into a message: printable, and never a screenful."""
    return repr(data) if len(data) <= longest else f"{data[:longest]!r}... ({len(data)} bytes)"


def _near(value: float, special: float) -> bool:
    return abs(value - special) <= _SPECIAL_RELATIVE * special
