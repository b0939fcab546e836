"""`coilgate records`: check, backup, restore."""

import json
import sqlite3
from pathlib import Path

from click.testing import CliRunner, Result

from station.cli.main import cli
from station.records import Records
from tests.records.makers import make_opened, make_record


def _records(home: Path, *words: str) -> Result:
    return CliRunner().invoke(cli, ["--home", str(home), "records", *words])


def _home(tmp_path: Path) -> Path:
    with Records.open(tmp_path / "home") as records:
        for number in range(2):
            record = make_record(make_opened(f"U{number}", run_id=f"run-{number}"))
            records.open_run(record.opened)
            records.close_run(record)
    return tmp_path / "home"


def test_check_backup_restore(tmp_path: Path) -> None:
    """Sound records: exit 0 each time, and the head that check prints is accepted by check."""
    home = _home(tmp_path)
    checked = _records(home, "check")
    head = next(line.split()[1] for line in checked.stdout.splitlines() if line.startswith("head bench-1"))
    again = _records(home, "check", "--head", head, "--json")
    backup = _records(home, "backup", "--to", str(tmp_path / "backup"))
    restore = _records(tmp_path / "new", "restore", str(tmp_path / "backup"), "--json")

    assert [0] * 4 == [each.exit_code for each in (checked, again, backup, restore)]
    assert "2 entries, all as they were recorded" in checked.stdout
    assert json.loads(again.stdout)["heads"] == json.loads(restore.stdout)["heads"]


def test_check_names_what_was_changed_and_exits_1(tmp_path: Path) -> None:
    """A value that was changed with a database editor is named."""
    home = _home(tmp_path)
    connection = sqlite3.connect(home / "records.sqlite3")
    for (trigger,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {trigger}")
    connection.execute("UPDATE result SET value = value * 1.001 WHERE run_key = 1")
    connection.commit()
    connection.close()
    result = _records(home, "check")

    assert 1 == result.exit_code
    assert "changed: " in result.stdout
    assert "run-0" in result.stdout


def test_check_of_a_home_that_is_not_there_makes_none(tmp_path: Path) -> None:
    """A slip in --home is told: an empty new home would be sound."""
    result = _records(tmp_path / "slip", "check")

    assert ("there is no home" in str(result.exception), False) == (True, (tmp_path / "slip").exists())


def test_head_that_is_none_is_refused(tmp_path: Path) -> None:
    """A slip in a head is an error, never a check that proves nothing."""
    result = _records(_home(tmp_path), "check", "--head", "bench-1:12")

    assert (2, True) == (result.exit_code, "BENCH:NUMBER:DIGEST" in result.stderr)
