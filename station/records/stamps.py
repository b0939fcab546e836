"""What is kept must come back the same: times, texts and numbers in the one form that both databases keep."""

from datetime import UTC, datetime

from station.errors import RecordError


def stamp(when: datetime) -> str:
    """Return `when` as ISO 8601 in UTC with microseconds: `2026-11-25T14:20:05.000000Z`.

    Raises:
        RecordError: `when` has no time zone.
    """
    if when.tzinfo is None:
        raise RecordError(f"time {when.isoformat()} has no time zone; records take UTC only.")
    return when.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def moment(text: str) -> datetime:
    """Return the time that `stamp` wrote.

    Raises:
        RecordError: `text` is no such time.
    """
    try:
        return datetime.fromisoformat(text)
    except (TypeError, ValueError) as error:
        raise RecordError(f"a time on record is damaged: {text!r}") from error


def clean(text: str) -> str:
    """Return `text` without what a database can't keep (NUL, lone surrogates become U+FFFD).

    A garbled reply quoted in a reason must not cost the record.
    """
    if text.isascii() and "\0" not in text:
        return text
    return text.replace("\0", "�").encode("utf-16-le", "surrogatepass").decode("utf-16-le", "replace")


def name(text: str, what: str) -> str:
    """Return `text`, a name that things are found by.

    Raises:
        RecordError: empty, longer than 200 characters, or with control characters.
    """
    if not text or len(text) > 200 or not text.isprintable():
        raise RecordError(f"{what} {text[:40]!r}: a name of 1 to 200 printable characters is needed.")
    return text


def number(value: float | None, what: str, part: str) -> float | None:
    """Return `value` as a float that comes back the same, or None.

    Raises:
        RecordError: not a number; a database would turn it into nothing.
    """
    if value is None:
        return None
    value = float(value)
    if value != value:
        raise RecordError(f"the {part} of {what} is not a number; a status without a value is what belongs there.")
    # SQLite keeps -0.0 as 0.
    return value + 0.0
