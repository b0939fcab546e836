"""The units of a lot with what their latest production run measured, as plain rows: for pages, in tens of milliseconds.

`lot_rows` gives the same as one wide table, piece by piece, for exports of any size; this reads a whole lot at once.
"""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Subquery, and_, bindparam, func, select

from station.core.run_record import Purpose
from station.errors import RecordError
from station.records.hot import Hot
from station.records.repository import Records
from station.records.schema import decision, hold, lot, result, run, run_opened, unit

RUN_COLUMNS = (
    "serial", "panel", "row", "column", "decision", "bin_number", "bin_name", "concession", "reason_code",
    "reason_words", "operator", "bench", "nest", "run_id", "plan_hash", "opened_utc", "held",
)  # fmt: skip
"""Of a row of `LotMeasured.runs`, in order; `held` (0 or 1) is whether the unit is held now."""

Cells = tuple[float | None, float | None, float | None, float | None, str | None]
"""Value, standard uncertainty, degrees of freedom, expanded uncertainty, judgement; all None: not due."""


@dataclass(frozen=True, slots=True)
class LotMeasured:
    """A lot's latest closed production run of each unit, in order of run; `results[i]` belongs to `runs[i]`."""

    runs: tuple[tuple[Any, ...], ...]
    results: tuple[dict[tuple[str, str], Cells], ...]
    """By characteristic and unit symbol."""
    characteristics: tuple[tuple[str, str], ...]
    """Every one that any unit of the lot has, sorted."""


def lot_measured(records: Records, name: str) -> LotMeasured:
    """Return what the units of a lot showed. Raises RecordError for an unknown lot."""
    with records._database.looking() as driver:
        found = _LOT.one(driver, lot=name)
        if found is None:
            raise RecordError(f"lot {name!r} is not on record. List the lots (coilgate lot show), or check the name.")
        runs = _RUNS.tuples(driver, lot_key=found["lot_key"])
        rows = _RESULTS.tuples(driver, lot_key=found["lot_key"])
    results: dict[int, dict[tuple[str, str], Cells]] = {run[0]: {} for run in runs}
    for key, characteristic, symbol, *cells in rows:
        results[key][characteristic, symbol] = (cells[0], cells[1], cells[2], cells[3], cells[4])
    every = sorted({(row[1], row[2]) for row in rows})
    return LotMeasured(tuple(run[1:] for run in runs), tuple(results.values()), tuple(every))


def _last() -> Subquery:
    return (
        select(func.max(run_opened.c.run_key).label("run_key"))
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .join(run, run.c.run_key == run_opened.c.run_key)
        .where(unit.c.lot_key == bindparam("lot_key"), run_opened.c.purpose == Purpose.PRODUCTION.value)
        .group_by(run_opened.c.unit_key)
        .subquery()
    )


def _runs() -> Hot:
    last, other = _last(), decision.alias()
    newest = select(func.max(other.c.place)).where(other.c.run_key == last.c.run_key).correlate(last).scalar_subquery()
    # What counts is whether the unit is held now.
    last_hold = (
        select(hold.c.held)
        .where(hold.c.unit_key == unit.c.unit_key)
        .order_by(hold.c.hold_key.desc())
        .limit(1)
        .correlate(unit)
        .scalar_subquery()
    )
    tables = {"serial": unit, "panel": unit, "row": unit, "column": unit} | dict.fromkeys(
        ("operator", "bench", "nest", "run_id", "plan_hash", "opened_utc"), run_opened
    )
    columns = [tables.get(each, decision).c[each] for each in RUN_COLUMNS[:-1]]
    return Hot(
        select(last.c.run_key, *columns, func.coalesce(last_hold, 0))
        .select_from(last)
        .join(run_opened, run_opened.c.run_key == last.c.run_key)
        .join(unit, unit.c.unit_key == run_opened.c.unit_key)
        .join(decision, and_(decision.c.run_key == last.c.run_key, decision.c.place == newest))
        .order_by(last.c.run_key)
    )


def _results() -> Hot:
    last = _last()
    names = "characteristic unit_symbol value standard_uncertainty degrees_of_freedom expanded_uncertainty judgement"
    return Hot(
        select(last.c.run_key, *(result.c[each] for each in names.split()))
        .select_from(last)
        .join(result, result.c.run_key == last.c.run_key)
        .where(result.c.unit_symbol.is_not(None))
    )


_LOT = Hot(select(lot.c.lot_key).where(lot.c.lot == bindparam("lot")))
_RUNS, _RESULTS = _runs(), _results()
