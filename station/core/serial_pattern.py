"""Checks a plan's serial pattern before any scan meets it: it must compile, name a lot, and not run away.

A backtracking matcher tries, in the worst case, every way in which a pattern can split a text. We count those
ways, for a scan of the length allowed, and refuse a pattern that has too many: nested quantifiers such as
`(a+)+` come out as infinite.
"""

import math
import re
import warnings
from collections.abc import Iterable, Sequence

# The parser that the matcher itself uses is the only one that can't disagree with it. It has no public name.
from re import _constants, _parser  # type: ignore[attr-defined]

PATTERN_LENGTH_LIMIT = 200
SCAN_LENGTH_LIMIT = 128
GROUPS = ("lot", "panel", "row", "column", "check")
_WAYS_LIMIT = 1_000_000
"""Allows two open quantifiers, refuses three (2.1 million on a scan of 128 characters)."""


def pattern_mistakes(pattern: str, *, check_digit: str = "") -> list[str]:
    """Return what is wrong with a serial pattern, in words; empty if it can be used."""
    if len(pattern) > PATTERN_LENGTH_LIMIT:
        return [f"must have at most {PATTERN_LENGTH_LIMIT} characters; has {len(pattern)}"]
    try:
        with warnings.catch_warnings():
            # What a later Python may read otherwise would change which serials are taken: `[[` is such.
            warnings.simplefilter("error")
            groups = re.compile(pattern).groupindex
            ways = _ways(_parser.parse(pattern))
    except (re.error, RecursionError, OverflowError, Warning) as error:
        return [f"is no valid regular expression: {error}; got {pattern!r}"]
    mistakes = []
    if ways > _WAYS_LIMIT:
        mistakes.append(
            "could take too long on some scans: put no quantifier inside another and have at most two "
            "open ones (`*`, `+`); counted ones such as `[0-9]{4}` are best"
        )
    return mistakes + _group_mistakes(groups, check_digit)


def pieces(pattern: str) -> tuple[tuple[bool, str], ...] | None:
    """Return what a serial is made of, in order: (True, name of a group) or (False, fixed text).

    None if anything else stands between the groups: then no serial can be made of its fields alone.
    """
    names = {number: name for name, number in re.compile(pattern).groupindex.items()}
    found: list[tuple[bool, str]] = []
    for operation, argument in _parser.parse(pattern):
        if operation is _constants.LITERAL:
            found.append((False, chr(argument)))
        elif operation is _constants.SUBPATTERN and argument[0] in names:
            found.append((True, names[argument[0]]))
        else:
            return None
    return tuple(found)


def _group_mistakes(groups: Iterable[str], check_digit: str) -> list[str]:
    named = set(groups)
    mistakes = []
    if "lot" not in named:
        mistakes.append("must name the lot in it: (?P<lot>...)")
    for group in sorted(named - set(GROUPS)):
        mistakes.append(f"has an unknown group {group!r}; known are {', '.join(GROUPS)}")
    if check_digit and "check" not in named:
        mistakes.append("must name the check character in it, at its end: (?P<check>.)")
    if "check" in named and not check_digit:
        mistakes.append("names a check character, so `check_digit` must say how it is made")
    return mistakes


def _ways(parsed: Iterable[tuple[object, object]]) -> float:
    """Return an upper bound of the number of ways in which a sequence can be tried on one text."""
    ways = 1.0
    for operation, argument in parsed:
        ways *= _ways_of(operation, argument)
    return ways


def _ways_of(operation: object, argument: object) -> float:
    simple = {_constants.LITERAL, _constants.NOT_LITERAL, _constants.ANY, _constants.IN, _constants.AT}
    if operation in simple or operation is _constants.GROUPREF:
        return 1.0
    if not isinstance(argument, Sequence):
        return math.inf
    if operation is _constants.SUBPATTERN:
        return _ways(argument[-1])
    if operation is _constants.BRANCH:
        return sum(_ways(each) for each in argument[1])
    if operation in {_constants.MAX_REPEAT, _constants.MIN_REPEAT}:
        return _ways_of_repeat(*argument)
    # Look-around, conditions and whatever is new: not needed for a serial.
    return math.inf


def _ways_of_repeat(fewest: int, most: int, item: Iterable[tuple[object, object]]) -> float:
    most = min(most, SCAN_LENGTH_LIMIT + 1)
    inner = _ways(item)
    if inner == 1.0:
        return float(max(most - fewest, 0) + 1)
    return math.inf if most > 16 else inner**most * (most - fewest + 1)
