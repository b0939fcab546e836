"""Nights kept in the home: the last one, the accepted one, and a line for each."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path

from station.errors import RecordError
from station.nightly.compared import Measured

_FOLDER = "nightly"
_LAST, _ACCEPTED, _HISTORY = "last.json", "accepted.json", "history.jsonl"
_TRENDS = "trends.html"


@dataclass(frozen=True, slots=True)
class Night:
    """A night as it is kept. `who` and `why` are empty until it is accepted."""

    utc: datetime
    software_version: str
    scenarios: Mapping[str, Measured]
    who: str = ""
    why: str = ""


def keep_last(home: Path, night: Night) -> None:
    """Keep a night as the last one, and add it to the history. Raises `RecordError`."""
    text = _text(night)
    _write(home / _FOLDER / _LAST, text)
    try:
        with (home / _FOLDER / _HISTORY).open("a", encoding="utf-8") as file:
            file.write(text + "\n")
    except OSError as error:
        raise RecordError(f"{home / _FOLDER / _HISTORY}: can't be written: {error.strerror or error}.") from error


def accept_last(home: Path, *, who: str, why: str) -> Night:
    """Make the last night the one that others are compared with; scenarios that it has not stay as they were.

    Raises:
        RecordError: there is no last night, no word who or why, or it can't be written.
    """
    if not who.strip() or not why.strip():
        raise RecordError("a night is accepted by a person with a reason; give both: --who --why")
    last = _read(home / _FOLDER / _LAST)
    if last is None:
        raise RecordError(f"{home}: no night is kept here. Run one: coilgate nightly run")
    before = accepted(home)
    scenarios = {**(before.scenarios if before else {}), **last.scenarios}
    night = Night(last.utc, last.software_version, scenarios, who, why)
    _write(home / _FOLDER / _ACCEPTED, _text(night))
    return night


def accepted(home: Path) -> Night | None:
    """Return the accepted night, None if there is none. Raises `RecordError` for a file that is no night."""
    return _read(home / _FOLDER / _ACCEPTED)


def history(home: Path, *, last: int) -> list[Night]:
    """Return the `last` nights, from the oldest on. Raises `RecordError` for a line that is no night."""
    path = home / _FOLDER / _HISTORY
    try:
        lines = path.read_text(encoding="utf-8", errors="replace").splitlines()
    except FileNotFoundError:
        return []
    except OSError as error:
        raise RecordError(f"{path}: can't be read: {error.strerror or error}.") from error
    found = [_night(path, line) for line in lines[-last:]]
    return sorted(found, key=lambda each: each.utc)


def keep_trends(home: Path, page: str) -> Path:
    """Keep the page of trends; return where it is. Raises `RecordError`."""
    path = home / _FOLDER / _TRENDS
    _write(path, page)
    return path


def _text(night: Night) -> str:
    return json.dumps(asdict(night) | {"utc": night.utc.isoformat()}, allow_nan=False, sort_keys=True)


def _read(path: Path) -> Night | None:
    try:
        text = path.read_text(encoding="utf-8", errors="replace")
    except FileNotFoundError:
        return None
    except OSError as error:
        raise RecordError(f"{path}: can't be read: {error.strerror or error}.") from error
    return _night(path, text)


def _night(path: Path, text: str) -> Night:
    try:
        found = json.loads(text)
        scenarios = {
            str(name): Measured(
                tuple(map(int, each["seeds"])),
                int(each["units"]),
                {str(key): float(value) for key, value in each["figures"].items()},
            )
            for name, each in found["scenarios"].items()
        }
        utc = datetime.fromisoformat(found["utc"])
        return Night(utc, str(found["software_version"]), scenarios, str(found["who"]), str(found["why"]))
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        words = f"{path}: is no kept night ({error}). Take the file away, then run and accept anew."
        raise RecordError(words) from error


def _write(path: Path, text: str) -> None:
    draft = path.with_suffix(".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        draft.write_text(text, encoding="utf-8")
        draft.replace(path)
    except OSError as error:
        raise RecordError(f"{path}: can't be written: {error.strerror or error}.") from error
