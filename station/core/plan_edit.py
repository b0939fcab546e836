"""Puts other limits into a plan's text and leaves everything else, comments included, as it stands."""

import re
from collections.abc import Mapping
from dataclasses import dataclass

from station.core.guard_text import guard_text
from station.core.plan import Characteristic, Plan
from station.core.plan_file import parse_plan
from station.core.quantity import format_quantity
from station.errors import Mistake, PlanError

_HEADER = re.compile(r"\s*\[{1,2}")
_GUARD = "guard"


@dataclass(frozen=True, slots=True)
class LimitTexts:
    """The limits of one characteristic as a person writes them; empty: none there."""

    lower: str
    upper: str
    guard: str


def limit_texts(characteristic: Characteristic) -> LimitTexts:
    """Return a characteristic's limits as text that gives the same numbers back."""
    return LimitTexts(
        _text(characteristic.lower, characteristic.unit_symbol),
        _text(characteristic.upper, characteristic.unit_symbol),
        guard_text(characteristic.guard, characteristic.unit_symbol),
    )


def _text(value: float | None, unit_symbol: str) -> str:
    return "" if value is None else format_quantity(value, unit_symbol, digits=None)


def with_limits(text: str, wanted: Mapping[str, LimitTexts], *, file_name: str) -> str:
    """Return a plan's text with the limits of some characteristics replaced.

    Only what differs is touched. Raises `PlanError` if the outcome is no sound plan, or if the text is written
    in a way that can't be edited here (inline tables): then the text itself must be edited.
    """
    plan = parse_plan(text, file_name)
    lines = text.splitlines(keepends=True)
    for name, texts in wanted.items():
        found = plan.characteristic(name)
        if found is None:
            continue
        before = limit_texts(found)
        for key in ("lower", "upper", _GUARD):
            if getattr(texts, key).strip() != getattr(before, key):
                _put(lines, name, key, getattr(texts, key).strip(), file_name)
    edited = "".join(lines)
    _require_as_wanted(parse_plan(edited, file_name), plan, wanted, file_name)
    return edited


def _put(lines: list[str], name: str, key: str, value: str, file_name: str) -> None:
    start, end = _section(lines, name, file_name)
    at = next((i for i in range(start, end) if re.match(rf"\s*{key}\s*=", lines[i])), None)
    if not value:
        if at is not None:
            del lines[at]
        return
    escaped = value.replace("\\", "\\\\").replace('"', '\\"')
    if at is None:
        lines.insert(start, f'{key} = "{escaped}"\n')
        return
    former = re.match(r"""(\s*\w+\s*=\s*)("[^"]*"|'[^']*'|[^#\n]*?)(\s*(#.*)?)$""", lines[at].rstrip("\n"))
    head, tail = (former.group(1), former.group(3)) if former else (f"{key} = ", "")
    lines[at] = f'{head}"{escaped}"{tail}\n'


def _section(lines: list[str], name: str, file_name: str) -> tuple[int, int]:
    quoted = re.escape(name)
    header = re.compile(rf"""\s*\[\s*characteristic\s*\.\s*("{quoted}"|'{quoted}'|{quoted})\s*\]""")
    for start, line in enumerate(lines):
        if header.match(line):
            end = next((i for i in range(start + 1, len(lines)) if _HEADER.match(lines[i])), len(lines))
            return start + 1, end
    raise PlanError(
        [Mistake(file_name, 1, f"characteristic.{name}", "has no table of its own; edit the plan's text instead")]
    )


def _require_as_wanted(edited: Plan, before: Plan, wanted: Mapping[str, LimitTexts], file_name: str) -> None:
    """The edit has done what was asked and nothing else; text in an odd layout could defeat it."""
    for each in edited.characteristics:
        texts = wanted.get(each.name)
        former = before.characteristic(each.name)
        same = (each.unit_symbol, each.method) == (former.unit_symbol, former.method) if former else False
        if not same or (texts is None and each != former):
            raise PlanError(
                [Mistake(file_name, 1, f"characteristic.{each.name}", "could not be edited; edit the plan's text")]
            )
    if len(edited.characteristics) != len(before.characteristics):
        raise PlanError(
            [Mistake(file_name, 1, "characteristic", "a limit was the last of its table; edit the plan's text")]
        )
