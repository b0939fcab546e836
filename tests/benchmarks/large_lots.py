"""Large lots on record, made in bulk: one of 100,000 units, and many of the usual size by copying rows.

Values are invented: a panel's mean, a gradient over its columns, and the unit's own; a few FAIL, INVALID and held.
"""

import hashlib
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from station.core.plan import Plan
from station.core.plan_file import parse_plan
from station.core.results import Decision, Judgement, Reason, Result, ResultStatus
from station.core.run_record import (
    InstrumentIdentity,
    Purpose,
    RunOpened,
    RunRecord,
    TranscriptMessage,
    UnitId,
)
from station.data import data_path
from station.records import Records
from station.records.runs import RunStore

START = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
USUAL = 2_650
_WHO = (InstrumentIdentity("lcr-1", "GENERIC,LCR-A,SN1,1.0", "2027-03-01"),)
_TALK = (TranscriptMessage("lcr-1", "out", 0.0, b"FETC?\n"), TranscriptMessage("lcr-1", "in", 0.1, b"+7.912E+00,0\n"))
_NAMES = (("R20", "ohm"), ("L", "H"), ("B@1mm", "T/A"), ("B@2mm", "T/A"), ("B@4mm", "T/A"), ("B@8mm", "T/A"))
_MIDDLE = np.array([8.0, 11.6e-6, 5.7e-3, 3.9e-3, 1.8e-3, 0.46e-3])
_SPREAD = np.array([0.15, 0.04e-6, 0.06e-3, 0.04e-3, 0.02e-3, 0.005e-3])


def plan_of_large_lots() -> Plan:
    """Return the example plan with room for thousands of panels."""
    text = data_path("plans/IS-20.toml").read_text(encoding="utf-8")
    return parse_plan(text.replace("(?P<panel>[0-9]{2})", "(?P<panel>[0-9]{4})"), "large lots")


def make_lot(records: Records, lot: str, units: int, *, seed: int = 1) -> None:
    """Put a lot on record in one transaction, under a released plan."""
    plan = plan_of_large_lots()
    if records.plan_revision(plan.text_hash) is None:
        records.release_plan(plan, who="EN-02", why="benchmark", utc=START)
    database = records._database
    with database.writing() as connection:
        RunStore(database, hook=lambda point: None).add_closed(connection, _runs(plan, lot, units, seed))


def copy_lots(file: Path, lot: str, names: list[str]) -> None:
    """Copy a lot's rows under other names, without their digests: SQLite alone, for size and nothing else."""
    connection = sqlite3.connect(file, isolation_level=None)
    for pragma in ("journal_mode = WAL", "synchronous = OFF", "foreign_keys = OFF"):
        connection.execute(f"PRAGMA {pragma}")
    (source,) = connection.execute("SELECT lot_key FROM lot WHERE lot = ?", (lot,)).fetchone()
    first, last = connection.execute(
        "SELECT min(unit_key), max(unit_key) FROM unit WHERE lot_key = ?", (source,)
    ).fetchone()
    runs = connection.execute(
        "SELECT min(run_key), max(run_key) FROM run_opened WHERE unit_key BETWEEN ? AND ?", (first, last)
    ).fetchone()
    connection.execute("BEGIN IMMEDIATE")
    for name in names:
        _copy(connection, lot, name, (first, last), runs)
    connection.execute("COMMIT")
    connection.execute("ANALYZE")
    connection.close()


def _copy(
    connection: sqlite3.Connection, lot: str, name: str, units: tuple[int, int], runs: tuple[int, int]
) -> None:
    top = {table: _top(connection, table, key) for table, key in (("unit", "unit_key"), ("run_opened", "run_key"))}
    key = connection.execute("INSERT INTO lot (lot, simulated) VALUES (?, 1)", (name,)).lastrowid
    unit, run = top["unit"] + 1 - units[0], top["run_opened"] + 1 - runs[0]
    rename = f"replace({{}}, '{lot}', '{name}')"
    for table, changed, where, between in (
        (
            "unit",
            {"unit_key": f"unit_key + {unit}", "serial": rename.format("serial"), "lot_key": str(key)},
            "unit_key",
            units,
        ),
        ("unit_position", {"unit_key": f"unit_key + {unit}", "lot_key": str(key)}, "unit_key", units),
        (
            "run_opened",
            {"run_key": f"run_key + {run}", "run_id": f"run_id || '{name}'", "unit_key": f"unit_key + {unit}"},
            "run_key",
            runs,
        ),
        ("run", {"run_key": f"run_key + {run}"}, "run_key", runs),
        ("result", {"run_key": f"run_key + {run}"}, "run_key", runs),
        ("decision", {"decision_key": "NULL", "run_key": f"run_key + {run}"}, "run_key", runs),
    ):
        columns = [row[1] for row in connection.execute(f'PRAGMA table_info("{table}")')]
        chosen = ", ".join(changed.get(each, f'"{each}"') for each in columns)
        listed = ", ".join(f'"{each}"' for each in columns)
        connection.execute(
            f'INSERT INTO "{table}" ({listed}) SELECT {chosen} FROM "{table}" WHERE {where} BETWEEN ? AND ?', between
        )


def _top(connection: sqlite3.Connection, table: str, key: str) -> int:
    return int(connection.execute(f'SELECT max({key}) FROM "{table}"').fetchone()[0])


def _runs(plan: Plan, lot: str, units: int, seed: int) -> Iterator[RunRecord]:
    generator = np.random.default_rng(seed)
    panels = generator.normal(0.0, 0.1, units // 96 + 1)
    own = generator.normal(_MIDDLE, _SPREAD, (units, len(_NAMES)))
    fate = generator.random(units)
    for number in range(units):
        panel, place = divmod(number, 96)
        row, column = divmod(place, 12)
        values = own[number].copy()
        values[0] += panels[panel] + 0.02 * (column - 5.5)
        name = f"{lot}-{panel + 1:04d}-{'ABCDEFGH'[row]}{column + 1:02d}"
        unit = UnitId(name, lot, f"{panel + 1:04d}", "ABCDEFGH"[row], f"{column + 1:02d}")
        yield _run(plan, unit, number, values.tolist(), float(fate[number]))


def _run(plan: Plan, unit: UnitId, number: int, values: list[float], fate: float) -> RunRecord:
    opened_utc = START + timedelta(seconds=10 * number)
    measured = fate > 0.004
    decision = Decision.INVALID
    if measured:
        decision = Decision.PASS if 6.8 <= values[0] <= 9.2 and fate > 0.01 else Decision.FAIL
    reason = {
        Decision.INVALID: Reason("contact_open", "a pad has no contact", "Seat the unit again."),
        Decision.FAIL: Reason("above_upper", "above the upper limit", "Put the unit into its bin."),
    }.get(decision)
    number_of = {Decision.PASS: (2, "mid R"), Decision.FAIL: (90, "reject"), Decision.INVALID: (99, "hold")}[decision]
    results = tuple(
        Result(name, symbol, ResultStatus.MEASURED, value, abs(value) * 1e-3, float("inf"), abs(value) * 1.96e-3)
        for (name, symbol), value in zip(_NAMES, values, strict=True)
    )
    return RunRecord(
        opened=RunOpened(
            run_id=hashlib.sha256(unit.serial.encode()).hexdigest()[:32],
            unit=unit,
            part=plan.part,
            plan_hash=plan.text_hash,
            bench="bench-1",
            nest="nest-1",
            operator="OP-07",
            purpose=Purpose.PRODUCTION,
            simulated=True,
            opened_utc=opened_utc,
            software_version="0.1.0",
        ),
        closed_utc=opened_utc + timedelta(seconds=8),
        results=results if measured else (),
        judgements=tuple(Judgement(name, decision) for name, _ in _NAMES) if measured else (),
        decision=decision,
        reason=reason,
        bin_number=number_of[0],
        bin_name=number_of[1],
        held=0.0 < fate < 0.001,
        traces=(),
        identities=_WHO,
        transcript=_TALK,
        drive_off_verified=True,
        verification_id="",
    )
