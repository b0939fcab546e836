"""`coilgate badge`: accounts made, listed and removed, each in the audit trail; no secret anywhere."""

import json
from pathlib import Path

from click.testing import CliRunner, Result

from station.cli.main import cli
from station.records import Records

SECRET = "a long enough secret"


def run(home: Path, *words: str) -> Result:
    """Run a command on a home; the secret is typed twice if it is asked for."""
    return CliRunner().invoke(cli, ["--home", str(home), "badge", *words], input=f"{SECRET}\n{SECRET}\n")


def test_badge_is_added_listed_and_removed(tmp_path: Path) -> None:
    """The list names badge and role; the audit trail says who did what."""
    added = run(tmp_path, "add", "OP-07", "--role", "operator", "--who", "EN-02")
    listed = [json.loads(each) for each in run(tmp_path, "list", "--json").stdout.splitlines()]
    run(tmp_path, "remove", "OP-07", "--who", "EN-02")
    with Records.open(tmp_path) as records:
        entries = [(each.who, each.action, each.subject) for each in records.audit_entries()]

    assert 0 == added.exit_code
    assert [{"badge": "OP-07", "role": "operator"}] == listed
    assert "" == run(tmp_path, "list", "--json").stdout
    assert [("EN-02", "badge added", "OP-07"), ("EN-02", "badge removed", "OP-07")] == entries
    assert SECRET not in added.output


def test_wrong_badge_and_short_secret_are_refused(tmp_path: Path) -> None:
    """Each says what would be right."""
    wrong = run(tmp_path, "add", "somebody", "--role", "viewer")
    short = run(tmp_path, "add", "VI-01", "--role", "viewer", "--secret", "short")

    assert "must read like OP-07" in str(wrong.exception)
    assert "10 characters or more" in str(short.exception)
