"""What is known of a bench's drive beyond this program's life: the latch, and its history.

While the latch file is there the state of the drive is unknown and no run is made. A person who has looked
clears it, with name and reason. A latch that cannot be read counts as a latch.
"""

import json
import os
import re
from datetime import UTC, datetime
from pathlib import Path

UNKNOWN = "drive state unknown"
"""What a latched bench is called, wherever it is told."""


class DriveState:
    """The drive's state file and history of one bench, in the folder `drive` of the home."""

    def __init__(self, home: Path, bench_name: str) -> None:
        safe_name = re.sub(r"[^\w.-]", "_", bench_name)
        self._latch = home / "drive" / f"{safe_name}.latched.json"
        self._history = home / "drive" / f"{safe_name}.history.jsonl"

    def latched(self) -> str:
        """Return the words of the latch; empty if the bench is not latched."""
        try:
            text = self._latch.read_text(encoding="utf-8")
        except FileNotFoundError:
            return ""
        except (OSError, UnicodeDecodeError) as error:
            return f"{UNKNOWN}: {self._latch} cannot be read: {error}"
        try:
            return str(json.loads(text)["words"])
        except (ValueError, KeyError, TypeError):
            return f"{UNKNOWN}: {self._latch} is damaged"

    def latch(self, words: str) -> None:
        """Note that the drive's state is unknown; the first words are kept. Raises `OSError`."""
        self._latch.parent.mkdir(parents=True, exist_ok=True)
        if not self._latch.exists():
            draft = self._latch.with_suffix(f".{os.getpid()}")
            with draft.open("w", encoding="utf-8") as file:
                json.dump({"words": words, "since_utc": _utc()}, file)
                file.flush()
                os.fsync(file.fileno())
            draft.replace(self._latch)
        self.note("latched", words=words)

    def clear(self, *, who: str, why: str) -> None:
        """Take the latch away; who did it and why stays in the history. Raises `OSError`."""
        was = self.latched()
        self.note("cleared", who=who, why=why, words=was)
        self._latch.unlink(missing_ok=True)

    def note(self, what: str, **facts: str) -> None:
        """Add a line to the history. Raises `OSError`."""
        self._history.parent.mkdir(parents=True, exist_ok=True)
        with self._history.open("a", encoding="utf-8") as file:
            file.write(json.dumps({"utc": _utc(), "what": what, **facts}) + "\n")

    def history(self) -> list[dict[str, str]]:
        """Return what happened, oldest first; damaged lines are left out."""
        try:
            lines = self._history.read_text(encoding="utf-8", errors="replace").splitlines()
        except FileNotFoundError:
            return []
        return [entry for line in lines if (entry := _entry(line))]


def _entry(line: str) -> dict[str, str]:
    try:
        entry = json.loads(line)
    except ValueError:
        return {}
    return entry if isinstance(entry, dict) else {}


def _utc() -> str:
    return datetime.now(UTC).isoformat(timespec="milliseconds")
