"""Reads a scan: is it the serial of a unit of this plan, and where does it place the unit?"""

import re
from collections.abc import Sequence

from station.core.check_digits import CHECKS
from station.core.plan import Plan
from station.core.run_record import UnitId
from station.core.serial_pattern import SCAN_LENGTH_LIMIT
from station.errors import SerialError

_CONTROL_NAMES = tuple(
    "NUL SOH STX ETX EOT ENQ ACK BEL BS TAB LF VT FF CR SO SI "  # noqa: SIM905
    "DLE DC1 DC2 DC3 DC4 NAK SYN ETB CAN EM SUB ESC FS GS RS US".split()
)
"""ISO/IEC 646, in order of code."""
_BADGE = re.compile(r"OP-[0-9]{2,4}")
_SHOWN = 40


def read_serial(plan: Plan, scan: str, *, others: Sequence[Plan] = (), lot: str = "") -> UnitId:
    """Return the unit that a scan names.

    The scanner's own line end and blanks around the text are taken off; nothing else is put right. The length
    is checked before any pattern is tried. Raises SerialError, which says what the scan is instead when that
    can be told.

    Args:
        plan: whose serial pattern the scan must match as a whole.
        scan: what the scanner or the person typed.
        others: further plans, to tell whose serial it is instead.
        lot: if not empty, the lot that the unit must belong to.
    """
    text = _clean(scan)
    limit = min(plan.serial_length_limit, SCAN_LENGTH_LIMIT)
    if len(text) > limit:
        raise SerialError(
            f"scan {_show(text)} has {len(text)} characters, a serial of {plan.part} at most {limit}: "
            "two scans may have run together. Scan again."
        )
    match = re.fullmatch(plan.serial_pattern, text)
    if match is None:
        raise SerialError(
            f"scan {_show(text)} is no serial of {plan.part}{_what_instead(plan, text, others)}"
        )
    groups = {name: found or "" for name, found in match.groupdict().items()}
    _check_character(plan, text, match)
    if lot and groups["lot"] != lot:
        raise SerialError(
            f"serial {text} belongs to lot {groups['lot']}, the lot on this bench is {lot}. "
            "Set the unit aside."
        )
    return UnitId(
        text, groups["lot"], groups.get("panel", ""), groups.get("row", ""), groups.get("column", "")
    )


def _clean(scan: str) -> str:
    if len(scan) > SCAN_LENGTH_LIMIT:
        raise SerialError(
            f"scan {_show(scan)} has {len(scan)} characters; at most {SCAN_LENGTH_LIMIT} are read: "
            "two scans may have run together. Scan again."
        )
    text = scan.rstrip("\r\n").strip(" ")
    if not text:
        raise SerialError("the scan is empty. Scan the unit again.")
    for character in text:
        if not character.isprintable():
            raise SerialError(
                f"scan {_show(text)} has the control character {_name(character)} in it. "
                "Look at the scanner's settings (prefix, suffix), then scan again."
            )
    return text


def _name(character: str) -> str:
    code = ord(character)
    return _CONTROL_NAMES[code] if code < len(_CONTROL_NAMES) else "DEL" if code == 0x7F else f"U+{code:04X}"


def _show(text: str) -> str:
    shown = "".join(each if each.isprintable() else f"<{_name(each)}>" for each in text[:_SHOWN])
    return f"'{shown}{'...' if len(text) > _SHOWN else ''}'"


def _what_instead(plan: Plan, text: str, others: Sequence[Plan]) -> str:
    for other in others:
        if other.part != plan.part and re.fullmatch(other.serial_pattern, text):
            return f" but of {other.part}. Set the unit aside."
    if any(re.fullmatch(plan.serial_pattern, text[:i]) and re.fullmatch(plan.serial_pattern, text[i:])
           for i in range(1, len(text))):  # fmt: skip
        return " but two of them: two scans have run together. Scan again."
    if _BADGE.fullmatch(text):
        return " but an operator's badge. Scan a unit."
    if text != text.upper() and re.fullmatch(plan.serial_pattern, text.upper()):
        return (
            ": its letters are in lower case. Look at the scanner's settings or Caps Lock, then scan again."
        )
    if not text.isascii():
        return ": it has characters beyond ASCII. Look at the scanner's keyboard setting, then scan again."
    return ". Scan the unit's own code again; if it stays, set the unit aside and call the engineer."


def _check_character(plan: Plan, text: str, match: re.Match[str]) -> None:
    if not plan.check_digit:
        return
    start, end = match.span("check")
    right = CHECKS[plan.check_digit](text[:start] + text[end:])
    if text[start:end] != right:
        # The right one is not told: a misread serial must not be mended by hand.
        raise SerialError(f"the check character of serial {text} does not fit: it was misread. Scan again.")
