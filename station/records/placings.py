"""In which pocket of which tray a unit lies after sorting. A unit's latest placing counts.

One row a placing, never edited, each in the station's digest chain. Only the latest row of a pocket can name who lies
in it: whoever lay there before had left. So asking for a pocket costs the same however often a tray is used.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, func, select

from station.core.results import Decision
from station.errors import RecordError
from station.records import chain
from station.records.canonical import canonical_bytes
from station.records.database import Database, add_row
from station.records.hot import Driver
from station.records.repository import Records
from station.records.rows import Row
from station.records.schema import lot, placing, unit
from station.records.stamps import clean, moment, name, stamp

MOST_POCKETS = 10_000


@dataclass(frozen=True, slots=True)
class Placing:
    """A unit in its pocket. Pockets count from 1. `decision` is what the unit was when it was placed."""

    serial: str
    tray: str
    pocket: int
    decision: Decision
    who: str
    why: str
    utc: datetime


def place_unit(
    records: Records,
    serial: str,
    tray: str,
    *,
    decision: Decision,
    who: str,
    why: str,
    utc: datetime,
    pocket: int | None = None,
    pockets: int | None = None,
) -> int:
    """Put on record that a unit lies in a tray now; return its pocket.

    Args:
        pocket: from 1; None: the one behind the last that is taken.
        pockets: how many the tray has; None: not known.

    Raises:
        RecordError: unknown unit, no such pocket, the pocket is taken, the tray is full, or it holds units of the
            other kind: units that pass and units that don't never share a tray.
    """
    _need_words(serial, who, why)
    tray = name(tray, "tray")
    database = records._database  # the package's own door: a caller outside sees `Records` only
    with database.writing() as connection:
        key = _unit_key(connection, serial)
        others = [each for each in _in_tray(connection, tray) if each.serial != serial]
        _refuse_mixture(serial, tray, decision, others)
        pocket = _free_pocket(serial, tray, pocket, pockets, others)
        row: Row = {"tray": tray, "pocket": pocket, "decision": decision.value}
        _add(connection, database, key, serial, row | {"who": clean(who), "why": clean(why), "utc": stamp(utc)})
    return pocket


def take_out(records: Records, serials: Iterable[str], *, who: str, why: str, utc: datetime) -> tuple[Placing, ...]:
    """Put on record that units lie in no tray any more; return where they lay. All or nothing.

    Raises RecordError for a unit that is unknown or lies in no tray.
    """
    database = records._database
    found: list[Placing] = []
    with database.writing() as connection:
        for serial in serials:
            _need_words(serial, who, why)
            key, last = _unit_key(connection, serial), _placing(connection, serial)
            if last is None:
                raise RecordError(f"unit {serial} lies in no tray on record. Look at the serial.")
            row: Row = {"tray": "", "pocket": 0, "decision": ""}
            _add(connection, database, key, serial, row | {"who": clean(who), "why": clean(why), "utc": stamp(utc)})
            found.append(last)
    return tuple(found)


def leave_tray(
    connection: Connection, database: Database, serial: str, *, who: str, why: str, utc: datetime
) -> None:
    """Put on record, within the caller's transaction, that a unit lies in no tray any more; nothing if it did not."""
    if _placing(connection, serial) is not None:
        row: Row = {"tray": "", "pocket": 0, "decision": ""}
        key = _unit_key(connection, serial)
        _add(connection, database, key, serial, row | {"who": clean(who), "why": clean(why), "utc": stamp(utc)})


def placing_of(records: Records, serial: str) -> Placing | None:
    """Return where a unit lies; None if in no tray, or unknown."""
    with records._database.reading() as connection:
        return _placing(connection, serial)


def tray_contents(records: Records, tray: str) -> tuple[Placing, ...]:
    """Return the units that lie in a tray, in order of pocket; empty for an empty tray and one never used."""
    with records._database.reading() as connection:
        return _in_tray(connection, tray)


def lot_pockets(records: Records, lots: Sequence[str]) -> Mapping[str, tuple[str, int]]:
    """Return (tray, pocket) by serial of the units of lots that lie in a tray."""
    query = (
        select(unit.c.serial, placing.c.tray, placing.c.pocket)
        .join(unit, unit.c.unit_key == placing.c.unit_key)
        .where(placing.c.placing_key.in_(_latest_of(lots)), placing.c.tray != "")
    )
    with records._database.reading() as connection:
        return {row.serial: (row.tray, row.pocket) for row in connection.execute(query)}


def _latest_of(lots: Sequence[str]) -> Select[Any]:
    return (
        select(func.max(placing.c.placing_key))
        .join(unit, unit.c.unit_key == placing.c.unit_key)
        .join(lot, lot.c.lot_key == unit.c.lot_key)
        .where(lot.c.lot.in_(lots))
        .group_by(placing.c.unit_key)
    )


def _placing(connection: Connection, serial: str) -> Placing | None:
    query = _placings().where(unit.c.serial == serial).order_by(placing.c.placing_key.desc()).limit(1)
    row = connection.execute(query).mappings().one_or_none()
    return None if row is None or not row["tray"] else _view(dict(row))


def _in_tray(connection: Connection, tray: str) -> tuple[Placing, ...]:
    newest = select(func.max(placing.c.placing_key)).where(placing.c.tray == tray).group_by(placing.c.pocket)
    own = placing.alias()
    last_of_unit = select(func.max(own.c.placing_key)).where(own.c.unit_key == placing.c.unit_key).scalar_subquery()
    query = (
        _placings()
        .where(placing.c.placing_key.in_(newest), placing.c.placing_key == last_of_unit)
        .order_by(placing.c.pocket)
    )
    return tuple(_view(dict(row)) for row in connection.execute(query).mappings())


def _placings() -> Select[Any]:
    return select(placing, unit.c.serial).join(unit, unit.c.unit_key == placing.c.unit_key)


def _view(row: Row) -> Placing:
    kept = {key: row[key] for key in ("serial", "tray", "pocket", "who", "why")}
    return Placing(**kept, decision=Decision(row["decision"]), utc=moment(row["utc"]))


def _unit_key(connection: Connection, serial: str) -> int:
    key = connection.scalar(select(unit.c.unit_key).where(unit.c.serial == serial))
    if key is None:
        raise RecordError(f"unit {serial} is not on record. Check the serial.")
    return int(key)


def _need_words(serial: str, who: str, why: str) -> None:
    if not who.strip() or not why.strip():
        raise RecordError(f"unit {serial}: say who placed it or took it out, and why.")


def _refuse_mixture(serial: str, tray: str, decision: Decision, others: Sequence[Placing]) -> None:
    good = decision is Decision.PASS
    wrong = next((each for each in others if (each.decision is Decision.PASS) != good), None)
    if wrong is not None:
        kinds = ("passes", "does not") if good else ("does not pass", "does")
        raise RecordError(
            f"{serial} {kinds[0]}, and {wrong.serial} in tray {tray}, pocket {wrong.pocket}, {kinds[1]}: "
            "they never share a tray. Take another tray."
        )


def _free_pocket(serial: str, tray: str, pocket: int | None, pockets: int | None, others: Sequence[Placing]) -> int:
    most = pockets or MOST_POCKETS
    if pocket is None:
        pocket = 1 + max((each.pocket for each in others), default=0)
        if pocket > most:
            raise RecordError(f"tray {tray} is full ({most} pockets). Take another tray and scan its label.")
    if not 1 <= pocket <= most:
        raise RecordError(f"tray {tray} has pockets 1 to {most}; got {pocket}.")
    taken = next((each for each in others if each.pocket == pocket), None)
    if taken is not None:
        raise RecordError(
            f"{serial} can't go into tray {tray}, pocket {pocket}: {taken.serial} lies there. "
            "Take that out first, or name another pocket."
        )
    return pocket


def _add(connection: Connection, database: Database, unit_key: int, serial: str, row: Row) -> None:
    key = add_row(connection, placing, row | {"unit_key": unit_key})
    content = canonical_bytes(row | {"serial": serial})
    chain.append(Driver.of(connection), database.key, chain.STATION, "placing", str(key), content)
