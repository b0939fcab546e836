"""What a plan says of its panels, `[panel]`, and the serials of a panel's places that follow from it."""

import re
from collections.abc import Iterator

from station.core.check_digits import CHECKS
from station.core.file_reader import Table
from station.core.panel import Place
from station.core.plan import PanelPlan, Plan
from station.core.scans import group_end
from station.core.serial_pattern import pieces

MOST_PLACES = 1_000
_RANGE = re.compile(r"([A-Z]|[0-9]{1,3})-([A-Z]|[0-9]{1,3})")
_FIELDS = ("lot", "panel", "row", "column")


def read_panel(root: Table, pattern: str) -> PanelPlan | None:
    """Return what `[panel]` says; None without it. Mistakes are noted."""
    table = root.table("panel")
    if "panel" not in root:
        return None
    if not _compiles(pattern):
        pattern = ""  # told already: nothing more can be said by it
    rows, columns = (_names(table, key, group, pattern) for key, group in (("rows", "row"), ("columns", "column")))
    found = PanelPlan(rows, columns, unit_labels=table.flag("unit_labels", default=True))
    table.close()
    if len(rows) * len(columns) > MOST_PLACES:
        table.mistake("", f"has {len(rows) * len(columns)} places; at most {MOST_PLACES} are walked")
    if pattern and not _is_made_of_fields(pattern):
        root.mistake(
            "serial",
            "must name lot, panel, row and column in this order, with fixed characters between them: "
            "the serials of a panel's places are made of it",
        )
    return found


def panel_places(plan: Plan, code: str) -> tuple[str, str, tuple[Place, ...]]:
    """Return lot, panel and places of the panel whose code was scanned, row by row.

    Raises ValueError if the code is no panel's of this plan, or the plan has no `[panel]`.
    """
    end = group_end(plan.serial_pattern, "panel")
    match = None if end is None else re.fullmatch(plan.serial_pattern[:end], code)
    if plan.panel is None or match is None:
        raise ValueError(f"{code!r} is no panel of {plan.part} whose places are known")
    lot, panel = match.group("lot"), match.group("panel")
    places = tuple(
        Place(_serial(plan, {"lot": lot, "panel": panel, "row": row, "column": column}), row, column)
        for row in plan.panel.rows
        for column in plan.panel.columns
    )
    return lot, panel, places


def _serial(plan: Plan, fields: dict[str, str]) -> str:
    """Return the serial of a place, with the plan's check character if it has one."""
    parts = pieces(plan.serial_pattern) or ()
    bare = "".join(fields.get(text, "") if named else text for named, text in parts)
    if not plan.check_digit:
        return bare
    fields = {**fields, "check": CHECKS[plan.check_digit](bare)}
    return "".join(fields[text] if named else text for named, text in parts)


def _compiles(pattern: str) -> bool:
    try:
        re.compile(pattern)
    except re.error:
        return False
    return True


def _is_made_of_fields(pattern: str) -> bool:
    parts = pieces(pattern)
    return parts is not None and [text for named, text in parts if named and text != "check"] == list(_FIELDS)


def _names(table: Table, key: str, group: str, pattern: str) -> tuple[str, ...]:
    """Return the names that a text such as `A-H` or `01-06, 09` states."""
    text = table.text(key)
    names: list[str] = []
    try:
        for each in filter(None, (part.strip() for part in text.split(","))):
            names.extend(_range(each))
    except ValueError:
        table.mistake(key, f"must be names and ranges such as 'A-H' or '01-12'; got {text!r}")
        return ()
    if len(set(names)) != len(names):
        table.mistake(key, f"must name each {group} once; got {text!r}")
    allowed = _group(pattern, group)
    for name in names if allowed else ():
        if re.fullmatch(allowed, name) is None:
            table.mistake(key, f"must be {group}s that the serial can have ({allowed}); got {name!r}")
            break
    return tuple(names)


def _range(text: str) -> Iterator[str]:
    match = _RANGE.fullmatch(text)
    if match is None:
        if not text.isalnum():
            raise ValueError(text)
        yield text
        return
    first, last = match.groups()
    if first.isdigit() != last.isdigit() or len(first) != len(last) or first > last:
        raise ValueError(text)
    if first.isdigit():
        yield from (f"{number:0{len(first)}d}" for number in range(int(first), int(last) + 1))
    else:
        yield from map(chr, range(ord(first), ord(last) + 1))


def _group(pattern: str, group: str) -> str:
    end = group_end(pattern, group)
    return "" if end is None else pattern[pattern.find(f"(?P<{group}>") : end]
