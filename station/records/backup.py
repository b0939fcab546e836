"""Backups: a folder with the records, their key, and the heads of their chains; made while others write.

`records.sqlite3` and `records.key` are what a home has; `backup.json` says when, the file's SHA-256, and the heads:
kept elsewhere, they show a tail that was cut off. Whoever has the folder can forge records: keep it as private
as the home.
"""

import hashlib
import json
import os
import shutil
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from station.errors import RecordError
from station.records.database import FILE_NAME, Database
from station.records.key_file import KEY_FILE_NAME
from station.records.repository import Records
from station.records.views import ChainReport, Head

FACTS_NAME = "backup.json"
FORMAT = 1


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup, and what a walk over its chains found."""

    folder: Path
    made_utc: datetime
    sha256: str
    report: ChainReport


def back_up(home: Path, folder: Path, *, utc: datetime, url: str | None = None) -> Backup:
    """Copy the records of `home` to a new `folder`, which appears whole or not at all; check the copy.

    Others may write meanwhile: the copy is of one moment. Damaged records are copied too; the report says so.

    Raises:
        RecordError: `folder` is there already, the records are not SQLite, or it can't be written.
    """
    if folder.exists():
        raise RecordError(f"{folder}: is there already. Give a backup a folder of its own.")
    if url is not None and not url.startswith("sqlite"):
        raise RecordError("records on PostgreSQL are backed up by its own means: pg_dump, and the file records.key.")
    draft = _fresh(folder.with_name(folder.name + ".part"))
    try:
        with closing(Database.open(home, url=url)) as database:
            database.copy_to(draft / FILE_NAME)
        _copy(home / KEY_FILE_NAME, draft / KEY_FILE_NAME)
        with Records.open(draft) as copied:
            report = copied.check()
        digest = _sha256(draft / FILE_NAME)
        _write_facts(draft / FACTS_NAME, utc, digest, report)
        for path in (*draft.iterdir(), draft):
            _to_disk(path)
        draft.rename(folder)
        _to_disk(folder.parent)
    except OSError as error:
        raise RecordError(f"{folder}: the backup can't be written: {error.strerror or error}.") from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return Backup(folder, utc, digest, report)


def restore(home: Path, folder: Path) -> Backup:
    """Put a backup into a `home` without records, after a walk over its chains; nothing is ever overwritten.

    Raises:
        RecordError: `folder` is no backup, its file is not the one that was backed up, its chains are not
            sound, or `home` has records or a key.
    """
    utc, digest, heads = _read_facts(folder / FACTS_NAME)
    for name in (FILE_NAME, KEY_FILE_NAME):
        if (home / name).exists():
            raise RecordError(f"{home / name}: is there already, and is not overwritten. Give an empty home: --home")
    try:
        if _sha256(folder / FILE_NAME) != digest:
            raise RecordError(f"{folder / FILE_NAME}: is not the file that was backed up. Take another backup.")
        home.mkdir(parents=True, exist_ok=True)
        draft = _fresh(home / ".restore.part")
        try:
            report = _checked_copy(folder, draft, heads)
            # The key first: a key without records is harmless, records without their key are refused.
            for name in (KEY_FILE_NAME, FILE_NAME):
                os.link(draft / name, home / name)
            _to_disk(home)
        finally:
            shutil.rmtree(draft, ignore_errors=True)
    except OSError as error:
        raise RecordError(f"{folder}: can't be restored to {home}: {error.strerror or error}.") from error
    return Backup(folder, utc, digest, report)


def _checked_copy(folder: Path, draft: Path, heads: tuple[Head, ...]) -> ChainReport:
    for name in (FILE_NAME, KEY_FILE_NAME):
        _copy(folder / name, draft / name)
    with Records.open(draft) as copied:
        report = copied.check(heads=heads)
    if not report.sound:
        raise RecordError(
            f"{folder}: {len(report.faults)} things are not as they were recorded, first: {report.faults[0].words}. "
            "Take another backup."
        )
    for name in (FILE_NAME, KEY_FILE_NAME):
        _to_disk(draft / name)
    return report


def _fresh(draft: Path) -> Path:
    try:
        shutil.rmtree(draft, ignore_errors=True)
        draft.mkdir(mode=0o700)
    except OSError as error:
        raise RecordError(f"{draft}: can't be made: {error.strerror or error}. Choose another folder.") from error
    return draft


def _copy(source: Path, target: Path) -> None:
    shutil.copyfile(source, target)
    target.chmod(0o600)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _to_disk(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        with suppress(OSError):  # some file systems can't sync a folder
            os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _write_facts(path: Path, utc: datetime, digest: str, report: ChainReport) -> None:
    facts = {
        "format": FORMAT,
        "made_utc": utc.isoformat(),
        "sha256": digest,
        "entries": report.entries,
        "sound": report.sound,
        "heads": list(map(str, report.heads)),
    }
    path.write_text(json.dumps(facts, indent=2) + "\n", encoding="utf-8")


def _read_facts(path: Path) -> tuple[datetime, str, tuple[Head, ...]]:
    try:
        facts = json.loads(path.read_text(encoding="utf-8"))
        if facts["format"] != FORMAT:
            raise RecordError(f"{path}: a backup of format {facts['format']}; this version reads {FORMAT}.")
        heads = tuple(map(Head.parse, facts["heads"]))
        return datetime.fromisoformat(facts["made_utc"]), str(facts["sha256"]), heads
    except OSError as error:
        raise RecordError(f"{path.parent}: is no backup: {path.name} can't be read: {error.strerror}.") from error
    except (ValueError, KeyError, TypeError) as error:
        raise RecordError(f"{path}: is not what a backup says of itself ({error}). Take another backup.") from error
