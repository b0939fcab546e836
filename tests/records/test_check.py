"""Digest chains: whatever someone with a database editor does, `check` names it."""

import shutil
import sqlite3
from pathlib import Path

import pytest

from station.core.results import Decision
from station.records import Head, LaterDecision, Records
from tests.records.makers import START, make_opened, make_plan, make_record, make_verification

_RUNS = [f"run-{number}" for number in range(1, 6)]


@pytest.fixture(scope="module")
def untouched(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A home with five runs and one of everything else that is in a chain."""
    home = tmp_path_factory.mktemp("untouched")
    with Records.open(home) as records:
        records.release_plan(make_plan(), who="EN-01", why="first", utc=START)
        for number, run_id in enumerate(_RUNS):
            record = make_record(make_opened(f"U{number}", run_id=run_id), held=number == 3)
            records.open_run(record.opened)
            records.close_run(record)
        records.add_verification(make_verification())
        records.judge_again(
            LaterDecision("run-2", "cd" * 32, Decision.FAIL, None, 8, "scrap", False, (), "", "EN-01", "why", START)
        )
        records.release_held("U3", reason_code="cleaned", who="EN-01", why="pads cleaned", utc=START)
        records.audit(who="EN-01", action="clean", subject="nest-1", why="due", utc=START)
    return home


@pytest.fixture
def home(untouched: Path, tmp_path: Path) -> Path:
    """A copy of it whose triggers were dropped, as an editor can."""
    home = tmp_path / "home"
    shutil.copytree(untouched, home)
    connection = sqlite3.connect(home / "records.sqlite3")
    for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    connection.commit()
    connection.close()
    return home


def test_check_finds_nothing_when_untouched(home: Path) -> None:
    """All is sound, and the chains have an entry for each thing on record."""
    with Records.open(home) as records:
        report = records.check(heads=[records.head("bench-1"), records.head("")])

    assert ((), 10, [("", 3), ("bench-1", 7)]) == (
        report.faults,
        report.entries,
        [(head.bench, head.seq) for head in report.heads],
    )


_OF_RUN_2 = "(SELECT run_key FROM run_opened WHERE run_id = 'run-2')"


@pytest.mark.parametrize(
    "statement",
    [
        f"UPDATE result SET value = value * 1.001 WHERE run_key = {_OF_RUN_2} AND characteristic = 'R20'",
        f"UPDATE result SET judgement = 'FAIL' WHERE run_key = {_OF_RUN_2} AND characteristic = 'L'",
        f"DELETE FROM result WHERE run_key = {_OF_RUN_2} AND characteristic = 'L'",
        f"INSERT INTO result (run_key, characteristic) VALUES ({_OF_RUN_2}, 'Q')",
        f"UPDATE decision SET decision = 'FAIL' WHERE place = 0 AND run_key = {_OF_RUN_2}",
        f"DELETE FROM decision WHERE place = 0 AND run_key = {_OF_RUN_2}",
        "UPDATE run_opened SET operator = 'OP-99' WHERE run_id = 'run-2'",
        f"UPDATE run SET drive_off_verified = 0 WHERE run_key = {_OF_RUN_2}",
        "UPDATE unit SET serial = 'other' WHERE serial = 'U1'",
        f"UPDATE trace SET data = zeroblob(32) WHERE run_key = {_OF_RUN_2}",
        f"DELETE FROM trace WHERE run_key = {_OF_RUN_2}",
        f"UPDATE transcript SET data = x'00' WHERE run_key = {_OF_RUN_2}",
        f"DELETE FROM transcript WHERE run_key = {_OF_RUN_2}",
        f"DELETE FROM budget WHERE run_key = {_OF_RUN_2}",
        f"DELETE FROM run_identity WHERE run_key = {_OF_RUN_2} AND place = 1",
    ],
)
def test_check_names_run_when_changed(home: Path, statement: str) -> None:
    """Any change to what belongs to a run names that run and no other."""
    assert [("changed", "run", "run-2")] == _faults(home, statement)


@pytest.mark.parametrize(
    ("statement", "fault"),
    [
        ("UPDATE hold SET held = 0 WHERE run_key IS NOT NULL", ("changed", "run", "run-4")),
        ("DELETE FROM hold WHERE run_key IS NOT NULL", ("changed", "run", "run-4")),
        ("UPDATE decision SET decision = 'PASS' WHERE place = 1", ("changed", "decision", "run-2#1")),
        ("DELETE FROM decision WHERE place = 1", ("removed", "decision", "run-2#1")),
        ("UPDATE verification SET unit_limit = 9999", ("changed", "verification", "verification-1")),
        ("UPDATE plan_revision SET why = 'none'", ("changed", "plan", make_plan().text_hash)),
        ("UPDATE hold SET who = 'EN-02' WHERE run_key IS NULL", ("changed", "hold", "2")),
        ("DELETE FROM audit_entry", ("removed", "audit", "1")),
        ("INSERT INTO audit_entry VALUES (9, 'u', 'w', 'a', 's', 'y')", ("inserted", "audit", "9")),
        (
            "INSERT INTO hold VALUES (9, 4, NULL, 0, 'r', 'w', 'y', 'u')",
            ("inserted", "hold", "9"),
        ),
        (
            f"INSERT INTO decision SELECT 99, run_key, 2, plan_hash, 'PASS', NULL, NULL, NULL, 1, 'good', 0, "
            f"'C-1', 'w', 'y', 'u', '[]' FROM run_opened WHERE run_key = {_OF_RUN_2}",
            ("inserted", "decision", "run-2#2"),
        ),
    ],
)
def test_check_names_what_else_was_touched(home: Path, statement: str, fault: tuple[str, str, str]) -> None:
    """Decisions, holds, verifications, plans and audit entries are in chains too."""
    assert [fault] == _faults(home, statement)


def test_check_names_run_when_removed(home: Path) -> None:
    """A run taken out of the tables is still named by its chain."""
    assert [("removed", "run", "run-5")] == _faults(home, *_without_run("run-5"))


def test_check_names_place_when_run_and_entry_are_removed(home: Path) -> None:
    """With its entry gone too, the next entry tells that something stood before it."""
    faults = _faults(home, *_without_run("run-3"), "DELETE FROM chain WHERE subject = 'run-3'")

    assert [("removed", "run", "run-4")] == faults


def test_check_names_place_when_the_gap_is_closed(home: Path) -> None:
    """Counting the rest down to hide the gap does not hide it."""
    faults = _faults(
        home,
        *_without_run("run-3"),
        "DELETE FROM chain WHERE subject = 'run-3'",
        "UPDATE chain SET seq = -seq WHERE bench = 'bench-1' AND seq > 3",
        "UPDATE chain SET seq = -seq - 1 WHERE seq < 0",
    )

    assert [("removed", "run", "run-4")] == faults


_INSERT_RUN_X = (
    "INSERT INTO run_opened SELECT 99, 'run-x', unit_key, part, plan_hash, bench, nest, operator, purpose, "
    "simulated, opened_utc, software_version, repeats_run_id FROM run_opened WHERE run_id = 'run-2'",
    f"INSERT INTO run SELECT 99, closed_utc, 1, '', 1.0, NULL FROM run WHERE run_key = {_OF_RUN_2}",
)


def test_check_names_run_when_inserted(home: Path) -> None:
    """A run that was added by hand is in no chain."""
    faults = _faults(
        home,
        *_INSERT_RUN_X,
    )

    assert [("inserted", "run", "run-x")] == faults


def test_check_names_run_when_inserted_with_a_forged_entry(home: Path) -> None:
    """An entry made without the key does not hold."""
    faults = _faults(
        home,
        *_INSERT_RUN_X,
        "INSERT INTO chain SELECT 99, bench, 8, kind, 'run-x', format, content, digest, randomblob(32) "
        "FROM chain WHERE bench = 'bench-1' AND seq = 7",
    )

    assert ("inserted", "run", "run-x") in faults
    assert {"run-x"} == {subject for _, _, subject in faults}


def test_check_names_runs_when_reordered(home: Path) -> None:
    """Two entries that changed places are both named."""
    faults = _faults(
        home,
        "UPDATE chain SET seq = 99 WHERE bench = 'bench-1' AND seq = 2",
        "UPDATE chain SET seq = 2 WHERE bench = 'bench-1' AND seq = 3",
        "UPDATE chain SET seq = 3 WHERE seq = 99",
    )

    assert {("reordered", "run", "run-2"), ("reordered", "run", "run-3")} <= set(faults)
    assert {"reordered"} == {what for what, _, _ in faults}


def test_check_names_runs_when_entry_points_at_another(home: Path) -> None:
    """An entry of one run can't stand for another."""
    faults = _faults(
        home,
        "UPDATE chain SET subject = 'x' WHERE subject = 'run-2'",
        "UPDATE chain SET subject = 'run-2' WHERE subject = 'run-3'",
        "UPDATE chain SET subject = 'run-3' WHERE subject = 'x'",
    )

    assert {"run-2", "run-3"} == {subject for _, _, subject in faults}


def test_check_tells_cut_when_an_earlier_head_is_gone(home: Path) -> None:
    """A tail that was cut off with all that belongs to it shows by a head that was kept elsewhere."""
    with Records.open(home) as records:
        head = records.head("bench-1")
    cut = "DELETE FROM chain WHERE bench = 'bench-1' AND seq > 4"
    cuts = [*_without_run("run-5"), "DELETE FROM verification", "DELETE FROM decision WHERE place = 1", cut]

    assert [] == _faults(home, *cuts)
    assert [("cut off", "", "")] == _faults(home, heads=[head])


def test_check_tells_runs_when_only_the_chain_is_cut(home: Path) -> None:
    """Runs whose entries were cut off are named without any head."""
    faults = _faults(home, "DELETE FROM chain WHERE bench = 'bench-1' AND seq > 4")

    assert {"run-5", "run-2#1", "verification-1"} == {subject for _, _, subject in faults}


def _faults(home: Path, *statements: str, heads: list[Head] | None = None) -> list[tuple[str, str, str]]:
    connection = sqlite3.connect(home / "records.sqlite3")
    for statement in statements:
        connection.execute(statement)
    connection.commit()
    connection.close()
    with Records.open(home) as records:
        report = records.check(heads=heads or [])
    return [(fault.what, fault.kind, fault.subject) for fault in report.faults]


def _without_run(run_id: str) -> list[str]:
    key = f"(SELECT run_key FROM run_opened WHERE run_id = '{run_id}')"
    tables = ("result", "budget", "decision", "trace", "transcript", "run_identity", "hold", "run")
    return [f"DELETE FROM {table} WHERE run_key = {key}" for table in tables] + [
        f"DELETE FROM run_opened WHERE run_id = '{run_id}'"
    ]
