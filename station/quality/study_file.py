"""CSV text of a gauge study to its readings: pure, with every mistake and its line at once.

A row is one reading. Crossed study: `part, appraiser, trial, value`; without a trial column the trials are counted in
the order of the rows. Other headers are mapped by the caller.
"""

from collections import Counter
from collections.abc import Mapping

import numpy as np

from station.errors import Mistake, StudyError
from station.quality.csv_columns import Columns, names, numbers, read_columns, refuse
from station.quality.readings import CrossedReadings, StudyDataError

CROSSED_HEADERS = {"part": "part", "appraiser": "appraiser", "trial": "trial", "value": "value"}
TYPE1_HEADERS = {"value": "value"}
LINEARITY_HEADERS = {"reference": "reference", "value": "value"}
STABILITY_HEADERS = {"occasion": "occasion", "value": "value"}
AGREEMENT_HEADERS = {"part": "part", "first": "first", "second": "second"}
ATTRIBUTE_HEADERS = {
    "part": "part",
    "appraiser": "appraiser",
    "trial": "trial",
    "decision": "decision",
    "reference": "reference",
}

ACCEPTABLE = {"1", "pass", "accept", "acceptable", "good", "yes", "true"}
NOT_ACCEPTABLE = {"0", "fail", "reject", "not acceptable", "bad", "no", "false"}

_Cell = tuple[str, str]


def crossed_readings(text: str, file: str, *, headers: Mapping[str, str] = CROSSED_HEADERS) -> CrossedReadings:
    """Return the readings of a crossed study.

    Raises StudyError for columns that are missing, fields that are no numbers, readings that stand twice, cells that
    lack some, and studies that are too small or without variation.
    """
    columns = read_columns(text, file, headers, optional=("trial",))
    values, mistakes = numbers(columns, "value")
    cells, array = _cells(columns, np.array(values), mistakes)
    parts, appraisers = cells
    try:
        return CrossedReadings(parts, appraisers, array)
    except StudyDataError as error:
        raise StudyError([Mistake(file, columns.lines[0], columns.headers["value"], str(error))]) from error


def attribute_decisions(
    text: str, file: str, *, headers: Mapping[str, str] = ATTRIBUTE_HEADERS
) -> tuple[tuple[str, ...], np.ndarray, np.ndarray]:
    """Return appraisers, decisions (parts, appraisers, trials) and references (parts,) as booleans.

    Raises StudyError as `crossed_readings` does, and for a part whose reference is not always the same.
    """
    columns = read_columns(text, file, headers, optional=("trial",))
    decided, mistakes = _verdicts(columns, "decision")
    truth, more = _verdicts(columns, "reference")
    mistakes += more
    known: dict[str, tuple[bool, int]] = {}
    for row, part in enumerate(columns.fields["part"]):
        before = known.setdefault(part, (truth[row], columns.lines[row]))
        if before[0] != truth[row]:
            mistakes.append(columns.mistake(row, "reference", f"of part {part!r} was another one on line {before[1]}"))
    (parts, appraisers), array = _cells(columns, np.array(decided), mistakes)
    return appraisers, array, np.array([known[part][0] for part in parts])


def single_values(text: str, file: str, *, headers: Mapping[str, str] = TYPE1_HEADERS) -> np.ndarray:
    """Return the column of values, shape (readings,). Raises StudyError."""
    columns = read_columns(text, file, headers)
    values, mistakes = numbers(columns, "value")
    refuse(mistakes)
    return np.array(values)


def linearity_readings(
    text: str, file: str, *, headers: Mapping[str, str] = LINEARITY_HEADERS
) -> tuple[np.ndarray, np.ndarray]:
    """Return reference values and readings, both (readings,). Raises StudyError."""
    columns = read_columns(text, file, headers)
    references, mistakes = numbers(columns, "reference")
    values, more = numbers(columns, "value")
    refuse(mistakes + more)
    return np.array(references), np.array(values)


def stability_readings(
    text: str, file: str, *, headers: Mapping[str, str] = STABILITY_HEADERS
) -> tuple[tuple[str, ...], np.ndarray]:
    """Return the occasions in the order of the rows, and the readings (occasions, readings). Raises StudyError."""
    columns = read_columns(text, file, headers)
    occasions, mistakes = names(columns, "occasion")
    values, more = numbers(columns, "value")
    by_occasion: dict[str, list[float]] = {}
    for occasion, value in zip(occasions, values, strict=True):
        by_occasion.setdefault(occasion, []).append(value)
    usual = Counter(map(len, by_occasion.values())).most_common(1)[0][0]
    for occasion, got in by_occasion.items():
        if len(got) != usual:
            row = occasions.index(occasion)
            message = f"{occasion!r} has {len(got)} readings, the others have {usual}"
            mistakes.append(columns.mistake(row, "occasion", message))
    refuse(mistakes + more)
    return tuple(by_occasion), np.array(list(by_occasion.values()))


def agreement_readings(
    text: str, file: str, *, headers: Mapping[str, str] = AGREEMENT_HEADERS
) -> tuple[tuple[str, ...], np.ndarray, np.ndarray]:
    """Return the units and both sides' readings, a row a unit. Raises StudyError; a unit may stand once only."""
    columns = read_columns(text, file, headers)
    parts, mistakes = names(columns, "part")
    seen: dict[str, int] = {}
    for row, part in enumerate(parts):
        if part in seen:
            mistakes.append(columns.mistake(row, "part", f"{part!r} stands on line {seen[part]} already"))
        seen.setdefault(part, columns.lines[row])
    first, more = numbers(columns, "first")
    second, still = numbers(columns, "second")
    refuse(mistakes + more + still)
    return parts, np.array(first), np.array(second)


def _verdicts(columns: Columns, name: str) -> tuple[list[bool], list[Mistake]]:
    verdicts, mistakes = [], []
    for row, text in enumerate(columns.fields[name]):
        verdicts.append(text.lower() in ACCEPTABLE)
        if text.lower() not in ACCEPTABLE | NOT_ACCEPTABLE:
            message = f"must be 1 or 0, pass or fail, accept or reject; got {text[:40]!r}"
            mistakes.append(columns.mistake(row, name, message))
    return verdicts, mistakes


def _cells(
    columns: Columns, values: np.ndarray, mistakes: list[Mistake]
) -> tuple[tuple[tuple[str, ...], tuple[str, ...]], np.ndarray]:
    """Sort the values into (parts, appraisers, trials); refuses with `mistakes` and those of the cells."""
    parts, empty = names(columns, "part")
    appraisers, more = names(columns, "appraiser")
    found = [*mistakes, *empty, *more]
    if "trial" in columns.fields:
        found += names(columns, "trial")[1]
        found += _repeated(columns)
    by_cell: dict[_Cell, list[int]] = {}
    for row, cell in enumerate(zip(parts, appraisers, strict=True)):
        by_cell.setdefault(cell, []).append(row)
    if not (empty or more):
        # Without its name a reading belongs to no cell, and the counts would mislead.
        found += _unequal(columns, by_cell)
    refuse(found)
    order = tuple(dict.fromkeys(parts)), tuple(dict.fromkeys(appraisers))
    rows = np.array([[by_cell[part, appraiser] for appraiser in order[1]] for part in order[0]])
    return order, values[rows]


def _repeated(columns: Columns) -> list[Mistake]:
    seen: dict[tuple[str, str, str], int] = {}
    mistakes = []
    fields = columns.fields
    for row, key in enumerate(zip(fields["part"], fields["appraiser"], fields["trial"], strict=True)):
        if key in seen:
            message = f"{_named(key[:2])}, trial {key[2]!r} stands on line {seen[key]} already"
            mistakes.append(columns.mistake(row, "trial", message))
        seen.setdefault(key, columns.lines[row])
    return mistakes


def _unequal(columns: Columns, by_cell: Mapping[_Cell, list[int]]) -> list[Mistake]:
    """Cells with too few or too many readings, each at the line of its first reading or, without one, its part's."""
    usual = Counter(map(len, by_cell.values())).most_common(1)[0][0]
    parts, appraisers = columns.fields["part"], columns.fields["appraiser"]
    mistakes = []
    for part in dict.fromkeys(parts):
        for appraiser in dict.fromkeys(appraisers):
            rows = by_cell.get((part, appraiser), [])
            if len(rows) == usual:
                continue
            row = rows[0] if rows else parts.index(part)
            message = (
                f"{_named((part, appraiser))}: {_count(len(rows))}, the others have {usual}"
                f"{_missing(columns, rows, by_cell)}; each appraiser must measure each part equally often"
            )
            mistakes.append(columns.mistake(row, "part", message))
    return mistakes


def _missing(columns: Columns, rows: list[int], by_cell: Mapping[_Cell, list[int]]) -> str:
    """The trials that a cell lacks, where trials have names that most cells share."""
    if "trial" not in columns.fields or not rows:
        return ""
    trial = columns.fields["trial"]
    usual = Counter(frozenset(trial[row] for row in each) for each in by_cell.values()).most_common(1)[0][0]
    lacking = sorted(usual - {trial[row] for row in rows})
    return f" (no trial {', '.join(map(repr, lacking))})" if lacking else ""


def _named(cell: _Cell) -> str:
    return f"part {cell[0]!r}, appraiser {cell[1]!r}"


def _count(number: int) -> str:
    return {0: "no reading", 1: "1 reading"}.get(number, f"{number} readings")
