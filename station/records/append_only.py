"""Triggers that refuse to change or delete a row of what only ever grows.

They stop an honest mistake and a casual editor. Who can drop a trigger can get past them: the digest chain
is what shows that.
"""

from collections.abc import Iterator

_POSTGRESQL_FUNCTION = """
CREATE OR REPLACE FUNCTION coilgate_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION 'records of % are never changed', TG_TABLE_NAME; END $$
"""


def append_only_ddl(dialect: str, tables: tuple[str, ...]) -> Iterator[str]:
    """Yield the statements that make `tables` append-only on `dialect` (`sqlite` or `postgresql`)."""
    if dialect == "postgresql":
        yield _POSTGRESQL_FUNCTION
    for table in tables:
        for verb in ("UPDATE", "DELETE"):
            yield _trigger(dialect, table, verb)


def _trigger(dialect: str, table: str, verb: str) -> str:
    name = f"append_only_{table}_{verb.lower()}"
    if dialect == "postgresql":
        return f'CREATE TRIGGER {name} BEFORE {verb} ON "{table}" FOR EACH ROW EXECUTE FUNCTION coilgate_append_only()'
    return (
        f'CREATE TRIGGER {name} BEFORE {verb} ON "{table}" '
        f"BEGIN SELECT RAISE(ABORT, 'records of {table} are never changed'); END"
    )
