"""What the database's own errors mean, in words that say what to do."""

from sqlalchemy.exc import DBAPIError

from station.errors import RecordError

# By the beginning of SQLite's result code name (https://sqlite.org/rescode.html); the first match counts.
_SQLITE = (
    ("SQLITE_BUSY", "another program holds the records and did not let go. Close it, then try again."),
    ("SQLITE_LOCKED", "another program holds the records and did not let go. Close it, then try again."),
    ("SQLITE_READONLY", "the file or its folder is read-only. Make both writable, then try again."),
    ("SQLITE_FULL", "the disk is full. Free some space, then try again."),
    ("SQLITE_NOTADB", "the file is not a database. Move it away, or restore a backup in its place."),
    ("SQLITE_CORRUPT", "the file is damaged. Keep a copy of it and restore the last backup."),
    (
        "SQLITE_CANTOPEN",
        "the file can't be opened. Check that its folder is there and may be written.",
    ),
    ("SQLITE_PERM", "access is not allowed. Check the owner and mode of the file."),
    ("SQLITE_AUTH", "access is not allowed. Check the owner and mode of the file."),
    ("SQLITE_TOOBIG", "a text or trace is too large to be kept."),
    ("SQLITE_IOERR", "the disk can't be read or written (full, failing or gone). Check it, then try again."),
)

# By the beginning of the SQLSTATE (PostgreSQL manual, appendix A).
_POSTGRESQL = (
    ("53100", "the server's disk is full. Free some space, then try again."),
    ("53", "the server is out of connections or memory. Try again later, or ask who runs it."),
    ("25006", "the server is read-only. Connect to the writable one."),
    ("28", "the server refuses this user. Check user and password in the URL."),
    ("3D", "there is no such database on the server. Make it first: createdb NAME."),
    ("42501", "the user may not do this. Ask who runs the server for the right to create and write tables."),
    ("55P03", "another program holds the records and did not let go. Close it, then try again."),
    ("57", "the server was stopped or cut the connection. Start it, then try again."),
    ("08", "the server can't be reached. Check that it runs and that the URL is right."),
)


def record_error(error: Exception, where: str) -> RecordError:
    """Return the RecordError that says what `error`, SQLAlchemy's or the driver's, means at `where`.

    Nothing was recorded by the transaction that it came from.
    """
    cause = error.orig if isinstance(error, DBAPIError) else error
    name = getattr(cause, "sqlite_errorname", None) or ""
    state = getattr(cause, "sqlstate", None) or ""
    for beginning, words in _SQLITE:
        if name.startswith(beginning):
            return RecordError(f"records {where}: {words}")
    for beginning, words in _POSTGRESQL:
        if state.startswith(beginning):
            return RecordError(f"records {where}: {words}")
    said = " ".join(str(cause).split())[:300]
    if type(cause).__module__.startswith("psycopg") and not state:
        return RecordError(f"records {where}: the server can't be reached ({said}). Check that it runs.")
    return RecordError(f"records {where}: refused, nothing was recorded ({said}).")
