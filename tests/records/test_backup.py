"""Backups: whole or not there, of one moment while others write, and restored only if they are sound."""

import sqlite3
import threading
from pathlib import Path

import pytest

from station.errors import RecordError
from station.records import Head, Records
from station.records.backup import back_up, restore
from tests.records.makers import START, make_opened, make_record


def _write(records: Records, first: int, count: int) -> None:
    for number in range(first, first + count):
        record = make_record(make_opened(f"U{number}", run_id=f"run-{number}"))
        records.open_run(record.opened)
        records.close_run(record)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """A home with three runs."""
    with Records.open(tmp_path / "home") as records:
        _write(records, 0, 3)
    return tmp_path / "home"


def test_backup_restored_elsewhere_is_the_same_records(home: Path, tmp_path: Path) -> None:
    """Runs, heads and key are there again; the next run goes on in the chain."""
    made = back_up(home, tmp_path / "backup", utc=START)
    put_back = restore(tmp_path / "new", tmp_path / "backup")
    with Records.open(home) as old, Records.open(tmp_path / "new") as new:
        same = [old.run(f"run-{n}") == new.run(f"run-{n}") for n in range(3)]
        heads = old.head("bench-1") == new.head("bench-1")
        _write(new, 3, 1)
        sound = new.check(heads=[old.head("bench-1")]).sound

    assert ([True] * 3, True, True, True) == (same, heads, sound, made.report.sound)
    assert made.report.heads == put_back.report.heads
    assert ["backup.json", "records.key", "records.sqlite3"] == sorted(p.name for p in (tmp_path / "backup").iterdir())


@pytest.mark.slow
def test_backup_while_another_writes_is_of_one_moment(home: Path, tmp_path: Path) -> None:
    """A writer goes on meanwhile: each copy is sound, and the writer loses nothing."""
    with Records.open(home) as records:
        writer = threading.Thread(target=_write, args=(records, 3, 40))
        writer.start()
        copies = [back_up(home, tmp_path / f"backup-{n}", utc=START) for n in range(4)]
        writer.join()
        report = records.check()

    assert [True] * 4 == [each.report.sound for each in copies]
    assert (True, 43) == (report.sound, report.entries)


def test_backup_never_replaces_anything(home: Path, tmp_path: Path) -> None:
    """Neither a folder that is there, nor records at the place of restoring."""
    back_up(home, tmp_path / "backup", utc=START)

    with pytest.raises(RecordError, match="is there already"):
        back_up(home, tmp_path / "backup", utc=START)
    with pytest.raises(RecordError, match="is not overwritten"):
        restore(home, tmp_path / "backup")


@pytest.mark.parametrize("name", ["records.sqlite3", "records.key", "backup.json"])
def test_incomplete_backup_is_refused_and_leaves_no_home(home: Path, tmp_path: Path, name: str) -> None:
    """A file that is missing is told; nothing half restored stays behind."""
    back_up(home, tmp_path / "backup", utc=START)
    (tmp_path / "backup" / name).unlink()

    with pytest.raises(RecordError):
        restore(tmp_path / "new", tmp_path / "backup")
    assert not (tmp_path / "new" / "records.sqlite3").exists()


def test_backup_that_was_edited_is_refused(home: Path, tmp_path: Path) -> None:
    """Somebody changed a value in the copy: it is not the file that was backed up."""
    back_up(home, tmp_path / "backup", utc=START)
    connection = sqlite3.connect(tmp_path / "backup" / "records.sqlite3")
    for (trigger,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {trigger}")
    connection.execute("UPDATE result SET value = value * 1.001")
    connection.commit()
    connection.close()

    with pytest.raises(RecordError, match="not the file that was backed up"):
        restore(tmp_path / "new", tmp_path / "backup")


@pytest.mark.parametrize("bench", ["bench-1", "", "left: right"])
def test_head_is_read_back_as_printed(bench: str) -> None:
    """What is printed on a report can be typed in again."""
    head = Head(bench, 12, "ab" * 32)

    assert head == Head.parse(str(head))


@pytest.mark.parametrize("text", ["", "bench-1:12", "bench-1:x:" + "ab" * 32, "bench-1:1:zz", ":1:" + "ab" * 32])
def test_text_that_is_no_head_is_refused(text: str) -> None:
    """A slip is told, not taken for a head that proves nothing."""
    with pytest.raises(ValueError, match="BENCH:NUMBER:DIGEST"):
        Head.parse(text)
