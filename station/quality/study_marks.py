"""What a study file says of itself beside its readings: whether they are simulated, and when they were made.

Three columns, all optional: `simulated` (1, yes, true), `utc` (ISO 8601) and `unit` (of the readings, such as ohm).
Files that people typed have none.
"""

from dataclasses import dataclass
from datetime import UTC, datetime

from station.errors import Mistake
from station.quality.csv_columns import Columns, read_columns, refuse

SIMULATED_HEADER = "simulated"
UTC_HEADER = "utc"
UNIT_HEADER = "unit"

_YES = frozenset({"1", "yes", "true", "simulated"})
_NO = frozenset({"", "0", "no", "false"})


@dataclass(frozen=True, slots=True)
class StudyMarks:
    """`simulated` if any row is; `newest_utc` is the latest time in the file, None without any."""

    simulated: bool = False
    newest_utc: datetime | None = None
    unit: str = ""
    """Of the readings; empty if the file doesn't say."""


def study_marks(text: str, file: str) -> StudyMarks:
    """Return the marks of a study file. Raises StudyError for fields that are neither empty nor understood."""
    wanted = {each: each for each in (SIMULATED_HEADER, UTC_HEADER, UNIT_HEADER)}
    columns = read_columns(text, file, wanted, optional=tuple(wanted))
    mistakes: list[Mistake] = []
    simulated = _any_simulated(columns, mistakes)
    times = _times(columns, mistakes)
    unit = _unit(columns, mistakes)
    refuse(mistakes)
    return StudyMarks(simulated, max(times, default=None), unit)


def _unit(columns: Columns, mistakes: list[Mistake]) -> str:
    found = ""
    for row, text in enumerate(columns.fields.get(UNIT_HEADER, ())):
        if found and text and text != found:
            message = f"must be the same for all readings of a study; got {text[:40]!r} after {found!r}"
            mistakes.append(columns.mistake(row, UNIT_HEADER, message))
        found = found or text
    return found


def _any_simulated(columns: Columns, mistakes: list[Mistake]) -> bool:
    found = False
    for row, text in enumerate(columns.fields.get(SIMULATED_HEADER, ())):
        found = found or text.lower() in _YES
        if text.lower() not in _YES | _NO:
            mistakes.append(columns.mistake(row, SIMULATED_HEADER, f"must be 1 or 0, yes or no; got {text[:40]!r}"))
    return found


def _times(columns: Columns, mistakes: list[Mistake]) -> list[datetime]:
    times = []
    for row, text in enumerate(columns.fields.get(UTC_HEADER, ())):
        if not text:
            continue
        try:
            read = datetime.fromisoformat(text)
        except ValueError:
            message = f"must be a time such as 2026-11-25T08:00:00Z; got {text[:40]!r}"
            mistakes.append(columns.mistake(row, UTC_HEADER, message))
            continue
        times.append(read.replace(tzinfo=UTC) if read.tzinfo is None else read.astimezone(UTC))
    return times
