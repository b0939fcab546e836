"""What verifications rest on, value by value, and the units that are held because of one that failed."""

from collections.abc import Sequence

from sqlalchemy import Connection, insert, select

from station.core.verification import Verification, VerificationValue
from station.records import chain
from station.records.canonical import values_bytes
from station.records.database import Database
from station.records.hot import Driver
from station.records.rows import Row
from station.records.schema import verification, verification_value
from station.records.stamps import clean, moment, name, number
from station.records.units import hold_row, hold_unit
from station.records.views import PastValue

SUSPECT = "bench_suspect"
"""Reason code of units that a bench judged between its last good verification and one that it failed."""

_NUMBERS = ("value", "expanded_uncertainty", "assigned", "assigned_uncertainty", "lower", "upper")


class ValueStore:
    """Finds the values of verifications."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def of(self, verification_id: str) -> tuple[VerificationValue, ...]:
        """See `Records.verification_values`."""
        query = select(verification_value).join(verification).order_by(verification_value.c.place)
        wanted = query.where(verification.c.verification_id == verification_id)
        with self._database.reading() as connection:
            return tuple(_value(dict(row)) for row in connection.execute(wanted).mappings())

    def history(self, bench: str, nest: str | None, characteristic: str | None) -> tuple[PastValue, ...]:
        """See `Records.verification_history`."""
        about = (verification.c.done_utc, verification.c.nest, verification.c.verification_id)
        query = (
            select(verification_value, *about)
            .join(verification)
            .where(verification.c.bench == bench)
            .order_by(verification_value.c.verification_key, verification_value.c.place)
        )
        if nest is not None:
            query = query.where(verification.c.nest == nest)
        if characteristic is not None:
            query = query.where(verification_value.c.characteristic == characteristic)
        with self._database.reading() as connection:
            return tuple(_past(dict(row)) for row in connection.execute(query).mappings())


def add_values(
    connection: Connection, secret: bytes, done: Verification, key: int, values: Sequence[VerificationValue]
) -> None:
    """Add the values of the verification of row `key`, as one entry in the chain of its bench."""
    rows = [_row(place, each) for place, each in enumerate(values)]
    if not rows:
        return
    connection.execute(insert(verification_value), [each | {"verification_key": key} for each in rows])
    subject, content = done.verification_id, values_bytes(rows)
    chain.append(Driver.of(connection), secret, done.bench, "values", subject, content)


def hold_units(connection: Connection, secret: bytes, done: Verification, serials: Sequence[str]) -> None:
    """Hold units because of a verification that failed; one that is held already stays as it is."""
    why = f"verification of {done.bench} failed: {done.words}"
    who = done.operator or "station"
    row = hold_row(held=True, reason_code=SUSPECT, who=who, why=why, utc=done.done_utc)
    for serial in serials:
        hold_unit(connection, secret, serial, row)


def _row(place: int, found: VerificationValue) -> Row:
    what = f"verification value {found.subject} {found.characteristic}"
    return {
        "place": place,
        "subject": clean(found.subject),
        "characteristic": name(found.characteristic, "characteristic"),
        "unit_symbol": clean(found.unit_symbol),
        "agrees": int(found.agrees),
        "words": clean(found.words),
        "run_id": clean(found.run_id),
        **{each: number(getattr(found, each), what, each) for each in _NUMBERS},
    }


def _value(row: Row) -> VerificationValue:
    del row["verification_key"], row["place"]
    return VerificationValue(**row | {"agrees": bool(row["agrees"])})


def _past(row: Row) -> PastValue:
    done_utc, nest, verification_id = (row.pop(key) for key in ("done_utc", "nest", "verification_id"))
    return PastValue(verification_id, moment(done_utc), nest, _value(row))
