"""Text of a CSV file to columns of text, with the line of each row; all mistakes at once.

Comma, semicolon or tab between fields, whichever the header line has; in a file with semicolons a comma in a number
is the decimal sign, as spreadsheets of many countries write it.
"""

import csv
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from station.errors import Mistake, StudyError

_NUMBER = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?")
OVERLOAD = 9.9e36
"""From here on a number is an instrument's word for overload or no value (9.9E37, 9.91E37: SCPI)."""

SHOWN_MISTAKES = 20


@dataclass(frozen=True, slots=True)
class Columns:
    """`fields[name]` and `lines` have the length of the rows; `headers[name]` is what the file calls a column."""

    file: str
    headers: dict[str, str]
    fields: dict[str, tuple[str, ...]]
    lines: tuple[int, ...]
    separator: str

    def mistake(self, row: int, name: str, message: str) -> Mistake:
        """Return a mistake in a field."""
        return Mistake(self.file, self.lines[row], self.headers[name], message)


def read_columns(text: str, file: str, headers: Mapping[str, str], *, optional: tuple[str, ...] = ()) -> Columns:
    """Return the columns of `text`: `headers` maps our names to the file's headers (in any case of letters).

    Columns that are `optional` may be absent; others in the file are passed over. Raises StudyError.
    """
    rows = rows_of(text, file)
    if not rows:
        raise StudyError([Mistake(file, 1, "header", f"the file is empty; needs {_listed(headers.values())}")])
    first_line, first = rows[0]
    places, mistakes = _places(first, first_line, file, headers, optional)
    body = rows[1:]
    if not mistakes and not body:
        mistakes.append(Mistake(file, first_line, "header", "no readings follow the header line"))
    width = max(places.values(), default=0) + 1
    for line, fields in body:
        if not mistakes and len(fields) < width:
            mistakes.append(Mistake(file, line, "row", f"has {len(fields)} fields; the header line has {len(first)}"))
    refuse(mistakes)
    return Columns(
        file,
        {name: headers[name] for name in places},
        {name: tuple(fields[place].strip() for _, fields in body) for name, place in places.items()},
        tuple(line for line, _ in body),
        separator_of(text),
    )


def refuse(mistakes: list[Mistake]) -> None:
    """Raise StudyError with the mistakes if there are any, in order of line, the first twenty of them."""
    if not mistakes:
        return
    ordered = sorted(mistakes, key=lambda each: each.line)
    shown, more = ordered[:SHOWN_MISTAKES], len(ordered) - SHOWN_MISTAKES
    if more > 0:
        last = shown[-1]
        shown.append(Mistake(last.file, last.line, "and so on", f"{more} more mistakes like these"))
    raise StudyError(shown)


def numbers(columns: Columns, name: str) -> tuple[list[float], list[Mistake]]:
    """Return a column as finite numbers (nan where there is none), and the mistakes in it."""
    values, mistakes = [], []
    for row, text in enumerate(columns.fields[name]):
        value, trouble = _number(text, columns.separator)
        values.append(value)
        if trouble:
            mistakes.append(columns.mistake(row, name, trouble))
    return values, mistakes


def names(columns: Columns, name: str) -> tuple[tuple[str, ...], list[Mistake]]:
    """Return a column as names, and the mistakes in it: fields with nothing in them."""
    fields = columns.fields[name]
    empty = [columns.mistake(row, name, "is empty; must name one") for row, text in enumerate(fields) if not text]
    return fields, empty


def _number(text: str, separator: str) -> tuple[float, str]:
    if not text:
        return math.nan, "is empty; must be a number (a study with missing readings can't be computed)"
    plain = text.replace(",", ".") if separator == ";" and text.count(",") == 1 and "." not in text else text
    if not _NUMBER.fullmatch(plain):
        return math.nan, f"must be a number without unit, such as 7.853 or 2.81e-5; got {text[:40]!r}"
    value = float(plain)
    if not abs(value) < OVERLOAD:
        return math.nan, f"is an overload, no reading; measure it again; got {text[:40]!r}"
    return value, ""


def separator_of(text: str) -> str:
    """Return what stands between the fields: of comma, semicolon and tab the most frequent in the header line."""
    header = next((line for line in text.lstrip("\ufeff").splitlines() if line.strip()), "")
    return max((",", ";", "\t"), key=header.count)


def rows_of(text: str, file: str) -> list[tuple[int, list[str]]]:
    """Return line number and fields of each row that is not empty, the header line first. Raises StudyError."""
    reader = csv.reader(text.lstrip("\ufeff").splitlines(), delimiter=separator_of(text), strict=True)
    rows = []
    try:
        for fields in reader:
            if any(field.strip() for field in fields):
                rows.append((reader.line_num, fields))
    except csv.Error as error:
        raise StudyError([Mistake(file, reader.line_num, "row", f"is no CSV: {error}")]) from error
    return rows


def _places(
    header: list[str], line: int, file: str, wanted: Mapping[str, str], optional: tuple[str, ...]
) -> tuple[dict[str, int], list[Mistake]]:
    found = [each.strip().lower() for each in header]
    places: dict[str, int] = {}
    mistakes = []
    for name, title in wanted.items():
        count = found.count(title.strip().lower())
        if count == 1:
            places[name] = found.index(title.strip().lower())
        elif count > 1:
            mistakes.append(Mistake(file, line, title, f"stands {count} times in the header line"))
        elif name not in optional:
            message = f"no such column; the file has {_listed(header)}. Name it by --{name}-header"
            mistakes.append(Mistake(file, line, title, message))
    return places, mistakes


def _listed(headers: Iterable[str]) -> str:
    return ", ".join(repr(each.strip()) for each in headers)
