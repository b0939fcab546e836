"""What is remembered of heat beyond one run: whether a nest is hot, and what full-soak audits have shown.

On disk in the home, so that it survives a stop, a restart, another person at the page: a coil does not cool
faster because the program that heated it has gone. What can't be read counts as hot, and as not audited.
"""

import json
import os
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Protocol

from station.heating_fit.audit import AuditState


@dataclass(frozen=True, slots=True)
class HotMark:
    """A nest is hot until it is measured below `touch_limit_degc`, or until `cool_by_utc`.

    `trusted`: the thermometer near the coil was seen to follow it. If not, only time tells. The winding's rise
    is `winding_ratio` times what the thermometer shows. `cool_by_utc` None: time tells nothing.
    """

    touch_limit_degc: float
    cool_by_utc: datetime | None
    trusted: bool = False
    winding_ratio: float = 1.0


class HeatMemory(Protocol):
    """Where a nest's hot state and audits are kept."""

    def hot(self) -> HotMark | None:
        """Return the mark of a hot nest, None if it is cool."""
        ...

    def mark_hot(self, mark: HotMark) -> None:
        """Keep the mark before the drive goes on. Raises `OSError` if it can't be kept."""
        ...

    def mark_cool(self) -> None:
        """Take the mark away."""
        ...

    def audit(self, key: str) -> AuditState:
        """Return what audits of `key` (plan, mounting) have shown; nothing yet if it can't be read."""
        ...

    def keep_audit(self, key: str, state: AuditState) -> None:
        """Keep it. Raises `OSError`."""
        ...


class HeatInMemory:
    """A memory that ends with the program: for benches of tests and studies."""

    def __init__(self) -> None:
        self._mark: HotMark | None = None
        self._audits: dict[str, AuditState] = {}

    def hot(self) -> HotMark | None:
        """Return the mark."""
        return self._mark

    def mark_hot(self, mark: HotMark) -> None:
        """Keep the mark."""
        self._mark = mark

    def mark_cool(self) -> None:
        """Take the mark away."""
        self._mark = None

    def audit(self, key: str) -> AuditState:
        """Return the state."""
        return self._audits.get(key, AuditState())

    def keep_audit(self, key: str, state: AuditState) -> None:
        """Keep the state."""
        self._audits[key] = state


class HeatOnDisk:
    """The memory of one nest, in the folder `heat` of the home."""

    def __init__(self, home: Path, bench: str, nest: str) -> None:
        safe = re.sub(r"[^\w.-]", "_", f"{bench}.{nest}")
        self._hot = home / "heat" / f"{safe}.hot.json"
        self._audits = home / "heat" / f"{safe}.audits.json"

    def hot(self) -> HotMark | None:
        """Return the mark; one that can't be read is a mark of which nothing is known."""
        try:
            text = self._hot.read_text(encoding="utf-8")
        except FileNotFoundError:
            return None
        except (OSError, UnicodeDecodeError):
            return _UNREADABLE
        return _mark(text)

    def mark_hot(self, mark: HotMark) -> None:
        """Keep the mark, on the disk itself. Raises `OSError`."""
        until = mark.cool_by_utc.isoformat() if mark.cool_by_utc else None
        _write(self._hot, {**asdict(mark), "cool_by_utc": until})

    def mark_cool(self) -> None:
        """Take the mark away; if that fails the nest goes on counting as hot."""
        with suppress(OSError):
            self._hot.unlink(missing_ok=True)

    def audit(self, key: str) -> AuditState:
        """Return the state; a file that is missing or damaged knows of no audit: the next unit is soaked out."""
        try:
            return _audit(_read_audits(self._audits)[key])
        except (KeyError, TypeError, ValueError):
            return AuditState()

    def keep_audit(self, key: str, state: AuditState) -> None:
        """Keep the state. Raises `OSError`."""
        _write(self._audits, {**_read_audits(self._audits), key: asdict(state)})


TOUCH_UNKNOWN_DEGC = 43.0
"""Touch limit for a mark that can't be read (ISO 13732-1, 8 h of contact; from memory)."""

_UNREADABLE = HotMark(TOUCH_UNKNOWN_DEGC, None, trusted=True)


def _mark(text: str) -> HotMark:
    try:
        found = json.loads(text)
        until = found["cool_by_utc"]
        return HotMark(
            float(found["touch_limit_degc"]),
            None if until is None else datetime.fromisoformat(until),
            bool(found["trusted"]),
            float(found["winding_ratio"]),
        )
    except (ValueError, KeyError, TypeError):
        return _UNREADABLE


def _audit(found: dict[str, str | int | bool]) -> AuditState:
    return AuditState(
        agreeing=int(found["agreeing"]),
        revoked=bool(found["revoked"]),
        short_since=int(found["short_since"]),
        doubtful=int(found["doubtful"]),
        words=str(found["words"]),
    )


def _read_audits(path: Path) -> dict[str, dict[str, str | int | bool]]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _write(path: Path, content: Mapping[str, object]) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_suffix(f".{os.getpid()}")
    with draft.open("w", encoding="utf-8") as file:
        json.dump(content, file)
        file.flush()
        os.fsync(file.fileno())
    draft.replace(path)
