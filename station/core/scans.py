"""What a scan is: badge, tray, lot, panel or unit. Only a unit's serial starts anything."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from station.core.places import TRAY
from station.core.plan import Plan
from station.core.serial_pattern import SCAN_LENGTH_LIMIT

BADGE = re.compile(r"(OP|EN|VI)-[0-9]{2,4}")
"""OP: operator, EN: engineer, VI: viewer (our own codes, no persons' names)."""


class ScanKind(StrEnum):
    """What a scan can be."""

    BADGE = "badge"
    LOT = "lot"
    PANEL = "panel"
    TRAY = "tray"
    UNIT = "unit"
    """A unit's serial, or anything that none of the others is: `read_serial` says what is wrong with it."""


@dataclass(frozen=True, slots=True)
class Scan:
    """A scan and what it is. `text` is without the scanner's line end and blanks."""

    kind: ScanKind
    text: str


def recognise(text: str, plans: Sequence[Plan]) -> Scan:
    """Return what a scan is, by the serial patterns of `plans`; a serial goes before all else."""
    clean = text.rstrip("\r\n").strip(" ")
    if len(clean) > SCAN_LENGTH_LIMIT:
        return Scan(ScanKind.UNIT, text)
    if any(re.fullmatch(each.serial_pattern, clean) for each in plans):
        return Scan(ScanKind.UNIT, clean)
    if BADGE.fullmatch(clean):
        return Scan(ScanKind.BADGE, clean)
    if TRAY.fullmatch(clean):
        return Scan(ScanKind.TRAY, clean)
    for kind, group in ((ScanKind.LOT, "lot"), (ScanKind.PANEL, "panel")):
        if any(_begins(each.serial_pattern, group, clean) for each in plans):
            return Scan(kind, clean)
    return Scan(ScanKind.UNIT, clean)


def _begins(pattern: str, group: str, text: str) -> bool:
    """Tell whether `text` is a serial's beginning up to the end of a named group."""
    end = group_end(pattern, group)
    if end is None:
        return False
    try:
        return re.fullmatch(pattern[:end], text) is not None
    except re.error:  # the group stands inside another one: its beginning alone is no pattern
        return False


def group_end(pattern: str, group: str) -> int | None:
    """Return where the group `(?P<group>...)` ends in a pattern; None if it has no such group.

    >>> group_end("(?P<lot>[(]L[0-9]+)-x", "lot")
    19
    """
    start = pattern.find(f"(?P<{group}>")
    if start < 0:
        return None
    depth, in_class, place = 0, False, start
    while place < len(pattern):
        character = pattern[place]
        if character == "\\":
            place += 1
        elif in_class:
            in_class = character != "]"
        elif character == "[":
            in_class = True
        elif character in "()":
            depth += 1 if character == "(" else -1
            if depth == 0:
                return place + 1
        place += 1
    return None
