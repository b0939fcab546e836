"""The life of a lot on record: audit entries under the lot's name, each made from those before it.

An entry's words are JSON of format 1: what `LotEvent` holds besides who and when. The digest chain has them like all
audit entries, so a count can't be changed unseen.
"""

import json
from collections.abc import Callable, Iterable
from dataclasses import asdict
from typing import Any

from sqlalchemy import bindparam, select

from station.core.lot_life import LotChange, LotEvent, LotLife, PlaceCount, apply, life_of
from station.core.lot_tally import UnitStanding
from station.core.results import Decision
from station.errors import RecordError
from station.records.hot import Driver, Hot
from station.records.lot_decisions import Decided, lot_decisions
from station.records.repository import Records
from station.records.schema import lot, unit
from station.records.views import AuditEntry

FORMAT = 1
_CHANGES = {each.value for each in LotChange}


def lot_subject(lot_name: str) -> str:
    """Return the subject that a lot's audit entries stand under."""
    return f"lot {lot_name}"


def change_lot(records: Records, lot_name: str, make: Callable[[LotLife], LotEvent]) -> tuple[LotLife, LotEvent]:
    """Put on record what `make` makes of the lot's life; return the life after it, and the event.

    One transaction: two who change a lot at once can't both rest on the same numbers. Raises LotError if the life does
    not allow it; nothing is on record then.
    """
    done: list[tuple[LotLife, LotEvent]] = []

    def entry(before: tuple[AuditEntry, ...]) -> AuditEntry:
        life = _life(lot_name, before)
        event = make(life)
        done.append((apply(life, event), event))
        return AuditEntry(event.utc, event.who, event.change.value, lot_subject(lot_name), _text(event))

    records.audit_from(lot_subject(lot_name), entry)
    return done[-1]


def lot_life(records: Records, lot_name: str) -> LotLife:
    """Return what has happened to a lot; an empty life for one that nothing was entered of."""
    return _life(lot_name, records.audit_entries(subject=lot_subject(lot_name)))


def lots_received(records: Records) -> tuple[str, ...]:
    """Return the names of the lots that were received on record, sorted; some may have no unit measured yet."""
    entries = records.audit_entries(action=LotChange.RECEIVED.value)
    return tuple(sorted({each.subject.removeprefix("lot ") for each in entries}))


def lot_unit_standings(records: Records, lot_name: str) -> tuple[UnitStanding, ...]:
    """Return where each unit of a lot stands, by the latest decision on its latest decided production run.

    Units that are on record by other runs only have no decision. Empty for a lot without a run.
    """
    with records._database.reading() as connection:
        lot_key = connection.scalar(select(lot.c.lot_key).where(lot.c.lot == lot_name))
        if lot_key is None:
            return ()
        driver = Driver.of(connection)
        units, found = _UNITS.tuples(driver, lot_key=lot_key), lot_decisions(driver, lot_key)
    return tuple(_standing(serial, found.latest.get(key), key in found.held) for key, serial in units)


_UNITS = Hot(
    select(unit.c.unit_key, unit.c.serial).where(unit.c.lot_key == bindparam("lot_key")).order_by(unit.c.unit_key)
)


def _standing(serial: str, found: Decided | None, held: bool) -> UnitStanding:
    if found is None:
        return UnitStanding(serial, None, 0, "", held, conceded=False)
    return UnitStanding(serial, Decision(found.decision), found.bin_number, found.bin_name, held, found.conceded)


def _life(lot_name: str, entries: Iterable[AuditEntry]) -> LotLife:
    return life_of(lot_name, (_event(each) for each in entries if each.action in _CHANGES))


def _text(event: LotEvent) -> str:
    fields = asdict(event)
    del fields["change"], fields["who"], fields["utc"]
    return json.dumps({"format": FORMAT} | {key: value for key, value in fields.items() if value})


def _event(entry: AuditEntry) -> LotEvent:
    fields: dict[str, Any] = json.loads(entry.why)
    if fields.pop("format", None) != FORMAT:
        raise RecordError(f"{entry.subject}: its life was recorded by a newer version. Update coilgate.")
    fields["serials"] = tuple(fields.get("serials", ()))
    fields["counts"] = tuple(PlaceCount(**each) for each in fields.get("counts", ()))
    return LotEvent(LotChange(entry.action), entry.who, entry.utc, **fields)
