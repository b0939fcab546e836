"""One database, SQLite or PostgreSQL: opened, made, brought up to date; its two kinds of transaction."""

from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, Table, create_engine, event, insert, inspect, select, text
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError, SQLAlchemyError

from station.errors import RecordError
from station.records import key_file
from station.records.append_only import append_only_ddl
from station.records.hot import Driver
from station.records.rows import Row
from station.records.schema import APPEND_ONLY, SCHEMA_VERSION, alembic_version, chain, metadata, seal
from station.records.stamps import stamp
from station.records.trouble import record_error

FILE_NAME = "records.sqlite3"
# One lock for all writers of a PostgreSQL database, as SQLite has by itself; any fixed number will do.
_WRITERS_LOCK = 0x636F696C


class Database:
    """An open database and the key of its digest chains."""

    def __init__(self, engine: Engine, where: str, key: bytes) -> None:
        self._engine = engine
        self._where = where
        # The hot path speaks to the driver itself.
        self._errors = (SQLAlchemyError, engine.dialect.loaded_dbapi.Error)
        self.key = key

    @classmethod
    def open(cls, home: Path, *, url: str | None = None, wait_s: float = 10.0) -> "Database":
        """Open the records at `url`, or those in `home`; make them if there are none.

        Args:
            home: the folder of the key, and of the SQLite file if no `url` is given.
            url: an SQLAlchemy URL of SQLite or PostgreSQL.
            wait_s: how long to wait for another writer before giving up.

        Raises:
            RecordError: missing folder, not a database, locked, read-only, full, damaged, of a newer
                schema, key missing or of other records.
        """
        _make_home(home)
        address = _address(home, url)
        where = address.database if address.get_backend_name() == "sqlite" else address.render_as_string()
        engine = _engine(address, wait_s)
        try:
            _bring_up_to_date(engine, where or "in memory")
            key = _checked_key(engine, home, where or "in memory")
        except (SQLAlchemyError, engine.dialect.loaded_dbapi.Error) as error:
            engine.dispose()
            raise record_error(error, where or "in memory") from error
        except BaseException:
            engine.dispose()
            raise
        return cls(engine, where or "in memory", key)

    @property
    def where(self) -> str:
        """The file or URL (without password), for messages."""
        return self._where

    def close(self) -> None:
        """Close every connection."""
        self._engine.dispose()

    def copy_to(self, target: Path) -> None:
        """Copy an SQLite database, as it is at one moment, to a new file, while others may write.

        SQLite's online backup, in one step: other writers wait in the log meanwhile and lose nothing.

        Raises:
            RecordError: damaged, full, or `target` can't be written.
        """
        import sqlite3  # PostgreSQL does without

        try:
            with (
                closing(self._engine.raw_connection()) as source,
                closing(sqlite3.connect(target)) as copy,
            ):
                source.driver_connection.backup(copy)  # type: ignore[union-attr]
                # A single file: no log beside it that could be forgotten.
                copy.execute("PRAGMA journal_mode = DELETE")
        except self._errors as error:
            raise record_error(error, self._where) from error

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the records and writes nothing."""
        try:
            with self._engine.connect() as bare:
                connection = bare.execution_options(reads_only=True)
                with connection.begin():
                    yield connection
        except self._errors as error:
            raise record_error(error, self._where) from error

    @contextmanager
    def driving(self) -> Iterator[Driver]:
        """Give what `writing` gives, for the hot path's statements only, at a fifth of the cost."""
        with self._driver(_begin) as driver:
            yield driver

    @contextmanager
    def looking(self) -> Iterator[Driver]:
        """Give what `reading` gives, for the hot path's statements only, at a fifth of the cost."""
        with self._driver(_begin_looking) as driver:
            yield driver

    @contextmanager
    def _driver(self, begin: Callable[[Any, str], None]) -> Iterator[Driver]:
        try:
            with closing(self._engine.raw_connection()) as connection:
                cursor = connection.cursor()
                try:
                    begin(cursor, self._engine.dialect.name)
                    yield Driver(cursor, self._engine.dialect)
                    connection.commit()
                except BaseException:
                    connection.rollback()
                    raise
                finally:
                    cursor.close()
        except self._errors as error:
            raise record_error(error, self._where) from error

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection that alone writes; all of it is on disk afterwards, or nothing."""
        try:
            with self._engine.begin() as connection:
                yield connection
        except self._errors as error:
            raise record_error(error, self._where) from error


def _begin(cursor: Any, dialect: str) -> None:
    """Begin a transaction that writes, alone."""
    if dialect == "sqlite":
        cursor.execute("BEGIN IMMEDIATE")
    else:
        cursor.execute(f"SELECT pg_advisory_xact_lock({_WRITERS_LOCK})")


def _begin_looking(cursor: Any, dialect: str) -> None:
    """Begin a transaction that sees one state and writes nothing."""
    if dialect == "sqlite":
        cursor.execute("BEGIN")
    else:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")


def add_row(connection: Connection, table: Table, row: Row) -> int:
    """Add `row` and return the key that the database gave it."""
    key = connection.execute(insert(table), row).inserted_primary_key
    if key is None:
        raise RecordError(f"a row of {table.name} was not added")
    return int(key[0])


def _make_home(home: Path) -> None:
    try:
        home.mkdir(exist_ok=True)
    except FileNotFoundError as error:
        raise RecordError(f"{home}: its folder is missing. Make it: mkdir -p {home.parent}") from error
    except OSError as error:
        raise RecordError(f"{home}: no folder for records ({error.strerror}). Choose another.") from error


def _address(home: Path, url: str | None) -> URL:
    if url is None:
        return URL.create("sqlite", database=str(home / FILE_NAME))
    try:
        address = make_url(url)
        address.get_dialect()
    except (ArgumentError, NoSuchModuleError) as error:
        raise RecordError(f"records URL {url!r}: give sqlite:///FILE or postgresql://HOST/NAME.") from error
    if address.get_backend_name() == "postgresql":
        return address.set(drivername="postgresql+psycopg")
    if address.get_backend_name() != "sqlite":
        raise RecordError(f"records URL {url!r}: give sqlite:///FILE or postgresql://HOST/NAME.")
    return address


def _engine(address: URL, wait_s: float) -> Engine:
    try:
        if address.get_backend_name() == "sqlite":
            engine = create_engine(address, connect_args={"timeout": wait_s})
            event.listen(engine, "connect", _prepare_sqlite)
            event.listen(engine, "begin", _begin_sqlite)
        else:
            timeouts = f"-c lock_timeout={int(wait_s * 1000)}"
            arguments = {"options": timeouts, "connect_timeout": max(2, int(wait_s))}
            engine = create_engine(address, connect_args=arguments)
            event.listen(engine, "begin", _begin_postgresql)
    except ModuleNotFoundError as error:
        raise RecordError("records on PostgreSQL need psycopg. Install coilgate[postgresql].") from error
    return engine


def _prepare_sqlite(connection: object, _record: object) -> None:
    # The driver would begin a transaction only at the first write: a read before it then sees a state that
    # another writer has left behind, and its update is lost without an error. So we say BEGIN ourselves.
    connection.isolation_level = None  # type: ignore[attr-defined]
    cursor = connection.cursor()  # type: ignore[attr-defined]
    try:
        cursor.execute("PRAGMA journal_mode = WAL")
        cursor.execute("PRAGMA synchronous = FULL")
        cursor.execute("PRAGMA foreign_keys = ON")
        cursor.execute("PRAGMA trusted_schema = OFF")
    finally:
        cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    with closing(connection.connection.cursor()) as cursor:
        if connection.get_execution_options().get("reads_only", False):
            _begin_looking(cursor, "sqlite")
        else:
            _begin(cursor, "sqlite")


def _begin_postgresql(connection: Connection) -> None:
    with closing(connection.connection.cursor()) as cursor:
        if connection.get_execution_options().get("reads_only", False):
            _begin_looking(cursor, "postgresql")
        else:
            _begin(cursor, "postgresql")


def _bring_up_to_date(engine: Engine, where: str) -> None:
    version = _version(engine)
    if version == SCHEMA_VERSION:
        return
    if version is None:
        with engine.begin() as connection:
            # Another process may have been first while we waited for the lock.
            if not inspect(connection).has_table(alembic_version.name):
                _make_tables(connection, where)
            elif connection.scalar(select(alembic_version.c.version_num)) is None:
                raise RecordError(f"records {where}: no schema version in them. Restore the last backup.")
        return
    if not version.isdigit() or version > SCHEMA_VERSION:
        raise RecordError(
            f"records {where}: written by a newer version (schema {version}; this one knows up to "
            f"{SCHEMA_VERSION}). Install the newer version, or restore a backup made by this one."
        )
    from station.records.migrate import migrate  # Alembic takes a quarter of a second: only when it is due.

    with engine.begin() as connection:
        migrate(connection)


def _version(engine: Engine) -> str | None:
    try:
        with engine.connect() as bare, bare.execution_options(reads_only=True).begin():
            return bare.scalar(select(alembic_version.c.version_num))
    except SQLAlchemyError as error:
        if "no such table" in str(error) or "UndefinedTable" in str(error):
            return None
        raise


def _make_tables(connection: Connection, where: str) -> None:
    others = [name for name in inspect(connection).get_table_names() if name in metadata.tables]
    if connection.dialect.name == "sqlite":
        others = inspect(connection).get_table_names()
    if others:
        raise RecordError(f"records {where}: it holds something else (table {others[0]}). Choose another.")
    metadata.create_all(connection)
    for statement in append_only_ddl(connection.dialect.name, tuple(each.name for each in APPEND_ONLY)):
        connection.execute(text(statement))
    connection.execute(insert(alembic_version).values(version_num=SCHEMA_VERSION))


def _checked_key(engine: Engine, home: Path, where: str) -> bytes:
    key = key_file.read_key(home)
    with engine.connect() as bare, bare.execution_options(reads_only=True).begin():
        sealed = bare.scalar(select(seal.c.key_fingerprint))
    if key is None and sealed is None:
        key = key_file.make_key(home)
    if key is None:
        raise RecordError(
            f"records {where}: their key {home / key_file.KEY_FILE_NAME} is missing. "
            "Restore it from a backup: without it nothing can be added and no change would show."
        )
    if sealed is None:
        sealed = _seal(engine, key)
    if sealed != key_file.fingerprint(key):
        raise RecordError(
            f"records {where}: {home / key_file.KEY_FILE_NAME} is the key of other records. "
            "Restore the one that belongs to these."
        )
    return key


def _seal(engine: Engine, key: bytes) -> str:
    with engine.begin() as connection:
        sealed = connection.scalar(select(seal.c.key_fingerprint))
        if sealed is not None:
            return sealed
        if connection.scalar(select(chain.c.seq).limit(1)) is not None:
            return ""
        made = {"key_fingerprint": key_file.fingerprint(key), "made_utc": stamp(datetime.now(UTC))}
        connection.execute(insert(seal).values(made))
    return made["key_fingerprint"]
