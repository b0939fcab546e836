"""Statements of the hot path: written with SQLAlchemy Core, compiled once, given straight to the driver.

A unit takes some twenty statements. The library's own way costs about 50 us each, more than the disk; this
one 5 us. Everything else goes the ordinary way. Errors are the driver's own: `Database` maps both kinds.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, cast

from sqlalchemy import Column, Connection, Dialect, Executable, Table, insert
from sqlalchemy.sql.expression import ClauseElement

from station.records.rows import Row


@dataclass(frozen=True, slots=True)
class Driver:
    """The driver's own cursor within a transaction, used for one statement after the other."""

    cursor: Any
    dialect: Dialect

    @classmethod
    def of(cls, connection: Connection) -> "Driver":
        """Return the one beneath `connection`, in the same transaction."""
        return cls(connection.connection.cursor(), connection.dialect)


class Hot:
    """One statement, ready for any of our dialects. Parameters by name, values as `rows.py` makes them."""

    def __init__(self, statement: Executable, *, column_keys: list[str] | None = None) -> None:
        self._statement = statement
        self._column_keys = column_keys
        self._ready: dict[str, _Ready] = {}

    @classmethod
    def adding(cls, table: Table, *, returning: Column[int] | None = None) -> "Hot":
        """Return the statement that adds a row to `table`; its own key, if any, is the database's to give."""
        keys = [column.name for column in table.columns if column.identity is None]
        statement = insert(table) if returning is None else insert(table).returning(returning)
        return cls(statement, column_keys=keys)

    def one(self, driver: Driver, **values: Any) -> Row | None:
        """Return the first row as a dictionary, or None."""
        self.run(driver, values)
        row = driver.cursor.fetchone()
        return None if row is None else dict(zip([each[0] for each in driver.cursor.description], row))

    def every(self, driver: Driver, **values: Any) -> list[Row]:
        """Return all rows as dictionaries."""
        self.run(driver, values)
        names = [each[0] for each in driver.cursor.description]
        return [dict(zip(names, row)) for row in driver.cursor.fetchall()]

    def tuples(self, driver: Driver, **values: Any) -> list[tuple[Any, ...]]:
        """Return all rows as the driver gives them: of many rows a dictionary each costs more than the query."""
        self.run(driver, values)
        rows: list[tuple[Any, ...]] = driver.cursor.fetchall()
        return rows

    def key(self, driver: Driver, row: Row) -> int:
        """Add `row` and return the key that the database gave it."""
        self.run(driver, row)
        return int(driver.cursor.fetchone()[0])

    def run(self, driver: Driver, row: Row) -> None:
        """Execute once."""
        ready = self._for(driver.dialect)
        driver.cursor.execute(ready.text, ready.values(row))

    def changed(self, driver: Driver, row: Row) -> int:
        """Execute once and return how many rows it changed."""
        self.run(driver, row)
        return int(driver.cursor.rowcount)

    def run_each(self, driver: Driver, rows: Iterable[Row]) -> None:
        """Execute once for each of `rows`."""
        ready = self._for(driver.dialect)
        driver.cursor.executemany(ready.text, [ready.values(row) for row in rows])

    def _for(self, dialect: Dialect) -> "_Ready":
        ready = self._ready.get(dialect.name)
        if ready is None:
            # Executable and ClauseElement are two sides of every Core statement.
            statement = cast(ClauseElement, self._statement)
            compiled: Any = statement.compile(dialect=dialect, column_keys=self._column_keys)
            constants = {name: value for name, value in compiled.params.items() if value is not None}
            ready = self._ready[dialect.name] = _Ready(str(compiled), compiled.positiontup, constants)
        return ready


@dataclass(frozen=True, slots=True)
class _Ready:
    """A statement in one dialect. `names` are in order if the driver takes parameters by place."""

    text: str
    names: list[str] | None
    constants: Row

    def values(self, row: Row) -> Any:
        given = self.constants | row if self.constants else row
        return given if self.names is None else [given[name] for name in self.names]
